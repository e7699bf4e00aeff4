"""How does a zone's unevenness look: how much of it shows, from where, and does it run as drift or as lap marks?

Beside the blotch index and not part of it or of any verdict. The viewing distances weight the waves of the blotch band
by the contrast sensitivity of Mannos & Sakrison (IEEE Trans. Information Theory 20, 1974). Shares, drift and lap marks
are this tool's own measures.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.bands import FINEST_MM, Array, Modes, modes_of
from analyzer.evenness import Evenness
from analyzer.levelling import levelled_lightness
from calibration.colorspace import LINEAR_LIMIT, LINEAR_OFFSET, LINEAR_SLOPE

VISIBLE_STEP = 1.0  # L*, between neighbouring patches; common practice, no source
ARM_M, ROOM_M = 0.7, 2.5  # a piece held in the hands; a piece of furniture seen from across a room; chosen

LAP_MM = (15.0, 80.0)  # wavelengths of bands across the grain: half a brush to a pad's width and back; chosen
# Waves in these directions (90: along the grain) tell how strong bands across it would be in a surface that has none
# of its own: steep enough to be no figure, slanting enough to be no lap mark. Chosen.
SLANTING_DEG = (35.0, 75.0)
LAP_LIMIT = 0.7  # L*: a wave of 1 L* up and down; chosen
# Bands are only lap marks when their power is so many times what slanting waves let expect: clouds as wide as half the
# zone put up to six times into their one or two waves, once in seventy zones (chi-square of one degree). Chosen.
LAP_EXCESS = 6.0
FITS = 5  # of rows and columns in turn; with a third of the zone hidden, more change the bands by less than 1 %


@dataclass(frozen=True, slots=True)
class Appearance:
    """What else is seen of one zone's unevenness, L* unless said otherwise."""

    bands: tuple[float, float, float, float]  # blotch of the octaves 4-8, 8-16, 16-32 and 32-64 mm
    visible_share: tuple[float, float]  # 0 to 1, of the measured area: darker, lighter by more than a visible step
    blotch_arm: float  # blotch as seen from 0.7 m; comparable with `blotch_room` and with itself, not with B
    blotch_room: float  # and from 2.5 m
    drift: tuple[float, float]  # from end to end along the grain (above 0: lighter to the right) and across it (down)
    lap: float  # bands across the grain, beyond what clouds of no direction put there; root mean square
    has_lap_marks: bool


def appearance(
    Y: NDArray[np.floating], measured: NDArray[np.bool_], mm_per_px: float, evenness: Evenness
) -> Appearance | None:
    """What else is seen of one zone's unevenness.

    Parameters
    ----------
    Y : ndarray of float, (rows, columns)
        Linear relative luminance, 1 for white; rows lie across the grain. Values where not measured do not matter.
    measured : ndarray of bool, (rows, columns)
    mm_per_px : float
        At most 0.8.
    evenness : Evenness
        Of the same zone.

    Returns
    -------
    Appearance or None
        None where the evenness itself was not measured.

    Raises
    ------
    ValueError
        If the map of `evenness` has another shape than `Y`, or the pixels are too large.
    """
    if evenness.deviation.shape != Y.shape or measured.shape != Y.shape:
        raise ValueError(
            f"appearance: Y {Y.shape}, measured {measured.shape} and the deviation {evenness.deviation.shape} differ."
        )
    if evenness.blotch is None:
        return None
    deviation = evenness.deviation[measured]
    small, known, small_mm = _reduced(Y, measured, mm_per_px)
    lap, expected = _lap_power(small, known, small_mm)
    strength = math.sqrt(max(0.0, lap - expected))
    first, second, third, fourth = (band.blotch for band in evenness.bands)
    return Appearance(
        bands=(first, second, third, fourth),
        visible_share=(float(np.mean(deviation < -VISIBLE_STEP)), float(np.mean(deviation > VISIBLE_STEP))),
        blotch_arm=_seen_from(ARM_M, evenness.deviation, measured, mm_per_px),
        blotch_room=_seen_from(ROOM_M, evenness.deviation, measured, mm_per_px),
        drift=_drift(small, known, Y.shape[1] * mm_per_px / small_mm, Y.shape[0] * mm_per_px / small_mm),
        lap=strength,
        has_lap_marks=strength > LAP_LIMIT and lap > LAP_EXCESS * expected,
    )


def contrast_sensitivity(cycles_per_deg: ArrayLike) -> Array:
    """Relative sensitivity of the eye to contrast: A(f) of Mannos & Sakrison 1974, at most 0.981 (at 7.9 cycles).

    Parameters
    ----------
    cycles_per_deg : array_like, any shape
        0 or more.

    Raises
    ------
    ValueError
        If a frequency is below 0.
    """
    turned = 0.114 * np.asarray(cycles_per_deg, dtype=np.float64)
    if np.any(turned < 0):
        raise ValueError("contrast_sensitivity: frequencies must be 0 or more.")
    return np.asarray(2.6 * (0.0192 + turned) * np.exp(-(turned**1.1)))


