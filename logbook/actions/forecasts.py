"""Forecasts: the pitch of a pairing that nobody tested, from every accepted test that still stands.

The engine adjusts (``engine.forecast``); here the logbook's tests become its observations, and a
forecast that somebody takes is frozen with the tests it was made from.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import chartscales
from logbook.actions.finding import fact, ref
from logbook.actions.jobs import axis_of, materials_of
from logbook.actions.pitch import Conditions, put_on_record
from logbook.actions.pitchfacts import layer_of
from logbook.actions.shop import percent
from logbook.engine import distance, drift, forecast
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.forecasts import ForecastSource
from logbook.records.machines import MachineEvent, event_came_at
from logbook.records.materials import Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchChart, PitchOnRecord
from logbook.refusals import Refused
from logbook.rules.targets import RULE_READING_MM

REFERENCE_C = 23.0
U_UNKNOWN_ROOM_C = 2.0
"""How far a room that nobody measured may be from 23 °C (standard uncertainty): a shop default without a source."""
U_THERMOMETER_C = 0.5


@dataclass(frozen=True, slots=True)
class Used:
    """One test in the forecast, and how it agrees with the others."""

    pitch: PitchOnRecord
    check: forecast.Checked


@dataclass(frozen=True, slots=True)
class Scale:
    """The long scale of a test's chart, measured with a rule: ``off`` is how much longer it was than drawn, a part."""

    test: PitchOnRecord
    axis: str
    measured_mm: Decimal
    drawn_mm: Decimal
    rule: forecast.Ruled

    @property
    def off(self) -> float:
        """Printed over drawn length, less one."""
        return float(self.measured_mm / self.drawn_mm - 1)


@dataclass(frozen=True, slots=True)
class Forecast:
    """A pitch that nobody measured. ``basis`` is tests or prior; ``left_out`` are tests with the reason each."""

    lpi: Decimal
    u_lpi: Decimal
    basis: str
    used: tuple[Used, ...]
    left_out: tuple[tuple[PitchOnRecord, str], ...]
    scales: tuple[Scale, ...]
    prior: forecast.Prior
    conditions: Conditions

    @property
    def tests(self) -> tuple[PitchOnRecord, ...]:
        """What it was made from."""
        return tuple(one.pitch for one in self.used)

    @property
    def suspects(self) -> tuple[Used, ...]:
        """Tests that disagree with the others."""
        return tuple(one for one in self.used if one.check.verdict == "suspect")


def for_job(session: Session, job: Job) -> Forecast | None:
    """The forecast for a job's materials, mounted and seen from its distance; None where the lens is not known."""
    chosen = materials_of(session, job)
    if chosen is None:
        return None
    conditions = Conditions(
        lens_lot=chosen.lens_lot,
        mode=chosen.mode,
        paper=chosen.paper,
        axis=axis_of(job),
        paper_lot=chosen.paper_lot,
        distance=job.distance,
        lens_loose=False,
        temperature_c=chosen.temperature_c,
        humidity_percent=chosen.humidity_percent,
    )
    return of(session, conditions)


def of(session: Session, conditions: Conditions) -> Forecast | None:
    """The forecast for any conditions with a distance; None where thickness or index of the lens are unknown."""
    nominal = conditions.lens_lot.material.nominal_lpi
    if nominal is None or conditions.distance is None or layer_of(conditions.lens_lot.material) is None:
        return None
    prior = prior_of(session)
    seen, left_out = _observed(session)
    scales = [scale for row, _ in seen for scale in _scales(session, row)]
    made = forecast.adjust([one for _, one in seen], [scale.rule for scale in scales], prior)
    pairing = _pairing(session, conditions)
    value, u = made.of(pairing)
    warm, u_warm = _warmth(conditions.lens_lot.material, conditions.temperature_c)
    near, u_near = _nearness(conditions.lens_lot.material, conditions.distance, loose=conditions.lens_loose)
    lpi = math.exp(value - warm - near)
    used = [Used(pitch, check) for (pitch, _), check in zip(seen, made.checks, strict=True)]
    return Forecast(
        lpi=Decimal(lpi).quantize(Decimal(10) ** -distance.PITCH_DECIMALS),
        u_lpi=Decimal(str(round(lpi * math.hypot(u, u_warm, u_near), 5))),
        basis="tests" if made.linked(pairing) else "prior",
        used=tuple(used),
        left_out=tuple(left_out),
        scales=tuple(scales),
        prior=prior,
        conditions=conditions,
    )


def prior_of(session: Session) -> forecast.Prior:
    """What the shop says about lenses and printers before any test, in percent on the shop's page."""
    usual = forecast.Prior()
    names = (("lens", "forecast lens"), ("scale", "forecast scale"), ("mode_or_paper", "forecast mode or paper"))
    said = {name: percent(fact(session, key), words=key) for name, key in names}
    return forecast.Prior(
        **{name: float(value) / 100 if value else getattr(usual, name) for name, value in said.items()}
    )


def _observed(
    session: Session,
) -> tuple[list[tuple[PitchOnRecord, forecast.Observed]], list[tuple[PitchOnRecord, str]]]:
    rows = session.execute(
        select(PitchOnRecord).where(PitchOnRecord.origin == "test").order_by(PitchOnRecord.id)
    ).scalars()
    seen, left_out = [], []
    for row in rows:
        if row.withdrawal is not None:
            continue
        if reason := _unusable(row):
            left_out.append((row, reason))
        else:
            seen.append((row, _observation(session, row)))
    return seen, left_out


