"""One pitch from the fringes of all bands together.

Where a ridge at a, across the lines, shows the ink at a + shift, a band of pitch p shows the beat phase
p·(a + shift) − L·(a·cos t + b·sin t) + c: L lines per inch of the lens, t its turn, b along the lines. Light is a wave
of that phase under uneven lighting. All bands share L, t, c and the wave; their pitches differ by known amounts, so
that they also tell how far the objective's barrel has moved the picture. Nothing is counted.
"""

from dataclasses import dataclass

import numpy as np

from logbook.engine.photo_chart import MM, PrintedChart
from logbook.engine.photo_pose import Pose, pose
from logbook.engine.photo_samples import Samples

_LENS_START, _LENS_STEP, _MOST_TURN_DEG = 0.3, 0.2, 1.5
_LIGHT_TERMS = 10
_ROUNDS, _HUBER = 8, 1.5
_SEARCH_EVERY = 3
_BARREL_PRIOR, _BARREL_NUDGE = 0.02, 1e-3


@dataclass(frozen=True, slots=True)
class Found:
    """The fit: pitch for the camera's own place (lines per printer's inch), turn in degrees, barrel, fringe offset.

    ``covariance`` belongs to (pitch, turn in degrees). ``explained`` is the share of the fringes' contrast that the
    fit explains, ``rival`` the best such share at a clearly other pitch, ``camera`` the camera with its barrel,
    ``darkest`` the beat phase, in rounds, of the middle of a dark bar.
    """

    lpi: float
    turn_deg: float
    offset: float
    contrast: float
    explained: float
    rival: float
    covariance: np.ndarray
    camera: Pose
    darkest: float = 0.25


@dataclass(frozen=True, slots=True)
class _Ground:
    """What does not change while fitting, one entry per sample; lengths in inches."""

    pitch: np.ndarray
    edge: np.ndarray
    light: np.ndarray
    group: np.ndarray
    terms: np.ndarray


@dataclass(frozen=True, slots=True)
class _Laid:
    """The samples' places for one barrel: across the lines, along them, and the shift of the ink, in inches."""

    across: np.ndarray
    along: np.ndarray
    shift: np.ndarray


def fit_fringes(samples: Samples, chart: PrintedChart, camera: Pose) -> Found:
    """Fit pitch, turn, offset, barrel, light and wave to the samples. Judging the result is left to the caller."""
    ground, laid = _ground(samples, chart), _lay(samples, chart, camera)
    stretch = 1 + sum(layer.reduced_mm for layer in camera.view.layers) / camera.view.distance_mm
    start, rival, first = _search(ground, laid, chart, stretch=stretch)
    fit = _refine(np.append(start, 0.0), ground, samples, chart, camera, stretch=stretch)
    return Found(lpi=fit.state[0], turn_deg=float(np.degrees(fit.state[1])), offset=float(fit.state[2] % 1),
                 contrast=fit.contrast, explained=fit.explained, rival=rival / max(first, 1e-9),
                 covariance=fit.covariance, camera=fit.camera, darkest=_darkest(fit.wave))


def beat(found: Found, lpi: float, edge_mm: float, points: np.ndarray, *, turned: bool) -> np.ndarray:
    """The beat phase in rounds at points (…, 2) of the ridges' plane, in mm, over a band of ``lpi``.

    ``edge_mm`` is where the band's lines begin.
    """
    shift, view = found.camera.shift(points) / MM, found.camera.view
    across, along = (points[..., 1], -points[..., 0]) if turned else (points[..., 0], points[..., 1])
    stretch = 1 + sum(layer.reduced_mm for layer in view.layers) / view.distance_mm
    turn = np.radians(found.turn_deg)
    lens = found.lpi * stretch * (across * np.cos(turn) + along * np.sin(turn)) / MM
    ink = lpi * ((across - edge_mm) / MM + shift[..., 1 if turned else 0])
    return np.asarray(ink - lens + found.offset)


