"""What the logbook refuses, tried by hand: the reason stands where it belongs, and nothing that was typed is lost."""

import re

import pytest
from playwright.sync_api import expect

from support.shop_walk import OWNER, PASSWORD, PHOTOGRAPHS, Person
from support.to_the_door import bring_to


@pytest.fixture
def shop(serve_logbook):
    return serve_logbook()


@pytest.fixture
def person(shop, page):
    return Person(page, shop.address)


def _faults(page):
    """The sentences beside fields."""
    return page.locator("p.wrong").all_inner_texts()


def test_guessing_a_password_is_slowed_down_and_the_right_one_opens_again(person, page, watch):
    person.found_the_shop()
    person.click("Sign out")

    def try_to_sign_in(password):
        page.get_by_label("Password").fill(password)
        page.get_by_label("Name").fill(OWNER)
        with page.expect_navigation():
            person.click("Sign in")

    for guess in ("grooves-up-1", "grooves-up-2", "grooves-up-3", "grooves-up-4", "grooves-up-5", "grooves-up-6"):
        try_to_sign_in(guess)
        if page.get_by_text("Too many tries").count():
            break
    assert person.reads("Too many tries; wait")
    watch.expect("422")
    while not page.get_by_role("heading", name="Today").count():  # the wait is a second at first
        try_to_sign_in(PASSWORD)
    watch.problems = [problem for problem in watch.problems if "422" not in problem]


def test_what_is_no_whole_picture_is_refused_and_what_was_typed_stays(person, page, watch, tmp_path):
    words, half = tmp_path / "order.jpg", tmp_path / "half.jpg"
    words.write_text("Dear printer, two pictures will follow.", encoding="utf-8")
    half.write_bytes(PHOTOGRAPHS[0].read_bytes()[:60_000])
    person.found_the_shop()
    for bad in (words, half):
        person.begin_an_order(customer="Café Sextant", pictures=[PHOTOGRAPHS[1], bad])
        person.click("Take the order")
        field = page.locator(".field.wrong")
        expect(field.locator("label", has_text="Pictures")).to_have_count(1)
        assert bad.name in field.locator("p.wrong").inner_text()
        assert page.get_by_label("Customer", exact=True).input_value() == "Café Sextant"
        assert page.get_by_label("Finished width").input_value() == "4in"
        assert page.get_by_label("Lens: lines per inch").input_value() == "20"
        watch.expect("422")
    person.go("orders")
    assert person.reads("No open order.")


def test_every_field_says_what_is_wrong_with_it(person, page, watch):
    person.found_the_shop()
    person.begin_an_order(size=("0mm", "9 furlongs"), lens="400")
    person.open("More:")
    person.type("Pieces", "0")
    person.click("Take the order")
    for label in ("Finished width", "Finished height", "Pieces"):
        field = page.locator(".field.wrong", has=page.get_by_label(label))
        assert field.locator("p.wrong").inner_text(), label
        assert page.get_by_label(label).get_attribute("aria-invalid") == "true"
    assert page.get_by_label("Finished height").input_value() == "9 furlongs"
    watch.expect("422")


def test_more_strips_than_the_printer_has_dots_are_refused(person, page, watch):
    """Two pictures under 100 lenticules per inch need 200 strips per inch; at 150 dots some would get none."""
    person.found_the_shop()
    person.begin_an_order(lens="100")
    page.get_by_label("Dots per inch").fill("150")
    person.click("Take the order")
    person.make_a_proof()
    person.write_down_the_answer()
    person.take_the_nominal_pitch()
    person.click("Interlace")
    assert "dot" in page.get_by_role("alert").first.inner_text()
    assert person.reads("Nothing is interlaced yet.")
    watch.expect("422")


def test_the_same_form_sent_twice_makes_one_order(person, page):
    person.found_the_shop()
    person.begin_an_order()
    button = page.get_by_role("button", name="Take the order")
    with page.context.expect_page() as second_tab:
        button.click(modifiers=["ControlOrMeta"])
    second_tab.value.get_by_role("heading", name="Where each print is").wait_for()
    button.click()
    # the second one makes nothing: it leads to what the first one made
    page.get_by_role("heading", name="Order 26-0001").wait_for()
    person.go("orders")
    assert page.get_by_role("main").get_by_role("link", name=re.compile("^26-")).all_inner_texts() == ["26-0001"]


def test_a_reason_is_asked_for_once_where_it_is_wanted(person, page, watch):
    """The lens maker's number is no measurement: whoever takes it says why."""
    bring_to(person, "order")
    person.follow("Choose a pitch")
    person.click("Use the nominal pitch")
    assert len(_faults(page)) == 1
    watch.expect("422")
    person.type("or in your own words", "only a trial, the customer knows")
    person.click("Use the nominal pitch")
    assert person.reads("only a trial, the customer knows")


def test_a_withdrawn_pitch_stops_its_job(person, page):
    bring_to(person, "ready")
    job = page.url
    page.locator("#materials ~ p", has_text="nominal").get_by_role("link").click()
    person.open("Withdraw this pitch")
    person.type("What is wrong with it", "the wrapping was of another lens")
    person.click("Withdraw it")
    assert person.reads("Withdrawn by Mara Lindqvist")
    page.goto(job)
    assert person.reads("This pitch was withdrawn: the wrapping was of another lens")
    expect(page.get_by_role("button", name="Interlace")).to_have_count(0)
    assert person.reads("Nothing is interlaced yet.")
