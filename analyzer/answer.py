"""Which treatment should go on the piece?  The one sentence that the finisher came for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analyzer.job import Job
from analyzer.results import STAGES, AnswerResult, Overall, VerdictResult
from analyzer.words import half_width, listed, named

_BEST_FIRST: Final[tuple[Overall, ...]] = ("use", "cannot tell", "do not use")


@dataclass(frozen=True, slots=True)
class _Candidate:
    """One treatment on one species at the stage that counts, in every light it was photographed in."""

    treatment: str
    dose: str | None
    stain: str | None
    species: str
    verdicts: tuple[VerdictResult, ...]  # one a light that decides, the worst first
    lights_missing: int  # that others of its species were photographed in
    unseen: tuple[str, ...]  # lights that the job names as deciding, without a verdict

    @property
    def overall(self) -> Overall:
        """Verdict of the worst light: a match in one light alone is no match."""
        worst = self.verdicts[0].overall
        return "cannot tell" if worst == "use" and self.unseen else worst

    @property
    def standing(self) -> tuple[int, int, int, float, str, str, str, str]:
        """Sort key, best first: verdict, lights seen, worst rank, nearness to the target, name."""
        nearness = max(math.inf if verdict.de00 is None else verdict.de00 for verdict in self.verdicts)
        ranks = max(verdict.rank for verdict in self.verdicts)
        order = _BEST_FIRST.index(self.overall)
        return (
            order,
            self.lights_missing,
            ranks,
            nearness,
            self.species,
            self.treatment,
            self.stain or "",
            self.dose or "",
        )


def answer(job: Job, verdicts: Sequence[VerdictResult]) -> AnswerResult:
    """Name the treatment to use, or say why none can be named and what would settle it.

    Only the stage at which the target was agreed counts, or, when none is stated, the most finished stage that
    was photographed. A treatment must hold in every light that the job names, or else in every light it was
    photographed in. Each species has its own best treatment; the answer names the first and its reason the others.

    Parameters
    ----------
    job : Job
    verdicts : sequence of VerdictResult
        From `judge`.

    Returns
    -------
    answer : AnswerResult
        `treatment` is None when no verdict at that stage is "use".
    """
    if not verdicts:
        return _no_answer(
            "No treatment can be named, since no zone was measured after staining: photograph the boards when the "
            "stain is dry, with the gray card beside them."
        )
    measured = {verdict.stage for verdict in verdicts}
    stage = job.target.stage or next(stage for stage in reversed(STAGES) if stage in measured)
    at_stage = [verdict for verdict in verdicts if verdict.stage == stage]
    candidates = _candidates(at_stage, job.target.lights)
    if at_stage and not candidates:
        return _no_answer(
            f"No treatment can be named, since no zone was measured in {listed(job.target.lights, 'or')} light, which "
            "the job names as deciding: photograph the boards there."
        )
    if not candidates:
        return _no_answer(
            f'No treatment can be named, since the target was agreed at the stage "{stage}" and no zone was measured '
            "there: photograph the boards at that stage."
        )
    usable = [candidate for candidate in candidates if candidate.overall == "use"]
    if not usable:
        return _no_answer(_why_none(candidates))
    best = usable[0]
    return AnswerResult(best.treatment, best.stain, best.species, _why_best(best, candidates), best.dose)


def _no_answer(reason: str) -> AnswerResult:
    return AnswerResult(None, None, None, reason)


def _candidates(verdicts: Sequence[VerdictResult], deciding: Sequence[str]) -> list[_Candidate]:
    """Gather the verdicts of each treatment and species over the lights that decide, best candidate first."""
    gathered: dict[tuple[str, str | None, str | None, str], list[VerdictResult]] = {}
    lights: dict[str, set[str | None]] = {}
    for verdict in verdicts:
        if deciding and verdict.light not in deciding:
            continue
        key = verdict.treatment, verdict.dose, verdict.stain, verdict.species
        gathered.setdefault(key, []).append(verdict)
        lights.setdefault(verdict.species, set()).add(verdict.light)
    candidates = []
    for (treatment, dose, stain, species), of_lights in gathered.items():
        of_lights.sort(key=lambda v: (-_BEST_FIRST.index(v.overall), -v.rank, v.light or ""))
        missing = len(lights[species]) - len(of_lights)
        seen = {verdict.light for verdict in of_lights}
        unseen = tuple(light for light in deciding if light not in seen)
        candidates.append(_Candidate(treatment, dose, stain, species, tuple(of_lights), missing, unseen))
    return sorted(candidates, key=lambda candidate: candidate.standing)


def _why_best(best: _Candidate, candidates: Sequence[_Candidate]) -> str:
    """Say in one sentence why this one, what does as well, and what the other species need."""
    clauses = [f"{_name(best, candidates, with_species=True)}: {_figures(best)}"]
    equals = [_name(other, candidates) for other in candidates if other is not best and _does_as_well(other, best)]
    if equals:
        verb = "does" if len(equals) == 1 else "do"
        clauses.append(f"{listed(equals, 'and')} {verb} as well within what can be told")
    for species in sorted({candidate.species for candidate in candidates} - {best.species}):
        first = next(candidate for candidate in candidates if candidate.species == species)
        if first.overall == "use":
            clauses.append(f"on {species} {_name(first, candidates)}: {_figures(first)}")
        elif first.overall == "cannot tell":
            clauses.append(f"on {species} none can be named yet")
        else:
            clauses.append(f"on {species} none of those tried will do")
    sentence = "; ".join(clauses)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _why_none(candidates: Sequence[_Candidate]) -> str:
    """Say in one sentence why no treatment can be named, with the advice for the one that comes nearest."""
    nearest = candidates[0]
    advice = nearest.verdicts[0].advice
    light = f" in {nearest.verdicts[0].light} light" if len(nearest.verdicts) > 1 and nearest.verdicts[0].light else ""
    name = f"{_name(nearest, candidates, with_species=True)}{light}"
    if nearest.unseen and nearest.verdicts[0].overall == "use":
        seen = listed(sorted(verdict.light or "unnamed" for verdict in nearest.verdicts), "and")
        return (
            f"It cannot be told yet which treatment to use: {_name(nearest, candidates, with_species=True)} is right "
            f"in {seen} light, and was not measured in "
            f"{listed(nearest.unseen, 'or')} light, which the job names as deciding."
        )
    if nearest.overall == "cannot tell":
        return f"It cannot be told yet which treatment to use; the best prospect is {name}: {advice}"
    if len(candidates) == 1:
        return f"The one treatment tried will not do, {name}: {advice}"
    return f"None of the treatments tried will do; nearest is {name}: {advice}"


def _figures(candidate: _Candidate) -> str:
    """Give the numbers behind a "use": colour and evenness in the light that is least favourable, and the boards."""
    worst = candidate.verdicts[0]
    figures = []
    if worst.de00 is not None and worst.de00_u95 is not None:
        figures.append(f"{worst.de00:.1f} ± {half_width(worst.de00_u95)} from the target")
    if worst.evenness == "even" and worst.blotch is not None:
        figures.append(f"even enough at blotch {worst.blotch:.1f}")
    lights = sorted(verdict.light or "unnamed" for verdict in candidate.verdicts)
    if len(lights) > 1:
        figures.append(f"in {listed(lights, 'and')} light")
    elif candidate.lights_missing:
        figures.append(f"seen in {lights[0]} light only")
    figures.append("on one board only" if worst.boards == 1 else f"over {worst.boards} boards")
    return ", ".join(figures)


def _does_as_well(other: _Candidate, best: _Candidate) -> bool:
    """Tell whether two usable treatments of one species differ by no more than their uncertainty, in every light.

    The two share most of the camera's error, so the root sum of squares is wide: it calls more alike, never fewer.
    """
    if other.species != best.species or other.overall != "use":
        return False
    by_light = {verdict.light: verdict for verdict in best.verdicts}
    pairs = [(verdict, by_light[verdict.light]) for verdict in other.verdicts if verdict.light in by_light]
    return bool(pairs) and all(
        _within(a.de00, a.de00_u95, b.de00, b.de00_u95)
        and (a.evenness == "not judged" or _within(a.blotch, a.blotch_u95, b.blotch, b.blotch_u95))
        for a, b in pairs
    )


def _within(a: float | None, u_a: float | None, b: float | None, u_b: float | None) -> bool:
    if a is None or b is None or u_a is None or u_b is None:
        return False
    return abs(a - b) <= math.hypot(u_a, u_b)


def _name(candidate: _Candidate, candidates: Sequence[_Candidate], *, with_species: bool = False) -> str:
    """Name a treatment, with its stain where several stains were tried."""
    name = named(candidate.treatment)
    if candidate.dose is not None:
        name += f" of {candidate.dose}"
    if candidate.stain is not None and len({other.stain for other in candidates}) > 1:
        name += f" with {candidate.stain}"
    return f"{name} on {candidate.species}" if with_species else name
