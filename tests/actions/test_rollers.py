"""At the rollers: a setting up holds for those who were there, that day, and until something is wrong."""

import os
import time
from datetime import UTC, datetime, timedelta

import pytest

from logbook.actions import (
    atrollers,
    authorisations,
    benchfindings,
    benchrecords,
    leaving,
    machinehistory,
    machines,
    materials,
)
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from support.small_shop import START, job, one, prints, small_shop, standing


@pytest.fixture
def waiting(shop):
    """A job whose sheet waits for the adhesive; the machine was checked today."""
    code = shop.ready()
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.check_machine()
    return code


def _start(shop, code, *, who="Olga", helper=None, machine="Rollers", stage="adhesive", lot="", **more):
    def start(session, by):
        sheets = standing(session, code, stage)
        ticks = frozenset(step.key for step in benchrecords.stage_definition(sheets[0]).steps if step.record == "tick")
        return atrollers.start_rollers(
            session,
            by,
            sheets=sheets,
            stage=stage,
            start=atrollers.RollerStart(
                machine=one(session, Machine, name=machine),
                helper=one(session, Person, name=helper) if helper else None,
                alone_with="Jon calls at noon",
                ticks=ticks,
                adhesive_lot=one(session, Lot, label=lot) if lot else None,
                **more,
            ),
        ).id

    return shop.act(start, who=who)


def _is_set_up(shop, code, *, who="Olga"):
    return shop.act(lambda session, by: atrollers.is_set_up(session, by, prints(session, code)[0].sheet), who=who)


def _notes(shop, code):
    return shop.read(lambda session: benchrecords.records_of(session, prints(session, code)[0].sheet)[-1].notes)


def test_who_was_not_there_does_not_sign_for_it(shop, waiting):
    _start(shop, waiting)
    assert not _is_set_up(shop, waiting, who="Otto")
    with pytest.raises(Refused, match="Olga set up the rollers for this sheet"):
        shop.sign(waiting, "adhesive", who="Otto")
    with pytest.raises(Refused, match="hands may be at the rollers"):
        _start(shop, waiting, who="Otto")
    _start(shop, waiting, who="Otto", reasons=LOOKED)
    shop.sign(waiting, "adhesive", who="Otto")


LOOKED = {"reason-at-the-rollers-26-0001-a-s1": "she went to lunch, I looked"}


def test_two_people_do_not_begin_at_the_same_rollers_unknown_to_each_other(shop, waiting):
    """One person controls rollers, the one whose hands are nearest: common practice, no source."""
    other = shop.ready()
    shop.sign(other, "print")
    shop.wait(hours=25)
    shop.check_machine()
    shop.sign(other, "dry")
    _start(shop, waiting)
    with pytest.raises(Refused, match=r"Olga set up Rollers for sheet 26-0001-A-S1 at \d\d:\d\d and has not signed it"):
        _start(shop, other, who="Otto")  # another sheet, the same rollers
    shop.act(lambda s, by: _second_laminator(s, by))
    _start(shop, other, who="Otto", machine="Second")  # her sheet is not touched there
    with pytest.raises(Refused, match="hands may be at the rollers"):
        _start(shop, waiting, who="Otto", machine="Second")  # it is
    _start(shop, other, who="Otto", helper="Olga")  # they work together
    shop.sign(waiting, "adhesive")
    shop.sign(other, "adhesive", who="Otto")
    _start(shop, other, who="Otto", stage="laminate")


def _second_laminator(session, by):
    made = machines.add_machine(session, by, kind="laminator", name="Second", drive="hand")
    machines.set_machine_facts(session, by, machine=made, values=dict.fromkeys(machines.FACT_FIELDS, "written down"))
    machines.check_machine(session, by, machine=made, items=[], answers={})
    otto = one(session, Person, name="Otto")
    machines.authorise(session, by, machine=made, person=otto, until=by.day + timedelta(days=90))


def test_who_left_half_an_hour_ago_is_not_waited_for(shop, waiting):
    _start(shop, waiting)
    shop.wait(minutes=31)
    _start(shop, waiting, who="Otto")


def test_a_helper_was_there_and_may_sign(shop, waiting):
    _start(shop, waiting, helper="Otto")
    assert _is_set_up(shop, waiting, who="Otto")
    shop.sign(waiting, "adhesive", who="Otto")


