"""Which photos are repeats, and which are only copies of one file?"""

from collections.abc import Sequence
from dataclasses import replace

from analyzer.photos import MeasuredPhoto, finding_results
from analyzer.results import PhotoResult
from calibration.findings import finding


def counted_once(photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """Leave a board out of a photo whose file was seen before with the same board, stage and light.

    Parameters
    ----------
    photos : sequence of MeasuredPhoto
        In the order of the job file.

    Returns
    -------
    list of MeasuredPhoto
        The same photos; a copy has a finding, and its boards are not pooled.
    """
    first_seen: dict[tuple[str | None, str, str, str | None], str] = {}
    kept = []
    for photo in photos:
        copies = {}
        for result in photo.results:
            other = first_seen.setdefault((result.sha256, result.board, result.stage, result.light), result.file)
            if result.usable and other != result.file:
                copies[result.board] = other
        kept.append(_without(photo, copies) if copies else photo)
    return kept


def _without(photo: MeasuredPhoto, copies: dict[str, str]) -> MeasuredPhoto:
    return replace(
        photo,
        results=tuple(
            _marked(result, copies[result.board]) if result.board in copies else result for result in photo.results
        ),
        boards=tuple(board for board in photo.boards if board.entry.board not in copies),
    )


def _marked(result: PhotoResult, other: str) -> PhotoResult:
    return replace(result, findings=(*result.findings, *finding_results((finding("same-photo", other=other),))))
