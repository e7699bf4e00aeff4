"""What does one photo of a job say?  Every board in it, flat, with its zones; or why not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.consistency import PhotoFacts
from analyzer.correction_choice import NOT_ASKED_FOR, Available, Learned, choose, learned_from
from analyzer.job import Board, Job, PhotoEntry, Quad
from analyzer.job_reference import known_of
from analyzer.measurement import Overlay
from analyzer.overlay import overlay_of
from analyzer.results import ChartResult, FindingResult, PhotoResult
from analyzer.uncertainty import Sight
from analyzer.wetness import wet_findings
from analyzer.zones import ZoneReading, read_zone
from calibration.colorspace import D50, Lab_image
from calibration.errors import CalibrationError, PhotoError
from calibration.findings import Finding, finding, finding_of
from calibration.flatboard import FlatBoard, flat_board
from calibration.known import KnownReference
from calibration.photo import Photo, open_photo
from calibration.place import Place, locate_all
from calibration.strip_search import Wanted

MAX_GLARE = 0.02  # share of a zone left out as glare that is worth a word (chosen)
MAX_COVERED = 0.02  # share of a zone under the card that is worth a word (chosen)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredBoard:
    """One board as one photo shows it."""

    board: Board
    entry: PhotoEntry
    sights: Mapping[str, Sight]  # by zone id; a zone that cannot be measured is left out
    Lab: NDArray[np.float32]  # (rows, columns, 3), the whole face
    mm_per_px: float
    facts: PhotoFacts  # what the photo is compared with others by
    learned: Learned | None  # what its chart or step card gives to later photos; None: it has neither

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the flat face."""
        return self.Lab.shape[0], self.Lab.shape[1]


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPhoto:
    """All boards of one photo, in the order of the job file."""

    results: tuple[PhotoResult, ...]
    boards: tuple[MeasuredBoard, ...]
    overlays: tuple[Overlay, ...]


def measure_photo(job: Job, file: str, available: Available = NOT_ASKED_FOR) -> MeasuredPhoto:
    """Measure every board that the job says lies in a photo.

    Parameters
    ----------
    job : Job
    file : str
        The photo as named in job.toml.
    available : Available
        Corrections for photos with a gray card.

    Returns
    -------
    MeasuredPhoto
        What cannot be measured is in the results, unusable, with its finding; nothing is raised for it.
    """
    entries = [entry for entry in job.photos if entry.file == file]
    try:
        photo = open_photo(job.folder / file)
    except PhotoError as refused:
        found = (finding_of(refused),)
        return MeasuredPhoto(tuple(_unusable(entry, None, found) for entry in entries), (), ())
    results, boards, overlays = [], [], []
    for entry, place in zip(
        entries, locate_all(photo, *boards_in_photo(job, entries), known_reference(job)), strict=True
    ):
        result, board, overlay = _measure_board(job, entry, photo, place, available)
        results.append(result)
        boards += [board] if board else []
        overlays += [overlay] if overlay else []
    return MeasuredPhoto(tuple(results), tuple(boards), tuple(overlays))


def boards_in_photo(job: Job, entries: Sequence[PhotoEntry]) -> tuple[list[Wanted], Quad | None]:
    """What `locate_all` looks for in a photo: its boards, in the job file's order, and the card where it is given."""
    boards = [job.board(entry.board) for entry in entries]
    wanted = [
        Wanted((board.length_mm, board.width_mm), entry.corners, board.id)
        for board, entry in zip(boards, entries, strict=True)
    ]
    return wanted, next((entry.card for entry in entries if entry.card is not None), None)


def known_reference(job: Job) -> KnownReference:
    """What the job says of the reference in its photos."""
    return known_of(job.reference, job.folder)


