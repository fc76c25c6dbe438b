"""Which pitch a job uses, and what speaks against it."""

from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.jobs import findings_text, materials_of
from logbook.actions.pitchfacts import facts_and_needs
from logbook.actions.strengths import weigh
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import JobPitch, Run, Sheet
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.rules.findings import Finding, Strength, settle, settle_each
from logbook.rules.validity import may_serve


def findings_for(session: Session, by: Actor, *, job: Job, pitch: PitchOnRecord) -> list[Finding]:
    """What the rules say about using this pitch for this job."""
    materials = materials_of(session, job)
    if materials is None:
        raise Refused("Choose lens lot, printer and paper first.")
    return weigh(session, may_serve(*facts_and_needs(session, by, job=job, materials=materials, pitch=pitch)))


def printed_before(session: Session, *, lens_lot: Lot) -> bool:
    """Whether the logbook knows a sheet that was made for this lens lot."""
    made = select(Sheet.id).join(Run, Sheet.run_id == Run.id).where(Run.lens_lot_id == lens_lot.id)
    return session.execute(made.limit(1)).first() is not None


def choose(
    session: Session,
    by: Actor,
    *,
    job: Job,
    pitch: PitchOnRecord,
    reason: str = "",
    reasons: Mapping[str, str] | None = None,
) -> JobPitch:
    """Use this pitch for this job; a stop refuses, an ask needs a reason.

    ``reason`` serves where one thing is asked; of several each takes its own, ``reasons`` by their fields.
    """
    findings = findings_for(session, by, job=job, pitch=pitch)
    several = sum(found.strength is Strength.ASK for found in findings) > 1
    settled = settle_each(findings, reasons=reasons) if several else settle(findings, reason=reason)
    chosen = keep_choice(session, by, job=job, pitch=pitch, findings=findings, reason=settled)
    record(
        session,
        by,
        Act(
            "pitch chosen",
            [ref(job), ref(pitch)],
            reason=settled or None,
            new={"lpi": pitch.lpi, "origin": pitch.origin, "findings": [found.sentence for found in findings]},
        ),
    )
    return chosen


def keep_choice(
    session: Session, by: Actor, *, job: Job, pitch: PitchOnRecord, findings: list[Finding], reason: str
) -> JobPitch:
    """The row of a choice that was settled; part of another act."""
    chosen = JobPitch(
        job_id=job.id, pitch=pitch, reason=reason, findings=findings_text(findings), at=by.now, person_id=by.person_id
    )
    session.add(chosen)
    session.flush()
    return chosen
