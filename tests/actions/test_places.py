"""Places, PINs, and people who go: what is remembered, for how long, and what ends it."""

from datetime import timedelta

import pytest

from logbook.actions import people, pins, places, staff
from logbook.records.people import Person, SignIn, Throttle
from logbook.records.places import Pin, Place
from logbook.refusals import Refused
from support.small_shop import one


@pytest.fixture
def corner(shop):
    """The code of an enrolment, for a place called Printer corner."""
    shop.act(lambda session, by: places.new_place(session, by, name=" Printer  corner ", stages=["dry", "print"]))
    return shop.act(lambda session, by: places.new_code(session, by, place=one(session, Place)))


def _person(session, name="Otto"):
    return people.person_named(session, name)


@pytest.mark.usefixtures("corner")
def test_a_place_knows_its_stages_in_the_order_of_the_work(shop):
    assert shop.read(lambda session: (one(session, Place).name, one(session, Place).stages)) == (
        "Printer corner",
        "print dry",
    )


@pytest.mark.usefixtures("corner")
@pytest.mark.parametrize(
    ("name", "stages", "field"),
    [(" ", ["dry"], "name"), ("printer CORNER", ["dry"], "name"), ("Press", [], "stages"), ("Press", ["x"], "stages")],
)
def test_a_place_needs_a_name_of_its_own_and_a_stage(shop, name, stages, field):
    with pytest.raises(Refused) as refusal:
        shop.act(lambda session, by: places.new_place(session, by, name=name, stages=stages))
    assert refusal.value.field == field


def test_a_code_enrols_once_within_a_quarter_of_an_hour(shop, corner):
    kept = shop.read(lambda session: one(session, Place).enrol_hash)
    assert corner not in kept
    token = shop.act(lambda session, by: places.enrol(session, by, code=corner.lower()))
    assert shop.read(lambda session: places.of_token(session, token, shop.now).name) == "Printer corner"
    with pytest.raises(Refused, match="serves no more"):
        shop.act(lambda session, by: places.enrol(session, by, code=corner))


def test_an_old_code_serves_no_more(shop, corner):
    shop.wait(minutes=15)
    with pytest.raises(Refused, match="serves no more"):
        shop.act(lambda session, by: places.enrol(session, by, code=corner))


@pytest.mark.parametrize("end", ["thirty days", "sent away", "removed", "another tablet"])
def test_a_tablet_is_out(shop, corner, end):
    token = shop.act(lambda session, by: places.enrol(session, by, code=corner))
    shop.wait(days=29)
    assert shop.read(lambda session: places.of_token(session, token, shop.now)) is not None
    if end == "thirty days":
        shop.wait(days=2)
    elif end == "sent away":
        shop.act(lambda session, by: places.revoke(session, by, place=one(session, Place)))
    elif end == "removed":
        shop.act(lambda session, by: places.remove(session, by, place=one(session, Place)))
    else:
        code = shop.act(lambda session, by: places.new_code(session, by, place=one(session, Place)))
        shop.act(lambda session, by: places.enrol(session, by, code=code))
    assert shop.read(lambda session: places.of_token(session, token, shop.now)) is None


def test_another_tap_on_a_name_ends_what_was_remembered_of_a_pin(shop, corner):
    shop.act(lambda session, by: places.enrol(session, by, code=corner))

    def remembered(session, *, later):
        return places.remembers_pin(one(session, Place), shop.now + timedelta(minutes=later))

    def give(session, by):
        place = one(session, Place)
        places.choose_person(place, _person(session), by.now)
        place.pin_at = by.now

    shop.act(give)
    assert [shop.read(lambda session, later=later: remembered(session, later=later)) for later in (0, 10, 10.1)] == [
        True,
        True,
        False,
    ]
    for name in ("Olga", "Otto"):
        shop.act(
            lambda session, by, name=name: places.choose_person(one(session, Place), _person(session, name), by.now)
        )
        assert not shop.read(lambda session: remembered(session, later=0))


