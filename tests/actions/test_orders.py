"""Orders, pictures and proofs: what was asked for, from what, and what the customer said about exactly that."""

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from io import BytesIO

import pytest
from PIL import Image
from sqlalchemy import select

from logbook import resources
from logbook.actions import orderchanges, orders, pictures, proofs
from logbook.lengths import parse_length
from logbook.records.audit import AuditEntry, head
from logbook.records.orders import Customer, Job, Order, Picture
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one

WISH = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right")


def _place(shop, **more):
    def place(session, by):
        told = {"customer_name": "", "wish": WISH, **more}
        return orders.place_order(session, by, shop.shop.settings.own_safety_path, **told).code

    return shop.act(place)


def _add_job(shop, code):
    return shop.act(
        lambda session, by: (
            orders.add_job(
                session, by, shop.shop.settings.own_safety_path, order=job(session, code).order, wish=WISH
            ).number
        )
    )


# --- orders


@pytest.mark.parametrize(("index", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (702, "AAA")])
def test_jobs_are_lettered_as_columns_of_a_table_are(index, name):
    # bijective base 26, as spreadsheets letter their columns (common practice, no source)
    assert orders.letters(index) == name


def test_more_jobs_of_an_order_take_the_next_letters_and_a_new_year_starts_anew(shop):
    code = _place(shop)
    assert [_add_job(shop, code) for _ in range(2)] == ["26-0001-B", "26-0001-C"]
    shop.wait(days=320)
    assert shop.read(lambda session: job(session, code).number) == "26-0001-A"
    later = _place(shop)
    assert shop.read(lambda session: job(session, later).number) == "27-0001-A"


def _put_right(shop, code, **more):
    told = {"customer_name": "Quillon & Daughters", "contact": "", "due_on": date(2026, 4, 1), "note": "", **more}
    shop.act(lambda session, by: orderchanges.change_order(session, by, order=job(session, code).order, **told))


def test_an_order_taken_without_its_customer_is_put_right_until_somebody_answered_for_it(shop):
    code = _place(shop)
    _put_right(shop, code, contact="by post")
    whose = shop.read(lambda session: job(session, code).order.customer)
    assert (whose.name, whose.contact) == ("Quillon & Daughters", "by post")
    assert shop.read(lambda session: job(session, code).order.due_on) == date(2026, 4, 1)
    entry = shop.read(lambda session: session.get_one(AuditEntry, head(session).seq))
    assert entry.action == "order changed"
    assert "Quillon" not in entry.body
    assert "by post" not in entry.body
    before = shop.read(head).seq
    _put_right(shop, code, contact="by post")
    assert shop.read(head).seq == before, "nothing changed, nothing is written"
    shop.add_pictures(code, PHOTOGRAPHS)
    shop.approve(code)
    with pytest.raises(Refused, match="answered a proof already") as refused:
        _put_right(shop, code, customer_name="Somebody else")
    assert refused.value.field == "customer"
    _put_right(shop, code, due_on=date(2026, 5, 1))
    assert shop.read(lambda session: job(session, code).order.due_on) == date(2026, 5, 1)


def test_a_customer_is_known_again_by_name_and_the_newest_contact_counts(shop):
    _place(shop, customer_name=" Quillon  & Daughters ", contact="by post")
    _place(shop, customer_name="Quillon & Daughters", contact="q@example.org")
    assert shop.read(lambda session: one(session, Customer).contact) == "q@example.org"


@pytest.mark.parametrize("quantity", [0, -1])
def test_at_least_one_piece_is_ordered_now_and_after_a_change(shop, quantity):
    with pytest.raises(Refused, match="at least one"):
        _place(shop, wish=replace(WISH, quantity=quantity))
    code = _place(shop)
    with pytest.raises(Refused, match="at least one"):
        _change(shop, code, quantity=quantity)
    assert shop.read(lambda session: (job(session, code).quantity, len(session.execute(select(Order)).all()))) == (1, 1)


def _change(shop, code, **changes):
    shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes=changes))


# --- pictures


@pytest.fixture
def code(shop):
    """A job with two photographs."""
    return shop.order()


def _names(shop, code):
    return shop.read(lambda session: [row.original_name for row in pictures.current(job(session, code))])


def _files(shop):
    return sorted(path.name for path in shop.shop.store.folder.rglob("*") if path.is_file())


def _rows(shop):
    return shop.read(lambda session: len(session.execute(select(Picture.id)).all()))


