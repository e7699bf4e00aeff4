"""What colour do these numbers stand for?  Between RGB, CIE XYZ and CIELAB, always D50 and the 2 degree observer.

Sources: ISO/CIE 11664-4:2019 (CIELAB), IEC 61966-2-1:1999 (sRGB), ICC.1:2022 (the profile connection space).
All of it keeps what lies outside the usual range: noise below black is negative, a glossy spot is above white,
and clipping either would shift the mean of a zone.
"""

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# CIELAB: a cube root, and below this ratio to white a line that touches it. Exact: the rounded 0.008856 and 903.3
# leave a small step.
LINEAR_LIMIT = (6 / 29) ** 3
LINEAR_SLOPE = 841 / 108
LINEAR_OFFSET = 4 / 29

# sRGB: a power, and a line below these two (IEC 61966-2-1). Both as printed there; they miss each other by 3e-8.
SRGB_DECODE_LIMIT = 0.04045
SRGB_ENCODE_LIMIT = 0.0031308

# Tile of `Lab_image`, bytes; chosen by measurement: a tile's pixels, buffer and result stay in a cache of 1 MiB, and
# a tile is still long enough to hide the cost of the calls. From 128 KiB to 1 MiB the time is the same within 10 %.
TILE_BYTES = 256 * 1024


def _constant(values: ArrayLike) -> Array:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)  # shared by everybody, so changed by nobody
    return array


def white_XYZ(xy: tuple[float, float]) -> Array:
    """Tristimulus values of a white of this chromaticity, Y = 1.

    Parameters
    ----------
    xy : (float, float)
        CIE 1931 chromaticity.

    Returns
    -------
    XYZ : ndarray of float64, (3,)
    """
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


# D50 as an ICC profile writes it: X = F6D6h, Z = D32Dh in units of 1/65536 (0.9642, 1, 0.8249 to four decimals).
# Not the CIE's own D50 (0.96422, 1, 0.82521): the colorants of a profile add up to this white, so only with it does
# a neutral of the photo land on a* = b* = 0; the other one would tint every gray by b* = 0.025.
D50 = _constant([0xF6D6 / 65536, 1.0, 0xD32D / 65536])
D65 = _constant(white_XYZ((0.3127, 0.3290)))  # the chromaticity of IEC 61966-2-1

