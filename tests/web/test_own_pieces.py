"""A piece of the shop's own, from the order form to the door: nobody is asked, nothing else is left out."""

from logbook.actions import jobs, materials, pitch
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.orders import Customer, Job
from logbook.records.pitch import PitchOnRecord
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one


def _taken(office, desk):
    """The code of the job that the order form made without a customer."""
    lot, mode = office.read(
        lambda session: (one(session, Lot, label="L-1").code, one(session, Machine, name="Printer").modes[0].code)
    )
    form = {"request_id": "own", "customer": "", "width": "70mm", "height": "80mm", "flip": "left-right"}
    form |= {"quantity": "1", "use": "wall", "fit": "crop", "lens_lot": lot, "mode": mode}
    with PHOTOGRAPHS[0].open("rb") as first, PHOTOGRAPHS[1].open("rb") as second:
        files = {"pictures": [(first, "one.jpg"), (second, "two.jpg")]}
        answer = desk.post("/orders/new", data={**form, **files}, content_type="multipart/form-data")
    assert answer.status_code == 303
    return answer.location.rsplit("/", 1)[-1]


def test_it_goes_to_the_door_with_no_customer_and_no_proof(office, desk):
    code = _taken(office, desk)
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    assert "the shop's own" in page
    assert "nobody needs to be asked" in page
    assert office.read(lambda session: jobs.gates(session, job(session, code)).for_shop)
    office.choose_pitch(code)
    office.run(code)
    office.mount(code)
    office.inspect(code)
    office.leave(code)
    with office.shop.database.reading() as session:
        made = one(session, Job, code=code)
        assert made.ended_at is not None
        assert made.order.closed_at is not None
        assert made.proofs == []
        assert session.query(Customer).first() is None


def test_the_paper_is_the_one_that_the_lens_was_measured_on_and_the_next_job_takes_it_over(office, desk):
    def measure(session, by):
        old = one(session, PitchOnRecord, origin="carried over")
        pearl = materials.add_material(session, by, kind="paper", name="pearl")
        known = pitch.Conditions(lens_lot=old.lens_lot, mode=old.mode, paper=pearl, axis=old.axis)
        pitch.carry_over(session, by, conditions=known, lpi=old.lpi, known_since=by.now, note="notebook")

    office.act(measure)
    code = _taken(office, desk)
    assert office.read(lambda session: jobs.materials_of(session, job(session, code)).paper.name) == "pearl"
    order = office.read(lambda session: job(session, code).order.code)
    form = {"request_id": "b", "width": "7cm", "height": "8cm", "flip": "left-right", "quantity": "1"}
    second = desk.post(f"/order/{order}/job", data=form).location.rsplit("/", 1)[-1]
    chosen = office.read(lambda session: jobs.materials_of(session, job(session, second)))
    assert (chosen.paper.name, chosen.lens_lot.label) == ("pearl", "L-1")
