"""Looking into an interlaced file: what an eye sees through the lens, and single dots enlarged."""

from decimal import Decimal
from fractions import Fraction
from io import BytesIO

from flask import Response, abort
from PIL import Image

from logbook.engine import proofing
from logbook.engine.readback import Raster, read_raster
from logbook.engine.ruler import ruled
from logbook.engine.view import seen_from, view_of_raster
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
    across = raster.story["flip"] == "left-right"
    assert raster.dpi is not None
    wide, high = raster.dots
    dots = seen_from(
        wide if across else high,
        lpi=Decimal(raster.story["lpi"]),
        dpi=raster.dpi[0 if across else 1],
        pictures=int(raster.story["pictures"]),
        place=where,
    )
    image = view_of_raster(raster, dots, across=across, long_side=LONG_SIDE).convert("RGB")
    return _image(proofing.jpeg(_finished(image, raster)), "image/jpeg")


def _finished(image: Image.Image, raster: Raster) -> Image.Image:
    """Only what stays after trimming: the waste around it is for the bench, not for the eye."""
    left, top, right, bottom = raster.story["trim_dots"]
    across, down = image.width / raster.dots[0], image.height / raster.dots[1]
    return image.crop((round(left * across), round(top * down), round(right * across), round(bottom * down)))


def strips(run: Run, *, left_mm: float, top_mm: float, length_mm: int) -> Response:
    """Single dots under a ruler, nothing smoothed."""
    out = BytesIO()
    ruled(_raster(run), from_left_mm=left_mm, from_top_mm=top_mm, length_mm=length_mm).save(out, "PNG")
    return _image(out.getvalue(), "image/png")


def _image(content: bytes, media_type: str) -> Response:
    return Response(content, mimetype=media_type)
