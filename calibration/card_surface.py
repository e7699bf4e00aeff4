"""What lies on the gray card?  Patches of its surface unlike the rest, and light over it that is not smooth."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.light import Light
from calibration.reference import CardSurface

Floats = NDArray[np.float64]

FADED = 0.6  # of a patch's peak: what lies below it has faded
CELLS = 12  # the card is looked at in so many cells a side
DIRECTIONS, PLACES, WIDTHS = 12, np.linspace(-0.8, 0.8, 13), (0.08, 0.3)  # of a shadow's edge that are tried
# Chosen on simulated cards, in lights that fall off by up to 40 % and grow dark with the square of the distance: a step
# must explain what no plane does, and better than a curved light; so must a curve, and be so large.
MIN_STEP, STEP_EXPLAINS, STEP_BEATS = 0.04, 0.6, 0.85
MIN_CURVE, CURVE_EXPLAINS = 0.06, 0.6
MIN_PEAK, PEAK_OVER_PIT = 0.06, 1.3  # relative, of a narrow shine: 7 of 144 cells so bright, no such darkness beside it
ROUND = 0.25  # least over largest curvature, both downwards: a shine; an edge curves one way only


@dataclass(frozen=True, slots=True)
class Patch:
    """A part of the card that is unlike the rest."""

    share: float  # of the card's middle
    level: float  # of luminance, over what the rest lets expect there
    colour_step: float  # ln units, of R/G or B/G, from the rest
    faded: float  # share of it that lies below `FADED` of its peak


@dataclass(frozen=True, slots=True)
class UnevenLight:
    """Light over the card that is no smooth gradient."""

    height: float  # relative
    is_shine: bool  # brightest inside the card and fading all around; else a step or an edge


def largest_patch(surface: CardSurface) -> Patch | None:
    """The largest connected part of the card that was left out of its reading; thin print is passed over."""
    seen = np.isfinite(surface.relative)
    off = (seen & ~surface.read).astype(np.uint8)
    broad = cv2.morphologyEx(off, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(broad, connectivity=8)
    if count < 2:
        return None
    here = labels == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    difference = surface.relative[here] - 1
    peak = float(np.quantile(np.abs(difference), 0.95))
    patch, rest = (np.median(_ratios(surface.linear_RGB[part]), axis=0) for part in (here, surface.read))
    return Patch(
        float(here.sum() / seen.sum()),
        1 + float(np.median(difference)),
        float(np.abs(patch - rest).max()),
        float((np.abs(difference) < FADED * peak).mean()),
    )


def _ratios(linear_RGB: NDArray[np.float32]) -> NDArray[np.float32]:
    log_RGB = np.log(np.maximum(linear_RGB, 1e-6))
    return np.asarray(log_RGB[:, ::2] - log_RGB[:, 1:2])


def uneven_light(surface: CardSurface, to_Y: Floats, light: Light) -> UnevenLight | None:
    """A step, an edge or a shine in the light over the card; a mapped light is divided out first.

    Parameters
    ----------
    surface : CardSurface
    to_Y : ndarray, (3,)
        Row of the photo's matrix from linear RGB to Y.
    light : Light
    """
    x, y, level = _cells(surface, to_Y, light)
    if len(level) < CELLS**2 // 4:
        return None
    plane = np.linalg.qr(np.stack([np.ones_like(x), x, y], axis=1))[0]
    off = level - plane @ (plane.T @ level)
    flat = _root_mean_square(off)
    step, left_by_step = _best_step(x, y, off, plane)
    curve = np.stack([x * x, x * y, y * y], axis=1)
    curve -= plane @ (plane.T @ curve)
    bend, *_ = np.linalg.lstsq(curve, off, rcond=None)
    left_by_curve = _root_mean_square(off - curve @ bend)
    if abs(step) > MIN_STEP and left_by_step < min(STEP_EXPLAINS * flat, STEP_BEATS * left_by_curve):
        return UnevenLight(abs(step), is_shine=False)
    height = float(np.ptp(curve @ bend))
    if height > MIN_CURVE and left_by_curve < CURVE_EXPLAINS * flat:
        least, most = np.sort(-np.linalg.eigvalsh([[bend[0], bend[1] / 2], [bend[1] / 2, bend[2]]]))
        return UnevenLight(height, is_shine=bool(least > ROUND * most > 0))
    low, high = np.quantile(off, (0.05, 0.95)).tolist()
    return UnevenLight(high, is_shine=True) if high > max(MIN_PEAK, PEAK_OVER_PIT * -low) else None


def _cells(surface: CardSurface, to_Y: Floats, light: Light) -> tuple[Floats, Floats, Floats]:
    """Places (cells,), the longer side being 2, and mean luminance (cells,) over its mean, of cells of what is read."""
    rows, columns = np.nonzero(surface.read)
    Y = surface.linear_RGB[rows, columns] @ to_Y
    side = np.array([np.ptp(columns), np.ptp(rows)]) + 1
    along = np.stack([columns - columns.min(), rows - rows.min()], axis=1)
    column, row = (CELLS * along // side).T
    cell = row * CELLS + column
    counts, sums = np.bincount(cell), np.bincount(cell, Y)
    full = counts >= 0.5 * np.median(counts[counts > 0])
    at = np.flatnonzero(full)
    x, y = (2 * (at % CELLS + 0.5) / CELLS - 1), (2 * (at // CELLS + 0.5) / CELLS - 1)
    level = sums[full] / counts[full]
    if light.mapped:
        middle = [np.bincount(cell, places)[full] / counts[full] for places in (columns, rows)]
        level = level * np.exp(-light.log_at(surface.to_photo(*middle)))
    return x * side[0] / side.max(), y * side[1] / side.max(), np.asarray(level / level.mean())


def _best_step(x: Floats, y: Floats, off: Floats, plane: Floats) -> tuple[float, float]:
    """Height of the straight step that explains most of what no plane does, and what it leaves."""
    angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    distance = np.outer(np.cos(angles), x) + np.outer(np.sin(angles), y)  # (directions, cells)
    across = distance[:, None, None, :] - PLACES[:, None, None]
    steps = (0.5 * np.tanh(across / np.array(WIDTHS)[:, None])).reshape(-1, len(x))
    steps -= (steps @ plane) @ plane.T
    power = np.maximum((steps**2).sum(axis=1), 1e-9)
    heights = (steps @ off) / power
    best = int((heights**2 * power).argmax())
    return float(heights[best]), _root_mean_square(off - heights[best] * steps[best])


def _root_mean_square(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))
