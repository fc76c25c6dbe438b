"""Several jobs on one sheet: who may share it, one run and sheet for all of them, every piece with its own trace."""

import json
from collections import Counter
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from PIL import Image

from logbook.actions import (
    erasing,
    jobs,
    leaving,
    numbers,
    outputs,
    pitch,
    pitchchoices,
    recipes,
    runs,
    sharing,
    sheets,
    trace,
    writtenoff,
)
from logbook.actions.sharing import Share, SheetWish
from logbook.background.compute import work_on
from logbook.engine.readback import read_provenance
from logbook.lengths import parse_length
from logbook.records.floor import Print, Run, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.refusals import Refused
from support.small_shop import described_printer, job, one, prints

SIDE = parse_length("300mm")


@pytest.fixture
def pair(shop):
    """Codes of two jobs that agree in everything that a sheet has once: two pieces of one, one of the other."""
    codes = [shop.order(quantity=2), shop.order(quantity=1, customer="Tallow Yard")]
    for code in codes:
        shop.approve(code)
        shop.choose_pitch(code)
    return codes


def _wish(session, shares, **more):
    asked = {"width": SIDE, "height": parse_length("250mm"), **more}
    return SheetWish(tuple(Share(job(session, code), copies) for code, copies in shares.items()), **asked)


def _reasons(session, by, wish):
    return {found.field: "it served before" for found in sharing.proposed(session, by, wish).findings}


def _ask(shop, shares, **more):
    def work(session, by):
        wish = _wish(session, shares, **more)
        return sharing.ask_for(
            session, by, SheetWish(**{**{name: getattr(wish, name) for name in wish.__slots__},
                                      "reasons": _reasons(session, by, wish)})
        ).id  # fmt: skip

    return shop.act(work)


def _made(shop, shares, *, count=1, **more):
    run_id = _ask(shop, shares, **more)
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=count))
    return run_id


def test_three_pieces_of_two_jobs_go_from_one_sheet_to_two_doors(shop, pair):
    run_id = _made(shop, {pair[0]: 2, pair[1]: 1})
    first, second = pair

    def stands(session):
        run = session.get_one(Run, run_id)
        boxes = [[int(dot) for dot in piece.trim_dots.split()] for piece in run.pieces]
        with Image.open(shop.shop.store.path(run.output.sha256)) as image:
            dots = np.asarray(image.convert("L"))
        return (
            [piece.job.number for piece in run.pieces],
            [(right - left, bottom - top) for left, top, right, bottom in boxes],
            [dots[top:bottom, left:right].std() > 10 for left, top, right, bottom in boxes],
            [(piece.serial, piece.sheet.number) for piece in one(session, Sheet).prints],
        )

    numbers, sizes, pictured, serials = shop.read(stands)
    assert numbers == ["26-0001-A", "26-0001-A", "26-0002-A"]
    assert sizes == [(827, 945)] * 3  # 70 × 80 mm at 300 dots per inch
    assert pictured == [True] * 3
    kept = shop.read(lambda session: session.get_one(Run, run_id).output.sha256)
    inside = read_provenance(shop.shop.store.path(kept))
    assert inside["jobs"].split(", ") == numbers  # whose each piece is, in the order of their boxes
    assert len(inside["pieces"]) == 3
    assert serials == [(name, "26-0001-A-S1") for name in ("26-0001-A1", "26-0001-A2", "26-0002-A1")]
    shop.mount(first)
    shop.sign(second, "trim")
    for code in pair:
        shop.inspect(code)
        shop.leave(code)
    assert shop.read(lambda session: [job(session, code).ended_at is not None for code in pair]) == [True, True]
    told = shop.read(lambda session: [trace.of_print(session, piece) for piece in prints(session, second)])
    assert [one["run"]["code"] for one in told] == shop.read(lambda session: [session.get_one(Run, run_id).code])


def test_the_sheet_is_one_run_of_both_jobs_and_no_more_of_it_is_started_than_they_lack(shop, pair):
    run_id = _ask(shop, {pair[0]: 1, pair[1]: 1})
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    assert shop.read(lambda session: sheets.sheets_lacking(session, session.get_one(Run, run_id))) == 2
    with pytest.raises(Refused, match="The jobs on it need 2 more of this sheet; at most 7"):
        shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=8))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=2))
    made = shop.read(lambda session: Counter(piece.job.number for piece in session.query(Print)))
    assert made == {"26-0001-A": 2, "26-0002-A": 2}


