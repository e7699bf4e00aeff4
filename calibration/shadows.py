"""Where along the board does the light have a step or a hot spot that no smooth map follows?

A hand, a ruler or the frame of a window throws a shadow over several neighbouring fields of a strip. Dirt does not: it
takes single fields.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration.falloff import REACH_MM, Lines

Floats = NDArray[np.float64]

SHADOW, SHADOW_FIELDS = 0.03, 3  # relative, and neighbouring places on a strip, off the map: no dirt (chosen)
SHADOW_SPREADS = 5.0  # and so much more than the fields' own noise
SAME_PLACE_MM = 3.0  # along the board: fields one above the other


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
    found: list[ShadowEdge] = []
    for edge, on_edge in (("top", ~lines.is_bottom), ("bottom", lines.is_bottom)):
        if not on_edge.any():
            continue
        x, off = _by_place(lines.points_mm[on_edge, 0], error[on_edge])
        here = _stretches(edge, x, off, limit)
        found += here or _steps(edge, x, off, limit)
    return tuple(found)


def _stretches(edge: str, x_mm: Floats, off: Floats, limit: float) -> list[ShadowEdge]:
    side = np.where(np.abs(off) > limit, np.sign(off), 0)
    starts = np.flatnonzero(np.diff(side, prepend=np.nan) != 0).tolist()
    return [
        ShadowEdge(edge, _halfway(x_mm, first), _halfway(x_mm, end), float(np.expm1(np.median(off[first:end]))))
        for first, end in pairwise([*starts, len(side)])
        if side[first] and end - first >= SHADOW_FIELDS
    ]


def _steps(edge: str, x_mm: Floats, off: Floats, limit: float) -> list[ShadowEdge]:
    """The clearest step that all places on one side of it lie above all those on the other."""
    n = SHADOW_FIELDS
    largest, found = limit, []
    for at in range(n, len(off) - n + 1):
        before, after = off[at - n : at], off[at : at + n]
        step = float(np.median(after) - np.median(before))
        apart = max(after.min() - before.max(), before.min() - after.max())
        if abs(step) > largest and apart > limit / 2:  # two dirty fields of three make no step
            largest = abs(step)
            found = [ShadowEdge(edge, _halfway(x_mm, at - n), _halfway(x_mm, at + n), float(np.expm1(step)))]
    return found


def _by_place(x_mm: Floats, error: Floats) -> tuple[Floats, Floats]:
    """Places along a strip and the median error at each: fields one above the other are one place."""
    order = np.argsort(x_mm)
    x_mm, error = x_mm[order], error[order]
    breaks = np.flatnonzero(np.diff(x_mm) > SAME_PLACE_MM) + 1
    parts = list(zip(np.split(x_mm, breaks), np.split(error, breaks), strict=True))
    return np.array([x.mean() for x, _ in parts]), np.array([np.median(e) for _, e in parts])


def _halfway(x_mm: Floats, index: int) -> float:
    """Where a stretch begins or ends, between the place before and at an index.

    What reaches the strip's end may go on beyond it.
    """
    if 0 < index < len(x_mm):
        return float(x_mm[index - 1] + x_mm[index]) / 2
    return float(x_mm[0] - REACH_MM if index == 0 else x_mm[-1] + REACH_MM)
