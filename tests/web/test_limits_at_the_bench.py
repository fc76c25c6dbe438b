"""Measured numbers at the bench: the page says what is wanted, and each thing that is asked takes its own reason."""

import html
import re
from datetime import UTC, datetime

from logbook.actions import machines, materials, runs, sheets
from logbook.background.compute import work_on
from logbook.records.floor import Print, Run, Sheet
from logbook.records.materials import Lot
from support.small_shop import job, one, prints


def _sheet(office, code):
    return office.read(lambda session: prints(session, code)[0].sheet.code)


def _piece(office, code):
    return office.read(lambda session: prints(session, code)[0].code)


def _stands(office, table, code):
    return office.read(lambda session: one(session, table, code=code).stage)


def _with_marks(office):
    """The code of a sheet whose file has a scale bar in its waste."""
    code = office.order()
    office.approve(code)
    office.choose_pitch(code)
    wish = runs.RunWish(waste=True)
    run_id = office.act(lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=wish).id)
    work_on(office.shop, run_id, clock=lambda: office.now)
    office.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    office.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))
    return _sheet(office, code)


def test_trimming_knows_the_finished_size_and_asks_outside_it(desk, office):
    code = office.ready()  # 70 mm wide, 80 mm high
    office.mount(code)
    piece = _piece(office, code)
    office.act(lambda session, _: setattr(one(session, Print, code=piece), "stage", "trim"))
    office.act(
        lambda session, by: machines.add_machine(
            session, by, kind="trimmer", name="Wheel", drive="hand", cutting="rotary"
        )
    )
    page = html.unescape(desk.get(f"/print/{piece}").get_data(as_text=True))
    assert re.findall(r'class="signal">(\w+) <span>(C0[78])<', page) == [("CAUTION", "C08"), ("WARNING", "C07")], (
        "a wheel in its head, and the knife that is in reach as well"
    )
    assert "Wheel: today's machine check has not been signed; do it on its page." in page
    assert page.index("by hand: knife and rule") < page.index(">Wheel</option>"), "what may be used stands first"
    assert "70 mm ordered, ± 1.0 mm: 69.0 to 71.0 mm." in page
    assert "80 mm ordered, ± 1.0 mm: 79.0 to 81.0 mm." in page
    answer = desk.post(f"/print/{piece}/sign/trim", data={"trim-width": "70.4", "trim-height": "77"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Measure the height. Written: 77 mm, outside 79.0 to 81.0 mm." in page
    assert 'name="reason-limit-trim-height"' in page
    assert 'name="reason-limit-trim-width"' not in page
    assert _stands(office, Print, piece) == "trim"
    given = {"trim-width": "70.4", "trim-height": "77", "reason-limit-trim-height": "cut round a chip"}
    assert desk.post(f"/print/{piece}/sign/trim", data=given).status_code == 303
    assert "reason: cut round a chip" in desk.get(f"/print/{piece}").get_data(as_text=True)


def test_the_scale_bar_says_how_long_it_is_and_asks_outside(desk, office):
    sheet = _with_marks(office)
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "in the file, ± " in page
    length = int(page.split(" mm in the file")[0].rsplit(">", 1)[1])
    assert 10 <= length <= 100
    answer = desk.post(f"/sheet/{sheet}/sign/print", data={"print-scale": str(length * 0.9)})
    assert answer.status_code == 422
    assert 'name="reason-limit-print-scale"' in answer.get_data(as_text=True)
    assert desk.post(f"/sheet/{sheet}/sign/print", data={"print-scale": f"{length}.2"}).status_code == 303


def test_a_reason_for_a_wait_does_not_let_a_bow_pass(desk, office):
    code = office.ready()
    sheet = _sheet(office, code)
    office.act(lambda session, _: setattr(one(session, Sheet, code=sheet), "stage", "dry"))
    office.act(lambda session, _: setattr(one(session, Sheet, code=sheet), "stage", "dwell"))
    desk_now = {"dwell-bow": "9"}
    page = desk.post(f"/sheet/{sheet}/sign/dwell", data=desk_now).get_data(as_text=True)
    assert 'name="reason-limit-dwell-bow"' in page
    wrong = {**desk_now, "reason-wait-rest-before-trimming": "the customer waits"}
    assert desk.post(f"/sheet/{sheet}/sign/dwell", data=wrong).status_code == 422
    assert _stands(office, Sheet, sheet) == "dwell"
    right = {**desk_now, "reason-limit-dwell-bow": "under boards since"}
    assert desk.post(f"/sheet/{sheet}/sign/dwell", data=right).status_code == 303


def test_two_asks_show_two_fields_and_both_reasons_are_on_record(desk, office):
    code = office.ready()
    sheet = _sheet(office, code)
    office.sign(code, "print")
    office.wait(hours=25)
    office.sign(code, "dry")
    office.roll(code, "adhesive")
    office.now = datetime.now(UTC)  # the desk's clock: signed a moment ago
    office.roll(code, "laminate")
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert page.count('name="reason-') == 1
    one_reason = {"dwell-bow": "9", "reason-wait-rest-before-trimming": "the customer waits"}
    answer = desk.post(f"/sheet/{sheet}/sign/dwell", data=one_reason)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Reason for: Rest before trimming" in page
    assert "Reason for: Measure the bow before it goes on, best after 24 h" in page
    assert 'value="the customer waits"' in page
    both = {**one_reason, "reason-limit-dwell-bow": "under boards since"}
    assert desk.post(f"/sheet/{sheet}/sign/dwell", data=both).status_code == 303
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    bow = "Measure the bow before it goes on, best after 24 h"
    assert f"reason: Rest before trimming: the customer waits; {bow}: under boards since" in page


def test_what_is_no_number_is_said_beside_its_field(desk, office):
    sheet = _sheet(office, office.ready())
    page = desk.post(f"/sheet/{sheet}/sign/print", data={"print-scale": "about 100"}).get_data(as_text=True)
    assert 'id="print-scale-fault"' in page
    assert "&#39;about 100&#39; is not a number in mm; write digits alone." in page


def test_before_the_rollers_the_adhesive_is_named_and_one_in_doubt_is_not_offered(desk, office):
    code = office.ready()
    sheet = _sheet(office, code)
    office.act(lambda s, by: materials.add_lot(s, by, material=one(s, Lot, label="A-1").material, label="A-2").id)
    office.act(lambda session, _: setattr(one(session, Sheet, code=sheet), "stage", "adhesive"))
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert re.findall(r">film, (A-\d)", page.split('name="adhesive_lot"')[1]) == ["A-1", "A-2"], "the planned one first"
    office.act(lambda s, _: setattr(one(s, Lot, label="A-1"), "set_aside_reason", "lumpy"))
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "Lot A-1 was set aside: lumpy; choose another lot." in page
    assert re.findall(r">film, (A-\d)", page.split('name="adhesive_lot"')[1]) == ["A-2"]
