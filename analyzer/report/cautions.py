"""What can hurt in the work of a job, and who says so?  The cautions are data: `shared/cautions.toml`."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

import msgspec

from analyzer.job import Job
from calibration.published import published_file


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution. `named` are the words of the job that call for it, empty when it is shown to everybody."""

    id: str
    title: str
    text: str
    sources: tuple[str, ...]
    named: tuple[str, ...]


def cautions_for(words: Iterable[str]) -> tuple[Caution, ...]:
    """Choose the cautions that materials and steps call for, and the general ones.

    Parameters
    ----------
    words : iterable of str
        Names of treatments, stains, topcoats, steps: whatever the finisher wrote.

    Returns
    -------
    tuple of Caution
        Those that the words call for first, each once, in the order of the table.
    """
    texts = list(dict.fromkeys(text for text in words if text))
    shown = []
    for row in _table().caution:
        named = tuple(text for text in texts if row.is_named_in(text))
        if named or row.general:
            shown.append(Caution(row.id, row.title, row.text, row.sources, named))
    return tuple(sorted(shown, key=lambda caution: not caution.named))


def cautions_of(job: Job) -> tuple[Caution, ...]:
    """Choose the cautions that a job's treatments, stains and recipes call for, and the general ones."""
    return cautions_for(_texts(job))


def closing_words() -> str:
    """Give the words that stand under every list of cautions."""
    return _table().closing


@dataclass(frozen=True, slots=True)
class _Row:
    """One caution of the table."""

    id: str
    title: str
    text: str
    sources: tuple[str, ...]
    keywords: tuple[str, ...]
    general: bool = False

    def is_named_in(self, text: str) -> bool:
        """Whole words, "oil" but not "foil"; a plural s is forgiven."""
        any_keyword = "|".join(map(re.escape, self.keywords))
        return re.search(rf"(?<!\w)(?:{any_keyword})s?(?!\w)", text, re.IGNORECASE) is not None


@dataclass(frozen=True, slots=True)
class _Table:
    """The whole file."""

    closing: str
    caution: tuple[_Row, ...]


@cache
def _table() -> _Table:
    return msgspec.toml.decode(published_file("cautions.toml").read_bytes(), type=_Table)


def _texts(job: Job) -> Iterator[str]:
    for board in job.boards:
        for zone in board.zones:
            yield zone.treatment
            yield zone.stain or ""
            for key, value in zone.recipe.items():
                if isinstance(value, str):
                    yield f"{key}: {value}"  # "scuff: P320" names the step as well as what was used
