"""Can this photo be used, and what should be changed if not?"""

from dataclasses import dataclass
from pathlib import Path

from analyzer.errors import AnalyzerError
from analyzer.job import Job, PhotoEntry
from analyzer.jobfile import JOB_FILE, read_job
from analyzer.results import FindingResult
from calibration.errors import CalibrationError, PhotoError
from calibration.findings import Finding, Severity, finding_of
from calibration.flatboard import photo_findings
from calibration.photo import open_photo
from calibration.place import locate


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """What the checks noticed in one photo."""

    file: str
    usable: bool
    findings: tuple[FindingResult, ...]


def check_photo(path: Path) -> PhotoCheck:
    """Check one photo, without measuring it.

    A photo that a job file names, in its own folder or the one above, is checked with what that job says of it:
    the board's size, and corners or card where they are given. Any other photo is checked for a board of any size.

    Parameters
    ----------
    path : Path
        The photo.

    Returns
    -------
    PhotoCheck
        Unusable when the photo, the board or the card cannot serve; nothing is raised for that.
    """
    job, entries = _named_by_a_job(path)
    try:
        photo = open_photo(path)
    except PhotoError as refused:
        return _checked(path, [finding_of(refused)])
    found: list[Finding] = list(photo.findings)
    for entry in entries or (None,):
        size_mm = None
        corners = card = None
        if job is not None and entry is not None:
            board = job.board(entry.board)
            size_mm, corners, card = (board.length_mm, board.width_mm), entry.corners, entry.card
        place = locate(photo, size_mm, corners=corners, card=card)
        try:
            found += photo_findings(photo, place, size_mm)
        except CalibrationError as refused:
            found.append(finding_of(refused))
    return _checked(path, list(dict.fromkeys(found)))


def _named_by_a_job(path: Path) -> tuple[Job | None, list[PhotoEntry]]:
    """The job that names a photo, and its entries for it; a job file that does not hold is no reason to stop."""
    for folder in (path.resolve().parent, path.resolve().parent.parent):
        if not (folder / JOB_FILE).is_file():
            continue
        try:
            job = read_job(folder)
        except AnalyzerError:
            return None, []
        entries = [entry for entry in job.photos if (folder / entry.file).resolve() == path.resolve()]
        if entries:
            return job, entries
    return None, []


def _checked(path: Path, findings: list[Finding]) -> PhotoCheck:
    return PhotoCheck(
        str(path),
        all(finding.severity is not Severity.UNUSABLE for finding in findings),
        tuple(FindingResult(f.code, f.severity.value, f.message, f.remedy) for f in findings),
    )
