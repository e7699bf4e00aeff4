"""What did the camera's sensor count?  Camera raw files: DNG and what LibRaw knows beside it.

LibRaw is reached through rawpy, which the extra `raw` brings and which is loaded when the first such photo comes. It
only unpacks: nothing is balanced, brightened, sharpened or interpolated. Every block of the sensor's colour pattern
(2 x 2 as a rule) becomes one pixel, the mean of the block's counts for each colour. Black stands at `BLACK_CODE`, white
at 65535, so that noise below black is kept; the curve from code to light is a straight line.

Source of tags and meaning: DNG 1.7 (also for the order of steps: linearise, black, white, matrix).
"""

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import PhotoError
from calibration.exif import parse_exif
from calibration.file_kind import CUT_SHORT, DAMAGED_REMEDY, EXPORT_REMEDY, is_of_unknown_kind, missing_extra
from calibration.findings import Finding, finding
from calibration.photo_header import PhotoHeader, check_tiff_complete, is_camera_raw, tiff_directories
from calibration.profiles import Profile
from calibration.raw_colour import CameraColour, camera_at_D65, camera_matrix, dng_colour, matrix_in_light

if TYPE_CHECKING:
    from rawpy import RawPy

RAW_PROFILE: Final = "camera raw, own matrix"

# Chosen: 1/16 of the range. Noise of a phone at high sensitivity reaches 4 % below black at four standard deviations.
BLACK_CODE: Final = 4096
_FULL_CODE = 65535

_TIFF_BEGINS = (b"II", b"MM")
# DNG 1.7: tags of the page that holds the sensor's counts, and what matters in them.
_COMPRESSION, _PHOTOMETRIC, _OPCODE_LISTS = 259, 262, (51008, 51009, 51022)
_JPEG_XL = (50002, 52546)
_SHADING_OPCODES = {3, 9}  # FixVignetteRadial, GainMap

# Chosen: so many zeros at the end, where black is not zero, are what an interrupted copy leaves, not a sensor.
_ENDING = 8

_CONVERT = "Set the camera to take DNG or JPEG, or convert the file to an uncompressed DNG. Or: "


@dataclass(frozen=True, slots=True, eq=False)
class RawPicture:
    """A raw photo, upright."""

    codes: NDArray[np.uint16]  # (rows, columns, 3), RGB; black at BLACK_CODE, the sensor's white at 65535
    profile: Profile
    findings: tuple[Finding, ...]


def is_raw(content: bytes) -> bool:
    """Whether a file is a camera's raw file; of files that nothing else knows, LibRaw is asked, if it is there."""
    if is_camera_raw(content):
        return True
    if not is_of_unknown_kind(content):
        return False
    try:
        with _open(content):
            return True
    except PhotoError:
        return False


def read_raw_header(content: bytes) -> PhotoHeader:
    """Read the header of a raw file, without unpacking it.

    Parameters
    ----------
    content : bytes
        The whole file.

    Returns
    -------
    PhotoHeader
        Width and height are the sensor's, as stored; the picture will have fewer pixels.

    Raises
    ------
    PhotoError
        If LibRaw does not know the file, it is cut short, or the package is not installed.
    """
    for page in _directories(content):
        check_tiff_complete(page, content)
        if page.get(_COMPRESSION) in _JPEG_XL:
            raise PhotoError("the raw file is compressed as JPEG XL, which cannot be read.", remedy=_convert_remedy())
    with _open(content) as raw:
        width, height = raw.sizes.width, raw.sizes.height
    tags = replace(parse_exif(content), orientation=1)  # turned in `decode_raw`
    return PhotoHeader("RAW", width, height, bits=16, tags=tags)


def decode_raw(content: bytes) -> RawPicture:
    """Unpack a raw file whose header was read, block by block of the sensor's colour pattern.

    Raises
    ------
    PhotoError
        If it cannot be unpacked, or holds no three colours.
    """
    directories = list(_directories(content))
    findings = []
    with _open(content) as raw:
        counts, colours = _counts(raw)
        levels = _levels(raw)
        if min(black for black, _ in levels[:3]) > 0 and not counts[-1, -_ENDING:].any():
            raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
        codes = _linear_codes(counts, levels) if colours is None else _block_codes(counts, colours, levels)
        flip = raw.sizes.flip
        profile = _profile(_colour(raw, directories))
    if colours is None:
        findings.append(finding("raw-developed"))
    if any(_has_shading(tags) for tags in directories):
        findings.append(finding("raw-shading"))
    return RawPicture(_upright(codes, flip), profile, tuple(findings))