def _adhesive(session):
    return one(session, Lot, label="A-1").material


def _aside(shop, label):
    shop.act(lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label=label), reason="lumpy") and None)


def test_another_lot_is_brought_on_where_the_planned_one_is_in_doubt(shop, waiting):
    yesterday = shop.now.date() - timedelta(days=1)
    shop.act(
        lambda s, by: materials.add_lot(s, by, material=_adhesive(s), label="A-2", count=9, expires_on=yesterday).id
    )
    _aside(shop, "A-1")
    assert shop.read(lambda s: prints(s, waiting)[0].set_aside_reason) is None
    with pytest.raises(Refused, match="Lot A-1 was set aside: lumpy; choose another"):
        _start(shop, waiting)
    with pytest.raises(Refused, match="no adhesive"):
        _start(shop, waiting, lot="P-1")
    with pytest.raises(Refused, match="A-2 was to be used before") as refused:
        _start(shop, waiting, lot="A-2")
    assert refused.value.field == "reason-expiry"
    _start(shop, waiting, lot="A-2", reasons={"reason-expiry": "a strip of it held on scrap"})
    _aside(shop, "A-2")
    shop.sign(waiting, "adhesive")
    piece = shop.read(lambda s: prints(s, waiting)[0])
    assert piece.set_aside_reason == "lot A-2: lumpy", "it was in the rollers when the doubt came"
    assert shop.read(lambda s: materials.left(s, one(s, Lot, label="A-2"))) == 8
    asked = shop.read(lambda s: {row.reason for row in benchrecords.records_of(s, prints(s, waiting)[0].sheet)})
    assert "a strip of it held on scrap" in asked


def test_a_name_that_is_taken_off_a_machine_stops_that_person_at_once(shop, waiting):
    def taken_off(who, reason="hurt a finger; shown again first"):
        return lambda session, by: authorisations.withdraw(
            session,
            by,
            machine=one(session, Machine, name="Rollers"),
            person=one(session, Person, name=who),
            reason=reason,
        )

    _start(shop, waiting, helper="Otto")
    with pytest.raises(Refused, match="the owner's decision"):
        shop.act(taken_off("Olga"), who="Otto")
    with pytest.raises(Refused, match="Say why"):
        shop.act(taken_off("Otto", " "))
    shop.act(taken_off("Otto"))
    assert not _is_set_up(shop, waiting), "what he helped with is read and ticked anew"
    with pytest.raises(Refused, match="Otto is not authorised for Rollers"):
        _start(shop, waiting, helper="Otto")
    with pytest.raises(Refused, match="not named for Rollers"):
        shop.act(taken_off("Otto"))
    _start(shop, waiting)


@pytest.mark.parametrize("span", [{"minutes": 31}, {"days": 1}])
def test_after_half_an_hour_and_on_another_day_it_is_read_again(shop, waiting, span):
    _start(shop, waiting)
    assert _is_set_up(shop, waiting)
    shop.wait(**span)
    assert not _is_set_up(shop, waiting)


def test_a_signature_keeps_the_setting_up_alive_for_the_next_sheet(shop, waiting):
    _start(shop, waiting)
    shop.wait(minutes=25)
    shop.sign(waiting, "adhesive")
    assert "before this signature" not in _notes(shop, waiting)
    shop.wait(minutes=25)

    def covering(session, by):
        rollers = one(session, Machine, name="Rollers")
        return atrollers.open_session(session, by, machine=rollers, helper=None) is not None

    assert shop.act(covering)


def test_a_signature_that_comes_late_is_taken_and_says_so(shop, waiting):
    _start(shop, waiting)
    shop.wait(minutes=44)
    shop.sign(waiting, "adhesive")
    assert "set up 45 min before this signature" in _notes(shop, waiting)


def test_nobody_is_his_own_helper(shop, waiting):
    with pytest.raises(Refused, match="your own helper"):
        _start(shop, waiting, helper="Olga")


def test_rollers_are_on_a_laminator(shop, waiting):
    shop.act(
        lambda session, by: machines.add_machine(
            session, by, kind="trimmer", name="Wheel", drive="hand", cutting="rotary"
        )
    )
    for name in ("Wheel", "Printer"):
        with pytest.raises(Refused, match="has no rollers"):
            _start(shop, waiting, machine=name)


