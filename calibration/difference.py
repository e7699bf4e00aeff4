"""How far apart do two colours look, and in which direction?  Sources: ISO/CIE 11664-4 and 11664-6.

ISO/CIE 11664-4:2019 gives ΔE*ab and its parts, ISO/CIE 11664-6:2022 CIEDE2000; its branches follow Sharma, Wu and
Dalal, Color Research and Application 30(1), 21-30, 2005, and their 34 test pairs.
CIEDE2000 is meant for small differences, up to about 5 ΔE*ab. Neither formula is a mean of differences: average
tristimulus values first, compare then.
"""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import checked_colours

Floats = NDArray[np.floating]

# Pairs worked on at a time by `delta_E_00`; chosen by measurement: its twenty or so temporary planes of float32 stay
# in a cache of 1 MiB. Half and double of it take the same time within 10 %.
TILE_PAIRS = 8192

# T of CIEDE2000 as polynomials in the cosine of the mean hue: T = sum(_T_COS cos^n) + sin sum(_T_SIN cos^n), from
# cos 2h = 2c^2 - 1, cos 3h = 4c^3 - 3c, sin 3h = s(4c^2 - 1), cos 4h = 8c^4 - 8c^2 + 1, sin 4h = s(8c^3 - 4c).
_COS_6, _SIN_6, _COS_63, _SIN_63 = cos(radians(6)), sin(radians(6)), cos(radians(63)), sin(radians(63))
_T_COS = (
    1 - 0.24 - 0.20 * _COS_63,
    -0.17 * cos(radians(30)) - 3 * 0.32 * _COS_6,
    2 * 0.24 + 8 * 0.20 * _COS_63,
    4 * 0.32 * _COS_6,
    -8 * 0.20 * _COS_63,
)
_T_SIN = (
    -0.17 * sin(radians(30)) + 0.32 * _SIN_6,
    4 * 0.20 * _SIN_63,
    -4 * 0.32 * _SIN_6,
    -8 * 0.20 * _SIN_63,
)


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """Parts of a CIELAB difference, sample minus standard, each an array of the pairs' shape.

    dE*ab^2 = dL^2 + da^2 + db^2 = dL^2 + dC^2 + dH^2. All in CIELAB units.
    """

    dL: Floats  # + lighter, - darker
    da: Floats  # + redder, - greener
    db: Floats  # + yellower, - bluer
    dC: Floats  # + more vivid, - grayer
    dH: Floats  # + hue turned counter-clockwise (red to yellow to green), - clockwise; not an angle


def delta_E_ab(Lab_1: ArrayLike, Lab_2: ArrayLike) -> Floats:
    """CIE 1976 colour difference ΔE*ab: the plain distance in CIELAB.

    Parameters
    ----------
    Lab_1, Lab_2 : array_like, (..., 3)
        CIELAB of the same white; they broadcast.

    Returns
    -------
    delta_E : ndarray of the broadcast shape without the last axis
        float32 if both are float32, else float64.

    Raises
    ------
    ValueError
        If a last axis is not 3 long or a value is not finite.
    """
    difference = checked_colours(Lab_2, "delta_E_ab") - checked_colours(Lab_1, "delta_E_ab")
    squares: Floats = np.einsum("...i,...i->...", difference, difference)
    return np.sqrt(squares)


def components(Lab_1: ArrayLike, Lab_2: ArrayLike) -> Components:
    """Split a difference into lightness, red-green, yellow-blue, chroma and hue (ISO/CIE 11664-4).

    Parameters
    ----------
    Lab_1 : array_like, (..., 3)
        The standard: the target, the control, "a".
    Lab_2 : array_like, (..., 3)
        The sample, "b"; every part is sample minus standard. They broadcast.

    Returns
    -------
    parts : Components
        dH = 2 sqrt(C1 C2) sin(Δh / 2), with Δh in -180°..180°; where the hues are exactly opposite the sign is that
        of h2 - h1 with both hues in 0°..360°; 0 where one of the colours is neutral.

    Raises
    ------
    ValueError
        If a last axis is not 3 long or a value is not finite.
    """
    L_1, a_1, b_1 = np.moveaxis(checked_colours(Lab_1, "components"), -1, 0)
    L_2, a_2, b_2 = np.moveaxis(checked_colours(Lab_2, "components"), -1, 0)
    C_1, C_2 = _chroma(a_1, b_1), _chroma(a_2, b_2)
    dH, _, _ = _hue_pair(*np.broadcast_arrays(a_1, b_1, C_1, a_2, b_2, C_2))
    return Components(dL=L_2 - L_1, da=a_2 - a_1, db=b_2 - b_1, dC=C_2 - C_1, dH=dH[()])


