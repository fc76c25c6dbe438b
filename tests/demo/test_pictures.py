"""The demo's pictures: real files, and series whose pictures lie over each other."""

import io
import sys

import numpy as np
import pytest
from PIL import Image

SERIES = {"LIGHTHOUSE": 2, "MOONS": 4, "KITE": 2, "FOX": 2, "HARBOUR": 2, "WATCH": 2}
STANDS_STILL = 0.2
"""The least part of a picture that is the same in its whole series: sky, ground, table."""


@pytest.fixture(scope="module")
def drawn(project_root):
    """Every series as its file names and their bytes."""
    sys.path.insert(0, str(project_root / "demo"))
    try:
        import pictures
    finally:
        sys.path.pop(0)
    return {name: [(file, draw()) for file, draw in getattr(pictures, name)] for name in SERIES}


@pytest.mark.parametrize("name", SERIES)
def test_every_picture_is_a_file_of_its_kind_and_of_a_camera_s_size(drawn, name):
    assert len(drawn[name]) == SERIES[name]
    for file, content in drawn[name]:
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
            assert {".jpg": "JPEG", ".png": "PNG"}[file[-4:]] == picture.format
            assert 1500 <= max(picture.size) <= 2400


@pytest.mark.parametrize("name", [name for name in SERIES if name != "LIGHTHOUSE"])
def test_what_stands_still_lies_at_the_same_dots_in_the_whole_series(drawn, name):
    stack = np.stack([np.asarray(Image.open(io.BytesIO(content)).convert("L"), int) for _, content in drawn[name]])
    still = (stack.max(axis=0) - stack.min(axis=0) <= 8).mean()
    assert STANDS_STILL < still < 1


def test_the_tower_stands_at_the_same_dots_by_day_and_by_night(drawn):
    """Its edges are the steepest places of both pictures, so their outlines must agree where the tower is."""
    day, night = (np.asarray(Image.open(io.BytesIO(content)).convert("L"), int) for _, content in drawn["LIGHTHOUSE"])
    steep = [np.abs(np.diff(picture[440:900], axis=1)) for picture in (day, night)]
    columns = [picture[:, 480:660].sum(axis=0).argmax() for picture in steep]
    assert abs(int(columns[0]) - int(columns[1])) <= 1
