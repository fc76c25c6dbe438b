"""A small browser for the check: follows links and sends forms as a person's browser would; standard library only."""

import http.cookiejar
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser

TIMEOUT = 60


@dataclass
class Form:
    """One form of a page: where it goes, what it holds."""

    action: str
    method: str = "get"
    fields: dict[str, list[str]] = field(default_factory=dict)
    text: str = ""


@dataclass
class Page:
    """What came back: address, status, bytes, and what a reader sees."""

    address: str
    status: int
    content: bytes
    kind: str
    forms: list[Form] = field(default_factory=list)
    links: list[tuple[str, str]] = field(default_factory=list)
    text: str = ""

    def form(self, action: str) -> Form:
        """The first form whose address holds these words."""
        for found in self.forms:
            if action in found.action:
                return found
        raise AssertionError(f"{self.address} has no form that goes to {action!r}; it says: {self.text[:300]}")

    def link(self, words: str) -> str:
        """The address of the first link that shows these words."""
        for shown, address in self.links:
            if words in shown:
                return address
        raise AssertionError(f"{self.address} has no link {words!r}; it says: {self.text[:300]}")


class _Reader(HTMLParser):
    def __init__(self, page: Page) -> None:
        super().__init__()
        self.page, self.form, self.select, self.link = page, None, "", None
        self.hidden = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Forms, their fields and links."""
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.form = Form(told.get("action", ""), told.get("method", "get").lower())
            self.page.forms.append(self.form)
        elif tag == "a" and "href" in told:
            self.link = ["", told["href"]]
        elif tag == "script":
            self.hidden = True
        elif self.form is not None:
            self._field(tag, told)

    def _field(self, tag: str, told: dict[str, str]) -> None:
        assert self.form is not None
        name = told.get("name", "")
        if tag == "input" and name:
            box = told.get("type") in ("radio", "checkbox")
            if told.get("type") != "file" and (not box or "checked" in told):
                self.form.fields.setdefault(name, []).append(told.get("value", ""))
        elif tag == "textarea" and name:
            self.form.fields.setdefault(name, []).append("")
        elif tag == "select":
            self.select = name
        elif tag == "option" and self.select and ("selected" in told or self.select not in self.form.fields):
            self.form.fields[self.select] = [told.get("value", "")]

    def handle_endtag(self, tag: str) -> None:
        """The end of what was begun."""
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = ""
        elif tag == "script":
            self.hidden = False
        elif tag == "a" and self.link is not None:
            self.page.links.append((" ".join(self.link[0].split()), self.link[1]))
            self.link = None

    def handle_data(self, data: str) -> None:
        """Text of the page, of a link, of a form."""
        if self.hidden:
            return
        self.page.text += f" {data.strip()}" if data.strip() else ""
        if self.link is not None:
            self.link[0] += data
        if self.form is not None:
            self.form.text += data


class Browser:
    """Keeps its cookies and where it is."""

    def __init__(self, home: str) -> None:
        self.home = home
        self._opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))

    def get(self, address: str) -> Page:
        """Open an address."""
        return self._open(urllib.request.Request(urllib.parse.urljoin(self.home, address)))

    def send(
        self,
        form: Form,
        values: Mapping[str, str | list[str]] | None = None,
        *,
        files: list[tuple[str, str, bytes]] | None = None,
        expect: int = 200,
    ) -> Page:
        """Send a form with these values over those it holds; ``files`` are (field, name, bytes)."""
        fields = dict(form.fields)
        for name, value in (values or {}).items():
            fields[name] = value if isinstance(value, list) else [value]
        body, kind = _multipart(fields, files or [])
        request = urllib.request.Request(
            urllib.parse.urljoin(self.home, form.action), data=body, headers={"Content-Type": kind}, method="POST"
        )
        page = self._open(request)
        if page.status != expect:
            raise AssertionError(f"{form.action} answered {page.status}, not {expect}; it says: {page.text[:600]}")
        return page

    def _open(self, request: urllib.request.Request) -> Page:
        try:
            with self._opener.open(request, timeout=TIMEOUT) as answer:
                page = Page(answer.url, answer.status, answer.read(), answer.headers.get_content_type())
        except urllib.error.HTTPError as error:
            page = Page(error.url or request.full_url, error.code, error.read(), error.headers.get_content_type())
        if page.kind == "text/html":
            _Reader(page).feed(page.content.decode())
        return page


def _multipart(fields: dict[str, list[str]], files: list[tuple[str, str, bytes]]) -> tuple[bytes, str]:
    border = uuid.uuid4().hex
    parts = [
        f'--{border}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, values in fields.items()
        for value in values
    ]
    for name, file_name, content in files:
        place = f'name="{name}"; filename="{file_name}"'
        head = f"--{border}\r\nContent-Disposition: form-data; {place}\r\nContent-Type: image/jpeg\r\n\r\n"
        parts.append(head.encode() + content + b"\r\n")
    return b"".join(parts) + f"--{border}--\r\n".encode(), f"multipart/form-data; boundary={border}"
