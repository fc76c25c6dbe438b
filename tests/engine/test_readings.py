"""The words of the bench, read."""

from decimal import Decimal
from fractions import Fraction

import pytest

from logbook.engine.readings import READING_U, Reading, parse_count, parse_spot, readings_from_csv
from logbook.refusals import Refused

BANDS = {number: Decimal("19.3") + Decimal("0.1") * number for number in range(1, 12)}


@pytest.mark.parametrize(("words", "count"), [
    ("0", "0"), ("solid", "0"), (" Solid ", "0"), ("2", "2"), ("2.25", "2.25"), ("2,25", "2.25"), ("2 1/4", "2.25"),
    ("3/4", "0.75"), ("2¼", "2.25"), ("½", "0.5"), ("1 ¾", "1.75"), (".5", "0.5"), (",75", "0.75"),
])
def test_a_count_is_read_in_the_ways_people_write_it(words, count):
    assert parse_count(words) == Decimal(count)


@pytest.mark.parametrize("words", ["", "-1", "many", "1/0", "1e3", "nan", "inf", "2 2", "1..5", "1000000", "½½"])
def test_what_is_no_count_is_refused_with_its_field(words):
    with pytest.raises(Refused) as refusal:
        parse_count(words, field="band-3")
    assert refusal.value.field == "band-3"


def test_a_named_band_is_a_place_with_the_uncertainty_of_half_a_step():
    spot = parse_spot("band 7", pitches=BANDS, width_in=Fraction(8), reader="Ida")
    assert (spot.lpi, spot.words, spot.reader) == (Decimal("20.0"), "band 7", "Ida")
    # Rectangular with half-width 0.05 (JCGM 100:2008, 4.3.7) beside one reading of 0.161 fringe over 8 in.
    assert spot.u_lpi == pytest.approx(((0.05**2 / 3) + (0.161 / 8) ** 2) ** 0.5, rel=0.01)


def test_a_place_between_two_bands_is_their_middle():
    assert parse_spot("between 6 and 7", pitches=BANDS, width_in=Fraction(8)).lpi == Decimal("19.95")
    assert parse_spot("Between band 7 and band 6", pitches=BANDS, width_in=Fraction(8)).lpi == Decimal("19.95")


def test_none_names_no_place():
    assert parse_spot(" None ", pitches=BANDS, width_in=Fraction(8)) is None


@pytest.mark.parametrize("words", ["band 12", "0", "between 3 and 5", "between 11 and 12", "the third", ""])
def test_a_place_that_the_chart_does_not_have_is_refused(words):
    with pytest.raises(Refused):
        parse_spot(words, pitches=BANDS, width_in=Fraction(8))


def test_a_chart_of_one_band_names_no_place():
    with pytest.raises(Refused, match="fewer than two bands"):
        parse_spot("1", pitches={1: Decimal(20)}, width_in=Fraction(8))


def test_a_table_of_readings_is_read_with_and_without_readers():
    assert readings_from_csv("lpi,fringes\n19.9,solid\n20.0,0.75\n") == [
        Reading(Decimal("19.9"), Decimal(0)), Reading(Decimal("20.0"), Decimal("0.75"))]
    assert readings_from_csv('\ufefflpi, fringes, reader\r\n"19,9",1 1/2,Ida\r\n') == [
        Reading(Decimal("19.9"), Decimal("1.5"), "Ida")]
    assert readings_from_csv("reader,fringes,lpi\n,1,20\n\n") == [Reading(Decimal(20), Decimal(1))]


@pytest.mark.parametrize(("table", "sentence"), [
    ("", "first line must be"), ("pitch,count\n20,1\n", "first line must be"), ("lpi,fringes\n20\n", "line 2"),
    ("lpi,fringes\n20,1,2\n", "line 2"), ("lpi,fringes\n20,1\n20.1,-3\n", "line 3: fringes"),
    ("lpi,fringes\nx,1\n", "line 2: lpi"), ('lpi,fringes\n"20,1\n', "not a readable CSV"),
])
def test_a_table_that_cannot_be_read_is_refused_with_the_line(table, sentence):
    with pytest.raises(Refused, match=sentence):
        readings_from_csv(table)


def test_limits_themselves_are_taken():
    assert parse_count("10000") == 10_000
    with pytest.raises(Refused):
        parse_count("10000.25")
    two = {1: Decimal("19.9"), 2: Decimal("20.1")}
    assert parse_spot("between 1 and 2", pitches=two, width_in=Fraction(8)).lpi == 20
    # JCGM 100:2008, 4.3.7: a half-width of 1/4, and the quarters' own half-width of 1/8
    assert READING_U == pytest.approx((0.25**2 / 3 + 0.125**2 / 3) ** 0.5)


def test_a_blank_may_stand_before_a_quoted_cell():
    assert readings_from_csv('lpi, fringes\n20.1, "2,25"\n') == [Reading(Decimal("20.1"), Decimal("2.25"))]
