"""A person at the logbook, from an empty shop to the door: every method does what that person would do by hand."""

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import sklearn
from playwright.sync_api import Download

from support.browser import opened
from support.hands import Hands, settle

PHOTOGRAPHS = [Path(sklearn.__file__).parent / "datasets" / "images" / name for name in ("china.jpg", "flower.jpg")]
"""Real photographs of one size, shipped inside scikit-learn (CC BY 2.0)."""
OWNER, PASSWORD = "Mara Lindqvist", "grooves-up-7"
MACHINE_FACTS = {
    "Maker's manual": "Own manual, third edition, drawer A",
    "Freeing a trapped person": "Stop, isolate, raise the top roller by its hand wheel.",
    "Emergency stops": "feed side and exit side",
    "Isolator or plug": "wall switch, left",
    "Competent person": "workshop lead",
    "Last inspection": "last October, Nordpress Service",
}
PRINTER_FACTS = {
    "Prints with": "pigment ink, sheet in drawer A",
    "Dots per inch its driver takes": "720",
    "Scaling switched off": "own sheet size, 100 %, second tab",
    "Its prints dry for, hours": "24",
    "Maker's manual": "first edition, drawer A",
    "Isolator or plug": "behind it",
}
CHART_INCHES = Decimal(190) / Decimal("25.4")
"""The length that the first chart proposes; 1 inch = 25.4 mm exactly."""


