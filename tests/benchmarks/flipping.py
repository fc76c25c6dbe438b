"""How smoothly a print flips under the pointer: ``python tests/benchmarks/flipping.py [--moves 300]``.

A furnished shop's job page in Chromium, the pointer led over the flip in small steps. Milliseconds between drawn frames
at the median, the 95th percentile and the longest, beside those of the same steps over the page's heading, where
nothing is drawn. Figures are printed, nothing is judged.
"""

import argparse
import sys
import tempfile
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from playwright.sync_api import Page, sync_playwright

from support.browser import CHROMIUM_ARGUMENTS, find_chromium
from support.every_page import every_page
from support.furnished import furnish, sign_in_as
from support.programs import serving
from support.shop_walk import Person

ROOT = Path(__file__).resolve().parents[2]
COUNT_FRAMES = """() => { window.frames_at = []; window.counting = true;
const note = (now) => { window.frames_at.push(now); if (window.counting) requestAnimationFrame(note); };
requestAnimationFrame(note); }"""
GAPS = """() => { window.counting = false;
return window.frames_at.slice(1).map((now, i) => now - window.frames_at[i]); }"""


def main() -> int:
    """Print both."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--moves", type=int, default=300)
    moves = words.parse_args().moves
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name) / "data"
        furnish(folder, ROOT)
        path = every_page(folder)["jobs.job-copies"].lstrip("/")
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
        command = [sys.executable, "-m", "logbook", "serve", "--data", str(folder), "--port", "0"]
        with serving(command, log=folder.with_suffix(".log")) as address:
            page = chromium.new_context(viewport={"width": 1280, "height": 900}).new_page()
            Person(page, address).sign_in(*sign_in_as(folder, "owner"))
            page.goto(address + path)
            page.wait_for_load_state("networkidle")
            _told("the flip", _gaps(page, ".flipper canvas", moves))
            _told("the heading", _gaps(page, "h1", moves))
        chromium.close()
    return 0


def _gaps(page: Page, over: str, moves: int) -> list[float]:
    """Milliseconds between frames while the pointer goes over it from edge to edge."""
    page.locator(over).first.scroll_into_view_if_needed()
    box = page.locator(over).first.bounding_box()
    assert box is not None, over
    page.mouse.move(box["x"] + 1, box["y"] + box["height"] / 2)
    page.evaluate(COUNT_FRAMES)
    page.mouse.move(box["x"] + box["width"] - 1, box["y"] + box["height"] / 2, steps=moves)
    gaps: list[float] = page.evaluate(GAPS)
    return sorted(gaps)


def _told(name: str, gaps: list[float]) -> None:
    middle, most = gaps[len(gaps) // 2], gaps[int(len(gaps) * 0.95)]
    late = sum(gap > 34 for gap in gaps)
    print(f"{name:12}{len(gaps):5} frames, {middle:.1f} ms at the median, {most:.1f} in 95 of 100, longest "
          f"{gaps[-1]:.0f}; {late} later than two screens", flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
