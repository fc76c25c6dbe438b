"""Screenshots of every page, for looking at: run by tests/screens."""

import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from support.browser import CHROMIUM_ARGUMENTS, find_chromium
from support.every_page import OWNER, OWNER_PASSWORD, SIZES, THEMES, every_page
from support.programs import serving

ROOT = Path(__file__).resolve().parents[2]
SCREENS = ROOT / ".screens"


def main() -> None:
    """Load the demo, serve it, visit every page in every size and theme."""
    SCREENS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        subprocess.run(
            [sys.executable, "demo/scenario.py", "--data", data], cwd=ROOT, check=True, stdout=subprocess.DEVNULL
        )
        command = [sys.executable, "-m", "logbook", "serve", "--data", str(data), "--port", "0"]
        with serving(command, log=Path(folder) / "log") as address, sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
            for size, (wide, high) in SIZES.items():
                for theme in THEMES:
                    _visit(
                        chromium.new_page(viewport={"width": wide, "height": high}, color_scheme=theme),
                        address,
                        data,
                        f"{size}-{theme}",
                    )
            chromium.close()


def _visit(page, address: str, data: Path, look: str) -> None:
    page.goto(address)
    page.get_by_label("Name").fill(OWNER)
    page.get_by_label("Password").fill(OWNER_PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Today").wait_for()
    for name, path in every_page(data).items():
        page.goto(address + path.lstrip("/"), wait_until="networkidle")
        page.screenshot(path=SCREENS / f"{name}_{look}.png", full_page=True)
    page.close()
    print(f"{look}: written to {SCREENS.name}/")


if __name__ == "__main__":
    main()
