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

# Standard uncertainty of L*, a*, b* for each unit (ln) by which that change differs between two places.
# Divided out, it still leaves what the camera's one matrix does not know of the other lamp: rms over 30 wood-like
# spectra, 12 pairs of lamps (daylight, tungsten, white LEDs, fluorescent tubes), 3 measured cameras. Fluorescent tubes
# leave two or three times that, two kinds of daylight a fifth.
U_DIVIDED_OUT = np.array([1.3, 7.0, 6.5])
# Too little to be divided out, what is seen of it acts in full: by sRGB's primaries up to 30 in a* and b* of wood
# colours. A bias of known size enters divided by 1.96 (JCGM 100:2008, F.2.4.5).
U_LEFT_IN = np.array([2.0, 30.0, 30.0]) / 1.96


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


def colour_apart(first: NDArray[np.floating], second: NDArray[np.floating]) -> float:
    """By how much the colour of light differs between two places, ln: red or blue against green (2,) at each."""
    return float(np.abs(np.subtract(first, second)).max())
