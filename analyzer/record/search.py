"""Which zones does the index hold that answer a query?  Nearest colours exactly, by CIEDE2000."""

import json
import math
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from analyzer.colour_interval import delta_E_00_u95
from analyzer.guard_band import Z_975
from analyzer.record.colour_box import colour_box
from analyzer.record.query import FoundZone, Lab, Query
from calibration.difference import delta_E_00

# Without a limit of difference, boxes are looked through that hold all colours within this, twice, four times it, …
FIRST_REACH: Final = 2.0  # CIEDE2000; chosen: most searches in a filled record end there

_ORDERS: Final = {
    "newest": "zone.date DESC, zone.id",
    "most even": "zone.blotch IS NULL, zone.blotch, zone.id",
    "job": "job.name, job.folder, zone.id",
}
_JOINED: Final = "FROM zone JOIN job ON job.id = zone.job"
_COLUMNS: Final = (
    "job.name, job.customer, job.folder, zone.path, zone.stage, zone.light, zone.species, zone.treatment, zone.stain, "
    "zone.L, zone.a, zone.b, zone.lab_u95, zone.blotch, zone.blotch_u95, zone.figure, zone.area_mm2, zone.verdict, "
    "zone.colour, zone.evenness, zone.is_approved, zone.date, zone.date_from, job.method, zone.recipe"
)
_MOST_PARAMETERS: Final = 500  # of one statement; SQLite takes 999 in its oldest versions

Condition = tuple[str, tuple[Any, ...]]


def find_zones(database: sqlite3.Connection, query: Query) -> tuple[FoundZone, ...]:
    """Answer a query.

    Parameters
    ----------
    database : sqlite3.Connection
        The index.
    query : Query

    Returns
    -------
    zones : tuple of FoundZone
        In the order asked for, ties in that of the record.

    Raises
    ------
    ValueError
        If the order is by colour and none is given.
    """
    order = query.order or ("newest" if query.near is None else "nearest")
    if query.near is None and order == "nearest":
        raise ValueError("find_zones: the nearest to no colour cannot be told.")
    if query.near is None:
        return _without_colour(database, query, order)
    ids, differences = _near(database, query, query.near)
    if order == "nearest":
        ids, differences = ids[: query.limit], differences[: query.limit]
        found = _rows(database, ids)
    else:
        found = _ordered(database, ids, order)[: query.limit]
    by_id = dict(zip(ids, differences, strict=True))
    return tuple(_with_difference(zone, query, by_id[zone_id]) for zone_id, zone in found)


def count_zones(database: sqlite3.Connection, query: Query) -> int:
    """How many zones answer a query, whatever its limit."""
    if query.near is not None:
        return len(_near(database, replace(query, limit=None), query.near)[0])
    where, parameters = _where(_conditions(query))
    return int(database.execute(f"SELECT count(*) {_JOINED} {where}", parameters).fetchone()[0])


def folded(text: str | None) -> str | None:
    """Text by which upper and lower case are one, in every language."""
    return None if text is None else text.casefold()


def _without_colour(database: sqlite3.Connection, query: Query, order: str) -> tuple[FoundZone, ...]:
    where, parameters = _where(_conditions(query))
    limit = -1 if query.limit is None else query.limit
    sql = f"SELECT zone.id, {_COLUMNS} {_JOINED} {where} ORDER BY {_ORDERS[order]} LIMIT ?"
    return tuple(_zone(row[1:]) for row in database.execute(sql, (*parameters, limit)))


def _near(database: sqlite3.Connection, query: Query, near: Lab) -> tuple[list[int], list[float]]:
    """Ids and differences of what answers a query, the nearest first; at least as many as its limit, if there are."""
    if query.within is not None:
        return _within(database, query, near, query.within)
    reach = math.inf if query.limit is None or query.order not in (None, "nearest") else FIRST_REACH
    while True:
        ids, differences = _within(database, query, near, reach)
        if math.isinf(reach) or (query.limit is not None and len(ids) >= query.limit):
            return ids, differences
        reach = 2 * reach if all(map(math.isfinite, colour_box(near, 2 * reach)[1])) else math.inf


def _within(database: sqlite3.Connection, query: Query, near: Lab, within: float) -> tuple[list[int], list[float]]:
    """All within a difference: those of the box that surely holds them, then the formula itself."""
    conditions = _conditions(query)
    for name, (least, most) in zip("Lab", colour_box(near, within), strict=True):
        if math.isfinite(least):
            conditions.append((f"zone.{name} BETWEEN ? AND ?", (least, most)))
    where, parameters = _where(conditions)
    joined = _JOINED if "job." in where else "FROM zone"
    sql = f"SELECT zone.id, zone.L, zone.a, zone.b {joined} {where}"
    rows = np.array(database.execute(sql, parameters).fetchall(), dtype=np.float64).reshape(-1, 4)
    differences = delta_E_00(np.array(near), rows[:, 1:])
    inside = np.flatnonzero(differences <= within)
    inside = inside[np.lexsort((rows[inside, 0], differences[inside]))]
    return [int(value) for value in rows[inside, 0]], [float(value) for value in differences[inside]]


