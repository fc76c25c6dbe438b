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

from support.shop_walk import PHOTOGRAPHS, Person

# A 20 LPI lens that is really 20.12, read at 0.6 m (check values: the tests' own example, not measured).
SEEN_PITCH = Decimal("20.07")


@pytest.fixture
def shop(serve_logbook):
    return serve_logbook()


@pytest.fixture
def person(shop, page):
    return Person(page, shop.address)


def _traced(shop, words: str) -> dict:
    command = [sys.executable, "-m", "logbook", "trace", words, "--json", "--data", str(shop.data)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def test_a_print_goes_from_the_order_to_the_door(shop, person, page, watch, tmp_path):
    person.found_the_shop()
    person.take_an_order()
    job = page.url
    person.make_a_proof()
    person.write_down_the_answer("Looks lovely, go ahead.")

    person.follow("Choose a pitch")
    person.start_a_test()
    chart = person.make_the_chart()
    with tifffile.TiffFile(chart.path()) as file:
        assert Fraction(*file.pages[0].tags["XResolution"].value) == 720
    person.read_the_chart(SEEN_PITCH)
    assert page.locator("svg.vee circle").count() == 11
    person.put_on_record()
    pitch = page.url.rsplit("/", 1)[1]

    page.goto(job)
    person.follow("Choose a pitch")
    person.click("Use this pitch")
    person.interlace()
    person.accept()
    run = page.url
    file = person.download("Download the TIFF")
    # the file's name says serial, size, dots per inch and pitch
    assert re.fullmatch(r"26-0001-A1_4inx5in_720dpi_20\.\d+lpi\.tif", file.suggested_filename)
    downloaded = tmp_path / file.suggested_filename
    file.save_as(downloaded)
    with tifffile.TiffFile(downloaded) as raster:
        assert Fraction(*raster.pages[0].tags["XResolution"].value) == 720

    _mount(person, page, watch)
    _trim_inspect_and_ship(person, page)

    _traces_forwards_and_backwards(shop, person, page, pitch=pitch, downloaded=downloaded)
    _traveller_leads_back(page, job=job)
    page.goto(run)
    assert page.get_by_text("26-0001-A-S1").first.is_visible()


def _mount(person, page, watch):
    person.follow("26-0001-A-S1")
    sheet = page.url
    person.sign()
    person.sign()  # no reason: drying time is left
    assert page.get_by_text("Give a reason to go on").first.is_visible()
    watch.expect("422")
    person.sign("fan dried, peel test good")
    assert page.get_by_text("No roller laminator is on record").is_visible()
    person.add_the_laminator()
    assert page.get_by_text("NOT SET, do not run").first.is_visible()
    person.write_its_facts_down()
    person.name_oneself()
    person.sign_the_daily_check()
    for _stage in ("adhesive", "laminate"):
        page.goto(sheet)
        person.set_up_the_rollers("Jon looks in at three" if _stage == "adhesive" else "")
        _nothing_is_asked_while_rollers_move(page)
        person.sign()
    page.goto(sheet)
    person.sign("the customer waits and knows")


def _nothing_is_asked_while_rollers_move(page):
    between = page.evaluate(
        """() => {
            const [start, stop] = document.querySelectorAll('.rollerbar');
            const after = (node, other) => node.compareDocumentPosition(other) & Node.DOCUMENT_POSITION_FOLLOWING;
            return [...document.querySelectorAll('main input, main select, main textarea, main button')]
                .filter((field) => after(start, field) && after(field, stop)).length;
        }"""
    )
    assert between == 0


def _trim_inspect_and_ship(person, page):
    person.follow("26-0001-A1")
    page.get_by_label("Measure the width").fill("101,6")
    person.sign()
    page.get_by_label("passed").check()
    page.get_by_label("Grade the ghosting").fill("1")
    page.get_by_label("Photograph each view").set_input_files(PHOTOGRAPHS[0])
    person.sign()
    person.sign("the customer collects it himself")
    page.get_by_text("collected on").first.wait_for()
    assert page.get_by_text("Inspected by the maker").count() == 0  # the note prints; the page shows the record
    assert page.get_by_role("link", name=re.compile("photograph")).count() == 1


def _traces_forwards_and_backwards(shop, person, page, *, pitch, downloaded):
    chain = page.locator(".chain").inner_text()
    told = _traced(shop, "26-0001-A1")
    assert told["pitch"]["code"] == pitch
    assert told["run"]["file_sha256"] in chain
    assert all(picture["sha256"] in chain for picture in told["run"]["recipe"]["pictures"])
    assert [reading["reader"] for chart in told["pitch"]["test"]["charts"] for reading in chart["readings"]] == [
        "Mara Lindqvist"
    ] * 11
    for backwards in (f"pitch/{pitch}", f"pitch/test/{told['pitch']['test']['code']}"):
        person.go(backwards)
        assert page.get_by_role("heading").first.is_visible()
    person.go(f"pitch/{pitch}")
    assert page.get_by_role("link", name="26-0001-A1").is_visible()
    person.go(f"lot/{told['sheet']['lens_lot']['code']}")
    assert page.get_by_role("link", name="26-0001-A1").is_visible()
    assert [one["serial"] for one in _traced(shop, pitch)["prints"]] == ["26-0001-A1"]
    assert [one["serial"] for one in _traced(shop, told["sheet"]["lens_lot"]["code"])["prints"]] == ["26-0001-A1"]
    person.go("trace")
    page.get_by_label("File").set_input_files(downloaded)
    person.click("Whose file is this?")
    assert page.get_by_text("on record, byte for byte").is_visible()
    assert page.get_by_role("link", name="26-0001-A1").is_visible()


def _traveller_leads_back(page, *, job):
    page.goto(job)
    with page.expect_response(re.compile(r"traveller/1\.pdf")) as waiting:
        page.evaluate("document.querySelector('form[action$=traveller]').submit()")
    content = page.request.get(waiting.value.url).body()
    first = pypdfium2.PdfDocument(content)[0].render(scale=4).to_numpy()
    grey = np.ascontiguousarray(cv2.cvtColor(first, cv2.COLOR_BGR2GRAY))
    # two independent readers
    zxing = {code.text for code in zxingcpp.read_barcodes(grey)}
    found, texts, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(grey)
    assert found
    code = job.rsplit("/", 1)[1]
    assert any(text.endswith(f"go/{code}") for text in zxing)
    assert zxing >= {text for text in texts if text}
