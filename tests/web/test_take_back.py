"""The quiet line after a signature, and its button: plain forms, as a browser without scripts sends them."""

import re

import pytest

from logbook.records.floor import Print, Sheet
from support.small_shop import one, prints


@pytest.fixture
def sheet(office):
    """The code of a sheet that stands before the printer."""
    code = office.ready()
    return office.read(lambda session: prints(session, code)[0].sheet.code)


def _line(page):
    """What the line says and the entry that its button takes back; None where there is none."""
    found = re.search(r'name="entry" value="(\d+)">\s*<span>(.*?)</span>', page.get_data(as_text=True))
    return found and (int(found[1]), re.sub("<[^>]+>", "", found[2]))


def _stage(office, code):
    return office.read(lambda session: one(session, Sheet, code=code).stage)


def test_one_line_after_the_act_takes_it_back(desk, office, sheet):
    assert _line(desk.get(f"/sheet/{sheet}")) is None
    signed = desk.post(f"/sheet/{sheet}/sign/print", data={"request_id": "first", "print-scale": "80.2"})
    entry, words = _line(desk.get(signed.headers["Location"]))
    assert words == "You just signed print of 26-0001-A-S1."
    answer = desk.post("/bench/take-back", data={"entry": entry, "request_id": "second"})
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/sheet/{sheet}")
    assert _stage(office, sheet) == "print"
    page = desk.get(f"/sheet/{sheet}")
    assert _line(page) is None
    told = page.get_data(as_text=True)
    assert told.count("signature taken back") == 1
    assert "signature taken back, with Measure the printed scale bar. <s>80.2 mm</s>" in told


def test_it_stands_on_the_bench_page_too(desk, sheet):
    desk.post(f"/sheet/{sheet}/sign/print")
    assert _line(desk.get("/bench")) is not None


def test_a_second_click_finds_it_done_and_shows_the_sheet(desk, office, sheet):
    entry, _ = _line(desk.get(desk.post(f"/sheet/{sheet}/sign/print").headers["Location"]))
    answers = [desk.post("/bench/take-back", data={"entry": entry, "request_id": "same"}) for _ in range(2)]
    assert [(one.status_code, one.headers["Location"]) for one in answers] == [(303, f"/sheet/{sheet}")] * 2
    assert _stage(office, sheet) == "print"


def test_a_piece_shows_its_own_line(desk, office):
    code = office.ready()
    office.mount(code)
    piece = office.read(lambda session: prints(session, code)[0].code)
    desk.post(f"/print/{piece}/sign/inspect", data={"inspect-result": "failed"})
    entry, words = _line(desk.get(f"/print/{piece}"))
    assert words == "You just signed inspect of 26-0001-A1."
    desk.post("/bench/take-back", data={"entry": entry})
    assert "The inspection failed" not in desk.get(f"/print/{piece}").get_data(as_text=True)
    assert office.read(lambda session: one(session, Print, code=piece).stage) == "inspect"


@pytest.mark.parametrize("entry", ["", "nonsense", "1", "999999"])
def test_what_is_no_signature_is_refused_in_a_sentence(desk, entry):
    answer = desk.post("/bench/take-back", data={"entry": entry})
    assert answer.status_code == 422
    assert "There is no such signature to take back; open the page again." in answer.get_data(as_text=True)
