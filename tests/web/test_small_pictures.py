"""A picture that is too small for its print is named at the picture, with the size that it would need."""

import re
from io import BytesIO

import pytest
from PIL import Image

from logbook.actions import orders
from logbook.lengths import parse_length


def _picture(size):
    out = BytesIO()
    Image.effect_noise(size, 40).convert("RGB").save(out, "JPEG")
    out.seek(0)
    return out


def _warnings(desk, code):
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    said = re.findall(r'<p class="(?:held|note)">(.*?)</p>', page)
    return [re.sub(r"<[^>]+>", "", one) for one in said if "pixels an inch" in one]


def _upload(desk, code, *sizes):
    files = {"request_id": "up", "pictures": [(_picture(size), f"{size[0]}.jpg") for size in sizes]}
    assert desk.post(f"/job/{code}/pictures", data=files, content_type="multipart/form-data").status_code == 303


def test_the_job_page_names_a_small_picture_right_after_it_came(desk, office):
    code = office.order()  # 70 x 80 mm and 5 mm of bleed, a lens of 20 LPI, from 0.6 m
    assert len(_warnings(desk, code)) == 2  # photographs of 640 x 427: a little too small
    _upload(desk, code, (100, 100))
    said = _warnings(desk, code)[2]
    # printed 80 x 90 mm; cut to fill, 100 pixels lie on 90 mm: 28 an inch. One minute of arc (ISO 8596, acuity 1)
    # at 600 mm is 0.1745 mm: 146 an inch, 516 pixels on 90 mm
    assert said.startswith("Far too small for this print. Fitted in, it has 28 × 28 pixels an inch; ")
    assert "this lens shows 20 × 146. It needs 516 × 516 pixels at least" in said


def test_a_little_too_small_is_said_more_quietly(desk, office):
    code = office.order()
    _upload(desk, code, (400, 400))
    said = _warnings(desk, code)[2]
    assert said.startswith("Smaller than this print can show.")


@pytest.mark.parametrize(("size", "warned"), [((515, 515), 1), ((516, 516), 0)])
def test_the_size_that_is_named_is_enough(desk, office, size, warned):
    code = office.order()
    _upload(desk, code, size)
    assert len(_warnings(desk, code)[2:]) == warned


def test_before_the_lens_is_chosen_the_eye_alone_decides(desk, office):
    wish = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right")
    own = office.shop.settings.own_safety_path
    code = office.act(lambda s, by: orders.place_order(s, by, own, customer_name="", wish=wish).code)
    _upload(desk, code, (100, 100), (600, 600))
    (said,) = _warnings(desk, code)
    assert "from 600 mm the eye sees 146 along the ridges; across them the lens, once chosen, decides" in said
