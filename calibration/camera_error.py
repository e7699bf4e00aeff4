"""How wrong can a fitted camera correction be for wood of a given colour, and for two such colours at once?

Everything that could be wrong acts smoothly on colour: the camera's departure and the matrix as far as the chart leaves
them open, what the matrix cannot mend, the doubt about the chart's neutrals. Each is a mode: an error in CIELAB as a
quadratic function of the colour. Two colours share the modes, so for close ones they cancel. What is left is how
much spectra of one and the same colour differ; it is alike for colours that lie close together, as on one wood.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TERMS = ("1", "L", "a", "b", "L L", "a a", "b b", "L a", "a b", "L b")  # of the quadratic
# Of stained wood in CIELAB: scaled by these, the terms of the quadratic stay near 1.
MIDDLE, REACH = np.array([50.0, 15.0, 25.0]), np.array([25.0, 15.0, 20.0])
NEGLIGIBLE = 1e-3  # of the largest mode
LIKE_COLOURS_Lab = 60.0  # so far apart, errors by the spectrum itself are 37 % alike; chosen as WOOD_DOUBT is
PAIR_FLOOR_Lab = 0.05  # chosen: of each of L*, a*, b*; two zones of one colour need not have one spectrum


@dataclass(frozen=True, slots=True, eq=False)
class CameraError:
    """Covariances of the error that a camera correction leaves, for wood-like colours."""

    modes: Floats  # (10, 3, m): coefficients of the quadratic, of L*, a*, b*
    unseen: Floats  # (3, 3): covariance of what wood of one colour can differ by
    # What single colours are wider by than pairs are: errors of different causes have tails of different length.
    widening: float = 1.0

    def u_absolute(self, Lab: ArrayLike) -> Floats:
        """Covariance (3, 3) of the error in CIELAB of wood that looks like `Lab` (3,)."""
        acts = self._acts(Lab) * self.widening
        return np.asarray(acts @ acts.T + self.unseen)

    def u_pair(self, Lab_a: ArrayLike, Lab_b: ArrayLike) -> Floats:
        """Covariance (3, 3) of the error of the difference of two colours (3,) on one photo."""
        acts = self._acts(Lab_b) - self._acts(Lab_a)
        distance = np.linalg.norm(np.asarray(Lab_b, dtype=np.float64) - np.asarray(Lab_a, dtype=np.float64))
        alike = np.exp(-distance / LIKE_COLOURS_Lab)
        return np.asarray(acts @ acts.T + 2 * (1 - alike) * self.unseen + np.eye(3) * PAIR_FLOOR_Lab**2)

    def of_modes_between(self, Lab_a: ArrayLike, Lab_b: ArrayLike) -> Floats:
        """The same (3, 3) for two shades of one and the same surface: spectra play no part."""
        acts = self._acts(Lab_b) - self._acts(Lab_a)
        return np.asarray(acts @ acts.T)

    def _acts(self, Lab: ArrayLike) -> Floats:
        return np.asarray(np.tensordot(quadratic(np.asarray(Lab, dtype=np.float64)), self.modes, axes=1))


def error_of_modes(Lab: Floats, errors: Floats, of_spectrum: Floats) -> CameraError:
    """Errors known for many wood-like colours, made smooth and put in few modes.

    Parameters
    ----------
    Lab : ndarray, (n, 3)
    errors : ndarray, (n, 3, m)
        Error in CIELAB by each of m independent causes, one standard deviation each.
    of_spectrum : ndarray, (n, 3)
        Error in CIELAB that is known for each spectrum, but not when only its colour is known. Its smooth part
        becomes one more mode, its scatter the unseen part.
    """
    terms = quadratic(Lab)
    everything = np.concatenate([errors, of_spectrum[..., np.newaxis]], axis=2)
    smooth = np.linalg.lstsq(terms, everything.reshape(len(Lab), -1), rcond=None)[0]
    scatter = of_spectrum - terms @ smooth.reshape(10, *everything.shape[1:])[..., -1]
    axes, sizes, _ = np.linalg.svd(smooth.reshape(30, -1), full_matrices=False)
    kept = sizes > NEGLIGIBLE * sizes[0]
    modes = (axes[:, kept] * sizes[kept]).reshape(10, 3, -1)
    return CameraError(modes, scatter.T @ scatter / (len(Lab) - 10))


def quadratic(Lab: Floats) -> Floats:
    """Terms (..., 10) of a quadratic in CIELAB; beyond the range of stained wood the colour is held at its border."""
    x, y, z = np.moveaxis(np.clip((Lab - MIDDLE) / REACH, -2.5, 2.5), -1, 0)
    return np.stack([np.ones_like(x), x, y, z, x * x, y * y, z * z, x * y, y * z, x * z], axis=-1)
