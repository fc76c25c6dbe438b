"""What did not pass, what is in doubt, what is only a sample: nothing of it leaves by a side door."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from logbook.actions import erasing, leaving, orders, sheets
from logbook.lengths import parse_length
from logbook.records import audit, chain
from logbook.records.floor import Departure
from logbook.refusals import Refused
from support.small_shop import job, one, prints


def _decide(shop, code, kind, *, place=0, who="Olga", reason="looked at in daylight"):
    shop.act(
        lambda session, by: leaving.decide(session, by, piece=prints(session, code)[place], kind=kind, reason=reason),
        who=who,
    )


def _stages(shop, code):
    return shop.read(lambda session: [piece.stage for piece in prints(session, code)])


def _open(shop, code):
    return shop.read(lambda session: sheets.open_quantity(session, job(session, code)))


@pytest.fixture
def inspected(shop):
    """A job of two pieces before their inspection."""
    code = shop.ready(quantity=2)
    shop.mount(code)
    return code


def test_a_failed_piece_is_not_simply_inspected_again(shop, inspected):
    shop.inspect(inspected, "failed")
    with pytest.raises(Refused, match="failed its inspection; decide first"):
        shop.inspect(inspected)
    assert _stages(shop, inspected) == ["inspect", "inspect"]
    for place in (0, 1):
        _decide(shop, inspected, "rework", place=place, who="Otto")
    shop.inspect(inspected)
    assert _stages(shop, inspected) == ["pack", "pack"]


def test_rework_that_fails_again_needs_another_decision(shop, inspected):
    shop.inspect(inspected, "failed")
    for place in (0, 1):
        _decide(shop, inspected, "rework", place=place)
    shop.inspect(inspected, "failed")
    with pytest.raises(Refused, match="decide first"):
        shop.inspect(inspected)


@pytest.mark.parametrize("kind", ["rework", "concession"])
def test_what_passed_needs_neither_rework_nor_concession(shop, inspected, kind):
    shop.inspect(inspected)
    with pytest.raises(Refused, match="has no failed inspection"):
        _decide(shop, inspected, kind)


def test_a_verdict_needs_a_known_word_and_a_reason(shop, inspected):
    with pytest.raises(Refused, match="'melt' is no verdict"):
        _decide(shop, inspected, "melt")
    with pytest.raises(Refused, match="Write down why"):
        _decide(shop, inspected, "scrap", reason="  ")


def test_the_last_stage_is_signed_only_by_leaving_on_a_day_that_has_come(shop):
    code = shop.order()
    shop.choose_pitch(code)
    shop.run(code, sample=True)
    shop.mount(code)
    shop.inspect(code)
    shop.wait(hours=80)
    with pytest.raises(Refused, match="Say how it leaves"):
        shop.sign(code, "pack")
    with pytest.raises(Refused, match="has not come yet") as refused:
        shop.act(
            lambda session, by: leaving.leave(
                session,
                by,
                piece=prints(session, code)[0],
                way=leaving.WayOut(how="kept", on=by.day + timedelta(days=1)),
                values={},
            )
        )
    assert refused.value.field == "on"
    assert _stages(shop, code) == ["pack"]


@pytest.mark.parametrize("how", ["collected", "sent"])
def test_a_sample_never_leaves_as_the_order(shop, how):
    code = shop.order()
    shop.choose_pitch(code)
    shop.run(code, sample=True)
    shop.mount(code)
    shop.inspect(code)
    with pytest.raises(Refused, match="is a sample and cannot leave as the order"):
        shop.act(
            lambda session, by: leaving.leave(
                session,
                by,
                piece=prints(session, code)[0],
                way=leaving.WayOut(how=how, on=by.day, reason="in a hurry"),
                values={},
            )
        )
    assert shop.read(lambda session: session.execute(select(Departure)).first()) is None
    assert _open(shop, code) == 1


def test_scrapping_opens_the_quantity_again_and_replacing_keeps_it(shop, inspected):
    assert _open(shop, inspected) == 0
    _decide(shop, inspected, "scrap")
    assert _open(shop, inspected) == 1
    _decide(shop, inspected, "replace", place=1)
    assert _open(shop, inspected) == 1
    serials = shop.read(lambda session: [piece.serial for piece in prints(session, inspected)])
    assert len(set(serials)) == 3, "a new piece has a serial of its own"
    assert _stages(shop, inspected) == ["scrapped", "scrapped", "on sheet"]


def test_nothing_is_decided_about_a_piece_that_has_left(shop, inspected):
    shop.inspect(inspected)
    shop.leave(inspected)
    for kind in leaving.VERDICTS:
        with pytest.raises(Refused, match="has left the bench"):
            _decide(shop, inspected, kind)


def test_an_order_closes_with_its_last_piece_and_takes_no_job_afterwards(shop, inspected):
    shop.inspect(inspected)
    _decide(shop, inspected, "replace", place=1)
    shop.leave(inspected)
    assert shop.read(lambda session: job(session, inspected).order.closed_at) is None
    shop.mount(inspected)
    shop.inspect(inspected)
    shop.leave(inspected)
    assert shop.read(lambda session: job(session, inspected).order.closed_at) == shop.now
    wish = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right")
    with pytest.raises(Refused, match="is closed; place a new one"):
        shop.act(
            lambda session, by: orders.add_job(
                session, by, shop.shop.settings.own_safety_path, order=job(session, inspected).order, wish=wish
            )
        )


def test_what_was_set_aside_goes_on_only_by_the_owners_word_with_a_reason(shop, inspected):
    def back(reason):
        return lambda session, by: leaving.put_back(session, by, piece=prints(session, inspected)[0], reason=reason)

    with pytest.raises(Refused, match="is not set aside"):
        shop.act(back("it is fine"))
    shop.act(lambda session, _by: setattr(prints(session, inspected)[0], "set_aside_reason", "in doubt"))
    with pytest.raises(Refused, match="the owner's decision"):
        shop.act(back("it is fine"), who="Otto")
    with pytest.raises(Refused, match="why it may go on"):
        shop.act(back(" "))
    with pytest.raises(Refused, match="in doubt"):
        shop.inspect(inspected)
    shop.act(back("measured again"))
    shop.inspect(inspected)
    assert _stages(shop, inspected) == ["pack", "pack"]


def test_a_departure_keeps_how_and_when_and_whose_hand(shop, inspected):
    shop.inspect(inspected)
    shop.leave(inspected, carrier=" Parcel boat ", tracking=" PB-7 ")
    gone = shop.read(lambda session: one(session, Departure, print_id=prints(session, inspected)[0].id))
    assert (gone.how, gone.carrier, gone.tracking, gone.on) == ("collected", "Parcel boat", "PB-7", shop.now.date())
    assert shop.read(lambda session: one(session, Departure, print_id=gone.print_id).person.name) == "Olga"
    with pytest.raises(Refused, match="at the stage 'gone'"):
        shop.act(
            lambda session, by: leaving.leave(
                session,
                by,
                piece=prints(session, inspected)[0],
                way=leaving.WayOut(how="sent", on=by.day),
                values={},
            )
        )


def test_the_values_in_the_trail_are_those_of_the_steps_and_nothing_else_that_was_sent(shop, inspected):
    # a form sends more than the steps ask for: its own token, its buttons
    values = {"inspect-result": "passed", "csrf_token": "secret", "who": "somebody"}
    shop.sign(inspected, "inspect", values=values)
    body = shop.read(lambda session: audit.newest(session, before=None, count=1)[0].body)
    assert '"inspect-result":"passed"' in body
    assert "secret" not in body
    assert "somebody" not in body


# --- the customer's word to a print that goes as it is

SAID = "Fine by me, the speck hides behind the frame"


def _conceded(shop, **more):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")

    def concede(session, by):
        piece = prints(session, code)[0]
        leaving.decide(session, by, piece=piece, kind="concession", reason="a speck of dust", word=SAID, **more)
        return piece.code

    return code, shop.act(concede)


def test_the_customers_word_stands_beside_the_concession_and_only_its_hash_in_the_trail(shop):
    code, _ = _conceded(shop)
    with shop.shop.database.reading() as session:
        assert leaving.verdicts_on(session, prints(session, code)[0])[0].word.words == SAID
        bodies = [entry.body for entry in audit.newest(session, before=None, count=50)]
    assert not any(SAID in body for body in bodies)
    assert any('"word"' in body for body in bodies)


def test_it_is_forgotten_with_the_customer_and_the_chain_verifies(shop):
    code, _ = _conceded(shop)
    shop.act(
        lambda session, by: erasing.forget_customer(
            session, by, customer=job(session, code).order.customer, reason="asked for it"
        )
    )
    with shop.shop.database.reading() as session:
        assert leaving.verdicts_on(session, prints(session, code)[0])[0].word.words is None
        assert chain.first_bad(session) is None


def test_it_belongs_to_a_concession_alone(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    with pytest.raises(Refused, match="customer's word belongs"):
        shop.act(
            lambda session, by: leaving.decide(
                session, by, piece=prints(session, code)[0], kind="scrap", reason="torn", word=SAID
            )
        )
