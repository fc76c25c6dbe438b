"""A lens sheet's geometry: focal lengths, view angle, zone width, and what the eye can still resolve.

Round ridges of radius r on a sheet e thick (ridge to back) of index n, pitch p. Formulae of "Lenticular printing",
encyclopaedia article: R = A − atan(p/h), A = asin(p/2r), h = e − f, f = r − √(r² − (p/2)²), I = asin(n·sin R / n_a),
O = 2(A − I). Without a radius the paraxial 2·atan(p·n/2e) serves.
"""

import math

from logbook.refusals import Refused

INCH_MM = 25.4
_ONE_MINUTE = math.radians(1 / 60)


def lens_pitch_mm(lpi: float) -> float:
    """Width of one ridge."""
    return INCH_MM / lpi


def focal_length_mm(*, radius_mm: float, index: float) -> float:
    """Effective focal length in air, F = r / (n − 1)."""
    return radius_mm / (index - 1)


def back_focal_mm(*, radius_mm: float, index: float, thickness_mm: float) -> float:
    """From the sheet's back to the focus, F − e/n; negative when the focus lies inside the sheet."""
    return focal_length_mm(radius_mm=radius_mm, index=index) - thickness_mm / index


def focused_thickness_mm(*, radius_mm: float, index: float) -> float:
    """The thickness whose back is the paraxial focus, n·r / (n − 1)."""
    return index * focal_length_mm(radius_mm=radius_mm, index=index)


def view_angle_deg(*, pitch_mm: float, thickness_mm: float, index: float, radius_mm: float | None = None,
                   index_outside: float = 1.0) -> float:
    """The angle over which the whole of one lenticule's strips is seen once.

    Exact for round ridges where ``radius_mm`` is given, else the paraxial 2·atan(p·n/2e).
    Raises Refused for a radius under half a pitch.
    """
    if radius_mm is None:
        return math.degrees(2 * math.atan(pitch_mm * index / (2 * thickness_mm)))
    if radius_mm < pitch_mm / 2:
        raise Refused("radius: a ridge cannot be narrower than its pitch; the radius is at least half of it.",
                      field="radius")
    steepest = math.asin(pitch_mm / (2 * radius_mm))
    ridge = radius_mm - math.sqrt(radius_mm**2 - (pitch_mm / 2) ** 2)
    inside = steepest - math.atan(pitch_mm / (thickness_mm - ridge))
    outside = math.asin(index * math.sin(inside) / index_outside)
    return math.degrees(2 * (steepest - outside))


def zone_width_mm(*, pitch_mm: float, thickness_mm: float, index: float, distance_mm: float) -> float:
    """How wide the zone is, at a distance, in which all pictures are seen once: p·n·D/e."""
    return pitch_mm * index * distance_mm / thickness_mm


def landing_mm(*, distance_mm: float, place_mm: float, thickness_mm: float, index: float) -> float:
    """How far outward the ray through a ridge at ``place_mm`` lands on the ink: t·tan(asin(sin(atan(x/D))/n))."""
    inside = math.asin(math.sin(math.atan(place_mm / distance_mm)) / index)
    return thickness_mm * math.tan(inside)


def lines_vanish_at_mm(lpi: float) -> float:
    """The distance at which one lenticule subtends one minute of arc (ISO 8596: acuity 1)."""
    return lens_pitch_mm(lpi) / math.tan(_ONE_MINUTE)
