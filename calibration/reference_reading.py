"""What does the reference in a photo show, whichever it is, and which correction follows from it?"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.card_checks import card_findings
from calibration.chart_finder import ChartFound
from calibration.chart_reading import chart_findings, read_chart
from calibration.correction import GRAY, Correction, by_chart, by_gray_card, by_step_card, tone_by_patches
from calibration.errors import ReferenceCardError
from calibration.exposure_pair import tone_from_exposures
from calibration.findings import REGISTRY, Finding, finding
from calibration.known import KnownReference
from calibration.light import Light
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.place import Place
from calibration.plane import Plane
from calibration.reference import GrayReading, read_gray_card
from calibration.step_card import StepsFound, read_step_card, step_card_findings
from calibration.stored_correction import StoredCorrection, by_stored, serving, stored_tone
from calibration.tone import ToneFit, tone_findings, unusable

MAX_RESIDUAL = 2.5  # CIEDE2000, mean over left-out patches; clean charts in one light leave 0.4 to 1.5 (chosen)


@dataclass(frozen=True, slots=True, eq=False)
class ReferenceReading:
    """The reference as one photo shows it."""

    known: KnownReference
    card_px: NDArray[np.float64]  # (4, 2), its corners
    gray: GrayReading | None  # of a gray card
    patches: PatchReadings | None  # of any other


def read_reference(photo: Photo, place: Place) -> ReferenceReading:
    """Read what `locate` found.

    Raises
    ------
    ReferenceCardError
        If it was not found, or cannot serve.
    """
    known, found = place.known, place.patches
    if place.card is None:
        raise ReferenceCardError(
            place.why_no_card,
            photo=photo.name,
            remedy=REGISTRY[place.code_no_card].remedy,
            code=place.code_no_card,
        )
    if isinstance(found, ChartFound):
        return ReferenceReading(known, place.card, None, read_chart(photo, found, known.XYZ))
    if isinstance(found, StepsFound):
        return ReferenceReading(known, place.card, None, read_step_card(photo, found, list(known.XYZ[:, 1])))
    return ReferenceReading(known, place.card, read_gray_card(photo, place.card), None)


def reference_findings(photo: Photo, place: Place, plane: Plane, read: ReferenceReading, light: Light) -> list[Finding]:
    """What the checks say of the reference."""
    if read.gray is not None:
        return card_findings(photo, place, plane, read.gray, light)
    if read.patches is None:
        return []
    return list(chart_findings(read.patches) if read.known.kind == "chart-24" else step_card_findings(read.patches))


def gray_RGB_of(read: ReferenceReading) -> NDArray[np.float64] | None:
    """Linear RGB (3,) of an 18 % gray beside the reference, as the camera wrote it.

    By the one neutral nearest to it, before any tone curve is taken back: near enough to compare photos by
    (`Correction.gray_RGB` is for colours). None when no neutral can be used.
    """
    if read.gray is not None:
        return np.asarray(read.gray.linear_RGB * GRAY / read.known.XYZ[0, 1])
    if read.patches is None:
        return None
    neutral = np.flatnonzero(read.patches.used & read.known.is_neutral)
    if neutral.size == 0:
        return None
    Y = read.known.XYZ[neutral, 1]
    nearest = np.abs(np.log(Y / GRAY)).argmin()
    return np.asarray(read.patches.linear_RGB[neutral[nearest]] * GRAY / Y[nearest])


def stored_for(
    photo: Photo, read: ReferenceReading, stored: StoredCorrection | None
) -> tuple[StoredCorrection | None, tuple[Finding, ...]]:
    """A stored correction if it serves this photo, and what is to be said of that; only a gray card needs one."""
    if stored is None or read.gray is None:
        return None, ()
    serves, said = serving(photo, read.gray, read.known, stored)
    return serves, (said,)


def tone_of(
    photo: Photo,
    read: ReferenceReading,
    light: Light,
    stored: StoredCorrection | None = None,
    paired: Photo | None = None,
) -> ToneFit:
    """Tone curve and flare, as far as the reference, what is stored of the camera, or a second exposure tells them."""
    if read.gray is not None and stored is not None:
        return stored_tone(stored, read.gray, read.known)
    if read.patches is None and paired is not None:
        return tone_from_exposures(photo, paired)
    if read.patches is None:
        return unusable("a gray card tells nothing of it")
    return tone_by_patches(photo, read.patches, read.known, _light_at(read, light))


def correction_of(
    photo: Photo, read: ReferenceReading, tone: ToneFit, light: Light, stored: StoredCorrection | None = None
) -> Correction:
    """The correction for a photo whose tone curve was taken back.

    Raises
    ------
    ReferenceCardError
        If the patches left after all are too few.
    """
    if read.gray is not None and stored is not None:
        return by_stored(photo, read.gray, read.known, stored, tone)
    tone_from = photo.sha256 if tone.is_usable else ""
    if read.gray is not None:
        return replace(by_gray_card(photo, read.gray, read.known, tone), tone_from=tone_from)
    if read.patches is None:
        raise ValueError("correction_of: the reference was not read.")
    there = _light_at(read, light)
    if read.known.kind == "step-card":
        return replace(by_step_card(photo, read.patches, read.known, tone, there), tone_from=tone_from)
    try:
        found = by_chart(read.patches, read.known, tone, there)
        return replace(found, tone_from=tone_from, camera_from=photo.sha256)
    except ValueError as too_few:
        raise ReferenceCardError(
            f"the chart's patches do not agree with one another: {too_few}",
            photo=photo.name,
            remedy=REGISTRY["chart-patches-few"].remedy,
            code="chart-patches-few",
        ) from too_few


def correction_findings(correction: Correction, read: ReferenceReading) -> list[Finding]:
    """What a correction says against itself."""
    if read.gray is not None:
        return []
    found = list(tone_findings(correction.tone))
    if correction.chart is not None and correction.chart.leave_one_out[0] > MAX_RESIDUAL:
        found.append(finding("chart-misfit", residual=correction.chart.leave_one_out[0], limit=MAX_RESIDUAL))
    return found


def _light_at(read: ReferenceReading, light: Light) -> NDArray[np.float64]:
    """Light (n, 3) at each patch relative to the middle of the reference; 1 where it is not mapped."""
    if read.patches is None:
        raise ValueError("_light_at: the reference has no patches.")
    centres = read.patches.centres_px
    if not light.mapped:
        return np.ones((len(centres), 3))
    middle = light.log_RGB_at(read.card_px.mean(axis=0))
    return np.asarray(np.exp(light.log_RGB_at(centres) - middle))
