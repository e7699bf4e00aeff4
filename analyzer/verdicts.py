"""Which treatments match the agreed colour and are even enough?  One verdict for each treatment.

What its zones say together comes from trials.py, the decision rule from guard_band.py, the sentence from words.py.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, Final

import numpy as np

from analyzer.answer import answer
from analyzer.colour_interval import delta_E_00_u95
from analyzer.directions import directions
from analyzer.guard_band import decide
from analyzer.job import EvennessWish, Job
from analyzer.replicates import BoardSpread
from analyzer.results import STAGES, Colour, Evenness, Overall, VerdictResult
from analyzer.trials import (
    JudgedZone,
    PooledBlotch,
    PooledColour,
    blotch_spread,
    colour_spread,
    figure_kept_in,
    pool_blotch,
    pool_colour,
    why_not_comparable,
)
from analyzer.words import ColourFound, Doubt, EvennessFound, advice
from calibration.difference import delta_E_00

__all__ = ["JUDGED_STAGES", "JudgedZone", "answer", "judge", "judged_trials"]

# Bare and merely treated wood carries no stain yet: there is nothing to judge.
JUDGED_STAGES: Final = STAGES[STAGES.index("wet") :]

# Half-widths below which no better photo is to be had: a value still in doubt lies on its limit. Chosen: the aim
# for a pair in one photo with gray card and mapped light.
FINEST_DE00_U95: Final = 0.5
FINEST_BLOTCH_U95: Final = 0.1  # L*

_BEST_FIRST: Final[tuple[Overall, ...]] = ("use", "cannot tell", "do not use")
_COLOUR: Final[dict[str, Colour]] = {"within": "match", "outside": "no match", "cannot tell": "cannot tell"}
_EVENNESS: Final[dict[str, Evenness]] = {"within": "even", "outside": "blotchy", "cannot tell": "cannot tell"}


def judge(job: Job, zones: Iterable[JudgedZone]) -> tuple[VerdictResult, ...]:
    """Judge every treatment, at each stage and in each light by itself.

    Parameters
    ----------
    job : Job
        Its target's tolerance and its wish for evenness say what to judge by.
    zones : iterable of JudgedZone
        In any order. Zones before the stage "wet", and the zones that are the target, get no verdict.

    Returns
    -------
    verdicts : tuple of VerdictResult
        Ordered by stage, light and species, then by rank. Rank 1 is best and unique within these three: "use"
        before "cannot tell" before "do not use", then by how much of its limit a treatment takes up (the larger
        of dE00 / tolerance and blotch / limit; unknown last).
    """
    return tuple(verdict for trials in _alike(job, zones) for verdict in _ranked(job, trials))


def judged_trials(job: Job, zones: Iterable[JudgedZone]) -> list[list[JudgedZone]]:
    """Split the zones that get a verdict into trials: one treatment, dose, stain, species, stage, light each."""
    return [trial for trials in _alike(job, zones) for trial in trials]


def _alike(job: Job, zones: Iterable[JudgedZone]) -> list[list[list[JudgedZone]]]:
    """The trials of each stage, light and species."""
    of_target = {job.target.zone, *job.target.between}
    judged = [zone for zone in zones if zone.stage in JUDGED_STAGES and zone.id not in of_target]
    judged.sort(key=lambda zone: zone.id)  # sums, and so the last digits, do not depend on the order given
    groups = _grouped(judged, lambda zone: (STAGES.index(zone.stage), zone.light or "", zone.species))
    return [_grouped(group, lambda zone: (zone.treatment, zone.stain or "", zone.dose or "")) for group in groups]


def _ranked(job: Job, trials: list[list[JudgedZone]]) -> list[VerdictResult]:
    """Judge and rank the treatments of one species at one stage in one light."""
    colours, blotches = colour_spread(trials), blotch_spread(trials)
    drafts = [_judge_trial(job, trial, colours, blotches) for trial in trials]
    drafts.sort(key=lambda draft: (_BEST_FIRST.index(draft[1].overall), draft[0]))  # stable: ties by name
    return [replace(verdict, rank=rank) for rank, (_, verdict) in enumerate(drafts, start=1)]


def _judge_trial(
    job: Job, trial: list[JudgedZone], colours: BoardSpread | None, blotches: BoardSpread | None
) -> tuple[float, VerdictResult]:
    """Judge one treatment; also how much of its limits it takes up."""
    why_not = why_not_comparable(trial)
    pooled = None if why_not else pool_colour(trial, colours)
    colour = _judge_colour(job, pooled, why_not)
    evenness = _judge_evenness(job.evenness, pool_blotch(trial, blotches), figure_kept_in(trial))
    overall = _overall(colour.verdict, evenness.verdict)
    boards = len({zone.board for zone in trial})
    one = trial[0]
    verdict = VerdictResult(
        treatment=one.treatment,
        stain=one.stain,
        species=one.species,
        stage=one.stage,
        light=one.light,
        zones=tuple(zone.id for zone in trial),
        boards=boards,
        rank=0,  # known when all are judged
        de00=colour.de00,
        de00_u95=colour.de00_u95,
        colour=colour.verdict,
        blotch=evenness.blotch,
        blotch_u95=evenness.blotch_u95,
        evenness=evenness.verdict,
        overall=overall,
        advice=advice(one.treatment, boards, overall, colour, evenness),
        sources={} if pooled is None or colour.de00_u95 is None else pooled.sources(colour.de00_u95),
        dose=one.dose,
    )
    return _share_of_limits(colour, evenness), verdict


def _judge_colour(job: Job, pooled: PooledColour | None, why_not: str | None) -> ColourFound:
    """Hold one treatment's pooled colour against the tolerance."""
    target = job.target
    against_sample = target.lab is None
    if pooled is None:
        return ColourFound("cannot tell", None, None, target.tolerance, (), None, why_not, 0, against_sample)
    de00 = float(delta_E_00(pooled.Lab_target, pooled.Lab_target + pooled.delta_Lab))
    covariance = pooled.covariance
    u95 = None if covariance is None else delta_E_00_u95(pooled.Lab_target, pooled.delta_Lab, covariance)
    verdict = _COLOUR[decide(de00, u95, target.tolerance)]
    return ColourFound(
        verdict=verdict,
        de00=de00,
        de00_u95=u95,
        tolerance=target.tolerance,
        directions=directions(pooled.Lab_target, pooled.delta_Lab, covariance),
        doubt=_colour_doubt(job, pooled, u95) if verdict == "cannot tell" else None,
        why_not=None,
        boards=pooled.boards,
        against_sample=against_sample,
    )


