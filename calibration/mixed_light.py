"""Does the colour of the light change over the board?

Two lamps of different colour, or a lamp and a window, light one end warmer than the other. White paper shows it as
ratios of the colour channels that change from place to place.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# How much each channel counts in the light's level: about as in luminance. Where the channels fall off alike, any
# shares give the same answer; where they do not, the ratios make up for them.
CHANNEL_SHARES = np.array([0.25, 0.65, 0.10])
# Change of red or blue against green over the board, ln, from which it is corrected: 1.2 in a* or b* at L* 50. Chosen
# above the 1.5 % that the rounding of colour in a phone's JPEG can make of one lamp (simulated, quality 90).
MIXED_LIGHT = 0.025


def log_level(log_RGB: NDArray[np.floating]) -> Floats:
    """Level of light (...,) from ln linear RGB (..., 3)."""
    return np.asarray(log_RGB @ CHANNEL_SHARES, dtype=np.float64)


def log_ratios(log_RGB: NDArray[np.floating]) -> Floats:
    """Red and blue against green (..., 2) of ln linear RGB (..., 3)."""
    return np.asarray(log_RGB[..., ::2] - log_RGB[..., 1:2], dtype=np.float64)


def channels_of(level: Floats, red: Floats, blue: Floats) -> Floats:
    """Light (ln) of each channel (..., 3) from its level and ratios (...,): the way back."""
    green = level - CHANNEL_SHARES[0] * red - CHANNEL_SHARES[2] * blue
    return np.stack([green + red, green, green + blue], axis=-1)
