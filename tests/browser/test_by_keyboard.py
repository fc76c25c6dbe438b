"""From the order to the door without touching a mouse (WCAG 2.2, 2.1.1 keyboard, 2.4.7 focus visible)."""

import pytest

from support.shop_walk import MACHINE_FACTS, PASSWORD, PHOTOGRAPHS
from support.to_the_door import PATIENCE, TOMORROW

FARTHEST = 80
"""More stops of the tabulator than any page here has; as many presses may lead nowhere."""
# The next picture of the page stands: until its first one a browser out of breath may swallow what is pressed.
_DRAWN = "() => new Promise(requestAnimationFrame)"
# What a screen reader would call the element that has the focus, as far as this app's pages go, and whether the
# focus can be seen.
_FOCUSED = """() => {
    const field = document.activeElement;
    const legend = field.type === 'radio' ? field.closest('fieldset')?.querySelector('legend')?.innerText + ': ' : '';
    const name = field.getAttribute('aria-label') || field.labels?.[0]?.innerText || field.innerText || '';
    const style = getComputedStyle(field);
    return { name: legend + name.trim(), seen: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
             top: field === document.body };
}"""


@pytest.fixture
def keys(page):
    return Keys(page)


class Keys:
    """Ten fingers and no mouse."""

    def __init__(self, page):
        self.page = page

    def to(self, name):
        """Press the tabulator until the focus is on what has this name."""
        self.page.wait_for_load_state()
        stops, nowhere = [], 0
        while len(stops) < FARTHEST and nowhere < FARTHEST:
            self.page.keyboard.press("Tab")
            focused = self.page.evaluate(_FOCUSED)
            if focused["top"]:
                nowhere += 1
                self.page.evaluate(_DRAWN)
                continue
            assert focused["seen"], f"the focus cannot be seen on {focused['name']!r}"
            if focused["name"].startswith(name):
                return self
            stops.append(focused["name"])
        raise AssertionError(f"no way to {name!r} by keyboard on {self.page.url}; {nowhere} × nowhere, stops: {stops}")

    def type(self, text):
        self.page.keyboard.type(text)
        return self

    def press(self, key="Enter"):
        self.page.keyboard.press(key)
        return self

    def follow(self, name, *, leads_to):
        """Go to a link or button, press it, and wait for the page behind it."""
        self.to(name).press()
        self.page.get_by_role("heading", name=leads_to).first.wait_for()

    def choose_files(self, name, files):
        with self.page.expect_file_chooser() as chooser:
            self.to(name).press()
        chooser.value.set_files(files)


def test_the_way_from_the_order_to_the_door_needs_no_mouse(serve_logbook, page, keys):
    page.goto(serve_logbook().address)
    keys.to("Your name").type("Mara Lindqvist").to("Password").type(PASSWORD)
    keys.to("The same password again").type(PASSWORD).press()
    page.get_by_role("heading", name="Today").wait_for()
    keys.follow("Skip to the page", leads_to="Today")
    _order_proof_and_pitch(page, keys)
    _interlace(page, keys)
    page.locator(".ridged:not(.drawing)").wait_for()
    keys.to("I looked at it and accept it").press()
    page.get_by_role("button", name="Start more sheets").wait_for()
    _download(page, keys)
    keys.follow("26-0001-A-S1", leads_to="Print")
    keys.to("Reason").type(TOMORROW)
    keys.follow("Sign: printed", leads_to="Dry")
    keys.to("Reason").type(PATIENCE)
    keys.follow("Sign: drying is over", leads_to="Adhesive onto print")
    _describe_the_laminator(page, keys)
    keys.follow("Bench logbook", leads_to="Today")
    keys.follow("26-0001-A-S1: bring", leads_to="Adhesive onto print")
    keys.to("Alone: who calls").type("Jon looks in at three")
    _roll(page, keys, leads_to="Register and laminate")
    _roll(page, keys, leads_to="Rest")
    keys.to("Reason").type(PATIENCE)
    keys.follow("Sign when the trim time is met", leads_to="Sheet 26-0001-A-S1")
    _trim_inspect_and_let_go(page, keys)


