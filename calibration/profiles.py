"""What linear light, and which XYZ, does a code value stand for?  ICC.1:2022 (the profile format, version 4.4).

Pillow's binding of LittleCMS opens and checks a profile and gives its colour space, class and colorants. It works in
8 bits only and does not show the tone curves, so these are read here, straight from their tags: a matrix profile then
becomes one look-up table and one 3x3 in floating point, which costs nothing beyond what sRGB would. A profile made of
look-up tables is left to LittleCMS, in 8 bits.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from io import BytesIO

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms

from calibration.colorspace import (
    BRADFORD,
    D50,
    D65,
    DISPLAY_P3_TO_XYZ,
    OPRGB_TO_XYZ,
    SRGB_TO_XYZ,
    adaptation_matrix,
    primaries_matrix,
    sRGB_decode,
)

Floats = NDArray[np.float64]
MatrixInLight = Callable[[Floats], Floats]  # linear RGB (3,) of a neutral surface -> matrix (3, 3) for that light
ToneCurve = Callable[[Floats], Floats]  # code as a fraction of full scale -> linear light

OPRGB_GAMMA = 563 / 256  # as profiles store the 2.2 of IEC 61966-2-5

_HEADER_BYTES = 128  # then the tag count and the tag table; ICC.1:2022 clause 7
# Chosen: of a matrix to XYZ. sRGB has 0.2; below this, two primaries are as good as one.
SMALLEST_DETERMINANT = 1e-4

_USUAL_CLASSES = ("scnr", "mntr", "prtr", "spac")  # those that may be embedded in a picture
_ROWS_AT_A_TIME = 256  # keeps the copies that Pillow makes small


class ProfileDamagedError(ValueError):
    """The profile cannot be used; the message says why. Assume sRGB, and say so."""


class ProfileSpaceError(ValueError):
    """The profile is for another kind of picture, such as CMYK. The photo's numbers mean something else."""


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """The meaning of RGB codes: a tone curve for each channel, then a matrix.

    `table_icc` is set for a table-based profile: codes must go through `apply_tables` first, and curves and matrix
    are those of the space that this leads to.
    """

    name: str
    curves: tuple[ToneCurve, ToneCurve, ToneCurve]
    to_XYZ: Floats  # (3, 3), linear RGB -> XYZ relative to D50; R = G = B = 1 gives D50_XYZ
    table_icc: bytes | None = None
    to_XYZ_in_light: MatrixInLight | None = None  # None: `to_XYZ` in every light

    def table(self, levels: int) -> NDArray[np.float32]:
        """Linear RGB of every code value.

        Parameters
        ----------
        levels : int
            256 or 65536.

        Returns
        -------
        ndarray of float32, (levels, 3)
        """
        fraction = np.arange(levels) / (levels - 1)
        return np.stack([curve(fraction) for curve in self.curves], axis=1).astype(np.float32)


def power_curve(gamma: float) -> ToneCurve:
    """Make the pure power that many profiles and the gAMA chunk of PNG state."""
    return partial(_power, gamma=gamma)


def _power(fraction: Floats, *, gamma: float) -> Floats:
    return np.asarray(np.power(fraction, gamma))


SRGB = Profile("sRGB", (sRGB_decode,) * 3, SRGB_TO_XYZ)  # IEC 61966-2-1
DISPLAY_P3 = Profile("Display P3", (sRGB_decode,) * 3, DISPLAY_P3_TO_XYZ)  # P3 primaries, D65, the sRGB curve
OPRGB = Profile("opRGB", (power_curve(OPRGB_GAMMA),) * 3, OPRGB_TO_XYZ)  # IEC 61966-2-5, cameras' optional space


def profile_of_primaries(name: str, primaries_xy: ArrayLike, curve: ToneCurve, *, white: ArrayLike = D65) -> Profile:
    """Make a profile from chromaticities, adapted to D50.

    Parameters
    ----------
    name : str
    primaries_xy : array_like, (3, 2)
        CIE 1931 x, y of red, green, blue.
    curve : callable
        The same for all three channels.
    white : array_like, (3,)
        XYZ of R = G = B = 1.

    Raises
    ------
    ProfileDamagedError
        If the chromaticities span no colour space.
    """
    try:
        to_XYZ = primaries_matrix(primaries_xy, white)
    except np.linalg.LinAlgError as refused:
        raise ProfileDamagedError("its primaries span no colour space") from refused
    return Profile(name, (curve, curve, curve), _white_to_D50(to_XYZ))


