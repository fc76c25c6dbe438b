"""Interlacing a print: decode, weave band by band, write one whole file."""

import json
import os
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import PIL
import simplejpeg
from PIL import features
from threadpoolctl import threadpool_limits

from logbook import __version__
from logbook.engine import correcting
from logbook.engine.leakcorrection import Correction
from logbook.engine.painter import Painter, Woven, weave_of
from logbook.engine.painting import Bands, painted
from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import Plan, number_text
from logbook.engine.rasterfile import Form, Hashes, TiffWriter, Writer, check_format, writer
from logbook.engine.sheet import Piece
from logbook.engine.sources import Ground, Source, common_ground, decode, inspect
from logbook.engine.weave import Placed
from logbook.engine.wholefile import WholeFile
from logbook.refusals import Refused

BAND_BYTES, MOST_BAND_BYTES = 2**21, 5 * 2**20
BAND_SOURCE_ROWS = 56
"""A band reaches over about so many rows of its pictures: fewer, and the rows that two bands share are worth nothing;
more, and the band does not stay in the processor's cache."""
DECODING_PART = 0.15
"""How much of the progress bar decoding takes; the rest is weaving."""
CORRECTED_PART = 0.6
"""How much of it decoding and correcting take together."""

Progress = Callable[[float], None]


class Cancelled(Exception):
    """The caller asked to stop; nothing was left behind."""


@dataclass(frozen=True)
class Result:
    """What was made, as plain values."""

    out: Path
    plan: Plan
    hashes: Hashes
    sources: tuple[Source, ...]
    ground: Ground
    pieces: tuple[Piece, ...] = ()
    correction: Correction | None = None
    laid: tuple[tuple[int, int, int, int], ...] = ()
    """Of a shared sheet: the finished pieces on it, in dots."""

    def as_json(self) -> dict[str, Any]:
        """The contract of the command line: numbers that must stay exact are text."""
        plan = self.plan
        return {
            "out": str(self.out), "pixels_sha256": self.hashes.pixels_sha256, "file_sha256": self.hashes.file_sha256,
            "dots": list(plan.dots), "dpi": [number_text(value) for value in plan.dpi], "lpi": str(plan.lpi),
            "pictures": plan.pictures, "flip": plan.flip, "fit": plan.fit,
            "source_boxes": [] if self.laid else [
                [float(edge) for edge in one.box]
                for one in plan.placements([source.size for source in self.sources])],
            "trim_dots": list(plan.trim_dots),
            "size_in": [float(length) for length in plan.inches],
            "mode": self.ground.mode, "bits": self.ground.bits, "reversed": plan.reversed_sheet,
            "furniture": [{"name": piece.name, "box_dots": _standing(piece, plan)} for piece in self.pieces],
            "picture_sha256": [source.sha256 for source in self.sources], "notes": list(self.ground.notes),
            **({"pieces_trim_dots": [list(box) for box in self.laid]} if self.laid else {}),
            **_told_of(self.correction),
        }


def interlace(plan: Plan, picture_paths: Sequence[Path | str], out_path: Path | str, *,
              progress: Progress | None = None, cancelled: Callable[[], bool] | None = None,
              provenance: Mapping[str, str] | None = None, threads: int | None = None,
              correction: Correction | None = None) -> Result:
    """Interlace the pictures (in the given order; ``plan.order`` rearranges) into ``out_path``.

    ``progress`` receives rising parts of one, ``cancelled`` is asked between bands
    (Cancelled is raised, nothing is left). ``provenance`` is kept inside the file
    beside the plan: the run's code, the pitch's source; no serial, no clock.
    ``threads`` None: as many workers as help, in processes where nothing else runs in this one.
    ``correction``: the leak of light that is undone before weaving, its matrix in the order of PICTURE 1 … N.
    Raises Refused with one sentence; whatever stood at ``out_path`` is untouched then.
    """
    out = Path(out_path)
    sources = tuple(inspect(picture_paths[number - 1]) for number in _numbered(plan, picture_paths))
    ground = common_ground(sources, backdrop=plan.backdrop)
    if correction is not None:
        correcting.check(correction, ground, pictures=plan.pictures)
    found = Making(out, plan, sources, ground, {**(provenance or {}), **_told_of(correction)})
    watched = Watched(progress or silent, cancelled or (lambda: False), threads)
    woven = [Woven(weave_of(plan, ground, _placements(plan, sources, correction)), plan.margins[:2])]
    if correction is None:
        return make(found, woven, watched)

    def ready(store: PixelStore, _: Callable[[], None]) -> Generator[float]:
        return _corrected(plan, sources, ground, store, correction, threads)

    return replace(make(found, woven, watched, ready=ready, before=CORRECTED_PART), correction=correction)


@dataclass(frozen=True)
class Making:
    """What is to be made: the file, the plan of its raster, pictures in the order of the weaves, more for its story."""

    out: Path
    plan: Plan
    sources: tuple[Source, ...]
    ground: Ground
    story: Mapping[str, Any]


@dataclass(frozen=True)
class Watched:
    """Who watches the work and may stop it, and how many workers it has."""

    tell: Progress
    stop: Callable[[], bool]
    threads: int | None = None


Ready = Callable[[PixelStore, Callable[[], None]], Generator[float]]
"""Fills the store while it lets the painter prepare; yields the part that is done."""


