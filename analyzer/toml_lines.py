"""On which line of a TOML file does a key stand?

No parser at hand tells: the standard library's keeps no positions, and tomlkit keeps the text but not its line
numbers (and would be one more dependency). So the standard parser is asked about one statement at a time: each
header, comment or `key = value` is a valid document alone, so a statement ends where its lines first parse.
"""

import tomllib
from collections import Counter
from collections.abc import Iterator
from typing import Any

KeyPath = tuple[str | int, ...]  # ("board", 0, "zone", 1, "span"): indices from 0, as in the parsed file

# A value of several lines can only end on a line that holds one of these.
_CLOSERS = ("]", "}", '"""', "'''")
_MOST_ENDS = 200  # lines on which a value may seem to end before it is given up (chosen); bounds the time on any input


class LineNumbers:
    """Line numbers of every key of a TOML text, by its path in the parsed file.

    Parameters
    ----------
    text : str
        A text that `tomllib` accepts. Of one that it refuses, the lines before the error are known.
    """

    def __init__(self, text: str) -> None:
        self._lines: dict[KeyPath, int] = {}
        table: KeyPath = ()
        counts: Counter[KeyPath] = Counter()  # how many tables each array of tables has so far
        for line, statement, content in statements(text):
            if statement.lstrip().startswith("["):
                table = _enter(content, counts)
                for length in range(1, len(table) + 1):
                    self._lines.setdefault(table[:length], line)
            else:
                self._note(content, table, line)

    def line(self, path: KeyPath) -> int | None:
        """Line of a key, counted from 1; of the nearest table around it if the key is not there; None outside."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._lines:
                return self._lines[path[:length]]
        return None

    def _note(self, content: object, path: KeyPath, line: int) -> None:
        """Remember the line of a value and of all that it holds."""
        if path:
            self._lines.setdefault(path, line)
        if isinstance(content, dict):
            for key, value in content.items():
                self._note(value, (*path, key), line)
        elif isinstance(content, list):
            for index, value in enumerate(content):
                self._note(value, (*path, index), line)


def statements(text: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Split a TOML text into its statements.

    Parameters
    ----------
    text : str
        TOML text.

    Yields
    ------
    line : int
        First line of the statement, from 1.
    statement : str
        The statement as written, of one or more lines; comments and blank lines are statements too.
    content : dict
        What the statement says on its own. Empty for what cannot be read: the last statement, left open.
    """
    start, pending, ends = 1, "", 0
    # str.splitlines would also split at form feeds and the like, which TOML takes for text
    for number, line in enumerate(text.split("\n"), 1):
        pending += line + "\n"
        if ends >= _MOST_ENDS or (number > start and not any(closer in line for closer in _CLOSERS)):
            continue
        try:
            content = tomllib.loads(pending)
        except (ValueError, RecursionError):
            ends += 1
            continue
        yield start, pending, content
        start, pending, ends = number + 1, "", 0
    if pending.strip():
        yield start, pending, {}


def open_statement(text: str) -> int | None:
    """First line of the statement at which a text stops being TOML, from 1; None if each statement holds alone."""
    return next((line for line, statement, content in statements(text) if not content and _says(statement)), None)


def _says(statement: str) -> bool:
    """Whether a statement is more than blank lines and comments."""
    return any(line.strip() and not line.lstrip().startswith("#") for line in statement.split("\n"))


def _enter(header: dict[str, Any], counts: Counter[KeyPath]) -> KeyPath:
    """Path of the table that a header opens, its arrays of tables resolved to the last table so far."""
    path: KeyPath = ()
    level: object = header
    while isinstance(level, dict) and level:
        key, level = next(iter(level.items()))
        path = (*path, key)
        if isinstance(level, list):  # [[…]]: one more table
            counts[path] += 1
        if counts[path]:
            path = (*path, counts[path] - 1)
    return path
