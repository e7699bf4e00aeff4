"""The main call: a measured job folder in, what to change to reach the target out.  Nothing is measured here."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from analyzer.errors import MatchError, RecordError
from analyzer.guard_band import decide
from analyzer.job import Job
from analyzer.jobfile import read_job
from analyzer.match.before_this_job import earlier_zones, jobs_with
from analyzer.match.doubts import doubts_of
from analyzer.match.foretold import foretold, left_out
from analyzer.match.held import Setting, settings_of
from analyzer.match.held_pot import HeldPot, held_pot
from analyzer.match.match_result import (
    FORMAT,
    DoseMatchResult,
    EarlierResult,
    MatchResult,
    MixResult,
    PartResult,
    SettingResult,
)
from analyzer.match.mix_words import ground_missing, mix_says, stain_missing
from analyzer.match.mixing import in_parts, solved
from analyzer.match.toward import closer, directions_of
from analyzer.match.trial_board import trial_board
from analyzer.match.under_coat import KnownShift, shifts_of, under_coats
from analyzer.record.index import open_index
from analyzer.report.jsonfile import read_results
from analyzer.results import Colour, DoseResult, Results, ToolResult
from analyzer.sources import sources_u95
from analyzer.version import tool_version
from calibration.difference import delta_E_00

RESULTS = "results.json"
METHOD = (
    "mix: absorbances of smooth wood spectra, Kubelka-Munk where two grounds show cover; "
    "least CIEDE2000 over every choice of up to three stains; topcoat by stage vectors"
)
_COLOUR: dict[str, Colour] = {"within": "match", "outside": "no match", "cannot tell": "cannot tell"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to look at; all of it unless something is named."""

    treatments: tuple[str, ...] = ()
    stains: tuple[str, ...] = ()  # only these may go into a mix
    index: Path | None = None  # the index of all jobs; None: the one in the user's data folder
    with_record: bool = True  # look for earlier jobs at all


def match_job(folder: Path, wanted: Wanted | None = None) -> MatchResult:
    """Work out from a measured job what has to change to reach the target.

    Parameters
    ----------
    folder : Path
        The job folder, with job.toml and the results.json of `evenboard measure`.
    wanted : Wanted, optional

    Returns
    -------
    MatchResult

    Raises
    ------
    JobFileError
        If job.toml does not hold.
    MatchError
        If the job was not measured, or job.toml has changed since, or a name is not in it, or no zone could be held
        against the target.
    """
    asked = wanted or Wanted()
    job = read_job(folder)
    results = _measured(job)
    _check_names(job, asked)
    settings = settings_of(job, results)
    if not settings:
        raise MatchError(f"no zone of {folder} could be held against the target.", remedy=_why_none(results))
    earlier, shifts, notes = _record(job, settings, asked)
    coats, missing_coats = under_coats(job, results, shifts)
    return MatchResult(
        format=FORMAT,
        tool=ToolResult("evenboard", tool_version(), METHOD),
        job=job.name,
        method=results.tool.method,
        settings=tuple(_setting(job, results, setting, asked) for setting in settings),
        coats=coats,
        earlier=earlier,
        notes=(*missing_coats, *notes),
    )


def match_of(job: Job, results: Results, wanted: Wanted | None = None) -> tuple[SettingResult, ...]:
    """Work out the part that the job alone decides, from what is in memory."""
    return tuple(_setting(job, results, setting, wanted or Wanted()) for setting in settings_of(job, results))


def _measured(job: Job) -> Results:
    """Read results.json and make sure that it is of the job file as it stands."""
    path = job.folder / RESULTS
    again = f"Run: evenboard measure {job.folder}"
    try:
        results = read_results(path.read_bytes())
    except FileNotFoundError:
        raise MatchError(f"{job.folder} was not measured yet: there is no {RESULTS}.", remedy=again) from None
    except ValueError as wrong:
        raise MatchError(f"{path} cannot be read: {wrong}.", remedy=again) from wrong
    if msgspec.to_builtins(job.as_read) != results.job:
        raise MatchError(f"job.toml has changed since {RESULTS} was written.", remedy=again)
    return results


def _check_names(job: Job, asked: Wanted) -> None:
    zones = [zone for board in job.boards for zone in board.zones]
    for what, names, known in (
        ("treatment", asked.treatments, {zone.treatment for zone in zones}),
        ("stain", asked.stains, {zone.stain for zone in zones if zone.stain}),
    ):
        for name in names:
            if name not in known:
                raise MatchError(f'no zone has the {what} "{name}".', remedy=f"There are: {', '.join(sorted(known))}.")


def _why_none(results: Results) -> str:
    """Say why nothing could be compared: as the verdicts do."""
    reasons = sorted({verdict.advice.split(";")[0] for verdict in results.verdicts if verdict.de00 is None})
    return f"{reasons[0][0].upper()}{reasons[0][1:].rstrip('.')}." if reasons else "No stained zone was measured."


