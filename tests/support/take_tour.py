"""The pictures of the README's tour, from the invented workshop: run by tests/tour."""

import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from support.browser import CHROMIUM_ARGUMENTS, find_chromium
from support.every_page import every_page
from support.furnished import furnish, sign_in_as
from support.programs import serving
from support.shop_walk import Person
from support.take_screens import DRAWN

ROOT = Path(__file__).resolve().parents[2]
TOUR = ROOT / ".tour"
WIDE, HIGH, COLOURS = 1000, 720, 128
SHOWN = {
    "today": "today.today",
    "job": "jobs.job-copies",
    "pitch": "pitch.test-accepted",
    "dots": "runs.run-dots",
    "bench": "bench.sheet-laminate",
    "trace": "bench.piece-gone",
    "traveller": "papers.traveller",
}
"""File name to the page of the every-page walk that it shows."""
SCROLLED = {"pitch": "svg.vee", "dots": "#dots"}
"""What is brought to the top of its picture."""


def main() -> None:
    """Furnish a shop, serve it, write each picture with few colours, so that the repository stays small."""
    TOUR.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name) / "data"
        furnish(folder, ROOT)
        pages = every_page(folder)
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
        command = [sys.executable, "-m", "logbook", "serve", "--data", str(folder), "--port", "0"]
        with serving(command, log=folder.with_suffix(".log")) as address:
            page = chromium.new_context(viewport={"width": WIDE, "height": HIGH}, color_scheme="light").new_page()
            Person(page, address).sign_in(*sign_in_as(folder, "owner"))
            for picture, shown in SHOWN.items():
                page.goto(address + pages[shown].lstrip("/"))
                _keep(page, picture)
        chromium.close()
    print(f"{len(SHOWN)} pictures, {sum(file.stat().st_size for file in TOUR.glob('*.png')) // 1000} kB in .tour/")


def _keep(page: Page, picture: str) -> None:
    if picture in SCROLLED:
        page.locator(SCROLLED[picture]).first.evaluate("element => element.scrollIntoView({block: 'center'})")
    page.evaluate(DRAWN)
    with Image.open(BytesIO(page.screenshot())) as shot:
        shot.convert("RGB").quantize(COLOURS).save(TOUR / f"{picture}.png", optimize=True)


if __name__ == "__main__":
    main()
