"""How much does each part of a colour difference weigh?  CIEDE2000 as a vector, for whoever has to minimise it.

Source: ISO/CIE 11664-6:2022. Its rotation term is left out: at the hues of wood, 0 to 150 degrees, it is below 1e-10 of
the rest (calibration/difference.py), and only with it would the difference not be the length of a vector.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def parts_00(Lab_1: ArrayLike, Lab_2: ArrayLike) -> Floats:
    """Weighted lightness, chroma and hue differences, 2 minus 1: a vector whose length is CIEDE2000.

    Parameters
    ----------
    Lab_1, Lab_2 : array_like, (..., 3)
        CIELAB; they broadcast. Of the hues of wood; for blues the length is not CIEDE2000.

    Returns
    -------
    parts : ndarray of float64, (..., 3)
        dL'/S_L, dC'/S_C, dH'/S_H.
    """
    (L_1, a_1, b_1), (L_2, a_2, b_2) = (np.moveaxis(np.asarray(Lab, dtype=np.float64), -1, 0) for Lab in (Lab_1, Lab_2))
    C_7 = ((np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(C_7 / (C_7 + 25.0**7))  # 1 + G
    C_1, C_2 = np.hypot(stretch * a_1, b_1), np.hypot(stretch * a_2, b_2)
    h_1, h_2 = np.arctan2(b_1, stretch * a_1), np.arctan2(b_2, stretch * a_2)
    turn = (h_2 - h_1 + np.pi) % (2 * np.pi) - np.pi
    h, C, from_50 = h_1 + turn / 2, (C_1 + C_2) / 2, ((L_1 + L_2) / 2 - 50) ** 2
    T = (
        1
        - 0.17 * np.cos(h - math.radians(30))
        + 0.24 * np.cos(2 * h)
        + 0.32 * np.cos(3 * h + math.radians(6))
        - 0.20 * np.cos(4 * h - math.radians(63))
    )
    S_L, S_C, S_H = 1 + 0.015 * from_50 / np.sqrt(20 + from_50), 1 + 0.045 * C, 1 + 0.015 * C * T
    dH = 2 * np.sqrt(C_1 * C_2) * np.sin(turn / 2)
    return np.stack(np.broadcast_arrays((L_2 - L_1) / S_L, (C_2 - C_1) / S_C, dH / S_H), axis=-1)


def covariance_of_u(Lab: ArrayLike, u: float) -> Floats:
    """Covariance (3, 3) of CIELAB for a standard uncertainty told as CIEDE2000: alike in every direction that is seen.

    Parameters
    ----------
    Lab : array_like, (3,)
    u : float
        One sigma, CIEDE2000.
    """
    here = np.asarray(Lab, dtype=np.float64)
    small = 1e-3
    slopes = parts_00(here, here + small * np.eye(3)).T / small  # change of the weighted parts by L*, a*, b*
    back = np.linalg.inv(slopes)
    return np.asarray(u**2 * back @ back.T)
