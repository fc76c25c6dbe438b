"""The fringes of a chart's bands are beats: spatial frequencies found by Fourier transform.

Source: "Moiré pattern", encyclopaedia article, and Opt. Express 19(19) 18399, 2011: the beat of two gratings is the
difference of their wave vectors, |k|² = f₁² + f₂² − 2 f₁f₂ cos θ.
"""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from logbook.engine.chart import band_row
from logbook.engine.drift import lenticules, skew_lenticules

DPI = 720


def lowest_beat(product, *, size_in, below):
    """Frequency (per inch) of the strongest part under ``below``, refined between the transform's steps."""
    padded = [8 * length for length in product.shape]
    spectrum = np.abs(np.fft.rfftn(product - product.mean(), s=padded, axes=range(product.ndim)))
    frequencies = np.meshgrid(*[np.fft.fftfreq(n, size / length) for n, size, length in
                                zip(padded[:-1], size_in[:-1], product.shape[:-1], strict=True)],
                              np.fft.rfftfreq(padded[-1], size_in[-1] / product.shape[-1]), indexing="ij") \
        if product.ndim > 1 else [np.fft.rfftfreq(padded[0], size_in[0] / product.shape[0])]
    length = np.sqrt(sum(axis**2 for axis in frequencies))
    spectrum[length > below] = 0
    return float(length[np.unravel_index(spectrum.argmax(), spectrum.shape)])


@pytest.mark.parametrize(("band", "lens"), [("20", 20.5), ("19.4", 20.12), ("75", 75.45), ("20.4", 19.9)])
def test_a_band_under_a_lens_beats_at_the_difference_of_the_pitches(band, lens):
    dots = 40 * DPI  # 40 in long, so that the transform resolves the beat
    row = band_row(dots, lpi=Decimal(band), dpi=Fraction(DPI)) / 255.0
    lens_row = 0.5 + 0.5 * np.cos(2 * np.pi * lens * (np.arange(dots) + 0.5) / DPI)
    found = lowest_beat(row * lens_row, size_in=(40,), below=5)
    assert found == pytest.approx(lenticules(width_in=1, error_lpi=float(band) - lens), abs=1 / 8 / 40)


@pytest.mark.parametrize(("first", "second", "turn_deg", "beat"), [
    (20.0, 20.0, 0.5, 0.174532), (20.12, 20.0, 0.1, 0.125003), (75.0, 75.4, 0.1, 0.420982),
    (75.0, 75.0, 0.05, 0.0654498)])
def test_turned_gratings_beat_as_the_wave_vectors_say(first, second, turn_deg, beat):
    # Expected values recomputed from |k|² = f₁² + f₂² − 2 f₁f₂ cos θ; the transform below is the check of that law.
    size = 64.0  # inches; low-frequency part of the product of two cosine gratings is a cosine of their difference
    angle = math.radians(turn_deg)
    across, down = np.meshgrid(np.linspace(0, size, 128, endpoint=False), np.linspace(0, size, 128, endpoint=False))
    turned = second * (across * math.cos(angle) + down * math.sin(angle))
    product = np.cos(2 * np.pi * (first * across - turned))
    assert lowest_beat(product, size_in=(size, size), below=1.0) == pytest.approx(beat, abs=1 / 8 / size)


def test_a_turned_lens_adds_the_beat_along_the_lines():
    # Of two equal gratings turned by a small angle the beat runs along the lines: f·sin θ ≈ H·LPI·tan θ over H.
    assert skew_lenticules(height_in=1, lpi=20, skew_deg=0.5) == pytest.approx(0.174532, rel=1e-4)
