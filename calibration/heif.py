"""What is in a HEIC (or HEIF) photo, and is all of it there?

Decoded by pillow_heif, which the extra `heic` brings and which is loaded when the first such photo comes. Its decoder
paints what is missing of a tile green and does not tell, so the file's own directory is read here first: every part
must lie within the file, and every part of the picture must be one unbroken run of coded units.

Sources: ISO/IEC 14496-12 (boxes: meta, pitm, iloc, iinf, iref), ISO/IEC 23008-12 (HEIF), ISO/IEC 14496-15 (hvcC; coded
units, each behind its length), ITU-T H.265 clause 7.4.2 (the last byte of a coded unit is not zero).
"""

import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import PhotoError
from calibration.exif import NO_TAGS, parse_exif
from calibration.file_kind import CUT_SHORT, DAMAGED_REMEDY, NO_HEADER, missing_extra, see_through_error
from calibration.photo_header import ColourChunks, PhotoHeader

if TYPE_CHECKING:
    from pillow_heif import HeifFile, HeifImage

# ISO/IEC 23008-12 annex B: brands of still pictures coded with HEVC, and the two that say only "HEIF".
_HEVC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})
_HEIF_BRANDS = frozenset({b"mif1", b"msf1"})
_AVIF_BRANDS = frozenset({b"avif", b"avis"})
_GAIN_MAP_BRAND = b"tmap"  # ISO/IEC 23008-12 amendment: a tone-mapped picture derived with a gain map
_GAIN_MAP_WORD = "hdrgainmap"  # ends the auxiliary types that phones write

_MOST_EXTENTS = 100_000  # chosen: 200 megapixels come in 800 parts; a damaged directory may state billions
_LARGEST_ITEM = 2**40  # bytes; what a damaged directory states beyond is no place in a file


@dataclass(frozen=True, slots=True)
class _Directory:
    """Where the parts of the picture lie, as the file says."""

    primary: int
    kinds: dict[int, bytes]  # item -> "hvc1", "grid", "Exif", ...
    places: dict[int, list[tuple[int, int]]]  # item -> (offset, bytes) in the file; none for what lies elsewhere
    parts: dict[int, list[int]]  # item -> the items it is put together from
    length_bytes: int  # of a coded unit's length


def is_heif(content: bytes) -> bool:
    """Whether a file is a HEIC or HEIF picture, by its brands."""
    if content[4:8] != b"ftyp":
        return False
    brands = _brands(content)
    return bool(_HEVC_BRANDS & {*brands} or (brands[0] in _HEIF_BRANDS and not _AVIF_BRANDS & {*brands}))


def read_heif_header(content: bytes) -> PhotoHeader:
    """Read the header of a HEIC file, without decoding it.

    Parameters
    ----------
    content : bytes
        The whole file.

    Returns
    -------
    PhotoHeader
        Width and height upright: the turns that the container states are applied by the decoder. The orientation in
        EXIF repeats them and is left out, as ISO/IEC 23008-12 demands.

    Raises
    ------
    PhotoError
        If the file is damaged or cut short, or the package that decodes it is not installed.
    """
    _package()  # before the content is judged: whatever is wrong with it, without the package it cannot be read
    _check_complete(content)
    picture = _open(content)
    info: dict[str, Any] = dict(picture.info)
    icc = info.get("icc_profile")
    nclx = info.get("nclx_profile")
    tags = parse_exif(info["exif"]) if info.get("exif") else NO_TAGS
    width, height = picture.size
    return PhotoHeader(
        "HEIF",
        width,
        height,
        bits=16 if info["bit_depth"] > 8 else 8,
        has_alpha=picture.has_alpha,
        icc=icc or None,
        tags=replace(tags, orientation=1),
        colour=ColourChunks(
            code_points=(nclx["color_primaries"], nclx["transfer_characteristics"]) if nclx and not icc else None
        ),
        gain_map=_GAIN_MAP_BRAND in _brands(content) or any(_GAIN_MAP_WORD in kind for kind in info.get("aux", ())),
    )


