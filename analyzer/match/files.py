"""How does the answer become `match.json`, and how is it read again?"""

from pathlib import Path

import msgspec

from analyzer.errors import FolderError
from analyzer.match.match_result import FORMAT, MatchResult
from analyzer.report.jsonfile import json_text
from analyzer.report.swap import swap_in

MATCH = "match.json"


def match_json(match: MatchResult) -> bytes:
    """Write the answer as the text of `match.json`: UTF-8, numbers to six digits.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return json_text(msgspec.to_builtins(match))


def read_match(data: bytes) -> MatchResult:
    """Read `match.json` again; keys that this version does not know are passed over.

    Raises
    ------
    ValueError
        If it is no such file of this format.
    """
    try:
        match = msgspec.json.decode(data, type=MatchResult)
    except msgspec.DecodeError as wrong:
        raise ValueError(f"not a match file of format {FORMAT}: {wrong}") from wrong
    if match.format != FORMAT:
        raise ValueError(f"match file of format {match.format}; this version reads format {FORMAT}.")
    return match


def write_match(match: MatchResult, folder: Path) -> Path:
    """Write `match.json` into the job folder, in place of an earlier one or not at all.

    Raises
    ------
    FolderError
        If the folder cannot be written to.
    """
    try:
        swap_in({MATCH: match_json(match)}, folder)
    except OSError as failed:
        raise FolderError(
            f"{MATCH} could not be written to {folder}: {failed.strerror or failed}.",
            remedy="An earlier one is unchanged. Free some space, or see to the folder's permissions.",
        ) from failed
    return folder / MATCH
