"""What does each treatment do, against the control of its own board?

Every zone is paired with the controls of its board: wood, light and camera are the same for both. Boards, not zones,
are the replicates (replicates.py): differences are averaged within a board, then over boards, and the spread between
boards, pooled over the treatments, says by Student's t how far the mean can be trusted. Several treatments are several
chances to see something where there is nothing, so the p-values of one species, stage and light are adjusted by
Holm's method. One board allows no inference about a treatment: it gets numbers for what lies on it, and no p-value.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.compare import difference
from analyzer.directions import directions
from analyzer.dose_names import doses_apart
from analyzer.effect_words import said
from analyzer.guard_band import Z_975
from analyzer.job import Job
from analyzer.pooling import MeasuredZone, mean_of_known
from analyzer.replicates import BoardSpread, board_spread, student_t_975
from analyzer.results import STAGES, EffectResult, Stage
from analyzer.students_t import holm, p_of_mean
from analyzer.targets import sheens_differ
from analyzer.trials import mean_u95
from analyzer.verdicts import JUDGED_STAGES
from analyzer.words import UNTREATED
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

# L*; a control that shows less has no blotch to speak of, and a ratio to it says nothing. Chosen: twice what an even
# surface may show.
LEAST_FOR_RATIO: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """One treated zone, or the mean of those of one board, beside the board's own controls."""

    zones: tuple[str, ...]
    controls: tuple[str, ...]
    board: str
    treatment: str
    stain: str | None
    species: str
    stage: Stage
    light: str | None
    Lab_control: Floats  # (3,)
    delta_Lab: Floats  # (3,), zone minus control
    measured: Floats | None  # (3, 3), covariance by light and camera, alike for all boards; None: unknown
    wood: Floats  # (3, 3), covariance of both as samples of so much wood
    blotch: float | None  # L*
    blotch_u95: float | None
    control_blotch: float | None
    control_blotch_u95: float | None
    dose: str | None = None  # where the treatment was tried in several

    @property
    def change(self) -> float | None:
        """Blotch index minus that of the control, L*."""
        return None if self.blotch is None or self.control_blotch is None else self.blotch - self.control_blotch

    @property
    def u_change(self) -> float | None:
        """Standard uncertainty of `change`: two surfaces, each of them a sample."""
        if self.blotch_u95 is None or self.control_blotch_u95 is None:
            return None
        return math.hypot(self.blotch_u95, self.control_blotch_u95) / Z_975

    @property
    def log_ratio(self) -> float | None:
        """Natural logarithm of blotch index over control; None where the control has hardly any, or the zone none."""
        if not self.blotch or self.control_blotch is None or self.control_blotch < LEAST_FOR_RATIO:
            return None
        return math.log(self.blotch / self.control_blotch)

    @property
    def u_log_ratio(self) -> float | None:
        """Standard uncertainty of `log_ratio`."""
        if not self.blotch or not self.control_blotch or self.blotch_u95 is None or self.control_blotch_u95 is None:
            return None
        return math.hypot(self.blotch_u95 / self.blotch, self.control_blotch_u95 / self.control_blotch) / Z_975


def paired_zones(job: Job, zones: Sequence[MeasuredZone]) -> tuple[Paired, ...]:
    """Pair every treated zone with the controls of its board: same stain, stage and light, no other sheen.

    A zone whose board carries no such control is left out, and so are zones that are the target: a customer's sample
    without pre-treatment is no control.
    """
    of_target = {job.target.zone, *job.target.between}
    stained = [zone for zone in zones if zone.stage in JUDGED_STAGES and zone.id not in of_target]
    untreated = [zone for zone in stained if zone.zone.treatment == UNTREATED]
    doses = doses_apart(job)
    found = []
    for zone in stained:
        controls = [control for control in untreated if _is_control_of(control, zone)]
        if zone.zone.treatment != UNTREATED and controls:
            found.append(replace(_paired(zone, controls), dose=doses.get(zone.id)))
    return tuple(found)


def effects(pairs: Sequence[Paired]) -> tuple[EffectResult, ...]:
    """What each treatment does to colour and blotch, over all boards that carry it beside a control.

    Parameters
    ----------
    pairs : sequence of Paired
        From `paired_zones`, in any order.

    Returns
    -------
    effects : tuple of EffectResult
        By stage, light, species, treatment and stain.
    """
    families: dict[tuple[int, str, str], list[Paired]] = {}
    for pair in sorted(pairs, key=lambda pair: pair.zones):  # sums do not depend on the order given
        families.setdefault((STAGES.index(pair.stage), pair.light or "", pair.species), []).append(pair)
    return tuple(effect for key in sorted(families) for effect in _family(families[key]))


def _is_control_of(control: MeasuredZone, zone: MeasuredZone) -> bool:
    return (
        (control.board.id, control.stage, control.light) == (zone.board.id, zone.stage, zone.light)
        and control.zone.stain == zone.zone.stain
        and not sheens_differ(control.zone.sheen, zone.zone.sheen)
    )


