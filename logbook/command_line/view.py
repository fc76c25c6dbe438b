"""``logbook view``: what an eye sees through the lens."""

import json
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logbook.command_line import one_blas_thread  # noqa: F401 - must come before numpy
from logbook.engine.eyes import EYES_APART_MM, side_by_side
from logbook.engine.phase import parse_pitch
from logbook.engine.plan import FLIPS
from logbook.engine.readback import Raster, read_raster
from logbook.engine.view import MOVING_LONG_SIDE, save_moving, save_view, seen_at, seen_from, view_of_raster
from logbook.lengths import parse_length, with_a_point
from logbook.refusals import Refused

if TYPE_CHECKING:
    import numpy as np
    from PIL import Image


@click.command()
@click.argument("print_file", metavar="PRINT.tif", type=click.Path(path_type=Path))
@click.option("--lpi", required=True, help="Pitch of the print in lines per inch.")
@click.option("--flip", help="left-right or up-down; by itself from the file.")
@click.option("--pictures", type=int, help="How many pictures; by itself from the file.")
@click.option("--from", "place", help="-1 (far left, from above) ... 1 (far right, from below).")
@click.option("--distance", help="Perspective view: distance of the eye from the lens, with its unit.")
@click.option("--eye", default="0mm", show_default=True, help="The eye right of (below) the middle, with its unit.")
@click.option("--both-eyes", is_flag=True, help="With --distance: both eyes side by side, 63 mm apart about --eye.")
@click.option("--lens-lpi", help="The lens's lines per real inch.")
@click.option("--thickness", help="Thickness of the lens, with its unit.")
@click.option("--index", help="Refractive index of the lens.")
@click.option("--scale", default="1", show_default=True, help="Printed length over nominal length.")
@click.option("--lens-offset", default="0", show_default=True,
              help="The lens lies this many lenticules to the right (down).")
@click.option("--long-side", type=int, help="Reduce the view to this many dots along its longer side.")
@click.option("--steps", type=click.IntRange(2, 60), default=15, show_default=True,
              help="With a moving view: places on the way there.")
@click.option("--out", required=True, type=click.Path(path_type=Path),
              help="The view, .png or .tif; .gif moves from place to place and back, as --from -1..1 says.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def view(print_file: Path, out: Path, as_json: bool, **asked: Any) -> None:
    """Show what an eye sees of a print through its lens."""
    lpi = parse_pitch(asked["lpi"])
    raster = read_raster(print_file)
    if raster.dpi is None:
        raise Refused(f"{print_file.name} does not say how many dots per inch it has.", field="file")
    flip = asked["flip"] or raster.story.get("flip") or "left-right"
    if flip not in FLIPS:
        raise Refused(f"flip: {flip!r} is not known; use left-right or up-down.", field="flip")
    if out.exists() and out.samefile(print_file):
        raise Refused(f"{out.name} is the print itself: choose another name for the view.", field="out")
    if out.suffix.lower() == ".gif":
        frames = _frames(raster, lpi=lpi, across=flip == "left-right", asked=asked)
        save_moving(frames, out)
        image = frames[0]
    else:
        image = _image(raster, lpi=lpi, across=flip == "left-right", asked=asked)
        save_view(image, out)
    told = {"out": str(out), "dots": list(image.size), "lpi": str(lpi), "flip": flip}
    print(json.dumps(told) if as_json else f"{out}: {image.size[0]} × {image.size[1]} dots.")


def _frames(raster: Raster, *, lpi: Decimal, across: bool, asked: dict[str, Any]) -> "list[Image.Image]":
    """Views from one place to another, for a moving picture; by itself from far left to far right."""
    if asked["distance"] is not None:
        raise Refused("A moving view goes from place to place: give --from -1..1 instead of --distance.", field="from")
    first, dots, last = (asked["place"] or "-1..1").partition("..")
    if not dots:
        raise Refused("A moving view goes from one place to another, for example --from -1..1.", field="from")
    ends, steps = (_number(first, "from"), _number(last, "from")), asked["steps"]
    places = [ends[0] + (ends[1] - ends[0]) * Fraction(step, steps - 1) for step in range(steps)]
    long_side = asked["long_side"] or MOVING_LONG_SIDE
    common: dict[str, Any] = {"count": raster.dots[0 if across else 1], "lpi": lpi, "dpi": _dpi(raster, across),
                              "pictures": _pictures(raster, asked["pictures"]),
                              "lens_offset": _number(asked["lens_offset"], "lens-offset")}
    return [view_of_raster(raster, seen_from(place=place, **common), across=across, long_side=long_side)
            for place in places]


def _dpi(raster: Raster, across: bool) -> Fraction:
    return (raster.dpi or (Fraction(1), Fraction(1)))[0 if across else 1]


def _image(raster: Raster, *, lpi: Decimal, across: bool, asked: dict[str, Any]) -> "Image.Image":
    """One view, or those of both eyes side by side; with an up-down flip both eyes are at one height."""
    if not asked["both_eyes"]:
        seen = _seen(raster, lpi=lpi, across=across, asked=asked)
        return view_of_raster(raster, seen, across=across, long_side=asked["long_side"])
    if asked["distance"] is None:
        raise Refused("Both eyes are somewhere: --both-eyes needs --distance.", field="both-eyes")
    middle = parse_length(asked["eye"], field="eye", positive=False).mm
    half = Fraction(EYES_APART_MM, 2) if across else Fraction(0)
    views = [
        view_of_raster(raster, _seen(raster, lpi=lpi, across=across, asked={**asked, "eye": f"{float(place)}mm"}),
                       across=across, long_side=asked["long_side"])
        for place in (middle - half, middle + half)
    ]
    return side_by_side((views[0], views[1]))


def _seen(raster: Raster, *, lpi: Decimal, across: bool, asked: dict[str, Any]) -> "np.ndarray":
    if (asked["place"] is None) == (asked["distance"] is None):
        raise Refused("Say where the eye is: either --from or --distance, one of the two.", field="from")
    common: dict[str, Any] = {"count": raster.dots[0 if across else 1], "lpi": lpi, "dpi": _dpi(raster, across)}
    if asked["place"] is not None:
        return seen_from(**common, pictures=_pictures(raster, asked["pictures"]), place=_number(asked["place"], "from"),
                         lens_offset=_number(asked["lens_offset"], "lens-offset"))
    missing = [f"--{name}" for name in ("lens-lpi", "thickness", "index") if asked[name.replace("-", "_")] is None]
    if missing:
        raise Refused(f"The view from a distance also needs {', '.join(missing)}.", field=missing[0][2:])
    return seen_at(
        **common, lens_lpi=float(parse_pitch(asked["lens_lpi"], field="lens-lpi")),
        thickness_mm=float(parse_length(asked["thickness"], field="thickness").mm),
        index=float(_number(asked["index"], "index")),
        distance_mm=float(parse_length(asked["distance"], field="distance").mm),
        eye_mm=float(parse_length(asked["eye"], field="eye", positive=False).mm),
        scale=float(_number(asked["scale"], "scale")), lens_offset=float(_number(asked["lens_offset"], "lens-offset")))


def _pictures(raster: Raster, asked: int | None) -> int:
    pictures = int(raster.story.get("pictures", 2)) if asked is None else asked
    if pictures < 1:
        raise Refused("pictures: at least one.", field="pictures")
    return pictures


def _number(text: str, field: str) -> Fraction:
    try:
        return Fraction(Decimal(with_a_point(text.strip(), field=field, name=field)))
    except (InvalidOperation, ValueError, OverflowError):
        raise Refused(f"{field}: {text!r} is not a number.", field=field) from None
