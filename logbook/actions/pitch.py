"""Pitch: tests, charts and readings; pitches on record; which one a job uses."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from itertools import combinations

from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload

from logbook.actions import chartscales, doubts, printers
from logbook.actions.finding import ref
from logbook.actions.jobs import axis_of, findings_text, materials_of, pitch_of
from logbook.actions.machines import dots_per_inch
from logbook.actions.pitchfacts import facts_and_needs, pitch_width_in
from logbook.actions.standing import runs_of
from logbook.actions.strengths import weigh
from logbook.engine import chart, chart_pages, chart_tiff, raster_pdf, sliding
from logbook.engine.fit import Fit, fit_readings, readers_agree
from logbook.engine.paper_sizes import parse_paper
from logbook.engine.phase import parse_pitch
from logbook.engine.readings import Reading, Spot, parse_count, parse_spot
from logbook.lengths import INCH_IN_MM, Length
from logbook.records.audit import Act, Actor, record
from logbook.records.base import new_code
from logbook.records.files import FileStore, keep
from logbook.records.floor import JobPitch, Print, Run, Sheet
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchReading, PitchTest, PitchWithdrawal
from logbook.refusals import Refused
from logbook.rules import secondlook as second_look
from logbook.rules.findings import Finding, Strength, settle, settle_each
from logbook.rules.validity import FAR_FOR_A_CHART, far_from_nominal, may_serve

COARSE_STEP, COARSE_BANDS, FINE_BANDS = Decimal("0.1"), 11, 21


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a pitch belongs to."""

    lens_lot: Lot
    mode: PrinterMode
    paper: Material
    axis: str
    paper_lot: Lot | None = None
    distance: Length | None = None
    lens_loose: bool = True
    temperature_c: Decimal | None = None
    humidity_percent: Decimal | None = None

    def columns(self) -> dict[str, object]:
        """As columns of a pitch test or a pitch on record."""
        return {name: getattr(self, name) for name in Conditions.__slots__}

    def plain(self) -> dict[str, object]:
        """As the audit trail holds them."""
        return {
            "lens lot": self.lens_lot.label,
            "printer mode": self.mode.name,
            "paper": self.paper.name,
            "axis": self.axis,
            "distance": self.distance,
            "lens loose": self.lens_loose,
            "temperature_c": self.temperature_c,
            "humidity_percent": self.humidity_percent,
        }

    def refs(self) -> list[str]:
        """The objects they name."""
        return [ref(row) for row in (self.lens_lot, self.mode, self.paper, self.paper_lot) if row is not None]


def conditions_of(row: PitchTest | PitchOnRecord) -> Conditions:
    """The conditions of a test or a pitch on record."""
    return Conditions(**{name: getattr(row, name) for name in Conditions.__slots__})


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


def record_readings(
    session: Session,
    by: Actor,
    *,
    made: PitchChart,
    counts: dict[int, str],
    spot: str = "",
    again: bool = False,
    scales: Mapping[str, str] | None = None,
) -> list[PitchReading]:
    """What the reader saw: fringes by band, or a spot in words ("band 7", "between 6 and 7", "none").

    A band that the same person reads again replaces the earlier reading, unless it is
    ``again``: a second, blind reading of the chart that stands beside the first. ``scales`` are
    the long scales by axis, across and down, where they were measured: in mm, or with another unit.
    """
    expect_open(made.test)
    before = {f"scale {axis}, mm": str(value) for axis, value in chartscales.measured(made).items()}
    measured = chartscales.write_down(made, scales or {})
    by_round = (by, made, 2 if again else 1)
    rows = [row for band, words in sorted(counts.items()) if (row := _count(*by_round, band, words)) is not None]
    if spot.strip():
        rows.append(_named_spot(*by_round, spot))
    if not rows:
        raise Refused(
            "Write down what you count in at least two bands; leave out what you cannot tell.", field="band_1"
        )
    session.add_all(rows)
    session.flush()
    record(
        session,
        by,
        Act(
            "pitch chart read",
            [ref(made.test), ref(made)],
            meaning="performed",
            old={name: value for name, value in before.items() if name in measured},
            new={"readings": {str(row.band or "spot"): row.words for row in rows}, **measured},
        ),
    )
    return rows


def _count(by: Actor, made: PitchChart, turn: int, band: int, words: str) -> PitchReading | None:
    if not words.strip():
        return None
    pitches = bands_of(made)
    if band not in pitches:
        raise Refused(f"This chart has no band {band}; open its page again.")
    fringes = parse_count(words, field=f"band_{band}")
    return _reading(by, made, turn, band=band, lpi=pitches[band], fringes=fringes, words=words)


