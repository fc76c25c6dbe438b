"""Ghosting on its page: the number of the engine, pictures of it, the owner's figures."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import select

from logbook.actions import ghosting, leakcorrections
from logbook.engine.ghosting import in_words
from logbook.records.floor import Run
from logbook.records.leaks import JobCorrection
from logbook.records.materials import Material
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one

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
    explained = '<a href="/words#delta-l">ΔL*</a>'
    assert f"{words}</a> ({number:.1f} {explained}). " in page
    assert ("What would help" in page) is (words != "not seen")
    assert f"{number:.1f} {explained}: {words}" in desk.get(f"/job/{code}/ghosting").get_data(as_text=True)
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


def test_a_correction_is_chosen_beside_its_picture_and_stands_on_job_and_run(office, desk):
    code = office.order(customer="")
    address = f"/job/{code}/ghosting"
    shown = desk.get(address).get_data(as_text=True)
    assert "print a leak sheet first" in shown
    assert 'name="which"' not in shown
    assert desk.get(f"{address}/lowered.png").status_code == 404
    office.measure_leak()
    shown = desk.get(address).get_data(as_text=True)
    assert [f'value="{which}"' in shown for which in ("none", "whole", "lowered")] == [False, True, True]
    assert "<b>As it is</b>" in shown
    views = [desk.get(f"{address}/{kind}.png").data for kind in ("seen", "none", "whole", "lowered")]
    assert views[0] == views[1]  # what is seen without a correction is what the page shows above
    assert len(set(views)) == 3
    answer = desk.post(f"{address}/correction", data={"which": "lowered", "request_id": "c1"})
    assert (answer.status_code, answer.location) == (303, f"{address}#correction")
    row = office.read(lambda session: leakcorrections.in_force(session, job(session, code)))
    words = leakcorrections.correction_of(row).in_words()
    assert (words.startswith("Corrected for a leak of "), float(row.contrast) < 1) == (True, True)
    office.choose_pitch(code)
    office.run(code)
    run = office.read(lambda session: one(session, Run).code)
    for page in (address, f"/job/{code}", f"/run/{run}"):
        assert words in desk.get(page).get_data(as_text=True), page
    assert "judge it through the lens only" in desk.get(f"/run/{run}").get_data(as_text=True)
    office.measure_leak(turned="5")
    assert "does not count any more" in desk.get(address).get_data(as_text=True)


@pytest.mark.parametrize("which", ["whole", "lowered"])
def test_a_proof_of_full_contrast_says_that_the_print_keeps_less(office, desk, which):
    code = office.order()
    office.measure_leak()
    office.approve(code)
    assert "of their contrast" not in desk.get(f"/job/{code}").get_data(as_text=True)
    office.correct_leak(code, which)
    kept = office.read(lambda session: float(leakcorrections.in_force(session, job(session, code)).contrast))
    said = f"the print keeps {100 * kept:.0f} % of their contrast" in desk.get(f"/job/{code}").get_data(as_text=True)
    assert said == (which == "lowered")


def test_what_is_not_offered_cannot_be_chosen(office, desk):
    code = office.order()
    for number, which in enumerate(("whole", "", "other")):
        answer = desk.post(f"/job/{code}/ghosting/correction", data={"which": which, "request_id": f"c{number}"})
        assert answer.status_code == 422
        assert "cannot be chosen any more" in answer.get_data(as_text=True)
    assert office.read(lambda session: session.execute(select(JobCorrection)).first()) is None
