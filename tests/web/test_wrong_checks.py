"""The machine's page: a check is withdrawn there, and what it touched stands there afterwards."""

from logbook.records.machines import Machine
from logbook.records.people import Person
from support.small_shop import one, prints


def test_a_wrong_check_is_chosen_withdrawn_and_shown_with_its_prints(desk, office):
    code = office.ready()
    office.mount(code)
    machine, checks, serial = office.read(
        lambda session: (
            one(session, Machine, name="Rollers").code,
            [check.id for check in one(session, Machine, name="Rollers").checks],
            prints(session, code)[0].serial,
        )
    )
    assert "A check was wrong" in desk.get(f"/machine/{machine}").get_data(as_text=True)
    nothing = desk.post(f"/machine/{machine}/wrong-check", data={"check": "", "reason": "not tried", "request_id": "a"})
    assert nothing.status_code == 422
    assert "Choose the check that was wrong." in nothing.get_data(as_text=True)
    for number in checks:
        sent = {"check": str(number), "reason": "the stop was not tried", "request_id": f"b{number}"}
        assert desk.post(f"/machine/{machine}/wrong-check", data=sent).status_code == 303
    page = desk.get(f"/machine/{machine}").get_data(as_text=True)
    assert "withdrawn by Olga: the stop was not tried" in page
    assert serial in page
    assert "A check was wrong" not in page


def test_a_name_is_taken_off_a_machine_on_its_page(desk, office):
    machine, otto = office.read(
        lambda session: (one(session, Machine, name="Rollers").code, one(session, Person, name="Otto").code)
    )
    sent = {"person": otto, "reason": "works elsewhere now"}
    assert desk.post(f"/machine/{machine}/unauthorise", data=sent).status_code == 303
    assert "Otto until" not in desk.get(f"/machine/{machine}").get_data(as_text=True)
    again = desk.post(f"/machine/{machine}/unauthorise", data=sent | {"request_id": "again"})
    assert "Otto is not named for Rollers any more" in again.get_data(as_text=True)
