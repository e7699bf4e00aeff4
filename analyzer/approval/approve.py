"""How is a zone approved?  It is measured anew from its photos, held against results.json, and written down once."""

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Final

from analyzer.approval_changes import RESULTS, sha256_of, tables_of
from analyzer.approvals import (
    COVERS,
    FOLDER,
    FORMAT,
    KIND,
    Approval,
    ApprovedFile,
    ApprovedJob,
    ApprovedLimits,
    Covered,
    approval_json,
    approvals_of,
    current_approvals,
    read_approval,
)
from analyzer.approved_zone import PhotoOfSight, kept_zone
from analyzer.correction_choice import available_corrections
from analyzer.errors import ApprovalError, FolderError
from analyzer.job import Job, PhotoEntry
from analyzer.jobfile import JOB_FILE, read_job
from analyzer.jobfile_table import nearest
from analyzer.measure import METHOD
from analyzer.photos import MeasuredPhoto, measure_photo
from analyzer.pooling import MeasuredZone
from analyzer.repeats import counted_once
from analyzer.report.jsonfile import read_results
from analyzer.results import STAGES, Results, Stage, ToolResult, ZoneResult
from analyzer.version import tool_version

SAME_LAB: Final = 0.02  # of each of L*, a*, b*: results.json keeps six digits (chosen)
NAME_LETTERS: Final = 80  # of a file's name; systems allow 255 bytes


@dataclass(frozen=True, slots=True)
class ApprovalTerms:
    """What people agreed on, beside the zone itself."""

    by: str
    scope: str
    covers: tuple[str, ...] = ("colour", "evenness")  # of `COVERS`
    not_covered: str | None = None
    notes: str | None = None
    date: str | None = None  # ISO 8601; None: now
    until: str | None = None


def approve_zone(
    folder: Path, zone: str, terms: ApprovalTerms, *, stage: Stage | None = None, light: str | None = None
) -> Approval:
    """Freeze an agreed zone as `approvals/NAME.json`.

    Parameters
    ----------
    folder : Path
        A job folder that was measured: its results.json must hold, and fit its photos.
    zone : str
        "board/zone".
    terms : ApprovalTerms
        Who approved, what the approval covers and what it does not.
    stage, light : str, optional
        Which of the zone's photos count; left out: the target's stage, else the latest that was photographed, and the
        only light in which it was.

    Returns
    -------
    Approval
        As written; its `name` is that of the file.

    Raises
    ------
    ApprovalError
        If something is missing, or does not fit.
    JobFileError
        If job.toml does not hold.
    FolderError
        If the file cannot be written.
    """
    _check(terms)
    job = read_job(folder)
    results, results_sha256 = _results_of(job.folder)
    stage, light = _which(job, results, zone, stage, light)
    paths = _paths(job, zone)
    measured = _measure(job, paths, stage, light)
    found = {path: _zone_in(job, measured, path, stage, light) for path in paths}
    approved, photos = _present(found, zone, stage)
    _check_same(results, approved)
    range_boards = tuple(kept_zone(*_present(found, path, stage)) for path in job.target.between)
    files = _files_behind(job, measured)
    earlier = [a for a in approvals_of(job.folder) if a.same_as == (zone, stage, light)]
    approval = Approval(
        format=FORMAT,
        kind=KIND,
        by=terms.by,
        date=terms.date or datetime.now(tz=UTC).replace(microsecond=0).isoformat(),
        until=terms.until,
        scope=terms.scope,
        covers=_covered(terms.covers),
        not_covered=terms.not_covered,
        notes=terms.notes,
        supersedes=_last(earlier),
        zone=kept_zone(approved, photos),
        range_boards=range_boards,
        limits=_limits(job, found),
        job=ApprovedJob(
            name=job.name,
            customer=job.customer,
            job_toml_sha256=sha256_of(job.folder / JOB_FILE) or "",
            results_sha256=results_sha256,
            tables=tables_of(job.as_read, paths, [file.file for file in files]),
            files=files,
        ),
        tool=ToolResult("evenboard", tool_version(), METHOD),
        sha256="",
    )
    return read_approval(_written(job.folder, approval))