def _convert_remedy() -> str:
    return _CONVERT + EXPORT_REMEDY


def _open(content: bytes) -> "RawPy":
    try:
        import rawpy  # noqa: PLC0415 - an extra: loaded when a photo needs it
    except ImportError as missing:
        raise missing_extra("a camera raw file", "raw") from missing
    try:
        return rawpy.imread(BytesIO(content))
    except rawpy.LibRawIOError as refused:
        raise PhotoError("the raw file is cut short or damaged.", remedy=DAMAGED_REMEDY) from refused
    except Exception as refused:  # the binding raises LibRaw's errors in many classes
        raise PhotoError(
            "this is a camera raw file of a kind that cannot be read.", remedy=_convert_remedy()
        ) from refused


def _directories(content: bytes) -> Iterator[Mapping[int, Any]]:
    """Pages of a raw file that is a TIFF, as far as they can be read; LibRaw tells what is wrong with the rest."""
    if not content.startswith(_TIFF_BEGINS):
        return
    try:
        yield from tiff_directories(content)
    except Exception:  # noqa: BLE001 - a damaged file can raise anything in the parser
        return


def _counts(raw: "RawPy") -> tuple[NDArray[np.uint16], NDArray[np.uint8] | None]:
    """The sensor's counts, and which colour the block that repeats over them sees; no block if each pixel has three."""
    if raw.num_colors != 3 or raw.sizes.pixel_aspect != 1:
        raise PhotoError(
            "the raw file is not from a sensor with square pixels and three colours.", remedy=_convert_remedy()
        )
    try:
        counts, pattern = raw.raw_image_visible, raw.raw_pattern
    except Exception as refused:  # as in `_open`
        raise PhotoError(
            "the raw file cannot be unpacked: it is damaged, or compressed in an unusual way.",
            remedy=f"{DAMAGED_REMEDY} Or: {_convert_remedy()}",
        ) from refused
    if pattern is None:
        return np.asarray(counts[..., :3], dtype=np.uint16), None
    pattern = np.roll(pattern, (-raw.sizes.top_margin, -raw.sizes.left_margin), axis=(0, 1))
    if {raw.color_desc[number : number + 1] for number in np.unique(pattern)} != {b"R", b"G", b"B"}:
        raise PhotoError("the raw file is not from a sensor with red, green and blue.", remedy=_convert_remedy())
    return counts, pattern


def _levels(raw: "RawPy") -> list[tuple[int, int]]:
    """Black and white of LibRaw's four colours: red, green, blue, and the second green."""
    black, white = raw.black_level_per_channel, raw.white_level
    if not 0 <= max(black) < white <= _FULL_CODE:
        raise PhotoError(
            f"the raw file does not say what its numbers mean: black is {max(black)}, white {white}.",
            remedy=_convert_remedy(),
        )
    linear_to = raw.camera_white_level_per_channel or [white] * 4  # beyond it some cameras bend before they clip
    return [(low, min(full, white) if full > low else white) for low, full in zip(black, linear_to, strict=True)]


def _code_of_count(black: int, white: int) -> NDArray[np.uint16]:
    """The code of every count, 0 to 65535."""
    codes = BLACK_CODE + (np.arange(65536) - black) * ((_FULL_CODE - BLACK_CODE) / (white - black))
    return np.asarray(np.clip(np.rint(codes), 0, _FULL_CODE), dtype=np.uint16)


def _linear_codes(counts: NDArray[np.uint16], levels: list[tuple[int, int]]) -> NDArray[np.uint16]:
    table = np.stack([_code_of_count(*level) for level in levels[:3]], axis=-1)
    return np.asarray(cv2.LUT(np.ascontiguousarray(counts), table[np.newaxis]), dtype=np.uint16)


