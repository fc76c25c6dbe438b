"""The browser fixtures themselves, tried on pages small enough to judge by eye.

The faults are those of the Web Content Accessibility Guidelines (WCAG) 2.2, W3C
Recommendation, 2023, from memory: 1.1.1 a picture needs a text, 1.4.3 contrast of
at least 4.5 to 1, 2.4.2 a page needs a title, 3.1.1 a page names its language.
"""

import sys

import pytest

from support.browser import PageWatch, accessibility_findings
from support.programs import serving

SERVER = """\
import http.server

class Handler(http.server.SimpleHTTPRequestHandler):
    def end_headers(self):
        self.send_header("Content-Security-Policy", "default-src 'none'; script-src 'self'; img-src 'self' data:")
        super().end_headers()

server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
print(f"http://127.0.0.1:{server.server_port}/")
server.serve_forever()
"""
GOOD = """<!doctype html>
<html lang="en"><head><title>A print</title><link rel="icon" href="data:,"></head>
<body><main><h1>A print</h1><p>Seen from the left.</p><a href="/other.html">Other</a></main></body></html>"""
BAD = """<!doctype html>
<html><head><link rel="icon" href="data:,"></head>
<body bgcolor="white"><main><h1>A print</h1><img src="dot.png">
<font color="#aaaaaa">Too pale to read</font></main></body></html>"""
DOT = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000000a49444154789c6360000000020001"
    "48afa4710000000049454e44ae426082"
)


@pytest.fixture
def site(tmp_path):
    """The address of a small static site; asked for before a page, so that the page is closed first."""
    folder = tmp_path / "site"
    folder.mkdir()
    other = GOOD.replace("A print", "Other print")
    loud = GOOD.replace("<body>", '<body><script src="loud.js"></script>')
    for name, text in {"index": GOOD, "other": other, "loud": loud, "bad": BAD}.items():
        (folder / f"{name}.html").write_text(text)
    for name in ("dot.png", "favicon.ico"):
        (folder / name).write_bytes(DOT)
    (folder / "loud.js").write_text("console.error('a cry'); null.field;")
    command = [sys.executable, "-c", f"import os\nos.chdir({str(folder)!r})\n{SERVER}"]
    with serving(command, log=tmp_path / "site.log") as address:
        yield address


def test_a_person_can_follow_a_link(site, page):
    page.goto(site)
    page.get_by_role("link", name="Other").click()
    page.wait_for_url("**/other.html")
    assert page.get_by_role("heading").inner_text() == "Other print"


def test_a_good_page_passes_under_a_strict_content_security_policy(site, page, assert_accessible):
    page.goto(site)
    assert_accessible(page)


def test_known_faults_are_found_and_named(site, page, assert_accessible):
    page.goto(f"{site}bad.html")
    rules = {finding.partition(" ")[0] for finding in accessibility_findings(page)}
    assert rules == {"image-alt", "color-contrast", "document-title", "html-has-lang"}
    with pytest.raises(AssertionError, match="Too pale to read"):
        assert_accessible(page)


def test_a_console_error_and_an_exception_are_problems(site, page, watch):
    page.goto(f"{site}loud.html")
    watch.expect("console: a cry")
    watch.expect("exception: .*null")
    assert watch.problems == []


def test_a_page_that_is_refused_is_a_problem_until_it_is_expected(site, page, watch):
    page.goto(f"{site}missing.html")
    assert len(watch.problems) == 1
    watch.expect("404")


def test_a_request_that_nobody_answers_is_a_problem(page, watch):
    # Port 9 (discard, RFC 863) is one that browsers refuse to open.
    with pytest.raises(Exception, match="ERR_UNSAFE_PORT"):
        page.goto("http://127.0.0.1:9/")
    watch.expect("request: GET http://127.0.0.1:9/")


def test_an_expected_problem_that_did_not_happen_is_a_failure(site, page, watch):
    page.goto(site)
    with pytest.raises(AssertionError, match="nothing went wrong"):
        watch.expect("422")


def test_two_people_have_cookies_of_their_own(site, new_page):
    one, other = new_page(), new_page()
    for page in (one, other):
        page.goto(site)
    one.evaluate("document.cookie = 'who=one'")
    assert one.evaluate("document.cookie") == "who=one"
    assert other.evaluate("document.cookie") == ""


def test_a_problem_that_nobody_expected_is_kept_for_the_end_of_the_test(site, browser):
    context = browser.new_context()
    page = context.new_page()
    watch = PageWatch(page)
    page.goto(f"{site}loud.html")
    context.close()
    assert len(watch.problems) == 2
