"""A wrong tap taken back: who, how long, what it undoes, and what it leaves on record."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import bench, benchrecords, leaving, materials, numbers, takingback
from logbook.records import audit, chain
from logbook.records.floor import StepRecord
from logbook.records.materials import Lot
from logbook.refusals import Refused
from support.small_shop import one, prints, standing


def _seq(shop):
    return shop.read(lambda session: audit.head(session).seq)


def _take_back(shop, *, seq=None, who="Olga", after=timedelta(seconds=20)):
    """Take the newest signature back so long after it was made."""
    seq = seq or _seq(shop)
    made = shop.read(lambda session: session.get_one(audit.AuditEntry, seq).at)
    shop.now = made + after - timedelta(minutes=1)  # the act itself takes a minute
    shop.act(lambda session, by: takingback.take_back(session, by, seq=seq) and None, who=who)


def _paper_left(shop):
    return shop.read(lambda session: materials.left(session, one(session, Lot, label="P-1")))


def _stages(shop, code):
    return shop.read(lambda session: [(piece.sheet.stage, piece.stage) for piece in prints(session, code)])


def _recorded(shop, code):
    def keys(session):
        piece = prints(session, code)[0]
        return [row.step_key for one in (piece.sheet, piece) for row in benchrecords.records_of(session, one)]

    return shop.read(keys)


def test_a_print_signed_by_mistake_waits_for_the_printer_again_and_its_paper_is_on_the_shelf(shop):
    code = shop.ready()
    before = _paper_left(shop), _stages(shop, code), _recorded(shop, code)
    shop.sign(code, "print")
    assert _paper_left(shop) == before[0] - 1
    _take_back(shop)
    assert (_paper_left(shop), _stages(shop, code), _recorded(shop, code)) == before
    shop.sign(code, "print")
    assert _paper_left(shop) == before[0] - 1


def test_the_paper_named_by_mistake_is_forgotten(shop):
    code = shop.ready()

    def other_paper(session, by):
        paper = one(session, Lot, label="P-1").material
        lot = materials.add_lot(session, by, material=paper, label="P-2", count=9)
        signature = bench.Signature(values={}, paper_lot=lot)
        bench.sign_stage(session, by, subjects=standing(session, code, "print"), stage="print", signature=signature)

    shop.act(other_paper)
    _take_back(shop)
    told = shop.read(lambda session: [piece.sheet.paper_lot.label for piece in prints(session, code)])
    assert told == ["P-1"]
    assert shop.read(lambda session: materials.left(session, one(session, Lot, label="P-2"))) == 9


def test_every_record_stays_and_the_correction_names_it(shop):
    code = shop.ready()
    shop.sign(code, "print")
    seq = _seq(shop)
    _take_back(shop)

    def rows(session):
        return list(session.execute(select(StepRecord).where(StepRecord.stage == "print")).scalars())

    def check(session):
        found = rows(session)
        corrections = {row.replaces_id for row in found if row.step_key == "print-taken-back"}
        assert corrections == {row.id for row in found if row.step_key != "print-taken-back"} != set()
        newest = audit.newest(session, before=None, count=1)[0]
        told = json.loads(newest.body)
        assert (newest.action, told["new"]["corrects"], told["reason"]) == ("signature taken back", seq, None)
        assert told["objects"] == json.loads(session.get_one(audit.AuditEntry, seq).body)["objects"]
        assert chain.first_bad(session) is None

    shop.read(check)


def test_several_sheets_signed_in_one_act_go_back_in_one(shop):
    code = shop.ready(quantity=3)
    shop.sign(code, "print")
    _take_back(shop)
    assert _stages(shop, code) == [("print", "on sheet")] * 3


def test_pieces_that_were_cut_apart_by_a_tap_lie_on_their_sheet_again(shop):
    code = shop.ready()
    shop.mount(code)  # the last of it: trimmed
    _take_back(shop)
    assert _stages(shop, code) == [("parted", "trim")]
    dwell = shop.read(
        lambda session: next(
            entry.id
            for entry in audit.newest(session, before=None, count=9)
            if json.loads(entry.body)["new"].get("stage") == "dwell"
        )
    )
    with pytest.raises(Refused, match="built on"):  # the trimming that was taken back touched it, too
        _take_back(shop, seq=dwell)


def test_the_rest_signed_too_early_goes_on(shop):
    code = shop.ready()
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.roll(code, "adhesive")
    shop.roll(code, "laminate")
    shop.sign(code, "dwell", reason="in a hurry")
    assert _stages(shop, code) == [("parted", "trim")]
    _take_back(shop)
    assert _stages(shop, code) == [("dwell", "on sheet")]


def test_a_failed_inspection_by_a_wrong_tap_needs_no_decision_and_counts_nowhere(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    _take_back(shop, who="Otto")
    shop.inspect(code)
    _take_back(shop, who="Otto")
    day = shop.now.date()
    span = numbers.Span(day, day)
    assert shop.read(lambda session: numbers.outcomes(session, span)) == []
    assert _stages(shop, code) == [("parted", "inspect")]
    shop.inspect(code)
    assert [one.good for one in shop.read(lambda session: numbers.outcomes(session, span))] == [True]


@pytest.mark.parametrize(
    ("who", "after", "words"),
    [
        ("Otto", timedelta(seconds=5), "Only Olga can take back"),
        ("Olga", timedelta(seconds=61), "More than a minute"),
        ("Olga", timedelta(seconds=-1), "More than a minute"),  # a clock set back proves nothing
    ],
)
def test_somebody_else_or_too_late_changes_nothing(shop, who, after, words):
    code = shop.ready()
    shop.sign(code, "print")
    before = _stages(shop, code), _seq(shop)
    with pytest.raises(Refused, match=words):
        _take_back(shop, who=who, after=after)
    assert (_stages(shop, code), _seq(shop)) == before


def test_what_was_signed_at_the_rollers_stands(shop):
    code = shop.ready()
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.roll(code, "adhesive")
    with pytest.raises(Refused, match="about safety, bonding"):
        _take_back(shop)


def test_a_stage_into_which_the_shop_put_a_safety_tick_stands(shop, monkeypatch):
    code = shop.ready()
    monkeypatch.setattr(takingback, "steps_of", lambda job: _with_safety(benchrecords.steps_of(job), "print"))
    shop.sign(code, "print")
    with pytest.raises(Refused, match="about safety, bonding"):
        _take_back(shop)


def _with_safety(steps, stage):
    told = steps.stage(stage)
    first = replace(told.steps[0], safety=True)
    marked = replace(told, steps=(first, *told.steps[1:]))
    return replace(steps, stages=tuple(marked if one.key == stage else one for one in steps.stages))


def test_what_left_the_house_stands(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    signed = shop.read(
        lambda session: next(
            entry.id for entry in audit.newest(session, before=None, count=9) if entry.action == "stage signed"
        )
    )
    with pytest.raises(Refused, match="or leaving stands"):
        _take_back(shop, seq=signed)


def test_a_lot_counted_since_keeps_its_count(shop):
    code = shop.ready()
    shop.sign(code, "print")
    seq = _seq(shop)
    shop.act(lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label="P-1"), now_there=7))
    with pytest.raises(Refused, match="built on"):
        _take_back(shop, seq=seq)


def test_a_decision_since_holds_the_inspection(shop):
    code = shop.ready()
    shop.mount(code)
    shop.sign(code, "inspect", values={"inspect-result": "failed"})
    seq = _seq(shop)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="rework", reason="edge cleaned"
        )
    )
    with pytest.raises(Refused, match="built on"):
        _take_back(shop, seq=seq)


def test_what_is_no_signature_is_not_taken_back(shop):
    for seq in (1, 10_000):
        with pytest.raises(Refused, match="no such signature"):
            shop.act(lambda session, by, seq=seq: takingback.take_back(session, by, seq=seq))


def test_only_what_may_be_taken_back_is_offered(shop):
    code = shop.ready()
    seen = []

    def look(who="Olga"):
        shop.now -= timedelta(minutes=1)
        tap = shop.act(lambda session, by: takingback.last_tap(session, by), who=who)
        seen.append(tap.stage if tap else None)

    look()
    shop.sign(code, "print")
    look()
    look("Otto")
    shop.wait(seconds=61)
    look()
    assert seen == [None, "print", None, None]
