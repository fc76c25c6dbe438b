"""``logbook interlace``: pictures to one print file."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from logbook.command_line import one_blas_thread  # noqa: F401 - must come before numpy
from logbook.command_line.telling import shown
from logbook.engine.interlace import Result
from logbook.engine.interlace import interlace as run
from logbook.engine.phase import parse_pitch
from logbook.engine.plan import make_plan
from logbook.engine.sheet import Waste
from logbook.lengths import parse_length
from logbook.refusals import Refused


@click.command()
@click.argument("pictures", nargs=-1, required=True, metavar="PICTURE PICTURE ...", type=click.Path(path_type=Path))
@click.option("--lpi", required=True, help="Pitch in lines per inch, at most six decimals.")
@click.option("--dpi", help="Dots per inch, 720 or 1440x720 (across x down).")
@click.option("--dots-per-lenticule", type=int, help="Whole-dot way: this many dots per lenticule instead of --dpi.")
@click.option("--dpi-down", help="Whole-dot way: dots per inch down the sheet, where they differ.")
@click.option("--width", required=True, help="Finished width with its unit, for example 8in or 203.2mm.")
@click.option("--height", required=True, help="Finished height with its unit.")
@click.option("--flip", default="left-right", show_default=True, help="left-right or up-down.")
@click.option("--fit", default="crop", show_default=True, help="crop, pad or stretch.")
@click.option("--order", help="The pictures as PICTURE 1 ... N, for example 3,2,1.")
@click.option("--shares", help="Unequal parts of a lenticule in picture order, for example 60/40.")
@click.option("--offset", default="0", show_default=True, help="Phase offset in lenticules.")
@click.option("--reversed", "reversed_sheet", is_flag=True, help="Ink on the back of the lens: mirror the sheet.")
@click.option("--bleed", help="Extra picture beyond each trimmed edge, with its unit.")
@click.option("--marks", is_flag=True, help="Waste around the print with trim marks, check bars, scale bar, label.")
@click.option("--label", multiple=True, help="With --marks: a line for the label; may be given more than once.")
@click.option("--code", default="", help="With --marks: text of a QR code.")
@click.option("--strip-lpi", help="With --marks: a pitch strip at this pitch, converted to the bench distance.")
@click.option("--bench-distance", help="With --strip-lpi: the distance from which the strip is read, with its unit.")
@click.option("--compression", default="none", show_default=True, help="none, lzw or deflate.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The print file, .tif (or .png, .pdf).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def interlace(pictures: tuple[Path, ...], out: Path, as_json: bool, **asked: Any) -> None:
    """Interlace two or more pictures into one raster for a lenticular print."""
    plan = make_plan(
        lpi=asked["lpi"], dpi=asked["dpi"], dots_per_lenticule=asked["dots_per_lenticule"], dpi_down=asked["dpi_down"],
        width=parse_length(asked["width"], field="width"), height=parse_length(asked["height"], field="height"),
        bleed=parse_length(asked["bleed"], field="bleed", positive=False) if asked["bleed"] else None,
        flip=asked["flip"], fit=asked["fit"], pictures=len(pictures), order=_whole_numbers(asked["order"]),
        shares=asked["shares"], offset=asked["offset"], reversed_sheet=asked["reversed_sheet"],
        compression=asked["compression"], waste=_waste(asked))
    result = run(plan, pictures, out, progress=shown("Interlacing") if sys.stderr.isatty() else None)
    print(json.dumps(result.as_json()) if as_json else _told(result))


def _waste(asked: dict[str, Any]) -> Waste | None:
    if not asked["marks"]:
        if asked["label"] or asked["code"] or asked["strip_lpi"]:
            raise Refused("A label, a code or a pitch strip stands in the waste: add --marks.", field="marks")
        return None
    distance = asked["bench_distance"]
    return Waste(label=asked["label"], code=asked["code"],
                 strip_lpi=parse_pitch(asked["strip_lpi"], field="strip-lpi") if asked["strip_lpi"] else None,
                 bench_distance=parse_length(distance, field="bench-distance") if distance else None)


def _whole_numbers(text: str | None) -> list[int] | None:
    if text is None:
        return None
    try:
        return [int(part) for part in text.split(",")]
    except ValueError:
        raise Refused(f"order: {text!r} is not a list of picture numbers such as 3,2,1.", field="order") from None


def _told(result: Result) -> str:
    plan = result.plan
    lines = [f"{result.out}: {plan.dots[0]} × {plan.dots[1]} dots, {plan.pictures} pictures, {plan.lpi} lines per inch",
             f"pixels {result.hashes.pixels_sha256}", f"file   {result.hashes.file_sha256}"]
    return "\n".join(lines + list(result.ground.notes))
