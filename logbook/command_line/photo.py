"""``logbook pitch read-photo``: a photograph of the chart under its lens gives the pitch."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logbook.lengths import parse_length
from logbook.refusals import Refused

if TYPE_CHECKING:
    from logbook.engine.photo import PhotoReading


@click.command("read-photo")
@click.argument("photo", type=click.Path(path_type=Path))
@click.option("--chart", required=True, type=click.Path(path_type=Path), help="the JSON that was written beside it")
@click.option("--page", type=int, help="which page of it was photographed, where it has several")
@click.option("--distance", "away", required=True, help="camera to lens, for example 600mm")
@click.option("--thickness", required=True, help="lens thickness, ridge to back")
@click.option("--index", required=True, type=float, help="refractive index of the lens")
@click.option("--json", "as_json", is_flag=True, help="print the reading as one JSON object")
def read_photo(photo: Path, *, chart: Path, page: int | None, away: str, thickness: str, index: float,
               as_json: bool) -> None:
    """Read a pitch from PHOTO: the whole chart under its lens, pressed flat, seen from the viewing distance.

    Nothing is counted; what cannot be read for certain is refused with the reason.
    """
    from logbook.engine import distance
    from logbook.engine import photo as reading
    from logbook.engine.photo_chart import printed_chart

    lens = distance.lens_layer(thickness_mm=float(parse_length(thickness, field="thickness").mm), index=index)
    distance_mm = float(parse_length(away, field="distance").mm)
    result = reading.read_photo(photo, printed_chart(_description(chart), page=page), distance_mm=distance_mm,
                                lens=lens)
    click.echo(json.dumps(reading.as_json(result)) if as_json else _told(result))


def _description(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, ValueError):
        raise Refused(f"chart: {path} is not a JSON file.", field="chart") from None
    except OSError as error:
        raise Refused(f"chart: {path} cannot be read ({error.strerror}).", field="chart") from None


def _told(result: "PhotoReading") -> str:
    way = "clockwise" if result.skew_deg > 0 else "anticlockwise"
    lines = [
        f"{result.lpi} ± {result.u_lpi:.4f} lines per inch (standard uncertainty of the reading), seen from the camera",
        f"carried to another distance: ± {result.u_distance_lpi:.4f} from the stated distance, "
        f"± {result.u_gap_lpi:.4f} from the air under the lens",
        f"the lens is turned by {abs(result.skew_deg):.3f}° {way}",
        *(f"band {band.number}, {band.lpi:g}: {band.fringes:+.3f} fringes" for band in result.bands)]
    if not result.distance_checked:
        lines.append("the file tells no focal length: the stated distance could not be checked")
    return "\n".join(lines)
