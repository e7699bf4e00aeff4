"""The decision rule and the uncertainty behind it, against published numbers and closed forms."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from analyzer.colour_interval import delta_E_00_u95
from analyzer.guard_band import Z_975, conformance_probability, decide
from analyzer.replicates import SpreadPrior, board_spread, student_t_975
from calibration.difference import delta_E_00, delta_E_ab

Floats = NDArray[np.float64]
WOOD = np.array([38.0, 14.5, 22.0])


# ---- the rule


@pytest.mark.parametrize(
    ("value", "u95", "decision"),
    [
        (1.5, 0.5, "within"),  # exactly at the limit
        (1.5, 0.5 + 1e-12, "cannot tell"),
        (2.5, 0.5, "cannot tell"),  # exactly at the limit from outside
        (2.5 + 1e-12, 0.5, "outside"),
        (2.0, 0.0, "within"),
        (1.0, None, "cannot tell"),
        (None, None, "cannot tell"),
    ],
)
def test_equality_with_the_limit_is_within_and_what_is_unknown_cannot_be_told(
    value: float | None, u95: float | None, decision: str
) -> None:
    assert decide(value, u95, 2.0) == decision


@pytest.mark.parametrize(
    ("value", "u95", "limit"), [(math.nan, 0.1, 2), (1, -0.1, 2), (1, math.nan, 2), (1, 0, math.nan)]
)
def test_numbers_that_mean_nothing_are_refused(value: float, u95: float, limit: float) -> None:
    with pytest.raises(ValueError, match="guard band"):
        decide(value, u95, limit)


@given(st.floats(0, 20), st.floats(0, 10), st.floats(0, 10), st.floats(0, 20))
def test_more_doubt_never_turns_cannot_tell_into_a_decision(
    value: float, u95: float, more: float, limit: float
) -> None:
    if decide(value, u95, limit) == "cannot tell":
        assert decide(value, u95 + more, limit) == "cannot tell"


@given(st.floats(0, 20), st.floats(0, 10), st.floats(0, 20), st.floats(0, 20))
def test_a_wider_tolerance_never_makes_a_decision_worse(value: float, u95: float, limit: float, wider: float) -> None:
    order = ["outside", "cannot tell", "within"]
    assert order.index(decide(value, u95, limit + wider)) >= order.index(decide(value, u95, limit))


@pytest.mark.parametrize(
    ("y", "u", "limit", "p_c", "digit"),
    [
        # Phi((T_U - y) / u) from tables of the normal distribution
        (1.6, 0.25, 2.0, 0.9452, 1e-4),
        (2.0, 0.25, 2.0, 0.5, 1e-9),
        # The two worked examples of JCGM 106:2012, from memory: a diode's voltage, and a resistance of a container
        # whose limit is a lower one (so mirrored here).
        (-5.47, 0.05, -5.40, 0.919, 1e-3),
        (-507.0, 10.0, -490.0, 0.955, 1e-3),
    ],
)
def test_the_conformance_probability_is_that_of_JCGM_106(
    y: float, u: float, limit: float, p_c: float, digit: float
) -> None:
    assert conformance_probability(y, u, limit) == pytest.approx(p_c, abs=digit / 2)


@pytest.mark.parametrize(("sigmas", "risk"), [(2.0, 0.02275), (1.645, 0.0500)])
def test_a_guard_band_of_w_leaves_the_published_risk_of_a_false_accept(sigmas: float, risk: float) -> None:
    """Guard bands of ILAC-G8:09/2019: w = U = 2u and w = 1.645u, one-sided."""
    assert 1 - conformance_probability(2.0 - sigmas * 0.25, 0.25, 2.0) == pytest.approx(risk, abs=5e-5)


@given(st.floats(0.01, 3), st.floats(0.05, 2))
def test_within_means_a_conformance_probability_of_at_least_0_975(y: float, u: float) -> None:
    is_within = decide(y, Z_975 * u, 2.0) == "within"
    probability = conformance_probability(y, u, 2.0)
    assert is_within == (probability >= 0.975) or probability == pytest.approx(0.975, abs=1e-9)


def test_a_probability_without_uncertainty_is_refused() -> None:
    with pytest.raises(ValueError, match="more than 0"):
        conformance_probability(1.0, 0.0, 2.0)


# ---- Student's t and the spread between boards


@pytest.mark.parametrize(
    ("degrees", "t"),
    # JCGM 100:2008 (GUM), table G.2, column 95 %
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (8, 2.31), (10, 2.23), (20, 2.09), (50, 2.01)],
)
def test_students_t_is_that_of_the_GUM_table(degrees: float, t: float) -> None:
    assert student_t_975(degrees) == pytest.approx(t, abs=0.005)


@pytest.mark.parametrize("degrees", [1, 1.07, 1.5, 2.3, 4.7, 11, 230, 1e6, 1e8])
def test_students_t_agrees_with_scipy_for_real_degrees_of_freedom(degrees: float) -> None:
    assert student_t_975(degrees) == pytest.approx(stats.t.ppf(0.975, degrees), rel=1e-8)


def test_less_than_one_degree_of_freedom_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        student_t_975(0.9)


def _trials(table: Sequence[Sequence[float]] | Floats) -> list[dict[str, Floats]]:
    """One trial a row, one board a column; NaN where a treatment is not on a board."""
    return [{f"board {b}": np.array([value]) for b, value in enumerate(row) if not math.isnan(value)} for row in table]


def test_the_spread_between_boards_is_the_pooled_variance() -> None:
    """By hand: residuals ±1, ±2 and none; (2 + 8) / (1 + 1) = 5."""
    spread = board_spread(_trials([[4.0, 6.0, math.nan], [7.0, math.nan, 3.0], [math.nan, 9.0, math.nan]]))
    assert spread.covariance == pytest.approx(np.array([[5.0]]))


def test_without_two_boards_of_any_treatment_there_is_no_spread() -> None:
    assert board_spread(_trials([[4.0, math.nan], [math.nan, 3.0]])) is None


def test_boards_that_shift_as_a_whole_count_once_and_zones_that_stray_alone_count_each() -> None:
    """Satterthwaite at its two ends, three treatments on two boards: all shift alike, 1; no common shift, 3 - 1."""
    assert board_spread(_trials([[1.0, 2.0], [5.0, 6.0], [3.0, 4.0]])).degrees_of_freedom == pytest.approx(1.0)
    alone = board_spread(_trials([[1.0, 2.0], [6.0, 5.0], [4.0, 4.0]]))
    assert alone.degrees_of_freedom == pytest.approx(2.0)  # nothing is left for the boards as a whole


def test_separate_sets_of_boards_each_lose_one_degree() -> None:
    """Two treatments on boards 0 and 1, two on 2 and 3, each set shifting as a whole: 2 sets of 1 degree."""
    nan = math.nan
    table = [[0.0, 1.0, nan, nan], [3.0, 4.0, nan, nan], [nan, nan, 0.0, 1.0], [nan, nan, 2.0, 3.0]]
    assert board_spread(_trials(table)).degrees_of_freedom == pytest.approx(2.0)


def test_a_prior_joins_by_its_degrees_of_freedom() -> None:
    """Scaled inverse chi-squared with a normal sample, by hand: (4 * 3 + 1 * 2) / (4 + 1), 5 degrees."""
    spread = board_spread(_trials([[4.0, 6.0]]), SpreadPrior(np.array([[3.0]]), 4.0))
    assert spread.covariance == pytest.approx(np.array([[14 / 5]]))
    assert spread.degrees_of_freedom == pytest.approx(5.0)


def test_boards_that_agree_exactly_have_no_spread() -> None:
    spread = board_spread(_trials([[1.0, 1.0], [2.0, 2.0]]))
    assert spread.of_mean(2) == pytest.approx(np.zeros((1, 1)))


def test_the_mean_over_boards_gets_the_interval_of_the_t_test() -> None:
    """One treatment on four boards: 1.96 times the root is scipy's own 95 % interval of a mean."""
    values = [1.2, 0.7, 1.9, 1.1]
    low, high = stats.t.interval(0.95, 3, loc=np.mean(values), scale=stats.sem(values))
    half_width = Z_975 * math.sqrt(board_spread(_trials([values])).of_mean(4)[0, 0])
    assert half_width == pytest.approx((high - low) / 2, rel=1e-8)


