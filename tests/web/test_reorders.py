"""The button that orders again: what has changed since is read before the order is made, and on the job afterwards."""

import pytest
from sqlalchemy import select

from logbook.actions import materials, sheets
from logbook.records.floor import Run
from logbook.records.materials import Lot
from logbook.records.orders import Job
from support.small_shop import job, one


def _finished(office):
    code = office.order(customer="", quantity=2)
    office.choose_pitch(code)
    office.run(code)
    office.mount(code)
    office.inspect(code)
    office.leave(code)
    return code


def _text(answer):
    return answer.get_data(as_text=True)


def test_the_button_stands_on_what_is_finished_and_nowhere_else(office, desk):
    code = _finished(office)
    order = office.read(lambda session: job(session, code).order.code)
    waiting = office.order()
    for path in (f"/job/{code}", f"/order/{order}"):
        assert "Order again, exactly as before" in _text(desk.get(path))
    other = office.read(lambda session: job(session, waiting).order.code)
    for path in (f"/job/{waiting}", f"/order/{other}"):
        assert "Order again, exactly as before" not in _text(desk.get(path))
    assert "as soon as a piece of each of its jobs has left" in _text(desk.get(f"/order/{other}"))
    customer = office.read(lambda session: job(session, waiting).order.customer.code)
    assert "can be made again exactly as before" in _text(desk.get(f"/customer/{customer}"))


def test_what_has_left_is_ordered_again_while_another_piece_is_open(office, desk):
    code = office.ready()
    office.mount(code)
    office.inspect(code)
    office.act(lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=1))
    office.leave(code)
    order = office.read(lambda session: job(session, code).order.code)
    assert office.read(lambda session: job(session, code).ended_at) is None
    for path in (f"/job/{code}", f"/order/{order}"):
        assert "Order again, exactly as before" in _text(desk.get(path))
    answer = desk.post(f"/job/{code}/again", data={"request_id": "r1", "quantity": "1"})
    assert answer.status_code == 303


def test_what_has_changed_is_said_before_and_afterwards(office, desk):
    code = _finished(office)
    office.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label="A-1"), reason="lumpy")
    )
    sentence = "Adhesive lot A-1 was set aside: lumpy. Choose another."
    before = desk.get(f"/job/{code}/again")
    assert sentence in _text(before)
    answer = desk.post(f"/job/{code}/again", data={"request_id": "r1", "quantity": "3", "due": "", "note": ""})
    assert answer.status_code == 303
    page = _text(desk.get(answer.location))
    assert sentence in page
    assert "Exactly as" in page
    with office.shop.database.reading() as session:
        new = session.execute(select(Job).order_by(Job.id.desc())).scalars().first()
        assert new.quantity == 3
        assert answer.location == f"/job/{new.code}"


@pytest.mark.both_databases
def test_a_form_that_is_sent_twice_makes_one_order(office, desk):
    code = _finished(office)
    order = office.read(lambda session: job(session, code).order.code)
    first, second = (desk.post(f"/order/{order}/again", data={"request_id": "once"}) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 303)
    assert office.read(lambda session: len(session.execute(select(Job)).all())) == 2


def test_bad_input_says_so_at_its_field_and_leaves_nothing(office, desk):
    code = _finished(office)
    answer = desk.post(f"/job/{code}/again", data={"request_id": "r1", "quantity": "0", "due": "soon"})
    assert answer.status_code == 422
    assert 'id="quantity-fault"' in _text(answer)
    assert 'id="due-fault"' in _text(answer)
    assert office.read(lambda session: len(session.execute(select(Job)).all())) == 1


def test_a_job_at_work_is_refused_even_when_its_address_is_typed(office, desk):
    code = office.order()
    answer = desk.post(f"/job/{code}/again", data={"request_id": "r1", "quantity": "1"})
    assert answer.status_code == 422
    assert "is not finished" in _text(answer)
