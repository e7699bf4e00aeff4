"""By how much may a camera's sensitivities miss the eye's, and how does a 24-patch chart reflect light?

A 3x3 matrix makes a camera see like the CIE 1931 observer only as far as its sensitivities, under the lamp at hand, are
mixtures of the observer's under D50. What is left over is its departure: 36 bands for each of X, Y and Z. Departures of
plausible cameras under plausible lamps are alike, so a mean and twenty modes describe them. The table was made from
cameras and lamps drawn by formula (`tests/studies/make_camera_prior.py`): no measured camera went in.
"""

import csv
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.published import published_file
from calibration.wood_spectra import BANDS_nm

Floats = NDArray[np.float64]

BEND_CENTRES_nm, BEND_WIDTH_nm = np.array([450.0, 545.0, 615.0]), 45.0  # smooth, one near each colour-matching peak
BEND_STEPS = 50
BEND_DONE = 1e-12  # of Y = 1


@dataclass(frozen=True, slots=True, eq=False)
class CameraPrior:
    """Departures: ``mean + sum(amount * mode)``, the amounts independent with standard deviation 1 before a chart."""

    mean: Floats  # (36, 3), to be multiplied by a reflectance: XYZ, Y = 1 for a perfect white
    modes: Floats  # (k, 36, 3)


@cache
def camera_prior() -> CameraPrior:
    """The stored prior, from `shared/camera_prior.csv`."""
    rows = _rows("camera_prior.csv")
    table = np.array([[float(row[f"{band}_nm"]) for band in BANDS_nm] for row in rows])
    parts = table.reshape(-1, 3, BANDS_nm.size).transpose(0, 2, 1)  # mean first, then mode after mode; X, Y, Z each
    return CameraPrior(parts[0], parts[1:])


@cache
def observer_weights() -> Floats:
    """Weights (36, 3): a reflectance times them is XYZ under D50 (CIE 1931, 2 degree), Y = 1 for a perfect white."""
    rows = _rows("observer_D50.csv")
    return np.array([[float(row[axis]) for axis in "XYZ"] for row in rows])


@cache
def published_chart_spectra() -> Floats:
    """Mean reflectances (24, 36) of the common 24-patch chart, row by row from dark skin."""
    rows = _rows("chart24_spectra.csv")
    return np.array([[float(row[f"{band}_nm"]) for band in BANDS_nm] for row in rows])


def bent_to(reflectances: ArrayLike, XYZ: ArrayLike) -> Floats:
    """Reflectances (n, 36), bent smoothly until each has exactly the XYZ (n, 3) that is known of it under D50.

    A chart's own values differ from the published mean's by its making and its age; both change its spectra smoothly.

    Raises
    ------
    ValueError
        If a spectrum cannot be bent to its colour.
    """
    weights = observer_weights()
    bends = np.exp(-0.5 * ((BANDS_nm[:, np.newaxis] - BEND_CENTRES_nm) / BEND_WIDTH_nm) ** 2)
    start, wanted = np.asarray(reflectances, dtype=np.float64), np.asarray(XYZ, dtype=np.float64)
    amounts = np.zeros((len(start), 3))
    for _ in range(BEND_STEPS):
        bent = start * np.exp(amounts @ bends.T)
        missing = wanted - bent @ weights
        if np.abs(missing).max() < BEND_DONE:
            return np.asarray(bent)
        slopes = np.einsum("bx,nb,bk->nxk", weights, bent, bends)
        step = np.linalg.solve(slopes, missing[..., np.newaxis])[..., 0]
        amounts = amounts + np.clip(step, -1.0, 1.0)  # short steps keep a far start from overshooting
    worst = int(np.argmax(np.abs(missing).max(axis=1)))
    raise ValueError(f"bent_to: spectrum {worst} of {len(start)} cannot be bent to XYZ {np.round(wanted[worst], 4)}.")


def _rows(name: str) -> list[dict[str, str]]:
    with published_file(name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