def _named_spot(by: Actor, made: PitchChart, turn: int, words: str) -> PitchReading:
    found = _spot_in(made, words, reader=None)
    if found is None:
        raise Refused(
            "No band was solid: count fringes in the bands instead, or print a chart of another range.", field="spot"
        )
    return _reading(by, made, turn, band=0, lpi=found.lpi, fringes=Decimal(0), words=words)


def _reading(
    by: Actor, made: PitchChart, turn: int, *, band: int, lpi: Decimal, fringes: Decimal, words: str
) -> PitchReading:
    mine = [row for row in readings_of(made) if row.reader_id == by.person_id and row.round == turn]
    earlier = next((row for row in mine if row.band == band), None)
    return PitchReading(
        chart=made,
        band=band,
        lpi=lpi,
        fringes=fringes,
        words=words.strip(),
        round=turn,
        reader_id=by.person_id,
        at=by.now,
        replaces_id=earlier.id if earlier else None,
    )


def readings_of(made: PitchChart) -> list[PitchReading]:
    """The readings that nobody replaced."""
    replaced = {row.replaces_id for row in made.readings}
    return [row for row in made.readings if row.id not in replaced]


def fit_of(test: PitchTest, *, reader: str | None = None) -> Fit | None:
    """One fit over the readings of the test's charts, of all readers or one; None before the first reading.

    Raises Refused where the readings fit no pitch.
    """
    every = [(made, row) for made in test.charts for row in readings_of(made)]
    rows = [(made, row) for made, row in every if reader in (None, said_by(row))]
    if not rows:
        return None
    width = _one_width([made for made, _ in rows])
    counted = [Reading(lpi=row.lpi, fringes=row.fringes, reader=said_by(row)) for _, row in rows if row.band]
    spots = [spot for made, row in rows if not row.band and (spot := _spot(made, row)) is not None]
    axis_dpi = test.mode.dpi_across if test.axis == "across" else test.mode.dpi_down
    return fit_readings(counted, width_in=width, spots=spots, dpi=dots_per_inch(axis_dpi))


def _spot(made: PitchChart, row: PitchReading) -> Spot | None:
    return _spot_in(made, row.words, reader=said_by(row))


def _spot_in(made: PitchChart, words: str, *, reader: str | None) -> Spot | None:
    if made.kind == "sliding":
        return sliding.spot_on_scale(parse_pitch(words, field="spot"), slope=made.step_lpi, reader=reader)
    return parse_spot(words, pitches=bands_of(made), width_in=made.width.inches, reader=reader, field="spot")


def _one_width(charts: Sequence[PitchChart]) -> Fraction:
    widths = {made.width.inches for made in charts if made.kind == "bands"} or {charts[0].width.inches}
    if len(widths) > 1:
        raise Refused("All charts of a test have bands of one length; start a new test for another.")
    return widths.pop()


@dataclass(frozen=True, slots=True)
class Waiting:
    """An open job that could use a test's pitch, and its finished length along the pitch axis in inches."""

    job: Job
    width_in: float


def jobs_waiting_for(session: Session, test: PitchTest) -> list[Waiting]:
    """Open jobs on the test's lens lot, mode, paper and axis that have chosen no pitch yet."""
    rows = session.execute(select(Job).where(Job.ended_at.is_(None)).order_by(Job.id)).scalars()
    return [Waiting(job, pitch_width_in(job)) for job in rows if _could_use(session, job, test)]


def _could_use(session: Session, job: Job, test: PitchTest) -> bool:
    chosen = materials_of(session, job)
    if chosen is None or pitch_of(session, job) is not None or axis_of(job) != test.axis:
        return False
    here = (chosen.lens_lot_id, chosen.mode_id, chosen.paper_id)
    return here == (test.lens_lot_id, test.mode_id, test.paper_id)


def readers_of(test: PitchTest) -> list[str]:
    """Everybody whose readings count, in the order in which they read."""
    return list(dict.fromkeys(said_by(row) for made in test.charts for row in readings_of(made)))


def said_by(row: PitchReading) -> str:
    """Who read, and whether it was the same person's second, blind reading."""
    return f"{row.reader.name}, again" if row.round > 1 else row.reader.name


