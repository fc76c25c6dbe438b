"""The same pitch at another viewing distance, and what an error of pitch does to a print.

From a distance D the eye sees through a lens of L lines per inch the strips that lie p(D) = s·L / (1 + T/D) to the
printer's inch apart: s is the printed length over the nominal length, T the sum of thickness over index of all
layers between the ridges and the ink. Derivation: the ray through a ridge at x meets it under atan(x/D) and lands
t·tan(asin(sin(atan(x/D))/n)) ≈ t·x/(n·D) farther out.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from logbook.engine.resolution import number
from logbook.refusals import Refused

APERTURE_FACTOR, U_APERTURE_FACTOR = 0.95, 0.04
"""The whole ridge gathers light: the paraxial ray's shift is 1.00, the mean over the ridge's full width about 0.89."""
PITCH_DECIMALS = 4
_RECTANGULAR = math.sqrt(3)


@dataclass(frozen=True, slots=True)
class Layer:
    """One clear layer between ridges and ink, with standard uncertainties."""

    thickness_mm: float
    index: float
    u_thickness_mm: float = 0.0
    u_index: float = 0.0

    @property
    def reduced_mm(self) -> float:
        """Thickness over index."""
        return self.thickness_mm / self.index

    @property
    def u_reduced_mm(self) -> float:
        """Standard uncertainty of thickness over index."""
        return math.hypot(self.u_thickness_mm / self.index, self.thickness_mm * self.u_index / self.index**2)


AIR_GAP = Layer(thickness_mm=0.05, index=1.0, u_thickness_mm=0.05)
"""Under a lens that lies loose on the chart."""
ADHESIVE = Layer(thickness_mm=0.05, index=1.47, u_thickness_mm=0.05 / _RECTANGULAR, u_index=0.02)
"""A thin clear mounting film: a shop default without source, to be edited."""


def lens_layer(*, thickness_mm: float, index: float, known_to_share: float = 0.03,
               index_known_to: float = 0.01) -> Layer:
    """The lens sheet, ridge to back; ``known_to_share`` and ``index_known_to`` are half-widths (rectangular).

    Raises Refused for a thickness not above zero or an index outside 1 to 3.
    """
    if not 0 < thickness_mm < math.inf:
        raise Refused("thickness: the lens must be more than zero thick.", field="thickness")
    if not 1 <= index <= 3:
        raise Refused("index: a clear lens has a refractive index between 1 and 3, for example 1.56.", field="index")
    return Layer(thickness_mm, index, thickness_mm * known_to_share / _RECTANGULAR, index_known_to / _RECTANGULAR)


@dataclass(frozen=True, slots=True)
class Sight:
    """One way of looking: how far the eye is, how well that is known (standard uncertainty), and through what.

    ``extra`` is the layer beside the lens: air where it lies loose, adhesive where it is mounted.
    """

    distance_mm: float
    u_distance_mm: float
    lens: Layer
    extra: Layer

    @property
    def reduced_mm(self) -> float:
        """T of the module's formula."""
        return self.lens.reduced_mm + self.extra.reduced_mm

    @property
    def correction(self) -> float:
        """T/D."""
        return self.reduced_mm / self.distance_mm


def sight(*, distance_mm: float, lens: Layer, extra: Layer, known_to_share: float = 0.03) -> Sight:
    """A way of looking from ``distance_mm``, known to a share of itself (half-width, rectangular).

    Raises Refused for a distance that is not above zero.
    """
    if not 0 < distance_mm < math.inf:
        raise Refused("distance: the eye must be some way from the lens.", field="distance")
    return Sight(distance_mm, distance_mm * known_to_share / _RECTANGULAR, lens, extra)


@dataclass(frozen=True, slots=True)
class Conversion:
    """A pitch carried from one way of looking to another; all parts of the uncertainty in lines per inch (k = 1)."""

    lpi: Decimal
    correction_lpi: float
    u_reading: float
    u_thickness: float
    u_extra: float
    u_from_distance: float
    u_to_distance: float
    u_aperture: float

    @property
    def u_conversion(self) -> float:
        """The uncertainty that the conversion alone adds."""
        return math.hypot(self.u_thickness, self.u_extra, self.u_from_distance, self.u_to_distance, self.u_aperture)

    @property
    def u_lpi(self) -> float:
        """The standard uncertainty of the converted pitch."""
        return math.hypot(self.u_reading, self.u_conversion)


