"""What the project makes of a leak sheet that a reader of the tests' own bench has read."""

from decimal import Decimal
from typing import Any

import numpy as np

from logbook.engine.leak import Nulled, Series, joined, nulled
from logbook.engine.tone import Tone
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
