"""Machines as a stage's page shows them: what speaks against whoever is signed in working at each now."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import benchfindings, machines
from logbook.records.audit import Actor
from logbook.records.machines import Machine
from logbook.records.people import Person
from logbook.rules.findings import Finding, Strength, strongest

Found = dict[str, tuple[Machine, list[Finding]]]
"""Machines with their findings, by code."""


def of_kind(session: Session, by: Actor, kind: str) -> Found:
    """Every machine of a kind, by name."""
    rows = session.execute(select(Machine).where(Machine.kind == kind).order_by(Machine.name)).scalars()
    return {row.code: (row, benchfindings.machine_findings(session, by, machine=row)) for row in rows}


def runnable(found: Found) -> list[str]:
    """The codes of those where nothing stops this person now."""
    return [code for code, (_, findings) in found.items() if strongest(findings) is not Strength.STOP]


def named_for(session: Session, by: Actor, person: Person, found: Found) -> list[str]:
    """The names of those of these machines for which a person is named today."""
    facts = ((row.name, machines.worker_facts(session, row, person, by.day)) for row, _ in found.values())
    return [name for name, one in facts if one.authorised_until is not None and one.authorised_until >= by.day]


def stops(findings: list[Finding]) -> str:
    """What stops somebody there, in words; empty where nothing does."""
    return " ".join(one.sentence for one in findings if one.strength is Strength.STOP)
