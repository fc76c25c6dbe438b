"""Pitch tests and strips: fitted as an independent solver fits them, read twice, withdrawn with all that came of them.

A reading of a band at p lines per inch over a width W shows |p - P| W fringes at the true pitch P (beat of two
gratings, textbook arithmetic), so readings on both sides form a V.
"""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import least_squares
from sqlalchemy import select

from logbook.actions import (
    benchfindings,
    benchlist,
    jobs,
    pitch,
    pitchcharts,
    pitchchoices,
    pitchreadings,
    printers,
    runs,
    sheets,
    strips,
)
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.records import audit
from logbook.records.floor import Run, Sheet
from logbook.records.machines import Machine
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchReading, PitchTest
from logbook.refusals import Refused
from logbook.rules.findings import Strength
from support.small_shop import PRINTER_FACTS, job, one, prints

WIDTH_IN = Fraction(4)
TRUE_LPI = Decimal("20.123")


def _conditions(session):
    return pitch.conditions_of(one(session, PitchOnRecord, origin="carried over"))


@pytest.fixture
def chart(shop):
    """An open pitch test with one chart: 11 bands, 0.1 lines per inch apart, 4 in long."""
    test_id = shop.act(lambda session, by: pitchcharts.start_test(session, by, conditions=_conditions(session)).id)
    wish = pitchcharts.ChartWish(centre_lpi=Decimal(20), step_lpi=Decimal("0.1"), bands=11, width=parse_length("4in"))
    drawn = shop.read(
        lambda session: pitchcharts.draw_chart(shop.shop.store, session.get_one(PitchTest, test_id), wish)
    )
    return shop.act(
        lambda session, by: (
            pitchcharts.keep_chart(session, by, test=session.get_one(PitchTest, test_id), drawn=drawn).id
        )
    )


def _true_counts(lpi=TRUE_LPI, bands=range(1, 12)):
    """What a patient reader counts, to a quarter of a fringe."""
    pitches = {band: Decimal("19.5") + Decimal("0.1") * (band - 1) for band in bands}
    exact = {band: abs(float(value - lpi)) * float(WIDTH_IN) for band, value in pitches.items()}
    return {band: str(Decimal(round(count * 4)) / 4) for band, count in exact.items()}


def _read(shop, chart, counts, *, who="Olga", **more):
    shop.act(
        lambda session, by: pitchreadings.record_readings(
            session, by, made=session.get_one(PitchChart, chart), counts=counts, **more
        ),
        who=who,
    )


def _test(session):
    return one(session, PitchTest)


def test_the_fit_of_a_test_is_that_of_an_independent_least_squares_solver(shop, chart):
    counts = _true_counts()
    _read(shop, chart, counts)
    fit = shop.read(lambda session: pitchreadings.fit_of(_test(session)))
    lpi = np.array([19.5 + 0.1 * (band - 1) for band in counts])
    fringes = np.array([float(told) for told in counts.values()])
    # SciPy (Virtanen et al., Nature Methods 17, 2020), from both ends so that no start decides
    ends = [least_squares(lambda at: np.abs(lpi - at[0]) * 4 - fringes, [start]) for start in (19.6, 20.4)]
    best = min(ends, key=lambda found: found.cost)
    # a band near the solid one is told apart from solid only to a quarter fringe: 1/16 of a line per inch on 4 in
    assert abs(float(fit.lpi) - best.x[0]) < 0.01
    assert abs(float(fit.lpi) - float(TRUE_LPI)) < 1 / 16
    assert abs(float(fit.lpi) - float(TRUE_LPI)) < 4 * fit.u_lpi