def delta_E_00(Lab_1: ArrayLike, Lab_2: ArrayLike, k_L: float = 1, k_C: float = 1, k_H: float = 1) -> Floats:
    """CIEDE2000 colour difference (ISO/CIE 11664-6).

    Parameters
    ----------
    Lab_1, Lab_2 : array_like, (..., 3)
        CIELAB of the same white; they broadcast. Their order does not matter.
    k_L, k_C, k_H : float, above 0
        Parametric factors; 1:1:1 are the reference conditions, 2:1:1 is usual for textiles.

    Returns
    -------
    delta_E : ndarray of the broadcast shape without the last axis
        float32 if both are float32 (then good to 1e-4), else float64.

    Raises
    ------
    ValueError
        If a last axis is not 3 long, a value is not finite, or a factor is not above 0.

    Notes
    -----
    The formula jumps by up to 0.27 (for colours within 5 ΔE*ab; Sharma et al., CIC12, 334-339, 2004) where the hues of
    two nearly neutral colours are 180° apart. Exactly there the rounding of the inputs decides.
    """
    if not (k_L > 0 and k_C > 0 and k_H > 0):  # this way round, NaN is refused too
        raise ValueError(f"delta_E_00: factors must be above 0, got k_L={k_L:g}, k_C={k_C:g}, k_H={k_H:g}.")
    colours_1, colours_2 = checked_colours(Lab_1, "delta_E_00"), checked_colours(Lab_2, "delta_E_00")
    shape = np.broadcast_shapes(colours_1.shape, colours_2.shape)
    flat_1, flat_2 = _flat(colours_1, shape), _flat(colours_2, shape)
    dtype = np.result_type(colours_1, colours_2)
    delta_E: Floats = np.empty(shape[:-1], dtype)
    flat = delta_E.reshape(-1)
    for start in range(0, flat.size, TILE_PAIRS):
        tile = slice(start, start + TILE_PAIRS)
        planes_1 = _planes(flat_1 if len(flat_1) == 1 else flat_1[tile], dtype)
        planes_2 = _planes(flat_2 if len(flat_2) == 1 else flat_2[tile], dtype)
        flat[tile] = _CIEDE2000(planes_1, planes_2, k_L, k_C, k_H)
    return delta_E[()]


def _flat(colours: Floats, shape: tuple[int, ...]) -> Floats:
    """Colours in a row, (pairs, 3); a single one stays (1, 3), so that a map against one target needs no copies."""
    return colours.reshape(1, 3) if colours.size == 3 else np.broadcast_to(colours, shape).reshape(-1, 3)


def _planes(colours: Floats, dtype: np.dtype[np.floating]) -> Floats:
    return np.ascontiguousarray(colours.T, dtype)


def _CIEDE2000(planes_1: Floats, planes_2: Floats, k_L: float, k_C: float, k_H: float) -> Floats:
    """CIEDE2000 of one tile; the symbols are those of Sharma et al., without the primes."""
    (L_1, a_1, b_1), (L_2, a_2, b_2) = planes_1, planes_2
    C_bar = (_chroma(a_1, b_1) + _chroma(a_2, b_2)) / 2
    stretch = 1.5 - 0.5 * _chroma_weight(C_bar)  # 1 + G
    a_1, a_2 = a_1 * stretch, a_2 * stretch
    C_1, C_2 = _chroma(a_1, b_1), _chroma(a_2, b_2)
    dH, cos_h, sin_h = _hue_pair(a_1, b_1, C_1, a_2, b_2, C_2)
    C_bar = (C_1 + C_2) / 2
    L_offset = (L_1 + L_2) / 2 - 50
    L_offset *= L_offset
    dL = (L_2 - L_1) / (k_L * (1 + 0.015 * L_offset / np.sqrt(20 + L_offset)))
    dC = (C_2 - C_1) / (k_C * (1 + 0.045 * C_bar))
    dH /= k_H * (1 + 0.015 * C_bar * _hue_weight(cos_h, sin_h))
    squares: Floats = dL * dL + dC * dC + dH * dH
    # The rotation term acts on blue: at hues 0 to 150 degrees, where wood lies, it is below 1e-10 of the rest.
    blue = np.flatnonzero(sin_h < 0.5 * (cos_h < 0))
    if blue.size:
        squares[blue] += _rotation(cos_h[blue], sin_h[blue], C_bar[blue]) * dC[blue] * dH[blue]
    np.sqrt(squares, out=squares)
    return squares


