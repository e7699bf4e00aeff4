"""What linear light does each pixel of a photo file stand for?  From the file's bytes to upright codes and their curve.

The file is read once: its bytes are hashed and decoded from the same buffer. The pixel cap is checked on the header,
before anything is decoded, and no library's own limit is touched. Pixels stay codes (1 or 2 bytes a channel) until a
region of them is asked for in linear light; that look-up is exact, so nothing is lost by waiting.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import PhotoError
from calibration.exif import Exif
from calibration.findings import Finding, finding
from calibration.photo_colour import SRGB_ASSUMED, profile_of_photo
from calibration.photo_header import DAMAGED_REMEDY, RGB_REMEDY, PhotoHeader, read_header
from calibration.profiles import Profile, ProfileDamagedError, apply_tables

Codes = NDArray[np.uint8] | NDArray[np.uint16]

MAX_PIXELS: Final = 120_000_000  # chosen: above today's 108-megapixel phones; 360 MB decoded in 8 bits

# Chosen: JPEG's rounding moves a clipped 255 by about one code, so 254 counts as full scale too. In 16 bits the same
# fraction, 65278: editors that write 16 bits map full scale to 65535 or a little below.
CLIPPED_FROM_8_BIT: Final = 254

_SMALL_FILE_BYTES = 64 * 1024**2  # chosen: below this a file is read whatever its header will say
_MOST_BYTES_PER_PIXEL = 8  # 16 bits, four channels, not compressed: a bigger file is no photo under the cap

# Exif 2.32 table 4: how the stored picture comes upright. 1, and whatever else, is upright.
_TURNS: Final[dict[int, Callable[[Codes], object]]] = {
    2: lambda codes: cv2.flip(codes, 1),
    3: lambda codes: cv2.rotate(codes, cv2.ROTATE_180),
    4: lambda codes: cv2.flip(codes, 0),
    5: cv2.transpose,
    6: lambda codes: cv2.rotate(codes, cv2.ROTATE_90_CLOCKWISE),
    7: lambda codes: cv2.flip(cv2.transpose(codes), -1),
    8: lambda codes: cv2.rotate(codes, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photo, upright, with the meaning of its codes."""

    name: str  # file name
    codes: Codes  # (rows, columns, 3), RGB, EXIF orientation applied
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
        return cast("NDArray[np.float32]", cv2.LUT(region, self.curve[np.newaxis]))

    def is_clipped(self, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray[np.bool_]:
        """Where at least one channel is at full scale, before any balance: its colour is lost.

        Returns
        -------
        ndarray of bool, (rows, columns)
        """
        region = self.codes[rows, columns]
        if region.size == 0:
            return np.empty(region.shape[:2], bool)
        unclipped = cv2.inRange(region, (0, 0, 0), (self.clipped_from - 1,) * 3)
        return np.equal(unclipped, 0)


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
        return _photo(path, max_pixels)
    except PhotoError as refused:
        refused.photo = path.name  # the steps below see bytes only
        raise


def _photo(path: Path, max_pixels: int) -> Photo:
    content = _read_file(path, most_bytes=_SMALL_FILE_BYTES + _MOST_BYTES_PER_PIXEL * max_pixels)
    header = read_header(content)
    pixels = header.width * header.height
    if pixels > max_pixels:
        raise PhotoError(
            f"the photo has {header.width} x {header.height} = {pixels / 1e6:.1f} million pixels "
            f"(limit {max_pixels / 1e6:.1f} million).",
            remedy="Export it smaller; 12 million pixels are plenty for a board.",
        )
    profile, findings = profile_of_photo(header)
    codes = _upright(_decode(content, header), header)
    if profile.table_icc is not None:
        codes, profile, found = _through_tables(codes, profile.table_icc, profile)
        findings = (*findings, found)
    codes.flags.writeable = False  # shared by every step that looks at the photo
    return Photo(
        name=path.name,
        codes=codes,
        curve=profile.table(int(np.iinfo(codes.dtype).max) + 1),
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


def _decode(content: bytes, header: PhotoHeader) -> Codes:
    """Decode once, to RGB codes as stored."""
    as_stored = header.kind == "TIFF" or header.has_alpha
    if as_stored:
        flags = cv2.IMREAD_UNCHANGED  # the flags below would swap the channels of 16-bit TIFF and drop alpha unseen
    else:
        flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        decoded: NDArray[Any] | None = cv2.imdecode(np.frombuffer(content, np.uint8), flags)
    except (cv2.error, MemoryError) as refused:
        raise PhotoError(
            "the pixels cannot be decoded: the file is damaged, or memory does not suffice.", remedy=DAMAGED_REMEDY
        ) from refused
    if (
        decoded is None
        or decoded.dtype.itemsize * 8 != header.bits
        or decoded.shape[0] * decoded.shape[1] != header.width * header.height
    ):
        raise PhotoError(
            "the pixels cannot be decoded: the file is damaged, or compressed in an unusual way.",
            remedy=f"{DAMAGED_REMEDY} Or: {RGB_REMEDY}",
        )
    codes = cast("Codes", decoded)
    return _as_RGB(codes) if as_stored else codes


def _as_RGB(codes: Codes) -> Codes:
    """Bring gray, BGR, or BGR with an opaque alpha channel to RGB."""
    if codes.ndim == 2:
        return cast("Codes", cv2.cvtColor(codes, cv2.COLOR_GRAY2RGB))
    if codes.shape[2] == 3:
        return cast("Codes", cv2.cvtColor(codes, cv2.COLOR_BGR2RGB))
    see_through = np.count_nonzero(codes[..., 3] != np.iinfo(codes.dtype).max)
    if see_through:
        # Not flattened: that would invent a background, and the cut edges would mix with it.
        raise PhotoError(
            f"{see_through / codes[..., 3].size:.1%} of the picture is transparent: it was cut out or edited.",
            remedy="Send the original photo, with its background.",
        )
    return cast("Codes", cv2.cvtColor(codes, cv2.COLOR_BGRA2RGB))


def _upright(codes: Codes, header: PhotoHeader) -> Codes:
    """Apply the EXIF orientation, once."""
    turn = _TURNS.get(header.tags.orientation)
    if turn is None or header.kind == "TIFF":
        return codes  # OpenCV's TIFF reader turns by itself, whatever the flags say; a test holds it to that
    return cast("Codes", turn(codes))


def _through_tables(codes: Codes, icc: bytes, profile: Profile) -> tuple[Codes, Profile, Finding]:
    """Apply a table-based profile, in 8 bits."""
    eight_bit = codes if codes.dtype == np.uint8 else cv2.convertScaleAbs(codes, alpha=255 / 65535)
    try:
        apply_tables(icc, cast("NDArray[np.uint8]", eight_bit), full_scale_from=CLIPPED_FROM_8_BIT)
    except ProfileDamagedError as refused:
        return codes, SRGB_ASSUMED, finding("profile-damaged", reason=str(refused))
    return cast("Codes", eight_bit), profile, finding("profile-8-bit")
