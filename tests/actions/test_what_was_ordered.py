"""What counts as delivered, and of which materials it may be made."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import bench, jobs, leaving, materials, numbers, runs, sheets, takingoff
from logbook.records.floor import Print, Run
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.refusals import Refused
from support.small_shop import job, one, standing


def _leave(shop, code, how):
    shop.wait(hours=80)

    def go(session, by):
        piece = standing(session, code, "pack")[0]
        leaving.leave(session, by, piece=piece, way=leaving.WayOut(how=how, on=by.day), values={})

    shop.act(go)


def _open(shop, code):
    return shop.read(
        lambda session: (sheets.open_quantity(session, job(session, code)), job(session, code).ended_at is not None)
    )


def test_a_piece_that_stays_in_the_shop_is_still_owed_to_the_customer(shop):
    code = shop.ready(quantity=2)
    shop.mount(code)
    shop.inspect(code)
    _leave(shop, code, "collected")
    _leave(shop, code, "kept")
    assert _open(shop, code) == (1, False)
    shop.act(
        lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=1)
    )
    assert _open(shop, code) == (0, False)
    shop.mount(code)
    shop.inspect(code)
    _leave(shop, code, "sent")
    assert _open(shop, code) == (0, True)


def test_what_the_shop_made_for_itself_is_done_when_it_stays(shop):
    code = shop.ready(customer="")
    shop.mount(code)
    shop.inspect(code)
    _leave(shop, code, "kept")
    assert _open(shop, code) == (0, True)
    assert shop.read(lambda session: job(session, code).order.closed_at) is not None


# --- the right materials


@pytest.fixture
def other(shop):
    """Another paper with a lot of its own."""

    def add(session, by):
        paper = materials.add_material(session, by, kind="paper", name="rag")
        materials.add_lot(session, by, material=paper, label="R-1", count=20)

    shop.act(add)


def _choose(shop, code, **labels):
    def choose(session, by):
        lots = {"lens_lot": "L-1", "paper_lot": "P-1", "adhesive_lot": "A-1", **labels}
        paper = one(session, Material, name=lots.pop("paper", "paper"))
        chosen = {name: one(session, Lot, label=label) for name, label in lots.items()}
        mode = one(session, Machine, name="Printer").modes[0]
        choice = jobs.MaterialChoice(mode=mode, paper=paper, **chosen)
        jobs.choose_materials(session, by, job=job(session, code), choice=choice)

    shop.act(choose)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"lens_lot": "P-1"}, "no lens"),
        ({"adhesive_lot": "L-1"}, "no adhesive"),
        ({"paper": "film"}, "film is no paper"),
        ({"paper_lot": "R-1"}, "Lot R-1 is rag, not paper"),
    ],
)
@pytest.mark.usefixtures("other")
def test_a_lot_is_of_the_kind_it_is_chosen_for(shop, wrong, words):
    code = shop.order()
    with pytest.raises(Refused, match=words):
        _choose(shop, code, **wrong)


def _printed_on(shop, code, label):
    def sign(session, by):
        signature = bench.Signature(values={}, paper_lot=one(session, Lot, label=label))
        bench.sign_stage(
            session, by, subjects=standing(session, code, "print"), stage="print", signature=signature
        )

    shop.act(sign)


@pytest.mark.usefixtures("other")
def test_a_file_is_printed_on_the_paper_it_was_made_for(shop):
    code = shop.ready()
    for label, words in (("R-1", "interlaced for paper"), ("A-1", "no paper")):
        with pytest.raises(Refused, match=words):
            _printed_on(shop, code, label)
    shop.act(
        lambda session, by: materials.add_lot(
            session, by, material=one(session, Material, name="paper"), label="P-2", count=9
        )
    )
    _printed_on(shop, code, "P-2")

    def left(label):
        return shop.read(lambda session: materials.left(session, one(session, Lot, label=label)))

    assert (left("P-1"), left("P-2"), left("R-1")) == (50, 8, 20)


@pytest.mark.usefixtures("other")
def test_a_sheet_of_a_run_does_not_take_a_paper_that_was_chosen_afterwards(shop):
    code = shop.ready()
    _choose(shop, code, paper="rag", paper_lot="R-1")
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=1, reason="one more"))
    lots = shop.read(
        lambda session: [
            piece.sheet.paper_lot.label if piece.sheet.paper_lot else None
            for piece in session.execute(select(Print).order_by(Print.id)).scalars()
        ]
    )
    assert lots == ["P-1", None]


def test_a_wait_that_the_makers_sheets_say_is_none_is_none(shop):
    code = shop.ready()
    shop.act(lambda session, _by: setattr(one(session, Material, name="paper"), "dry_hours", 0))
    shop.act(lambda session, _by: setattr(one(session, Machine, name="Printer"), "dry_hours", 0))
    shop.sign(code, "print")
    shop.sign(code, "dry")


@pytest.mark.usefixtures("other")
def test_a_run_is_asked_for_only_while_its_pitch_fits_what_was_chosen(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    _choose(shop, code, paper="rag", paper_lot="R-1")
    with pytest.raises(Refused, match="It was found for paper paper; this job uses rag"):
        shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)))


# --- sheets that were started and are not wanted


def test_unprinted_sheets_go_off_the_bench_and_nothing_counts_as_lost(shop):
    code = shop.ready(quantity=2)
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=3))
    assert _open(shop, code) == (0, False)
    with pytest.raises(Refused, match="5 sheets wait to be printed"):
        shop.act(lambda session, by: takingoff.take_off(session, by, run=one(session, Run), count=6))
    gone = shop.act(
        lambda session, by: [
            sheet.number for sheet in takingoff.take_off(session, by, run=one(session, Run), count=3)
        ]
    )
    assert [number.rpartition("-")[2] for number in gone] == ["S3", "S4", "S5"]
    assert _open(shop, code) == (0, False)
    days = numbers.Span(shop.now.date() - timedelta(days=1), shop.now.date() + timedelta(days=1))
    assert shop.read(lambda session: numbers.outcomes(session, days)) == []


def test_a_printed_sheet_is_not_taken_off(shop):
    code = shop.ready(quantity=1)
    shop.mount(code)
    with pytest.raises(Refused, match="No sheet of this run waits"):
        shop.act(lambda session, by: takingoff.take_off(session, by, run=one(session, Run), count=1))