def _receive(shop, code, name, data):
    with pictures.received(shop.shop.store, [(name, BytesIO(data))]) as taken:
        shop.act(
            lambda session, by: pictures.add_pictures(session, by, shop.shop.store, job=job(session, code), taken=taken)
        )


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("half of it.jpg", PHOTOGRAPHS[0].read_bytes()[:40_000]),
        ("shopping list.png", b"eggs, flour, gloves"),
        ("nothing.tif", b""),
        ("../../escape.jpg", b"\xff\xd8\xff\xe0 no more than a beginning"),
    ],
)
def test_what_is_no_whole_picture_is_refused_in_its_own_name_and_leaves_nothing(shop, code, name, data):
    before = _files(shop), _rows(shop)
    with pytest.raises(Refused) as refused:
        _receive(shop, code, name, data)
    assert name.rsplit("/", maxsplit=1)[-1] in refused.value.sentence
    assert "incoming" not in refused.value.sentence
    assert refused.value.field == "pictures"
    assert (_files(shop), _rows(shop)) == before


def test_one_bad_picture_among_good_ones_keeps_none_of_them(shop, code, tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(PHOTOGRAPHS[1].read_bytes()[:20_000])
    before = _files(shop), _rows(shop)
    with pytest.raises(Refused, match=r"bad\.jpg"):
        shop.add_pictures(code, [PHOTOGRAPHS[0], bad])
    assert (_files(shop), _rows(shop)) == before


def test_what_no_act_keeps_is_deleted_when_the_form_is_done(shop):
    with pictures.received(shop.shop.store, [("a.jpg", BytesIO(PHOTOGRAPHS[0].read_bytes()))]) as taken:
        waiting = [intake.waiting for intake in taken]
        assert all(path.is_file() for path in waiting)
    assert not any(path.exists() for path in waiting)
    assert list((shop.shop.store.folder / "incoming").iterdir()) == []


def test_a_print_holds_sixty_pictures_and_not_one_more(shop, code):
    shop.add_pictures(code, [PHOTOGRAPHS[0]] * 58)
    with pytest.raises(Refused, match="at most 60"):
        shop.add_pictures(code, [PHOTOGRAPHS[0]])
    assert len(_names(shop, code)) == 60


def test_pictures_are_put_into_another_order_and_none_may_be_missing(shop, code):
    def swap(codes):
        shop.act(lambda session, by: pictures.swap_order(session, by, job=job(session, code), codes=codes))

    standing = shop.read(lambda session: [row.code for row in pictures.current(job(session, code))])
    swap(standing[::-1])
    assert _names(shop, code) == ["flower.jpg", "china.jpg"]
    for wrong in (standing[:1], [*standing, standing[0]], [standing[0], "XXXXXXXX"]):
        with pytest.raises(Refused, match="changed meanwhile"):
            swap(wrong)


def test_a_better_version_takes_the_place_and_the_old_one_stays_on_record(shop, code):
    old = shop.read(lambda session: pictures.current(job(session, code))[0].id)
    better = BytesIO()
    Image.open(PHOTOGRAPHS[0]).rotate(180).save(better, "PNG")

    def exchange():
        with pictures.received(shop.shop.store, [("better.png", better)]) as taken:
            shop.act(
                lambda session, by: pictures.replace_picture(
                    session, by, shop.shop.store, picture=session.get_one(Picture, old), intake=taken[0]
                )
            )

    better.seek(0)
    exchange()
    assert _names(shop, code) == ["better.png", "flower.jpg"]
    kept = shop.read(lambda session: session.get_one(Picture, old).file.sha256)
    assert shop.shop.store.path(kept).read_bytes() == PHOTOGRAPHS[0].read_bytes()
    better.seek(0)
    with pytest.raises(Refused, match="replaced already"):
        exchange()


def test_a_picture_is_taken_out_once_and_the_others_close_up(shop, code):
    shop.add_pictures(code, [PHOTOGRAPHS[0]])

    first = shop.read(lambda session: pictures.current(job(session, code))[0].id)

    def take_out(session, by):
        pictures.remove_picture(session, by, picture=session.get_one(Picture, first))

    shop.act(take_out)
    assert shop.read(lambda session: [row.position for row in pictures.current(job(session, code))]) == [1, 2]
    with pytest.raises(Refused, match="taken out already"):
        shop.act(take_out)


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("C:\\pictures\\lake.jpg", "lake.jpg"),
        ("/etc/passwd", "passwd"),
        ("a\nb\x00\u202ec.jpg", "abc.jpg"),
        ("///", "picture"),
        ("x" * 300 + ".jpg", "x" * 116 + ".jpg"),
    ],
)
def test_a_name_is_shown_without_its_folders_and_control_letters(told, shown):
    assert pictures.clean_name(told) == shown


