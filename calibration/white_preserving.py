"""Which 3x3 matrix takes camera RGB to XYZ when a neutral must keep its colour exactly?

Least squares under the constraint matrix @ neutral_RGB = neutral_XYZ (Finlayson and Drew 1997, White-point preserving
color correction, Color Imaging Conference 5). Errors count as the eye counts them, not as light: each colour's error in
XYZ is turned into L*, chroma and hue by the derivative of CIELAB (ISO/CIE 11664-4) and divided by the weights of
CIEDE2000 (ISO/CIE 11664-6), so that a dark or a vivid patch has its due and no more.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import D50, LINEAR_LIMIT, LINEAR_SLOPE, XYZ_to_Lab

Floats = NDArray[np.float64]

XYZ_TO_LAB_AXES = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])


def Lab_slopes(XYZ: ArrayLike) -> Floats:
    """Derivatives (..., 3, 3) of CIELAB under D50 by XYZ (..., 3), from the formula of ISO/CIE 11664-4:2019."""
    ratio = np.asarray(XYZ, dtype=np.float64) / D50
    slope = np.where(ratio > LINEAR_LIMIT, np.cbrt(np.maximum(ratio, LINEAR_LIMIT)) ** -2 / 3, LINEAR_SLOPE) / D50
    return np.asarray(XYZ_TO_LAB_AXES * slope[..., np.newaxis, :])


def perceived_slopes(XYZ: ArrayLike) -> Floats:
    """Derivatives (..., 3, 3) by XYZ (..., 3) of what CIEDE2000 squares and adds: dL'/S_L, dC'/S_C, dH'/S_H.

    For small differences. The rotation term of blue is left out, and so is that the stretch of a* near gray changes
    with chroma: together less than 15 % of any difference between wood-like colours.
    """
    L, a, b = np.moveaxis(XYZ_to_Lab(np.asarray(XYZ, dtype=np.float64)), -1, 0)
    seventh = np.hypot(a, b) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
    chroma, hue = np.hypot(stretch * a, b), np.arctan2(b, stretch * a)
    T = 1 - 0.17 * np.cos(hue - np.radians(30)) + 0.24 * np.cos(2 * hue)
    T = T + 0.32 * np.cos(3 * hue + np.radians(6)) - 0.20 * np.cos(4 * hue - np.radians(63))
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    S_C, S_H = 1 + 0.045 * chroma, 1 + 0.015 * chroma * T
    zero, cosine, sine = np.zeros_like(L), np.cos(hue), np.sin(hue)
    rows = (
        [1 / S_L, zero, zero],
        [zero, stretch * cosine / S_C, sine / S_C],
        [zero, -stretch * sine / S_H, cosine / S_H],
    )
    turn = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    return np.asarray(turn @ Lab_slopes(XYZ))


def white_preserving_matrix(
    linear_RGB: ArrayLike,
    XYZ: ArrayLike,
    neutral_RGB: ArrayLike,
    neutral_XYZ: ArrayLike,
    weights: ArrayLike | None = None,
) -> Floats:
    """Matrix (3, 3) from linear RGB to XYZ, best for the given colours and exact for one neutral.

    Parameters
    ----------
    linear_RGB, XYZ : array_like, (n, 3)
        What the camera shows, and what it should be under D50; n at least 2.
    neutral_RGB, neutral_XYZ : array_like, (3,)
        Of the neutral that is kept exactly.
    weights : array_like, (n,), optional
        How much each colour's squared error counts; all alike when left out.
    """
    seen, wanted = np.asarray(linear_RGB, dtype=np.float64), np.asarray(XYZ, dtype=np.float64)
    fixed, free = neutral_parts(neutral_RGB, neutral_XYZ)
    slopes = perceived_slopes(wanted)
    if weights is not None:
        slopes = slopes * np.sqrt(np.asarray(weights, dtype=np.float64))[:, np.newaxis, np.newaxis]
    left = (slopes[..., np.newaxis] * (seen @ free)[:, np.newaxis, np.newaxis, :]).reshape(-1, 6)
    right = (slopes @ (wanted - seen @ fixed.T)[..., np.newaxis]).ravel()
    numbers = np.linalg.lstsq(left, right, rcond=None)[0]
    return np.asarray(fixed + numbers.reshape(3, 2) @ free.T)


def neutral_parts(neutral_RGB: ArrayLike, neutral_XYZ: ArrayLike) -> tuple[Floats, Floats]:
    """All matrices that keep a neutral: ``fixed (3, 3) + numbers (3, 2) @ free.T``, whatever the six numbers are."""
    RGB = np.asarray(neutral_RGB, dtype=np.float64)
    fixed = np.outer(np.asarray(neutral_XYZ, dtype=np.float64), RGB) / (RGB @ RGB)
    free = np.linalg.svd(RGB[np.newaxis])[2][1:].T  # what no neutral light moves
    return np.asarray(fixed), np.asarray(free)
