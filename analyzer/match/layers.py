"""What does a layer of colour do to the light that wood sends back?

A transparent layer only takes light away. An opaque one, a pigment, sends some back by itself: Kubelka and Munk
(Zeitschrift fuer technische Physik 12, 593-601, 1931) follow the light up and down through a layer that absorbs (K) and
scatters (S); Kubelka (Journal of the Optical Society of America 38, 448-457, 1948) gives the layer over a ground.
The surface itself adds its share (Saunderson, JOSA 32, 727-736, 1942).
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MOST_K: Final = 16.0  # absorption at which a layer over white sends back 1e-14: nothing is darker
_HALVINGS: Final = 50  # of that range: to 1e-14
_THIN: Final = 1e-6  # of b X below which coth is taken from its series: 1 / x + x / 3


def layer_over(ground: ArrayLike, K: ArrayLike, S: ArrayLike) -> Floats:
    """Reflectance of a layer over a ground, both without the surface's own light.

    Kubelka's formula, multiplied through by S so that it holds for a transparent layer too, where it becomes
    ``ground * exp(-2 K)``.

    Parameters
    ----------
    ground : array_like
        Reflectance of what lies under the layer, 0..1.
    K, S : array_like
        Absorption and scattering of the whole layer (coefficient times thickness), 0 or more. All broadcast.

    Returns
    -------
    reflectance : ndarray of float64, of the broadcast shape
    """
    R_g, K_X, S_X = (np.asarray(value, dtype=np.float64) for value in (ground, K, S))
    b_X = np.sqrt(K_X * (K_X + 2 * S_X))
    far = np.maximum(b_X, _THIN)
    b_coth = np.where(b_X > _THIN, b_X / np.tanh(far), 1 + b_X**2 / 3)
    return np.asarray((S_X - R_g * (S_X + K_X - b_coth)) / (S_X + K_X - S_X * R_g + b_coth))


def absorption_of(reflectance: ArrayLike, ground: ArrayLike, S: ArrayLike) -> Floats:
    """Absorption K of a layer that scatters S and shows this reflectance over this ground.

    Parameters
    ----------
    reflectance, ground, S : array_like
        As in `layer_over`. All broadcast.

    Returns
    -------
    K : ndarray of float64
        0 where even a layer that absorbs nothing would be no lighter. By bisection: more absorption is always darker.
    """
    wanted, R_g, S_X = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (reflectance, ground, S)))
    low, high = np.zeros(wanted.shape), np.full(wanted.shape, _MOST_K)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        too_light = layer_over(R_g, middle, S_X) > wanted
        low, high = np.where(too_light, middle, low), np.where(too_light, high, middle)
    return np.where(layer_over(R_g, 0.0, S_X) <= wanted, 0.0, (low + high) / 2)


def with_surface(inside: ArrayLike, k1: float, k2: float = 0.0) -> Floats:
    """Reflectance as seen from outside, of one without a surface (Saunderson 1942).

    Parameters
    ----------
    inside : array_like
        Reflectance under the surface, 0..1.
    k1 : float
        Share of the light that the surface sends back before it gets in.
    k2 : float
        Share of the light from below that the surface sends down again: 0 for bare fibres, 0.4 to 0.6 under a coat.
    """
    R = np.asarray(inside, dtype=np.float64)
    return np.asarray(k1 + (1 - k1) * (1 - k2) * R / (1 - k2 * R))


def without_surface(seen: ArrayLike, k1: float, k2: float = 0.0) -> Floats:
    """Reflectance under the surface, of one as seen from outside: the inverse of `with_surface`."""
    above = np.asarray(seen, dtype=np.float64) - k1
    return np.asarray(above / ((1 - k1) * (1 - k2) + k2 * above))
