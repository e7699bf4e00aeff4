"""How does a command talk while it works?  On stderr, apart from its result."""

import shutil
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import typer

from analyzer.results import FindingResult, PhotoResult

_NAMED_PHOTOS = 3  # chosen: as many file names as a line takes
_START_OF_EMPTY_LINE = "\r\x1b[2K"


def say(text: str) -> None:
    """Say something beside the result."""
    typer.echo(text, err=True)


def printable(text: str) -> str:
    """Text from a file that may come from anybody: what it holds must not steer the terminal."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def finding_lines(findings: Iterable[FindingResult]) -> Iterator[str]:
    """Put findings into words, one line each."""
    for finding in findings:
        yield f"  {_line(finding)}"


def _line(finding: FindingResult) -> str:
    """Put one finding into words."""
    return f"{finding.severity}: {finding.message} {finding.remedy}".rstrip()


def shared_finding_lines(photos: Iterable[PhotoResult]) -> Iterator[str]:
    """Put the findings of many photos into words: what was found in several is said once, with their names."""
    found: dict[FindingResult, list[str]] = {}
    for photo in photos:
        for finding in photo.findings:
            found.setdefault(finding, []).append(photo.file)
    for finding, files in found.items():
        names = list(dict.fromkeys(files))
        where = ", ".join(names) if len(names) <= _NAMED_PHOTOS else f"{names[0]} and {len(names) - 1} more photos"
        yield f"{where}: {_line(finding)}"


def terminal_width() -> int:
    """Columns of the terminal; 100 where there is none."""
    return shutil.get_terminal_size((100, 24)).columns


@contextmanager
def progress_line() -> Iterator[Callable[[str], None] | None]:
    """One line at the foot of the terminal that says what is being done; None where nobody watches.

    Yields
    ------
    callable or None
        Takes the text to show in place of the last one.
    """
    if not sys.stderr.isatty():
        yield None
        return

    def show(text: str) -> None:
        sys.stderr.write(f"{_START_OF_EMPTY_LINE}{text[: terminal_width() - 1]}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        show("")
