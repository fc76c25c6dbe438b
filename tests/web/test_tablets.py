"""A tablet at the bench: what it may ask for, whose acts they are, and when the PIN is asked for."""

import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select, text

from logbook.actions import bench, people, pins, places
from logbook.records.audit import AuditEntry
from logbook.records.floor import Sheet
from logbook.records.machines import Machine
from logbook.records.people import Person, Throttle
from logbook.records.places import Place
from logbook.web import tablets
from logbook.web.app import create_app
from support.small_shop import one

PIN = "4071"


@pytest.fixture
def office(office_today):
    """A shop of today: cookies and pages are judged by the real clock."""
    return office_today


@pytest.fixture
def sheet(shop_of_today):
    """The code of the sheet that stands before the printer."""
    return shop_of_today[1]


@pytest.fixture
def tablet(office):
    """A browser that is the tablet of the press; nobody has tapped a name yet."""
    office.now = datetime.now(UTC) - timedelta(minutes=9)
    app = create_app(office.shop, ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    client = app.test_client()
    office.act(lambda session, by: places.new_place(session, by, name="Press", stages=list(places.STAGES)))
    code = office.act(lambda session, by: places.new_code(session, by, place=one(session, Place)))
    answer = client.post(f"/enrol/{code}")
    assert answer.status_code == 303
    return client


@pytest.fixture
def otto(office, tablet):
    """Otto tapped his name; he has a PIN."""
    office.act(
        lambda session, by: pins.set_pin(session, by, person=one(session, Person, name="Otto"), pin=PIN), who="Otto"
    )
    _tap(office, tablet, "Otto")
    return tablet


def _tap(office, tablet, name):
    code = office.read(lambda session: one(session, Person, name=name).code)
    return tablet.post("/here", data={"person": code})


def _stage(office, code):
    return office.read(lambda session: one(session, Sheet, code=code).stage)


def _last(office):
    row = office.read(
        lambda session: session.execute(select(AuditEntry).order_by(AuditEntry.id.desc())).scalars().first()
    )
    return row.actor_name, json.loads(row.body)["place"], row.action


def _signed(office, sheet, stage):
    """The sheet stands before ``stage``, everything before it signed by Olga at her desk."""
    office.now = datetime.now(UTC) - timedelta(minutes=8)
    for each in ("print", "dry", "adhesive", "laminate")[: ("print", "dry", "adhesive", "laminate").index(stage)]:
        office.act(
            lambda session, by, each=each: bench.sign_stage(
                session,
                by,
                subjects=[one(session, Sheet, code=sheet)],
                stage=each,
                signature=bench.Signature(values={}, reason="it is dry to the touch" if each == "dry" else ""),
            )
        )


def test_the_cookie_is_out_of_reach_and_only_its_hash_is_kept(office, tablet):
    cookie = tablet.get_cookie(tablets.COOKIE)
    assert cookie.http_only
    assert cookie.same_site == "Lax"
    assert office.read(lambda session: one(session, Place).token_hash) == people.token_hash(cookie.value)


def test_nothing_is_shown_before_somebody_tapped_a_name_and_then_the_scanned_sheet(office, tablet, sheet):
    answer = tablet.get(f"/go/{sheet}")
    assert "/here" in answer.headers["Location"]
    page = tablet.get(answer.headers["Location"], follow_redirects=True).get_data(as_text=True)
    assert f'name="back" value="/go/{sheet}"' in page
    code = office.read(lambda session: one(session, Person, name="Otto").code)
    answer = tablet.post("/here", data={"person": code, "back": f"/go/{sheet}"}, follow_redirects=True)
    assert answer.request.path == f"/sheet/{sheet}"
    assert "Otto" in answer.get_data(as_text=True)


@pytest.mark.parametrize("back", ["//evil.example/", "https://evil.example/", "/\\evil.example"])
def test_a_tap_never_leads_to_another_site(office, tablet, back):
    code = office.read(lambda session: one(session, Person, name="Otto").code)
    assert tablet.post("/here", data={"person": code, "back": back}).headers["Location"].startswith("/place/")


def test_a_tablet_does_what_is_on_its_list_and_nothing_else(otto):
    allowed = tablets.RECORDS | tablets.SHOWS | tablets.OWN
    open_ = {"places.enrol", "static", "entry.icon", "entry.sign_in", "today.today"}
    for rule in otto.application.url_map.iter_rules():
        path = re.sub(r"<[^>]+>", "NOTHERE2", re.sub(r"<(\w+:)?revision>", "1", rule.rule))
        for method in rule.methods & {"GET", "POST"}:
            if rule.endpoint in open_ | {"places.sign_off_tablet"}:
                continue
            status = otto.open(path, method=method).status_code
            assert status < 500, path
            if rule.endpoint not in allowed or (method == "POST" and rule.endpoint in tablets.SHOWS):
                assert status == 403, (method, path, status)


def test_no_link_at_a_tablet_leads_where_it_says_no(otto, sheet):
    """Whatever is offered there opens, tried once for each kind of address, from page to page."""
    tried, waiting = {}, ["/", f"/sheet/{sheet}", "/bench", "/machines"]
    while waiting:
        path = waiting.pop()
        kind = re.sub(r"/[0-9A-Z]{8}\b", "/*", path.partition("?")[0])
        if kind in tried or kind.startswith(("/static", "/paper/")):
            continue
        answer = otto.get(path, follow_redirects=True)
        tried[kind] = answer.status_code
        if answer.mimetype != "text/html":
            answer.close()
        else:
            waiting += re.findall(r'href="(/[^"#]*)', answer.get_data(as_text=True).replace("&amp;", "&"))
    assert len(tried) > 10
    assert sorted(kind for kind, status in tried.items() if status != 200) == []


def test_every_name_on_the_lists_is_an_address(otto):
    known = {rule.endpoint for rule in otto.application.url_map.iter_rules()}
    assert tablets.RECORDS | tablets.SHOWS | tablets.OWN <= known


def test_an_owner_there_is_an_operator_and_his_own_sign_in_does_not_count(office, tablet):
    _tap(office, tablet, "Olga")
    for path in ("/shop", "/shop/places", "/shop/record", "/orders", "/quotes"):
        assert tablet.get(path).status_code == 403
    token = office.act(
        lambda session, by: people.start_sign_in(session, by, person=one(session, Person, name="Olga"), keys=[])
    )
    tablet.set_cookie("bench-sign-in", token)
    assert tablet.get("/shop").status_code == 403


def test_a_plain_signature_is_the_persons_there_without_a_pin_and_names_the_place(office, otto, sheet):
    assert 'id="pin"' not in otto.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert otto.post(f"/sheet/{sheet}/sign/print").status_code == 303
    assert _last(office) == ("Otto", "Press", "stage signed")
    _tap(office, otto, "Olga")
    assert "Olga" in otto.get(f"/sheet/{sheet}").get_data(as_text=True)


def test_a_hold_point_asks_for_the_pin_and_remembers_it_ten_minutes(office, otto, sheet):
    _signed(office, sheet, "dry")
    page = otto.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "PIN of Otto" in page
    reason = dict.fromkeys(re.findall(r'name="(reason-[^"]+)"', page), "it is dry")
    refused = otto.post(f"/sheet/{sheet}/sign/dry", data=reason)
    assert refused.status_code == 422
    assert "The PIN of Otto is needed here." in refused.get_data(as_text=True)
    assert 'value="it is dry"' in refused.get_data(as_text=True)
    assert _stage(office, sheet) == "dry"
    assert otto.post(f"/sheet/{sheet}/sign/dry", data={**reason, "pin": PIN}).status_code == 303
    assert _last(office) == ("Otto", "Press, with PIN", "stage signed")
    assert office.read(lambda session: places.remembers_pin(one(session, Place), datetime.now(UTC)))


def test_an_override_asks_for_the_pin_where_nothing_else_does(otto, sheet):
    """Printing is no hold point; a reason that lets it go on is an override."""
    refused = otto.post(f"/sheet/{sheet}/sign/print", data={"reason-file": "known", "pin": "9999"})
    assert refused.status_code == 422
    assert "That is not the PIN of Otto." in refused.get_data(as_text=True)


def test_a_remembered_pin_is_not_asked_again_but_for_safety_it_is(office, otto, sheet):
    _signed(office, sheet, "adhesive")
    office.check_machine()
    office.act(lambda session, _by: setattr(one(session, Place), "pin_at", datetime.now(UTC)))
    page = otto.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "PIN of Otto" in page
    ticks = dict.fromkeys(re.findall(r'<input type="checkbox" name="([^"]+)"', page), "yes")
    machine = re.search(r'<option selected value="(\w+)"|<option value="(\w+)"', page)
    form = {**ticks, "machine": machine[1] or machine[2], "alone_with": "Jon calls at noon"}
    refused = otto.post(f"/sheet/{sheet}/rollers", data=form)
    assert refused.status_code == 422
    assert "The PIN of Otto is needed here." in refused.get_data(as_text=True)
    assert otto.post(f"/sheet/{sheet}/rollers", data={**form, "pin": PIN}).status_code == 303
    assert _last(office) == ("Otto", "Press, with PIN", "rollers set up")
    stopped = otto.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "Rollers stopped." in stopped
    assert 'name="pin"' not in stopped


def test_the_days_check_asks_for_it_anew_every_time(office, otto):
    machine = office.read(
        lambda session: session.execute(text("SELECT code FROM machine WHERE name = 'Rollers'")).scalar_one()
    )
    office.act(lambda session, _by: setattr(one(session, Place), "pin_at", datetime.now(UTC)))
    refused = otto.post(f"/machine/{machine}/check", data={})
    assert "The PIN of Otto is needed here." in refused.get_data(as_text=True)


def test_wrong_pins_are_counted_though_nothing_is_written_and_slow_down_but_never_lock(office, otto, sheet):
    _signed(office, sheet, "dry")
    said = [otto.post(f"/sheet/{sheet}/sign/dry", data={"pin": "9182"}).get_data(as_text=True) for _ in range(4)]
    assert all("That is not the PIN of Otto." in page for page in said[:3])
    assert "Too many tries; wait" in said[3]
    assert _stage(office, sheet) == "dry"
    row = office.read(lambda session: session.execute(select(Throttle).where(Throttle.key.like("pin:%"))).scalar_one())
    assert row.failures == 3
    assert row.blocked_until <= datetime.now(UTC) + timedelta(minutes=5)


def test_somebody_without_a_pin_is_told_where_to_choose_one(office, tablet, sheet):
    _signed(office, sheet, "dry")
    _tap(office, tablet, "Otto")
    refused = tablet.post(f"/sheet/{sheet}/sign/dry", data={"pin": "4071"})
    assert "Otto has no PIN yet" in refused.get_data(as_text=True)


def test_no_pin_is_written_anywhere(office, otto, sheet):
    _signed(office, sheet, "dry")
    page = otto.get(f"/sheet/{sheet}").get_data(as_text=True)
    reason = dict.fromkeys(re.findall(r'name="(reason-[^"]+)"', page), "it is dry")
    otto.post(f"/sheet/{sheet}/sign/dry", data={**reason, "pin": "83052917"})
    otto.post(f"/sheet/{sheet}/sign/dry", data={**reason, "pin": PIN})
    # as many digits as a PIN may have: five were found by chance among hashes and times
    kept = b"".join(path.read_bytes() for path in office.shop.settings.data.glob("*sqlite*"))
    assert b"83052917" not in kept
    bodies = office.read(lambda session: list(session.execute(select(AuditEntry.body)).scalars()))
    assert not any(f'"{PIN}"' in body for body in bodies)


def test_a_desk_is_never_asked(desk, office, sheet):
    assert 'name="pin"' not in desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert desk.post(f"/sheet/{sheet}/sign/print").status_code == 303
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert 'name="pin"' not in page
    reason = dict.fromkeys(re.findall(r'name="(reason-[^"]+)"', page), "it is dry")
    assert desk.post(f"/sheet/{sheet}/sign/dry", data=reason).status_code == 303
    assert _last(office)[1] is None


def test_a_tablet_that_is_no_tablet_any_more_asks_for_a_password(office, tablet):
    assert tablet.post("/here/end").status_code == 303
    assert "/sign-in" in tablet.get("/bench").headers["Location"]
    assert office.read(lambda session: one(session, Place).token_hash) is None


def test_the_owner_sees_the_code_once_and_the_tablet_afterwards(desk):
    made = desk.post("/shop/places", data={"name": "Printer corner", "stages": ["print", "dry"]})
    assert made.status_code == 303
    path = made.headers["Location"]
    assert "/enrol/" not in desk.get(path).get_data(as_text=True)
    desk.post(f"{path}/code")
    page = desk.get(path).get_data(as_text=True)
    code = re.search(r"/enrol/(\w+)</p>", page)[1]
    assert 'class="qr"' in page
    other = desk.application.test_client()
    assert "Printer corner" in other.get(f"/enrol/{code}").get_data(as_text=True)
    other.post(f"/enrol/{code}")
    page = desk.get(path).get_data(as_text=True)
    assert "/enrol/" not in page
    assert "last seen" in page
    assert "serves no more" in other.get(f"/enrol/{code}").get_data(as_text=True)
    desk.post(f"{path}/send-away")
    assert "/sign-in" in other.get("/bench").headers["Location"]


def test_the_places_page_says_what_goes_on_and_what_is_held_up(office, otto, sheet):
    place = office.read(lambda session: one(session, Place).code)
    page = otto.get(f"/place/{place}").get_data(as_text=True)
    now, _, held = page.partition("Held up")
    assert f'/sheet/{sheet}"' in now
    assert not held
    office.act(lambda session, _by: setattr(one(session, Machine, name="Printer"), "out_of_use_reason", "head drips"))
    now, _, held = otto.get(f"/place/{place}").get_data(as_text=True).partition("Held up")
    assert f'/sheet/{sheet}"' not in now
    assert "Printer is out of use: head drips" in held
    office.act(lambda session, _by: setattr(one(session, Machine, name="Printer"), "out_of_use_reason", None))
    otto.post(f"/sheet/{sheet}/sign/print")
    now, _, held = otto.get(f"/place/{place}").get_data(as_text=True).partition("Held up")
    assert f'/sheet/{sheet}"' not in now
    assert "drying until" in held
    office.act(lambda session, _by: setattr(one(session, Sheet, code=sheet), "stage", "adhesive"))
    now, _, held = otto.get(f"/place/{place}").get_data(as_text=True).partition("Held up")
    assert "today&#39;s machine check has not been signed" in now
    assert "no laminator may run" in held
    office.check_machine()
    now, _, held = otto.get(f"/place/{place}").get_data(as_text=True).partition("Held up")
    assert f'/sheet/{sheet}"' in now
    assert not held