def _block_codes(
    counts: NDArray[np.uint16], colours: NDArray[np.uint8], levels: list[tuple[int, int]]
) -> NDArray[np.uint16]:
    """One pixel for every block that sees all three colours: the mean of its counts, colour by colour."""
    period = len(colours)
    side = _block_side(colours)
    blocks = period // side  # of one period, in each direction: they may differ in where which colour lies
    rows, columns = (length // period * period for length in counts.shape)
    codes = np.zeros((rows // side, columns // side, 3), np.uint16)
    tables = [_code_of_count(*level) for level in levels]
    for top, left in np.ndindex(blocks, blocks):
        block = colours[top * side : (top + 1) * side, left * side : (left + 1) * side]
        places = [(top * side + row, left * side + column) for row, column in np.ndindex(side, side)]
        for channel in range(3):
            seen = [
                tables[number][counts[row:rows:period, column:columns:period]]
                for (row, column), number in zip(places, block.ravel(), strict=True)
                if _channels(number) == channel
            ]
            codes[top::blocks, left::blocks, channel] = _mean_code(seen)
    return codes


def _channels(colours: ArrayLike) -> NDArray[np.uint8]:
    """Red, green or blue of LibRaw's colours: it calls the greens of every other row 3, green all the same."""
    return np.where(np.equal(colours, 3), 1, colours).astype(np.uint8)


def _block_side(colours: NDArray[np.uint8]) -> int:
    """Side of the smallest square block that tiles the pattern and sees all three colours wherever it lies."""
    period = len(colours)
    channels = _channels(colours)
    for side in (side for side in range(2, period + 1) if period % side == 0):
        blocks = channels.reshape(period // side, side, period // side, side).swapaxes(1, 2).reshape(-1, side * side)
        if all(np.isin((0, 1, 2), block).all() for block in blocks):
            return side
    raise PhotoError("the raw file is from a sensor with an unusual pattern of colours.", remedy=_convert_remedy())


def _mean_code(seen: list[NDArray[np.uint16]]) -> NDArray[np.uint16]:
    """The mean; full scale where one of them is at full scale, for the mean no longer tells."""
    if len(seen) == 1:
        return seen[0]
    total = np.zeros(seen[0].shape, np.uint32)
    for codes in seen:
        total += codes
    mean = ((total + len(seen) // 2) // len(seen)).astype(np.uint16)
    full = np.maximum.reduce(seen) == _FULL_CODE
    mean[full] = _FULL_CODE
    return mean


def _colour(raw: "RawPy", directories: list[Mapping[int, Any]]) -> CameraColour:
    """What the file says of its colours if it is a DNG, else what LibRaw knows of the camera."""
    said = dng_colour(directories[0]) if directories else None
    return said or camera_at_D65(raw.rgb_xyz_matrix[:3], raw.camera_whitebalance[:3])


def _profile(colour: CameraColour) -> Profile:
    try:
        matrix = camera_matrix(colour)
    except ValueError as refused:
        raise PhotoError(f"the raw file's colours cannot be used: {refused}.", remedy=_convert_remedy()) from refused
    red, green, blue = (partial(_light, white=white) for white in matrix.neutral)
    in_light = partial(matrix_in_light, colour, matrix.neutral)
    return Profile(RAW_PROFILE, (red, green, blue), matrix.to_XYZ, to_XYZ_in_light=in_light)


def _light(fraction: NDArray[np.float64], *, white: float) -> NDArray[np.float64]:
    black = BLACK_CODE / _FULL_CODE
    return (fraction - black) / (1 - black) / white


def _has_shading(tags: Mapping[int, Any]) -> bool:
    """Whether a DNG lists a correction of lens shading (DNG 1.7 chapter 7: opcodes are stored big-endian)."""
    for listed in (tags.get(number) for number in _OPCODE_LISTS):
        if not isinstance(listed, bytes) or len(listed) < 4:
            continue
        at = 4
        for _ in range(int.from_bytes(listed[:4], "big")):
            if at + 16 > len(listed):
                break
            opcode, _, _, size = struct.unpack_from(">4I", listed, at)
            if opcode in _SHADING_OPCODES:
                return True
            at += 16 + size
    return False


def _upright(codes: NDArray[np.uint16], flip: int) -> NDArray[np.uint16]:
    """Turn as LibRaw says: bit 1 turns upside down, bit 0 mirrors, then bit 2 exchanges rows and columns."""
    if flip & 2:
        codes = codes[::-1]
    if flip & 1:
        codes = codes[:, ::-1]
    if flip & 4:
        codes = codes.swapaxes(0, 1)
    return np.ascontiguousarray(codes)
