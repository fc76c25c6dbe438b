"""The machine's page: what happened to it is noted there, and the record that brings it back."""

import io
import re
from datetime import datetime, timedelta

from sqlalchemy import func, select

from logbook.records.floor import JobPitch
from logbook.records.machines import Machine, MachineCheck
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import one


def test_a_service_is_noted_and_recorded_field_by_field(desk, office):
    code = office.read(lambda session: one(session, Machine, name="Printer").code)
    sent = {"what": "service", "note": "", "request_id": "a"}
    refused = desk.post(f"/machine/{code}/event", data=sent)
    assert refused.status_code == 422
    assert 'id="note-fault">This is needed.' in refused.get_data(as_text=True)
    unsaid = desk.post(f"/machine/{code}/event", data={**sent, "note": "feed rollers cleaned"})
    assert "Say what this service means" in unsaid.get_data(as_text=True)
    done = desk.post(
        f"/machine/{code}/event", data={**sent, "note": "feed rollers cleaned", "effect": "new scale", "mode": ""}
    )
    assert done.status_code == 303
    page = desk.get(f"/machine/{code}").get_data(as_text=True)
    assert "Out of use: service: feed rollers cleaned" in page
    assert "pitches found before it ask" in page
    assert "Stops proven" not in page
    back = {"done": "cleaned", "done_by": "Otto", "guards_back": "y", "request_id": "b"}
    assert "both are needed" in desk.post(f"/machine/{code}/back", data=back).get_data(as_text=True)
    assert desk.post(f"/machine/{code}/back", data={**back, "test_piece": "y"}).status_code == 303
    assert "guards back, test piece run" in desk.get(f"/machine/{code}").get_data(as_text=True)


def _write_down(office, freeing):
    def work(session, _by):
        one(session, Machine, name="Rollers").freeing_procedure = freeing

    office.act(work)


def test_a_check_on_paper_is_entered_with_its_photograph_and_counts_for_its_day(desk, office):
    code, otto, items = office.read(
        lambda session: (
            one(session, Machine, name="Rollers").code,
            one(session, Person, name="Otto").code,
            ("guards", "stops", "foot-switch", "rollers", "zero", "cord", "floor", "freeing", "people"),
        )
    )
    address, then = f"/machine/{code}/check-from-paper", datetime.now().astimezone() - timedelta(minutes=3)
    assert address in desk.get(f"/machine/{code}").get_data(as_text=True)
    sent = {"person": otto, "at": f"{then:%Y-%m-%dT%H:%M}", **dict.fromkeys(items, "yes")}
    without = desk.post(address, data=sent)
    assert "Photograph the page first." in without.get_data(as_text=True)

    def photographed(**more):
        page = {"page": (io.BytesIO(PHOTOGRAPHS[0].read_bytes()), "page.jpg"), "request_id": str(len(more))}
        return desk.post(address, data=sent | page | more, content_type="multipart/form-data")

    assert 'id="stops-fault">Not answered yet' in photographed(stops="").get_data(as_text=True)
    later = f"{datetime.now().astimezone() + timedelta(hours=2):%Y-%m-%dT%H:%M}"
    assert "has not come yet" in photographed(at=later, stops="yes").get_data(as_text=True)
    known = office.read(lambda session: one(session, Machine, name="Rollers").freeing_procedure)
    _write_down(office, "")
    assert "is freed is not written down yet" in photographed(guards="yes").get_data(as_text=True)
    _write_down(office, known)
    assert office.read(lambda session: session.execute(select(func.count(MachineCheck.id))).scalar_one()) == 0
    assert photographed().status_code == 303
    page = desk.get(f"/machine/{code}").get_data(as_text=True)
    assert "entered by Olga" in page
    check = office.read(lambda session: one(session, Machine, name="Rollers").checks[-1])
    assert (check.person_id, check.entered_by) == (office.read(lambda s: one(s, Person, name="Otto").id), "Olga")
    assert desk.get(f"/photograph/{check.page_sha256}").mimetype == "image/jpeg"
    assert desk.post(f"/machine/{code}/event", data={"what": "adjustment", "note": "gap set anew"}).status_code == 303
    after = desk.get(f"/machine/{code}").get_data(as_text=True)
    assert "It counts no more: something was done to the machine since." in after
    assert "Today's is not signed yet" in after
    assert re.search(r"Rollers</a>.*?not checked today", desk.get("/machines").get_data(as_text=True), re.DOTALL)
    assert ("Today's is not signed yet" in page) == (then.date() != datetime.now().astimezone().date())


def test_a_pitch_that_two_rules_ask_about_takes_a_reason_for_each(desk, office):
    job_code = office.order(customer="")
    machine, known = office.read(
        lambda session: (one(session, Machine, name="Printer").code, one(session, PitchOnRecord).code)
    )
    changed = {"what": "head change", "note": "new head", "effect": "new scale", "request_id": "a"}
    assert desk.post(f"/machine/{machine}/event", data=changed).status_code == 303
    page = desk.get(f"/job/{job_code}/pitch").get_data(as_text=True)
    assert page.count(f'id="{known}reason-') >= 2
    sent = {"pitch": known, "reason-origin": "it served for years", "request_id": "b"}
    answer = desk.post(f"/job/{job_code}/pitch", data=sent)
    assert answer.status_code == 422
    assert 'id="reason-printer-history-fault"' in answer.get_data(as_text=True)
    assert 'value="it served for years"' in answer.get_data(as_text=True)
    both = sent | {"reason-printer-history": "a test print lay under the lens", "request_id": "c"}
    assert desk.post(f"/job/{job_code}/pitch", data=both).status_code == 303
    kept = office.read(lambda session: one(session, JobPitch).reason)
    assert kept == "origin: it served for years; printer history: a test print lay under the lens"
