"""How does a photo's linear RGB become tristimulus values under D50, and what is left open?

A gray card sets neutral and level; the profile stands for the camera. A step card adds the tone curve and the flare.
A 24-patch chart adds the camera's own matrix under this light. What each of them leaves open is carried along as the
effects of independent doubts, so that what two zones have in common can cancel (JCGM 100:2008, 5.2).
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import gray_card_correction
from calibration.camera_error import CameraError
from calibration.camera_fit import U_KNOWN, CameraFit, fit_camera
from calibration.colorspace import D50
from calibration.gray_card_error import gray_card_error
from calibration.known import KnownReference
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.reference import GrayReading
from calibration.tone import U_STEP, ToneFit, fit_tone, unusable
from calibration.tone_curve import PARAMETERS, ToneCurve

Floats = NDArray[np.float64]
Basis = Literal["gray card", "step card", "colour chart", "stored"]

U_CARD_LEVEL = 0.02  # relative, of a gray card's stated reflectance: 18 % is rarely known better than 0.4 % absolute
U_CARD_NEUTRAL = 0.006  # relative, of each tristimulus value of a card called neutral: about 0.5 in a* or b*
U_STEPS_LEVEL = 0.01  # relative, of a step card's values as a whole
# How far tone curves of photos lie from their profile's, where nothing in the photo tells: chosen narrower than the
# prior that a fit starts from, which must not hold back what the steps say. Of `PARAMETERS`.
U_UNTOLD_TONE = np.array([0.0016, 0.0003, 0.0003, 0.0003, 0.012, 0.03, 0.02, *(0.004,) * (len(PARAMETERS) - 7)])
GRAY = 0.18
DARKEST = 1e-4  # of full scale


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """From linear RGB, the tone curve taken back and the light evened to the reference's, to XYZ under D50."""

    matrix: Floats  # (3, 3)
    tone: ToneFit  # what is known of the tone curve; its curve is in the photo's own table already
    error: CameraError  # what is left open of the camera
    # (3, m): relative change of X, Y, Z by each independent doubt, one standard uncertainty; a chart's are in `error`
    stated: Floats  # about what the reference is said to be: the same in every photo of it
    read: Floats  # about how it was read in this photo
    basis: Basis
    chart: CameraFit | None = None
    # Hash of the photo by which the one and the other were told: what is wrong with them is common to all photos that
    # share it. "": by none, what was known beforehand stands.
    tone_from: str = ""
    camera_from: str = ""

    @property
    def gray_RGB(self) -> Floats:
        """Linear RGB (3,) of an 18 % gray beside the reference."""
        return np.asarray(np.linalg.solve(self.matrix, GRAY * D50))

    def tone_acts(self, XYZ: Floats, light: ArrayLike = 1.0) -> Floats:
        """Change of XYZ (..., 3, k) by each independent doubt about the tone curve, one standard uncertainty.

        Parameters
        ----------
        XYZ : ndarray, (..., 3)
            Of a zone.
        light : array_like, () or (3,)
            Light on it relative to the reference's: the curve acted on what the sensor saw.
        """
        evened = XYZ @ np.linalg.inv(self.matrix).T
        seen = np.maximum(evened * np.asarray(light, dtype=np.float64), DARKEST)
        # the fitted curve is in the photo's table: what is left to act is a small change of it
        fitted = self.tone.curve
        left = ToneCurve(mid_level=fitted.mid_level, darkest=fitted.darkest, lightest=fitted.lightest)
        by_parameter = left.derivatives(seen) / seen[..., np.newaxis]
        root = _root(self.tone.covariance)
        return np.asarray(self.matrix @ (evened[..., np.newaxis] * (by_parameter @ root)))


def by_gray_card(photo: Photo, reading: GrayReading, known: KnownReference, tone: ToneFit | None = None) -> Correction:
    """The card's correction, and all that it leaves open.

    Parameters
    ----------
    photo : Photo
        Its tone curve is taken back already where `tone` is usable.
    reading : GrayReading
        The card, before any tone curve was taken back.
    known : KnownReference
    tone : ToneFit, optional
        By a second exposure of the scene.
    """
    if tone is not None and tone.is_usable:
        reading = replace(reading, linear_RGB=tone.curve.apply(reading.linear_RGB).astype(np.float64))
        tone = replace(tone, curve=replace(tone.curve, mid_level=gray_level(reading, known)))  # what the card ties
    else:
        tone = untold_tone("a gray card tells nothing of it", gray_level(reading, known))
    stated = np.column_stack([np.full(3, U_CARD_LEVEL), np.diag(np.full(3, U_CARD_NEUTRAL))])
    matrix = gray_card_correction(photo, reading, known.XYZ[0])
    return Correction(matrix, tone, gray_card_error(), stated, np.diag(reading.u_relative), "gray card")


