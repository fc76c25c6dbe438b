"""The bench by hand: several sheets in one act, half-done work, two people at one sheet, a sample at the door."""

from datetime import datetime

import pytest
from playwright.sync_api import expect

from support.every_page import every_page
from support.furnished import sign_in_as
from support.shop_walk import OWNER, PHOTOGRAPHS, Person
from support.to_the_door import PATIENCE, TOMORROW, bring_to


@pytest.fixture
def shop(serve_logbook):
    return serve_logbook()


@pytest.fixture
def person(shop, page):
    return Person(page, shop.address)


def _three_sheets(person):
    """Three sheets of one run stand at the printer."""
    bring_to(person, "run")
    person.accept(sheets=3)
    person.page.get_by_role("link", name="26-0001-A-S3").wait_for()


def test_several_sheets_are_signed_in_one_act(person, page, watch, assert_accessible):
    """Nobody has described their printer: that asks, once for both, and what was chosen stays chosen."""
    _three_sheets(person)
    person.go("bench")
    place = page.locator("section.place", has_text="Printing")
    for number in (1, 3):
        person.choose(f"choose 26-0001-A-S{number}", within=place)
    person.click("Sign the chosen ones", within=place)
    watch.expect("422")
    expect(place.get_by_label("Reason")).to_be_in_viewport()
    expect(place.get_by_role("checkbox", checked=True)).to_have_count(2)
    assert_accessible(page)
    person.type("Reason", TOMORROW, within=place)
    person.click("Sign the chosen ones", within=place)
    drying = page.locator("section.place", has_text="Drying")
    drying.get_by_role("link", name="26-0001-A-S3").wait_for()
    assert drying.get_by_role("link").all_inner_texts() == ["26-0001-A-S1", "26-0001-A-S3"]
    assert place.get_by_role("link").all_inner_texts() == ["26-0001-A-S2"]
    person.go("shop/record")
    expect(page.get_by_role("cell", name="stage signed: print")).to_have_count(1)


def test_a_sheet_signed_meanwhile_is_not_signed_again(shop, person, page, new_page, watch):
    bring_to(person, "print")
    other = Person(new_page(), shop.address)
    other.sign_in()
    other.page.goto(page.url)
    other.sign(TOMORROW)
    assert other.reads("Dry")
    person.sign()
    assert "Mara Lindqvist signed 'print' of Sheet 26-0001-A-S1 at" in page.get_by_role("alert").first.inner_text()
    watch.expect("409")
    person.go("shop/record")
    expect(page.get_by_role("cell", name="stage signed: print")).to_have_count(1)


def test_a_wrong_tap_is_taken_back_with_one(person, page, assert_accessible):
    bring_to(person, "print")
    page.set_viewport_size({"width": 360, "height": 740})
    person.sign(TOMORROW)
    assert person.reads("You just signed print of 26-0001-A-S1.")
    assert_accessible(page)
    button = page.get_by_role("button", name="Take it back")
    assert button.bounding_box()["height"] >= 48
    button.click()
    expect(button).to_have_count(0)
    expect(page.get_by_role("heading", name="Print")).to_be_visible()
    expect(page.get_by_role("cell", name="signature taken back", exact=True)).to_have_count(1)
    person.go("shop/record")
    expect(page.get_by_role("cell", name="signature taken back: print")).to_have_count(1)


def test_a_stage_on_paper_is_taken_over_with_a_photograph_of_its_page(person, page):
    bring_to(person, "print")
    sheet = page.url
    person.describe_the_printer()
    page.goto(sheet)
    person.open("On paper instead")
    person.click("This stage is done on paper")
    person.follow("Take the page over")
    page.get_by_label("Photograph of the page").set_input_files(PHOTOGRAPHS[0])
    page.get_by_label("Whose initials stand there").select_option(label=OWNER)
    page.get_by_label("Signed on paper at").fill(f"{datetime.now().astimezone():%Y-%m-%dT%H:%M}")
    person.click("Take it over")
    assert person.reads(f"From paper, entered by {OWNER}.")
    page.get_by_role("link", name="photograph").first.wait_for()


