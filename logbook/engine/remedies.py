"""What would lessen the ghosting of these pictures, each in the same number: try it, then count again."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from logbook.engine.ghosting import Light, Mixing, changes, crosstalk, ghosts, linear

_EVERY_ORDER, _WORTH = 6, 0.05
_MOST_SHIFT = 0.25


@dataclass(frozen=True, slots=True)
class Remedy:
    """``words`` what to do, ``number`` the ghosting that is left, ``price`` what it costs (empty: nothing)."""

    words: str
    number: float
    price: str = ""


@dataclass(frozen=True, slots=True)
class Mixed:
    """What mixes the pictures, and the light of their levels."""

    mixing: Mixing
    light: Light


def remedies(pictures: Sequence[np.ndarray], mixing: Mixing, *, any_order: bool,
             most_pictures: int | None = None, light: Light | None = None) -> list[Remedy]:
    """Everything that lowers the number by a twentieth at least, the most helpful first.

    ``pictures`` as for ``ghosts``; ``any_order``: they are no sequence, and may be exchanged; ``most_pictures``:
    as many as the printer has dots for under one lenticule; ``light`` as for ``ghosts``.
    """
    mixed = Mixed(mixing, light or linear)
    before = _number(pictures, mixed)
    found = [*_paler(pictures, mixed), _exactly_in_place(pictures, mixed), *_fewer(pictures, mixed),
             *_aligned(pictures, mixed), *_spaced(pictures, mixed, most_pictures)]
    if any_order and len(pictures) > 2:
        found.append(_other_order(pictures, mixed))
    return sorted((one for one in found if one.number < before * (1 - _WORTH)), key=lambda one: one.number)


def _number(pictures: Sequence[np.ndarray], mixed: Mixed) -> float:
    return ghosts(pictures, crosstalk(mixed.mixing, pictures=len(pictures)), light=mixed.light).number


def _paler(pictures: Sequence[np.ndarray], mixed: Mixed) -> list[Remedy]:
    """Contrast lowered around the middle level."""
    found = []
    for percent in (80, 60):
        paler = [np.rint(127.5 + (picture.astype(np.float64) - 127.5) * percent / 100).astype(np.uint8)
                 for picture in pictures]
        found.append(Remedy(f"lower the contrast of every picture to {percent} %", _number(paler, mixed),
                            "flatter pictures"))
    return found


def _exactly_in_place(pictures: Sequence[np.ndarray], mixed: Mixed) -> Remedy:
    there = Mixed(replace(mixed.mixing, registration=0.0), mixed.light)
    return Remedy("lay the lens exactly in its place", _number(pictures, there))


def _fewer(pictures: Sequence[np.ndarray], mixed: Mixed) -> list[Remedy]:
    if len(pictures) < 4:
        return []
    return [Remedy(f"use every second picture, {len(pictures[::2])} in all", _number(pictures[::2], mixed),
                   "coarser steps")]


def _aligned(pictures: Sequence[np.ndarray], mixed: Mixed) -> list[Remedy]:
    """Every picture moved so that it lies on PICTURE 1; what hangs over is cut away."""
    moves = [shift(pictures[0], picture) for picture in pictures]
    if not any(across or down for across, down in moves):
        return []
    most = max(max(abs(across), abs(down)) for across, down in moves)
    high, wide = pictures[0].shape[:2]
    if most > _MOST_SHIFT * min(high, wide):
        return []
    moved = [picture[most + down:high - most + down, most + across:wide - most + across]
             for picture, (across, down) in zip(pictures, moves, strict=True)]
    percent = 100 * most / wide
    return [Remedy("move the pictures so that they lie on each other", _number(moved, mixed),
                   f"a margin of about {percent:.0f} % of the width is cut")]


def shift(first: np.ndarray, other: np.ndarray) -> tuple[int, int]:
    """How far (right, down) ``other`` lies beside ``first``, in whole pixels, by phase correlation."""
    one, two = (np.fft.fft2(_windowed(picture)) for picture in (first, other))
    cross = np.conj(one) * two
    peak = np.fft.ifft2(cross / np.maximum(np.abs(cross), 1e-9)).real
    down, across = np.unravel_index(int(peak.argmax()), peak.shape)
    high, wide = peak.shape
    return (int(across) if across <= wide // 2 else int(across) - wide,
            int(down) if down <= high // 2 else int(down) - high)


def _windowed(picture: np.ndarray) -> np.ndarray:
    grey = picture.mean(axis=2)
    faded: np.ndarray = (grey - grey.mean()) * np.outer(np.hanning(grey.shape[0]), np.hanning(grey.shape[1]))
    return faded


def _spaced(pictures: Sequence[np.ndarray], mixed: Mixed, most_pictures: int | None) -> list[Remedy]:
    """A plain grey strip after every picture's: the light that leaks is grey and has no shape.

    Counted is only what the other pictures change, not the grey veil itself.
    """
    count = 2 * len(pictures)
    if most_pictures is not None and count > most_pictures:
        return []
    shares = crosstalk(mixed.mixing, pictures=count)[::2]
    light = np.stack([mixed.light(picture) for picture in pictures])
    veil = float(mixed.light(np.array(128))) * shares[:, 1::2].sum(axis=1)[:, None, None, None]
    own = shares[:, ::2].sum(axis=1)[:, None, None, None]
    change = changes(np.tensordot(shares[:, ::2], light, axes=(1, 0)) + veil, own * light + veil)
    number = float(np.percentile(np.abs(change), 95, axis=(1, 2)).max())
    return [Remedy("put a plain grey picture after each, as a spacer between their strips", number,
                   f"a grey veil of {100 * shares[:, 1::2].sum(axis=1).max():.0f} % of the light, narrower zones")]


def _other_order(pictures: Sequence[np.ndarray], mixed: Mixed) -> Remedy:
    """The order in which pictures that differ least lie side by side."""
    light = [changes(mixed.light(picture), np.zeros(3)) for picture in pictures]
    apart = np.array([[np.abs(one - other).mean() for other in light] for one in light])
    shares = crosstalk(mixed.mixing, pictures=len(pictures))
    order = min(_orders(apart), key=lambda order: float((shares * apart[np.ix_(order, order)]).sum(axis=1).max()))
    told = ", ".join(str(number + 1) for number in order)
    number = _number([pictures[at] for at in order], mixed)
    return Remedy(f"where their order is free, lay them {told}", number)


def _orders(apart: np.ndarray) -> list[tuple[int, ...]]:
    """Every order of a few pictures; of many, from each first picture on the nearest one next."""
    count = len(apart)
    if count <= _EVERY_ORDER:
        return list(permutations(range(count)))
    return [_nearest_next(apart, first) for first in range(count)]


def _nearest_next(apart: np.ndarray, first: int) -> tuple[int, ...]:
    order, left = [first], set(range(len(apart))) - {first}
    while left:
        order.append(min(left, key=lambda number: float(apart[order[-1], number])))
        left.remove(order[-1])
    return tuple(order)