def _paired(zone: MeasuredZone, controls: Sequence[MeasuredZone]) -> Paired:
    """One zone against the mean of its controls.

    Two controls, one at each end, take out what changes evenly along the board; that the mean of two is also surer
    than one of them is left aside.
    """
    found = [difference(control, zone) for control in controls]
    covariances = [one.covariance for one in found if one.covariance is not None]
    wood = [one.wood for one in found if one.wood is not None]
    return Paired(
        zones=(zone.id,),
        controls=tuple(control.id for control in controls),
        board=zone.board.id,
        treatment=zone.zone.treatment,
        stain=zone.zone.stain,
        species=zone.board.species,
        stage=zone.stage,
        light=zone.light,
        Lab_control=np.mean([one.Lab_a for one in found], axis=0),
        delta_Lab=np.mean([one.delta_Lab for one in found], axis=0),
        measured=np.mean(covariances, axis=0) if len(covariances) == len(found) else None,
        wood=np.mean(wood, axis=0) if wood else np.zeros((3, 3)),
        blotch=zone.blotch,
        blotch_u95=zone.blotch_u95,
        control_blotch=mean_of_known([control.blotch for control in controls]),
        control_blotch_u95=mean_u95([control.blotch_u95 for control in controls]),
    )


def _family(pairs: Sequence[Paired]) -> list[EffectResult]:
    """The treatments of one species at one stage in one light, their p-values adjusted for each other."""
    trials: dict[tuple[str, str, str], dict[str, list[Paired]]] = {}
    for pair in pairs:
        boards = trials.setdefault((pair.treatment, pair.stain or "", pair.dose or ""), {})
        boards.setdefault(pair.board, []).append(pair)
    means = [{board: _board_mean(of) for board, of in trials[key].items()} for key in sorted(trials)]
    colours = board_spread([{board: mean.delta_Lab for board, mean in trial.items()} for trial in means])
    changes = _spread([{board: mean.change for board, mean in trial.items()} for trial in means])
    ratios = _spread([{board: mean.log_ratio for board, mean in trial.items()} for trial in means])
    found = [_effect(tuple(trial.values()), colours, changes, ratios) for trial in means]
    colour_p = _holm_of([effect.colour_p for effect in found])
    blotch_p = _holm_of([effect.blotch_p for effect in found])
    told = sum(effect.boards > 1 for effect in found)
    adjusted = [
        replace(effect, colour_p_holm=of_colour, blotch_p_holm=of_blotch)
        for effect, of_colour, of_blotch in zip(found, colour_p, blotch_p, strict=True)
    ]
    return [replace(effect, says=said(effect, told)) for effect in adjusted]


def _holm_of(p_values: Sequence[float | None]) -> list[float | None]:
    """Adjust those that are known."""
    adjusted = iter(holm([p for p in p_values if p is not None]))
    return [None if p is None else next(adjusted) for p in p_values]


def _board_mean(pairs: Sequence[Paired]) -> Paired:
    """All zones of one treatment on one board as one."""
    one = pairs[0]
    covariances = [pair.measured for pair in pairs if pair.measured is not None]
    return replace(
        one,
        zones=tuple(zone for pair in pairs for zone in pair.zones),
        Lab_control=np.mean([pair.Lab_control for pair in pairs], axis=0),
        delta_Lab=np.mean([pair.delta_Lab for pair in pairs], axis=0),
        measured=np.mean(covariances, axis=0) if len(covariances) == len(pairs) else None,
        wood=np.mean([pair.wood for pair in pairs], axis=0),  # the control they share does not shrink with their number
        blotch=mean_of_known([pair.blotch for pair in pairs]),
        blotch_u95=mean_u95([pair.blotch_u95 for pair in pairs]),
    )


