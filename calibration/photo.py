"""What linear light does each pixel of a photo file stand for?  From the file's bytes to upright codes and their curve.

The file is read once: its bytes are hashed and decoded from the same buffer. The pixel cap is checked on the header,
before anything is decoded, and no library's own limit is touched. Pixels stay codes (1 or 2 bytes a channel) until a
region of them is asked for in linear light; that look-up is exact, so nothing is lost by waiting.

JPEG, PNG and TIFF are decoded here, HEIC in heif.py, camera raw in raw.py.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, cast

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import PhotoError
from calibration.exif import Exif
from calibration.file_checks import file_findings
from calibration.file_kind import DAMAGED_REMEDY, RGB_REMEDY, see_through_error
from calibration.findings import Finding, finding
from calibration.heif import decode_heif, is_heif, read_heif_header
from calibration.photo_colour import SRGB_ASSUMED, profile_of_photo
from calibration.photo_header import PhotoHeader, read_header
from calibration.profiles import MatrixInLight, Profile, ProfileDamagedError, apply_tables
from calibration.raw import decode_raw, is_raw, read_raw_header

Codes = NDArray[np.uint8] | NDArray[np.uint16]

MAX_PIXELS: Final = 120_000_000  # chosen: above today's 108-megapixel phones; 360 MB decoded in 8 bits

# Chosen: JPEG's rounding moves a clipped 255 by about one code, so 254 counts as full scale too. In 16 bits the same
# fraction, 65278: editors that write 16 bits map full scale to 65535 or a little below, 10 bits take steps of 64, and
# a camera's raw numbers scatter by about as much where the sensor is full (raw.py puts its white level at 65535).
CLIPPED_FROM_8_BIT: Final = 254

_SMALL_FILE_BYTES = 64 * 1024**2  # chosen: below this a file is read whatever its header will say
_MOST_BYTES_PER_PIXEL = 8  # 16 bits, four channels, not compressed: a bigger file is no photo under the cap

# OpenCV's names say gray; the flag for colour is added where they are used.
_REDUCED: Final = {2: cv2.IMREAD_REDUCED_GRAYSCALE_2, 4: cv2.IMREAD_REDUCED_GRAYSCALE_4}

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
    # (256 or 65536, 3): code -> linear RGB, 1 at full scale; a raw photo's balanced channels reach beyond, and fall
    # below 0 where noise does
    curve: NDArray[np.float32]
    to_XYZ: NDArray[np.float64]  # (3, 3): linear RGB -> XYZ relative to D50, Y = 1 for white
    profile: str  # "Display P3", "sRGB (assumed)", "camera raw, own matrix", ...
    sha256: str  # of the file
    exif: Exif
    findings: tuple[Finding, ...]
    to_XYZ_in_light: MatrixInLight | None = None  # None: `to_XYZ` in every light
    reduced: int = 1  # 2, 4: one pixel here is that many by that many of the photo's, averaged in codes

    @property
    def clipped_from(self) -> int:
        """The lowest code that counts as full scale."""
        return CLIPPED_FROM_8_BIT if self.codes.dtype == np.uint8 else CLIPPED_FROM_8_BIT * 65535 // 255

    def to_XYZ_by_neutral(self, neutral_RGB: ArrayLike) -> NDArray[np.float64]:
        """Matrix (3, 3) as `to_XYZ`, for the light in which a neutral surface shows `neutral_RGB` (3,), any level.

        Only raw files have more than one.
        """
        if self.to_XYZ_in_light is None:
            return self.to_XYZ
        return self.to_XYZ_in_light(np.asarray(neutral_RGB, dtype=np.float64))

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


def open_photo(path: Path, *, max_pixels: int = MAX_PIXELS, reduce: Literal[1, 2, 4] = 1) -> Photo:
    """Read a photo file: JPEG, PNG or TIFF, 8 or 16 bits, RGB or gray; HEIC and camera raw where their extras are.

    Parameters
    ----------
    path : Path
        The file; recognised by its content.
    max_pixels : int
        More pixels than this are refused before anything is decoded.
    reduce : 1, 2 or 4
        Give a copy of a half or a quarter of the size; in JPEG it is decoded to that size at once, in half the time.
        For previews and checks only, never to measure: pixels are averaged as codes, which are not linear. On fine
        grain of high contrast (10 L* standard deviation, one pixel wide) a zone's mean came out darker by 0.3-0.4 L*
        at 2 and by 0.5-0.8 L* at 4; on calm grain (3 L*) by up to 0.1; on photographs of a calm and a rough wood by
        0.04 and 0.15 at 2, 0.12 and 0.38 at 4. Different treatments raise different grain, so it does not cancel in
        a difference.

    Returns
    -------
    Photo
        Gray is given as three equal channels. Of a file with several pictures, the first or the one that it calls
        its main one. Of a camera raw file, one pixel for each 2 x 2 of the sensor. Pixel (x, y) of a reduced photo
        has its middle at (reduce (x + 1/2) - 1/2, ...) in the photo; up to `reduce` - 1 beside it if the size is no
        multiple of `reduce`.

    Raises
    ------
    PhotoError
        If the file cannot be read or measured, with what to do about it.
    """
    if reduce not in (1, 2, 4):
        raise ValueError(f"open_photo: reduce must be 1, 2 or 4, got {reduce}.")
    return _opened(Path(path), max_pixels, lambda _: reduce)


def open_reduced(path: Path, least_px: int, *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo file at a reduced size where that is quicker: a JPEG, which is decoded to that size at once.

    Parameters
    ----------
    path : Path
    least_px : int
        The longer side is left at least so long.
    max_pixels : int
        As in `open_photo`.

    Returns
    -------
    Photo
        As `open_photo` gives it, `reduced` by 4, 2 or 1; for checks only.

    Raises
    ------
    PhotoError
        As `open_photo`.
    """

    def reduction(header: PhotoHeader) -> int:
        longer_px = max(header.width, header.height)
        return next((k for k in (4, 2) if header.kind == "JPEG" and longer_px >= k * least_px), 1)

    return _opened(Path(path), max_pixels, reduction)


