"""The way through: photos of production parts in, each held against what was approved, and what the run says.

Nothing is written here (write.py does).
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Final

import numpy as np

from analyzer.approval.first_article import first_article
from analyzer.approval.judge_part import PartJudged, is_other_species, judge_part, words_of
from analyzer.approval.part_photo import PartSeen, PhotoSeen, see_parts
from analyzer.approval.results import (
    FORMAT,
    KIND,
    ApprovedResult,
    FirstArticleResult,
    PartPhotoResult,
    PartResult,
    Triple,
    Verification,
)
from analyzer.approval.run import moment_of, run_of
from analyzer.approval.wanted import PhotoWanted, VerifyRequest
from analyzer.approval_changes import changes_since
from analyzer.approvals import Approval, ApprovalFile, approval_files, current_approvals
from analyzer.approved_zone import difference_to_approved
from analyzer.correction_choice import Available, available_corrections
from analyzer.errors import ApprovalError
from analyzer.guard_band import Z_975
from analyzer.job import Job
from analyzer.jobfile import read_job
from analyzer.measure import METHOD
from analyzer.results import ToolResult
from analyzer.uncertainty import absolute_budget, covariance_of
from analyzer.version import tool_version
from analyzer.words import half_width
from calibration.difference import components, delta_E_ab

WORKERS: Final = 2  # photos at a time, as when a job is measured

Progress = Callable[[str], None]


class Seen:
    """A verification with what its page shows beside the numbers: the photos, small, with the parts' outlines."""

    def __init__(self, verification: Verification, photos: Sequence[PhotoSeen]) -> None:
        self.verification = verification
        self.photos = tuple(photos)


def verify_parts(
    folder: Path, request: VerifyRequest, *, progress: Progress | None = None, now: datetime | None = None
) -> Seen:
    """Hold the parts in some photos against the approvals of a job.

    Parameters
    ----------
    folder : Path
        The job folder, with at least one approval.
    request : VerifyRequest
        Photos and parts, and in which way to look at them.
    progress : callable, optional
        Told in a few words what is being done, photo by photo.
    now : datetime, optional
        Left out: the present moment.

    Returns
    -------
    Seen
        A photo that cannot be measured is in the results, with its finding; the others are measured.

    Raises
    ------
    ApprovalError
        If there is no approval that holds, or it is not clear which one is meant.
    JobFileError
        If job.toml does not hold.
    """
    now = now or datetime.now(tz=UTC)
    job = read_job(folder)
    if not request.photos:
        raise ApprovalError("no photo was named.", remedy="Name photos of the parts, or write verify.toml.")
    approvals = _in_force(approval_files(job.folder), request.zone)
    chosen = [_for_photo(approvals, wanted) for wanted in request.photos]
    photos = [_with_conditions(job.folder, wanted, one) for wanted, one in zip(request.photos, chosen, strict=True)]
    available = available_corrections(job)
    seen = _see(job, photos, chosen, available, progress or (lambda _: None))
    ordered, by_time = _in_order(list(zip(seen, chosen, strict=True)))
    parts: list[PartResult] = []
    for photo, one in ordered:
        for part in photo.parts:
            approval = _for_part(one, part)
            parts.append(_part_result(photo, part, approval, len(parts) + 1, aged=request.mode == "aged"))
    used = {part.approval for part in parts}
    verification = Verification(
        format=FORMAT,
        kind=KIND,
        made=now.replace(microsecond=0).isoformat(),
        mode=request.mode,
        job=job.name,
        approvals=tuple(_approved(job.folder, one, now.date()) for one in approvals if one.name in used),
        photos=tuple(_photo_result(photo) for photo, _ in ordered),
        parts=tuple(parts),
        run=run_of(parts, by_time=by_time) if request.mode == "run" else None,
        first_article=_first(parts, approvals) if request.mode == "first article" else None,
        tool=ToolResult("evenboard", tool_version(), METHOD),
        boards=tuple(_board_words(photo, one) for photo, one in ordered if photo.approved is not None),
    )
    return Seen(verification, [photo for photo, _ in ordered])


def _in_force(files: Sequence[ApprovalFile], zone: str | None) -> tuple[Approval, ...]:
    """Approvals that no later one supersedes; none of them may have been changed by hand."""
    readable = tuple(file.approval for file in files if file.approval is not None)
    faults = [f"{file.path.name}: {file.fault}" for file in files if file.approval is None]
    if not readable:
        told = f" What lies there cannot be used: {'; '.join(faults)}" if faults else ""
        raise ApprovalError(
            f"nothing was approved in this job yet.{told}",
            remedy="Approve the agreed zone: evenboard approve DIR BOARD/ZONE --by NAME --scope WORDS.",
        )
    current = [one for one in current_approvals(readable) if zone is None or one.zone.id == zone]
    edited = [one.name for one in current if not one.is_whole]
    if edited:
        raise ApprovalError(
            f"the approval {edited[0]} was changed after it was written; nothing is held against it.",
            remedy="Take the file from a backup, or approve the zone anew.",
        )
    if not current:
        there = ", ".join(sorted({one.zone.id for one in readable}))
        raise ApprovalError(
            f"{zone} was not approved; approved are: {there}.", remedy="Approve it first, or name another."
        )
    return tuple(current)


