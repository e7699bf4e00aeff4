"""Does a surface shine?  How much of what an area sends back has the light's own colour instead of the surface's.

A pixel is the body's colour times the light, plus a mirror reflection in the light's colour (dichromatic reflection,
S. A. Shafer, "Using color to separate reflection components", Color Research & Application 10, 1985). After the gray
card's balance the mirror part is neutral: it raises X, Y and Z alike, relative to white, and leaves the differences
between them as they are. More light, or less pigment, changes those differences too. A wet film shows itself twice:

- glints: many small spots, far brighter than the wood around them, with nothing but neutral light added. Dry wood has
  outliers on its dark side (pores, knots, dark lines), hardly any on the bright side.
- a broad sheen: brightness that rises smoothly over the area while those differences stay.

What this cannot tell: a film without highlights, as in perfectly even light; white dust, which looks like glints; dry
shellac or oil that shines; anything on a surface that is itself nearly neutral.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.colorspace import D50

# All chosen, on simulated dry and wet boards of five woods and on pictures of real, dry wood.
AROUND_MM = 8.0  # what a spot is compared with: wider than a spot, narrower than most of the figure
SPREADS, LEAST_STEP = 4.5, 0.2  # ln luminance above the surroundings, in spreads of the darker half; at least 22 %
SPOT_MM2 = (0.3, 40.0)  # smaller is noise, larger is one highlight of a lamp
SPOT_FOLLOWS = 0.4  # how far a spot's colour may follow its brightness; 1: as under more light, 0: neutral light added
LEAST_COLOUR = 0.1  # of the body, relative to its luminance: a grayer one does not tell neutral light from more light
MIN_SPOTS, MIN_SPOTS_PER_CM2 = 8, 0.2
CELLS, MIN_CELLS = 4, 0.2  # over the area, CELLS by CELLS of equal size; share of them with a spot
BLOCK_MM, MIN_BLOCKS = 10.0, 16  # for the broad sheen
BROAD_STEP, BROAD_SMOOTH, BROAD_FOLLOWS = 1.35, 0.8, 0.25
STRIDE = 3  # every so many pixels is enough for a spread
PASSES = 2


@dataclass(frozen=True, slots=True)
class Sheen:
    """What of an area is mirror reflection."""

    spots: int  # small, bright and neutral
    spots_per_cm2: float
    scattered: float  # share of the area's cells that hold a spot
    broad: float  # luminance of the brightest part over that of the darkest, spots left out; 1: even
    smooth: float  # share of the luminance's variance over the area that a quadratic surface explains
    follows: float  # how far the colour follows the luminance over the area; 1: more light, 0: neutral light added

    @property
    def glints(self) -> bool:
        """Whether there are more spots, and wider spread, than dry wood has."""
        enough = self.spots >= MIN_SPOTS and self.spots_per_cm2 >= MIN_SPOTS_PER_CM2
        return enough and self.scattered >= MIN_CELLS

    @property
    def is_broad(self) -> bool:
        """Whether neutral light lies over the area, smoothly."""
        return self.broad >= BROAD_STEP and self.smooth >= BROAD_SMOOTH and self.follows <= BROAD_FOLLOWS


def read_sheen(
    XYZ: NDArray[np.float32], seen: NDArray[np.bool_], full_scale: NDArray[np.bool_], mm_per_px: float
) -> Sheen | None:
    """Look for mirror reflection in an area of one material.

    Parameters
    ----------
    XYZ : ndarray, (rows, columns, 3)
        Under D50, balanced by the gray card, Y = 1 for a perfect white.
    seen : ndarray of bool, (rows, columns)
        Pixels that show the area, those at full scale left out.
    full_scale : ndarray of bool, (rows, columns)
        Pixels that show it at full scale: too bright to have a colour, maybe highlights.
    mm_per_px : float

    Returns
    -------
    Sheen or None
        None where the area is too small or too gray to tell.
    """
    shape = seen.shape
    if min(shape) * mm_per_px < 2 * AROUND_MM or seen.mean() < 0.5:
        return None
    relative = XYZ * (1 / D50).astype(np.float32)
    y = np.maximum(relative[..., 1], np.float32(1e-4))
    chroma = relative[..., ::2] - y[..., None]  # (rows, columns, 2): X - Y and Z - Y, untouched by neutral light
    bright, surface = _bright(y, seen, full_scale, mm_per_px)
    body = cv2.mean(cv2.merge([y, *cv2.split(chroma)]), surface.astype(np.uint8))
    colour = np.array(body[1:3]) / body[0]
    if float(np.hypot(*colour)) < LEAST_COLOUR:
        return None
    spots, cells = _spots(y, chroma, bright, full_scale, surface, colour, mm_per_px)
    broad, smooth, follows = _over_the_area(y, chroma, surface, colour, mm_per_px)
    return Sheen(spots, spots / (bright.size * mm_per_px**2 / 100), cells, broad, smooth, follows)


def _bright(
    y: NDArray[np.float32], seen: NDArray[np.bool_], full_scale: NDArray[np.bool_], mm_per_px: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Pixels far brighter than their surroundings; the surface without them.

    The spread is that of the darker half, which the spots themselves do not widen.
    """
    surface = seen & ~full_scale
    log_y = np.log(y)
    bright = full_scale
    for _ in range(PASSES):
        above = log_y - np.log(np.maximum(_around(y, surface, mm_per_px), np.float32(1e-4)))
        some = above[::STRIDE, ::STRIDE][surface[::STRIDE, ::STRIDE]]
        low, middle = np.percentile(some, [15.87, 50]) if some.size else (0.0, 0.0)
        bright = (above > max(SPREADS * float(middle - low), LEAST_STEP)) & (seen | full_scale)
        surface = seen & ~full_scale & ~bright
    return bright, surface


