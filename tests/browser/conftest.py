"""A browser for the session, watched pages, and the program itself to visit."""

import fcntl
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from support.browser import CHROMIUM_ARGUMENTS, PageWatch, accessibility_findings, find_chromium
from support.furnished import furnish
from support.programs import serving

expect.set_options(timeout=30_000)  # a machine out of breath is no fault of the page


@dataclass(frozen=True)
class Visited:
    """A running program: its address (with the last slash), its data folder, what it printed."""

    address: str
    data: Path
    log: Path


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's own Chromium, once for each worker of the suite."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=find_chromium(), args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def watches() -> Iterator[dict[Page, PageWatch]]:
    """The watch over every page of the test; what nobody expected fails the test at its end."""
    watches: dict[Page, PageWatch] = {}
    yield watches
    problems = [problem for watch in watches.values() for problem in watch.problems]
    assert problems == []


@pytest.fixture
def serve_logbook(tmp_path: Path) -> Iterator[Callable[..., Visited]]:
    """Start ``logbook serve`` on a folder (a fresh one unless given) and a free port.

    ``serve_logbook("--option", data=folder)``; everything ends with the test.
    """
    with ExitStack() as stack:

        def start(*options: str, data: Path | None = None) -> Visited:
            data = data or tmp_path / "data"
            log = tmp_path / f"{data.name}.log"
            command = [sys.executable, "-m", "logbook", "serve", "--data", data, "--port", "0", *options]
            return Visited(address=stack.enter_context(serving(command, log=log)), data=data, log=log)

        yield start


@pytest.fixture
def new_page(
    browser: Browser, watches: dict[Page, PageWatch], serve_logbook: Callable[..., Visited]
) -> Iterator[Callable[..., Page]]:
    """Open a page in a context of its own (own cookies): ``new_page(viewport=…, color_scheme="dark")``.

    Several at once are several people. Options are Playwright's for a context.
    It comes after the server, so that every page is closed before the server
    ends: a request in flight would count as a problem.
    """
    assert serve_logbook
    with ExitStack() as stack:

        def open_page(**options: object) -> Page:
            context = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, "locale": "en-GB", **options})
            stack.callback(context.close)
            page = context.new_page()
            watches[page] = PageWatch(page)
            return page

        yield open_page


@pytest.fixture
def page(new_page: Callable[..., Page]) -> Page:
    """One watched page on a desktop."""
    return new_page()


@pytest.fixture
def watch(page: Page, watches: dict[Page, PageWatch]) -> PageWatch:
    """The watch over ``page``: ``watch.expect("422")`` where a refusal is what is tested."""
    return watches[page]


@pytest.fixture
def assert_accessible() -> Callable[[Page], None]:
    """Check the page as it stands against WCAG 2.2 A and AA, as far as a program can."""

    def check(page: Page) -> None:
        page.wait_for_load_state()  # words stand there before their style does
        findings = accessibility_findings(page)
        assert findings == [], f"{page.url}:\n" + "\n".join(findings)

    return check


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory, worker_id: str, project_root: Path) -> Path:
    """The folder of a shop that has an object of every kind, made once for all workers; look at it, write nothing."""
    base = tmp_path_factory.getbasetemp()
    shared = (base if worker_id == "master" else base.parent) / "furnished"
    shared.mkdir(exist_ok=True)
    folder, done = shared / "data", shared / "done"
    with (shared / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            furnish(folder, project_root)
            done.touch()
    return folder
