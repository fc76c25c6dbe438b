"""What flips under a finger: the pictures of a job, a proof as it was shown, a run through its lens."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from logbook.actions import recipes
from logbook.actions.alignment import shift_mm
from logbook.actions.pictures import current
from logbook.actions.proofs import shown
from logbook.engine import proofing, viewstack
from logbook.engine.readback import read_raster
from logbook.lengths import parse_length
from logbook.records.drawn import drawn, name_of
from logbook.records.files import FileStore
from logbook.records.floor import Run
from logbook.records.orders import Job, Proof


@dataclass(frozen=True, slots=True)
class Flip:
    """A stack of ``views``, each ``size`` dots; ``name`` changes with everything that it is drawn from.

    ``way`` is left-right or up-down.
    """

    name: str
    views: int
    size: tuple[int, int]
    way: str
    draw: Callable[[], bytes]

    def image(self, store: FileStore) -> bytes:
        """The stack as JPEG, from the drawn views or drawn now."""
        return drawn(store, self.name, self.draw)


def of_job(store: FileStore, job: Job) -> Flip | None:
    """The standing pictures as they will stand on the finished piece; None with fewer than two, or with one missing."""
    standing = current(job)
    pictures = [standing[at] for at in viewstack.chosen(len(standing))]
    if len(pictures) < 2 or not all(store.has(one.preview.sha256) for one in pictures):
        return None
    size = viewstack.view_size(job.width.mm, job.height.mm)
    files = [(store.path(one.preview.sha256), shift_mm(one)) for one in pictures]
    sides = {"width": job.width.mm, "height": job.height.mm, "bleed": job.bleed.mm}
    fit = job.fit

    def draw() -> bytes:
        more = {"fit": fit, "long_side": viewstack.LONG_SIDE}
        return viewstack.stacked([proofing.framed(path, **sides, **more, shift=shift) for path, shift in files], size)  # type: ignore[arg-type]

    told = [f"{path.name} {shift[0]} {shift[1]}" for path, shift in files]
    return Flip(name_of("pictures", fit, *map(str, sides.values()), *told), len(files), size, job.flip, draw)


def of_proof(store: FileStore, proof: Proof) -> Flip | None:
    """A proof exactly as the customer was shown it; None where it was erased."""
    moving, told = proof.animation, shown(proof)
    if moving.dropped_at is not None or not store.has(moving.sha256):
        return None
    path, views = store.path(moving.sha256), len(viewstack.chosen(len(proof.picture_hashes.split())))
    size = _size(told)
    name = name_of("proof", moving.sha256, f"{views} {size}")
    return Flip(name, views, size, told["flip"], lambda: viewstack.of_moving(path, views, size))


def of_run(store: FileStore, run: Run) -> Flip | None:
    """What an eye sees of the interlaced file from one side to the other; None while there is no file."""
    if run.state != "done" or run.output is None or not store.has(run.output.sha256):
        return None
    path, told = store.path(run.output.sha256), recipes.load(run.recipe)
    size = _size(told)
    name = name_of("run", run.output.sha256, str(size))
    return Flip(name, viewstack.PLACES, size, told["flip"], lambda: viewstack.of_raster(read_raster(path), size))


def _size(told: Mapping[str, str]) -> tuple[int, int]:
    """Of what was made then, not of what its job became since."""
    return viewstack.view_size(parse_length(told["width"]).mm, parse_length(told["height"]).mm)