def test_half_done_work_enters_where_it_stands_and_goes_on(person, page):
    bring_to(person, "order")
    person.follow("It was half done before the logbook")
    page.get_by_label("It stands before").select_option(label="trimming")
    person.type("Sheets", "2")
    person.type("Note", "mounted in October, pitch in the blue notebook")
    person.click("Enter them")
    assert page.get_by_role("heading", name="Where each print is").is_visible()
    expect(page.locator("#prints ~ ul").get_by_text("before the logbook")).to_have_count(2)
    person.follow("26-0001-A2")
    assert person.reads("before the logbook: its pitch and file are not on record")
    records = page.locator("table.records tbody tr")
    assert records.count() == records.filter(has_text="before the logbook").count() == 5
    person.sign()
    assert page.get_by_role("heading", name="Inspect").is_visible()
    expect(page.locator("table.records tbody tr", has_text="signed: performed")).to_have_count(1)


def test_a_sample_cannot_leave_as_the_order(person, page, watch):
    bring_to(person, "order")
    person.take_the_nominal_pitch()  # nobody has approved anything
    person.open("A sample, or without marks")
    person.choose("a sample, cannot leave as the order")
    person.interlace()
    bring_to(person, "pack", after="run")
    page.locator(".banner", has_text="cannot leave as the order").wait_for()
    page.get_by_role("button", name="Sign when packed").wait_for()
    person.sign()
    assert person.reads("is a sample and cannot leave as the order")
    watch.expect("422")
    person.choose("It leaves as a sample, not as the order")
    person.sign(PATIENCE)
    assert person.reads("gone: collected on")
    person.go("orders")
    assert page.get_by_role("link", name="26-0001").is_visible()  # the order is still open


def test_a_laminator_nobody_described_does_not_run(person, page, watch):
    bring_to(person, "print")
    sheet = page.url
    person.sign(TOMORROW)
    person.sign(PATIENCE)
    person.add_the_laminator("Old crank")
    assert page.locator(".banner", has_text="NOT SET, do not run").is_visible()
    person.name_oneself()
    person.sign_the_daily_check()
    page.goto(sheet)
    person.type("Alone: who calls", "Jon looks in at three")
    for box in page.locator(".steps input[type=checkbox]:visible").all():
        box.check()
    person.sign()
    assert "NOT SET, do not run" in page.get_by_role("alert").first.inner_text()
    watch.expect("422")


def test_a_jam_ends_the_session_and_everything_is_asked_anew(person, page):
    bring_to(person, "adhesive")
    person.set_up_the_rollers("Jon looks in at three")
    person.open("A jam, or something else came between")
    page.locator("details", has_text="A jam").get_by_label("Why").fill("the liner ran askew")
    person.click("Begin anew")
    page.get_by_text("Read this before the rollers move").wait_for()
    ticks = page.locator(".steps input[type=checkbox]:visible")
    expect(ticks).to_have_count(3)
    expect(page.locator(".steps input[type=checkbox]:checked")).to_have_count(0)
    assert page.get_by_label("Alone: who calls").input_value() == ""


def test_the_laminator_that_may_run_is_offered_first_and_the_others_say_why_not_when_asked(
    furnished, serve_logbook, new_page
):
    person = Person(new_page(), serve_logbook(data=furnished).address)
    person.sign_in(*sign_in_as(furnished, "owner"))
    paths = every_page(furnished)
    person.go(paths["machines.machine-set"])
    ready = person.page.locator("h1").inner_text().split()[0]
    person.go(paths["machines.machine-not-set"])
    unready = person.page.locator("h1").inner_text().split("\n")[0].split(" laminator")[0]
    person.go(paths["bench.sheet-adhesive"])
    chosen = person.page.get_by_label("Laminator").locator("option:checked")
    assert chosen.inner_text().startswith(ready)
    reason = person.page.get_by_text(f"{unready}: NOT SET, do not run")
    assert not reason.is_visible()
    person.open(f"{unready} cannot run now")
    assert reason.is_visible()
