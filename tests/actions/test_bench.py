"""The bench: what is asked before the rollers, who may stand there, what a jam ends."""

from datetime import date, timedelta
from functools import partial

import pytest
from sqlalchemy import select

from logbook.actions import atrollers, benchrecords, leaving, machines, papers, people, runs, sheets
from logbook.records.floor import Print, Run, RunPiece, Sheet, StepRecord
from logbook.records.machines import Machine, RollerSession
from logbook.records.people import Person
from logbook.refusals import Refused
from support.small_shop import job, one, prints, standing

pytestmark = pytest.mark.both_databases


@pytest.fixture
def mounting(shop):
    """A job of two sheets that wait for the adhesive; the machine was checked today."""
    code = shop.ready(quantity=2)
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.check_machine()
    return code


def _start(
    shop, code, *, place=0, who="Olga", helper=None, alone="Jon calls at noon", safety=True, stage="adhesive", **more
):
    """Set one sheet up; ``safety`` False ticks only what no session covers. Returns the session's row id."""

    def start(session, by):
        sheet = standing(session, code, stage)[place]
        steps = [step for step in benchrecords.stage_definition(sheet).steps if step.record == "tick"]
        ticks = frozenset(step.key for step in steps if safety or not step.safety)
        assert safety or len(ticks) < len(steps), "this stage has safety ticks that a session covers"
        made = atrollers.start_rollers(
            session,
            by,
            sheets=[sheet],
            stage=stage,
            start=atrollers.RollerStart(
                machine=one(session, Machine, name="Rollers"),
                helper=one(session, Person, name=helper) if helper else None,
                alone_with=alone,
                ticks=ticks,
                **more,
            ),
        )
        return made.id

    return shop.act(start, who=who)


def _is_set_up(shop, code):
    return shop.act(
        lambda session, by: [atrollers.is_set_up(session, by, piece.sheet) for piece in prints(session, code)]
    )


def test_safety_ticks_cover_half_an_hour_of_one_person_at_one_machine(shop, mounting):
    first = _start(shop, mounting)
    shop.wait(minutes=29)  # the act itself takes the thirtieth
    assert _start(shop, mounting, place=1, safety=False) == first
    shop.wait(minutes=30)
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, safety=False)
    assert _start(shop, mounting) != first


def test_another_person_reads_and_ticks_anew(shop, mounting):
    first = _start(shop, mounting)
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, who="Otto", safety=False)
    looked = {"reason-at-the-rollers-26-0001-a-s1": "she stands beside me"}
    assert _start(shop, mounting, who="Otto", reasons=looked) != first
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, safety=False)


def test_a_helper_is_another_session(shop, mounting):
    first = _start(shop, mounting)
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, helper="Otto", safety=False)
    assert _start(shop, mounting, helper="Otto") != first


def test_the_next_day_starts_with_the_machine_check_and_every_tick(shop, mounting):
    _start(shop, mounting)
    shop.wait(days=1)
    with pytest.raises(Refused, match="today's machine check has not been signed"):
        _start(shop, mounting)
    shop.check_machine()
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, safety=False)
    _start(shop, mounting)


def test_whoever_works_alone_at_powered_rollers_says_who_calls_once_a_day(shop, mounting):
    with pytest.raises(Refused, match="You work alone"):
        _start(shop, mounting, alone=" ")
    _start(shop, mounting)
    shop.wait(hours=1)
    again = _start(shop, mounting, alone="")
    assert shop.read(lambda session: session.get_one(RollerSession, again).alone_with) == "Jon calls at noon"
    covered = _start(shop, mounting, place=1, alone="Ann calls at two", safety=False)
    assert covered == again
    said = shop.act(lambda session, by: atrollers.said_today(session, by, one(session, Machine, name="Rollers")))
    assert said == "Ann calls at two"
    kept = shop.read(lambda session: [papers._remarks(session, [p.sheet], []) for p in prints(session, mounting)])
    assert "adhesive: worked alone, Jon calls at noon" in kept[0]
    assert "adhesive: worked alone, Ann calls at two" in kept[1]
    with pytest.raises(Refused, match="You work alone"):
        _start(shop, mounting, who="Otto", alone="")
    _start(shop, mounting, who="Otto", alone="", helper="Olga")


def test_a_jam_ends_the_session_for_every_sheet_that_was_set_up_with_it(shop, mounting):
    _start(shop, mounting)
    _start(shop, mounting, place=1, safety=False)
    assert _is_set_up(shop, mounting) == [True, True]
    shop.act(
        lambda session, by: atrollers.leave_rollers(
            session, by, sheet=standing(session, mounting, "adhesive")[0], reason="film folded"
        )
    )
    assert _is_set_up(shop, mounting) == [False, False]
    with pytest.raises(Refused, match="Read and tick what comes before the rollers first"):
        shop.sign(mounting, "adhesive")
    with pytest.raises(Refused, match="Not ticked yet"):
        _start(shop, mounting, safety=False)
    _start(shop, mounting)
    _start(shop, mounting, place=1, safety=False)
    shop.sign(mounting, "adhesive")
    told = shop.read(
        lambda session: (
            session.execute(select(StepRecord.value).where(StepRecord.step_key == "adhesive-interrupted"))
            .scalars()
            .all()
        )
    )
    assert told == ["film folded"]


