"""What kind of picture is in this file, before a pixel of it is decoded?  By content, not by name.

Phones and messengers give files the wrong names. JPEG and PNG are walked segment by segment: Pillow's readers would do
it, but not without a guard against huge pictures that is one setting for the whole process, not without failing on
broken EXIF, and not, for PNG, without decoding the pixels to see what comes after them. The cap on pixels is the
caller's, checked on the size found here. EXIF and TIFF tags are read by Pillow.

Sources: PNG (W3C, third edition, 2025), TIFF 6.0 (1992), JPEG (ITU-T T.81), TIFF/EP tags as in DNG 1.7.
"""

import operator
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any, Literal

from PIL.TiffImagePlugin import ImageFileDirectory_v2

from calibration.errors import PhotoError
from calibration.exif import NO_TAGS, CameraTags, parse_exif
from calibration.file_kind import (
    CUT_SHORT,
    DAMAGED_REMEDY,
    EXPORT_REMEDY,
    JPEG_START,
    NO_HEADER,
    PNG_START,
    RAW_STARTS,
    RGB_REMEDY,
    TIFF_STARTS,
    other_kind,
)

_MOST_PROFILE_BYTES = 32 * 1024 * 1024  # chosen: table-based profiles reach a few megabytes
_MOST_DIRECTORIES = 16  # chosen: raw files have up to five below their first page

# JPEG markers, T.81 table B.1: every start of frame, the quantisation tables, and the two that carry EXIF and profiles.
_JPEG_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_DQT, _APP1, _APP2 = 0xDB, 0xE1, 0xE2

# How a JPEG says that a gain map for bright screens follows its picture: the namespace that the XMP of such photos
# uses, the segment of ISO 21496-1, and the words by which the map itself is called behind the picture.
_XMP, _GAIN_MAP_NAMESPACE = b"/xap/1.0/\0", b"/hdr-gain-map/"  # the first ends the name that XMP begins with
_GAIN_MAP_SEGMENT, _SEVERAL_PICTURES = b"urn:iso:std:iso:ts:21496:-1\0", b"MPF\0"
_GAIN_MAP_WORDS = (_GAIN_MAP_NAMESPACE, b"hdrgainmap")

# TIFF 6.0 tags, those that mark a raw file (DNG 1.7), and the values that matter here.
_SUBFILE_KIND, _WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _SAMPLES, _PLANES = 254, 256, 257, 258, 262, 277, 284
_STRIPS, _TILES = (273, 279), (324, 325)  # where they begin, and their bytes
_SUB_DIRECTORIES, _SAMPLE_FORMAT, _ICC, _DNG_VERSION = 330, 339, 34675, 50706
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _YCBCR = 0, 1, 2, 3, 6
_OTHER_PHOTOMETRICS = {4: "a mask", 5: "CMYK, made for printing", 8: "CIELAB", 9: "CIELAB", 10: "CIELAB"}
_RAW_PHOTOMETRICS = (32803, 34892)


@dataclass(frozen=True, slots=True)
class ColourChunks:
    """What a PNG or a HEIC photo says of its colours beside a profile."""

    srgb: bool = False
    gamma: float | None = None  # of the encoding, as gAMA states it: 1/2.2 is usual
    chromaticities: tuple[float, ...] | None = None  # cHRM: x, y of white, red, green, blue
    code_points: tuple[int, int] | None = None  # cICP, nclx: colour primaries and transfer, ITU-T H.273


@dataclass(frozen=True, slots=True)
class PhotoHeader:
    """A picture that can be decoded, as far as its header tells."""

    kind: Literal["JPEG", "PNG", "TIFF", "HEIF", "RAW"]
    width: int  # as stored, before `tags.orientation` turns it upright
    height: int
    bits: Literal[8, 16]
    has_alpha: bool = False
    icc: bytes | None = None
    icc_damaged: bool = False  # a profile is there, but not whole
    tags: CameraTags = NO_TAGS
    colour: ColourChunks = field(default_factory=ColourChunks)
    luminance_table: tuple[int, ...] | None = None  # of a JPEG: what its DCT coefficients were divided by
    gain_map: bool = False  # a second picture, with which bright screens stretch this one