def _check(terms: ApprovalTerms) -> None:
    """Raise where terms say nothing, or nothing that makes sense."""
    for name, text in (("who approves", terms.by), ("what the approval covers", terms.scope)):
        if not text.strip() or not text.isprintable():
            raise ApprovalError(f"{name} is not said.", remedy="Say it in words, on one line.")
    for more in (terms.not_covered, terms.notes):
        if more is not None and not more.isprintable():
            raise ApprovalError("what is not covered and notes are one line each.", remedy="Leave out line breaks.")
    unknown = [word for word in terms.covers if word not in COVERS]
    if unknown or not terms.covers:
        raise ApprovalError(
            f"an approval covers {', '.join(COVERS)}, one or more of them; not {', '.join(unknown) or 'nothing'}.",
            remedy="Say more in the scope.",
        )
    given, until = _date("date", terms.date), _date("until", terms.until)
    if until is not None and until < (given or datetime.now(tz=UTC).date()):
        raise ApprovalError(f"the approval would have ended before it began: until {terms.until}.", remedy="")


def _covered(words: Sequence[str]) -> tuple[Covered, ...]:
    return tuple(word for word in COVERS if word in words)


def _date(name: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text).date()
    except ValueError as wrong:
        raise ApprovalError(f"{name}: {text} is no date.", remedy="Write it as 2026-03-31.") from wrong


def _results_of(folder: Path) -> tuple[Results, str]:
    path = folder / RESULTS
    remedy = f"Measure first: evenboard measure {folder}"
    try:
        data = path.read_bytes()
    except OSError as missing:
        raise ApprovalError(f"{path} is not there: nothing was measured yet.", remedy=remedy) from missing
    try:
        return read_results(data), sha256_of(path) or ""
    except ValueError as wrong:
        raise ApprovalError(f"{path} cannot be used: {wrong}.", remedy=remedy) from wrong


def _which(job: Job, results: Results, zone: str, stage: Stage | None, light: str | None) -> tuple[Stage, str | None]:
    """Stage and light at which the zone is approved."""
    try:
        job.zone(zone)
    except KeyError as unknown:
        known = [f"{board.id}/{one.id}" for board in job.boards for one in board.zones]
        near = nearest(zone, known)
        hint = f"Did you mean {near}?" if near else f"There are: {', '.join(known)}."
        raise ApprovalError(f"this job has no zone {zone}.", remedy=hint) from unknown
    seen = [result for result in results.zones if result.id == zone]
    if not seen:
        raise ApprovalError(f"{zone} was not measured in any photo.", remedy="See results.json for why.")
    stages = [name for name in STAGES if any(result.stage == name for result in seen)]
    chosen: Stage = stage or (job.target.stage if job.target.stage and job.target.stage in stages else stages[-1])
    lights = [result.light for result in seen if result.stage == chosen]
    if not lights:
        raise ApprovalError(
            f"no photo shows {zone} {chosen}; there are: {', '.join(stages)}.", remedy="Name one of these."
        )
    if light is None and len(lights) > 1:
        told = ", ".join(name or "one without a name" for name in lights)
        raise ApprovalError(f"{zone} was photographed in several lights: {told}.", remedy="Say which: --light NAME.")
    if light is not None and light not in lights:
        told = ", ".join(name or "one without a name" for name in lights)
        raise ApprovalError(f"no photo shows {zone} {chosen} in the light “{light}”; there are: {told}.", remedy="")
    return chosen, light if light is not None else lights[0]


def _paths(job: Job, zone: str) -> list[str]:
    """The zone, the range boards, and the zones that set the limit of blotch."""
    limits = job.blotch_limit_zones if job.evenness.wish == "even" else ()
    return list(dict.fromkeys([zone, *job.target.between, *limits]))


def _measure(job: Job, paths: Sequence[str], stage: Stage, light: str | None) -> list[MeasuredPhoto]:
    boards = {path.partition("/")[0] for path in paths}
    files = [
        entry.file for entry in job.photos if entry.board in boards and (entry.stage, entry.light) == (stage, light)
    ]
    available = available_corrections(job)
    return counted_once([measure_photo(job, file, available) for file in dict.fromkeys(files)])


def _zone_in(
    job: Job, measured: Sequence[MeasuredPhoto], path: str, stage: Stage, light: str | None
) -> tuple[MeasuredZone, tuple[PhotoOfSight, ...]] | None:
    """One zone over all photos, and what is kept of each of them."""
    board, zone = job.zone(path)
    sights, kept = [], []
    for photo in measured:
        for seen in photo.boards:
            sight = seen.sights.get(zone.id)
            if seen.entry.board != board.id or (seen.entry.stage, seen.entry.light) != (stage, light) or sight is None:
                continue
            result = next(r for r in photo.results if (r.file, r.board) == (seen.entry.file, board.id))
            sha256 = result.sha256 or ""
            sights.append(replace(sight, photo=sha256))
            kept.append(PhotoOfSight(seen.entry.file, sha256, seen.facts.exif.taken, result.findings))
    return (MeasuredZone(board, zone, stage, light, tuple(sights)), tuple(kept)) if sights else None


