"""What stands in a trade table, and what does the shop's own table put in its place?

Evenboard's tables are CSV files of `shared/`. A shop's own stand under the same names, with the same columns, in the
folder `trade` of the user's data folder (analyzer/user_data.py). A shop's row replaces the one with its key, any other
is added.
"""

import csv
import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, NamedTuple, TypeVar

from analyzer.errors import AnalyzerError
from analyzer.jobfile_table import nearest, one_of, shorten
from analyzer.trade.origin import Origin
from analyzer.user_data import data_folder
from calibration.published import published_file

Row = TypeVar("Row")
Choice = TypeVar("Choice", bound=str)

LARGEST_BYTES = 1_000_000  # chosen: the largest of ours has 10 kB
SHOP_SOURCE = "not told"  # of a shop's row that leaves its source empty
_COMMENT = "#"


@dataclass(frozen=True, slots=True)
class TableProblem:
    """One cell, row or line of a table that does not hold."""

    line: int  # from 1
    column: str  # empty: the line as a whole
    found: str
    expected: str

    def __str__(self) -> str:
        column = f"column {self.column}: " if self.column else ""
        told = f"line {self.line}: {column}found {self.found}; expected {self.expected}."
        # what the file holds must not steer the terminal
        return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in told)


class TradeTableError(AnalyzerError):
    """A table of the shop's own does not hold, or cannot be read: correct it, or take it away.

    Parameters
    ----------
    path : Path
        The table.
    problems : tuple of TableProblem
        All that was found, in the order of the file; () when it cannot be read at all.
    reason : str
        Why it cannot be read.
    """

    def __init__(self, path: Path, problems: tuple[TableProblem, ...], reason: str = "") -> None:
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        remedy = "Nothing was taken from it. Correct it, or take the file away: the tables of Evenboard then hold."
        super().__init__(f"{path}: {reason or count}.", remedy=remedy)
        self.path = path
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {problem}" for problem in self.problems)])


class _CellError(Exception):
    """One cell does not hold."""

    def __init__(self, column: str, found: str, expected: str) -> None:
        super().__init__(column)
        self.column, self.found, self.expected = column, found, expected


@dataclass(frozen=True, slots=True)
class Cells:
    """One line of a table while it is read: each method reads one cell, or notes what does not hold."""

    content: dict[str, str]
    origin: Origin

    def text(self, column: str, *, required: bool = False) -> str:
        """Read text; empty when there is none."""
        value = self.content.get(column, "").strip()
        if required and not value:
            raise _CellError(column, "nothing", "text")
        return value

    def many(self, column: str) -> tuple[str, ...]:
        """Read texts with semicolons between."""
        return tuple(part.strip() for part in self.text(column).split(";") if part.strip())

    def number(self, column: str, least: float, most: float) -> float | None:
        """Read a number; None when the cell is empty."""
        return None if not self.text(column) else self.required_number(column, least, most)

    def required_number(self, column: str, least: float, most: float) -> float:
        """Read a number that must be there."""
        value = _number(self.text(column))
        if value is None or not least <= value <= most:
            raise _CellError(column, self._shown(column), f"a number from {least:g} to {most:g}")
        return value

    def span(self, column: str, least: float, most: float) -> tuple[float, float] | None:
        """Read "5" or "5-7"; None when the cell is empty."""
        text = self.text(column)
        if not text:
            return None
        ends = [_number(part) for part in text.split("-")]
        low, high = ends[0], ends[-1]
        if len(ends) > 2 or low is None or high is None or not least <= low <= high <= most:
            raise _CellError(column, self._shown(column), f'a number from {least:g} to {most:g}, or two as "5-7"')
        return low, high

    def choice(self, column: str, options: Sequence[Choice]) -> Choice:
        """Read one of a few words; the empty text may be one of them."""
        text = self.text(column).lower()
        for option in options:
            if text == option:
                return option
        raise _CellError(column, self._shown(column), one_of([option for option in options if option]))

    def choices(self, column: str, options: Sequence[Choice]) -> tuple[Choice, ...]:
        """Read several of a few words, with semicolons between."""
        parts = self.many(column)
        return tuple(Cells({column: part}, self.origin).choice(column, options) for part in parts)

    def ends(self, low: str, high: str, least: float, most: float) -> tuple[float | None, float | None]:
        """Read two cells that are the ends of a range."""
        ends = self.number(low, least, most), self.number(high, least, most)
        if ends[0] is not None and ends[1] is not None and ends[0] > ends[1]:
            raise _CellError(high, self._shown(high), f"no less than {low} ({ends[0]:g})")
        return ends

    def source(self, column: str = "source") -> str:
        """Read where the row is from. Ours always say it; a shop knows its own."""
        return self.text(column, required=self.origin == "evenboard") or SHOP_SOURCE

    def _shown(self, column: str) -> str:
        text = self.text(column)
        return f'"{shorten(text)}"' if text else "nothing"


class Layout(NamedTuple):
    """How one table is read."""

    file: str  # "trade_species.csv"
    columns: tuple[str, ...]
    required: tuple[str, ...]  # columns that a shop's table cannot leave out


