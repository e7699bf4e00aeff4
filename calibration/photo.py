"""What linear light does each pixel of a photo file stand for?

The file is read once: its bytes are hashed and decoded from the same buffer. The pixel cap is checked on the header,
before anything is decoded, and no library's own limit is touched. Pixels stay codes (1 or 2 bytes a channel) until a
region of them is asked for in linear light; that look-up is exact, so nothing is lost by waiting.
"""

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import PhotoError
from calibration.exif import Exif
from calibration.findings import Finding, finding
from calibration.photo_header import DAMAGED_REMEDY, RGB_REMEDY, PhotoHeader, read_header
from calibration.profiles import (
    SRGB_XY,
    Profile,
    ProfileDamagedError,
    ProfileSpaceError,
    apply_tables,
    display_P3,
    opRGB,
    power_curve,
    profile_of_primaries,
    read_profile,
    srgb,
)

MAX_PIXELS: Final = 120_000_000  # chosen: above today's 108-megapixel phones; 360 MB decoded in 8 bits

# Chosen: JPEG's rounding moves a clipped 255 by about one code, so 254 counts as full scale too. In 16 bits the same
# fraction, 65278: editors that write 16 bits map full scale to 65535 or a little below.
CLIPPED_FROM_8_BIT: Final = 254

_MOST_BYTES_PER_PIXEL = 8  # 16 bits, four channels, not compressed: a bigger file is no photo under the cap

# What ITU-T H.273 code points stand for: primaries (table 2) and transfer (table 3). 13 is the sRGB curve.
_SRGB_TRANSFER, _BT709, _P3_D65 = 13, 1, 12
_HDR_TRANSFERS = (16, 18)  # PQ and HLG

_USUAL_GAMMA = 1 / 2.2  # gAMA of 0.45455 accompanies sRGB everywhere; PNG third edition, clause 11.3.2.2


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photo, upright, with the meaning of its codes."""

    name: str  # file name
    codes: NDArray[np.uint8] | NDArray[np.uint16]  # (rows, columns, 3), RGB, EXIF orientation applied
    curve: NDArray[np.float32]  # (256 or 65536, 3): code -> linear RGB, 1 at full scale
    to_XYZ: NDArray[np.float64]  # (3, 3): linear RGB -> XYZ relative to D50, Y = 1 for white
    profile: str  # "Display P3", "sRGB (assumed)", ...
    sha256: str  # of the file
    exif: Exif
    findings: tuple[Finding, ...]

    @property
    def clipped_from(self) -> int:
        """The lowest code that counts as full scale."""
        return CLIPPED_FROM_8_BIT if self.codes.dtype == np.uint8 else CLIPPED_FROM_8_BIT * 65535 // 255

    def linear_RGB(self, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray[np.float32]:
        """Linear light of a region.

        Parameters
        ----------
        rows, columns : slice
            The region; all of the photo unless given.

        Returns
        -------
        ndarray of float32, (rows, columns, 3)
            1 at full scale of the photo, in the profile's primaries.
        """
        region = self.codes[rows, columns]
        if region.size == 0:  # OpenCV refuses it, NumPy code upstream may ask for it
            return np.empty(region.shape, np.float32)
        linear: NDArray[np.float32] = cv2.LUT(region, self.curve[np.newaxis])
        return linear

    def is_clipped(self, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray[np.bool_]:
        """Where at least one channel is at full scale, before any balance: its colour is lost.

        Returns
        -------
        ndarray of bool, (rows, columns)
        """
        region = self.codes[rows, columns]
        if region.size == 0:
            return np.empty(region.shape[:2], bool)
        below = cv2.inRange(region, (0, 0, 0), (self.clipped_from - 1,) * 3)
        return below == 0


def open_photo(path: Path, *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo file: JPEG, PNG or TIFF, 8 or 16 bits, RGB or gray.

    Parameters
    ----------
    path : Path
        The file; recognised by its content.
    max_pixels : int
        More pixels than this are refused before anything is decoded.

    Returns
    -------
    Photo
        Gray is given as three equal channels. Of a file with several pictures, the first.

    Raises
    ------
    PhotoError
        If the file cannot be read or measured, with what to do about it.
    """
    path = Path(path)
    try:
        content = _read_file(path, most_bytes=64 * 1024**2 + _MOST_BYTES_PER_PIXEL * max_pixels)
        header = read_header(content)
        if header.width * header.height > max_pixels:
            raise PhotoError(
                f"the photo has {header.width} x {header.height} = {header.width * header.height / 1e6:.0f} million "
                f"pixels (limit {max_pixels / 1e6:.0f} million).",
                remedy="Export it smaller; 12 million pixels are plenty for a board.",
            )
        profile, findings = _profile_of(header)
        codes = _upright(_decode(content, header), header)
        if profile.table_icc is not None:
            codes, profile, found = _through_tables(codes, profile)
            findings = (*findings, found)
    except PhotoError as refused:
        refused.photo = path.name  # the steps see bytes only
        raise
    codes.flags.writeable = False
    return Photo(
        name=path.name,
        codes=codes,
        curve=profile.table(256 if codes.dtype == np.uint8 else 65536),
        to_XYZ=profile.to_XYZ,
        profile=profile.name,
        sha256=hashlib.sha256(content).hexdigest(),
        exif=header.tags.exif,
        findings=findings,
    )


