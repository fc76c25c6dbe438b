"""Choosing the lens on its pages: numbers in words, each marked geometry or rule of thumb."""

from logbook.actions import lenses
from logbook.engine.choosing import LensType, Use, looks
from logbook.records.materials import Lot
from logbook.web.lenswords import said
from support.small_shop import job, one


def _text(answer):
    return answer.get_data(as_text=True)


def _words(lens, **changes):
    known = {"width_in": 4, "height_in": 5, "distance_mm": 400, "flip": "left-right", "use": "hand", "pictures": 6}
    use = Use(**{**known, **changes})
    return said(looks(lens, use, printers={"Ida": (720, 720), "Old": (300, 300)}), use)


def test_every_number_is_a_sentence_with_its_mark():
    # 60 lines: p 0.42333 mm; p·n·D/e for six pictures is 0.42333 x 1.57 x 400 / 0.62 / 6 = 71.5 mm
    words = _words(LensType(60, 0.62, 1.57, ((8, 10),)))
    sentences = [one.sentence for one in words]
    assert "Its lines look 3.6 arc minutes wide; one is what a good eye resolves." in sentences
    assert "One picture is seen over 71 mm at that distance; eyes are 63 mm apart: both eyes fit into one." in sentences
    assert "Ida: 2.0 dots per strip." in sentences
    assert "Old: 0.8 dots per strip, fewer than one: it cannot be interlaced." in sentences
    assert "In the hand 50 to 75 lines per inch: the trade would take it." in sentences
    assert {one.mark for one in words} == {"geometry", "rule of thumb"}
    assert [one.sentence for one in words if one.mark == "rule of thumb"] == sentences[-1:]
    assert words[-1].kept.endswith("(rule of thumb)")


def test_what_speaks_against_it_is_marked():
    against = [one.sentence for one in _words(LensType(20, 2.4, 1.57, ((2, 2),)), distance_mm=200) if one.against]
    assert any("both eyes never see the same one" in sentence for sentence in against)
    assert "No sheet in stock covers the print with its bleed." in against
    assert "In the hand 50 to 75 lines per inch: the trade would take another." in against


def test_depth_on_ridges_that_run_across_is_advised_against():
    words = _words(LensType(60, 0.62, 1.57), flip="up-down", effect="depth")
    (flat,) = [one for one in words if "eyes" in one.sentence]
    assert flat.against
    assert "depth needs two" in flat.sentence


def test_what_is_not_known_is_said():
    sentences = " ".join(one.sentence for one in _words(LensType(60)))
    assert "thickness or index is not on record" in sentences
    assert "The size of its sheets is not on record." in sentences


def test_the_lens_is_compared_before_there_is_an_order(desk):
    page = _text(desk.get("/lens?width=70mm&height=80mm&distance=0.6m&pictures=2&use=wall&flip=left-right"))
    assert "20 LPI lens" in page
    assert "rule of thumb" in page


def test_bad_input_is_said_at_its_field(desk):
    answer = desk.get("/lens?width=wide&height=80mm&distance=0.6m&pictures=1&use=wall&flip=left-right")
    assert answer.status_code == 422
    assert 'id="width-fault"' in _text(answer)
    assert 'id="pictures-fault"' in _text(answer)


def test_the_choice_is_made_on_the_job_and_stands_there_with_its_reasons(office, desk):
    code = office.order()
    lot = office.read(lambda session: one(session, Lot, label="L-1").code)
    answer = desk.post(f"/job/{code}/lens", data={"request_id": "c", "lot": lot, "reason": "only one here"})
    assert answer.status_code == 303
    with office.shop.database.reading() as session:
        kept = lenses.reasons_of(lenses.choice_of(session, job(session, code)))
    assert any("dots per strip" in sentence and sentence.endswith("(geometry)") for sentence in kept)
    assert "only one here" in _text(desk.get(f"/job/{code}/lens"))


def test_without_materials_the_lens_is_chosen_there_already(office, desk):
    from logbook.actions import orders
    from logbook.lengths import parse_length

    size = parse_length("70mm")
    wish = orders.JobWish(width=size, height=size, flip="left-right")
    own = office.shop.settings.own_safety_path
    code = office.act(lambda session, by: orders.place_order(session, by, own, customer_name="", wish=wish).code)
    lot = office.read(lambda session: one(session, Lot, label="L-1").code)
    answer = desk.post(f"/job/{code}/lens", data={"request_id": "c", "lot": lot})
    assert answer.location == f"/job/{code}/materials?lens_lot={lot}"
    assert f'<option selected value="{lot}">' in _text(desk.get(answer.location))
