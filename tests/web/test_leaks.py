"""The leak sheet's pages: made, printed, tapped, counted with; what cannot be stays out."""

import json
import re
from decimal import Decimal
from fractions import Fraction
from io import BytesIO

import numpy as np
import pikepdf
import pytest
import tifffile
from sqlalchemy import func, select

from logbook.actions import ghosting, leaks
from logbook.actions import pitch as pitches
from logbook.engine import leaksheet
from logbook.engine.leak import Series, nulled
from logbook.engine.leaksheet import WEDGE_STEP
from logbook.engine.tone import Tone
from logbook.records.audit import AuditEntry
from logbook.records.leaks import LeakReading, LeakSheet
from logbook.records.pitch import PitchOnRecord
from support.small_shop import job, one

TAPS = {
    **{f"row_{row}_shows": "2" for row in "1234"}, **{f"row_{row}_turned": "4" for row in "1234"},
    "match_8": "8", "match_4": "8", "match_2": "8",
}  # fmt: skip


@pytest.fixture
def sheet(office, desk):
    """The code of a sheet that was made on the page."""
    known = office.read(lambda session: leaks.may_serve(session)[0].code)
    answer = desk.post("/leaks", data={"pitch": known, "request_id": "l1"})
    assert answer.status_code == 303
    return answer.location.rsplit("/", 1)[1]


def test_a_sheet_is_made_at_a_pitch_on_record_and_its_files_say_what_it_is(office, desk, sheet):
    pitch = office.read(lambda session: one(session, LeakSheet).pitch)
    made = pitch.lpi, pitch.mode.dpi_across
    with desk.get(f"/leak-sheet/{sheet}/file") as answer:
        content = answer.data
    with tifffile.TiffFile(BytesIO(content)) as file:  # another library reads dots and exact resolution
        dots, tags = file.pages[0].asarray(), file.pages[0].tags
        assert tags["XResolution"].value[0] / tags["XResolution"].value[1] == float(made[1])
    told = json.loads(desk.get(f"/leak-sheet/{sheet}.json").data)
    assert list(dots.shape[::-1]) == told["size_dots"]
    assert Decimal(str(told["lpi"])) == made[0]
    assert sheet in told["code"]
    assert set(np.unique(dots)) > {0, 255}
    _lies_on(desk, sheet, dots, "a4", (210, 297))  # ISO 216
    _lies_on(desk, sheet, dots, "letter", (Decimal("215.9"), Decimal("279.4")))  # common practice of North America
    assert "does not lie between its margins" in desk.get(
        f"/leak-sheet/{sheet}.pdf?paper=100mm+x+100mm"
    ).get_data(as_text=True)
    assert desk.get(f"/go/{sheet}").location.endswith(f"/leak-sheet/{sheet}")


def _lies_on(desk, sheet, dots, paper, size_mm):
    """The page has the paper's size, and every dot of the file at its own size (read by another library)."""
    with pikepdf.open(BytesIO(desk.get(f"/leak-sheet/{sheet}.pdf?paper={paper}").data)) as pdf:
        page = pdf.pages[0]
        assert [float(one) for one in page.mediabox[2:]] == pytest.approx([float(one) / 25.4 * 72 for one in size_mm])
        raster = page.Resources.XObject.Raster
        found = np.frombuffer(raster.read_bytes(), dtype=np.uint8).reshape(int(raster.Height), int(raster.Width))
        assert np.array_equal(found, dots)


def test_rows_are_numbered_beside_the_box_and_their_dots_stay_as_they_are():
    dpi = Fraction(360), Fraction(360)
    made = leaksheet.make_leak_sheet(lpi=Decimal("20.12"), dpi=dpi, flip="left-right", code="X")
    dots, (left, _, right, _) = leaksheet.draw_leak_sheet(made), made.lens_box
    for row in made.rows:
        beside = dots[row.top : row.bottom, :left], dots[row.top : row.bottom, right:]
        assert all((one < 128).any() for one in beside)
        assert (beside[0][:, -2:] == 255).all()
        assert (beside[1][:, :2] == 255).all()


def test_from_the_ghosting_of_a_job_to_its_leak_sheet_and_back(office, desk, sheet):
    code = office.order()
    there = re.search(r'href="(/leaks[^"]*)"', desk.get(f"/job/{code}/ghosting").get_data(as_text=True))[1]
    listing = desk.get(there).get_data(as_text=True)
    assert f'href="/job/{code}/ghosting">← Back to the ghosting of the job' in listing
    one_sheet = re.search(rf'href="(/leak-sheet/{sheet}[^"]*)"', listing)[1]
    assert f'href="/job/{code}/ghosting">← Back' in desk.get(one_sheet).get_data(as_text=True)


