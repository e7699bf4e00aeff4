"""Which calm, neutral, four-sided patches of a photo could be steps of a step card?"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.preview import Preview
from calibration.quads import corner_angles_deg, quad_mask, quads_in, shrunk, side_lengths

Floats = NDArray[np.float64]

CALM_STEPS = (0.05, 0.09, 0.16, 0.28)  # ln units between neighbouring pixels: borders between steps are steeper
BAND_STEP, BAND_WIDTHS = 0.12, (0.3, 0.6)  # ln units of luminance, of bands in which one step lies alone
MIN_SIDE_PX = 5.0  # of the preview, of a step
MAX_ASPECT = 6.0  # of a step
MAX_AREA_SHARE = 0.12  # of the frame, of a step
MAX_CAST = 0.75  # ln units of a ratio, from neutral: warm lamps photographed with daylight balance
MAX_UNCALM = 0.10  # ln units, robust spread inside a step
MOST_PATCHES = 150  # the largest
SAME_PATCH = 0.5  # overlap of two quadrilaterals that are one patch
MIDDLE = 0.3  # of a step's sides, left out all around it when it is looked at
ENOUGH_PIXELS = 150  # of a step, to look at it


@dataclass(frozen=True, slots=True, eq=False)
class StepPatch:
    """A patch that could be a step, in preview pixels and the preview's layers."""

    quad: Floats  # (4, 2), clockwise
    centre: Floats  # (2,)
    along: Floats  # (2,), from its fourth and first corner to its third and second
    across: Floats  # (2,), from its first two corners to the others
    log_Y: float  # median ln luminance of its middle
    ratios: Floats  # (2,), median ln(R/G) and ln(B/G) of its middle


def step_patches(preview: Preview) -> list[StepPatch]:
    """Patches of a preview, the largest first; one where several outlines are of the same."""
    layers = preview.layers
    quads: dict[tuple[int, ...], Floats] = {}
    for mask, grow_px in _masks(layers):
        for quad in quads_in(mask, MIN_SIDE_PX**2 / 2):
            grown = _grown(quad, grow_px if _is_filled(mask, quad) else -grow_px)
            if _is_step_like(grown, layers.shape):
                about = *grown.mean(axis=0) / 2, np.sqrt(cv2.contourArea(grown.astype(np.float32))) / 2
                quads.setdefault(tuple(round(float(value)) for value in about), grown)
    groups: list[list[Floats]] = []  # outlines of one patch, the largest first
    centres = np.empty((0, 2))
    for quad in sorted(quads.values(), key=lambda quad: -cv2.contourArea(quad.astype(np.float32))):
        close = np.hypot(*(centres - quad.mean(axis=0)).T) < 0.5 * float(side_lengths(quad).min())
        group = next((groups[place] for place in np.flatnonzero(close) if _same(quad, groups[place][0])), None)
        if group is not None:
            group.append(quad)
        elif read_patch(layers, quad) is not None and len(groups) < MOST_PATCHES:
            groups.append([quad])
            centres = np.vstack([centres, quad.mean(axis=0)])
    # the middle one: some run outside the border's blur, some inside
    middles = [read_patch(layers, group[len(group) // 2]) for group in groups]
    return [patch for patch in middles if patch is not None]


def _masks(layers: NDArray[np.float32]) -> Iterator[tuple[NDArray[np.uint8], float]]:
    """Where it is calm, by several limits; what lies in bands of luminance. With the rim that each leaves out."""
    kernel = np.ones((3, 3), np.uint8)
    change = np.max(cv2.dilate(layers, kernel) - cv2.erode(layers, kernel), axis=2)
    for limit in CALM_STEPS:
        yield (change < limit).astype(np.uint8), 1.5
    darkest, lightest = (float(level) for level in np.percentile(layers[..., 0], (0.5, 99.9)))
    for width in BAND_WIDTHS:
        for level in np.arange(darkest - width / 2, lightest, BAND_STEP * width / BAND_WIDTHS[0]):
            yield np.asarray(cv2.inRange(layers[..., 0], level, level + width), dtype=np.uint8), 0.0


def _is_filled(mask: NDArray[np.uint8], quad: Floats) -> bool:
    """Whether an outline is that of something in a mask, not that of a hole, which lies outside the border."""
    inner = _grown(quad, -1.5)
    x, y = np.round((inner + np.roll(inner, -1, axis=0)) / 2).astype(int).T
    rows, columns = mask.shape
    return bool(mask[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)].sum() >= 2)


def _grown(quad: Floats, rim_px: float) -> Floats:
    sides = side_lengths(quad)
    return shrunk(quad, -2 * rim_px / max(float(sides.min()), 1.0)) if rim_px else quad


def _is_step_like(quad: Floats, shape: tuple[int, ...]) -> bool:
    sides = side_lengths(quad)
    along, across = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    angles = corner_angles_deg(quad)
    return bool(
        min(along, across) > MIN_SIDE_PX
        and max(along, across) < MAX_ASPECT * min(along, across)
        and along * across < MAX_AREA_SHARE * shape[0] * shape[1]
        and angles.min() > 60
        and angles.max() < 120
    )


def read_patch(layers: NDArray[np.float32], quad: Floats) -> StepPatch | None:
    """The patch in a quadrilateral (4, 2) of a preview's layers; None if it is not calm, neutral or inside."""
    pixels = middle_pixels(layers, quad)
    if len(pixels) < 6:
        return None
    middle = np.median(pixels, axis=0)
    uncalm = 1.4826 * float(np.median(np.abs(pixels[:, 0] - middle[0])))
    if np.hypot(*middle[1:]) > MAX_CAST or uncalm > MAX_UNCALM:
        return None
    sides = np.roll(quad, -1, axis=0) - quad
    return StepPatch(
        quad, quad.mean(axis=0), (sides[0] - sides[2]) / 2, (sides[1] - sides[3]) / 2, float(middle[0]), middle[1:]
    )


def middle_pixels(layers: NDArray[np.float32], quad: Floats, share: float = MIDDLE) -> Floats:
    """Layers (n, 3) in the middle of a quadrilateral; none where it leaves the picture."""
    inner = shrunk(quad, share)
    low, high = np.floor(inner.min(axis=0)).astype(int), np.ceil(inner.max(axis=0)).astype(int) + 1
    if low.min() < 0 or high[0] > layers.shape[1] or high[1] > layers.shape[0]:
        return np.empty((0, 3))
    inside = quad_mask((high[1] - low[1], high[0] - low[0]), inner - low)
    pixels = layers[low[1] : high[1], low[0] : high[0]][inside]
    return pixels[:: 1 + len(pixels) // ENOUGH_PIXELS].astype(np.float64)


def _same(first: Floats, second: Floats) -> bool:
    """Whether one patch lies on the other and is nearly as large; a small one on a large one is another."""
    a, b = first.astype(np.float32), second.astype(np.float32)
    shared = float(cv2.intersectConvexConvex(a, b)[0])
    return shared > SAME_PATCH * max(cv2.contourArea(a), cv2.contourArea(b))
