"""Which step of the gray scale for change in colour does a difference equal?  Source: ISO 105-A05:1996.

The gray scale (ISO 105-A02) is a card of five pairs of gray chips and four steps between them, by which eyes grade how
much a colour has changed: 5 is no change, 1 a great one. ISO 105-A05 computes the grade from CIELAB. It is made for
textiles; we know of no such scale for wood.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import Lab_to_LCh
from calibration.difference import components

Floats = NDArray[np.float64]

SMALL_DELTA_E_F: Final = 3.4  # of grade 3: below the grade falls straight, above with each doubling
BEST, WORST = 5.0, 1.0


def colour_change(Lab_before: ArrayLike, Lab_after: ArrayLike) -> Floats:
    """Delta E_F of ISO 105-A05: a difference in which chroma and hue of vivid colours count less.

    Parameters
    ----------
    Lab_before, Lab_after : array_like, (..., 3)
        CIELAB; they broadcast. Swapping them changes nothing.

    Returns
    -------
    delta_E_F : ndarray of float64, (...)

    Raises
    ------
    ValueError
        If a last axis is not 3 long or a value is not finite.
    """
    parts = components(Lab_before, Lab_after)
    _, C_1, h_1 = np.moveaxis(Lab_to_LCh(Lab_before), -1, 0)
    _, C_2, h_2 = np.moveaxis(Lab_to_LCh(Lab_after), -1, 0)
    C_M, h_M = (C_1 + C_2) / 2, _mean_hue_deg(h_1, h_2)
    from_blue = np.abs(h_M - 280)
    x = (np.minimum(from_blue, 360 - from_blue) / 30) ** 2
    D = parts.dC * C_M * np.exp(-x) / 100
    dC_F = (parts.dC - D) / (1 + (20 * C_M / 1000) ** 2)
    dH_F = (parts.dH - D) / (1 + (10 * C_M / 1000) ** 2)
    return np.asarray(np.sqrt(parts.dL**2 + dC_F**2 + dH_F**2), dtype=np.float64)


def _mean_hue_deg(h_1: Floats, h_2: Floats) -> Floats:
    """Of hues in 0..360, the mean on the shorter way round."""
    mean = (h_1 + h_2) / 2
    return np.where(np.abs(h_1 - h_2) > 180, (mean + 180) % 360, mean)


def grade_of(delta_E_F: ArrayLike) -> Floats:
    """Gray scale grade (...), 5 (no change) to 1 and no less, of Delta E_F (...)."""
    change = np.asarray(delta_E_F, dtype=np.float64)
    straight = BEST - change / (SMALL_DELTA_E_F / 2)
    with np.errstate(divide="ignore"):
        by_doublings = BEST - np.log2(change / (SMALL_DELTA_E_F / 4))
    return np.asarray(np.clip(np.where(change <= SMALL_DELTA_E_F, straight, by_doublings), WORST, BEST))


def colour_change_grade(Lab_before: ArrayLike, Lab_after: ArrayLike) -> Floats:
    """Gray scale grade (...) for a change in colour, 5 (none) to 1: `grade_of` of `colour_change`."""
    return grade_of(colour_change(Lab_before, Lab_after))
