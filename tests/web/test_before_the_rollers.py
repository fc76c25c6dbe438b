"""The page before the rollers: only whoever is named for the machine is offered as a helper."""

import re
from datetime import UTC, datetime, timedelta

from logbook.actions import people
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.people import Person
from support.small_shop import one, prints


def test_helpers_are_offered_among_those_who_are_named_for_the_laminator(desk, office):
    office.act(
        lambda session, by: people.add_person(session, by, name="Ute", password="ridge-and-valley", role="operator")
    )
    code = office.ready()
    office.sign(code, "print")
    office.wait(hours=25)
    office.sign(code, "dry")
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    offered = re.search(r'<select[^>]*id="helper".*?</select>', page, re.DOTALL)[0]
    # only people who are named for a machine take part at it: common practice, no source
    assert re.findall(r">([^<>]+)</option>", offered) == [
        "choose: who helps, or nobody",
        "nobody: I work alone",
        "Otto",
    ]


def _two_at_the_adhesive(office):
    """Codes of two jobs whose sheets wait for adhesive now, none of it planned; the first is at the rollers."""
    codes = office.ready(), office.ready()
    office.now = datetime.now(UTC) - timedelta(hours=26)
    for code in codes:
        office.sign(code, "print")
    office.now = datetime.now(UTC)
    for code in codes:
        office.sign(code, "dry")

    def plan_none(session, _by):
        for code in codes:
            prints(session, code)[0].sheet.adhesive_lot = None

    office.act(plan_none)
    return codes


def _set_up(desk, office, code, **said):
    """Read and tick everything at a sheet's page; the answer."""
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    rollers = office.read(lambda session: one(session, Machine, name="Rollers").code)
    form = {"request_id": f"s-{code}-{len(said)}", "machine": rollers}
    return desk.post(f"/sheet/{sheet}/rollers", data={**form, **said})


def test_the_adhesive_on_the_rollers_stands_first_for_the_next_sheet_and_a_new_helper_finds_the_ticks(desk, office):
    first, second = _two_at_the_adhesive(office)
    office.check_machine()
    sheet = office.read(lambda session: prints(session, second)[0].sheet.code)
    lots = re.compile(r'<select[^>]*id="adhesive_lot".*?</select>', re.DOTALL)
    before = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert re.findall(r">([^<>]+)</option>", lots.search(before)[0])[0] == "not said"
    assert "Somebody else helps now" not in before
    ticks = re.findall(r'type="checkbox" name="([^"]+)"', before)
    lot = office.read(lambda session: one(session, Lot, label="A-1").code)
    said = {"helper": "", "alone_with": "Jon calls at noon", **dict.fromkeys(ticks, "yes")}
    assert _set_up(desk, office, first, adhesive_lot=lot, **said).status_code == 303
    office.sign(first, "adhesive")
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert re.findall(r'<option[^>]*value="([^"]*)"', lots.search(page)[0])[0] == lot
    assert "As on the sheet before" in page
    anew = page[page.index("Somebody else helps now") :].split("</details>")[0]
    safety = set(re.findall(r'type="checkbox" name="([^"]+)"', anew))
    assert safety
    assert safety <= set(ticks)
    # with Otto beside her the ticks are given anew in one go: no refusal had to ask for them
    otto = office.read(lambda session: one(session, Person, name="Otto").code)
    plain = {"helper": otto, "adhesive_lot": lot, **dict.fromkeys(set(ticks) - safety, "yes")}
    assert _set_up(desk, office, second, **plain).status_code == 422
    assert _set_up(desk, office, second, **plain, **dict.fromkeys(safety, "yes")).status_code == 303
    assert office.read(lambda session: prints(session, second)[0].sheet.adhesive_lot.label) == "A-1"
    # while the rollers move nothing leads away to be read
    assert "Before the rollers" not in (moving := desk.get(f"/sheet/{sheet}").get_data(as_text=True))
    assert 'href="/words"' not in moving