def _white_to_D50(to_XYZ: Floats) -> Floats:
    """Adapt a matrix so that R = G = B = 1 is exactly the white of the connection space.

    Profiles round their colorants to 1/65536, and some old ones are not adapted at all. Linear Bradford serves both:
    for the rounding it is a change in the fifth decimal, and neutral codes come out neutral. LittleCMS leaves the
    rounding in: some thousandths in a* and b*.
    """
    white = to_XYZ.sum(axis=1)
    if not np.isfinite(to_XYZ).all() or abs(np.linalg.det(to_XYZ)) < SMALLEST_DETERMINANT or not 0.5 < white[1] < 2:
        raise ProfileDamagedError("its primaries span no colour space")
    if (BRADFORD @ white).min() <= 0:
        raise ProfileDamagedError("its white is no white")
    return adaptation_matrix(white, D50) @ to_XYZ


def read_profile(icc: bytes) -> Profile:
    """Read an embedded ICC profile.

    Parameters
    ----------
    icc : bytes
        The whole profile, as found in a photo.

    Returns
    -------
    Profile
        With `table_icc` set if the profile is table-based.

    Raises
    ------
    ProfileSpaceError
        If it describes neither RGB nor gray.
    ProfileDamagedError
        If LittleCMS or we cannot make sense of it.
    """
    try:
        known = ImageCms.ImageCmsProfile(BytesIO(icc)).profile
        space, kind, name = known.xcolor_space.strip(), known.device_class.strip(), known.profile_description
        colorants = (known.red_colorant, known.green_colorant, known.blue_colorant)
        is_matrix = known.is_matrix_shaper and known.connection_space.strip() == "XYZ"
    except Exception as refused:  # a damaged profile can raise anything in the binding
        raise ProfileDamagedError("it cannot be opened") from refused
    if space not in ("RGB", "GRAY"):
        raise ProfileSpaceError(space)
    if kind not in _USUAL_CLASSES:
        raise ProfileDamagedError(f'a profile of class "{kind}" does not describe a picture')
    name = " ".join((name or "").split())[:80] or "unnamed profile"
    tags = _tags(icc)
    if any(table in tags for table in (b"A2B0", b"A2B1")):  # the tables go before the matrix: ICC.1:2022 clause 9.2
        return Profile(name, DISPLAY_P3.curves, DISPLAY_P3.to_XYZ, table_icc=icc)
    if space == "GRAY":
        curve = _read_curve(tags.get(b"kTRC", b""))
        return Profile(name, (curve, curve, curve), SRGB.to_XYZ)  # any matrix that gives D50 for white
    if not is_matrix or None in colorants:
        raise ProfileDamagedError("it has neither a matrix nor a table")
    red, green, blue = (_read_curve(tags.get(tag, b"")) for tag in (b"rTRC", b"gTRC", b"bTRC"))
    to_XYZ = np.array([colorant[0] for colorant in colorants if colorant is not None]).T
    return Profile(name, (red, green, blue), _white_to_D50(to_XYZ))


