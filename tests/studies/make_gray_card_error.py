"""Make the table of what a gray card leaves open of a camera anew: `python tests/studies/make_gray_card_error.py`.

With a gray card alone the photo's own profile stands for the camera: its maker fitted it in daylight, and the lamp at
hand is not known. Cameras and lamps are drawn by formula (camera_bank.py), half of the lamps daylights; each camera
gets the matrix that is best for a 24-patch chart in a daylight of its own. No measured camera or lamp goes in.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's calibration, not an installed one

import numpy as np
from numpy.typing import NDArray
from studies.camera_bank import FAMILIES, lamp, sensitivities
from studies.held_out import chart, weights
from studies.make_camera_prior import CHART, SHARED, observer

from calibration.camera_error import TERMS, error_of_modes, quadratic
from calibration.colorspace import D50, XYZ_to_Lab
from calibration.white_preserving import white_preserving_matrix
from calibration.wood_spectra import wood_reflectances

Floats = NDArray[np.float64]
CAMERAS = 1200
SEED = 20261125
MODES = 10  # of 30: the others together hold less than 1 % of the variance

HEAD = """\
# What a gray card leaves open of a camera's colours on stained wood: modes of the error in CIELAB, each scaled to one
# standard deviation, as coefficients of a quadratic in the colour (calibration/camera_error.py), for L*, a* and b*;
# last the covariance (its columns L, a, b stand under the first three terms) of what wood of one colour can differ by.
# Source: the project's own, made by tests/studies/make_gray_card_error.py from cameras and lamps drawn by formula; no
# measured camera or lamp went in.
"""


def errors(count: int = CAMERAS, seed: int = SEED) -> tuple[Floats, Floats]:
    """CIELAB (n, 3) of modelled wood, and the error (n, 3, count) by each of so many drawn cameras under lamps."""
    rng = np.random.default_rng(seed)
    patches, eye, woods = chart(CHART), observer(), wood_reflectances()
    Lab = XYZ_to_Lab(woods @ eye)
    found = []
    for number in range(count):
        camera, daylight = sensitivities(rng), lamp("daylight", rng)
        at_hand = daylight if number % 2 == 0 else lamp(FAMILIES[1 + number // 2 % (len(FAMILIES) - 1)], rng)
        seen = patches @ weights(camera, daylight)
        maker = white_preserving_matrix(seen, patches @ eye, np.ones(3), D50)
        found.append(XYZ_to_Lab(woods @ weights(camera, at_hand) @ maker.T) - Lab)
    return Lab, np.stack(found, axis=-1)


def _scatter(Lab: Floats, found: Floats) -> Floats:
    """Covariance (3, 3) of what no quadratic of the colour explains: spectra of one colour differ."""
    terms, flat = quadratic(Lab), found.reshape(len(Lab), -1)
    left = flat - terms @ np.linalg.lstsq(terms, flat, rcond=None)[0]
    left = left.reshape(found.shape)
    return np.asarray(np.einsum("nik,njk->ij", left, left) / left.shape[0] / left.shape[2])


def table() -> str:
    """The text of the table."""
    Lab, found = errors()
    smooth = error_of_modes(Lab, found / np.sqrt(found.shape[-1]), np.zeros_like(Lab)).modes[..., :MODES]
    smooth = smooth * np.sign(smooth[0].sum(axis=0))
    lines = ["part,axis," + ",".join(TERMS)]
    for mode in range(smooth.shape[-1]):
        for axis, name in enumerate(("L", "a", "b")):
            lines.append(f"mode {mode + 1},{name}," + ",".join(f"{value:.4f}" for value in smooth[:, axis, mode]))
    scatter = _scatter(Lab, found)
    for name, row in zip("Lab", scatter, strict=True):
        lines.append(f"unseen,{name}," + ",".join(f"{value:.4f}" for value in row))
    return HEAD + "\n".join(lines) + "\n"


if __name__ == "__main__":
    (SHARED / "gray_card_error.csv").write_text(table(), encoding="utf-8")
