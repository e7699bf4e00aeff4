"""What will a stained zone look like under the coat that it does not have yet?

How a coat moved the colour of other zones is known as a vector with its spread (analyzer/stages.py): of this job, else
of an earlier one. It holds for the same species, the same stain or kind of stain, the same topcoat and sheen only.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.guard_band import Z_975
from analyzer.job import Job, Zone
from analyzer.match.held import aimed_zones, stain_of
from analyzer.match.match_result import CoatResult
from analyzer.results import STAGES, Results, StageShiftResult, ZoneResult
from analyzer.targets import sheens_differ
from analyzer.words import half_width
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

HERE: Final = "this job"
_LEARNT_ON: Final = ("stained", "sealed")  # what still gets a coat


@dataclass(frozen=True, slots=True)
class KnownShift:
    """A vector from stage to stage, and where it was seen."""

    shift: StageShiftResult
    stain_kinds: frozenset[str]  # as its zones record them
    source: str  # "this job", or the folder of another

    @classmethod
    def all_of(cls, results: Results, source: str) -> tuple["KnownShift", ...]:
        """Every shift that a measured job holds."""
        kinds = _stain_kinds(results.job)
        return tuple(
            cls(shift, frozenset(kinds[path] for path in shift.zones if path in kinds), source)
            for shift in results.stage_shifts
        )


def under_coats(
    job: Job, results: Results, earlier: Sequence[KnownShift]
) -> tuple[tuple[CoatResult, ...], tuple[str, ...]]:
    """Foretell zones under the coat that they still get.

    Parameters
    ----------
    job : Job
    results : Results
        Of the same job.
    earlier : sequence of KnownShift
        From other jobs, the ones to be preferred first; this job's own come before them.

    Returns
    -------
    coats : tuple of CoatResult
        For each zone at its latest stage but the last.
    missing : tuple of str
        Which boards would give the vectors that are not known, in sentences.
    """
    known = [*KnownShift.all_of(results, HERE), *earlier]
    found = []
    missing: dict[str, None] = {}
    targets = {job.target.zone, *job.target.between}
    for zone in _latest(results.zones):
        board, of_job = job.zone(zone.id)
        if zone.stage not in _LEARNT_ON or zone.id in targets or stain_of(board, of_job) is None:
            continue
        fitting = [one for one in known if _fits(one, zone, of_job)]
        if fitting:
            # of this job or the first earlier one the vector that leads farthest: to the topcoat, past the seal
            best = max(
                (f for f in fitting if f.source == fitting[0].source), key=lambda f: STAGES.index(f.shift.stage_to)
            )
            found.append(_under(job, results, zone, best))
        elif _is_coat_wanted(job, zone, of_job):
            says = _missing(zone, of_job)
            missing[says] = None
    return tuple(found), tuple(missing)


def _latest(zones: Iterable[ZoneResult]) -> list[ZoneResult]:
    """Each zone in each light at the latest stage at which it was photographed."""
    latest: dict[tuple[str, str | None], ZoneResult] = {}
    for zone in zones:
        key = (zone.id, zone.light)
        if key not in latest or STAGES.index(zone.stage) > STAGES.index(latest[key].stage):
            latest[key] = zone
    return list(latest.values())


def _fits(known: KnownShift, zone: ZoneResult, of_job: Zone) -> bool:
    """Whether a vector may be carried over to a zone."""
    shift = known.shift
    topcoat = of_job.recipe.get("topcoat")
    same_topcoat = topcoat is None or shift.topcoat is None or _same(topcoat, shift.topcoat)
    kind = of_job.recipe.get("stain_kind")
    same_stain = _same(shift.stain, zone.stain) or (kind is not None and known.stain_kinds == {_plain(kind)})
    return (
        shift.stage_from == zone.stage
        and _same(shift.species, zone.species)
        and same_stain
        and same_topcoat
        and not sheens_differ(shift.sheen, of_job.sheen)
    )


def _under(job: Job, results: Results, zone: ZoneResult, known: KnownShift) -> CoatResult:
    shift = known.shift
    vector = np.array([shift.dl, shift.da, shift.db])
    Lab = np.asarray(zone.lab) + vector
    u = _u(zone, shift)
    target = _target(job, results, zone, shift)
    de00 = None if target is None else float(delta_E_00(target, Lab))
    de00_u95 = None if target is None or u is None else delta_E_00_u95(target, Lab - target, np.diag(u**2))
    widths = None if u is None else tuple(float(Z_975 * value) for value in u)
    coat = shift.topcoat or ("the seal" if shift.stage_to == "sealed" else "the topcoat")
    source = f"{shift.boards} board{'s' if shift.boards > 1 else ''} of {known.source}"
    L, a, b = (float(value) for value in Lab)
    doubt = "how sure is not known" if u is None else "± " + " ".join(half_width(float(Z_975 * value)) for value in u)
    says = f"{zone.id} will look like L* {L:.1f}, a* {a:.1f}, b* {b:.1f} ({doubt}) under {coat}, as {source} showed"
    if de00 is not None:
        sure = "" if de00_u95 is None else f" ± {half_width(de00_u95)}"
        says += f"; from the target then {de00:.1f}{sure}"
    return CoatResult(
        zone=zone.id,
        stage_from=zone.stage,
        stage_to=shift.stage_to,
        light=zone.light,
        topcoat=shift.topcoat,
        sheen=shift.sheen,
        lab=(L, a, b),
        lab_u95=None if widths is None else (widths[0], widths[1], widths[2]),
        learnt_from=known.source,
        boards=shift.boards,
        de00=de00,
        de00_u95=de00_u95,
        says=says,
    )


def _u(zone: ZoneResult, shift: StageShiftResult) -> Floats | None:
    """Standard uncertainties of the foretold colour: the zone's own, the mean vector's, a single zone's stray."""
    if zone.lab_u95 is None or (shift.dlab_u95 is None and shift.zone_sd is None):
        return None
    mean = np.zeros(3) if shift.dlab_u95 is None else np.asarray(shift.dlab_u95) / Z_975
    single = np.zeros(3) if shift.zone_sd is None else np.asarray(shift.zone_sd)
    return np.asarray(np.sqrt((np.asarray(zone.lab_u95) / Z_975) ** 2 + mean**2 + single**2))


