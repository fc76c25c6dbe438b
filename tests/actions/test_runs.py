"""Runs and sheets: what a run copies, what is refused when it is asked for, what makes no sheets any more."""

import hashlib
import json
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import bench, jobs, leaving, machines, materials, pitch, recipes, runs, sheets, sheetsizes
from logbook.background.compute import work_on
from logbook.engine.readback import read_provenance
from logbook.lengths import parse_length
from logbook.records import audit
from logbook.records.floor import Run, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one, prints

pytestmark = pytest.mark.both_databases


def _ask(shop, code, **wish):
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=runs.RunWish(**wish)).id)


def _withdraw(shop, reason="wrong paper"):
    shop.act(
        lambda session, by: pitch.withdraw(
            session, by, pitch=one(session, PitchOnRecord, origin="carried over"), reason=reason
        )
    )


def _set_aside(shop, label):
    shop.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label=label), reason="damp")
    )


def _count(shop, table):
    return shop.read(lambda session: len(session.execute(select(table.id)).all()))


def test_the_gates_are_met_in_any_order_and_each_is_asked_for(shop):
    code = shop.order(customer="")
    with pytest.raises(Refused, match="Choose a pitch first"):
        _ask(shop, code)
    shop.choose_pitch(code)
    assert _ask(shop, code), "a piece of the shop's own needs nobody's answer"


def test_an_answer_that_is_missing_may_be_done_without_for_a_reason_that_is_kept(shop):
    code = shop.order()
    shop.choose_pitch(code)
    with pytest.raises(Refused, match="has not approved"):
        _ask(shop, code)
    _ask(shop, code, reason="agreed on the telephone")
    assert shop.read(lambda session: audit.newest(session, before=None, count=1)[0].reason) == "agreed on the telephone"


@pytest.mark.parametrize(
    ("widths", "asks"),
    [({"Rollers": "50mm"}, True), ({"Rollers": "2in"}, True), ({"Rollers": "50mm", "Wide": "500mm"}, False),
     ({"Rollers": "50mm", "Wide": None}, False), ({"Rollers": "500mm"}, False)],
)  # fmt: skip
def test_a_sheet_wider_than_every_rollers_asks_before_it_is_interlaced(shop, widths, asks):
    """What nobody wrote down is not judged; no laminator of a shop counts that is out of use."""
    code = shop.ready()

    def write_down(session, by):
        machines.add_machine(session, by, kind="laminator", name="Wide", drive="hand")
        for name in ("Rollers", "Wide"):
            row = one(session, Machine, name=name)
            row.out_of_use_reason = None if name in widths else "sold"
            given = widths.get(name)
            machines.set_widest(session, by, machine=row, widest=parse_length(given) if given else None)

    shop.act(write_down)
    found = shop.act(lambda session, by: runs.asks_before(session, by, job=job(session, code), wish=runs.RunWish()))
    told = [one.sentence for one in found if one.rule == "roller width"]
    assert bool(told) == asks
    assert all(f"the widest rollers, Rollers, take {parse_length(widths['Rollers'])}" in one for one in told)
    sheet = shop.read(lambda session: sheetsizes.at_rollers(one(session, Machine, name="Rollers"),
                                                            prints(session, code)[0].sheet))  # fmt: skip
    assert [one.strength.word for one in sheet] == (["note"] if widths["Rollers"] != "500mm" else [])


@pytest.mark.parametrize(
    ("sheet", "asks"),
    [(("60mm", "400mm"), True), (("70mm", "80mm"), True), (("200mm", "300mm"), False), (("300mm", "200mm"), False),
     ((None, None), False)],
)  # fmt: skip
def test_a_file_larger_than_the_paper_asks_before_it_is_interlaced(shop, sheet, asks):
    """The print of 70 × 80 mm has marks around it; a sheet may be turned; a roll has no size."""
    code = shop.ready()

    def write_down(session, _by):
        for lot in session.execute(select(Lot).join(Lot.material).where(Material.kind == "paper")).scalars():
            lot.sheet_width, lot.sheet_height = (parse_length(side) if side else None for side in sheet)

    shop.act(write_down)
    found = shop.act(lambda session, by: runs.asks_before(session, by, job=job(session, code), wish=runs.RunWish()))
    assert bool([one for one in found if one.rule == "paper sheet"]) == asks


