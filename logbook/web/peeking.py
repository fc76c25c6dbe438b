"""Looking into an interlaced file: what an eye sees through the lens, and single dots enlarged.

Nothing is drawn while the database is read: that takes its time, and until it is over nobody's signature is saved.
"""

from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np
from flask import Response, abort, request

from logbook.actions.flips import Flip
from logbook.actions.sheets import shared
from logbook.engine import eyes, proofing
from logbook.engine.readback import Raster, read_raster
from logbook.engine.ruler import ruled
from logbook.engine.viewstack import finished, through_lens
from logbook.records.floor import Run
from logbook.web.gate import the_shop

LONG_SIDE = 760


@dataclass(frozen=True, slots=True)
class Interlaced:
    """A run's file and the lens that it is seen through; None for a lens that is not known well enough."""

    path: Path
    lens: eyes.Sheet | None

    @property
    def raster(self) -> Raster:
        """The file, opened."""
        return read_raster(self.path)


def of_run(run: Run) -> Interlaced | None:
    """What is to be known of a run before it is looked into; None while there is no file."""
    if run.output is None or not the_shop().store.has(run.output.sha256):
        return None
    return Interlaced(the_shop().store.path(run.output.sha256), _sheet(run))


def _there(found: Interlaced | None) -> Interlaced:
    return found if found is not None else abort(404)


def seen(found: Interlaced | None, place: str) -> Response:
    """One lenticule, one sample: the view from a place between -1 and 1."""
    raster = _there(found).raster
    try:
        where = max(Fraction(-1), min(Fraction(1), Fraction(place)))
    except (ValueError, ZeroDivisionError):
        abort(404)
    return _image(proofing.jpeg(through_lens(raster, where, long_side=LONG_SIDE)), "image/jpeg")


def flip(found: Flip | None) -> Response:
    """The stack of views that a page flips through; a browser may keep it, since its address names what is in it."""
    if found is None:
        abort(404)
    response = _image(found.image(the_shop().store), "image/jpeg")
    if request.args.get("of") == found.name:
        response.headers["Cache-Control"] = "private, max-age=86400"
    return response


def strips(found: Interlaced | None, *, left_mm: float, top_mm: float, length_mm: int) -> Response:
    """Single dots under a ruler, nothing smoothed."""
    out = BytesIO()
    ruled(_there(found).raster, from_left_mm=left_mm, from_top_mm=top_mm, length_mm=length_mm).save(out, "PNG")
    return _image(out.getvalue(), "image/png")


@dataclass(frozen=True, slots=True)
class Eyes:
    """What both eyes see at one place: in words, and each eye's pictures with their shares of the width."""

    words: str
    left: list[tuple[int, int]]
    right: list[tuple[int, int]]


def eyes_at(found: Interlaced | None, *, distance_mm: float, beside_mm: float) -> Eyes | None:
    """None where the lens's thickness or index is not on record, or the file is gone."""
    if found is None or found.lens is None:
        return None
    raster = found.raster
    left, right = (eyes.shares(raster, seen) for seen in _both(found.lens, raster, distance_mm, beside_mm))
    return Eyes(eyes.in_words(left, right), _percent(left), _percent(right))


def eye(found: Interlaced | None, which: str, *, distance_mm: float, beside_mm: float) -> Response:
    """The view of the left or the right eye."""
    looked = _there(found)
    if which not in ("left", "right") or looked.lens is None:
        abort(404)
    raster = looked.raster
    seen = _both(looked.lens, raster, distance_mm, beside_mm)[which == "right"]
    image = eyes.view(raster, seen, long_side=LONG_SIDE).convert("RGB")
    return _image(proofing.jpeg(finished(image, raster)), "image/jpeg")


def _both(lens: eyes.Sheet, raster: Raster, distance_mm: float, beside_mm: float) -> list[np.ndarray]:
    places = eyes.eye_places(raster, beside_mm=beside_mm)
    return [eyes.dots_seen(raster, lens, distance_mm=distance_mm, eye_mm=place) for place in places]


def _sheet(run: Run) -> eyes.Sheet | None:
    """The lens type of the run; its lines are those that the run's pitch is right for at the job's distance."""
    lens, job = run.lens_lot.material, run.pieces[0].job
    if lens.thickness is None or lens.refractive_index is None or shared(run):  # which piece is looked at?
        return None
    return eyes.lens_for(
        run.lpi,
        thickness_mm=float(lens.thickness.mm),
        index=float(lens.refractive_index),
        distance_mm=float(job.distance.mm),
    )


def _percent(parts: dict[int, float]) -> list[tuple[int, int]]:
    shown = sorted(parts.items(), key=lambda item: -item[1])
    return [(picture, round(100 * part)) for picture, part in shown if part >= 0.005]


def _image(content: bytes, media_type: str) -> Response:
    return Response(content, mimetype=media_type)
