"""Choosing a lens: what is in stock, ranked by the engine's numbers; the choice is kept with the job."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.jobs import MaterialChoice, keep_materials, materials_of
from logbook.actions.machines import dots_per_inch
from logbook.actions.materials import left, refuse_set_aside
from logbook.actions.pictures import current
from logbook.engine.choosing import LensType, Looks, Use, looks, rank
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import LensChoice
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.refusals import Refused

MOST_WORDS = 1000


@dataclass(frozen=True, slots=True)
class Offer:
    """One lens type in stock, its lots that may be used, and what it would do."""

    material: Material
    lots: tuple[Lot, ...]
    looks: Looks


def use_of(job: Job) -> Use:
    """What a job's print is to do; fewer than two pictures count as two."""
    bleed = 2 * float(job.bleed.inches)
    return Use(
        width_in=float(job.width.inches) + bleed,
        height_in=float(job.height.inches) + bleed,
        distance_mm=float(job.distance.mm),
        flip=job.flip,
        use=job.use,
        effect=job.effect,
        pictures=max(2, len(current(job))),
    )


def offers(session: Session, use: Use) -> list[Offer]:
    """Every lens type in stock, best first."""
    printers = _printers(session)
    found: dict[str, Offer] = {}
    for material in session.execute(select(Material).where(Material.kind == "lens").order_by(Material.id)).scalars():
        lots = tuple(lot for lot in material.lots if lot.set_aside_reason is None and left(session, lot) != 0)
        if lots and material.nominal_lpi is not None:
            found[material.name] = Offer(material, lots, looks(_type(material, lots), use, printers=printers))
    return [found[name] for name in rank({name: offer.looks for name, offer in found.items()})]


def _printers(session: Session) -> dict[str, tuple[float, float]]:
    in_use = select(PrinterMode).join(Machine).where(Machine.out_of_use_reason.is_(None)).order_by(PrinterMode.id)
    rows = session.execute(in_use).scalars()
    return {
        f"{mode.machine.name}, {mode.name}": (
            float(dots_per_inch(mode.dpi_across)),
            float(dots_per_inch(mode.dpi_down)),
        )
        for mode in rows
    }


def _type(material: Material, lots: Sequence[Lot]) -> LensType:
    sizes = [(lot.sheet_width, lot.sheet_height) for lot in lots]
    # a lot whose size nobody wrote down may be large enough: then nothing is judged
    known = [(float(wide.inches), float(high.inches)) for wide, high in sizes if wide and high]
    return LensType(
        lpi=float(material.nominal_lpi or 0),
        thickness_mm=float(material.thickness.mm) if material.thickness else None,
        index=float(material.refractive_index) if material.refractive_index else None,
        sheets_in=tuple(known) if len(known) == len(sizes) else (),
    )


def choose_lens(
    session: Session, by: Actor, *, job: Job, lot: Lot, reasons: Sequence[str], reason: str = ""
) -> LensChoice:
    """Keep which lens was chosen and the sentences it was chosen by; materials chosen before take it over."""
    if lot.material.kind != "lens":
        raise Refused(f"Lot {lot.label} is {lot.material.name}: no lens; choose a lot of a lens.", field="lot")
    refuse_set_aside(lot)
    if job.ended_at is not None:
        raise Refused(f"Everything of {job.number} has gone out; a reorder can take another lens.")
    chosen = LensChoice(
        job_id=job.id,
        lot=lot,
        reasons=json.dumps(list(reasons), ensure_ascii=False),
        reason=reason.strip(),
        at=by.now,
        person_id=by.person_id,
    )
    session.add(chosen)
    session.flush()
    touched = [ref(job), ref(lot), *_into_materials(session, by, job, lot)]
    told = {"lens lot": lot.label, "lens": lot.material.name, "reasons": list(reasons)}
    act = Act("lens chosen", list(dict.fromkeys(touched)), reason=reason.strip() or None, new=told)
    record(session, by, act)
    return chosen


def _into_materials(session: Session, by: Actor, job: Job, lot: Lot) -> list[str]:
    known = materials_of(session, job)
    if known is None or known.lens_lot is lot:
        return []
    choice = MaterialChoice(
        known.lens_lot,
        known.mode,
        known.paper,
        known.paper_lot,
        known.adhesive_lot,
        known.temperature_c,
        known.humidity_percent,
    )
    choice = replace(choice, lens_lot=lot)
    keep_materials(session, by, job=job, choice=choice)
    return choice.refs()


def choice_of(session: Session, job: Job) -> LensChoice | None:
    """The newest choice of a lens by its numbers; None where nobody asked for them."""
    found = select(LensChoice).where(LensChoice.job_id == job.id).order_by(LensChoice.id.desc()).limit(1)
    return session.execute(found).scalar_one_or_none()


def reasons_of(choice: LensChoice) -> list[str]:
    """The sentences beside a choice."""
    return list(json.loads(choice.reasons))
