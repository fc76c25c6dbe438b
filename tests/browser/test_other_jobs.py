"""What a shop does beside its everyday print: a list brought in, mounting only, its own pieces, texts to customers."""

from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image
from playwright.sync_api import expect

from support.shop_walk import PHOTOGRAPHS, Person
from support.small_shop import new_shop
from support.to_the_door import PATIENCE

CUSTOMERS = "name,contact\nKestrel Kites,Quay 9\nOda Brandvik,oda@example.org\n"
SIZE = {"Finished width": "70mm", "Finished height": "80mm"}


@pytest.fixture
def person(serve_logbook, tmp_path, new_page):
    """The owner of a small shop of today."""
    made = new_shop(tmp_path / "data", now=datetime.now(UTC) - timedelta(hours=1))
    made.shop.database.close()
    owner = Person(new_page(), serve_logbook(data=tmp_path / "data").address)
    owner.sign_in("Olga", "ridge-and-valley")
    return owner


def test_what_a_shop_does_beside_its_everyday_print(person, watches, tmp_path):
    _a_list_of_customers_comes_in(person, watches[person.page])
    _a_customers_own_print_is_mounted_and_packed(person)
    _a_piece_of_the_shops_own_begins_with_a_sample(person)
    _texts_to_a_customer_are_copied(person, _small_picture(tmp_path))


def _choose_list(person, words):
    file = {"name": "customers.csv", "mimeType": "text/csv", "buffer": words.encode()}
    person.page.locator("input[type=file]").set_input_files(file)
    person.click("Look at it")


def _a_list_of_customers_comes_in(person, watch):
    person.go("shop/arriving")
    _choose_list(person, CUSTOMERS + ",nobody\n")
    assert "Line 4: name: this is needed." in person.page.locator("main").inner_text()
    watch.expect("422")
    _choose_list(person, CUSTOMERS)
    assert person.reads("Nothing is written yet")
    assert "Oda Brandvik" in person.page.locator("tbody").inner_text()
    person.click("Take all 2 in")
    done = person.page.get_by_text("2 lines of 2 taken in")
    person.page.locator(".working progress").or_(done).first.wait_for()
    done.wait_for()


def _begin(person, customer, artwork, pictures=()):
    person.go("orders/new")
    person.type("Customer", customer, within=person.page.get_by_role("main"))
    for label, size in SIZE.items():
        person.type(label, size)
    person.page.get_by_label("Pictures", exact=True).set_input_files(pictures)
    person.open("More:")
    person.type("Artwork", artwork, exact=True)


def _a_customers_own_print_is_mounted_and_packed(person):
    page = person.page
    _begin(person, "Kestrel Kites", "Their kite")
    person.choose("mounting only")
    person.click("Take the order")
    person.follow("Take the customer's own prints")
    page.get_by_label("Adhesive", exact=True).select_option(index=0)
    person.type("What is known of these prints", "20.1 lines per inch")
    person.click("Take them in")
    person.follow("26-0001-A-S1")
    sheet = page.url
    person.go("machines")
    person.follow("Rollers")
    person.sign_the_daily_check()
    for alone_with in ("Jon looks in at three", ""):
        page.goto(sheet)
        person.set_up_the_rollers(alone_with)
        person.sign()
    page.goto(sheet)
    person.sign(PATIENCE)
    person.follow("26-0001-A1")
    person.sign()
    person.choose("passed")
    person.sign()
    person.sign(PATIENCE)
    page.get_by_text("gone: collected on").wait_for()
    assert "print\tthe customer's own print: 20.1 lines per inch" in page.locator("table.records").inner_text()
    assert "before the logbook" not in page.locator("main").inner_text()


def _a_piece_of_the_shops_own_begins_with_a_sample(person):
    page = person.page
    _begin(person, "", "Window piece", PHOTOGRAPHS)
    person.click("Take the order")
    job = page.url
    assert person.reads("nobody needs to be asked")
    person.follow("Choose a pitch")
    person.type("or in your own words", "it served before")
    person.click("Use this pitch")
    person.open("A sample, or without marks")
    person.choose("a sample")
    person.interlace()
    assert person.reads("Sample: cannot leave as the order")
    person.accept()
    page.goto(job)
    expect(page.get_by_text("sample", exact=True).first).to_be_visible()
    person.interlace()
    person.accept()


def _small_picture(folder):
    """A photograph as a telephone would send it on."""
    small = folder / "small.jpg"
    with Image.open(PHOTOGRAPHS[0]) as picture:
        picture.resize((160, 107)).save(small)
    return small


def _texts_to_a_customer_are_copied(person, small):
    page = person.page
    _begin(person, "Oda Brandvik", "Two views", [small, PHOTOGRAPHS[1]])
    page.get_by_label("Due").fill("2031-05-30")
    person.click("Take the order")
    assert person.reads("Far too small for this print.")
    person.follow("Ask for a larger one")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    for title, words in {
        "A picture is too small": ["Dear Oda Brandvik", "small.jpg", "160 × 107"],
        "A proof to look at": ["Two views", "26-0003"],
        "It may be collected": ["finished and waits for you"],
        "It takes longer": ["2031"],
    }.items():
        box = page.locator("section.copied", has=page.get_by_role("heading", name=title))
        box.get_by_role("button", name="Copy").click()
        box.get_by_role("button", name="Copied").wait_for()
        copied = page.evaluate("navigator.clipboard.readText()")
        assert [one for one in words if one not in copied] == [], title
        assert copied.endswith("Test")
