"""How does a lens bend straight lines?  Radial distortion about the middle of the photo, one coefficient.

The first term of Brown's model (Close-range camera calibration, Photogrammetric Engineering 37, 1971): a point at r
from the middle moves to r (1 + k1 (r / R)^2), R being half the photo's diagonal. Phones correct most of it themselves;
what is left is within 2 % at the corners, for which one term is enough.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

STEPS = 8  # Newton's method; with |k1| <= 0.1 the fourth already changes nothing


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """A lens with radial distortion. `k1` 0.01: points at the photo's corners lie 1 % too far out."""

    k1: float
    centre_px: NDArray[np.float64]  # (2,)
    radius_px: float  # half the diagonal

    def distort(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Where points (..., 2) of the straight picture lie in the photo."""
        offset = np.asarray(points_px, dtype=np.float64) - self.centre_px
        return np.asarray(self.centre_px + offset * (1 + self.k1 * self._r2(offset)))

    def undistort(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Where points (..., 2) of the photo lie in the straight picture."""
        offset = np.asarray(points_px, dtype=np.float64) - self.centre_px
        seen = np.sqrt(self._r2(offset))
        straight = seen.copy()
        for _ in range(STEPS):
            straight -= (straight * (1 + self.k1 * straight**2) - seen) / (1 + 3 * self.k1 * straight**2)
        factor = np.divide(straight, seen, out=np.ones_like(seen), where=seen > 0)
        return np.asarray(self.centre_px + offset * factor)

    def _r2(self, offset: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.square(offset).sum(axis=-1, keepdims=True) / self.radius_px**2)


def lens_of(size_px: tuple[int, int], k1: float) -> Lens:
    """The lens of photos with this width and height."""
    centre = (np.array(size_px, dtype=np.float64) - 1) / 2
    return Lens(k1, centre, float(np.hypot(*centre)))
