"""How is one table of job.toml read, so that every problem in it is told at once?

Each method gives the value, or None after noting why there is none; nothing raises. `Problems` gathers the notes.
"""

import difflib
import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from analyzer.errors import Problem
from analyzer.toml_lines import KeyPath, LineNumbers

Choice = TypeVar("Choice", bound=str)

_LINE_ENDS_AND_TABS = str.maketrans("\n\r\t", "   ")
_SHOWN = 60  # characters of a wrong value that are shown (chosen: one terminal line holds the rest of the message too)


class Problems:
    """All that was found wrong in one job file, given its text."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._lines: LineNumbers | None = None  # made for the first problem: most files have none
        self._found: list[Problem] = []

    def add(self, path: KeyPath, place: str, found: str, expected: str, hint: str = "") -> None:
        """Note one problem, once. `path` counts from 0, as in the parsed file."""
        if self._lines is None:
            self._lines = LineNumbers(self._text)
        problem = Problem(written(path), self._lines.line(path), found, expected, place, hint)
        if problem not in self._found:
            self._found.append(problem)

    def by_line(self) -> tuple[Problem, ...]:
        """All problems, in the order of the file."""
        return tuple(sorted(self._found, key=lambda problem: problem.line or 0))


@dataclass(frozen=True, slots=True)
class Interval:
    """Finite numbers that hold."""

    least: float = -math.inf
    most: float = math.inf
    above: float = -math.inf  # as `least`, but its own value does not hold

    def __contains__(self, number: float) -> bool:
        return self.least <= number <= self.most and number > self.above


@dataclass(frozen=True, slots=True)
class Table:
    """One table of job.toml while it is read."""

    content: dict[str, Any]
    path: KeyPath
    problems: Problems
    place: str = ""  # 'board "A", zone "washcoat"'

    def named(self, place: str) -> "Table":
        """Give the same table the finisher's own name for it."""
        return Table(self.content, self.path, self.problems, place)

    def wrong(self, key: str, expected: str, hint: str = "", *, found: str = "") -> None:
        """Note that the value of a key, or its absence, does not hold."""
        found = found or (show(self.content[key]) if key in self.content else "missing")
        self.problems.add((*self.path, key), self.place, found, expected, hint)

    def unknown(self, known: Collection[str], elsewhere: Mapping[str, Collection[str]]) -> None:
        """Note every key that is not known here.

        Parameters
        ----------
        known : collection of str
            The keys of this table.
        elsewhere : mapping of str to collection of str
            The keys of every table, by its header: a key may only have slipped below the wrong header.
        """
        for key in self.content:
            if key in known:
                continue
            near = nearest(key, known)
            owners = [header for header, keys in elsewhere.items() if key in keys]
            hint = f"It belongs under {' or '.join(owners)}." if owners else f"Did you mean {near}?" if near else ""
            self.wrong(key, f"one of {', '.join(known)}", hint, found="an unknown key")

    def table(self, key: str, *, required: bool = False) -> "Table | None":
        """Read a single table, [key]."""
        value = self.content.get(key)
        if isinstance(value, dict):
            return Table(value, (*self.path, key), self.problems, self.place)
        if value is not None or required:
            header = written((*self.path, key))
            hint = f"Write [{header}], in single brackets." if isinstance(value, list) else ""
            self.wrong(key, f"a table, [{header}]", hint)
        return None

    def tables(self, key: str) -> "Iterator[Table]":
        """Read the tables of an array, [[key]]: at least one."""
        value = self.content.get(key)
        header = ".".join(part for part in (*self.path, key) if isinstance(part, str))
        if not isinstance(value, list) or not value or not all(isinstance(item, dict) for item in value):
            hint = f"Write [[{header}]], in double brackets." if isinstance(value, dict) else ""
            self.wrong(key, f"one or more tables, [[{header}]]", hint)
            return
        for index, item in enumerate(value):
            yield Table(item, (*self.path, key, index), self.problems, self.place)

    def text(self, key: str, expected: str = "text in quotes", *, required: bool = False) -> str | None:
        """Read a text that is not blank and holds nothing unprintable but line ends and tabs."""
        value = self.content.get(key)
        if isinstance(value, str) and value.strip() and value.translate(_LINE_ENDS_AND_TABS).isprintable():
            return value
        if key in self.content or required:
            self.wrong(key, expected)
        return None

    def choice(self, key: str, options: Sequence[Choice], *, required: bool = False) -> Choice | None:
        """Read one of a few words."""
        value = self.content.get(key)
        for option in options:
            if value == option:
                return option
        if key in self.content or required:
            near = nearest(value, options) if isinstance(value, str) else None
            self.wrong(key, one_of(options), f'Did you mean "{near}"?' if near else "")
        return None

    def number(self, key: str, interval: Interval, expected: str, *, required: bool = False) -> float | None:
        """Read a finite number in an interval."""
        value = self.content.get(key)
        number = as_number(value)
        if number is not None and number in interval:
            return number
        if key in self.content or required:
            quoted = "Write the number without quotes and without a unit." if isinstance(value, str) else ""
            self.wrong(key, expected, quoted)
        return None

    def number_or_text(self, key: str, interval: Interval, expected: str) -> float | str | None:
        """Read what may be written either way, as written."""
        if isinstance(self.content.get(key), int | float):
            return self.number(key, interval, expected)
        return self.text(key, expected)

    def numbers(self, key: str, expected: str, intervals: Sequence[Interval]) -> tuple[float, ...] | None:
        """Read a list of as many finite numbers as there are intervals, each in its own."""
        if key not in self.content:
            return None
        value = self.content[key]
        if isinstance(value, list) and len(value) == len(intervals):
            numbers = [as_number(item) for item in value]
            inside = [n for n, interval in zip(numbers, intervals, strict=True) if n is not None and n in interval]
            if len(inside) == len(intervals):
                return tuple(inside)
        self.wrong(key, expected)
        return None


def as_number(value: object) -> float | None:
    """Give a TOML number as float; None for anything else, and for what is not finite."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:  # TOML integers have no upper end here
        return None
    return number if math.isfinite(number) else None


def nearest(word: str, options: Iterable[str]) -> str | None:
    """Give the option that a word was probably meant to be, None if none is near."""
    by_lower_case = {option.lower(): option for option in options}
    matches = difflib.get_close_matches(word.lower(), by_lower_case, n=1)
    return by_lower_case[matches[0]] if matches else None


def one_of(options: Sequence[str]) -> str:
    """Say in words which texts hold."""
    quoted = [f'"{option}"' for option in options]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def show(value: object) -> str:
    """Say in words what was found, at most a line long."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        return "a list of tables"
    return shorten(_as_toml(value))


def shorten(text: str) -> str:
    """Cut a text that would fill the screen."""
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def written(path: KeyPath) -> str:
    """Write a path for people: indices in brackets, counted from 1."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path).removeprefix(".")


def _as_toml(value: object) -> str:
    """Write a value as job.toml does."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"' if value.isprintable() else repr(value)
    if isinstance(value, list):
        return f"[{', '.join(_as_toml(item) for item in value)}]"
    return str(value)
