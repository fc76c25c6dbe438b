"""The bench: the earliest due of each stage, the rest one step behind, and the same waits as on each one's page."""

from logbook.actions import bench as actions
from logbook.actions import benchlist
from logbook.web.pages import bench
from support.small_shop import prints, standing


def test_a_long_stage_shows_its_first_and_the_rest_behind_a_link(desk, office, monkeypatch):
    code = office.ready(quantity=3)
    numbers = office.read(lambda session: [piece.sheet.number for piece in prints(session, code)])
    monkeypatch.setattr(bench, "MOST_SHOWN", 2)
    page = desk.get("/bench").get_data(as_text=True)
    assert [number in page for number in numbers] == [True, True, False]
    assert "Show all 3 of printing" in page
    whole = desk.get("/bench?all=print").get_data(as_text=True)
    assert all(number in whole for number in numbers)
    assert "Show all" not in whole


def test_the_waits_of_many_are_those_of_each(office):
    code = office.ready(quantity=2)
    office.sign(code, "print")
    assert office.read(lambda session: _waits(session, code, "dry")) == [True, True]
    office.wait(hours=25)
    office.sign(code, "dry")
    office.roll(code, "adhesive")
    office.roll(code, "laminate")
    assert office.read(lambda session: _waits(session, code, "dwell")) == [True, True]


def _waits(session, code, stage):
    listed = {one.sheet: one.wait for one in benchlist.standing(session) if one.stage == stage}
    return [
        listed[sheet.id] == actions.wait_for(session, sheet) and listed[sheet.id].since is not None
        for sheet in standing(session, code, stage)
    ]
