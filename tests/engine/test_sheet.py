"""The print as a whole: waste, marks, check bars, strip, label and code, in one phase with the pictures."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.engine.sheet import Waste
from logbook.lengths import parse_length
from logbook.refusals import Refused
from support.plain_interlace import owner

CODE = "https://bench.example/p/7K2"


@pytest.fixture
def make(tmp_path):
    for number, level in enumerate((90, 150, 220), start=1):
        Image.new("L", (50, 40), level).save(tmp_path / f"{number}.png")

    def call(pictures=2, **more):
        asked = {"lpi": "20.12", "dpi": "254", "width": parse_length("100mm"), "height": parse_length("70mm"),
                 "flip": "left-right", "bleed": parse_length("3mm"), "waste": Waste(label=("Run R-7K2",), code=CODE),
                 **more}
        plan = make_plan(pictures=pictures, **asked)
        paths = [tmp_path / f"{number}.png" for number in range(1, pictures + 1)]
        result = interlace(plan, paths, tmp_path / "out.tif")
        with Image.open(tmp_path / "out.tif") as image:
            return result.as_json(), np.asarray(image)

    return call


def boxes(told, name):
    return [piece["box_dots"] for piece in told["furniture"] if piece["name"] == name]


def cut(made, box):
    left, top, right, bottom = box
    return made[top:bottom, left:right]


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("reversed_sheet", [False, True])
def test_one_phase_runs_from_the_rasters_border_through_print_and_check_bars(make, flip, reversed_sheet):
    told, made = make(pictures=3, flip=flip, reversed_sheet=reversed_sheet)
    left, top, right, bottom = told["trim_dots"]
    assert (right - left, bottom - top) == (1000, 700)
    stood, wide = made, made.shape[1]
    if reversed_sheet:
        stood, (left, right) = made[:, ::-1], (wide - right, wide - left)
    low, high = (left, right) if flip == "left-right" else (top, bottom)
    mine = np.array([owner(dot, lpi="20.12", dpi=Fraction(254), pictures=3) for dot in range(low - 30, high + 30)])
    line = stood[top, left - 30:right + 30] if flip == "left-right" else stood[top - 30:bottom + 30, left]
    assert (line == np.array([0, 90, 150, 220])[mine]).all()
    for picture in (1, 3):
        (box,) = boxes(told, f"check bar picture {picture}")
        bar = cut(made, box)
        if reversed_sheet:
            bar = bar[:, ::-1]
        row = bar[0] if flip == "left-right" else bar[:, 0]
        assert (bar == (row[None, :] if flip == "left-right" else row[:, None])).all()
        assert (row == np.where(mine == picture, 0, 255)).all()
        assert min(bar.shape) == 40  # 4 mm


def test_check_bars_look_solid_from_their_own_side_under_the_right_lens(make):
    # A lens registered on the phase shows of each lenticule the dot at the sampled phase (3/4 from the left, 1/4 from
    # the right, for two pictures).
    told, made = make()
    for picture, phase in ((1, Fraction(3, 4)), (2, Fraction(1, 4))):
        (box,) = boxes(told, f"check bar picture {picture}")
        per_lenticule = 254 / Fraction("20.12")
        first = int(box[0] / per_lenticule) + 1
        seen = [made[box[1], int((lenticule + phase) * per_lenticule)]
                for lenticule in range(first, int(box[2] / per_lenticule) - 1)]
        other = [made[box[1], int((lenticule + 1 - phase) * per_lenticule)]
                 for lenticule in range(first, int(box[2] / per_lenticule) - 1)]
        assert (set(seen), set(other)) == ({0}, {255})


@pytest.mark.parametrize("reversed_sheet", [False, True])
@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_the_code_is_read_from_the_ink_side_even_on_a_reversed_sheet(make, reversed_sheet, flip):
    told, made = make(flip=flip, reversed_sheet=reversed_sheet)
    (label,) = boxes(told, "label")
    (read,) = zxingcpp.read_barcodes(cut(made, label))
    assert read.text == CODE
    corners = [(getattr(read.position, name).x, getattr(read.position, name).y)
               for name in ("top_left", "top_right", "bottom_left")]
    assert corners[0][0] < corners[1][0]  # not mirrored
    # ISO/IEC 18004: a quiet zone of four modules, here of half a millimetre (5 dots): bare paper above and beside.
    edge = int(min(x for x, _ in corners))
    assert (cut(made, label)[:, edge - 19:edge - 2] == 255).all()
    assert (cut(made, label)[:, -18:] == 255).all()


def test_trim_marks_point_at_the_trimmed_edges_and_stand_outside_the_print(make):
    told, made = make()
    left, top, right, bottom = told["trim_dots"]
    marks = boxes(told, "trim mark")
    assert len(marks) == 8
    for box in marks:
        assert not cut(made, box).any()
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        assert min(abs(middle[0] - left), abs(middle[0] - right), abs(middle[1] - top), abs(middle[1] - bottom)) <= 1
        assert box[2] <= left - 30 or box[0] >= right + 30 or box[3] <= top - 30 or box[1] >= bottom + 30
    bars = boxes(told, "check bar picture 1") + boxes(told, "check bar picture 2")
    assert all(one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
               for one in marks for other in bars)


def test_the_scale_bar_is_as_long_as_its_words_say(make):
    # 100 mm at 254 dots per inch are 1000 dots, outer edge to outer edge.
    told, made = make(width=parse_length("120mm"))
    (label,) = boxes(told, "label")
    dark = np.flatnonzero(cut(made, label)[0] == 0)
    dark = dark[dark < 1020]
    assert dark[-1] + 1 - dark[0] == 1000


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_the_pitch_strip_lies_along_the_pitch_axis_and_holds_its_five_pitches(make, flip):
    waste = Waste(strip_lpi=Decimal("20.06"), bench_distance=parse_length("600mm"))
    told, made = make(flip=flip, waste=waste)
    (box,) = boxes(told, "pitch strip")
    strip = cut(made, box) if flip == "left-right" else np.rot90(cut(made, box))
    assert strip.shape[1] == (1060 if flip == "left-right" else 760)
    # Five bands of 4 mm (40 dots), 1 mm (10 dots) apart; dot i is black when frac((i + 1/2) lpi / dpi) < 1/2, counted
    # from the strip's own edge; half a lenticule between neighbours over the length: 0.5 / W lines per inch.
    step = round(Decimal("0.5") * 254 / strip.shape[1], 6)
    for band in range(5):
        pitch = Fraction(Decimal("20.06") + (band - 2) * step)
        expected = [0 if (Fraction(2 * dot + 1, 2) * pitch / 254) % 1 < Fraction(1, 2) else 255
                    for dot in range(strip.shape[1])]
        assert (strip[band * 50:band * 50 + 40] == expected).all()


def test_waste_that_cannot_be_is_refused(make):
    with pytest.raises(Refused, match="too narrow"):
        make(width=parse_length("30mm"))
    with pytest.raises(Refused, match="distance"):
        make(waste=Waste(strip_lpi=Decimal(20)))


def test_cmyk_sheets_carry_their_marks_in_black_ink_on_bare_paper(tmp_path):
    for number in (1, 2):
        Image.new("CMYK", (50, 40), (10 * number, 0, 0, 0)).save(tmp_path / f"{number}.tif")
    plan = make_plan(lpi="20.12", dpi="254", width=parse_length("100mm"), height=parse_length("70mm"),
                     flip="left-right", pictures=2, waste=Waste())
    told = interlace(plan, [tmp_path / "1.tif", tmp_path / "2.tif"], tmp_path / "out.tif").as_json()
    with Image.open(tmp_path / "out.tif") as image:
        made = np.asarray(image)
    assert (cut(made, boxes(told, "trim mark")[0]) == (0, 0, 0, 255)).all()
    assert not made[0, 0].any()
