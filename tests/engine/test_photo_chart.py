"""The description of a chart beside its raster: what is none is refused at its field."""

import pytest

from logbook.engine.photo_chart import printed_chart
from logbook.refusals import Refused


@pytest.mark.parametrize(("told", "page", "field"), [
    ("a chart", None, "chart"),
    ([], None, "chart"),
    ({}, None, "chart"),
    ({"pages": []}, None, "chart"),
    ({"pages": "two"}, None, "chart"),
    ({"pages": [{}, {}]}, None, "page"),
    ({"pages": [{}, {}]}, 3, "page"),
    ({"pages": ["no page"]}, 1, "chart"),
    ({"reversed": True}, None, "chart"),
    ({"reversed": False, "dpi": "none"}, None, "chart"),
])
def test_what_describes_no_chart_that_can_be_read_is_refused(told, page, field):
    with pytest.raises(Refused) as refused:
        printed_chart(told, page=page)
    assert refused.value.field == field


CHART = {"reversed": False, "dpi": [720, 720], "lens_box_dots": [100, 100, 900, 900], "code": "A", "guides": [],
         "bands": [{"number": number, "lpi": 20, "box_dots": [100, 100 * number, 900, 100 * number + 90]}
                   for number in (1, 2)],
         "corner_marks": [[0, 0, 50, 50]] * 4, "code_boxes": [[0, 0, 9, 9]], "flip": "left-right"}


@pytest.mark.parametrize("change", [
    {"corner_marks": [[0, 0, 50, 50]] * 3}, {"bands": CHART["bands"][:1]}, {"flip": "round"}])
def test_a_chart_needs_four_marks_two_bands_and_a_known_flip(change):
    assert len(printed_chart(CHART).bands) == 2
    with pytest.raises(Refused, match="does not describe a pitch chart of bands"):
        printed_chart({**CHART, **change})
