"""How would this zone look in even light and without holes?

Light falls off and boards drift slowly; both multiply reflectance, and a blotch at the dark end would also look
stronger or weaker than the same blotch at the light end. So the slow part is divided out before lightness is taken.
Pixels that were not measured (knots, glare, a card) are then filled so that neither their edge nor their inside
counts as blotch.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.bands import Array, Modes, longer_than
from calibration.colorspace import LINEAR_LIMIT, LINEAR_OFFSET, LINEAR_SLOPE

# A quadratic term is fitted only where its own wave is longer than this: in a narrow zone it would eat blotch.
# Chosen a fifth above the longest wave of the blotch band.
LEVELLED_MM = 60.0
DARKEST = 1e-3  # relative luminance (L* 0.9) below which the logarithm is not followed: noise around black

FILL_ALONG_MM = 16.0  # standard deviation of the fill along the grain; chosen: carries streaks across a 35 mm hole
FILL_ACROSS_MM = 0.4  # and across it: keeps streaks of 2 mm apart
FILL_FADE = 1e-3  # share of weight at which the fill has half faded to the zone's mean: far from anything measured
SMOOTH_MM = 3.0  # waves from here on pass through the edge of a hole; below the band
SMOOTHINGS = 4  # more change the index by less than 0.5 %


def levelled_lightness(Y: Array, measured: NDArray[np.bool_], mm_per_px: float) -> Array:
    """Lightness with the slow part of the luminance divided out.

    A quadratic surface is fitted to log Y by least squares over the measured pixels and divided out, keeping the
    zone's mean. Falloff of light is removed whatever the level, and amplitudes in L* do not depend on where in the
    falloff a patch lies. (Robust weights were tried: a knot of 15 L* that was not masked moves the rest by the same
    0.1 L* with and without.)

    Parameters
    ----------
    Y : ndarray of float64, (rows, columns)
        Linear relative luminance, 1 for white. Values where not measured do not matter.
    measured : ndarray of bool, (rows, columns)
        At least a few hundred pixels.
    mm_per_px : float

    Returns
    -------
    L_star : ndarray of float64, (rows, columns)
        CIE 1976 lightness (ISO/CIE 11664-4) less its mean over the measured pixels; 0 where not measured.
    """
    down, along = _legendre(Y.shape[0]), _legendre(Y.shape[1])
    terms = _terms(Y.shape[0] * mm_per_px, Y.shape[1] * mm_per_px)
    log_Y = np.where(measured, np.log(np.maximum(Y, DARKEST)), 0.0)
    coefficients = _fit(log_Y, measured.astype(np.float64), down, along, terms)
    surface = np.einsum("pr,pc->rc", down, coefficients @ along)
    flat = np.where(measured, Y, 0.0) * np.exp(-surface)
    flat *= Y[measured].mean() / flat[measured].mean()
    L_star = 116 * np.where(flat > LINEAR_LIMIT, np.cbrt(flat), LINEAR_SLOPE * flat + LINEAR_OFFSET) - 16
    return np.where(measured, L_star - L_star[measured].mean(), 0.0)


def _terms(height_mm: float, width_mm: float) -> list[tuple[int, int]]:
    """Powers (down, along) of the surface: 1, y, x always; y², xy, x² where their wave is long enough."""
    quadratic = [(2, 0), (1, 1), (0, 2)]
    long_enough = [(p, q) for p, q in quadratic if 1 / math.hypot(p / 2 / height_mm, q / 2 / width_mm) > LEVELLED_MM]
    return [(0, 0), (1, 0), (0, 1), *long_enough]


def _legendre(count: int) -> Array:
    """Legendre polynomials 0 to 2 at pixel centres: (3, count)."""
    t = (2 * np.arange(count) + 1 - count) / count
    return np.stack([np.ones(count), t, (3 * t * t - 1) / 2])


def _fit(values: Array, weight: Array, down: Array, along: Array, terms: list[tuple[int, int]]) -> Array:
    """Least squares: coefficients (3, 3) by (power down, power along), 0 for terms that are not fitted."""
    ps, qs = np.array(terms).T
    products = np.einsum("ay,by->aby", down, down).reshape(9, -1), np.einsum("ax,bx->abx", along, along).reshape(9, -1)
    moments = _moments(products[0], weight, products[1]).reshape(3, 3, 3, 3)  # power down a, b; power along a, b
    normal = moments[ps[:, None], ps, qs[:, None], qs]
    right = _moments(down, weight * values, along)[ps, qs]
    coefficients = np.zeros((3, 3))
    coefficients[ps, qs] = np.linalg.lstsq(normal, right, rcond=None)[0]  # a sliver of a zone may not fix all terms
    return coefficients


def _moments(down: Array, values: Array, along: Array) -> Array:
    """Sums over the zone of values times each pair of profiles. Without `@`, which starts threads: see bands.py."""
    return np.asarray(np.einsum("ac,bc->ab", np.einsum("ar,rc->ac", down, values), along))


def fill_holes(L: Array, measured: NDArray[np.bool_], modes: Modes, mm_per_px: float, grain_deg: float) -> Array:
    """Continue a levelled zone through the pixels that were not measured.

    Streaks go on along the grain (cut off at a hole they would scatter into the blotch), everything fades to the
    zone's mean far from what was measured, and waves of more than `SMOOTH_MM` pass the edge of the hole smoothly.

    Parameters
    ----------
    L : ndarray of float64, (rows, columns)
        As `levelled_lightness` gives it; not changed.
    measured : ndarray of bool, (rows, columns)
    modes : Modes
        Of this rectangle.
    mm_per_px : float
    grain_deg : float
        Slope of the grain lines against the rows; positive when they run down to the right.
    """
    filled = np.where(measured, L, _along_the_grain(L, measured, mm_per_px, grain_deg))
    smooth = np.sqrt(longer_than(modes, SMOOTH_MM))
    for _ in range(SMOOTHINGS):
        filled = np.where(measured, L, modes.synthesise(smooth * modes.analyse(filled)))
    return filled


def _along_the_grain(L: Array, measured: NDArray[np.bool_], mm_per_px: float, grain_deg: float) -> Array:
    """Weighted mean of the measured pixels around each, far along the grain and near across it.

    Columns are shifted by whole pixels until the grain lies level; the blur is then a plain separable one.
    """
    rows, columns = L.shape
    drop = np.rint((np.arange(columns) - (columns - 1) / 2) * math.tan(math.radians(grain_deg))).astype(np.intp)
    border = int(np.abs(drop).max())
    source = np.arange(-border, rows + border)[:, np.newaxis] + drop
    inside = (source >= 0) & (source < rows)
    source, column = np.clip(source, 0, rows - 1), np.arange(columns)
    weight = (inside & measured[source, column]).astype(np.float64)
    total = _blur(weight, mm_per_px)
    level = _blur(weight * L[source, column], mm_per_px) / (total + FILL_FADE)
    return np.asarray(level[np.arange(rows)[:, np.newaxis] + border - drop, column])


def _blur(values: Array, mm_per_px: float) -> Array:
    """Gaussian across the grain; along it three running means, which are one within 3 % and cost the same however long.

    Outside the zone there is nothing.
    """
    length = round(2 * FILL_ALONG_MM / mm_per_px) | 1  # three means of 2 sigma have the variance of one Gaussian
    for _ in range(3):
        values = np.asarray(cv2.blur(values, (length, 1), borderType=cv2.BORDER_CONSTANT), dtype=np.float64)
    reach = 4 * math.ceil(FILL_ACROSS_MM / mm_per_px)
    kernel = cv2.getGaussianKernel(2 * reach + 1, FILL_ACROSS_MM / mm_per_px, cv2.CV_64F)
    blurred = cv2.sepFilter2D(values, cv2.CV_64F, np.ones(1), kernel, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(blurred, dtype=np.float64)