def _read_file(path: Path, *, most_bytes: int) -> bytes:
    try:
        if path.is_dir():
            raise PhotoError("this is a folder, not a photo.", remedy="Name the photo file itself.")
        if path.exists() and not path.is_file():
            raise PhotoError("this is no ordinary file.", remedy="Name a photo file.")
        size = path.stat().st_size
        if size > most_bytes:
            raise PhotoError(
                f"the file has {size / 1e6:.0f} MB (limit {most_bytes / 1e6:.0f} MB).",
                remedy="Check that it is a photo; if it is, export it as JPEG.",
            )
        return path.read_bytes()
    except FileNotFoundError as refused:
        raise PhotoError(
            f"there is no such file ({path}).", remedy="Check the name and the folder, upper and lower case too."
        ) from refused
    except PermissionError as refused:
        raise PhotoError(
            f"the file may not be read ({path}).", remedy="Give yourself permission to read it, or copy it."
        ) from refused
    except (OSError, ValueError) as refused:  # ValueError: a name that no file can have
        raise PhotoError(
            f"the file cannot be read ({refused}).", remedy="Check the disk or card, and copy the file again."
        ) from refused


def _profile_of(header: PhotoHeader) -> tuple[Profile, tuple[Finding, ...]]:
    """The most binding statement about colour in the file; sRGB, and a finding, where there is none.

    In the order of the PNG standard (third edition, clause 4.3): code points, profile, sRGB mark, gamma; then EXIF.
    """
    by_code_points = _profile_of_code_points(header.colour.code_points)
    if by_code_points is not None:
        return by_code_points, ()
    damage = "it is cut short" if header.icc_damaged else None
    if header.icc is not None:
        try:
            return read_profile(header.icc), ()
        except ProfileSpaceError as wrong:
            raise PhotoError(
                f"the photo's colour profile is for {wrong}, but its pixels are RGB or gray.", remedy=RGB_REMEDY
            ) from wrong
        except ProfileDamagedError as refused:
            damage = str(refused)
    if damage is not None:
        return _named(srgb(), "sRGB (assumed)"), (finding("profile-damaged", reason=damage),)
    if header.colour.srgb:
        return _named(srgb(), "sRGB (by PNG)"), ()
    by_gamma = _profile_of_gamma(header.colour.gamma, header.colour.chromaticities)
    if by_gamma is not None:
        return by_gamma, ()
    if header.tags.colour_space == "opRGB":
        return _named(opRGB(), "opRGB (by EXIF)"), ()
    if header.tags.colour_space == "sRGB":
        return _named(srgb(), "sRGB (by EXIF)"), ()
    return _named(srgb(), "sRGB (assumed)"), (finding("no-profile"),)


def _profile_of_code_points(code_points: tuple[int, int] | None) -> Profile | None:
    """None where they are missing, or name what is not met in photos: then the rest of the file is asked."""
    if code_points is None:
        return None
    primaries, transfer = code_points
    if transfer in _HDR_TRANSFERS:
        raise PhotoError(
            "the photo is encoded for high-dynamic-range screens.", remedy="Switch HDR off, or export it as JPEG."
        )
    known = {(_BT709, _SRGB_TRANSFER): srgb(), (_P3_D65, _SRGB_TRANSFER): display_P3()}.get((primaries, transfer))
    return None if known is None else _named(known, f"{known.name} (by PNG)")


