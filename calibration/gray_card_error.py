"""What does a gray card leave open of a camera's colours on stained wood?

The card sets neutral and level; for every other colour the photo's own profile stands, which the camera's maker fitted
in daylight, while the lamp at hand is not known. How far that errs was drawn from cameras and lamps that never were,
but could be (`tests/studies/make_gray_card_error.py`); held against measured cameras by the coverage study.
"""

import csv
from functools import cache

import numpy as np

from calibration.camera_error import TERMS, CameraError
from calibration.published import published_file

# Lamps are of kinds: most leave little, some much, and the errors of all have long tails. By so much the modes are
# widened, so that 95 % of pairs are held, daylight and lamps together. Chosen on drawn cameras.
WIDENING = 1.25
# Single colours have longer tails still: under lamps a whole hue is off. Chosen on the same.
OF_ONE_COLOUR = 1.6


@cache
def gray_card_error() -> CameraError:
    """The stored error, from `shared/gray_card_error.csv`."""
    with published_file("gray_card_error.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    values = {
        part: np.array([[float(row[term]) for term in TERMS if row[term]] for row in rows if row["part"] == part])
        for part in dict.fromkeys(row["part"] for row in rows)
    }
    unseen = values.pop("unseen")
    modes = np.stack([mode.T for mode in values.values()], axis=-1)  # (10, 3, m)
    return CameraError(WIDENING * modes, unseen, OF_ONE_COLOUR)
