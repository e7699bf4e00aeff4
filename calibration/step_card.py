"""What does a photo show of the steps of a step card?

Each step's middle is read as a gray card is. Steps at full scale, covered, shaded or shiny ones, and such as break the
order from light to dark are left out, each with the reason; three must remain.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.errors import ReferenceCardError
from calibration.findings import REGISTRY, Finding, finding
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.quads import shrunk
from calibration.reference import GrayReading, read_gray_card
from calibration.step_finder import StepsFound, find_step_card, out_of_order

Floats = NDArray[np.float64]

__all__ = ["StepsFound", "find_step_card", "read_step_card", "step_card_findings"]

STEP_RIM = 0.22  # of a step's sides, left out before its middle is read: the finder may be off by so much
MIN_USABLE = 3  # steps; two cannot tell a tone curve from an exposure
MAX_UNEVEN = 0.12  # (max - min) / max over a step's middle; a shadow's edge or a highlight makes more (chosen)
MAX_LEFT_OUT = (
    0.3  # share of a step's middle that is something else (chosen; on a black step 8-bit codes alone make 0.2)
)
LEAST_STEP = 0.01  # relative, by which the next step must be darker


def read_step_card(photo: Photo, found: StepsFound | None, reflectances: Sequence[float]) -> PatchReadings:
    """Read the steps of a step card.

    Parameters
    ----------
    photo : Photo
    found : StepsFound or None
        Where they lie (`find_step_card`).
    reflectances : sequence of float
        Of the steps, light to dark.

    Returns
    -------
    PatchReadings
        In the order of the reflectances.

    Raises
    ------
    ReferenceCardError
        If the card was not found, or fewer than three steps can be used.
    """
    if found is None:
        raise ReferenceCardError(
            f"the step card was not found: no row of {len(reflectances)} calm gray steps, each darker than the last.",
            photo=photo.name,
            remedy=REGISTRY["step-card-missing"].remedy,
            code="step-card-missing",
        )
    readings = [_read_step(photo, cell) for cell in found.cells_px]
    why_not = [_why_not(reading) if isinstance(reading, GrayReading) else reading for reading in readings]
    RGB = np.full((len(readings), 3), np.nan)
    u_relative = np.full((len(readings), 3), np.nan)
    for step, reading in enumerate(readings):
        if isinstance(reading, GrayReading):
            RGB[step], u_relative[step] = reading.linear_RGB, reading.u_relative
    log_light = np.log(np.maximum(RGB.mean(axis=1), 1e-6))
    for step in out_of_order(log_light, np.array([not why for why in why_not]), LEAST_STEP):
        why_not[step] = "it is not darker than the step before"
    usable = sum(not why for why in why_not)
    if usable < MIN_USABLE:
        raise ReferenceCardError(
            f"only {usable} of the step card's {len(readings)} steps can be used (at least {MIN_USABLE} needed): "
            f"{_told(why_not)}.",
            photo=photo.name,
            remedy=REGISTRY["step-card-few"].remedy,
            code="step-card-few",
        )
    return PatchReadings(RGB, u_relative, found.cells_px.mean(axis=1), found.corners_px, tuple(why_not))


def step_card_findings(readings: PatchReadings) -> tuple[Finding, ...]:
    """What the checks say of a step card that can be used."""
    left_out = [why for why in readings.why_not if why]
    if not left_out:
        return ()
    return (
        finding("step-card-partial", count=len(left_out), steps=len(readings.why_not), reason=_told(readings.why_not)),
    )


def _read_step(photo: Photo, cell_px: Floats) -> GrayReading | str:
    """What a step shows, or why it cannot be read."""
    try:
        return read_gray_card(photo, shrunk(cell_px, STEP_RIM))
    except ReferenceCardError as refused:
        if refused.code == "card-clipped":
            return "it is at full scale"
        return "it is black, partly hidden, too small or not wholly in the photo"


def _why_not(reading: GrayReading) -> str:
    if reading.unevenness > MAX_UNEVEN:
        return f"its light changes by {reading.unevenness:.0%}: a shadow or a shine lies on it"
    if reading.left_out > MAX_LEFT_OUT:
        return f"{reading.left_out:.0%} of it is something else"
    return ""


def _told(why_not: Sequence[str]) -> str:
    return "; ".join(f"step {number}: {why}" for number, why in enumerate(why_not, 1) if why)
