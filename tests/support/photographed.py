"""A simulated photograph of a chart that a shop has drawn, under a lens of its type; no real one was tried."""

import json
from io import BytesIO

import numpy as np
from PIL import Image

from logbook.records.files import FileStore
from logbook.records.pitch import PitchChart
from simulated_bench.camera import Chart, Scene, photograph
from simulated_bench.optics import Layer, Lens, Printer

AWAY_MM, THICKNESS_MM, INDEX = 600.0, 2.0, 1.56


def scene_of(made: PitchChart) -> Scene:
    """A phone held a little aside over the chart, the lens a little askew."""
    nominal = float(made.test.lens_lot.material.nominal_lpi or 0)
    return Scene(
        lens=Lens(lpi=nominal * 1.002, thickness=THICKNESS_MM, index=INDEX),
        printer=Printer(dpi=int(made.test.mode.dpi_across), scale=1.0001),
        gap=Layer(0.05, 1.0),
        place=(25.0, -20.0, AWAY_MM),
        roll=0.02,
        across_px=1400,
        skew=0.002,
        start=0.3,
        barrel=0.004,
        light=(0.1, -0.1, 0.1),
        exposure=0.9,
        focal_in_file=True,
    )


def photograph_of(store: FileStore, made: PitchChart) -> bytes:
    """The JPEG file."""
    with Image.open(BytesIO(store.path(made.raster.sha256).read_bytes())) as raster:
        chart = Chart(np.asarray(raster), json.loads(made.plan)["lens_box_dots"])
    return photograph(chart, scene_of(made), rng=np.random.default_rng(7))
