"""The work of a place: what can go on there now, in due order, and what is held up and why."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from flask import url_for
from sqlalchemy.orm import Session

from logbook.actions import benchlist
from logbook.records.audit import Actor
from logbook.records.machines import Machine
from logbook.rules.stages import ROLLER_STAGES
from logbook.web import atmachines
from logbook.web.shown import when


@dataclass(frozen=True, slots=True)
class Line:
    """One sheet or print at a place: where it is worked on, and why it waits where it does."""

    stage: str
    number: str
    artwork: str
    due: date | None
    address: str
    held: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """A machine that nobody there may use now, and why."""

    words: str
    address: str


@dataclass(frozen=True, slots=True)
class Work:
    """What a place's page shows."""

    now: list[Line]
    waiting: list[Line]
    machines: list[Held]


def at(session: Session, by: Actor, stages: Sequence[str]) -> Work:
    """Everything that stands at these stages; lines keep the due order of the bench."""
    standing = benchlist.by_stage(session)
    rollers = [stage for stage in stages if stage in ROLLER_STAGES and standing[stage]]
    stopped = _stopped(session, by, "laminator") if rollers else []
    cutters = _stopped(session, by, "trimmer") if "trim" in stages and standing["trim"] else []
    lines = [_line(by, one) for stage in stages for one in standing[stage]]
    lines.sort(key=lambda line: (line.due is None, line.due or date.max))
    if stopped:
        lines = [_at_stopped_rollers(line) for line in lines]
    # what is to be cut goes on without a trimmer: by hand
    return Work([line for line in lines if not line.held], [line for line in lines if line.held], [*stopped, *cutters])


def _at_stopped_rollers(line: Line) -> Line:
    return replace(line, held="no laminator may run, see above") if line.stage in ROLLER_STAGES else line


def _line(by: Actor, one: benchlist.Standing) -> Line:
    address = url_for("bench.piece" if one.is_print else "bench.sheet", code=one.code)
    return Line(one.stage, one.called, one.artwork, one.due, address, _why_held(by, one))


def _why_held(by: Actor, one: benchlist.Standing) -> str:
    if one.aside:
        return f"set aside: {one.aside}"
    if one.failed:
        return "failed its inspection: decide what becomes of it"
    if one.stage == "print" and one.printer:
        return one.printer
    if one.on_paper:
        return "on paper: take its page over when it is done"
    until = one.free_at(by.now)
    return f"{one.wait.what.lower()} until {when(until)}" if one.wait is not None and until else ""


def _stopped(session: Session, by: Actor, kind: str) -> list[Held]:
    """The machines of a kind that may not run for this person now; none where one of them may."""
    found = atmachines.of_kind(session, by, kind)
    if atmachines.runnable(found):
        return []
    return [Held(atmachines.stops(each), _page_of(row)) for row, each in found.values()]


def _page_of(machine: Machine) -> str:
    return url_for("machines.machine", code=machine.code)
