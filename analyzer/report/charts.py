"""How do values with their uncertainty lie to a limit?  Places on an axis, in per cent of its width, for the page."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.report.marks import Mark

LEAST_ROOM = 1.3  # the axis reaches this many times the limit, so that the limit is never at the edge
MOST_STEPS = 6
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)  # ticks lie at these times a power of ten


@dataclass(frozen=True, slots=True)
class Row:
    """One value to be drawn."""

    name: str
    detail: str | None
    value: float | None
    u95: float | None
    text: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One value on the axis; places in per cent, None where there is nothing to draw."""

    name: str
    detail: str | None
    text: str
    mark: Mark
    at: str | None
    low: str | None
    width: str | None


@dataclass(frozen=True, slots=True)
class Chart:
    """Values of one kind on one axis that starts at 0."""

    title: str
    unit: str
    limit: str | None  # as said
    limit_at: str | None  # place in per cent
    ticks: tuple[tuple[str, str], ...]  # place in per cent, label
    several: bool  # details differ from row to row, so that they must be said
    rows: tuple[ChartRow, ...]


def chart(title: str, unit: str, limit: float | None, rows: Sequence[Row], decimals: int) -> Chart:
    """Places of values, intervals and limit on one axis.

    Parameters
    ----------
    title, unit : str
        Said above the chart.
    limit : float or None
        Largest acceptable value; None draws no limit.
    rows : sequence of Row
        0 or more each; the interval is cut off at 0, since neither a difference nor a blotch index can be less.
    decimals : int
        Of the limit as said.
    """
    reach = [row.value + (row.u95 or 0.0) for row in rows if row.value is not None]
    end, step = axis(max([*reach, LEAST_ROOM * (limit or 0.0)], default=0.0))
    ticks = tuple((_percent(k * step, end), f"{k * step:.10g}") for k in range(round(end / step) + 1))
    return Chart(
        title=title,
        unit=unit,
        limit=None if limit is None else f"{limit:.{decimals}f}",
        limit_at=None if limit is None else _percent(limit, end),
        ticks=ticks,
        several=len({row.detail for row in rows}) > 1,
        rows=tuple(_placed(row, end) for row in rows),
    )


def axis(largest: float, most_steps: int = MOST_STEPS) -> tuple[float, float]:
    """Choose end and step of an axis from 0 that holds `largest` in a few steps of 1, 2, 2.5 or 5."""
    if not largest > 0:
        return 1.0, 0.5
    rough = largest / most_steps
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * times for times in STEPS if power * times >= rough * (1 - 1e-9))
    return step * math.ceil(largest / step - 1e-9), step


def _placed(row: Row, end: float) -> ChartRow:
    low = width = None
    if row.value is not None and row.u95 is not None:
        start = max(0.0, row.value - row.u95)
        low, width = _percent(start, end), _percent(row.value + row.u95 - start, end)
    at = None if row.value is None else _percent(row.value, end)
    return ChartRow(row.name, row.detail, row.text, row.mark, at, low, width)


def _percent(value: float, end: float) -> str:
    return f"{100 * value / end:.3f}".rstrip("0").rstrip(".")
