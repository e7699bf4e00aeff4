"""What of a job could not be measured?  (A zone that was never photographed was not tried.)"""

from analyzer.job import Job
from analyzer.results import FindingResult, PhotoResult, Results


def unmeasured(job: Job, results: Results) -> tuple[str, ...]:
    """Say which photos and zones of a job are missing from its results.

    Parameters
    ----------
    job : Job
        What was to be measured.
    results : Results
        What was.

    Returns
    -------
    tuple of str
        One sentence each, in the order of the job file; empty when all was measured. A zone is named only where a
        photo of its board at that stage, in that light, could be used: the others are missing with their photos.
    """
    photos = [_of_photo(photo) for photo in results.photos if not photo.usable]
    usable = {(photo.board, photo.stage, photo.light) for photo in results.photos if photo.usable}
    measured = {(zone.board, zone.zone, zone.stage, zone.light) for zone in results.zones}
    zones = [
        f"Zone {board.id}/{zone.id} ({stage}{f', {light}' if light else ''}) was not measured."
        for board in job.boards
        for stage, light in dict.fromkeys((entry.stage, entry.light) for entry in job.photos if entry.board == board.id)
        if (board.id, stage, light) in usable
        for zone in board.zones
        if (board.id, zone.id, stage, light) not in measured
    ]
    return (*photos, *zones)


def _of_photo(photo: PhotoResult) -> str:
    """Say why a photo is missing."""
    reasons = [_told(finding) for finding in photo.findings if finding.severity == "unusable"]
    return " ".join([f"{photo.file} (board {photo.board}) was not measured.", *reasons])


def _told(finding: FindingResult) -> str:
    """Message and remedy of a finding."""
    return f"{finding.message} {finding.remedy}".strip()
