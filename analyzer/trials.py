"""What do all zones of one treatment say together, and how sure is that?

Zones are first averaged within their board, then over boards, since boards are the replicates (replicates.py).
A trial here is all zones of one treatment, dose and stain, on one species, at one stage, in one light.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.compare import Difference
from analyzer.guard_band import Z_975
from analyzer.replicates import BoardSpread, SpreadPrior, board_spread
from analyzer.results import Stage
from analyzer.sources import sources_u95

Floats = NDArray[np.float64]

# How far one board strays from its treatment's mean, L*, a*, b*, as believed beforehand. Two places of untreated wood
# differ by about 2 CIELAB units (Buchelt & Wagenfuehr, European Journal of Wood and Wood Products 70, 2012), means of
# whole zones by less: these make two boards differ by 1. Of blotch (L*) nothing is published. Figures and weight are
# chosen, so that boards which agree are believed and those that do not are heard; where boards truly stray two and four
# times as much, false accepts stay below 2.5 % (tests/studies/false_accepts.py, --straying 1 and 2).
COLOUR_PRIOR: Final = SpreadPrior(np.diag(np.square((0.5, 0.25, 0.38))), 6.0)
BLOTCH_PRIOR: Final = SpreadPrior(np.diag(np.square((0.08,))), 6.0)


@dataclass(frozen=True, slots=True)
class JudgedZone:
    """One zone at one stage in one light, pooled over its photos and compared with the target."""

    id: str  # "A/washcoat"
    board: str
    treatment: str
    stain: str | None
    species: str
    stage: Stage
    light: str | None
    sheen: str | None
    to_target: Difference | None  # zone minus target; None when not measured or not comparable
    why_not: str | None  # why `to_target` is None, in plain words
    blotch: float | None  # L*
    blotch_u95: float | None
    blotch_limit: float | None  # L*; from the job, or measured on the zone that sets it
    blotch_limit_u95: float | None  # 0 for a limit from the job
    figure_kept: float | None = None  # of the figure of the bare wood; None: not known
    dose: str | None = None  # "5 % solids", where its treatment was tried in several doses


@dataclass(frozen=True, slots=True, eq=False)
class PooledColour:
    """Mean difference of a trial to its target."""

    Lab_target: Floats  # (3,)
    delta_Lab: Floats  # (3,), trial minus target
    measured: Floats | None  # (3, 3), covariance of the measurement; None: unknown
    # (3, 3), covariance of the mean as that of a sample of wood: from the spread between boards, widened for few of
    # them, or from the spread within the zones, whichever is larger
    between: Floats
    boards: int
    budget: Mapping[str, Floats]  # the parts of `measured`, by their source

    @property
    def covariance(self) -> Floats | None:
        """Covariance of `delta_Lab`, None when that of the measurement is unknown."""
        return None if self.measured is None else self.measured + self.between

    def sources(self, u95: float) -> dict[str, float]:
        """Parts of the difference's half-width `u95` by source, the wood among them, CIEDE2000."""
        parts = self.budget or ({} if self.measured is None else {"measurement": self.measured})
        return sources_u95(self.Lab_target, self.delta_Lab, u95, {**parts, "wood": self.between})


@dataclass(frozen=True, slots=True)
class PooledBlotch:
    """Mean blotch index of a trial and what it is held against, L*."""

    blotch: float
    measured_u95: float | None
    between_u95: float  # from the spread between boards; 0 when not seen
    limit: float | None
    limit_u95: float | None

    @property
    def u95(self) -> float | None:
        """95 % half-width of `blotch`, None when that of the measurement is unknown."""
        return None if self.measured_u95 is None else math.hypot(self.measured_u95, self.between_u95)

    @property
    def u95_against_limit(self) -> float | None:
        """95 % half-width of `blotch` minus `limit`."""
        return None if self.u95 is None or self.limit_u95 is None else math.hypot(self.u95, self.limit_u95)


def why_not_comparable(trial: Sequence[JudgedZone]) -> str | None:
    """Say why the zones of a trial cannot be held against the target; None when at least one can."""
    sheens = sorted({zone.sheen.strip().lower() for zone in trial if zone.sheen is not None})
    if len(sheens) > 1:
        return f"its zones differ in sheen ({', '.join(sheens)}), and sheen changes the colour"
    if any(zone.to_target is not None for zone in trial):
        return None
    return " and ".join(sorted({zone.why_not for zone in trial if zone.why_not})) or "the target was not measured"


def colour_spread(trials: Sequence[Sequence[JudgedZone]]) -> BoardSpread | None:
    """Pool the spread between boards of the difference to the target, CIELAB, over trials."""
    boards = [_by_board([zone for zone in trial if zone.to_target is not None]) for trial in trials]
    means = [{board: _mean_delta(zones) for board, zones in trial.items()} for trial in boards]
    return board_spread(means, COLOUR_PRIOR)


def blotch_spread(trials: Sequence[Sequence[JudgedZone]]) -> BoardSpread | None:
    """Pool the spread between boards of the blotch index, L*, over trials."""
    boards = [_by_board([zone for zone in trial if zone.blotch is not None]) for trial in trials]
    means = [{board: np.array([_mean_blotch(zones)]) for board, zones in trial.items()} for trial in boards]
    return board_spread(means, BLOTCH_PRIOR)