def _put_on_other_materials(shop, code, **changed):
    def work(session, by):
        choice = {
            "lens_lot": one(session, Lot, label="L-1"),
            "mode": one(session, Machine, name="Printer").modes[0],
            "paper": one(session, Material, name="paper"),
        } | {name: make(session, by) for name, make in changed.items()}
        jobs.choose_materials(session, by, job=job(session, code), choice=jobs.MaterialChoice(**choice))

    shop.act(work)


def _turned(shop, code):
    shop.act(lambda session, _: setattr(job(session, code), "flip", "up-down"))


def _farther(shop, code):
    shop.act(lambda session, _: setattr(job(session, code), "distance", parse_length("3m")))


def _other_printer(shop, code):
    _put_on_other_materials(shop, code, mode=lambda session, by: described_printer(session, by, "Second", dpi="300"))


def _measured_there(shop, code):
    """On another printer, and with a pitch that was found for it."""
    _other_printer(shop, code)

    def carry(session, by):
        chosen = jobs.materials_of(session, job(session, code))
        conditions = pitch.Conditions(
            lens_lot=chosen.lens_lot, mode=chosen.mode, paper=chosen.paper, axis="across", distance=parse_length("0.6m")
        )
        known = by.now - timedelta(days=30)
        found = pitch.carry_over(
            session, by, conditions=conditions, lpi=Decimal("20.06"), note="old notebook", known_since=known
        )
        asked = pitchchoices.findings_for(session, by, job=job(session, code), pitch=found)
        reasons = {one.field: "it served before" for one in asked}
        reason = "it served before"
        pitchchoices.choose(session, by, job=job(session, code), pitch=found, reason=reason, reasons=reasons)

    shop.act(carry)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_turned, "other way|upright"),
        (_farther, "Its pitch at its distance is"),
        (_other_printer, "found for printer mode Printer"),
        (_measured_there, "It has another printer mode"),
    ],
)
def test_who_cannot_share_is_told_why_and_refused(shop, pair, change, words):
    change(shop, pair[1])
    found = shop.act(lambda session, by: sharing.candidates(session, by, job=job(session, pair[0])))
    why_not = {one.job.code: one.why_not for one in found}
    assert why_not[pair[0]] == ""
    with pytest.raises(Refused) as refused:
        _ask(shop, {pair[0]: 1, pair[1]: 1})
    assert why_not[pair[1]] in refused.value.sentence
    if change is not _turned:  # another axis has no pitch here: that comes first
        assert words in why_not[pair[1]]


def test_what_finds_no_room_is_named_and_the_recipe_holds_what_lies_there(shop, pair):
    def look(session, by):
        made = sharing.proposed(session, by, _wish(session, {pair[0]: 4, pair[1]: 9}))
        told = recipes.load(made.recipe)
        return [(one.job.number, one.copies) for one in made.left_over], len(made.jobs), told

    left, laid, told = shop.act(look)
    assert left == [("26-0002-A", 7)]
    assert laid == len(told["pieces"]) == 3 * 2  # 84 mm with bleed and room: three in 300 mm, two in 228
    assert len(told["pictures"]) == 4
    assert told["waste"]["corners"] is False


