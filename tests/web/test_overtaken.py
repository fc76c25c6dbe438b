"""The job's page and the run's page after the job's pitch was changed: neither goes on as if nothing had happened."""

import html
from datetime import UTC, datetime

from sqlalchemy import select

from logbook.actions import leaving, pitch, pitchchoices, sheets
from logbook.records.floor import Run, Sheet
from logbook.records.pitch import PitchOnRecord
from support.small_shop import job, one, prints


def _text(desk, address):
    return html.unescape(desk.get(address).get_data(as_text=True))


def _moved_on(office):
    """Job and run: finished, not accepted, and the job's pitch chosen anew since."""
    code = office.order(customer="")
    office.choose_pitch(code)
    office.run(code, accept=False)
    return code, _take_the_nominal(office, code)


def _take_the_nominal(office, code):
    """The lens maker's pitch for a job whose run was made at another; its run."""

    def choose(session, by):
        old = one(session, PitchOnRecord, origin="carried over")
        conditions = pitch.Conditions(lens_lot=old.lens_lot, mode=old.mode, paper=old.paper, axis=old.axis)
        nominal = pitch.take_nominal(session, by, conditions=conditions)
        pitchchoices.choose(session, by, job=job(session, code), pitch=nominal, reason="to compare")
        return one(session, Run).code

    return office.act(choose)


def test_next_says_interlace_anew_and_offers_nothing_to_accept(office, desk):
    code, run = _moved_on(office)
    for address in (f"/job/{code}", "/"):
        page = _text(desk, address)
        assert f"Interlace anew; do not go on with run {run}" in page
        assert f"Look at run {run} and accept it" not in page


def test_accepting_asks_for_a_reason_and_keeps_what_was_typed(office, desk):
    _, run = _moved_on(office)
    page = _text(desk, f"/run/{run}")
    assert "the job's pitch is now" in page
    answer = desk.post(f"/run/{run}/accept", data={"request_id": "a", "count": "3"})
    assert answer.status_code == 422
    assert "Give a reason to go on" in html.unescape(answer.get_data(as_text=True))
    assert 'value="3"' in answer.get_data(as_text=True)
    assert office.read(lambda session: one(session, Run).accepted_at) is None
    form = {"request_id": "b", "count": "1", "reason": "both are to be compared"}
    assert desk.post(f"/run/{run}/accept", data=form).status_code == 303
    assert office.read(lambda session: len(one(session, Run).sheets)) == 1
    assert "print the file at 100 %" in _text(desk, f"/run/{run}"), "whoever gave a reason is not asked again"


def test_a_run_that_was_overtaken_after_its_sheets_began_says_look_first(office, desk):
    page = _text(desk, f"/run/{_take_the_nominal(office, office.ready(customer=''))}")
    assert "Look first:" in page
    assert "print the file at 100 %" not in page
    assert "look before printing" in _text(desk, "/print-out/today/now")


def test_a_newer_run_takes_the_place_of_the_old_one(office, desk):
    code, old = _moved_on(office)
    office.run(code, accept=False)
    page = _text(desk, f"/job/{code}")
    assert "Interlace anew" not in page
    assert page.count("and accept it") == 1
    assert f"Look at run {old}" not in page


def test_a_sheet_that_waits_for_the_printer_says_that_the_pitch_changed(office, desk):
    code, _ = _moved_on(office)
    office.run(code)
    assert "print it" in _text(desk, f"/job/{code}")
    newest = office.read(lambda session: session.scalars(select(Run.code).order_by(Run.id.desc())).first())
    after = _text(desk, f"/run/{newest}")
    assert "<b>Next:</b> print the file at 100 %" in after
    assert "1 piece is ordered, and nothing is lacking any more: this would be one more than wanted." in after

    def back(session, by):
        old = one(session, PitchOnRecord, origin="carried over")
        pitchchoices.choose(session, by, job=job(session, code), pitch=old, reason="the old one served")

    office.act(back)
    page = _text(desk, f"/job/{code}")
    assert "look before printing it. This run was made at" in page


def test_a_run_whose_pitch_was_withdrawn_is_offered_nowhere(office, desk):
    code = office.ready(customer="")
    office.act(
        lambda session, by: leaving.decide_sheet(
            session, by, sheet=one(session, Sheet), kind="scrap", reason="never printed"
        )
    )
    run = office.read(lambda session: one(session, Run).code)
    assert f"1 more to print from run {run}" in _text(desk, f"/job/{code}")
    office.act(
        lambda session, by: pitch.withdraw(
            session, by, pitch=one(session, PitchOnRecord, origin="carried over"), reason="read upside down"
        )
    )
    for address in (f"/job/{code}", "/"):
        page = _text(desk, address)
        assert "Choose another pitch and interlace at it: the one of this job was withdrawn (read upside down)" in page
        assert "more to print" not in page
    assert "This pitch was withdrawn: read upside down" in _text(desk, f"/job/{code}")
    assert "Interlace again" not in _text(desk, f"/job/{code}")
    page = _text(desk, f"/run/{run}")
    assert "Do not print this file" in page
    assert "Start more sheets" not in page
    assert "Pitch withdrawn" in _text(desk, f"/job/{code}/traveller")
    assert "Withdrawn: read upside down" in _text(desk, f"/trace?q={run}")


def _withdraw(office):
    wrong = "read upside down"
    office.act(
        lambda session, by: pitch.withdraw(
            session, by, pitch=one(session, PitchOnRecord, origin="carried over"), reason=wrong
        )
    )


def test_sheets_that_can_never_be_printed_are_not_on_the_way(office, desk):
    code = office.ready(quantity=2)
    _withdraw(office)
    for address in (f"/job/{code}", "/"):
        assert "Choose another pitch and interlace at it" in _text(desk, address)
    assert office.read(lambda session: sheets.open_quantity(session, job(session, code))) == 2


def test_a_shipping_note_lists_what_goes_and_not_what_is_set_aside(office, desk):
    code = office.ready(quantity=2)
    office.mount(code)
    office.inspect(code)
    order = office.read(lambda session: job(session, code).order.code)
    office.wait(hours=80)

    def go(session, by):
        piece = prints(session, code)[0]
        leaving.leave(session, by, piece=piece, way=leaving.WayOut(how="collected", on=by.day), values={})

    office.act(go)
    note = _text(desk, f"/print-out/shipping-note/{order}")
    assert ("26-0001-A1" in note, "26-0001-A2" in note) == (True, True)
    office.now = datetime.now(UTC)  # the page looks a month back from its own clock
    _withdraw(office)
    note = _text(desk, f"/print-out/shipping-note/{order}")
    assert ("26-0001-A1" in note, "26-0001-A2" in note) == (True, False)
    gone = office.read(lambda session: prints(session, code)[0].code)
    assert "It has left: Quillon & Daughters may want to know" in _text(desk, f"/print/{gone}")
    assert "and 1 piece of it had left" in _text(desk, "/")


def test_what_is_left_over_is_named_when_the_order_has_gone(office, desk):
    code = office.ready(customer="")
    office.mount(code)
    office.inspect(code)
    office.act(lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=1))
    office.leave(code)
    page = _text(desk, f"/job/{code}")
    assert "All that was ordered has gone (1)" in page
    assert "print it" in page
    assert "Everything has gone out" not in page
