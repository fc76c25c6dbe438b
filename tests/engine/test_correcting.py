"""Pictures corrected for a leak on their way into a print, against the plain way and an outside solver."""

import json
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from PIL import Image
from scipy.optimize import lsq_linear

from logbook.engine import correcting, pixelstore
from logbook.engine.interlace import Cancelled, interlace
from logbook.engine.leakcorrection import Correction, exact
from logbook.engine.plan import make_plan
from logbook.engine.tone import Tone
from logbook.lengths import parse_length
from logbook.refusals import Refused
from support.plain_interlace import owner, resized

MIXING = np.array([[0.96, 0.04], [0.1, 0.9]])
TONE = Tone(Decimal(95), Decimal(130), Decimal(185))
LIGHT = TONE.lights() / TONE.lights()[-1]
WHOLE = Correction(exact(MIXING), TONE)
LOWERED = Correction(exact(MIXING), TONE, Decimal("0.8"), Decimal("0.12"))


def planned(pictures=2, **more):
    asked = {"lpi": "20.12", "dpi": "100", "width": "2in", "height": "1in", "flip": "left-right", "fit": "stretch"}
    asked |= more
    return make_plan(pictures=pictures, **asked | {"width": parse_length(asked["width"]),
                                                   "height": parse_length(asked["height"])})


def saved(folder, pictures):
    for number, pixels in enumerate(pictures):
        Image.fromarray(pixels).save(folder / f"{number}.png")
    return [folder / f"{number}.png" for number in range(len(pictures))]


def read(path):
    with Image.open(path) as image:
        return np.asarray(image)


