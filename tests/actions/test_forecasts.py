"""A forecast in the logbook: linked tests make it, it is frozen with them, and it falls with any of them."""

import json
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import forecasts, jobs, leaving, machines, materials, pitch, trace
from logbook.actions.shop import set_facts
from logbook.lengths import parse_length
from logbook.records import audit
from logbook.records.forecasts import ForecastSource
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.small_shop import job, one, prints


@pytest.fixture
def paired(shop):
    """Two lens lots and two printers: all of them tested together but L-1 on Second."""

    def equip(session, by):
        sheet = one(session, Lot, label="L-1").material
        sheet.thickness, sheet.refractive_index = parse_length("3mm"), Decimal("1.56")
        materials.add_lot(session, by, material=sheet, label="L-2")

    shop.act(equip)
    shop.act(lambda session, by: machines.add_printer(session, by, name="Second", dpi="300").code)
    for lot, printer, lpi in (("L-1", "Printer", "20.07"), ("L-2", "Printer", "20.05"), ("L-2", "Second", "20.03")):
        _tested(shop, lot, printer, lpi)
        shop.wait(days=1)
    return shop


def _conditions(session, lot, printer):
    return pitch.Conditions(
        lens_lot=one(session, Lot, label=lot),
        mode=one(session, Machine, name=printer).modes[0],
        paper=one(session, Material, name="paper"),
        axis="across",
        distance=parse_length("0.6m"),
        lens_loose=False,
        temperature_c=Decimal(23),
    )


def _tested(shop, lot, printer, lpi, u="0.002"):
    """An accepted test, put on record as its fit would be."""

    def accept(session, by):
        made = pitch.put_on_record(
            session,
            by,
            conditions=_conditions(session, lot, printer),
            origin="test",
            lpi=Decimal(lpi),
            u_lpi=Decimal(u),
            note="",
        )
        return made.code

    return shop.act(accept)


def _forecast(shop, lot="L-1", printer="Second"):
    return shop.read(lambda session: _plain(forecasts.of(session, _conditions(session, lot, printer))))


def _plain(found):
    return found.lpi, found.u_lpi, found.basis, [test.code for test in found.tests], len(found.left_out)


def test_a_pairing_that_nobody_tested_follows_from_the_three_that_were(paired):
    # 20.07 · 20.03 / 20.05 = 20.04998; the weak priors pull it by less than its uncertainty
    lpi, u_lpi, basis, tests, left_out = _forecast(paired)
    assert abs(float(lpi) - 20.07 * 20.03 / 20.05) < float(u_lpi)
    assert 0.004 < float(u_lpi) < 0.02
    assert (basis, len(tests), left_out) == ("tests", 3, 0)


def test_without_a_link_it_is_prior_only_and_cannot_be_taken(paired):
    paired.act(lambda session, by: machines.add_printer(session, by, name="Third", dpi="300").code)
    _, u_lpi, basis, *_ = _forecast(paired, printer="Third")
    assert basis == "prior"
    assert float(u_lpi) > float(_forecast(paired)[1])
    with pytest.raises(Refused, match="No test links"):
        paired.act(
            lambda session, by: forecasts.take(
                session, by, found=forecasts.of(session, _conditions(session, "L-1", "Third"))
            )
        )


def test_a_lens_whose_optics_are_unknown_has_none_and_a_test_without_distance_is_left_out(paired):
    paired.act(lambda session, _by: setattr(one(session, PitchOnRecord, lpi=Decimal("20.03")), "distance", None))
    assert _forecast(paired)[2:] == ("prior", _forecast(paired)[3], 1)
    paired.act(lambda session, _by: setattr(one(session, Lot, label="L-1").material, "thickness", None))
    assert paired.read(lambda session: forecasts.of(session, _conditions(session, "L-1", "Second"))) is None


def test_a_new_head_makes_another_printer_of_it(paired):
    paired.act(
        lambda session, by: machines.note_event(
            session, by, machine=one(session, Machine, name="Second"), what="head change", note=""
        )
    )
    assert _forecast(paired)[2] == "prior"


def _job_on_second(shop):
    code = shop.order(customer="")

    def choose(session, by):
        made = _conditions(session, "L-1", "Second")
        choice = jobs.MaterialChoice(lens_lot=made.lens_lot, mode=made.mode, paper=made.paper)
        jobs.choose_materials(session, by, job=job(session, code), choice=choice)

    shop.act(choose)
    return code


def _use(shop, code):
    def use(session, by):
        found = forecasts.take(session, by, found=forecasts.for_job(session, job(session, code)))
        pitch.choose(session, by, job=job(session, code), pitch=found, reason="a trial first")
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
    _tested(paired, "L-1", "Printer", "20.08")
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
            lambda session, by: pitch.choose(
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
        lambda session, by: pitch.choose(
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
