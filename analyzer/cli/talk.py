"""How does a command talk while it works?  On stderr, apart from its result."""

import shutil
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import typer

from analyzer.results import FindingResult

_START_OF_EMPTY_LINE = "\r\x1b[2K"


def say(text: str) -> None:
    """Say something beside the result."""
    typer.echo(text, err=True)


def finding_lines(findings: Iterable[FindingResult]) -> Iterator[str]:
    """Put findings into words, one line each."""
    for finding in findings:
        yield f"  {finding.severity}: {finding.message} {finding.remedy}".rstrip()


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
