"""``logbook interlace`` and ``logbook view`` as outside scripts call them."""

import json
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image


@pytest.fixture
def logbook(tmp_path):
    Image.new("RGB", (40, 30), (255, 0, 0)).save(tmp_path / "one.png")
    Image.new("RGB", (40, 30), (0, 0, 255)).save(tmp_path / "two.png")

    def call(*words):
        return subprocess.run([sys.executable, "-m", "logbook", *words], cwd=tmp_path, capture_output=True, text=True,
                              check=False)

    return call


PRINT = ("interlace", "one.png", "two.png", "--lpi", "19.87", "--dpi", "720x360", "--width", "2in",
         "--height", "25.4mm", "--flip", "left-right", "--out", "OUT.tif")


def test_a_print_and_its_views_from_both_sides(logbook, tmp_path):
    ran = logbook(*PRINT, "--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    told = json.loads(ran.stdout)
    assert ran.stdout.count("\n") == 1
    assert (told["dots"], told["dpi"], told["lpi"], told["pictures"], told["flip"], told["fit"], told["trim_dots"]) == (
        [1440, 360], ["720", "360"], "19.87", 2, "left-right", "crop", [0, 0, 1440, 360])
    assert told["source_boxes"] == [[0, 5, 40, 25], [0, 5, 40, 25]]
    for place, colour in (("-1", [255, 0, 0]), ("1", [0, 0, 255])):
        ran = logbook("view", "OUT.tif", "--lpi", "19.87", "--from", place, "--out", "VIEW.png", "--json")
        assert json.loads(ran.stdout)["dots"] == [1440, 360]
        with Image.open(tmp_path / "VIEW.png") as image:
            assert (np.asarray(image)[:, 40:-40] == colour).all()
    ran = logbook("view", "OUT.tif", "--lpi", "19.87", "--distance", "600mm", "--eye", "-80mm", "--lens-lpi", "19.87",
                  "--thickness", "3mm", "--index", "1.56", "--long-side", "144", "--out", "VIEW.png")
    assert (ran.returncode, ran.stdout) == (0, "VIEW.png: 144 × 36 dots.\n")
    # one eye 70 mm left, the other 56 mm right, both inside the zone of p n D / e = 398 mm
    ran = logbook("view", "OUT.tif", "--lpi", "19.87", "--distance", "600mm", "--eye", "-7mm", "--lens-lpi", "19.92",
                  "--thickness", "3mm", "--index", "1.56", "--long-side", "144", "--both-eyes", "--out", "VIEW.png")
    assert (ran.returncode, ran.stdout) == (0, "VIEW.png: 293 × 36 dots.\n")
    with Image.open(tmp_path / "VIEW.png") as image:
        both = np.asarray(image.convert("RGB")).astype(int)
    assert {tuple(both[18, 72]), tuple(both[18, 293 - 72])} == {(255, 0, 0), (0, 0, 255)}


@pytest.mark.parametrize("change", [
    ("--width", "2"), ("--width", "0in"), ("--width", "2yd"), ("--lpi", "x"), ("--dpi", "30"), ("--out", "OUT.jpg"),
    ("--order", "2"), ("--order", "a,b"), ("--flip", "sideways"), ("--fit", "tight"), ("--out", "one.png"),
    ("--shares", "1/0"), ("--bleed", "-1mm"), ("--dots-per-lenticule", "18"),
])
def test_bad_input_is_one_sentence_and_exit_code_2_and_leaves_nothing(logbook, tmp_path, change):
    ran = logbook(*PRINT, *change)
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.png", "two.png"]
    with Image.open(tmp_path / "one.png") as image:
        assert image.size == (40, 30)


@pytest.mark.parametrize("words", [
    ("--from", "2"), ("--from", "x"), (), ("--from", "0", "--distance", "600mm"), ("--distance", "600mm"),
    ("--from", "0", "--flip", "x"), ("--from", "0", "--pictures", "0"), ("--from", "0", "--out", "one.png"),
    ("--from", "0", "--out", "VIEW.jpg"), ("--from", "0", "--both-eyes"), ("--from", "0", "--lpi", "-3"),
])
def test_a_view_that_cannot_be_is_refused(logbook, tmp_path, words):
    Image.new("RGB", (40, 30), (255, 0, 0)).save(tmp_path / "one.png", dpi=(720, 720))
    ran = logbook("view", "one.png", "--lpi", "20", "--out", "VIEW.png", *words)
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.png", "two.png"]


def test_a_truncated_picture_and_a_raster_without_resolution_are_refused(logbook, tmp_path):
    (tmp_path / "cut.png").write_bytes((tmp_path / "one.png").read_bytes()[:60])
    ran = logbook(*PRINT[:1], "cut.png", *PRINT[2:])
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1)
    assert "cut.png" in ran.stderr
    ran = logbook("view", "one.png", "--lpi", "20", "--from", "0", "--out", "VIEW.png")
    assert (ran.returncode, ran.stderr) == (2, "logbook: one.png does not say how many dots per inch it has.\n")
