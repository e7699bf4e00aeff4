"""How does the colour of a zone move from one stage to the next?

Colours of different stages are never judged against each other: a seal or a topcoat changes them. But how it changes
them, as a vector in CIELAB with its spread over zones and boards, is worth keeping, since it foretells what the next
stained board will look like under the same coats.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.compare import difference
from analyzer.guard_band import Z_975
from analyzer.pooling import MeasuredZone
from analyzer.replicates import board_spread
from analyzer.results import STAGES, StageShiftResult
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]
Key = tuple[int, int, str, str, str, str, str]

_DRY: Final = ("stained", "sealed", "topcoated")  # bare and treated wood has no colour yet, wet wood has not its own


@dataclass(frozen=True, slots=True, eq=False)
class _Shift:
    """One zone, before and after."""

    before: MeasuredZone
    after: MeasuredZone
    delta_Lab: Floats
    covariance: Floats | None


def stage_shifts(zones: Sequence[MeasuredZone]) -> tuple[StageShiftResult, ...]:
    """Shift of the same zones from each dry stage to the next that was photographed in the same light.

    Parameters
    ----------
    zones : sequence of MeasuredZone
        In any order.

    Returns
    -------
    shifts : tuple of StageShiftResult
        One for each pair of stages, light, species, stain, topcoat and sheen. The mean is over boards, each the mean
        of its zones; its half-width joins what two photos leave open with the spread between boards (between zones,
        where there is only one board). How far a single zone strays stands beside it.
    """
    by_zone: dict[tuple[str, str | None], list[MeasuredZone]] = {}
    for zone in sorted(zones, key=lambda zone: (zone.id, STAGES.index(zone.stage))):
        if zone.stage in _DRY:
            by_zone.setdefault((zone.id, zone.light), []).append(zone)
    grouped: dict[Key, list[_Shift]] = {}
    for seen in by_zone.values():
        for before, after in pairwise(seen):
            found = difference(before, after)
            grouped.setdefault(_key(before, after), []).append(_Shift(before, after, found.delta_Lab, found.covariance))
    return tuple(_pooled(grouped[key]) for key in sorted(grouped))


def _key(before: MeasuredZone, after: MeasuredZone) -> Key:
    zone = after.zone
    stages = STAGES.index(before.stage), STAGES.index(after.stage)
    return (*stages, after.light or "", after.board.species, zone.stain or "", _topcoat(after) or "", zone.sheen or "")


def _topcoat(zone: MeasuredZone) -> str | None:
    topcoat = zone.zone.recipe.get("topcoat")
    return None if topcoat is None else str(topcoat)


def _pooled(shifts: Sequence[_Shift]) -> StageShiftResult:
    boards: dict[str, list[_Shift]] = {}
    for shift in shifts:
        boards.setdefault(shift.after.board.id, []).append(shift)
    means = {board: np.asarray(np.mean([one.delta_Lab for one in of], axis=0)) for board, of in boards.items()}
    mean = np.mean(list(means.values()), axis=0)
    Lab_before = np.mean([shift.before.Lab for shift in shifts], axis=0)
    each = np.stack([shift.delta_Lab for shift in shifts])
    one = shifts[0].after
    return StageShiftResult(
        stage_from=shifts[0].before.stage,
        stage_to=one.stage,
        light=one.light,
        species=one.board.species,
        stain=one.zone.stain,
        topcoat=_topcoat(one),
        sheen=one.zone.sheen,
        zones=tuple(shift.after.id for shift in shifts),
        boards=len(boards),
        dl=float(mean[0]),
        da=float(mean[1]),
        db=float(mean[2]),
        dlab_u95=_u95(shifts, means),
        zone_sd=_triple(each.std(axis=0, ddof=1)) if len(shifts) > 1 else None,
        de00=float(delta_E_00(Lab_before, Lab_before + mean)),
    )


def _u95(shifts: Sequence[_Shift], boards: dict[str, Floats]) -> tuple[float, float, float] | None:
    """Half-widths of the mean; None when those of the photos are unknown, or a single zone shows no spread."""
    covariances = [shift.covariance for shift in shifts if shift.covariance is not None]
    if len(covariances) < len(shifts):
        return None
    measured = np.mean(covariances, axis=0)  # two photos err alike for all zones: not divided by their number
    replicates = boards if len(boards) > 1 else {shift.after.id: shift.delta_Lab for shift in shifts}
    spread = board_spread([replicates])
    if spread is None:
        return None
    return _triple(Z_975 * np.sqrt(np.diag(measured + spread.of_mean(len(replicates)))))


def _triple(values: Floats) -> tuple[float, float, float]:
    L, a, b = (float(value) for value in values)
    return L, a, b
