"""The sliding-pitch band: exact dots, a true scale, and a still spot where the tests' own bench finds it."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from logbook.engine.resolution import parse_dpi
from logbook.engine.sliding import default_slope, draw_sliding, make_sliding, sidecar, sliding_row, spot_on_scale
from logbook.lengths import parse_length
from logbook.refusals import Refused
from simulated_bench.optics import Layer, Lens, Printer
from simulated_bench.reader import Look, turning_phase


def band(**asked):
    wanted = {"lpi": "20", "dpi": "720", "length": "8in", "flip": "left-right", "mirrored": False} | asked
    return make_sliding(lpi=Decimal(wanted["lpi"]), dpi=parse_dpi(wanted["dpi"]), length=parse_length(wanted["length"]),
                        flip=wanted["flip"], mirrored=wanted["mirrored"], slope=wanted.get("slope"))


@pytest.mark.parametrize(("dpi", "slope"), [(Fraction(300), "0.145"), (Fraction(9054, 25), "0.3")])
def test_every_dot_is_that_of_the_exact_phase(dpi, slope):
    count, lpi, g = 601, Fraction(20), Fraction(slope)
    expected = []
    for i in range(count):
        x = (i + Fraction(1, 2) - Fraction(count, 2)) / dpi
        expected.append(0 if (lpi * x + g * x * x / 2) % 1 < Fraction(1, 2) else 255)
    assert sliding_row(count, lpi=Decimal(20), slope=Decimal(slope), dpi=dpi).tolist() == expected


@pytest.mark.parametrize("lpi", [20, 60, 75])
def test_the_slope_keeps_the_still_zone_inside_the_band_for_a_pitch_one_percent_off(lpi):
    # x* = 0.01·LPI/g and half-width 1/√g together reach the band's end, W/2: the equation that √g solves.
    slope = float(default_slope(lpi=Decimal(lpi), length_in=Fraction(8)))
    assert 0.01 * lpi / slope + 1 / math.sqrt(slope) == pytest.approx(4, rel=0.01)


def test_the_scale_stands_where_the_local_pitch_is_what_it_says():
    plan = band()
    for pitch, column in plan.scale:
        x = (column - 5760 / 2) / 720
        assert 20 + float(plan.slope) * x == pytest.approx(float(pitch), abs=float(plan.slope) / 720)
    assert len(plan.scale) >= 8
    assert Decimal(20) in [pitch for pitch, _column in plan.scale]
    drawn = draw_sliding(plan)
    above = drawn[plan.band_box_dots[1] - 1]
    for _pitch, column in plan.scale:
        assert above[column] == 0


@pytest.mark.parametrize("lens_lpi", [19.9, 20.05, 20.2])
def test_the_still_spot_gives_the_pitch_within_its_stated_uncertainty(lens_lpi):
    plan = band()
    left, top, right, _bottom = plan.band_box_dots
    row = draw_sliding(plan)[top, left:right] / 255.0
    printer, lens = Printer(dpi=720, scale=720 / 719.9), Lens(lens_lpi, 3.0, 1.56)
    look = Look(lens=lens, printer=printer, distance=600, gap=Layer(0.0, 1.0), lens_start=0.4)
    places, phase = turning_phase(row, look=look)
    bend, lean, _level = np.polyfit(places / printer.scale / 25.4, phase, 2)
    still = -lean / (2 * bend)  # inches from the band's start, where the phase turns back
    spot = spot_on_scale(Decimal(str(round(20 + float(plan.slope) * (still - 4), 3))), slope=plan.slope)
    wanted = printer.scale * lens_lpi / (1 + 3.0 / 1.56 / 600)
    assert float(spot.lpi) == pytest.approx(wanted, abs=spot.u_lpi)
    assert 0.03 < spot.u_lpi < 0.07
    assert abs(2 * bend) == pytest.approx(float(plan.slope), rel=0.05)


def test_an_up_down_band_is_the_left_right_one_turned():
    across, down = draw_sliding(band(dpi="300")), draw_sliding(band(dpi="300", flip="up-down"))
    left, top, right, _bottom = band(dpi="300").band_box_dots
    row = across[top, left:right]
    assert any((down[:, column][left:right] == row).all() for column in range(0, down.shape[1], 20))


def test_a_reversed_band_is_mirrored_with_its_scale():
    plain, mirrored = band(dpi="300"), band(dpi="300", mirrored=True)
    box = mirrored.band_box_dots
    row = draw_sliding(mirrored)[box[1], box[0]:box[2]]
    first = plain.band_box_dots
    assert row[::-1].tolist() == draw_sliding(plain)[first[1], first[0]:first[2]].tolist()
    tick = mirrored.scale[0][1]
    assert draw_sliding(mirrored)[box[1] - 1, box[0] + (box[2] - box[0]) - tick] == 0


def test_the_description_holds_the_scale():
    described = sidecar(band())
    assert described["slope_lpi_per_in"] == 0.145
    assert {"lpi": 20, "dot": 2880} in described["scale"]


@pytest.mark.parametrize(("asked", "field"), [
    ({"length": "5mm"}, "width"), ({"dpi": "40"}, "dpi"), ({"flip": "round"}, "flip"), ({"lpi": "0"}, "lpi"),
    ({"slope": Decimal(0)}, "slope"), ({"slope": Decimal(6)}, "width")])
def test_a_band_that_cannot_be_is_refused_with_its_field(asked, field):
    with pytest.raises(Refused) as refusal:
        band(**asked)
    assert refusal.value.field == field
