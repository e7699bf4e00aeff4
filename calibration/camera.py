"""How does the camera's linear RGB become CIE tristimulus values under D50?

With a gray card alone: each channel is scaled so that the card takes its known colour, then the profile's own
primaries apply; they end at D50 (ICC profiles are adapted by Bradford). The reading is exact for grays and as good
as the camera's own colour matrix for everything else.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import D50, Lab_to_XYZ
from calibration.photo import Photo
from calibration.reference import GrayReading


def card_XYZ(reflectance: float | None, Lab: ArrayLike | None) -> NDArray[np.float64]:
    """Known tristimulus values (3,) of the gray card under D50, Y = 1 for a perfect white.

    Parameters
    ----------
    reflectance : float or None
        Luminous reflectance, 0..1, of a card taken as exactly neutral.
    Lab : array_like, (3,), or None
        CIELAB (D50, 2 degree) from the card's maker, instead.
    """
    if Lab is not None:
        return Lab_to_XYZ(np.asarray(Lab, dtype=np.float64))
    if reflectance is None or not 0 < reflectance <= 1:
        raise ValueError(f"card_XYZ: reflectance must lie in 0..1, got {reflectance}.")
    return np.asarray(reflectance * D50)


def gray_card_correction(photo: Photo, reading: GrayReading, known_XYZ: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix (3, 3) from the photo's linear RGB to XYZ under D50, set by one gray card."""
    to_XYZ = photo.to_XYZ_by_neutral(reading.linear_RGB)
    gains = np.linalg.solve(to_XYZ, known_XYZ) / reading.linear_RGB
    return np.asarray(to_XYZ * gains)
