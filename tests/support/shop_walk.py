"""A person at the logbook: every method types and clicks what that person would. Counts what is typed and touched."""

import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import sklearn
from playwright.sync_api import Download, Locator, Page

PHOTOGRAPHS = [Path(sklearn.__file__).parent / "datasets" / "images" / name for name in ("china.jpg", "flower.jpg")]
"""Real photographs of one size, shipped inside scikit-learn (CC BY 2.0)."""
MACHINE_FACTS = {
    "Maker's manual": "Own manual, third edition, drawer A",
    "Freeing a trapped person": "Stop, isolate, raise the top roller by its hand wheel.",
    "Emergency stops": "feed side and exit side",
    "Isolator or plug": "wall switch, left",
    "Competent person": "workshop lead",
    "Last inspection": "last October, Nordpress Service",
}


@dataclass
class Person:
    """Somebody at a page. ``typed`` counts text fields that were typed into, ``touched`` clicks and choices."""

    page: Page
    address: str
    typed: int = 0
    touched: int = 0

    # --- hands

    def go(self, where: str = "") -> None:
        """Open an address of the logbook."""
        self.page.goto(self.address + where.lstrip("/"))

    def type(self, label: str, text: str, *, within: Locator | None = None) -> None:
        """Type into the field with this label."""
        (within or self.page).get_by_label(label, exact=False).first.fill(text)
        self.typed += 1

    def click(self, name: str, *, within: Locator | None = None, exact: bool = False) -> None:
        """Press the button with this name."""
        (within or self.page).get_by_role("button", name=name, exact=exact).first.click()
        self.touched += 1

    def follow(self, name: str, *, within: Locator | None = None, exact: bool = False) -> None:
        """Follow the link with this name."""
        (within or self.page.get_by_role("main")).get_by_role("link", name=name, exact=exact).first.click()
        self.touched += 1

    def choose(self, label: str, *, within: Locator | None = None) -> None:
        """Tick a box or choose a round button by its words."""
        (within or self.page).get_by_label(label, exact=False).first.check()
        self.touched += 1

    def open(self, summary: str) -> None:
        """Open a folded part of the page."""
        self.page.locator("summary", has_text=summary).first.click()
        self.touched += 1

    def download(self, link: str) -> Download:
        """Follow a link that is a download."""
        with self.page.expect_download() as waiting:
            self.follow(link)
        return waiting.value

    # --- the office

    def found_the_shop(self, name: str = "Mara Lindqvist", password: str = "grooves-up-7") -> None:
        """The first page of an empty shop."""
        self.go()
        self.type("Your name", name)
        self.type("Password", password)
        self.click("Open the shop")
        self.page.get_by_role("heading", name="Today").wait_for()

    def take_an_order(
        self, *, customer: str = "Harbour Café", size: tuple[str, str] = ("4in", "5in"), lens: str | None = "20"
    ) -> None:
        """A customer, a size, two pictures dropped; the first time the lens, too."""
        self.follow("Take an order")
        self.type("Customer", customer)
        self.type("Finished width", size[0])
        self.type("Finished height", size[1])
        self.choose("left – right")
        self.page.get_by_label("Pictures", exact=True).set_input_files(PHOTOGRAPHS)
        if lens is not None:
            self.type("Lens: lines per inch", lens)
        self.click("Take the order")

    def make_a_proof(self) -> None:
        """The proof's files."""
        self.click("Make a proof")
        self.page.get_by_text("Proof 1").wait_for()

    def write_down_the_answer(self, words: str = "") -> None:
        """The customer approved."""
        if words:
            self.open("Who said it")
            self.type("Their words", words)
        self.click("Write it down")
        self.page.get_by_text("approved by e-mail").wait_for()

    def take_the_nominal_pitch(self) -> None:
        """The lens maker's number, with one of the usual reasons."""
        self.follow("Choose a pitch")
        self.page.get_by_label("Reason", exact=True).last.select_option("first print with this lens")
        self.click("Use the nominal pitch")

    def interlace(self) -> None:
        """Ask for the run and wait until its file is there."""
        self.click("Interlace")
        self.page.get_by_role("link", name="Download the TIFF").wait_for(timeout=60_000)

    def accept(self, sheets: int = 1) -> None:
        """Look at it and accept it for printing."""
        self.page.get_by_label("Sheets to print").fill(str(sheets))
        self.click("I looked at it and accept it")

    # --- the pitch

    def start_a_test(self) -> None:
        """Conditions as they are; then the first chart."""
        self.follow("Measure it: a new pitch test")
        self.type("Room, °C", "22,5")
        self.type("Humidity", "50")
        self.click("Start the test")

    def make_the_chart(self) -> Download:
        """The chart that the page proposes, downloaded for the printer."""
        self.click("Make the chart")
        return self.download("Download for the printer")

    def read_the_chart(self, true_pitch: Decimal) -> None:
        """Count fringes in every band, to the quarter, as the eye sees them."""
        chart = self.page.locator(".chart", has=self.page.locator(".bands")).last
        length = Decimal(190) / Decimal("25.4")
        for band in chart.locator(".bands li").all():
            lpi = Decimal(band.locator("label").inner_text().split()[-1])
            band.locator("input").fill(str(round(abs(lpi - true_pitch) * length * 4) / Decimal(4)))
            self.typed += 1
        self.click("Write these down", within=chart)

    def put_on_record(self) -> None:
        """Accept what fits."""
        self.page.get_by_role("button", name=re.compile(r"Put .* on record")).click()
        self.page.get_by_role("heading", name="Every print from it").wait_for()

    # --- the bench

    def add_adhesive(self) -> None:
        """A film and its first lot."""
        self.go("stock/new")
        self.choose("adhesive")
        self.page.get_by_label("Name", exact=True).fill("clear film 50")
        self.page.get_by_label("Lot", exact=True).fill("CF-31")
        self.page.get_by_label("Sheets", exact=True).fill("20")
        self.click("Add it")

    def add_the_laminator(self, name: str = "Rosa") -> None:
        """A powered laminator, with nothing known about it yet."""
        self.go("machines/new")
        self.page.get_by_label("Name", exact=True).fill(name)
        self.click("Add it")

    def write_its_facts_down(self) -> None:
        """Everything that must be known before anybody works at it."""
        part = self.page.locator("section", has_text="What must be known")
        for label, words in MACHINE_FACTS.items():
            part.get_by_label(label).fill(words)
        self.click("Write it down", within=part)

    def name_oneself(self, name: str = "Mara Lindqvist") -> None:
        """The owner names himself, having read the cautions again."""
        self.page.get_by_label("Person", exact=True).select_option(label=name)
        self.choose("I have read this machine's cautions again")
        self.click("Name this person")

    def sign_the_daily_check(self) -> None:
        """Every question answered yes, one by one."""
        for question in self.page.locator("fieldset.yesno").all():
            question.get_by_label("yes").check()
        self.click("I looked at each of these today")

    def sign(self, reason: str = "") -> None:
        """Sign the stage of the page, with a reason where one is asked for."""
        if reason:
            self.page.get_by_label("Reason", exact=True).first.fill(reason)
        self.page.locator("button.sign").click()
        self.touched += 1

    def set_up_the_rollers(self, alone_with: str = "Jon looks in at three") -> None:
        """Read and tick what comes before the rollers."""
        if alone_with:
            self.page.get_by_label("Alone: who calls").fill(alone_with)
        for box in self.page.locator(".steps input[type=checkbox]").all():
            box.check()
            self.touched += 1
        self.sign()