def _judge_evenness(wish: EvennessWish, pooled: PooledBlotch | None, figure_kept: float | None) -> EvennessFound:
    """Hold one treatment's pooled blotch index against its limit; for a lively figure, tell how much is kept."""
    lively = wish.wish == "lively"
    if pooled is None:
        unknown: Evenness = "not judged" if lively else "cannot tell"
        return EvennessFound(unknown, None, None, None, None if lively else Doubt.PHOTOS)
    if lively:
        return EvennessFound("not judged", pooled.blotch, pooled.u95, None, None, figure_kept)
    verdict = _EVENNESS[decide(pooled.blotch, pooled.u95_against_limit, pooled.limit)]
    doubt = None
    if verdict == "cannot tell" and pooled.limit is not None:
        measured = math.inf if pooled.measured_u95 is None else pooled.measured_u95
        doubt = _doubt(pooled.u95_against_limit, FINEST_BLOTCH_U95, pooled.between_u95 > measured)
    return EvennessFound(verdict, pooled.blotch, pooled.u95, pooled.limit, doubt)


def _colour_doubt(job: Job, pooled: PooledColour, u95: float | None) -> Doubt:
    """Name the largest source of the doubt about a colour, as far as something can be done about it."""
    if pooled.measured is None or np.trace(pooled.between) > np.trace(pooled.measured):
        return _doubt(u95, FINEST_DE00_U95, pooled.measured is not None)
    if u95 is None or u95 <= FINEST_DE00_U95:
        return _doubt(u95, FINEST_DE00_U95, boards_matter_most=False)
    sources = pooled.sources(u95)
    largest = max(sources, key=lambda source: sources[source])
    if largest == "light":
        return Doubt.LIGHT
    told_by_card = job.reference.kind == "gray-card" and largest in ("tone", "camera", "reference")
    return Doubt.CAMERA if told_by_card else Doubt.PHOTOS


def _doubt(u95: float | None, finest_u95: float, boards_matter_most: bool) -> Doubt:
    """Name what a value that cannot be told from its limit hangs on."""
    if u95 is not None and u95 <= finest_u95:
        return Doubt.LIMIT
    return Doubt.BOARDS if boards_matter_most else Doubt.PHOTOS


def _overall(colour: Colour, evenness: Evenness) -> Overall:
    """Join the two verdicts: one failure is enough, both must hold."""
    if colour == "no match" or evenness == "blotchy":
        return "do not use"
    return "use" if colour == "match" and evenness in ("even", "not judged") else "cannot tell"


def _share_of_limits(colour: ColourFound, evenness: EvennessFound) -> float:
    """Tell how much of its limits a treatment takes up: 1 is on the limit; infinity when nothing is known."""
    shares = []
    if colour.de00 is not None:
        shares.append(_share(colour.de00, colour.tolerance))
    if evenness.blotch is not None and evenness.limit is not None:
        shares.append(_share(evenness.blotch, evenness.limit))
    return max(shares, default=math.inf)


def _share(value: float, limit: float) -> float:
    return value / limit if limit > 0 else math.inf


def _grouped(zones: list[JudgedZone], key: Callable[[JudgedZone], Any]) -> list[list[JudgedZone]]:
    """Split by a key, in the key's order."""
    groups: dict[Any, list[JudgedZone]] = {}
    for zone in zones:
        groups.setdefault(key(zone), []).append(zone)
    return [groups[name] for name in sorted(groups)]
