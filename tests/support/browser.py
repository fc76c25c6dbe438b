"""A real Chromium, what goes wrong in its pages, and whether people with disabilities can use them."""

import functools
import re
import shutil
from importlib.resources import files
from pathlib import Path

from playwright.sync_api import ConsoleMessage, Error, Page, Request, Response

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM_ON_MACOS = Path("/Applications/Google Chrome.app/Contents/MacOS/Google Chrome")
# No sandbox: the tests run as root in a container too. The others keep a browser
# quiet that has no network and little shared memory.
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
# Web Content Accessibility Guidelines 2.0, 2.1 and 2.2, levels A and AA, as axe-core names them.
WCAG_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

# The rules of these levels whose answer depends on colours: all that another theme can change.
OF_COLOUR = ["color-contrast", "link-in-text-block"]

# A page that is left while it still asks for something, and a link that turns out
# to be a download, end a request on purpose.
_LEFT_ON_PURPOSE = "net::ERR_ABORTED"


def find_chromium() -> str:
    """The browser of this machine; a missing one is an error, never a skipped test."""
    found = [path for path in map(shutil.which, CHROMIUM_NAMES) if path]
    if CHROMIUM_ON_MACOS.exists():
        found.append(str(CHROMIUM_ON_MACOS))
    if not found:
        raise FileNotFoundError("no Chromium on this machine; tests/run installs one")
    return found[0]


class PageWatch:
    """Everything that went wrong in a page: console errors, uncaught exceptions, failed requests."""

    def __init__(self, page: Page) -> None:
        self.problems: list[str] = []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.problems.append(f"exception: {error}"))
        page.on("requestfailed", self._request_failed)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.problems.append(f"console: {message.text} ({message.location.get('url', '')})")

    def _request_failed(self, request: Request) -> None:
        if request.failure != _LEFT_ON_PURPOSE:
            self.problems.append(f"request: {request.method} {request.url}: {request.failure}")

    def expect(self, pattern: str) -> None:
        """Take away the problems that match; there must be one.

        For a page that is meant to be refused: ``watch.expect("422")``.
        """
        matching = [problem for problem in self.problems if re.search(pattern, problem)]
        assert matching, f"nothing went wrong that matches {pattern!r}; seen: {self.problems}"
        self.problems = [problem for problem in self.problems if problem not in matching]


def opened(page: Page, address: str) -> Response | None:
    """Open an address, once more where a page that was just loading itself anew came between."""
    for _ in range(3):
        try:
            if answer := page.goto(address):
                return answer
        except Error as error:
            if not any(words in error.message for words in ("ERR_ABORTED", "interrupted by another navigation")):
                raise
    return page.goto(address)


@functools.cache
def _axe_source() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def accessibility_findings(page: Page, *, rules: list[str] | None = None) -> list[str]:
    """What axe-core finds on the page as it stands, one line for each element; by some rules alone, or by all.

    The check runs in the page's own world by evaluation, which a strict content
    security policy allows.
    """
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(_axe_source())
    only = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": WCAG_TAGS}
    result = page.evaluate("only => axe.run({runOnly: only, resultTypes: ['violations']})", only)
    return [
        f"{rule['id']} ({rule['impact']}): {rule['help']}: {node['html'][:200]}"
        for rule in result["violations"]
        for node in rule["nodes"]
    ]
