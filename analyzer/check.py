"""Can this photo be used, and what should be changed if not?"""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.consistency import PhotoFacts, consistency_findings
from analyzer.errors import AnalyzerError
from analyzer.job import Job, PhotoEntry
from analyzer.jobfile import JOB_FILE, read_job
from analyzer.photos import boards_in_photo, finding_results, known_reference
from analyzer.results import FindingResult
from calibration.errors import CalibrationError, PhotoError
from calibration.findings import Finding, Severity, finding, finding_of
from calibration.flatboard import CHECK_PX, TOLD_REDUCED, photo_findings, sheet_findings
from calibration.known import colour_chart
from calibration.photo import Photo, open_photo, open_reduced
from calibration.place import locate, locate_all
from calibration.reference_reading import gray_RGB_of, read_reference

WORKERS = 2  # photos at a time: decoding leaves Python's lock

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """What the checks noticed in one photo."""

    file: str
    usable: bool
    findings: tuple[FindingResult, ...]


def check_photos(paths: Iterable[Path], *, progress: Progress | None = None) -> tuple[PhotoCheck, ...]:
    """Check several photos, two at a time; those of one job are compared with each other as well.

    Parameters
    ----------
    paths : iterable of Path
        Photos. A job folder stands for all photos that its job names, in that order, and that are there already.
    progress : callable, optional
        Told in a few words what is being done, photo by photo.

    Returns
    -------
    tuple of PhotoCheck
        One for each photo, in the order given, as `check_photo` gives it.

    Raises
    ------
    JobFileError
        If the job file of a folder does not hold, or none of its photos is there.
    """
    photos = list(dict.fromkeys(photo for path in paths for photo in _photos_in(Path(path))))
    with ThreadPoolExecutor(WORKERS) as pool:
        tasks = [pool.submit(look_at, photo) for photo in photos]
        looked = []
        for number, (photo, task) in enumerate(zip(photos, tasks, strict=True), start=1):
            if progress:
                progress(f"photo {number} of {len(photos)}: {photo}")
            looked.append(task.result())
    return _compared(looked)


def _photos_in(path: Path) -> list[Path]:
    """The photos of a job folder, as far as they are there; any other path stands for itself."""
    if not (path / JOB_FILE).is_file():
        return [path]
    named = [
        path / file
        for entry in read_job(path, while_shooting=True).photos
        for file in (entry.file, entry.flat)
        if file is not None
    ]
    there = [photo for photo in named if photo.is_file()]
    if named and not there:
        read_job(path)  # says which photos are missing
    return there


def _compared(looked: Sequence["Look"]) -> tuple[PhotoCheck, ...]:
    """What was seen of each photo, with what the comparison of those of each job says."""
    checks = [look.check for look in looked]
    for folder in dict.fromkeys(look.job_folder for look in looked):
        of_job = [
            (index, facts) for index, look in enumerate(looked) if look.job_folder == folder for facts in look.facts
        ]
        for (index, _), found in zip(of_job, consistency_findings([facts for _, facts in of_job]), strict=True):
            known = checks[index].findings
            more = dict.fromkeys(finding for finding in finding_results(found) if finding not in known)
            checks[index] = replace(checks[index], findings=(*known, *more))
    return tuple(checks)