def gray_level(reading: GrayReading, known: KnownReference) -> float:
    """Level, linear RGB, that an 18 % gray would have beside a gray card."""
    return float(reading.linear_RGB.mean()) * GRAY / float(known.XYZ[0, 1])


def untold_tone(why_not: str, level: float) -> ToneFit:
    """What is known of a tone curve of which nothing in the photo tells, middle gray being at a level of linear RGB."""
    return _untold(unusable(why_not), level)


def _untold(tone: ToneFit, level: float) -> ToneFit:
    curve = replace(tone.curve, mid_level=min(max(level, 0.01), 0.9))
    return replace(tone, curve=curve, covariance=np.diag(U_UNTOLD_TONE**2))


def tone_by_patches(photo: Photo, readings: PatchReadings, known: KnownReference, light: Floats) -> ToneFit:
    """Tone curve and flare by the neutral patches.

    Parameters
    ----------
    photo : Photo
    readings : PatchReadings
        Of a step card or a chart, as the photo shows it.
    known : KnownReference
    light : ndarray, (n, 3)
        Light at each patch, relative to the middle of the reference.
    """
    neutral = known.is_neutral
    u_step = U_STEP
    if known.kind == "chart-24":
        u_step = np.hypot(U_STEP, U_KNOWN / (116 / 3 * np.cbrt(known.XYZ[neutral, 1])))  # dL*/dlnY, CIE 1976
    return fit_tone(
        readings.linear_RGB[neutral],
        readings.u_relative[neutral],
        # the neutrals of a chart are a little blue or yellow, and their channels stand at levels of their own
        np.linalg.solve(photo.to_XYZ, known.XYZ[neutral].T).T,
        light.mean(axis=1)[neutral],
        used=readings.used[neutral],
        u_step=u_step,
    )


def with_tone(photo: Photo, tone: ToneFit) -> Photo:
    """The photo with its tone curve taken back; itself when the curve is not known."""
    return replace(photo, curve=tone.curve.with_tone(photo.curve)) if tone.is_usable else photo


def by_step_card(
    photo: Photo, readings: PatchReadings, known: KnownReference, tone: ToneFit, light: Floats
) -> Correction:
    """As by a gray card, with all steps together for neutral and level.

    Parameters
    ----------
    photo : Photo
    readings : PatchReadings
    known : KnownReference
    tone : ToneFit
        From `tone_by_patches`. When it is not usable, the step nearest to middle gray counts alone.
    light : ndarray, (n, 3)
        Light at each step, relative to the middle of the card.
    """
    if tone.is_usable:
        white, u_white = tone.white_RGB, tone.u_white_relative
    else:
        used = np.flatnonzero(readings.used)
        gray = used[np.abs(np.log(known.XYZ[used, 1] / GRAY)).argmin()]
        white = readings.linear_RGB[gray] / light[gray] / known.XYZ[gray, 1]
        u_white = readings.u_relative[gray]
        tone = _untold(tone, float(readings.linear_RGB[gray].mean()))
    to_XYZ = photo.to_XYZ_by_neutral(white)
    gains = np.linalg.solve(to_XYZ, D50) / white
    stated = np.full((3, 1), U_STEPS_LEVEL)
    return Correction(to_XYZ * gains, tone, gray_card_error(), stated, np.diag(u_white), "step card")


def by_chart(readings: PatchReadings, known: KnownReference, tone: ToneFit, light: Floats) -> Correction:
    """The camera's own matrix under this light, fitted to the chart (`camera_fit.py`).

    Parameters are those of `by_step_card`. The doubt about the chart's values is part of the camera's error.
    """
    seen = np.nan_to_num(readings.linear_RGB)
    seen = tone.curve.apply(seen).astype(np.float64) if tone.is_usable else seen
    usable = readings.used & (seen > 0).all(axis=1)
    RGB = np.where(usable[:, np.newaxis], seen / light, np.nan)
    fit = fit_camera(RGB, readings.u_relative, known.XYZ, known.is_neutral & usable)
    if not tone.is_usable:
        tone = _untold(tone, float(np.linalg.solve(fit.matrix, GRAY * D50).mean()))
    nothing = np.zeros((3, 0))
    return Correction(fit.matrix, tone, fit.error, nothing, nothing, "colour chart", fit)


def _root(covariance: Floats) -> Floats:
    """Symmetric root, for a covariance that may be of less than full rank; like covariances have like roots."""
    variances, axes = np.linalg.eigh(covariance)
    return np.asarray((axes * np.sqrt(np.maximum(variances, 0.0))) @ axes.T)
