"""On which day was a zone photographed, or else worked on, or else measured?"""

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

from calibration.exif import parse_exif

# "photo": the camera's own clock; "recipe": `date` in job.toml; "file": when results.json was written
DateFrom = Literal["photo", "recipe", "file"]

_HEAD_BYTES: Final = 1 << 20  # chosen: cameras write their tags before the pixels, behind at most a thumbnail
_BLOCK_BYTES: Final = 1 << 16  # what one segment of a JPEG can hold
_MARKS: Final = (b"Exif\0\0", b"eXIf")  # before the block in a JPEG or HEIC; in a PNG
_TIFF: Final = (b"II*\0", b"MM\0*")
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def taken_on(photo: Path) -> str | None:
    """Day on which a photo was taken by the camera's clock, ISO 8601; None: not written, or not readable.

    Only the file's beginning is read: an index looks at thousands of photos.
    """
    try:
        with photo.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except (OSError, ValueError):  # ValueError: a name that no file can have
        return None
    block = head if head.startswith(_TIFF) else None
    for mark in _MARKS:
        at = head.find(mark)
        if block is None and at >= 0:
            block = head[at + len(mark) :][:_BLOCK_BYTES]
    taken = parse_exif(block).exif.taken if block else None
    return _day(taken)


def zone_date(photos: Iterable[str | None], recipe: dict[str, Any], results_mtime_ns: int) -> tuple[str, DateFrom]:
    """Date of a zone: the first of its photos' days, else the recipe's, else that of the results' file.

    Parameters
    ----------
    photos : iterable of str or None
        What `taken_on` says of each of them.
    recipe : dict
        What was recorded of the zone.
    results_mtime_ns : int
        When results.json was written, nanoseconds since 1970.
    """
    days = [day for day in photos if day]
    if days:
        return min(days), "photo"
    worked = _day(recipe.get("date"))
    if worked:
        return worked, "recipe"
    return datetime.fromtimestamp(results_mtime_ns / 1e9, tz=UTC).astimezone().date().isoformat(), "file"


def _day(written: object) -> str | None:
    """The day of an ISO 8601 date, or of a TOML date; None where there is none that the calendar has."""
    found = _ISO_DAY.match(str(written)) if written is not None else None
    if found:
        with suppress(ValueError):
            return datetime.strptime(found[0], "%Y-%m-%d").replace(tzinfo=UTC).date().isoformat()
    return None