def _darkest(wave: np.ndarray) -> float:
    """The middle of the dark bar by the wave's first term: the others make its sides steep, not its middle."""
    return 0.25 if wave[0] < 0 else 0.75


def _ground(samples: Samples, chart: PrintedChart) -> _Ground:
    edges = np.array([band.box[1 if chart.turned else 0] for band in chart.bands]) / MM
    pitches = np.array([band.lpi for band in chart.bands])
    middle = (samples.pixels - samples.pixels.mean(axis=0)) / np.ptp(samples.pixels, axis=0).max() * 2
    x, y = middle.T
    terms = np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=1)
    column = np.clip((x - x.min()) / (np.ptp(x) + 1e-9) * 4, 0, 3).astype(int)
    return _Ground(pitch=pitches[samples.band], edge=edges[samples.band], light=samples.light,
                   group=samples.band * 4 + column, terms=terms)


def _lay(samples: Samples, chart: PrintedChart, camera: Pose) -> _Laid:
    places = camera.on_ridges(samples.pixels)
    shift = camera.shift(places)
    if chart.turned:
        return _Laid(places[:, 1] / MM, -places[:, 0] / MM, shift[:, 1] / MM)
    return _Laid(places[:, 0] / MM, places[:, 1] / MM, shift[:, 0] / MM)


def _rounds(state: np.ndarray, ground: _Ground, laid: _Laid, *, stretch: float) -> np.ndarray:
    """The beat phase in rounds."""
    lens = state[0] * stretch
    turned = laid.across * np.cos(state[1]) + laid.along * np.sin(state[1])
    return np.asarray(ground.pitch * (laid.across + laid.shift - ground.edge) - lens * turned + state[2])


def _search(ground: _Ground, laid: _Laid, chart: PrintedChart, *, stretch: float) \
        -> tuple[np.ndarray, float, float]:
    """The best start on a grid of pitches and turns, the best share elsewhere, and the best share."""
    flat = ground.light / (ground.terms[:, :_LIGHT_TERMS] @ np.linalg.lstsq(ground.terms, ground.light, rcond=None)[0])
    value = flat - flat.mean()
    low, high = chart.pitches
    beyond = 0.25 * (high - low) + 1 / chart.length_in
    pitches = np.arange(low - beyond, high + beyond, _LENS_STEP / chart.length_in)
    height = float(np.ptp(laid.along)) or 1.0
    most = np.tan(np.radians(_MOST_TURN_DEG))
    turns = np.arange(-most, most, _LENS_STEP / (height * pitches[0]))
    waves = _waves(value, ground, laid, pitches * stretch, turns, every=_SEARCH_EVERY)
    power = np.abs(waves) ** 2
    best = np.unravel_index(int(np.argmax(power)), power.shape)
    apart = np.abs(pitches - pitches[best[0]]) * chart.length_in > 1.0
    angle = np.angle(waves[best])
    start = np.array([pitches[best[0]], turns[best[1]], -angle / (2 * np.pi) + 0.25])
    return start, float(power[apart].max(initial=0.0)), float(power[best])


def _waves(value: np.ndarray, ground: _Ground, laid: _Laid, lenses: np.ndarray, turns: np.ndarray, *,
           every: int) -> np.ndarray:
    """Σ value·exp(2πi·phase) over some of the samples for every pitch and turn, shape (pitches, turns)."""
    fixed = value * np.exp(2j * np.pi * ground.pitch * (laid.across + laid.shift - ground.edge))
    by_lens = np.exp(-2j * np.pi * np.outer(lenses, laid.across[::every]))
    middle = float(lenses.mean())
    by_turn = np.exp(-2j * np.pi * middle * np.outer(laid.along[::every], turns))
    fixed = fixed[::every]
    return np.asarray((by_lens * fixed) @ by_turn)


@dataclass(frozen=True, slots=True)
class _Fit:
    state: np.ndarray
    covariance: np.ndarray
    contrast: float
    explained: float
    camera: Pose
    wave: np.ndarray


