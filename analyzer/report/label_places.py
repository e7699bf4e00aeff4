"""Where does each mark's number stand, so that numbers hide neither marks nor each other?"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 13.0, 13.0  # of a number of two digits, in the picture's units
REACHES: Final = (14.0, 24.0, 34.0)  # from a mark to its number; beyond the first a line leads there
WAYS_DEG: Final = (0, 180, -90, 90, -45, -135, 45, 135)  # y runs downwards; the first that is free is taken
OUTSIDE: Final = 10  # times as bad as hiding something


@dataclass(frozen=True, slots=True)
class LabelPlace:
    """Middle of a number."""

    x: float
    y: float
    is_led_to: bool  # too far from its mark to be seen to belong to it


def label_places(
    marks: Floats, mark_size: float, size: float, also: Sequence[tuple[float, float]] = ()
) -> tuple[LabelPlace, ...]:
    """Choose a place for the number of each mark, one after the other.

    Parameters
    ----------
    marks : ndarray, (n, 2)
        Middles of the marks, in the picture's units.
    mark_size, size : float
        Width and height of a mark, and of the picture.
    also : sequence of pairs
        Middles of other things, as large as marks, that are better not hidden.
    """
    ways = np.stack([np.cos(np.radians(WAYS_DEG)), np.sin(np.radians(WAYS_DEG))], axis=-1)
    avoided = np.concatenate([marks, np.array(also, dtype=np.float64).reshape(-1, 2)])
    taken: list[Floats] = []
    found = []
    for at in marks:
        tries = [(at + reach * way, reach) for reach in REACHES for way in ways]
        place, reach = min(tries, key=lambda one: _badness(one[0], avoided, mark_size, taken, size))
        taken.append(place)
        found.append(LabelPlace(float(place[0]), float(place[1]), reach > REACHES[0]))
    return tuple(found)


def _badness(place: Floats, marks: Floats, mark_size: float, labels: Sequence[Floats], size: float) -> int:
    """Count what a number would hide there."""
    room = np.array([WIDTH, HEIGHT])
    on_marks = int((np.abs(marks - place) < (room + mark_size) / 2).all(axis=1).sum())
    on_labels = sum(bool((np.abs(other - place) < room).all()) for other in labels)
    is_outside = bool(((place < room / 2) | (place > size - room / 2)).any())
    return on_marks + on_labels + OUTSIDE * is_outside
