"""Pictures laid over each other: kept, used by file and proof, asked about anew, taken over by a reorder."""

from fractions import Fraction

import pytest
from sqlalchemy import select

from logbook.actions import alignment, heirlooms, jobs, machines, pictureneeds, pictures, proofs, recipes, reorders
from logbook.records.floor import Run
from logbook.records.machines import Machine
from logbook.records.orders import PictureShift
from logbook.refusals import Refused
from support.small_shop import job, one


def _mode(session):
    return one(session, Machine, name="Printer").modes[0]


def _move(shop, code, dx, dy, *, picture=1):
    shop.act(
        lambda session, by: (
            alignment.move(
                session, by, picture=pictures.current(job(session, code))[picture], mode=_mode(session), dx=dx, dy=dy
            )
            and None
        )
    )


def _picture(session, code, number=1):
    return pictures.current(job(session, code))[number]


def test_the_newest_move_counts_and_the_older_ones_stay(shop):
    code = shop.order()
    _move(shop, code, 12, -5)
    _move(shop, code, 30, 15)
    with shop.shop.database.reading() as session:
        moved = _picture(session, code)
        assert len(moved.shifts) == 2
        # 300 dots per inch: 30 dots are a tenth of an inch, 2.54 mm
        assert alignment.shift_in(moved) == (Fraction(1, 10), Fraction(1, 20))
        assert alignment.shift_mm(moved) == (Fraction(254, 100), Fraction(127, 100))
        assert alignment.shift_dots(moved, _mode(session)) == (30, 15)
        assert not alignment.is_moved(_picture(session, code, 0))


def test_another_mode_has_other_dots_and_the_same_place(shop):
    code = shop.order()
    _move(shop, code, 10, 3)
    shop.act(
        lambda session, by: machines.add_mode(session, by, machine=one(session, Machine, name="Printer"), dpi="720x100")
    )
    with shop.shop.database.reading() as session:
        other = one(session, Machine, name="Printer").modes[1]
        assert alignment.shift_dots(_picture(session, code), other) == (24, 1)


def test_the_interlaced_file_is_made_with_it(shop):
    code = shop.order()
    shop.approve(code)
    shop.choose_pitch(code)
    shop.run(code, sample=True)
    _move(shop, code, 6, 0)
    shop.run(code, sample=True)
    with shop.shop.database.reading() as session:
        first, second = session.execute(select(Run).order_by(Run.id)).scalars()
        made = recipes.load(second.recipe)
        assert "shift" not in recipes.load(first.recipe)["pictures"][1]
        assert made["pictures"][1]["shift"] == ["6", "0"]
        assert recipes.plan_of(made).shifts == ((0, 0), (6, 0))
        assert first.pixels_sha256 != second.pixels_sha256


def test_the_customer_is_asked_anew_when_a_picture_was_moved_after_the_proof(shop):
    code = shop.order()
    shop.approve(code)
    before = shop.read(lambda session: job(session, code).proofs[-1].animation.sha256)
    _move(shop, code, 40, 0)
    assert not shop.read(lambda session: proofs.is_current(job(session, code).proofs[-1]))
    draft = shop.read(lambda session: proofs.drawing(shop.shop.store, job(session, code))())
    assert draft.animation[0] != before
    _move(shop, code, 0, 0)
    assert shop.read(lambda session: proofs.is_current(job(session, code).proofs[-1]))


def test_a_reorder_takes_it_over(shop):
    code = shop.ready(customer="")
    _move(shop, code, 8, 2)
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    shelves = heirlooms.Shelves(shop.shop.store, shop.shop.settings.own_safety_path)
    new = shop.act(
        lambda session, by: reorders.order_again(session, by, shelves, jobs=[job(session, code)]).jobs[0].code
    )
    with shop.shop.database.reading() as session:
        assert alignment.shift_dots(_picture(session, new), _mode(session)) == (8, 2)
        assert not alignment.is_moved(_picture(session, new, 0))


@pytest.mark.parametrize(("dx", "dy", "field"), [(20_001, 0, "dx"), (0, -20_001, "dy")])
def test_a_move_beyond_every_print_is_refused_and_leaves_nothing(shop, dx, dy, field):
    code = shop.order()
    with pytest.raises(Refused) as refused:
        _move(shop, code, dx, dy)
    assert refused.value.field == field
    assert shop.read(lambda session: session.execute(select(PictureShift)).first()) is None


def test_a_picture_that_was_replaced_is_not_moved(shop):
    code = shop.order()
    gone = shop.read(lambda session: _picture(session, code).code)
    shop.act(lambda session, by: pictures.remove_picture(session, by, picture=_picture(session, code)))

    def move(session, by):
        from logbook.records.orders import Picture

        alignment.move(session, by, picture=one(session, Picture, code=gone), mode=_mode(session), dx=1, dy=1)

    with pytest.raises(Refused, match="replaced already"):
        shop.act(move)


def test_white_edges_are_told_as_soon_as_the_bleed_no_longer_covers_the_move(shop):
    code = shop.order()

    def bare(dx, dy):
        with shop.shop.database.reading() as session:
            found = job(session, code)
            chosen = jobs.materials_of(session, found)
            return pictureneeds.bare_edges(_picture(session, code), chosen, (Fraction(dx), Fraction(dy)))

    # 640 x 427 cut to 80 x 90 mm: much is hidden beside, nothing above; 5 mm bleed are 59 dots of 300 an inch
    assert bare(0, 59) == {}
    assert bare(0, 61) == pytest.approx({"top": 2 * 25.4 / 300})
    assert bare(0, -71) == pytest.approx({"bottom": 12 * 25.4 / 300})
    assert bare(61, 0) == {}
