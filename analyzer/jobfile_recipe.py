"""What does job.toml record of how a zone was made?  Every field of recipe_fields.py, as written.

A field may stand under [[board]], for all its zones, or under [[board.zone]], whose own line wins.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, Final

from analyzer.jobfile_table import Interval, Table
from analyzer.recipe_fields import CIRCUMSTANCES, STEPS, Kind, RecipeField

RECIPE_KEYS = tuple(field.key for field in STEPS)
RECORD_KEYS = tuple(field.key for field in CIRCUMSTANCES)

_PERCENT: Final = "a number from 0 to 100 (percent), or text"
_GRIT: Final = (Interval(above=0, most=10_000), 'a grit such as 320 or "P320"')
_NUMBERS: Final[dict[Kind, tuple[Interval, str]]] = {  # in each of these a number is as good as text
    "dilution": (Interval(above=0, most=1000), 'text such as "1:3", or the parts of thinner to one part'),
    "percent": (Interval(0, 100), _PERCENT),
    "grit": _GRIT,
    "sheen": (Interval(0, 100), 'text such as "satin", or gloss units from 0 to 100'),
}
_WITH_UNIT: Final[dict[Kind, str]] = {  # a bare number would leave open which unit the shop uses
    "time": 'text with its unit, such as "2 h" or "30 min"',
    "film": 'text with its unit, such as "100 µm" or "4 mil"',
    "celsius": 'text with its unit, such as "20 °C" or "68 °F"',
}
_BY_VOLUME: Final = "a number from 0 to 100 (percent by volume), or text"
_MOST_COATS = 100
_MOST_GRITS = 20  # chosen: nobody sands in more steps
_SCALES: Final = ("P", "CAMI")
_WAYS_ENDED: Final = ("wet", "dry")


def read_recipe(table: Table) -> dict[str, Any]:
    """Read the steps that are there, as written."""
    return _read(table, STEPS)


def read_circumstances(table: Table) -> dict[str, Any]:
    """Read the circumstances that are there, as written; a date as its text, ISO 8601."""
    return _read(table, CIRCUMSTANCES)


def _read(table: Table, fields: Iterable[RecipeField]) -> dict[str, Any]:
    found = {}
    for field in fields:
        if field.key in table.content:
            _check(table, field)
            value = table.content[field.key]
            found[field.key] = value.isoformat() if isinstance(value, date) else value
    return found


def _check(table: Table, field: RecipeField) -> None:
    """Note a value that its field does not hold."""
    key = field.key
    if key == "grit_scale":
        table.choice(key, _SCALES)
    elif key == "wait_ended":
        table.choice(key, _WAYS_ENDED)
    elif field.kind in _NUMBERS:
        interval, expected = _NUMBERS[field.kind]
        table.number_or_text(key, interval, _BY_VOLUME if "solids" in key else expected)
    elif field.kind in _WITH_UNIT:
        table.text(key, _WITH_UNIT[field.kind])
    elif field.kind == "count":
        _check_count(table, key)
    elif field.kind == "yes":
        if not isinstance(table.content[key], bool):
            table.wrong(key, "true or false")
    elif field.kind == "day":
        _check_day(table, key)
    elif field.kind == "grits":
        _check_grits(table, key)
    else:
        table.text(key, "text in quotes")


def _check_count(table: Table, key: str) -> None:
    count = table.content[key]
    if not isinstance(count, int) or isinstance(count, bool) or not 0 <= count <= _MOST_COATS:
        table.wrong(key, "a whole number of coats" if key.endswith("coats") else "a whole number")


def _check_day(table: Table, key: str) -> None:
    day = table.content[key]
    if isinstance(day, date) and not isinstance(day, datetime):
        return
    try:
        if isinstance(day, str) and date.fromisoformat(day).isoformat() == day:
            return
    except ValueError:
        pass  # told below, as any other wrong value is
    table.wrong(key, "a day as year-month-day: 2026-03-04")


def _check_grits(table: Table, key: str) -> None:
    grits = table.content[key]
    if not isinstance(grits, list):
        table.number_or_text(key, _GRIT[0], 'grits in their order: [120, 150, 180], or text such as "P120, P150"')
        return
    limits = _GRIT[0]
    whole = [
        (isinstance(grit, str) and grit.strip() and grit.isprintable())
        or (isinstance(grit, int) and not isinstance(grit, bool) and grit in limits)
        for grit in grits
    ]
    if not 0 < len(grits) <= _MOST_GRITS or not all(whole):
        table.wrong(key, "grits in their order: [120, 150, 180]")
