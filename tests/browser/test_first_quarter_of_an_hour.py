"""From an empty shop to a proof and an interlaced file, counting what has to be typed."""

import tifffile

from support.shop_walk import PHOTOGRAPHS, Person

MOST_TYPED_FIELDS = 15
"""What this project promises a newcomer: owner, printer, lens, customer, size, and all else proposed or chosen."""


def test_a_newcomer_types_at_most_fifteen_fields(serve_logbook, new_page):
    shop = serve_logbook()
    person = Person(new_page(), shop.address)
    person.found_the_shop()
    person.follow("Take an order")
    person.type("Customer", "Harbour Café")
    person.type("Finished width", "4in")
    person.type("Finished height", "5in")
    person.choose("left – right")
    person.drop(PHOTOGRAPHS)
    assert person.page.locator(".chosen li").all_inner_texts() == ["china.jpg", "flower.jpg"]
    person.type("Lens: lines per inch", "20")
    person.click("Take the order")
    person.make_a_proof()
    assert person.page.get_by_role("link", name="page to mail (PDF)").is_visible()
    person.write_down_the_answer()
    person.take_the_nominal_pitch()
    person.interlace()
    person.click("I looked at it and accept it")
    with tifffile.TiffFile(person.download("Download the TIFF").path()) as raster:
        assert raster.pages[0].shape[:2] > (5 * 720, 4 * 720)
    print(f"typed fields: {len(person.typed)}, touches: {person.touched}\n" + "\n".join(person.typed))
    assert 0 < len(person.typed) <= MOST_TYPED_FIELDS
