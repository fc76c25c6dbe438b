"""Single dots on the run's page: where one looks is a plain address, whatever was typed into it."""

from io import BytesIO

import pytest
from PIL import Image

from logbook.records.floor import Run
from support.small_shop import one


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
