"""From the coarse chart to the mounted print through the command line, seen by the tests' own bench.

A printer whose dots are not quite 720 per inch, a 20 LPI lens that is really 20.12, 3 mm thick, n 1.56, an eye at 2 m.
"""

import json
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from simulated_bench.judging import Mounted, share_right
from simulated_bench.optics import Layer, Lens, Printer
from simulated_bench.reader import Look, band_rows, fringes, told

LENS = Lens(lpi=20.12, thickness=3.0, index=1.56)
PRINTER = Printer(dpi=720, scale=720 / 719.9)
DISTANCE = 2000.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("bench")
    for name, value in (("first", 0), ("second", 255)):
        Image.new("RGB", (64, 80), (value, value, value)).save(place / f"{name}.png")
    return place


def logbook(folder, *words):
    words = [sys.executable, "-m", "logbook", *words]
    ran = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True)
    return json.loads(ran.stdout)


def readings_of(folder, name, *, flip, rng):
    """Rows of lpi,fringes as a person reads the chart through the lens."""
    described = json.loads((folder / f"{name}.json").read_text())
    with Image.open(folder / f"{name}.tif") as file:
        rows = band_rows(np.asarray(file), [band["box_dots"] for band in described["bands"]], turned=flip == "up-down")
    look = Look(lens=LENS, printer=PRINTER, distance=DISTANCE, gap=Layer(0.0, 1.0), lens_start=0.7)
    return [f"{band['lpi']},{told(fringes(row, look=look), rng=rng)}"
            for band, row in zip(described["bands"], rows, strict=True)]


def fitted(folder, *, flip, rng):
    """A coarse chart, then the fine one that the fit asks for; the fit over all readings."""
    rows = ["lpi,fringes"]
    fit = {"next": {"centre_lpi": 19.9, "step_lpi": 0.1, "bands": 11}}
    for name in ("coarse", "fine"):
        wanted = fit["next"]
        logbook(folder, "pitch", "chart", f"{name}.tif", "--lpi", str(wanted["centre_lpi"]), "--json",
                "--step", str(wanted["step_lpi"]), "--bands", str(wanted["bands"]), "--dpi", "720", "--width", "8in",
                "--band-height", "3mm", "--gap", "1mm", "--flip", flip)
        rows += readings_of(folder, name, flip=flip, rng=rng)
        (folder / "readings.csv").write_text("\n".join(rows) + "\n")
        fit = logbook(folder, "pitch", "fit", "readings.csv", "--width", "8in", "--json")
    return fit


def seen(folder, lpi, *, flip):
    """The share of the print that shows the right picture, interlaced at ``lpi`` and registered in the middle."""
    size = ("--width", "8in", "--height", "2mm") if flip == "left-right" else ("--width", "2mm", "--height", "8in")
    logbook(folder, "interlace", "first.png", "second.png", "--lpi", str(lpi), "--dpi", "720", *size, "--flip", flip,
            "--out", "print.tif", "--json")
    with Image.open(folder / "print.tif") as file:
        dots = np.asarray(file.convert("L")) / 255.0
    row = dots[0] if flip == "left-right" else dots[:, 0]
    mounted = Mounted(lens=LENS, printer=PRINTER, distance=DISTANCE, adhesive=Layer(0.0, 1.0))
    return share_right(row, lpi=lpi, mounted=mounted)


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
def test_a_measured_pitch_shows_each_picture_over_the_whole_width_and_the_nominal_one_does_not(folder, flip):
    fit = fitted(folder, flip=flip, rng=np.random.default_rng(20))
    # By the ray through the ridges: 719.9-per-inch dots, 20.12 lines per inch, 3/1.56 mm, 2 m.
    wanted = 720 / 719.9 * 20.12 / (1 + 3.0 / 1.56 / DISTANCE)
    assert abs(fit["lpi"] - wanted) <= 3 * fit["u_lpi"]
    assert 2 * fit["u_lpi"] * 8 <= 0.1
    assert fit["next"] is None
    assert seen(folder, fit["lpi"], flip=flip) == 1.0
    assert seen(folder, 20, flip=flip) <= 0.65
