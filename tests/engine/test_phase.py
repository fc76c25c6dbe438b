"""Phase and owners against the definition, reckoned dot by dot in fractions.

Phase of dot i is frac((i + 1/2) · lpi / dpi + offset), and a lens reverses left and right: the strip at phase 0 shows
the last picture (common practice of the trade, no source).
"""

from decimal import Decimal
from fractions import Fraction
from math import floor

import numpy as np
import pytest

from logbook.engine.phase import dots_for, owners, parse_pitch, phase_numerators
from logbook.refusals import Refused

CASES = [
    (Decimal("19.87"), Fraction(720), Fraction(0)),
    (Decimal(20), Fraction(600), Fraction(1, 3)),
    (Decimal("61.234567"), Fraction(1440), Fraction(-7, 11)),
    (Decimal("40.000001"), Fraction(72_000_007, 100_003), Fraction(123_456_789, 987_654_321)),
    (Decimal("19.870001"), Fraction(10**12 + 39, 10**9 + 7), Fraction(1, 10**9 + 9)),
]


def _phases(count, lpi, dpi, offset):
    return [((2 * i + 1) * Fraction(lpi) / (2 * dpi) + offset) % 1 for i in range(count)]


@pytest.mark.parametrize(("lpi", "dpi", "offset"), CASES)
def test_each_dot_has_the_phase_that_the_definition_says(lpi, dpi, offset):
    numerators, denominator = phase_numerators(50, lpi=lpi, dpi=dpi, offset=offset)
    assert [Fraction(int(one), denominator) for one in numerators] == _phases(50, lpi, dpi, offset)


@pytest.mark.parametrize("fine", [2**51 - 129, 2**52 - 47, 2**54 - 33])
@pytest.mark.parametrize(("count", "pictures"), [(100, 1), (100, 7), (1200, 3), (2500, 2)])
@pytest.mark.parametrize(("lpi", "shift"), [("20", 1), ("60", -7)])
def test_phases_and_owners_are_exact_at_the_edge_of_the_machines_whole_numbers(fine, count, pictures, lpi, shift):
    """Common denominators of 61 to 64 bits: what is counted or multiplied out is beyond 64 sooner or later."""
    lpi, dpi, offset = Decimal(lpi), Fraction(7200), Fraction(shift, fine)
    phases = _phases(count, lpi, dpi, offset)
    numerators, denominator = phase_numerators(count, lpi=lpi, dpi=dpi, offset=offset)
    assert [Fraction(int(one), denominator) for one in numerators] == phases
    told = owners(count, lpi=lpi, dpi=dpi, pictures=pictures, offset=offset)
    assert told.tolist() == [pictures - floor(phase * pictures) for phase in phases]


@pytest.mark.parametrize("fine", [2**57 - 13, 9 * 2**56, 2**70 + 25])
def test_a_dot_just_before_a_strips_border_belongs_to_that_strip(fine):
    """Nearer to the border than a float can tell, in whole numbers of the machine and in larger ones."""
    before = Fraction(1, 3) - Fraction(1, 72) - Fraction(1, fine)
    told = owners(1, lpi=Decimal(20), dpi=Fraction(720), pictures=3, offset=before)
    assert told.tolist() == [3 - floor(_phases(1, Decimal(20), Fraction(720), before)[0] * 3)] == [3]


def test_a_denominator_beyond_the_machines_whole_numbers_is_no_matter_with_few_dots():
    lpi, dpi, offset = Decimal("0.001"), Fraction(4800), Fraction(1, 2**61 - 1)
    numerators, denominator = phase_numerators(3, lpi=lpi, dpi=dpi, offset=offset)
    assert denominator > 2**63
    assert [Fraction(int(one), denominator) for one in numerators] == _phases(3, lpi, dpi, offset)


