"""A sheet from the printer to its inspection at a tablet, tapped by hand; the page itself counts the touches."""

import sqlite3
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text

from logbook.actions import pins, places
from logbook.records.floor import Sheet
from logbook.records.people import Person
from logbook.records.places import Place
from support.hands import Hands
from support.small_shop import new_shop, one

PIN, CALLER = "4071", "Jon looks in at three"
MOST_TOUCHES = 12
"""From printing to inspection when nothing is wrong (the project's own limit)."""


@pytest.fixture(scope="module")
def press(tmp_path_factory):
    """A shop with two sheets before the printer, no waiting times (as a maker's sheet may say) and today's check;
    the folder, the code that enrols its tablet, the codes of the sheets."""
    made = new_shop(tmp_path_factory.mktemp("press") / "data", now=datetime.now(UTC) - timedelta(minutes=30))
    made.ready(quantity=2)
    made.check_machine()
    made.act(lambda session, _by: session.execute(text("UPDATE material SET dry_hours = '0', trim_hours = '0'")))
    made.act(lambda session, _by: session.execute(text("UPDATE machine SET dry_hours = '0'")))
    made.act(
        lambda session, by: pins.set_pin(session, by, person=one(session, Person, name="Otto"), pin=PIN), who="Otto"
    )
    made.now = datetime.now(UTC)
    made.act(lambda session, by: places.new_place(session, by, name="Press", stages=list(places.STAGES)))
    code = made.act(lambda session, by: places.new_code(session, by, place=one(session, Place)))
    sheets = made.read(lambda session: [row.code for row in session.query(Sheet).order_by(Sheet.id)])
    made.shop.database.close()
    return made.shop.settings.data, code, sheets


class Tablet(Hands):
    """Otto's fingers: the page counts taps; what is typed into a field counts as one."""

    fields = 0

    @property
    def touches(self):
        """Taps and fields so far."""
        return self.touched + self.fields

    def tap(self, name):
        """Tap the button whose words begin so, and wait for the next page."""
        with self.page.expect_navigation():
            self.page.get_by_role("button", name=name).first.tap()

    def sign(self):
        """Tap the first signature of the page."""
        with self.page.expect_navigation():
            self.page.locator("button.sign").first.tap()

    def give_the_pin(self):
        """Type it where it is asked for."""
        self.fill("PIN of Otto", PIN)

    def fill(self, label, words):
        """Type into a field."""
        self.page.get_by_label(label).first.fill(words)
        self.fields += 1

    def stands_at(self, title):
        """Wait until the page of a stage is there."""
        self.page.get_by_role("heading", name=title).first.wait_for()


def _forget_the_pin(data):
    """As if more than ten minutes had gone by."""
    with sqlite3.connect(data / "logbook.sqlite") as shop:
        shop.execute("UPDATE place SET pin_at = NULL")
    shop.close()


def _to_the_inspection(tablet, data, code, look, *, safety):
    """Scan the sheet's code at the printer and work until the inspection is signed; more than ten minutes lie
    between printing, drying, resting and inspection, less between the dry sheet and its lens."""
    tablet.go(f"go/{code}")
    tablet.sign()
    _forget_the_pin(data)
    tablet.go(f"go/{code}")
    tablet.give_the_pin()
    look()
    tablet.sign()
    tablet.stands_at("adhesive")
    if safety:
        for box in tablet.page.locator(".steps input[type=checkbox]:visible").all():
            box.tap()
        tablet.page.get_by_label("Who helps").select_option("nobody: I work alone")
        tablet.fill("Alone: who calls", CALLER)
        tablet.give_the_pin()
    look()
    tablet.sign()
    look()
    tablet.sign()
    tablet.stands_at("Register")
    look()
    tablet.sign()
    tablet.sign()
    _forget_the_pin(data)
    tablet.go(f"go/{code}")
    tablet.give_the_pin()
    tablet.sign()
    tablet.stands_at("Trim")
    assert tablet.reads("You just signed rest")
    look()
    tablet.sign()
    _forget_the_pin(data)
    tablet.go(f"go/{code}")
    tablet.give_the_pin()
    look()
    tablet.page.get_by_label("PIN of Otto").first.press("Enter")  # does not choose a result
    tablet.tap("Sign as inspector: passed")
    tablet.stands_at("Pack")
    return tablet.touches


@pytest.fixture
def tablet(press, serve_logbook, new_page):
    """Enrolled; Otto tapped his name."""
    data, code, _ = press
    page = new_page(viewport={"width": 820, "height": 1180}, has_touch=True)
    made = Tablet(page, serve_logbook(data=data).address)
    made.go(f"enrol/{code}")
    made.tap("Yes, this stays at Press")
    made.tap("O Otto")
    return made


def test_a_sheet_takes_at_most_twelve_touches_to_its_inspection(press, tablet, assert_accessible, record_property):
    data, _, sheets = press
    seen = []

    def look():
        kind = tablet.page.locator("h1").inner_text()[:3]
        if kind not in seen:
            seen.append(kind)
            assert_accessible(tablet.page)

    before = tablet.touches
    first = _to_the_inspection(tablet, data, sheets[0], look, safety=True)
    second = _to_the_inspection(tablet, data, sheets[1], look, safety=False)
    touches = {"first sheet of a session": first - before, "a further sheet": second - first}
    record_property("touches", touches)
    # once a session at the rollers: who helps, three safety ticks, each by itself, who calls, and the PIN for them
    assert touches == {"first sheet of a session": MOST_TOUCHES + 6, "a further sheet": MOST_TOUCHES}
