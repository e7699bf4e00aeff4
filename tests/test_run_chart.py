"""A run of parts on the chart of individuals, against the textbook's arithmetic and drawn runs."""

import numpy as np
import pytest
from scipy import stats

from analyzer.approval.run_chart import POINT_ALARM, control_series, false_alarm_of_run


def lightness(values: list[float]) -> np.ndarray:
    """A series that moves in lightness alone."""
    return np.column_stack([values, np.zeros(len(values)), np.zeros(len(values))])


def test_the_limits_are_those_of_the_moving_range() -> None:
    """By hand, with the textbook factors 2.66 and 3.267 (Montgomery, Statistical Quality Control, ch. 6.4)."""
    chart = control_series(lightness([1.0, 2.0, 1.0, 0.0, 2.0, 0.0]))[0]
    ranges = [1.0, 1.0, 1.0, 2.0, 2.0]
    mean_range = float(np.mean(ranges))
    assert chart.mean == pytest.approx(1.0)
    assert chart.mean_range == pytest.approx(mean_range)
    assert chart.low == pytest.approx(1 - 2.66 * mean_range)
    assert chart.high == pytest.approx(1 + 2.66 * mean_range)
    assert chart.range_high == pytest.approx(3.267 * mean_range)
    assert chart.beyond == ()


def test_a_part_that_left_is_named() -> None:
    values = [0.1, -0.1, 0.0, 0.1, -0.1, 0.1, 0.0, 6.0, 0.1, 0.0, -0.1, 0.1]
    assert control_series(lightness(values))[0].beyond == (7,)


def test_a_slow_drift_is_told_by_its_slope_as_a_line_through_it_is() -> None:
    """Scipy's own regression: the same slope and p-value."""
    rng = np.random.default_rng(3)
    values = 0.15 * np.arange(15) + rng.normal(0, 0.2, 15)
    trend = control_series(lightness(list(values)))[0].trend
    line = stats.linregress(np.arange(15), values)
    assert trend is not None
    assert trend.is_told
    assert trend.per_point == pytest.approx(line.slope)
    assert trend.p == pytest.approx(line.pvalue, rel=1e-4, abs=1e-12)


def test_the_false_alarm_of_a_point_is_that_of_three_standard_deviations() -> None:
    assert pytest.approx(2 * stats.norm.sf(3), abs=5e-5) == POINT_ALARM


def test_a_steady_run_signals_as_often_as_is_stated() -> None:
    """Runs drawn anew, 800 of 12 parts in three directions; four standard errors."""
    rng = np.random.default_rng(8)
    stated = false_alarm_of_run(12)
    seen = np.mean([any(series.beyond for series in control_series(rng.normal(0, 1, (12, 3)))) for _ in range(800)])
    assert stated is not None
    assert seen == pytest.approx(stated, abs=4 * np.sqrt(stated / 800))
