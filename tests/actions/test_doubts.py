"""What is in doubt stays in doubt until the owner says otherwise, for every reason there is."""

import json

import pytest
from sqlalchemy import select

from logbook.actions import leaving, materials, pitch
from logbook.records.audit import AuditEntry
from logbook.records.materials import Lot
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.small_shop import one, prints


def _withdraw(session, by):
    pitch.withdraw(session, by, pitch=one(session, PitchOnRecord, origin="carried over"), reason="wrong paper")


def _damp(session, by):
    materials.set_lot_aside(session, by, lot=one(session, Lot, label="L-1"), reason="damp")


def _doubt(shop, code):
    return shop.read(lambda session: prints(session, code)[0].set_aside_reason)


def test_a_second_doubt_does_not_make_the_first_one_forgotten(shop):
    code = shop.ready()
    shop.act(_damp)
    shop.act(_withdraw)
    assert _doubt(shop, code) == "lot L-1: damp; its pitch was withdrawn: wrong paper"
    shop.act(_damp)
    assert _doubt(shop, code).count("damp") == 1
    paper = shop.traveller(code).view
    assert {column.aside for column in (*paper.sheets, *paper.pieces)} == {_doubt(shop, code)}


def test_a_concession_about_one_fault_settles_no_other(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    shop.act(_withdraw)

    def concede(session, by):
        leaving.decide(
            session, by, piece=prints(session, code)[0], kind="concession", reason="the scratch is behind the frame"
        )

    shop.act(concede)
    with pytest.raises(Refused, match="its pitch was withdrawn"):
        shop.leave(code)
    shop.act(
        lambda session, by: leaving.put_back(session, by, piece=prints(session, code)[0], reason="seen, it flips well")
    )
    shop.leave(code)


def test_a_decision_counts_though_the_clock_was_set_back(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    shop.wait(hours=-5)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="rework", reason="edge cleaned"
        )
    )
    shop.inspect(code, "failed")
    with pytest.raises(Refused, match="failed its inspection; decide first"):
        shop.inspect(code)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="rework", reason="edge cleaned again"
        )
    )
    shop.inspect(code)
    assert shop.read(lambda session: prints(session, code)[0].stage) == "pack"


def _settle(shop, code, lifted="", reason="looked again"):
    shop.act(
        lambda session, by: leaving.put_back(session, by, piece=prints(session, code)[0], reason=reason, lifted=lifted)
    )


def test_each_doubt_is_lifted_by_itself(shop):
    code = shop.ready()
    shop.act(_damp)
    shop.act(_withdraw)
    with pytest.raises(Refused, match="which of the reasons") as refused:
        _settle(shop, code)
    assert refused.value.field == "lifted"
    _settle(shop, code, "lot L-1: damp", "dried under weights")
    assert _doubt(shop, code) == "its pitch was withdrawn: wrong paper"
    with pytest.raises(Refused, match="not held for this reason any more"):
        _settle(shop, code, "lot L-1: damp")
    body = json.loads(
        shop.read(lambda session: session.execute(select(AuditEntry).order_by(AuditEntry.id)).scalars().all()[-1].body)
    )
    assert body["old"] == {"set aside": "lot L-1: damp"}
    assert body["new"] == {"still set aside": "its pitch was withdrawn: wrong paper"}
    _settle(shop, code)
    assert _doubt(shop, code) is None


def test_words_that_part_two_reasons_make_no_second_one(shop):
    code = shop.ready()
    shop.act(
        lambda session, by: materials.set_lot_aside(
            session, by, lot=one(session, Lot, label="L-1"), reason="damp; its edge is bent"
        )
    )
    assert _doubt(shop, code) == "lot L-1: damp, its edge is bent"
    _settle(shop, code)
    assert _doubt(shop, code) is None