def test_an_accepted_test_puts_the_fit_on_record_and_is_closed(shop, chart):
    with pytest.raises(Refused, match="Read at least one chart first"):
        shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=_test(session)))
    _read(shop, chart, _true_counts())
    fit = shop.read(lambda session: pitchreadings.fit_of(_test(session)))
    shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=_test(session)))
    kept = shop.read(lambda session: one(session, PitchOnRecord, origin="test"))
    assert (kept.lpi, kept.lens_lot_id) == (fit.lpi, shop.read(lambda session: _test(session).lens_lot_id))
    with pytest.raises(Refused, match="closed"):
        _read(shop, chart, _true_counts())
    with pytest.raises(Refused, match="closed"):
        shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=_test(session)))
    first, wish = shop.read(lambda session: (pitchcharts.first_wish(_test(session)), _next_wish(session)))
    assert (wish.step_lpi, wish.bands) == (Decimal("0.01"), 21), "fine around what was found, not coarse around nominal"
    assert abs(wish.centre_lpi - kept.lpi) <= Decimal("0.005")
    _withdraw(shop, origin="test")
    carried = shop.read(_next_wish)
    assert replace(carried, centre_lpi=first.centre_lpi) == first, "a pitch that was withdrawn leads nowhere"
    assert carried.centre_lpi == Decimal("20.1"), "coarse around the old notebook's 20.07"
    _withdraw(shop)
    assert shop.read(_next_wish) == first


def _next_wish(session):
    return pitchcharts.wish_after_others(session, _test(session))


@pytest.mark.parametrize("counts", [{1: "many"}, {1: "-1"}, {99: "1"}, {}, {1: "", 2: " "}])
def test_a_count_that_is_none_is_refused_and_keeps_nothing(shop, chart, counts):
    with pytest.raises(Refused):
        _read(shop, chart, counts)
    assert shop.read(lambda session: session.execute(select(PitchReading)).first()) is None


def test_a_corrected_count_replaces_the_first_which_stays_on_record(shop, chart):
    _read(shop, chart, _true_counts())
    _read(shop, chart, {1: "9"})
    counts, rows = shop.read(
        lambda session: (
            {row.band: str(row.fringes) for row in pitchreadings.readings_of(session.get_one(PitchChart, chart))},
            len(session.execute(select(PitchReading.id)).all()),
        )
    )
    assert counts[1] == "9"
    assert (len(counts), rows) == (11, 12)


def _findings(shop):
    """Of the readers; nobody measured the long scales, which is a note of its own."""
    found = shop.read(lambda session: pitchreadings.accept_findings(session, _test(session)))
    assert [one.sentence.partition(":")[0] for one in found if one.rule == "long scale"] == [
        "No long scale was measured"
    ]
    return [one for one in found if one.rule != "long scale"]


def test_one_reader_is_a_note_and_two_who_agree_are_none(shop, chart):
    _read(shop, chart, _true_counts())
    assert [found.strength for found in _findings(shop)] == [Strength.NOTE]
    _read(shop, chart, _true_counts(), who="Otto")
    assert _findings(shop) == []


def test_the_same_person_may_read_a_second_time_beside_the_first(shop, chart):
    _read(shop, chart, _true_counts())
    _read(shop, chart, _true_counts(), again=True)
    assert shop.read(lambda session: pitchreadings.readers_of(_test(session))) == ["Olga", "Olga, again"]
    assert _findings(shop) == []


def test_readers_who_differ_are_asked_and_the_reason_is_kept(shop, chart):
    _read(shop, chart, _true_counts())
    # 0.2 lines per inch apart: four times a quarter fringe over 4 in, more than the larger of both allowances
    _read(shop, chart, _true_counts(TRUE_LPI - Decimal("0.2")), who="Otto")
    asked = _findings(shop)
    assert [found.strength for found in asked] == [Strength.ASK]
    assert "Olga and Otto differ" in asked[0].sentence

    def accept(reason):
        return lambda session, by: pitchreadings.accept_result(session, by, test=_test(session), reason=reason)

    with pytest.raises(Refused, match="Give a reason"):
        shop.act(accept(""))
    shop.act(accept("Otto stood too near"))
    told = shop.read(lambda session: audit.newest(session, before=None, count=1)[0].reason)
    assert told == "Otto stood too near"


