"""From a machine's or a pitch's page back to the work that somebody came from; nowhere else."""

import re

import pytest

from logbook.actions import printers
from logbook.records.machines import Machine
from logbook.records.pitch import PitchOnRecord
from support.small_shop import PRINTER_FACTS, one, prints


def _back(answer):
    found = re.search(r'<p class="back"><a href="([^"]*)">← Back to ([^<]*)</a>', answer.get_data(as_text=True))
    return found and (found[1], found[2])


@pytest.fixture
def rollers(office):
    return office.read(lambda session: one(session, Machine, name="Rollers").code)


def test_from_the_sheet_to_the_machine_and_its_forms_and_back(desk, office, rollers):
    code = office.ready()
    office.sign(code, "print")
    office.wait(hours=25)
    office.sign(code, "dry")
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    # an address that only takes a form, as it stays in the bar after a refusal, leads to the page it belongs to
    assert desk.get(f"/sheet/{sheet}/rollers").headers["Location"] == f"/sheet/{sheet}"
    assert desk.get("/sign-out").status_code == 405
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    for said in ("Stops of Rollers:", "Isolator:", "Somebody is caught:"):
        assert said in page
    assert "NOT SET" not in desk.get("/safety/first-aid").get_data(as_text=True)
    assert '<p class="freeing"><b>Rollers:</b>' in desk.get("/safety/first-aid").get_data(as_text=True)
    link = re.search(rf'href="(/machines?/{rollers}[^"]*)"', page)[1]
    there = desk.get(link)
    assert _back(there) == (f"/sheet/{sheet}", "the sheet")
    form = {"from": f"/sheet/{sheet}", "what": "note", "note": "belt looked at", "request_id": "n"}
    action = re.search(r'action="([^"]*/event)"', there.get_data(as_text=True))[1]
    refused = desk.post(action, data={"from": f"/sheet/{sheet}"})
    assert _back(refused) == (f"/sheet/{sheet}", "the sheet")
    kind = re.search(r'<select[^>]*id="what"[^>]*>\s*<option[^>]*value="([^"]+)"', there.get_data(as_text=True))[1]
    done = desk.post(action, data={**form, "what": kind})
    assert _back(desk.get(done.headers["Location"])) == (f"/sheet/{sheet}", "the sheet")


def test_from_the_job_to_its_pitch_and_back(desk, office):
    code = office.ready()
    pitch = office.read(lambda session: one(session, PitchOnRecord, origin="carried over").code)
    link = re.search(rf'href="(/pitch/{pitch}[^"]*)"', desk.get(f"/job/{code}").get_data(as_text=True))[1]
    assert _back(desk.get(link)) == (f"/job/{code}", "the job")
    chooser = desk.get(f"/job/{code}/pitch").get_data(as_text=True)
    new = re.search(r'href="(/pitch/new[^"]*)"', chooser)[1].replace("&amp;", "&")
    assert _back(desk.get(new)) == (f"/job/{code}/pitch", "the pitches for the job")


def test_from_a_new_test_to_its_printer_and_back_to_what_was_chosen(desk, office):
    code = office.ready()
    office.act(
        lambda session, by: printers.describe(
            session,
            by,
            machine=one(session, Machine, name="Printer"),
            values={**PRINTER_FACTS, "native_dpi": "300", "scaling_off": ""},
        )
    )
    chooser = desk.get(f"/job/{code}/pitch").get_data(as_text=True)
    new = re.search(r'href="(/pitch/new[^"]*)"', chooser)[1].replace("&amp;", "&")
    link = re.search(r'href="(/machine[^"]*)">Describe', desk.get(new).get_data(as_text=True))[1].replace("&amp;", "&")
    back, words = _back(desk.get(link))
    assert words == "the new pitch test"
    again = desk.get(back.replace("&amp;", "&"))
    assert _back(again) == (f"/job/{code}/pitch", "the pitches for the job")
    chosen = r'<option selected value="([A-Z0-9]{8})"'
    assert re.findall(chosen, again.get_data(as_text=True)) == re.findall(chosen, desk.get(new).get_data(as_text=True))


@pytest.mark.parametrize(
    "told",
    [
        "/pitch/new",
        "/pitch/new?x=<b>",
        "/pitch/new?x=1#y",
        "https://elsewhere.example/job/ABCDEFGH",
        "//elsewhere.example",
        "/job/ABCDEFGH/../../shop",
        "/sign-out",
        "javascript:alert(1)",
        "/job/ABCDEFGH?x=1",
        "",
    ],
)
def test_no_other_address_is_followed(desk, told):
    assert _back(desk.get("/machines", query_string={"from": told})) is None


def test_other_pages_show_no_way_back(desk):
    assert _back(desk.get("/orders", query_string={"from": "/job/ABCDEFGH"})) is None