def is_camera_raw(content: bytes) -> bool:
    """Whether a file is a camera's raw file, as far as its start and its TIFF tags tell; no to one that is damaged."""
    if any(content.startswith(start, at) for at, start in RAW_STARTS):
        return True
    if not content.startswith(TIFF_STARTS):
        return False
    try:
        first, *below = tiff_directories(content)
        return (
            _DNG_VERSION in first
            or bool(first.get(_SUBFILE_KIND, 0) & 1)  # the first page is but a small preview
            or any(tags.get(_PHOTOMETRIC) in _RAW_PHOTOMETRICS for tags in (first, *below))
        )
    except Exception:  # noqa: BLE001 - a damaged file can raise anything in a parser; read_header tells what is wrong
        return False


def tiff_directories(content: bytes) -> Iterator[dict[int, Any]]:
    """Tags of the first page of a TIFF file, then of those below it, in which raw files keep their pixels."""
    stream = BytesIO(content)
    start = stream.read(16 if b"+" in content[2:4] else 8)
    first = _tiff_directory(start, stream, ImageFileDirectory_v2(start).next)
    yield first
    below = first.get(_SUB_DIRECTORIES, ())
    for at in (below if isinstance(below, tuple) else (below,))[:_MOST_DIRECTORIES]:
        yield _tiff_directory(start, stream, at)


def _tiff_directory(start: bytes, stream: BytesIO, at: int) -> dict[int, Any]:
    """All tags that can be read: they are unpacked here and now, for a damaged one can raise anything when it is."""
    tags = ImageFileDirectory_v2(start)
    stream.seek(at)
    tags.load(stream)
    found = {}
    for tag in tags:
        with suppress(Exception):
            found[tag] = tags[tag]
    return found


def check_tiff_complete(tags: Mapping[int, Any], content: bytes) -> None:
    """Raise if the pixels of a page lie beyond the end of the file."""
    for offsets, sizes in (_STRIPS, _TILES):
        ends = [at + size for at, size in zip(_integers(tags, offsets), _integers(tags, sizes), strict=False)]
        if ends and max(ends) > len(content):
            raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)


def _integers(tags: Mapping[int, Any], tag: int) -> tuple[int, ...]:
    values = tags.get(tag, ())
    return tuple(value for value in (values if isinstance(values, tuple) else (values,)) if isinstance(value, int))


def read_header(content: bytes) -> PhotoHeader:
    """Read the header of a JPEG, PNG or TIFF file (HEIC: heif.py, camera raw: raw.py).

    Parameters
    ----------
    content : bytes
        The whole file.

    Raises
    ------
    PhotoError
        If the file is empty, of another kind, cut short, or holds what cannot be measured; without the photo's name.
    """
    if not content:
        raise PhotoError("the file is empty (0 bytes).", remedy=DAMAGED_REMEDY)
    for starts, read in ((JPEG_START, _read_jpeg), (PNG_START, _read_png), (TIFF_STARTS, _read_tiff)):
        if content.startswith(starts):
            try:
                header = read(content)
                if header.width and header.height:
                    return header
            except PhotoError:
                raise
            except Exception as refused:  # a damaged file can raise anything in a parser
                raise PhotoError(NO_HEADER, remedy=DAMAGED_REMEDY) from refused
            raise PhotoError(NO_HEADER, remedy=DAMAGED_REMEDY)
    raise PhotoError(f"this is {other_kind(content)}, not a photo that can be read.", remedy=EXPORT_REMEDY)


