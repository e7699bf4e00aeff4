"""What does job.toml say about the boards and their zones?

Positions are compared in the file's own units, so that messages speak as the file does, and become millimetres last.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from analyzer.job import DEFAULT_MARGIN_MM, Board, Zone
from analyzer.jobfile_recipe import RECIPE_KEYS, RECORD_KEYS, read_circumstances, read_recipe
from analyzer.jobfile_table import Interval, Table, as_number, nearest, show
from analyzer.polygon import Point, Polygon, bounds, depth, goes_round_once, overlap, rectangle

ZONE_KEYS = ("id", "treatment", "span", "across", "polygon", "margin", "stain", *RECIPE_KEYS, *RECORD_KEYS)
BOARD_KEYS = ("id", "species", "length", "width", "margin", "zone", *RECIPE_KEYS, *RECORD_KEYS)

MM_PER_UNIT: Final = {"mm": 1.0, "in": 25.4}  # the international inch, exact
LONGEST_BOARD_MM = 10_000.0  # chosen: longer than any plank; guards memory against a slipped digit

_SMALLEST_LIKELY_MM = 100.0  # chosen: a shorter "board" with too small zones is rather one in inches

MOST_CORNERS = 200  # chosen: a zone traced by hand has far fewer
_TOUCH = 1e-9  # of a unit: two zones that share an edge do not overlap by rounding

Span = tuple[float, float]  # in the file's units


@dataclass(frozen=True, slots=True)
class Declared:
    """Which boards and zones the file names, whether or not the rest of them holds."""

    boards: tuple[str, ...]
    zones: tuple[str, ...]  # "A/control"

    @classmethod
    def of(cls, content: dict[str, Any]) -> "Declared":
        """Gather the ids of a parsed job file of any shape."""
        boards = _named(content.get("board"))
        zones = (f"{board}/{zone}" for board, table in boards for zone, _ in _named(table.get("zone")))
        return cls(tuple(board for board, _ in boards), tuple(zones))

    def check_zone(self, table: Table, key: str, path: object) -> None:
        """Note a zone path that names no zone of this job."""
        if path in self.zones:
            return
        near = nearest(path, self.zones) if isinstance(path, str) else None
        known = ", ".join(self.zones) or "none yet"
        hint = f'Did you mean "{near}"?' if near else ""
        table.wrong(key, f"a zone of this job, board id / zone id ({known})", hint, found=show(path))

    def check_board(self, table: Table, key: str, board: object) -> None:
        """Note a board id that names no board of this job."""
        if board in self.boards:
            return
        near = nearest(board, self.boards) if isinstance(board, str) else None
        hint = f'Did you mean "{near}"?' if near else ""
        table.wrong(
            key, f"the id of a board of this job ({', '.join(self.boards) or 'none yet'})", hint, found=show(board)
        )


def read_boards(top: Table, units: str | None, tables: Mapping[str, Collection[str]]) -> tuple[Board, ...]:
    """Read every [[board]]. Boards with problems are left out, after noting them. `units` are None when not known."""
    boards = []
    seen: set[str] = set()
    for number, table in enumerate(top.tables("board"), 1):
        named = table.named(_called("board", table, number))
        named.unknown(BOARD_KEYS, tables)
        board = _board(named, _id(named, seen), units, tables)
        if board is not None:
            boards.append(board)
    return tuple(boards)


def _board(
    table: Table, board_id: str | None, units: str | None, tables: Mapping[str, Collection[str]]
) -> Board | None:
    """Read one board and its zones."""
    mm = MM_PER_UNIT[units] if units else 1.0
    most = LONGEST_BOARD_MM / mm
    limits, expected = Interval(above=0, most=most), f"a number above 0, up to {most:.0f} {units or ''}".rstrip()
    face = _Face(
        table.number("length", limits, expected, required=True),
        table.number("width", limits, expected, required=True),
        _margin(table, units, DEFAULT_MARGIN_MM / mm if units else 0.0),
        units,
    )
    species = table.text("species", "the kind of wood, in quotes", required=True)
    shared, circumstances = read_recipe(table), read_circumstances(table)
    zones = []
    seen: set[str] = set()
    for number, plain in enumerate(table.tables("zone"), 1):
        named = plain.named(f"{table.place}, {_called('zone', plain, number)}")
        named.unknown(ZONE_KEYS, tables)
        zone = _zone(named, _id(named, seen), face, shared)
        if zone is not None:
            zones.append(zone)
    if board_id is None or species is None or face.length is None or face.width is None:
        return None
    return Board(board_id, species, face.length * mm, face.width * mm, tuple(zones), circumstances)


@dataclass(slots=True)
class _Face:
    """A board's face while its zones are read, in the file's units."""

    length: float | None  # None: not known, a problem was noted
    width: float | None
    margin: float  # of every zone that does not give its own
    units: str | None  # None: not known, a problem was noted; then no zone is too small for a margin of 5 mm
    taken: list[tuple[str, Polygon]] = field(default_factory=list)  # name and outline of the zones so far


def _zone(table: Table, zone_id: str | None, face: _Face, shared: Mapping[str, Any]) -> Zone | None:
    """Read one zone; `shared` are the steps that its board tells of all its zones."""
    treatment = table.text("treatment", 'the pre-treatment in quotes; "none" for a control', required=True)
    stain, recipe = table.text("stain"), {**shared, **read_recipe(table)}
    margin = _margin(table, face.units, face.margin)
    polygon = _polygon(table, face) if "polygon" in table.content else ()
    extent = _extent(table, face) if polygon == () else None if polygon is None else bounds(polygon)
    if extent is None:
        return None
    outline = polygon or rectangle(*extent)
    _check_clear(table, outline, face)
    _check_margin(table, extent, polygon or (), margin, face)
    face.taken.append((zone_id or "before it", outline))
    if zone_id is None or treatment is None:
        return None
    mm = MM_PER_UNIT[face.units] if face.units else 1.0
    span_mm, across_mm = ((low * mm, high * mm) for low, high in extent)
    polygon_mm = tuple((x * mm, y * mm) for x, y in polygon or ())
    circumstances = read_circumstances(table)
    return Zone(zone_id, treatment, span_mm, across_mm, margin * mm, stain, recipe, polygon_mm, circumstances)


def _extent(table: Table, face: _Face) -> tuple[Span, Span] | None:
    """Read where a rectangular zone lies, along and across its board."""
    span = _span(table, "span", face.length, "the board's length")
    if "across" in table.content:
        across = _span(table, "across", face.width, "the board's width")
    else:
        across = None if face.width is None else (0.0, face.width)
    return None if span is None or across is None else (span, across)


def _polygon(table: Table, face: _Face) -> tuple[Point, ...] | None:
    """Read the outline of an irregular zone: corners on the board, in order."""
    twice = [key for key in ("span", "across") if key in table.content]
    for key in twice:
        table.wrong(key, "either polygon, or span and across: the polygon says both", found="beside a polygon")
    size = (
        ""
        if face.length is None or face.width is None
        else f", x from 0 to {face.length:g}, y from 0 to {face.width:g}"
    )
    expected = f"3 to {MOST_CORNERS} corners [x, y] on the board{size}, in order round the zone"
    written = table.content["polygon"]
    corners = [_corner(item, face) for item in written] if isinstance(written, list) else []
    polygon = tuple(corner for corner in corners if corner is not None)
    if not 3 <= len(corners) <= MOST_CORNERS or len(polygon) < len(corners):
        hint = "x runs along the grain from the left end, y down from the top edge, both in the file's units."
        table.wrong("polygon", expected, hint)
        return None
    if not goes_round_once(polygon):
        hint = "Give each corner once; the last is joined to the first by itself."
        table.wrong("polygon", "an outline that does not cross or touch itself", hint)
        return None
    return None if twice else polygon


def _corner(item: object, face: _Face) -> Point | None:
    """Read one corner on the board, None for anything else."""
    if not isinstance(item, list) or len(item) != 2:
        return None
    x, y = (as_number(value) for value in item)
    ends = [math.inf if end is None else end + _TOUCH for end in (face.length, face.width)]
    if x is None or y is None or not (0 <= x <= ends[0] and 0 <= y <= ends[1]):
        return None
    return x, y


def _named(tables: object) -> list[tuple[str, dict[str, Any]]]:
    """Pair the tables of a list with their ids, leaving out what has none."""
    if not isinstance(tables, list):
        return []
    return [(t["id"], t) for t in tables if isinstance(t, dict) and isinstance(t.get("id"), str)]


def _called(kind: str, table: Table, number: int) -> str:
    """Name a board or a zone as the finisher does, by its id if it has one."""
    name = table.content.get("id")
    return f'{kind} "{name}"' if isinstance(name, str) and name.isprintable() else f"{kind} number {number}"


def _id(table: Table, seen: set[str]) -> str | None:
    """Read the id of a board or zone: not used before, and free of "/", which joins the two."""
    expected = "a short name in quotes, without / and without spaces at its ends"
    name = table.text("id", expected, required=True)
    if name is None:
        return None
    if not name.isprintable() or name != name.strip() or "/" in name or "\\" in name:
        table.wrong("id", expected)
        return None
    if name in seen:
        table.wrong("id", "an id of its own", found=f"{show(name)} a second time")
    seen.add(name)
    return name


def _span(table: Table, key: str, end: float | None, what: str) -> Span | None:
    """Read where a zone begins and ends along or across its board. `end` is None when the board's size is not known."""
    upper = what if end is None else f"{end:g}, {what}"
    expected = f"two numbers, the smaller first, from 0 to {upper}"
    if key not in table.content:
        table.wrong(key, expected)
        return None
    inside = Interval(0, math.inf if end is None else end + _TOUCH)
    ends = table.numbers(key, expected, (inside, inside))
    if ends is None:
        return None
    if ends[0] >= ends[1]:
        table.wrong(key, expected)
        return None
    return ends[0], ends[1]


