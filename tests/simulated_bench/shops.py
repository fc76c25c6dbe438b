"""Two hundred invented shops: what is true in each, and what its people know. Imports nothing from the project."""

from dataclasses import dataclass

import numpy as np

from simulated_bench.optics import INCH, Layer, Lens, Printer

WIDTH_IN = 8


@dataclass(frozen=True)
class Shop:
    nominal_lpi: float
    lens: Lens
    printer: Printer
    known_thickness: float
    known_index: float
    reading_distance: float
    known_reading_distance: float
    design_distance: float
    gap: Layer
    adhesive: Layer
    skew: float
    lens_start: float
    slip: float

    @property
    def dots_per_ridge(self) -> float:
        return self.printer.dpi / self.nominal_lpi

    @property
    def pitch_wanted(self) -> float:
        """Printed lines per printer's inch for the design distance, by the ray through the ridges."""
        reduced = self.lens.thickness / self.lens.index + self.adhesive.thickness / self.adhesive.index
        return self.printer.scale * self.lens.lpi / (1 + reduced / self.design_distance)


def shops(count: int, *, seed: int) -> list[Shop]:
    rng = np.random.default_rng(seed)
    return [_shop(rng) for _ in range(count)]


def _shop(rng: np.random.Generator) -> Shop:
    nominal = round(float(np.exp(rng.uniform(np.log(10), np.log(100)))), 0)
    lens = Lens(lpi=nominal * (1 + rng.uniform(-0.005, 0.005)), index=rng.uniform(1.49, 1.59),
                thickness=rng.uniform(1.4, 2.4) * INCH / nominal)
    reading = rng.uniform(300, 800)
    return Shop(
        nominal_lpi=nominal, lens=lens, known_thickness=lens.thickness * (1 + rng.uniform(-0.03, 0.03)),
        known_index=lens.index + rng.uniform(-0.01, 0.01),
        printer=Printer(dpi=float(rng.choice([600, 720, 1200, 1440])), scale=1 + rng.uniform(-0.0002, 0.0002)),
        reading_distance=reading, known_reading_distance=reading * (1 + rng.uniform(-0.03, 0.03)),
        design_distance=rng.uniform(300, 3000), gap=Layer(rng.uniform(0, 0.1), 1.0),
        adhesive=Layer(rng.uniform(0, 0.1), 1.47), skew=np.radians(rng.uniform(-0.2, 0.2)),
        lens_start=rng.uniform(0, lens.pitch), slip=rng.uniform(-0.05, 0.05))
