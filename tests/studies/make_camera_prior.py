"""Make the three tables of the camera correction in shared/ anew: `python tests/studies/make_camera_prior.py`."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's calibration, not an installed one

import colour
import numpy as np
from numpy.typing import NDArray
from simulator.spectra import XYZ_weights
from studies.camera_bank import FAMILIES, lamp, sensitivities
from studies.held_out import chart, weights

from calibration.colorspace import D50
from calibration.white_preserving import white_preserving_matrix
from calibration.wood_spectra import BANDS_nm

Floats = NDArray[np.float64]
SHARED = Path(__file__).resolve().parents[2] / "shared"
CHART = "BabelColor Average"
CAMERAS = 1500
MODES = 20
SEED = 20260704

BAND_NAMES = ",".join(f"{band}_nm" for band in BANDS_nm)
OBSERVER_HEAD = """\
# Weights that turn a reflectance into XYZ under D50 (Y = 1 for a perfect white), every 10 nm from 380 to 730 nm.
# Source: CIE 1931 2 degree observer times CIE illuminant D50, both as in colour-science 0.4 (BSD-3-Clause), a
# reflectance taken as linear between bands; scaled (by less than 1 in 3000) so that a perfect white has the D50 of
# ICC.1:2022.
"""
CHART_HEAD = """\
# Mean reflectances of the common 24-patch colour chart, row by row from dark skin to black.
# Source: colour-science 0.4 (BSD-3-Clause, copyright the Colour Developers), its data set of measured averages over
# many charts, unchanged.
"""
PRIOR_HEAD = """\
# Departures of cameras from the observer, to be multiplied by a reflectance: first the mean, then modes, each scaled to
# one standard deviation. X, Y and Z of each.
# Source: the project's own, made by tests/studies/make_camera_prior.py from cameras and lamps drawn by formula; no
# measured camera or lamp went in.
"""


def observer() -> Floats:
    """(36, 3)."""
    table = XYZ_weights("D50")
    return np.asarray(table * (D50 / table.sum(axis=0)))


def departures(count: int = CAMERAS, seed: int = SEED) -> Floats:
    """Departures (count, 36, 3) of drawn cameras under drawn lamps, after a plain fit to the chart."""
    rng = np.random.default_rng(seed)
    patches, seen_by_eye = chart(CHART), observer()
    known = patches @ seen_by_eye
    found = []
    for number in range(count):
        camera = weights(sensitivities(rng), lamp(FAMILIES[number % len(FAMILIES)], rng))
        matrix = white_preserving_matrix(patches @ camera, known, np.ones(3), D50)
        found.append(camera @ matrix.T - seen_by_eye)
    return np.array(found)


def prior_rows(found: Floats) -> list[str]:
    """The mean and the modes that hold most of the departures, as lines of the table."""
    flat = found.reshape(len(found), -1)
    mean = flat.mean(axis=0)
    _, spread, axes = np.linalg.svd(flat - mean, full_matrices=False)
    modes = axes[:MODES] * spread[:MODES, np.newaxis] / np.sqrt(len(found))
    modes = modes * np.sign(modes[np.arange(MODES), np.abs(modes).argmax(axis=1)])[:, np.newaxis]
    lines = []
    for name, values in zip(["mean", *(f"mode {n + 1}" for n in range(MODES))], [mean, *modes], strict=True):
        for axis, row in zip("XYZ", values.reshape(36, 3).T, strict=True):
            lines.append(f"{name},{axis}," + ",".join(f"{1e6 * value:.0f}e-6" for value in row))
    return lines


def tables() -> dict[str, str]:
    """File name in shared/ to its text."""
    names = [name.replace(",", "") for name in colour.SDS_COLOURCHECKERS[CHART]]
    spectra = [_line(name, row, 3) for name, row in zip(names, chart(CHART), strict=True)]
    eye = [_line(str(band), row, 8) for band, row in zip(BANDS_nm, observer(), strict=True)]
    return {
        "observer_D50.csv": OBSERVER_HEAD + "\n".join(["band_nm,X,Y,Z", *eye]) + "\n",
        "chart24_spectra.csv": CHART_HEAD + "\n".join([f"patch,{BAND_NAMES}", *spectra]) + "\n",
        "camera_prior.csv": PRIOR_HEAD + "\n".join([f"part,axis,{BAND_NAMES}", *prior_rows(departures())]) + "\n",
    }


def _line(name: str, row: Floats, decimals: int) -> str:
    return f"{name}," + ",".join(f"{value:.{decimals}f}" for value in row)


if __name__ == "__main__":
    for file_name, text in tables().items():
        (SHARED / file_name).write_text(text, encoding="utf-8")
        print(f"{file_name}: {len(text) / 1024:.0f} KB")  # noqa: T201  a script
