"""Ghosting: how much of the other pictures an eye sees, and whether it will notice.

Light is added in linear light. What mixes the pictures: the spot into which a real round ridge gathers the rays of
its whole aperture (exact rays, not the paraxial focus), the spreading of ink, a lens that lies beside its place,
and a floor of stray light. The model's numbers belong to lens type, printer and paper, and are there to be edited.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from logbook.engine.lens import lens_pitch_mm
from logbook.refusals import Refused

VISIBLE_CROSSTALK, DISTURBING_CROSSTALK = 0.01, 0.058
"""An increment that is seen, and one that is perceptible but not yet annoying ("73.4 Investigation of Crosstalk in a
2-View 3D Display", SID Symposium Digest)."""

Light = Callable[[np.ndarray], np.ndarray]
"""The light, 0 … 1, that 8-bit levels give back."""

_RAYS, _INK_STEPS, _MIDDLE_GREY, _ROWS = 2000, 41, 0.18, 8


@dataclass(frozen=True, slots=True)
class Mixing:
    """What mixes the pictures of one lens type on one printer and paper.

    ``radius_mm`` of the ridges (None: as a sheet focused on its back has it), ``ink_spread_mm`` the standard
    deviation of the ink's blur, ``registration`` lenticules by which the lens lies beside its place, ``floor`` the
    share of light that is spread evenly over all pictures. ``gains``: how many times the leak of this model was
    measured, in the first picture and in the last; between them it goes over evenly.
    """

    lens_lpi: float
    thickness_mm: float
    index: float
    radius_mm: float | None = None
    ink_spread_mm: float = 0.02
    registration: float = 0.02
    floor: float = 0.01
    gains: tuple[float, float] = (1.0, 1.0)

    def __post_init__(self) -> None:
        if self.lens_lpi <= 0 or self.thickness_mm <= 0 or not 1 < self.index < 3:
            raise Refused("A lens has more than zero lines per inch, a thickness, and an index between 1 and 3.")
        if min(self.ink_spread_mm, self.registration) < 0 or not 0 <= self.floor < 1:
            raise Refused("Ink spread and registration are not below zero, the floor lies between 0 and 1.")
        if self.ridge_mm < self.pitch_mm / 2:
            raise Refused("radius: at least half of the pitch.", field="radius")

    @property
    def pitch_mm(self) -> float:
        """Width of one ridge."""
        return lens_pitch_mm(self.lens_lpi)

    @property
    def ridge_mm(self) -> float:
        """The ridge's radius, that of a focused sheet where none was measured: e (n - 1) / n, half a pitch at least."""
        focused = self.thickness_mm * (self.index - 1) / self.index
        return self.radius_mm if self.radius_mm is not None else max(focused, self.pitch_mm / 2)


def landings_mm(mixing: Mixing, *, angle_rad: float = 0.0, apertures: np.ndarray) -> np.ndarray:
    """Where parallel rays at ``angle_rad`` to the sheet's normal land on its back, one for each place on the ridge.

    ``apertures``: -1 … 1 over the ridge's half width. Snell's law at a circle; a ray on the ridge's flank that
    would graze it is left where it stands (it carries no light).
    """
    height = apertures * mixing.pitch_mm / 2
    tilt = np.arcsin(height / mixing.ridge_mm)
    sag = mixing.ridge_mm - np.sqrt(mixing.ridge_mm**2 - height**2)
    inside = np.arcsin(np.clip(np.sin(angle_rad + tilt) / mixing.index, -1, 1))
    landed: np.ndarray = height + (mixing.thickness_mm - sag) * np.tan(inside - tilt)
    return landed


def crosstalk(mixing: Mixing, *, pictures: int, shares: Sequence[float] | None = None) -> np.ndarray:
    """M[j, k]: the share of PICTURE k + 1 in what is seen from the middle of PICTURE j + 1's zone; rows sum to 1."""
    parts = np.full(pictures, 1 / pictures) if shares is None else np.asarray(shares, dtype=float)
    upper = 1 - np.concatenate([[0.0], np.cumsum(parts)])
    middles = (upper[:-1] + upper[1:]) / 2
    rows = np.array([_with_floor(mixing, _row(mixing, middle=middle, upper=upper), parts) for middle in middles])
    return rows if mixing.gains == (1.0, 1.0) else _gained(mixing, rows)


def _gained(mixing: Mixing, rows: np.ndarray) -> np.ndarray:
    """Every leak as many times as it was measured; no picture loses more light than when all are mixed evenly."""
    count = len(rows)
    leaks = rows * (1 - np.eye(count)) * np.linspace(*mixing.gains, count)[:, None]
    whole = leaks.sum(axis=1, keepdims=True)
    leaks *= np.minimum(1, (1 - 1 / count) / np.maximum(whole, 1e-12))
    scaled: np.ndarray = leaks + np.diag(1 - leaks.sum(axis=1))
    return scaled


def shares_seen(mixing: Mixing, *, pictures: int, phase: float) -> np.ndarray:
    """The share of each picture in what is seen at one phase of the lenticule (0 … 1, left to right); sums to 1.

    Unlike ``crosstalk`` it is defined between the middles of the zones too; the lens is taken to lie in its place.
    """
    parts = np.full(pictures, 1 / pictures)
    upper = 1 - np.arange(pictures + 1) / pictures
    return _with_floor(mixing, _shares_of(_spread(mixing, middle=phase) % 1, upper), parts)


def _with_floor(mixing: Mixing, row: np.ndarray, parts: np.ndarray) -> np.ndarray:
    return (1 - mixing.floor) * row + mixing.floor * parts


def _row(mixing: Mixing, *, middle: float, upper: np.ndarray) -> np.ndarray:
    """One row without the floor; of the two directions in which the lens may lie off, the worse counts."""
    phases = _spread(mixing, middle=middle)
    own = int(np.argmax((middle < upper[:-1]) & (middle >= upper[1:])))
    rows = [_shares_of((phases + side * mixing.registration) % 1, upper) for side in (-1, 1)]
    return min(rows, key=lambda row: row[own])


def _spread(mixing: Mixing, *, middle: float) -> np.ndarray:
    """Phases on which light falls, equally likely, when the ray through the ridge's middle lands at ``middle``."""
    offset_mm = (middle - 0.5) * mixing.pitch_mm
    angle = math.asin(min(1.0, mixing.index * math.sin(math.atan(offset_mm / mixing.thickness_mm))))
    apertures = (np.arange(_RAYS) + 0.5) / _RAYS * 2 - 1
    vertex = mixing.thickness_mm * math.tan(math.asin(math.sin(angle) / mixing.index))
    spot = (landings_mm(mixing, angle_rad=angle, apertures=apertures) - vertex) / mixing.pitch_mm
    ink = _normal_steps() * mixing.ink_spread_mm / mixing.pitch_mm
    phases: np.ndarray = middle + spot[:, None] + ink[None, :]
    return phases


def _normal_steps() -> np.ndarray:
    """Equally likely deviations of a normal distribution."""
    normal = NormalDist()
    return np.array([normal.inv_cdf((step + 0.5) / _INK_STEPS) for step in range(_INK_STEPS)])


def _shares_of(phases: np.ndarray, upper: np.ndarray) -> np.ndarray:
    counts, _ = np.histogram(phases, bins=upper[::-1])
    parts: np.ndarray = counts[::-1] / phases.size
    return parts


def linear(levels: np.ndarray) -> np.ndarray:
    """sRGB levels 0 … 255 as linear light 0 … 1 (IEC 61966-2-1)."""
    coded = np.asarray(levels, dtype=np.float64) / 255
    light: np.ndarray = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    return light


def coded(light: np.ndarray) -> np.ndarray:
    """Linear light as sRGB levels, rounded."""
    light = np.clip(light, 0, 1)
    levels = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    rounded: np.ndarray = np.rint(levels * 255).astype(np.uint8)
    return rounded


def lightness(luminance: np.ndarray) -> np.ndarray:
    """CIE L* of Y / Yn (CIE 15): 116 f(Y) - 16."""
    luminance = np.asarray(luminance, dtype=np.float64)
    cube = np.where(luminance > (6 / 29) ** 3, np.cbrt(luminance), luminance * (29 / 6) ** 2 / 3 + 4 / 29)
    light: np.ndarray = 116 * cube - 16
    return light


def visible_delta_l() -> float:
    """The change of L* from which a ghost is seen."""
    return _on_grey(VISIBLE_CROSSTALK)


def disturbing_delta_l() -> float:
    """The change of L* from which a ghost annoys."""
    return _on_grey(DISTURBING_CROSSTALK)


def _on_grey(amount: float) -> float:
    """The change of L* that a published crosstalk makes when white shines through a middle grey."""
    grey = np.array([_MIDDLE_GREY, _MIDDLE_GREY + amount * (1 - _MIDDLE_GREY)])
    return float(np.diff(lightness(grey))[0])


def in_words(number: float) -> str:
    """A change of L* as a person reads it: not seen, visible, disturbing."""
    if number < visible_delta_l():
        return "not seen"
    return "visible" if number < disturbing_delta_l() else "disturbing"


@dataclass(frozen=True)
class Ghosts:
    """What is seen of the picture that ghosts most (``worst``: 0 …): ``seen`` (levels) and ``delta_l`` (L* seen less
    L* meant); ``number`` the 95th percentile of its changes, ``visible`` and ``disturbing`` shares of its area."""

    seen: np.ndarray
    delta_l: np.ndarray
    worst: int
    number: float
    visible: float
    disturbing: float


def ghosts(pictures: Sequence[np.ndarray], mixing: np.ndarray, *, light: Light | None = None) -> Ghosts:
    """Mix sRGB pictures of one size, (high, wide, 3) levels, by a crosstalk matrix; ``light`` None: that of sRGB.

    A few rows of all of them at a time, and only the worst is kept: sixty pictures need hardly more memory than two.
    """
    if len({picture.shape for picture in pictures}) != 1 or len(pictures) != len(mixing):
        raise Refused("Ghosting compares as many pictures as the mixing has, all of one size.", field="pictures")
    tops, light = range(0, len(pictures[0]), _ROWS), light or linear
    change = np.concatenate([_change([light(one[top : top + _ROWS]) for one in pictures], mixing) for top in tops],
                            axis=1)
    numbers = [float(np.percentile(np.abs(one), 95)) for one in change]
    worst = int(np.argmax(numbers))
    seen = sum(share * light(picture) for share, picture in zip(mixing[worst], pictures, strict=True))
    most = np.abs(change[worst])
    return Ghosts(coded(np.asarray(seen)), change[worst].copy(), worst, numbers[worst],
                  float((most >= visible_delta_l()).mean()), float((most >= disturbing_delta_l()).mean()))


def _change(rows: Sequence[np.ndarray], mixing: np.ndarray) -> np.ndarray:
    light = np.stack(rows)
    return changes(np.tensordot(mixing, light, axes=(1, 0)), light).astype(np.float32)


def changes(seen: np.ndarray, meant: np.ndarray) -> np.ndarray:
    """L* seen less L* meant of linear light, (…, 3)."""
    weights = np.array([0.2126, 0.7152, 0.0722])  # Y of linear sRGB, IEC 61966-2-1
    changed: np.ndarray = lightness(seen @ weights) - lightness(meant @ weights)
    return changed


def where_it_shows(meant: np.ndarray, delta_l: np.ndarray) -> np.ndarray:
    """A picture of the ghosting, (high, wide, 3) levels: the meant picture pale and grey; visible changes in one light
    tone, disturbing ones dark and hatched, so that tone and pattern carry it and not the colour alone."""
    pale = 255 - (255 - meant.mean(axis=2)) * 0.3
    drawn = np.repeat(pale[:, :, None], 3, axis=2)
    amount = np.abs(delta_l)
    across, down = np.meshgrid(np.arange(meant.shape[1]), np.arange(meant.shape[0]))
    hatched = (across + down) % 6 < 3
    seen, annoying = amount >= visible_delta_l(), amount >= disturbing_delta_l()
    drawn[seen] = drawn[seen] * 0.35 + np.array([240.0, 180.0, 60.0]) * 0.65
    drawn[annoying & hatched] = (60, 20, 60)
    levels: np.ndarray = np.rint(drawn).astype(np.uint8)
    return levels
