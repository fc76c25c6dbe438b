"""The order of depth against a real stereo pair with its true disparity."""

import numpy as np
import pytest
from skimage import data

from logbook.engine.depth import INSIDE_OUT, RIGHT, UNDECIDED, depth_order, parallax
from logbook.refusals import Refused


@pytest.fixture(scope="module")
def stereo():
    # "Motorcycle", a stereo pair with measured disparity, shipped inside scikit-image's wheel: left, right, disparity.
    return data.stereo_motorcycle()


def test_the_left_cameras_picture_first_is_right_and_the_pair_exchanged_is_inside_out(stereo):
    left, right, _ = stereo
    assert depth_order([left, right]).verdict == RIGHT
    assert depth_order([right, left]).verdict == INSIDE_OUT
    found = depth_order([left, right])
    assert found.patches_for > 10 * found.patches_against


def test_the_measured_parallax_is_the_true_disparity(stereo):
    left, right, disparity = stereo
    reduced = 360 / left.shape[1]
    known = disparity[np.isfinite(disparity) & (disparity > 0)] * reduced
    moved = parallax(left, right)
    assert len(moved) > 40
    assert np.median(moved) == pytest.approx(np.median(known), abs=2)
    assert np.percentile(moved, 5) >= np.percentile(known, 1) - 2
    assert np.percentile(moved, 95) <= np.percentile(known, 99) + 2


def test_a_sequence_of_several_views_is_judged_as_one(stereo):
    left, right, _ = stereo
    wide = left.shape[1] - 40
    views = [left[:, 20 - step:20 - step + wide] for step in (0, 6, 12)]  # a camera that moves to the left
    assert depth_order(views[::-1]).verdict != depth_order(views).verdict
    assert depth_order([left, right, right]).verdict == RIGHT


def test_pictures_without_depth_or_of_two_scenes_or_meeting_in_the_middle_are_left_to_a_person(stereo):
    left, right, _ = stereo
    assert depth_order([left, left]).verdict == UNDECIDED
    flat = np.full_like(left, 90)
    assert depth_order([flat, flat]).verdict == UNDECIDED
    shift = int(np.median(parallax(left, right)) * left.shape[1] / 360)
    met = [left[:, shift:], right[:, :-shift]]  # brought together on the middle plane: near and far part both ways
    assert depth_order(met).verdict == UNDECIDED


def test_pictures_of_two_sizes_are_refused(stereo):
    with pytest.raises(Refused):
        depth_order([stereo[0], stereo[1][1:]])
    with pytest.raises(Refused):
        depth_order([stereo[0]])