def _order_proof_and_pitch(page, keys):
    keys.follow("Take an order", leads_to="Take an order")
    keys.to("Customer").type("Harbour Café").to("Finished width").type("3in").to("Finished height").type("2in")
    keys.to("Flip: left").press("ArrowDown").press("ArrowUp")
    assert page.get_by_label("left – right").is_checked()
    keys.choose_files("Pictures", PHOTOGRAPHS)
    keys.to("Lens: lines per inch").type("20")
    keys.follow("Take the order", leads_to="Where each print is")
    _the_print_flips_under_the_arrow_keys(page, keys)
    keys.to("Make a proof").press()
    page.get_by_text("Proof 1").wait_for()
    keys.to("Answer: approved").press("Space").to("How it came: e-mail").press("Space")
    keys.to("Write it down").press()
    page.get_by_text("approved by e-mail").wait_for()
    keys.follow("Choose a pitch", leads_to="Pitch for")
    keys.to("Reason").type("first").to("Use the nominal pitch").press()
    page.get_by_role("heading", name="Where each print is").wait_for()


def _interlace(page, keys):
    keys.follow("Interlace", leads_to="Interlaced files")  # the line under "Next" leads to the button
    keys.to("Interlace").press()
    page.get_by_role("heading", name="Interlace run").wait_for()
    page.get_by_role("button", name="I looked at it and accept it").wait_for(timeout=120_000)


def _download(page, keys):
    with page.expect_download() as file:
        keys.to("Download the TIFF").press()
    assert file.value.suggested_filename.endswith("lpi.tif")


def _describe_the_laminator(page, keys):
    keys.follow("Machines", leads_to="Machines")
    keys.follow("Add a machine", leads_to="A new roller laminator")
    keys.to("Name").type("Rosa").to("Driven by: a motor").press("Space")
    keys.follow("Add it", leads_to="Rosa")
    for label, words in MACHINE_FACTS.items():
        keys.to(label).type(words)
    keys.to("Write it down").press()
    page.get_by_text("NOT SET, do not run").wait_for(state="detached")
    keys.to("I have read this machine's cautions again").press("Space").to("Name this person").press()
    page.get_by_text("named by Mara Lindqvist").wait_for()
    for question in page.locator("fieldset.yesno legend").all_inner_texts():
        keys.to(f"{question}: yes").press("Space")
    keys.to("I looked at each of these today").press()
    page.get_by_text("all answered yes").wait_for()


def _roll(page, keys, *, leads_to):
    for step in page.locator(".steps label.tick").all_inner_texts():
        keys.to(step.strip()).press("Space")
    keys.to("I have read and set up as above").press()
    page.get_by_text("Rollers stopped.").wait_for()
    keys.follow("Sign: read and set up as above", leads_to=leads_to)


def _trim_inspect_and_let_go(page, keys):
    keys.to("26-0001-A1").press()
    page.get_by_role("heading", name="Trim").wait_for()
    keys.follow("Sign: cut to size", leads_to="Inspect")
    keys.to("Choose the result.: passed").press("Space")
    keys.follow("Sign as inspector", leads_to="Pack and ship")
    keys.to("Reason").type(PATIENCE).to("Sign when packed").press()
    page.get_by_text("gone: collected on").wait_for()


def _the_print_flips_under_the_arrow_keys(page, keys):
    shown = page.locator(".flipper[data-shown='0']").first
    shown.wait_for()
    first = _pixels(page)
    keys.to("the print, 2 pictures").press("ArrowRight")
    page.locator(".flipper[data-shown='1']").wait_for()
    assert _pixels(page) != first
    keys.press("ArrowLeft")
    shown.wait_for()
    assert _pixels(page) == first


def _pixels(page):
    return page.locator(".flipper canvas").first.evaluate("canvas => canvas.toDataURL()")
