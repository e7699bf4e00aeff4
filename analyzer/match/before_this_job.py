"""Which zones of earlier jobs lie near the target, and how were they made?"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from analyzer.job import Job
from analyzer.match.held import Setting
from analyzer.match.match_result import EarlierResult
from analyzer.record.index import RecordIndex
from analyzer.record.query import FoundZone, Query
from analyzer.record.recipe_comparison import compare_recipes, zone_facts
from analyzer.words import half_width, named

MOST: Final = 5  # zones told of each setting (chosen)
_MOST_JOBS: Final = 200  # looked through for what coats do (chosen: each is one small file)


def earlier_zones(job: Job, setting: Setting, index: RecordIndex) -> tuple[EarlierResult, ...]:
    """Zones of other jobs on the same species, at the same stage and in the same light, nearest to the target first.

    Parameters
    ----------
    job : Job
    setting : Setting
    index : RecordIndex
        Open and up to date.
    """
    found = index.search(
        Query(
            species=setting.species,
            is_exact=True,
            stage=setting.stage,
            light=setting.light,
            near=_three(setting.Lab_target),
            near_is_measured=job.target.lab is None,
            not_in=job.folder,
            limit=MOST,
        )
    )
    stained = {patch.id for patch in setting.stained}
    nearest = next(path for path in setting.verdicts[0].zones if path in stained)
    board, zone = job.zone(nearest)
    facts = zone_facts(board, zone)
    return tuple(_earlier(one, nearest, facts) for one in found)


def jobs_with(species: str, index: RecordIndex, job: Job) -> tuple[Path, ...]:
    """Folders of other jobs on a species, the newest first."""
    found = index.search(Query(species=species, is_exact=True, not_in=job.folder, limit=None))
    return tuple(dict.fromkeys(one.folder for one in found))[:_MOST_JOBS]


def _earlier(one: FoundZone, nearest: str, facts: Mapping[str, Any]) -> EarlierResult:
    theirs = {"species": one.species, "treatment": one.treatment, "stain": one.stain, **one.recipe}
    compared = compare_recipes(facts, theirs, (nearest, one.id))
    differs = tuple(f"{field.words} {field.second} (here {field.first})" for field in compared.differs if field.is_step)
    missing = tuple(field.words for field in compared.not_recorded if field.second is None and field.first is not None)
    de00 = one.de00 if one.de00 is not None else 0.0
    doubt = "" if one.de00_u95 is None else f" ± {half_width(one.de00_u95)}"
    stain = f" with {one.stain}" if one.stain else ""
    says = f"{one.job}, {one.id}: {named(one.treatment)}{stain}, {de00:.1f}{doubt} from the target, {one.date[:10]}"
    says += (
        f". Against {nearest}: {'; '.join(differs)}" if differs else f". Made as {nearest}, as far as it is recorded"
    )
    return EarlierResult(
        job=one.job,
        folder=str(one.folder),
        zone=one.id,
        stage=one.stage,
        light=one.light,
        species=one.species,
        treatment=one.treatment,
        stain=one.stain,
        lab=one.lab,
        de00=de00,
        de00_u95=one.de00_u95,
        differs=differs,
        not_recorded=missing,
        says=says,
    )


def _three(values: Any) -> tuple[float, float, float]:  # noqa: ANN401 - an array of three
    L, a, b = (float(value) for value in values)
    return L, a, b
