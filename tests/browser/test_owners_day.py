"""What an owner does beside the bench, on one day in the furnished shop: each thing once, by hand, on its page."""

import os
import shutil

import pytest
from playwright.sync_api import expect

from support.every_page import every_page
from support.furnished import sign_in_as
from support.shop_walk import PHOTOGRAPHS, Person

GONE = ("gone", "scrapped")


@pytest.fixture
def shop(furnished, tmp_path, serve_logbook):
    """The furnished shop's own copy of this test; its files are linked, since nothing ever changes one."""
    data = tmp_path / "data"
    shutil.copytree(furnished, data, copy_function=_linked)
    return serve_logbook("--no-worker", data=data)


def _linked(source, target):
    return os.link(source, target) if f"{os.sep}files{os.sep}" in source else shutil.copy2(source, target)


@pytest.fixture
def owner(furnished, shop, new_page):
    person = Person(new_page(), shop.address)
    person.sign_in(*sign_in_as(furnished, "owner"))
    return person


def test_an_owners_day(owner, furnished):
    paths = every_page(furnished)
    _a_quote_says_how_it_is_seen_and_becomes_an_order(owner)
    _words_of_different_fields_find_its_job(owner)
    _a_lens_is_chosen_by_its_numbers(owner)
    _an_order_is_placed_again(owner, paths)
    _stock_is_put_right_with_one_tap(owner, paths)
    _a_failed_piece_goes_as_it_is(owner, paths)
    _a_spoiled_piece_is_replaced(owner, paths)
    _a_check_that_was_wrong_holds_what_was_worked_under_it(owner, paths)
    _a_lot_and_a_pitch_hold_their_prints(owner, paths)
    _a_step_is_changed_with_a_reason(owner)
    _numbers_stand_beside_their_files(owner)


def _a_quote_says_how_it_is_seen_and_becomes_an_order(owner):
    owner.go("quotes/new")
    owner.type("Customer", "Łódź Sextants", exact=True)
    owner.type("Artwork", "Menu card", exact=True)
    owner.type("Finished width", "120mm")
    owner.type("Finished height", "90mm")
    owner.open("Effect, viewing distance, use")
    owner.choose("depth:")
    owner.choose("in the hand")
    owner.type("Viewing distance", "40cm")
    owner.click("Give the quote")
    seen = "depth, left-right, in the hand, seen from 400 mm"
    assert seen in owner.page.get_by_label("The quote in plain words").input_value()
    owner.click("Accepted: make the order")
    owner.follow("Menu card")
    facts = owner.page.locator("dl.facts").first.inner_text()
    assert "400 mm" in facts
    assert "hand" in facts


def _words_of_different_fields_find_its_job(owner):
    job = owner.page.url.partition("#")[0]
    box = owner.page.get_by_role("searchbox")
    box.fill("menu lodz")
    box.press("Enter")
    owner.follow("Menu card")
    owner.page.wait_for_url(job)


def _a_lens_is_chosen_by_its_numbers(owner):
    owner.follow("Which lens?")
    offer = owner.page.locator("section.offer", has=owner.page.get_by_role("button")).first
    owner.type("Why, in your own words", "the finest here", within=offer)
    offer.get_by_role("button").first.click()
    owner.page.get_by_text("the finest here").first.wait_for()


def _an_order_is_placed_again(owner, paths):
    owner.go(paths["reorders.of_job"])
    owner.page.get_by_role("heading", name="exactly as before").wait_for()
    assert owner.page.locator(".findings li, .note").count(), "what has changed since is said, or that nothing has"
    owner.click("Order it again")
    assert owner.page.get_by_role("heading", level=1).is_visible()


def _stock_is_put_right_with_one_tap(owner, paths):
    owner.go(paths["stock.lot"])
    left = owner.page.locator("dl.facts dd").first
    now = int(left.inner_text().split(",")[0]) - 1
    owner.click(f"There are now {now}")
    expect(left).to_contain_text(str(now))