def _read_jpeg(content: bytes) -> PhotoHeader:
    frame, exif, pieces, table = b"", b"", [], None
    segments, pixels_at = _jpeg_segments(content)
    for marker, body in segments:
        if marker in _JPEG_FRAMES:
            frame = body
        elif marker == _APP1 and body.startswith(b"Exif\0") and not exif:
            exif = body
        elif marker == _APP2 and body.startswith(b"ICC_PROFILE\0"):
            pieces.append(body[12:])
        elif marker == _DQT and table is None:
            table = _luminance_table(body)
    bits, height, width, channels = struct.unpack_from(">BHHB", frame)
    if channels == 4:
        raise PhotoError("the photo is CMYK, made for printing, not RGB.", remedy=RGB_REMEDY)
    if bits != 8:
        raise PhotoError(f"the JPEG photo has {bits} bits a channel, not 8.", remedy=RGB_REMEDY)
    # The decoder makes noise of a lost end that was padded with zeros, and does not tell. So the end mark is looked
    # for, behind the header: a thumbnail in there has an end of its own.
    if content.rfind(b"\xff\xd9", pixels_at) < 0:
        raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
    icc = _jpeg_profile(pieces)
    return PhotoHeader(
        "JPEG",
        width,
        height,
        bits=8,
        icc=icc,
        icc_damaged=bool(pieces) and icc is None,
        tags=parse_exif(exif) if exif else NO_TAGS,
        luminance_table=table,
        gain_map=_has_gain_map(segments, content, pixels_at),
    )


def _luminance_table(body: bytes) -> tuple[int, ...] | None:
    """Table 0 of a segment of one or more tables, each of 64 numbers of 1 or 2 bytes (T.81 clause B.2.4.1)."""
    at = 0
    while at < len(body):
        size = 128 if body[at] >> 4 else 64
        if body[at] & 15 == 0 and at + 1 + size <= len(body):
            return struct.unpack_from(">64H" if size == 128 else ">64B", body, at + 1)
        at += 1 + size
    return None


def _has_gain_map(segments: Iterable[tuple[int, bytes]], content: bytes, pixels_at: int) -> bool:
    several = False
    for marker, body in segments:
        if marker == _APP1 and _XMP in body[:64] and _GAIN_MAP_NAMESPACE in body:
            return True
        if marker == _APP2 and body.startswith(_GAIN_MAP_SEGMENT):
            return True
        several |= marker == _APP2 and body.startswith(_SEVERAL_PICTURES)
    return several and any(content.find(word, pixels_at) >= 0 for word in _GAIN_MAP_WORDS)


def _jpeg_segments(content: bytes) -> tuple[list[tuple[int, bytes]], int]:
    """Split what lies before the pixels into markers and bodies (T.81 clause B.1.1); and say where the pixels begin."""
    segments = []
    at = 2
    while content[at : at + 2] != b"\xff\xda":  # start of scan
        if content[at] != 0xFF or content[at + 1] in (0x00, 0xFF):
            at += 1  # filling between segments; decoders skip it too
            continue
        end = at + 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        segments.append((content[at + 1], content[at + 4 : end]))
        at = end
    return segments, at


def _jpeg_profile(pieces: list[bytes]) -> bytes | None:
    """Join a profile that is spread over segments, each with its number and how many there are (ICC.1:2022 annex B)."""
    numbered = {piece[0]: piece for piece in pieces if len(piece) > 2}
    if not numbered or any(sorted(numbered) != list(range(1, piece[1] + 1)) for piece in numbered.values()):
        return None
    return b"".join(numbered[number][2:] for number in sorted(numbered))


def _read_png(content: bytes) -> PhotoHeader:
    chunks: dict[bytes, bytes] = {}
    for kind, body in _png_chunks(content):
        chunks.setdefault(kind, body)
    width, height, bits, colour_type = struct.unpack_from(">IIBB", chunks[b"IHDR"])
    if b"IDAT" not in chunks:
        raise PhotoError("the file is damaged: it holds no pixels.", remedy=DAMAGED_REMEDY)
    icc = _png_profile(chunks[b"iCCP"]) if b"iCCP" in chunks else None
    chromaticities = chunks.get(b"cHRM", b"")
    return PhotoHeader(
        "PNG",
        width,
        height,
        bits=16 if bits == 16 else 8,
        has_alpha=colour_type in (4, 6) or b"tRNS" in chunks,
        icc=icc,
        icc_damaged=b"iCCP" in chunks and icc is None,
        tags=parse_exif(chunks[b"eXIf"]) if b"eXIf" in chunks else NO_TAGS,
        colour=ColourChunks(
            srgb=b"sRGB" in chunks,
            gamma=struct.unpack(">I", chunks[b"gAMA"])[0] / 100_000 if len(chunks.get(b"gAMA", b"")) == 4 else None,
            chromaticities=tuple(value / 100_000 for value in struct.unpack(">8I", chromaticities))
            if len(chromaticities) == 32
            else None,
            code_points=(chunks[b"cICP"][0], chunks[b"cICP"][1]) if len(chunks.get(b"cICP", b"")) == 4 else None,
        ),
    )