def make(what: Making, woven: Sequence[Woven], watched: Watched, *, ready: Ready | None = None,
         before: float = DECODING_PART, marks: Sequence[Piece] = ()) -> Result:
    """Decode, weave and write one file whole; ``before`` is the part of the work that ``ready`` does."""
    check_out(what.plan, what.out, what.sources)
    form = _form(what.plan, what.ground, what.sources, what.story)
    with threadpool_limits(1, "blas"), WholeFile(what.out) as whole, PixelStore(folder=what.out.parent) as store:
        target, painter = writer(whole, form), Painter(what.plan, what.ground, woven, store, marks)
        filled = ready(store, painter.prepare) if ready else \
            _decoded(what.sources, what.ground, store, painter.prepare, threads=watched.threads)
        with closing(filled):
            for part in filled:
                _check(watched.stop)
                watched.tell(before * part)
        for part in _written(painter, target, form, workers=watched.threads, stop=watched.stop):
            watched.tell(before + (1 - before) * part)
        hashes = target.finish()
    return Result(what.out, what.plan, hashes, what.sources, what.ground, tuple(painter.pieces))


def _told_of(correction: Correction | None) -> dict[str, Any]:
    """Said only where there is one: files without a correction keep their bytes."""
    return {} if correction is None else {"leak_correction": correction.told()}


def _placements(plan: Plan, sources: Sequence[Source], correction: Correction | None) -> list[Placed]:
    sizes = [source.size for source in sources]
    return plan.placements(sizes) if correction is None else correcting.filling(plan, sizes)


def _corrected(plan: Plan, sources: Sequence[Source], ground: Ground, store: PixelStore, correction: Correction,
               threads: int | None) -> Generator[float]:
    """Decode, bring onto one grid, correct into the store; yields the part that is done."""
    with PixelStore(folder=store.folder) as decoded:
        for part in _decoded(sources, ground, decoded, lambda: None, threads=threads):
            yield part * DECODING_PART
        sizes = [source.size for source in sources]
        for part in correcting.corrected(plan, sizes, ground, decoded, store, correction, workers=threads):
            yield DECODING_PART + (1 - DECODING_PART) * part


def _standing(piece: Piece, plan: Plan) -> list[int]:
    """Where a piece stands on the finished raster."""
    left, top, right, bottom = piece.box
    if piece.mirrors and plan.reversed_sheet:
        left, right = plan.dots[0] - right, plan.dots[0] - left
    return [left, top, right, bottom]


def silent(part: float) -> None:
    """Nobody is watching."""


def _numbered(plan: Plan, paths: Sequence[Path | str]) -> tuple[int, ...]:
    if len(paths) != plan.pictures:
        raise Refused(f"The plan is for {plan.pictures} pictures, but {len(paths)} were given.", field="pictures")
    return plan.order or tuple(range(1, plan.pictures + 1))


def check_out(plan: Plan, out: Path, sources: Sequence[Source]) -> None:
    """Refuse an output file that cannot hold the print, or that is one of the pictures."""
    check_format(out, dpi=plan.dpi, lpi=Fraction(plan.lpi), inches=plan.pitch_inches, across=plan.across)
    if out.is_dir() or not out.parent.is_dir():
        raise Refused(f"{out.name} cannot be written: its folder does not exist, or it is itself a folder.",
                      field="out")
    if any(out.exists() and out.samefile(source.path) for source in sources):
        raise Refused(f"{out.name} is one of the pictures: choose another name for the print.", field="out")


def _check(stop: Callable[[], bool]) -> None:
    if stop():
        raise Cancelled


def _form(plan: Plan, ground: Ground, sources: Sequence[Source], provenance: Mapping[str, Any]) -> Form:
    story = {**plan.told(), **provenance, "picture_sha256": [source.sha256 for source in sources],
             "decoders": decoder_versions()}
    return Form(dots=plan.dots, channels=ground.channels, bits=ground.bits, dpi=plan.dpi, compression=plan.compression,
                profile=ground.profile, description=json.dumps({"interlaced": story}, sort_keys=True),
                software=f"Lens Bench Logbook {__version__}")


def decoder_versions() -> dict[str, str]:
    """The versions that decoded pixels depend on."""
    return {"pillow": PIL.__version__, "numpy": np.__version__, "simplejpeg": simplejpeg.__version__,
            "jpeg": str(features.version("libjpeg_turbo")), "littlecms": str(features.version("littlecms2"))}


def _written(painter: Painter, target: Writer, form: Form, *, workers: int | None,
             stop: Callable[[], bool]) -> Iterator[float]:
    """Paint the bands, write them in order; yields the part that is done."""
    step, done = _band_rows(form, painter.enlarged), 0
    bands = Bands(painter.band, target.encode, (form.dots[1], form.dots[0], form.channels), f"<u{form.bits // 8}", step,
                  packed=form.compression != "none" and isinstance(target, TiffWriter))
    with closing(painted(bands, workers=workers)) as one_by_one:
        for band, strips in one_by_one:
            _check(stop)
            target.append(band, strips)
            done += len(band)
            yield done / form.dots[1]


def _band_rows(form: Form, enlarged: float) -> int:
    """Rows of one band, whole strips of the file; ``enlarged`` is how many rows come from one row of a picture."""
    most = max(BAND_BYTES, min(MOST_BAND_BYTES, int(BAND_SOURCE_ROWS * enlarged) * form.row_bytes))
    return form.strip_rows * max(1, most // (form.strip_rows * form.row_bytes))


def _decoded(sources: Sequence[Source], ground: Ground, store: PixelStore, prepare: Callable[[], None], *,
             threads: int | None) -> Generator[float]:
    """Decode into the store, a few at a time, while the weights are made; yields the part that is there."""
    with ThreadPoolExecutor(min(threads or os.cpu_count() or 1, 2), thread_name_prefix="decode") as pool:
        waiting = [pool.submit(lambda at: store.add(at, decode(sources[at], ground)), at) for at in range(len(sources))]
        try:
            prepare()
            for count, future in enumerate(waiting, start=1):
                future.result()
                yield count / len(sources)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
