"""From an empty shop to a proof and an interlaced file, counting what has to be typed."""

import tifffile

from support.shop_walk import Person

MOST_TYPED_FIELDS = 15


def test_a_newcomer_types_at_most_fifteen_fields(serve_logbook, new_page):
    shop = serve_logbook()
    person = Person(new_page(), shop.address)
    person.found_the_shop()
    person.take_an_order()
    person.make_a_proof()
    person.write_down_the_answer()
    person.take_the_nominal_pitch()
    person.interlace()
    file = person.download("Download the TIFF")
    with tifffile.TiffFile(file.path()) as raster:
        assert raster.pages[0].shape[0] > 5 * 720
    print(f"typed fields: {person.typed}, clicks and choices: {person.touched}")
    assert person.typed <= MOST_TYPED_FIELDS
