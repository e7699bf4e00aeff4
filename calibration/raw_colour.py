"""What do a camera's own numbers mean in XYZ?  DNG 1.7 chapter 6, "Mapping Camera Color Space to CIE XYZ Space".

A camera, or the file itself, states a matrix from XYZ to its numbers for one or two lights, or a "forward" matrix from
its balanced numbers to XYZ under D50. Two of them are mixed by the light's colour temperature, linear in 1/T. A matrix
to the camera is inverted, and XYZ adapted from that light to D50 by linear Bradford.

DNG takes the light's white as the inverted matrix gives it. Here it is the black body's or the daylight's of the same
colour temperature: a lamp that the matrix was not made for may come out far from any white, and takes the colours
along. Eleven measured cameras under tungsten, two LEDs, a fluorescent lamp and daylight, on 400 modelled woods: equal
for most, on two of them up to 4.6 Delta E 2000 nearer to the truth.

What the camera took for white chooses that mixture at first, and brings neutral things near R = G = B so that they can
be found. Once the gray card is read, the light on it chooses: a camera whose balance is locked to daylight takes a lamp
for something else. The colours themselves are set by the card: scaling a channel does not change what comes out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import D50, D65, adaptation_matrix, white_XYZ
from calibration.profiles import SMALLEST_DETERMINANT

Floats = NDArray[np.float64]

# DNG 1.7 tags.
_COLOR_MATRIX, _FORWARD_MATRIX = (50721, 50722), (50964, 50965)  # for the first light, for the second
_CAMERA_CALIBRATION, _LIGHT = (50723, 50724), (50778, 50779)
_ANALOG_BALANCE, _AS_SHOT_NEUTRAL, _AS_SHOT_WHITE = 50727, 50728, 50729

_A, _D55, _D75 = map(white_XYZ, ((0.44758, 0.40745), (0.33243, 0.34744), (0.29903, 0.31488)))  # CIE 15:2018
# The lights that matrices are made for: EXIF LightSource (Exif 2.32 table 9) -> colour temperature in K, and white.
_LIGHTS = {
    **dict.fromkeys((3, 17, 24), (2856.0, _A)),  # tungsten
    **dict.fromkeys((1, 4, 9, 18, 20), (5503.0, _D55)),  # daylight, flash, fine weather
    **dict.fromkeys((10, 19, 21), (6504.0, D65)),
    **dict.fromkeys((11, 22), (7504.0, _D75)),  # shade
}
_OTHER_LIGHT = (5003.0, D50)  # also for those that name none
_FEWEST_LOCUS_K = 1667.0  # of the black body's formula
_BLACK_BODY_TO_K, _DAYLIGHT_FROM_K = 3500.0, 4500.0  # between them from one to the other, without a step (chosen)
_ROUNDS = 20  # of the white point search; it settles to six digits in fewer than ten
_FEWEST_K, _MOST_K = 1000.0, 25_000.0  # what a damaged tag states beyond is no light


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A camera's colour for one light."""

    temperature_K: float
    white: Floats  # (3,), XYZ of that light, Y = 1
    to_camera: Floats  # (3, 3), XYZ -> the camera's numbers
    forward: Floats | None = None  # (3, 3), balanced numbers -> XYZ under D50
    unit: Floats | None = None  # (3, 3), this camera against its model, analog gains included; None: no difference


@dataclass(frozen=True, slots=True, eq=False)
class CameraColour:
    """What a raw file says of its colours."""

    calibrations: tuple[Calibration, ...]  # one or two
    neutral: Floats | None  # (3,), the camera's numbers for what it took as white; None: not said


@dataclass(frozen=True, slots=True, eq=False)
class CameraMatrix:
    """How a camera's numbers become XYZ: divide by `neutral`, then apply `to_XYZ`."""

    neutral: Floats  # (3,), the largest is 1
    to_XYZ: Floats  # (3, 3), to XYZ relative to D50; R = G = B = 1 gives D50


