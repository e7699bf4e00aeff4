"""What kind of picture is in this file, before a pixel of it is decoded?  By content, not by name.

Phones and messengers give files the wrong names. JPEG and PNG are walked segment by segment: Pillow's readers would do
it, but not without a guard against huge pictures that is one setting for the whole process, not without failing on
broken EXIF, and not, for PNG, without decoding the pixels to see what comes after them. The cap on pixels is the
caller's, checked on the size found here. EXIF and TIFF tags are read by Pillow.

Sources: PNG (W3C, third edition, 2025), TIFF 6.0 (1992), JPEG (ITU-T T.81), TIFF/EP tags as in DNG 1.7.
"""

import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any, Literal

from PIL.TiffImagePlugin import ImageFileDirectory_v2

from calibration.errors import PhotoError
from calibration.exif import NO_TAGS, CameraTags, parse_exif

EXPORT_REMEDY = (
    "This version reads JPEG, PNG and TIFF. Export or share the photo as JPEG at full size; many phones can be set to "
    'take JPEG at once (the setting is often called "most compatible").'
)
RGB_REMEDY = "Export it again as an RGB photo (JPEG, PNG, or TIFF of 8 or 16 bits), with its colour profile embedded."
CUT_SHORT = "the file is cut short: the end of the picture is missing."
_NO_HEADER = "its header cannot be read: the file is damaged, or of an unusual kind."
DAMAGED_REMEDY = "Copy it again from the phone or camera, and check that the copy is complete."

_MOST_PROFILE_BYTES = 32 * 1024 * 1024  # chosen: table-based profiles reach a few megabytes

_JPEG_START, _PNG_START, _TIFF_STARTS = (
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),  # the last two: files beyond 4 GB
)
# First bytes (at an offset) of what people send instead; the words complete "this is ...".
_OTHER_KINDS = (
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (8, b"WEBP", "a WebP picture"),
    (0, b"%PDF", "a PDF document"),
    (0, b"8BPS", "a layered editor file"),
    (0, b"\xff\x0a", "a JPEG XL picture"),
    (4, b"JXL ", "a JPEG XL picture"),
    (4, b"jP  ", "a JPEG 2000 picture"),
    (4, b"ftyphei", "a HEIC photo"),
    (4, b"ftyphev", "a HEIC photo"),
    (4, b"ftypmif1", "a HEIC photo"),
    (4, b"ftypmsf1", "a HEIC photo"),
    (4, b"ftypavi", "an AVIF picture"),
    (4, b"ftypcrx", "a camera raw file"),
    (4, b"ftyp", "a video"),
    (0, b"IIRO", "a camera raw file"),
    (0, b"IIU\0", "a camera raw file"),
    (0, b"PK\x03\x04", "a zip archive"),
)

# JPEG markers, T.81 table B.1: every start of frame, and the two that carry EXIF and profiles.
_JPEG_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_APP1, _APP2 = 0xE1, 0xE2

# TIFF 6.0 tags, the one that marks a raw file (DNG 1.7), and the values that matter here.
_SUBFILE_KIND, _WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _SAMPLES, _PLANES = 254, 256, 257, 258, 262, 277, 284
_STRIPS, _TILES = (273, 279), (324, 325)  # where they begin, and their bytes
_SAMPLE_FORMAT, _ICC, _DNG_VERSION = 339, 34675, 50706
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _YCBCR = 0, 1, 2, 3, 6
_OTHER_PHOTOMETRICS = {4: "a mask", 5: "CMYK, made for printing", 8: "CIELAB", 9: "CIELAB", 10: "CIELAB"}
_RAW_PHOTOMETRICS = (32803, 34892)


@dataclass(frozen=True, slots=True)
class ColourChunks:
    """What a PNG says of its colours beside a profile."""

    srgb: bool = False
    gamma: float | None = None  # of the encoding, as gAMA states it: 1/2.2 is usual
    chromaticities: tuple[float, ...] | None = None  # cHRM: x, y of white, red, green, blue
    code_points: tuple[int, int] | None = None  # cICP: colour primaries and transfer, ITU-T H.273


@dataclass(frozen=True, slots=True)
class PhotoHeader:
    """A picture that can be decoded, as far as its header tells."""

    kind: Literal["JPEG", "PNG", "TIFF"]
    width: int  # as stored, before it is turned upright
    height: int
    bits: Literal[8, 16]
    has_alpha: bool = False
    icc: bytes | None = None
    icc_damaged: bool = False  # a profile is there, but not whole
    tags: CameraTags = NO_TAGS
    colour: ColourChunks = field(default_factory=ColourChunks)


def read_header(content: bytes) -> PhotoHeader:
    """Read the header of a JPEG, PNG or TIFF file.

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
    for starts, read in ((_JPEG_START, _read_jpeg), (_PNG_START, _read_png), (_TIFF_STARTS, _read_tiff)):
        if content.startswith(starts):
            try:
                header = read(content)
                if header.width and header.height:
                    return header
            except PhotoError:
                raise
            except Exception as refused:  # a damaged file can raise anything in a parser
                raise PhotoError(_NO_HEADER, remedy=DAMAGED_REMEDY) from refused
            raise PhotoError(_NO_HEADER, remedy=DAMAGED_REMEDY)
    raise PhotoError(f"this is {_other_kind(content)}, not a JPEG, PNG or TIFF photo.", remedy=EXPORT_REMEDY)


def _other_kind(content: bytes) -> str:
    for at, start, words in _OTHER_KINDS:
        if content.startswith(start, at):
            return words
    text = content[:512]
    if not any(byte < 9 or 13 < byte < 32 for byte in text):
        return "a text file"
    return "a file of an unknown kind"


def _read_jpeg(content: bytes) -> PhotoHeader:
    frame, exif, pieces = b"", b"", []
    segments, pixels_at = _jpeg_segments(content)
    for marker, body in segments:
        if marker in _JPEG_FRAMES:
            frame = body
        elif marker == _APP1 and body.startswith(b"Exif\0") and not exif:
            exif = body
        elif marker == _APP2 and body.startswith(b"ICC_PROFILE\0"):
            pieces.append(body[12:])
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
    )


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
    at = len(_PNG_START)
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
    stream = BytesIO(content)
    tags = ImageFileDirectory_v2(stream.read(16 if b"+" in content[2:4] else 8))
    stream.seek(tags.next)
    tags.load(stream)
    _refuse_other_tiffs(tags)
    for offsets, sizes in (_STRIPS, _TILES):
        ends = [at + size for at, size in zip(tags.get(offsets, ()), tags.get(sizes, ()), strict=False)]
        if ends and max(ends) > len(content):
            raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
    icc = tags.get(_ICC)
    return PhotoHeader(
        "TIFF",
        tags[_WIDTH],
        tags[_HEIGHT],
        bits=16 if tags[_BITS][0] == 16 else 8,
        icc=icc if isinstance(icc, bytes) else None,
        icc_damaged=icc is not None and not isinstance(icc, bytes),
        tags=parse_exif(content),  # an EXIF block is a TIFF file without a picture
    )


def _refuse_other_tiffs(tags: Mapping[int, Any]) -> None:
    """Raise where a TIFF holds no photo, or one that OpenCV would decode wrongly."""
    photometric, samples, bits = tags[_PHOTOMETRIC], tags.get(_SAMPLES, 1), tags.get(_BITS, (1,))
    if _DNG_VERSION in tags or tags.get(_SUBFILE_KIND, 0) & 1 or photometric in _RAW_PHOTOMETRICS:
        raise PhotoError("this is a camera raw file.", remedy=EXPORT_REMEDY)  # its first page is but a small preview
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
