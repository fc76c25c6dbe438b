"""What changes between one act and the next: it is asked about again, and what was printed stays what was printed."""

import json

import pytest
from sqlalchemy import select

from logbook.actions import machinehistory, machines, orders, papers, pictures, runs, smallpapers
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.records import audit
from logbook.records.audit import AuditEntry
from logbook.records.floor import Run
from logbook.records.machines import Machine
from logbook.records.orders import Customer
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one

# --- between the choice of a pitch and the run


def _ask(shop, code, reason=""):
    wish = runs.RunWish(reason=reason)
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=wish).id)


def _new_head(shop):
    def note(session, by):
        printer = one(session, Machine, name="Printer")
        machinehistory.note_event(session, by, machine=printer, what="head change", note="both heads")

    shop.act(note)


def test_what_speaks_against_a_pitch_since_it_was_chosen_asks_for_a_reason_of_its_own(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    _new_head(shop)
    with pytest.raises(Refused, match="Since it was found the printer had this: head change"):
        _ask(shop, code)
    run_id = _ask(shop, code, "the customer waits and knows")
    told = shop.read(lambda session: list(audit.entries_for(session, f"run:{session.get_one(Run, run_id).code}")))
    assert told[0].reason == "the customer waits and knows"


def test_what_was_answered_when_the_pitch_was_chosen_is_not_asked_again(shop):
    code = shop.order(customer="")
    _new_head(shop)
    shop.choose_pitch(code)
    _ask(shop, code)


def test_the_reason_for_a_run_is_printed_on_the_traveller(shop):
    code = shop.order()
    shop.choose_pitch(code)
    run_id = _ask(shop, code, "approved at the counter")
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    closed = {line.stage: line.line for line in _gather(shop, code).view.closed}
    assert "approved at the counter" in closed["interlace"]


# --- travellers


def _gather(shop, code):
    return shop.traveller(code)


def _issue(shop, code, gathered, pdf):
    stored = papers.store_pdf(shop.shop.store, pdf)

    def issue(session, by):
        made = papers.issue_traveller(session, by, job=job(session, code), gathered=gathered, pdf=stored)
        return made.revision, made.head_seq, made.head_hash

    return shop.act(issue)


def test_two_people_who_print_at_once_do_not_get_the_same_revision(shop):
    code = shop.ready()
    first, second = _gather(shop, code), _gather(shop, code)
    assert _issue(shop, code, first, b"one")[0] == 1
    with pytest.raises(Refused, match="print it again"):
        _issue(shop, code, second, b"two")
    assert _issue(shop, code, _gather(shop, code), b"two")[0] == 2


def test_the_anchor_that_is_kept_is_the_one_on_the_paper(shop):
    code = shop.ready()
    gathered = _gather(shop, code)
    shop.order(customer="")  # somebody else works meanwhile
    _, seq, digest = _issue(shop, code, gathered, b"one")
    assert gathered.view.imprint.audit_head == f"{seq} {digest[:16]}"
    assert shop.read(lambda session: session.get_one(AuditEntry, seq).entry_hash) == digest


# --- after the run


@pytest.mark.parametrize(
    "changes", [{"flip": "up-down"}, {"bleed": parse_length("3mm")}, {"fit": "pad"}, {"distance": parse_length("2m")}]
)
def test_what_the_file_shows_does_not_change_any_more(shop, changes):
    code = shop.ready()
    with pytest.raises(Refused, match="interlaced for this job already"):
        shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes=changes))


def test_price_number_and_title_may_still_change_after_the_run(shop):
    code = shop.ready(quantity=2)
    changes = {"price": 40, "quantity": 3, "artwork": "Kites", "width": parse_length("70mm")}
    shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes=changes))
    assert shop.read(lambda session: (job(session, code).quantity, job(session, code).artwork)) == (3, "Kites")


def test_fewer_pieces_than_were_ordered_may_be_what_has_gone_out_already(shop):
    code = shop.ready(quantity=1)
    shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 2}))
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    assert shop.read(lambda session: job(session, code).ended_at) is None
    shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 1}))
    assert shop.read(lambda session: job(session, code).order.closed_at) is not None
    with pytest.raises(Refused, match="has gone out"):
        shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 5}))


# --- out of use


def test_a_check_that_passes_meanwhile_did_not_take_the_machine_out_of_use(shop):
    shop.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Rollers"), reason="the stop sticks"
        )
    )
    out_at = shop.now
    shop.wait(days=1)
    shop.check_machine()

    def sheet(session, by):
        desk = smallpapers.Desk(by, shop.shop.settings.own_safety_path, "http://127.0.0.1/")
        return smallpapers.out_of_use(session, desk, one(session, Machine, name="Rollers").code)

    assert shop.act(sheet, who="Otto").since == f"{out_at.astimezone():%Y-%m-%d %H:%M}"


# --- the trail keeps no name


def test_a_pictures_file_name_never_enters_the_trail(shop, tmp_path):
    names = ("Imke at the beach.jpg", "Imke again.jpg")
    for name, photograph in zip(names, PHOTOGRAPHS, strict=True):
        (tmp_path / name).write_bytes(photograph.read_bytes())
    code = shop.order(customer="", files=[tmp_path / name for name in names])
    shop.act(
        lambda session, by: pictures.swap_order(
            session,
            by,
            job=job(session, code),
            codes=[row.code for row in pictures.current(job(session, code))][::-1],
        )
    )
    shop.choose_pitch(code)
    run_id = _ask(shop, code)
    shop.shop.store.drop(shop.read(lambda session: pictures.current(job(session, code))[0].file.sha256))
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    assert "Imke again.jpg" in shop.read(lambda session: session.get_one(Run, run_id).trouble)
    shop.act(
        lambda session, by: pictures.remove_picture(session, by, picture=pictures.current(job(session, code))[0])
    )
    bodies = shop.read(lambda session: [row.body for row in session.execute(select(AuditEntry)).scalars()])
    assert [body for body in bodies if "Imke" in body] == []
    assert any("picture 1 is missing" in body for body in bodies)


def test_a_customer_who_moves_is_told_by_hashes_of_the_old_and_the_new(shop):
    wish = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right")

    def place(contact):
        shop.act(
            lambda session, by: orders.place_order(
                session,
                by,
                shop.shop.settings.own_safety_path,
                customer_name="Pellworm Kites",
                contact=contact,
                wish=wish,
            )
        )

    for contact in ("Quay 7", "", "Lock 3"):
        place(contact)
    customer = shop.read(lambda session: one(session, Customer))
    told = shop.read(
        lambda session: [
            json.loads(entry.body)
            for entry in audit.entries_for(session, f"customer:{one(session, Customer).code}")
        ]
    )
    quay, lock = (audit.keyed_hash(customer.hash_key, contact) for contact in ("Quay 7", "Lock 3"))
    assert [(act["old"].get("contact"), act["new"]["contact"]) for act in told] == [
        (None, quay),
        (None, quay),
        (quay, lock),
    ]
