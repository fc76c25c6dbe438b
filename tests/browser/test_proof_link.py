"""A proof by link, from the shop's settings to the customer's phone and back to the first page."""

import re
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest
from playwright.sync_api import expect

from support.programs import serving
from support.prooflinks import link_to, prove, turn_on
from support.shop_walk import Person
from support.small_shop import new_shop

PHONE = {"width": 360, "height": 740}
SHIFTS = """() => new Promise(done => {
    const seen = list => done(list.getEntries().filter(entry => !entry.hadRecentInput).length);
    new PerformanceObserver(seen).observe({ type: 'layout-shift', buffered: true });
    setTimeout(() => done(0), 300);
})"""


@contextmanager
def _listener(data, tmp_path):
    command = [sys.executable, "-m", "logbook", "proofs", "--data", data, "--port", "0"]
    with serving(command, log=tmp_path / "proofs.log") as address:
        yield address


def _make_link(owner, listening):
    """Staff make a link; what they copy is opened at the listener as the owner's HTTPS would."""
    owner.open("Make a")
    owner.click("Make the link")
    address = owner.page.get_by_label("Link to the proof").input_value()
    return listening + re.sub(r"^https?://[^/]+/", "", address)


@pytest.fixture
def shop(tmp_path):
    """A job with its proof, made a while ago; links are off."""
    made = new_shop(tmp_path / "data", now=datetime.now(UTC) - timedelta(hours=3))
    made.code = made.order()
    prove(made, made.code)
    yield made
    made.shop.database.close()


@pytest.fixture
def link(shop, tmp_path):
    """A link at the listener that runs beside."""
    turn_on(shop, "http://127.0.0.1:8421")
    with _listener(tmp_path / "data", tmp_path) as listening:
        yield listening + link_to(shop, shop.code).lstrip("/")


def _shown(page, view):
    expect(page.locator(".proof-flip")).to_have_attribute("data-shown", str(view))


def test_a_customer_flips_the_print_and_answers_once(
    shop, serve_logbook, new_page, tmp_path, assert_accessible
):  # fmt: skip
    owner = Person(new_page(), serve_logbook(data=tmp_path / "data").address)
    owner.sign_in("Olga", "ridge-and-valley")
    owner.go(f"job/{shop.code}")
    assert not owner.page.get_by_text("Make a link for the customer").count(), "off until the owner turns it on"
    owner.go("shop")
    owner.type("Links to proofs", "http://127.0.0.1:8421")
    owner.click("Write it down")
    owner.go(f"job/{shop.code}")
    with _listener(tmp_path / "data", tmp_path) as listening:
        link = _make_link(owner, listening)
        assert_accessible(owner.page)
        owner.page.reload()
        assert not owner.page.get_by_label("Link to the proof").count(), "shown once"
        phone = new_page(viewport=PHONE, has_touch=True, is_mobile=True)
        phone.goto(link)
        assert re.fullmatch(r".*/proof/\w{8}", phone.url)
        _shown(phone, 0)
        _flips(phone)
        for theme in ("dark", "light"):
            phone.emulate_media(color_scheme=theme)
            assert_accessible(phone)
        for wide in (1280, 820, 360):
            phone.set_viewport_size({"width": wide, "height": 740})
            assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        _answers_at_last(phone)
        assert_accessible(phone)
        phone.context.close()
    owner.go()
    expect(owner.page.get_by_role("listitem").filter(has_text="wants a change").first).to_contain_text("Imke Brodersen")
    owner.go(f"job/{shop.code}")
    answer = owner.page.locator(".gate.change")
    expect(answer).to_contain_text("change by link, said by Imke Brodersen")
    expect(answer).to_contain_text("more blue")