@pytest.mark.parametrize(
    ("shares", "more", "words"),
    [
        ((0, 0), {}, "at least one"),
        ((150, 60), {}, "At most 200 pieces"),
        ((1, 0), {"height": parse_length("20mm")}, "smaller than its own check bars"),
        ((1, 0), {"height": parse_length("90mm")}, "Not one of the pieces fits"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(shop, pair, shares, more, words):
    with pytest.raises(Refused, match=words):
        _ask(shop, dict(zip(pair, shares, strict=True)), **more)


@pytest.mark.parametrize(("wide", "asks"), [("300mm", 0), ("301mm", 0), ("299mm", 1)])
def test_a_lens_sheet_of_just_the_size_that_is_laid_out_covers_it(shop, pair, wide, asks):
    """300 mm are 3543.3 dots at 300 to the inch: in whole dots the raster may be a dot larger than its lens."""

    def found(session, by):
        lot = one(session, Lot, label="L-1")
        lot.sheet_width, lot.sheet_height = parse_length(wide), parse_length("250mm")
        return [each.rule for each in sharing.proposed(session, by, _wish(session, {pair[0]: 2})).findings]

    assert shop.act(found).count("lens sheet") == asks


def test_going_on_without_a_customers_word_takes_a_reason_for_each_job(shop):
    codes = [shop.order(quantity=1), shop.order(quantity=1, customer="Tallow Yard")]
    for code in codes:
        shop.choose_pitch(code)
    rules = shop.act(
        lambda session, by: [
            found.rule for found in sharing.proposed(session, by, _wish(session, dict.fromkeys(codes, 1))).findings
        ]
    )
    assert [rule for rule in rules if rule.startswith("answer")] == ["answer: 26-0001-A", "answer: 26-0002-A"]


def test_one_piece_of_a_shared_sheet_is_made_anew_by_itself(shop, pair):
    _made(shop, {pair[0]: 2, pair[1]: 1})
    shop.mount(pair[0])
    lost = shop.read(lambda session: prints(session, pair[0])[0].code)

    def decide(session, by, kind):
        leaving.decide(session, by, piece=one(session, Print, code=lost), kind=kind, reason="a scratch")

    with pytest.raises(Refused, match="lay on a shared sheet"):
        shop.act(lambda session, by: decide(session, by, "replace"))
    shop.act(lambda session, by: decide(session, by, "scrap"))
    assert shop.read(lambda session: sheets.open_quantity(session, job(session, pair[0]))) == 1
    assert shop.read(lambda session: sheets.open_quantity(session, job(session, pair[1]))) == 0


def test_what_one_job_chooses_anew_is_asked_before_its_sheet_is_printed(shop, pair):
    _made(shop, {pair[0]: 2, pair[1]: 1})
    _put_on_other_materials(shop, pair[1], paper_lot=lambda session, _: one(session, Lot, label="P-1"))
    _other_printer(shop, pair[1])
    with pytest.raises(Refused, match="26-0002-A: Its printer mode is Printer"):
        shop.sign(pair[0], "print")


def test_erasing_one_jobs_pictures_takes_the_sheet_that_shows_them(shop, pair):
    run_id = _made(shop, {pair[0]: 2, pair[1]: 1})
    sha256 = shop.read(lambda session: session.get_one(Run, run_id).output.sha256)
    gone = shop.act(
        lambda session, by: erasing.forget_pictures(session, by, job=job(session, pair[1]), reason="asked for")
    )
    assert sha256 in gone

    def told(session):
        names = [picture["name"] for picture in json.loads(session.get_one(Run, run_id).recipe)["pictures"]]
        return names, outputs.label(session.get_one(Run, run_id))

    names, label = shop.read(told)
    assert [name == "erased" for name in names] == [False, False, True, True]
    assert label == "26-0001-A1_to_26-0002-A1"


def test_a_shared_sheet_costs_each_piece_its_area(shop, pair):
    """Of 70 × 80 mm twice and 35 × 80 mm once the areas are as 2, 2 and 1: two fifths, two fifths and one."""
    run_id = _made(shop, {pair[0]: 2, pair[1]: 1})

    def price(session, _by):
        job(session, pair[1]).width = parse_length("35mm")
        for label, amount in (("L-1", "7.00"), ("P-1", "1.00"), ("A-1", "2.00")):
            one(session, Lot, label=label).price = Decimal(amount)

    shop.act(price)
    shop.mount(pair[0])
    pieces = shop.read(lambda session: [row.id for row in session.get_one(Run, run_id).sheets[0].prints])
    costs = shop.read(lambda session: numbers.print_costs(session, pieces))
    assert [costs[one].amount for one in pieces] == [Decimal("4.00"), Decimal("4.00"), Decimal("2.00")]
    last = shop.read(lambda session: writtenoff.of(session, session.get_one(Print, pieces[-1])))
    assert last == {"paper": "0.20", "adhesive": "0.40", "lens": "1.40"}
