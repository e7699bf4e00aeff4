"""Where along the board does the light have a step or a hot spot that no smooth map follows?

A hand, a ruler or the frame of a window throws a shadow over neighbouring white fields of a strip, over all rows and
to about the same depth. Dirt takes fields as it comes; but on strips that are dirty enough it takes neighbours too.
So a stretch is a shadow only if dirt, as often as it is seen elsewhere on the strips, would hardly make it.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration.falloff import Lines

Floats = NDArray[np.float64]

SHADOW, SHADOW_PLACES = 0.025, 3  # relative, and neighbouring places on a strip, off the map (chosen)
SHADOW_SPREADS = 5.0  # and so much more than the fields' own noise
SAME_PLACE_MM = 3.0  # along the board: fields one above the other
SAME_FIELD_MM = 5.9  # between places: 5.3 of one white field, 6.5 of two that meet between markers
# Chosen: how often dirt may be taken for a shadow, of boards; how often dirt takes a field of strips that look clean;
# how alike depths are in a shadow; and how often dirt makes two neighbours that alike.
DIRT_CHANCE, LEAST_DIRT, ALIKE, DIRT_ALIKE = 0.01, 0.5, 0.75, 0.35
LONG_FIELDS = 3  # off in a row: no example of what dirt does (chosen)
GOES_ON_MM = 150.0  # what reaches a strip's end may go on beyond it so far


@dataclass(frozen=True, slots=True)
class ShadowEdge:
    """A stretch of the board's edge where the light has a step or a hot spot that no smooth map follows."""

    edge: str  # "top" or "bottom", of the board
    from_mm: float  # along the board, from its left end; outside the board if it may go on there
    to_mm: float
    depth: float  # relative: -0.2 is a fifth darker than the map says, positive is brighter; of a step, its height

    def touches(self, from_mm: float, to_mm: float) -> bool:
        """Whether a stretch of the board, from its left end, is touched."""
        return self.from_mm < to_mm and from_mm < self.to_mm


@dataclass(frozen=True, slots=True, eq=False)
class _Edge:
    """Places along one strip, from left to right: fields one above the other are one place."""

    name: str
    x_mm: Floats  # (n,)
    off: Floats  # (n,), ln light less that of the map; of two rows, what both agree on
    field: NDArray[np.intp]  # (n,), number of the white field

    def fields_between(self, first: int, end: int) -> int:
        """How many white fields lie from a place to before another."""
        return int(self.field[end - 1] - self.field[first]) + 1

    def halfway(self, index: int) -> float:
        """Where a stretch begins or ends, between the place before and at an index."""
        if 0 < index < len(self.x_mm):
            return float(self.x_mm[index - 1] + self.x_mm[index]) / 2
        return float(self.x_mm[0] - GOES_ON_MM if index == 0 else self.x_mm[-1] + GOES_ON_MM)


def shadow_edges(lines: Lines, error: Floats, noise: float) -> tuple[ShadowEdge, ...]:
    """Where neighbouring places on a strip are off the map to the same side, or step from one side to the other.

    A step of which the smooth light follows one half leaves no stretch that is far off, but still a step.

    Parameters
    ----------
    lines : Lines
    error : ndarray, (n,)
        ln light of the samples less that of the map.
    noise : float
        Standard deviation of single samples, relative.
    """
    limit = max(SHADOW, SHADOW_SPREADS * noise)
    edges = [
        _edge(name, lines.points_mm[on_edge, 0], error[on_edge])
        for name, on_edge in (("top", ~lines.is_bottom), ("bottom", lines.is_bottom))
        if on_edge.any()
    ]
    dirt = _Dirt.on(edges, limit)
    found: list[ShadowEdge] = []
    for edge in edges:
        here = _stretches(edge, limit, dirt)
        found += here or _steps(edge, limit, dirt)
    return tuple(found)


