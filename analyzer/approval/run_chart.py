"""Does a series of parts hold steady, and if not, where did it leave?

Shewhart's chart of individuals and moving range (ISO 7870-2; Montgomery, Introduction to Statistical Quality Control,
ch. 6.4): the limits are the mean plus and minus 2.66 mean moving ranges, which is three standard deviations since a
range of two is 1.128 of them on average; the moving range's own upper limit is 3.267 mean moving ranges. The rule is
the first one alone: a single point beyond the limits of individuals. In a steady run of normal values with known
limits 0.27 % of points do so by chance. Limits that are estimated from a short run signal more often: how often a
steady run of this length shows any signal, is worked out by drawing such runs (`false_alarm_of_run`).

A slow drift hides from that rule, since it widens no moving range; for it there is the slope of a straight line through
the series, with Student's t (two-sided, 5 % over all three directions together by Holm's method).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.replicates import student_t_975
from analyzer.students_t import holm, two_sided_p

RULE: Final = "one point beyond the limits of the chart of individuals (mean ± 2.66 mean moving ranges)"
INDIVIDUALS: Final = 2.66  # 3 / 1.128
RANGES: Final = 3.267  # 1 + 3 x 0.8525 / 1.128
POINT_ALARM: Final = 0.0027  # 2 (1 - Phi(3))
MIN_POINTS: Final = 6  # with fewer, five ranges at most, limits say nothing (chosen)
PROVISIONAL_BELOW: Final = 20  # points; common recommendation is 20 to 25 (textbooks)
MIN_TREND: Final = 5  # points, for a slope with three degrees of freedom (chosen)
TREND_P: Final = 0.05
RUNS: Final = 4000  # drawn, of steady series: half a per cent of uncertainty

Axis = Literal["lightness", "vividness", "hue"]
AXES: Final[tuple[Axis, ...]] = ("lightness", "vividness", "hue")


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through a series."""

    per_point: float
    drift: float  # from the first point to the last
    drift_u95: float
    p: float  # two-sided
    p_holm: float  # for the three directions together

    @property
    def is_told(self) -> bool:
        """Whether it is more than chance."""
        return self.p_holm < TREND_P


@dataclass(frozen=True, slots=True)
class ControlSeries:
    """One direction of colour over the run, part minus approved, CIELAB units; points in the order taken."""

    axis: Axis
    points: tuple[float, ...]
    mean: float
    mean_range: float | None  # of neighbours; None: one point
    low: float | None  # limits of individuals; None: too few points
    high: float | None
    range_high: float | None
    beyond: tuple[int, ...]  # points beyond the limits, from 0
    jumps: tuple[int, ...]  # points whose moving range is beyond its limit: 0.9 % of steady ones by chance
    trend: Trend | None  # None: too few points


def control_series(points: ArrayLike) -> tuple[ControlSeries, ...]:
    """Chart and trend of the three directions.

    Parameters
    ----------
    points : array_like, (n, 3)
        Difference in lightness, chroma and hue (dL*, dC*, dH*), in the order taken. Each is one photo: parts that
        share a photo share its light and card, and their spread says nothing of that from photo to photo.

    Returns
    -------
    tuple of ControlSeries
        In the order of `AXES`.
    """
    values = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    trends = _trends(values)
    return tuple(_series(axis, values[:, k], trends[k]) for k, axis in enumerate(AXES))


@lru_cache(maxsize=32)
def false_alarm_of_run(points: int, axes: int = len(AXES)) -> float | None:
    """How often a steady run of so many points shows a signal in any of so many directions; None: no limits."""
    if points < MIN_POINTS:
        return None
    rng = np.random.default_rng(7870)
    signals = np.zeros(RUNS, bool)
    for _ in range(axes):
        runs = rng.standard_normal((RUNS, points))
        reach = INDIVIDUALS * np.abs(np.diff(runs, axis=1)).mean(axis=1, keepdims=True)
        signals |= (np.abs(runs - runs.mean(axis=1, keepdims=True)) > reach).any(axis=1)
    return float(signals.mean())


def _series(axis: Axis, values: NDArray[np.float64], trend: Trend | None) -> ControlSeries:
    mean = float(values.mean())
    if len(values) < MIN_POINTS:
        mean_range = float(np.abs(np.diff(values)).mean()) if len(values) > 1 else None
        return ControlSeries(axis, _told(values), mean, mean_range, None, None, None, (), (), trend)
    ranges = np.abs(np.diff(values))
    mean_range = float(ranges.mean())
    low, high = mean - INDIVIDUALS * mean_range, mean + INDIVIDUALS * mean_range
    beyond = np.flatnonzero((values < low) | (values > high))
    jumps = np.flatnonzero(ranges > RANGES * mean_range) + 1
    return ControlSeries(
        axis, _told(values), mean, mean_range, low, high, RANGES * mean_range, _places(beyond), _places(jumps), trend
    )


def _trends(values: NDArray[np.float64]) -> Sequence[Trend | None]:
    lines = [_line(values[:, k]) for k in range(values.shape[1])]
    known = [line for line in lines if line is not None]
    adjusted = iter(holm([line.p for line in known]))
    return [
        None if line is None else Trend(line.per_point, line.drift, line.drift_u95, line.p, next(adjusted))
        for line in lines
    ]


def _line(values: NDArray[np.float64]) -> Trend | None:
    """Least squares; a series without any scatter has no trend that could be told from one."""
    count = len(values)
    if count < MIN_TREND:
        return None
    x = np.arange(count) - (count - 1) / 2
    slope = float(x @ values / (x @ x))
    residuals = values - values.mean() - slope * x
    se = float(np.sqrt(residuals @ residuals / (count - 2) / (x @ x)))
    reach = count - 1
    p = two_sided_p(slope / se, count - 2) if se > 0 else 1.0
    return Trend(slope, slope * reach, student_t_975(count - 2) * se * reach, p, p)


def _told(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _places(indices: NDArray[np.intp]) -> tuple[int, ...]:
    return tuple(int(index) for index in indices)
