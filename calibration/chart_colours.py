"""Could these be a chart's colours, seen by some camera in some light?  The one fit behind order and misfits.

Camera values are taken as a matrix of the known tristimulus values plus a veil of stray light, and each patch may lie
in more light or less than the others: a shadow changes a patch's level and hardly its tint. The fit is robust, so
that covered patches count little. It judges; nothing is measured with it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# At first a misfit costs little: a few wrong colours must not draw the fit to themselves
STRICTNESS = (0.15, 0.2, 0.3, 0.45, 0.65, 1.0, 1.0, 1.0)
FLOOR = 0.012  # of the brightest patch, a channel: below it 8-bit steps, flare and cut-off colours decide (chosen)
TINT, LEVEL = 0.10, 0.35  # ln units: misfits of a good patch by camera and lamp, and by uneven light (chosen)
FREE_LEVEL = 0.12  # ln units of a patch's level that are the camera's misfit, not its light
VEIL, RIDGE = 0.02, 0.01  # usual size of the veil, of the brightest patch; keeps the fit defined with few colours
CUT_ROUNDS = 2
MOST_LIGHT = 1.5  # ln units of a patch's light that are believed: a deep shadow
MIN_PATCHES = 8  # for 12 coefficients and 24 or more values


@dataclass(frozen=True, slots=True, eq=False)
class ColourFit:
    """How patches differ from what the fitted camera would show of the known colours, in natural-log units."""

    level: Floats  # (..., n): brighter (+) or darker (-) than the median patch, all channels alike; NaN where not read
    tint: Floats  # (..., n): what is left in single channels, root mean square; NaN where not read
    predicted_RGB: Floats  # (..., n, 3): what the camera would show, in the light of the median patch
    score: Floats  # (...): sum over patches, 1 for one that agrees, 0 for one that does not or was not read


def fit_colours(linear_RGB: Floats, known_XYZ: Floats) -> ColourFit:
    """Fit a camera and its light to patches, robustly.

    Parameters
    ----------
    linear_RGB : ndarray, (..., n, 3)
        As photographed, any common scale; NaN where a channel is clipped, or a patch was not read. Several ways to
        order the patches may be tried at once.
    known_XYZ : ndarray, (n, 3)

    Returns
    -------
    ColourFit
        With a score of 0 when fewer than `MIN_PATCHES` were read.
    """
    told = np.isfinite(linear_RGB)
    read = told.sum(axis=-1) >= 2  # channels
    told &= read[..., None]
    RGB = np.where(told, linear_RGB, 0)
    brightest = RGB.max(axis=-2, keepdims=True)
    enough = (read.sum(axis=-1) >= MIN_PATCHES) & (brightest > 0).all(axis=(-2, -1))
    floor = FLOOR * brightest + 1e-6
    seen = np.log(np.maximum(RGB, 0) + floor)
    trust = told * (RGB / (RGB + 2 * floor) + 0.05)  # of a channel, by how far it stands above the floor
    trusted = np.maximum(trust.sum(axis=-1), 1e-9)
    light, whole, spread = (np.zeros(read.shape) for _ in range(3))
    predicted = RGB
    weight = read.astype(np.float64)
    for strict in STRICTNESS:
        relit = np.exp(light)[..., None]
        predicted = relit * _predicted(RGB / relit, told, known_XYZ, weight, floor)
        off = seen - np.log(np.maximum(predicted, 0) + floor)
        mean = (trust * off).sum(axis=-1) / trusted
        spread = np.sqrt((trust * (off - mean[..., None]) ** 2).sum(axis=-1) / trusted)
        whole = light + mean
        whole = np.clip(whole - _median(whole, read), -MOST_LIGHT, MOST_LIGHT)
        light = np.sign(whole) * np.maximum(np.abs(whole) - FREE_LEVEL, 0)
        misfit = (spread / TINT) ** 2 + (light / (2 * LEVEL)) ** 2
        weight = trust.mean(axis=-1) * (1 + strict**2 * misfit) ** -2.0
    agrees = np.exp(-0.5 * (spread / TINT) ** 2 - 0.5 * (whole / (2 * LEVEL)) ** 2) * told.mean(axis=-1)
    level, tint = (np.where(read, values, np.nan) for values in (whole, spread))
    return ColourFit(level, tint, predicted / np.exp(light)[..., None], np.where(enough, agrees.sum(axis=-1), 0.0))


def _predicted(
    RGB: Floats, told: NDArray[np.bool_], known_XYZ: Floats, weight: Floats, floor: Floats
) -> NDArray[np.float64]:
    """What the camera shows of known colours: each channel by least squares of relative differences."""
    known = np.column_stack([known_XYZ, np.ones(len(known_XYZ))])
    # unknowns are shares of the brightest patch: a veil of more than a few per cent is none
    size = weight.mean(axis=-1)[..., None] / (floor[..., 0, :] / FLOOR) ** 2 + 1e-9
    ridge = size[..., None, None] * np.diag([RIDGE**2, RIDGE**2, RIDGE**2, VEIL**-2])
    w = weight[..., None] / (np.maximum(RGB, 0) + floor) ** 2
    # a colour beyond the photo's colour space is cut off at black: any value below it will do
    darkest = RGB.min(axis=-2, where=told, initial=np.inf, keepdims=True)
    cut = told & (darkest + floor > RGB)
    counts = told & ~cut
    predicted, below = np.zeros_like(RGB), cut
    for _ in range(CUT_ROUNDS):
        counted = counts * w
        normal = np.einsum("ni,...nc,nj->...cij", known, counted, known, optimize=True) + ridge
        right = np.einsum("ni,...nc->...ci", known, counted * RGB)
        coefficients = np.linalg.solve(normal, right[..., None])[..., 0]
        predicted = known @ np.swapaxes(coefficients, -1, -2)
        below = cut & (predicted < RGB + floor)
        counts = told & ~below
    return np.where(below, RGB, predicted)


def _median(values: Floats, where: NDArray[np.bool_]) -> Floats:
    """Upper median (..., 1) of the values (..., n) that count; 0 where none does."""
    ordered = np.sort(np.where(where, values, np.inf), axis=-1)
    middle = np.take_along_axis(
        ordered, where.sum(axis=-1, keepdims=True) // 2 * (where.any(axis=-1, keepdims=True)), -1
    )
    return np.where(np.isfinite(middle), middle, 0.0)