def decode_heif(content: bytes) -> NDArray[Any]:
    """Decode a HEIC file whose header was read.

    Returns
    -------
    ndarray of uint8 or uint16, (rows, columns, 3)
        RGB, upright. 10 and 12 bits are spread over 16: full scale is 65535.

    Raises
    ------
    PhotoError
        If it cannot be decoded, or parts of it are transparent.
    """
    picture = _open(content)
    try:
        codes = np.array(picture)  # a copy: what the decoder gives cannot be written to
    except Exception as refused:  # the binding raises what the decoder says, in several classes
        raise PhotoError("the pixels cannot be decoded: the file is damaged.", remedy=DAMAGED_REMEDY) from refused
    if codes.dtype == np.uint16:
        # The bits stand at the top of 16, with zeros below: repeating them there takes full scale to 65535.
        codes |= codes >> picture.info["bit_depth"]
    if codes.ndim == 2:
        return np.repeat(codes[..., np.newaxis], 3, axis=2)
    if codes.shape[2] == 4:
        see_through = np.count_nonzero(codes[..., 3] != np.iinfo(codes.dtype).max)
        if see_through:
            raise see_through_error(see_through / codes[..., 3].size)
    return np.ascontiguousarray(codes[..., :3])


def _package() -> ModuleType:
    try:
        import pillow_heif  # noqa: PLC0415 - an extra: loaded when a photo needs it
    except ImportError as missing:
        raise missing_extra("a HEIC photo", "heic") from missing
    return pillow_heif


def _open(content: bytes) -> "HeifImage":
    open_heif: Callable[..., HeifFile] = _package().open_heif
    try:
        # 10 bits stay 10 bits: by default they would be cut to 8
        opened = open_heif(content, convert_hdr_to_8bit=False)
        return opened[opened.primary_index]
    except Exception as refused:  # a damaged file can raise anything in the binding
        raise PhotoError(NO_HEADER, remedy=DAMAGED_REMEDY) from refused


def _brands(content: bytes) -> list[bytes]:
    """The major brand, then the compatible ones."""
    listed = content[16 : min(int.from_bytes(content[:4], "big"), 512)]
    return [content[8:12], *(listed[at : at + 4] for at in range(0, len(listed), 4))]


def _check_complete(content: bytes) -> None:
    """Raise if a part is missing from the file, or a part of the picture is not whole."""
    try:
        directory = _read_directory(content)
    except (struct.error, IndexError, LookupError, TypeError, ValueError) as refused:
        raise PhotoError(NO_HEADER, remedy=DAMAGED_REMEDY) from refused
    if any(at + size > len(content) for places in directory.places.values() for at, size in places):
        raise PhotoError(CUT_SHORT, remedy=DAMAGED_REMEDY)
    for item in _picture_items(directory):
        if directory.kinds.get(item) == b"hvc1":
            coded = b"".join(content[at : at + size] for at, size in directory.places.get(item, ()))
            if not _is_whole(coded, directory.length_bytes):
                raise PhotoError("the file is damaged: a part of the picture is missing.", remedy=DAMAGED_REMEDY)


def _picture_items(directory: _Directory) -> Iterable[int]:
    """The main picture and its tiles; all pictures where the file names none that it has."""
    if directory.primary not in directory.kinds:
        return directory.kinds
    return (directory.primary, *directory.parts.get(directory.primary, ()))


def _is_whole(coded: bytes, length_bytes: int) -> bool:
    """Whether a picture's data is one run of coded units: what an interrupted copy fills with zeros is not."""
    at = 0
    while at < len(coded):
        length = int.from_bytes(coded[at : at + length_bytes], "big")
        at += length_bytes + length
        if length == 0 or at > len(coded) or coded[at - 1] == 0:
            return False
    return at > 0


