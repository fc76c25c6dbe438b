"""What is read of a pitch test's charts, the fit through it, and how that goes on record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import combinations

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import chartscales
from logbook.actions.finding import ref
from logbook.actions.jobs import axis_of, materials_of, pitch_of
from logbook.actions.machines import dots_per_inch
from logbook.actions.pitch import conditions_of, new_on_record
from logbook.actions.pitchcharts import bands_of, expect_open
from logbook.actions.pitchfacts import pitch_width_in
from logbook.actions.strengths import weigh
from logbook.engine import sliding
from logbook.engine.fit import Fit, fit_readings, readers_agree
from logbook.engine.phase import parse_pitch
from logbook.engine.readings import Reading, Spot, parse_count, parse_spot
from logbook.records.audit import Act, Actor, record
from logbook.records.orders import Job
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchReading, PitchTest
from logbook.refusals import Refused
from logbook.rules import secondlook as second_look
from logbook.rules.findings import Finding, settle_each


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
    pitch = new_on_record(
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