def _tags(icc: bytes) -> dict[bytes, bytes]:
    """Split a profile into its elements, by signature."""
    (count,) = struct.unpack_from(">I", icc, _HEADER_BYTES)
    table = icc[_HEADER_BYTES + 4 :][: 12 * count]
    entries = struct.iter_unpack(">4sII", table[: len(table) // 12 * 12])
    return {signature: icc[offset : offset + size] for signature, offset, size in entries}


def _read_curve(element: bytes) -> ToneCurve:
    """Read a tone curve element, 'curv' or 'para'.

    Raises
    ------
    ProfileDamagedError
        If it is neither, cut short, or does not lead from dark to light within 0 to 1.
    """
    try:
        kind = element[:4]
        curve = {b"curv": _sampled_curve, b"para": _parametric_curve}[kind](element)
        with np.errstate(all="ignore"):
            values = curve(np.linspace(0, 1, 257))
    except (KeyError, struct.error, ValueError, ZeroDivisionError) as refused:
        raise ProfileDamagedError("a tone curve is missing or damaged") from refused
    if not np.isfinite(values).all() or values.min() < -0.1 or values.max() > 1.1 or values[-1] - values[0] < 0.5:
        raise ProfileDamagedError("a tone curve leads nowhere")
    return curve


def _sampled_curve(element: bytes) -> ToneCurve:
    """ICC.1:2022 clause 10.6: no value is the identity, one is a power (u8Fixed8), more are samples over 0 to 1."""
    (count,) = struct.unpack_from(">I", element, 8)
    if count == 0:
        return power_curve(1.0)
    if count == 1:
        return power_curve(struct.unpack_from(">H", element, 12)[0] / 256)
    samples = np.frombuffer(element, ">u2", count, 12) / 65535
    return partial(_interpolated, samples=samples)


def _interpolated(fraction: Floats, *, samples: Floats) -> Floats:
    return np.interp(fraction, np.linspace(0, 1, len(samples)), samples)


def _parametric_curve(element: bytes) -> ToneCurve:
    """ICC.1:2022 clause 10.18, function types 0 to 4 in one formula: (a x + b)^g + e from d on, below it c x + f."""
    (function,) = struct.unpack_from(">H", element, 8)
    count = (1, 3, 4, 5, 7)[function] if function <= 4 else 0
    if count == 0:
        raise ValueError(function)
    g, *rest = (value / 65536 for value in struct.unpack_from(f">{count}i", element, 12))
    if g <= 0:
        raise ValueError(g)
    a, b, c, d, e, f = (*rest, *(0.0,) * 6)[:6] if rest else (1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    if function in (1, 2):
        # These state no limit: it is where the bracket turns positive. Type 2 calls its offset c, below and above.
        c, d, e, f = 0.0, -b / a, c, c
    return partial(_parametric, g=g, a=a, b=b, c=c, d=d, e=e, f=f)


def _parametric(x: Floats, *, g: float, a: float, b: float, c: float, d: float, e: float, f: float) -> Floats:
    return np.where(x >= d, np.power(np.maximum(a * x + b, 0), g) + e, c * x + f)


def apply_tables(icc: bytes, codes: NDArray[np.uint8], *, full_scale_from: int) -> None:
    """Take codes through a table-based profile to P3 primaries with the sRGB curve, in place.

    P3, because stained wood reaches beyond sRGB towards orange and red, and a still wider space would spread its 256
    steps further. Intent: relative colorimetric, black point not scaled.

    Parameters
    ----------
    icc : bytes
        A profile for which `read_profile` set `table_icc`.
    codes : ndarray of uint8, (rows, columns, 3)
    full_scale_from : int
        Codes from here on are clipped; they are left as they are, so that clipping can still be seen.

    Raises
    ------
    ProfileDamagedError
        If LittleCMS cannot build the transform.
    """
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(icc))
        mode = "L" if source.profile.xcolor_space.strip() == "GRAY" else "RGB"
        transform = ImageCms.buildTransform(
            source,
            ImageCms.ImageCmsProfile(BytesIO(_P3_profile())),
            mode,
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
            # Without this a grid takes the place of both profiles: three times as fast (1 s for 12 megapixels), but
            # off by up to 8 codes where a channel is near black, as blue is in a dark orange stain.
            ImageCms.Flags.NOOPTIMIZE,
        )
    except Exception as refused:  # the tables are only looked at here, and the binding can raise anything
        raise ProfileDamagedError("its tables cannot be read") from refused
    for top in range(0, len(codes), _ROWS_AT_A_TIME):
        strip = codes[top : top + _ROWS_AT_A_TIME]
        picture = Image.fromarray(np.ascontiguousarray(strip[..., 0] if mode == "L" else strip))
        turned = np.asarray(ImageCms.applyTransform(picture, transform))
        np.copyto(strip, turned, where=strip < full_scale_from)


@lru_cache(maxsize=1)
def _P3_profile() -> bytes:
    """Write an ICC profile of P3 primaries and the sRGB curve: LittleCMS' own sRGB with other colorants."""
    icc = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    icc[84:100] = bytes(16)  # the checksum no longer holds; zero says that there is none
    (count,) = struct.unpack_from(">I", icc, _HEADER_BYTES)
    places = {sig: at for sig, at, _ in struct.iter_unpack(">4sII", icc[_HEADER_BYTES + 4 :][: 12 * count])}
    for signature, colorant in zip((b"rXYZ", b"gXYZ", b"bXYZ"), DISPLAY_P3.to_XYZ.T, strict=True):
        struct.pack_into(">3i", icc, places[signature] + 8, *np.rint(colorant * 65536).astype(int))
    return bytes(icc)
