"""The control chart and the trend of a run: constants by closed forms, alarms by drawing runs, slopes by SciPy."""

import math

import numpy as np
import pytest
from scipy import stats

from analyzer.approval.run_chart import (
    AXES,
    INDIVIDUALS,
    MIN_POINTS,
    MIN_TREND,
    POINT_ALARM,
    RANGES,
    control_series,
    false_alarm_of_run,
)


def steady(n: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((n, 3))


def test_the_constants_are_those_of_ranges_of_two() -> None:
    """Mean and standard deviation of |X1 - X2| of normal values: 2/sqrt(pi) and sqrt(2 - 4/pi), closed forms."""
    d2, d3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
    assert pytest.approx(3 / d2, abs=0.0005 + 0.005) == INDIVIDUALS
    assert pytest.approx(1 + 3 * d3 / d2, abs=0.0005) == RANGES
    assert pytest.approx(2 * stats.norm.sf(3), abs=0.00005) == POINT_ALARM


def test_limits_are_the_mean_and_2_66_mean_moving_ranges() -> None:
    """Worked by hand: 1 3 2 4 3 5, ranges 2 1 2 1 2 with mean 1.6, mean 3."""
    (lightness, _, _) = control_series(np.column_stack([[1.0, 3, 2, 4, 3, 5], np.zeros(6), np.zeros(6)]))
    assert lightness.mean == pytest.approx(3)
    assert lightness.mean_range == pytest.approx(1.6)
    assert (lightness.low, lightness.high) == (pytest.approx(3 - 2.66 * 1.6), pytest.approx(3 + 2.66 * 1.6))
    assert lightness.range_high == pytest.approx(3.267 * 1.6)
    assert lightness.beyond == ()


def test_a_point_far_off_is_the_signal_and_only_that_one() -> None:
    points = np.tile([[0.0], [0.3], [-0.2], [0.1]], (5, 3))
    points[12, 0] += 4
    (lightness, vividness, _) = control_series(points)
    assert lightness.beyond == (12,)
    assert lightness.jumps == (12, 13)
    assert vividness.beyond == ()


def test_in_a_long_steady_series_0_27_percent_of_points_lie_beyond() -> None:
    """With limits as good as known; the closed form of the rule's false alarms."""
    beyond = sum(len(one.beyond) for one in control_series(steady(20_000, 5)))
    assert beyond / 60_000 == pytest.approx(0.0027, abs=3.5 * math.sqrt(0.0027 / 60_000))


@pytest.mark.parametrize("points", [MIN_POINTS, 12, 25])
def test_how_often_a_steady_run_signals_is_told_rightly(points: int) -> None:
    """Against other draws, through the chart itself."""
    runs = 1500
    signals = sum(any(one.beyond for one in control_series(steady(points, 100 + k))) for k in range(runs))
    told = false_alarm_of_run(points)
    assert told is not None
    assert signals / runs == pytest.approx(told, abs=4 * math.sqrt(told * (1 - told) / runs))


def test_too_few_points_have_neither_limits_nor_trend() -> None:
    for one in control_series(steady(MIN_TREND - 1, 1)):
        assert (one.low, one.high, one.trend, one.beyond) == (None, None, None, ())
    assert false_alarm_of_run(MIN_POINTS - 1) is None
    assert control_series([[1.0, 2.0, 3.0]])[0].mean_range is None
    assert [one.axis for one in control_series(steady(MIN_TREND, 1))] == list(AXES)


def test_slope_and_its_doubt_are_those_of_another_library() -> None:
    """scipy.stats.linregress, on 12 points with a drift."""
    points = steady(12, 8) + np.arange(12)[:, np.newaxis] * [0.3, 0.0, -0.1]
    for k, one in enumerate(control_series(points)):
        theirs = stats.linregress(np.arange(12), points[:, k])
        assert one.trend is not None
        assert one.trend.per_point == pytest.approx(theirs.slope)
        assert one.trend.drift == pytest.approx(11 * theirs.slope)
        assert one.trend.drift_u95 == pytest.approx(11 * stats.t.ppf(0.975, 10) * theirs.stderr)
        assert one.trend.p == pytest.approx(theirs.pvalue)


def test_a_steady_series_is_called_drifting_in_5_of_100_runs_at_most() -> None:
    """In any of three directions together."""
    runs = 1500
    told = sum(
        any(one.trend and one.trend.is_told for one in control_series(steady(10, 5000 + k))) for k in range(runs)
    )
    assert told / runs < 0.05 + 3 * math.sqrt(0.05 * 0.95 / runs)
    assert told / runs > 0.03  # the test has teeth


def test_a_slow_drift_that_widens_no_range_is_told_by_its_slope() -> None:
    points = 0.2 * steady(12, 21)
    points[:, 0] -= np.linspace(0, 1.5, 12)
    lightness = control_series(points)[0]
    assert lightness.trend is not None
    assert lightness.trend.is_told
    assert lightness.trend.drift == pytest.approx(-1.5, abs=lightness.trend.drift_u95)


def test_a_series_that_does_not_move_at_all_has_no_trend_and_no_signal() -> None:
    for one in control_series(np.ones((10, 3))):
        assert one.beyond == ()
        assert one.trend is not None
        assert not one.trend.is_told
