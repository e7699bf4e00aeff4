"""What does the camera say about how a photo was taken?  Source: Exif 2.32 (CIPA DC-008-2019).

Nothing here is needed to measure: a broken or missing tag is None and never stops a photo.
Place and owner are not read: a job folder is passed on to others.
"""

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Literal, TypeVar

from PIL import Image

_Value = TypeVar("_Value")

# Tag numbers of Exif 2.32, tables 4 to 8.
_MAKE, _MODEL, _ORIENTATION, _SOFTWARE = 0x010F, 0x0110, 0x0112, 0x0131
_EXPOSURE_TIME, _F_NUMBER, _SENSITIVITY, _ISO_SPEED = 0x829A, 0x829D, 0x8827, 0x8833
_EXIF_IFD, _INTEROPERABILITY_IFD, _INTEROPERABILITY_INDEX = 0x8769, 0xA005, 0x0001
_TAKEN, _TAKEN_OFFSET, _FLASH, _COLOR_SPACE = 0x9003, 0x9011, 0x9209, 0xA001
_DIGITAL_ZOOM, _LENS_MODEL, _USER_COMMENT = 0xA404, 0xA434, 0x9286
_CUSTOM_RENDERED, _SCENE_CAPTURE_TYPE, _COMPOSITE_IMAGE = 0xA401, 0xA406, 0xA460
_WHITE_BALANCE, _LIGHT_SOURCE = 0xA403, 0x9208

_WHITE_BALANCES: dict[int | None, Literal["auto", "manual"]] = {0: "auto", 1: "manual"}  # Exif 2.32 table 8
_SENSITIVITY_OVERFLOW = 65535  # the older tag holds 16 bits; this value says "look in the newer one"


@dataclass(frozen=True, slots=True)
class Exif:
    """How the photo was taken, as far as the camera wrote it. None: not written, or not readable."""

    camera: str | None = None
    lens: str | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    taken: str | None = None  # ISO 8601, local time, with offset where the camera gave one
    software: str | None = None
    flash_fired: bool | None = None
    digital_zoom: float | None = None  # ratio; 1: none
    # 0 normal, 1 custom; phones have more values: 2 and 3 merged exposures, 4 one of those, 6 panorama, 7 portrait of
    # merged exposures, 8 portrait
    custom_rendered: int | None = None
    scene_capture_type: int | None = None  # 0 standard, 1 landscape, 2 portrait, 3 night
    composite_image: int | None = None  # 1 no, 2 yes, 3 yes and made while shooting; 0 unknown
    is_screenshot: bool | None = None  # the comment says so; nothing else of it is kept
    white_balance: Literal["auto", "manual"] | None = None  # manual: a preset or a measured one, not followed by itself
    light_source: int | None = None  # Exif 2.32 table 9: 1 daylight, 2 fluorescent, 3 tungsten, ...


@dataclass(frozen=True, slots=True)
class CameraTags:
    """The camera's tags: what is kept of them, and what is needed to read the pixels rightly."""

    exif: Exif
    orientation: int  # 1 to 8; 1 where the tag is missing or makes no sense
    colour_space: str | None  # "sRGB", "opRGB" (the optional colour space of DCF 2.0), None: not said


NO_TAGS = CameraTags(Exif(), 1, None)


def parse_exif(block: bytes) -> CameraTags:
    r"""Read an EXIF block as JPEG and PNG carry it, or a TIFF file, whose own tags are the same.

    Parameters
    ----------
    block : bytes
        With or without the leading ``Exif\0\0``; may be damaged.

    Returns
    -------
    CameraTags
        Whatever could be read.
    """
    tags = Image.Exif()
    with suppress(Exception):  # a damaged block can raise anything; what was read before that is kept
        tags.load(block)
    return _kept(tags)