def accept_findings(session: Session, test: PitchTest) -> list[Finding]:
    """What speaks against putting a test's fit on record: one reader only, or readers who differ."""
    names = readers_of(test)
    own = own_fits(test)
    width = test.charts[-1].width.inches if test.charts else Fraction(1)
    agree = all(readers_agree(first, second, print_width_in=width) for first, second in combinations(own, 2))
    apart = max((abs(first.lpi - second.lpi) for first, second in combinations(own, 2)), default=None)
    found = [*second_look.readers(names, apart_lpi=apart, agree=agree), *chartscales.findings(test)]
    return weigh(session, found)


def own_fits(test: PitchTest) -> list[Fit]:
    """Each reader's own fit, where these readings alone fit a pitch."""
    return [fit for name in readers_of(test) if (fit := _own_fit(test, name)) is not None]


def _own_fit(test: PitchTest, reader: str) -> Fit | None:
    """One reader's own fit; None where these readings alone fit no pitch."""
    try:
        return fit_of(test, reader=reader)
    except Refused:
        return None


def accept_result(
    session: Session,
    by: Actor,
    *,
    test: PitchTest,
    note: str = "",
    reason: str = "",
    reasons: Mapping[str, str] | None = None,
) -> PitchOnRecord:
    """Put a test's fit on record; jobs may use it from now on. Every ask takes a reason of its own."""
    expect_open(test)
    fit = fit_of(test)
    if fit is None:
        raise Refused("Read at least one chart first.")
    settled = settle_each(accept_findings(session, test), reason=reason, reasons=reasons)
    test.state = "accepted"
    pitch = _on_record(
        session,
        by,
        conditions=conditions_of(test),
        origin="test",
        lpi=fit.lpi,
        u_lpi=Decimal(str(round(fit.u_lpi, 5))),
        test=test,
        note=note,
        known_since=by.now,
    )
    record(
        session,
        by,
        Act(
            "pitch accepted",
            [ref(pitch), ref(test), *conditions_of(test).refs()],
            meaning="approved",
            reason=settled or None,
            new={"lpi": fit.lpi, "u_lpi": pitch.u_lpi, "next chart advised": fit.next_chart is not None},
            files=[made.raster.sha256 for made in test.charts],
        ),
    )
    return pitch


def carry_over(
    session: Session, by: Actor, *, conditions: Conditions, lpi: Decimal, note: str, known_since: datetime
) -> PitchOnRecord:
    """A pitch known from before the logbook, once for these conditions, with date and note."""
    if not note.strip():
        raise Refused("Write down where the value comes from, for example the old notebook's page.", field="note")
    if known_since.astimezone().date() > by.day:
        raise Refused("That day has not come yet; write since when the value is known.", field="known_since")
    if (known := _standing(session, conditions, "carried over")) is not None:
        raise Refused(
            f"{known.lpi} was carried over for these conditions already ({known.code}); withdraw it first.", field="lpi"
        )
    pitch = _on_record(
        session,
        by,
        conditions=conditions,
        origin="carried over",
        lpi=parse_pitch(lpi),
        u_lpi=None,
        test=None,
        note=note,
        known_since=known_since,
    )
    record(
        session,
        by,
        Act(
            "pitch carried over",
            [ref(pitch), *conditions.refs()],
            new={"lpi": pitch.lpi, "note": note.strip(), **conditions.plain()},
        ),
    )
    return pitch


def take_nominal(session: Session, by: Actor, *, conditions: Conditions) -> PitchOnRecord:
    """The lens maker's own number, unmeasured; kept once for these conditions."""
    nominal = conditions.lens_lot.material.nominal_lpi
    if nominal is None:
        raise Refused(
            "The nominal pitch of this lens is not on record; write its lines per inch down on its page under Stock."
        )
    if (known := _standing(session, conditions, "nominal")) is not None:
        return known
    pitch = _on_record(
        session,
        by,
        conditions=conditions,
        origin="nominal",
        lpi=nominal,
        u_lpi=None,
        test=None,
        note="",
        known_since=by.now,
    )
    record(
        session,
        by,
        Act("nominal pitch taken", [ref(pitch), *conditions.refs()], new={"lpi": nominal, **conditions.plain()}),
    )
    return pitch


def _standing(session: Session, conditions: Conditions, origin: str) -> PitchOnRecord | None:
    """The pitch of this origin that still serves for these conditions."""
    rows = session.execute(
        select(PitchOnRecord)
        .where(PitchOnRecord.origin == origin, PitchOnRecord.lens_lot_id == conditions.lens_lot.id)
        .where(PitchOnRecord.mode_id == conditions.mode.id, PitchOnRecord.paper_id == conditions.paper.id)
        .where(PitchOnRecord.axis == conditions.axis)
        .order_by(PitchOnRecord.id.desc())
    ).scalars()
    return next((row for row in rows if row.withdrawal is None), None)


