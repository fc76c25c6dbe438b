"""Reorders: what is finished is ordered again exactly as before."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import leakcorrections, pitchchoices
from logbook.actions.alignment import newest
from logbook.actions.finding import ref
from logbook.actions.heirlooms import Heirloom, Shelves, heirloom
from logbook.actions.jobs import keep_materials
from logbook.actions.orders import JobWish, new_job, new_order
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print
from logbook.records.orders import Job, Order, Picture, PictureShift, Reorder
from logbook.refusals import Refused


@dataclass(frozen=True, slots=True)
class Again:
    """What is new about a reorder; ``quantity`` only where one job is ordered again (None: as before)."""

    due_on: date | None = None
    note: str = ""
    quantity: int | None = None


def may_be_repeated(session: Session, job: Job) -> bool:
    """Whether a piece of it was good enough to leave, or all of it is over: then it is known what to make again."""
    left = select(Print.id).where(Print.job_id == job.id, Print.stage == "gone").limit(1)
    return job.ended_at is not None or session.execute(left).first() is not None


def order_again(session: Session, by: Actor, shelves: Shelves, *, jobs: Sequence[Job], again: Again = Again()) -> Order:
    """A new order with jobs like these: pictures, size, flip, materials, pitch, price.

    What cannot be taken over is left open; what has changed since is kept with each
    new job. Raises Refused where of one of them nothing has left yet.
    """
    if untried := next((job for job in jobs if not may_be_repeated(session, job)), None):
        raise Refused(f"{untried.number} is not finished: no piece of it has left yet. Add a job to its order instead.")
    if not jobs:
        raise Refused("There is nothing in this order to make again; take a new order.")
    order = new_order(session, by, customer=jobs[0].order.customer, due_on=again.due_on, note=again.note)
    touched, told = [ref(order)], []
    for old in jobs:
        left = heirloom(session, by, shelves, job=old)
        new = _like(session, by, shelves, order, left, again.quantity)
        touched.extend(_touched(left, new))
        told.append({"number": new.number, "of": old.number, "changed since": list(left.changed)})
    if order.customer is not None:
        touched.append(ref(order.customer))
    files = sorted({picture.file.sha256 for job in order.jobs for picture in job.pictures})
    new_facts = {"number": order.number, "due": again.due_on, "jobs": told}
    record(session, by, Act("ordered again", list(dict.fromkeys(touched)), new=new_facts, files=files))
    return order


def _like(session: Session, by: Actor, shelves: Shelves, order: Order, left: Heirloom, quantity: int | None) -> Job:
    old = left.job
    wish = {name: getattr(old, name) for name in JobWish.__slots__}
    if quantity is not None:
        wish["quantity"] = quantity
    job = new_job(session, by, shelves.own_safety, order, JobWish(**wish))
    for picture in left.pictures:
        session.add(_copied(picture, job, by))
    if left.materials is not None:
        keep_materials(session, by, job=job, choice=left.materials)
    if left.pitch is not None:
        pitchchoices.keep_choice(
            session, by, job=job, pitch=left.pitch, findings=list(left.findings), reason=left.reason
        )
    if left.correction is not None:
        leakcorrections.carry_over(session, by, chosen=left.correction, job=job)
    changed = json.dumps(left.changed, ensure_ascii=False)
    session.add(Reorder(job_id=job.id, of_id=old.id, changed=changed, at=by.now, person_id=by.person_id))
    session.flush()
    session.refresh(job, ["pictures"])
    return job


def _copied(picture: Picture, job: Job, by: Actor) -> Picture:
    same = ("position", "file_id", "preview_id", "original_name", "width_px", "height_px", "remark")
    copy = Picture(job_id=job.id, added_at=by.now, **{name: getattr(picture, name) for name in same})
    if (laid := newest(picture)) is not None:
        where = {name: getattr(laid, name) for name in ("dx", "dy", "dpi_across", "dpi_down")}
        copy.shifts.append(PictureShift(at=by.now, person_id=by.person_id, **where))
    return copy


def _touched(left: Heirloom, new: Job) -> Iterator[str]:
    yield from (ref(new), ref(left.job), *map(ref, new.pictures))
    if left.materials is not None:
        yield from left.materials.refs()
    if left.pitch is not None:
        yield ref(left.pitch)


@dataclass(frozen=True, slots=True)
class Since:
    """Which job a job repeats, and what had changed since when it was ordered again."""

    code: str
    number: str
    changed: tuple[str, ...]


def since(session: Session, job: Job) -> Since | None:
    """What a reorder repeats; None for a job that repeats nothing."""
    old = select(Job.code, Job.number, Reorder.changed).join(Reorder, Reorder.of_id == Job.id)
    row = session.execute(old.where(Reorder.job_id == job.id)).one_or_none()
    return Since(row.code, row.number, tuple(json.loads(row.changed))) if row else None


def repeats(session: Session, job: Job) -> list[tuple[str, str]]:
    """Codes and numbers of the jobs that ordered this one again, oldest first."""
    rows = select(Job.code, Job.number).join(Reorder, Reorder.job_id == Job.id).where(Reorder.of_id == job.id)
    return list(session.execute(rows.order_by(Reorder.id)))