def _for_photo(approvals: Sequence[Approval], wanted: PhotoWanted) -> tuple[Approval, ...]:
    """The approvals that a photo's parts may be held against, by name, stage and light."""
    if wanted.approval is not None:
        named = tuple(one for one in approvals if one.name == wanted.approval)
        if not named:
            there = ", ".join(one.name for one in approvals)
            raise ApprovalError(f"no approval in force is called {wanted.approval}; there are: {there}.", remedy="")
        return named
    fitting = [one for one in approvals if wanted.stage is None or one.zone.stage == wanted.stage]
    if wanted.board is not None:
        fitting = [one for one in fitting if one.zone.id.partition("/")[0] == wanted.board]
    if not fitting:
        stages = ", ".join(sorted({f"{one.zone.id} {one.zone.stage}" for one in approvals}))
        board = f" on board {wanted.board}" if wanted.board else ""
        raise ApprovalError(f"nothing was approved {wanted.stage or ''}{board}; approved are: {stages}.", remedy="")
    if len({one.zone.stage for one in fitting}) > 1:
        stages = ", ".join(sorted({one.zone.stage for one in fitting}))
        raise ApprovalError(f"{wanted.file}: approvals are of several stages: {stages}.", remedy="Say which: --stage.")
    in_light = [one for one in fitting if wanted.light is not None and one.zone.light == wanted.light]
    fitting = in_light or fitting
    if len(fitting) > 1 and len({one.zone.species for one in fitting}) < len(fitting):
        zones = ", ".join(f"{one.zone.id} ({one.zone.light or 'no light named'})" for one in fitting)
        raise ApprovalError(f"{wanted.file}: several approvals fit: {zones}.", remedy="Say which: --zone BOARD/ZONE.")
    return tuple(fitting)


def _for_part(approvals: tuple[Approval, ...], part: PartSeen) -> Approval:
    """Of several woods, the approval of the part's own."""
    if len(approvals) == 1:
        return approvals[0]
    own = [one for one in approvals if part.wanted.species is not None and not is_other_species(part, one)]
    if len(own) == 1:
        return own[0]
    zones = ", ".join(f"{one.zone.id} on {one.zone.species}" for one in approvals)
    raise ApprovalError(
        f"part {part.wanted.id}: its wood does not say which approval counts: {zones}.",
        remedy="Say its species, or name the zone: --zone BOARD/ZONE.",
    )


def _with_conditions(folder: Path, wanted: PhotoWanted, approvals: tuple[Approval, ...]) -> PhotoWanted:
    """A photo whose stage is not said is taken to be of the approval's: it is what is to be verified."""
    return replace(wanted, file=_name_in(folder, wanted), stage=wanted.stage or approvals[0].zone.stage)


def _name_in(folder: Path, wanted: PhotoWanted) -> str:
    """A photo inside the job folder goes by its place there, wherever the command was run."""
    try:
        return wanted.path.resolve().relative_to(folder.resolve()).as_posix()
    except ValueError:
        return wanted.file


def _see(
    job: Job,
    photos: Sequence[PhotoWanted],
    approvals: Sequence[tuple[Approval, ...]],
    available: Available,
    progress: Progress,
) -> list[PhotoSeen]:
    with ThreadPoolExecutor(min(WORKERS, len(photos))) as pool:
        tasks = [
            pool.submit(see_parts, job, wanted, available, _zone_beside(wanted, of_photo))
            for wanted, of_photo in zip(photos, approvals, strict=True)
        ]
        seen = []
        for number, (wanted, task) in enumerate(zip(photos, tasks, strict=True), start=1):
            progress(f"photo {number} of {len(photos)}: {wanted.file}")
            seen.append(task.result())
    return seen


def _zone_beside(wanted: PhotoWanted, approvals: tuple[Approval, ...]) -> str | None:
    return next((one.zone.id for one in approvals if one.zone.id.partition("/")[0] == wanted.board), None)


def _in_order(
    seen: list[tuple[PhotoSeen, tuple[Approval, ...]]],
) -> tuple[list[tuple[PhotoSeen, tuple[Approval, ...]]], bool]:
    """In the order taken where every photo says when; else as given."""
    moments = [moment_of(photo.taken) for photo, _ in seen]
    known = [moment for moment in moments if moment is not None]
    if len(known) < len(seen):
        return seen, False
    order = sorted(range(len(seen)), key=lambda k: known[k])
    return [seen[k] for k in order], True


