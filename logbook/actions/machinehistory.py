"""A machine's history: what happened to it, what that ends, and the record that brings it back into use."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from logbook.actions import doubts
from logbook.actions.finding import ref
from logbook.actions.machines import BACK, end_sessions
from logbook.actions.standing import runs_of
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print, Run, Sheet, StepRecord, stands
from logbook.records.machines import Machine, MachineEvent, PrinterMode, event_came_at
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.refusals import Refused
from logbook.rules import history

MOST_SHOWN = 12


def note_event(
    session: Session,
    by: Actor,
    *,
    machine: Machine,
    what: str,
    note: str,
    effect: str = "",
    mode: PrinterMode | None = None,
    happened_at: datetime | None = None,
) -> MachineEvent:
    """Something happened to the machine: it ends, or puts in question, what was found out about it before.

    ``effect`` on the pitches found before, see ``rules.history``; ``mode``: only those of this mode of a printer.
    ``happened_at``: where that was earlier than now; what was printed since with a pitch that it ends is set aside.
    After a repair or a service the machine is out of use until ``back_into_use`` says what was done and proven.
    """
    effect = history.effect_on_pitches(machine.kind, what, effect)
    if not note.strip():
        raise Refused("Write down what happened, in one line.", field="note")
    if mode is not None and mode.machine_id != machine.id:
        raise Refused("Choose one of this printer's own modes.", field="mode")
    if happened_at is not None and happened_at > by.now:
        raise Refused("That time has not come yet; write down when it happened.", field="happened_at")
    event = MachineEvent(
        machine_id=machine.id,
        at=by.now,
        happened_at=happened_at,
        person_id=by.person_id,
        what=what,
        note=note.strip(),
        new_scale=effect != history.NOTHING,
        ends_pitches=effect == history.ENDS,
        mode_code=mode.code if mode else "",
    )
    session.add(event)
    session.flush()
    touched = [ref(machine), *([ref(mode)] if mode else []), *_consequences(session, by, machine, event)]
    told = {"what": what, "note": event.note, "pitches": effect, "mode": mode.name if mode else ""}
    told |= {"happened at": happened_at.isoformat()} if happened_at else {}
    record(session, by, Act("machine event", touched, new=told))
    return event


def _consequences(session: Session, by: Actor, machine: Machine, event: MachineEvent) -> list[str]:
    """Do what the event brings about; returns everything touched, as the trail names it."""
    touched = [ref(pitch) for pitch in pitches_before(session, event)] if event.new_scale else []
    if event.new_scale:
        touched += [ref(test) for test in _give_up_tests(session, event)]
        printed = printed_since(session, event)
        touched += [ref(piece) for piece in printed]
        if event.ends_pitches:
            doubts.set_aside(printed, f"printed after the {said(event)} of {machine.name} with a pitch from before")
    if event.what in history.NEEDS_RECORD:
        why = f"{event.what}: {event.note}; not yet written down what was done and proven"
        machine.out_of_use_reason = f"{machine.out_of_use_reason}; {why}" if machine.out_of_use_reason else why
    if history.ends_check(machine.kind, event.what):
        touched += end_sessions(session, by, machine)
    return touched


def _of_its_modes(session: Session, event: MachineEvent) -> list[int]:
    modes = select(PrinterMode.id).where(PrinterMode.machine_id == event.machine_id)
    if event.mode_code:
        modes = modes.where(PrinterMode.code == event.mode_code)
    return list(session.execute(modes).scalars())


def pitches_before(session: Session, event: MachineEvent) -> list[PitchOnRecord]:
    """The pitches that stand and were found before an event, which puts them in question."""
    found = select(PitchOnRecord).where(
        PitchOnRecord.mode_id.in_(_of_its_modes(session, event)), PitchOnRecord.known_since < event.came_at
    )
    rows = session.execute(found.order_by(PitchOnRecord.id)).scalars()
    return [row for row in rows if row.withdrawal is None]


def printed_since(session: Session, event: MachineEvent) -> list[Print]:
    """What was printed between an event and its being noted, with a pitch that it ends or puts in question."""
    pitches = [pitch.id for pitch in pitches_before(session, event)]
    if event.happened_at is None or not pitches:
        return []
    signed = select(StepRecord.sheet_id).where(
        StepRecord.step_key == "print-sign", StepRecord.at >= event.came_at, StepRecord.at <= event.at, stands()
    )
    runs = select(Run.id).where(runs_of(*pitches), Run.mode_id.in_(_of_its_modes(session, event)))
    found = select(Print).join(Sheet, Print.sheet_id == Sheet.id).where(Sheet.id.in_(signed), Sheet.run_id.in_(runs))
    return list(session.execute(found.order_by(Print.id)).scalars())


def _give_up_tests(session: Session, event: MachineEvent) -> list[PitchTest]:
    """Tests under way whose charts came from the printer as it was; those without a chart go on."""
    under_way = select(PitchTest).where(
        PitchTest.state == "open",
        PitchTest.mode_id.in_(_of_its_modes(session, event)),
        PitchTest.id.in_(select(PitchChart.test_id).where(PitchChart.made_at <= event.came_at)),
    )
    given_up = list(session.execute(under_way.order_by(PitchTest.id)).scalars())
    for test in given_up:
        test.state = "given up"
    return given_up


def in_question(pitch: PitchOnRecord) -> ColumnElement[bool]:
    """The condition that an event came after a pitch was found, and concerns its mode."""
    of_mode = MachineEvent.mode_code.in_(("", pitch.mode.code))
    return (MachineEvent.machine_id == pitch.mode.machine_id) & MachineEvent.new_scale & of_mode & (
        event_came_at() > pitch.known_since
    )


def since(session: Session, pitch: PitchOnRecord) -> MachineEvent | None:
    """What puts a pitch in question: the first event that ended it, else the first that started a new scale."""
    strongest_first = select(MachineEvent).where(in_question(pitch)).order_by(
        MachineEvent.ends_pitches.desc(), MachineEvent.id
    )
    return session.execute(strongest_first.limit(1)).scalar_one_or_none()


def said(event: MachineEvent) -> str:
    """An event in a sentence about a pitch."""
    return f"{event.what} on {event.came_at.astimezone():%Y-%m-%d}"


@dataclass(frozen=True, slots=True)
class Told:
    """An event as a page shows it: what it ends, and the first of the pitches that it concerns."""

    event: MachineEvent
    ends: str
    pitches: Sequence[PitchOnRecord] = ()
    more: int = 0
    printed: Sequence[Print] = ()


def told(session: Session, machine: Machine) -> list[Told]:
    """The history of a machine, newest first."""
    rows = session.execute(
        select(MachineEvent)
        .where(MachineEvent.machine_id == machine.id)
        .order_by(event_came_at().desc(), MachineEvent.id.desc())
    ).scalars()
    return [_told(session, machine, event) for event in rows]


def _told(session: Session, machine: Machine, event: MachineEvent) -> Told:
    if not event.new_scale:
        return Told(event, "the check before it counts no more" if _ended_check(machine, event) else "")
    concerned = pitches_before(session, event)
    only = next((f" of {mode.name}" for mode in machine.modes if mode.code == event.mode_code), "")
    words = "no pitch{} found before it serves any more" if event.ends_pitches else "pitches{} found before it ask"
    more = max(0, len(concerned) - MOST_SHOWN)
    return Told(event, words.format(only), concerned[:MOST_SHOWN], more, printed_since(session, event))


def _ended_check(machine: Machine, event: MachineEvent) -> bool:
    return event.what != BACK and history.ends_check(machine.kind, event.what)


@dataclass(frozen=True, slots=True)
class Proofs:
    """What somebody saw for themselves before a machine is used again."""

    stops: bool
    guards: bool
    test_piece: bool

    def words(self) -> str:
        """What was proven, for the history."""
        named = {"stops proven": self.stops, "guards back": self.guards, "test piece run": self.test_piece}
        return ", ".join(words for words, done in named.items() if done)


def back_into_use(
    session: Session, by: Actor, *, machine: Machine, done: str, done_by: str, proofs: Proofs
) -> MachineEvent:
    """Unblock the machine after work on it, repair and service alike; a new daily check is due as well."""
    if machine.out_of_use_reason is None:
        raise Refused(f"{machine.name} is in use already.")
    if not done.strip():
        raise Refused("Write down what was done.", field="done")
    if not done_by.strip():
        raise Refused("Write down by whom: a person or a service firm.", field="done_by")
    stops = machine.kind != "printer" and machine.drive == "powered"
    if history.proofs_missing(powered=stops, stops=proofs.stops, guards=proofs.guards, test_piece=proofs.test_piece):
        raise Refused(
            "Stops proven, guards back and a test piece run: all three are needed."
            if stops
            else "Guards or covers back, and a test piece run: both are needed.",
            field="stops_proven" if stops else "guards_back",
        )
    old, machine.out_of_use_reason = machine.out_of_use_reason, None
    event = MachineEvent(
        machine_id=machine.id,
        at=by.now,
        person_id=by.person_id,
        what=BACK,
        note=f"{done.strip()} ({done_by.strip()}); {proofs.words()}",
    )
    session.add(event)
    told = {"done": done.strip(), "by": done_by.strip(), "proven": proofs.words()}
    act = Act("machine back into use", [ref(machine)], old={"out of use": old}, new=told, meaning="released")
    record(session, by, act)
    return event