def dng_colour(tags: Mapping[int, Any]) -> CameraColour | None:
    """Read what a DNG file says of its colours.

    Parameters
    ----------
    tags : mapping
        Of the file's first page.

    Returns
    -------
    CameraColour or None
        None if the file states no matrix for three colours, as other raw files than DNG do not.
    """
    balance = _numbers(tags.get(_ANALOG_BALANCE), (3,))
    calibrations = []
    for number in range(2):
        to_camera = _numbers(tags.get(_COLOR_MATRIX[number]), (3, 3))
        if to_camera is None:
            continue
        calibration = _numbers(tags.get(_CAMERA_CALIBRATION[number]), (3, 3))
        unit = np.diag(np.ones(3) if balance is None else balance) @ (np.eye(3) if calibration is None else calibration)
        temperature_K, white = _LIGHTS.get(tags.get(_LIGHT[number], 0), _OTHER_LIGHT)
        forward = _numbers(tags.get(_FORWARD_MATRIX[number]), (3, 3))
        calibrations.append(Calibration(temperature_K, white, unit @ to_camera, forward, unit))
    if not calibrations:
        return None
    neutral = _numbers(tags.get(_AS_SHOT_NEUTRAL), (3,))
    white_xy = _numbers(tags.get(_AS_SHOT_WHITE), (2,))
    if neutral is None and white_xy is not None and white_xy.min() > 0:
        x, y = white_xy
        weight = _weight(calibrations, _temperature_K(white_XYZ((x, y))))
        neutral = _mixed([calibration.to_camera for calibration in calibrations], weight) @ white_XYZ((x, y))
    return CameraColour(tuple(calibrations), neutral)


def camera_at_D65(to_camera: ArrayLike, multipliers: ArrayLike) -> CameraColour:
    """The colours of a camera that the raw decoder knows.

    Parameters
    ----------
    to_camera : array_like, (3, 3)
        XYZ to the camera's numbers under D65.
    multipliers : array_like, (3,)
        By which the camera wanted its numbers balanced; zero or less where it said nothing.
    """
    wanted = np.asarray(multipliers, dtype=np.float64)
    neutral = 1 / wanted if np.isfinite(wanted).all() and wanted.min() > 0 else None
    return CameraColour((Calibration(6504.0, D65, np.asarray(to_camera, dtype=np.float64)),), neutral)


def camera_matrix(colour: CameraColour) -> CameraMatrix:
    """Turn what a raw file says into a matrix to XYZ relative to D50.

    Raises
    ------
    ValueError
        If what it says spans no colour space.
    """
    calibrations = colour.calibrations
    for calibration in calibrations:
        _check(calibration.to_camera)
    neutral = colour.neutral
    if neutral is None or not np.isfinite(neutral).all() or neutral.min() <= 0:
        neutral = calibrations[-1].to_camera @ calibrations[-1].white
    if not neutral.min() > 0:
        raise ValueError("its white is no white")
    neutral = neutral / neutral.max()
    temperature_K = _light_K(calibrations, neutral)
    weight = _weight(calibrations, temperature_K)
    forwards = [_forward(calibration, neutral) for calibration in calibrations if calibration.forward is not None]
    if len(forwards) == len(calibrations):
        to_XYZ = _mixed(forwards, weight)
    else:
        to_camera = _mixed([calibration.to_camera for calibration in calibrations], weight)
        to_XYZ = _inverted(to_camera, white_of_light(temperature_K))
    _check(to_XYZ)
    return CameraMatrix(neutral, to_XYZ)


def matrix_in_light(colour: CameraColour, balanced_by: ArrayLike, neutral_RGB: ArrayLike) -> Floats:
    """The matrix for the light that a neutral surface shows.

    Parameters
    ----------
    colour : CameraColour
        What the file says, and `camera_matrix` accepted.
    balanced_by : array_like, (3,)
        By which the camera's numbers were divided.
    neutral_RGB : array_like, (3,)
        What a neutral surface shows after that, at any level.

    Returns
    -------
    ndarray, (3, 3)
        From numbers divided by what the neutral surface shows to XYZ relative to D50. Multiplied by a level for each
        channel, as a gray card does, it takes numbers of any balance.
    """
    seen = np.asarray(neutral_RGB, dtype=np.float64) * np.asarray(balanced_by, dtype=np.float64)
    try:
        return camera_matrix(replace(colour, neutral=seen)).to_XYZ
    except ValueError:  # between two matrices that each hold, a damaged file may have one that does not
        return camera_matrix(colour).to_XYZ


def _check(matrix: Floats) -> None:
    smallest = SMALLEST_DETERMINANT * np.abs(matrix).max() ** 3
    if not np.isfinite(matrix).all() or not abs(np.linalg.det(matrix)) > smallest:
        raise ValueError("its colour matrix spans no colour space")


