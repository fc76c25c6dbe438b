"""A new machine asks what its kind needs, and no more at first."""

import re
from html import unescape

import pytest

from logbook.records.machines import Machine
from support.small_shop import one


@pytest.mark.parametrize(
    ("kind", "asked", "not_asked"),
    [
        ("printer", ["dpi"], ["drive", "cutting", "heated"]),
        ("laminator", ["drive", "heated"], ["dpi", "cutting"]),
        ("trimmer", ["drive", "cutting"], ["dpi", "heated"]),
    ],
)
def test_each_kind_asks_its_own(desk, kind, asked, not_asked):
    page = desk.get(f"/machines/new?kind={kind}").get_data(as_text=True)
    assert all(f'name="{name}"' in page for name in asked)
    assert not any(f'name="{name}"' in page for name in not_asked)


def test_a_trimmer_says_how_it_cuts_since_its_cautions_hang_on_it(desk, office):
    sent = {"kind": "trimmer", "name": "Gerda", "drive": "hand", "request_id": "a"}
    refused = desk.post("/machines/new", data=sent)
    assert refused.status_code == 422
    assert "Say how it cuts" in refused.get_data(as_text=True)
    assert desk.post("/machines/new", data=sent | {"cutting": "guillotine"}).status_code == 303
    assert office.read(lambda session: one(session, Machine, name="Gerda").cutting) == "guillotine"


def test_a_kind_that_is_none_begins_with_a_laminator(desk):
    assert "A new roller laminator" in desk.get("/machines/new?kind=kettle").get_data(as_text=True)


def _facts(desk, code):
    """The facts as their form holds them."""
    page = desk.get(f"/machine/{code}").get_data(as_text=True)
    form = unescape(re.search(rf'<form method="post" action="/machine/{code}/facts".*?</form>', page, re.DOTALL)[0])
    areas = re.findall(r'<textarea[^>]*name="([^"]+)"[^>]*>\s*(.*?)</textarea>', form, re.DOTALL)
    return dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*?value="([^"]*)"', form)) | dict(areas)


@pytest.mark.parametrize("name", ["Rollers", "Printer"])
def test_how_wide_a_sheet_it_takes_is_written_down_later_too(desk, office, name):
    code = office.read(lambda session: one(session, Machine, name=name).code)
    form = _facts(desk, code)
    assert form["widest"] == ""
    assert desk.post(f"/machine/{code}/facts", data=form | {"widest": "25 in"}).status_code == 303
    kept = office.read(lambda session: one(session, Machine, name=name))
    assert str(kept.widest) == "25in"
    again = _facts(desk, code)
    assert again["widest"] == "25 in"
    assert {key: again[key] for key in ("manual", "isolator")} == {key: form[key] for key in ("manual", "isolator")}


@pytest.mark.parametrize(("typed", "taken"), [("70", False), ("-21", False), ("22,5", True), ("60", True)])
def test_a_room_that_cannot_be_is_another_unit_and_what_was_noted_is_shown(desk, office, typed, taken):
    """70 is a room in degrees Fahrenheit (21 °C, NIST SP 811: from memory); no room of a shop has 70 °C."""
    desk.post("/shop/my-units", data={"units": "mm", "mark": ",", "request_id": "m"})
    code = office.read(lambda session: one(session, Machine, name="Rollers").code)
    page = desk.get(f"/machine/{code}").get_data(as_text=True)
    keys = set(re.findall(r'type="radio" name="([^"]+)" value="yes"', page))
    mark = re.search(r'name="(decimal[^"]*|mark)"[^>]*value="([^"]*)"', page)
    sent = {**dict.fromkeys(keys, "yes"), **({mark[1]: mark[2]} if mark else {}), "temperature": typed}
    answer = desk.post(f"/machine/{code}/check", data=sent | {"request_id": "c"})
    assert answer.status_code == (303 if taken else 422)
    if taken:
        assert f"all answered yes; room temperature {typed} °C." in desk.get(f"/machine/{code}").get_data(as_text=True)
    else:
        assert "from -20 to 60 °C, or leave it out" in answer.get_data(as_text=True)