def read_table(layout: Layout, parse: Callable[[Cells], Row], key: Callable[[Row], Hashable]) -> tuple[Row, ...]:
    """Read a trade table with the shop's own rows in place; kept until one of the files changes.

    Parameters
    ----------
    layout : Layout
    parse : callable
        One line to a frozen row.
    key : callable
        What makes a row the same row: a shop's takes the place of ours.

    Returns
    -------
    tuple
        The rows in the order of our table, then those that only the shop has.

    Raises
    ------
    TradeTableError
        If the shop's table cannot be read, or does not hold: file, line, column, what was found and expected.
    """
    ours = published_file(layout.file)
    shop = data_folder() / "trade" / layout.file
    return _joined(layout, parse, key, ours, _stamp(ours), shop, _stamp(shop))


_Stamp = tuple[int, int] | None


@lru_cache(maxsize=64)
def _joined(
    layout: Layout,
    parse: Callable[[Cells], Row],
    key: Callable[[Row], Hashable],
    ours: Path,
    ours_stamp: _Stamp,  # noqa: ARG001 - part of the cache's key: a changed file is read again
    shop: Path,
    shop_stamp: _Stamp,
) -> tuple[Row, ...]:
    rows = _rows(layout, parse, key, ours, "evenboard")
    if shop_stamp is not None:
        rows |= _rows(layout, parse, key, shop, "shop")
    return tuple(rows.values())


def _stamp(path: Path) -> _Stamp:
    """Time and size of a file; None when there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    except OSError as refused:
        raise TradeTableError(path, (), f"it cannot be read ({refused.strerror or refused})") from refused
    return found.st_mtime_ns, found.st_size


def _rows(
    layout: Layout, parse: Callable[[Cells], Row], key: Callable[[Row], Hashable], path: Path, origin: Origin
) -> dict[Hashable, Row]:
    """Read one file; every line that does not hold is told at once."""
    problems: list[TableProblem] = []
    rows: dict[Hashable, Row] = {}
    first: dict[Hashable, int] = {}
    for line, content in _lines(layout, path, problems):
        try:
            row = parse(Cells(content, origin))
        except _CellError as wrong:
            problems.append(TableProblem(line, wrong.column, wrong.found, wrong.expected))
            continue
        name = key(row)
        if name in first:
            problems.append(
                TableProblem(line, "", f"{_shown_key(name)} again", f"each once (first in line {first[name]})")
            )
        first.setdefault(name, line)
        rows[name] = row
    if problems:
        raise TradeTableError(path, tuple(problems))
    return rows


def _lines(layout: Layout, path: Path, problems: list[TableProblem]) -> list[tuple[int, dict[str, str]]]:
    """Split a file into cells by column; a cell may not run over a line's end."""
    header: list[str] | None = None
    found: list[tuple[int, dict[str, str]]] = []
    for line, text in enumerate(_text(path).splitlines(), 1):
        if not text.strip() or text.startswith(_COMMENT):
            continue
        try:
            cells = next(csv.reader([text], strict=True))
        except csv.Error as wrong:
            problems.append(
                TableProblem(line, "", f"a line that cannot be split into cells ({wrong})", "quotes in pairs")
            )
            continue
        if header is None:
            header = [cell.strip() for cell in cells]
            _check_header(layout, header, line, problems)
            if problems:
                return []
        elif len(cells) > len(header) and any(cell.strip() for cell in cells[len(header) :]):
            problems.append(
                TableProblem(line, "", f"{len(cells)} cells", f"{len(header)}: a comma inside a cell needs quotes")
            )
        elif any(cell.strip() for cell in cells):
            found.append((line, dict(zip(header, cells, strict=False))))
    if header is None:
        problems.append(TableProblem(1, "", "no line with the columns' names", ", ".join(layout.columns)))
    return found


def _check_header(layout: Layout, header: list[str], line: int, problems: list[TableProblem]) -> None:
    if len(header) == 1 and len(header[0].split(";")) > 1:
        problems.append(TableProblem(line, "", "columns with semicolons between", "commas between"))
        return
    for column in header:
        if column not in layout.columns:
            near = nearest(column, layout.columns)
            hint = f"; perhaps {near}" if near else ""
            expected = f"one of {', '.join(layout.columns)}{hint}"
            problems.append(TableProblem(line, column or "without a name", "an unknown column", expected))
        elif header.count(column) > 1:
            problems.append(TableProblem(line, column, "this column twice", "each once"))
    problems.extend(
        TableProblem(line, column, "no such column", "this column")
        for column in layout.required
        if column not in header
    )


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise TradeTableError(path, (), f"it is larger than {LARGEST_BYTES:,} bytes: no table of this kind")
        return path.read_bytes().decode("utf-8-sig")  # spreadsheets write a mark at the front
    except OSError as refused:
        raise TradeTableError(path, (), f"it cannot be read ({refused.strerror or refused})") from refused
    except UnicodeDecodeError as wrong:
        raise TradeTableError(path, (), f"it is no UTF-8 text (byte {wrong.start + 1}); save it as UTF-8") from wrong


_DECIMAL: Final = str.maketrans("", "", "_ ")  # Python reads "1_0" as 10: no number here


def _number(text: str) -> float | None:
    text = text.strip()
    if text != text.translate(_DECIMAL):
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _shown_key(name: Hashable) -> str:
    parts = name if isinstance(name, tuple) else (name,)
    return '"' + ", ".join(str(part) for part in parts if part) + '"'
