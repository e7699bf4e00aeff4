"""What did a photo of a chart or step card tell of a camera in a light, and how does that serve its later photos?

The codes of a camera stand for the same light in every photo that it makes in one way, so its tone curve holds at any
exposure; only the veil grows with the light (`ToneCurve.at_exposure`). Its matrix, balanced so that neutral things come
out neutral, holds for one light. In a later photo a gray card sets neutral and level; nothing else of it is asked.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.camera_error import TERMS, CameraError
from calibration.colorspace import D50
from calibration.correction import (
    U_CARD_LEVEL,
    U_CARD_NEUTRAL,
    Correction,
    gray_level,
    untold_tone,
)
from calibration.findings import Finding, finding
from calibration.gray_card_error import gray_card_error
from calibration.known import KnownReference
from calibration.photo import Photo
from calibration.raw import RAW_PROFILE
from calibration.reference import GrayReading
from calibration.tone import ToneFit
from calibration.tone_curve import BENDS, PARAMETERS, ToneCurve, is_possible, parameters_of

Floats = NDArray[np.float64]
MadeBy = Literal["step card", "colour chart"]

SAME_PRIMARIES = 2e-3  # of a profile's matrix: two profiles of one name may be two displays'
# What is left between two photos of one camera in one light of one name: the sky turns, a lamp ages, and the camera
# balances its channels anew, not in the profile's primaries. In shares of what would be open without a chart, whose
# shape it has: a little always (chosen), and by how far the card shows that the balance moved. Ten of eleven measured
# cameras were then 4 to 9 Delta E off on wood for each ln unit, nearly in proportion, beside 4 without a chart; one,
# of stacked layers, 20.
U_OTHER_PHOTO, U_PER_BALANCE = 0.05, 1.7
MAX_BALANCE = 0.15  # ln units of a ratio of channels (chosen): farther off, it may be another lamp
# Relative, and of full scale, chosen: a veil is a share of the light of the whole scene, and another scene is lighter
# or darker around the board.
U_OTHER_VEIL, U_LEAST_VEIL = 0.3, 0.001
BEYOND = 0.01, 0.9  # levels of middle gray outside which no gray card can be read


@dataclass(frozen=True, slots=True)
class Setup:
    """What a correction was made with. It holds where all of it is the same."""

    camera: str
    lens: str | None  # None: the camera does not write it
    light: str | None  # by its name in the job; None: without a name
    profile: str  # of the photo, by its name


@dataclass(frozen=True, slots=True)
class Source:
    """The photo that a correction comes from."""

    file: str
    sha256: str
    taken: str | None  # ISO 8601, by the camera's clock
    reference: str  # what lay in it, in words


@dataclass(frozen=True, slots=True)
class Residual:
    """How far the reference's own patches lie from their known values after correction."""

    mean: float
    p95: float
    unit: Literal["CIEDE2000", "L*"]  # of a chart's patches, each left out in turn; of a step card's steps
    wood: tuple[float, float] | None = None  # mean and 95th percentile foretold for stained wood, CIEDE2000

    @property
    def words(self) -> str:
        """As a finding says it."""
        unit, what = ("ΔE00", "patches") if self.unit == "CIEDE2000" else ("L*", "steps")
        wood = f", about {self.wood[0]:.1f} ΔE00 on stained wood" if self.wood else ""
        return f"its own {what} are {self.mean:.1f} {unit} off in the mean{wood}"


@dataclass(frozen=True, slots=True, eq=False)
class StoredCorrection:
    """A camera's tone curve and colours in one light, apart from the white balance and exposure of one photo."""

    setup: Setup
    source: Source
    made_by: MadeBy
    residual: Residual
    profile_to_XYZ: Floats  # (3, 3), of the photo's profile
    tone: ToneFit
    white_ratios: tuple[float, float]  # ln of red and blue against green, of white in the photo, the curve taken back
    # (3, 3): balanced linear RGB, the tone curve taken back, to XYZ under D50; R = G = B = 1 gives D50. None with
    # `error`: a step card tells nothing of it, and the profile stands.
    primaries: Floats | None
    error: CameraError | None

    def __post_init__(self) -> None:
        if not _is_curve(self.tone.curve):
            raise ValueError("a correction's tone curve must be one that cameras can have, and rise everywhere.")
        told = [self.profile_to_XYZ, self.tone.covariance, np.array(self.white_ratios)]
        shapes = [(3, 3), (len(PARAMETERS),) * 2, (2,)]
        if self.primaries is not None and self.error is not None:
            told += [self.primaries, self.error.unseen, self.error.modes]
            shapes += [(3, 3), (3, 3), (len(TERMS), 3, *self.error.modes.shape[2:])]
        for values, shape in zip(told, shapes, strict=True):
            if values.shape != shape or not np.isfinite(values).all():
                raise ValueError(f"a correction's numbers must be finite and of shape {shape}, got {values.shape}.")
        if (self.primaries is None) != (self.error is None) or (self.primaries is None) != (
            self.made_by == "step card"
        ):
            raise ValueError("a colour chart gives primaries and their error, a step card neither.")
        if self.primaries is not None and not np.allclose(self.primaries.sum(axis=1), D50, atol=1e-3):
            raise ValueError("a correction's primaries must make R = G = B the white of D50.")