def test_the_nominal_pitch_is_kept_once_and_asks_for_a_reason(shop):
    first, again = (
        shop.act(lambda session, by: pitch.take_nominal(session, by, conditions=_conditions(session)).id)
        for _ in range(2)
    )
    assert first == again
    assert shop.read(lambda session: session.get_one(PitchOnRecord, first).lpi) == 20
    code = shop.order()

    def choose(session, by, reason=""):
        pitchchoices.choose(
            session, by, job=job(session, code), pitch=session.get_one(PitchOnRecord, first), reason=reason
        )

    with pytest.raises(Refused, match="nothing was measured"):
        shop.act(choose)
    shop.act(lambda session, by: choose(session, by, "only to try"))
    assert shop.read(lambda session: jobs.pitch_of(session, job(session, code)).reason) == "only to try"


def test_a_carried_over_pitch_may_be_carried_over_again_once_it_was_withdrawn(shop):
    def carry(session, by, days=0):
        pitch.carry_over(
            session,
            by,
            conditions=_conditions(session),
            lpi=Decimal("20.1"),
            note="page 7",
            known_since=by.now + timedelta(days=days),
        )

    with pytest.raises(Refused, match="already"):
        shop.act(carry)
    _withdraw(shop)
    with pytest.raises(Refused, match="has not come yet") as refused:
        shop.act(lambda session, by: carry(session, by, days=1))
    assert refused.value.field == "known_since"
    shop.act(carry)
    lpi = shop.read(lambda session: [row.lpi for row in session.execute(select(PitchOnRecord)).scalars()])
    assert lpi == [Decimal("20.07"), Decimal("20.1")]


def test_a_pitch_or_chart_far_from_the_lens_makers_number_is_a_slip(shop):
    def carry(session, by):
        told = {"note": "page 7", "known_since": by.now}
        pitch.carry_over(session, by, conditions=_conditions(session), lpi=Decimal("199.5"), **told)

    _withdraw(shop)
    with pytest.raises(Refused, match=r"898 % away from the lens maker's 20, .* decimal mark") as refused:
        shop.act(carry)
    assert refused.value.field == "lpi"


def _withdraw(shop, reason="wrong paper", origin="carried over"):
    def work(session, by):
        found = one(session, PitchOnRecord, origin=origin)
        return [piece.serial for piece in pitch.withdraw(session, by, pitch=found, reason=reason)]

    return shop.act(work)


def test_withdrawing_needs_a_reason_and_happens_once_and_lists_exactly_its_own_prints(shop, chart):
    _read(shop, chart, _true_counts())
    shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=_test(session)))
    other = shop.order(customer="")
    shop.act(
        lambda session, by: pitchchoices.choose(
            session, by, job=job(session, other), pitch=one(session, PitchOnRecord, origin="test"), reason="measured"
        )
    )
    shop.run(other)
    mine = shop.ready(quantity=2)
    with pytest.raises(Refused, match="what is wrong"):
        _withdraw(shop, " ")
    assert _withdraw(shop) == shop.read(lambda session: [piece.serial for piece in prints(session, mine)])
    assert shop.read(lambda session: [piece.set_aside_reason for piece in prints(session, other)]) == [None]
    with pytest.raises(Refused, match="withdrawn already"):
        _withdraw(shop)
    named = shop.read(lambda session: audit.newest(session, before=None, count=1)[0].body)
    for code in shop.read(lambda session: [piece.code for piece in prints(session, mine)]):
        assert f"print:{code}" in named


# --- the strip beside a print