def _part_result(photo: PhotoSeen, part: PartSeen, approval: Approval, place: int, *, aged: bool) -> PartResult:
    zone, wanted = part.zone, part.wanted
    nothing = PartResult(
        id=wanted.id,
        photo=photo.wanted.file,
        taken=photo.taken,
        place=place,
        species=wanted.species,
        other_species=is_other_species(part, approval),
        sheen=wanted.sheen,
        approval=approval.name,
        scale=part.scale,
        located_by=part.located_by,
        compared=None,
        lab=None,
        lab_u95=None,
        de00=None,
        de00_u95=None,
        de76=None,
        dl=None,
        da=None,
        db=None,
        dc=None,
        dh=None,
        sources={},
        directions=(),
        colour="cannot tell",
        blotch=None,
        blotch_u95=None,
        figure=None,
        evenness="cannot tell",
        overall="cannot tell",
        says="not measured",
        settles="",
        days=_days(approval, photo),
        findings=part.findings,
    )
    if zone is None:
        return nothing
    judged = judge_part(photo, part, approval, aged=aged)
    measured = replace(
        nothing,
        lab=_triple(zone.Lab),
        lab_u95=_triple(Z_975 * np.sqrt(np.diag(covariance_of(absolute_budget(zone.sights))))),
        compared=judged.compared,
        directions=tuple(way.word for way in judged.directions),
        colour=judged.colour,
        blotch=zone.blotch,
        blotch_u95=zone.blotch_u95,
        figure=zone.figure,
        evenness=judged.evenness,
        overall=judged.overall,
        says=_aged_words(judged, nothing.days) if aged else judged.says,
        settles=judged.settles,
    )
    found = judged.to_approved
    if found is None:
        return measured
    parts = components(found.Lab_a, found.Lab_b)
    dL, da, db = (float(value) for value in found.delta_Lab)
    return replace(
        measured,
        de00=found.de00,
        de00_u95=found.de00_u95,
        de76=float(delta_E_ab(found.Lab_a, found.Lab_b)),
        dl=dL,
        da=da,
        db=db,
        dc=float(parts.dC),
        dh=float(parts.dH),
        sources=found.sources,
    )


def _aged_words(judged: PartJudged, days: int | None) -> str:
    """How an old piece has moved; how it goes on is not foretold."""
    since = "since the approval" if days is None else f"in the {days} days since the approved photo"
    found = judged.to_approved
    if found is None:
        return judged.says
    u95 = "unknown" if found.de00_u95 is None else half_width(found.de00_u95)
    if found.de00_u95 is not None and found.de00 <= found.de00_u95:
        moved = "no change that can be told"
    else:
        moved = words_of(judged.directions) or "changed, in no one direction that can be named"
    return f"{since}: {moved} ({found.de00:.1f} ± {u95}); how it goes on from here is not foretold"


def _days(approval: Approval, photo: PhotoSeen) -> int | None:
    """Days between the approved photo and this one, by their cameras' clocks; else the date of the approval counts."""
    now = moment_of(photo.taken)
    then = moment_of(approval.zone.sights[0].taken) or moment_of(approval.date)
    return None if now is None or then is None else (now - then).days


def _approved(folder: Path, approval: Approval, today: date) -> ApprovedResult:
    zone, limits = approval.zone, approval.limits
    changes = changes_since(folder, approval, method=METHOD, today=today)
    return ApprovedResult(
        name=approval.name,
        sha256=approval.sha256,
        zone=zone.id,
        species=zone.species,
        treatment=zone.treatment,
        stain=zone.stain,
        sheen=zone.sheen,
        stage=zone.stage,
        light=zone.light,
        by=approval.by,
        date=approval.date,
        until=approval.until,
        scope=approval.scope,
        covers=approval.covers,
        not_covered=approval.not_covered,
        lab=zone.lab,
        range_labs=tuple(kept.lab for kept in approval.range_boards),
        tolerance=limits.tolerance,
        blotch_limit=limits.blotch,
        blotch_limit_u95=limits.blotch_u95,
        changes=tuple(change.says for change in changes if change.matters),
        notes_of_change=tuple(change.says for change in changes if not change.matters),
    )


def _photo_result(photo: PhotoSeen) -> PartPhotoResult:
    wanted = photo.wanted
    return PartPhotoResult(
        wanted.file,
        photo.sha256,
        photo.taken,
        photo.camera,
        wanted.light,
        wanted.stage,
        photo.is_usable,
        photo.findings,
    )


def _first(parts: Sequence[PartResult], approvals: Sequence[Approval]) -> FirstArticleResult:
    approval = next(one for one in approvals if one.name == parts[0].approval)
    return first_article(parts[0], approval)


def _board_words(photo: PhotoSeen, approvals: tuple[Approval, ...]) -> str:
    """How the approved board itself, in a photo of parts, compares with its approval."""
    zone = photo.approved
    approval = next(one for one in approvals if zone is not None and one.zone.id == zone.id)
    if zone is None:
        raise ValueError("_board_words: no approved board in this photo")
    found = difference_to_approved(replace(approval, range_boards=()), zone)
    u95 = "unknown" if found.de00_u95 is None else half_width(found.de00_u95)
    told = found.de00_u95 is not None and found.de00 > found.de00_u95
    verdict = "it has changed since, or the photos differ" if told else "no change that can be told"
    return f"{photo.wanted.file}: board {zone.board.id} is {found.de00:.1f} ± {u95} from its approval; {verdict}"


def _triple(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Triple:
    first, second, third = (float(value) for value in values)
    return first, second, third
