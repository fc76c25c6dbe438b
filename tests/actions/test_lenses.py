"""Choosing the lens from what is in stock; the choice and its reasons are kept with the job."""

from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import jobs, lenses, machines, materials
from logbook.lengths import parse_length
from logbook.records.floor import JobMaterials, LensChoice
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.refusals import Refused
from support.small_shop import job, one


@pytest.fixture
def fine(shop):
    """A second lens type, 60 lines per inch, with two lots of known sizes."""

    def add(session, by):
        lens = materials.add_material(
            session, by, kind="lens", name="Fine", nominal_lpi=Decimal(60), thickness=parse_length("0.62mm"),
            refractive_index=Decimal("1.57"),
        )  # fmt: skip
        for label, size in (("F-small", "60mm"), ("F-large", "300mm")):
            wide = parse_length(size)
            materials.add_lot(session, by, material=lens, label=label, count=3, sheet_width=wide, sheet_height=wide)

    shop.act(add)
    return shop


def _offers(shop, code):
    with shop.shop.database.reading() as session:
        return [
            (offer.material.name, [lot.label for lot in offer.lots], offer.looks)
            for offer in lenses.offers(session, lenses.use_of(job(session, code)))
        ]


def test_what_is_in_stock_is_ranked_for_the_job(fine):
    offered = {name: (lots, looks) for name, lots, looks in _offers(fine, fine.order())}
    assert set(offered) == {"20 LPI lens", "Fine"}
    # 300 dots per inch: 300 / (60 x 2) and 300 / (20 x 2)
    assert offered["Fine"][1].best_dots == pytest.approx(2.5)
    assert offered["20 LPI lens"][1].best_dots == pytest.approx(7.5)
    assert offered["Fine"][1].sheet_fits is True
    assert offered["20 LPI lens"][1].sheet_fits is None


def test_a_lot_that_is_used_up_or_set_aside_is_no_offer(fine):
    code = fine.order()
    fine.act(lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label="F-large"), now_there=0))
    name, lots, looks = next(one for one in _offers(fine, code) if one[0] == "Fine")
    assert (lots, looks.sheet_fits) == (["F-small"], False)
    fine.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label="F-small"), reason="bent")
    )
    assert name not in [name for name, *_ in _offers(fine, code)]


def test_a_printer_out_of_use_counts_no_dots(fine):
    code = fine.order()
    fine.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Printer"), reason="broken head"
        )
    )
    assert all(looks.best_dots is None for *_, looks in _offers(fine, code))


def _choose(shop, code, label, reason=""):
    shop.act(
        lambda session, by: lenses.choose_lens(
            session, by, job=job(session, code), lot=one(session, Lot, label=label), reasons=["a", "b"], reason=reason
        )
    )


def test_choice_and_reasons_are_kept_and_the_materials_follow(fine):
    code = fine.order()
    _choose(fine, code, "F-large", "the customer wants it fine")
    with fine.shop.database.reading() as session:
        chosen = lenses.choice_of(session, job(session, code))
        assert (chosen.lot.label, chosen.reason) == ("F-large", "the customer wants it fine")
        assert lenses.reasons_of(chosen) == ["a", "b"]
        made = jobs.materials_of(session, job(session, code))
        assert (made.lens_lot.label, made.paper_lot.label, made.adhesive_lot.label) == ("F-large", "P-1", "A-1")


def test_choosing_what_is_chosen_already_changes_no_materials(fine):
    code = fine.order()
    _choose(fine, code, "L-1")
    assert fine.read(lambda session: len(session.execute(select(JobMaterials)).all())) == 1


@pytest.mark.parametrize(("label", "said"), [("P-1", "no lens"), ("F-small", "set aside")])
def test_what_is_no_lens_or_in_doubt_is_refused_and_leaves_nothing(fine, label, said):
    code = fine.order()
    fine.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label="F-small"), reason="bent")
    )
    with pytest.raises(Refused, match=said):
        _choose(fine, code, label)
    assert fine.read(lambda session: session.execute(select(LensChoice)).first()) is None
