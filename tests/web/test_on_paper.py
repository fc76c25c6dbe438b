"""A stage on paper, and its page taken over afterwards."""

import io
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from logbook.records.audit import AuditEntry
from logbook.records.files import KeptFile
from logbook.records.floor import Departure, Sheet, StepRecord
from logbook.records.machines import Machine
from logbook.records.people import Person
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one, prints


@pytest.fixture
def office(office_today):
    """A shop of today: cookies and pages are judged by the real clock."""
    return office_today


@pytest.fixture
def sheet(shop_of_today):
    """The code of the sheet that stands before the printer."""
    return shop_of_today[1]


def _page(office, **changes):
    """What somebody enters from a page that Otto signed an hour ago."""
    otto = office.read(lambda session: one(session, Person, name="Otto").code)
    then = datetime.now().astimezone() - timedelta(hours=1)
    page = {"page": (io.BytesIO(PHOTOGRAPHS[0].read_bytes()), "page.jpg"), "person": otto}
    return page | {"at": f"{then:%Y-%m-%dT%H:%M}", "print-scale": ""} | changes


def _rows(office, code):
    def read(session):
        wanted = select(StepRecord).where(StepRecord.sheet_id == one(session, Sheet, code=code).id)
        rows = session.execute(wanted.order_by(StepRecord.id)).scalars()
        return {row.step_key: (row.value, row.source, row.person.name, row.at, row.notes) for row in rows}

    return office.read(read)


def test_a_stage_begun_on_paper_says_so_on_its_sheet_and_its_job(desk, office, sheet):
    assert desk.post(f"/from-paper/sheet/{sheet}/begin").status_code == 303
    assert "On paper since" in desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    work = office.read(lambda session: one(session, Sheet, code=sheet).prints[0].job.code)
    assert "on paper, not taken over yet" in desk.get(f"/job/{work}").get_data(as_text=True)
    assert "<b>on paper</b>" in desk.get("/bench").get_data(as_text=True)
    assert "on paper, take its page over when it is done" in desk.get("/").get_data(as_text=True)
    again = desk.post(f"/from-paper/sheet/{sheet}/begin")
    assert again.status_code == 422
    assert "on paper already" in again.get_data(as_text=True)
    desk.post(f"/sheet/{sheet}/sign/print")  # on screen after all
    assert "On paper since" not in desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "on paper" not in desk.get("/bench").get_data(as_text=True)


def test_a_page_is_taken_over_with_its_own_person_time_and_photograph(desk, office, sheet):
    desk.post(f"/from-paper/sheet/{sheet}/begin")
    answer = desk.post(f"/from-paper/sheet/{sheet}", data=_page(office))
    assert answer.status_code == 303
    assert office.read(lambda session: one(session, Sheet, code=sheet).stage) == "dry"
    rows = _rows(office, sheet)
    _, source, who, at, notes = rows["print-sign"]
    assert (source, who) == ("paper", "Otto")
    assert notes.startswith("From paper, entered by Olga.")
    assert timedelta(minutes=59) < datetime.now(UTC) - at < timedelta(minutes=62)
    kept = rows["print-page"][0]
    assert office.shop.store.path(kept).read_bytes() == PHOTOGRAPHS[0].read_bytes()
    assert office.read(lambda session: one(session, KeptFile, sha256=kept).kind) == "record"
    newest = select(AuditEntry).order_by(AuditEntry.id.desc()).limit(1)
    entry = office.read(lambda session: session.execute(newest).scalar_one())
    told = json.loads(entry.body)
    assert (entry.action, entry.actor_name) == ("stage taken over from paper", "Olga")
    assert (told["new"]["signed by"], kept in json.dumps(told["files"])) == ("Otto", True)
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "From paper, entered by Olga." in page
    assert f"/photograph/{kept}" in page
    assert "You just signed" not in page


def test_it_prints_on_the_traveller(desk, office, sheet):
    desk.post(f"/from-paper/sheet/{sheet}", data=_page(office))
    work = office.read(lambda session: one(session, Sheet, code=sheet).prints[0].job.code)
    assert "print: From paper, entered by Olga." in desk.get(f"/job/{work}/traveller").get_data(as_text=True)


def test_an_inspection_from_paper_keeps_its_limits_and_says_so_on_its_report(desk, office, sheet):
    office.wait(hours=-80)
    work = office.read(lambda session: one(session, Sheet, code=sheet).prints[0].job.code)
    office.act(lambda session, _by: _stand(session, work))
    piece = office.read(lambda session: prints(session, work)[0].code)
    read = {"inspect-result": "passed", "inspect-ghosting": "3"}
    answer = desk.post(f"/from-paper/print/{piece}", data=_page(office, **read))
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Written: 3 grade, outside 0 to 1 grade" in page
    asked = re.search(r'name="(reason-[^"]+)"', page)[1]
    answer = desk.post(f"/from-paper/print/{piece}", data=_page(office, **read, **{asked: "the customer saw it"}))
    assert answer.status_code == 303
    report = desk.get(f"/print-out/inspection/{piece}").get_data(as_text=True)
    assert "From paper, entered by Olga." in report
    assert "Otto" in report


