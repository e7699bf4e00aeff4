"""Which files does a verification leave?  A folder of its own for each run, never over an earlier one.

The files are written into a hidden folder beside it, which then gets its name in one step: a run that is stopped leaves
no half of one.
"""

import csv
import io
import os
import shutil
from datetime import datetime
from pathlib import Path
from typing import Final

from analyzer.approval.page import verify_html
from analyzer.approval.results import FORMAT, KIND, PartResult, Verification
from analyzer.approval.verify import Seen
from analyzer.errors import FolderError
from analyzer.report.csvfile import BYTE_ORDER_MARK, FORMULA_STARTS
from analyzer.report.jsonfile import json_text, tidy_number

FOLDER: Final = "verify"
JSON, CSV, PAGE = "verify.json", "parts.csv", "verify.html"
MOST_OF_A_SECOND: Final = 1000
COLUMNS: Final = (
    *("place", "part", "photo", "taken", "species", "approval", "scale"),
    *("L", "a", "b", "de00", "de00_u95", "dL", "da", "db", "dC", "dH", "colour"),
    *("blotch", "blotch_u95", "figure", "evenness", "overall", "days", "says"),
)


def write_verification(seen: Seen, folder: Path) -> Path:
    """Write verify.json, parts.csv and verify.html into `verify/DATE-TIME` of the job folder.

    Returns
    -------
    Path
        The new folder.

    Raises
    ------
    FolderError
        If it cannot be written.
    """
    found = seen.verification
    files = {JSON: verification_json(found), CSV: parts_csv(found), PAGE: verify_html(seen)}
    home = folder / FOLDER
    name = datetime.fromisoformat(found.made).strftime("%Y-%m-%d-%H%M%S")
    aside = home / f".{name}-{os.getpid()}"
    try:
        aside.mkdir(parents=True)
        try:
            for file, content in files.items():
                with (aside / file).open("xb") as out:
                    out.write(content)
                    out.flush()
                    os.fsync(out.fileno())
            return _named(aside, home, name)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FolderError(f"{home} cannot be written: {reason}.", remedy="See to its permissions.") from error


def verification_json(found: Verification) -> bytes:
    """The text of verify.json.

    Raises
    ------
    ValueError
        If a number is not finite: unknown is None, never NaN.
    """
    import msgspec  # noqa: PLC0415 - as wherever results become JSON

    return json_text(msgspec.to_builtins(found))


def read_verification(data: bytes) -> Verification:
    """Read verify.json again; keys that this version does not know are passed over.

    Raises
    ------
    ValueError
        If it is no verification of this format.
    """
    import msgspec  # noqa: PLC0415 - as above

    try:
        head = msgspec.json.decode(data)
        if not isinstance(head, dict) or head.get("kind") != KIND:
            raise ValueError("not a verification")
        if head.get("format") != FORMAT:
            raise ValueError(f"verification of format {head.get('format')}; this version reads format {FORMAT}")
        return msgspec.convert(head, Verification)
    except msgspec.DecodeError as wrong:
        raise ValueError(f"not a verification of format {FORMAT}: {wrong}") from wrong


def parts_csv(found: Verification) -> bytes:
    """One row a part, as zones.csv is written: UTF-8, decimal points, an unknown value is an empty cell."""
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_row(part) for part in found.parts)
    text = table.getvalue()
    return (text if text.isascii() else BYTE_ORDER_MARK + text).encode()


def _row(part: PartResult) -> list[str]:
    lab = part.lab or (None, None, None)
    before = (part.place, part.id, part.photo, part.taken, part.species, part.approval, part.scale)
    colour = (*lab, part.de00, part.de00_u95, part.dl, part.da, part.db, part.dc, part.dh, part.colour)
    return [_cell(value) for value in (*before, *colour, part.blotch, part.blotch_u95, part.figure, *_after(part))]


def _after(part: PartResult) -> tuple[str | int | None, ...]:
    return part.evenness, part.overall, part.days, part.says


def _cell(value: float | str | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    return f"{tidy_number(float(value)):.10g}"


def _named(aside: Path, home: Path, name: str) -> Path:
    """Give the folder its name in one step; a second run within one second gets a number."""
    for number in range(1, MOST_OF_A_SECOND):
        place = home / (name if number == 1 else f"{name}-{number}")
        if place.exists():
            continue
        try:
            aside.rename(place)
        except OSError:
            if place.exists():  # another run was faster
                continue
            raise
        return place
    raise FolderError(f"{home} holds a thousand runs of {name}.", remedy="Wait a second.")
