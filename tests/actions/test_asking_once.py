"""Lists ask the database a number of questions that does not grow with what they list."""

import pytest
from sqlalchemy import event

from logbook.actions import benchlist, materials, pitchfacts, trace
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from support.small_shop import one


@pytest.fixture
def ways(shop):
    """How SQLite goes about what a piece of work asks: one line for each table that it goes through."""
    told = []

    def explained(cursor, asked, values):
        told.extend(row[3] for row in cursor.execute(f"EXPLAIN QUERY PLAN {asked}", values).fetchall())

    def listen(_connection, cursor, asked, values, *_more):
        if asked.startswith("SELECT"):
            explained(cursor.connection.cursor(), asked, values)

    def ways_of(work):
        told.clear()
        event.listen(shop.shop.database.engine, "before_cursor_execute", listen)
        try:
            shop.read(work)
        finally:
            event.remove(shop.shop.database.engine, "before_cursor_execute", listen)
        return told

    return ways_of


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
    return [one.called for one in benchlist.by_stage(session)["print"]]


def test_the_bench_is_read_at_once(shop, questions):
    shop.ready()
    few = questions(_bench)
    for _ in range(3):
        shop.ready(quantity=2)
    assert questions(_bench) == few
    assert len(shop.read(_bench)) == 7


WORK_LISTS = {
    "bench": benchlist.by_stage,
    "today": lambda session: benchlist.standing(session, [1, 2]),
    "prints of a pitch": lambda session: trace.of_pitch(session, one(session, PitchOnRecord)),
    "prints of a lot": lambda session: trace.of_lot(session, one(session, Lot, label="A-1")),
}


@pytest.mark.parametrize("name", WORK_LISTS)
def test_no_list_walks_through_every_print(shop, ways, name):
    """Years of prints lie behind the few that a list shows (SQLite's EXPLAIN QUERY PLAN: SEARCH goes by an index)."""
    shop.ready()
    walks = [line for line in ways(WORK_LISTS[name]) if line.startswith("SCAN")]
    assert not [line for line in walks if line.split()[1] in ("print", "sheet", "run", "job", "step_record")], walks


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
