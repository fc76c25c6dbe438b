"""Backups, restore trials and checks of the record: done by the worker, on a thread of its own."""

import logging
import shutil
import time
from collections.abc import Callable

from logbook.actions import backups, verifying
from logbook.actions.restoring import bring_back
from logbook.background.compute import worker_actor
from logbook.background.rounds import Rounds
from logbook.records.backup import Progress, back_up
from logbook.records.manifest import newest_in
from logbook.records.opened import Shop
from logbook.refusals import Refused

LOOK_SECONDS = 3
TELL_SECONDS = 1.0
TRIAL_FOLDER = "restore-trial"
BROUGHT_BACK = 0.75
"""The part of a trial that is done when everything is back: it is read, written and read again, then checked once."""
_log = logging.getLogger(__name__)


def keep_safe_forever(shop: Shop) -> None:
    """Look again and again for what is asked for or due."""
    Rounds(_log, "keeping", lambda: keep_safe(shop)).forever(LOOK_SECONDS)


def keep_safe(shop: Shop) -> bool:
    """Do one thing that is asked for or due; False when there was nothing, or another worker is at it."""
    with shop.alone("keeping") as mine:
        if not mine:
            return False
        with shop.database.reading() as session:
            if backups.at_work(session) is None and backups.due(session, worker_actor().now) is None:
                return False
        with shop.database.writing() as session:
            # whoever holds the lock knows that nobody else works
            backups.fail_left_behind(session, worker_actor())
            run = backups.begin(session, worker_actor())
        if run is not None:
            _do(shop, run.id, run.kind)
        return run is not None


def _do(shop: Shop, run_id: int, kind: str) -> None:
    work: dict[str, Callable[[Shop, Progress], tuple[int, int, str]]] = {
        "backup": _backup, "trial": _trial, "check": _check
    }  # fmt: skip
    try:
        size, entries, sentence = work[kind](shop, _teller(shop, run_id))
    except Refused as refusal:
        trouble, was_finished = refusal.sentence, True
    except Exception as error:  # whatever it was, the run must not stay "running"
        _log.exception("keeping run %s", run_id)
        was_finished = False
        trouble = f"Something unexpected happened ({type(error).__name__}); the worker's log has the details."
    else:
        with shop.database.writing() as session:
            backups.end(session, worker_actor(), run_id, size=size, entries=entries, sentence=sentence)
        return
    with shop.database.writing() as session:
        backups.fail(session, worker_actor(), run_id, trouble, was_finished=was_finished)


def _teller(shop: Shop, run_id: int) -> Progress:
    told = 0.0

    def tell(part: float) -> None:
        nonlocal told
        if time.monotonic() - told > TELL_SECONDS:
            told = time.monotonic()
            with shop.database.writing() as session:
                backups.tell(session, run_id, min(99, int(part * 100)))

    return tell


def _backup(shop: Shop, progress: Progress) -> tuple[int, int, str]:
    with shop.database.reading() as session:
        wanted = backups.setup(session)
    if wanted.folder is None:
        raise Refused("Nobody has said where backups go.")
    made = back_up(shop, wanted.wish(wanted.folder), now=worker_actor().now, progress=progress)
    return made.size, made.manifest.anchor.entries, backups.made_words(made)


def _trial(shop: Shop, progress: Progress) -> tuple[int, int, str]:
    """The newest backup into a temporary folder, every part of it verified there."""
    with shop.database.reading() as session:
        folder = backups.setup(session).folder
    if folder is None:
        raise Refused("Nobody has said where backups go.")
    place = shop.settings.data / TRIAL_FOLDER
    shutil.rmtree(place, ignore_errors=True)
    try:
        tried, found, _ = bring_back(
            newest_in(folder), place, worker_actor(), progress=lambda part: progress(part * BROUGHT_BACK)
        )
        try:
            told = verifying.verify(
                tried.database, tried.store, progress=lambda part: progress(BROUGHT_BACK + part * (1 - BROUGHT_BACK))
            )
        finally:
            tried.database.close()
        if not told["sound"]:
            raise Refused(told["sentence"])
        return sum(item.size for item in found.items), found.anchor.entries, ""
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _check(shop: Shop, progress: Progress) -> tuple[int, int, str]:
    told = verifying.verify(shop.database, shop.store, progress=progress)
    if not told["sound"]:
        raise Refused(told["sentence"])
    return 0, told["entries"], ""
