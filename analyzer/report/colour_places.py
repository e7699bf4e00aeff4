"""Where do the colours of treatments, and of their zones on single boards, lie as seen from the target?

Read from the results, nothing is measured anew: against a target zone the differences that stand in them (both zones
in one photo where there is one), against a value or range boards the zones' own colours. Boards are the repeats, so
zones are averaged within a board first, as the verdicts do.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.job import Job
from analyzer.report.swatches import target_Labs, zone_result
from analyzer.results import Results, VerdictResult

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Offset:
    """A colour minus the middle of the target, CIELAB units."""

    dL: float  # + lighter
    da: float  # + redder
    db: float  # + yellower
    dC: float  # + more vivid

    @property
    def delta_Lab(self) -> Floats:
        """The same as CIELAB, (3,)."""
        return np.array([self.dL, self.da, self.db])


@dataclass(frozen=True, slots=True)
class Placed:
    """One treatment and its zones."""

    verdict: VerdictResult
    mean: Offset
    zones: tuple[tuple[str, Offset], ...]  # by their id


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """What the colours are held against."""

    Lab: Floats  # (3,), the middle: the colour agreed on, or halfway between the outer range boards
    line: tuple[Floats, ...]  # range boards from light to dark; otherwise the one colour


def target_of(job: Job, results: Results, stage: str, light: str | None) -> Target | None:
    """Find the target as seen at a stage in a light, None when it was not measured."""
    line = tuple(np.array(Lab) for Lab in target_Labs(job, results, stage, light))
    return Target((line[0] + line[-1]) / 2, line) if line else None


def places(job: Job, results: Results, target: Target, verdicts: Sequence[VerdictResult]) -> tuple[Placed, ...]:
    """Treatments that have a colour verdict with a number, in their order."""
    found = []
    for verdict in verdicts:
        offsets = {path: _offset(path, verdict, job, results, target) for path in verdict.zones}
        seen = {path: offset for path, offset in offsets.items() if offset is not None}
        if seen and verdict.de00 is not None:
            found.append(Placed(verdict, _mean_over_boards(seen), tuple(seen.items())))
    return tuple(found)


def offset_from(middle: ArrayLike, Lab: ArrayLike) -> Offset:
    """Place a colour as seen from another one, both CIELAB (3,)."""
    (L_1, a_1, b_1), (L_2, a_2, b_2) = np.asarray(middle, np.float64), np.asarray(Lab, np.float64)
    dC = np.hypot(a_2, b_2) - np.hypot(a_1, b_1)
    return Offset(float(L_2 - L_1), float(a_2 - a_1), float(b_2 - b_1), float(dC))


def _offset(path: str, verdict: VerdictResult, job: Job, results: Results, target: Target) -> Offset | None:
    taken = (verdict.stage, verdict.light)
    if job.target.zone is None:
        zone = zone_result(results, path, *taken)
        seen = zone is not None and (zone.stage, zone.light) == taken
        return offset_from(target.Lab, zone.lab) if zone is not None and seen else None
    wanted = (job.target.zone, path, *taken)
    for item in results.differences:
        if (item.a, item.b, item.stage, item.light) == wanted:
            return Offset(item.dl, item.da, item.db, item.dc)
    return None


def _mean_over_boards(zones: dict[str, Offset]) -> Offset:
    boards: dict[str, list[Offset]] = {}
    for path, offset in zones.items():
        boards.setdefault(path.partition("/")[0], []).append(offset)
    means = [np.mean([(z.dL, z.da, z.db, z.dC) for z in found], axis=0) for found in boards.values()]
    return Offset(*np.mean(means, axis=0).tolist())
