"""The page where several jobs are laid on one lens sheet, and the sheet's cut plan."""

import re

import numpy as np
import pypdfium2 as pdfium
import pytest

from logbook.background.compute import work_on
from logbook.records.floor import Run, Sheet
from support.small_shop import one


@pytest.fixture
def pair(office):
    """Two jobs that may share a sheet."""
    codes = [office.order(quantity=2), office.order(quantity=1, customer="Tallow Yard")]
    for code in codes:
        office.approve(code)
        office.choose_pitch(code)
    return codes


def _text(answer):
    return re.sub(r"\s+", " ", answer.get_data(as_text=True))


def _form(pair, do, **more):
    copies = {f"copies_{pair[0]}": "2", f"copies_{pair[1]}": "1"}
    return {"do": do, "width": "300 mm", "height": "250 mm", "waste": "yes", "request_id": "one", **copies, **more}


def test_the_page_proposes_what_is_lacking_and_names_who_may_share(desk, office, pair):
    page = _text(desk.get(f"/job/{pair[0]}/share"))
    assert re.search(rf'name="copies_{pair[0]}"[^>]*value="2"', page)
    assert re.search(rf'name="copies_{pair[1]}"[^>]*value="0"', page)
    assert "Tallow Yard" in page
    alone = office.order(customer="Nobody Ready")
    page = _text(desk.get(f"/job/{pair[0]}/share"))
    assert f"copies_{alone}" not in page
    assert "1 other open job cannot share it" in page
    assert f"/job/{pair[0]}/share" in _text(desk.get(f"/job/{pair[0]}"))


def test_a_job_that_is_not_ready_says_what_it_lacks(desk, office):
    code = office.order()
    assert "Choose a pitch" in _text(desk.get(f"/job/{code}/share"))


def test_they_are_laid_out_looked_at_and_interlaced_with_the_reason(desk, office, pair):
    address = f"/job/{pair[0]}/share"
    shown = _text(desk.post(address, data=_form(pair, "look")))
    assert "<b>3 pieces</b> on the sheet, 25 % of its room used, 8 cuts on the trimmer" in shown
    assert shown.count('class="piece"') == 3
    asked = re.findall(r'name="(reason-[^"]+)"', shown)
    refused = _text(desk.post(address, data=_form(pair, "interlace")))
    assert all(f'aria-describedby="{name}-help {name}-fault"' in refused for name in asked[:1])
    reasons = dict.fromkeys(asked, "the old notebook served")
    answer = desk.post(address, data=_form(pair, "interlace", **reasons))
    assert answer.status_code == 303
    run = office.read(lambda session: one(session, Run))
    assert answer.headers["Location"] == f"/run/{run.code}"
    work_on(office.shop, run.id, clock=lambda: office.now)
    page = _text(desk.get(f"/run/{run.code}"))
    assert page.index("26-0001-A</a>, <a") < page.index("26-0002-A</a></small>")
    assert "Every job on it has all its pieces with 1." in page
    assert re.findall(r"<dt>Pictures of (26-\d{4}-A)</dt><dd>1 ", page) == ["26-0001-A", "26-0002-A"]
    desk.post(f"/run/{run.code}/accept", data={"count": "1", "request_id": "two"})
    sheet = office.read(lambda session: one(session, Sheet).code)
    assert f"/print-out/cut-plan/{sheet}" in _text(desk.get(f"/sheet/{sheet}"))
    plan = _text(desk.get(f"/print-out/cut-plan/{sheet}"))
    for serial in ("26-0001-A1", "26-0001-A2", "26-0002-A1"):
        assert f"<td><b>{serial}</b></td>" in plan
    assert "3 pieces, 8 cuts" in plan
    assert "70.0 × 80.0 mm" in plan
    # what the trimmer's fence is set to for the width of a piece
    assert re.search(r"<td>up and down</td><td>70\.0 mm</td>", plan)
    assert _ink(desk.get(f"/print-out/cut-plan/{sheet}.pdf").data) < 0.1
    assert "shared with 26-0002-A; it is cut by its cut plan" in _text(desk.get(f"/job/{pair[0]}/traveller"))


def _ink(pdf):
    """How much of the first page is dark, drawn by another program (pdfium): lines and letters, never an area."""
    grey = np.asarray(pdfium.PdfDocument(pdf)[0].render(scale=1).to_pil().convert("L"))
    return float((grey < 96).mean())


def test_a_sheet_of_one_piece_has_no_cut_plan(desk, office):
    office.ready()
    sheet = office.read(lambda session: one(session, Sheet).code)
    answer = desk.get(f"/print-out/cut-plan/{sheet}")
    assert "carries one piece" in _text(answer)


@pytest.mark.parametrize(
    ("more", "words"),
    [({"width": ""}, "Lens sheet, across"), ({"height": "60 mm"}, "Not one of the pieces fits this sheet"),
     ({"copies_x": "3"}, "")],
)  # fmt: skip
def test_what_cannot_be_laid_out_is_said_at_the_form(desk, pair, more, words):
    page = _text(desk.post(f"/job/{pair[0]}/share", data=_form(pair, "look", **more)))
    assert "How they lie" not in page
    assert words in page