class Person(Hands):
    """Somebody who works in the shop."""

    # --- coming in

    def found_the_shop(self, name: str = OWNER, password: str = PASSWORD) -> None:
        """The first page of an empty shop."""
        self.go()
        self.type("Your name", name)
        self.type("Password", password)
        self.type("The same password again", password)
        self.click("Open the shop")
        self.page.get_by_role("heading", name="Today").wait_for()

    def sign_in(self, name: str = OWNER, password: str = PASSWORD) -> None:
        """Somebody whom the shop knows."""
        self.go("sign-in")
        self.type("Name", name)
        self.type("Password", password)
        self.click("Sign in")
        self.page.get_by_role("heading", name="Today").wait_for()
        self.page.wait_for_load_state()

    def visit(self, path: str) -> int:
        """Open an address of the shop as typed; returns the status.

        A page that was just loading itself anew answers for the visitor's address now and then, with no status of
        its own, or breaks off the visit: then the address is opened once more.
        """
        answer = opened(self.page, self.address + path.lstrip("/"))
        assert answer is not None, path
        return answer.status

    def let_in(self, name: str, *, role: str, password: str = PASSWORD) -> None:
        """The owner adds somebody to the shop."""
        self.go("shop")
        self.open("Somebody new")
        self.type("Name", name, exact=True)
        self.type("First password", password)
        self.choose(f"{role}:")
        self.click("Add this person")
        self.page.get_by_text(f"{name} (").first.wait_for()

    # --- the office

    def begin_an_order(
        self,
        *,
        customer: str = "Harbour Café",
        size: tuple[str, str] = ("4in", "5in"),
        pictures: Sequence[Path] = tuple(PHOTOGRAPHS),
        lens: str = "20",
    ) -> None:
        """Fill in a customer, a size and two pictures; the lens, where the shop has none yet."""
        self.go("orders/new")
        self.type("Customer", customer, within=self.page.get_by_role("main"))
        self.type("Finished width", size[0])
        self.type("Finished height", size[1])
        self.page.get_by_label("Pictures", exact=True).set_input_files(pictures)
        if self.page.get_by_label("Lens: lines per inch").count():
            self.type("Lens: lines per inch", lens)

    def take_an_order(self, **wish: object) -> None:
        """A whole order; ends on its job's page."""
        self.begin_an_order(**wish)  # type: ignore[arg-type]
        self.click("Take the order")
        self.page.get_by_role("heading", name="Where each print is").wait_for()

    def make_a_proof(self) -> None:
        """The proof's files."""
        self.click("Make a proof")
        self.page.get_by_text("Proof 1").wait_for()

    def write_down_the_answer(self, words: str = "") -> None:
        """The customer approved, by e-mail."""
        self.choose("approved")
        self.choose("e-mail")
        if words:
            self.open("Who said it")
            self.type("Their words", words)
        self.click("Write it down")
        self.page.get_by_text("approved by e-mail").wait_for()

    def take_the_nominal_pitch(self) -> None:
        """The lens maker's number, with one of the usual reasons."""
        self.follow("Choose a pitch")
        self.page.get_by_label("Reason", exact=True).last.select_option("first print with this lens")
        self.page.get_by_role("button", name=re.compile("Use (this|the nominal) pitch")).last.click()
        settle(self.page)
        self.page.get_by_role("heading", name="Where each print is").wait_for()

    def interlace(self) -> None:
        """Ask for the run and wait until its file is there."""
        self.click("Interlace")
        self.page.get_by_role("button", name="I looked at it and accept it").wait_for(timeout=120_000)

    def accept(self, sheets: int = 1) -> None:
        """Look at it and accept it for printing."""
        self.type("Sheets to print", str(sheets))
        self.click("I looked at it and accept it")
        self.page.get_by_role("button", name="Start more sheets").wait_for()

    # --- the pitch

    def start_a_test(self) -> None:
        """Conditions as they are; then the first chart."""
        self.follow("Measure it: a new pitch test")
        self.type("Room, °C", "22,5")
        self.type("Humidity", "50")
        if self.page.get_by_label("Reason", exact=True).count():  # nobody has described the printer yet
            self.type("Reason", "only a trial", exact=True)
        self.click("Start the test")

    def make_the_chart(self) -> Download:
        """The chart that the page proposes, downloaded for the printer."""
        self.click("Make the chart")
        return self.download("Download for the printer")

    def read_the_chart(self, seen: Decimal) -> None:
        """Count the fringes in every band of the newest chart, to the quarter, through a lens seen at this pitch.

        A band shows as many fringes as its lines and the lens's differ over its length (two gratings' beat).
        """
        chart = self.page.locator(".chart", has=self.page.locator(".bands")).last
        for band in chart.locator(".bands li").all():
            lpi = Decimal(band.locator("label").inner_text().split()[-1])
            band.locator("input").fill(str(round(abs(lpi - seen) * CHART_INCHES * 4) / Decimal(4)))
        self.click("Write these down", within=chart)

    def put_on_record(self) -> None:
        """Accept what fits."""
        self.page.get_by_role("button", name=re.compile(r"Put .* on record")).click()
        settle(self.page)
        self.page.get_by_role("heading", name="Every print from it").wait_for()

    # --- stock and machines

    def add_adhesive(self, *, sheets: int = 20) -> None:
        """A film and its first lot; ends on the lot's page."""
        self.go("stock/new")
        self.choose("adhesive")
        self.type("Name", "clear film 50", exact=True)
        self.type("Lot", "CF-31", exact=True)
        self.type("Sheets", str(sheets), exact=True)
        self.click("Add it")
        self.page.get_by_role("heading", name="lot CF-31").wait_for()

    def add_the_laminator(self, name: str = "Rosa") -> None:
        """A powered laminator, with nothing known about it yet."""
        self.go("machines/new")
        self.type("Name", name, exact=True)
        self.choose("a motor")
        self.click("Add it")
        self.page.get_by_role("heading", name=name).wait_for()

    def write_its_facts_down(self) -> None:
        """Everything that must be known before anybody works at it."""
        part = self.page.locator("section", has_text="What must be known")
        for label, words in MACHINE_FACTS.items():
            self.type(label, words, within=part)
        self.click("Write it down", within=part)

    def describe_the_printer(self) -> None:
        """Everything that must be known of it; ends on its page."""
        self.go("machines")
        self.follow("Printer")
        self.page.get_by_text("Not described yet").wait_for()
        for label, words in PRINTER_FACTS.items():
            self.type(label, words)
        self.click("Write it down")
        self.page.get_by_text("Not described yet").wait_for(state="detached")

    def name_oneself(self, name: str = OWNER) -> None:
        """The owner names himself, having read the cautions again."""
        self.select("Person", name)
        self.choose("I have read this machine's cautions again")
        self.click("Name this person")

    def sign_the_daily_check(self) -> None:
        """Every question answered yes, one by one."""
        for question in self.page.locator("fieldset.yesno").all():
            question.get_by_label("yes").check()
        self.click("I looked at each of these today")

    def set_up_a_laminator(self) -> None:
        """A laminator that may be used today by the owner."""
        self.add_the_laminator()
        self.write_its_facts_down()
        self.name_oneself()
        self.sign_the_daily_check()
        self.page.get_by_text("all answered yes").wait_for()

    # --- the bench

    def sign(self, reason: str = "") -> None:
        """Sign the stage of the page, with a reason where one is asked for."""
        if reason:
            self.type("Reason", reason, exact=True)
        self.page.locator("button.sign").click()
        settle(self.page)

    def set_up_the_rollers(self, alone_with: str = "") -> None:
        """Read and tick what comes before the rollers."""
        if alone_with:
            self.page.get_by_label("Who helps").select_option("nobody: I work alone")
            self.type("Alone: who calls", alone_with)
        for box in self.page.locator(".steps input[type=checkbox]:visible").all():
            box.check()
        self.sign()
        self.page.get_by_text("Rollers stopped.").wait_for()
