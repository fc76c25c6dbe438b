"""Interlacing a print: decode, weave band by band, write one whole file."""

import json
import os
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
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
from logbook.engine.painting import Bands, painted
from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import Plan, number_text
from logbook.engine.rasterfile import Form, Hashes, TiffWriter, Writer, check_format, writer
from logbook.engine.sheet import Piece, paste, pieces
from logbook.engine.sources import Ground, Source, common_ground, decode, inspect
from logbook.engine.weave import Placed, Weave
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

    def as_json(self) -> dict[str, Any]:
        """The contract of the command line: numbers that must stay exact are text."""
        plan = self.plan
        return {
            "out": str(self.out), "pixels_sha256": self.hashes.pixels_sha256, "file_sha256": self.hashes.file_sha256,
            "dots": list(plan.dots), "dpi": [number_text(value) for value in plan.dpi], "lpi": str(plan.lpi),
            "pictures": plan.pictures, "flip": plan.flip, "fit": plan.fit,
            "source_boxes": [[float(edge) for edge in one.box]
                             for one in plan.placements([source.size for source in self.sources])],
            "trim_dots": list(plan.trim_dots),
            "size_in": [float(length) for length in plan.inches],
            "mode": self.ground.mode, "bits": self.ground.bits, "reversed": plan.reversed_sheet,
            "furniture": [{"name": piece.name, "box_dots": _standing(piece, plan)} for piece in self.pieces],
            "picture_sha256": [source.sha256 for source in self.sources], "notes": list(self.ground.notes),
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
    check_out(plan, out, sources)
    ground = common_ground(sources, backdrop=plan.backdrop)
    if correction is not None:
        correcting.check(correction, ground, pictures=plan.pictures)
    form = _form(plan, ground, sources, {**(provenance or {}), **_told_of(correction)})
    tell, stop = progress or _silent, cancelled or (lambda: False)
    with threadpool_limits(1, "blas"), WholeFile(out) as whole, PixelStore(folder=out.parent) as store:
        target, painter = writer(whole, form), Painter(plan, ground, _placements(plan, sources, correction), store)
        ready, before = (_decoded(sources, ground, store, painter.prepare, threads=threads), DECODING_PART) \
            if correction is None else (_corrected(plan, sources, ground, store, correction, threads), CORRECTED_PART)
        with closing(ready):
            for part in ready:
                _check(stop)
                tell(before * part)
        for part in _written(painter, target, form, workers=threads, stop=stop):
            tell(before + (1 - before) * part)
        hashes = target.finish()
    return Result(out, plan, hashes, sources, ground, tuple(painter.pieces), correction)


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


def _silent(part: float) -> None:
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


class Painter:
    """Fills bands of the finished raster: the woven picture, the waste around it, mirrored where that is asked."""

    def __init__(self, plan: Plan, ground: Ground, placements: Sequence[Placed], store: PixelStore) -> None:
        self._store, self._paper, self._mirrored = store, ground.paper, plan.reversed_sheet
        self._left, self._top = plan.margins[:2]
        wide, high = plan.printed.dots
        owners, start = plan.owners(), self._left if plan.across else self._top
        self._weave = Weave(placements,
                            owners[start:start + (wide if plan.across else high)], plan.across,
                            np.arange(wide), np.arange(high), ground.paper, ground.bits)
        self.pieces: list[Piece] = pieces(plan.waste, plan.printed, owners, pictures=plan.pictures,
                                          mirrored=plan.reversed_sheet) if plan.waste else []

    @property
    def enlarged(self) -> float:
        """The most rows of the print that come from one row of a picture."""
        return max((float((one.place[3] - one.place[1]) / (one.box[3] - one.box[1])) for one in self._weave.pictures),
                   default=1.0)

    def prepare(self) -> None:
        """Make what every band needs, before any picture is there."""
        self._weave.prepare()

    def band(self, top: int, bottom: int, out: np.ndarray) -> None:
        """Fill ``out`` with the raster's rows top … bottom-1."""
        wide, high = self._weave.width, len(self._weave.rows)
        low, last = max(top - self._top, 0), min(bottom - self._top, high)
        if (wide, last - low) != (out.shape[1], len(out)):
            out[...] = self._paper
        if low < last:
            woven = out[low + self._top - top:last + self._top - top, self._left:self._left + wide]
            part = woven if woven.flags.c_contiguous else np.empty(woven.shape, dtype=out.dtype)
            self._weave.band(self._store, low, last, part)
            if part is not woven:
                woven[...] = part
        paste(self.pieces, out, top=top, paper=self._paper, mirrors=True)
        if self._mirrored:
            out[...] = out[:, ::-1].copy()
        paste(self.pieces, out, top=top, paper=self._paper, mirrors=False)


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
