"""A stereo pair the wrong way round is named on its job's page and turned with one tap."""

import re

import pytest
from PIL import Image
from skimage import data


@pytest.fixture
def cameras(tmp_path):
    # "Motorcycle": a real stereo pair, shipped inside scikit-image's wheel
    files = []
    for name, pixels in zip(("left.png", "right.png"), data.stereo_motorcycle()[:2], strict=True):
        files.append(tmp_path / name)
        Image.fromarray(pixels).save(files[-1])
    return files


def _names(page):
    return re.findall(r"<span>((?:left|right)\.png)</span>", page)


def test_a_pair_that_is_inside_out_is_turned_with_one_tap(office, desk, cameras):
    code = office.order(files=cameras[::-1])
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    assert "Depth seems inside out" in page
    assert _names(page) == ["right.png", "left.png"]
    assert desk.post(f"/job/{code}/turn-round", data={"request_id": "d1"}).status_code == 303
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    assert "inside out" not in page
    assert _names(page) == ["left.png", "right.png"]


def test_pictures_of_two_scenes_are_no_matter_of_depth(office, desk):
    assert "inside out" not in desk.get(f"/job/{office.order()}").get_data(as_text=True)
