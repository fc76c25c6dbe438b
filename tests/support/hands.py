"""Hands at a page: they type, click, choose and drop as a person would. The page itself counts what they do."""

import base64
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Download, Error, Locator, Page
from playwright.sync_api import TimeoutError as WaitedTooLong

from support.browser import opened

PATIENCE_MS = 10_000

# Every field that letters went into, once each, and every press of a finger. It listens before
# the page's own script does and keeps its count over all pages of the tab.
_COUNTING = """
addEventListener('input', ({ target }) => {
  if (target.matches('select, [type=radio], [type=checkbox], [type=file]')) return;
  const typed = new Set(JSON.parse(sessionStorage.getItem('typed') || '[]'));
  typed.add(`${location.pathname} ${target.name || target.id}`);
  sessionStorage.setItem('typed', JSON.stringify([...typed]));
}, true);
const touch = () => sessionStorage.setItem('touched', Number(sessionStorage.getItem('touched') || 0) + 1);
addEventListener('pointerdown', touch, true);
addEventListener('change', ({ target }) => { if (target.matches('select')) touch(); }, true);
addEventListener('submit', event => {
  if (!event.defaultPrevented && !event.target.target) document.documentElement.dataset.leaving = '';
});
"""
_LEAVING = "'leaving' in (document.documentElement?.dataset ?? {})"
_DROPPED = """files => {
  const transfer = new DataTransfer();
  for (const { name, content } of files) {
    const bytes = Uint8Array.from(atob(content), letter => letter.charCodeAt(0));
    transfer.items.add(new File([bytes], name));
  }
  return transfer;
}"""


def settle(page: Page) -> None:
    """Wait until a form that is on its way has been answered; a page that stays is not waited for.

    A browser out of breath begins to leave only after a click has returned: whoever opened the next address then
    would break off the form.
    """
    until = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < until:
        try:
            if not page.evaluate(_LEAVING):
                page.wait_for_load_state()  # words stand there before their style does
                return
        except Error as error:
            if "context was destroyed" not in error.message and "navigat" not in error.message:
                raise
        page.wait_for_timeout(20)


@dataclass
class Hands:
    """Somebody at a page of the logbook at ``address`` (with the last slash)."""

    page: Page
    address: str

    def __post_init__(self) -> None:
        """Begin to count; the page must not have been opened before."""
        self.page.add_init_script(_COUNTING)

    @property
    def typed(self) -> list[str]:
        """Every text field that was typed into so far: the page's path and the field's name."""
        return json.loads(self.page.evaluate("sessionStorage.getItem('typed') || '[]'"))

    @property
    def touched(self) -> int:
        """Presses on the page and choices from lists so far."""
        return int(self.page.evaluate("Number(sessionStorage.getItem('touched') || 0)"))

    def go(self, where: str = "") -> None:
        """Open an address of the logbook."""
        opened(self.page, self.address + where.lstrip("/"))

    def type(self, label: str, text: str, *, within: Locator | None = None, exact: bool = False) -> None:
        """Type into the field with this label."""
        (within or self.page).get_by_label(label, exact=exact).first.fill(text)

    def click(self, name: str, *, within: Locator | None = None, exact: bool = False) -> None:
        """Press the button with this name; a form is waited for."""
        (within or self.page).get_by_role("button", name=name, exact=exact).first.click()
        settle(self.page)

    def follow(self, name: str, *, within: Locator | None = None, exact: bool = False) -> None:
        """Follow the link with this name."""
        (within or self.page.get_by_role("main")).get_by_role("link", name=name, exact=exact).first.click()

    def choose(self, label: str, *, within: Locator | None = None) -> None:
        """Tick a box or choose a round button by its words."""
        (within or self.page).get_by_label(label, exact=False).first.check()

    def select(self, label: str, words: str) -> None:
        """Choose from a list by the words shown."""
        self.page.get_by_label(label, exact=True).first.select_option(label=words)

    def open(self, summary: str) -> None:
        """Open a folded part of the page."""
        self.page.locator("summary", has_text=summary).first.click()

    def drop(self, files: Sequence[Path]) -> None:
        """Drop files on the page's field for files."""
        told = [{"name": file.name, "content": base64.b64encode(file.read_bytes()).decode()} for file in files]
        transfer = self.page.evaluate_handle(_DROPPED, told)
        self.page.locator(".drop").first.dispatch_event("drop", {"dataTransfer": transfer})

    def download(self, link: str) -> Download:
        """Follow a link that is a download."""
        with self.page.expect_download() as waiting:
            self.follow(link)
        return waiting.value

    def reads(self, words: str) -> bool:
        """Whether these words stand on the page, visible; a page that is still loading is waited for."""
        found = self.page.get_by_text(words).locator("visible=true")
        try:
            found.first.wait_for(timeout=PATIENCE_MS)
        except WaitedTooLong:
            return False
        return True