def _around(values: NDArray[np.float32], surface: NDArray[np.bool_], mm_per_px: float) -> NDArray[np.float32]:
    """Mean of the surface around each pixel."""
    side = (2 * round(AROUND_MM / mm_per_px / 2) + 1,) * 2
    weight = surface.astype(np.float32)
    summed = cv2.boxFilter(values * weight, -1, side, normalize=False, borderType=cv2.BORDER_REFLECT)
    count = cv2.boxFilter(weight, -1, side, normalize=False, borderType=cv2.BORDER_REFLECT)
    return np.asarray(summed / np.maximum(count, 1))


def _spots(
    y: NDArray[np.float32],
    chroma: NDArray[np.float32],
    bright: NDArray[np.bool_],
    full_scale: NDArray[np.bool_],
    surface: NDArray[np.bool_],
    colour: NDArray[np.float64],
    mm_per_px: float,
) -> tuple[int, float]:
    """Count the neutral spots, and the share of cells that hold one."""
    count, labels, stats, centres = cv2.connectedComponentsWithStats(bright.astype(np.uint8), connectivity=8)
    if count == 1:
        return 0, 0.0
    row, column = np.nonzero(bright & ~full_scale)
    label = labels[row, column]
    added = [
        np.bincount(label, (part - _around(part, surface, mm_per_px))[row, column], minlength=count)
        for part in (y, chroma[..., 0], chroma[..., 1])
    ]
    follows = np.hypot(added[1], added[2]) / np.maximum(float(np.hypot(*colour)) * added[0], 1e-9)
    area_mm2 = stats[:, cv2.CC_STAT_AREA] * mm_per_px**2
    is_spot = (area_mm2 >= SPOT_MM2[0]) & (area_mm2 <= SPOT_MM2[1]) & (added[0] > 0) & (follows <= SPOT_FOLLOWS)
    is_spot[0] = False  # the background
    cell = (centres[is_spot] / np.array(bright.shape[::-1]) * CELLS).astype(int)
    return int(is_spot.sum()), len(np.unique(cell, axis=0)) / CELLS**2


def _over_the_area(
    y: NDArray[np.float32],
    chroma: NDArray[np.float32],
    surface: NDArray[np.bool_],
    colour: NDArray[np.float64],
    mm_per_px: float,
) -> tuple[float, float, float]:
    """How luminance and colour change over the area together: `broad`, `smooth` and `follows`."""
    blocks = tuple(max(1, round(side * mm_per_px / BLOCK_MM)) for side in surface.shape)
    weight = surface.astype(np.float32)
    size = blocks[::-1]
    filled = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
    use = filled > 0.5
    if use.sum() < MIN_BLOCKS:
        return 1.0, 0.0, 1.0
    level, *parts = (
        (cv2.resize(part * weight, size, interpolation=cv2.INTER_AREA) / np.maximum(filled, 1e-6))[use]
        for part in (y, chroma[..., 0], chroma[..., 1])
    )
    r, c = (axis[use] for axis in np.meshgrid(*(np.linspace(-1, 1, n) for n in blocks), indexing="ij"))
    surface_terms = np.stack([np.ones_like(r), r, c, r * r, c * c, r * c], axis=1)
    fitted = surface_terms @ np.linalg.lstsq(surface_terms, level.astype(np.float64), rcond=None)[0]
    deviation = level - level.mean()
    variance = max(float(deviation @ deviation), 1e-12)
    slope = np.array([float(deviation @ (part - part.mean())) / variance for part in parts])
    low, high = np.percentile(level, [5, 95])
    smooth = 1 - float(((level - fitted) ** 2).sum()) / variance
    return float(high / low), smooth, float(np.hypot(*slope) / np.hypot(*colour))
