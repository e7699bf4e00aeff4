"""A non-match is called a match in at most one case in forty: the study tests/studies/false_accepts.py in small.

The full study judges 2,000 drawn verdicts for each number of boards and whole photos besides; here so many are drawn
that a rule without a guard band, which accepts half of what lies just outside, fails by far.
"""

import math
from collections.abc import Sequence

import pytest
from studies.false_accepts import Judged, clear_but_not_told, drawn, false_accepts, photographed, table

from analyzer.guard_band import decide


@pytest.fixture(scope="module")
def one_board() -> list[Judged]:
    return [one for number in range(60) for one in drawn(number, 1)]


def most(of: int) -> float:
    """2.5 % and three standard errors."""
    return 0.025 * of + 3 * math.sqrt(0.025 * 0.975 * of)


def of(judged: Sequence[Judged], what: str) -> list[Judged]:
    return [one for one in judged if one.what == what]


@pytest.mark.parametrize("what", ["colour", "evenness"])
def test_what_lies_outside_is_hardly_ever_called_within(one_board: list[Judged], what: str) -> None:
    judged = of(one_board, what)
    accepted, outside = false_accepts(judged)
    assert accepted <= 0.025 * outside
    assert 80 < outside < len(judged) - 80  # the truth lies on both sides
    near, hard = false_accepts(judged, near=0.25)
    assert near <= most(hard)
    assert hard > 15


def test_a_colour_clearly_on_one_side_is_told(one_board: list[Judged]) -> None:
    doubtful, clear = clear_but_not_told(of(one_board, "colour"))
    assert doubtful < 0.15 * clear
    assert clear > 80


@pytest.mark.parametrize("boards", [2, 4])
def test_boards_that_stray_do_not_make_it_say_more_than_it_knows(boards: int) -> None:
    judged = [one for number in range(15) for one in drawn(number, boards)]
    for what in ("colour", "evenness"):
        accepted, outside = false_accepts(of(judged, what))
        assert accepted <= most(outside)


def test_a_whole_photo_is_judged_against_its_own_truth() -> None:
    judged = photographed(3)
    assert len(judged) == 6  # three zones, colour and evenness
    assert not [one for one in judged if one.said == "within" and one.true > one.limit]


def test_the_table_counts_what_it_says() -> None:
    """Made by hand: two outside of which one is accepted, two inside of which one is rejected."""
    made = [
        Judged("colour", true, 2.0, said)
        for true, said in ((2.1, "within"), (4.0, "outside"), (1.0, "outside"), (0.5, "cannot tell"))
    ]
    assert false_accepts(made) == (1, 2)
    assert false_accepts(made, near=0.25) == (1, 1)
    assert clear_but_not_told(made) == (1, 3)
    line = table(made).splitlines()[1].split("  ")
    assert [part.strip() for part in line if part.strip()] == [
        "colour", "4", "1 of 2, 50.0%", "1 of 1, 100.0%", "1 of 2, 50.0%", "1 of 4, 25.0%", "1 of 3, 33.3%"
    ]  # fmt: skip


def test_a_rule_without_a_guard_band_would_fail_here(one_board: list[Judged]) -> None:
    """The same truths, measured with a half-width of 0.5 and judged by the value alone: near the limit many pass."""
    hard = [one for one in of(one_board, "colour") if one.limit < one.true <= 1.25 * one.limit]
    naive = [decide(one.true + 0.25 * (-1) ** k, 0.0, one.limit) for k, one in enumerate(hard)]
    assert naive.count("within") > most(len(hard))