def _measure_board(
    job: Job, entry: PhotoEntry, photo: Photo, place: Place, available: Available
) -> tuple[PhotoResult, MeasuredBoard | None, Overlay | None]:
    board = job.board(entry.board)
    size_mm = board.length_mm, board.width_mm
    flat_photo, flat_findings = _flat_photo(job, entry)
    paired, pair_findings = _paired_photo(job, entry)
    flat_findings = (*flat_findings, *pair_findings)
    stored, none_fits = choose(available, photo, entry.light)
    try:
        flat = flat_board(photo, place, size_mm, flat=flat_photo, paired=paired, stored=stored)
    except CalibrationError as refused:
        found = (*photo.findings, *flat_findings, finding_of(refused))
        return _unusable(entry, photo.sha256, found), None, overlay_of(entry.file, place, refused.what)
    readings = {zone.id: reading for zone in board.zones if (reading := read_zone(flat, board, zone)) is not None}
    findings = (
        *flat.findings,
        *none_fits,
        *flat_findings,
        *_zone_findings(entry, board, flat, readings),
        *wet_findings(entry.stage, board, flat),
    )
    sights = {zone: _sight(entry, photo, flat, reading) for zone, reading in readings.items()}
    Lab = Lab_image(flat.XYZ, np.diag(1 / D50))
    chart = flat.correction.chart
    result = PhotoResult(
        file=entry.file,
        sha256=photo.sha256,
        board=entry.board,
        stage=entry.stage,
        light=entry.light,
        usable=bool(readings),
        mm_per_px=1 / flat.photo_px_per_mm,
        located_by=flat.located_by,
        light_range=flat.light_range,
        light_residual=flat.light.residual if flat.light.mapped else None,
        findings=finding_results(findings),
        correction=flat.correction.basis,
        chart=None if chart is None else ChartResult(chart.leave_one_out, chart.wood_delta_E_00),
    )
    learned = None
    if job.reference.kind != "gray-card":
        learned = learned_from(flat.correction, photo, entry.light, job.reference)
    facts = PhotoFacts(entry.file, photo.exif, flat.correction.gray_RGB, entry.light, entry.board, entry.stage)
    return result, MeasuredBoard(board, entry, sights, Lab, flat.mm_per_px, facts, learned), None


def _flat_photo(job: Job, entry: PhotoEntry) -> tuple[Photo | None, tuple[Finding, ...]]:
    if entry.flat is None:
        return None, ()
    try:
        return open_photo(job.folder / entry.flat), ()
    except PhotoError as refused:
        return None, (finding("flat-unusable", reason=refused.what),)


def _paired_photo(job: Job, entry: PhotoEntry) -> tuple[Photo | None, tuple[Finding, ...]]:
    if entry.exposure_pair is None:
        return None, ()
    try:
        return open_photo(job.folder / entry.exposure_pair), ()
    except PhotoError as refused:
        return None, (finding("tone-unsure", reason=refused.what.rstrip(".")),)


def _sight(entry: PhotoEntry, photo: Photo, flat: FlatBoard, reading: ZoneReading) -> Sight:
    return Sight(
        reading=reading,
        photo=entry.file,
        board=entry.board,
        camera=photo.exif.camera,
        light_name=entry.light,
        light=flat.light,
        card_px=flat.card_px.mean(axis=0),
        correction=flat.correction,
    )


def _zone_findings(
    entry: PhotoEntry, board: Board, flat: FlatBoard, readings: Mapping[str, ZoneReading]
) -> list[Finding]:
    if not readings:
        return [finding("nothing-measured")]
    found = []
    for zone in board.zones:
        reading = readings.get(zone.id)
        if reading is None:
            found.append(finding("zone-covered", percent=100.0, zone=zone.id))
            continue
        if reading.glare > MAX_GLARE:
            found.append(finding("glare", percent=100 * reading.glare, zone=zone.id))
        if reading.covered > MAX_COVERED:
            found.append(finding("zone-covered", percent=100 * reading.covered, zone=zone.id))
        if flat.light.shadows_over(*zone.span_mm):
            found.append(finding("zone-in-shadow", zone=zone.id))
        look = reading.appearance
        if look is not None and look.has_lap_marks and entry.stage != "bare":  # bare wood has nothing laid on
            found.append(finding("lap-marks", zone=zone.id, L=look.lap))
    return found


def _unusable(entry: PhotoEntry, sha256: str | None, findings: tuple[Finding, ...]) -> PhotoResult:
    return PhotoResult(
        file=entry.file,
        sha256=sha256,
        board=entry.board,
        stage=entry.stage,
        light=entry.light,
        usable=False,
        mm_per_px=None,
        located_by=None,
        light_range=None,
        light_residual=None,
        findings=finding_results(findings),
    )


def finding_results(findings: Sequence[Finding]) -> tuple[FindingResult, ...]:
    """Findings as results.json holds them."""
    return tuple(FindingResult(f.code, f.severity.value, f.message, f.remedy) for f in findings)
