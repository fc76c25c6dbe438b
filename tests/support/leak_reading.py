"""What the project makes of a leak sheet that a reader of the tests' own bench has read."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from logbook.engine.leak import Nulled, Series, joined, nulled
from logbook.engine.leakcorrection import Correction, exact, light_of, reachable
from logbook.engine.tone import Tone
from simulated_bench.ghosts import ghost
from simulated_bench.nulling import Bench, matches, taps


def read_by(raster: np.ndarray, told: dict[str, Any], bench: Bench,
            rng: np.random.Generator) -> tuple[list[Series], Tone]:
    """The rows as they were printed, and the tone from the matched greys."""
    rows = [Series(row["field_level"], tuple(patch["level"] for patch in row["patches"])) for row in told["rows"]]
    chosen = zip(matches(raster, told, bench, rng), told["wedge"], strict=True)
    return rows, Tone(*(Decimal(row["levels"][match - 1]) for match, row in chosen))


def found_leaks(raster: np.ndarray, told: dict[str, Any], bench: Bench,
                rng: np.random.Generator) -> list[tuple[float, Nulled]]:
    """(true leak, found leak) into PICTURE 1 and into PICTURE 2."""
    rows, tone = read_by(raster, told, bench, rng)
    read = taps(raster, told, bench, rng)
    each = [nulled(row, tone, shows=shows, turned=turned, wedge_step=told["wedge_step"])
            for row, (shows, turned) in zip(rows, read, strict=True)]
    return [(true, joined(*each[at:at + 2])) for true, at in zip(bench.leaks, (0, 2), strict=True)]


def ghosts_left(raster: np.ndarray, told: dict[str, Any], bench: Bench, rng: np.random.Generator,
                pictures: list[np.ndarray]) -> tuple[float, float, float, float]:
    """The ghosting of two pictures on a bench: not corrected, corrected for the leak that was read there with the
    contrast kept and lowered; and the contrast that is left then."""
    _, tone = read_by(raster, told, bench, rng)
    first, last = (found.leak for _, found in found_leaks(raster, told, bench, rng))
    whole = Correction(exact(np.array([[1 - first, first], [last, 1 - last]])), tone)
    lowered = reachable(whole, np.stack([light_of(tone, one).ravel() for one in pictures]))
    left = [ghost(one.levels(pictures), pictures, bench, kept=float(one.kept), lowest=float(one.lowest))
            for one in (whole, lowered)]
    return ghost(pictures, pictures, bench), left[0], left[1], float(lowered.kept)


def small(files: list[Path]) -> list[np.ndarray]:
    """Photographs as levels of one small size."""
    return [np.asarray(Image.open(file).convert("RGB").resize((160, 107))) for file in files]