def _on_record(
    session: Session,
    by: Actor,
    *,
    conditions: Conditions,
    origin: str,
    lpi: Decimal,
    u_lpi: Decimal | None,
    test: PitchTest | None,
    note: str,
    known_since: datetime,
) -> PitchOnRecord:
    if far := far_from_nominal(lpi, conditions.lens_lot.material.nominal_lpi):
        raise Refused(far, field="lpi")
    pitch = PitchOnRecord(
        **conditions.columns(),
        origin=origin,
        lpi=lpi,
        u_lpi=u_lpi,
        test=test,
        note=note.strip(),
        known_since=known_since,
        accepted_at=by.now,
        accepted_by_id=by.person_id,
    )
    session.add(pitch)
    session.flush()
    return pitch


def put_on_record(
    session: Session,
    by: Actor,
    *,
    conditions: Conditions,
    origin: str,
    lpi: Decimal,
    u_lpi: Decimal | None,
    note: str,
    test: PitchTest | None = None,
) -> PitchOnRecord:
    """A pitch that no readings of a test found, or that a photograph of its chart did; part of another act."""
    return _on_record(
        session,
        by,
        conditions=conditions,
        origin=origin,
        lpi=lpi,
        u_lpi=u_lpi,
        test=test,
        note=note,
        known_since=by.now,
    )


def findings_for(session: Session, by: Actor, *, job: Job, pitch: PitchOnRecord) -> list[Finding]:
    """What the rules say about using this pitch for this job."""
    materials = materials_of(session, job)
    if materials is None:
        raise Refused("Choose lens lot, printer and paper first.")
    return weigh(session, may_serve(*facts_and_needs(session, by, job=job, materials=materials, pitch=pitch)))


def choose(
    session: Session,
    by: Actor,
    *,
    job: Job,
    pitch: PitchOnRecord,
    reason: str = "",
    reasons: Mapping[str, str] | None = None,
) -> JobPitch:
    """Use this pitch for this job; a stop refuses, an ask needs a reason.

    ``reason`` serves where one thing is asked; of several each takes its own, ``reasons`` by their fields.
    """
    findings = findings_for(session, by, job=job, pitch=pitch)
    several = sum(found.strength is Strength.ASK for found in findings) > 1
    settled = settle_each(findings, reasons=reasons) if several else settle(findings, reason=reason)
    chosen = keep_choice(session, by, job=job, pitch=pitch, findings=findings, reason=settled)
    record(
        session,
        by,
        Act(
            "pitch chosen",
            [ref(job), ref(pitch)],
            reason=settled or None,
            new={"lpi": pitch.lpi, "origin": pitch.origin, "findings": [found.sentence for found in findings]},
        ),
    )
    return chosen


def keep_choice(
    session: Session, by: Actor, *, job: Job, pitch: PitchOnRecord, findings: list[Finding], reason: str
) -> JobPitch:
    """The row of a choice that was settled; part of another act."""
    chosen = JobPitch(
        job_id=job.id, pitch=pitch, reason=reason, findings=findings_text(findings), at=by.now, person_id=by.person_id
    )
    session.add(chosen)
    session.flush()
    return chosen


def prints_from(session: Session, pitch: PitchOnRecord) -> list[Print]:
    """Every print whose run was interlaced at this pitch, or at a forecast made from it."""
    return list(
        session.execute(
            select(Print)
            .join(Sheet, Print.sheet_id == Sheet.id)
            .join(Run, Sheet.run_id == Run.id)
            .where(runs_of(pitch.id))
            .order_by(Print.id)
            .options(lazyload("*"))
        ).scalars()
    )


def withdraw(session: Session, by: Actor, *, pitch: PitchOnRecord, reason: str) -> list[Print]:
    """A pitch no longer serves; every print of it is listed, those that have not left are set aside."""
    if pitch.withdrawal is not None:
        raise Refused("This pitch was withdrawn already; nothing more is needed.")
    if not reason.strip():
        raise Refused("Say what is wrong with it.", field="reason")
    pitch.withdrawal = PitchWithdrawal(at=by.now, person_id=by.person_id, reason=reason.strip())
    touched = prints_from(session, pitch)
    doubts.set_aside(touched, f"its pitch was withdrawn: {reason.strip()}")
    record(
        session, by, Act("pitch withdrawn", [ref(pitch), *map(ref, touched)], reason=reason.strip(), meaning="rejected")
    )
    return touched
