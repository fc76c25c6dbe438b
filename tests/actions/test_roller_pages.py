"""Pages of the rollers taken over from paper: the stops of the screen, judged by the paper's own time."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import atrollers, benchrecords, machines, materials, onpaper, pictures, rollerpages
from logbook.records.floor import StepRecord
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import one, prints, standing


@pytest.fixture
def printed(shop):
    """A job of two sheets before the adhesive, and a machine that was checked this morning."""
    code = shop.ready(quantity=2)
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.check_machine()
    shop.wait(minutes=30)
    return code


def _take(shop, code, *, who="Otto", place=0, minutes=20, page=None, **changes):
    """Take over a page: read and ticked so many minutes ago, signed five later; returns the session's id."""

    def work(session, by):
        person, machine = one(session, Person, name=who), one(session, Machine, name="Rollers")
        read = by.now - timedelta(minutes=minutes)
        sheet = standing(session, code, "adhesive")[place]
        steps = benchrecords.stage_definition(sheet).steps
        safety = [step.key for step in steps if step.safety and step.record == "tick"]
        ticks = {key: rollerpages.Tick(person, read - timedelta(minutes=1)) for key in safety}
        said = {"machine": machine, "read_at": read, "alone_with": "Jon calls at noon", "ticks": ticks}
        told = {name: value(session, by) if callable(value) else value for name, value in changes.items()}
        set_up = rollerpages.SetUp(**said | told)
        signed = onpaper.Page(person, read + timedelta(minutes=5), taken[0], shop.shop.store)
        signed = replace(signed, **(page(by) if page else {}))
        return rollerpages.take_over(session, by, sheet=sheet, page=signed, set_up=set_up).id

    with PHOTOGRAPHS[0].open("rb") as stream, pictures.received(shop.shop.store, [("page.jpg", stream)]) as taken:
        return shop.act(work)


def test_a_page_moves_its_sheet_on_and_nobody_rolls_on_under_its_ticks(shop, printed):
    number = _take(shop, printed)
    assert shop.read(lambda session: [sheet.stage for sheet in standing(session, printed, "laminate")]) == ["laminate"]
    session = shop.read(lambda session: session.get_one(RollerSession, number))
    assert session.ended_at == session.last_used_at

    def covers(session, by):
        return atrollers.open_session(session, by, machine=one(session, Machine, name="Rollers"), helper=None)

    assert shop.act(covers, who="Otto") is None


def test_a_page_names_the_adhesive_though_it_is_in_doubt_by_now(shop, printed):
    shop.act(lambda s, by: materials.add_lot(s, by, material=one(s, Lot, label="A-1").material, label="A-2").id)
    shop.act(lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label="A-2"), reason="lumpy") and None)
    _take(shop, printed, adhesive_lot=lambda session, _by: one(session, Lot, label="A-2"))
    piece = shop.read(lambda session: prints(session, printed)[0])
    assert (piece.sheet.adhesive_lot.label, piece.set_aside_reason) == ("A-2", "lot A-2: lumpy")


def test_a_second_sheet_points_to_the_session_that_covered_it(shop, printed):
    number = _take(shop, printed)
    again = _take(
        shop, printed, minutes=10, ticks={}, covered_by=lambda session, _by: session.get_one(RollerSession, number)
    )
    assert again == number

    def rows(session):
        wanted = select(StepRecord).where(StepRecord.step_key == "adhesive-before")
        return [row.roller_session_id for row in session.execute(wanted).scalars()]

    assert shop.read(rows) == [number, number]


@pytest.mark.parametrize("who", ["Olga", "Otto"])
def test_another_person_or_half_an_hour_away_needs_ticks_of_their_own(shop, printed, who):
    number = _take(shop, printed)
    if who == "Otto":
        shop.wait(minutes=60)
    with pytest.raises(Refused, match="does not cover this sheet") as refused:
        _take(
            shop,
            printed,
            who=who,
            minutes=10,
            ticks={},
            covered_by=lambda session, _by: session.get_one(RollerSession, number),
        )
    assert refused.value.field == "covered_by"


def test_a_safety_tick_that_is_not_there_cannot_be_entered(shop, printed):
    with pytest.raises(Refused, match="Not ticked yet"):
        _take(shop, printed, ticks={})


def _tick(name, later):
    def made(session, by):
        person = one(session, Person, name=name)
        at = by.now - timedelta(minutes=20) + timedelta(minutes=later)
        keys = ("adhesive-check", "adhesive-body", "adhesive-words")
        return {key: rollerpages.Tick(person, at) for key in keys}

    return made


@pytest.mark.parametrize(
    ("name", "later", "words"),
    [("Olga", -1, "did not take part"), ("Otto", 2, "before the rollers move"), ("Otto", -60 * 12, "on the same day")],
)
def test_a_tick_is_of_those_at_the_rollers_that_day_and_before_they_move(shop, printed, name, later, words):
    with pytest.raises(Refused, match=f"{words}|cannot be earlier"):
        _take(shop, printed, ticks=_tick(name, later))


def test_who_worked_alone_says_who_was_to_call(shop, printed):
    with pytest.raises(Refused, match="who was to call") as refused:
        _take(shop, printed, alone_with=" ")
    assert refused.value.field == "alone_with"


def test_the_check_must_have_been_signed_before_the_rollers_moved(shop, printed):
    def later(session, by):
        one(session, Machine, name="Rollers").checks[-1].at = by.now - timedelta(minutes=5)

    shop.act(later)
    with pytest.raises(Refused, match="machine check has not been signed"):
        _take(shop, printed)


def test_an_authorisation_that_came_later_does_not_count(shop, printed):
    shop.act(lambda session, by: setattr(_given(session), "given_at", by.now - timedelta(minutes=5)))
    with pytest.raises(Refused, match="Otto was not authorised for Rollers at that time; the owner named them on"):
        _take(shop, printed)


def _given(session):
    rollers, otto = one(session, Machine, name="Rollers"), one(session, Person, name="Otto")
    return machines.standing(session, rollers, otto)[0]


@pytest.mark.parametrize(
    ("when", "words"),
    [(lambda by: by.now + timedelta(minutes=1), "has not come"), (lambda by: by.now - timedelta(days=9), "earlier")],
)
def test_a_time_that_cannot_be_is_refused(shop, printed, when, words):
    with pytest.raises(Refused, match=words):
        _take(shop, printed, page=lambda by: {"at": when(by)})
