"""Lists from elsewhere: taken in by the worker some lines at a time, so that the bench is never kept waiting."""

import logging
import time
from datetime import UTC, datetime

from logbook.actions import takingin
from logbook.actions.arriving import Row
from logbook.background.compute import worker_actor
from logbook.background.rounds import Rounds
from logbook.records.arrivals import Arrival
from logbook.records.audit import Actor
from logbook.records.opened import Shop
from logbook.refusals import Refused

LOOK_SECONDS = 2
HOLD_S = 0.2
"""For so long, about, one transaction may hold the pen: a signature at the bench waits for it."""
FEWEST, MOST = 10, 100
"""Lines of the first transaction, and of any: how many fit the time shows on the way, on a machine of any speed."""
BREATH_S = 0.1
"""Between two of them: SQLite keeps no queue of those who wait to write, so whoever asks again at once goes first."""
_log = logging.getLogger(__name__)


def take_in_forever(shop: Shop) -> None:
    """Look again and again for what is asked for."""
    Rounds(_log, "lists", lambda: take_in_asked(shop)).forever(LOOK_SECONDS)


def take_in_asked(shop: Shop) -> bool:
    """Take in the list that waits; False when there is none, or another worker is at it."""
    with shop.alone("arriving") as mine:
        if not mine:
            return False
        with shop.database.reading() as session:
            if takingin.at_work(session) is None:
                return False
        with shop.database.writing() as session:
            found = takingin.begin(session, worker_actor().now)
        if found is not None:
            _take_in(shop, found)
        return found is not None


def _take_in(shop: Shop, arrival: Arrival) -> None:
    try:
        with shop.database.reading() as session:
            rows = takingin.still_to_take(session, arrival)
        if not _take_all(shop, arrival, rows):
            return
    except Refused as refusal:
        trouble = refusal.sentence
    except Exception as error:  # whatever it was, the list must not stay "running"
        _log.exception("list %s", arrival.id)
        trouble = f"Something unexpected happened ({type(error).__name__}); the worker's log has the details."
    else:
        with shop.database.writing() as session:
            takingin.end(session, worker_actor(), arrival.id)
        return
    with shop.database.writing() as session:
        takingin.fail(session, worker_actor(), arrival.id, sentence=trouble)


def _take_all(shop: Shop, arrival: Arrival, rows: list[tuple[int, Row]]) -> bool:
    """Some lines after the others; False where somebody has stopped it."""
    count = min(FEWEST, MOST)
    while rows:
        some, rows = rows[:count], rows[count:]
        begun = time.monotonic()
        with shop.database.writing() as session:
            if not takingin.take_some(session, _asker(arrival), arrival.id, some):
                return False
        spent = time.monotonic() - begun
        count = min(MOST, max(1, int(count * HOLD_S / max(spent, 1e-3))))
        time.sleep(BREATH_S)
    return True


def _asker(arrival: Arrival) -> Actor:
    """Whoever asked has brought them in; the worker only carries."""
    person = arrival.asked_by
    return Actor(person.id, person.name, person.role, datetime.now(UTC))
