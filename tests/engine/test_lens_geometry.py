"""Lens sheets against a published example, a ray tracer and the tables of optics."""

import math

import pytest
from raytracing import DielectricInterface, MatrixGroup, Space

from logbook.engine import lens
from logbook.refusals import Refused

# Source: "Lenticular printing", encyclopaedia article, worked example: p 336.65 µm, r 190.5, e 457, n 1.557.
PITCH, RADIUS, THICKNESS, INDEX = 0.33665, 0.1905, 0.457, 1.557


@pytest.fixture(scope="module")
def traced():
    # General-purpose ray tracer by ABCD matrices (package raytracing).
    return MatrixGroup([DielectricInterface(R=RADIUS, n1=1.0, n2=INDEX), Space(d=THICKNESS, n=INDEX),
                        DielectricInterface(R=float("inf"), n1=INDEX, n2=1.0)])


def test_the_focal_length_is_that_of_the_ray_tracer(traced):
    assert lens.focal_length_mm(radius_mm=RADIUS, index=INDEX) == pytest.approx(traced.effectiveFocalLengths().f1)


def test_the_back_focal_length_is_that_of_the_ray_tracer(traced):
    back = lens.back_focal_mm(radius_mm=RADIUS, index=INDEX, thickness_mm=THICKNESS)
    assert back == pytest.approx(traced.backFocalLength())


def test_a_sheet_of_the_focused_thickness_has_its_focus_on_its_back():
    thickness = lens.focused_thickness_mm(radius_mm=RADIUS, index=INDEX)
    assert thickness == pytest.approx(0.5325108, abs=1e-7)  # recomputed from n·r/(n − 1)
    sheet = MatrixGroup([DielectricInterface(R=RADIUS, n1=1.0, n2=INDEX), Space(d=thickness, n=INDEX)])
    assert sheet.A == pytest.approx(0, abs=1e-12)  # parallel rays meet where A vanishes


def test_the_view_angle_of_the_worked_example_is_exact():
    # The article rounds to 64.6°, which holds for an index of air of 1.003; with exactly 1 the same formulae give
    # 64.4166°, as an exact trace of real rays through the circle does.
    sheet = {"pitch_mm": PITCH, "thickness_mm": THICKNESS, "index": INDEX, "radius_mm": RADIUS}
    assert lens.view_angle_deg(**sheet) == pytest.approx(64.4166, abs=5e-5)
    assert lens.view_angle_deg(**sheet, index_outside=1.003) == pytest.approx(64.6134, abs=5e-5)


def test_the_view_angle_is_that_of_the_ray_through_a_ridges_edge():
    # Independent of the formulae: one ray, refracted by Snell's law in vectors.
    sag = RADIUS - math.sqrt(RADIUS**2 - (PITCH / 2) ** 2)
    ray = (PITCH / 2 + PITCH / 2, THICKNESS - sag)  # from a strip's end to the far edge of its ridge
    normal = (PITCH / 2 / RADIUS, math.sqrt(1 - (PITCH / 2 / RADIUS) ** 2))
    length = math.hypot(*ray)
    sine = (ray[0] * normal[1] - ray[1] * normal[0]) / length  # of the angle from the normal, inside
    outside = math.asin(INDEX * sine) + math.atan2(normal[0], normal[1])
    assert lens.view_angle_deg(pitch_mm=PITCH, thickness_mm=THICKNESS, index=INDEX, radius_mm=RADIUS) \
        == pytest.approx(abs(math.degrees(2 * outside)), abs=1e-9)


def test_without_a_radius_the_view_angle_is_paraxial():
    angle = lens.view_angle_deg(pitch_mm=PITCH, thickness_mm=THICKNESS, index=INDEX)
    assert angle == pytest.approx(59.6671, abs=5e-5)  # 2·atan(p·n/2e), recomputed


def test_a_ridge_narrower_than_its_pitch_is_refused():
    with pytest.raises(Refused, match="at least half"):
        lens.view_angle_deg(pitch_mm=1.0, thickness_mm=1.0, index=1.5, radius_mm=0.4)


def test_the_zone_is_as_wide_as_similar_triangles_say():
    width = lens.zone_width_mm(pitch_mm=PITCH, thickness_mm=THICKNESS, index=INDEX, distance_mm=300)
    assert width == pytest.approx(344.090, abs=5e-4)  # p·n·D/e, recomputed
    # The barrier's geometry of two views, g = p·d/e and h = p·d/(g + d), in air: d 560, eyes 63 apart, p 0.259 mm.
    gap = 0.259 * 560 / 63
    assert lens.zone_width_mm(pitch_mm=0.259, thickness_mm=gap, index=1.0, distance_mm=560) == pytest.approx(63)


@pytest.mark.parametrize(("outside_deg", "inside_deg"), [
    (10, 6.40337), (20, 12.68942), (30, 18.73130), (45, 27.01006)])
def test_rays_bend_by_snells_law(outside_deg, inside_deg):
    # Snell's law into n = 1.557, recomputed to five decimals.
    place = 1000 * math.tan(math.radians(outside_deg))
    lands = lens.landing_mm(distance_mm=1000, place_mm=place, thickness_mm=1, index=INDEX)
    assert math.degrees(math.atan(lands)) == pytest.approx(inside_deg, abs=5e-6)


def test_the_ray_at_ten_degrees_lands_where_it_was_traced():
    # Exact trace of the vertex ray at 10° through a 457 µm sheet: 51.28799 µm.
    place = 300 * math.tan(math.radians(10))
    lands = lens.landing_mm(distance_mm=300, place_mm=place, thickness_mm=THICKNESS, index=INDEX)
    assert lands == pytest.approx(0.05128799, abs=5e-9)


@pytest.mark.parametrize(("lpi", "distance"), [
    (20, 4365.94), (30, 2910.63), (40, 2182.97), (50, 1746.38), (60, 1455.31), (75, 1164.25), (100, 873.19)])
def test_lines_vanish_where_one_subtends_a_minute(lpi, distance):
    # Source: ISO 8596 (acuity 1 resolves one minute of arc); distances recomputed.
    assert lens.lines_vanish_at_mm(lpi) == pytest.approx(distance, abs=0.006)
