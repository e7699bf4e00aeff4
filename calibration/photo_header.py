"""What kind of picture is in this file, before a pixel of it is decoded?  By content, not by name.

Phones and messengers give files the wrong names. Pillow's readers of JPEG and TIFF are called
directly, not through `Image.open`, whose guard against huge pictures is one setting for the whole process; our own cap
is checked by the caller on the size found here. PNG is walked chunk by chunk, since colour and orientation may be
stated in chunks that Pillow meets only when it decodes.

Sources: PNG (W3C, third edition, 2025), TIFF 6.0 (1992), JPEG (ITU-T T.81), TIFF/EP tags as in DNG 1.7.
"""

import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any, Literal

from PIL.JpegImagePlugin import JpegImageFile
from PIL.TiffImagePlugin import TiffImageFile

from calibration.errors import PhotoError
from calibration.exif import NO_TAGS, CameraTags, parse_exif, read_tags

EXPORT_REMEDY = (
    "This version reads JPEG, PNG and TIFF. Export or share the photo as JPEG at full size; many phones can be set to "
    'take JPEG at once (the setting is often called "most compatible").'
)
RGB_REMEDY = "Export it again as an RGB photo (JPEG, PNG, or TIFF of 8 or 16 bits), with its colour profile embedded."
CUT_SHORT = "the file is cut short: the end of the picture is missing."
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
                return read(content)
            except PhotoError:
                raise
            except Exception as refused:  # a damaged file can raise anything in a parser
                raise PhotoError(
                    "its header cannot be read: the file is damaged, or of an unusual kind.", remedy=DAMAGED_REMEDY
                ) from refused
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
    picture = JpegImageFile(BytesIO(content))
    if picture.mode not in ("RGB", "L"):
        raise PhotoError(f"the photo is {picture.mode}, made for printing, not RGB.", remedy=RGB_REMEDY)
    # The decoder makes noise of a lost end that was padded with zeros, and does not tell. So the end mark is looked
    # for, behind the start of the pixels: a thumbnail before them has an end of its own.
    if content.rfind(b"\xff\xd9", _jpeg_scan(content)) < 0:
        raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
    exif = picture.info.get("exif")
    return PhotoHeader(
        "JPEG",
        *picture.size,
        bits=8,
        icc=picture.info.get("icc_profile"),
        icc_damaged="icc_profile" in picture.info and picture.info["icc_profile"] is None,
        tags=NO_TAGS if exif is None else parse_exif(exif),
    )


def _jpeg_scan(content: bytes) -> int:
    """Find the first start-of-scan marker (T.81 clause B.1.1): segments, each with its length, lead to it."""
    at = 2
    while content[at : at + 2] != b"\xff\xda":
        is_filling = content[at] != 0xFF or content[at + 1] in (0x00, 0xFF)  # between segments; decoders skip it too
        at += 1 if is_filling else 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return at


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
    picture = TiffImageFile(BytesIO(content))
    tags = picture.tag_v2
    _refuse_other_tiffs(tags)
    for offsets, sizes in (_STRIPS, _TILES):
        ends = [at + size for at, size in zip(tags.get(offsets, ()), tags.get(sizes, ()), strict=False)]
        if ends and max(ends) > len(content):
            raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
    icc = tags.get(_ICC)
    return PhotoHeader(
        "TIFF",
        tags[_WIDTH],  # not picture.size, which is turned
        tags[_HEIGHT],
        bits=16 if tags[_BITS][0] == 16 else 8,
        icc=icc if isinstance(icc, bytes) else None,
        icc_damaged=icc is not None and not isinstance(icc, bytes),
        tags=read_tags(picture.getexif()),
    )


def _refuse_other_tiffs(tags: Mapping[int, Any]) -> None:
    """Raise where a TIFF holds no photo, or one that OpenCV would decode wrongly."""
    photometric, samples, bits = tags.get(_PHOTOMETRIC), tags.get(_SAMPLES, 1), tags.get(_BITS, (1,))
    if _DNG_VERSION in tags or tags.get(_SUBFILE_KIND, 0) & 1 or photometric in _RAW_PHOTOMETRICS:
        raise PhotoError("this is a camera raw file.", remedy=EXPORT_REMEDY)  # its first page is but a small preview
    if photometric not in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _YCBCR):
        kind = _OTHER_PHOTOMETRICS.get(photometric or -1, f"of an unusual kind ({photometric})")
        raise PhotoError(f"the photo is {kind}, not RGB.", remedy=RGB_REMEDY)
    if set(tags.get(_SAMPLE_FORMAT, (1,))) != {1}:
        raise PhotoError("the photo holds floating-point or signed numbers, not codes.", remedy=RGB_REMEDY)
    if set(bits) not in ({8}, {16}):
        raise PhotoError(f"the photo has {max(bits)} bits a channel, not 8 or 16.", remedy=RGB_REMEDY)
    if photometric in (_WHITE_IS_ZERO, _BLACK_IS_ZERO) and samples > 1:
        raise PhotoError("the gray photo has a second channel.", remedy=RGB_REMEDY)
    if bits[0] == 16 and (photometric not in (_BLACK_IS_ZERO, _RGB) or tags.get(_PLANES, 1) != 1):
        raise PhotoError("the 16-bit photo is stored inverted, or in separate colour planes.", remedy=RGB_REMEDY)