def _target(job: Job, results: Results, zone: ZoneResult, shift: StageShiftResult) -> Floats | None:
    """The target at the stage, in the light and of the sheen that the zone will have; None when it is of another."""
    if job.target.stage not in (None, shift.stage_to):
        return None
    if job.target.lab is not None:
        return None if job.target.stage is None else np.asarray(job.target.lab, dtype=np.float64)
    aimed = aimed_zones(job)
    seen = [
        other
        for other in results.zones
        if other.id in aimed
        and (other.stage, other.light) == (shift.stage_to, zone.light)
        and not sheens_differ(job.zone(other.id)[1].sheen, shift.sheen)
    ]
    return np.mean([other.lab for other in seen], axis=0) if seen and len(seen) == len(aimed) else None


def _is_coat_wanted(job: Job, zone: ZoneResult, of_job: Zone) -> bool:
    """Whether the zone is to get a coat: its recipe names one, or the target was agreed on coated wood."""
    goal = job.target.stage
    agreed = goal is not None and STAGES.index(goal) > STAGES.index(zone.stage)
    return agreed or of_job.recipe.get("topcoat") is not None


def _missing(zone: ZoneResult, of_job: Zone) -> str:
    coat = of_job.recipe.get("topcoat") or "its topcoat"
    sheen = "" if of_job.sheen is None else f", {of_job.sheen}"
    stain = zone.stain or "its stain"
    where = "" if zone.light is None else f' in the light "{zone.light}"'
    return (
        f"How {coat}{sheen} changes {stain} on {zone.species} is not known from any job: photograph a board of it "
        f"{zone.stage}, coat it, and photograph it again{where}"
    )


def _stain_kinds(job: dict[str, Any]) -> dict[str, str]:
    """Kind of stain of each zone that records one, by its path, of a job file as it was read."""
    kinds = {}
    for board in job.get("board", []):
        for zone in board.get("zone", []):
            kind = zone.get("stain_kind", board.get("stain_kind"))
            if kind is not None:
                kinds[f"{board.get('id')}/{zone.get('id')}"] = _plain(kind)
    return kinds


def shifts_of(folders: Iterable[Path]) -> tuple[KnownShift, ...]:
    """Shifts of other measured jobs; a folder without readable results is passed over."""
    from analyzer.report.jsonfile import read_results  # noqa: PLC0415 - only where there are other jobs

    found: list[KnownShift] = []
    for folder in folders:
        try:
            results = read_results((folder / "results.json").read_bytes())
        except (OSError, ValueError):
            continue
        found += KnownShift.all_of(results, str(folder))
    return tuple(found)


def _same(one: object, other: object) -> bool:
    return one is not None and other is not None and _plain(one) == _plain(other)


def _plain(text: object) -> str:
    return " ".join(str(text).lower().split())