def _profile_of_gamma(gamma: float | None, chromaticities: tuple[float, ...] | None) -> Profile | None:
    """None for a missing or the usual gamma, which says no more than that the file is an ordinary one."""
    if gamma is None or not 0.1 < gamma <= 1.5 or abs(gamma / _USUAL_GAMMA - 1) < 0.01:
        return None
    try:
        if chromaticities is None:
            return profile_of_primaries(f"gamma {1 / gamma:.2f} (by PNG)", SRGB_XY, power_curve(1 / gamma))
        white, red, green, blue = (chromaticities[at : at + 2] for at in (0, 2, 4, 6))
        return profile_of_primaries(
            f"gamma {1 / gamma:.2f}, own primaries (by PNG)",
            ((red[0], red[1]), (green[0], green[1]), (blue[0], blue[1])),
            power_curve(1 / gamma),
            (white[0], white[1]),
        )
    except ProfileDamagedError:
        return None


def _named(profile: Profile, name: str) -> Profile:
    return Profile(name, profile.curves, profile.to_XYZ)


def _decode(content: bytes, header: PhotoHeader) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Decode once, to RGB codes as stored."""
    if header.kind == "TIFF" or header.has_alpha:
        flags = cv2.IMREAD_UNCHANGED  # BGR; the flags below swap the channels of 16-bit TIFF and drop alpha unseen
    else:
        flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        codes = cv2.imdecode(np.frombuffer(content, np.uint8), flags)
    except (cv2.error, MemoryError) as refused:
        raise PhotoError("the file is damaged: its pixels cannot be decoded.", remedy=DAMAGED_REMEDY) from refused
    if codes is None or codes.dtype != (np.uint8 if header.bits == 8 else np.uint16):
        raise PhotoError(
            "the file is damaged, or compressed in an unusual way.", remedy=f"{DAMAGED_REMEDY} {RGB_REMEDY}"
        )
    if codes.ndim == 2:
        return cv2.cvtColor(codes, cv2.COLOR_GRAY2RGB)
    if codes.shape[2] == 4:
        opaque = np.iinfo(codes.dtype).max
        see_through = np.count_nonzero(codes[..., 3] != opaque)
        if see_through:
            # Flattening would invent a background, and edges would mix with it.
            raise PhotoError(
                f"{see_through / codes[..., 3].size:.1%} of the picture is transparent: it was cut out or edited.",
                remedy="Send the original photo, with its background.",
            )
        return cv2.cvtColor(codes, cv2.COLOR_BGRA2RGB)
    return cv2.cvtColor(codes, cv2.COLOR_BGR2RGB) if flags == cv2.IMREAD_UNCHANGED else codes


def _upright(
    codes: NDArray[np.uint8] | NDArray[np.uint16], header: PhotoHeader
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Apply the EXIF orientation (Exif 2.32, table 4), once."""
    if header.kind == "TIFF":
        return codes  # OpenCV's TIFF reader has turned it already, whatever the flags say
    match header.tags.orientation:
        case 2:
            return cv2.flip(codes, 1)
        case 3:
            return cv2.rotate(codes, cv2.ROTATE_180)
        case 4:
            return cv2.flip(codes, 0)
        case 5:
            return cv2.transpose(codes)
        case 6:
            return cv2.rotate(codes, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            return cv2.flip(cv2.transpose(codes), -1)
        case 8:
            return cv2.rotate(codes, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return codes


def _through_tables(
    codes: NDArray[np.uint8] | NDArray[np.uint16], profile: Profile
) -> tuple[NDArray[np.uint8], Profile, Finding]:
    """Apply a table-based profile, in 8 bits."""
    eight_bit = codes if codes.dtype == np.uint8 else cv2.convertScaleAbs(codes, alpha=255 / 65535)
    try:
        apply_tables(profile.table_icc or b"", eight_bit, full_scale_from=CLIPPED_FROM_8_BIT)
    except ProfileDamagedError as refused:
        return codes, _named(srgb(), "sRGB (assumed)"), finding("profile-damaged", reason=str(refused))
    return eight_bit, profile, finding("profile-8-bit")