# --- proofs


def _about_now(shop, code):
    return shop.read(lambda session: proofs.state(job(session, code)))


@pytest.mark.parametrize(
    "change",
    [
        {"width": parse_length("75mm")},
        {"height": parse_length("3in")},
        {"flip": "up-down"},
        {"fit": "pad"},
        {"quantity": 3},
        {"artwork": "Another lake"},
    ],
)
def test_an_answer_is_no_longer_about_what_stands_when_the_wish_changes(shop, code, change):
    shop.approve(code)
    assert _about_now(shop, code) == ("approved", True)
    _change(shop, code, **change)
    assert _about_now(shop, code) == ("approved", False)
    back = {name: getattr(WISH, name) for name in change} | ({"artwork": "untitled"} if "artwork" in change else {})
    _change(shop, code, **back)
    assert _about_now(shop, code) == ("approved", True)


@pytest.mark.parametrize(
    "change", [{"price": Decimal(9)}, {"distance": parse_length("2m")}, {"use": "hand"}, {"effect": "depth"}]
)
def test_what_the_customer_did_not_look_at_may_change_after_the_answer(shop, code, change):
    shop.approve(code)
    _change(shop, code, **change)
    assert _about_now(shop, code) == ("approved", True)


def test_an_answer_is_about_the_pictures_in_their_order(shop, code):
    shop.approve(code)
    standing = shop.read(lambda session: [row.code for row in pictures.current(job(session, code))])
    shop.act(lambda session, by: pictures.swap_order(session, by, job=job(session, code), codes=standing[::-1]))
    assert _about_now(shop, code) == ("approved", False)
    with pytest.raises(Refused, match="changed after this proof"):
        _answer(shop, code, "approved")
    shop.act(lambda session, by: pictures.swap_order(session, by, job=job(session, code), codes=standing))
    assert _about_now(shop, code) == ("approved", True)


def _answer(shop, code, verdict, words=""):
    shop.act(
        lambda session, by: proofs.record_answer(
            session, by, proof=job(session, code).proofs[-1], verdict=verdict, how="telephone", words=words
        )
    )


def test_a_change_is_told_in_words_and_the_last_word_counts(shop, code):
    shop.approve(code)
    with pytest.raises(Refused, match="what is to be changed") as refused:
        _answer(shop, code, "change", words="  ")
    assert refused.value.field == "words"
    _answer(shop, code, "change", words="more sky")
    assert _about_now(shop, code) == ("change", True)
    _answer(shop, code, "approved")
    assert _about_now(shop, code) == ("approved", True)


def test_a_new_proof_waits_for_its_own_answer(shop, code):
    assert _about_now(shop, code) == ("none", True)
    shop.approve(code)
    draft = shop.read(lambda session: proofs.drawing(shop.shop.store, job(session, code))())
    shop.act(lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft))
    assert _about_now(shop, code) == ("waiting", True)


def test_a_proof_shows_every_picture_in_turn(shop, code):
    shop.approve(code)
    kept = shop.read(lambda session: job(session, code).proofs[-1].animation.sha256)
    with Image.open(shop.shop.store.path(kept)) as moving:
        # read back by a second library; two pictures played there and back are at least two frames
        assert moving.format == "GIF"
        assert moving.n_frames >= 2
        # 70 mm x 80 mm: upright
        assert abs(moving.width / moving.height - 70 / 80) < 0.01


def test_one_picture_is_no_proof(shop, code):
    shop.act(lambda session, by: pictures.remove_picture(session, by, picture=pictures.current(job(session, code))[0]))
    with pytest.raises(Refused, match="at least two pictures"):
        shop.read(lambda session: proofs.drawing(shop.shop.store, job(session, code))())


def test_every_job_keeps_the_step_list_it_began_with(shop):
    code = _place(shop)
    begun = shop.read(lambda session: session.execute(select(Job.step_list_id).where(Job.code == code)).scalar_one())
    own = shop.shop.settings.own_safety_path / "steps.toml"
    shipped = resources.folder("safety") / "steps.toml"
    own.write_text(re.sub('(?m)^revision = .*$', 'revision = "own 2"', shipped.read_text(encoding="utf-8"), count=1))
    later = _place(shop)
    ids = shop.read(lambda session: (job(session, code).step_list_id, job(session, later).step_list.revision))
    assert ids == (begun, "own 2")
