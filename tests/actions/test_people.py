"""People: founded once, slowed down but never locked out, signed out for good."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import people
from logbook.records.people import Person, SignIn, Throttle
from logbook.refusals import Refused
from support.small_shop import one

PASSWORD = "ridge-and-valley"


def _blocks(shop, tries):
    """How many seconds the name is slowed down after each failed try."""

    def fail(session, by):
        people.count_failure(session, ["name:x"], by.now)
        blocked = session.execute(select(Throttle.blocked_until)).scalar_one()
        return round((blocked - by.now).total_seconds())

    return [shop.act(fail) for _ in range(tries)]


def test_failed_tries_slow_down_by_doubling_from_a_second_to_five_minutes_and_never_further(shop):
    # promised: 1 s, doubling, 5 min at most, never for good; 2 s, 4 s ... 256 s are the powers of two in between
    seconds = _blocks(shop, 14)
    slowed = [wait for wait in seconds if wait]
    assert slowed == [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300]


def test_a_slowed_name_is_refused_until_its_time_is_over(shop):
    _blocks(shop, 4)  # the last one slows down by 2 s
    with pytest.raises(Refused, match="wait 2 seconds"):
        shop.read(lambda session: people.check_throttle(session, ["name:x"], shop.now))
    shop.read(lambda session: people.check_throttle(session, ["name:x"], shop.now + timedelta(seconds=2)))
    shop.read(lambda session: people.check_throttle(session, ["name:y"], shop.now))


def test_coming_in_ends_the_slowing_down(shop):
    _blocks(shop, 8)
    shop.act(lambda session, by: people.start_sign_in(session, by, person=_olga(session), keys=["name:x"]))
    shop.read(lambda session: people.check_throttle(session, ["name:x"], shop.now))
    assert _blocks(shop, 1) == [0]


def _olga(session):
    return one(session, Person, name="Olga")


def _come_in(shop):
    return shop.act(lambda session, by: people.start_sign_in(session, by, person=_olga(session), keys=[]))


def _is_in(shop, token, after=timedelta(0)):
    return shop.read(lambda session: people.signed_in(session, token, shop.now + after) is not None)


def test_only_a_hash_of_the_token_is_kept(shop):
    token = _come_in(shop)
    kept = shop.read(lambda session: one(session, SignIn).token_hash)
    assert token not in kept
    assert _is_in(shop, token)
    assert not _is_in(shop, kept)


def test_a_sign_in_ends_by_signing_out_and_stays_ended(shop):
    token = _come_in(shop)
    shop.act(lambda session, by: people.end_sign_in(session, by, token=token))
    assert not _is_in(shop, token)
    shop.act(lambda session, by: people.touch(session, token, by.now))
    assert not _is_in(shop, token)


def test_a_sign_in_ends_after_half_an_hour_idle_and_twelve_hours_in_all(shop):
    token = _come_in(shop)
    assert _is_in(shop, token, timedelta(minutes=30))
    assert not _is_in(shop, token, timedelta(minutes=30, seconds=1))
    start = shop.now
    for minutes in range(20, 12 * 60 + 1, 20):
        shop.act(lambda session, _by, spent=minutes: people.touch(session, token, start + timedelta(minutes=spent)))
    assert _is_in(shop, token, start + timedelta(hours=12) - shop.now)
    assert not _is_in(shop, token, start + timedelta(hours=12, seconds=1) - shop.now)


def test_a_new_password_ends_every_sign_in_of_that_person(shop):
    tokens = [_come_in(shop), _come_in(shop)]
    shop.act(lambda session, by: people.change_password(session, by, person=_olga(session), password="another-ridge-9"))
    assert [_is_in(shop, token) for token in tokens] == [False, False]
    assert _verified(shop, "Olga", PASSWORD) is None
    assert _verified(shop, "Olga", "another-ridge-9") == "Olga"


def _verified(shop, name, password):
    person = shop.read(lambda session: people.verify_password(session, name=name, password=password))
    return person.name if person else None


def test_whoever_changes_an_own_password_says_the_old_one(shop):
    with pytest.raises(Refused, match="not your password until now"):
        shop.act(lambda session, by: people.change_password(
            session, by, person=_olga(session), password="another-ridge-9", current="ridge-and-hill"))  # fmt: skip
    shop.act(lambda session, by: people.change_password(
        session, by, person=_olga(session), password="another-ridge-9", current="ridge-and-valley"))  # fmt: skip


@pytest.mark.parametrize(("name", "typed"), [("Åsa Öberg", "åsa  öberg"), ("Zoë Ångström", "ZOË ÅNGSTRÖM")])
def test_a_name_with_letters_beyond_ascii_signs_in_however_it_is_typed(shop, name, typed):
    def add(session, by):
        people.add_person(session, by, name=name, password=PASSWORD, role="operator")

    shop.act(add)
    assert _verified(shop, typed, PASSWORD) == name
    assert shop.read(lambda session: people.person_named(session, typed).name) == name
    with pytest.raises(Refused, match=f"There is a {name.swapcase()} here already"):
        shop.act(
            lambda session, by: people.add_person(session, by, name=name.swapcase(), password=PASSWORD, role="operator")
        )


@pytest.mark.parametrize("password", ["short-7", "x" * 65, "Password1"])
def test_a_password_too_short_too_long_or_too_common_is_refused(shop, password):
    with pytest.raises(Refused, match="password"):
        shop.act(lambda session, by: people.add_person(session, by, name="Nell", password=password, role="operator"))


def test_a_shop_has_one_founder(shop):
    with pytest.raises(Refused, match="has its owner already"):
        shop.act(lambda session, by: people.found_shop(session, by, shop_name="x", name="Nell", password=PASSWORD))
