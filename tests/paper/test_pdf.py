"""The PDF writer: sees only what it is handed, within time and memory."""

import socket
import sys
import threading

import pytest

from logbook.paper import pdf as pdf_module
from logbook.paper.pdf import pdf_bytes
from logbook.paper.writer import PdfWriter, joined, pdf_of_many
from logbook.refusals import Refused
from support.example_papers import PICTURES, picture
from support.pdf_reading import POINTS, sizes, texts

PLAIN = "<!doctype html><html><body><p>Paper {}</p></body></html>"
NEEDS_A_LOT = "<!doctype html><html><body>" + "<p>word and word</p>" * 60_000


@pytest.fixture
def listener():
    """A server on loopback that notes whether anybody called."""
    calls = []
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.2)
    ended = threading.Event()

    def _serve():
        while not ended.is_set():
            try:
                connection, _ = server.accept()
            except TimeoutError:
                continue
            calls.append(1)
            connection.close()

    thread = threading.Thread(target=_serve)
    thread.start()
    yield server.getsockname()[1], calls
    ended.set()
    thread.join()
    server.close()


@pytest.mark.parametrize("tag", [
    '<img src="{}">', '<link rel="stylesheet" href="{}">', '<style>@import url("{}");</style>',
    '<style>body {{ background: url("{}") }}</style>', '<object data="{}"></object>', '<embed src="{}">',
    '<link rel="attachment" href="{}">', '<svg><image href="{}" width="5" height="5"/></svg>',
    '<style>@font-face {{ font-family: own; src: url("{}") }} p {{ font-family: own }}</style><p>x</p>',
])
def test_a_paper_reads_no_file_and_calls_nobody(tag, listener, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("canary-5531", encoding="utf-8")
    port, calls = listener
    for address in (secret.as_uri(), f"http://127.0.0.1:{port}/x.png", f"ftp://127.0.0.1:{port}/x", "secret.txt",
                    "data:text/plain,canary-5531", "asset:unknown.png"):
        html = f"<!doctype html><html><head></head><body>{tag.format(address)}</body></html>"
        try:
            written = pdf_bytes(html)
        except Refused:
            continue
        assert b"canary" not in written
        assert not any("canary" in text for text in texts(written))
    assert calls == []


def test_what_was_not_handed_over_is_refused_by_name():
    with pytest.raises(Refused, match="not handed: asset:missing"):
        pdf_bytes('<img src="asset:missing.jpg">')


def test_pictures_that_were_handed_over_are_drawn():
    html = '<!doctype html><html><body><img src="asset:a.jpg"></body></html>'
    assert len(pdf_bytes(html, {"a.jpg": picture((10, 90, 160), "1")})) > len(pdf_bytes(PLAIN.format(1))) + 1000


def test_without_pango_the_refusal_says_what_to_install(monkeypatch):
    class _Broken:
        def find_spec(self, name, path=None, target=None):
            if name == "weasyprint":
                raise OSError("cannot load library 'pango'")

    for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [_Broken(), *sys.meta_path])
    with pytest.raises(Refused, match="libpango") as refusal:
        pdf_bytes(PLAIN.format(1))
    assert "brew install pango" in refusal.value.sentence


def test_a_png_and_a_stylesheet_keep_their_kind():
    assert pdf_module._type_of("a", b"\x89PNG\r\n") == "image/png"
    assert pdf_module._type_of("paper.css", b"p {}") == "text/css; charset=utf-8"


@pytest.fixture(scope="module")
def writer():
    with PdfWriter(seconds=120) as writer:
        yield writer


def test_the_child_writes_the_same_pages_as_the_parent(writer, a4):
    from logbook.paper.traveller import traveller_html
    from support.example_papers import traveller
    assert texts(writer.pdf(traveller_html(traveller()), PICTURES)) == texts(a4)


