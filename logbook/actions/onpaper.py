"""A stage on paper: chosen when it starts, taken over afterwards in one act with a photograph of the page.

What was written keeps its own person and its own time; who entered it stands beside it and in the trail. The rollers
and the door ask more than their stages do: see ``rollerpages`` and ``leave``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from sqlalchemy.orm import Session

from logbook.actions import bench, benchrecords, leaving
from logbook.actions.finding import ref
from logbook.actions.pictures import Intake
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore
from logbook.records.floor import Print, StepRecord
from logbook.records.machines import Machine
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.stages import PAPER_STAGES, PLAIN_STAGES


@dataclass(frozen=True, slots=True)
class Page:
    """What a page of paper says: who signed it and when, its photograph, values and reasons by their fields."""

    person: Person
    at: datetime
    photograph: Intake
    store: FileStore
    values: Mapping[str, str] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    photos: Sequence[tuple[str, Intake]] = ()
    machine: Machine | None = None


def may_be(subject: benchrecords.Subject) -> bool:
    """Whether the stage at which it stands may be done on paper."""
    return subject.stage in PAPER_STAGES


def begun(session: Session, subject: benchrecords.Subject) -> StepRecord | None:
    """The record that the stage at which it stands is done on paper; None where it is done on screen."""
    key = f"{subject.stage}-on-paper"
    return next((row for row in reversed(benchrecords.records_of(session, subject)) if row.step_key == key), None)


def begin(session: Session, by: Actor, *, subject: benchrecords.Subject) -> None:
    """This stage is done on paper; it is taken over afterwards."""
    _expect(subject)
    if begun(session, subject) is not None:
        raise Refused("It is on paper already; take its page over when it is done.")
    session.add(benchrecords.row(by, subject, subject.stage, f"{subject.stage}-on-paper", "on paper", ""))
    record(
        session, by, Act("stage begun on paper", [ref(subject), ref(benchrecords.job_of(subject))], new=_at(subject))
    )


def take_over(session: Session, by: Actor, *, subject: benchrecords.Subject, page: Page) -> None:
    """Enter what a page says; limits and asks are as on screen, waiting times are judged by the paper's own time.

    Raises Refused, naming the field, for a time that cannot be, and for whatever signing on screen is refused for.
    """
    expect_one_of(subject, PLAIN_STAGES)
    expect_times(session, by, subject, page.at)
    bench.sign_stage(session, by, subjects=[subject], stage=subject.stage, signature=signature_of(by, page))


def leave(session: Session, by: Actor, *, piece: Print, page: Page, way: leaving.WayOut) -> None:
    """Enter the page of a print that left: signed, packed and gone by the paper's own day."""
    expect_one_of(piece, ("pack",))
    expect_times(session, by, piece, page.at)
    way = replace(way, reasons=page.reasons)
    leaving.leave(session, by, piece=piece, way=way, values=page.values, paper=signature_of(by, page))


def expect_times(session: Session, by: Actor, subject: benchrecords.Subject, *times: datetime) -> None:
    """Refuse a time on paper that has not come yet, or that lies before what was signed last."""
    sheet = subject.sheet if isinstance(subject, Print) else subject
    rows = benchrecords.records_of(session, sheet) + (
        benchrecords.records_of(session, subject) if subject is not sheet else []
    )
    earliest = max([sheet.started_at, *(row.at for row in rows if row.step_key.endswith("-sign"))])
    if max(times) > by.now:
        raise Refused("That time has not come yet; write down when it was done.", field="at")
    if min(times) < earliest.replace(second=0, microsecond=0):  # a page is written to the minute
        raise Refused(
            f"What came before was signed {earliest.astimezone():%Y-%m-%d %H:%M}; this cannot be earlier: "
            "write the time that stands on the page.",
            field="at",
        )


def signature_of(by: Actor, page: Page) -> bench.Signature:
    """What a page says, as its stage is signed."""
    return bench.Signature(
        values=page.values,
        reasons=page.reasons,
        machine=page.machine,
        photos=page.photos,
        store=page.store,
        page=page.photograph,
        signer=as_actor(by, page.person, page.at),
        more={"from paper": True, "signed by": page.person.name, "signed at": page.at.isoformat()},
    )


def as_actor(by: Actor, person: Person, at: datetime) -> Actor:
    """Whoever signed on paper, at the paper's time, where it is entered."""
    return Actor(person.id, person.name, person.role, at, None, by.place)


def expect_one_of(subject: benchrecords.Subject, stages: Sequence[str]) -> None:
    """Refuse what stands at another stage than those whose pages are entered so."""
    if subject.stage not in stages:
        raise Refused(f"This page belongs to another stage; it stands at {subject.stage!r}. Open its own page.")


def _expect(subject: benchrecords.Subject) -> None:
    if subject.stage not in PAPER_STAGES:
        raise Refused("There is nothing to do on paper here; open its own page.")


def _at(subject: benchrecords.Subject) -> dict[str, str]:
    return {"stage": subject.stage}
