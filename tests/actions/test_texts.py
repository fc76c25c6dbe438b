"""Texts to customers: filled from the job, worded by the owner."""

from datetime import timedelta

import pytest
from PIL import Image
from sqlalchemy import select

from logbook.actions import orders, texts
from logbook.actions import shop as shops
from logbook.records.people import ShopFact
from logbook.refusals import Refused
from support.small_shop import job


def _texts(shop, code):
    return shop.read(lambda session: texts.texts_for(session, job(session, code)))


@pytest.fixture
def small_pictures(tmp_path):
    files = [tmp_path / name for name in ("one.png", "two.png")]
    for number, file in enumerate(files):
        Image.new("RGB", (70 + number * 4000, 80 + number * 4000), "teal").save(file)
    return files


def test_a_picture_that_is_too_small_is_told_which_size_is_needed(shop, small_pictures):
    code = shop.order(files=small_pictures)
    told = _texts(shop, code)["small"]
    # 70 and 80 mm with 5 mm bleed on every side are 80 and 90 mm: 20 lines an inch over 945 dots of 300 (80 mm),
    # and one minute of arc at 0.6 m, 145.53 an inch, over 1063 dots (90 mm): 63 x 515.7
    assert "at least 459 × 516 pixels" in told
    assert "- one.png (70 × 80)" in told
    assert "two.png" not in told
    assert "2 pictures" in told


def test_what_is_not_known_yet_stands_as_three_dots(shop):
    code = shop.order(customer="")
    told = _texts(shop, code)
    assert "Dear …" in told["collect"]
    assert "promised it for …" in told["late"]
    assert "to you: …." in told["sent"]


def test_the_job_fills_every_text(shop):
    code = shop.order(quantity=3)
    due = shop.now.date() + timedelta(days=5)
    shop.act(lambda session, by: shops.set_facts(session, by, {"shop name": "Ridge & Co"}))
    shop.act(
        lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"artwork": "Two Gulls"})
    )
    with shop.shop.database.writing() as session:
        job(session, code).order.due_on = due
    for kind, told in _texts(shop, code).items():
        assert "Two Gulls" in told, kind
        assert "Quillon & Daughters" in told, kind
        assert told.endswith("Ridge & Co"), kind
        assert "{" not in told, kind
    assert f"{due:%Y-%m-%d}" in _texts(shop, code)["late"]


def test_what_was_sent_says_how(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    from logbook.actions import leaving
    from support.small_shop import standing

    shop.wait(hours=80)
    way = leaving.WayOut(how="sent", on=shop.now.astimezone().date(), carrier="post", tracking="X 77")
    shop.act(
        lambda session, by: leaving.leave(session, by, piece=standing(session, code, "pack")[0], way=way, values={})
    )
    assert "to you: post X 77." in _texts(shop, code)["sent"]


def test_the_owner_words_a_text_anew_and_goes_back(shop):
    code = shop.order()
    shop.act(lambda session, by: texts.set_wordings(session, by, {"late": "Guten Tag {customer}, es dauert länger."}))
    assert _texts(shop, code)["late"] == "Guten Tag Quillon & Daughters, es dauert länger."
    shop.act(lambda session, by: texts.set_wordings(session, by, {"late": "  "}))
    assert "takes longer than we said" in _texts(shop, code)["late"]


def test_braces_that_nothing_stands_for_are_refused_at_their_text(shop):
    with pytest.raises(Refused, match=r"stand for \{price\}") as refused:
        shop.act(lambda session, by: texts.set_wordings(session, by, {"late": "x", "sent": "It costs {price}."}))
    assert refused.value.field == "sent"
    assert (
        shop.read(lambda session: session.execute(select(ShopFact).where(ShopFact.key.like("text%"))).first()) is None
    )


def test_a_customer_whose_name_looks_like_a_place_is_taken_as_it_is(shop):
    code = shop.order(customer="The {shop} & Co")
    assert "Dear The {shop} & Co," in _texts(shop, code)["collect"]