def _inverted(to_camera: Floats, white: Floats) -> Floats:
    """Matrix (3, 3) from balanced numbers to XYZ under D50 that takes 1, 1, 1 for this light's white (3,)."""
    _check(to_camera)
    return np.asarray(adaptation_matrix(white, D50) @ np.linalg.inv(to_camera) * (to_camera @ white))


def _forward(calibration: Calibration, neutral: Floats) -> Floats:
    """Matrix (3, 3) from numbers divided by `neutral` to XYZ under D50, exact for the white of both."""
    if calibration.forward is None:
        raise ValueError("_forward: the calibration has no forward matrix.")
    # rows that add up to D50, whatever their rounding: neutral stays neutral
    forward = calibration.forward * (D50 / calibration.forward.sum(axis=1))[:, np.newaxis]
    to_model = np.linalg.inv(np.eye(3) if calibration.unit is None else calibration.unit)
    return np.asarray(forward / (to_model @ neutral) @ to_model * neutral)


def _light_K(calibrations: Sequence[Calibration], neutral: Floats) -> float:
    """Colour temperature of what the camera took as white: found by turns with the mixture that it chooses."""
    temperature_K = _OTHER_LIGHT[0]
    for _ in range(_ROUNDS):
        mixed = _mixed([calibration.to_camera for calibration in calibrations], _weight(calibrations, temperature_K))
        temperature_K = _temperature_K(np.asarray(np.linalg.solve(mixed, neutral), dtype=np.float64))
    return temperature_K


def _weight(calibrations: Sequence[Calibration], temperature_K: float) -> float:
    """Share of the second calibration, linear in 1/T and held between the two."""
    if len(calibrations) == 1:
        return 0.0
    first, second = (1 / calibration.temperature_K for calibration in calibrations)
    if first == second:
        return 0.0
    return float(np.clip((1 / temperature_K - first) / (second - first), 0, 1))


def _mixed(matrices: list[Floats], weight: float) -> Floats:
    return np.asarray((1 - weight) * matrices[0] + weight * matrices[-1])


def _temperature_K(XYZ: Floats) -> float:
    """Correlated colour temperature, McCamy 1992: within a few kelvins from tungsten to daylight."""
    x, y = XYZ[:2] / XYZ.sum()
    n = (x - 0.3320) / (0.1858 - y)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    return float(np.clip(kelvin, _FEWEST_K, _MOST_K)) if np.isfinite(kelvin) else _OTHER_LIGHT[0]


def white_of_light(temperature_K: float) -> Floats:
    """XYZ (3,), Y = 1, of the black body or the daylight of a colour temperature.

    Black body: Kang et al. 2002 (J. Korean Phys. Soc. 41, 865), from 1667 K on. Daylight: CIE 15:2018, to 25 000 K.
    """
    kelvin = float(np.clip(temperature_K, _FEWEST_LOCUS_K, _MOST_K))
    daylight = np.clip((kelvin - _BLACK_BODY_TO_K) / (_DAYLIGHT_FROM_K - _BLACK_BODY_TO_K), 0, 1)
    x, y = (1 - daylight) * np.array(_black_body_xy(kelvin)) + daylight * np.array(_daylight_xy(kelvin))
    return white_XYZ((float(x), float(y)))


def _black_body_xy(kelvin: float) -> tuple[float, float]:
    T = kelvin / 1000
    x = -0.2661239 / T**3 - 0.2343589 / T**2 + 0.8776956 / T + 0.179910
    if kelvin < 2222:
        return x, -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    return x, -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867


def _daylight_xy(kelvin: float) -> tuple[float, float]:
    T = kelvin / 1000
    if kelvin <= 7000:
        x = -4.6070 / T**3 + 2.9678 / T**2 + 0.09911 / T + 0.244063
    else:
        x = -2.0064 / T**3 + 1.9018 / T**2 + 0.24748 / T + 0.237040
    return x, -3.000 * x**2 + 2.870 * x - 0.275


def _numbers(value: object, shape: tuple[int, ...]) -> Floats | None:
    """Rationals of a tag as an array; None if there are not as many as wanted, or a denominator is zero."""
    if not isinstance(value, tuple) or len(value) != np.prod(shape):
        return None
    try:
        numbers = np.array([float(number) for number in value]).reshape(shape)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return numbers if np.isfinite(numbers).all() else None
