"""The machine's page: what happened to it is noted there, and the record that brings it back."""

from logbook.records.machines import Machine
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