def random_pictures(*shapes):
    rng = np.random.default_rng(3)
    blocks = [rng.integers(0, 256, (high // 10 + 1, wide // 10 + 1, 3), dtype=np.uint8) for high, wide in shapes]
    return [np.kron(one, np.ones((10, 10, 1), dtype=np.uint8))[:high, :wide]
            for one, (high, wide) in zip(blocks, shapes, strict=True)]


@pytest.mark.parametrize("correction", [WHOLE, LOWERED])
def test_every_dot_is_the_nearest_light_of_the_plainly_resized_pictures(tmp_path, correction):
    pictures = random_pictures((130, 410), (230, 310))  # finer than the print: the grid is the print's dots
    plan = planned()
    paths = saved(tmp_path, pictures)
    told = interlace(plan, paths, tmp_path / "out.tif", correction=correction).as_json()
    meant = [resized(one, box, plan.dots) for one, box in zip(pictures, told["source_boxes"], strict=True)]
    light = [LIGHT[np.rint(one.clip(0, 255)).astype(int)] for one in meant]
    wanted = np.stack(light) * float(correction.kept) + float(correction.lowest)
    printed, rng = read(tmp_path / "out.tif"), np.random.default_rng(1)
    for x, y, channel in zip(rng.integers(200, size=150), rng.integers(100, size=150), rng.integers(3, size=150),
                             strict=True):
        number = owner(int(x), lpi="20.12", dpi=Fraction(100), pictures=2) - 1
        best = lsq_linear(MIXING, wanted[:, y, x, channel], bounds=(0, 1), method="bvls").x[number]
        expected = int(np.abs(LIGHT - best).argmin())
        # the plain way's pixels may lie on the other side of a half
        assert abs(int(printed[y, x, channel]) - expected) <= 2
    story = json.loads(read_description(tmp_path / "out.tif"))["interlaced"]
    assert story["leak_correction"] == told["leak_correction"] == correction.told()


def read_description(path):
    with Image.open(path) as image:
        return image.tag_v2[270]


@pytest.mark.parametrize("more", [
    {}, {"flip": "up-down"}, {"reversed_sheet": True}, {"order": [2, 1]}, {"shares": "60/40"},
    {"flip": "up-down", "reversed_sheet": True, "order": [2, 1]}])
def test_the_matrix_is_that_of_the_lens_whatever_lies_where(tmp_path, more):
    paths = saved(tmp_path, [np.full((40, 60, 3), level, dtype=np.uint8) for level in (150, 210)])
    plan = planned(**more)
    interlace(plan, paths, tmp_path / "out.tif", correction=WHOLE)
    interlace(plan, paths, tmp_path / "plain.tif")
    levels = [210, 150] if "order" in more else [150, 210]
    best = np.linalg.solve(MIXING, LIGHT[levels])
    expected = {level: int(np.abs(LIGHT - one).argmin()) for level, one in zip(levels, best, strict=True)}
    plain, made = read(tmp_path / "plain.tif"), read(tmp_path / "out.tif")
    assert set(np.unique(plain)) == {150, 210}
    for level in levels:
        assert set(np.unique(made[plain == level])) == {expected[level]}
        assert expected[level] != level


def test_bare_paper_leaks_too_and_is_lowered_like_any_light(tmp_path):
    paths = saved(tmp_path, [np.full((40, 20, 3), 90, dtype=np.uint8), np.full((40, 80, 3), 90, dtype=np.uint8)])
    plan = planned(fit="pad")  # PICTURE 1 leaves paper at both sides, PICTURE 2 none
    interlace(plan, paths, tmp_path / "out.tif", correction=LOWERED)
    row = read(tmp_path / "out.tif")[50, :, 0]
    owners = np.array([owner(dot, lpi="20.12", dpi=Fraction(100), pictures=2) for dot in range(200)])
    side, middle = ((np.arange(200) < 60), np.abs(np.arange(200) - 99.5) < 15)
    for where, light in ((side, (1.0, LIGHT[90])), (middle, (LIGHT[90], LIGHT[90]))):
        best = np.linalg.solve(MIXING, 0.8 * np.array(light) + 0.12)
        for number in (1, 2):
            assert set(row[where & (owners == number)]) == {int(np.abs(LIGHT - best[number - 1]).argmin())}


def test_a_moved_picture_is_corrected_where_it_lies(tmp_path):
    pictures = random_pictures((100, 200), (100, 200))
    moved = np.full_like(pictures[1], 255)
    moved[:, 30:] = pictures[1][:, :-30]
    paths = saved(tmp_path, [*pictures, moved])
    shifted = planned(shifts=[(Fraction(0), Fraction(0)), (Fraction(30), Fraction(0))])
    interlace(shifted, paths[:2], tmp_path / "shifted.tif", correction=LOWERED)
    interlace(planned(), [paths[0], paths[2]], tmp_path / "moved.tif", correction=LOWERED)
    assert (read(tmp_path / "shifted.tif") == read(tmp_path / "moved.tif")).all()


def test_threads_processes_and_a_file_for_the_pixels_give_the_same_bytes(tmp_path, monkeypatch):
    paths = saved(tmp_path, random_pictures((90, 120), (60, 150)))
    plan = planned(dpi="301x240", fit="crop")
    known = {interlace(plan, paths, tmp_path / f"{threads}.tif", threads=threads, correction=WHOLE).hashes.file_sha256
             for threads in (None, 1, 3)}
    monkeypatch.setattr(pixelstore.PixelStore.__init__, "__kwdefaults__", {"folder": None, "budget": 0})
    known.add(interlace(plan, paths, tmp_path / "small.tif", correction=WHOLE).hashes.file_sha256)
    assert len(known) == 1


def test_stopped_while_it_corrects_nothing_is_left(tmp_path, monkeypatch):
    monkeypatch.setattr(correcting, "_BAND_BYTES", 2**17)
    paths, told = saved(tmp_path, random_pictures((300, 300), (300, 300))), []
    interlace(planned(dpi="300"), paths, tmp_path / "out.tif", correction=WHOLE, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1)
    assert sum(0.1 < part < 0.6 for part in told) > 2
    before, seen = sorted(tmp_path.iterdir()), []
    with pytest.raises(Cancelled):
        interlace(planned(dpi="300"), paths, tmp_path / "other.tif", correction=WHOLE, progress=seen.append,
                  cancelled=lambda: len(seen) > 2)
    assert seen[-1] < 0.6
    assert sorted(tmp_path.iterdir()) == before


def test_other_pictures_than_the_corrections_and_inks_are_refused(tmp_path):
    paths = saved(tmp_path, [np.zeros((8, 8, 3), dtype=np.uint8)] * 3)
    with pytest.raises(Refused, match="is for 2 pictures, but there are 3"):
        interlace(planned(3), paths, tmp_path / "out.tif", correction=WHOLE)
    for number in range(2):
        Image.new("CMYK", (8, 8)).save(tmp_path / f"{number}.tif")
    with pytest.raises(Refused, match="CMYK"):
        interlace(planned(), [tmp_path / "0.tif", tmp_path / "1.tif"], tmp_path / "out.tif", correction=WHOLE)
    assert not (tmp_path / "out.tif").exists()
