"""The print flips under pointer and finger out of one image; nothing moves for those who asked for calm."""

import pytest

from support.every_page import every_page
from support.furnished import sign_in_as
from support.shop_walk import Person


@pytest.fixture
def at_the_run(furnished, serve_logbook, new_page):
    """Somebody who looks at a finished run."""
    person = Person(new_page(), serve_logbook(data=furnished).address)
    person.sign_in(*sign_in_as(furnished, "owner"))
    person.go(every_page(furnished)["runs.run-done"].lstrip("/"))
    person.page.locator(".flipper[data-shown='0']").wait_for()
    return person.page


def _across(page, *, hand_down=False):
    """Move over the whole print from left to right; the views that were seen, and what was fetched meanwhile."""
    page.wait_for_load_state("networkidle")
    box, fetched = page.locator(".ridged").bounding_box(), []
    page.on("request", lambda request: fetched.append(request.url))
    seen = []
    page.mouse.move(box["x"] + 1, box["y"] + box["height"] / 2)
    if hand_down:
        page.mouse.down()
    for part in range(1, 21):
        page.mouse.move(box["x"] + box["width"] * (part + 0.5) / 21, box["y"] + box["height"] / 2)
        page.evaluate("() => new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        seen.append(int(page.locator(".flipper").get_attribute("data-shown")))
    return seen, fetched


def test_it_follows_the_pointer_out_of_one_image_and_rests_for_whoever_wants_calm(at_the_run):
    page = at_the_run
    seen, fetched = _across(page)
    assert seen == list(range(1, 21))
    assert fetched == []
    page.emulate_media(reduced_motion="reduce")
    assert set(_across(page)[0]) == {20}  # where it was
    assert _across(page, hand_down=True)[0] == list(range(1, 21))
