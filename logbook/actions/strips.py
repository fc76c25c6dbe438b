"""Every print is a test: five counts beside each print, and the pitch of a lens lot on a printer over time."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import recipes
from logbook.actions.finding import ref
from logbook.actions.pitchfacts import to_distance
from logbook.actions.stripfits import StripFit, counts_of, fit_of, plan_of
from logbook.engine.control import PitchRun, pitch_run
from logbook.engine.fit import Fit
from logbook.engine.readings import parse_count
from logbook.engine.strip import BANDS, fit_strip
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Run, Sheet, StripReading
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot
from logbook.refusals import Refused

BEFORE_BONDING = ("print", "dry", "adhesive", "laminate")


def record_counts(session: Session, by: Actor, *, sheet: Sheet, counts: Mapping[int, str]) -> Fit:
    """The five counts of a sheet's strip, lens laid on, before bonding. Returns what fits them."""
    plan = plan_of(sheet.run)
    if plan is None:
        raise Refused("There is no pitch strip beside this print; go on without it.")
    if sheet.stage not in BEFORE_BONDING:
        raise Refused("The strip is read before bonding, with the lens laid on; after that go on without it.")
    told = [counts.get(band, "").strip() for band in range(1, BANDS + 1)]
    if not all(told):
        raise Refused("All five bands are needed; skip the strip where you cannot tell them.", field="strip_1")
    taps = [parse_count(words, field=f"strip_{band}") for band, words in enumerate(told, start=1)]
    fit = fit_strip(plan, taps, reader=by.name)
    distance = recipes.plan_of(recipes.load(sheet.run.recipe)).waste.bench_distance  # type: ignore[union-attr]
    session.add_all(
        StripReading(
            sheet_id=sheet.id,
            band=band,
            lpi=pitch,
            fringes=tap,
            reader_id=by.person_id,
            at=by.now,
            distance=distance,
        )
        for band, ((pitch, _), tap) in enumerate(zip(plan.bands, taps, strict=True), start=1)
    )
    session.flush()
    new = {"fringes": [str(tap) for tap in taps], "lpi": fit.lpi, "u_lpi": round(fit.u_lpi, 5)}
    record(session, by, Act("pitch strip read", [ref(sheet), *map(ref, sheet.prints)], new=new, meaning="performed"))
    return fit


@dataclass(frozen=True, slots=True)
class Course:
    """The pitch of one lens lot on one printer mode and axis over its prints, at one distance."""

    points: tuple[StripFit, ...]
    lpi: tuple[float, ...]
    run: PitchRun
    distance: Length | None


def course(session: Session, *, lens_lot: Lot, mode: PrinterMode, axis: str) -> Course:
    """Every strip of this pairing in the order of printing, all carried to the first one's distance."""
    rows = session.execute(
        select(Sheet)
        .join(Run, Sheet.run_id == Run.id)
        .where(Sheet.lens_lot_id == lens_lot.id, Run.mode_id == mode.id)
        .where(Sheet.id.in_(select(StripReading.sheet_id)))
        .order_by(Sheet.id)
    ).scalars()
    fits = [fit for sheet in rows if _axis(sheet) == axis and (fit := fit_of(session, sheet)) is not None]
    distances = [counts_of(session, fit.sheet)[0].distance for fit in fits]
    goal = distances[0] if distances else None
    carried = [
        float(to_distance(lens_lot.material, fit.lpi, seen=seen, wanted=goal))
        for fit, seen in zip(fits, distances, strict=True)
    ]
    found = pitch_run(carried, u_pitches=[fit.u_lpi for fit in fits])
    return Course(tuple(fits), tuple(carried), found, goal)


def _axis(sheet: Sheet) -> str:
    assert sheet.run is not None
    return "across" if recipes.load(sheet.run.recipe)["flip"] == "left-right" else "down"
