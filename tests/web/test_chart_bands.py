"""Which band is which: on the chart's head, on the page, on the cover note; and the scales that the note asks for."""

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from sqlalchemy import select

from logbook.actions import chartscales, pitch, pitchcharts
from logbook.engine.chart import make_chart, middle_numbers
from logbook.engine.chart_pages import charts_on_paper
from logbook.engine.paper_sizes import parse_paper
from logbook.lengths import parse_length
from logbook.records.audit import newest
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchChart, PitchTest
from support.small_shop import one

DPI = (Fraction(300), Fraction(300))


@pytest.fixture
def chart(office):
    """The code of a chart of five bands, and of its test."""

    def begin(session, by):
        conditions = pitch.Conditions(
            lens_lot=one(session, Lot, label="L-1"),
            mode=one(session, Machine, name="Printer").modes[0],
            paper=one(session, Material, name="paper"),
            axis="across",
            distance=parse_length("0.6m"),
        )
        test = pitchcharts.start_test(session, by, conditions=conditions)
        wish = pitchcharts.ChartWish(
            centre_lpi=Decimal(20), step_lpi=Decimal("0.1"), bands=5, width=parse_length("100mm")
        )
        made = pitchcharts.keep_chart(
            session, by, test=test, drawn=pitchcharts.draw_chart(office.shop.store, test, wish, address="http://x/")
        )
        return made.code, test.code

    return office.act(begin)


def _words(desk, path):
    page = desk.get(path).get_data(as_text=True)
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


@pytest.mark.parametrize(("bands", "middle"), [(2, (1, 2)), (3, (2,)), (4, (2, 3)), (5, (3,)), (11, (6,))])
def test_the_black_lines_stand_around_the_middle_band_or_pair(bands, middle):
    assert middle_numbers(bands) == middle
    plan = make_chart(lpi=Decimal(20), step=Decimal("0.1"), bands=bands, dpi=DPI, length=parse_length("100mm"))
    (_, _, _, first), (_, last, _, _) = plan.rules
    between = tuple(band.number for band in plan.bands if first <= band.box_dots[1] and band.box_dots[3] <= last)
    assert between == middle


def test_the_head_lists_bands_as_they_lie_around_the_black_lines():
    plan = make_chart(lpi=Decimal(20), step=Decimal("0.1"), bands=5, dpi=DPI, length=parse_length("100mm"))
    said = " ".join(line for _, _, line in plan.head.lines).replace("\u00a0", " ")
    said = " ".join(said.split())
    assert "Above the two black lines, from the top down: 1: 19.8 2: 19.9" in said
    assert "Between the black lines: 3: 20" in said
    assert "Below them, on downwards: 4: 20.1 5: 20.2" in said


def test_the_page_and_the_cover_note_name_the_same_band(desk, chart):
    made, test = chart
    assert "between the black lines 3 20 " in _words(desk, f"/pitch/test/{test}")
    note = desk.get(f"/print-out/chart-note/{made}").get_data(as_text=True)
    assert re.findall(r'class="band middle"><b>(\d+)</b>', note) == ["3", "3"]  # two readings


def test_the_cover_note_has_no_blank_for_scale_and_file_and_asks_as_the_page_does(desk, office, chart):
    made, _ = chart
    note = _words(desk, f"/print-out/chart-note/{made}")
    scales = office.read(lambda session: chartscales.drawn(one(session, PitchChart, code=made)))
    assert set(scales) == {"across", "down"}
    assert f"across {scales['across']} mm, down {scales['down']} mm" in note
    assert f"pitch-chart_{made}_" in note
    assert "+ or" not in note
    assert "Driver and profile" not in note


