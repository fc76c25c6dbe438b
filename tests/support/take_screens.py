"""Screenshots of every page, for looking at: run by tests/screens."""

import sys
import tempfile
from contextlib import AbstractContextManager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from support.browser import CHROMIUM_ARGUMENTS, find_chromium
from support.every_page import BEFORE_SIGN_IN, SIZES, THEMES, every_page
from support.furnished import furnish, sign_in_as
from support.programs import serving
from support.shop_walk import Person

ROOT = Path(__file__).resolve().parents[2]
SCREENS = ROOT / ".screens"
# The pictures of the page are there; a moving one that nobody asked for is not waited for.
DRAWN = """() => Promise.all([...document.images].filter(image => image.loading !== 'lazy')
    .map(image => image.decode().catch(() => null)))"""


def main() -> None:
    """Furnish a shop, serve it and an empty one, visit every page in every size and theme.

    Words on the command line: only pages whose names begin with one of them.
    """
    SCREENS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder, empty = Path(name) / "data", Path(name) / "empty"
        furnish(folder, ROOT)
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
        with _served(folder) as address, _served(empty) as empty_address:
            for size, theme in ((size, theme) for size in SIZES for theme in THEMES):
                _before_sign_in(_page(chromium, size, theme), empty_address, f"{size}-{theme}")
                _inside(_page(chromium, size, theme), address, folder, f"{size}-{theme}")
                print(f"{size}, {theme}: written to {SCREENS.name}/", flush=True)
        chromium.close()


def _served(data: Path) -> AbstractContextManager[str]:
    command = [sys.executable, "-m", "logbook", "serve", "--data", str(data), "--port", "0"]
    return serving(command, log=data.with_suffix(".log"))


def _page(chromium: Browser, size: str, theme: str) -> Page:
    wide, high = SIZES[size]
    return chromium.new_context(viewport={"width": wide, "height": high}, color_scheme=theme).new_page()


def _before_sign_in(page: Page, address: str, look: str) -> None:
    """What somebody sees who opens an empty shop; nobody founds it here, so that each look finds it empty."""
    _shoot(page, address + BEFORE_SIGN_IN["entry.found"].lstrip("/"), f"entry.found_{look}")
    page.context.close()


def _inside(page: Page, address: str, folder: Path, look: str) -> None:
    _shoot(page, address + BEFORE_SIGN_IN["entry.sign_in"].lstrip("/"), f"entry.sign_in_{look}")
    Person(page, address).sign_in(*sign_in_as(folder, "owner"))
    for name, path in every_page(folder).items():
        if len(sys.argv) > 1 and not name.startswith(tuple(sys.argv[1:])):
            continue
        _shoot(page, address + path.lstrip("/"), f"{name}_{look}")
    page.context.close()


def _shoot(page: Page, address: str, name: str) -> None:
    page.goto(address)
    page.evaluate(DRAWN)
    page.screenshot(path=SCREENS / f"{name}.png", full_page=True)


if __name__ == "__main__":
    main()
