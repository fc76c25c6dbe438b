"""The work of a place: what can go on there now, in due order, and what is held up and why."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from flask import url_for
from sqlalchemy.orm import Session

from logbook.actions import bench
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.records.machines import Machine
from logbook.rules.stages import ROLLER_STAGES
from logbook.rules.waits import Wait
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
    standing = bench.standing(session)
    rollers = [stage for stage in stages if stage in ROLLER_STAGES and standing[stage]]
    stopped = _stopped(session, by, "laminator") if rollers else []
    cutters = _stopped(session, by, "trimmer") if "trim" in stages and standing["trim"] else []
    here = [one for stage in stages for one in standing[stage]]
    waits = bench.waits_for(session, here)
    lines = [_line(session, by, one, wait) for one, wait in zip(here, waits, strict=True)]
    lines.sort(key=lambda line: (line.due is None, line.due or date.max))
    if stopped:
        lines = [_at_stopped_rollers(line) for line in lines]
    # what is to be cut goes on without a trimmer: by hand
    return Work([line for line in lines if not line.held], [line for line in lines if line.held], [*stopped, *cutters])


def _at_stopped_rollers(line: Line) -> Line:
    return replace(line, held="no laminator may run, see above") if line.stage in ROLLER_STAGES else line


def _line(session: Session, by: Actor, one: Sheet | Print, wait: Wait | None) -> Line:
    job, is_print = bench.job_of(one), isinstance(one, Print)
    return Line(
        one.stage,
        one.serial if isinstance(one, Print) else one.number,
        job.artwork,
        job.order.due_on,
        url_for("bench.piece" if is_print else "bench.sheet", code=one.code),
        _why_held(session, by, one, wait),
    )


def _why_held(session: Session, by: Actor, one: Sheet | Print, wait: Wait | None) -> str:
    pieces = [one] if isinstance(one, Print) else one.prints
    aside = [piece.set_aside_reason for piece in pieces if piece.set_aside_reason and piece.stage != "scrapped"]
    if aside:
        return f"set aside: {aside[0]}"
    if isinstance(one, Print) and one.stage == "inspect" and bench.failed_inspection(session, one) is not None:
        return "failed its inspection: decide what becomes of it"
    if one.stage == "print" and isinstance(one, Sheet) and one.mode and one.mode.machine.out_of_use_reason:
        return f"{one.mode.machine.name} is out of use: {one.mode.machine.out_of_use_reason}"
    return f"{wait.what.lower()} until {when(wait.until)}" if wait is not None and wait.left(by.now) else ""


def _stopped(session: Session, by: Actor, kind: str) -> list[Held]:
    """The machines of a kind that may not run for this person now; none where one of them may."""
    found = atmachines.of_kind(session, by, kind)
    if atmachines.runnable(found):
        return []
    return [Held(atmachines.stops(each), _page_of(row)) for row, each in found.values()]


def _page_of(machine: Machine) -> str:
    return url_for("machines.machine", code=machine.code)
