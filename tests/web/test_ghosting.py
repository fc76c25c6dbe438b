"""Ghosting on its page: the number of the engine, pictures of it, the owner's figures."""

from io import BytesIO

import numpy as np
from PIL import Image
from sqlalchemy import select

from logbook.actions import ghosting
from logbook.engine.ghosting import in_words
from logbook.records.materials import Material
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job

FIGURES = {"ink_spread": "0.1mm", "registration": "0.05", "floor_percent": "3", "radius": ""}


def _number(office, code):
    return office.read(lambda session: ghosting.number_and_words(session, office.shop.store, job(session, code)))


def test_without_two_pictures_nobody_knows_and_the_page_says_so(office, desk):
    code = office.order(files=PHOTOGRAPHS[:1])
    assert "Not known yet" in desk.get(f"/job/{code}/ghosting").get_data(as_text=True)
    assert desk.get(f"/job/{code}/ghosting/seen.png").status_code == 404


def test_the_number_stands_on_the_jobs_page_and_its_pictures_on_their_own(office, desk):
    code = office.order()
    number, words = _number(office, code)
    assert words == in_words(number)
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    assert f"{words}</a> ({number:.1f} ΔL*). " in page
    assert ("What would help" in page) is (words != "not seen")
    assert f"{number:.1f} ΔL*: {words}" in desk.get(f"/job/{code}/ghosting").get_data(as_text=True)
    shapes = set()
    for kind in ("seen", "where"):
        with Image.open(BytesIO(desk.get(f"/job/{code}/ghosting/{kind}.png").data)) as image:
            shapes.add(np.asarray(image).shape)
    assert shapes == {(160, 140, 3)}  # 70 x 80 mm
    assert desk.get(f"/job/{code}/ghosting/other.png").status_code == 404


def test_worse_figures_of_the_owner_make_the_number_worse_for_that_lens_printer_and_paper(office, desk):
    code = office.order()
    before = _number(office, code)[0]
    answer = desk.post(f"/job/{code}/ghosting/figures", data={**FIGURES, "request_id": "g1"})
    assert answer.status_code == 303
    assert _number(office, code)[0] > before
    assert 'value="0.1 mm"' in desk.get(f"/job/{code}/ghosting").get_data(as_text=True)


def test_figures_that_cannot_be_are_named_at_their_field_and_nothing_is_kept(office, desk):
    code = office.order()
    before = _number(office, code)
    answer = desk.post(f"/job/{code}/ghosting/figures", data={**FIGURES, "request_id": "g2", "registration": "0.9"})
    assert answer.status_code == 422
    assert 'id="registration-fault"' in answer.get_data(as_text=True)
    narrow = desk.post(f"/job/{code}/ghosting/figures", data={**FIGURES, "request_id": "g3", "radius": "0.1mm"})
    assert narrow.status_code == 422
    assert "at least half of the pitch" in narrow.get_data(as_text=True)
    assert _number(office, code) == before


def test_a_lens_whose_thickness_nobody_knows_gives_no_number(office):
    code = office.order()

    def forget(session, _):
        lens = session.execute(select(Material).where(Material.kind == "lens")).scalars().first()
        lens.thickness = None

    office.act(forget)
    assert _number(office, code) is None