def pool_colour(trial: Sequence[JudgedZone], spread: BoardSpread | None) -> PooledColour | None:
    """Average a trial's difference to the target over its boards.

    The covariance of the measurement is the mean of the boards', not divided by their number: the errors of card,
    light and camera are largely the same for all boards of a job. What wood adds shrinks with the number of zones and
    boards; the spread between boards holds the sampling within them already, so that only the larger of the two counts.

    Parameters
    ----------
    trial : sequence of JudgedZone
    spread : BoardSpread or None
        From `colour_spread` over all trials of the species; None when no trial has two boards.

    Returns
    -------
    pooled : PooledColour or None
        None when no zone could be compared with the target.
    """
    boards = _by_board([zone for zone in trial if zone.to_target is not None])
    if not boards:
        return None
    covariances = [_mean_covariance(zones) for zones in boards.values()]
    known = [covariance for covariance in covariances if covariance is not None]
    between = np.zeros((3, 3)) if spread is None else spread.of_mean(len(boards))
    within = np.sum([_wood_of_mean(zones) for zones in boards.values()], axis=0) / len(boards) ** 2
    return PooledColour(
        Lab_target=np.mean([_mean_target(zones) for zones in boards.values()], axis=0),
        delta_Lab=np.mean([_mean_delta(zones) for zones in boards.values()], axis=0),
        measured=np.mean(known, axis=0) if len(known) == len(covariances) else None,
        between=within if np.trace(within) > np.trace(between) else between,
        boards=len(boards),
        budget=_mean_budget([zone for zones in boards.values() for zone in zones]),
    )


def pool_blotch(trial: Sequence[JudgedZone], spread: BoardSpread | None) -> PooledBlotch | None:
    """Average a trial's blotch index over its boards.

    Here the measurement's part is mostly the sampling of each zone's own surface, independent from zone to zone, and
    shrinks with their number. A limit measured on a zone of the job is the same for all.

    Parameters
    ----------
    trial : sequence of JudgedZone
    spread : BoardSpread or None
        From `blotch_spread` over all trials of the species; None when no trial has two boards.

    Returns
    -------
    pooled : PooledBlotch or None
        None when no zone's blotch could be measured.
    """
    boards = _by_board([zone for zone in trial if zone.blotch is not None])
    if not boards:
        return None
    n = len(boards)
    board_u95 = [mean_u95([zone.blotch_u95 for zone in zones]) for zones in boards.values()]
    limits = [zone for zone in trial if zone.blotch_limit is not None]
    limit_u95 = [zone.blotch_limit_u95 for zone in limits if zone.blotch_limit_u95 is not None]
    return PooledBlotch(
        blotch=float(np.mean([_mean_blotch(zones) for zones in boards.values()])),
        measured_u95=mean_u95(board_u95),
        between_u95=0.0 if spread is None else Z_975 * math.sqrt(float(spread.of_mean(n)[0, 0])),
        limit=float(np.mean([zone.blotch_limit for zone in limits])) if limits else None,
        limit_u95=max(limit_u95) if limits and len(limit_u95) == len(limits) else None,
    )


def figure_kept_in(trial: Sequence[JudgedZone]) -> float | None:
    """Average over the zones of a trial what they kept of the bare wood's figure; None when none is known."""
    kept = [zone.figure_kept for zone in trial if zone.figure_kept is not None]
    return float(np.mean(kept)) if kept else None


def _by_board(zones: Sequence[JudgedZone]) -> dict[str, list[JudgedZone]]:
    boards: dict[str, list[JudgedZone]] = {}
    for zone in zones:
        boards.setdefault(zone.board, []).append(zone)
    return boards


def _differences(zones: Sequence[JudgedZone]) -> list[Difference]:
    return [zone.to_target for zone in zones if zone.to_target is not None]


def _mean_delta(zones: Sequence[JudgedZone]) -> Floats:
    mean: Floats = np.mean([difference.delta_Lab for difference in _differences(zones)], axis=0)
    return mean


def _mean_target(zones: Sequence[JudgedZone]) -> Floats:
    mean: Floats = np.mean([difference.Lab_a for difference in _differences(zones)], axis=0)
    return mean


def _mean_covariance(zones: Sequence[JudgedZone]) -> Floats | None:
    covariances = [difference.covariance for difference in _differences(zones)]
    known = [covariance for covariance in covariances if covariance is not None]
    mean: Floats | None = np.mean(known, axis=0) if len(known) == len(covariances) else None
    return mean


def _wood_of_mean(zones: Sequence[JudgedZone]) -> Floats:
    """Covariance of a board's mean over its zones, as samples of wood."""
    of_each = [difference.wood for difference in _differences(zones) if difference.wood is not None]
    return np.asarray(np.sum(of_each, axis=0) / len(of_each) ** 2) if of_each else np.zeros((3, 3))


def _mean_budget(zones: Sequence[JudgedZone]) -> dict[str, Floats]:
    """Sources of the measurement's covariance, mean over zones."""
    budgets = [difference.budget for difference in _differences(zones) if difference.budget]
    return {source: np.mean([budget[source] for budget in budgets], axis=0) for source in budgets[0]} if budgets else {}


def _mean_blotch(zones: Sequence[JudgedZone]) -> float:
    return float(np.mean([zone.blotch for zone in zones if zone.blotch is not None]))


def mean_u95(each: Sequence[float | None]) -> float | None:
    """Half-width of a mean of independent values; None when one is unknown."""
    known = [u95 for u95 in each if u95 is not None]
    return math.hypot(*known) / len(known) if known and len(known) == len(each) else None
