"""What a job has chosen: materials and pitch, and how its three gates stand."""

import json
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, aliased

from logbook.actions import proofs
from logbook.actions.finding import ref
from logbook.actions.materials import refuse_set_aside
from logbook.actions.pictures import current
from logbook.actions.standing import why_fallen
from logbook.records.audit import Act, Actor, record
from logbook.records.database import once
from logbook.records.floor import JobMaterials, JobPitch
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord, PitchWithdrawal
from logbook.refusals import Refused
from logbook.rules.gates import Gates
from logbook.rules.secondlook import room


@dataclass(frozen=True, slots=True)
class MaterialChoice:
    """Lots, printer mode and climate for one job; what is unknown is None."""

    lens_lot: Lot
    mode: PrinterMode
    paper: Material
    paper_lot: Lot | None = None
    adhesive_lot: Lot | None = None
    temperature_c: Decimal | None = None
    humidity_percent: Decimal | None = None

    def lots(self) -> list[Lot]:
        """The lots that are known."""
        return [lot for lot in (self.lens_lot, self.paper_lot, self.adhesive_lot) if lot]

    def refs(self) -> list[str]:
        """Everything that it names, for the trail."""
        return [*map(ref, self.lots()), ref(self.mode), ref(self.paper)]

    def plain(self) -> dict[str, object]:
        """As the trail holds it."""
        return {
            "lens lot": self.lens_lot.label,
            "printer mode": self.mode.name,
            "paper": self.paper.name,
            "temperature_c": self.temperature_c,
            "humidity_percent": self.humidity_percent,
        }


def materials_of(session: Session, job: Job) -> JobMaterials | None:
    """The newest choice of materials; None before the first."""
    newest = select(JobMaterials).where(JobMaterials.job_id == job.id).order_by(JobMaterials.id.desc()).limit(1)
    return once(session, ("materials", job.id), lambda: session.execute(newest).scalar_one_or_none())


def pitch_of(session: Session, job: Job) -> JobPitch | None:
    """The newest choice of pitch; None before the first."""
    newest = select(JobPitch).where(JobPitch.job_id == job.id).order_by(JobPitch.id.desc()).limit(1)
    return once(session, ("pitch", job.id), lambda: session.execute(newest).scalar_one_or_none())


def choose_materials(session: Session, by: Actor, *, job: Job, choice: MaterialChoice) -> JobMaterials:
    """Lens lot, printer mode, paper and adhesive for a job; a change is a new row."""
    chosen = keep_materials(session, by, job=job, choice=choice)
    record(session, by, Act("materials chosen", [ref(job), *choice.refs()], new=choice.plain()))
    return chosen


def keep_materials(session: Session, by: Actor, *, job: Job, choice: MaterialChoice) -> JobMaterials:
    """The row of a choice of materials that may be made; part of another act."""
    _check_kinds(choice)
    refuse_set_aside(*choice.lots())
    chosen = JobMaterials(
        job_id=job.id,
        **{name: getattr(choice, name) for name in MaterialChoice.__slots__},
        notes=" ".join(found.sentence for found in room(choice.temperature_c, choice.humidity_percent)),
        at=by.now,
        person_id=by.person_id,
    )
    session.add(chosen)
    session.flush()
    return chosen


def _check_kinds(choice: MaterialChoice) -> None:
    for lot, kind, field in ((choice.lens_lot, "lens", "lens_lot"), (choice.adhesive_lot, "adhesive", "adhesive_lot")):
        if lot is not None and lot.material.kind != kind:
            raise Refused(f"Lot {lot.label} is {lot.material.name}: no {kind}; choose a lot of {kind}.", field=field)
    paper, lot = choice.paper, choice.paper_lot
    if paper.kind != "paper":
        raise Refused(f"{paper.name} is no paper; choose one.", field="paper")
    if lot is not None and lot.material_id != paper.id:
        raise Refused(
            f"Lot {lot.label} is {lot.material.name}, not {paper.name}; choose a lot of the paper above, or none.",
            field="paper_lot",
        )


@dataclass(frozen=True, slots=True)
class Chosen:
    """Whether a job has a pitch and materials; ``pitch_gone`` is why that pitch serves no more, empty while it does."""

    pitch: bool = False
    pitch_gone: str = ""
    materials: bool = False


def chosen_of(session: Session, jobs: Collection[int]) -> dict[int, Chosen]:
    """What each of many jobs has chosen, by row id, with one question."""
    rows = session.execute(_CHOSEN.where(Job.id.in_(jobs)))
    return {job: Chosen(pitch is not None, gone or _fallen(session, pitch, origin), has) for
            job, pitch, origin, gone, has in rows}  # fmt: skip


def _fallen(session: Session, pitch: int | None, origin: str | None) -> str:
    return (why_fallen(session, pitch) or "") if pitch is not None and origin == "forecast" else ""


_Choice = aliased(JobPitch)
_NEWEST = select(func.max(_Choice.id)).where(_Choice.job_id == Job.id).correlate(Job).scalar_subquery()
_CHOSEN = (
    select(Job.id, PitchOnRecord.id, PitchOnRecord.origin, PitchWithdrawal.reason,
           exists().where(JobMaterials.job_id == Job.id))
    .select_from(Job)
    .outerjoin(JobPitch, JobPitch.id == _NEWEST)
    .outerjoin(PitchOnRecord, PitchOnRecord.id == JobPitch.pitch_id)
    .outerjoin(PitchWithdrawal, PitchWithdrawal.pitch_id == PitchOnRecord.id)
)  # fmt: skip


def gates(session: Session, job: Job, chosen: Chosen | None = None) -> Gates:
    """How the three gates of a job stand; ``chosen`` where it is known already."""
    answer, about_now = proofs.state(job)
    has = chosen or chosen_of(session, [job.id])[job.id]
    return Gates(
        pictures=len(current(job)),
        answer=answer,
        answer_is_current=about_now,
        pitch_chosen=has.pitch,
        pitch_gone=has.pitch_gone,
        materials_chosen=has.materials,
        for_shop=job.order.customer_id is None,
    )


def axis_of(job: Job) -> str:
    """The printer axis that the lenticules of this job's pitch run across: across for left-right, down for up-down."""
    return "across" if job.flip == "left-right" else "down"


def findings_text(findings: list) -> str:
    """Findings as they are kept beside a choice."""
    return json.dumps([[found.strength.word, found.rule, found.sentence] for found in findings], ensure_ascii=False)
