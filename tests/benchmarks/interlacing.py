"""How fast an interlaced print is made: ``python tests/benchmarks/interlacing.py [--full] [--rounds 5]``.

Not part of the tests: it judges nothing, it prints a table. Every figure is a
whole process, started anew, peers and ours in turn, the median of the ratios.

Y is the yardstick: decode one picture, one plain Pillow Lanczos resize to the
output size, write an uncompressed TIFF. *Naive*: Pillow resizes every picture,
numpy selects the dots. *libvips*: the best pipeline found, every picture
resized, ``case`` by a column mask, sequential, streamed; it needs
``pip install pyvips-binary==8.18.7 pyvips==3.2.0`` and is left out of the table,
with a line that says so, where that is missing. What ours would take without its
two hashes and without waiting for the disk, as no peer does, is the column *unguarded*.
"""

import argparse
import importlib.util
import multiprocessing
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

SOURCE = (2190, 3288)
LPI = "20.12"

YARDSTICK = """
import sys
from PIL import Image
Image.MAX_IMAGE_PIXELS = None
wide, high, out, picture = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4]
Image.open(picture).resize((wide, high), Image.LANCZOS).save(out)
"""

NAIVE = """
import sys
import numpy as np
from PIL import Image
Image.MAX_IMAGE_PIXELS = None
wide, high, out, dpi, pictures = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], float(sys.argv[4]), sys.argv[5:]
strip = np.floor(len(pictures) * (((np.arange(wide) + 0.5) * 20.12 / dpi) % 1)).astype(int)
made = None
for number, picture in enumerate(pictures):
    whole = np.asarray(Image.open(picture).resize((wide, high), Image.LANCZOS))
    mine = (strip == len(pictures) - 1 - number)[None, :, None]
    made = whole.copy() if made is None else np.where(mine, whole, made)
Image.fromarray(made).save(out)
"""

LIBVIPS = """
import sys
import numpy as np
import pyvips
wide, high, out, dpi, pictures = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], float(sys.argv[4]), sys.argv[5:]
count = len(pictures)
strip = count - 1 - np.floor(count * (((np.arange(wide) + 0.5) * 20.12 / dpi) % 1)).astype(np.uint8)
mask = pyvips.Image.new_from_array(strip[None, :]).cast("uchar").replicate(1, high)
resized = []
for picture in pictures:
    image = pyvips.Image.new_from_file(picture, access="sequential")
    resized.append(image.resize(wide / image.width, vscale=high / image.height, kernel="lanczos3"))
mask.case(resized).tiffsave(out, bigtiff=wide * high * 3 > 2**32 - 2**20)
"""

# Ours as it would be without the two SHA-256 hashes and without waiting for the disk, which no peer does.
BARE = """
import os
from logbook.engine import rasterfile, wholefile

class Unhashed:
    def update(self, data): pass
    def hexdigest(self): return ""

class Unsynced:
    def __getattr__(self, name): return getattr(os, name)
    def fsync(self, file): pass

class Hashes:
    sha256 = staticmethod(Unhashed)

rasterfile.hashlib, wholefile.hashlib, wholefile.os = Hashes, Hashes, Unsynced()
from logbook.command_line import main
main()
"""


@dataclass(frozen=True)
class Job:
    """One line of the table, with the goals: against Y, libvips and naive."""

    name: str
    width: str
    height: str
    dpi: int
    pictures: int
    goals: str
    flip: str = "left-right"
    compression: str = "none"
    only_ours: bool = False

    @property
    def dots(self) -> tuple[int, int]:
        """Dots across and down."""
        return round(float(self.width[:-2]) * self.dpi), round(float(self.height[:-2]) * self.dpi)


JOBS = [
    Job("J1", "8in", "10in", 720, 2, "<= 0.65, >= 3, >= 5"),
    Job("J2", "8in", "10in", 720, 12, "<= 0.9, >= 9, >= 16"),
    Job("J1 up-down", "8in", "10in", 720, 2, "as J1", flip="up-down", only_ours=True),
    Job("J2 up-down", "8in", "10in", 720, 12, "as J2", flip="up-down", only_ours=True),
    Job("J1 deflate", "8in", "10in", 720, 2, "<= 1.4", compression="deflate", only_ours=True),
    Job("J3", "40in", "60in", 360, 2, "<= 0.4, >= 6, >= 11"),
]
FULL = [Job("J4", "40in", "60in", 720, 12, "<= 0.3, >= 30")]


