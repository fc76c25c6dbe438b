"""Two people at one form: the second is told who changed what since it was shown, and keeps what was typed."""

import re

import pytest

from logbook.actions import machines, orders, shop, texts
from logbook.records.floor import Sheet
from logbook.records.machines import Machine
from support.small_shop import job, one, prints


def _fields(desk, path, action=""):
    """Every named field of the form that leads to ``action``, as the browser would send it."""
    page = desk.get(path).get_data(as_text=True)
    form = re.search(rf'<form method="post" action="{action or path}".*?</form>', page, re.DOTALL)[0]
    sent = dict(re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', form))
    sent |= dict(re.findall(r'<textarea[^>]*?name="([^"]+)"[^>]*>\s*([^<]*)</textarea>', form))
    return sent


def test_a_jobs_change_that_met_another_is_held_back_once(desk, office):
    code = office.order()
    path = f"/job/{code}/change"
    shown = _fields(desk, path) | {"quantity": "3", "artwork": "Harbour", "flip": "left-right"}
    office.act(
        lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 7}), who="Otto"
    )
    answer = desk.post(path, data=shown)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert re.search(r"Changed by Otto at \d{4}-\d\d-\d\d \d\d:\d\d: “[^”]+” 1 → 7\.", page)
    assert 'value="3"' in page
    assert "Harbour" in page
    assert office.read(lambda session: job(session, code).quantity) == 7
    again = shown | {"seen": re.search(r'name="seen" value="(\d+)"', page)[1]}
    assert desk.post(path, data=again).status_code == 303
    assert office.read(lambda session: job(session, code).quantity) == 3


def test_what_was_changed_before_the_form_was_shown_holds_nobody_up(desk, office):
    code = office.order()
    office.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 7}))
    shown = _fields(desk, f"/job/{code}/change") | {"quantity": "3", "flip": "left-right"}
    assert desk.post(f"/job/{code}/change", data=shown).status_code == 303


def test_another_act_on_the_same_object_holds_nobody_up(desk, office):
    code = office.order()
    shown = _fields(desk, f"/job/{code}/change") | {"quantity": "3", "flip": "left-right"}
    office.approve(code)
    assert desk.post(f"/job/{code}/change", data=shown).status_code == 303


def _machine(office):
    code = office.read(lambda session: one(session, Machine, name="Rollers").code)
    return f"/machine/{code}", f"/machine/{code}/facts", {"manual": "drawer B"}


def _facts(_office):
    return "/shop", "/shop/facts", {"dressings": "drawer B"}


def _wording(_office):
    return "/shop/texts", "/shop/texts", {"late": "drawer B"}


def _change_machine(session, by):
    values = {name: "written down" for name in machines.FACT_FIELDS} | {"manual": "drawer C"}  # noqa: C420
    machines.set_machine_facts(session, by, machine=one(session, Machine, name="Rollers"), values=values)


@pytest.mark.parametrize(
    ("where", "other", "told"),
    [
        (_machine, _change_machine, "Maker&#39;s manual” written down → drawer C"),
        (
            _facts,
            lambda session, by: shop.set_facts(session, by, {"dressings": "drawer C"}),
            "Where dressings are kept” nothing → drawer C",
        ),
        (_wording, lambda session, by: texts.set_wordings(session, by, {"late": "drawer C"}), "→ drawer C"),
    ],
)
def test_other_forms_say_it_too(desk, office, where, other, told):
    path, action, typed = where(office)
    shown = _fields(desk, path, action) | typed
    office.act(other, who="Otto")
    answer = desk.post(action, data=shown)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert "Changed by Otto at " in page
    assert told in page
    assert "drawer B" in page
    again = shown | {"seen": re.search(r'name="seen" value="(\d+)"', page)[1]}
    assert desk.post(action, data=again).status_code == 303


def test_whoever_signs_second_is_told_who_was_first(desk, office):
    code = office.ready()
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    office.sign(code, "print", who="Otto", values={"print-scale": "100"})
    answer = desk.post(f"/sheet/{sheet}/sign/print", data={"print-scale": "101"})
    assert answer.status_code == 409
    told = answer.get_data(as_text=True).replace("&#39;", "'")
    words = r"Otto signed 'print' of Sheet 26-0001-A-S1 at [-\d]+ [\d:]+ already; it stands at 'dry' now"
    assert re.search(words, told)
    assert "Measure the printed scale bar. 100 mm is on record; you typed 101." in told
    assert office.read(lambda session: one(session, Sheet, code=sheet).stage) == "dry"


def test_a_second_click_of_the_same_form_is_no_change_by_somebody_else(desk, office):
    code = office.order()
    shown = _fields(desk, f"/job/{code}/change") | {"quantity": "3", "flip": "left-right", "request_id": "same"}
    assert [desk.post(f"/job/{code}/change", data=shown).status_code for _ in range(2)] == [303, 303]
