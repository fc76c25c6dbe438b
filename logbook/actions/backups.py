"""Keeping the shop's record safe: what the owner set up, what is due, what was done and whether it was good."""

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.finding import facts, ref
from logbook.manner import counted
from logbook.records.audit import Act, Actor, record
from logbook.records.backup import KEEP, BackupWish, Made, mount_of
from logbook.records.database import once
from logbook.records.keeping import KeepingRun
from logbook.records.orders import Order
from logbook.records.people import ShopFact
from logbook.refusals import Refused

TRIAL_EVERY = timedelta(days=30)
TRY_AGAIN = {"backup": timedelta(hours=1), "trial": timedelta(days=1), "check": timedelta(days=1)}
WORK_TO_LOSE = timedelta(days=1)
"""An order that is older than this would be missed; before, nobody is asked for a backup."""
LIMIT_DAYS = 3
KINDS = {"backup": "backup", "trial": "restore trial", "check": "check of the record"}
STOPPED, LEFT = "Stopped by hand.", "The machine or its worker stopped meanwhile."
_KEYS = {"folder": "backup folder", "closing": "backup time", "keep": "backups kept", "limit_days": "backup limit",
         "with_interlaced": "backup of interlaced files", "mount": "backup mount"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setup:
    """Where backups go, at which local time of day, how many stay, and after how many days one is missed.

    Without a folder nothing is backed up; without a time only when somebody asks.
    """

    folder: Path | None = None
    closing: time | None = None
    keep: int = KEEP
    limit_days: int = LIMIT_DAYS
    with_interlaced: bool = False
    mount: Path | None = None
    """Where the stick or disk was mounted that held the folder when it was set up; None for the machine's own."""

    def wish(self, folder: Path) -> BackupWish:
        """A backup into this folder; of what stands on the stick that was set up, only while it is mounted."""
        mount = self.mount if self.mount in (folder, *folder.parents) else None
        return BackupWish(folder, self.keep, self.with_interlaced, mount)


def setup(session: Session) -> Setup:
    """What the owner set up."""
    told = facts(session, _KEYS)
    return Setup(
        folder=Path(told["folder"]) if told["folder"] else None,
        closing=time.fromisoformat(told["closing"]) if told["closing"] else None,
        keep=int(told["keep"] or KEEP),
        limit_days=int(told["limit_days"] or LIMIT_DAYS),
        with_interlaced=told["with_interlaced"] == "yes",
        mount=Path(told["mount"]) if told["mount"] else None,
    )


def set_up(session: Session, by: Actor, *, data: Path, wanted: Setup) -> None:
    """Write down where and when; Refused for a folder that is not there or lies in the data folder."""
    known = setup(session)
    if wanted.folder is not None:
        _check_folder(wanted.folder, data)
        # set up anew while the stick is out, the same folder is still the stick's
        mount = known.mount if wanted.folder == known.folder and known.mount else mount_of(wanted.folder)
        wanted = replace(wanted, mount=mount)
    old, new = _plain(known), _plain(wanted)
    changed = {name: value for name, value in new.items() if value != old[name]}
    if not changed:
        return
    for name, value in changed.items():
        row = session.execute(select(ShopFact).where(ShopFact.key == _KEYS[name])).scalar_one_or_none()
        if row is None:
            session.add(ShopFact(key=_KEYS[name], value=value))
        else:
            row.value = value
    record(session, by, Act("backup set up", ["shop:backup"], old={name: old[name] for name in changed}, new=changed))


def _check_folder(folder: Path, data: Path) -> None:
    if not folder.is_absolute() or not folder.is_dir():
        raise Refused(
            f"There is no folder {folder} on the logbook's own machine; make it, or put the stick in.", field="folder"
        )
    if data.resolve() in (folder.resolve(), *folder.resolve().parents):
        raise Refused("That lies in the data folder and would be lost with it; choose a folder elsewhere.",
                      field="folder")  # fmt: skip


def _plain(wanted: Setup) -> dict[str, str]:
    return {
        "folder": str(wanted.folder or ""),
        "closing": f"{wanted.closing:%H:%M}" if wanted.closing else "",
        "keep": str(wanted.keep),
        "limit_days": str(wanted.limit_days),
        "with_interlaced": "yes" if wanted.with_interlaced else "",
        "mount": str(wanted.mount or ""),
    }


def ask_for(session: Session, by: Actor) -> KeepingRun:
    """Somebody wants a backup now; the worker makes it."""
    folder = setup(session).folder
    if folder is None:
        raise Refused("Nobody has said yet where backups go; the owner sets it up below.")
    _expect_idle(session)
    run = _new(session, by, "backup", str(folder))
    record(session, by, Act("backup asked for", [ref(run)], new={"folder": run.folder}))
    return run


def ask_for_check(session: Session, by: Actor) -> KeepingRun:
    """Somebody wants the whole record recomputed now; the worker does it."""
    _expect_idle(session)
    run = _new(session, by, "check", "")
    record(session, by, Act("check of the record asked for", [ref(run)]))
    return run


def _expect_idle(session: Session) -> None:
    run = at_work(session)
    if run is not None:
        raise Refused(f"A {KINDS[run.kind]} waits or is at work already; wait for its end, or stop it.")


def _new(session: Session, by: Actor, kind: str, folder: str) -> KeepingRun:
    run = KeepingRun(kind=kind, state="waiting", folder=folder, asked_at=by.now, asked_by_id=by.person_id)
    session.add(run)
    session.flush()
    return run


def at_work(session: Session) -> KeepingRun | None:
    """The backup, trial or check that waits or runs."""
    unfinished = select(KeepingRun).where(KeepingRun.state.in_(("waiting", "running"))).order_by(KeepingRun.id)
    return session.execute(unfinished).scalars().first()


def last(session: Session, kind: str, state: str | None = "done") -> KeepingRun | None:
    """The newest of a kind that ended, good unless another state (or None for any) is asked for."""
    ended = select(KeepingRun).where(KeepingRun.kind == kind, KeepingRun.ended_at.is_not(None))
    if state is not None:
        ended = ended.where(KeepingRun.state == state)
    return session.execute(ended.order_by(KeepingRun.ended_at.desc(), KeepingRun.id.desc())).scalars().first()


def last_good(session: Session) -> datetime | None:
    """When the newest good backup ended."""
    good = select(func.max(KeepingRun.ended_at)).where(KeepingRun.kind == "backup", KeepingRun.state == "done")
    return once(session, "last good backup", lambda: session.execute(good).scalar_one_or_none())


def newest(session: Session, count: int) -> list[KeepingRun]:
    """The newest of every kind, newest first."""
    return list(session.execute(select(KeepingRun).order_by(KeepingRun.id.desc()).limit(count)).scalars())


def due(session: Session, now: datetime) -> str | None:
    """What the worker is to do by itself now: backup, trial, check or nothing.

    A backup when the shop's closing time has passed since the last good one, also when the machine was off then; a
    trial and a check each month once there is a backup. What failed is tried again later.
    """
    wanted = setup(session)
    if wanted.folder is None or wanted.closing is None:
        return None
    closed = _last_closing(now, wanted.closing)
    if _missing(session, "backup", closed) and _may_try(session, "backup", now):
        return "backup"
    if last(session, "backup") is None:
        return None
    monthly = (kind for kind in ("trial", "check") if _missing(session, kind, now - TRIAL_EVERY))
    return next((kind for kind in monthly if _may_try(session, kind, now)), None)


def _last_closing(now: datetime, closing: time) -> datetime:
    here = now.astimezone()
    today = datetime.combine(here.date(), closing).astimezone()
    return today if today <= here else datetime.combine(here.date() - timedelta(days=1), closing).astimezone()


def _missing(session: Session, kind: str, since: datetime) -> bool:
    good = last(session, kind)
    return good is None or good.ended_at is None or good.ended_at < since


def _may_try(session: Session, kind: str, now: datetime) -> bool:
    ended = last(session, kind, None)
    return ended is None or ended.state != "failed" or ended.ended_at is None or now - ended.ended_at > TRY_AGAIN[kind]


def begin(session: Session, by: Actor) -> KeepingRun | None:
    """The run the worker is to do now, marked as running: one that waits, or what is due."""
    run = at_work(session)
    if run is None and (kind := due(session, by.now)):
        run = _new(session, by, kind, str(setup(session).folder))
    if run is None or run.state == "running":
        return None
    run.state, run.started_at = "running", by.now
    return run


def tell(session: Session, run_id: int, percent: int) -> None:
    """How far a run is. Raises Refused where somebody stopped it."""
    run = session.get_one(KeepingRun, run_id)
    if run.state != "running":
        raise Refused(run.sentence)
    run.progress = percent


def stop(session: Session, by: Actor, *, run: KeepingRun) -> None:
    """Stop a backup, trial or check: at once for everybody who looks; the worker leaves off at its next step.

    What it wrote so far is thrown away; one that is due by the clock is tried again later, like one that failed.
    """
    if run.state not in ("waiting", "running"):
        raise Refused("It has ended already; there is nothing left to stop.")
    run.state, run.ended_at, run.sentence = "failed", by.now, STOPPED
    record(session, by, Act(_STOPPED[run.kind], [ref(run)], new={"folder": run.folder}))


def end(session: Session, by: Actor, run_id: int, *, size: int, entries: int, sentence: str) -> None:
    """A run ended well; nothing, where it was stopped in its last moment."""
    run = session.get_one(KeepingRun, run_id)
    if run.ended_at is not None:
        return
    run.state, run.progress, run.ended_at = "done", 100, by.now
    run.size, run.entries, run.sentence = size, entries, sentence
    record(session, by, Act(_DONE[run.kind], [ref(run)], new={"folder": run.folder, "entries": entries}))


def fail(session: Session, by: Actor, run_id: int, sentence: str, *, was_finished: bool = True) -> None:
    """A run ended with a sentence that says why; nothing, where it was stopped meanwhile.

    ``was_finished``: False where it broke off, which says nothing about what it looked at.
    """
    run = session.get_one(KeepingRun, run_id)
    if run.ended_at is not None:
        return
    run.state, run.ended_at, run.sentence = "failed", by.now, sentence
    words = _FAILED[run.kind] if was_finished else f"{KINDS[run.kind]} broken off"
    record(session, by, Act(words, [ref(run)], reason=sentence, new={"folder": run.folder}))


_DONE = {"backup": "backup made", "trial": "restore tried", "check": "record checked"}
_STOPPED = {"backup": "backup stopped", "trial": "restore trial stopped", "check": "check of the record stopped"}
_FAILED = {"backup": "backup failed", "trial": "restore trial failed", "check": "record found damaged"}


def fail_left_behind(session: Session, by: Actor) -> None:
    """What runs although nobody works on it ended with the machine or the worker."""
    for run in session.execute(select(KeepingRun).where(KeepingRun.state == "running")).scalars():
        fail(session, by, run.id, LEFT, was_finished=False)


def note_made(session: Session, by: Actor, *, made: Made) -> None:
    """A backup that the command line made."""
    run = _new(session, by, "backup", str(made.backup.parent.absolute()))
    run.started_at = by.now
    end(session, by, run.id, size=made.size, entries=made.manifest.anchor.entries, sentence=made_words(made))


def made_words(made: Made) -> str:
    """What is to be known of a backup that was made; empty when there is nothing."""
    lines = []
    if made.same_disk:
        lines.append("On the same disk as the shop's data: it helps against mistakes, not against a dead disk.")
    if made.manifest.absent:
        lines.append(f"The shop itself has lost {counted(len(made.manifest.absent), 'file')}; run 'logbook verify'.")
    return " ".join(lines)


def warnings(session: Session, now: datetime) -> list[str]:
    """What the today page says about backups; nothing while there is no work yet that would be missed."""
    first = session.execute(select(Order.placed_at).order_by(Order.id).limit(1)).scalar_one_or_none()
    if first is None or now - first < WORK_TO_LOSE:
        return []
    good, limit, said = last_good(session), setup(session).limit_days, []
    if good is None:
        said.append("No backup was made yet: with this disk everything would be lost")
    elif now - good > timedelta(days=limit):
        said.append(f"The last good backup is of {good.astimezone():%Y-%m-%d}, more than {limit} days ago")
    for kind, words in (("trial", "The last restore trial failed"), ("check", "The last check of the record failed")):
        if failed := _last_failure(session, kind):
            said.append(f"{words}: {failed}")
    return said


def _last_failure(session: Session, kind: str) -> str:
    """What the newest of a kind that says something says, where it failed; one that somebody stopped, or that broke
    off, says nothing."""
    told = select(KeepingRun.state, KeepingRun.sentence).where(KeepingRun.kind == kind)
    told = told.where(KeepingRun.ended_at.is_not(None), KeepingRun.sentence.not_in((STOPPED, LEFT)))
    newest = session.execute(told.order_by(KeepingRun.ended_at.desc(), KeepingRun.id.desc())).first()
    return newest.sentence if newest is not None and newest.state == "failed" else ""
