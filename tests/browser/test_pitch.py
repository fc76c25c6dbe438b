"""A whole pitch test on a tablet, a chart that is refused, a pitch that is refused with its reasons."""

import re
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from support.shop_walk import Person

TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
SEEN_PITCH = Decimal("20.07")


@pytest.fixture
def shop(serve_logbook):
    return serve_logbook()


@pytest.fixture
def person(shop, new_page):
    made = Person(new_page(**TABLET), shop.address)
    made.found_the_shop()
    made.take_an_order()
    return made


def _fitted(page) -> Decimal:
    return Decimal(
        re.search(r"([\d.]+) lines per inch", page.locator("#result .number").inner_text().replace("\n", " "))[1]
    )


def test_a_whole_test_from_the_sliding_band_to_the_accepted_pitch(person):
    page, job = person.page, person.page.url
    person.follow("Choose a pitch")
    person.start_a_test()
    person.open("one sliding band first")
    person.click("Make the sliding band")
    person.type("The scale at the spot that stands still", "20.05")
    person.click("Write these down")
    person.make_the_chart()
    person.read_the_chart(SEEN_PITCH)
    # eleven quarter counts fix the pitch to well under a hundredth (engine contract: 0.007 for the coarse chart)
    assert abs(_fitted(page) - SEEN_PITCH) < Decimal("0.014")
    person.follow("Read it again, blind", within=page.locator(".chart", has=page.locator(".bands")))
    assert page.get_by_text("What fits is shown after your own reading").is_visible()
    expect(page.locator(".chart", has=page.locator(".bands")).locator("table")).to_have_count(0)
    person.read_the_chart(SEEN_PITCH)
    assert page.get_by_text("Mara Lindqvist, again").first.is_visible()
    expect(page.get_by_text("a second, blind reading would be better")).to_have_count(0)
    person.put_on_record()
    page.goto(job)
    person.follow("Choose a pitch")
    assert (
        page.get_by_text("end to end over this print").is_visible() or page.get_by_text("Use this pitch").is_visible()
    )
    person.click("Use this pitch")
    assert page.get_by_text("Interlace").first.is_visible()


def test_a_chart_whose_bands_would_be_the_same_dots_is_refused_at_its_field(person, watches):
    page = person.page
    person.follow("Choose a pitch")
    person.start_a_test()
    page.get_by_label("Step, lines per inch").fill("0.0001")
    person.click("Make the chart")
    expect(page.locator("p.wrong")).to_have_count(1)
    assert page.get_by_label("Step, lines per inch").input_value() == "0.0001"
    expect(page.locator("section.chart")).to_have_count(0)
    watches[page].expect("422")


def test_a_second_person_reads_blind(shop, person, new_page):
    page = person.page
    person.go("shop")
    person.open("Somebody new")
    page.get_by_label("Name", exact=True).fill("Jon Ferro")
    page.get_by_label("First password").fill("reads-it-blind")
    person.click("Add this person")
    person.go("")
    person.follow("Choose a pitch")
    person.start_a_test()
    person.make_the_chart()
    person.read_the_chart(SEEN_PITCH)
    second = Person(new_page(**TABLET), shop.address)
    second.go()
    second.type("Name", "Jon Ferro")
    second.type("Password", "reads-it-blind")
    second.click("Sign in")
    second.page.get_by_role("heading", name="Today").wait_for()
    second.page.goto(page.url)
    assert second.page.get_by_text("so that it stays blind").is_visible()
    expect(second.page.locator("svg.vee")).to_have_count(0)
    second.read_the_chart(SEEN_PITCH)
    expect(second.page.locator("svg.vee circle")).to_have_count(22)


def test_a_pitch_that_does_not_fit_says_why(person, watches):
    page, job = person.page, person.page.url
    person.go("stock")
    person.follow("new lot of 20 LPI lens")
    page.get_by_label("Lot", exact=True).fill("second lot")
    person.click("Add it")
    person.go("pitch/carry")
    page.get_by_label("Lens lot").select_option(index=1)  # the newest, below "choose"
    person.type("Pitch, lines per inch", "20,05")
    page.get_by_label("Known since").fill("2026-01-15")
    person.type("Where it comes from", "blue notebook, page 4")
    person.click("Carry it over")
    page.goto(job)
    person.follow("Choose a pitch")
    reason = page.locator(".offer.off .stop").inner_text()
    assert "It was found for lens lot" in reason
    assert "this job uses" in reason
    expect(page.locator(".offer.off button")).to_have_count(0)
    # what nothing here has confirmed asks for a reason, and says so when none is given
    person.click("Use the nominal pitch")
    assert page.get_by_text("Give a reason to go on").first.is_visible()
    watches[page].expect("422")
