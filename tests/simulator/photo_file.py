"""A rendered photo becomes a file, as a camera would write it: JPEG (or PNG, TIFF), colour profile, EXIF."""

import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base

from simulator.render import RenderedPhoto
from simulator.spectra import RGB_to_XYZ_D50

PROFILE_NAMES = {"srgb": "sRGB, simulated", "p3": "Display P3, simulated"}
# How an upright picture is stored for each EXIF orientation (the inverse of what a viewer does).
STORED = {
    1: lambda upright: upright,
    2: lambda upright: upright[:, ::-1],
    3: lambda upright: upright[::-1, ::-1],
    4: lambda upright: upright[::-1],
    5: lambda upright: upright.transpose(1, 0, 2),
    6: lambda upright: np.rot90(upright, 1),
    7: lambda upright: upright.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda upright: np.rot90(upright, -1),
}


def save_photo(
    path: Path,
    photo: RenderedPhoto,
    *,
    quality: int = 92,
    embed_profile: bool = True,
    exif: Mapping[Base, object] | None = None,
    orientation: int = 1,
) -> None:
    """Write the photo; the suffix chooses the format. `orientation` stores the pixels turned, and says so."""
    tags = Image.Exif()
    for tag, value in (exif or {}).items():
        (tags if tag in _MAIN_TAGS else tags.get_ifd(IFD.Exif))[tag] = value
    if orientation != 1:
        tags[Base.Orientation] = orientation
    options: dict[str, Any] = {"quality": quality} if path.suffix.lower() in {".jpg", ".jpeg"} else {}
    if embed_profile:
        options["icc_profile"] = icc_profile(photo.profile)
    if len(tags):
        options["exif"] = tags.tobytes()
    Image.fromarray(np.ascontiguousarray(STORED[orientation](photo.codes))).save(path, **options)


_MAIN_TAGS = {Base.Make, Base.Model, Base.Software, Base.DateTime, Base.Orientation}


def icc_profile(profile: str) -> bytes:
    """A matrix profile after ICC.1:2010 (version 4.3): primaries relative to D50, and the sRGB curve.

    Built here because a library would stamp the time of day into it, and equal photos would differ as files.
    """
    columns = RGB_to_XYZ_D50(profile).T
    curve = b"para" + struct.pack(">IHH", 0, 3, 0) + _fixed([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045])
    tags = {
        b"desc": _text(PROFILE_NAMES[profile]),
        b"cprt": _text("No copyright, use freely"),
        b"wtpt": _XYZ(np.array([0.9642, 1.0, 0.8249])),
        **{name: _XYZ(column) for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)},
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve),
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, value in tags.items():
        table += name + struct.pack(">II", offset + len(body), len(value))
        body += value + b"\0" * (-len(value) % 4)
    header = struct.pack(">I4sI4s4s4s", offset + len(body), b"\0" * 4, 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28 + _fixed([0.9642, 1.0, 0.8249])
    return header.ljust(128, b"\0") + table + body


def _fixed(numbers: list[float]) -> bytes:
    return b"".join(struct.pack(">i", round(number * 65536)) for number in numbers)


def _XYZ(values: NDArray[np.float64]) -> bytes:
    return b"XYZ " + b"\0" * 4 + _fixed([float(value) for value in values])


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(encoded), 28) + encoded
