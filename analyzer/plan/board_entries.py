"""How do the planned boards get into job.toml?  As text to paste, or appended, with all else of the file kept."""

import json
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from analyzer.errors import AnalyzerError, FolderError
from analyzer.job import Board
from analyzer.jobfile import JOB_FILE, job_of_text, read_job
from analyzer.plan.layout import PlannedBoard, Units
from analyzer.recipe_fields import STEP_KEYS

MM_PER_INCH = 25.4
_SLACK_MM = 1e-6  # of a length that went through decimal digits


class BoardsExistError(AnalyzerError):
    """job.toml has boards of these ids already: nothing was added."""


def board_entries(boards: Sequence[PlannedBoard], units: Units) -> str:
    """Write boards as `[[board]]` tables, to be pasted into a job file.

    Parameters
    ----------
    boards : sequence of PlannedBoard
    units : "mm" or "in"
        Those of the job file.

    Returns
    -------
    str
        TOML with a line break at the end. What all zones of a board have in common stands once, with the board.
    """
    return "\n".join("".join(f"{line}\n" for line in _entry(board, units)) for board in boards)


def write_boards(folder: Path, boards: Sequence[PlannedBoard]) -> Path:
    """Append planned boards to a job file, all or nothing; every byte that was there stays.

    Parameters
    ----------
    folder : Path
        The job folder.
    boards : sequence of PlannedBoard

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    BoardsExistError
        If it has a board of one of these ids.
    JobFileError
        If the file does not hold, before or after.
    FolderError
        If it cannot be written, or was changed by somebody in the meantime.
    """
    path = (folder / JOB_FILE).resolve()  # a link stays a link
    job = read_job(folder, to_plan=True)
    _refuse_twice(job.boards, boards)
    try:
        before = path.read_bytes()
        after = before + _appended(before, board_entries(boards, job.units))
        read = job_of_text(after.decode("utf-8-sig"), folder, to_plan=True)
        _check_same(read.boards[len(job.boards) :], boards)
        _replace(path, before, after)
    except OSError as failed:
        reason = failed.strerror or str(failed)
        raise FolderError(f"{path} cannot be written: {reason}.", remedy="It was left as it is.") from failed
    return path


def _refuse_twice(there: Sequence[Board], boards: Sequence[PlannedBoard]) -> None:
    taken = {board.id.casefold() for board in there}
    twice = [board.id for board in boards if board.id.casefold() in taken]
    if twice:
        names = ", ".join(twice)
        raise BoardsExistError(
            f"job.toml has {'boards' if len(twice) > 1 else 'a board'} {names} already.",
            remedy='Nothing was added. For a further round of boards, name a free letter in [plan]: first_board = "E".',
        )


def _appended(before: bytes, entries: str) -> bytes:
    """What goes at the end of the file: with its own line ends, on a line of its own."""
    newline = "\r\n" if b"\r\n" in before else "\n"
    gap = "" if not before or before.endswith(b"\n\n") else "\n" if before.endswith(b"\n") else "\n\n"
    head = "# Planned by evenboard plan: zones are measured along the grain from the board's left end.\n"
    return f"{gap}{head}{entries}".replace("\n", newline).encode()


def _check_same(read: Sequence[Board], planned: Sequence[PlannedBoard]) -> None:
    """A mistake of our own would go unnoticed until the boards are made."""
    wanted = [board.board() for board in planned]
    if len(read) != len(wanted) or not all(_is_same(a, b) for a, b in zip(read, wanted, strict=True)):
        raise ValueError("write_boards: the boards do not read back as they were planned")


def _is_same(a: Board, b: Board) -> bool:
    def lengths(board: Board) -> list[float]:
        spans = [end for zone in board.zones for end in (*zone.span_mm, *zone.across_mm, zone.margin_mm)]
        return [board.length_mm, board.width_mm, *spans]

    def words(board: Board) -> list[Any]:
        return [board.id, board.species, *((z.id, z.treatment, z.stain, z.recipe) for z in board.zones)]

    near = all(abs(x - y) < _SLACK_MM for x, y in zip(lengths(a), lengths(b), strict=False))
    return near and words(a) == words(b)


def _replace(path: Path, before: bytes, after: bytes) -> None:
    """Put the new file in place of the old in one step, unless somebody has changed it meanwhile."""
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with aside.open("xb") as file:
            file.write(after)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, aside)
        if path.read_bytes() != before:
            raise FolderError(f"{path} was changed in the meantime.", remedy="Nothing was added: run it again.")
        aside.replace(path)
    finally:
        with suppress(OSError):
            aside.unlink()


def _entry(board: PlannedBoard, units: Units) -> Iterator[str]:
    shared = _shared(board)
    yield "[[board]]"
    yield f"id = {_text(board.id)}"
    yield f"species = {_text(board.species)}"
    yield f"length = {_length(board.length_mm, units)}"
    yield f"width = {_length(board.width_mm, units)}"
    yield from _facts(shared)
    for zone in board.zones:
        yield ""
        yield "  [[board.zone]]"
        yield f"  id = {_text(zone.id)}"
        yield f"  treatment = {_text(zone.treatment)}"
        yield f"  span = [{_length(zone.start_mm, units)}, {_length(zone.end_mm, units)}]"
        if zone.stain is not None:
            yield f"  stain = {_text(zone.stain)}"
        own = {key: value for key, value in zone.recipe.items() if key not in shared}
        yield from (f"  {line}" for line in _facts(own))


def _shared(board: PlannedBoard) -> dict[str, Any]:
    """What all zones have in common."""
    first, *others = (zone.recipe for zone in board.zones)
    return {k: v for k, v in first.items() if all(k in other and other[k] == v for other in others)}


def _facts(recipe: Mapping[str, Any]) -> Iterator[str]:
    for key in STEP_KEYS:
        if key in recipe:
            yield f"{key} = {_value(recipe[key])}"


def _value(value: object) -> str:
    """Write a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    return _text(str(value))


def _text(text: str) -> str:
    """Write text as a basic string of TOML, whose escapes are those of JSON."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _length(mm: float, units: Units) -> str:
    """Write a length in the file's units: whole where it is whole."""
    value = round(mm / MM_PER_INCH, 9) if units == "in" else round(mm, 9)
    return f"{value:.10g}"
