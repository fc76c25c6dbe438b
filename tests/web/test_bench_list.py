"""The bench: the earliest due of each stage, the rest one step behind, and the same waits as on each one's page."""

import html
import re
import tomllib
from datetime import date

from logbook import resources
from logbook.actions import benchfindings, benchlist, benchrecords, materials
from logbook.records.materials import Lot
from logbook.web.pages import bench
from support.small_shop import described_printer, one, prints, standing


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


def test_before_several_are_signed_stands_what_is_signed_and_what_can_hurt(desk, office):
    """The words and the cards are those of the shipped step list, read here without the program."""
    code = office.ready(quantity=2)
    for stage in ("print", "trim"):
        office.act(lambda session, _, stage=stage: _put_at(session, code, stage))
        part = html.unescape(desk.get("/bench").get_data(as_text=True)).split(f'id="at-{stage}"')[1]
        before, found = part.split("Sign the chosen ones")[0], _shipped(stage)
        signed = found["step"][-1]["text"].removeprefix("Sign: ")
        assert f"Each is signed: {signed}" in before
        assert "Read before you begin, not after" in before
        assert {*re.findall(r"\bC\d\d\b", before)} == {*found["cards"]}
    assert "C07: Knife blades" in before


def _put_at(session, code, stage):
    for piece in prints(session, code):
        if stage == "trim":
            piece.stage, piece.sheet.stage = "trim", "parted"


def _shipped(stage):
    stages = tomllib.loads((resources.folder("safety") / "steps.toml").read_text(encoding="utf-8"))["stage"]
    return next(one for one in stages if one["key"] == stage)


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
        listed[sheet.id] == benchfindings.wait_for(session, sheet) and listed[sheet.id].since is not None
        for sheet in standing(session, code, stage)
    ]


def _past_its_date(office, code):
    """Three sheets before the printer, on paper past its date; the last one's is another lot, and another printer's."""

    def change(session, by):
        old = one(session, Lot, label="P-1")
        older = materials.add_lot(session, by, material=old.material, label="P-2", count=5)
        for lot in (old, older):
            lot.expires_on = date(2026, 1, 31)
        last = prints(session, code)[2].sheet
        last.paper_lot, last.mode = older, described_printer(session, by, "Second printer", dpi="300")
        return [piece.sheet.code for piece in prints(session, code)]

    return office.act(change)


def _reason_fields(page):
    return re.findall(r'<label for="(reason-[a-z0-9-]+)">([^<]*)', page)


def test_several_are_signed_with_a_reason_for_each_thing_that_is_asked(desk, office):
    code = office.ready(quantity=3)
    sheets = _past_its_date(office, code)
    assert "reason-" not in desk.get("/bench").get_data(as_text=True)

    answer = desk.post("/bench/print/sign", data={"chosen": sheets})
    page = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 422
    numbers = office.read(lambda session: [piece.sheet.number for piece in prints(session, code)])
    (first, of_two), (second, of_last) = _reason_fields(page)
    assert [number in of_two for number in numbers] == [True, True, False], "what is the same of two is asked once"
    assert [number in of_last for number in numbers] == [False, False, True]
    assert [f'value="{sheet}" checked' in page for sheet in sheets] == [True] * 3

    answer = desk.post("/bench/print/sign", data={"chosen": sheets, first: "tried on a scrap"})
    page = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 422
    assert 'value="tried on a scrap"' in page
    assert "P-2 was to be used before 2026-01-31." in page
    assert ">Give a reason for this, too," in page  # what asks stands in the line of help, not twice
    assert len(office.read(lambda session: standing(session, code, "print"))) == 3, "nothing was signed"

    given = {"chosen": [*sheets, sheets[0]], first: "tried on a scrap", second: "the last of it"}
    assert desk.post("/bench/print/sign", data=given).status_code == 303
    assert office.read(lambda session: _signatures(session, code)) == [
        ("tried on a scrap", "Printer"), ("tried on a scrap", "Printer"), ("the last of it", "Second printer"),
    ]  # fmt: skip


def _signatures(session, code):
    rows = [row for piece in prints(session, code) for row in benchrecords.records_of(session, piece.sheet)]
    return [(row.reason, row.machine.name) for row in rows if row.step_key == "print-sign"]


def test_a_stop_of_one_of_the_chosen_stays_a_stop(desk, office):
    code = office.ready(quantity=3)
    sheets = _past_its_date(office, code)
    office.act(lambda session, _: setattr(prints(session, code)[1], "set_aside_reason", "a scratch"))
    fields = dict(_reason_fields(desk.post("/bench/print/sign", data={"chosen": sheets}).get_data(as_text=True)))
    given = dict.fromkeys(fields, "it was tried")
    answer = desk.post("/bench/print/sign", data={"chosen": sheets, **given})
    assert answer.status_code == 422
    assert "was set aside: a scratch" in answer.get_data(as_text=True)
    assert len(office.read(lambda session: standing(session, code, "print"))) == 3


def test_what_a_list_cannot_take_is_said_where_it_was_sent(desk, office):
    code = office.ready(quantity=2)
    sheets = office.read(lambda session: [piece.sheet.code for piece in prints(session, code)])
    for stage, chosen, said in [
        ("print", [], "Choose at least one."),
        ("adhesive", sheets, "signed on each one&#39;s own page"),
        ("dry", sheets, "is at the stage"),
    ]:
        answer = desk.post(f"/bench/{stage}/sign", data={"chosen": chosen})
        assert answer.status_code == 422
        assert said in answer.get_data(as_text=True)


def test_a_tick_stays_when_a_reason_is_missing(desk, office):
    shipped = (resources.folder("safety") / "steps.toml").read_text(encoding="utf-8")
    ticked = re.sub('(?m)^revision = .*$', 'revision = "own 2"', shipped, count=1)
    ticked = re.sub('(key = "print-lay"\ntext = .*\n)', r'\1record = "tick"\n', ticked)
    (office.shop.settings.own_safety_path / "steps.toml").write_text(ticked, encoding="utf-8")
    office.untouched = False  # it has a step list of its own
    code = office.ready(quantity=3)
    sheet = _past_its_date(office, code)[0]
    box = '<input type="checkbox" name="print-lay" value="yes"'
    assert f"{box}>" in desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    answer = desk.post(f"/sheet/{sheet}/sign/print", data={"print-lay": "yes"})
    assert answer.status_code == 422
    assert f"{box} checked>" in answer.get_data(as_text=True)
