"""What does measuring a job hand over?  The answer, and the pictures that a report draws of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.job import Board, Job
from analyzer.results import Results, Stage
from calibration.stored_correction import StoredCorrection


@dataclass(frozen=True, slots=True, eq=False)
class BoardPicture:
    """One board at one stage in one light, corrected, upright and flat.

    Row 0 lies along the board's top edge, column 0 at its left end; pixel (r, c) covers the square from
    (c, r) to (c + 1, r + 1) times `mm_per_px`.
    """

    board: Board
    stage: Stage
    light: str | None
    photo: str  # file as in job.toml
    Lab: NDArray[np.float32]  # (rows, columns, 3), CIELAB D50/2 degree
    measured: NDArray[np.bool_]  # (rows, columns); False: margin, card, glare, outside every zone
    # (rows, columns), L*: local lightness deviation in the blotch band, NaN where not measured
    deviation: NDArray[np.float32]
    mm_per_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """What was seen in a photo in which the board or the card was not found."""

    photo: str  # file as in job.toml
    caption: str
    RGB: NDArray[np.uint8]  # (rows, columns, 3), sRGB codes, at most 1600 pixels wide


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """A measured job: the same answer that `results.json` holds, with the pictures behind it."""

    job: Job
    results: Results
    pictures: tuple[BoardPicture, ...]
    overlays: tuple[Overlay, ...]
    corrections: tuple[StoredCorrection, ...] = ()  # by charts and step cards, worth keeping: one a camera, lens, light
    not_kept: tuple[str, ...] = ()  # why photos gave none, in words
