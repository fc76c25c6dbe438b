"""What must hold for every set of readings, whatever the lens."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from logbook.engine.fit import fit_readings
from logbook.engine.readings import Reading
from logbook.refusals import Refused

WIDTH = Fraction(8)
pitches = st.integers(-2500, 2500).map(lambda n: Decimal(n) / 10_000)  # around the chart's middle
miscounts = st.lists(st.sampled_from([-1, 0, 1]), min_size=11, max_size=11)  # quarters


def chart(offset, errors, *, middle=Decimal("20"), step=Decimal("0.1"), width=WIDTH, times=1):
    """Readings in quarters of a chart of eleven bands whose fitting pitch is ``middle + offset``."""
    readings = []
    for band, error in zip(range(-5, 6), errors, strict=True):
        exact = abs(step * band - offset) * Decimal(int(width))
        readings.append(Reading(middle + step * band, Decimal(max(0, round(4 * exact) + error)) / 4))
    return readings * times


@given(pitches, miscounts, st.integers(-1000, 8000))
def test_shifting_every_band_shifts_the_pitch_alike(offset, errors, shift):
    moved = Decimal(shift) / 100
    plain = fit_readings(chart(offset, errors), width_in=WIDTH)
    shifted = fit_readings(chart(offset, errors, middle=20 + moved), width_in=WIDTH)
    assert abs(shifted.lpi - plain.lpi - moved) <= Decimal("0.0001")
    assert shifted.u_lpi == pytest.approx(plain.u_lpi, rel=1e-6)


@given(pitches, miscounts, st.integers(2, 9))
def test_another_unit_of_length_scales_pitch_and_uncertainty_alike(offset, errors, factor):
    # The same chart in units ``factor`` times longer: pitches times, width divided by the factor, same counts.
    plain = fit_readings(chart(offset, errors), width_in=WIDTH)
    scaled = fit_readings([Reading(r.lpi * factor, r.fringes) for r in chart(offset, errors)], width_in=WIDTH / factor)
    assert abs(float(scaled.lpi) / factor - float(plain.lpi)) <= 1e-4
    assert scaled.u_lpi / factor == pytest.approx(plain.u_lpi, rel=1e-6)


@given(pitches, miscounts, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(offset, errors, random):
    readings = chart(offset, errors)
    mixed = random.sample(readings, k=len(readings))
    plain, other = fit_readings(readings, width_in=WIDTH), fit_readings(mixed, width_in=WIDTH)
    assert plain.lpi == other.lpi
    assert plain.u_lpi == pytest.approx(other.u_lpi, rel=1e-9)


@given(pitches, miscounts)
def test_a_mirrored_chart_gives_the_mirrored_pitch(offset, errors):
    readings = chart(offset, errors)
    mirrored = [Reading(40 - reading.lpi, reading.fringes) for reading in readings]
    there, back = fit_readings(readings, width_in=WIDTH), fit_readings(mirrored, width_in=WIDTH)
    assert abs(there.lpi + back.lpi - 40) <= Decimal("0.0002")


@given(pitches, st.integers(2, 6))
def test_more_readings_make_the_uncertainty_smaller(offset, times):
    exact = [0] * 11
    once = fit_readings(chart(offset, exact), width_in=WIDTH)
    more = fit_readings(chart(offset, exact, times=times), width_in=WIDTH)
    assert more.u_lpi == pytest.approx(once.u_lpi / times**0.5, rel=1e-3)


@given(st.integers(2, 20))
def test_more_bands_make_the_uncertainty_smaller(pairs):
    def bands(count):
        places = range(-count, count + 1)
        return [Reading(Decimal(20) + Decimal(b) / 20, Decimal(abs(b)) * Decimal("0.4")) for b in places]

    assert fit_readings(bands(pairs + 1), width_in=WIDTH).u_lpi < fit_readings(bands(pairs), width_in=WIDTH).u_lpi


@given(pitches, st.integers(0, 10))
def test_a_doubled_count_is_named_wherever_it_stands(offset, band):
    readings = chart(offset, [0] * 11)
    doubled = readings[band]
    assume(doubled.fringes >= 1)
    readings[band] = Reading(doubled.lpi, doubled.fringes * 2)
    try:
        said = " ".join(fit_readings(readings, width_in=WIDTH).suspects)
    except Refused as refusal:
        said = refusal.sentence
    assert f"Band {doubled.lpi}: {doubled.fringes * 2} read" in said
    assert "counted separately" in said


@given(st.lists(st.tuples(st.integers(1, 400), st.integers(0, 120)), min_size=0, max_size=30), st.integers(1, 40))
def test_any_readings_give_a_pitch_or_one_sentence(rows, width):
    readings = [Reading(Decimal(lpi) / 4, Decimal(quarters) / 4) for lpi, quarters in rows]
    try:
        fit = fit_readings(readings, width_in=Fraction(width))
    except Refused as refusal:
        assert refusal.sentence.strip()
    else:
        assert fit.u_lpi > 0
        assert fit.rms_fringes <= 0.5
