"""A forecast in the logbook: linked tests make it, it is frozen with them, and it falls with any of them."""

import json
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import forecasts, jobs, leaving, machinehistory, materials, pitch, pitchchoices, trace
from logbook.actions.shop import set_facts
from logbook.records import audit
from logbook.records.forecasts import ForecastSource
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.pairings import conditions, measure_scale, pair, put_on_record
from support.small_shop import described_printer, job, one, prints


@pytest.fixture
def paired(shop):
    return pair(shop)


def _forecast(shop, lot="L-1", printer="Second"):
    return shop.read(lambda session: _plain(forecasts.of(session, conditions(session, lot, printer))))


def _plain(found):
    return found.lpi, found.u_lpi, found.basis, [test.code for test in found.tests], len(found.left_out)


def test_a_pairing_that_nobody_tested_follows_from_the_three_that_were(paired):
    # 20.07 · 20.03 / 20.05 = 20.04998; the weak priors pull it by less than its uncertainty
    lpi, u_lpi, basis, tests, left_out = _forecast(paired)
    assert abs(float(lpi) - 20.07 * 20.03 / 20.05) < float(u_lpi)
    assert 0.004 < float(u_lpi) < 0.02
    assert (basis, len(tests), left_out) == ("tests", 3, 0)


def test_without_a_link_it_is_prior_only_and_cannot_be_taken(paired):
    paired.act(lambda session, by: described_printer(session, by, "Third", dpi="300").code)
    _, u_lpi, basis, *_ = _forecast(paired, printer="Third")
    assert basis == "prior"
    assert float(u_lpi) > float(_forecast(paired)[1])
    with pytest.raises(Refused, match="No test links"):
        paired.act(
            lambda session, by: forecasts.take(
                session, by, found=forecasts.of(session, conditions(session, "L-1", "Third"))
            )
        )


def test_a_lens_whose_optics_are_unknown_has_none_and_a_test_without_distance_is_left_out(paired):
    paired.act(lambda session, _by: setattr(one(session, PitchOnRecord, lpi=Decimal("20.03")), "distance", None))
    assert _forecast(paired)[2:] == ("prior", _forecast(paired)[3], 1)
    paired.act(lambda session, _by: setattr(one(session, Lot, label="L-1").material, "thickness", None))
    assert paired.read(lambda session: forecasts.of(session, conditions(session, "L-1", "Second"))) is None


def test_a_new_head_makes_another_printer_of_it(paired):
    paired.act(
        lambda session, by: machinehistory.note_event(
            session, by, machine=one(session, Machine, name="Second"), what="head change", note="left head"
        )
    )
    assert _forecast(paired)[2] == "prior"


def _job_on_second(shop):
    code = shop.order(customer="")

    def choose(session, by):
        made = conditions(session, "L-1", "Second")
        choice = jobs.MaterialChoice(lens_lot=made.lens_lot, mode=made.mode, paper=made.paper)
        jobs.choose_materials(session, by, job=job(session, code), choice=choice)

    shop.act(choose)
    return code


def _use(shop, code):
    def use(session, by):
        found = forecasts.take(session, by, found=forecasts.for_job(session, job(session, code)))
        pitchchoices.choose(session, by, job=job(session, code), pitch=found, reason="a trial first")
        return found.code

    return shop.act(use)


def test_taken_it_is_frozen_with_its_tests_and_the_same_one_is_not_made_twice(paired):
    code = _job_on_second(paired)
    found = _use(paired, code)
    assert _use(paired, code) == found
    frozen = paired.read(lambda session: {row.source.code for row in session.execute(select(ForecastSource)).scalars()})
    assert frozen == set(_forecast(paired)[3])
    told = paired.read(
        lambda session: [json.loads(entry.body) for entry in audit.newest(session, before=None, count=9)]
    )
    taken = [body for body in told if body["action"] == "forecast taken"]
    assert len(taken) == 1
    assert set(taken[0]["new"]["tests"]) == frozen
    put_on_record(paired, "L-1", "Printer", "20.08")
    after = paired.read(lambda session: one(session, PitchOnRecord, code=found).lpi)
    assert str(after) in json.dumps(taken[0]["new"], default=str)
    assert _use(paired, code) != found, "another test makes another forecast; the first one stays as it was"


def test_a_forecast_asks_for_a_reason_where_it_is_used(paired):
    code = _job_on_second(paired)
    made = paired.act(
        lambda session, by: forecasts.take(session, by, found=forecasts.for_job(session, job(session, code))).code
    )
    with pytest.raises(Refused, match="forecast from other tests"):
        paired.act(
            lambda session, by: pitchchoices.choose(
                session, by, job=job(session, code), pitch=one(session, PitchOnRecord, code=made)
            )
        )


