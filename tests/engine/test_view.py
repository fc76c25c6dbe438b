"""Views against the definition dot by dot, and against rays traced by hand."""

from decimal import Decimal
from fractions import Fraction
from math import asin, atan, cos, floor, sin, tan

import numpy as np
import pytest
from PIL import Image, ImageCms

from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.engine.readback import read_raster
from logbook.engine.view import save_view, seen_at, seen_from, view_of_pictures, view_of_raster
from logbook.lengths import parse_length
from logbook.refusals import Refused

COLOURS = [(255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 0)]


@pytest.fixture
def coloured(tmp_path):
    for number, colour in enumerate(COLOURS, start=1):
        Image.new("RGB", (40, 30), colour).save(tmp_path / f"{number}.png")
    return [tmp_path / f"{number}.png" for number in range(1, 5)]


def planned(pictures, **more):
    asked = {"lpi": "20.12", "dpi": "720", "width": parse_length("2in"), "height": parse_length("0.5in"),
             "flip": "left-right", "pictures": pictures, **more}
    return make_plan(**asked)


@pytest.mark.parametrize(("place", "pictures"), [("-1", 2), ("1", 2), ("0.3", 2), ("-1", 5), ("0.9", 5), ("0", 3)])
def test_each_lenticule_shows_the_dot_at_the_sampled_phase(place, pictures):
    # The definition: phase 1/2 - v (1/2 - 1/(2N)); lenticule m takes dot floor((m + phase) dpi / lpi), clipped.
    lpi, dpi, count = Fraction("20.12"), Fraction(720), 1440
    phase = Fraction(1, 2) - Fraction(place) * (Fraction(1, 2) - Fraction(1, 2 * pictures))
    expected = [min(max(floor((floor((dot + Fraction(1, 2)) * lpi / dpi) + phase) * dpi / lpi), 0), count - 1)
                for dot in range(count)]
    seen = seen_from(count, lpi=Decimal("20.12"), dpi=dpi, pictures=pictures, place=Fraction(place))
    assert seen.tolist() == expected


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("reversed_sheet", [False, True])
def test_from_the_left_or_above_one_sees_picture_one_only_and_from_the_other_side_the_last(
        coloured, tmp_path, flip, reversed_sheet):
    plan = planned(4, flip=flip, reversed_sheet=reversed_sheet, height=parse_length("2in"))
    interlace(plan, coloured, tmp_path / "out.tif")
    raster = read_raster(tmp_path / "out.tif")
    for place, colour in (("-1", 0), ("-0.33", 1), ("0.33", 2), ("1", 3)):
        seen = seen_from(1440, lpi=plan.lpi, dpi=plan.pitch_dpi, pictures=4, place=Fraction(place))
        view = view_of_raster(raster, seen, across=plan.across)
        inner = view.crop((40, 40, view.width - 40, view.height - 40))
        assert view.size == (1440, 1440)
        assert inner.getcolors() == [(inner.width * inner.height, COLOURS[colour])]
        same = view_of_pictures(plan, coloured, seen, long_side=90).crop((5, 5, 85, 85))
        assert same.getcolors() == [(80 * 80, COLOURS[colour])]


def test_the_view_straight_from_the_pictures_is_the_view_of_the_print(tmp_path):
    noise = np.random.default_rng(3)
    for number in (1, 2):
        Image.fromarray(noise.integers(0, 256, (6, 8, 3), dtype=np.uint8)).save(tmp_path / f"{number}.png")
    paths = [tmp_path / "1.png", tmp_path / "2.png"]
    plan = planned(2)
    interlace(plan, paths, tmp_path / "out.tif")
    seen = seen_from(1440, lpi=plan.lpi, dpi=plan.pitch_dpi, pictures=2, place=Fraction(1, 2))
    of_print = view_of_raster(read_raster(tmp_path / "out.tif"), seen, across=True, long_side=1440)
    of_pictures = view_of_pictures(plan, paths, seen, long_side=1440)
    assert (np.asarray(of_print) == np.asarray(of_pictures)).all()


def test_a_real_eye_sees_each_lenticule_by_its_own_refracted_ray():
    # Snell's law, one ray at a time in real inches: 20.12 lines per inch, 3 mm, n 1.56, the eye at 600 mm, 80 mm left.
    count, dpi, lpi, lens = 5760, Fraction(720), Decimal("20.05"), 20.12
    seen = seen_at(count, lpi=lpi, dpi=dpi, lens_lpi=lens, thickness_mm=3, index=1.56, distance_mm=600, eye_mm=-80,
                   scale=720 / 719.9)
    dot = 25.4 / 719.9
    middle_phase = (count / 2 * float(lpi) / 720) % 1
    for at in range(0, count, 97):
        from_middle = (at + 0.5 - count / 2) * dot
        lenticule = floor(from_middle / (25.4 / lens) + middle_phase)
        vertex = (lenticule + 0.5 - middle_phase) * 25.4 / lens
        inside = asin(sin(atan((vertex + 80) / 600)) / 1.56)
        landed = vertex + 3 * tan(inside)
        assert seen[at] == min(max(floor(landed / dot + count / 2), 0), count - 1)
        assert cos(inside) > 0