@pytest.mark.parametrize(
    ("shift_sd", "stray_sd", "boards"), [(0.0, 0.5, 2), (0.35, 0.35, 2), (0.5, 0.0, 2), (0.35, 0.35, 3)]
)
def test_the_interval_from_few_boards_holds_the_truth(shift_sd: float, stray_sd: float, boards: int) -> None:
    """Four treatments; 1,000 simulated jobs of known truth 0. Three standard errors of 95 % are 2.1 %."""
    rng = np.random.default_rng(11)
    held = []
    for _ in range(1000):
        table = rng.normal(0, shift_sd, boards) + rng.normal(0, stray_sd, (4, boards))
        half_width = Z_975 * math.sqrt(board_spread(_trials(table)).of_mean(boards)[0, 0])
        held.append(abs(table[0].mean()) <= half_width)
    assert 0.929 <= np.mean(held) <= 0.985


# ---- the interval of a colour difference


def test_far_from_the_target_the_interval_is_that_of_its_lightness() -> None:
    """On neutral colours dE00 = |dL| / S_L (Sharma 2005), so u95 = 1.96 sigma / S_L; S_L = 1 at mean lightness 50."""
    u95 = delta_E_00_u95((46.0, 0, 0), (8.0, 0, 0), np.diag([0.04, 0, 0]))
    assert u95 == pytest.approx(Z_975 * 0.2, rel=0.02)