def test_measured_scales_have_fields_and_another_size_asks_before_it_is_on_record(desk, office, chart):
    made, test = chart
    wanted = office.read(lambda session: chartscales.drawn(one(session, PitchChart, code=made)))["across"]
    counts = {f"band_{band}": str(abs(band - 3) * Decimal("0.5")) for band in range(1, 6)}
    form = {**counts, "scale_across": f"{wanted - 3},5", "scale_down": ""}
    refused = desk.post(f"/pitch/chart/{made}/read", data={**form, "band_1": "three", "request_id": "0"})
    assert "Band 1: &#39;three&#39; is not a count" in refused.get_data(as_text=True)
    assert desk.get(f"/pitch/chart/{made}/read").location == f"/pitch/test/{test}", "its address leads back"
    assert desk.post(f"/pitch/chart/{made}/read", data={**form, "request_id": "a"}).status_code == 303
    said = _words(desk, f"/pitch/test/{test}")
    assert f"The long scale across measures {wanted - 3}.5 mm and was drawn {wanted} mm" in said
    told = office.read(lambda session: newest(session, before=None, count=1)[0].body)
    assert f'"scale across, mm":"{wanted - 3}.5"' in told
    refused = desk.post(f"/pitch/test/{test}/accept", data={"request_id": "b"})
    assert "something scaled the print" in refused.get_data(as_text=True)
    again = {**counts, "scale_across": str(wanted), "request_id": "c"}
    assert desk.post(f"/pitch/chart/{made}/read", data=again).status_code == 303
    assert "something scaled the print" not in _words(desk, f"/pitch/test/{test}")


def test_a_scale_measured_in_inches_counts_in_millimetres_and_is_kept_as_typed(desk, office, chart):
    made, test = chart
    form = {"band_1": "1", "band_2": "1/2", "scale_across": "4", "scale_across-unit": "in", "request_id": "i"}
    assert desk.post(f"/pitch/chart/{made}/read", data=form).status_code == 303
    told = office.read(lambda session: newest(session, before=None, count=1)[0].body)
    assert '"scale across, as typed":"4 in"' in told
    assert "across 101.6 mm" in _words(desk, f"/pitch/test/{test}")  # 4 in of 25.4 mm


@pytest.mark.parametrize("words", ["about 100", "-3", "0", "1e2"])
def test_what_is_no_length_is_refused(desk, chart, words):
    answer = desk.post(f"/pitch/chart/{chart[0]}/read", data={"band_1": "1", "band_2": "2", "scale_down": words})
    assert answer.status_code == 422
    assert "is no length of a scale in mm" in answer.get_data(as_text=True)


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("bands", [20, 21])
def test_on_several_pages_the_black_lines_stand_around_the_middle_of_the_whole_chart(bands, flip):
    """Whoever reads a page must find the band there that screen and cover note call the middle one, or no line."""
    pages = charts_on_paper(
        parse_paper("letter"), lpi=Decimal("40.07"), step=Decimal("0.01"), bands=bands, dpi=DPI, flip=flip,
        length=parse_length("150mm"),
    )  # fmt: skip
    assert len(pages) > 1
    along = (1, 3) if flip == "left-right" else (0, 2)
    for page in pages:
        marked = [band.number for band in page.plan.bands if _between(page.plan.rules, band.box_dots, along)]
        wanted = [band.number for band in page.plan.bands if band.number in middle_numbers(bands)]
        assert marked == wanted
        assert len(page.plan.rules) == (2 if wanted else 0)


def _between(rules, box, along):
    return len(rules) == 2 and rules[0][along[1]] <= box[along[0]] and box[along[1]] <= rules[1][along[0]]


def test_a_scale_may_be_measured_on_a_page_of_several(office, desk, chart):
    def many(session, _by):
        test = session.execute(select(PitchTest)).scalars().first()
        wish = pitchcharts.ChartWish(
            centre_lpi=Decimal(20), step_lpi=Decimal("0.02"), bands=21, width=parse_length("150mm")
        )
        return pitchcharts.keep_chart(
            session, _by, test=test, drawn=pitchcharts.draw_chart(office.shop.store, test, wish, address="http://x/")
        ).code

    code = office.act(many)
    file, pages = office.read(lambda session: _scales_of(one(session, PitchChart, code=code)))
    assert pages["down"]
    assert not set(pages["down"]) & {file["down"]}
    told = _words(desk, f"/pitch/test/{chart[1]}")
    assert f"{file['down']} mm; on a page of several {pages['down'][0]} mm" in told
    for value, asks in [(file["down"], 0), *((length, 0) for length in pages["down"]), (pages["down"][0] * 2 // 3, 1)]:
        def measure(session, _by, value=value):
            one(session, PitchChart, code=code).scale_down_mm = Decimal(value)

        office.act(measure)
        said = office.read(lambda session: list(chartscales.off(one(session, PitchChart, code=code))))
        assert len(said) == asks, value


def _scales_of(made):
    return chartscales.drawn(made), chartscales.on_pages(made)