def mean_appearance(seen: Sequence[Appearance | None]) -> Appearance | None:
    """Mean over photos of one zone, figure by figure; None when none of them tells."""
    known = [one for one in seen if one is not None]
    if not known:
        return None
    first, second, third, fourth = np.mean([one.bands for one in known], axis=0)
    darker, lighter = np.mean([one.visible_share for one in known], axis=0)
    along, across = np.mean([one.drift for one in known], axis=0)
    return Appearance(
        bands=(float(first), float(second), float(third), float(fourth)),
        visible_share=(float(darker), float(lighter)),
        blotch_arm=float(np.mean([one.blotch_arm for one in known])),
        blotch_room=float(np.mean([one.blotch_room for one in known])),
        drift=(float(along), float(across)),
        lap=float(np.mean([one.lap for one in known])),
        has_lap_marks=2 * sum(one.has_lap_marks for one in known) > len(known),
    )


def _seen_from(
    distance_m: float, deviation: NDArray[np.float32], measured: NDArray[np.bool_], mm_per_px: float
) -> float:
    """Root mean square of the deviation, L*, each wave weighted by the eye's sensitivity from this far."""
    modes = modes_of(*deviation.shape, float(mm_per_px))
    amplitude = modes.analyse(np.where(measured, deviation, 0.0).astype(np.float64))
    return math.sqrt(float(((_weight(modes, distance_m) * amplitude) ** 2).sum()) / np.count_nonzero(measured))


@lru_cache(maxsize=32)  # as many sizes as `modes_of` keeps, from two distances
def _weight(modes: Modes, distance_m: float) -> Array:
    mm_per_deg = 2000 * distance_m * math.tan(math.radians(0.5))
    weight = contrast_sensitivity(modes.frequency * mm_per_deg)
    weight.setflags(write=False)
    return weight


def _reduced(
    Y: NDArray[np.floating], measured: NDArray[np.bool_], mm_per_px: float
) -> tuple[Array, NDArray[np.bool_], float]:
    """Means over the measured pixels of squares of up to 0.8 mm, which squares have any, and their side, mm."""
    side = max(1, int(FINEST_MM / 2 / mm_per_px))
    rows, columns = (size // side for size in Y.shape)
    squares = (rows, side, columns, side)
    inside = measured[: rows * side, : columns * side]
    count = inside.reshape(squares).sum(axis=(1, 3))
    total = np.where(inside, Y[: rows * side, : columns * side], 0.0).reshape(squares).sum(axis=(1, 3))
    return np.asarray(total / np.maximum(count, 1)), np.asarray(count > 0), min(side * mm_per_px, FINEST_MM / 2)


def _drift(Y: Array, known: NDArray[np.bool_], length_px: float, height_px: float) -> tuple[float, float]:
    """Slope of the plane through the lightness (least squares), times the zone's length along and across the grain."""
    row, column = np.nonzero(known)
    Y = Y[row, column]
    L = 116 * np.where(Y > LINEAR_LIMIT, np.cbrt(np.maximum(Y, 0)), LINEAR_SLOPE * Y + LINEAR_OFFSET) - 16
    along, across = column - column.mean(), row - row.mean()
    xx, yy, xy = float(along @ along), float(across @ across), float(along @ across)
    slopes = np.linalg.solve(np.array([[xx, xy], [xy, yy]]), np.array([along @ L, across @ L]))
    return float(slopes[0] * length_px), float(slopes[1] * height_px)


def _lap_power(Y: Array, known: NDArray[np.bool_], mm_per_px: float) -> tuple[float, float]:
    """Power (L*²) of waves straight along the grain, whose crests lie across it; and of as many without direction.

    Figure lies in the rows, so slanting waves of the same wavelengths say what a surface without bands would hold.
    They are weighted by 1/frequency: evenly spread over frequencies, as the straight ones are.
    """
    modes = modes_of(*Y.shape, float(mm_per_px))
    L = _with_rows_and_columns(levelled_lightness(Y, known, mm_per_px), known)
    power = modes.analyse(L) ** 2 / L.size
    longest, shortest = 1 / LAP_MM[1] * (1 - 1e-9), 1 / LAP_MM[0] * (1 + 1e-9)
    in_band = (modes.frequency >= longest) & (modes.frequency <= shortest)
    slanting = in_band & (modes.direction_deg >= SLANTING_DEG[0]) & (modes.direction_deg <= SLANTING_DEG[1])
    share = 1 / modes.frequency[slanting]
    # Of slanting waves the holes hold nothing.
    expected = float(share @ power[slanting] / share.sum() / known.mean()) if share.size else 0.0
    return float(power[0, in_band[0]].sum()), float(in_band[0].sum()) * expected


def _with_rows_and_columns(L: Array, known: NDArray[np.bool_]) -> Array:
    """Holes filled with the sum of their row's and their column's share: streaks go on through them, and so do bands.

    Least squares of a row effect and a column effect, by fitting them in turn.
    """
    if known.all():
        return L
    in_row, in_column = known.sum(axis=1, keepdims=True), known.sum(axis=0, keepdims=True)
    rows, columns = np.zeros(in_row.shape), np.zeros(in_column.shape)
    for _ in range(FITS):
        rows = np.where(known, L - columns, 0.0).sum(axis=1, keepdims=True) / np.maximum(in_row, 1)
        columns = np.where(known, L - rows, 0.0).sum(axis=0, keepdims=True) / np.maximum(in_column, 1)
    return np.where(known, L, rows + columns)
