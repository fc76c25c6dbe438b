"""A photograph of a chart under its lens, read: pitch, its uncertainty in parts, the lens's turn, every band's fringes.

The pitch is the one that is solid from the camera's own place, which the fringes show whatever distance is stated:
``u_lpi`` is the reading's alone. What an error of the stated distance, or of the air gap under the lens, does to the
pitch carried to another distance stands beside it. What cannot be read is refused, with the reason.
"""

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from logbook.engine import distance, photo_code, photo_doubts, photo_fringes, photo_marks
from logbook.engine.fit import FIT_DECIMALS
from logbook.engine.photo_chart import PrintedChart
from logbook.engine.photo_file import Photograph, open_photograph
from logbook.engine.photo_pose import Pose, View, pose
from logbook.engine.photo_samples import sample
from logbook.engine.resolution import number
from logbook.refusals import Refused

_SCATTER_SHARE, _MODEL_SHARE = 1.3, 4e-6
"""Measured with simulated photographs: neighbouring blocks err together, and what the model leaves out grows with the
pitch. Together they make the stated interval hold; see tests/benchmarks."""


@dataclass(frozen=True, slots=True)
class BandRead:
    """One band's fringes over its length, + where the band is finer than the pitch found; standard uncertainty."""

    number: int
    lpi: float
    fringes: float
    u_fringes: float


@dataclass(frozen=True, slots=True)
class PhotoReading:
    """What a photograph says. All uncertainties are standard (k = 1), in lines per inch unless named otherwise.

    ``skew_deg`` is + where the lens is turned clockwise as seen; ``camera`` is the camera's place as far as the marks
    and the stated distance tell it; ``distance_checked`` whether a focal length was there to check that distance.
    """

    lpi: Decimal
    u_lpi: float
    u_distance_lpi: float
    u_gap_lpi: float
    skew_deg: float
    u_skew_deg: float
    bands: tuple[BandRead, ...]
    explained: float
    distance_checked: bool
    camera: Pose
    fringes: photo_fringes.Found


def read_photo(path: Path, chart: PrintedChart, *, distance_mm: float, lens: distance.Layer) -> PhotoReading:
    """Read one photograph of ``chart``, taken from about ``distance_mm`` through a lens that lies loose on it.

    Raises Refused where the photograph cannot be read for certain.
    """
    view = distance.sight(distance_mm=distance_mm, lens=lens, extra=distance.AIR_GAP)
    photograph = open_photograph(path)
    photo_doubts.refuse_dark(photograph.grey)
    found = _marks(photograph, chart)
    size = photograph.grey.shape[1], photograph.grey.shape[0]
    camera = pose(View(size=size, seen=found.middles, printed=chart.mark_centres, distance_mm=distance_mm,
                       layers=(lens, distance.AIR_GAP)))
    photo_doubts.refuse_view(photograph, chart, camera)
    samples = sample(photograph.grey, chart, camera)
    photo_doubts.refuse_light(samples.light)
    with threadpool_limits(1, "blas"):  # small products: threads only wait for each other
        fringes = photo_fringes.fit_fringes(samples, chart, camera)
    photo_doubts.refuse_fringes(fringes, chart)
    return _read(fringes, chart, view, checked=photograph.focal_px is not None)


def _marks(photograph: Photograph, chart: PrintedChart) -> photo_marks.Found:
    try:
        found = photo_marks.find_marks(photograph.grey, chart)
    except Refused:
        photo_doubts.refuse_blurred(photograph.grey)
        raise
    if found is None:
        raise Refused("photo: the four corner marks do not stand as the chart's JSON says; is it the JSON of this "
                      "chart, and the page flat?", field="chart")
    photo_doubts.refuse_soft_marks(photograph.grey, chart, found.middles)
    if found.code_match < photo_code.GOOD_MATCH:
        raise Refused("photo: the code printed on the photographed chart is not the one in the chart's JSON (or is "
                      "covered); give the JSON that was written beside this very chart.", field="chart")
    return found


def _read(fringes: photo_fringes.Found, chart: PrintedChart, view: distance.Sight, *, checked: bool) -> PhotoReading:
    lpi, length = fringes.lpi, chart.length_in
    u_lpi = float(np.hypot(_SCATTER_SHARE * np.sqrt(fringes.covariance[0, 0]), _MODEL_SHARE * lpi))
    slope = lpi * distance.APERTURE_FACTOR / (1 + view.correction) / view.distance_mm
    bands = tuple(BandRead(band.number, band.lpi, (band.lpi - lpi) * length, u_lpi * length)
                  for band in chart.numbered)
    return PhotoReading(
        lpi=round(Decimal(lpi), FIT_DECIMALS), u_lpi=u_lpi,
        u_distance_lpi=slope * view.correction * view.u_distance_mm, u_gap_lpi=slope * view.extra.u_reduced_mm,
        skew_deg=fringes.turn_deg, bands=bands, explained=fringes.explained, distance_checked=checked,
        u_skew_deg=_SCATTER_SHARE * float(np.sqrt(fringes.covariance[1, 1])), camera=fringes.camera, fringes=fringes)


def as_json(read: PhotoReading) -> dict[str, object]:
    """The reading as a JSON object; ``marks_px`` are the corner marks' middles in the upright photograph."""
    return {
        "lpi": number(read.lpi), "u_lpi": round(read.u_lpi, 6), "u_distance_lpi": round(read.u_distance_lpi, 6),
        "u_gap_lpi": round(read.u_gap_lpi, 6), "skew_deg": round(read.skew_deg, 4),
        "u_skew_deg": round(read.u_skew_deg, 4),
        "bands": [{"number": band.number, "lpi": band.lpi, "fringes": round(band.fringes, 4),
                   "u_fringes": round(band.u_fringes, 4)} for band in read.bands],
        "explained": round(read.explained, 3), "tilt_deg": round(read.camera.tilt_deg, 2),
        "distance_checked": read.distance_checked,
        "marks_px": [[round(float(x), 2), round(float(y), 2)] for x, y in read.camera.view.seen],
    }
