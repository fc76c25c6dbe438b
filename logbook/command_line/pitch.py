"""``logbook pitch``: charts, their readings, and the same pitch at another distance."""

import json
import os
import tempfile
from contextlib import suppress
from pathlib import Path

import click

from logbook.engine import chart as charts
from logbook.engine.chart_tiff import tiff_bytes
from logbook.engine.phase import parse_pitch
from logbook.engine.resolution import parse_dpi
from logbook.lengths import parse_length
from logbook.refusals import Refused

_FLIPS = click.Choice([charts.LEFT_RIGHT, charts.UP_DOWN])


@click.group()
def pitch() -> None:
    """Measure the pitch that a lens needs on one printer, and carry it to another distance."""


@pitch.command()
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--lpi", required=True, help="centre pitch, lines per inch")
@click.option("--step", required=True, help="lines per inch between neighbouring bands")
@click.option("--bands", required=True, type=int, help="number of bands, 2 to 99")
@click.option("--dpi", required=True, help="the printer's dots per inch: 720, or across × down 1440x720")
@click.option("--width", default=str(charts.DEFAULT_LENGTH), show_default=True, help="the bands' length across the lines")
@click.option("--band-height", default=str(charts.DEFAULT_BAND_HEIGHT), show_default=True)
@click.option("--gap", default=str(charts.DEFAULT_GAP), show_default=True, help="white between two bands")
@click.option("--flip", type=_FLIPS, default=charts.LEFT_RIGHT, show_default=True)
@click.option("--reversed", "mirrored", is_flag=True, help="ink on the back of the lens: lens box mirrored")
@click.option("--json", "as_json", is_flag=True, help="print the chart's description as one JSON object")
def chart(out: Path, *, lpi: str, step: str, bands: int, dpi: str, width: str, band_height: str, gap: str,
          flip: str, mirrored: bool, as_json: bool) -> None:
    """Write a pitch chart to OUT (TIFF) and its description beside it (the same name with .json)."""
    if out.suffix.lower() not in (".tif", ".tiff"):
        raise Refused(f"{out.name}: a chart is written as TIFF; give the file a name that ends in .tif.")
    plan = charts.make_chart(
        lpi=parse_pitch(lpi), step=parse_pitch(step, field="step"), bands=bands, dpi=parse_dpi(dpi),
        length=parse_length(width, field="width"), band_height=parse_length(band_height, field="band-height"),
        gap=parse_length(gap, field="gap"), flip=flip, mirrored=mirrored)
    description = json.dumps(charts.sidecar(plan))
    write_together({out: tiff_bytes(charts.draw_chart(plan), dpi=plan.dpi),
                    out.with_suffix(".json"): (description + "\n").encode()})
    if as_json:
        click.echo(description)


def write_together(files: dict[Path, bytes]) -> None:
    """Write all files or none: each goes to a temporary name beside its place, then all are renamed."""
    waiting: dict[Path, Path] = {}
    try:
        for place, content in files.items():
            waiting[place] = _beside(place, content)
        for place, temporary in waiting.items():
            temporary.replace(place)
    except OSError as error:
        raise Refused(f"{', '.join(map(str, files))}: cannot be written ({error.strerror}).") from None
    finally:
        for temporary in waiting.values():
            with suppress(FileNotFoundError):
                temporary.unlink()


def _beside(place: Path, content: bytes) -> Path:
    if not place.parent.is_dir():
        raise Refused(f"{place}: there is no folder {place.parent}.")
    handle, name = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name}.", suffix=".part")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(0o666 & ~_mask())
    except OSError:
        temporary.unlink()
        raise
    return temporary


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