def test_a_jam_is_told_with_a_reason_and_only_where_something_was_set_up(shop, mounting):
    def jam(reason):
        return lambda session, by: atrollers.leave_rollers(
            session, by, sheet=standing(session, mounting, "adhesive")[0], reason=reason
        )

    with pytest.raises(Refused, match="Nothing is set up"):
        shop.act(jam("stuck"))
    _start(shop, mounting)
    with pytest.raises(Refused, match="Say what happened"):
        shop.act(jam(" "))


def _new_person(shop, name, under_18_until=None):
    shop.act(
        lambda session, by: people.add_person(
            session, by, name=name, password="ridge-and-valley", role="operator", under_18_until=under_18_until
        )
    )


def _name_for_rollers(shop, name, *, days=300, **minor):
    shop.act(
        lambda session, by: machines.authorise(
            session,
            by,
            machine=one(session, Machine, name="Rollers"),
            person=one(session, Person, name=name),
            until=by.now.date() + timedelta(days=days),
            minor=machines.Minor(**minor),
        )
    )


def test_worker_and_helper_are_both_named_for_the_machine(shop, mounting):
    _new_person(shop, "Nell")
    with pytest.raises(Refused, match="Nell is not authorised for Rollers"):
        _start(shop, mounting, who="Nell")
    with pytest.raises(Refused, match="Nell is not authorised for Rollers"):
        _start(shop, mounting, helper="Nell")
    _name_for_rollers(shop, "Nell")
    _start(shop, mounting, helper="Nell")


def test_an_authorisation_that_ended_stops(shop, mounting):
    _new_person(shop, "Nell")
    _name_for_rollers(shop, "Nell", days=2)
    shop.wait(days=4)
    shop.check_machine()
    with pytest.raises(Refused, match="authorisation for Rollers ended on"):
        _start(shop, mounting, who="Nell")


def test_nobody_under_18_stands_at_powered_rollers_without_document_issuer_and_adult(shop, mounting):
    _new_person(shop, "Nell", under_18_until=date(2027, 1, 1))
    for told in ({}, {"document": "apprentice contract"}, {"document": "apprentice contract", "issuer": "guild"}):
        with pytest.raises(Refused, match="is under 18 and cannot be named"):
            _name_for_rollers(shop, "Nell", **told)
    with pytest.raises(Refused, match="Nell is under 18 and cannot work at Rollers"):
        _start(shop, mounting, helper="Nell")
    _name_for_rollers(shop, "Nell", document="apprentice contract", issuer="guild", adult="Olga")
    _start(shop, mounting, helper="Nell")
    notes = shop.read(
        lambda session: session.execute(
            select(StepRecord.notes).where(StepRecord.step_key == "adhesive-before")
        ).scalar_one()
    )
    assert "This record is no permission" in notes


def test_a_check_that_was_answered_no_puts_the_machine_out_of_use(shop, mounting):
    shop.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Rollers"), reason="stop does not hold"
        )
    )
    with pytest.raises(Refused, match="Rollers is out of use: stop does not hold"):
        _start(shop, mounting)


def _inspect(shop, code, reason="", **values):
    shop.sign(code, "inspect", values={"inspect-result": "passed", **values}, reason=reason)


def test_a_number_outside_its_limits_asks_for_a_reason_and_a_word_is_no_number(shop):
    code = shop.ready()
    shop.mount(code)
    # the shipped step list: ghosting 0 to 4, at most 1 passes (shop default, common practice, no source)
    with pytest.raises(Refused, match=r"outside .*Give a reason"):
        _inspect(shop, code, **{"inspect-ghosting": "2"})
    for wrong in ("much", "nan", "inf"):
        with pytest.raises(Refused):
            _inspect(shop, code, reason="really", **{"inspect-ghosting": wrong})
    # a piece that fails by it goes nowhere: nothing is asked
    shop.sign(code, "inspect", values={"inspect-result": "failed", "inspect-ghosting": "4"})
    rework = partial(leaving.decide, kind="rework", reason="wiped")
    shop.act(lambda session, by: rework(session, by, piece=prints(session, code)[0]))
    _inspect(shop, code, reason="the customer likes it", **{"inspect-ghosting": "2"})
    signed = select(StepRecord).where(StepRecord.step_key == "inspect-sign").order_by(StepRecord.id)
    failed, passed = shop.read(lambda session: list(session.execute(signed).scalars()))
    assert (failed.reason, passed.reason) == ("", "the customer likes it")
    assert all("outside" in row.notes for row in (failed, passed))


def test_a_scrapped_piece_neither_holds_up_nor_follows_the_others_on_its_sheet(shop):
    code = shop.order()
    shop.approve(code)
    shop.choose_pitch(code)
    run_id = shop.run(code, accept=False)

    def second_copy(session, _by):
        # two copies side by side on one raster
        session.add(RunPiece(run_id=run_id, job_id=job(session, code).id, trim_dots="0 0 1 1"))

    shop.act(second_copy)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))
    shop.sign(code, "print")
    shop.act(lambda session, _by: setattr(prints(session, code)[0], "set_aside_reason", "bubble"))
    shop.act(
        lambda session, by: leaving.decide(session, by, piece=prints(session, code)[0], kind="scrap", reason="bubble")
    )
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.roll(code, "adhesive")
    shop.roll(code, "laminate")
    shop.wait(hours=25)
    shop.sign(code, "dwell")
    assert shop.read(lambda session: one(session, Sheet).stage) == "parted"
    assert shop.read(lambda session: [piece.stage for piece in session.execute(select(Print)).scalars()]) == [
        "scrapped",
        "trim",
    ]
