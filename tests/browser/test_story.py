"""One print from the order to the door, clicked and typed as a person would, on real photographs."""

import json
import re
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction

import cv2
import numpy as np
import pypdfium2
import pytest
import tifffile
import zxingcpp
from playwright.sync_api import expect

from support.shop_walk import PHOTOGRAPHS, Person

# A lens sold as 20 lines per inch that is really 20.12, 3 mm thick, n = 1.56, seen by an eye 600 mm away:
# 20.12 / (1 + 3 / 1.56 / 600) = 20.0557 lines per inch (small-angle refraction; calculated, and by hand).
SEEN_PITCH = Decimal("20.0557")
LENS_SHEETS, ADHESIVE_SHEETS = 12, 20


@pytest.fixture
def shop(serve_logbook):
    return serve_logbook("--processes", "2")  # as most shops run it


@pytest.fixture
def person(shop, page):
    return Person(page, shop.address)


def test_a_print_goes_from_the_order_to_the_door(shop, person, page, watch, tmp_path):
    person.found_the_shop()
    job = _order_pictures_proof_answer(person)
    pitch = _measure_the_pitch(person)
    page.goto(job)
    _choose_it_and_the_adhesive(person)
    file = _interlace_and_accept(person, tmp_path)
    _print_and_dry(person, watch)
    _mount(person, watch)
    _trim_inspect_and_ship(person)
    told = _traced(shop, "26-0001-A1")
    _traces_forwards(person, told, pitch=pitch)
    _traces_backwards(shop, person, told)
    _the_file_says_whose_it_is(person, file)
    page.goto(job)
    _the_traveller_leads_back(person)


def _order_pictures_proof_answer(person):
    person.begin_an_order(size=("8in", "10in"))
    person.choose("left – right")
    person.click("Take the order")
    job = person.page.url
    assert "/job/" in job
    assert person.reads("china.jpg")
    person.make_a_proof()
    assert person.page.get_by_role("link", name="page to mail (PDF)").is_visible()
    person.write_down_the_answer("Looks lovely, go ahead.")
    assert person.reads("Looks lovely, go ahead.")
    return job


def _measure_the_pitch(person):
    """Make a coarse and a fine chart, download and read both, put the result on record; gives the pitch's code."""
    person.follow("Choose a pitch")
    choosing = person.page.url
    person.follow("Measure it: a new pitch test")
    person.page.get_by_role("link", name="Describe Printer").wait_for()
    person.describe_the_printer()
    person.page.goto(choosing)
    person.start_a_test()
    for count in (1, 2):
        with tifffile.TiffFile(person.make_the_chart().path()) as file:
            assert Fraction(*file.pages[0].tags["XResolution"].value) == 720
        person.read_the_chart(SEEN_PITCH)
        person.page.locator(f".chart:nth-of-type({count}) .records").wait_for()
    # one dot in the drawing for each band that was read
    assert person.page.locator("svg.vee circle").count() == person.page.locator(".chart .records tbody tr").count()
    # every reading is rounded to a quarter of a fringe, which is 0.017 lines per inch at most over 190 mm
    found = Decimal(person.page.locator("#result .number").inner_text().split()[0])
    assert abs(found - SEEN_PITCH) < Decimal("0.017")
    person.put_on_record()
    return person.page.url.partition("?")[0].rsplit("/", 1)[1]


def _choose_it_and_the_adhesive(person):
    job = person.page.url
    person.follow("Choose a pitch")
    person.click("Use this pitch")
    person.follow("20 LPI lens")
    person.type("There are now", str(LENS_SHEETS))
    person.click("Write it down")
    person.add_adhesive(sheets=ADHESIVE_SHEETS)
    person.page.goto(job)
    person.follow("Change materials")
    person.click("Use these")
    assert person.reads("clear film 50, CF-31")


def _interlace_and_accept(person, folder):
    """The run works in the background while the person looks elsewhere; gives the downloaded file."""
    person.click("Interlace")
    made = person.page.get_by_role("button", name="I looked at it and accept it")
    # a browser out of breath may come to the page when all is done
    person.page.locator(".working progress").or_(made).first.wait_for()
    run = person.page.url
    person.go()
    person.page.goto(run)
    made.wait_for(timeout=120_000)  # the page keeps itself current
    person.accept()
    file = person.download("Download the TIFF")
    # its name says serial, size, dots per inch and pitch
    assert re.fullmatch(r"26-0001-A1_8inx10in_720dpi_20\.0\d+lpi\.tif", file.suggested_filename)
    file.save_as(folder / file.suggested_filename)
    with tifffile.TiffFile(folder / file.suggested_filename) as raster:
        assert Fraction(*raster.pages[0].tags["XResolution"].value) == 720
        assert Fraction(*raster.pages[0].tags["YResolution"].value) == 720
        assert raster.pages[0].shape[:2] > (10 * 720, 8 * 720)  # with bleed and waste around 8 × 10 in
    return folder / file.suggested_filename


def _print_and_dry(person, watch):
    person.follow("26-0001-A-S1")
    person.type("Measure the printed scale bar", "100")
    person.sign()
    person.sign()  # too early, and no reason
    assert person.reads("Give a reason to go on")
    watch.expect("422")
    person.sign("fan dried, peel test good")
    assert person.reads("fan dried, peel test good")


