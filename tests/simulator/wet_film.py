"""How does a wet film shine?  Glints where the film bends towards the lamp, and a broad sheen.

The film's mirror reflection has the light's own colour (Shafer 1985); it is added to the face's reflectance as white.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.fields import gaussian_field

Array = NDArray[np.float32]


@dataclass(frozen=True)
class WetFilm:
    """What shines on a wet face. Strengths are of a perfect white in the same light."""

    glints_per_cm2: float = 2.0
    glint_mm: tuple[float, float] = (1.0, 0.35)  # typical length along the grain, and width (Gaussian sigmas)
    glint_strength: float = 0.5  # typical, at a glint's centre; single ones are up to a few times stronger
    sheen: float = 0.0  # broad sheen at its centre
    sheen_mm: float = 60.0  # its radius (Gaussian sigma)
    sheen_at: tuple[float, float] = (0.5, 0.5)  # its centre, shares of length and width
    ripple: float = 0.3  # relative standard deviation of the sheen: the film follows the grain
    seed: int = 0


def film_light(film: WetFilm, shape: tuple[int, int], mm_per_px: float) -> Array:
    """Light that the film adds, (rows, columns), 1 for a perfect white in the same light."""
    rng = np.random.default_rng(film.seed)
    area_cm2 = shape[0] * shape[1] * mm_per_px**2 / 100
    added = np.zeros(shape, np.float32)
    count = rng.poisson(film.glints_per_cm2 * area_cm2)
    strengths = film.glint_strength * rng.lognormal(0.0, 0.6, count)
    sizes = rng.lognormal(0.0, 0.35, count)
    for x, y, strength, size in zip(
        rng.uniform(0, shape[1], count), rng.uniform(0, shape[0], count), strengths, sizes, strict=True
    ):
        _add_glint(added, (x, y), strength, tuple(size * mm / mm_per_px for mm in film.glint_mm))
    if film.sheen:
        x_mm = (np.arange(shape[1], dtype=np.float32) + 0.5) * mm_per_px - film.sheen_at[0] * shape[1] * mm_per_px
        y_mm = (np.arange(shape[0], dtype=np.float32) + 0.5) * mm_per_px - film.sheen_at[1] * shape[0] * mm_per_px
        lobe = np.exp(-(x_mm[None, :] ** 2 + y_mm[:, None] ** 2) / (2 * film.sheen_mm**2))
        ripple = 1 + film.ripple * gaussian_field(shape, mm_per_px, (2.0, 20.0), film.seed + 1)
        added += film.sheen * lobe * np.maximum(ripple, 0)
    return added


def _add_glint(added: Array, centre: tuple[float, float], strength: float, sigmas_px: tuple[float, ...]) -> None:
    reach = int(np.ceil(3 * max(sigmas_px)))
    column, row = int(centre[0]), int(centre[1])
    top, left = max(row - reach, 0), max(column - reach, 0)
    window = added[top : row + reach + 1, left : column + reach + 1]
    x = np.arange(left, left + window.shape[1]) + 0.5 - centre[0]
    y = np.arange(top, top + window.shape[0]) + 0.5 - centre[1]
    spot = np.exp(-0.5 * ((x[None, :] / sigmas_px[0]) ** 2 + (y[:, None] / sigmas_px[1]) ** 2))
    window += (strength * spot).astype(np.float32)
