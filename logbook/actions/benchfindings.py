"""What stands in the way of signing at the bench, or is worth knowing."""

from collections.abc import Iterator, Mapping

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import benchrecords, gluelots, machinehistory, machines, overtaken, printers, waithours
from logbook.actions.benchrecords import Subject
from logbook.actions.strengths import weigh
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet, StepRecord, Verdict
from logbook.records.machines import Machine
from logbook.records.people import Person
from logbook.rules import rollers, signing, waits
from logbook.rules.findings import Finding
from logbook.rules.validity import printer_history


def wait_for(session: Session, subject: Subject) -> waits.Wait | None:
    """The waiting time that guards the stage at which it stands."""
    sheet = subject.sheet if isinstance(subject, Print) else subject
    return waits.guarding(
        subject.stage, waithours.of_sheet(sheet), lambda since: benchrecords.signed_at(session, sheet, since)
    )


def findings_for(session: Session, by: Actor, subject: Subject, values: Mapping[str, str]) -> list[Finding]:
    """Everything that stands in the way of signing, or is worth knowing."""
    wait = wait_for(session, subject)
    found = list(wait.findings(by.now)) if wait else []
    stage = benchrecords.stage_definition(subject)
    found.extend((*signing.outside_limits(stage, values), *signing.unmeasured(stage, values)))
    found.extend(in_doubt(subject))
    if isinstance(subject, Sheet) and subject.stage == "print":
        found.extend(overtaken.before_printing(session, subject))
        found.extend(gluelots.findings(session, by, subject.paper_lot))
        found.extend(_at_the_printer(session, by, subject))
    if isinstance(subject, Print) and subject.stage == "inspect":
        found.extend(_before_inspection(session, by, subject))
    return weigh(session, found)


def _at_the_printer(session: Session, by: Actor, sheet: Sheet) -> Iterator[Finding]:
    """A printer out of use, and what happened to it since the run was asked for: nobody was asked about that yet."""
    if sheet.mode is not None:
        yield from machine_findings(session, by, machine=sheet.mode.machine)
        yield from printers.findings(session, sheet.mode)
    event = machinehistory.since(session, sheet.run.pitch) if sheet.run else None
    if event is not None and sheet.run is not None and event.at > sheet.run.asked_at:
        yield from printer_history(machinehistory.said(event), ended=event.ends_pitches)


def in_doubt(subject: Subject) -> Iterator[Finding]:
    """A stop for every print on it that was set aside."""
    for piece in [subject] if isinstance(subject, Print) else subject.prints:
        if piece.set_aside_reason and piece.stage != "scrapped":
            yield signing.set_aside(piece.serial, piece.set_aside_reason)


def _before_inspection(session: Session, by: Actor, piece: Print) -> Iterator[Finding]:
    if failed_inspection(session, piece) is not None:
        yield signing.undecided(piece.serial)
    if by.name in _makers(session, piece):
        yield signing.inspected_by_maker(by.name)


def failed_inspection(session: Session, piece: Print) -> StepRecord | None:
    """The newest inspection, when it failed and nobody decided about it since."""
    rows = [row for row in benchrecords.records_of(session, piece) if row.step_key == "inspect-result"]
    decided = select(func.count(Verdict.id)).where(
        Verdict.print_id == piece.id, Verdict.kind.in_(("rework", "concession"))
    )
    undecided = rows and signing.is_undecided([row.value for row in rows], session.execute(decided).scalar_one())
    return rows[-1] if undecided else None


def _makers(session: Session, piece: Print) -> set[str]:
    rows = benchrecords.records_of(session, piece.sheet) + benchrecords.records_of(session, piece)
    return {row.person.name for row in rows if row.person and row.step_key.endswith("-sign") and row.stage != "inspect"}


def machine_findings(session: Session, by: Actor, *, machine: Machine, helper: Person | None = None) -> list[Finding]:
    """Every reason why the signed-in person (and a helper) may not work at this machine now."""
    person = session.get(Person, by.person_id)
    people = [one for one in (person, helper) if one is not None]
    workers = [machines.worker_facts(session, machine, one, by.day) for one in people]
    checked = machines.last_check(machine)
    return rollers.may_run(
        machines.machine_facts(machine),
        workers,
        today=by.day,
        local_day=checked.at.astimezone().date() if checked else None,
    )