def test_the_wrong_pitch_shows_both_pictures_and_the_right_pitch_one(coloured, tmp_path):
    # Worked example: a 20.12 lens of 3 mm and n 1.56 at 2 m: p(D) = L / (1 + t / (n D)) = 20.1007; the nominal 20 is
    # 0.81 lenticule off over 8 in.
    def share(lpi):
        plan = planned(2, lpi=lpi, width=parse_length("8in"), height=parse_length("2mm"))
        interlace(plan, coloured[:2], tmp_path / "out.tif")
        zone = 2000 / 2 * 25.4 / 20.12 / (3 / 1.56) / 2  # half of a picture's zone: D p n / (2 N t)
        seen = seen_at(plan.dots[0], lpi=plan.lpi, dpi=plan.pitch_dpi, lens_lpi=20.12, thickness_mm=3, index=1.56,
                       distance_mm=2000, eye_mm=-zone)
        view = np.asarray(view_of_raster(read_raster(tmp_path / "out.tif"), seen, across=True))
        return (view[0] == COLOURS[0]).all(axis=1).mean()

    assert share("20.1007") > 0.99
    assert share("20") < 0.65


@pytest.mark.parametrize(("mode", "levels", "shown"), [
    ("CMYK", [(0, 255, 255, 0), (255, 255, 0, 0)], [(255, 0, 0), (0, 0, 255)]), ("L", [40, 200], [40, 200])])
def test_prints_in_ink_and_in_grey_are_shown_too(tmp_path, mode, levels, shown):
    for number, level in enumerate(levels, start=1):
        Image.new(mode, (40, 30), level).save(tmp_path / f"{number}.tif")
    plan = planned(2)
    interlace(plan, [tmp_path / "1.tif", tmp_path / "2.tif"], tmp_path / "out.tif")
    for place, colour in ((-1, shown[0]), (1, shown[1])):
        seen = seen_from(1440, lpi=plan.lpi, dpi=plan.pitch_dpi, pictures=2, place=Fraction(place))
        view = view_of_raster(read_raster(tmp_path / "out.tif"), seen, across=True, long_side=200)
        assert view.getpixel((100, 20)) == colour


def test_a_sixteen_bit_print_is_shown_in_eight_with_its_profile(tmp_path):
    import tifffile
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for number in (1, 2):
        tifffile.imwrite(tmp_path / f"{number}.tif", np.full((9, 9, 3), 257 * 50 * number, dtype=np.uint16),
                         photometric="rgb", iccprofile=profile)
    plan = planned(2)
    interlace(plan, [tmp_path / "1.tif", tmp_path / "2.tif"], tmp_path / "out.tif")
    seen = seen_from(1440, lpi=plan.lpi, dpi=plan.pitch_dpi, pictures=2, place=Fraction(-1))
    view = view_of_raster(read_raster(tmp_path / "out.tif"), seen, across=True, long_side=100)
    save_view(view, tmp_path / "view.png")
    with Image.open(tmp_path / "view.png") as image:
        assert image.getpixel((50, 9)) == (50, 50, 50)
        assert image.info["icc_profile"] == profile
    with pytest.raises(Refused, match="at least one dot"):
        view_of_raster(read_raster(tmp_path / "out.tif"), seen, across=True, long_side=0)


def test_an_impossible_bench_is_refused():
    bench = {"count": 10, "lpi": Decimal(20), "dpi": Fraction(720), "lens_lpi": 20.0, "thickness_mm": 3.0,
             "index": 1.56, "distance_mm": 600.0, "eye_mm": 0.0}
    for name, value in (("lens_lpi", 0.0), ("thickness_mm", -1.0), ("distance_mm", 0.0), ("index", 1.0), ("index", 4.0),
                        ("scale", 0.0)):
        with pytest.raises(Refused):
            seen_at(**{**bench, name: value})
    with pytest.raises(Refused):
        seen_from(10, lpi=Decimal(20), dpi=Fraction(720), pictures=2, place=Fraction(2))


def test_a_view_is_saved_whole_or_refused(tmp_path):
    with pytest.raises(Refused):
        save_view(Image.new("RGB", (3, 3)), tmp_path / "view.jpg")
    save_view(Image.new("RGB", (3, 3), (1, 2, 3)), tmp_path / "view.png")
    assert [path.name for path in tmp_path.iterdir()] == ["view.png"]
