"""What can stop a job, told so that a finisher can act on it.

There is one subclass for each reaction that a caller can have. Photos have their own tree in calibration/errors.py.
"""

from dataclasses import dataclass
from pathlib import Path


class AnalyzerError(Exception):
    """A job cannot be read, measured or written.

    Parameters
    ----------
    what : str
        What happened, with what was found.
    remedy : str
        What the finisher can do about it.
    """

    def __init__(self, what: str, *, remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.what} {self.remedy}".strip()


class FolderError(AnalyzerError):
    """A job folder cannot be made or written: free some space, or see to its permissions."""


class JobExistsError(FolderError):
    """There is something already where a job was to be started: choose another folder."""


class CorrectionError(AnalyzerError):
    """A kept correction is not there, or cannot be kept or removed: name another one, or another folder."""


class ApprovalError(AnalyzerError):
    """An approval is not there, cannot be read or made, or does not hold any more: approve anew, or name another."""


class ArchiveError(AnalyzerError):
    """A job cannot be packed, or an archive cannot be trusted or unpacked: nothing of it was kept."""


class RecordError(AnalyzerError):
    """The index of all jobs cannot be used, or what is searched for is not there: name another file or folder."""


class MatchError(AnalyzerError):
    """There is nothing to work out a match from: measure the job, or give it a target that can be compared."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing in job.toml that does not hold."""

    key: str  # "board[1].zone[2].span": boards, zones and photos are counted from 1; empty: the file as a whole
    line: int | None  # in job.toml, from 1; of the table's header when the key is missing; None: not known
    found: str  # "missing", or the value as written
    expected: str
    place: str = ""  # the same place by the finisher's own names: 'board "A", zone "washcoat"'
    hint: str = ""  # the likely cure

    def __str__(self) -> str:
        line = f"line {self.line}: " if self.line else ""
        place = f" ({self.place})" if self.place else ""
        key = f"{self.key}{place}: " if self.key else ""
        found = "missing" if self.found == "missing" else f"found {self.found}"
        hint = f" {self.hint}" if self.hint else ""
        told = f"{line}{key}{found}; expected {self.expected}.{hint}"
        # a job file may come from anybody: what it holds must not steer the terminal
        return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in told)


class JobFileError(AnalyzerError):
    """job.toml does not hold: correct it. Nothing was measured or written.

    Parameters
    ----------
    path : Path
        The job file.
    problems : tuple of Problem
        All that was found, sorted by line. Never empty.
    """

    def __init__(self, path: Path, problems: tuple[Problem, ...]) -> None:
        if not problems:
            raise ValueError("JobFileError: an error without a problem")
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        super().__init__(f"{path}: {count}.", remedy="Nothing was measured or written.")
        self.path = path
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {problem}" for problem in self.problems)])
