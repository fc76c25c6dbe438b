"""Lists ask the database a number of questions that does not grow with what they list."""

import pytest
from sqlalchemy import event

from logbook.actions import bench, materials, pitchfacts
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from support.small_shop import one


@pytest.fixture
def questions(shop):
    """Counts what a piece of work asks."""
    asked = []
    event.listen(shop.shop.database.engine, "before_cursor_execute", lambda *words: asked.append(words[2]))

    def count(work):
        asked.clear()
        shop.read(work)
        return len(asked)

    return count


def _bench(session):
    return [[piece.serial for piece in sheet.prints] for sheet in bench.standing(session)["print"]]


def test_the_bench_is_read_at_once(shop, questions):
    shop.ready()
    few = questions(_bench)
    for _ in range(3):
        shop.ready(quantity=2)
    assert questions(_bench) == few
    assert len(shop.read(_bench)) == 7


def test_what_is_left_of_every_lot_is_one_question(shop, questions):
    for number in range(5):
        shop.act(
            lambda session, by, number=number: materials.add_lot(
                session, by, material=one(session, Material, name="film"), label=f"A-{number + 2}", count=number or None
            )
        )
    lots = shop.read(lambda session: {one(session, Lot, label=name).id: None for name in ("A-1", "A-2", "A-3")})
    known = shop.read(materials.all_left)
    assert [known.get(lot) for lot in lots] == [50, None, 1]
    assert questions(materials.all_left) <= 2  # BEGIN is one


def test_prints_without_a_strip_are_not_asked_about_one(shop, questions):
    def confirmed(session):
        return pitchfacts._confirmed(session, one(session, PitchOnRecord, origin="carried over"))

    shop.ready()
    few = questions(confirmed)
    shop.ready(quantity=3)
    assert questions(confirmed) == few
