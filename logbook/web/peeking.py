"""Looking into an interlaced file: what an eye sees through the lens, and single dots enlarged."""

from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO

import numpy as np
from flask import Response, abort, request

from logbook.actions.flips import Flip
from logbook.engine import eyes, proofing
from logbook.engine.readback import Raster, read_raster
from logbook.engine.ruler import ruled
from logbook.engine.viewstack import finished, through_lens
from logbook.records.floor import Run
from logbook.web.gate import the_shop

LONG_SIDE = 760


def _raster(run: Run) -> Raster:
    if run.output is None or not the_shop().store.has(run.output.sha256):
        abort(404)
    return read_raster(the_shop().store.path(run.output.sha256))


def seen(run: Run, place: str) -> Response:
    """One lenticule, one sample: the view from a place between -1 and 1."""
    raster = _raster(run)
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


def strips(run: Run, *, left_mm: float, top_mm: float, length_mm: int) -> Response:
    """Single dots under a ruler, nothing smoothed."""
    out = BytesIO()
    ruled(_raster(run), from_left_mm=left_mm, from_top_mm=top_mm, length_mm=length_mm).save(out, "PNG")
    return _image(out.getvalue(), "image/png")


@dataclass(frozen=True, slots=True)
class Eyes:
    """What both eyes see at one place: in words, and each eye's pictures with their shares of the width."""

    words: str
    left: list[tuple[int, int]]
    right: list[tuple[int, int]]


def eyes_at(run: Run, *, distance_mm: float, beside_mm: float) -> Eyes | None:
    """None where the lens's thickness or index is not on record, or the file is gone."""
    if run.output is None or not the_shop().store.has(run.output.sha256) or _sheet(run) is None:
        return None
    raster = _raster(run)
    left, right = (eyes.shares(raster, seen) for seen in _both(run, raster, distance_mm, beside_mm))
    return Eyes(eyes.in_words(left, right), _percent(left), _percent(right))


def eye(run: Run, which: str, *, distance_mm: float, beside_mm: float) -> Response:
    """The view of the left or the right eye."""
    raster = _raster(run)
    if which not in ("left", "right") or _sheet(run) is None:
        abort(404)
    seen = _both(run, raster, distance_mm, beside_mm)[which == "right"]
    image = eyes.view(raster, seen, long_side=LONG_SIDE).convert("RGB")
    return _image(proofing.jpeg(finished(image, raster)), "image/jpeg")


def _both(run: Run, raster: Raster, distance_mm: float, beside_mm: float) -> list[np.ndarray]:
    sheet = _sheet(run)
    assert sheet is not None  # asked for before
    places = eyes.eye_places(raster, beside_mm=beside_mm)
    return [eyes.dots_seen(raster, sheet, distance_mm=distance_mm, eye_mm=place) for place in places]


def _sheet(run: Run) -> eyes.Sheet | None:
    """The lens type of the run; its lines are those that the run's pitch is right for at the job's distance."""
    lens, job = run.lens_lot.material, run.pieces[0].job
    if lens.thickness is None or lens.refractive_index is None:
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