def factor(*, seen: Sight, wanted: Sight) -> float:
    """The converted pitch over the pitch read: 1 + 0.95·((1 + T₁/D₁) / (1 + T₂/D₂) − 1)."""
    return 1 + APERTURE_FACTOR * _paraxial_change(seen.correction, wanted.correction)


def convert(lpi: Decimal, *, u_lpi: float, seen: Sight, wanted: Sight) -> Conversion:
    """Carry a pitch read one way to another way of looking.

    Both sights look through the same lens sheet, whose uncertainty therefore counts once, on the difference.
    Raises Refused for an uncertainty that is negative or no number.
    """
    if not 0 <= u_lpi < math.inf:
        raise Refused("u-lpi: a standard uncertainty is zero or more.", field="u-lpi")
    pitch, ratio = float(lpi), factor(seen=seen, wanted=wanted)
    slope_seen = pitch * APERTURE_FACTOR / (1 + wanted.correction)
    slope_wanted = slope_seen * (1 + seen.correction) / (1 + wanted.correction)
    per_mm = abs(slope_seen / seen.distance_mm - slope_wanted / wanted.distance_mm)
    return Conversion(
        lpi=Decimal(pitch * ratio).quantize(Decimal(10) ** -PITCH_DECIMALS), correction_lpi=pitch * (ratio - 1),
        u_reading=u_lpi * ratio, u_thickness=per_mm * seen.lens.u_reduced_mm,
        u_extra=math.hypot(slope_seen * seen.extra.u_reduced_mm / seen.distance_mm,
                           slope_wanted * wanted.extra.u_reduced_mm / wanted.distance_mm),
        u_from_distance=slope_seen * seen.correction * seen.u_distance_mm / seen.distance_mm,
        u_to_distance=slope_wanted * wanted.correction * wanted.u_distance_mm / wanted.distance_mm,
        u_aperture=pitch * U_APERTURE_FACTOR * abs(_paraxial_change(seen.correction, wanted.correction)))


def as_json(lpi: Decimal | None, *, u_lpi: float, seen: Sight, wanted: Sight,
            width_in: float | None = None) -> dict[str, object]:
    """The conversion as a JSON object; the factor alone without a pitch, and lenticules end to end with a width."""
    unit = convert(Decimal(1), u_lpi=0.0, seen=seen, wanted=wanted)
    facts: dict[str, object] = {"factor": round(factor(seen=seen, wanted=wanted), 9),
                                "u_factor": round(unit.u_conversion, 9)}
    if lpi is None:
        return facts
    result = convert(lpi, u_lpi=u_lpi, seen=seen, wanted=wanted)
    parts = {"reading": result.u_reading, "thickness": result.u_thickness, "gap_or_adhesive": result.u_extra,
             "from_distance": result.u_from_distance, "to_distance": result.u_to_distance,
             "aperture": result.u_aperture}
    facts |= {"lpi": number(result.lpi), "u_lpi": round(result.u_lpi, 6),
              "correction_lpi": round(result.correction_lpi, 6),
              "u_parts_lpi": {name: round(part, 6) for name, part in parts.items()}}
    if width_in is not None:
        facts |= {"correction_lenticules": round(result.correction_lpi * width_in, 4),
                  "u_lenticules": round(result.u_lpi * width_in, 4)}
    return facts


def printed_lpi(*, lens_lpi: float, reduced_mm: float, distance_mm: float, scale: float = 1.0) -> float:
    """p(D) = s·L / (1 + T/D) for the ray through the ridges."""
    return scale * lens_lpi / (1 + reduced_mm / distance_mm)


def _paraxial_change(seen: float, wanted: float) -> float:
    return (1 + seen) / (1 + wanted) - 1


def from_far(view: Sight) -> tuple[float, float]:
    """(ln of the pitch seen from infinitely far over the pitch seen so, its standard uncertainty).

    With the factor of the aperture: ln(1 + 0.95·T/D).
    """
    slope = APERTURE_FACTOR / (1 + APERTURE_FACTOR * view.correction)
    u_layers = math.hypot(view.lens.u_reduced_mm, view.extra.u_reduced_mm) / view.distance_mm
    u_distance = view.correction * view.u_distance_mm / view.distance_mm
    u_aperture = view.correction * U_APERTURE_FACTOR / APERTURE_FACTOR
    return math.log1p(APERTURE_FACTOR * view.correction), slope * math.hypot(u_layers, u_distance, u_aperture)