def _is_curve(curve: ToneCurve) -> bool:
    levels = np.array([curve.darkest, curve.mid_level, curve.lightest, curve.gamma, curve.s_middle])
    if not (np.isfinite(levels).all() and 0 <= curve.darkest < curve.lightest and len(curve.bends) == len(BENDS)):
        return False
    in_range = 0 < curve.mid_level < 1 and 0.2 < curve.gamma < 5
    return in_range and is_possible(parameters_of(curve)) and curve.is_monotone


def setup_of(photo: Photo, light: str | None) -> Setup | None:
    """What a photo was made with; None if it does not say which camera took it."""
    camera = photo.exif.camera
    return None if camera is None else Setup(camera, photo.exif.lens, light, photo.profile)


def stored_correction(correction: Correction, photo: Photo, light: str | None, reference: str) -> StoredCorrection:
    """Take from a photo's correction what holds for later ones too.

    Parameters
    ----------
    correction : Correction
        By a colour chart or a step card.
    photo : Photo
        The photo that it is of.
    light : str or None
        The name of its light.
    reference : str
        What lay in the photo, in words.

    Raises
    ------
    ValueError
        If it is another correction, a step card told no tone curve, or the photo does not say which camera took it.
    """
    setup = setup_of(photo, light)
    if setup is None:
        raise ValueError("stored_correction: the photo does not say which camera took it.")
    source = Source(photo.name, photo.sha256, photo.exif.taken, reference)
    white_RGB = np.linalg.solve(correction.matrix, D50)
    ratios = _ratios(np.asarray(white_RGB))
    if correction.chart is not None:
        residual = Residual(*correction.chart.leave_one_out, "CIEDE2000", correction.chart.wood_delta_E_00)
        primaries, error = correction.matrix * white_RGB, correction.error
        return StoredCorrection(
            setup, source, "colour chart", residual, photo.to_XYZ, correction.tone, ratios, primaries, error
        )
    if correction.basis != "step card" or not correction.tone.is_usable:
        raise ValueError(f"stored_correction: a {correction.basis} that tells nothing of the camera.")
    off_L = np.abs(correction.tone.residual_L[np.isfinite(correction.tone.residual_L)])
    residual = Residual(float(off_L.mean()), float(np.percentile(off_L, 95)), "L*")
    return StoredCorrection(setup, source, "step card", residual, photo.to_XYZ, correction.tone, ratios, None, None)


def apart(stored: StoredCorrection, photo: Photo, light: str | None) -> tuple[str, ...]:
    """Say in words what keeps a stored correction from a photo; nothing when it fits."""
    setup = setup_of(photo, light)
    if setup is None:
        return ("the photo does not say which camera took it",)
    pairs = {
        "camera": (stored.setup.camera, setup.camera),
        "lens": (stored.setup.lens, setup.lens),
        "light": (stored.setup.light, setup.light),
        "colour profile": (stored.setup.profile, setup.profile),
    }
    words = [
        f"its {what} is {_named(its_own)}, the photo's {_named(photos)}"
        for what, (its_own, photos) in pairs.items()
        if its_own != photos
    ]
    # the matrix of a raw photo follows the white balance; the correction acts on the sensor's own numbers
    if (
        not words
        and setup.profile != RAW_PROFILE
        and np.abs(stored.profile_to_XYZ - photo.to_XYZ).max() > SAME_PRIMARIES
    ):
        words = [f"the photo's colour profile has the same name, {setup.profile}, and other primaries"]
    return tuple(words)


