"""Ordering again exactly as before: everything is taken over, and what has changed since is said in plain sentences."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import heirlooms, jobs, machinehistory, machines, materials, orders, pictures, pitch, reorders
from logbook.actions.pitchfacts import as_used
from logbook.records.audit import AuditEntry
from logbook.records.floor import Run
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.orders import Customer, Job, Order
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.small_shop import job, one


@pytest.fixture
def finished(shop):
    """The code of a job whose two pieces have gone."""
    code = shop.ready(quantity=2)
    shop.act(
        lambda session, by: orders.change_job(
            session, by, job=job(session, code), changes={"artwork": "Two Gulls", "price": Decimal("31.50")}
        )
    )
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    return code


def _shelves(shop):
    return heirlooms.Shelves(shop.shop.store, shop.shop.settings.own_safety_path)


def _again(shop, code, **again):
    """The code of the new job."""
    return shop.act(
        lambda session, by: (
            reorders.order_again(session, by, _shelves(shop), jobs=[job(session, code)], again=reorders.Again(**again))
            .jobs[0]
            .code
        )
    )


def _changed(shop, new):
    return shop.read(lambda session: reorders.since(session, job(session, new)).changed)


def test_everything_is_as_before_and_nothing_has_changed(shop, finished):
    new = _again(shop, finished)
    with shop.shop.database.reading() as session:
        old, made = job(session, finished), job(session, new)
        for name in orders.JobWish.__slots__:
            assert getattr(made, name) == getattr(old, name), name
        assert [one.file_id for one in pictures.current(made)] == [one.file_id for one in pictures.current(old)]
        then, now = jobs.materials_of(session, old), jobs.materials_of(session, made)
        for name in ("lens_lot", "mode", "paper", "paper_lot", "adhesive_lot"):
            assert getattr(now, name) is getattr(then, name), name
        assert jobs.pitch_of(session, made).pitch is jobs.pitch_of(session, old).pitch
        assert jobs.pitch_of(session, made).reason == "it served before"
        assert made.order_id != old.order_id
        assert made.order.customer is old.order.customer
        assert reorders.since(session, made).code == old.code
        assert reorders.repeats(session, old) == [(made.code, made.number)]
    assert _changed(shop, new) == ()


def test_the_reorder_goes_to_the_door_once_the_customer_has_approved(shop, finished):
    new = _again(shop, finished)
    assert shop.read(lambda session: jobs.gates(session, job(session, new)).answer) == "none"
    shop.approve(new)
    shop.run(new)
    shop.mount(new)
    shop.inspect(new)
    shop.leave(new)
    assert shop.read(lambda session: job(session, new).ended_at) is not None


def test_only_the_number_the_date_and_the_note_are_new(shop, finished):
    due = shop.now.date() + timedelta(days=9)
    new = _again(shop, finished, quantity=7, due_on=due, note="for the second shop")
    with shop.shop.database.reading() as session:
        made = job(session, new)
        assert (made.quantity, made.order.due_on, made.order.note) == (7, due, "for the second shop")


def test_what_is_not_finished_is_not_ordered_again(shop):
    code = shop.order()
    with pytest.raises(Refused, match="not finished"):
        _again(shop, code)
    assert shop.read(lambda session: len(session.execute(select(Order)).all())) == 1


def test_an_order_without_jobs_leaves_nothing_behind(shop):
    with pytest.raises(Refused, match="nothing in this order"):
        shop.act(lambda session, by: reorders.order_again(session, by, _shelves(shop), jobs=[]))
    assert shop.read(lambda session: session.execute(select(Order)).first()) is None


def _aside(label, reason="it yellows"):
    return lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label=label), reason=reason)


def _used_up(label):
    return lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label=label), now_there=0)


@pytest.mark.parametrize(
    ("act", "sentence"), [(_aside("L-1"), "Lens lot L-1 was set aside: it yellows."), (_used_up("L-1"), "is used up")]
)
def test_a_lens_lot_that_is_gone_leaves_materials_and_pitch_open(shop, finished, act, sentence):
    shop.act(act)
    new = _again(shop, finished)
    with shop.shop.database.reading() as session:
        gates = jobs.gates(session, job(session, new))
        assert (gates.materials_chosen, gates.pitch_chosen, gates.pictures) == (False, False, 2)
    changed = _changed(shop, new)
    assert sentence in changed[0]
    assert "waits for the materials" in changed[1]


def test_a_lens_lot_with_too_few_left_is_taken_and_said(shop, finished):
    shop.act(lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label="L-1"), now_there=1))
    new = _again(shop, finished)
    assert _changed(shop, new) == ("Lens lot L-1 has 1 left; 2 pieces were made then.",)
    assert shop.read(lambda session: jobs.materials_of(session, job(session, new)) is not None)


@pytest.mark.parametrize(("label", "kept"), [("P-1", "paper_lot"), ("A-1", "adhesive_lot")])
def test_another_lot_that_is_gone_leaves_only_itself_open(shop, finished, label, kept):
    shop.act(_aside(label))
    new = _again(shop, finished)
    with shop.shop.database.reading() as session:
        chosen = jobs.materials_of(session, job(session, new))
        assert getattr(chosen, kept) is None
        assert jobs.pitch_of(session, job(session, new)) is not None
    assert "was set aside: it yellows. Choose another." in _changed(shop, new)[0]


def test_an_adhesive_that_has_expired_is_said(shop, finished):
    with shop.shop.database.writing() as session:
        one(session, Lot, label="A-1").expires_on = shop.now.date()
    shop.wait(days=2)
    assert "Adhesive lot A-1 expired on" in _changed(shop, _again(shop, finished))[0]


def test_a_pitch_that_was_withdrawn_is_left_open_and_said(shop, finished):
    shop.act(
        lambda session, by: pitch.withdraw(session, by, pitch=one(session, PitchOnRecord), reason="misread by a band")
    )
    new = _again(shop, finished)
    assert "was withdrawn on 2026-" in _changed(shop, new)[0]
    assert _changed(shop, new)[0].endswith("misread by a band")
    assert shop.read(lambda session: jobs.pitch_of(session, job(session, new))) is None
    assert shop.read(lambda session: jobs.materials_of(session, job(session, new)) is not None)


def test_a_pitch_that_a_repair_ended_asks_for_a_new_choice(shop, finished):
    shop.act(
        lambda session, by: machinehistory.note_event(
            session, by, machine=one(session, Machine, name="Printer"), what="head change", note="new head"
        )
    )
    new = _again(shop, finished)
    assert any("head change on 2026-" in sentence for sentence in _changed(shop, new))
    assert shop.read(lambda session: jobs.pitch_of(session, job(session, new))) is None


def test_a_printer_out_of_use_leaves_the_materials_open(shop, finished):
    shop.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Printer"), reason="replaced by the wide one"
        )
    )
    new = _again(shop, finished)
    assert _changed(shop, new)[0] == "Printer is out of use: replaced by the wide one."
    assert shop.read(lambda session: jobs.materials_of(session, job(session, new))) is None


def test_a_revised_step_list_is_said_and_followed(shop, finished, project_root):
    own = shop.shop.settings.own_safety_path
    own.mkdir(parents=True, exist_ok=True)
    text = (project_root / "safety" / "steps.toml").read_text(encoding="utf-8")
    old = shop.read(lambda session: job(session, finished).step_list.revision)
    (own / "steps.toml").write_text(text.replace(f'revision = "{old}"', 'revision = "own-2"'), encoding="utf-8")
    new = _again(shop, finished)
    said = f"The step list was revised: {old} then, own-2 now. The new job follows the new one."
    assert _changed(shop, new) == (said,)
    assert shop.read(lambda session: job(session, new).step_list.revision) == "own-2"


def test_a_file_that_is_missing_is_named_by_its_place_and_left_out(shop, finished):
    lost = shop.read(lambda session: pictures.current(job(session, finished))[1].file.sha256)
    shop.shop.store.drop(lost)
    new = _again(shop, finished)
    assert _changed(shop, new) == ("The file of picture 2 is not here any more; add that picture again.",)
    assert shop.read(lambda session: jobs.gates(session, job(session, new)).pictures) == 1


def test_a_customer_who_was_erased_is_not_named_again(shop, finished):
    with shop.shop.database.writing() as session:
        customer = session.execute(select(Customer)).scalar_one()
        customer.name, customer.contact, customer.hash_key, customer.erased_at = None, None, None, shop.now
    assert "was erased from the logbook" in _changed(shop, _again(shop, finished))[0]


def test_a_lens_that_was_measured_since_moves_the_pitch_that_is_used_and_both_values_are_said(shop, finished):
    was = shop.read(lambda session: one(session, Run).lpi)
    optics = {"thickness": None, "refractive_index": None}  # then nothing is converted from the lens loose to bonded
    shop.act(
        lambda session, by: materials.change_material(
            session, by, material=one(session, Lot, label="L-1").material, changes=optics
        )
    )
    new = _again(shop, finished)
    now = shop.read(lambda session: as_used(job(session, new), one(session, Run).pitch).lpi)
    assert now != was
    assert any(f"was used at {was} then and is used at {now} now" in words for words in _changed(shop, new))


def test_the_trail_says_what_had_changed(shop, finished):
    shop.act(_aside("A-1"))
    _again(shop, finished)
    with shop.shop.database.reading() as session:
        entry = session.execute(select(AuditEntry).where(AuditEntry.action == "ordered again")).scalar_one()
        told = json.loads(entry.body)["new"]["jobs"]
        numbers = [row.number for row in session.execute(select(Job).order_by(Job.id)).scalars()]
    assert told[0]["of"] == numbers[0]
    assert told[0]["number"] == numbers[1]
    assert "set aside" in told[0]["changed since"][0]