def _stand(session, work):
    piece = job(session, work).id and prints(session, work)[0]
    piece.stage, piece.sheet.stage = "inspect", "parted"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"page": (io.BytesIO(b""), "")}, "Photograph the page first."),
        ({"page": (io.BytesIO(b"no picture"), "page.jpg")}, "page.jpg"),
        ({"at": "2999-01-01T10:00"}, "has not come yet"),
        ({"at": "2001-01-01T10:00"}, "cannot be earlier"),
        ({"person": "NOTHERE2"}, "There is no person"),
        ({"person": ""}, "This is needed."),
        ({"print-scale": "wide"}, "not a number"),
    ],
)
def test_what_will_not_do_is_said_and_leaves_nothing(desk, office, sheet, changes, words):
    page = desk.get(f"/from-paper/sheet/{sheet}").get_data(as_text=True)
    number = re.search(r'name="([^"]+)" inputmode="decimal"', page)[1]
    sent = {number if key == "print-scale" else key: value for key, value in _page(office, **changes).items()}
    files = sorted(office.shop.settings.files_path.rglob("*"))
    answer = desk.post(f"/from-paper/sheet/{sheet}", data=sent)
    assert answer.status_code == 422
    assert words in answer.get_data(as_text=True)
    assert _rows(office, sheet) == {}
    assert sorted(office.shop.settings.files_path.rglob("*")) == files


def _at_the_rollers(office, sheet):
    """Today's check is signed, if today has only begun; the sheet stands before the adhesive."""
    office.now = datetime.now(UTC) - timedelta(minutes=14)
    office.check_machine()
    office.act(lambda session, _by: setattr(one(session, Sheet, code=sheet), "stage", "adhesive"))


def _minutes_ago(minutes):
    return f"{datetime.now().astimezone() - timedelta(minutes=minutes):%Y-%m-%dT%H:%M:%S}"


def _rolled(office, **changes):
    otto, machine = office.read(
        lambda session: (one(session, Person, name="Otto").code, one(session, Machine, name="Rollers").code)
    )
    ticks = {
        f"{key}-{what}": value
        for key in ("adhesive-check", "adhesive-body", "adhesive-words")
        for what, value in (("person", otto), ("at", _minutes_ago(12)))
    }
    said = {"machine": machine, "helper": "", "alone_with": "Jon calls at noon", "read_at": _minutes_ago(11)}
    return _page(office, at=_minutes_ago(5)) | ticks | said | changes


def test_a_page_of_the_rollers_keeps_person_and_time_of_every_safety_tick(desk, office, sheet):
    _at_the_rollers(office, sheet)
    page = desk.get(f"/from-paper/sheet/{sheet}").get_data(as_text=True)
    assert page.count('type="datetime-local"') == 2 + 3
    assert 'type="checkbox"' not in page
    assert desk.post(f"/from-paper/sheet/{sheet}", data=_rolled(office)).status_code == 303
    rows = _rows(office, sheet)
    for key in ("adhesive-check", "adhesive-body", "adhesive-words"):
        value, source, who, at, _ = rows[key]
        assert (value, source, who) == ("ticked", "paper", "Otto")
        assert timedelta(minutes=11) < datetime.now(UTC) - at < timedelta(minutes=14)
    assert rows["adhesive-sign"][1:3] == ("paper", "Otto")
    assert office.read(lambda session: one(session, Sheet, code=sheet).stage) == "laminate"


@pytest.mark.parametrize("missing", ["adhesive-body-person", "adhesive-words-at"])
def test_a_safety_tick_without_its_person_or_time_is_said_at_its_step(desk, office, sheet, missing):
    _at_the_rollers(office, sheet)
    answer = desk.post(f"/from-paper/sheet/{sheet}", data=_rolled(office, **{missing: ""}))
    assert answer.status_code == 422
    step = missing.rsplit("-", 1)[0]
    assert f'id="{step}-fault">Each safety tick has its own person' in answer.get_data(as_text=True)
    assert office.read(lambda session: one(session, Sheet, code=sheet).stage) == "adhesive"


def test_a_print_that_left_is_taken_over_with_the_papers_day(desk, office, sheet):
    work = office.read(lambda session: one(session, Sheet, code=sheet).prints[0].job.code)

    def packed(session, _by):
        piece = prints(session, work)[0]
        piece.stage, piece.sheet.stage = "pack", "parted"

    office.act(packed)
    piece = office.read(lambda session: prints(session, work)[0].code)
    day = f"{datetime.now().astimezone() - timedelta(hours=1):%Y-%m-%d}"
    sent = _page(office, how="collected", on=day, **{"reason-wait": "rested on record elsewhere"})
    page = desk.post(f"/from-paper/print/{piece}", data=sent)
    if page.status_code == 422:
        asked = re.search(r'name="(reason-[^"]+)"', page.get_data(as_text=True))[1]
        page = desk.post(f"/from-paper/print/{piece}", data=_page(office, how="collected", on=day, **{asked: "asked"}))
    assert page.status_code == 303
    gone = office.read(lambda session: one(session, Departure))
    assert (gone.how, f"{gone.on}") == ("collected", day)
    assert gone.person_id == office.read(lambda session: one(session, Person, name="Otto").id)
