"""When it goes wrong: a whole sheet, the photograph of a defect, what is written off, a lot that is released."""

import json
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import leaving, materials, pictures, sheets, writtenoff
from logbook.records.audit import AuditEntry
from logbook.records.floor import Verdict
from logbook.records.materials import Lot
from logbook.refusals import Refused
from logbook.rules.stages import undoing
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one, prints

NOTHING_SAID = leaving.Defect()
PRICES = {"L-1": Decimal("9.00"), "P-1": Decimal("1.25"), "A-1": None}


def _spoil(shop, code, kind, *, place=0, defect=NOTHING_SAID):
    shop.act(
        lambda session, by: leaving.decide_sheet(
            session, by, sheet=prints(session, code)[place].sheet, kind=kind, reason="folded at entry", defect=defect
        )
    )


def _told(shop, code):
    def work(session):
        return [
            (piece.serial[-2:], piece.stage, piece.sheet.stage, piece.replaces.serial[-2:] if piece.replaces else "")
            for piece in prints(session, code)
        ]

    return shop.read(work)


def _open(shop, code):
    return shop.read(lambda session: sheets.open_quantity(session, job(session, code)))


def _newest(shop):
    entry = shop.read(lambda session: session.execute(select(AuditEntry).order_by(AuditEntry.id)).scalars().all()[-1])
    return entry.action, json.loads(entry.body)


def test_a_sheet_is_replaced_from_its_own_page_in_one_act(shop):
    code = shop.ready(quantity=2)
    _spoil(shop, code, "replace")
    assert _told(shop, code) == [
        ("A1", "scrapped", "scrapped", ""),
        ("A2", "on sheet", "print", ""),
        ("A3", "on sheet", "print", "A1"),
    ]
    assert _open(shop, code) == 0
    action, body = _newest(shop)
    assert action == "verdict: replace"
    assert sum(ref.startswith("sheet:") for ref in body["objects"]) == 2
    lost, new = shop.read(lambda session: (prints(session, code)[0].code, prints(session, code)[2].code))
    assert {f"print:{lost}", f"print:{new}"} <= set(body["objects"])
    assert shop.read(lambda s: leaving.replacement_of(s, prints(s, code)[0])).code == new


def test_a_sheet_that_is_scrapped_leaves_the_order_open_by_as_many(shop):
    code = shop.ready(quantity=2)
    _spoil(shop, code, "scrap")
    assert _open(shop, code) == 1


def test_the_material_is_written_off_at_the_price_of_its_lots_and_only_what_was_used_up(shop):
    def price(session, _by):
        for label, amount in PRICES.items():
            one(session, Lot, label=label).price = amount

    shop.act(price)
    code = shop.ready(quantity=2)
    _spoil(shop, code, "replace")
    assert _newest(shop)[1]["new"]["written off"] == {
        shop.read(lambda session: prints(session, code)[0].serial): "nothing was used up yet"
    }
    shop.mount(code)
    shop.inspect(code, "failed")
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[1], kind="replace", reason="bubble", cause="L3"
        )
    )
    verdict = shop.read(lambda session: session.execute(select(Verdict).order_by(Verdict.id)).scalars().all()[-1])
    assert json.loads(verdict.written_off) == {"paper": "1.25", "adhesive": None, "lens": "9.00"}
    assert writtenoff.told(verdict) == "print 1.25, adhesive (no price on record), lens 9.00"


def test_a_concession_writes_nothing_off(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="concession", reason="a speck"
        )
    )
    verdict = shop.read(lambda session: one(session, Verdict))
    assert writtenoff.told(verdict) == ""


def test_a_photograph_is_kept_with_what_was_wrong(shop):
    code = shop.ready()
    with PHOTOGRAPHS[0].open("rb") as stream, pictures.received(shop.shop.store, [("fold.jpg", stream)]) as taken:
        _spoil(shop, code, "scrap", defect=leaving.Defect("A1", taken[0], shop.shop.store))
    verdict = shop.read(lambda session: one(session, Verdict))
    assert verdict.cause == "A1"
    assert shop.shop.store.path(verdict.photo_sha256).read_bytes() == PHOTOGRAPHS[0].read_bytes()
    assert verdict.photo_sha256 in _newest(shop)[1]["files"]


@pytest.mark.parametrize("kind", ["concession", "rework", "melt"])
def test_a_whole_sheet_is_only_scrapped_or_replaced(shop, kind):
    code = shop.ready()
    with pytest.raises(Refused, match="scrapped or replaced") as refused:
        _spoil(shop, code, kind)
    assert refused.value.field == "kind"


def test_what_was_cut_apart_is_decided_piece_by_piece(shop):
    code = shop.ready()
    shop.mount(code)
    with pytest.raises(Refused, match="on the pages of its prints"):
        _spoil(shop, code, "scrap")


@pytest.mark.parametrize("stage", ["print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect", "pack"])
def test_every_stage_says_whether_it_can_be_undone(stage):
    bonded_or_gone = stage in ("adhesive", "laminate", "pack")
    assert ("cannot be undone" in undoing(stage)) == bonded_or_gone
    assert ("taken back within a minute" in undoing(stage)) != bonded_or_gone


# --- a lot that comes back


def _aside(shop, label="L-1", reason="yellowed; or so it seemed"):
    shop.act(
        lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label=label), reason=reason) and None
    )


def _release(shop, who="Olga", reason="seen in daylight: clear"):
    shop.act(
        lambda s, by: materials.release_lot(s, by, lot=one(s, Lot, label="L-1"), reason=reason) and None, who=who
    )


def test_a_released_lot_serves_again_and_lets_its_own_prints_go_on(shop):
    code = shop.ready(quantity=2)
    shop.sign(code, "print")
    _aside(shop)
    _aside(shop, "P-1", "damp")
    _release(shop)
    held = shop.read(lambda session: {piece.set_aside_reason for piece in prints(session, code)})
    assert held == {"lot P-1: damp"}
    assert shop.read(lambda session: one(session, Lot, label="L-1").set_aside_reason) is None
    action, body = _newest(shop)
    assert action == "lot released"
    assert sum(ref.startswith("print:") for ref in body["objects"]) == 2


def test_a_lot_set_aside_lists_what_has_left_too(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    _aside(shop)
    gone = shop.read(lambda session: prints(session, code)[0])
    assert f"print:{gone.code}" in _newest(shop)[1]["objects"]
    assert gone.set_aside_reason is None


def test_only_the_owner_releases_with_a_reason_and_only_what_is_set_aside(shop):
    with pytest.raises(Refused, match="not set aside"):
        _release(shop)
    _aside(shop)
    with pytest.raises(Refused, match="owner's decision"):
        _release(shop, who="Otto")
    with pytest.raises(Refused, match="why it may serve again"):
        _release(shop, reason=" ")
