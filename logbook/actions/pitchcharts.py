"""Pitch tests and the charts that are printed for them."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from io import BytesIO

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import printers
from logbook.actions.finding import ref
from logbook.actions.machines import dots_per_inch
from logbook.actions.pitch import Conditions
from logbook.engine import chart, chart_pages, chart_tiff, raster_pdf, sliding
from logbook.engine.paper_sizes import parse_paper
from logbook.lengths import INCH_IN_MM, Length
from logbook.records.audit import Act, Actor, record
from logbook.records.base import new_code
from logbook.records.files import FileStore, keep
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.refusals import Refused
from logbook.rules.findings import settle_each
from logbook.rules.validity import FAR_FOR_A_CHART, far_from_nominal

COARSE_STEP, COARSE_BANDS, FINE_BANDS = Decimal("0.1"), 11, 21


def start_test(
    session: Session,
    by: Actor,
    *,
    conditions: Conditions,
    reason: str = "",
    reasons: Mapping[str, str] | None = None,
) -> PitchTest:
    """A new measurement under these conditions; a printer that is not described asks, each ask for its own reason."""
    settled = settle_each(printers.findings(session, conditions.mode), reason=reason, reasons=reasons)
    test = PitchTest(**conditions.columns(), started_at=by.now, started_by_id=by.person_id)
    session.add(test)
    session.flush()
    touched = [ref(test), *conditions.refs()]
    record(session, by, Act("pitch test started", touched, reason=settled or None, new=conditions.plain()))
    return test


@dataclass(frozen=True, slots=True)
class ChartWish:
    """Which chart to print."""

    centre_lpi: Decimal
    step_lpi: Decimal
    bands: int
    width: Length = chart.DEFAULT_LENGTH


@dataclass(frozen=True, slots=True)
class Drawn:
    """A chart that was drawn and stored, before any row knows it."""

    code: str
    kind: str
    wish: ChartWish
    stored: tuple[str, int]
    plan: str


def draw_chart(store: FileStore, test: PitchTest, wish: ChartWish, *, address: str = "") -> Drawn:
    """Draw and store a chart of bands; long work: no transaction is open.

    ``address`` is this logbook's: the chart's QR code then opens its page.
    """
    if far := far_from_nominal(wish.centre_lpi, test.lens_lot.material.nominal_lpi, most=FAR_FOR_A_CHART):
        raise Refused(far, field="centre")
    code, dpi = new_code(), _dpi(test)
    plan = chart.make_chart(
        lpi=wish.centre_lpi,
        step=wish.step_lpi,
        bands=wish.bands,
        dpi=dpi,
        length=wish.width,
        flip=_flip(test),
        code=f"{address}go/{code}" if address else None,
    )
    stored = store.put(BytesIO(chart_tiff.tiff_bytes(chart.draw_chart(plan), dpi=dpi)))
    return Drawn(code, "bands", wish, stored, json.dumps(chart.sidecar(plan)))


def draw_sliding(store: FileStore, test: PitchTest, *, width: Length, address: str = "") -> Drawn:
    """One band whose pitch slides around the lens maker's: a single look centres the next chart."""
    code, dpi, nominal = new_code(), _dpi(test), first_wish(test).centre_lpi
    plan = sliding.make_sliding(
        lpi=nominal, dpi=dpi, length=width, flip=_flip(test), code=f"{address}go/{code}" if address else None
    )
    stored = store.put(BytesIO(chart_tiff.tiff_bytes(sliding.draw_sliding(plan), dpi=dpi)))
    wish = ChartWish(centre_lpi=nominal, step_lpi=plan.slope, bands=0, width=width)
    return Drawn(code, "sliding", wish, stored, json.dumps(sliding.sidecar(plan)))


def _dpi(test: PitchTest) -> tuple[Fraction, Fraction]:
    return dots_per_inch(test.mode.dpi_across), dots_per_inch(test.mode.dpi_down)


def _flip(test: PitchTest) -> str:
    return "left-right" if test.axis == "across" else "up-down"


def keep_chart(session: Session, by: Actor, *, test: PitchTest, drawn: Drawn) -> PitchChart:
    """Add a drawn chart to its test."""
    expect_open(test)
    wish, (sha256, size) = drawn.wish, drawn.stored
    made = PitchChart(
        test=test,
        code=drawn.code,
        kind=drawn.kind,
        centre_lpi=wish.centre_lpi,
        step_lpi=wish.step_lpi,
        bands=wish.bands,
        width=wish.width,
        plan=drawn.plan,
        raster=keep(session, sha256=sha256, size=size, media_type="image/tiff", kind="record", now=by.now),
        made_at=by.now,
        made_by_id=by.person_id,
    )
    session.add(made)
    session.flush()
    told = {
        "kind": drawn.kind,
        "centre": wish.centre_lpi,
        "step": wish.step_lpi,
        "bands": wish.bands,
        "width": wish.width,
    }
    record(session, by, Act("pitch chart made", [ref(test), ref(made)], files=[sha256], new=told))
    return made