def _a_failed_piece_goes_as_it_is(owner, paths):
    owner.go(paths["bench.piece-failed"])
    decided = owner.page.locator("form", has=owner.page.get_by_label("accept: let it go as it is"))
    expect(decided.locator("input[type=radio]:checked")).to_have_count(0)
    owner.choose("accept: let it go as it is")
    owner.type("Why", "it hangs high up", within=decided)
    owner.type("The customer's word", "Leave it, said on the telephone", within=decided)
    decided.get_by_label("Photograph of it").set_input_files(PHOTOGRAPHS[0])
    owner.click("Decide", within=decided)
    told = owner.page.locator("ul.acts", has_text="concession").inner_text()
    assert "it hangs high up" in told
    assert "Leave it, said on the telephone" in told


def _a_spoiled_piece_is_replaced(owner, paths):
    owner.go(paths["bench.piece-inspect"])
    serial = owner.page.locator("h1").inner_text().split()[0]
    owner.open("It is spoiled")
    spoiled = owner.page.locator("details", has_text="It is spoiled").last
    owner.choose("replace: scrap it", within=spoiled)
    owner.type("Why", "dropped at the table", within=spoiled)
    spoiled.get_by_label("What caused it").select_option("H1")
    owner.click("Decide", within=spoiled)
    owner.page.get_by_text("Replaced by").wait_for()
    assert "written off" in owner.page.locator("ul.acts", has_text="replace").inner_text()
    owner.page.locator("p", has_text="Replaced by").get_by_role("link").click()
    owner.page.get_by_text(f"Replaces {serial}").wait_for()


def _held(owner):
    """Of the list of prints on the page: those that have not left and are not held; there is one that was touched."""
    rows = owner.page.locator("table tbody tr", has=owner.page.locator("a[href*='/print/']"))
    told = [row.inner_text() for row in rows.all()]
    assert told
    return [row for row in told if not any(stage in row for stage in GONE) and "set aside" not in row]


def _a_check_that_was_wrong_holds_what_was_worked_under_it(owner, paths):
    owner.go(paths["machines.machine-set"])
    owner.open("A check was wrong")
    wrong = owner.page.locator("details", has_text="A check was wrong").last
    newest = wrong.get_by_label("Which").locator("option").first.get_attribute("value")
    wrong.get_by_label("Which").select_option(newest)
    owner.type("What was wrong with it", "the exit side's stop was never tried", within=wrong)
    owner.click("Withdraw this check", within=wrong)
    owner.page.get_by_text("Today's is not signed yet").wait_for()
    touched = owner.page.locator("p.held", has_text="the exit side's stop was never tried").get_by_role("link")
    assert touched.count()
    touched.first.click()
    assert owner.reads("Set aside:")


def _a_lot_and_a_pitch_hold_their_prints(owner, paths):
    owner.go(paths["pitch.on_record"])
    owner.open("Withdraw this pitch")
    owner.type("What is wrong with it", "read from the wrong distance")
    owner.click("Withdraw it")
    owner.page.locator(".banner", has_text="read from the wrong distance").wait_for()
    rows = owner.page.locator("table tbody tr").all_inner_texts()
    assert rows
    assert all("withdrawn" in row or any(stage in row for stage in GONE) for row in rows)
    owner.page.locator("dl.facts a[href*='/lot/']").first.click()
    owner.open("Set this lot aside")
    owner.type("What is wrong with it", "ridges crushed in the crate")
    owner.click("Set it aside")
    owner.page.locator(".banner", has_text="ridges crushed").wait_for()
    assert _held(owner) == []


def _a_step_is_changed_with_a_reason(owner):
    owner.go("shop/steps/dry")
    step = owner.page.locator("fieldset.row.new").last
    owner.type("Words", "Note on which shelf it lies.", within=step)
    owner.click("Save as a new revision")
    owner.page.get_by_text("Note on which shelf it lies.").first.wait_for()


def _numbers_stand_beside_their_files(owner):
    owner.go("shop/numbers")
    assert owner.page.locator("svg").count() >= 2
    losses = owner.page.get_by_role("link", name="Losses as CSV").get_attribute("href")
    answer = owner.page.request.get(owner.address + losses.lstrip("/"))
    assert "H1" in answer.text()