def test_nothing_is_set_up_for_a_stage_without_rollers(shop):
    code = shop.ready()
    with pytest.raises(Refused, match="nothing to bring to the rollers"):
        _start(shop, code, stage="print")


def test_what_was_set_aside_is_not_brought_to_the_rollers(shop, waiting):
    shop.act(lambda session, _by: setattr(prints(session, waiting)[0], "set_aside_reason", "damp paper"))
    with pytest.raises(Refused, match="damp paper"):
        _start(shop, waiting)
    shop.act(lambda session, by: leaving.put_back(session, by, piece=prints(session, waiting)[0], reason="dry again"))
    _start(shop, waiting)


def test_a_machine_that_goes_out_of_use_ends_what_was_set_up_at_it(shop, waiting):
    _start(shop, waiting)
    shop.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Rollers"), reason="the stop on the feed side sticks"
        )
    )
    assert not _is_set_up(shop, waiting)
    with pytest.raises(Refused, match="out of use"):
        _start(shop, waiting)


def test_a_machine_that_comes_back_is_checked_before_it_rolls(shop, waiting):
    def out_and_back(session, by):
        rollers = one(session, Machine, name="Rollers")
        machines.take_out_of_use(session, by, machine=rollers, reason="the stop on the feed side sticks")
        machinehistory.back_into_use(
            session,
            by,
            machine=rollers,
            done="stop changed",
            done_by="Brandt & Sons",
            proofs=machinehistory.Proofs(stops=True, guards=True, test_piece=True),
        )

    shop.act(out_and_back)
    with pytest.raises(Refused, match="today's machine check has not been signed"):
        _start(shop, waiting)
    shop.check_machine()
    _start(shop, waiting)


# --- the shop's own day


@pytest.fixture
def far_east(monkeypatch):
    """The clock of a shop in Auckland: 9:00 UTC is 22:00 there, two hours before the next day."""
    monkeypatch.setitem(os.environ, "TZ", "Pacific/Auckland")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def _worker(shop, name, now):
    def facts(session, by):
        by = type(by)(by.person_id, by.name, by.role, now)
        person, rollers = one(session, Person, name=name), one(session, Machine, name="Rollers")
        return [found.rule for found in benchfindings.machine_findings(session, by, machine=rollers) if found.safety], (
            machines.is_minor(person, by.day)
        )

    return shop.act(facts, who=name)


@pytest.mark.usefixtures("far_east")
def test_a_day_begins_and_ends_with_the_shops_own_clock(tmp_path):
    shop = small_shop(tmp_path / "data")
    evening, past_midnight = START.replace(hour=10), START.replace(hour=12)
    today, tomorrow = START.date(), START.date() + timedelta(days=1)
    assert (evening.astimezone().date(), past_midnight.astimezone().date()) == (today, tomorrow)

    def name_until_today(session, by):
        rollers, otto = one(session, Machine, name="Rollers"), one(session, Person, name="Otto")
        otto.under_18_until = tomorrow
        minor = machines.Minor("contract", "the chamber", "Olga")
        machines.authorise(session, by, machine=rollers, person=otto, until=today, minor=minor)

    shop.act(name_until_today)
    shop.check_machine()
    assert _worker(shop, "Otto", evening) == ([], True)
    assert _worker(shop, "Otto", past_midnight) == (["daily check", "authorisation"], False)
    shop.shop.database.close()


@pytest.mark.usefixtures("far_east")
def test_nobody_is_named_until_a_day_that_is_over_here(tmp_path):
    shop = small_shop(tmp_path / "data")
    shop.now = START.replace(hour=12)
    with pytest.raises(Refused, match="lies in the past"):
        shop.act(
            lambda session, by: machines.authorise(
                session,
                by,
                machine=one(session, Machine, name="Rollers"),
                person=one(session, Person, name="Otto"),
                until=START.date(),
            )
        )
    shop.shop.database.close()


@pytest.mark.usefixtures("far_east")
def test_an_order_of_new_years_morning_bears_the_new_year(tmp_path):
    shop = small_shop(tmp_path / "data")
    shop.now = datetime(2026, 12, 31, 20, 0, tzinfo=UTC)
    code = shop.order(customer="")
    assert shop.read(lambda session: job(session, code).order.number) == "27-0001"
    shop.shop.database.close()