BRADFORD = _constant(  # Lam 1985, as in ICC.1:2022 annex E
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def adaptation_matrix(source_white: ArrayLike, destination_white: ArrayLike) -> Array:
    """Linear Bradford adaptation: XYZ seen under one white to XYZ of the same appearance under another.

    Parameters
    ----------
    source_white, destination_white : array_like, (3,)
        XYZ of the two whites, same scale.

    Returns
    -------
    matrix : ndarray of float64, (3, 3)
        ``XYZ_destination = matrix @ XYZ_source``. The source white becomes the destination white exactly.

    Notes
    -----
    ICC.1:2022 annex E.
    """
    gains = (BRADFORD @ np.asarray(destination_white)) / (BRADFORD @ np.asarray(source_white))
    return np.linalg.solve(BRADFORD, gains[:, np.newaxis] * BRADFORD)


def primaries_matrix(primaries_xy: ArrayLike, white: ArrayLike) -> Array:
    """Linear RGB to XYZ, from the chromaticities of the primaries and the white that equal RGB makes.

    Parameters
    ----------
    primaries_xy : array_like, (3, 2)
        CIE 1931 x, y of red, green, blue.
    white : array_like, (3,)
        XYZ of RGB = 1, 1, 1.

    Returns
    -------
    matrix : ndarray of float64, (3, 3)
        ``XYZ = matrix @ RGB``; its columns are the primaries and add up to the white.
    """
    x, y = np.asarray(primaries_xy, dtype=np.float64).T
    directions = np.stack([x, y, 1 - x - y])
    amounts = np.linalg.solve(directions, np.asarray(white, dtype=np.float64))
    return directions * amounts


# Chromaticities of red, green and blue; the white is D65 in all three.
SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1
DISPLAY_P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # SMPTE EG 432-1
OPRGB_PRIMARIES = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # IEC 61966-2-5, the wide RGB space cameras offer

# Linear RGB to XYZ relative to D50.
# Derived from the chromaticities, not the standard's four-digit matrix: its rounding moves a colour by up to 0.02.
SRGB_TO_XYZ = _constant(adaptation_matrix(D65, D50) @ primaries_matrix(SRGB_PRIMARIES, D65))
DISPLAY_P3_TO_XYZ = _constant(adaptation_matrix(D65, D50) @ primaries_matrix(DISPLAY_P3_PRIMARIES, D65))
OPRGB_TO_XYZ = _constant(adaptation_matrix(D65, D50) @ primaries_matrix(OPRGB_PRIMARIES, D65))
XYZ_TO_SRGB = _constant(np.linalg.inv(SRGB_TO_XYZ))


def sRGB_decode(encoded: ArrayLike) -> Array:
    """Decode sRGB values to linear light (IEC 61966-2-1).

    Parameters
    ----------
    encoded : array_like, any shape
        0..1, that is an 8-bit code divided by 255. Negative values follow the line, values above 1 the power.

    Returns
    -------
    linear : ndarray of float64, same shape
        0..1, proportional to light.
    """
    V = np.asarray(encoded, dtype=np.float64)
    power = ((np.maximum(V, SRGB_DECODE_LIMIT) + 0.055) / 1.055) ** 2.4
    return np.where(V > SRGB_DECODE_LIMIT, power, V / 12.92)


def sRGB_encode(linear: ArrayLike) -> Array:
    """Encode linear light as sRGB values (IEC 61966-2-1): the inverse of `sRGB_decode`, to 3e-8 at the knee.

    Parameters
    ----------
    linear : array_like, any shape
        0..1, proportional to light.

    Returns
    -------
    encoded : ndarray of float64, same shape
    """
    light = np.asarray(linear, dtype=np.float64)
    power = 1.055 * np.maximum(light, SRGB_ENCODE_LIMIT) ** (1 / 2.4) - 0.055
    return np.where(light > SRGB_ENCODE_LIMIT, power, 12.92 * light)


def XYZ_to_Lab(XYZ: ArrayLike, white: ArrayLike = D50) -> Array:
    """CIELAB of tristimulus values (ISO/CIE 11664-4).

    Parameters
    ----------
    XYZ : array_like, (..., 3)
        Relative to `white`, whose Y is 1; average tristimulus values first and convert then, not the other way round.
        Negative values are kept: below black the line goes on.
    white : array_like, (3,)
        XYZ of the reference white.

    Returns
    -------
    Lab : ndarray of float64, (..., 3)
        L* (0 black, 100 the white), a* (red to green), b* (yellow to blue).

    Raises
    ------
    ValueError
        If the last axis is not 3 long or a value is not finite.
    """
    ratio = _colours(XYZ, "XYZ_to_Lab") / np.asarray(white, dtype=np.float64)
    f = np.where(ratio > LINEAR_LIMIT, np.cbrt(ratio), LINEAR_SLOPE * ratio + LINEAR_OFFSET)
    fX, fY, fZ = np.moveaxis(f, -1, 0)
    return np.stack([116 * fY - 16, 500 * (fX - fY), 200 * (fY - fZ)], axis=-1)


def _colours(values: ArrayLike, caller: str) -> Array:
    return checked_colours(values, caller).astype(np.float64, copy=False)


def Lab_to_XYZ(Lab: ArrayLike, white: ArrayLike = D50) -> Array:
    """Tristimulus values of CIELAB: the exact inverse of `XYZ_to_Lab`, below black too.

    Parameters
    ----------
    Lab : array_like, (..., 3)
    white : array_like, (3,)
        XYZ of the reference white.

    Returns
    -------
    XYZ : ndarray of float64, (..., 3)
        On the scale of `white`.

    Raises
    ------
    ValueError
        If the last axis is not 3 long or a value is not finite.
    """
    L_star, a_star, b_star = np.moveaxis(_colours(Lab, "Lab_to_XYZ"), -1, 0)
    fY = (L_star + 16) / 116
    f = np.stack([fY + a_star / 500, fY, fY - b_star / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f * f * f, (f - LINEAR_OFFSET) / LINEAR_SLOPE)
    return ratio * np.asarray(white, dtype=np.float64)


def Lab_to_LCh(Lab: ArrayLike) -> Array:
    """Lightness, chroma and hue angle of CIELAB.

    Parameters
    ----------
    Lab : array_like, (..., 3)

    Returns
    -------
    LCh : ndarray of float64, (..., 3)
        L*, C* (0 is neutral), hue in degrees, 0 <= h < 360: 0 red, 90 yellow, 180 green, 270 blue; 0 for a neutral.

    Raises
    ------
    ValueError
        If the last axis is not 3 long or a value is not finite.
    """
    L_star, a_star, b_star = np.moveaxis(_colours(Lab, "Lab_to_LCh"), -1, 0)
    hue_deg = np.degrees(np.arctan2(b_star, a_star)) % 360
    hue_deg = np.where((hue_deg == 360) | ((a_star == 0) & (b_star == 0)), 0.0, hue_deg)  # -1e-20 % 360 is 360
    return np.stack([L_star, np.hypot(a_star, b_star), hue_deg], axis=-1)


def Lab_to_sRGB_codes(Lab: ArrayLike) -> NDArray[np.uint8]:
    """8-bit sRGB to show a colour on a screen or page: adapted to D65, clipped to what sRGB can show.

    Parameters
    ----------
    Lab : array_like, (..., 3)
        CIELAB, D50.

    Returns
    -------
    codes : ndarray of uint8, (..., 3)
        For the eye only: a vivid colour outside sRGB is clipped.

    Raises
    ------
    ValueError
        If the last axis is not 3 long or a value is not finite.
    """
    linear = Lab_to_XYZ(_colours(Lab, "Lab_to_sRGB_codes")) @ XYZ_TO_SRGB.T
    return np.rint(255 * sRGB_encode(np.clip(linear, 0, 1))).astype(np.uint8)


def Lab_image(
    linear_RGB: NDArray[np.float32], matrix: ArrayLike, out: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """CIELAB of every pixel: `XYZ_to_Lab` for whole photos, within 1e-3 of it and some ten times as fast.

    Parameters
    ----------
    linear_RGB : ndarray of float32, (rows, columns, 3)
        Proportional to light; not changed. Values below 0 and above 1 are kept.
    matrix : array_like, (3, 3)
        Linear RGB to X/Xn, Y/Yn, Z/Zn: everything linear folded into one, for example
        ``gain * to_XYZ / D50[:, np.newaxis]``.
    out : ndarray of float32, (rows, columns, 3), C-contiguous, optional
        Where to write; may be `linear_RGB` itself. A large fresh array costs as much time as the arithmetic.

    Returns
    -------
    Lab : ndarray of float32, (rows, columns, 3)
        `out` if given.

    Raises
    ------
    ValueError
        If shapes or types are not as above, or a pixel is not finite.
    """
    # Not cv2.cvtColor(..., COLOR_RGB2Lab): its float path is off by up to 0.5, and it clips to 0..1.
    to_ratio = np.asarray(matrix, dtype=np.float64)
    _check_image(linear_RGB, to_ratio, out)
    if out is None:
        out = np.empty(linear_RGB.shape, np.float32)
    rows, columns, _ = linear_RGB.shape
    if linear_RGB.size == 0:
        return out
    step = max(1, TILE_BYTES // (12 * columns))
    ratio = np.empty((min(step, rows), columns, 3), np.float32)
    for top in range(0, rows, step):
        pixels = linear_RGB[top : top + step]
        _Lab_tile(pixels, to_ratio, ratio[: len(pixels)], out[top : top + step])
    return out


# L*, a*, b* from f(X/Xn), f(Y/Yn), f(Z/Zn), 1
_F_TO_LAB = np.array([[0, 116, 0, -16], [500, -500, 0, 0], [0, 200, -200, 0]], dtype=np.float64)


def _Lab_tile(
    pixels: NDArray[np.float32], to_ratio: Array, ratio: NDArray[np.float32], Lab: NDArray[np.float32]
) -> None:
    """Fill `Lab`; `ratio` is scratch space."""
    if not np.isfinite(pixels).all():
        raise ValueError("Lab_image: some pixels are not finite. Mask missing pixels first.")
    cv2.transform(pixels, to_ratio, dst=ratio)
    limit = np.float32(LINEAR_LIMIT)
    missing = None
    if ratio.min() < limit:
        # The line is the tangent of the cube root at the limit. So f is the root of the ratio, or of the limit if
        # that is more, and below the limit the slope times what is missing comes off: negative values too.
        missing = np.minimum(ratio - limit, 0) * np.float32(LINEAR_SLOPE)
        np.maximum(ratio, limit, out=ratio)
    cv2.pow(ratio, 1 / 3, dst=ratio)  # np.cbrt takes ten times as long on a CPU without AVX-512
    if missing is not None:
        ratio += missing
    cv2.transform(ratio, _F_TO_LAB, dst=Lab)


def _check_image(linear_RGB: NDArray[np.float32], to_ratio: Array, out: NDArray[np.float32] | None) -> None:
    if linear_RGB.ndim != 3 or linear_RGB.shape[2] != 3 or linear_RGB.dtype != np.float32:
        raise ValueError(f"Lab_image: takes float32 (rows, columns, 3), got {linear_RGB.dtype} {linear_RGB.shape}.")
    if to_ratio.shape != (3, 3) or not np.isfinite(to_ratio).all():
        raise ValueError(f"Lab_image: the matrix must be 3x3 and finite, got {to_ratio.tolist()}.")
    if out is not None and (
        out.shape != linear_RGB.shape
        or out.dtype != np.float32
        or not out.flags.c_contiguous
        or not out.flags.writeable
    ):
        raise ValueError(
            f"Lab_image: out must be writeable C-contiguous float32 {linear_RGB.shape}, got {out.dtype} {out.shape}."
        )


def checked_colours(values: ArrayLike, caller: str) -> NDArray[np.floating]:
    """Take colours as floating-point numbers and refuse what cannot be one.

    Parameters
    ----------
    values : array_like, (..., 3)
    caller : str
        Name of the function to blame in the message.

    Returns
    -------
    colours : ndarray of float32 or float64, (..., 3)
        float32 stays float32, everything else becomes float64. A view where possible.

    Raises
    ------
    ValueError
        If the last axis is not 3 long or a value is not finite.
    """
    colours = np.asarray(values)
    if colours.dtype != np.float32:
        colours = colours.astype(np.float64, copy=False)
    if colours.ndim == 0 or colours.shape[-1] != 3:
        raise ValueError(f"{caller}: the last axis must hold the 3 values of a colour, got shape {colours.shape}.")
    if not np.isfinite(colours).all():
        missing = np.count_nonzero(~np.isfinite(colours))
        raise ValueError(f"{caller}: {missing} of {colours.size} values are not finite. Mask missing pixels first.")
    return colours
