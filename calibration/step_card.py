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
from calibration.quads import quad_mask, shrunk
from calibration.reference import MIN_PIXELS, READ_PIXELS, RIM_SHARE, GrayReading, read_gray_card
from calibration.step_finder import StepsFound, find_step_card, out_of_order

Floats = NDArray[np.float64]

__all__ = ["StepsFound", "find_step_card", "read_step_card", "step_card_findings"]

STEP_RIM = 0.22  # of a step's sides, left out before its middle is read: the finder may be off by so much
MIN_USABLE = 3  # steps; two cannot tell a tone curve from an exposure
MAX_UNEVEN = 0.12  # (max - min) / max over a step's middle; a shadow's edge or a highlight makes more (chosen)
MAX_LEFT_OUT = 0.3  # share of a step's middle that is something else (chosen; of a gray card)
COARSE = 0.03  # one code over the level from which a step counts as dark; a card's middle gray has 0.02 (sRGB, 8 bit)
OFF = 4.0  # codes, or robust standard deviations if more, by which noise takes a pixel of a dark step from its middle
LEAST_LEVEL = 0.001  # linear RGB, 8-bit code 3: below it a step is lost
INDEPENDENT_PX = 16  # pixels that share their noise through demosaicing and JPEG (chosen, as of the gray card)
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
    middle = shrunk(cell_px, STEP_RIM)
    dark = _read_dark(photo, shrunk(middle, RIM_SHARE))
    if dark is not None:
        return dark
    try:
        return read_gray_card(photo, middle)
    except ReferenceCardError as refused:
        if refused.code == "card-clipped":
            return "it is at full scale"
        return "it is black, partly hidden, too small or not wholly in the photo"


def _read_dark(photo: Photo, middle_px: Floats) -> GrayReading | None:
    """The reading of a dark step; None if it is not dark, or cannot be read.

    Most pixels of a dark step share one or two codes, and for the gray card's reader those beside them are outliers.
    Here they carry the signal between the codes: without them the mean was off by up to 3 %.
    """
    low, high = np.floor(middle_px.min(axis=0)).astype(int), np.ceil(middle_px.max(axis=0)).astype(int) + 1
    if low.min() < 0 or high[0] > photo.codes.shape[1] or high[1] > photo.codes.shape[0]:
        return None
    inside = quad_mask((high[1] - low[1], high[0] - low[0]), middle_px - low)
    if inside.sum() < MIN_PIXELS:
        return None
    y, x = (places[:: 1 + len(places) // READ_PIXELS] for places in np.nonzero(inside))
    codes = photo.codes[low[1] : high[1], low[0] : high[0]][y, x]
    RGB = np.stack([photo.curve[codes[:, channel], channel] for channel in range(3)], axis=1).astype(np.float64)
    level = np.median(RGB, axis=0)
    code = int(np.median(codes))
    step = float(photo.curve[min(code + 1, len(photo.curve) - 1), 1] - photo.curve[code, 1])
    if step < COARSE * level.mean() or level.min() < LEAST_LEVEL:
        return None
    off = np.abs(RGB - level)
    near = (off <= OFF * np.maximum(step, 1.4826 * np.median(off, axis=0))).all(axis=1)
    kept = RGB[near]
    mean = kept.mean(axis=0)
    independent = max(len(kept) * inside.sum() / len(y) / INDEPENDENT_PX, 1.0)
    luminance = kept @ photo.to_XYZ[1]
    quarters = (x[near] > np.median(x)).astype(int) + 2 * (y[near] > np.median(y))
    sums, counts = np.bincount(quarters, luminance, minlength=4), np.bincount(quarters, minlength=4)
    levels = sums / np.maximum(counts, 1)
    return GrayReading(
        linear_RGB=mean,
        u_relative=kept.std(axis=0) / mean / np.sqrt(independent),
        unevenness=float(np.ptp(levels) / levels.max()),
        pixels=int(inside.sum()),
        left_out=1 - float(near.mean()),
        clipped=0.0,
    )


def _why_not(reading: GrayReading) -> str:
    if reading.unevenness > MAX_UNEVEN:
        return f"its light changes by {reading.unevenness:.0%}: a shadow or a shine lies on it"
    if reading.left_out > MAX_LEFT_OUT:
        return f"{reading.left_out:.0%} of it is something else"
    return ""


def _told(why_not: Sequence[str]) -> str:
    return "; ".join(f"step {number}: {why}" for number, why in enumerate(why_not, 1) if why)
