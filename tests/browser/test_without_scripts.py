"""Reading and signing work in a browser that runs no scripts; scripts only add."""

from support.shop_walk import Person
from support.to_the_door import PATIENCE, bring_to

MOST_RELOADS = 500


def test_a_sheet_goes_from_the_order_to_the_door_without_scripts(serve_logbook, new_page):
    page = new_page(java_script_enabled=False)
    person = Person(page, serve_logbook().address)
    person.found_the_shop()
    person.take_an_order(size=("3in", "2in"))
    _pictures_stand_side_by_side(page)
    person.make_a_proof()
    person.write_down_the_answer("go ahead")
    person.take_the_nominal_pitch()
    person.click("Interlace")
    done = page.get_by_role("button", name="I looked at it and accept it")
    look = page.get_by_role("link", name="Look how far it is")
    for _ in range(MOST_RELOADS):  # the page cannot keep itself current here
        done.or_(look).first.wait_for()
        if done.count():
            break
        look.click()
    person.accept()
    person.follow("26-0001-A-S1")
    bring_to(person, "pack", after="print")
    person.sign(PATIENCE)
    assert person.reads("gone: collected on")
    assert person.reads(PATIENCE)


def _pictures_stand_side_by_side(page):
    """Nothing moves without scripts: every picture of the flip is shown, none under another."""
    boxes = [image.bounding_box() for image in page.locator(".ridged img").all()]
    assert len(boxes) == 2
    assert all(box for box in boxes)
    assert boxes[0]["x"] + boxes[0]["width"] <= boxes[1]["x"]
    assert boxes[0]["y"] == boxes[1]["y"]
