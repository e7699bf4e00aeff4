"""How far apart are two zones in colour, and how sure is that?"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.pooling import MeasuredZone
from analyzer.sources import sources_u95
from analyzer.uncertainty import absolute_budget, covariance_of, in_common, pair_budget, wood_of_pair, wood_of_zone
from calibration.colorspace import XYZ_to_Lab
from calibration.difference import delta_E_00


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """Colour b minus colour a, CIELAB D50/2 degree."""

    delta_Lab: NDArray[np.float64]  # (3,), b minus a
    covariance: NDArray[np.float64] | None  # (3, 3) of delta_Lab as measured, one sigma squared; None: unknown
    Lab_a: NDArray[np.float64]  # (3,)
    Lab_b: NDArray[np.float64]  # (3,)
    de00: float
    de00_u95: float | None
    # (3, 3), what is to be added when the zones stand for their treatments: they are samples of so much wood
    wood: NDArray[np.float64] | None = None
    budget: Mapping[str, NDArray[np.float64]] | None = None  # the parts of `covariance`, by their source

    @property
    def sources(self) -> dict[str, float]:
        """Parts of `de00_u95` by source, CIEDE2000."""
        if self.budget is None or self.de00_u95 is None:
            return {}
        return sources_u95(self.Lab_a, self.delta_Lab, self.de00_u95, self.budget)


def difference(a: MeasuredZone, b: MeasuredZone) -> Difference:
    """Zone b minus zone a.

    Photos that show both zones decide when there are any: within one photo card, light and camera err alike.
    """
    sights_a, sights_b = in_common(a.sights, b.sights)
    Lab_a = XYZ_to_Lab(np.mean([sight.reading.XYZ for sight in sights_a], axis=0))
    Lab_b = XYZ_to_Lab(np.mean([sight.reading.XYZ for sight in sights_b], axis=0))
    budget = pair_budget(sights_a, sights_b)
    found = _difference(Lab_a, Lab_b, covariance_of(budget), both_measured=True)
    return replace(found, wood=wood_of_pair(sights_a, sights_b), budget=budget)


def difference_to_value(Lab: ArrayLike, zone: MeasuredZone) -> Difference:
    """A zone minus a colour given as CIELAB (D50, 2 degree), which counts as exact."""
    budget = absolute_budget(zone.sights)
    found = _difference(np.asarray(Lab, dtype=np.float64), zone.Lab, covariance_of(budget))
    return replace(found, wood=wood_of_zone(zone.sights), budget=budget)


def difference_to_range(limits: tuple[MeasuredZone, ...], zone: MeasuredZone) -> Difference:
    """A zone minus the nearest colour on the line through range boards, light to dark.

    The line is straight in CIELAB from each range board to the next. The uncertainty is that of the difference
    to the nearer of the two boards between which the nearest colour lies.
    """
    nearest, board = _nearest_on_line([limit.Lab for limit in limits], zone.Lab)
    to_board = difference(limits[board], zone)
    found = _difference(nearest, zone.Lab, to_board.covariance)
    return replace(found, wood=to_board.wood, budget=to_board.budget)


def _difference(
    Lab_a: NDArray[np.float64],
    Lab_b: NDArray[np.float64],
    covariance: NDArray[np.float64] | None,
    *,
    both_measured: bool = False,
) -> Difference:
    delta = Lab_b - Lab_a
    u95 = None if covariance is None else delta_E_00_u95(Lab_a, delta, covariance, both_measured=both_measured)
    return Difference(delta, covariance, Lab_a, Lab_b, float(delta_E_00(Lab_a, Lab_b)), u95)


def _nearest_on_line(points: list[NDArray[np.float64]], Lab: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """The point of a polyline nearest to a colour, and the index of its nearer end.

    Nearest in CIELAB on each segment, by CIEDE2000 among the segments.
    """
    best, best_distance, nearer = points[0], np.inf, 0
    for index, (start, end) in enumerate(pairwise(points)):
        along = end - start
        t = float(np.clip((Lab - start) @ along / max(float(along @ along), 1e-12), 0, 1))
        point = start + t * along
        distance = float(delta_E_00(point, Lab))
        if distance < best_distance:
            best, best_distance, nearer = point, distance, index + (t > 0.5)
    return best, nearer
