"""Pictures on the print, on their page: fits with their fineness, and a picture moved without and with scripts."""

from io import BytesIO

import numpy as np
from PIL import Image

from logbook.actions import alignment, pictures
from support.small_shop import job


def _text(answer):
    return answer.get_data(as_text=True)


def _codes(office, code):
    return office.read(lambda session: [one.code for one in pictures.current(job(session, code))])


def _view(desk, code, dx, dy):
    answer = desk.get(f"/picture/{code}/blended.jpg?dx={dx}&dy={dy}")
    assert answer.status_code == 200
    return np.asarray(Image.open(BytesIO(answer.data)), dtype=float)


def test_number_fields_move_a_picture(office, desk):
    code = office.order()
    second = _codes(office, code)[1]
    form = {"request_id": "m", "picture": second, "dx": "-14", "dy": "6"}
    answer = desk.post(f"/job/{code}/pictures-on-print", data=form)
    assert answer.status_code == 303
    page = _text(desk.get(answer.location))
    assert 'value="-14"' in page
    assert "dx=-14" in page
    kept = office.read(lambda session: alignment.newest(pictures.current(job(session, code))[1]))
    assert (kept.dx, kept.dy) == (-14, 6)


def test_the_view_follows_the_dots(office, desk):
    code = office.order()
    second = _codes(office, code)[1]
    still, moved = _view(desk, second, 0, 0), _view(desk, second, 60, 0)
    assert still.shape == moved.shape
    assert np.abs(still - moved).mean() > 3


def test_bad_numbers_are_said_at_their_field(office, desk):
    code = office.order()
    form = {"request_id": "m", "picture": _codes(office, code)[1], "dx": "far", "dy": "99999"}
    answer = desk.post(f"/job/{code}/pictures-on-print", data=form)
    assert answer.status_code == 422
    assert 'id="dx-fault"' in _text(answer)
    assert 'id="dy-fault"' in _text(answer)


def test_a_picture_of_another_job_is_refused(office, desk):
    code, other = office.order(), office.order()
    form = {"request_id": "m", "picture": _codes(office, other)[1], "dx": "1", "dy": "1"}
    answer = desk.post(f"/job/{code}/pictures-on-print", data=form)
    assert answer.status_code == 422
    assert "another job" in _text(answer)


def test_every_fit_is_shown_with_its_fineness_against_what_the_lens_shows(office, desk):
    code = office.order()
    page = _text(desk.get(f"/job/{code}/pictures-on-print"))
    # 427 rows over 90 mm and bleed are 120 an inch, 640 columns over 80 mm 203; 20 lines and 146 an inch are shown
    assert "121 × 121 pixels an inch; this lens shows 20 × 146: <b>too few" in page
    assert "203 × 121 pixels an inch" in page
    for fit in ("crop", "pad", "stretch"):
        assert desk.get(f"/picture/{_codes(office, code)[1]}/fitted/{fit}.jpg").status_code == 200
    assert desk.get(f"/picture/{_codes(office, code)[1]}/fitted/other.jpg").status_code == 404


def test_a_photograph_may_be_taken_with_the_tablets_camera(office, desk):
    assert 'capture="environment"' in _text(desk.get(f"/job/{office.order()}"))