def _present(
    found: dict[str, tuple[MeasuredZone, tuple[PhotoOfSight, ...]] | None], path: str, stage: str
) -> tuple[MeasuredZone, tuple[PhotoOfSight, ...]]:
    zone = found[path]
    if zone is None:
        raise ApprovalError(
            f"no usable photo shows {path} {stage}, in the light of the approved zone.",
            remedy="Photograph it so, or take it out of [target] or [evenness].",
        )
    return zone


def _check_same(results: Results, zone: MeasuredZone) -> None:
    """results.json must be of these photos: people looked at the report that belongs to it."""
    shown: ZoneResult = next(
        result
        for result in results.zones
        if (result.id, result.stage, result.light) == (zone.id, zone.stage, zone.light)
    )
    off = max(abs(float(a) - b) for a, b in zip(zone.Lab, shown.lab, strict=True))
    if off > SAME_LAB or results.tool.method != METHOD:
        raise ApprovalError(
            f"{RESULTS} is not of this job as it stands: {zone.id} now differs from it by {off:.2f}.",
            remedy="Measure the job anew, look at the report, then approve.",
        )


def _limits(job: Job, found: dict[str, tuple[MeasuredZone, tuple[PhotoOfSight, ...]] | None]) -> ApprovedLimits:
    wish, tolerance = job.evenness.wish, job.target.tolerance
    if wish == "lively":
        return ApprovedLimits(tolerance, wish, None, None, "agreed")
    if not job.blotch_limit_zones:
        return ApprovedLimits(tolerance, wish, job.evenness.limit, 0.0, "agreed")
    zones = [
        one[0] for path in job.blotch_limit_zones if (one := found[path]) is not None and one[0].blotch is not None
    ]
    if len(zones) < len(job.blotch_limit_zones):
        return ApprovedLimits(tolerance, wish, None, None, ", ".join(job.blotch_limit_zones))
    worst = max(zones, key=lambda zone: zone.blotch or 0.0)
    return ApprovedLimits(tolerance, wish, worst.blotch, worst.blotch_u95, worst.id)


def _files_behind(job: Job, measured: Sequence[MeasuredPhoto]) -> tuple[ApprovedFile, ...]:
    """Photos, plain sheets, exposure pairs, the chart and its values: all that the numbers come from."""
    used = {seen.entry.file for photo in measured for seen in photo.boards}
    names = [name for entry in job.photos if entry.file in used for name in _with_company(entry)]
    if job.correction is not None and job.correction.photo:
        names.append(job.correction.photo)
    names += [job.reference.values] if job.reference.values else []
    hashes = {name: sha256_of(job.folder / name) for name in dict.fromkeys(names)}
    return tuple(ApprovedFile(name, sha256) for name, sha256 in hashes.items() if sha256 is not None)


def _with_company(entry: PhotoEntry) -> list[str]:
    return [name for name in (entry.file, entry.flat, entry.exposure_pair) if name is not None]


def _last(earlier: Sequence[Approval]) -> str | None:
    current = current_approvals(tuple(earlier))
    return current[-1].name if current else None


def _written(folder: Path, approval: Approval) -> Path:
    """Write a file that is not there yet, whole or not at all."""
    target = folder / FOLDER
    content = approval_json(approval)
    try:
        target.mkdir(exist_ok=True)
        aside = target / f".{os.getpid()}"
        try:
            with aside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            return _linked(aside, target, _name_of(approval))
        finally:
            aside.unlink(missing_ok=True)
    except OSError as error:
        reason = error.strerror or str(error)
        raise FolderError(f"{target} cannot be written: {reason}.", remedy="See to its permissions.") from error


def _linked(aside: Path, folder: Path, name: str) -> Path:
    """Give the file its name in one step that refuses when the name is taken; then the next name."""
    for number in range(1, 1000):
        path = folder / (f"{name}.json" if number == 1 else f"{name}-{number}.json")
        try:
            os.link(aside, path)
        except FileExistsError:
            continue
        except OSError:  # some memory sticks and network drives know no links
            try:
                with path.open("xb") as file:
                    file.write(aside.read_bytes())
            except FileExistsError:
                continue
        return path
    raise FolderError(f"{folder} holds a thousand approvals called {name}.", remedy="Give another date.")


def _name_of(approval: Approval) -> str:
    zone = approval.zone
    words = "-".join(part for part in (zone.id, zone.stage, zone.light or "") if part)
    return f"{approval.date[:10]}-{re.sub(r'[^A-Za-z0-9]+', '-', words).strip('-')}"[:NAME_LETTERS]