def on_paper(made: PitchChart, paper: str) -> Callable[[], bytes]:
    """The same chart as a PDF for one paper: exact page box, every dot unresampled, more pages where needed.

    What is returned draws it, with no transaction open.
    """
    dpi = _dpi(made.test)
    if made.kind == "bands":
        pages = pages_of(made, paper)
        return lambda: raster_pdf.pdf_bytes([_pdf_page(page, dpi) for page in pages])
    plan = sliding.make_sliding(
        lpi=made.centre_lpi,
        dpi=dpi,
        length=made.width,
        slope=made.step_lpi,
        flip=_flip(made.test),
        code=_told_code(made),
    )
    return lambda: raster_pdf.pdf_bytes([raster_pdf.page_of(sliding.draw_sliding(plan), dpi=dpi)])


def pages_of(made: PitchChart, paper: str) -> tuple[chart_pages.ChartPage, ...]:
    """A chart of bands as it lies on the pages of one paper."""
    return chart_pages.charts_on_paper(
        parse_paper(paper),
        lpi=made.centre_lpi,
        step=made.step_lpi,
        bands=made.bands,
        dpi=_dpi(made.test),
        length=made.width,
        flip=_flip(made.test),
        code=_told_code(made),
    )


def _told_code(made: PitchChart) -> str | None:
    code: str | None = json.loads(made.plan).get("code")
    return code


def _pdf_page(page: chart_pages.ChartPage, dpi: tuple[Fraction, Fraction]) -> raster_pdf.RasterPage:
    return raster_pdf.RasterPage(
        chart.draw_chart(page.plan), dpi, page.width_in, page.height_in, left_in=page.left_in, top_in=page.top_in
    )


def expect_open(test: PitchTest) -> None:
    """Refuse what only an open test may take."""
    if test.state != "open":
        raise Refused("This pitch test is closed; start a new one.")


def first_wish(test: PitchTest) -> ChartWish:
    """The coarse chart around the lens maker's pitch."""
    nominal = test.lens_lot.material.nominal_lpi
    assert nominal is not None
    return ChartWish(centre_lpi=nominal, step_lpi=COARSE_STEP, bands=COARSE_BANDS)


def wish_after_others(session: Session, test: PitchTest) -> ChartWish:
    """The chart to begin with: fine around what was last measured for this lens lot, printer and paper.

    Else coarse, around a pitch that was carried over or forecast for them, or else around the lens maker's.
    """
    if measured := _last_pitch(session, test, "test"):
        return wish_around(test, measured.lpi, chart.DEFAULT_LENGTH)
    wish, guess = first_wish(test), _last_pitch(session, test, "carried over", "forecast")
    return replace(wish, centre_lpi=round(guess.lpi / COARSE_STEP) * COARSE_STEP) if guess else wish


def _last_pitch(session: Session, test: PitchTest, *origins: str) -> PitchOnRecord | None:
    """The newest pitch of one of these origins for this test's lens lot, printer, paper and direction."""
    same = select(PitchOnRecord).where(
        PitchOnRecord.lens_lot_id == test.lens_lot_id,
        PitchOnRecord.mode_id == test.mode_id,
        PitchOnRecord.paper_id == test.paper_id,
        PitchOnRecord.axis == test.axis,
        PitchOnRecord.origin.in_(origins),
        ~PitchOnRecord.withdrawal.has(),
    )
    return session.execute(same.order_by(PitchOnRecord.id.desc()).limit(1)).scalars().first()


def wish_around(test: PitchTest, lpi: Decimal, width: Length) -> ChartWish:
    """A fine chart around a pitch that is nearly known, as wide as ``width``."""
    dpi = _dpi(test)[0 if test.axis == "across" else 1]
    step = chart.fine_step(lpi=lpi, dpi=dpi, width_in=Fraction(width.mm) / Fraction(INCH_IN_MM))
    return ChartWish(centre_lpi=round(lpi / step) * step, step_lpi=step, bands=FINE_BANDS, width=width)


def file_name(made: PitchChart) -> str:
    """What a chart's file is called when it is handed to the printer."""
    named = f"pitch-chart_{made.code}_{made.centre_lpi}lpi_step{made.step_lpi}_{made.test.mode.dpi_across}dpi.tif"
    return named.replace("/", "over")


def bands_of(made: PitchChart) -> dict[int, Decimal]:
    """The pitch of each band of a chart; none on a sliding band."""
    if made.kind == "sliding":
        return {}
    return dict(enumerate(chart.band_pitches(lpi=made.centre_lpi, step=made.step_lpi, bands=made.bands), start=1))