def check_photo(path: Path) -> PhotoCheck:
    """Check one photo, without measuring it.

    A photo that a job file names, in its own folder or the one above, is checked with what that job says of it:
    the board's size, the reference, and corners or card where they are given; a plain sheet is checked against its
    board's photo. The job's other photos need not have been taken. Any other photo is checked for a board of any size,
    with a gray card or else a 24-patch chart.

    Parameters
    ----------
    path : Path
        The photo.

    Returns
    -------
    PhotoCheck
        Unusable when the photo, the board or the reference cannot serve; nothing is raised for that.
    """
    return look_at(path).check


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What was seen of one photo."""

    check: PhotoCheck
    job_folder: Path | None = None
    facts: tuple[PhotoFacts, ...] = ()  # of its boards, where a job names them and they can be measured


def look_at(path: Path) -> Look:
    """Check one photo as `check_photo` does, and keep what it is compared with others by."""
    job = _job_of(path)
    entries = [entry for entry in job.photos if _is_file(job, entry.file, path)] if job else []
    as_sheet = [entry for entry in job.photos if entry.flat and _is_file(job, entry.flat, path)] if job else []
    try:
        if job and as_sheet and not entries:
            return Look(_checked_sheet(job, as_sheet[0], open_photo(path), path))
        photo = open_reduced(path, CHECK_PX)
        found, facts = _board_findings(photo, job, entries, str(path))
        if photo.reduced > 1 and not TOLD_REDUCED.issuperset(finding.code for finding in found):
            photo = open_photo(path)  # something is amiss, or may be: look closer
            found, facts = _board_findings(photo, job, entries, str(path))
    except PhotoError as refused:
        return Look(_checked(path, [finding_of(refused)]))
    check = _checked(path, list(dict.fromkeys([*photo.findings, *found])))
    return Look(check, job.folder if job else None, facts)


def _board_findings(
    photo: Photo, job: Job | None, entries: Sequence[PhotoEntry], file: str
) -> tuple[list[Finding], tuple[PhotoFacts, ...]]:
    """What is to be said of all boards of a photo, and what each shows; without a job, of any board."""
    if job is None or not entries:
        return _findings_without_job(photo), ()
    wanted, card = boards_in_photo(job, entries)
    wanted = [replace(board, corners=_in_copy(board.corners, photo)) for board in wanted]
    found: list[Finding] = []
    facts: list[PhotoFacts] = []
    places = locate_all(photo, wanted, _in_copy(card, photo), known_reference(job))
    for entry, board, place in zip(entries, wanted, places, strict=True):
        try:
            found += photo_findings(photo, place, board.size_mm)
        except CalibrationError as refused:
            found.append(finding_of(refused))
            continue
        gray_RGB = gray_RGB_of(read_reference(photo, place))
        if gray_RGB is not None:
            facts.append(PhotoFacts(file, photo.exif, gray_RGB, entry.light, entry.board, entry.stage))
    return found, tuple(facts)


def _findings_without_job(photo: Photo) -> list[Finding]:
    """With a gray card; where there is none, with a chart."""
    place = locate(photo, None)
    seen: list[Finding] = []
    if place.card is None and place.board is not None:
        with_chart = locate(photo, None, known=colour_chart())
        if with_chart.card is not None:
            place, seen = with_chart, [finding("chart-seen")]
    try:
        return [*seen, *photo_findings(photo, place, None)]
    except CalibrationError as refused:
        return [*seen, finding_of(refused)]


def _in_copy(corners_px: ArrayLike | None, photo: Photo) -> NDArray[np.float64] | None:
    """Corners of the whole photo in pixels of a reduced one."""
    if corners_px is None:
        return None
    return (np.asarray(corners_px, dtype=np.float64) + 0.5) / photo.reduced - 0.5


def _checked_sheet(job: Job, entry: PhotoEntry, sheet: Photo, path: Path) -> PhotoCheck:
    """Check a photo of a plain sheet against the photo of the board that it is to even out, once that is there."""
    if not (job.folder / entry.file).is_file():
        return _checked(path, list(sheet.findings))
    board = job.board(entry.board)
    photo = open_photo(job.folder / entry.file)
    entries = [other for other in job.photos if other.file == entry.file]
    places = locate_all(photo, *boards_in_photo(job, entries), known_reference(job))
    try:
        found = sheet_findings(sheet, photo, places[entries.index(entry)], (board.length_mm, board.width_mm))
    except CalibrationError as refused:
        return _checked(path, [finding_of(refused)])
    checked = _checked(path, [*sheet.findings, *found])
    return replace(checked, usable=checked.usable and all(finding.code != "flat-unusable" for finding in found))


def _job_of(path: Path) -> Job | None:
    """The job that a photo belongs to, by its folder; a job file that does not hold is no reason to stop."""
    for folder in (path.resolve().parent, path.resolve().parent.parent):
        if (folder / JOB_FILE).is_file():
            try:
                return read_job(folder, while_shooting=True)
            except AnalyzerError:
                return None
    return None


def _is_file(job: Job, file: str, path: Path) -> bool:
    return (job.folder / file).resolve() == path.resolve()


def _checked(path: Path, findings: Sequence[Finding]) -> PhotoCheck:
    return PhotoCheck(
        str(path),
        all(finding.severity is not Severity.UNUSABLE for finding in findings),
        finding_results(findings),
    )