@pytest.mark.parametrize(("flip", "across"), [("left-right", 0), ("up-down", 1)])
def test_the_leading_edge_lies_across_the_rollers(shop, flip, across):
    """Top edge first for left-right, left edge first for up-down: the shop's own default, no source."""
    code = shop.ready()

    def at(session, widest):
        sheet = prints(session, code)[0].sheet
        made = {**json.loads(sheet.run.recipe), "flip": flip}
        sheet.run.recipe = json.dumps(made)
        inches = recipes.plan_of(made).inches
        machine = one(session, Machine, name="Rollers")
        machine.widest = parse_length(f"{float(inches[across]) + widest:.3f}in")
        told = [found.rule for found in sheetsizes.at_rollers(machine, sheet)]
        session.rollback()
        return told

    assert shop.act(lambda session, _by: at(session, 0.01)) == []
    assert shop.act(lambda session, _by: at(session, -0.01)) == ["roller width"]


def test_two_things_that_ask_take_two_reasons_and_none_serves_both(shop):
    code = shop.order()
    shop.choose_pitch(code)

    def narrow(session, _by):
        one(session, Machine, name="Printer").widest = parse_length("50mm")

    shop.act(narrow)
    wish = runs.RunWish()
    asked = shop.act(lambda session, by: runs.asks_before(session, by, job=job(session, code), wish=wish))
    assert [found.rule for found in asked] == ["answer", "printer width"]
    for reasons in ({}, {"reason-answer": "telephone"}, {"reason-printer-width": "on a roll"}):
        with pytest.raises(Refused, match="Give a reason"):
            _ask(shop, code, reason="one for all", reasons=reasons)
    _ask(shop, code, reasons={"reason-answer": "telephone", "reason-printer-width": "on a roll"})
    kept = shop.read(lambda session: audit.newest(session, before=None, count=1)[0].reason)
    assert kept == "answer: telephone; printer width: on a roll"


def test_more_pictures_than_dots_under_a_lens_are_refused_at_asking_and_leave_no_run(shop):
    # 300 dots per inch hold 14 whole strips of one dot at 20 to 21 lines per inch, not 16: 300 / 20.07 = 14.9
    code = shop.order(customer="", files=[*PHOTOGRAPHS] * 8)
    shop.choose_pitch(code)
    with pytest.raises(Refused, match="dot"):
        _ask(shop, code)
    assert _count(shop, Run) == 0


def test_the_recipe_holds_every_number_and_a_withdrawn_pitch_rewrites_nothing(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = _ask(shop, code)
    before = shop.read(lambda session: (session.get_one(Run, run_id).recipe, session.get_one(Run, run_id).lpi))
    recipe = json.loads(before[0])
    hashes = [hashlib.sha256(path.read_bytes()).hexdigest() for path in PHOTOGRAPHS]
    assert [picture["sha256"] for picture in recipe["pictures"]] == hashes
    assert recipe["dpi"] == ["300", "300"]
    assert (recipe["width"], recipe["height"], recipe["bleed"]) == ("70mm", "80mm", "5mm")
    assert recipe["flip"] == "left-right"
    assert Decimal(recipe["lpi"]) == before[1]
    _withdraw(shop)
    work_on(shop.shop, run_id)
    run = shop.read(lambda session: session.get_one(Run, run_id))
    assert (run.recipe, run.lpi, run.state) == (*before, "done")
    told = shop.read(lambda session: read_provenance(shop.shop.store.path(session.get_one(Run, run_id).output.sha256)))
    assert told["run"] == run.code


def test_a_withdrawn_pitch_stops_the_next_run_of_a_job_that_had_chosen_it(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    _withdraw(shop)
    with pytest.raises(Refused, match="This pitch was withdrawn: wrong paper"):
        _ask(shop, code, reason="in a hurry")


@pytest.mark.parametrize("reason", ["wrong paper", "wrong paper."])
def test_a_run_at_a_withdrawn_pitch_makes_no_more_sheets(shop, reason):
    code = shop.ready()
    run_id = shop.read(lambda session: one(session, Run).id)
    _withdraw(shop, reason)
    with pytest.raises(Refused, match=r"was withdrawn: wrong paper\. Start another run\.$"):
        shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))
    with pytest.raises(Refused, match=r"was withdrawn: wrong paper"):
        shop.act(
            lambda session, by: leaving.decide(
                session, by, piece=prints(session, code)[0], kind="replace", reason="scratched"
            )
        )
    assert _count(shop, Sheet) == 1
    assert shop.read(lambda session: [piece.stage for piece in prints(session, code)]) == ["on sheet"]


