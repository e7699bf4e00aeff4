"""Student's t, Holm's correction and the number of boards, against published tables and another library.

Tables: Student's t, ISO/IEC Guide 98-3, table G.2; sample sizes and Holm's vectors as statsmodels gives them
(`TTestPower`, `multipletests`).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analyzer.power import boards_needed, power_of, smallest_seen
from analyzer.students_t import holm, p_of_mean, two_sided_p, two_sided_t

P_VALUES = st.lists(st.floats(0, 1), min_size=1, max_size=12)


# ---- Student's t


@pytest.mark.parametrize(("nu", "t"), [(1, 12.71), (2, 4.30), (3, 3.18), (5, 2.57), (10, 2.23), (50, 2.01)])
def test_the_95_percent_factor_is_that_of_the_published_table(nu: int, t: float) -> None:
    assert two_sided_t(0.05, nu) == pytest.approx(t, abs=0.005)


@pytest.mark.parametrize("nu", [1, 2, 3, 7, 30, 400, 1e5, 1e7, math.inf])
@pytest.mark.parametrize("t", [0.0, 0.3, -1.0, 2.0, 6.0, 25.0])
def test_a_tail_is_that_of_another_library_even_far_out(nu: float, t: float) -> None:
    expected = 2 * stats.t.sf(abs(t), nu)
    assert two_sided_p(t, nu) == pytest.approx(expected, rel=1e-4 if nu > 1e6 else 1e-8, abs=1e-30)


@given(st.floats(1, 20), st.floats(0, 30))
def test_the_degrees_of_freedom_need_not_be_whole(nu: float, t: float) -> None:
    assert two_sided_p(t, nu) == pytest.approx(2 * stats.t.sf(t, nu), rel=1e-4)


@given(st.floats(1e-6, 0.99), st.floats(1, 60))
def test_factor_and_tail_are_each_others_inverse(p: float, nu: float) -> None:
    assert two_sided_p(two_sided_t(p, nu), nu) == pytest.approx(p, rel=1e-8)


def test_what_is_no_number_is_refused() -> None:
    for t, nu in [(1.0, 0.5), (math.nan, 3.0), (1.0, math.nan)]:
        with pytest.raises(ValueError, match="degree of freedom"):
            two_sided_p(t, nu)
    with pytest.raises(ValueError, match="between 0 and 1"):
        two_sided_t(0.0, 3)


# ---- a mean with a known and a learnt part


def test_with_one_part_alone_p_is_that_of_t_or_of_the_normal_distribution() -> None:
    assert p_of_mean(1.2, 0.0, 0.25, 3) == pytest.approx(2 * stats.t.sf(2.4, 3), rel=1e-8)
    assert p_of_mean(-1.2, 0.25, 0.0, 3) == pytest.approx(2 * stats.norm.sf(2.4), rel=1e-8)
    assert (p_of_mean(0.0, 0.1, 0.1, 2), p_of_mean(0.5, 0.0, 0.0, 2)) == (1.0, 0.0)


@given(st.floats(0.01, 2), st.floats(0.01, 2), st.integers(1, 20), st.floats(0.2, 5))
def test_p_falls_below_5_percent_exactly_when_the_interval_leaves_0_out(
    known: float, learnt: float, nu: int, share: float
) -> None:
    half_width = math.sqrt(1.959964**2 * known + two_sided_t(0.05, nu) ** 2 * learnt)
    p = p_of_mean(share * half_width, known, learnt, nu)
    assert (p < 0.05) == (share > 1) or p == pytest.approx(0.05, rel=1e-4)


# ---- Holm


@pytest.mark.parametrize(
    ("p", "adjusted"),
    [
        ([0.01, 0.04, 0.03, 0.005], [0.03, 0.06, 0.06, 0.02]),
        ([0.012, 0.021, 0.003, 0.2, 0.04], [0.048, 0.063, 0.015, 0.2, 0.08]),
        ([], []),
    ],
)
def test_holm_gives_the_published_vectors(p: list[float], adjusted: list[float]) -> None:
    assert holm(p) == pytest.approx(adjusted, abs=1e-12)


@given(P_VALUES)
def test_holm_keeps_the_order_lies_between_p_and_bonferroni_and_never_exceeds_1(p: list[float]) -> None:
    adjusted = holm(p)
    assert all(raw <= fixed <= min(1.0, len(p) * raw) + 1e-15 for raw, fixed in zip(p, adjusted, strict=True))
    order = np.argsort(p, kind="stable")
    assert np.all(np.diff(np.array(adjusted)[order]) >= 0)


# ---- how many boards


@pytest.mark.parametrize(
    ("d", "for_80", "for_90"), [(0.5, 34, 44), (0.8, 15, 19), (1.0, 10, 13), (1.2, 8, 10), (1.5, 6, 7), (2.0, 5, 5)]
)
def test_the_number_of_boards_is_that_of_the_published_table(d: float, for_80: int, for_90: int) -> None:
    assert boards_needed(d, 1.0) == for_80
    assert boards_needed(d, 1.0, power=0.9) == for_90


@pytest.mark.parametrize("boards", [2, 3, 5, 12, 80, 2000])
@pytest.mark.parametrize("d", [0.0, 0.3, 1.0, 4.0])
def test_power_is_that_of_the_noncentral_t(boards: int, d: float) -> None:
    nu, shift = boards - 1, d * math.sqrt(boards)
    t = stats.t.ppf(0.975, nu)
    other_way = np.nan_to_num(stats.nct.cdf(-t, nu, shift))  # so small that the library gives up
    expected = stats.nct.sf(t, nu, shift) + other_way if d else 0.05
    assert power_of(boards, d, 1.0) == pytest.approx(expected, abs=2e-6)


def test_power_is_the_share_of_drawn_trials_that_see_the_difference() -> None:
    """4 boards, a difference of 1.5 spreads: 20,000 paired t tests."""
    drawn = np.random.default_rng(1).normal(1.5, 1.0, (20_000, 4))
    t = drawn.mean(axis=1) / (drawn.std(axis=1, ddof=1) / 2)
    seen = np.mean(np.abs(t) > 3.182446)
    assert power_of(4, 1.5, 1.0) == pytest.approx(seen, abs=3 * math.sqrt(0.25 / 20_000))


def test_only_the_ratio_of_difference_and_spread_counts() -> None:
    assert power_of(6, -0.6, 0.4) == pytest.approx(power_of(6, 1.5, 1.0))
    assert boards_needed(0.6, 0.4) == boards_needed(1.5, 1.0)


def test_a_stricter_level_or_more_power_needs_more_boards() -> None:
    assert boards_needed(1.0, 1.0, alpha=0.05 / 4) > boards_needed(1.0, 1.0)
    assert boards_needed(1.0, 1.0, power=0.95) > boards_needed(1.0, 1.0, power=0.9)


@pytest.mark.parametrize("boards", [2, 3, 8])
def test_the_smallest_difference_seen_needs_just_so_many_boards(boards: int) -> None:
    smallest = smallest_seen(boards, 0.7)
    assert boards_needed(smallest * 1.0001, 0.7) == boards
    assert power_of(boards, smallest, 0.7) == pytest.approx(0.8, abs=1e-6)


def test_what_cannot_be_planned_is_refused() -> None:
    with pytest.raises(ValueError, match="one board is no trial"):
        power_of(1, 1.0, 1.0)
    with pytest.raises(ValueError, match="spread must be above 0"):
        boards_needed(1.0, 0.0)
    with pytest.raises(ValueError, match="below 1"):
        boards_needed(1.0, 1.0, power=1.0)
    with pytest.raises(ValueError, match="cannot be seen"):
        boards_needed(0.0, 1.0)
