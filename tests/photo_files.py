"""Makers of small photo files and colour profiles, byte by byte: what no camera writes, and what no library writes.

Independent of the code under test. Sources: PNG (W3C, third edition), TIFF 6.0, ICC.1:2022.
"""

import struct
import zlib
from collections.abc import Iterable, Mapping, Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

DATA = Path(__file__).parent / "data"

# How an upright picture is stored for each EXIF orientation; from the wording of Exif 2.32 table 4 (where the stored
# row 0 and column 0 lie on the upright picture), not from the code under test.
STORED = {
    1: lambda upright: upright,  # row 0 top, column 0 left
    2: lambda upright: upright[:, ::-1],  # top, right
    3: lambda upright: upright[::-1, ::-1],  # bottom, right
    4: lambda upright: upright[::-1],  # bottom, left
    5: lambda upright: upright.swapaxes(0, 1),  # left, top
    6: lambda upright: upright[:, ::-1].swapaxes(0, 1),  # right, top
    7: lambda upright: upright[::-1, ::-1].swapaxes(0, 1),  # right, bottom
    8: lambda upright: upright[::-1].swapaxes(0, 1),  # left, bottom
}


def random_codes(rows: int = 6, columns: int = 9, dtype: type = np.uint8, *, start: int = 1) -> NDArray:
    """Draw RGB codes over the whole range, the same every time."""
    return np.random.default_rng(start).integers(0, np.iinfo(dtype).max, (rows, columns, 3), dtype=dtype)


def exif_block(orientation: int = 1, **tags: object) -> Image.Exif:
    """EXIF as a camera writes it; further tags by their Exif names, those of `_EXIF_TAGS`."""
    exif = Image.Exif()
    exif[274] = orientation
    for name, value in tags.items():
        if name in _BASE_TAGS:
            exif[_BASE_TAGS[name]] = value
        elif name == "InteroperabilityIndex":
            exif.get_ifd(0x8769)[0xA005] = {1: value}
        else:
            exif.get_ifd(0x8769)[_EXIF_TAGS[name]] = IFDRational(*value) if isinstance(value, tuple) else value
    return exif


_BASE_TAGS = {"Make": 271, "Model": 272, "Software": 305}
_EXIF_TAGS = {
    "ExposureTime": 0x829A,
    "FNumber": 0x829D,
    "PhotographicSensitivity": 0x8827,
    "ISOSpeed": 0x8833,
    "DateTimeOriginal": 0x9003,
    "OffsetTimeOriginal": 0x9011,
    "Flash": 0x9209,
    "UserComment": 0x9286,
    "ColorSpace": 0xA001,
    "CustomRendered": 0xA401,
    "DigitalZoomRatio": 0xA404,
    "SceneCaptureType": 0xA406,
    "LensModel": 0xA434,
    "CompositeImage": 0xA460,
}


def pillow_file(codes: NDArray, kind: str, **options: object) -> bytes:
    """Write what Pillow can write."""
    buffer = BytesIO()
    Image.fromarray(codes).save(buffer, kind, **options)
    return buffer.getvalue()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_file(
    codes: NDArray, chunks: Iterable[tuple[bytes, bytes]] = (), *, palette: bytes = b"", late: bytes = b""
) -> bytes:
    """PNG of 8 or 16 bits: gray, RGB, or with alpha by the last axis; palette indices if a palette is given."""
    channels = 1 if codes.ndim == 2 else codes.shape[2]
    colour_type = 3 if palette else {1: 0, 2: 4, 3: 2, 4: 6}[channels]
    size = codes.dtype.itemsize
    header = struct.pack(">IIBBBBB", codes.shape[1], codes.shape[0], 8 * size, colour_type, 0, 0, 0)
    rows = b"".join(b"\0" + row.astype(f">u{size}").tobytes() for row in codes)
    return (
        b"\x89PNG\r\n\x1a\n"
        + png_chunk(b"IHDR", header)
        + b"".join(png_chunk(*chunk) for chunk in chunks if chunk[0] != b"tRNS")
        + (png_chunk(b"PLTE", palette) if palette else b"")
        + b"".join(png_chunk(*chunk) for chunk in chunks if chunk[0] == b"tRNS")
        + png_chunk(b"IDAT", zlib.compress(rows))
        + late
        + png_chunk(b"IEND", b"")
    )


