"""Today: what is due, what can go on now, what waits for whom, what is low."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from flask import Blueprint, url_for
from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from logbook.actions import backups, diskuse, prooflinks
from logbook.actions.materials import all_left
from logbook.actions.shop import first_aid_missing
from logbook.actions.standing import runs_of
from logbook.records.floor import PRINT_IS_OPEN, UNFINISHED, Print, Run, RunPiece, Sheet
from logbook.records.machines import Authorisation, Machine
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job, Order
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord, PitchWithdrawal
from logbook.web.acting import page, reading
from logbook.web.gate import actor, the_shop
from logbook.web.jobview import Next, next_of

pages = Blueprint("today", __name__)
SOON = timedelta(days=7)
CALL_BACK = timedelta(days=30)
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
        fallen = _left_with_a_fallen_pitch(session, actor().now)
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
            low=[*_keeping(session), *fallen, *_low_lots(session, day), *_held(session, day)],
            last_backup=backups.last_good(session),
            working=_working(session),
            empty=not jobs and _empty(session),
            people_steps=_first_steps(session),
        )


def _due(jobs: list[Job], day: date) -> list[Job]:
    return [job for job in jobs if job.order.due_on and job.order.due_on <= day + SOON]


def _working(session: Session) -> list[tuple[str, int, str]]:
    """Runs that are not over: code, whole percent, the number of the job."""
    found = select(Run.code, Run.progress, Job.number).join(RunPiece, RunPiece.run_id == Run.id)
    rows = session.execute(found.join(Job).where(UNFINISHED).order_by(Run.id, RunPiece.id.desc()))
    return list({code: (code, percent, number) for code, percent, number in rows}.values())


def _empty(session: Session) -> bool:
    return session.execute(select(Order.id).limit(1)).first() is None


_LOTS = select(Lot.id, Lot.code, Lot.label, Lot.reorder_level, Lot.expires_on, Material.name).join(Material)


def _low_lots(session: Session, day: date) -> list[Low]:
    watched = or_(Lot.reorder_level.is_not(None), Lot.expires_on <= day + SOON)
    lots = session.execute(_LOTS.where(Lot.set_aside_reason.is_(None), watched).order_by(Lot.id)).all()
    found, counts = [], all_left(session, [lot.id for lot in lots])
    for lot in lots:
        count = counts.get(lot.id)
        here = url_for("stock.lot", code=lot.code)
        if count is not None and lot.reorder_level is not None and count <= lot.reorder_level:
            found.append(Low(f"{lot.name}, {lot.label}: {count} left, order more", here))
        if lot.expires_on and lot.expires_on <= day + SOON and count != 0:
            ends = "ended" if lot.expires_on < day else "ends"
            found.append(Low(f"{lot.name}, {lot.label}: {ends} on {lot.expires_on:%Y-%m-%d}", here))
    return found


def _keeping(session: Session) -> list[Low]:
    """What is wrong with backups or the disk; nothing in a shop's first day."""
    said = backups.warnings(session, actor().now)
    if disk := diskuse.disk_warning(the_shop()):
        said.append(disk)
    return [Low(words, url_for("status.status")) for words in said]


def _held(session: Session, day: date) -> list[Low]:
    return [*_first_aid(session), *_out_of_use(session), *_ending(session, day), *_set_aside(session)]


def _left_with_a_fallen_pitch(session: Session, now: datetime) -> list[Low]:
    """For a month after a pitch was withdrawn: how many pieces had left with it."""
    lately = select(PitchOnRecord.id, PitchOnRecord.code, PitchWithdrawal.at).join(PitchWithdrawal)
    found = []
    for pitch, code, at in session.execute(lately.where(PitchWithdrawal.at >= now - CALL_BACK)):
        gone = select(func.count(Print.id)).join(Sheet, Print.sheet_id == Sheet.id).join(Run, Sheet.run_id == Run.id)
        if count := session.execute(gone.where(Print.stage == "gone", runs_of(pitch))).scalar_one():
            pieces = "1 piece" if count == 1 else f"{count} pieces"
            words = f"Pitch {code} was withdrawn on {at.astimezone():%Y-%m-%d}, and {pieces} of it had left: tell them"
            found.append(Low(words, url_for("pitch.on_record", code=code)))
    return found


def _first_aid(session: Session) -> list[Low]:
    """Said from the first machine on that can hurt somebody."""
    there = select(Machine.id).where(Machine.kind.in_(("laminator", "trimmer"))).limit(1)
    if session.execute(there).first() is None or not (blank := first_aid_missing(session)):
        return []
    return [Low(f"The first-aid card says nothing yet of: {', '.join(blank)}", url_for("shop.shop"))]


def _out_of_use(session: Session) -> list[Low]:
    columns = select(Machine.code, Machine.name, Machine.out_of_use_reason)
    return [
        Low(f"{name} is out of use: {why}", url_for("machines.machine", code=code))
        for code, name, why in session.execute(columns.where(Machine.out_of_use_reason.is_not(None)))
    ]


def _ending(session: Session, day: date) -> list[Low]:
    ending = session.execute(
        select(Person.name, Machine.name, Machine.code, Authorisation.until)
        .select_from(Authorisation)
        .join(Person, Authorisation.person_id == Person.id)
        .join(Machine, Authorisation.machine_id == Machine.id)
        .where(Person.active, Authorisation.withdrawn_at.is_(None), Authorisation.until <= day + timedelta(days=30))
    )
    return [
        Low(
            f"{person}'s authorisation for {machine} {'ended' if until < day else 'ends'} on {until:%Y-%m-%d}",
            url_for("machines.machine", code=code),
        )
        for person, machine, code, until in ending
    ]


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
