"""What is the calm background of a photo, and what stands out from it?

The background's brightness may change smoothly over the frame (light falls off); its colour hardly does. A smooth
surface is fitted robustly to the frame's border, then to everything that agrees with it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.preview import Preview

BORDER_SHARE = 0.03  # of the frame, where the background is looked for first
# Least spreads that count as calm, natural-log units: JPEG and shading noise of a plain sheet; chosen.
CALM_LOG_Y, CALM_RATIO = 0.03, 0.02
AGREES = 4.0  # spreads; background pixels lie within (chosen: one in 10 000 Gaussian ones does not)
COARSE = 4
QUADRATIC, CUBIC = 6, 10  # terms of a polynomial in two variables
FIT_PIXELS = 2000
MIN_PIXELS = 30  # that agree; with fewer there is no calm background


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """The background as fitted."""

    distance: NDArray[np.float32]  # (rows, columns), in spreads; small is background
    colour_distance: NDArray[np.float32]  # the same without lightness: a shadow on the background is small here
    log_light: NDArray[np.float32]  # (rows, columns), fitted ln luminance of the background, everywhere
    is_background: NDArray[np.bool_]  # (rows, columns)
    spread_log_Y: float  # of what it was fitted to, ln units; large: nothing calm surrounds the board


def background_of(preview: Preview) -> Background:
    """Fit the background of a preview."""
    layers = preview.layers
    # a smooth surface needs no more than every fourth pixel; it is drawn out to full size in the end
    coarse = layers[::COARSE, ::COARSE]
    rows, columns = coarse.shape[:2]
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j].astype(np.float32)
    rim_rows, rim_columns = max(1, round(BORDER_SHARE * rows)), max(1, round(BORDER_SHARE * columns))
    candidates = np.ones((rows, columns), bool)
    candidates[rim_rows:-rim_rows, rim_columns:-rim_columns] = False

    rng = np.random.default_rng(20260102)  # a fixed seed: the same photo gives the same answer
    fitted = np.empty_like(coarse)
    spreads = np.array([CALM_LOG_Y, CALM_RATIO, CALM_RATIO], np.float32)
    cubic = _terms(x, y, 3)
    for count in (QUADRATIC, CUBIC, CUBIC):
        chosen = rng.permutation(np.flatnonzero(candidates))[:FIT_PIXELS]
        for layer, calm in enumerate((CALM_LOG_Y, CALM_RATIO, CALM_RATIO)):
            basis = cubic[:, :count] if layer == 0 else cubic[:, :3]
            coefficients, spread = _robust_fit(basis[chosen], coarse[..., layer].ravel()[chosen])
            fitted[..., layer] = (basis @ coefficients).reshape(rows, columns)
            spreads[layer] = max(spread, calm)
        candidates = _distances(coarse, fitted, spreads)[0] < AGREES
        if candidates.sum() < MIN_PIXELS:
            break
    full = np.asarray(cv2.resize(fitted, layers.shape[1::-1], interpolation=cv2.INTER_LINEAR), dtype=np.float32)
    distance, colour_distance = _distances(layers, full, spreads)
    return Background(distance, colour_distance, full[..., 0], distance < AGREES, float(spreads[0]))


def _distances(
    layers: NDArray[np.float32], fitted: NDArray[np.float32], spreads: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """How far layers (rows, columns, 3) are from a fit, in spreads: with lightness, and without."""
    # plane by plane: over a last axis of three NumPy is ten times slower
    planes = [np.asarray(plane, dtype=np.float32) for plane in cv2.split(layers - fitted)]
    for plane, spread in zip(planes, spreads, strict=True):
        np.divide(plane, spread, out=plane)
        np.square(plane, out=plane)
    Y, red, blue = planes
    red += blue
    Y += red
    return np.sqrt(Y, out=Y), np.sqrt(red, out=red)


def _terms(x: NDArray[np.float32], y: NDArray[np.float32], degree: int) -> NDArray[np.float32]:
    """Monomials (pixels, terms) up to a degree, in the order 1, y, x, …"""
    x_to, y_to = ([np.ones_like(v), v] for v in (x.ravel(), y.ravel()))
    for _ in range(degree - 1):
        x_to.append(x_to[-1] * x_to[1])
        y_to.append(y_to[-1] * y_to[1])
    powers = [(i, total - i) for total in range(degree + 1) for i in range(total + 1)]
    return np.stack([x_to[i] * y_to[j] for i, j in powers], axis=1)


def _robust_fit(basis: NDArray[np.float32], values: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """Coefficients and robust spread, by reweighting (Tukey's biweight) from the median outward."""
    residuals = values - _median(values)
    coefficients = np.zeros(basis.shape[1], np.float32)
    ridge = 1e-6 * len(values) * np.eye(basis.shape[1], dtype=np.float32)
    spread = 1.0
    for _ in range(8):
        spread = 1.4826 * _median(np.abs(residuals)) + 1e-4
        weights = np.square(np.maximum(1 - np.square(residuals / (4.685 * spread)), 0))
        weighted = basis.T * weights
        coefficients = np.linalg.solve(weighted @ basis + ridge, weighted @ values)
        residuals = values - basis @ coefficients
    return coefficients, spread


def _median(values: NDArray[np.float32]) -> float:
    """Median; NumPy's own looks for missing values, which takes longer than this."""
    middle = (len(values) - 1) // 2, len(values) // 2
    low, high = np.partition(values, middle)[list(middle)]
    return (float(low) + float(high)) / 2
