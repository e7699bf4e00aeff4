"""Which of several boards lies in which place?  By size; where sizes do not tell them apart, in reading order.

An assignment problem, small enough to be solved exactly: every board takes one place or none, no place is taken
twice, and the sum of the misfits is least. Assignments that are nearly as good are as likely; of those the one that
reads like the list of boards is taken, and it is told for which boards that decided.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

NOT_FOUND = 200.0  # squared standard deviations: so badly may a place fit before a board rather has none (chosen)
AS_GOOD = 9.0  # squared standard deviations between assignments that cannot be told apart: three of them (chosen)
MOST_PLACES = 12  # that are weighed against each other; the worst fitting ones beyond are left out
IN_LINE = 0.5  # of the shorter extent: places that share more of it, up and down, stand in one row


@dataclass(frozen=True, slots=True)
class Assignment:
    """Which board took which place."""

    place: tuple[int | None, ...]  # of each board; None: no place fits it
    by_order: tuple[bool, ...]  # whether its size alone does not tell a board from another one in the photo
    unsure: tuple[bool, ...]  # whether a place that no board took, or none, would have been as good for it


def assigned(misfits: ArrayLike) -> Assignment:
    """Assign boards to places.

    Parameters
    ----------
    misfits : array_like, (boards, places)
        How badly each board would fit each place, squared standard deviations, infinite where it cannot. Boards in
        the order of the list, places in reading order.
    """
    costs = np.asarray(misfits, dtype=np.float64)
    costs = np.where(costs < NOT_FOUND, costs, np.inf)
    boards, _ = costs.shape
    kept = np.sort(np.argsort(costs.min(axis=0, initial=np.inf), kind="stable")[:MOST_PLACES])
    costs = costs[:, kept]
    limit = _least(costs) + AS_GOOD
    chosen: list[int | None] = []
    held = costs.copy()
    for board in range(boards):
        free: list[int | None] = [*np.flatnonzero(np.isfinite(held[board])).tolist(), None]
        place = next(place for place in free if _least(_forced(held, board, place)) <= limit)
        chosen.append(place)
        held = _forced(held, board, place)
    taken = {place for place in chosen if place is not None}
    by_order, unsure = [], []
    for board, own in enumerate(chosen):
        options: list[int | None] = [] if own is None else [*range(len(kept)), None]
        others = [k for k in options if k != own and _least(_forced(costs, board, k)) <= limit]
        by_order.append(any(place in taken for place in others))
        unsure.append(any(place not in taken for place in others))
    return Assignment(
        place=tuple(None if place is None else int(kept[place]) for place in chosen),
        by_order=tuple(by_order),
        unsure=tuple(unsure),
    )


def least_misfit(misfits: ArrayLike) -> float:
    """Sum of the misfits (boards, places) of the best assignment; a board without a place counts `NOT_FOUND`."""
    return _least(np.asarray(misfits, dtype=np.float64))


def reading_order(quads_px: Sequence[Array]) -> list[int]:
    """Indices of places (4, 2) in the photo, row by row from the top, each row from the left.

    What lies above one another beside a taller thing is in one row with it, and is read from the top.
    """
    lowest = np.array([quad.min(axis=0) for quad in quads_px]).reshape(-1, 2)
    highest = np.array([quad.max(axis=0) for quad in quads_px]).reshape(-1, 2)
    order: list[int] = []
    for row in _in_line(list(range(len(quads_px))), lowest[:, 1], highest[:, 1]):
        for column in _in_line(row, lowest[:, 0], highest[:, 0]):
            order += sorted(column, key=lambda k: float(lowest[k, 1] + highest[k, 1]))
    return order


def _in_line(places: list[int], start: Array, end: Array) -> list[list[int]]:
    """Places in groups, in order: each shares with the first of its group half of the shorter one's extent."""
    groups: list[list[int]] = []
    for k in sorted(places, key=lambda k: float(start[k])):
        first = groups[-1][0] if groups else k
        shared = min(end[k], end[first]) - max(start[k], start[first])
        if groups and shared > IN_LINE * min(end[k] - start[k], end[first] - start[first]):
            groups[-1].append(k)
        else:
            groups.append([k])
    return groups


def _forced(costs: Array, board: int, place: int | None) -> Array:
    """The same costs when a board must take a place, or none."""
    forced = costs.copy()
    if place is None:
        forced[board] = np.inf
        return forced
    own = forced[board, place]
    forced[board] = np.inf
    forced[:, place] = np.inf
    forced[board, place] = own
    return forced


def _least(costs: Array) -> float:
    """Sum of the misfits of the best assignment."""
    rows = [[(int(place), float(row[place])) for place in np.flatnonzero(np.isfinite(row))] for row in costs]

    @cache
    def rest(board: int, taken: int) -> float:
        if board == len(rows):
            return 0.0
        options = [NOT_FOUND + rest(board + 1, taken)]
        options += [cost + rest(board + 1, taken | 1 << place) for place, cost in rows[board] if not taken >> place & 1]
        return min(options)

    return rest(0, 0)