def _margin(table: Table, units: str | None, default: float) -> float:
    """Read the margin inside a zone's edge, in the file's units."""
    margin = table.number("margin", Interval(0, LONGEST_BOARD_MM), f"0 {units} or more" if units else "0 or more")
    return default if margin is None else margin


def _check_margin(table: Table, extent: tuple[Span, Span], polygon: Polygon, margin: float, face: _Face) -> None:
    """Note a zone of which the margin leaves nothing to measure."""
    shortest = 2 * depth(polygon) if polygon else min(high - low for low, high in extent)
    if shortest > 2 * margin + _TOUCH:
        return
    key = "margin" if "margin" in table.content else "polygon" if polygon else "span"
    units = face.units or ""
    found = f"a zone only {shortest:.4g} {units} across, of which {margin:g} {units} is left out at each edge"
    is_tiny = units == "mm" and face.length is not None and face.length < _SMALLEST_LIKELY_MM
    hint = 'If the file is in inches, write units = "in" under [job].' if is_tiny else ""
    table.wrong(key, "a larger zone or a smaller margin", hint, found=found)


def _check_clear(table: Table, outline: Polygon, face: _Face) -> None:
    """Note a zone that lies over an earlier one of its board."""
    for other, taken in face.taken:
        if overlap(outline, taken, _TOUCH):
            start, end = bounds(taken)[0]
            key = "polygon" if "polygon" in table.content else "span"
            table.wrong(key, f'a zone clear of zone "{other}", which spans {start:g} to {end:g}')