def make_pictures(folder: Path) -> list[Path]:
    """Twelve JPEGs of 7.2 megapixels from scikit-learn's two photographs, shifted and with a little noise."""
    import numpy as np
    import sklearn
    from PIL import Image
    images = [Path(sklearn.__file__).parent / "datasets" / "images" / name for name in ("china.jpg", "flower.jpg")]
    noise, paths = np.random.default_rng(5), []
    for number in range(12):
        with Image.open(images[number % 2]) as image:
            large = np.asarray(image.resize(SOURCE, Image.Resampling.LANCZOS)).astype(np.int16)
        large = np.roll(large, 37 * number, axis=1) + noise.integers(-6, 7, large.shape, dtype=np.int16)
        paths.append(folder / f"{number:02}.jpg")
        Image.fromarray(large.clip(0, 255).astype(np.uint8)).save(paths[-1], quality=90)
    return paths


def ours(job: Job, pictures: list[Path], out: Path) -> list[str]:
    """The command line, as a person calls it."""
    return [sys.executable, "-m", "logbook", "interlace", *map(str, pictures), "--lpi", LPI, "--dpi", str(job.dpi),
            "--width", job.width, "--height", job.height, "--flip", job.flip, "--compression", job.compression,
            "--fit", "stretch", "--out", str(out), "--json"]


def measured(command: list[str], out: Path) -> tuple[float, float]:
    """Wall seconds and peak MiB of one whole process; it finds no older output, whose removal would cost it time."""
    out.unlink(missing_ok=True)
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status != 0:
        raise SystemExit(f"failed: {command[:4]}")
    return time.perf_counter() - start, usage.ru_maxrss / (1024 if sys.platform != "darwin" else 2**20)


def line(job: Job, paths: list[Path], folder: Path, rounds: int) -> str:
    """Measure one job in turn with its peers."""
    pictures, out, size = paths[:job.pictures], folder / "out.tif", [str(side) for side in job.dots]
    command = ours(job, pictures, out)
    bare = [sys.executable, "-c", BARE, *command[3:]]
    rivals = {"Y": [sys.executable, "-c", YARDSTICK, *size, str(out), str(pictures[0])]}
    if not job.only_ours:
        words = [*size, str(out), str(job.dpi), *map(str, pictures)]
        if job.name != "J4":
            rivals["naive"] = [sys.executable, "-c", NAIVE, *words]
        if importlib.util.find_spec("pyvips"):
            rivals["libvips"] = [sys.executable, "-c", LIBVIPS, *words]
    ratios: dict[str, list[float]] = {name: [] for name in rivals}
    seconds, unguarded, peak = [], [], 0.0
    for _ in range(rounds):
        others = {name: measured(command, out)[0] for name, command in rivals.items()}
        mine, memory = measured(command, out)
        if job.compression == "none":
            unguarded.append(measured(bare, out)[0] / others["Y"])
        seconds.append(mine)
        peak = max(peak, memory)
        for name, other in others.items():
            ratios[name].append(mine / other if name == "Y" else other / mine)
    out.unlink()
    middle = {name: statistics.median(values) for name, values in ratios.items()}
    cells = [job.name, f"{statistics.median(seconds):.2f} s", f"{middle['Y']:.2f}",
             f"{statistics.median(unguarded):.2f}" if unguarded else "-",
             *(f"{middle[name]:.1f} x" if name in middle else "-" for name in ("libvips", "naive")), f"{peak:.0f}",
             job.goals]
    return "| " + " | ".join(cells) + " |"


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--full", action="store_true", help="also J4 (3.7 GB, 1.2 gigadots)")
    asked.add_argument("--rounds", type=int, default=5)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with multiprocessing.get_context("spawn").Pool(1) as pool:  # a child's peak memory starts with its parent's
            paths = pool.apply(make_pictures, (folder,))
        print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}, "
              f"load {os.getloadavg()[0]:.1f} before the start, {options.rounds} rounds")
        if not importlib.util.find_spec("pyvips"):
            print("libvips was not measured: pyvips is not installed here.")
        print("| job | ours | of Y | unguarded | faster than libvips | than naive | peak MiB | goals |")
        print("|---|---|---|---|---|---|---|---|")
        for job in JOBS + (FULL if options.full else []):
            print(line(job, paths, folder, options.rounds), flush=True)


if __name__ == "__main__":
    main()
