"""What does a measured job hold that a mix can be worked out from?  Stained patches, bare ones, and how they pair.

A setting is one species at one stage in one light, with a colour to aim at. Colours of its patches are taken relative
to the target where photos show both: within one photo card, light and camera err alike.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from analyzer.dose_curve import dose_of
from analyzer.guard_band import Z_975
from analyzer.job import Board, Job, Zone
from analyzer.match.eye import covariance_of_u
from analyzer.results import Results, VerdictResult, ZoneResult
from analyzer.targets import sheens_differ
from analyzer.words import UNTREATED

Floats = NDArray[np.float64]
GroundKind = Literal["zone", "control", "photo"]

NO_STAIN: Final = ("none", "no stain", "unstained")
# Dry wood without a coat looks alike before and after: these stages may lend a stained patch its ground.
_BEFORE_DRY_STAIN: Final = ("treated", "bare")
_UNKNOWN_U: Final = (
    1.0  # CIELAB, one sigma, where results.json does not say how sure a colour is (chosen: as in daylight)
)


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """One zone at one stage in one light."""

    id: str
    board: str
    treatment: str
    stain: str | None  # None: unstained
    strength: float  # share of undiluted stain, times coats; 0 for an unstained patch
    Lab: Floats  # (3,), relative to the target where one photo shows both
    covariance: Floats  # (3, 3), of that
    # one sigma of its CIEDE2000 to the target, when one photo shows both; None: its colour was measured by itself
    u_pair: float | None = None
    coats: int = 1  # of stain
    coat: str | None = None  # topcoat as written; None: not recorded, or none on it yet


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A stained patch and the wood under it."""

    stained: Patch
    ground: Patch
    kind: GroundKind  # a zone of the same treatment, the untreated one, or the same zone photographed before


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """One species at one stage in one light."""

    species: str
    stage: str
    light: str | None
    Lab_target: Floats  # (3,)
    target: str  # in a finisher's words
    verdicts: tuple[VerdictResult, ...]  # that could be compared with the target, best first
    stained: tuple[Patch, ...]
    bare: tuple[Patch, ...]  # unstained, at the same stage
    before: tuple[Patch, ...]  # the same zones photographed before they were stained, the nearest stage first

    def ground_of(self, patch: Patch) -> Pair | None:
        """Find the wood under a stained patch: on its own board, of its own treatment where there is one."""
        at_hand = [other for other in self.bare if other.board == patch.board and _same_coat(other, patch)]
        alike = [other for other in at_hand if other.treatment == patch.treatment]
        if alike:
            return Pair(patch, _mean_patch(alike), "zone")
        earlier = [other for other in self.before if other.id == patch.id]
        if earlier:
            return Pair(patch, earlier[0], "photo")
        untreated = [other for other in at_hand if other.treatment == UNTREATED]
        return Pair(patch, _mean_patch(untreated), "control") if untreated else None

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Every stained patch that has a ground."""
        return tuple(pair for patch in self.stained if (pair := self.ground_of(patch)) is not None)


def settings_of(job: Job, results: Results) -> tuple[Setting, ...]:
    """Every setting of a job that has a colour to aim at.

    Parameters
    ----------
    job : Job
    results : Results
        Of the same job.

    Returns
    -------
    settings : tuple of Setting
        In the order of the verdicts; () when no zone could be held against the target.
    """
    found: dict[tuple[str, str, str | None], list[VerdictResult]] = {}
    for verdict in results.verdicts:
        if verdict.de00 is not None:
            found.setdefault((verdict.species, verdict.stage, verdict.light), []).append(verdict)
    made = []
    for (species, stage, light), verdicts in found.items():
        here = [zone for zone in results.zones if (zone.stage, zone.light) == (stage, light)]
        target = _target(job, here)
        if target is None:
            continue
        Lab_target, named = target
        reader = _Reader(job, results, here, Lab_target)
        patches = reader.patches(species)
        stained = tuple(patch for patch in patches if patch.stain is not None)
        ids = {patch.id for patch in stained}
        of_stained = [verdict for verdict in verdicts if ids & set(verdict.zones)]
        if not of_stained:
            continue
        made.append(
            Setting(
                species=species,
                stage=stage,
                light=light,
                Lab_target=Lab_target,
                target=named,
                verdicts=tuple(sorted(of_stained, key=lambda verdict: verdict.rank)),
                stained=stained,
                bare=tuple(patch for patch in patches if patch.stain is None),
                before=reader.before(species, stage, light, patches),
            )
        )
    return tuple(made)


def aimed_zones(job: Job) -> tuple[str, ...]:
    """Zones whose mean is aimed at: the sample, or of range boards the middle one, or both where there are two."""
    between = job.target.between
    if between:
        return between if len(between) == 2 else (between[len(between) // 2],)
    return (job.target.zone,) if job.target.zone else ()


def _target(job: Job, here: Sequence[ZoneResult]) -> tuple[Floats, str] | None:
    """Colour to aim at, and its name."""
    if job.target.lab is not None:
        approved = job.target.approved
        named = "the agreed value" if approved is None else f"{approved.zone.id}, approved by {approved.by}"
        return np.asarray(job.target.lab, dtype=np.float64), named
    aimed = aimed_zones(job)
    found = [zone for zone in here if zone.id in aimed]
    if len(found) < len(aimed):
        return None
    named = aimed[0] if len(aimed) == 1 else f"the middle between {aimed[0]} and {aimed[1]}"
    return np.mean([zone.lab for zone in found], axis=0), named


@dataclass(frozen=True, slots=True, eq=False)
class _Reader:
    """Turns zones as they stand in results.json into patches."""

    job: Job
    results: Results
    here: Sequence[ZoneResult]  # at the stage and in the light of the setting
    Lab_target: Floats

    def patches(self, species: str) -> tuple[Patch, ...]:
        """Patches of the setting, those of the target and of another sheen left out."""
        targets = {self.job.target.zone, *self.job.target.between}
        sheens = [self.job.zone(path)[1].sheen for path in aimed_zones(self.job)]
        found = []
        for zone in self.here:
            board, of_job = self.job.zone(zone.id)
            other_sheen = any(sheens_differ(sheen, of_job.sheen) for sheen in sheens)
            if zone.species == species and zone.id not in targets and not other_sheen:
                found.append(self._patch(zone, board, of_job))
        return tuple(found)

    def before(self, species: str, stage: str, light: str | None, patches: Iterable[Patch]) -> tuple[Patch, ...]:
        """Photos of the stained zones before they were stained, where the stages can be compared."""
        if stage != "stained":
            return ()
        ids = {patch.id for patch in patches if patch.stain is not None}
        found = []
        for earlier in _BEFORE_DRY_STAIN:
            seen = [z for z in self.results.zones if (z.stage, z.light, z.species) == (earlier, light, species)]
            for zone in seen:
                if zone.id in ids:
                    patch = self._absolute(zone, zone.treatment if earlier == "treated" else UNTREATED)
                    found.append(patch)
        return tuple(found)

    def _patch(self, zone: ZoneResult, board: Board, of_job: Zone) -> Patch:
        stain = stain_of(board, of_job)
        aimed = aimed_zones(self.job)
        to_target = [
            found
            for found in self.results.differences
            if found.a in aimed and found.b == zone.id and (found.stage, found.light) == (zone.stage, zone.light)
        ]
        if not to_target:
            made = self._absolute(zone, zone.treatment)
        else:
            delta = np.mean([(found.dl, found.da, found.db) for found in to_target], axis=0)
            known = [found.de00_u95 for found in to_target if found.de00_u95 is not None]
            u = max(known) / Z_975 if len(known) == len(to_target) else _UNKNOWN_U
            Lab = self.Lab_target + delta
            made = Patch(zone.id, zone.board, zone.treatment, None, 0.0, Lab, covariance_of_u(Lab, u), u)
        topcoat = of_job.recipe.get("topcoat") if zone.stage in ("sealed", "topcoated") else None
        return replace(
            made,
            stain=stain,
            strength=0.0 if stain is None else strength_of(of_job),
            coats=coats_of(of_job),
            coat=None if topcoat is None else str(topcoat).strip().lower(),
        )

    @staticmethod
    def _absolute(zone: ZoneResult, treatment: str) -> Patch:
        u = np.full(3, _UNKNOWN_U) if zone.lab_u95 is None else np.asarray(zone.lab_u95) / Z_975
        return Patch(zone.id, zone.board, treatment, None, 0.0, np.asarray(zone.lab), np.diag(u**2))


def stain_of(board: Board, zone: Zone) -> str | None:
    """Stain of a zone, None where it is known to have none.

    A zone that names none, on a board where others do, is taken as unstained; where no zone names one, the finisher
    left it out, and all are taken to have the same.
    """
    if zone.stain is not None and zone.stain.strip().lower() not in NO_STAIN:
        return zone.stain
    named = zone.stain is not None or any(other.stain for other in board.zones)
    return None if named else "the stain"


def strength_of(zone: Zone) -> float:
    """How much stain went on: the share of undiluted stain in the pot, times the coats."""
    parts_of_thinner = dose_of("dilution", zone.recipe.get("dilution"))
    return coats_of(zone) / (1.0 + (parts_of_thinner or 0.0))


def coats_of(zone: Zone) -> int:
    """Coats of stain, 1 where the job file does not say."""
    return int(zone.recipe.get("stain_coats", 1))


def _mean_patch(patches: Sequence[Patch]) -> Patch:
    """Several bare zones of one board as one."""
    first = patches[0]
    Lab = np.mean([patch.Lab for patch in patches], axis=0)
    covariance = np.mean([patch.covariance for patch in patches], axis=0)
    return replace(first, id=" and ".join(patch.id for patch in patches), Lab=Lab, covariance=covariance)


def _same_coat(one: Patch, other: Patch) -> bool:
    """Whether two patches may lie under the same coat; nothing is known of one that was not recorded."""
    return one.coat is None or other.coat is None or one.coat == other.coat
