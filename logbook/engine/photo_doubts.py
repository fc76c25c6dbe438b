"""What makes a photograph of a chart unreadable: each reason with its sentence. Never a wrong number instead."""

import numpy as np

from logbook.engine.photo_chart import BoxMm, PrintedChart
from logbook.engine.photo_file import Photograph
from logbook.engine.photo_fringes import Found
from logbook.engine.photo_marks import corners
from logbook.engine.photo_pose import Pose, apply, homography
from logbook.engine.photo_samples import linear_light
from logbook.refusals import Refused

LEAST_PIXELS_A_LINE, LEAST_PIXELS_A_MM = 1.5, 3.5
MOST_TILT_DEG, MOST_TURN_DEG, MOST_DISTANCE_OFF = 20.0, 1.0, 0.1
_LEAST_LIGHT, _LEAST_SPAN, _MOST_CLIPPED, _FULL = 0.05, 0.04, 0.3, 0.98
_USUAL_SIDE_MM, _MOST_BLUR_MM, _LEAST_HOLE = 250.0, 0.7, 0.35
_HOLE_MM, _INK_MM = 0.4, 1.6
_LEAST_EXPLAINED, _MOST_RIVAL, _LEAST_CONTRAST = 0.85, 0.5, 0.3


def refuse_dark(grey: np.ndarray) -> None:
    """A picture whose brightest parts are dark."""
    if float(linear_light(np.percentile(grey[::4, ::4], 95, method="nearest"))) < _LEAST_LIGHT:
        raise Refused("photo: it is too dark; give the chart more light, from the side, without shine.", field="photo")


def refuse_blurred(grey: np.ndarray) -> None:
    """A picture without one sharp edge, where marks should have been found."""
    import cv2

    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.5)
    across, down = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    steepest = float(np.percentile(np.hypot(across, down), 99.95))
    span = float(np.ptp(np.percentile(smooth, [1, 99])))
    blur_px = np.sqrt(max(0.0, (span / max(steepest, 1e-6)) ** 2 / (2 * np.pi) - 1.5**2))
    if blur_px * _USUAL_SIDE_MM / max(grey.shape) > _MOST_BLUR_MM:
        raise Refused(_SOFT, field="photo")


_SOFT = "photo: it is out of focus; hold the camera still and let it focus on the chart."


def refuse_soft_marks(grey: np.ndarray, chart: PrintedChart, middles: np.ndarray) -> None:
    """Marks whose holes have nearly closed, or that hardly stand out."""
    paper = homography(chart.mark_centres, middles)
    for mark in chart.marks:
        hole, ink, white = (_mean(grey, _round_about(mark, by), paper) for by in (_HOLE_MM, _INK_MM, 3.3))
        if white - ink < 255 * _LEAST_SPAN:
            raise Refused("photo: the corner marks hardly stand out from the paper; give the chart more light, and no "
                          "shine on it.", field="photo")
        if hole - ink < _LEAST_HOLE * (white - ink):
            raise Refused(_SOFT, field="photo")


def _round_about(mark: BoxMm, by: float) -> np.ndarray:
    """Eight points at a distance from a mark's middle along its sides' directions and its diagonals, in mm."""
    middle = corners(mark).mean(axis=0)
    return np.asarray(middle + by * np.array([(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)]))


def _mean(grey: np.ndarray, points: np.ndarray, paper: np.ndarray) -> float:
    places = np.floor(apply(paper, points)).astype(int)
    high, wide = grey.shape
    return float(np.median(grey[np.clip(places[:, 1], 0, high - 1), np.clip(places[:, 0], 0, wide - 1)]))


def refuse_view(photograph: Photograph, chart: PrintedChart, camera: Pose) -> None:
    """Too few pixels, a camera too far to the side, a part outside, a distance that the focal length contradicts."""
    high, wide = photograph.grey.shape
    box = camera.pixels(corners(chart.lens_box))
    if box.min() < 0 or np.any(box > (wide, high)):
        raise Refused("photo: a part of the lens box lies outside the picture.", field="photo")
    ends = camera.pixels(np.array([(-5.0, 0.0), (5.0, 0.0), (0.0, -5.0), (0.0, 5.0)]))
    per_mm = min(np.hypot(*(ends[1] - ends[0])), np.hypot(*(ends[3] - ends[2]))) / 10
    if per_mm < max(LEAST_PIXELS_A_MM, LEAST_PIXELS_A_LINE * chart.pitches[1] / 25.4):
        raise Refused("photo: it has too few pixels for this chart; let the chart fill the picture.", field="photo")
    if camera.tilt_deg > MOST_TILT_DEG:
        raise Refused(f"photo: it is taken from {camera.tilt_deg:.0f}° aside; hold the camera over the middle of the "
                      f"chart, at most {MOST_TILT_DEG:.0f}° aside.", field="photo")
    _refuse_distance(photograph, camera)


def _refuse_distance(photograph: Photograph, camera: Pose) -> None:
    if photograph.focal_px is None:
        return
    stated = camera.view.distance_mm
    by_marks = stated * photograph.focal_px / camera.focal_px
    if abs(by_marks / stated - 1) > MOST_DISTANCE_OFF:
        raise Refused(f"distance: {stated:.0f} mm is stated, but the corner marks and the focal length in the file "
                      f"say {by_marks:.0f} mm; measure from the lens to the camera, and give the whole picture, not "
                      "cropped.", field="distance")


def refuse_light(light: np.ndarray) -> None:
    """Bands that are burnt out, or too dark to tell apart."""
    if float(np.mean(light > _FULL)) > _MOST_CLIPPED:
        raise Refused("photo: the paper under the lens is burnt out; take it with less light.", field="photo")
    if float(np.ptp(np.percentile(light, [2, 98]))) < _LEAST_SPAN:
        raise Refused("photo: the bands show no light and dark; is it too dark, or is the lens not on the chart?",
                      field="photo")


def refuse_fringes(found: Found, chart: PrintedChart) -> None:
    """Fringes that are not those of one pitch inside what the chart tests, or of a lens that lies too far askew."""
    unclear = Refused("photo: the bands do not show the fringes of one pitch; lay the lens of this chart on it, flat, "
                      f"turned by less than {MOST_TURN_DEG:g}°, and free of shine.", field="photo")
    if found.explained < _LEAST_EXPLAINED or found.contrast < _LEAST_CONTRAST:
        raise unclear
    if abs(found.turn_deg) > MOST_TURN_DEG:
        raise Refused(f"photo: the lens is turned by {abs(found.turn_deg):.1f}°, more than {MOST_TURN_DEG:g}°; turn "
                      "it until the fringes of the narrow bars stand in line.", field="photo")
    low, high = chart.pitches
    beyond = 1 / chart.length_in
    if not low - beyond <= found.lpi <= high + beyond:
        raise Refused(f"photo: the pitch lies outside the {low:g} to {high:g} lines per inch that this chart tests; "
                      "print one with another centre.", field="chart")
    if found.rival > _MOST_RIVAL:
        raise unclear
