"""Boards go to the places that fit them best, and to places that fit alike in the order in which they are named.

The oracle tries every assignment.
"""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from calibration.board_assignment import AS_GOOD, NOT_FOUND, assigned, least_misfit, reading_order

Floats = NDArray[np.float64]
MISFITS = st.integers(1, 4).flatmap(
    lambda boards: st.integers(0, 4).flatmap(
        lambda places: arrays(
            np.float64, (boards, places), elements=st.sampled_from([0.0, 3.0, 8.0, 40.0, 150.0, np.inf])
        )
    )
)
NONE = -1


def every_assignment(misfits: Floats) -> dict[tuple[int, ...], float]:
    """What each possible assignment costs; a board without a place counts `NOT_FOUND`."""
    boards, places = misfits.shape
    choices = [*range(places), *[NONE] * boards]
    costs = {}
    for chosen in set(permutations(choices, boards)):
        each = [NOT_FOUND if place == NONE else misfits[board, place] for board, place in enumerate(chosen)]
        costs[chosen] = float(sum(each))
    return costs


@given(MISFITS)
def test_no_assignment_fits_better_than_what_cannot_be_told_apart(misfits: Floats) -> None:
    costs = every_assignment(misfits)
    chosen = tuple(NONE if place is None else place for place in assigned(misfits).place)
    assert least_misfit(misfits) == pytest.approx(min(costs.values()))
    assert costs[chosen] <= min(costs.values()) + AS_GOOD + 1e-9


@given(MISFITS)
def test_of_assignments_that_are_as_good_the_first_in_reading_order_is_taken(misfits: Floats) -> None:
    costs = every_assignment(misfits)
    good = [chosen for chosen, cost in costs.items() if cost <= min(costs.values()) + AS_GOOD]
    last = misfits.shape[1]
    first = min(good, key=lambda chosen: [last if place == NONE else place for place in chosen])
    assert tuple(NONE if place is None else place for place in assigned(misfits).place) == first


@given(MISFITS)
def test_a_board_is_doubted_when_another_place_or_none_is_as_good(misfits: Floats) -> None:
    costs = every_assignment(misfits)
    good = [chosen for chosen, cost in costs.items() if cost <= min(costs.values()) + AS_GOOD]
    found = assigned(misfits)
    taken = {place for place in found.place if place is not None}
    for board, own in enumerate(found.place):
        others = {chosen[board] for chosen in good} - {own} if own is not None else set()
        assert found.by_order[board] == bool(others & taken)
        assert found.unsure[board] == bool(others - taken)


def test_a_place_that_fits_worse_than_none_is_not_taken() -> None:
    assert assigned([[NOT_FOUND + 1]]).place == (None,)
    assert assigned([[NOT_FOUND - 10]]).place == (0,)


def test_the_places_beyond_a_dozen_that_fit_worst_are_left_out() -> None:
    misfits = np.full((2, 15), 100.0)
    misfits[0, 14], misfits[1, 13] = 0.0, 1.0
    assert assigned(misfits).place == (14, 13)


def quad(x: float, y: float, across: float = 100, down: float = 60) -> Floats:
    return np.array([(x, y), (x + across, y), (x + across, y + down), (x, y + down)], dtype=np.float64)


@pytest.mark.parametrize(
    ("places", "order"),
    [
        ([quad(0, 0), quad(0, 100)], [0, 1]),
        ([quad(0, 100), quad(0, 0)], [1, 0]),
        ([quad(200, 0), quad(0, 20)], [1, 0]),  # a little lower, but in one row
        ([quad(200, 0), quad(0, 40)], [0, 1]),  # in the row below
        ([quad(150, 130), quad(0, 120), quad(160, 0), quad(0, 10)], [3, 2, 1, 0]),
        ([quad(0, 0, 100, 300), quad(150, 20, 60, 40)], [0, 1]),  # a sample beside an upright board, at its head
        ([quad(150, 200, 60, 40), quad(152, 20, 60, 40), quad(0, 10, 100, 300)], [2, 1, 0]),  # two, one below the other
        ([], []),
    ],
)
def test_places_are_read_row_by_row_each_from_the_left(places: list[Floats], order: list[int]) -> None:
    assert reading_order(places) == order