@pytest.fixture
def printed(shop):
    """A sheet with a pitch strip in its waste, ready to be read."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    wish = runs.RunWish(waste=True)
    run_id = shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=wish).id)
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))
    return code


def _taps(shop, *told):
    shop.act(
        lambda session, by: strips.record_counts(
            session, by, sheet=one(session, Sheet), counts=dict(enumerate(told, start=1))
        )
    )
    return shop.read(lambda session: strips.fit_of(session, one(session, Sheet)))


@pytest.mark.parametrize(
    ("shift", "told"), [(1, ["1 1/2", "1", "1/2", "0", "1/2"]), (-1, ["1/2", "0", "1/2", "1", "1 1/2"])]
)
def test_taps_that_are_one_band_further_are_half_a_lenticule_of_drift(shop, printed, shift, told):
    # neighbouring bands of a strip are half a lenticule apart end to end: that is its definition
    assert printed
    found = _taps(shop, *told)
    assert found.off_lenticules == pytest.approx(shift / 2, abs=0.02)


def test_a_strip_is_read_whole_and_before_bonding(shop, printed):
    with pytest.raises(Refused, match="All five bands"):
        _taps(shop, "1", "1/2", "0", "1/2")
    shop.sign(printed, "print")
    shop.wait(hours=25)
    shop.sign(printed, "dry")
    shop.roll(printed, "adhesive")
    _taps(shop, "1", "1/2", "0", "1/2", "1")
    shop.roll(printed, "laminate")
    with pytest.raises(Refused, match="before bonding"):
        _taps(shop, "1", "1/2", "0", "1/2", "1")


def test_a_print_without_a_strip_has_nothing_to_read(shop):
    shop.ready(customer="")
    with pytest.raises(Refused, match="no pitch strip"):
        _taps(shop, "1", "1/2", "0", "1/2", "1")


def test_a_strip_that_is_right_confirms_the_pitch_and_one_that_is_off_does_not(shop, printed):
    def asked():
        code = shop.order(customer="")
        return shop.read(
            lambda session: [
                found.strength
                for found in pitchchoices.findings_for(
                    session, _by(shop), job=job(session, code), pitch=one(session, PitchOnRecord, origin="carried over")
                )
                if found.rule == "origin"
            ]
        )

    assert printed
    assert asked() == [Strength.ASK]
    _taps(shop, "1 1/2", "1", "1/2", "0", "1/2")
    assert asked() == [Strength.ASK]
    _taps(shop, "1", "1/2", "0", "1/2", "1")
    assert asked() == [Strength.NOTE]


def _by(shop):
    return audit.Actor(1, "Olga", "owner", shop.now)


def _describe(shop, **values):
    known = {**PRINTER_FACTS, "native_dpi": "300", **values}
    shop.act(
        lambda session, by: printers.describe(session, by, machine=one(session, Machine, name="Printer"), values=known)
    )


def test_a_printer_that_is_not_described_asks_at_a_test_and_at_a_print_each_for_its_own_reason(shop):
    code = shop.ready()
    _describe(shop, scaling_off="", native_dpi="720")

    def start(**reasons):
        return shop.act(
            lambda session, by: (
                pitchcharts.start_test(session, by, conditions=_conditions(session), reasons=reasons).code
            )
        )

    with pytest.raises(Refused, match=r"not described.*where the driver's own scaling.*this mode has 300"):
        start()
    with pytest.raises(Refused, match=r"this mode has 300.*for this, too"):
        start(**{"reason-printer-facts": "described tomorrow"})
    start(**{"reason-printer-facts": "described tomorrow", "reason-native-dots": "only a trial"})
    with pytest.raises(Refused, match="Printer is not described yet"):
        shop.sign(code, "print")
    _describe(shop)
    shop.sign(code, "print")


def test_drying_takes_the_longer_of_what_printer_and_paper_ask_for(shop):
    code = shop.ready()
    _describe(shop, dry_hours=Decimal(72))
    shop.sign(code, "print")
    waited = shop.read(lambda session: benchfindings.wait_for(session, prints(session, code)[0].sheet).hours)
    assert waited == 72
    _describe(shop, dry_hours=Decimal(3))

    def both(session, _by):
        sheet = prints(session, code)[0].sheet
        sheet.run.paper.dry_hours = Decimal(5)
        session.flush()
        return benchfindings.wait_for(session, sheet).hours, benchlist.by_stage(session)["dry"][0].wait.hours

    assert shop.act(both) == (5, 5)
