"""Which colours differ from a given one by just so much?  The contour of one CIEDE2000 value, in a plane of CIELAB.

CIEDE2000 is no plain distance: around a brown the same value reaches two or three times as far towards more or less
vivid as it does towards lighter or darker. A tolerance drawn as a circle would be wrong; this draws its true shape.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

POINTS: Final = 72  # chosen: an ellipse three times as long as wide still looks round at its tips
HALVINGS: Final = 30  # of an interval about as wide as the contour: to a billionth of it
FARTHEST: Final = 1e4  # CIELAB units; no colour differs by less than a tolerance of 100 that far off


def hue_plane(Lab: ArrayLike) -> Floats:
    """Directions of more vivid and of lighter, as seen from a colour.

    Parameters
    ----------
    Lab : array_like, (3,)
        CIELAB.

    Returns
    -------
    axes : ndarray, (2, 3)
        Unit vectors: along the colour's chroma, and along L*. A neutral colour counts as red.
    """
    _, a, b = np.asarray(Lab, dtype=np.float64)
    chroma = np.hypot(a, b)
    vivid = (a / chroma, b / chroma) if chroma > 0 else (1.0, 0.0)
    return np.array([[0.0, *vivid], [1.0, 0.0, 0.0]])


def tolerance_contour(Lab: ArrayLike, delta_E: float, axes: ArrayLike, points: int = POINTS) -> Floats:
    """Offsets, within a plane through a colour, at which CIEDE2000 to that colour equals a given value.

    Parameters
    ----------
    Lab : array_like, (3,)
        CIELAB of the colour in the middle.
    delta_E : float, above 0
        CIEDE2000.
    axes : array_like, (2, 3)
        Unit vectors of CIELAB that span the plane.
    points : int, 3 or more
        On the contour, at equal steps of the angle, counter-clockwise from the first axis.

    Returns
    -------
    offsets : ndarray, (points, 2)
        Along the two axes, CIELAB units. Along each ray it is found by halving; where the formula itself jumps (hues
        of two nearly neutral colours that are 180° apart) it is the place of the jump.

    Raises
    ------
    ValueError
        If `delta_E` is not above 0, or so large that no colour lies that far.
    """
    if not delta_E > 0:  # this way round, NaN is refused too
        raise ValueError(f"a contour needs a colour difference above 0, got {delta_E:g}.")
    middle, plane = np.asarray(Lab, dtype=np.float64), np.asarray(axes, dtype=np.float64)
    angles = np.linspace(0, 2 * np.pi, points, endpoint=False)
    rays = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    near, far = np.zeros(points), np.full(points, float(delta_E))
    while (short := _differs_by(middle, far, rays @ plane) < delta_E).any():
        near, far = np.where(short, far, near), np.where(short, 2 * far, far)
        if far.max() > FARTHEST:
            raise ValueError(f"no colour differs from {middle.tolist()} by {delta_E:g}.")
    for _ in range(HALVINGS):
        half = (near + far) / 2
        short = _differs_by(middle, half, rays @ plane) < delta_E
        near, far = np.where(short, half, near), np.where(short, far, half)
    offsets: Floats = far[:, np.newaxis] * rays
    return offsets


def _differs_by(middle: Floats, reach: Floats, directions: Floats) -> Floats:
    return np.asarray(delta_E_00(middle, middle + reach[:, np.newaxis] * directions), dtype=np.float64)