def _refine(state: np.ndarray, ground: _Ground, samples: Samples, chart: PrintedChart, camera: Pose, *,
            stretch: float) -> _Fit:
    """Gauss-Newton steps on state (pitch, turn, offset, barrel), wave and light, with far residuals weighted down."""
    lighting = np.linalg.lstsq(ground.terms, ground.light, rcond=None)[0]
    wave = np.array([-0.8, 0.0, 0.0])
    for _ in range(_ROUNDS):
        design, residual = _linearised(state, wave, lighting, ground, samples, chart, camera, stretch=stretch)
        weight = _weights(residual)
        scale = np.median(np.abs(residual)) * 1.4826 + 1e-9
        rows = np.vstack([design * weight[:, None], np.eye(design.shape[1])[3] * scale / _BARREL_PRIOR])
        target = np.append(residual * weight, -state[3] * scale / _BARREL_PRIOR)
        step = np.linalg.solve(rows.T @ rows, rows.T @ target)
        state, wave, lighting = state + step[:4], wave + step[4:7], lighting + step[7:]
        state[3] = float(np.clip(state[3], -0.05, 0.05))
    design, residual = _linearised(state, wave, lighting, ground, samples, chart, camera, stretch=stretch)
    weight = _weights(residual)
    rows = np.vstack([design * weight[:, None], np.eye(design.shape[1])[3] * scale / _BARREL_PRIOR])
    flat = ground.light - ground.terms @ lighting
    explained = 1 - float(np.mean(residual**2) / np.mean(flat**2))
    return _Fit(state, _covariance(rows, residual * weight, ground.group), float(abs(wave[0])), explained,
                pose(camera.view, barrel=state[3]), wave)


def _linearised(state: np.ndarray, wave: np.ndarray, lighting: np.ndarray, ground: _Ground, samples: Samples,
                chart: PrintedChart, camera: Pose, *, stretch: float) -> tuple[np.ndarray, np.ndarray]:
    """The derivatives of the expected light by all parameters, and what is seen minus what is expected."""
    laid = _lay(samples, chart, pose(camera.view, barrel=state[3]))
    nudged = _lay(samples, chart, pose(camera.view, barrel=state[3] + _BARREL_NUDGE))
    rounds = _rounds(state, ground, laid, stretch=stretch)
    by_barrel = (_rounds(state, ground, nudged, stretch=stretch) - rounds) / _BARREL_NUDGE
    turned = laid.across * np.cos(state[1]) + laid.along * np.sin(state[1])
    turning = laid.along * np.cos(state[1]) - laid.across * np.sin(state[1])
    by_state = np.stack([-stretch * turned, -stretch * state[0] * turning, np.ones_like(rounds), by_barrel], axis=1)
    angle = 2 * np.pi * rounds
    shapes = np.stack([np.sin(angle), np.cos(2 * angle), np.sin(3 * angle)], axis=1)
    slopes = np.stack([np.cos(angle), -2 * np.sin(2 * angle), 3 * np.cos(3 * angle)], axis=1) * 2 * np.pi
    light = ground.terms @ lighting
    design = np.hstack([by_state * (light * (slopes @ wave))[:, None], shapes * light[:, None],
                        ground.terms * (1 + shapes @ wave)[:, None]])
    return design, ground.light - light * (1 + shapes @ wave)


def _weights(residual: np.ndarray) -> np.ndarray:
    scale = np.median(np.abs(residual)) * 1.4826 + 1e-9
    return np.asarray(np.sqrt(np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(residual), 1e-12))))


def _covariance(rows: np.ndarray, residual: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Of pitch and turn (degrees), from how the residuals of neighbouring samples go together."""
    inverse = np.linalg.pinv(rows.T @ rows)
    scores = np.zeros((group.max() + 1, rows.shape[1]))
    np.add.at(scores, group, rows[:len(residual)] * residual[:, None])
    spread = inverse @ (scores.T @ scores) @ inverse
    to_degrees = np.diag([1.0, 180 / np.pi])
    return np.asarray(to_degrees @ spread[:2, :2] @ to_degrees)
