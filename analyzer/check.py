"""Can this photo be used, and what should be changed if not?"""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import AnalyzerError
from analyzer.job import Job, PhotoEntry, Quad
from analyzer.jobfile import JOB_FILE, read_job
from analyzer.results import FindingResult
from calibration.errors import CalibrationError, PhotoError
from calibration.findings import Finding, Severity, finding_of
from calibration.flatboard import CHECK_PX, TOLD_REDUCED, photo_findings, sheet_findings
from calibration.photo import Photo, open_photo, open_reduced
from calibration.place import locate, locate_all
from calibration.strip_search import Wanted

WORKERS = 2  # photos at a time: decoding leaves Python's lock

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """What the checks noticed in one photo."""

    file: str
    usable: bool
    findings: tuple[FindingResult, ...]


def check_photos(paths: Iterable[Path], *, progress: Progress | None = None) -> tuple[PhotoCheck, ...]:
    """Check several photos, two at a time.

    Parameters
    ----------
    paths : iterable of Path
        Photos. A job folder stands for all photos that its job names, in that order.
    progress : callable, optional
        Told in a few words what is being done, photo by photo.

    Returns
    -------
    tuple of PhotoCheck
        One for each photo, in the order given, as `check_photo` gives it.

    Raises
    ------
    JobFileError
        If the job file of a folder does not hold.
    """
    photos = list(dict.fromkeys(photo for path in paths for photo in _photos_in(Path(path))))
    with ThreadPoolExecutor(WORKERS) as pool:
        tasks = [pool.submit(check_photo, photo) for photo in photos]
        checks = []
        for number, (photo, task) in enumerate(zip(photos, tasks, strict=True), start=1):
            if progress:
                progress(f"photo {number} of {len(photos)}: {photo}")
            checks.append(task.result())
    return tuple(checks)


def _photos_in(path: Path) -> list[Path]:
    """The photos of a job folder; any other path stands for itself."""
    if not (path / JOB_FILE).is_file():
        return [path]
    entries = read_job(path).photos
    return [path / file for entry in entries for file in (entry.file, entry.flat) if file]


def check_photo(path: Path) -> PhotoCheck:
    """Check one photo, without measuring it.

    A photo that a job file names, in its own folder or the one above, is checked with what that job says of it:
    the board's size, and corners or card where they are given; a plain sheet is checked against its board's photo. Any
    other photo is checked for a board of any size.

    Parameters
    ----------
    path : Path
        The photo.

    Returns
    -------
    PhotoCheck
        Unusable when the photo, the board or the card cannot serve; nothing is raised for that.
    """
    job = _job_of(path)
    entries = [entry for entry in job.photos if _is_file(job, entry.file, path)] if job else []
    as_sheet = [entry for entry in job.photos if entry.flat and _is_file(job, entry.flat, path)] if job else []
    try:
        if job and as_sheet and not entries:
            return _checked_sheet(job, as_sheet[0], open_photo(path), path)
        photo = open_reduced(path, CHECK_PX)
        found = _board_findings(photo, job, entries)
        if photo.reduced > 1 and not TOLD_REDUCED.issuperset(finding.code for finding in found):
            photo = open_photo(path)  # something is amiss, or may be: look closer
            found = _board_findings(photo, job, entries)
    except PhotoError as refused:
        return _checked(path, [finding_of(refused)])
    return _checked(path, list(dict.fromkeys([*photo.findings, *found])))


def _board_findings(photo: Photo, job: Job | None, entries: Sequence[PhotoEntry]) -> list[Finding]:
    """What is to be said of all boards of a photo; without a job, of any board."""
    named = [job.board(entry.board) for entry in entries] if job else []
    wanted = [
        Wanted((board.length_mm, board.width_mm), _in_copy(entry.corners, photo), board.id)
        for entry, board in zip(entries, named, strict=True)
    ] or [Wanted(None)]
    card = next((entry.card for entry in entries if entry.card is not None), None)
    found: list[Finding] = []
    for board, place in zip(wanted, locate_all(photo, wanted, _in_copy(card, photo)), strict=True):
        try:
            found += photo_findings(photo, place, board.size_mm)
        except CalibrationError as refused:
            found.append(finding_of(refused))
    return found


def _in_copy(corners_px: Quad | None, photo: Photo) -> NDArray[np.float64] | None:
    """Corners of the whole photo in pixels of a reduced one."""
    return None if corners_px is None else (np.array(corners_px) + 0.5) / photo.reduced - 0.5


def _checked_sheet(job: Job, entry: PhotoEntry, sheet: Photo, path: Path) -> PhotoCheck:
    """Check a photo of a plain sheet against the photo of the board that it is to even out."""
    board = job.board(entry.board)
    size_mm = board.length_mm, board.width_mm
    photo = open_photo(job.folder / entry.file)
    place = locate(photo, size_mm, corners=entry.corners, card=entry.card)
    try:
        found = sheet_findings(sheet, photo, place, size_mm)
    except CalibrationError as refused:
        return _checked(path, [finding_of(refused)])
    checked = _checked(path, [*sheet.findings, *found])
    return replace(checked, usable=checked.usable and all(finding.code != "flat-unusable" for finding in found))


def _job_of(path: Path) -> Job | None:
    """The job that a photo belongs to, by its folder; a job file that does not hold is no reason to stop."""
    for folder in (path.resolve().parent, path.resolve().parent.parent):
        if (folder / JOB_FILE).is_file():
            try:
                return read_job(folder)
            except AnalyzerError:
                return None
    return None


def _is_file(job: Job, file: str, path: Path) -> bool:
    return (job.folder / file).resolve() == path.resolve()


def _checked(path: Path, findings: list[Finding]) -> PhotoCheck:
    return PhotoCheck(
        str(path),
        all(finding.severity is not Severity.UNUSABLE for finding in findings),
        tuple(FindingResult(f.code, f.severity.value, f.message, f.remedy) for f in findings),
    )