def test_on_the_target_the_interval_is_that_of_a_distance() -> None:
    """At zero difference |N(0, sigma)| holds 95 % within 1.96 sigma; S_L = 1 at lightness 50."""
    assert delta_E_00_u95((50.0, 0, 0), (0, 0, 0), np.diag([0.01, 0, 0])) == pytest.approx(Z_975 * 0.1, rel=0.02)


def test_equal_colours_that_are_measured_with_noise_seem_to_differ_by_the_noise_floor() -> None:
    """A distance of three equally doubtful parts has a chi distribution with 3 degrees of freedom.

    Its mean is sqrt(8 / pi), its median 1.5382 and its 95th percentile 2.7955 standard deviations. Near gray of L* 50
    CIEDE2000 is such a distance, but for a*, which it stretches 1.5 times (ISO/CIE 11664-6).
    """
    sigma = 0.02
    u95 = delta_E_00_u95((50.0, 0, 0), (0, 0, 0), np.diag(sigma**2 / np.array([1, 1.5**2, 1])))
    assert u95 == pytest.approx(2.7955 * sigma, rel=0.02)
    noise = delta_E_ab(WOOD, WOOD + np.random.default_rng(1).normal(0, sigma, (100_000, 3))) / sigma
    assert noise.mean() == pytest.approx(math.sqrt(8 / math.pi), rel=0.01)
    assert np.quantile(noise, [0.5, 0.95]) == pytest.approx([1.5382, 2.7955], rel=0.01)


@pytest.mark.parametrize("case", range(6))
def test_the_interval_holds_95_percent_of_random_draws(case: int) -> None:
    rng = np.random.default_rng(case)
    delta, root = rng.normal(0, 1.5, 3) * (case > 1), rng.normal(0, 0.4, (3, 3))
    u95 = delta_E_00_u95(WOOD, delta, root @ root.T)
    draws = delta_E_00(WOOD, WOOD + delta + rng.standard_normal((40_000, 3)) @ root.T)
    assert np.mean(np.abs(draws - delta_E_00(WOOD, WOOD + delta)) <= u95) == pytest.approx(0.95, abs=0.006)


def test_asking_twice_gives_the_same_interval() -> None:
    asked = [delta_E_00_u95(WOOD, (1.0, 0.2, 0.1), np.eye(3) * 0.04) for _ in range(2)]
    assert asked[0] == asked[1]


@pytest.mark.parametrize("broken", [np.diag([1, 1, -0.1]), np.full((3, 3), np.nan), np.triu(np.ones((3, 3)))])
def test_what_is_no_covariance_is_refused(broken: Floats) -> None:
    with pytest.raises(ValueError, match="covariance"):
        delta_E_00_u95(WOOD, (1.0, 0, 0), broken)
