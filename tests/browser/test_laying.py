"""A picture laid over the first one: moved by keys, buttons and pointer, and kept where it was let go."""

from support.shop_walk import Person


def _fields(page):
    return tuple(int(page.locator(f"[name={name}]").input_value()) for name in ("dx", "dy"))


def test_a_picture_is_moved_by_keys_buttons_and_pointer_and_stays_there(serve_logbook, new_page, assert_accessible):
    person = Person(new_page(), serve_logbook().address)
    page = person.page
    person.found_the_shop()
    person.take_an_order()
    person.follow("How they fit, and laid over each other")
    page.locator(".nudges.ready").wait_for()  # the page listens to keys
    view = page.locator(".lay img")
    view.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    assert _fields(page) == (1, -10)
    person.click("left 10")
    person.click("down 1", exact=True)
    assert _fields(page) == (-9, -9)
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    page.mouse.move(box["x"] + 50, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + 50 + box["width"] / 10, box["y"] + 50, steps=4)
    page.mouse.up()
    # a tenth of 4 inches at 720 dots an inch are 288 dots; the pointer stands on whole pixels of the screen
    dx, dy = _fields(page)
    assert abs(dx - (288 - 9)) <= 4
    assert dy == -9
    page.wait_for_function("dx => document.querySelector('.lay img').src.includes(`dx=${dx}&`)", arg=dx)
    assert_accessible(page)
    person.click("Keep it there")
    page.wait_for_url("**/pictures-on-print?picture=*")
    assert _fields(page) == (dx, dy)
