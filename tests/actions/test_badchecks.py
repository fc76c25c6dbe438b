"""A machine check that was wrong: which prints come in doubt, and what is due at the machine."""

import json

import pytest
from sqlalchemy import select

from logbook.actions import badchecks, leaving, machines
from logbook.records.audit import AuditEntry
from logbook.records.machines import Machine, RollerSession
from logbook.refusals import Refused
from support.small_shop import one, prints


def _withdraw(shop, place=-1, reason="the stop was not tried"):
    def work(session, by):
        return badchecks.withdraw_check(
            session, by, check=one(session, Machine, name="Rollers").checks[place], reason=reason
        )

    return shop.act(work)


def _doubts(shop, code):
    return shop.read(lambda session: {piece.set_aside_reason for piece in prints(session, code)})


def _serials(shop, place):
    def work(session):
        check = one(session, Machine, name="Rollers").checks[place]
        return {piece.serial for piece in badchecks.worked_under(session, check)}

    return shop.read(work)


def _last_used(shop):
    """Which check stood when the rollers were last set up, by the times that stand in the records."""

    def work(session):
        checks = one(session, Machine, name="Rollers").checks
        began = session.execute(select(RollerSession.started_at).order_by(RollerSession.id)).scalars().all()[-1]
        return max(place for place, check in enumerate(checks) if check.at <= began)

    return shop.read(work)


def test_exactly_what_was_worked_under_the_check_is_listed_and_held(shop):
    earlier = shop.ready()
    shop.mount(earlier)
    later = shop.ready()
    untouched = shop.ready()
    shop.mount(later)
    place = _last_used(shop)
    assert _serials(shop, place) == shop.read(lambda session: {piece.serial for piece in prints(session, later)})
    _withdraw(shop, place)
    signed = shop.read(lambda session: one(session, Machine, name="Rollers").checks[place].at.astimezone())
    assert _doubts(shop, later) == {f"check of Rollers on {signed:%Y-%m-%d %H:%M}: the stop was not tried"}
    assert _doubts(shop, earlier) == _doubts(shop, untouched) == {None}


def test_what_has_left_is_listed_and_not_held(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    place = _last_used(shop)
    touched = _withdraw(shop, place)
    assert touched
    gone = shop.read(lambda session: next(piece for piece in prints(session, code) if piece.stage == "gone"))
    assert gone.set_aside_reason is None
    entry = shop.read(lambda session: session.execute(select(AuditEntry).order_by(AuditEntry.id)).scalars().all()[-1])
    assert entry.action == "machine check withdrawn"
    assert f"print:{gone.code}" in json.loads(entry.body)["objects"]


def test_a_new_check_is_due_after_the_newest_was_withdrawn(shop):
    shop.check_machine()
    _withdraw(shop)

    def due(session):
        return not machines.machine_facts(one(session, Machine, name="Rollers")).check_passed

    assert shop.read(due)
    shop.check_machine()
    assert not shop.read(due)


def test_a_check_is_withdrawn_once_with_a_reason_and_only_where_it_was_passed(shop):
    shop.check_machine()
    with pytest.raises(Refused, match="Say what was wrong"):
        _withdraw(shop, reason=" ")
    _withdraw(shop)
    with pytest.raises(Refused, match="withdrawn already"):
        _withdraw(shop)
    shop.check_machine()
    shop.act(lambda session, _by: setattr(one(session, Machine, name="Rollers").checks[-1], "passed", False))
    with pytest.raises(Refused, match="was not passed"):
        _withdraw(shop)


@pytest.mark.parametrize("number", ["", "x", "999999", "9" * 30])
def test_a_check_of_no_machine_is_refused_at_its_field(shop, number):
    with pytest.raises(Refused, match="Choose the check") as refused:
        shop.read(lambda session: badchecks.check_of(session, one(session, Machine, name="Rollers"), number))
    assert refused.value.field == "check"


def test_the_doubt_of_a_check_is_settled_like_any_other(shop):
    code = shop.ready()
    shop.mount(code)
    _withdraw(shop, _last_used(shop))
    shop.act(lambda session, by: leaving.put_back(session, by, piece=prints(session, code)[0], reason="seen: flat"))
    assert shop.read(lambda session: prints(session, code)[0].set_aside_reason) is None
