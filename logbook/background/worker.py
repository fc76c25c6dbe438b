"""The worker process: answers the bell, sweeps what was left behind, ends when its parent does."""

import logging
import threading
from datetime import UTC, datetime, timedelta

from logbook.actions import repairs, runs
from logbook.background.arrivals import take_in_forever
from logbook.background.batches import write_forever
from logbook.background.bell import Bell
from logbook.background.compute import work_on, worker_actor
from logbook.background.keeping import keep_safe_forever
from logbook.background.rounds import Rounds, SaidOnceAnHour
from logbook.background.supervise import end_with_parent
from logbook.records.opened import Shop, open_shop
from logbook.settings import Settings

SWEEP_SECONDS = 5
LEFT_BEHIND = timedelta(hours=1)
"""A temporary file that nobody wrote to for so long belongs to nobody any more."""
_log = logging.getLogger(__name__)


def run_worker(settings: Settings, *, with_parent: bool) -> None:
    """Work until stopped. ``with_parent``: standard input is a pipe that closes when the parent process ends."""
    shop = open_shop(settings)
    bell = Bell(settings, lambda run_id: work_on(shop, run_id))
    if with_parent:
        threading.Thread(target=end_with_parent, daemon=True).start()
    threading.Thread(target=_sweep_forever, args=(shop, bell), daemon=True).start()
    for work in (keep_safe_forever, write_forever, take_in_forever):
        threading.Thread(target=work, args=(shop,), daemon=True).start()
    for name in ("huey.consumer.Worker", "huey.consumer.Scheduler"):
        logging.getLogger(name).addFilter(SaidOnceAnHour())
    bell.huey.create_consumer(workers=1, periodic=False, initial_delay=0.05, max_delay=0.5).run()


def _sweep_forever(shop: Shop, bell: Bell) -> None:
    """On its own thread and never a queued task, which would wait behind long ones."""
    Rounds(_log, "sweep", lambda: sweep(shop, bell)).forever(SWEEP_SECONDS)


def sweep(shop: Shop, bell: Bell) -> None:
    """Ring again for runs that nobody works on, give up those that died too often, delete what a crash left."""
    now = datetime.now(UTC)
    if swept := shop.store.sweep(idle=LEFT_BEHIND):
        with shop.database.writing() as session:
            repairs.note_swept(session, worker_actor(), temporary=swept)
    with shop.database.reading() as session:
        waiting = runs.waiting_runs(session, now)
    if waiting:
        with shop.database.writing() as session:
            runs.give_up_dead(session, worker_actor(), now)
            waiting = runs.waiting_runs(session, now)
    queued = {task.args[0] for task in bell.huey.pending()}
    for run_id in waiting:
        if run_id not in queued:
            bell.ring(run_id)
