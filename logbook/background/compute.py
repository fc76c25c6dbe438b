"""One interlace run: claimed, computed with no transaction open, recorded."""

import logging
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from sqlalchemy.exc import OperationalError

from logbook.actions import flips, recipes, runs
from logbook.actions.shop import largest_picture
from logbook.engine.headers import allow_pixels
from logbook.engine.interlace import Cancelled, Result, decoder_versions, interlace
from logbook.engine.sharedsheet import interlace_shared
from logbook.faults import fault
from logbook.records.audit import Actor
from logbook.records.floor import Run
from logbook.records.opened import Shop
from logbook.records.troubles import passes
from logbook.refusals import Refused

BEAT_SECONDS = 1.0
_log = logging.getLogger(__name__)


def right_now() -> datetime:
    """The time, aware."""
    return datetime.now(UTC)


def worker_actor(now: datetime | None = None) -> Actor:
    """The worker signs its own entries."""
    return Actor(person_id=None, name="background worker", role="worker", now=now or right_now())


def work_on(shop: Shop, run_id: int, *, clock: Callable[[], datetime] = right_now) -> None:
    """Do one run from claim to record; harmless when somebody else has it."""
    with shop.database.writing() as session:
        claimed = runs.claim(session, run_id, clock(), worker_actor(clock()))
    if claimed is None:
        return
    fault("claimed")
    out = shop.store.temporary()
    try:
        with _Heart(shop, claimed, clock) as heart:
            result = _computed(shop, claimed, out, heart)
            # hashing and syncing a large file takes its time too
            stored = shop.store.adopt(out)
        _record(shop, claimed, stored, result, worker_actor(clock()))
    except Cancelled:
        with shop.database.writing() as session:
            runs.stopped(session, worker_actor(clock()), claimed)
    except Refused as refusal:
        _failed(shop, claimed, refusal.sentence, worker_actor(clock()))
    except Exception as error:  # whatever it was, the run must not stay "running"
        if passes(error):  # nothing is wrong with the run: it is begun again when its lease has ended
            _log.warning("run %s: the database does not answer", claimed.code, exc_info=True)
            return
        _log.exception("run %s", claimed.code)
        _failed(shop, claimed, _in_words(error), worker_actor(clock()))
    finally:
        out.unlink(missing_ok=True)


def _in_words(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return f"a file could not be read or written ({error.strerror}); mend that and start the run again"
    return f"something unexpected happened ({type(error).__name__}); the worker's log has the details"


def _computed(shop: Shop, claimed: runs.Claim, out: Path, heart: "_Heart") -> Result:
    with shop.database.reading() as session:
        allow_pixels(largest_picture(session))
    paths = [shop.store.path(picture["sha256"]) for picture in claimed.recipe["pictures"]]
    missing = [
        picture["name"] for picture, path in zip(claimed.recipe["pictures"], paths, strict=True) if not path.is_file()
    ]
    if missing:
        raise Refused(f"The picture {missing[0]} is missing from the files folder; restore it from a backup.")
    tif = out.with_suffix(".tif")
    try:
        shared = recipes.shared_plan_of(claimed.recipe)
        make = partial(interlace_shared, shared) if shared else _alone(claimed.recipe)
        result = make(
            paths,
            tif,
            progress=heart.tell,
            cancelled=heart.stop_wanted,
            provenance=claimed.provenance,
        )
        tif.replace(out)
    finally:
        tif.unlink(missing_ok=True)
    return result


def _alone(recipe: dict) -> Callable[..., Result]:
    """What makes a print that is alone on its sheet."""
    return partial(interlace, recipes.plan_of(recipe), correction=recipes.correction_of(recipe))


def _record(shop: Shop, claimed: runs.Claim, stored: tuple[str, int], result: Result, by: Actor) -> None:
    told = {key: value for key, value in result.as_json().items() if key != "out"}
    told["notes"] = [_with_names(note, claimed.recipe) for note in told["notes"]]
    with shop.database.writing() as session:
        runs.finish(session, by, claimed, stored=stored, result=told, engine_version=engine_version())
        fault("recording")
    fault("recorded")
    _draw_ahead(shop, claimed)


def _draw_ahead(shop: Shop, claimed: runs.Claim) -> None:
    """Its views, so that nobody waits for them; what fails here is drawn when somebody looks."""
    try:
        with shop.database.reading() as session:
            flip = flips.of_run(shop.store, session.get_one(Run, claimed.run_id))
        if flip:
            flip.image(shop.store)
    except Exception:
        _log.warning("run %s: no views were drawn ahead", claimed.code, exc_info=True)


def _with_names(note: str, recipe: dict) -> str:
    for picture in recipe["pictures"]:
        note = note.replace(picture["sha256"], picture["name"])
    return note


def engine_version() -> str:
    """What the output's pixels depend on."""
    from logbook import __version__

    return ", ".join([f"logbook {__version__}", *(f"{name} {number}" for name, number in decoder_versions().items())])


def _failed(shop: Shop, claimed: runs.Claim, trouble: str, by: Actor) -> None:
    for picture in claimed.recipe["pictures"]:
        trouble = trouble.replace(picture["sha256"], picture["name"])
    with shop.database.writing() as session:
        runs.fail(session, by, claimed, trouble=trouble)


class _Heart:
    """Keeps a run's lease alive from its own thread, and learns there whether the run is to stop."""

    def __init__(self, shop: Shop, claimed: runs.Claim, clock: Callable[[], datetime]) -> None:
        self._shop, self._claimed, self._clock = shop, claimed, clock
        self._percent, self._stop, self._done = 0, False, threading.Event()
        self._thread = threading.Thread(target=self._beat, daemon=True)

    def __enter__(self) -> "_Heart":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        self._thread.join()

    def tell(self, part: float) -> None:
        """Progress from the engine, 0 to 1."""
        self._percent = int(part * 100)
        fault("computing")

    def stop_wanted(self) -> bool:
        """Whether somebody asked to stop the run, or took it away."""
        return self._stop

    def _beat(self) -> None:
        while not self._stop and not self._done.wait(BEAT_SECONDS):
            try:
                self._stop = not self._beat_once()
            except OperationalError:  # the database is busy: one beat is missed, the lease lasts for many
                _log.warning("run %s: a beat was missed", self._claimed.code, exc_info=True)

    def _beat_once(self) -> bool:
        with self._shop.database.writing() as session:
            return runs.beat(session, self._claimed, percent=min(self._percent, 99), now=self._clock())