def tiff_file(codes: NDArray, tags: Mapping[int, Sequence[int] | bytes] | None = None, *, order: str = "<") -> bytes:
    """TIFF of one uncompressed strip; `tags` add to, or replace, the usual ones. `order`: "<" or ">"."""
    rows, columns = codes.shape[:2]
    channels = 1 if codes.ndim == 2 else codes.shape[2]
    pixels = codes.astype(codes.dtype.newbyteorder(order)).tobytes()
    pixels += bytes(len(pixels) % 2)
    fields = {
        256: [columns],
        257: [rows],
        258: [8 * codes.dtype.itemsize] * channels,
        259: [1],  # not compressed
        262: [2 if channels > 2 else 1],  # RGB, or gray with 0 black
        273: [8],
        277: [channels],
        278: [rows],
        279: [codes.nbytes],
        284: [1],
        **({338: [2]} if channels in (2, 4) else {}),  # the last channel is alpha, not multiplied in
        **(tags or {}),
    }
    directory = 8 + len(pixels)
    outside_at = directory + 2 + 12 * len(fields) + 4
    entries, outside = b"", b""
    for tag, values in sorted(fields.items()):
        kind = 7 if isinstance(values, bytes) else 4  # undefined, or 32 bits
        packed = values if isinstance(values, bytes) else struct.pack(f"{order}{len(values)}I", *values)
        if len(packed) > 4:
            packed, outside = struct.pack(f"{order}I", outside_at + len(outside)), outside + packed
        entries += struct.pack(f"{order}HHI", tag, kind, len(values)) + packed.ljust(4, b"\0")
    start = (b"II" if order == "<" else b"MM") + struct.pack(f"{order}HI", 42, directory)
    return start + pixels + struct.pack(f"{order}H", len(fields)) + entries + bytes(4) + outside


# --- ICC profiles: clause 7 (header), 9 (tags), 10 (elements)

D50_ILLUMINANT = (0.9642, 1.0, 0.8249)


def fixed(*values: float) -> bytes:
    """s15Fixed16 numbers."""
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def curve_samples(samples: ArrayLike) -> bytes:
    """A 'curv' element of samples over 0 to 1; none for the identity."""
    codes = np.rint(np.asarray(samples) * 65535).astype(">u2")
    return b"curv" + bytes(4) + struct.pack(">I", codes.size) + codes.tobytes()


def curve_gamma(gamma: float) -> bytes:
    """A 'curv' element of one power."""
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256))


def curve_function(kind: int, *parameters: float) -> bytes:
    """A 'para' element."""
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed(*parameters)


def matrix_profile(
    colorants: ArrayLike, curves: Sequence[bytes], name: str = "made for a test", **kind: bytes
) -> bytes:
    """A matrix profile; `colorants` is linear RGB -> XYZ (D50), (3, 3)."""
    elements = {b"desc": _text(name), b"wtpt": _XYZ(D50_ILLUMINANT)}
    for letter, colorant, curve in zip(b"rgb", np.asarray(colorants).T, curves, strict=True):
        elements[bytes([letter]) + b"XYZ"] = _XYZ(colorant)
        elements[bytes([letter]) + b"TRC"] = curve
    return icc_profile(elements, **kind)


def gray_profile(curve: bytes) -> bytes:
    return icc_profile(
        {b"desc": _text("gray made for a test"), b"wtpt": _XYZ(D50_ILLUMINANT), b"kTRC": curve}, space=b"GRAY"
    )


def table_profile(to_XYZ: ArrayLike, curve: ArrayLike, **kind: bytes) -> bytes:
    """A table-based profile that means exactly what a matrix and a curve mean.

    Input tables hold the curve (any number of samples), and the colour table only its 2 x 2 x 2 corners: between them
    a linear interpolation is the matrix itself. XYZ is encoded as u1Fixed15, so it must not be negative.
    """
    corners = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1).reshape(-1, 3)
    XYZ = np.rint(corners @ np.asarray(to_XYZ).T * 32768).astype(">u2")
    samples = np.rint(np.asarray(curve) * 65535).astype(">u2")
    table = (
        b"mft2"
        + bytes(4)
        + bytes([3, 3, 2, 0])
        + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
        + struct.pack(">HH", samples.size, 2)
        + samples.tobytes() * 3
        + XYZ.tobytes()
        + struct.pack(">HH", 0, 65535) * 3
    )
    elements = {b"desc": _text("table made for a test"), b"wtpt": _XYZ(D50_ILLUMINANT), b"A2B0": table}
    return icc_profile(elements, **kind)


def icc_profile(
    elements: Mapping[bytes, bytes], *, space: bytes = b"RGB ", kind: bytes = b"mntr", connection: bytes = b"XYZ "
) -> bytes:
    directory, body = b"", b""
    start = 128 + 4 + 12 * len(elements)
    for signature, element in elements.items():
        directory += struct.pack(">4sII", signature, start + len(body), len(element))
        body += element + bytes(-len(element) % 4)
    header = (
        struct.pack(">I4sI", start + len(body), b"", 0x04200000)
        + kind
        + space
        + connection
        + struct.pack(">6H", 2024, 1, 1, 0, 0, 0)
        + b"acsp"
        + bytes(28)
        + fixed(*D50_ILLUMINANT)
    )
    return header.ljust(128, b"\0") + struct.pack(">I", len(elements)) + directory + body


def _XYZ(values: Sequence[float]) -> bytes:
    return b"XYZ " + bytes(4) + fixed(*values)


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28) + encoded