def _read_directory(content: bytes) -> _Directory:
    start, end = _box(content, 0, len(content), b"meta")
    start += 4  # version and flags, as in all of the boxes below
    at, _ = _box(content, start, end, b"pitm")
    primary = int.from_bytes(content[at + 4 : at + (6 if content[at] == 0 else 8)], "big")
    configurations = [
        content[inner + 21] & 3
        for properties in _boxes(content, start, end, b"iprp")
        for containers in _boxes(content, *properties, b"ipco")
        for inner, _ in _boxes(content, *containers, b"hvcC")
    ]
    return _Directory(
        primary,
        _item_kinds(content, *_box(content, start, end, b"iinf")),
        _item_places(content, _box(content, start, end, b"iloc")[0]),
        _item_parts(content, start, end),
        1 + max(configurations, default=3),
    )


def _boxes(content: bytes, at: int, end: int, wanted: bytes) -> Iterator[tuple[int, int]]:
    """Start and end of the bodies of all boxes of a kind."""
    while at + 8 <= end:
        size, kind = struct.unpack_from(">I4s", content, at)
        body = at + 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", content, body)
            body += 8
        following = at + size if size else end  # 0: to the end of what holds it
        if following < body:
            return  # no box: what some cameras append
        if kind == wanted:
            yield body, min(following, end)
        at = following


def _box(content: bytes, at: int, end: int, wanted: bytes) -> tuple[int, int]:
    """The first box of a kind; raises LookupError where there is none."""
    for place in _boxes(content, at, end, wanted):
        return place
    raise LookupError(wanted)


def _item_kinds(content: bytes, at: int, end: int) -> dict[int, bytes]:
    kinds = {}
    for entry, _ in _boxes(content, at + (6 if content[at] == 0 else 8), end, b"infe"):
        if content[entry] in (2, 3):
            item, _, kind = struct.unpack_from(">HH4s" if content[entry] == 2 else ">IH4s", content, entry + 4)
            kinds[item] = kind
    return kinds


def _item_places(content: bytes, at: int) -> dict[int, list[tuple[int, int]]]:
    """Read iloc: its fields have the widths that it states."""
    version, sizes = content[at], content[at + 4 : at + 6]
    offset_bytes, length_bytes, base_bytes, index_bytes = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4, sizes[1] & 15
    at += 6
    wide = 4 if version == 2 else 2

    def number(width: int) -> int:
        nonlocal at
        at += width
        if at > len(content):
            raise ValueError(at)
        return int.from_bytes(content[at - width : at], "big")

    places = {}
    left = _MOST_EXTENTS
    for _ in range(number(wide)):
        item = number(wide)
        method = number(2) & 15 if version else 0
        number(2)  # which file: this one
        base = number(base_bytes)
        extents: list[tuple[int, int]] = []
        count = number(2)
        left -= count
        if left < 0:
            raise ValueError(count)
        for _ in range(count):
            number(index_bytes if version else 0)
            start = base + number(offset_bytes)
            extents.append((start, number(length_bytes)))
        if method == 0 and all(start + size < _LARGEST_ITEM for start, size in extents):
            places[item] = extents
    return places


def _item_parts(content: bytes, at: int, end: int) -> dict[int, list[int]]:
    """Of a picture made of tiles, the tiles: the references of kind dimg."""
    parts: dict[int, list[int]] = {}
    for references, references_end in _boxes(content, at, end, b"iref"):
        form = ">H" if content[references] == 0 else ">I"
        width = struct.calcsize(form)
        for entry, _ in _boxes(content, references + 4, references_end, b"dimg"):
            (item,) = struct.unpack_from(form, content, entry)
            (count,) = struct.unpack_from(">H", content, entry + width)
            parts[item] = [
                struct.unpack_from(form, content, entry + width + 2 + width * number)[0] for number in range(count)
            ]
    return parts