def _effect(
    boards: Sequence[Paired], colours: BoardSpread | None, changes: BoardSpread | None, ratios: BoardSpread | None
) -> EffectResult:
    """One treatment over its boards; `says` and the adjusted p-values are known when all of them are."""
    one, n = boards[0], len(boards)
    colour = _Colour.of(boards, colours)
    with_blotch = [board for board in boards if board.change is not None]
    change = _over_boards([b.change for b in with_blotch], [b.u_change for b in with_blotch], changes)
    ratio = _over_boards([b.log_ratio for b in with_blotch], [b.u_log_ratio for b in with_blotch], ratios)
    return EffectResult(
        treatment=one.treatment,
        stain=one.stain,
        species=one.species,
        stage=one.stage,
        light=one.light,
        zones=tuple(zone for board in boards for zone in board.zones),
        controls=tuple(dict.fromkeys(control for board in boards for control in board.controls)),
        boards=n,
        de00=colour.de00,
        de00_u95=colour.de00_u95,
        dl=float(colour.delta_Lab[0]),
        da=float(colour.delta_Lab[1]),
        db=float(colour.delta_Lab[2]),
        dlab_u95=colour.u95,
        directions=tuple(found.word for found in directions(colour.Lab_control, colour.delta_Lab, colour.covariance)),
        colour_p=colour.p if n > 1 else None,
        colour_p_holm=None,
        blotch=mean_of_known([board.blotch for board in with_blotch]),
        blotch_control=mean_of_known([board.control_blotch for board in with_blotch]),
        blotch_change=change.value,
        blotch_change_u95=change.u95,
        blotch_ratio=None if ratio.value is None else math.exp(ratio.value),
        blotch_ratio_range=ratio.ratio_range,
        blotch_p=change.p,
        blotch_p_holm=None,
        says="",
        dose=one.dose,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Colour:
    """Mean shift of a treatment's colour against the control."""

    Lab_control: Floats
    delta_Lab: Floats
    covariance: Floats | None  # 1.96 times the root of a diagonal element is its half-width
    p: float | None  # that L*, a* and b* all lie so far out by chance: three times the least of theirs (Bonferroni)

    @classmethod
    def of(cls, boards: Sequence[Paired], spread: BoardSpread | None) -> "_Colour":
        n = len(boards)
        control = np.mean([board.Lab_control for board in boards], axis=0)
        delta = np.mean([board.delta_Lab for board in boards], axis=0)
        covariances = [board.measured for board in boards if board.measured is not None]
        if len(covariances) < n:
            return cls(control, delta, None, None)
        measured = np.mean(covariances, axis=0)
        # The spread between boards holds the sampling within them: only the larger of the two counts.
        within = np.sum([board.wood for board in boards], axis=0) / n**2
        between = np.zeros((3, 3)) if spread is None else spread.of_mean(n)
        larger = within if np.trace(within) > np.trace(between) else between
        p = [p_of_mean(delta[k], measured[k, k] + within[k, k], 0.0, 1.0) for k in range(3)]
        if spread is not None:
            learnt, nu = spread.covariance / n, spread.degrees_of_freedom
            of_boards = [p_of_mean(delta[k], measured[k, k], learnt[k, k], nu) for k in range(3)]
            p = [max(pair) for pair in zip(p, of_boards, strict=True)]
        return cls(control, delta, measured + larger, min(1.0, 3 * min(p)))

    @property
    def de00(self) -> float:
        return float(delta_E_00(self.Lab_control, self.Lab_control + self.delta_Lab))

    @property
    def de00_u95(self) -> float | None:
        if self.covariance is None:
            return None
        return delta_E_00_u95(self.Lab_control, self.delta_Lab, self.covariance, both_measured=True) or None

    @property
    def u95(self) -> tuple[float, float, float] | None:
        if self.covariance is None:
            return None
        L, a, b = (Z_975 * math.sqrt(max(float(variance), 0.0)) for variance in np.diag(self.covariance))
        return (L, a, b) if min(L, a, b) > 0 else None


@dataclass(frozen=True, slots=True)
class _Mean:
    """A mean over boards, its 95 % half-width, and how probable it is by chance."""

    value: float | None
    u95: float | None
    p: float | None

    @property
    def ratio_range(self) -> tuple[float, float] | None:
        """95 % interval of a ratio whose logarithm this is."""
        if self.value is None or self.u95 is None:
            return None
        return math.exp(self.value - self.u95), math.exp(self.value + self.u95)


def _over_boards(
    values: Sequence[float | None], sampling_u: Sequence[float | None], spread: BoardSpread | None
) -> _Mean:
    """Average over boards; unsure by their spread or by the sampling of each surface, whichever is larger.

    The spread between boards holds the sampling of their surfaces already, so that the two are not added.
    """
    known = [value for value in values if value is not None]
    if not known:
        return _Mean(None, None, None)
    n, mean = len(known), float(np.mean(known))
    of_each = [u for u, value in zip(sampling_u, values, strict=True) if u is not None and value is not None]
    candidates: list[tuple[float, float]] = []  # half-width, p
    if len(of_each) == n:
        variance = (math.hypot(*of_each) / n) ** 2
        candidates.append((Z_975 * math.sqrt(variance), p_of_mean(mean, variance, 0.0, 1.0)))
    if spread is not None:
        variance, nu = float(spread.covariance[0, 0]) / n, spread.degrees_of_freedom
        candidates.append((student_t_975(nu) * math.sqrt(variance), p_of_mean(mean, 0.0, variance, nu)))
    if not candidates or (n == 1 and len(of_each) < n):
        return _Mean(mean, None, None)
    u95, p = (max(column) for column in zip(*candidates, strict=True))
    return _Mean(mean, u95 or None, p if n > 1 else None)


def _spread(trials: Sequence[Mapping[str, float | None]]) -> BoardSpread | None:
    """Spread between boards of one number, over the boards where it is known."""
    return board_spread(
        [{board: np.array([value]) for board, value in trial.items() if value is not None} for trial in trials]
    )
