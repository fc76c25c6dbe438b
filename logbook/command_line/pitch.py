"""``logbook pitch``: charts, their readings, and the same pitch at another distance."""

import json
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logbook.command_line.forecast import forecast
from logbook.command_line.photo import read_photo
from logbook.engine import chart as charts
from logbook.engine import sliding
from logbook.engine.chart_pages import charts_on_paper, page_sidecar
from logbook.engine.chart_tiff import tiff_bytes
from logbook.engine.paper_sizes import parse_paper
from logbook.engine.phase import parse_pitch
from logbook.engine.raster_pdf import RasterPage, page_of, pdf_bytes
from logbook.engine.resolution import parse_dpi
from logbook.lengths import parse_length
from logbook.refusals import Refused

if TYPE_CHECKING:
    from logbook.engine.chart_pages import ChartPage
    from logbook.engine.fit import Fit

_MOUNTS = click.Choice(["loose", "mounted"])
_FLIPS = click.Choice([charts.LEFT_RIGHT, charts.UP_DOWN])


class _Whole(click.Group):
    """Lists each command with its whole first sentence."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, one.get_short_help_str(limit=140)) for name, one in sorted(self.commands.items())]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(cls=_Whole)
def pitch() -> None:
    """Measure the pitch that a lens needs on one printer, and carry it to another distance."""


@pitch.command()
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--lpi", required=True, help="centre pitch, lines per inch")
@click.option("--step", required=True, help="lines per inch between neighbouring bands")
@click.option("--bands", required=True, type=int, help="number of bands, 2 to 99")
@click.option("--dpi", required=True, help="the printer's dots per inch: 720, or across × down 1440x720")
@click.option("--width", help="the bands' length across the lines [default: 190mm, or what the paper's margins leave]")
@click.option("--band-height", default=str(charts.DEFAULT_BAND_HEIGHT), show_default=True)
@click.option("--gap", default=str(charts.DEFAULT_GAP), show_default=True, help="white between two bands")
@click.option("--flip", type=_FLIPS, default=charts.LEFT_RIGHT, show_default=True)
@click.option("--reversed", "mirrored", is_flag=True, help="ink on the back of the lens: lens box mirrored")
@click.option("--paper", help="lay it on pages: a4, letter, roll 24in or 300mm x 400mm; OUT is then a PDF")
@click.option("--margin", default="5mm", show_default=True, help="the printer's margin on all sides of the paper")
@click.option("--json", "as_json", is_flag=True, help="print the chart's description as one JSON object")
def chart(out: Path, *, lpi: str, step: str, bands: int, width: str | None, margin: str, paper: str | None,
          as_json: bool, **asked: Any) -> None:
    """Write a pitch chart to OUT (TIFF or PDF) and its description beside it (the same name with .json)."""
    wanted = _wanted(lpi=lpi, step=step, bands=bands, **asked)
    length = parse_length(width, field="width") if width else None
    if paper:
        laid = parse_paper(paper, margin=parse_length(margin, field="margin", positive=False))
        pages = charts_on_paper(laid, length=length, **wanted)
        description = {"pages": [charts.sidecar(page.plan) | {"page": page_sidecar(page)} for page in pages]}
        _save(out, [_pdf_page(page) for page in pages], description, as_json=as_json)
    else:
        plan = charts.make_chart(length=length or charts.DEFAULT_LENGTH, **wanted)
        raster = page_of(charts.draw_chart(plan), dpi=plan.dpi)
        _save(out, [raster], charts.sidecar(plan), as_json=as_json)


def _wanted(*, lpi: str, step: str, bands: int, dpi: str, band_height: str, gap: str, flip: str,
            mirrored: bool) -> dict[str, Any]:
    return {"lpi": parse_pitch(lpi), "step": parse_pitch(step, field="step"), "bands": bands, "dpi": parse_dpi(dpi),
            "band_height": parse_length(band_height, field="band-height"), "gap": parse_length(gap, field="gap"),
            "flip": flip, "mirrored": mirrored}


def _pdf_page(page: "ChartPage") -> RasterPage:
    return RasterPage(charts.draw_chart(page.plan), page.plan.dpi, page.width_in, page.height_in, page.left_in,
                      page.top_in)


def _save(out: Path, pages: list[RasterPage], description: dict[str, Any], *, as_json: bool) -> None:
    """The raster or the pages and the description beside them, both or neither."""
    suffix = out.suffix.lower()
    if suffix not in (".tif", ".tiff", ".pdf"):
        raise Refused(f"{out.name}: a chart is written as TIFF or PDF; let the file's name end in .tif or .pdf.")
    if suffix != ".pdf" and "pages" in description:
        raise Refused(f"{out.name}: pages are written as PDF; let the file's name end in .pdf, or leave out --paper.")
    content = pdf_bytes(pages) if suffix == ".pdf" else tiff_bytes(pages[0].raster, dpi=pages[0].dpi)
    told = json.dumps(description)
    write_together({out: content, out.with_suffix(".json"): (told + "\n").encode()})
    if as_json:
        click.echo(told)


@pitch.command("sliding")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--lpi", required=True, help="pitch in the middle of the band, lines per inch")
@click.option("--dpi", required=True, help="the printer's dots per inch: 720, or across × down 1440x720")
@click.option("--width", default=str(charts.DEFAULT_LENGTH), show_default=True, help="the band's length")
@click.option("--slope", help="growth of the pitch, lines per inch in every inch [default: from pitch and length]")
@click.option("--flip", type=_FLIPS, default=charts.LEFT_RIGHT, show_default=True)
@click.option("--reversed", "mirrored", is_flag=True, help="ink on the back of the lens: band and scale mirrored")
@click.option("--json", "as_json", is_flag=True, help="print the band's description as one JSON object")
def sliding_band(out: Path, *, lpi: str, dpi: str, width: str, slope: str | None, flip: str, mirrored: bool,
                 as_json: bool) -> None:
    """Write a sliding-pitch band to OUT (TIFF or PDF): one spot on its scale centres the next chart."""
    plan = sliding.make_sliding(
        lpi=parse_pitch(lpi), dpi=parse_dpi(dpi), length=parse_length(width, field="width"), flip=flip,
        mirrored=mirrored, slope=parse_pitch(slope, field="slope") if slope else None)
    raster = page_of(sliding.draw_sliding(plan), dpi=plan.dpi)
    _save(out, [raster], sliding.sidecar(plan), as_json=as_json)


@pitch.command()
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--width", required=True, help="the bands' length across the lines, as printed by the chart command")
@click.option("--dpi", default="720", show_default=True, help="dots per inch along the pitch axis, for the next chart")
@click.option("--json", "as_json", is_flag=True, help="print the fit as one JSON object")
def fit(readings: Path, *, width: str, dpi: str, as_json: bool) -> None:
    """Fit one pitch to READINGS (CSV: lpi,fringes[,reader]; solid is 0)."""
    from logbook.engine import fit as fitting
    from logbook.engine.readings import readings_from_csv

    result = fitting.fit_readings(readings_from_csv(_content(readings)), dpi=parse_dpi(dpi)[0],
                                  width_in=parse_length(width, field="width").inches)
    click.echo(json.dumps(fitting.as_json(result)) if as_json else _told(result))


def _content(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise Refused(f"{path}: is not a text file in UTF-8.") from None
    except OSError as error:
        raise Refused(f"{path}: cannot be read ({error.strerror}).") from None


def _told(result: "Fit") -> str:
    lines = [f"{result.lpi} ± {result.u_lpi:.4f} lines per inch (standard uncertainty), {result.u_lenticules:.2f} "
             "lenticule end to end over the bands' length", *result.suspects]
    if result.next_chart:
        lines.append(f"next chart: --lpi {result.next_chart.centre_lpi} --step {result.next_chart.step_lpi} "
                     f"--bands {result.next_chart.bands}")
    return "\n".join(lines)


@pitch.command()
@click.option("--lpi", help="the pitch read, lines per inch; without it only the factor is given")
@click.option("--u-lpi", type=click.FloatRange(min=0, max=1000), default=0.0, help="its standard uncertainty")
@click.option("--from-distance", required=True, help="eye to lens when the pitch was read")
@click.option("--to-distance", required=True, help="eye to lens where the print will hang")
@click.option("--thickness", required=True, help="lens thickness, ridge to back")
@click.option("--index", required=True, type=float, help="refractive index of the lens")
@click.option("--from-mount", type=_MOUNTS, default="loose", show_default=True)
@click.option("--to-mount", type=_MOUNTS, default="mounted", show_default=True)
@click.option("--width", help="width of the print across the lines, to state everything in lenticules")
@click.option("--json", "as_json", is_flag=True, help="print one JSON object")
def at(*, lpi: str | None, u_lpi: float, from_distance: str, to_distance: str, thickness: str, index: float,
       from_mount: str, to_mount: str, width: str | None, as_json: bool) -> None:
    """Carry a pitch from the distance at which it was read to another."""
    from logbook.engine import distance

    lens = distance.lens_layer(thickness_mm=float(parse_length(thickness, field="thickness").mm), index=index)
    layers = {"loose": distance.AIR_GAP, "mounted": distance.ADHESIVE}

    def sight(told: str, mount: str, *, field: str) -> distance.Sight:
        away = parse_length(told, field=field)
        return distance.sight(distance_mm=float(away.mm), lens=lens, extra=layers[mount])

    seen = sight(from_distance, from_mount, field="from-distance")
    wanted = sight(to_distance, to_mount, field="to-distance")
    read = parse_pitch(lpi) if lpi else None
    width_in = float(parse_length(width, field="width").inches) if width else None
    facts = distance.as_json(read, u_lpi=u_lpi, seen=seen, wanted=wanted, width_in=width_in)
    click.echo(json.dumps(facts) if as_json else "\n".join(f"{name}: {value}" for name, value in facts.items()))


pitch.add_command(forecast)
pitch.add_command(read_photo)


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
    if place.is_dir():
        raise Refused(f"{place}: a folder stands in the file's place.")
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
