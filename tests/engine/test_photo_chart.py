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
