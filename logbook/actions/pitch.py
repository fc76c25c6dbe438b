"""Pitches on record: where they came from, what they are for, and how one is withdrawn."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload

from logbook.actions import doubts
from logbook.actions.finding import ref
from logbook.actions.standing import runs_of
from logbook.engine.phase import parse_pitch
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print, Run, Sheet
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord, PitchTest, PitchWithdrawal
from logbook.refusals import Refused
from logbook.rules.reasons import needed as reason_needed
from logbook.rules.validity import far_from_nominal


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
    pitch = new_on_record(
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
    pitch = new_on_record(
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


def new_on_record(
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
    """A row for it, without an entry in the trail; refuses what lies far from the lens maker's number."""
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
    return new_on_record(
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
    reason = reason_needed(reason, "Say what is wrong with it.")
    pitch.withdrawal = PitchWithdrawal(at=by.now, person_id=by.person_id, reason=reason)
    touched = prints_from(session, pitch)
    doubts.set_aside(touched, f"its pitch was withdrawn: {reason}")
    record(
        session, by, Act("pitch withdrawn", [ref(pitch), *map(ref, touched)], reason=reason, meaning="rejected")
    )
    return touched
