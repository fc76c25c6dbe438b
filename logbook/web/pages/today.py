"""Today: what is due, what can go on now, what waits for whom, what is low."""

from dataclasses import dataclass
from datetime import date, timedelta

from flask import Blueprint, url_for
from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from logbook.actions import backups, diskuse, prooflinks
from logbook.actions.materials import all_left
from logbook.records.floor import PRINT_IS_OPEN, UNFINISHED, Print, Run, Sheet
from logbook.records.machines import Authorisation, Machine
from logbook.records.materials import Lot
from logbook.records.orders import Job, Order
from logbook.records.people import Person
from logbook.web.acting import page, reading
from logbook.web.gate import actor, the_shop
from logbook.web.jobview import Next, next_of

pages = Blueprint("today", __name__)
SOON = timedelta(days=7)
MOST_JOBS = 60


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the page."""

    job: Job
    next: Next


@dataclass(frozen=True, slots=True)
class Low:
    """A lot that runs low, ends soon or was set aside; or a machine that is held."""

    words: str
    address: str


@pages.route("/")
def today() -> tuple[str, int]:
    """The page everybody starts on."""
    day = actor().now.astimezone().date()
    with reading() as session:
        jobs = list(
            session.execute(
                select(Job)
                .join(Order)
                .where(Job.ended_at.is_(None), Order.cancelled_reason.is_(None))
                .order_by(Order.due_on.is_(None), Order.due_on, Job.id)
                .limit(MOST_JOBS)
            ).scalars()
        )
        ahead = next_of(session, jobs)
        lines = [Line(job, one) for job in jobs for one in ahead[job.id]]
        waiting = [line for line in lines if line.next.for_customer]
        resting = sorted((line for line in lines if line.next.free_at), key=lambda line: str(line.next.free_at))
        return page(
            "today.html",
            day=day,
            due=_due(jobs, day),
            answers=prooflinks.answers_since(session, actor().now - prooflinks.NEWS_FOR),
            # what is held stands below, once
            go_on=[line for line in lines if not (line.next.for_customer or line.next.free_at or line.next.held)],
            waiting=waiting,
            resting=resting,
            low=[*_keeping(session), *_low_lots(session, day), *_held(session, day)],
            last_backup=backups.last(session, "backup"),
            working=_working(session),
            empty=_empty(session),
            people_steps=_first_steps(session),
        )


def _due(jobs: list[Job], day: date) -> list[Job]:
    return [job for job in jobs if job.order.due_on and job.order.due_on <= day + SOON]


def _working(session: Session) -> list[Run]:
    return list(session.execute(select(Run).where(UNFINISHED).order_by(Run.id)).scalars())


def _empty(session: Session) -> bool:
    return session.execute(select(Order.id).limit(1)).first() is None


def _low_lots(session: Session, day: date) -> list[Low]:
    watched = or_(Lot.reorder_level.is_not(None), Lot.expires_on <= day + SOON)
    lots = list(session.execute(select(Lot).where(Lot.set_aside_reason.is_(None), watched).order_by(Lot.id)).scalars())
    found, counts = [], all_left(session, [lot.id for lot in lots])
    for lot in lots:
        count = counts.get(lot.id)
        here = url_for("stock.lot", code=lot.code)
        if count is not None and lot.reorder_level is not None and count <= lot.reorder_level:
            found.append(Low(f"{lot.material.name}, {lot.label}: {count} left, order more", here))
        if lot.expires_on and lot.expires_on <= day + SOON and count != 0:
            ends = "ended" if lot.expires_on < day else "ends"
            found.append(Low(f"{lot.material.name}, {lot.label}: {ends} on {lot.expires_on:%Y-%m-%d}", here))
    return found


def _keeping(session: Session) -> list[Low]:
    """What is wrong with backups or the disk; nothing in a shop's first day."""
    said = backups.warnings(session, actor().now)
    if disk := diskuse.disk_warning(the_shop()):
        said.append(disk)
    return [Low(words, url_for("status.status")) for words in said]


def _held(session: Session, day: date) -> list[Low]:
    held = [
        Low(
            f"{machine.name} is out of use: {machine.out_of_use_reason}", url_for("machines.machine", code=machine.code)
        )
        for machine in session.execute(select(Machine).where(Machine.out_of_use_reason.is_not(None))).scalars()
    ]
    ending = session.execute(
        select(Authorisation)
        .join(Person, Authorisation.person_id == Person.id)
        .where(Person.active, Authorisation.withdrawn_at.is_(None), Authorisation.until <= day + timedelta(days=30))
    ).scalars()
    held += [
        Low(
            f"{one.person.name}'s authorisation for {one.machine.name} "
            f"{'ended' if one.until < day else 'ends'} on {one.until:%Y-%m-%d}",
            url_for("machines.machine", code=one.machine.code),
        )
        for one in ending
    ]
    return [*held, *_set_aside(session)]


def _set_aside(session: Session) -> list[Low]:
    """One line for all prints of a job that are held for the same reason."""
    rows = session.execute(
        select(func.count(), func.min(Print.serial), func.min(Print.code), Print.set_aside_reason, Job.number, Job.code)
        .join(Job, Print.job_id == Job.id)
        .where(Print.set_aside_reason.is_not(None), PRINT_IS_OPEN)
        .group_by(Job.id, Print.set_aside_reason)
        .order_by(Job.id)
    )
    return [
        Low(f"{serial} is set aside: {why}", url_for("bench.piece", code=piece))
        if count == 1
        else Low(f"{number}: {count} prints are set aside: {why}", url_for("jobs.job", code=job) + "#prints")
        for count, serial, piece, why, number, job in rows
    ]


def _first_steps(session: Session) -> bool:
    """Whether something was mounted yet; until then the page says what the rollers will ask for."""
    mounted = session.execute(select(Sheet.id).where(Sheet.stage.in_(("laminate", "dwell", "parted"))).limit(1)).first()
    return (
        mounted is None
        and session.execute(select(Machine.id).where(Machine.kind == "laminator").limit(1)).first() is None
    )
