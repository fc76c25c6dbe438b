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