def test_whole_numbers_of_the_machine_are_used_where_they_suffice_and_larger_ones_beyond():
    small, _ = phase_numerators(10_000, lpi=Decimal("19.87"), dpi=Fraction(720))
    assert small.dtype == np.int64
    large, _ = phase_numerators(10, lpi=CASES[4][0], dpi=CASES[4][1], offset=CASES[4][2])
    assert large.dtype == object
    step = Fraction(2**40 + 1, 2**41)  # numerators beyond 64 bits only because of how many there are
    count = 2**22
    many, denominator = phase_numerators(count, lpi=Decimal(1), dpi=1 / step)
    last = Fraction(int(many[count - 1]), denominator)
    assert last == ((count - 1) * step + step / 2) % 1


@pytest.mark.parametrize(("lpi", "dpi", "offset"), CASES)
@pytest.mark.parametrize("pictures", [1, 2, 3, 7])
def test_each_dot_belongs_to_the_picture_whose_strip_it_lies_in(lpi, dpi, offset, pictures):
    expected = [pictures - floor(phase * pictures) for phase in _phases(60, lpi, dpi, offset)]
    told = owners(60, lpi=lpi, dpi=dpi, pictures=pictures, offset=offset)
    assert (told.tolist(), told.dtype) == (expected, np.int64)


def _owner_by_shares(phase, shares):
    left = Fraction(1)
    for picture, share in enumerate(shares, start=1):
        left -= share
        if phase >= left:
            return picture
    raise AssertionError(phase)


@pytest.mark.parametrize("shares", [[Fraction(1, 4), Fraction(3, 4)], [Fraction(1, 2), Fraction(1, 8), Fraction(3, 8)]])
def test_pictures_own_their_shares_a_border_belonging_to_the_earlier_one(shares):
    # 16 dots a line without a rest, so that dots lie on the borders, too
    for offset in (Fraction(-1, 32), Fraction(0), Fraction(1, 7)):
        expected = [_owner_by_shares(phase, shares) for phase in _phases(64, 20, Fraction(320), offset)]
        told = owners(64, lpi=Decimal(20), dpi=Fraction(320), pictures=len(shares), offset=offset, shares=shares)
        assert told.tolist() == expected


def test_a_strip_of_exactly_one_dot_is_taken_and_a_thinner_one_is_not():
    assert owners(4, lpi=Decimal(20), dpi=Fraction(40), pictures=2).tolist() == [2, 1, 2, 1]
    with pytest.raises(Refused, match=r"^A strip would be 0\.50 dots wide: 4 pictures at 20 .* at least 80 dots per"):
        owners(4, lpi=Decimal(20), dpi=Fraction(40), pictures=4)
    with pytest.raises(Refused, match=r"would be 0\.80 dots wide: 2 pictures .* at least 100 dots"):
        owners(4, lpi=Decimal(20), dpi=Fraction(80), pictures=2, shares=[Fraction(1, 5), Fraction(4, 5)])


@pytest.mark.parametrize(("text", "value"), [(" 19,87 ", "19.87"), ("0.000001", "0.000001"), ("100000", "100000"),
                                             (Decimal("61.234567"), "61.234567")])  # fmt: skip
def test_a_pitch_is_read_exactly(text, value):
    assert parse_pitch(text) == Decimal(value)


@pytest.mark.parametrize(("text", "words"), [
    ("wide", "not a number"), ("19,875", "write 19.875 or 19875"), ("nan", "more than zero"), ("inf", "more than zero"),
    ("0", "more than zero"),
    ("-1", "more than zero"), ("100000.000001", "at most 100000"), ("19.8700001", "at most 6 decimals"),
])  # fmt: skip
def test_what_is_no_pitch_is_refused_at_its_field(text, words):
    with pytest.raises(Refused, match=words) as refused:
        parse_pitch(text, field="pitch")
    assert refused.value.field == "pitch"


@pytest.mark.parametrize(("inches", "dpi", "dots"), [
    (Fraction(1), Fraction(720), 720), (Fraction(1, 720), Fraction(720), 1), (Fraction(1, 10_000), Fraction(720), 1),
    (Fraction(5, 2), Fraction(1), 3), (Fraction(249, 100), Fraction(1), 2), (Fraction(8), Fraction(1441, 4), 2882),
])  # fmt: skip
def test_a_length_is_its_nearest_whole_number_of_dots_and_at_least_one(inches, dpi, dots):
    assert dots_for(inches, dpi) == dots
