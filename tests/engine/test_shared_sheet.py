"""Several pieces on one sheet: one phase through all of them, and a trimmer that can cut every one out."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from logbook.engine.cutting import cuts
from logbook.engine.interlace import interlace
from logbook.engine.layout import lay_out
from logbook.engine.plan import make_plan
from logbook.engine.sharedsheet import Laid, SharedPlan, interlace_shared
from logbook.engine.sheet import Waste
from logbook.lengths import parse_length
from logbook.refusals import Refused
from support.cutting_up import cut_up
from support.plain_interlace import owner

LEVELS = (60, 110, 160, 200, 230)
DPI = "254"


@pytest.fixture
def paths(tmp_path):
    for level in LEVELS:
        Image.new("L", (60, 40), level).save(tmp_path / f"{level}.png")
    return [tmp_path / f"{level}.png" for level in LEVELS]


def plan(width, height, pictures=2, *, flip="left-right", lpi="20.12", bleed="2mm", waste=None):
    return make_plan(lpi=lpi, dpi=DPI, width=parse_length(f"{width}mm"), height=parse_length(f"{height}mm"), flip=flip,
                     pictures=pictures, bleed=parse_length(bleed, positive=False), waste=waste)


def shared(flip="left-right", *, waste=None):
    """Two copies of a piece of two pictures and one of three, on a sheet of 100 × 80 mm."""
    two, three = plan(30, 25, flip=flip), plan(30, 25, 3, flip=flip)
    laid = (Laid(two, (0, 1), (45, 50)), Laid(two, (0, 1), (450, 47)), Laid(three, (2, 3, 4), (133, 400)))
    return SharedPlan(plan(100, 80, flip=flip, bleed="0mm", waste=waste), laid)


def made(of, paths, tmp_path):
    told = interlace_shared(of, paths, tmp_path / "out.tif").as_json()
    with Image.open(tmp_path / "out.tif") as image:
        return told, np.asarray(image)


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("waste", [None, Waste(label=("Run R-7K2",), code="R-7K2", corners=False)])
def test_every_dot_of_every_piece_is_in_the_phase_of_the_whole_sheet(paths, tmp_path, flip, waste):
    of = shared(flip, waste=waste)
    told, dots = made(of, paths, tmp_path)
    bare = dots.copy()
    for one, (left, top, right, bottom) in zip(of.laid, told["pieces_trim_dots"], strict=True):
        assert (right - left, bottom - top) == (300, 250)
        left, top, right, bottom = left - 20, top - 20, right + 20, bottom + 20
        span = range(left, right) if flip == "left-right" else range(top, bottom)
        count = one.plan.pictures
        mine = np.array([owner(dot, lpi="20.12", dpi=Fraction(254), pictures=count) for dot in span])
        wanted = np.array(LEVELS)[np.array(one.pictures)[mine - 1]]
        wanted = np.broadcast_to(wanted if flip == "left-right" else wanted[:, None], (bottom - top, right - left))
        assert (dots[top:bottom, left:right] == wanted).all()
        bare[top:bottom, left:right] = 255
    # beside the pieces there are marks and bare paper, nothing between black and white
    assert set(np.unique(bare)) == {0, 255}


def test_eight_marks_stand_in_line_with_the_trimmed_edges_of_each_piece(paths, tmp_path):
    told, dots = made(shared(), paths, tmp_path)
    marks = [one["box_dots"] for one in told["furniture"] if one["name"] == "trim mark"]
    assert len(marks) == 8 * 3
    for left, top, right, bottom in told["pieces_trim_dots"]:
        upright = [((box[0] + box[2]) // 2, box[1], box[3]) for box in marks if box[3] - box[1] > box[2] - box[0]]
        flat = [((box[1] + box[3]) // 2, box[0], box[2]) for box in marks if box[3] - box[1] < box[2] - box[0]]
        for lines, edges, (first, last) in ((upright, (left, right), (top, bottom)),
                                            (flat, (top, bottom), (left, right))):  # fmt: skip
            for edge in edges:
                assert (edge, first - 20 - 30, first - 20 - 5) in lines
                assert (edge, last + 20 + 5, last + 20 + 30) in lines
    assert all((dots[top:bottom, left:right] == 0).all() for left, top, right, bottom in marks)


def test_a_piece_alone_on_its_sheet_is_the_print_that_interlacing_it_alone_makes(paths, tmp_path):
    alone = plan(30, 25)
    one = interlace(alone, paths[:2], tmp_path / "alone.tif").as_json()
    sheet = SharedPlan(plan(34, 29, bleed="0mm"), (Laid(alone, (0, 1), (0, 0)),))
    assert sheet.sheet.dots == alone.dots
    with Image.open(tmp_path / "alone.tif") as image:
        expected = np.asarray(image)
    told, dots = made(sheet, paths[:2], tmp_path)
    assert (dots == expected).all()
    assert told["pixels_sha256"] == one["pixels_sha256"]


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_a_piece_is_woven_as_if_it_were_alone_with_the_phase_of_its_place(tmp_path, flip):
    noise = np.random.default_rng(5)
    paths = [tmp_path / f"{number}.png" for number in range(5)]
    for path in paths:
        Image.fromarray(noise.integers(0, 256, (90, 130, 3), dtype=np.uint8)).save(path)
    of = shared(flip)
    _, dots = made(of, paths, tmp_path)
    for one in of.laid:
        start = one.at[0 if flip == "left-right" else 1]
        alone = replace(one.plan, offset=Fraction(start) * Fraction("20.12") / Fraction(DPI))
        interlace(alone, [paths[number] for number in one.pictures], tmp_path / "alone.tif")
        with Image.open(tmp_path / "alone.tif") as image:
            expected = np.asarray(image)
        left, top = one.at
        assert (dots[top : top + len(expected), left : left + expected.shape[1]] == expected).all()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (Laid(plan(30, 25, flip="up-down"), (0, 1), (45, 50)), "lies turned"),
        (Laid(plan(30, 25, lpi="20.13"), (0, 1), (45, 50)), "one pitch"),
        (Laid(plan(60, 25, waste=Waste()), (0, 1), (45, 50)), "no marks of their own"),
        (Laid(plan(30, 25), (0, 1), (800, 50)), "beyond the sheet"),
        (Laid(plan(30, 25), (0, 1), (460, 60)), "no cut from edge to edge"),
    ],
)
def test_what_cannot_share_a_sheet_is_refused(wrong, words):
    with pytest.raises(Refused, match=words):
        SharedPlan(plan(100, 80, bleed="0mm"), (Laid(plan(30, 25), (0, 1), (450, 47)), wrong))


# --- cutting


PINWHEEL = [(0, 0, 60, 30), (70, 0, 100, 60), (40, 70, 100, 100), (0, 40, 30, 100)]
"""Four pieces around a middle: the smallest arrangement that no cut from edge to edge parts (P. C. Gilmore and
R. E. Gomory, "Multistage Cutting Stock Problems of Two and More Dimensions", Operations Research 13, 1965, from
memory)."""


def test_pieces_around_a_middle_cannot_be_cut_apart():
    with pytest.raises(Refused, match="no cut from edge to edge"):
        cuts((0, 0, 100, 100), PINWHEEL)
    assert len(cuts((0, 0, 100, 100), PINWHEEL[:3])) > 4


SIZES = st.lists(st.tuples(st.integers(20, 300), st.integers(20, 300)), min_size=1, max_size=14)


@settings(max_examples=60)
@given(sizes=SIZES, area=st.tuples(st.integers(400, 900), st.integers(400, 900)), room=st.integers(0, 20))
def test_whatever_is_laid_out_keeps_its_room_and_comes_off_the_trimmer_whole(sizes, area, room):
    layout = lay_out(sizes, area=area, room=(room, room))
    boxes = [
        (x, y, x + wide, y + high)
        for place, (wide, high) in zip(layout.places, sizes, strict=True)
        if place
        for x, y in [place]
    ]
    assert len(boxes) == len(sizes) - layout.left_over
    for number, (left, top, right, bottom) in enumerate(boxes):
        assert min(left, top, area[0] - right, area[1] - bottom) >= room
        for other in boxes[:number]:
            gaps = (left - other[2], other[0] - right, top - other[3], other[1] - bottom)
            assert max(gaps) >= room
    bleed = 8  # what is trimmed lies inside what is printed
    trimmed = [(left + bleed, top + bleed, right - bleed, bottom - bleed) for left, top, right, bottom in boxes]
    plan_of_cuts = cuts((0, 0, *area), trimmed)
    assert [cut.number for cut in plan_of_cuts] == list(range(1, len(plan_of_cuts) + 1))
    assert set(trimmed) <= cut_up((0, 0, *area), plan_of_cuts)


@given(count=st.integers(1, 30), wide=st.integers(40, 200), high=st.integers(40, 200))
def test_copies_fill_at_least_the_grid_that_anybody_would_lay_by_hand(count, wide, high):
    area, room = (700, 500), 10
    grid = ((area[0] - room) // (wide + room)) * ((area[1] - room) // (high + room))
    layout = lay_out([(wide, high)] * count, area=area, room=(room, room))
    assert count - layout.left_over >= min(count, grid)


def test_edges_in_one_line_are_cut_together():
    """Three by two copies with room between: two lines at each row and column, and the first cut frees a whole row."""
    boxes = [(x, y, x + 90, y + 60) for y in (10, 80) for x in (10, 110, 210)]
    found = cuts((0, 0, 310, 150), boxes)
    assert (found[0].way, found[0].pieces) == ("across", (0, 1, 2, 3, 4, 5))
    assert len(found) == 4 + 2 * 6


def test_what_does_not_fit_is_told_and_a_sheet_for_nothing_refused():
    layout = lay_out([(100, 100)] * 5, area=(250, 230), room=(10, 10))
    assert layout.left_over == 1
    with pytest.raises(Refused, match="Not one of the pieces fits"):
        lay_out([(300, 300)], area=(250, 230), room=(10, 10))
    with pytest.raises(Refused, match="at least one piece"):
        lay_out([], area=(250, 230), room=(10, 10))