def test_the_child_stays_warm_between_papers(writer):
    writer.pdf(PLAIN.format(1))
    first = writer._child.process.pid
    writer.pdf(PLAIN.format(2))
    assert writer._child.process.pid == first


def test_a_refusal_in_the_child_reaches_the_caller_and_the_child_goes_on(writer):
    with pytest.raises(Refused, match="not handed"):
        writer.pdf('<img src="asset:missing.jpg">')
    assert texts(writer.pdf(PLAIN.format(3))) == ["Paper 3"]


def test_a_paper_that_takes_too_long_is_given_up_and_the_next_one_is_written():
    with PdfWriter(seconds=0.05) as writer:
        with pytest.raises(Refused, match=r"longer than 0\.05 seconds"):
            writer.pdf(NEEDS_A_LOT)
        writer._child.seconds = 120
        assert texts(writer.pdf(PLAIN.format(4))) == ["Paper 4"]


def test_a_paper_that_needs_too_much_memory_is_refused_and_the_next_one_is_written():
    with PdfWriter(seconds=120, megabytes=260) as writer:
        with pytest.raises(Refused, match=r"more memory|more than 260 MB"):
            writer.pdf(NEEDS_A_LOT)
        assert texts(writer.pdf(PLAIN.format(5))) == ["Paper 5"]


def test_a_child_that_was_killed_is_replaced(writer):
    writer.pdf(PLAIN.format(1))
    writer._child.process.kill()
    writer._child.process.wait()
    assert texts(writer.pdf(PLAIN.format(6))) == ["Paper 6"]


def test_a_child_that_dies_over_a_paper_is_named_and_replaced(monkeypatch):
    with PdfWriter(seconds=120) as writer:
        asked = writer._child._asked

        def _die_first(child, messages):
            child.kill()
            child.wait()
            return asked(child, messages)

        monkeypatch.setattr(writer._child, "_asked", _die_first)
        with pytest.raises(Refused, match="The PDF writer stopped"):
            writer.pdf(PLAIN.format(1))
        monkeypatch.undo()
        assert texts(writer.pdf(PLAIN.format(8))) == ["Paper 8"]


def test_a_writer_that_was_never_used_closes_quietly():
    PdfWriter().close()


def test_closing_lets_the_child_end_by_itself():
    writer = PdfWriter(seconds=120)
    writer.pdf(PLAIN.format(1))
    child = writer._child.process
    writer.close()
    assert child.returncode == 0


def test_threads_may_share_a_writer(writer):
    written = {}
    threads = [threading.Thread(target=lambda n=n: written.update({n: writer.pdf(PLAIN.format(n))})) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {n: texts(pdf) for n, pdf in written.items()} == {n: [f"Paper {n}"] for n in range(4)}


def test_many_papers_are_joined_in_order_with_their_own_sizes_and_progress(writer, a4, letter):
    told = []
    whole = pdf_of_many([(PLAIN.format(n), {}) for n in (1, 2, 3)], writer=writer,
                        progress=lambda done, total: told.append((done, total)))
    assert texts(whole) == ["Paper 1", "Paper 2", "Paper 3"]
    assert told == [(1, 3), (2, 3), (3, 3)]
    both = joined([a4, letter])
    assert sizes(both)[0] == pytest.approx(POINTS["A4"], abs=0.05)
    assert sizes(both)[-1] == pytest.approx(POINTS["Letter"], abs=0.05)
    assert texts(both) == texts(a4) + texts(letter)


def test_joining_needs_no_progress_listener(writer):
    assert texts(pdf_of_many([(PLAIN.format(7), {})], writer=writer)) == ["Paper 7"]


def test_progress_can_stop_the_work(writer):
    class _Cancelled(Exception):
        pass

    def _stop(*_):
        raise _Cancelled

    with pytest.raises(_Cancelled):
        pdf_of_many([(PLAIN.format(1), {})] * 2, writer=writer, progress=_stop)


def test_nothing_to_join_is_refused():
    with pytest.raises(Refused, match="no paper"):
        joined([])