def _opened(path: Path, max_pixels: int, reduction: Callable[[PhotoHeader], int]) -> Photo:
    try:
        return _photo(path, max_pixels, reduction)
    except PhotoError as refused:
        refused.photo = path.name  # the steps below see bytes only
        raise


def _photo(path: Path, max_pixels: int, reduction: Callable[[PhotoHeader], int]) -> Photo:
    content = _read_file(path, most_bytes=_SMALL_FILE_BYTES + _MOST_BYTES_PER_PIXEL * max_pixels)
    header = _read_header(content)
    pixels = header.width * header.height
    if pixels > max_pixels:
        raise PhotoError(
            f"the photo has {header.width} x {header.height} = {pixels / 1e6:.1f} million pixels "
            f"(limit {max_pixels / 1e6:.1f} million).",
            remedy="Export it smaller; 12 million pixels are plenty for a board.",
        )
    reduce = reduction(header)
    codes, profile, findings = _codes_and_meaning(content, header, reduce)
    codes.flags.writeable = False  # shared by every step that looks at the photo
    return Photo(
        name=path.name,
        codes=codes,
        curve=profile.table(int(np.iinfo(codes.dtype).max) + 1),
        to_XYZ=profile.to_XYZ,
        profile=profile.name,
        sha256=hashlib.sha256(content).hexdigest(),
        exif=header.tags.exif,
        findings=(*findings, *file_findings(header)),
        to_XYZ_in_light=profile.to_XYZ_in_light,
        reduced=reduce,
    )


def _read_header(content: bytes) -> PhotoHeader:
    if is_heif(content):
        return read_heif_header(content)
    return read_raw_header(content) if is_raw(content) else read_header(content)


def _codes_and_meaning(content: bytes, header: PhotoHeader, reduce: int) -> tuple[Codes, Profile, tuple[Finding, ...]]:
    """Upright codes, what they stand for, and what is to be said of that."""
    if header.kind == "RAW":
        picture = decode_raw(content)
        return _averaged(picture.codes, reduce), picture.profile, picture.findings
    profile, findings = profile_of_photo(header)
    if header.kind == "JPEG":
        codes = _upright(_decode(content, header, reduce), header)
    else:
        decoded = decode_heif(content) if header.kind == "HEIF" else _decode(content, header)
        codes = _averaged(_upright(decoded, header), reduce)
    if profile.table_icc is None:
        return codes, profile, findings
    codes, profile, found = _through_tables(codes, profile.table_icc, profile)
    return codes, profile, (*findings, found)


def _averaged(codes: Codes, reduce: int) -> Codes:
    """Average blocks of codes; the last ones may reach beyond the edge, as in a JPEG that is decoded smaller."""
    if reduce == 1:
        return codes
    rows, columns = (-(-length // reduce) for length in codes.shape[:2])
    below, right = rows * reduce - codes.shape[0], columns * reduce - codes.shape[1]
    whole = cv2.copyMakeBorder(codes, 0, below, 0, right, cv2.BORDER_REPLICATE)
    return cast("Codes", cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA))


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


def _decode(content: bytes, header: PhotoHeader, reduce: int = 1) -> Codes:
    """Decode once, to RGB codes as stored; a JPEG to the wanted size."""
    as_stored = header.kind == "TIFF" or header.has_alpha
    if as_stored:
        flags = cv2.IMREAD_UNCHANGED  # the flags below would swap the channels of 16-bit TIFF and drop alpha unseen
    elif reduce > 1:
        flags = _REDUCED[reduce] | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
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
        or decoded.shape[0] * decoded.shape[1] != -(-header.width // reduce) * -(-header.height // reduce)
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
        raise see_through_error(see_through / codes[..., 3].size)
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