def _edge(name: str, x_mm: Floats, error: Floats) -> _Edge:
    order = np.argsort(x_mm)
    x_mm, error = x_mm[order], error[order]
    breaks = np.flatnonzero(np.diff(x_mm) > SAME_PLACE_MM) + 1
    places = np.array([part.mean() for part in np.split(x_mm, breaks)])
    off = np.array([_agreed(part) for part in np.split(error, breaks)])
    return _Edge(name, places, off, np.cumsum(np.diff(places, prepend=places[0]) > SAME_FIELD_MM))


def _agreed(errors: Floats) -> float:
    """What fields one above the other show in common: their mean if they are alike, else what is least off."""
    least, most = np.sort(np.abs(errors))[[0, -1]]
    if (np.sign(errors) != np.sign(errors[0])).any():
        return 0.0
    return float(errors.mean() if least > ALIKE * most else np.copysign(least, errors[0]))


def _runs(off: Floats, limit: float) -> list[tuple[int, int]]:
    """First and end of neighbouring places that are off to the same side."""
    side = np.where(np.abs(off) > limit, np.sign(off), 0)
    starts = np.flatnonzero(np.diff(side, prepend=np.nan) != 0).tolist()
    return [(first, end) for first, end in pairwise([*starts, len(side)]) if side[first]]


@dataclass(frozen=True, slots=True)
class _Dirt:
    """How many white fields are off the map without being part of a long stretch."""

    fields: int
    long: int  # of them in long stretches
    dirty: int

    @classmethod
    def on(cls, edges: list[_Edge], limit: float) -> "_Dirt":
        dirty, long = 0, 0
        for edge in edges:
            for first, end in _runs(edge.off, limit):
                count = edge.fields_between(first, end)
                long += count if count >= LONG_FIELDS else 0
                dirty += count if count < LONG_FIELDS else 0
        return cls(sum(edge.fields_between(0, len(edge.off)) for edge in edges), long, dirty)

    def may_be(self, edge: _Edge, first: int, end: int) -> bool:
        """Whether dirt could as well take all fields from one place to another, as often as it takes others."""
        count = edge.fields_between(first, end)
        others = self.dirty - (count if count < LONG_FIELDS else 0)
        share = (max(others, 0) + LEAST_DIRT) / max(self.fields - self.long - count + 1, 1)
        numbers, depths = edge.field[first:end], np.abs(edge.off[first:end])
        of_fields = [depths[numbers == number] for number in np.unique(numbers)]
        alike = sum(
            min(here.min(), there.min()) > ALIKE * max(here.max(), there.max()) for here, there in pairwise(of_fields)
        )
        return bool(self.fields * share**count * DIRT_ALIKE**alike > DIRT_CHANCE)


def _stretches(edge: _Edge, limit: float, dirt: _Dirt) -> list[ShadowEdge]:
    return [
        ShadowEdge(edge.name, edge.halfway(first), edge.halfway(end), float(np.expm1(np.median(edge.off[first:end]))))
        for first, end in _runs(edge.off, limit)
        if end - first >= SHADOW_PLACES and not dirt.may_be(edge, first, end)
    ]


def _steps(edge: _Edge, limit: float, dirt: _Dirt) -> list[ShadowEdge]:
    """The clearest step from below the map to above it, or back, between all places on its two sides.

    The map runs through the middle of such a step. Where it follows one side, the other is a stretch, or dirt.
    """
    n = SHADOW_PLACES
    largest, found = limit, []
    for at in range(n, len(edge.off) - n + 1):
        before, after = edge.off[at - n : at], edge.off[at : at + n]
        step = float(np.median(after) - np.median(before))
        to_either_side = max(min(after.min(), -before.max()), min(-after.max(), before.min())) > 0
        if abs(step) > largest and to_either_side and not dirt.may_be(edge, at - n, at + n):
            largest = abs(step)
            found = [ShadowEdge(edge.name, edge.halfway(at - n), edge.halfway(at + n), float(np.expm1(step)))]
    return found
