"""Looking into a file on the run's page: dots and eyes are plain addresses, whatever was typed into them."""

from io import BytesIO

import pytest
from PIL import Image

from logbook.actions import runs
from logbook.background.compute import work_on
from logbook.records.floor import Run
from logbook.records.people import Person
from support.small_shop import job, one


@pytest.fixture
def run_code(office):
    office.ready()
    return office.read(lambda session: one(session, Run).code)


@pytest.mark.parametrize(
    "asked", ["", "?left=12,5&top=3&mm=10", "?left=x&top=-4&mm=7", "?left=1e9&top=nan&mm=", "?left=99999"]
)
def test_a_patch_is_shown_whatever_was_typed(run_code, desk, asked):
    page = desk.get(f"/run/{run_code}{asked}")
    assert page.status_code == 200
    answer = desk.get(f"/run/{run_code}/strips.png{asked}")
    with Image.open(BytesIO(answer.data)) as image:
        assert image.size == (720, 318)


def test_the_page_shows_the_patch_that_was_asked_for(run_code, desk):
    page = desk.get(f"/run/{run_code}?left=12,5&top=3&mm=10").get_data(as_text=True)
    assert f"/run/{run_code}/strips.png?left=12.5&amp;top=3&amp;mm=10" in page
    assert 'value="12.5"' in page


@pytest.mark.parametrize(("units", "inch", "places", "waste"), [("mm", 25.4, 1, True), ("in", 1, 3, False)])
def test_the_whole_file_has_the_size_that_a_picture_reader_finds(desk, office, units, inch, places, waste):
    # Pillow reads dots and dots per inch from the file itself, as a printer's preview does; an inch is 25.4 mm.
    order = office.order(customer="")
    office.choose_pitch(order)
    wish = runs.RunWish(waste=waste, address="http://127.0.0.1/")
    asked = office.act(lambda session, by: runs.ask_for(session, by, job=job(session, order), wish=wish).id)
    work_on(office.shop, asked)
    code, sha256 = office.read(lambda session: [(run.code, run.output.sha256) for run in [one(session, Run)]])[0]
    with Image.open(office.shop.store.path(sha256)) as image:
        sides = [dots / float(dpi) * inch for dots, dpi in zip(image.size, image.info["dpi"], strict=True)]
    office.act(lambda session, by: setattr(session.get_one(Person, by.person_id), "units", units))
    whole = " × ".join(f"{side:.{places}f}" for side in sides) + f" {units}" + waste * " with its marks"
    assert (sides[0] > 85) == waste  # the print with its bleed is 80 mm wide
    assert f"dpi, {whole}; " in desk.get(f"/run/{code}").get_data(as_text=True)
    assert f" · file {whole}: print at 100 %<" in desk.get(f"/job/{order}/traveller").get_data(as_text=True)


@pytest.mark.parametrize("asked", ["", "?distance=500&beside=-80", "?distance=0&beside=x", "?distance=-5&beside=1e3"])
def test_both_eyes_are_shown_whatever_was_typed(run_code, desk, asked):
    page = desk.get(f"/run/{run_code}{asked}").get_data(as_text=True)
    assert "left eye: PICTURE" in page
    for which in ("left", "right"):
        with Image.open(BytesIO(desk.get(f"/run/{run_code}/eye-{which}.jpg{asked}").data)) as image:
            assert image.height > image.width  # 70 x 80 mm
    assert desk.get(f"/run/{run_code}/eye-third.jpg{asked}").status_code == 404


def test_far_to_the_left_and_right_the_page_names_another_picture(run_code, desk):
    words = [desk.get(f"/run/{run_code}?beside={beside}").get_data(as_text=True) for beside in (-90, 90)]
    assert "Both eyes see PICTURE 1" in words[0]
    assert "Both eyes see PICTURE 2" in words[1]