def stored_tone(stored: StoredCorrection, reading: GrayReading, known: KnownReference) -> ToneFit:
    """The stored tone curve, at the exposure of a photo in which a gray card was read."""
    level = min(max(gray_level(reading, known), BEYOND[0]), BEYOND[1])
    if not stored.tone.is_usable:
        return untold_tone(stored.tone.why_not, level)
    curve = stored.tone.curve.at_exposure(level)
    veil, was = parameters_of(curve)[0], parameters_of(stored.tone.curve)[0]
    scale = np.ones(len(PARAMETERS))
    scale[:4] = veil / was if abs(was) > 1e-9 else level / stored.tone.curve.mid_level  # the veil, and its colour
    covariance = stored.tone.covariance * np.outer(scale, scale)
    covariance[0, 0] += (U_OTHER_VEIL * veil) ** 2 + U_LEAST_VEIL**2
    return replace(stored.tone, curve=curve, covariance=covariance)


def serving(
    photo: Photo, reading: GrayReading, known: KnownReference, stored: StoredCorrection
) -> tuple[StoredCorrection | None, Finding]:
    """Whether a correction that fits a photo (`apart`) serves it by its gray card too, and what is to be said of it."""
    tone = stored_tone(stored, reading, known)
    white_RGB = _white_RGB(_primaries(photo, stored, reading), reading.linear_RGB, known, tone)
    moved = _balance_moved(photo, stored, white_RGB)
    if moved > MAX_BALANCE:
        difference = (
            f"against {stored.source.file} the gray card is {100 * np.expm1(moved):.0f} % more coloured "
            f"(limit {100 * np.expm1(MAX_BALANCE):.0f} %): another lamp, or another white balance"
        )
        return None, finding("correction-not-fitting", difference=difference)
    said = {
        "file": stored.source.file,
        "date": (stored.source.taken or "at an unknown time")[:10],
        "reference": stored.source.reference,
        "residual": stored.residual.words,
    }
    return stored, finding("correction-used", **said)


def by_stored(
    photo: Photo, reading: GrayReading, known: KnownReference, stored: StoredCorrection, tone: ToneFit
) -> Correction:
    """The correction of a photo with a gray card, by what is stored of its camera and light.

    Parameters
    ----------
    photo : Photo
    reading : GrayReading
        The gray card, before any tone curve was taken back.
    known : KnownReference
        What is known of the gray card.
    stored : StoredCorrection
        One that serves the photo (`serving`).
    tone : ToneFit
        From `stored_tone`.
    """
    primaries = _primaries(photo, stored, reading)
    white_RGB = _white_RGB(primaries, reading.linear_RGB, known, tone)
    u_read = np.abs(_white_RGB(primaries, reading.linear_RGB * (1 + reading.u_relative), known, tone) / white_RGB - 1)
    stated = np.column_stack([np.full(3, U_CARD_LEVEL), np.diag(np.full(3, U_CARD_NEUTRAL))])
    error, camera_from = gray_card_error(), ""
    if stored.error is not None:
        error, camera_from = _widened(stored.error, _balance_moved(photo, stored, white_RGB)), stored.source.sha256
    tone_from = stored.source.sha256 if tone.is_usable else ""
    return Correction(
        primaries / white_RGB,
        tone,
        error,
        stated,
        np.diag(u_read),
        "stored",
        tone_from=tone_from,
        camera_from=camera_from,
    )


def _primaries(photo: Photo, stored: StoredCorrection, reading: GrayReading) -> Floats:
    """Those of the stored correction, else of the photo's own profile in the light that the card shows."""
    return photo.to_XYZ_by_neutral(reading.linear_RGB) if stored.primaries is None else stored.primaries


def _white_RGB(primaries: Floats, card_RGB: Floats, known: KnownReference, tone: ToneFit) -> Floats:
    """Linear RGB (3,) of a perfect white beside the card, the tone curve taken back."""
    light = tone.curve.apply(card_RGB).astype(np.float64) if tone.is_usable else card_RGB
    return np.asarray(light / np.linalg.solve(primaries, known.XYZ[0]))


def _balance_moved(photo: Photo, stored: StoredCorrection, white_RGB: Floats) -> float:
    """How far the white balance is from that of the stored photo, ln units.

    0 for raw photos: their channels are the sensor's own, and what balances them is taken back whole.
    """
    if photo.profile == RAW_PROFILE:
        return 0.0
    return float(np.hypot(*np.subtract(_ratios(white_RGB), stored.white_ratios)))


def _ratios(white_RGB: Floats) -> tuple[float, float]:
    red, green, blue = np.log(np.maximum(white_RGB, 1e-6))
    return float(red - green), float(blue - green)


def _widened(error: CameraError, balance_moved: float) -> CameraError:
    """With what differs between two photos of one camera in one light."""
    between = np.hypot(U_OTHER_PHOTO, U_PER_BALANCE * balance_moved) * gray_card_error().modes
    return replace(error, modes=np.concatenate([error.modes, between], axis=2))


def _named(value: str | None) -> str:
    return "not named" if value is None else value