def _kept(tags: Image.Exif) -> CameraTags:
    photo = _or_none(lambda: dict(tags.get_ifd(_EXIF_IFD))) or {}
    interoperability = _or_none(lambda: dict(tags.get_ifd(_INTEROPERABILITY_IFD))) or {}
    base = {tag: _or_none(partial(tags.get, tag)) for tag in (_MAKE, _MODEL, _ORIENTATION, _SOFTWARE)}
    exif = Exif(
        camera=_camera(_text(base, _MAKE), _text(base, _MODEL)),
        lens=_text(photo, _LENS_MODEL),
        exposure_s=_positive(photo, _EXPOSURE_TIME),
        f_number=_positive(photo, _F_NUMBER),
        iso=_iso(photo),
        taken=_taken(_text(photo, _TAKEN), _text(photo, _TAKEN_OFFSET)),
        software=_text(base, _SOFTWARE),
        flash_fired=_flash_fired(photo),
        digital_zoom=_positive(photo, _DIGITAL_ZOOM),
        custom_rendered=_or_none(lambda: int(photo[_CUSTOM_RENDERED])),
        scene_capture_type=_or_none(lambda: int(photo[_SCENE_CAPTURE_TYPE])),
        composite_image=_or_none(lambda: int(photo[_COMPOSITE_IMAGE])),
        is_screenshot=_is_screenshot(photo),
        white_balance=_WHITE_BALANCES.get(_or_none(lambda: int(photo[_WHITE_BALANCE]))),
        light_source=_or_none(lambda: int(photo[_LIGHT_SOURCE])) or None,  # 0 says "unknown"
    )
    orientation = _positive(base, _ORIENTATION)
    return CameraTags(
        exif,
        int(orientation) if orientation is not None and orientation in range(1, 9) else 1,
        _colour_space(_or_none(lambda: int(photo[_COLOR_SPACE])), _text(interoperability, _INTEROPERABILITY_INDEX)),
    )


def _colour_space(color_space: int | None, interoperability: str | None) -> str | None:
    """Exif 2.32 table 8, and DCF 2.0: "R03" marks the optional colour space, which has no number of its own."""
    if interoperability == "R03":
        return "opRGB"
    return "sRGB" if color_space == 1 else None


def _camera(make: str | None, model: str | None) -> str | None:
    """Make and model in one line; many models already begin with the make."""
    if make and model and not model.lower().startswith(make.lower()):
        return f"{make} {model}"
    return model or make


def _iso(photo: Mapping[int, Any]) -> int | None:
    iso = _positive(photo, _SENSITIVITY)
    if iso is None or iso >= _SENSITIVITY_OVERFLOW:
        iso = _positive(photo, _ISO_SPEED) or iso
    return None if iso is None else round(iso)


def _taken(stamp: str | None, offset: str | None) -> str | None:
    """Write "2024:05:01 12:30:00" and "+02:00" as ISO 8601."""
    if stamp is None:
        return None
    for text, form in ((f"{stamp}{offset}", "%Y:%m:%d %H:%M:%S%z"), (stamp, "%Y:%m:%d %H:%M:%S")):
        moment = _or_none(partial(datetime.strptime, text, form))
        if moment is not None:
            return moment.isoformat()
    return None


def _flash_fired(photo: Mapping[int, Any]) -> bool | None:
    return _or_none(lambda: bool(int(photo[_FLASH]) & 1))  # bit 0 of the tag, table 10


def _is_screenshot(photo: Mapping[int, Any]) -> bool | None:
    """Whether the user comment is the word that phones write; its first 8 bytes name the alphabet (Exif 2.32 4.6.5)."""
    comment = photo.get(_USER_COMMENT)
    if not isinstance(comment, bytes):
        return None
    return comment.lower().replace(b"\0", b"").removeprefix(b"ascii").removeprefix(b"unicode").strip() == b"screenshot"


def _positive(tags: Mapping[int, Any], tag: int) -> float | None:
    """Read a number above zero; cameras write 0/0 or 0 for "unknown"."""
    value = _or_none(lambda: float(tags[tag][0] if isinstance(tags[tag], tuple) else tags[tag]))
    return value if value is not None and math.isfinite(value) and value > 0 else None


def _text(tags: Mapping[int, Any], tag: int) -> str | None:
    value = tags.get(tag)
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    value = "".join(letter for letter in value.split("\0")[0] if letter.isprintable())
    return " ".join(value.split()) or None


def _or_none(read: Callable[[], _Value]) -> _Value | None:
    try:
        return read()
    except Exception:  # noqa: BLE001 - a damaged tag can raise anything in the parser, and no tag is worth a photo
        return None