def _mount(person, watch):
    """Both passes through the rollers, once the laminator may run at all."""
    page = person.page
    sheet = page.url
    assert person.reads("No roller laminator is on record")
    person.add_the_laminator()
    assert page.locator(".banner", has_text="NOT SET, do not run").is_visible()
    machine = page.url
    page.goto(sheet)
    assert [row.inner_text().split()[0] for row in page.locator(".findings .stop").all()] == ["STOP"] * 3
    page.goto(machine)
    person.write_its_facts_down()
    person.name_oneself()
    person.sign_the_daily_check()
    page.goto(sheet)
    person.sign()  # nothing is ticked: the page comes back at what it asks, far below its top, and not at its cautions
    expect(page.locator("main [aria-invalid=true]").first).to_be_in_viewport()
    assert page.locator(".caution").first.bounding_box()["y"] < 0
    watch.expect("422")
    for alone_with in ("Jon looks in at three", ""):  # the second pass is covered by the session of the first
        page.goto(sheet)
        person.set_up_the_rollers(alone_with)
        _nothing_is_asked_while_rollers_move(page)
        person.sign()
    page.goto(sheet)
    assert person.reads("Rest before trimming")
    person.sign("the customer waits and knows")


def _nothing_is_asked_while_rollers_move(page):
    fields = page.evaluate(
        """() => {
            const [start, stop] = document.querySelectorAll('.rollerbar');
            const follows = (one, other) => one.compareDocumentPosition(other) & Node.DOCUMENT_POSITION_FOLLOWING;
            const fields = [...document.querySelectorAll('input, select, textarea, button, summary, a')];
            return {
              between: fields.filter(field => follows(start, field) && follows(field, stop)).length,
              required: fields.filter(field => field.required && field.checkVisibility()).length,
            };
        }"""
    )
    assert fields == {"between": 0, "required": 0}


def _trim_inspect_and_ship(person):
    page = person.page
    person.follow("26-0001-A1")
    person.type("Measure the width", "203,2")
    person.type("Measure the height", "254")
    person.sign()
    person.choose("passed")
    person.type("Grade the ghosting", "1")
    page.get_by_label("Photograph each view").set_input_files(PHOTOGRAPHS[0])
    person.sign()
    page.get_by_role("radio", name="collected").wait_for()
    person.sign("the customer collects it himself")
    page.get_by_text("gone: collected on").wait_for()
    expect(page.get_by_role("link", name="photograph")).to_have_count(1)
    person.go("orders?show=closed")
    assert page.get_by_role("link", name="26-0001").is_visible()


def _traced(shop, words):
    command = [sys.executable, "-m", "logbook", "trace", words, "--json", "--data", str(shop.data)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def _traces_forwards(person, told, *, pitch):
    """From the serial, typed into the head of any page, to everything that made the print."""
    person.page.get_by_role("searchbox").fill("26-0001-A1")
    person.page.get_by_role("searchbox").press("Enter")
    person.page.wait_for_url("**/print/*")
    chain = person.page.locator(".chain").inner_text()
    assert told["pitch"]["code"] == pitch
    assert told["pitch"]["code"] in chain
    assert told["run"]["file_sha256"] in chain
    assert [picture["name"] for picture in told["run"]["recipe"]["pictures"]] == ["china.jpg", "flower.jpg"]
    assert all(picture["sha256"] in chain for picture in told["run"]["recipe"]["pictures"])
    readings = [reading for chart in told["pitch"]["test"]["charts"] for reading in chart["readings"]]
    assert {reading["reader"] for reading in readings} == {"Mara Lindqvist"}
    assert len(readings) > 11
    assert told["sheet"]["adhesive_lot"]["label"] == "CF-31"


def _traces_backwards(shop, person, told):
    """Pitch, test and lots name the print, on their pages and at the command line; the steps have used the lots."""
    lens, adhesive = told["sheet"]["lens_lot"]["code"], told["sheet"]["adhesive_lot"]["code"]
    pitch = told["pitch"]["code"]
    for page, left in (
        (f"pitch/{pitch}", None),
        (f"lot/{lens}", LENS_SHEETS - 1),
        (f"lot/{adhesive}", ADHESIVE_SHEETS - 1),
        (f"trace?q={told['pitch']['test']['code']}", None),
    ):
        person.go(page)
        assert person.page.get_by_role("link", name="26-0001-A1").is_visible(), page
        if left is not None:
            assert person.page.locator(".facts dd").first.inner_text() == str(left)
    for words in (pitch, told["pitch"]["test"]["code"], lens, adhesive):
        assert [one["serial"] for one in _traced(shop, words)["prints"]] == ["26-0001-A1"], words


def _the_file_says_whose_it_is(person, file):
    person.go("trace")
    person.page.get_by_label("File").set_input_files(file)
    person.click("Whose file is this?")
    assert person.reads("on record, byte for byte")
    assert person.page.get_by_role("link", name="26-0001-A1").is_visible()


def _the_traveller_leads_back(person):
    """Every code on the printed traveller opens a page of the logbook, one of them the job's."""
    page, job = person.page, person.page.url
    with page.expect_response(re.compile(r"traveller/1\.pdf")) as waiting:
        person.click("Print the traveller")
    assert waiting.value.headers["content-type"] == "application/pdf"
    sheets = pypdfium2.PdfDocument(page.request.get(waiting.value.url).body())
    codes = {text for sheet in sheets for text in _codes_on(sheet)}
    assert job in {_opened(page, code) for code in codes}


def _codes_on(sheet):
    """What two independent readers find on a page of paper; the second finds nothing that the first does not."""
    grey = np.ascontiguousarray(cv2.cvtColor(sheet.render(scale=4).to_numpy(), cv2.COLOR_BGR2GRAY))
    texts = {code.text for code in zxingcpp.read_barcodes(grey)}
    _, others, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(grey)
    assert texts >= {text for text in others if text}
    return texts


def _opened(page, address):
    assert page.goto(address).ok
    return page.url