def _chroma(a: Floats, b: Floats) -> Floats:
    """Chroma, kept just above 0 (1e-19 in float32), so that it never falls below |a| or |b| when squares vanish."""
    squares: Floats = a * a
    squares += b * b
    squares += np.finfo(squares.dtype).tiny
    return np.sqrt(squares)


def _chroma_weight(C: Floats) -> Floats:
    """Square root of C^7 / (C^7 + 25^7)."""
    ratio = C / 25
    square = ratio * ratio
    seventh = square * square * square * ratio
    return np.sqrt(seventh / (seventh + 1))


def _hue_pair(
    a_1: Floats, b_1: Floats, C_1: Floats, a_2: Floats, b_2: Floats, C_2: Floats
) -> tuple[Floats, Floats, Floats]:
    """Signed hue difference dH, and cosine and sine of the mean hue, without any angle.

    With the unit vectors u of the two hues, u_1 + u_2 points to the mean hue and u_2 - u_1 lies across it; the one
    that is longer is used, so nothing cancels. Where a colour is neutral dH is 0 and the mean hue has no effect.
    """
    product = C_1 * C_2
    dot = a_1 * a_2 + b_1 * b_2
    cross = a_1 * b_2 - b_1 * a_2
    chord = np.sqrt(2 * (product + np.abs(dot)))  # length of the longer vector, times the root of C_1 C_2
    scale = chord * np.sqrt(product)
    dH = 2 * cross / chord
    cos_h = a_1 * C_2 + a_2 * C_1
    sin_h = b_1 * C_2 + b_2 * C_1
    wide = dot < 0  # hues more than 90 degrees apart
    if wide.any():
        # Exactly opposite hues: the published formula keeps h_2 - h_1 = +180 if h_1 is the smaller, else -180.
        h_1_smaller = (b_1 > 0) | ((b_1 == 0) & (a_1 > 0))
        sign = np.where((cross > 0) | ((cross == 0) & h_1_smaller), 1, -1).astype(product.dtype)
        dH = np.where(wide, sign * chord, dH)
        cos_h, sin_h = (
            np.where(wide, sign * (b_2 * C_1 - b_1 * C_2), cos_h),
            np.where(wide, sign * (a_1 * C_2 - a_2 * C_1), sin_h),
        )
    return dH, cos_h / scale, sin_h / scale


def _hue_weight(cos_h: Floats, sin_h: Floats) -> Floats:
    """T = 1 - .17 cos(h - 30°) + .24 cos 2h + .32 cos(3h + 6°) - .20 cos(4h - 63°), its multiple angles expanded."""
    even: Floats = np.full_like(cos_h, _T_COS[4])
    for coefficient in _T_COS[3::-1]:
        even *= cos_h
        even += coefficient
    odd: Floats = np.full_like(cos_h, _T_SIN[3])
    for coefficient in _T_SIN[2::-1]:
        odd *= cos_h
        odd += coefficient
    odd *= sin_h
    even += odd
    return even


def _rotation(cos_h: Floats, sin_h: Floats, C_bar: Floats) -> Floats:
    """R_T, the interaction of chroma and hue in the blue."""
    hue_deg = np.degrees(np.arctan2(sin_h, cos_h)) % 360
    offset = (hue_deg - 275) / 25
    twice_theta = np.radians(60 * np.exp(-offset * offset))
    R_T: Floats = -2 * _chroma_weight(C_bar) * np.sin(twice_theta)
    return R_T
