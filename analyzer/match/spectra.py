"""Which smooth spectrum could wood of this colour have?  So that absorbances can be added where they do add.

Absorbance adds wavelength by wavelength, not in X, Y and Z, each of which is a sum over many of them. So a colour is
first given the likeliest absorbance spectrum that has exactly its XYZ, under the model of stained wood in
calibration/wood_spectra.py: the normal distribution of its absorbances, conditioned on the colour, by Gauss and
Newton's steps (Tarantola 2005, Inverse Problem Theory, eq. 3.51).

What was tried (`python tests/studies/mix_study.py`: mixes of two or three stains and clear base with known spectra;
CIEDE2000 of foretold against true, mean and 95 %, when nothing but the way itself errs):

    added are             simulator's stains    drawn stains, no      drawn stains,
                          surface light 2 %,    light from the        0 to 3 % of it,
                          taken as unknown      surface               taken as unknown
    the camera's bands    0.36, 0.76            0.58, 1.52            1.21, 3.19
    X, Y, Z               0.41, 0.87            0.58, 1.70            1.24, 3.14
    sharpened cones       0.27, 0.60            0.32, 0.83            1.11, 3.08
    450, 550, 610 nm      0.23, 0.61            0.20, 0.52            1.08, 3.13
    smooth spectra        0.20, 0.57            0.15, 0.46            1.05, 3.11
    the same, as K/S      3.09, 6.99            6.40, 15.8            5.92, 13.2

Smooth spectra it is. What the surface sends back matters more than the way of adding; drawn stains go down to L* 18.
"""

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.match.layers import with_surface, without_surface
from calibration.camera_prior import observer_weights
from calibration.wood_spectra import wood_reflectances

Floats = NDArray[np.float64]

_DARKEST: Final = 1e-4  # reflectance: absorbance 4, blacker than any stain
_STEPS: Final = 40
_DONE: Final = 1e-9  # of Y = 1
_ROUGH: Final = 1e-6  # absorbance squared, added at each band: the model's 400 spectra span fewer directions than bands
_LONGEST_STEP: Final = 0.5  # absorbance: a far start must not overshoot


def absorbances_of(XYZ: ArrayLike, haze: float) -> Floats:
    """Likeliest absorbance spectra of surfaces of these colours.

    Parameters
    ----------
    XYZ : array_like, (..., 3)
        Under D50, Y = 1 for a perfect white.
    haze : float
        Share of the light that the surface itself sends back, 0..1.

    Returns
    -------
    absorbances : ndarray of float64, (..., 36)
        Of the wood under its surface: -log10 of its reflectance at `wood_spectra.BANDS_nm`.
    """
    wanted = np.asarray(XYZ, dtype=np.float64)
    each = [_absorbance_of(colour, haze) for colour in wanted.reshape(-1, 3)]
    return np.asarray(each).reshape(*wanted.shape[:-1], -1)


def XYZ_of(absorbances: ArrayLike, haze: float) -> Floats:
    """XYZ (..., 3) of absorbances (..., 36) under a surface of this haze: the way back."""
    return np.asarray(with_surface(10.0 ** -np.asarray(absorbances, dtype=np.float64), haze) @ observer_weights())


def _absorbance_of(XYZ: Floats, haze: float) -> Floats:
    weights = observer_weights()
    mean, covariance = _wood()
    found = mean
    for _ in range(_STEPS):
        missing = XYZ - XYZ_of(found, haze)
        if np.abs(missing).max() < _DONE:
            break
        slopes = -np.log(10) * (1 - haze) * (10.0**-found)[:, np.newaxis] * weights
        along = covariance @ slopes
        to_mean = slopes.T @ (found - mean)
        step = mean - found + along @ np.linalg.solve(slopes.T @ along, missing + to_mean)
        found = found + step * min(1.0, _LONGEST_STEP / float(np.abs(step).max()))
    return found


@cache
def _wood() -> tuple[Floats, Floats]:
    """Mean (36,) and covariance (36, 36) of the model's absorbances under the surface."""
    absorbances = -np.log10(np.maximum(without_surface(wood_reflectances(), 0.0), _DARKEST))
    covariance = np.cov(absorbances, rowvar=False) + _ROUGH * np.eye(absorbances.shape[1])
    return absorbances.mean(axis=0), np.asarray(covariance)