def test_whoever_was_there_yesterday_is_asked_anew(shop, corner):
    shop.act(lambda session, by: places.enrol(session, by, code=corner))
    shop.act(lambda session, by: places.choose_person(one(session, Place), _person(session), by.now))
    at = lambda **later: shop.read(  # noqa: E731
        lambda session: places.person_at(one(session, Place), shop.now + timedelta(**later))
    )
    assert at(hours=12) is not None
    assert at(hours=12, minutes=1) is None


@pytest.mark.parametrize(
    "pin", ["", "123", "123456789", "12a4", "１２３４", "1111", "1234", "4321", "90123"[:4], "121212", "1984", "2024"]
)
def test_what_anybody_would_try_first_is_no_pin(pin):
    with pytest.raises(Refused) as refusal:
        pins.check_choice(pin)
    assert refusal.value.field == "pin"


@pytest.mark.parametrize("pin", ["4071", "83052", "19842024"])
def test_other_digits_are_one(pin):
    pins.check_choice(pin)


def test_a_pin_is_kept_as_argon2id_and_chosen_by_nobody_else(shop):
    with pytest.raises(Refused, match="its own person"):
        shop.act(lambda session, by: pins.set_pin(session, by, person=_person(session), pin="4071"))
    shop.act(lambda session, by: pins.set_pin(session, by, person=_person(session), pin="4071"), who="Otto")
    assert shop.read(lambda session: one(session, Pin).pin_hash).startswith("$argon2id$")
    right = [
        shop.read(lambda session, pin=pin: pins.verify(session, person=_person(session), pin=pin))
        for pin in ("4071", "4072")
    ]
    assert right == [True, False]


def test_a_pin_taken_away_is_gone_everywhere(shop, corner):
    shop.act(lambda session, by: places.enrol(session, by, code=corner))
    shop.act(lambda session, by: pins.set_pin(session, by, person=_person(session), pin="4071"), who="Otto")
    shop.act(lambda session, by: places.choose_person(one(session, Place), _person(session), by.now))
    for _ in range(5):
        shop.act(lambda session, by: people.count_failure(session, [pins.key_of(_person(session))], by.now))
    shop.act(lambda session, by: pins.take_pin_away(session, by, person=_person(session)))
    assert not shop.read(lambda session: pins.has_pin(session, _person(session)))
    assert shop.read(lambda session: one(session, Place).person_id) is None
    assert shop.read(lambda session: one(session, Throttle).failures) == 0
    with pytest.raises(Refused, match="has no PIN"):
        shop.act(lambda session, by: pins.take_pin_away(session, by, person=_person(session)))


def test_somebody_who_goes_is_out_at_once_and_may_come_back(shop):
    token = shop.act(lambda session, by: people.start_sign_in(session, by, person=_person(session), keys=[]))
    shop.act(lambda session, by: pins.set_pin(session, by, person=_person(session), pin="4071"), who="Otto")
    shop.act(lambda session, by: staff.let_go(session, by, person=_person(session)))
    assert shop.read(lambda session: people.signed_in(session, token, shop.now)) is None
    assert shop.read(lambda session: one(session, SignIn).ended_at) is not None
    assert not shop.read(lambda session: pins.has_pin(session, _person(session)))
    assert shop.read(lambda session: people.verify_password(session, name="Otto", password="ridge-and-valley")) is None
    with pytest.raises(Refused, match="any more"):
        shop.act(lambda session, by: staff.let_go(session, by, person=_person(session)))
    assert [one.name for one in shop.read(staff.former)] == ["Otto"]
    shop.act(lambda session, by: staff.bring_back(session, by, person=_person(session)))
    assert shop.read(lambda session: people.verify_password(session, name="Otto", password="ridge-and-valley"))
    assert shop.read(lambda session: people.signed_in(session, token, shop.now)) is None
    with pytest.raises(Refused, match="already"):
        shop.act(lambda session, by: staff.bring_back(session, by, person=_person(session)))


def test_the_last_owner_stays(shop):
    with pytest.raises(Refused, match="only owner"):
        shop.act(lambda session, by: staff.let_go(session, by, person=_person(session, "Olga")))
    shop.act(lambda session, by: people.add_person(session, by, name="Ada", password="ridge-and-valley", role="owner"))
    shop.act(lambda session, by: staff.let_go(session, by, person=_person(session, "Olga")))
    assert shop.read(lambda session: one(session, Person, name="Olga").active) is False