def test_the_taps_become_the_leak_and_ghosting_is_counted_with_it(office, desk, sheet):
    code = office.order()
    assert "modelled" in desk.get(f"/job/{code}/ghosting").get_data(as_text=True)
    before = office.read(lambda session: ghosting.number_and_words(session, office.shop.store, job(session, code)))
    entries = office.read(lambda session: session.scalar(select(func.count(AuditEntry.id))))
    answer = desk.post(f"/leak-sheet/{sheet}", data={**TAPS, "note": "by the window", "request_id": "l2"})
    assert answer.status_code == 303
    row = office.read(lambda session: one(session, LeakReading))
    told = json.loads(desk.get(f"/leak-sheet/{sheet}.json").data)
    tone = Tone(*(Decimal(wedge["levels"][7]) for wedge in told["wedge"]))
    expected = [
        nulled(Series(one["field_level"], tuple(patch["level"] for patch in one["patches"])), tone,
               shows=2, turned=4, wedge_step=WEDGE_STEP).leak for one in told["rows"]
    ]  # fmt: skip
    assert float(row.into_first_percent) == pytest.approx(100 * np.mean(expected[:2]), abs=0.006)
    assert 0.02 < float(row.into_last_percent) / 100 < 0.04  # patches 2 and 4
    assert office.read(lambda session: session.scalar(select(func.count(AuditEntry.id)))) == entries + 1
    after = office.read(lambda session: ghosting.number_and_words(session, office.shop.store, job(session, code)))
    assert after != before
    shown = desk.get(f"/job/{code}/ghosting").get_data(as_text=True)
    assert "measured" in shown
    assert sheet in shown
    for page in ("/leaks", f"/leak-sheet/{sheet}"):
        assert f"{row.into_first_percent:.1f} ±" in desk.get(page).get_data(as_text=True)


def test_taps_that_cannot_be_stand_at_their_row_and_nothing_is_kept(office, desk, sheet):
    for number, (changes, field, words) in enumerate([
        ({"row_2_turned": "none"}, "row_2_turned", "more than 15 %"),
        ({"row_3_shows": "5"}, "row_3_turned", "further right"),
        ({"row_4_shows": ""}, "row_4_shows", "This is needed."),
        ({"match_4": "16"}, "match_4", "Choose one of these"),
        ({"match_8": "15", "match_4": "1"}, "match_8", "lighter"),
    ]):  # fmt: skip
        answer = desk.post(f"/leak-sheet/{sheet}", data={**TAPS, **changes, "request_id": f"wrong{number}"})
        shown = answer.get_data(as_text=True)
        assert answer.status_code == 422
        assert f'id="{field}-fault"' in shown
        assert words in shown
        assert office.read(lambda session: session.scalar(select(func.count(LeakReading.id)))) == 0


def test_the_newest_reading_counts_and_marks_that_disagree_are_named(office, desk, sheet):
    apart = {"row_1_shows": "1", "row_1_turned": "2", "row_2_shows": "8", "row_2_turned": "9"}
    desk.post(f"/leak-sheet/{sheet}", data={**TAPS, "request_id": "l4"})
    desk.post(f"/leak-sheet/{sheet}", data={**TAPS, **apart, "request_id": "l5"})
    assert "Into PICTURE 1 light marks say" in desk.get(f"/leak-sheet/{sheet}").get_data(as_text=True)
    counts = office.read(lambda session: [float(row.into_first_percent) for row in leaks.that_count(session)])
    assert len(counts) == 1
    assert counts[0] > 4


def test_a_withdrawn_pitch_makes_no_sheet(office, desk):
    code = office.read(lambda session: leaks.may_serve(session)[0].code)
    office.act(lambda session, by: pitches.withdraw(
        session, by, pitch=one(session, PitchOnRecord, code=code), reason="wrong lot"))  # fmt: skip
    answer = desk.post("/leaks", data={"pitch": code, "request_id": "l6"})
    assert answer.status_code == 422
    assert office.read(lambda session: session.scalar(select(func.count(LeakSheet.id)))) == 0


def test_a_lens_too_fine_for_the_printer_is_refused_at_the_pitch(office, desk):
    code = office.read(lambda session: leaks.may_serve(session)[0].code)

    def coarsen(session, _):
        one(session, PitchOnRecord, code=code).lpi = Decimal("9")

    office.act(coarsen)
    answer = desk.post("/leaks", data={"pitch": code, "request_id": "l7"})
    assert answer.status_code == 422
    assert "10 lines per inch at least" in answer.get_data(as_text=True)
    assert 'id="pitch-fault"' in answer.get_data(as_text=True)
