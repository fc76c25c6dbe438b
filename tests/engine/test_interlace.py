"""Interlacing against the plain way: resize every picture in full, then select dots."""

import os
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import skimage
import sklearn
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from logbook.engine import interlace as engine
from logbook.engine.interlace import interlace
from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length
from support.plain_interlace import interlaced, owner


@pytest.fixture(scope="session")
def photographs():
    """Real photographs shipped inside scikit-image's and scikit-learn's wheels, four of them with one profile."""
    data, images = Path(skimage.__file__).parent / "data", Path(sklearn.__file__).parent / "datasets" / "images"
    return [images / "china.jpg", images / "flower.jpg", data / "chelsea.png", data / "hubble_deep_field.jpg"]


def planned(pictures, *, dpi="300", lpi="20.12", width="40mm", height="1in", flip="left-right", **more):
    return make_plan(lpi=lpi, dpi=dpi, width=parse_length(width), height=parse_length(height), flip=flip,
                     pictures=pictures, **more)


def read(path):
    with Image.open(path) as image:
        return np.asarray(image)


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize(("pictures", "dpi", "lpi", "width", "height", "fit"), [
    (2, "720", "20.12", "31mm", "24.5mm", "crop"),  # enlarging, odd sizes
    (2, "100", "10.03", "41mm", "2.3in", "crop"),  # shrinking
    (3, "301x240", "19.87", "2in", "1.7in", "stretch"),  # another resolution down than across
    (5, "400", "60.003", "0.8in", "0.5in", "crop"),
    (60, "720", "11.9", "1in", "0.4in", "crop"),
])
def test_a_print_is_the_plain_way_within_a_rounding(photographs, tmp_path, flip, pictures, dpi, lpi, width, height,
                                                    fit):
    paths = [photographs[number % 4] for number in range(pictures)]
    plan = planned(pictures, dpi=dpi, lpi=lpi, width=width, height=height, flip=flip, fit=fit)
    described = interlace(plan, paths, tmp_path / "out.tif").as_json()
    opened = {path: read(path) for path in paths}
    expected = interlaced([opened[path] for path in paths], described["source_boxes"], plan.dots, lpi=lpi,
                          dpi=plan.pitch_dpi, across=flip == "left-right")
    assert np.abs(read(tmp_path / "out.tif") - expected).max() <= 0.53


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_a_print_is_pillows_resizing_within_its_own_rounding(photographs, tmp_path, flip):
    # Pillow rounds and clips to 8 bits between its two passes, so the contrast is halved: nothing overshoots then.
    paths = []
    for path in photographs[:2]:
        with Image.open(path) as image:
            image.point(lambda level: 64 + level // 2).save(tmp_path / f"{path.stem}.png")
        paths.append(tmp_path / f"{path.stem}.png")
    plan = planned(2, dpi="600", width="60mm", height="50mm", flip=flip)
    described = interlace(plan, paths, tmp_path / "out.tif").as_json()
    made, count = read(tmp_path / "out.tif").astype(int), plan.dots[0 if flip == "left-right" else 1]
    mine = np.array([owner(dot, lpi="20.12", dpi=Fraction(600), pictures=2) for dot in range(count)])
    apart = []
    for number, path in enumerate(paths):
        with Image.open(path) as image:
            whole = np.asarray(image.resize(plan.dots, Image.Resampling.LANCZOS, box=described["source_boxes"][number]))
        chosen = mine == number + 1
        part = (slice(None), chosen) if flip == "left-right" else chosen
        apart.append((made[part] - whole[part]).ravel())
    apart = np.abs(np.concatenate(apart))
    assert apart.max() <= 4
    assert np.count_nonzero(apart > 1) < len(apart) / 10_000


@settings(max_examples=25)
@given(pictures=st.integers(2, 12), lpi=st.decimals("10", "75", places=6), dpi=st.sampled_from([360, 600, 720, 1440]),
       chosen=st.integers(1, 12), across=st.booleans(), offset=st.fractions(-1, 1, max_denominator=40))
def test_every_dot_of_white_and_black_follows_the_exact_phase(
        tmp_path_factory, pictures, lpi, dpi, chosen, across, offset):
    if lpi * pictures > dpi:
        lpi = Decimal(7)
    folder, white = tmp_path_factory.mktemp("white"), (chosen - 1) % pictures + 1
    for number in (1, 0):
        Image.new("L", (9, 7), 255 * number).save(folder / f"{number}.png")
    plan = planned(pictures, dpi=str(dpi), lpi=str(lpi), width="3in" if across else "2mm",
                   height="2mm" if across else "3in", flip="left-right" if across else "up-down", offset=offset)
    interlace(plan, [folder / f"{int(number == white)}.png" for number in range(1, pictures + 1)], folder / "out.tif")
    made = read(folder / "out.tif")
    line = made[0] if across else made[:, 0]
    assert (made == (line[None, :] if across else line[:, None])).all()
    expected = [255 * (owner(dot, lpi=str(lpi), dpi=Fraction(dpi), pictures=pictures, offset=offset) == white)
                for dot in range(len(line))]
    assert line.tolist() == expected


def test_a_shift_by_one_lenticule_changes_nothing_and_half_a_lenticule_swaps_two_pictures(photographs, tmp_path):
    def pixels(paths=photographs[:2], **more):
        interlace(planned(2, **more), paths, tmp_path / "out.tif")
        return read(tmp_path / "out.tif")

    straight = pixels()
    assert (pixels(offset="1") == straight).all()
    assert (pixels(offset="0.5") == pixels(paths=photographs[1::-1])).all()
    assert (pixels(order=[2, 1]) == pixels(paths=photographs[1::-1])).all()
    assert (pixels(reversed_sheet=True) == straight[:, ::-1]).all()
    assert (pixels(reversed_sheet=True, flip="up-down") == pixels(flip="up-down")[:, ::-1]).all()


def test_mirrored_pictures_in_reversed_order_make_the_mirrored_print(photographs, tmp_path):
    # 36 whole dots per lenticule and whole lenticules: the mirror image of the raster is again in phase.
    mirrored = []
    for number, path in enumerate(photographs[:2]):
        with Image.open(path) as image:
            image.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(tmp_path / f"{number}.png")
        mirrored.append(tmp_path / f"{number}.png")
    plan = planned(2, dpi=None, dots_per_lenticule=36, lpi="20", width="1in")
    interlace(plan, photographs[:2], tmp_path / "one.tif")
    interlace(plan, mirrored[::-1], tmp_path / "other.tif")
    assert np.abs(read(tmp_path / "one.tif").astype(int) - read(tmp_path / "other.tif")[:, ::-1]).max() <= 1


def test_unequal_shares_stack_from_the_right_in_picture_order(tmp_path):
    # 60/40 at 20 dots per lenticule: picture 2 has the 8 dots at the left, picture 1 the 12 at the right.
    for name, level in (("one", 10), ("two", 200)):
        Image.new("L", (5, 5), level).save(tmp_path / f"{name}.png")
    plan = planned(2, dpi="400", lpi="20", width="0.2in", height="1mm", shares="60/40")
    interlace(plan, [tmp_path / "one.png", tmp_path / "two.png"], tmp_path / "out.tif")
    assert read(tmp_path / "out.tif")[0].tolist() == ([200] * 8 + [10] * 12) * 4
    plan = planned(2, dpi="400", lpi="20", width="1mm", height="0.2in", shares="60/40", flip="up-down")
    interlace(plan, [tmp_path / "one.png", tmp_path / "two.png"], tmp_path / "out.tif")
    assert read(tmp_path / "out.tif")[:, 0].tolist() == ([200] * 8 + [10] * 12) * 4


def test_whole_dots_per_lenticule_repeat_exactly(tmp_path):
    # Common practice, no source: 18 x 20.12 = 362.16 dots per inch, 9 + 9 dots for two pictures.
    for name, level in (("one", 10), ("two", 200)):
        Image.new("L", (5, 5), level).save(tmp_path / f"{name}.png")
    plan = planned(2, dpi=None, dots_per_lenticule=18, lpi="20.12", width="8in", height="1mm")
    result = interlace(plan, [tmp_path / "one.png", tmp_path / "two.png"], tmp_path / "out.tif").as_json()
    assert result["dpi"] == ["362.16", "362.16"]
    assert result["dots"][0] == 2897
    assert read(tmp_path / "out.tif")[0].tolist() == (([200] * 9 + [10] * 9) * 161)[:2897]


def test_padding_leaves_bare_paper_around_the_whole_picture(tmp_path):
    Image.new("RGB", (200, 100), (10, 20, 30)).save(tmp_path / "wide.png")
    Image.new("RGB", (100, 200), (90, 80, 70)).save(tmp_path / "tall.png")
    plan = planned(2, dpi="100", lpi="10", width="2in", height="2in", fit="pad")
    interlace(plan, [tmp_path / "wide.png", tmp_path / "tall.png"], tmp_path / "out.tif")
    made = read(tmp_path / "out.tif")
    assert made[100, 97].tolist() == [10, 20, 30]  # picture 1: the right half of a lenticule
    assert made[10, 102].tolist() == [90, 80, 70]  # picture 2 reaches to the top
    assert made[10, 97].tolist() == [255, 255, 255]  # picture 1 does not
    assert made[100, 2].tolist() == [255, 255, 255]  # picture 2 does not reach to the left


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_bands_that_lie_wholly_in_the_padding_are_bare_paper(flip, tmp_path, monkeypatch):
    for name in "ab":
        Image.new("RGB", (200, 20), (10, 20, 30)).save(tmp_path / f"{name}.png")
    plan = planned(2, dpi="300", lpi="10", width="2in", height="4in", fit="pad", flip=flip)
    prints = []
    for most in (engine.BAND_BYTES, 1):
        monkeypatch.setattr(engine, "BAND_BYTES", most)
        monkeypatch.setattr(engine, "BAND_SOURCE_ROWS", 1)
        interlace(plan, [tmp_path / "a.png", tmp_path / "b.png"], tmp_path / "out.tif")
        prints.append(read(tmp_path / "out.tif"))
    assert (prints[0] == prints[1]).all()
    dark = np.flatnonzero((prints[1] == (10, 20, 30)).all(axis=(1, 2)))
    assert (dark.min(), dark.max()) == (570, 629)  # 60 of 1200 rows: a tenth of 600 dots across, in the middle
    assert (np.delete(prints[1], dark, axis=0) == 255).all()


def test_bleed_is_printed_beyond_the_trim_in_one_phase(tmp_path):
    for name, level in (("one", 10), ("two", 200)):
        Image.new("L", (5, 5), level).save(tmp_path / f"{name}.png")
    plan = planned(2, dpi="254", lpi="20", width="50mm", height="30mm", bleed=parse_length("3mm"))
    result = interlace(plan, [tmp_path / "one.png", tmp_path / "two.png"], tmp_path / "out.tif").as_json()
    assert (result["dots"], result["trim_dots"]) == ([560, 360], [30, 30, 530, 330])
    expected = [10 if owner(dot, lpi="20", dpi=Fraction(254), pictures=2) == 1 else 200 for dot in range(560)]
    assert read(tmp_path / "out.tif")[0].tolist() == expected


def test_sixteen_bits_stay_sixteen(tmp_path):
    # A ramp that 8 bits cannot hold: 4096 levels between 20,000 and 24,095.
    ramp = np.repeat(np.arange(20000, 24096, dtype=np.uint16)[None, :], 8, axis=0)
    for number in (0, 1):
        tifffile.imwrite(tmp_path / f"{number}.tif", np.stack([ramp + number * 9] * 3, axis=-1), photometric="rgb")
    plan = planned(2, dpi="1000", lpi="20", width="4.096in", height="0.008in", fit="stretch")
    described = interlace(plan, [tmp_path / "0.tif", tmp_path / "1.tif"], tmp_path / "out.tif").as_json()
    made = tifffile.imread(tmp_path / "out.tif")
    mine = np.array([owner(dot, lpi="20", dpi=Fraction(1000), pictures=2) for dot in range(4096)])
    assert (described["bits"], made.dtype) == (16, np.uint16)
    assert (made == (ramp + np.where(mine == 2, 9, 0).astype(np.uint16))[:, :, None]).all()


_HASHED = """
import sys
from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length
for flip in ("left-right", "up-down"):
    plan = make_plan(lpi="20.12", dpi="720", width=parse_length("2in"), height=parse_length("1in"), flip=flip,
                     pictures=2)
    result = interlace(plan, sys.argv[2:4], sys.argv[4], threads=int(sys.argv[1]))
    print(result.hashes.pixels_sha256, result.hashes.file_sha256)
"""


def test_the_same_bytes_come_from_any_processor_and_thread_count(photographs, tmp_path):
    # OpenBLAS adds in another order on each of these processors; with float weights that shows.
    printed = set()
    plain_numpy = {"NPY_DISABLE_CPU_FEATURES": " ".join(np.show_config(mode="dicts")["SIMD Extensions"]["found"])}
    for processor, threads in (("Prescott", 1), ("Nehalem", 3), ("Haswell", 2), ("SkylakeX", 1)):
        environment = {**os.environ, "OPENBLAS_CORETYPE": processor, **(plain_numpy if threads > 1 else {})}
        ran = subprocess.run([sys.executable, "-c", _HASHED, str(threads), *map(str, photographs[:2]),
                              str(tmp_path / "out.tif")], env=environment, capture_output=True, text=True, check=True)
        printed.add(ran.stdout)
    assert len(printed) == 1
    assert len(set(printed.pop().split())) == 4


def test_decoded_pictures_that_are_cut_off_behind_our_back_are_no_picture():
    with PixelStore(budget=0) as store:
        store.add(0, np.arange(4000, dtype=np.uint8).reshape(20, 100, 2))
        assert store.rows(0, 5, 6).tolist() == [[at % 256 for at in range(1000, 1200)]]
        os.ftruncate(store._file.fileno(), 1100)
        with pytest.raises(OSError, match="ended early"):
            store.rows(0, 5, 6)