@pytest.mark.parametrize("label", ["L-1", "P-1", "A-1"])
def test_a_lot_in_doubt_makes_neither_runs_nor_sheets(shop, label):
    shop.ready()
    waiting = shop.order(customer="")
    shop.choose_pitch(waiting)
    run_id = shop.read(lambda session: one(session, Run).id)
    _set_aside(shop, label)
    with pytest.raises(Refused, match=f"Lot {label} was set aside: damp"):
        _ask(shop, waiting)
    with pytest.raises(Refused, match=f"Lot {label} was set aside: damp"):
        shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))


def test_a_lot_in_doubt_is_not_printed_on_either(shop):
    code = shop.ready()
    shop.act(
        lambda session, by: materials.add_lot(session, by, material=one(session, Material, name="paper"), label="P-2")
    )
    _set_aside(shop, "P-2")
    with pytest.raises(Refused, match="Lot P-2 was set aside"):
        shop.act(
            lambda session, by: bench.sign_stage(
                session,
                by,
                subjects=[prints(session, code)[0].sheet],
                stage="print",
                signature=bench.Signature(values={}, paper_lot=one(session, Lot, label="P-2")),
            )
        )


def test_sheets_start_only_from_a_file_that_somebody_accepted(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = _ask(shop, code)
    with pytest.raises(Refused, match="Only a finished run"):
        shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    work_on(shop.shop, run_id)

    def start(count):
        return lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=count)

    with pytest.raises(Refused, match="accept it first"):
        shop.act(start(1))
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    with pytest.raises(Refused, match="accepted already"):
        shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    with pytest.raises(Refused, match="at least one"):
        shop.act(start(0))
    lacking = shop.read(lambda session: session.get_one(Run, run_id).pieces[0].job.quantity)
    with pytest.raises(Refused, match=f"lacks {lacking} pieces?; at most {lacking + 5} sheets at once") as refused:
        shop.act(start(lacking + 6))
    assert refused.value.field == "count"
    shop.act(start(2))
    assert _count(shop, Sheet) == 2


def test_a_run_that_ended_is_neither_stopped_nor_started_again_when_it_went_well(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = _ask(shop, code)
    work_on(shop.shop, run_id)
    with pytest.raises(Refused, match="has ended already"):
        shop.act(lambda session, by: runs.cancel(session, by, run=session.get_one(Run, run_id)))
    with pytest.raises(Refused, match="Only a run that failed"):
        shop.act(lambda session, by: runs.again(session, by, run=session.get_one(Run, run_id)))


def test_half_done_work_enters_with_at_least_one_sheet_and_a_real_stage(shop):
    code = shop.order()
    for count, stage in ((0, "dwell"), (-1, "dwell"), (1, "gone"), (1, "parted"), (1, "moon")):
        with pytest.raises(Refused):
            shop.act(
                lambda session, by, count=count, stage=stage: sheets.enter_midway(
                    session, by, job=job(session, code), stage=stage, count=count
                )
            )
    assert _count(shop, Sheet) == 0
    assert shop.read(lambda session: jobs.materials_of(session, job(session, code))) is not None