def _conditions(query: Query) -> list[Condition]:
    """What the query asks for, but for the colour."""
    conditions: list[Condition] = []
    for name in ("species", "treatment", "stain"):
        column = f"zone.folded_{name}"
        test = f"{column} = ?" if query.is_exact else f"instr({column}, ?) > 0"
        conditions.append((test, (folded(getattr(query, name)),)))
    for test, value in (
        ("zone.stage = ?", folded(query.stage)),
        ("zone.folded_light = ?", folded(query.light)),
        ("zone.date >= ?", query.since),
        ("zone.date <= ?", query.until),
        ("instr(job.folded_customer, ?) > 0", folded(query.customer)),
        ("zone.blotch <= ?", query.blotch),
        ("zone.verdict = ?", query.verdict),
        ("zone.is_approved = ?", None if query.is_approved is None else int(query.is_approved)),
        ("job.folder <> ?", None if query.not_in is None else str(query.not_in.resolve())),
    ):
        conditions.append((test, (value,)))
    conditions = [(test, values) for test, values in conditions if values != (None,)]
    conditions += [("instr(zone.said, ?) > 0", (word,)) for word in (folded(query.words) or "").split()]
    if query.folders:
        conditions.append(_in_folders(query.folders))
    return conditions


def _in_folders(folders: Sequence[Path]) -> Condition:
    tests, values = [], []
    for folder in folders:
        root = str(folder.resolve())
        below = root if root.endswith(("/", "\\")) else root + ("\\" if "\\" in root else "/")
        tests.append("job.folder = ? OR substr(job.folder, 1, ?) = ?")
        values += [root, len(below), below]
    return f"({' OR '.join(tests)})", tuple(values)


def _where(conditions: Sequence[Condition]) -> tuple[str, tuple[Any, ...]]:
    tests = " AND ".join(test for test, _ in conditions)
    return f"WHERE {tests}" if tests else "", tuple(value for _, values in conditions for value in values)


def _rows(database: sqlite3.Connection, ids: Sequence[int]) -> list[tuple[int, FoundZone]]:
    """The zones of these ids, in their order."""
    found = {}
    for start in range(0, len(ids), _MOST_PARAMETERS):
        some = ids[start : start + _MOST_PARAMETERS]
        marks = ", ".join("?" * len(some))
        sql = f"SELECT zone.id, {_COLUMNS} {_JOINED} WHERE zone.id IN ({marks})"
        found.update({row[0]: _zone(row[1:]) for row in database.execute(sql, some)})
    return [(zone_id, found[zone_id]) for zone_id in ids if zone_id in found]


def _ordered(database: sqlite3.Connection, ids: Sequence[int], order: str) -> list[tuple[int, FoundZone]]:
    """The same, in another order."""
    found = _rows(database, sorted(ids))
    if order == "newest":
        return sorted(found, key=lambda pair: pair[1].date, reverse=True)
    if order == "most even":
        return sorted(found, key=lambda pair: math.inf if pair[1].blotch is None else pair[1].blotch)
    return sorted(found, key=lambda pair: (pair[1].job, str(pair[1].folder)))


def _zone(row: Sequence[Any]) -> FoundZone:
    (job, customer, folder, path, stage, light, species, treatment, stain, L, a, b, u95, *rest) = row
    (blotch, blotch_u95, figure, area, verdict, colour, evenness, approved, date, date_from, method, recipe) = rest
    return FoundZone(
        job=job,
        customer=customer,
        folder=Path(folder),
        id=path,
        stage=stage,
        light=light,
        species=species,
        treatment=treatment,
        stain=stain,
        lab=(L, a, b),
        lab_u95=None if u95 is None else _three(json.loads(u95)),
        blotch=blotch,
        blotch_u95=blotch_u95,
        figure=figure,
        area_mm2=area,
        verdict=verdict,
        colour=colour,
        evenness=evenness,
        is_approved=bool(approved),
        date=date,
        date_from=date_from,
        method=method,
        recipe=json.loads(recipe),
    )


def _three(values: Sequence[float]) -> Lab:
    L, a, b = values
    return L, a, b


def _with_difference(zone: FoundZone, query: Query, difference: float) -> FoundZone:
    return replace(zone, de00=difference, de00_u95=_difference_u95(zone, query))


def _difference_u95(zone: FoundZone, query: Query) -> float | None:
    """95 % half-width of the difference: both were measured apart, so nothing that either misses cancels.

    Only the widths of L*, a* and b* are kept; how they hang together is not, so they are taken as independent.
    """
    if query.near is None or zone.lab_u95 is None or (query.near_is_measured and query.near_u95 is None):
        return None
    widths = np.hypot(zone.lab_u95, query.near_u95 or (0.0, 0.0, 0.0))
    covariance = np.diag((widths / Z_975) ** 2)
    delta = np.subtract(zone.lab, query.near)
    return delta_E_00_u95(query.near, delta, covariance, both_measured=query.near_is_measured)