def _record(
    job: Job, settings: Sequence[Setting], asked: Wanted
) -> tuple[tuple[EarlierResult, ...], tuple[KnownShift, ...], tuple[str, ...]]:
    """What earlier jobs know: zones near the target, and how coats changed colours."""
    if not asked.with_record:
        return (), (), ()
    try:
        with open_index(asked.index) as index:
            index.update()
            found = [zone for setting in settings for zone in earlier_zones(job, setting, index)]
            species = dict.fromkeys(board.species for board in job.boards)
            folders = dict.fromkeys(folder for kind in species for folder in jobs_with(kind, index, job))
    except RecordError as refused:
        return (), (), (f"Earlier jobs could not be looked through: {refused}",)
    nothing = () if found else ("No earlier job in the record has a zone of this wood at this stage in this light",)
    nearest = sorted(found, key=lambda one: one.de00)
    return tuple(nearest), shifts_of(folders), nothing


def _setting(job: Job, results: Results, setting: Setting, asked: Wanted) -> SettingResult:
    only = frozenset(asked.treatments)
    directions = [one for one in directions_of(setting) if not only or one.treatment in only]
    pots = {
        treatment: held_pot(setting, treatment, stains=asked.stains)
        for treatment in dict.fromkeys(verdict.treatment for verdict in setting.verdicts)
        if not only or treatment in only
    }
    mixes = [_mix(job, setting, held) for held in pots.values() if held is not None]
    doses = [dose for dose in results.doses if _is_of(dose, setting) and (not only or dose.treatment in only)]
    L, a, b = (float(value) for value in setting.Lab_target)
    return SettingResult(
        species=setting.species,
        stage=setting.stage,
        light=setting.light,
        target=setting.target,
        target_lab=(L, a, b),
        directions=tuple(directions),
        closer=closer(setting),
        doses=tuple(_dose(dose) for dose in doses),
        mixes=tuple(sorted(mixes, key=lambda mix: mix.de00)),
        missing=tuple(_missing(setting, pots)),
    )


def _missing(setting: Setting, pots: Mapping[str, HeldPot | None]) -> Iterator[str]:
    """What to add so that more can be worked out."""
    without = [treatment for treatment, held in pots.items() if held is None or not held.grounds]
    if without:
        boards = sorted({patch.board for patch in setting.stained if patch.treatment in without})
        yield ground_missing(without, boards, setting.stage, setting.light)
    single: dict[str, list[str]] = {}
    for treatment in pots:
        stains = {patch.stain for patch in setting.stained if patch.treatment == treatment and patch.stain}
        if len(stains) == 1:
            single.setdefault(stains.pop(), []).append(treatment)
    for stain, treatments in single.items():
        yield stain_missing(stain, treatments)


def _mix(job: Job, setting: Setting, held: HeldPot) -> MixResult:
    exact = solved(held.pot, setting.Lab_target, held.limits)
    parts = in_parts(held.pot, setting.Lab_target, exact, held.limits)
    told = foretold(setting, held, parts.mix.amounts)
    doubts = doubts_of(job, setting, held, parts.mix, told)
    residuals = left_out(setting, held)
    far = [float(delta_E_00(setting.Lab_target, setting.Lab_target + residual)) for residual in residuals]
    L, a, b = (float(value) for value in told.Lab)
    u_L, u_a, u_b = (float(value) for value in told.Lab_u95)
    decision = decide(told.de00, told.de00_u95, job.target.tolerance)
    return MixResult(
        treatment=held.treatment,
        stains=tuple(
            PartResult(
                held.stains[k], parts.parts[k], float(exact.amounts[k]) / held.coats, float(held.tried[k]) / held.coats
            )
            for k in exact.stains
        ),
        clear_parts=parts.clear,
        coats=held.coats,
        lab=(L, a, b),
        lab_u95=(u_L, u_a, u_b),
        de00=told.de00,
        de00_u95=told.de00_u95,
        exact_de00=exact.de00,
        colour=_COLOUR[decision],
        boards=len(held.boards),
        sources=sources_u95(setting.Lab_target, told.Lab - setting.Lab_target, told.de00_u95, told.parts),
        left_out_de00=float(np.sqrt(np.mean(np.square(far)))) if len(far) > 1 else None,
        doubts=doubts,
        trial_board=trial_board(job, held, parts),
        says=mix_says(held, parts, told, job.target.tolerance, [doubt.says for doubt in doubts]),
    )


def _is_of(dose: DoseResult, setting: Setting) -> bool:
    return (dose.species, dose.stage, dose.light) == (setting.species, setting.stage, setting.light)


def _dose(dose: DoseResult) -> DoseMatchResult:
    tried = [point.dose for point in dose.points]
    return DoseMatchResult(
        treatment=dose.treatment,
        stain=dose.stain,
        key=dose.key,
        dose=dose.nearest.dose,
        words=dose.nearest.words,
        tried=(min(tried), max(tried)),
        is_between=dose.nearest.boards == 0,
        de00=dose.nearest.de00,
        de00_u95=dose.nearest.de00_u95,
        colour=dose.nearest.colour,
        says=dose.says,
    )