def _unusable(row: PitchOnRecord) -> str:
    if row.distance is None:
        return "the distance it was read from is not on record"
    if row.lens_lot.material.nominal_lpi is None or layer_of(row.lens_lot.material) is None:
        return "the lens's nominal pitch, thickness or index is not on record"
    return ""


def _observation(session: Session, row: PitchOnRecord) -> forecast.Observed:
    assert row.distance is not None
    sheet = row.lens_lot.material
    warm, u_warm = _warmth(sheet, row.temperature_c)
    near, u_near = _nearness(sheet, row.distance, loose=row.lens_loose)
    return forecast.Observed(
        name=row.code,
        pairing=_pairing(session, row, at=row.known_since),
        value=math.log(float(row.lpi)) + warm + near,
        u=math.hypot(float(row.u_lpi or 0) / float(row.lpi), u_warm, u_near),
        day=f"{row.known_since.astimezone():%Y-%m-%d}",
    )


def _scales(session: Session, row: PitchOnRecord) -> Iterator[Scale]:
    """What was measured on the charts of a test; a chart that was printed at another size tells nothing of the printer.

    Only of tests in the forecast, so that whoever withdraws one ends it together with its scales.
    """
    for chart in row.test.charts if row.test else ():
        for axis, measured in chartscales.measured(chart).items():
            drawn = chartscales.should_be(chart, axis, measured)
            if drawn is not None and abs(measured - drawn) <= RULE_READING_MM:
                yield Scale(row, axis, measured, drawn, _rule(session, row, chart, axis, measured, drawn))


def _rule(
    session: Session, row: PitchOnRecord, chart: PitchChart, axis: str, measured: Decimal, drawn: Decimal
) -> forecast.Ruled:
    """A rule is read to the half millimetre either way: a rectangular distribution."""
    return forecast.Ruled(
        name=f"{chart.code} {axis}",
        pairing=replace(_pairing(session, row, at=chart.made_at), axis=axis),
        value=math.log(measured / drawn),
        u=float(RULE_READING_MM / drawn) / math.sqrt(3),
    )


def _pairing(
    session: Session, row: PitchOnRecord | Conditions, *, at: datetime | None = None
) -> forecast.Pairing:
    """``at``: a test belongs to the printer as it was then; a head change makes another printer of it."""
    events = select(func.count(MachineEvent.id)).where(
        MachineEvent.machine_id == row.mode.machine_id,
        MachineEvent.new_scale,
        MachineEvent.mode_code.in_(("", row.mode.code)),
    )
    if at is not None:
        events = events.where(event_came_at() <= at)
    return forecast.Pairing(
        lens_lot=row.lens_lot.code,
        nominal_lpi=float(row.lens_lot.material.nominal_lpi or 0),
        printer=f"{row.mode.machine.code}.{session.execute(events).scalar_one()}",
        mode=row.mode.code,
        paper=row.paper.code,
        axis=row.axis,
    )


def _warmth(sheet: Material, temperature_c: Decimal | None) -> tuple[float, float]:
    """(α(T − 23), its standard uncertainty): what the lens has grown by."""
    alpha = drift.EXPANSION_PER_C.get(sheet.substance, max(drift.EXPANSION_PER_C.values()))
    if temperature_c is None:
        return 0.0, alpha * U_UNKNOWN_ROOM_C
    return alpha * (float(temperature_c) - REFERENCE_C), alpha * U_THERMOMETER_C


def _nearness(sheet: Material, seen_from: Length, *, loose: bool) -> tuple[float, float]:
    layer = layer_of(sheet)
    assert layer is not None
    extra = distance.AIR_GAP if loose else distance.ADHESIVE
    return distance.from_far(distance.sight(distance_mm=float(seen_from.mm), lens=layer, extra=extra))


def take(session: Session, by: Actor, *, found: Forecast) -> PitchOnRecord:
    """Put a forecast on record, frozen with its tests; the same one is not made twice."""
    if found.basis != "tests":
        raise Refused("No test links this lens lot to this printer: measure it, or take the nominal pitch.")
    if (known := next(_standing(session, found), None)) is not None:
        return known
    pitch = put_on_record(
        session,
        by,
        conditions=found.conditions,
        origin="forecast",
        lpi=found.lpi,
        u_lpi=found.u_lpi,
        note=f"from {len(found.tests)} tests of other pairings" if len(found.tests) > 1 else "from one other test",
    )
    session.add_all(ForecastSource(forecast_id=pitch.id, source_id=test.id) for test in found.tests)
    session.flush()
    told = {
        "lpi": found.lpi,
        "u_lpi": found.u_lpi,
        "tests": [test.code for test in found.tests],
        "scales": {scale.rule.name: f"{scale.measured_mm} of {scale.drawn_mm} mm" for scale in found.scales},
    }
    record(session, by, Act("forecast taken", [ref(pitch), *found.conditions.refs(), *map(ref, found.tests)], new=told))
    return pitch


def _standing(session: Session, found: Forecast) -> Iterator[PitchOnRecord]:
    same = found.conditions
    rows = session.execute(
        select(PitchOnRecord)
        .where(PitchOnRecord.origin == "forecast", PitchOnRecord.lens_lot_id == same.lens_lot.id)
        .where(PitchOnRecord.mode_id == same.mode.id, PitchOnRecord.paper_id == same.paper.id)
        .where(PitchOnRecord.axis == same.axis)
        .order_by(PitchOnRecord.id.desc())
    ).scalars()
    wanted = {test.id for test in found.tests}
    for row in rows:
        frozen = select(ForecastSource.source_id).where(ForecastSource.forecast_id == row.id)
        if row.withdrawal is None and row.lpi == found.lpi and set(session.execute(frozen).scalars()) == wanted:
            yield row