def _png_chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Every chunk up to the end mark, its checksum proved. The pixels' bodies are left out."""
    view = memoryview(content)
    at = len(PNG_START)
    while at + 12 <= len(content):
        length, kind = struct.unpack_from(">I4s", content, at)
        end = at + 8 + length
        if end + 4 > len(content):
            break
        if zlib.crc32(view[at + 4 : end]) != struct.unpack_from(">I", content, end)[0]:
            raise PhotoError(f"the file is damaged at byte {at}: a checksum is wrong.", remedy=DAMAGED_REMEDY)
        if kind == b"IEND":
            return
        yield kind, b"" if kind in (b"IDAT", b"fdAT") else content[at + 8 : end]
        at = end + 4
    raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)


def _png_profile(body: bytes) -> bytes | None:
    """Unpack an iCCP chunk: a name, a zero, a method byte, compressed data. None if it is damaged."""
    _, _, packed = body.partition(b"\0")
    try:
        return zlib.decompressobj().decompress(packed[1:], _MOST_PROFILE_BYTES) or None
    except zlib.error:
        return None


def _read_tiff(content: bytes) -> PhotoHeader:
    """Read the first page; further ones are thumbnails, or scans of something else."""
    tags = next(tiff_directories(content))
    _refuse_other_tiffs(tags)
    check_tiff_complete(tags, content)
    icc = tags.get(_ICC)
    return PhotoHeader(
        "TIFF",
        operator.index(tags[_WIDTH]),  # no number at all in a damaged file
        operator.index(tags[_HEIGHT]),
        bits=16 if tags[_BITS][0] == 16 else 8,
        icc=icc if isinstance(icc, bytes) else None,
        icc_damaged=icc is not None and not isinstance(icc, bytes),
        tags=parse_exif(content),  # an EXIF block is a TIFF file without a picture
    )


def _refuse_other_tiffs(tags: Mapping[int, Any]) -> None:
    """Raise where a TIFF holds no photo, or one that OpenCV would decode wrongly."""
    photometric, samples, bits = tags[_PHOTOMETRIC], tags.get(_SAMPLES, 1), tags.get(_BITS, (1,))
    if photometric not in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _YCBCR):
        kind = _OTHER_PHOTOMETRICS.get(photometric, f"of an unusual kind ({photometric})")
        raise PhotoError(f"the photo is {kind}, not RGB.", remedy=RGB_REMEDY)
    if set(tags.get(_SAMPLE_FORMAT, (1,))) != {1}:
        raise PhotoError("the photo holds floating-point or signed numbers, not codes.", remedy=RGB_REMEDY)
    if set(bits) not in ({8}, {16}):
        raise PhotoError(f"the photo has {max(bits)} bits a channel, not 8 or 16.", remedy=RGB_REMEDY)
    if photometric in (_WHITE_IS_ZERO, _BLACK_IS_ZERO) and samples > 1:
        raise PhotoError("the gray photo has a second channel.", remedy=RGB_REMEDY)
    if bits[0] == 16 and (photometric not in (_BLACK_IS_ZERO, _RGB) or tags.get(_PLANES, 1) != 1):
        raise PhotoError("the 16-bit photo is stored inverted, or in separate colour planes.", remedy=RGB_REMEDY)