def _flips(phone):
    """Dragged, slid, tilted: two pictures, so that each half of the way shows one."""
    box = phone.locator(".turned").bounding_box()
    high = box["y"] + box["height"] / 2
    phone.mouse.move(box["x"] + 20, high)
    phone.mouse.down()
    phone.mouse.move(box["x"] + box["width"] - 20, high, steps=4)
    phone.mouse.up()
    _shown(phone, 1)
    slider = phone.get_by_role("slider")
    slider.press("ArrowLeft")
    _shown(phone, 0)
    tilt = partial(phone.evaluate, """gamma => window.dispatchEvent(
        new DeviceOrientationEvent('deviceorientation', { alpha: 0, beta: 40, gamma }))""")
    for gamma in (5, 5, 20):  # the first tells that the phone knows, the second is the middle
        tilt(gamma)
    _shown(phone, 1)
    tilt(-15)
    _shown(phone, 0)
    small = phone.evaluate("""() => [...document.querySelectorAll('button, label, input:not([type=hidden]), textarea')]
        .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 44 && !one.closest('label')
            && one.tagName !== 'LABEL').map(one => one.outerHTML)""")
    assert small == []
    assert phone.evaluate(SHIFTS) == 0


def _answers_at_last(phone):
    phone.get_by_label("Please change something").check()
    phone.get_by_label("Your name").fill("Imke Brodersen")
    phone.get_by_label("What is to be changed").fill("a little more blue")
    phone.get_by_role("button", name="Send this answer").click()
    expect(phone.get_by_role("status")).to_contain_text("A change was asked for")
    phone.go_back()
    phone.reload()
    expect(phone.get_by_role("status")).to_contain_text("A change was asked for")
    assert not phone.get_by_role("button", name="Send").count()


def test_without_scripts_it_shows_stills_and_takes_the_answer(link, new_page, watches, assert_accessible):
    plain = new_page(viewport=PHONE, java_script_enabled=False)
    plain.goto(link)
    stills = plain.get_by_role("img", name=re.compile(r"View \d of 2"))
    expect(stills).to_have_count(2)
    assert not plain.get_by_role("slider").is_visible()
    plain.get_by_role("button", name="Send this answer").click()
    expect(plain.get_by_role("alert")).to_contain_text("Choose one of the two")
    watches[plain].expect("422")
    plain.get_by_label("Approved: print it as shown").check()
    plain.get_by_label("Your name").fill("Anna")
    plain.get_by_role("button", name="Send this answer").click()
    expect(plain.get_by_role("status")).to_contain_text("Approved")
    plain.context.close()
    late = new_page()
    late.goto(link[:-1])
    assert_accessible(late)
    watches[late].expect("404")
    late.context.close()


def test_a_phone_that_asks_first_and_a_calm_reader_decide_by_a_button(link, new_page):
    """Some browsers tell how a phone is held only after its owner agreed; reduced motion waits for the button, too."""
    asking = new_page(viewport=PHONE, has_touch=True, is_mobile=True)
    asking.add_init_script("DeviceOrientationEvent.requestPermission = async () => window.says;")
    asking.goto(link)
    button = asking.get_by_role("button", name="Tilt the phone")
    asking.evaluate("window.says = 'granted'")
    button.click()
    expect(asking.get_by_text("Tilt the phone, and the print flips")).to_be_visible()
    _tilted(asking)
    asking.reload()
    asking.evaluate("window.says = 'denied'")
    button.click()
    expect(asking.get_by_text("does not tell how it is held")).to_be_visible()
    calm = new_page(viewport=PHONE, reduced_motion="reduce")
    calm.goto(link)
    _shown(calm, 0)
    _hold(calm, 0, 20, 40)
    expect(calm.get_by_role("button", name="Tilt the phone")).to_be_visible()
    _shown(calm, 0)
    calm.get_by_role("button", name="Tilt the phone").click()
    expect(calm.get_by_text("Tilt the phone, and the print flips")).to_be_visible()
    _tilted(calm)
    for page in (asking, calm):
        page.context.close()


def _hold(page, *angles):
    for gamma in angles:
        page.evaluate("""gamma => window.dispatchEvent(
            new DeviceOrientationEvent('deviceorientation', { alpha: 0, beta: 40, gamma }))""", gamma)


def _tilted(page):
    _hold(page, 0, 20)
    _shown(page, 1)