def test_withdrawing_a_test_lists_the_forecasts_prints_sets_them_aside_and_ends_the_forecast(paired):
    code = _job_on_second(paired)
    found = _use(paired, code)
    paired.run(code)
    tested = paired.read(lambda session: one(session, PitchOnRecord, lpi=Decimal("20.05")).code)
    touched = paired.act(
        lambda session, by: [
            piece.serial
            for piece in pitch.withdraw(
                session, by, pitch=one(session, PitchOnRecord, code=tested), reason="read upside down"
            )
        ]
    )
    serials = paired.read(lambda session: [piece.serial for piece in prints(session, code)])
    assert touched == serials
    assert paired.read(lambda session: all(piece.set_aside_reason for piece in prints(session, code)))
    assert paired.read(lambda session: [row["serial"] for row in trace.find(session, tested)["prints"]]) == serials
    with pytest.raises(Refused, match="was withdrawn"):
        _choose_again(paired, code, found)
    assert paired.read(lambda session: leaving.verdicts_on(session, prints(session, code)[0])) == []


def _choose_again(shop, code, found):
    shop.act(
        lambda session, by: pitchchoices.choose(
            session,
            by,
            job=job(session, code),
            pitch=one(session, PitchOnRecord, code=found),
            reason="it served before",
        )
    )


def test_the_owner_says_how_weak_the_assumptions_are(paired):
    usual = _forecast(paired, lot="L-1", printer="Second")[1]
    paired.act(lambda session, by: set_facts(session, by, {"forecast scale": "2", "forecast mode or paper": "2"}))
    assert _forecast(paired)[1] > usual
    for wrong in ("none", "0", "-1", "100"):
        with pytest.raises(Refused, match="between 0 and 100"):
            paired.act(lambda session, by, wrong=wrong: set_facts(session, by, {"forecast lens": wrong}))


def _measure(paired, *, off_mm):
    code = paired.read(lambda session: one(session, PitchOnRecord, lpi=Decimal("20.03")).code)
    measure_scale(paired, code, off_mm=off_mm)
    return code


def _scales(shop):
    return shop.read(
        lambda session: [
            (scale.test.code, scale.axis, scale.measured_mm - scale.drawn_mm)
            for scale in forecasts.of(session, conditions(session, "L-1", "Second")).scales
        ]
    )


def _lens_three(shop):
    """A lens lot that nobody tested."""
    shop.act(
        lambda session, by: materials.add_lot(
            session, by, material=one(session, Lot, label="L-1").material, label="L-3"
        ).code
    )


def _of_an_untested_lens(shop):
    """Of L-3: what the printer is known to do is all that moves its forecast from the nominal pitch."""
    return float(_forecast(shop, lot="L-3")[0])


def test_a_scale_measured_on_a_chart_says_what_the_printer_does_until_its_test_is_withdrawn(paired):
    _lens_three(paired)
    paired.act(lambda session, by: set_facts(session, by, {"forecast scale": "2"}))  # else a rule tells next to nothing
    _measure(paired, off_mm="-0.4")
    shorter, code = _of_an_untested_lens(paired), _measure(paired, off_mm="0.4")
    assert _scales(paired) == [(code, "across", Decimal("0.4"))]
    # printed longer, the printer's inch is longer and holds more lines of the lens: p = s L
    assert _of_an_untested_lens(paired) > shorter + 0.05
    paired.act(
        lambda session, by: [
            piece.serial
            for piece in pitch.withdraw(
                session, by, pitch=one(session, PitchOnRecord, code=code), reason="read upside down"
            )
        ]
    )
    assert _scales(paired) == []


def test_a_chart_that_was_scaled_by_the_driver_says_nothing_of_the_printer(paired):
    _lens_three(paired)
    before = _of_an_untested_lens(paired)
    _measure(paired, off_mm="3")
    assert _scales(paired) == []
    assert _of_an_untested_lens(paired) == before


def test_a_forecast_keeps_the_scales_it_was_made_with(paired):
    _measure(paired, off_mm="-0.3")
    _use(paired, _job_on_second(paired))
    told = paired.read(
        lambda session: [json.loads(entry.body) for entry in audit.newest(session, before=None, count=9)]
    )
    (taken,) = [body for body in told if body["action"] == "forecast taken"]
    (words,) = taken["new"]["scales"].values()
    measured, drawn = (Decimal(part.removesuffix(" mm")) for part in words.split(" of "))
    assert measured == drawn - Decimal("0.3")
