"""The main call: a job folder in, the answer out.

photos -> flat boards -> zones -> pooled zones -> differences -> verdicts -> answer. Nothing is written here.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from analyzer.answer import answer
from analyzer.before_staining import Before, before_staining
from analyzer.compare import difference
from analyzer.consistency import consistency_findings
from analyzer.correction_choice import Available, available_corrections, best_of, why_none
from analyzer.dose import doses
from analyzer.effects import Paired, effects, paired_zones
from analyzer.job import Job
from analyzer.jobfile import read_job
from analyzer.matrix import matrices
from analyzer.measurement import BoardPicture, Measurement, Overlay
from analyzer.photos import MeasuredBoard, MeasuredPhoto, finding_results, measure_photo
from analyzer.pooling import MeasuredZone
from analyzer.repeatability import repeatability
from analyzer.repeats import counted_once
from analyzer.results import (
    FORMAT,
    STAGES,
    DifferenceResult,
    Results,
    ToolResult,
    ZoneResult,
)
from analyzer.second_light import second_light
from analyzer.stages import stage_shifts
from analyzer.targets import judged_zones
from analyzer.verdicts import judge
from analyzer.version import tool_version
from analyzer.zone_ratios import blotch_levelled, figure_kept
from calibration.difference import components, delta_E_ab
from calibration.gray_scale import colour_change_grade

# What the numbers rest on; changes whenever one of them could move.
METHOD = (
    "gray card, alone or with a stored correction, step card (tone, flare) or chart (tone, flare, wood-aware 3x3); "
    "profile or camera primaries; "
    "light by sheet or strips; blotch 4-50 mm by DCT; guard band JCGM 106"
)
WORKERS = 2  # photos at a time: decoding and filtering leave Python's lock, memory grows with each

Progress = Callable[[str], None]


def measure_job(folder: Path, *, progress: Progress | None = None) -> Measurement:
    """Measure all photos of a job and judge its treatments.

    Parameters
    ----------
    folder : Path
        The job folder with its job.toml.
    progress : callable, optional
        Told in a few words what is being done, photo by photo.

    Returns
    -------
    Measurement
        Results as in results.json, and pictures. A photo that cannot be measured is in the results, unusable,
        with its finding; the others are measured.

    Raises
    ------
    JobFileError
        If job.toml does not hold.
    """
    job = read_job(folder)
    available = available_corrections(job)
    measured = _compared(counted_once(_measure_photos(job, available, progress or (lambda _: None))))
    zones = _pool(job, measured)
    before = before_staining([board for photo in measured for board in photo.boards], zones)
    judged = judged_zones(job, zones)
    verdicts = judge(job, judged)
    pairs = paired_zones(job, zones)
    differences = tuple(_differences(job, zones))
    results = Results(
        format=FORMAT,
        tool=ToolResult("evenboard", tool_version(), METHOD),
        job=job.as_read,
        photos=tuple(result for photo in measured for result in photo.results),
        zones=tuple(_zone_result(zone, before.get((zone.id, zone.stage, zone.light)), zones, pairs) for zone in zones),
        differences=differences,
        verdicts=verdicts,
        answer=answer(job, verdicts),
        second_light=second_light(job, judged),
        effects=effects(pairs),
        doses=doses(job, judged),
        stage_shifts=stage_shifts(zones),
        repeatability=repeatability(zones),
        matrices=matrices(zones, differences),
    )
    overlays: tuple[Overlay, ...] = tuple(overlay for photo in measured for overlay in photo.overlays)
    learned = {board.entry.file: board.learned for photo in measured for board in photo.boards if board.learned}
    made_here = available.corrections if job.correction and job.correction.photo else ()
    kept = best_of([*(one.correction for one in learned.values()), *made_here])
    return Measurement(job, results, tuple(_pictures(measured)), overlays, kept, why_none(learned, made_here))


def _measure_photos(job: Job, available: Available, progress: Progress) -> list[MeasuredPhoto]:
    """Measure every photo once, in the order of the job file, whichever boards lie in it."""
    files = list(dict.fromkeys(entry.file for entry in job.photos))
    with ThreadPoolExecutor(min(WORKERS, max(1, len(files)))) as pool:
        tasks = [pool.submit(measure_photo, job, file, available) for file in files]
        measured = []
        for number, (file, task) in enumerate(zip(files, tasks, strict=True), start=1):
            progress(f"photo {number} of {len(files)}: {file}")
            measured.append(task.result())
    return measured


def _compared(measured: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The same photos, with what their comparison with each other says."""
    facts = [board.facts for photo in measured for board in photo.boards]
    said = zip(facts, consistency_findings(facts), strict=True)
    found = {(fact.file, fact.board): finding_results(findings) for fact, findings in said}
    return [
        replace(
            photo,
            results=tuple(
                replace(result, findings=(*result.findings, *found.get((result.file, result.board), ())))
                for result in photo.results
            ),
        )
        for photo in measured
    ]


def _pool(job: Job, measured: Sequence[MeasuredPhoto]) -> list[MeasuredZone]:
    """All zones by stage, light, board and place on the board, each with its sights."""
    boards = [board for photo in measured for board in photo.boards]
    settings = sorted({(STAGES.index(board.entry.stage), board.entry.light or "") for board in boards})
    zones = []
    for stage_index, light in settings:
        for board in job.boards:
            for zone in board.zones:
                sights = tuple(
                    sight
                    for seen in boards
                    if seen.entry.board == board.id
                    and (STAGES.index(seen.entry.stage), seen.entry.light or "") == (stage_index, light)
                    and (sight := seen.sights.get(zone.id)) is not None
                )
                if sights:
                    zones.append(MeasuredZone(board, zone, STAGES[stage_index], light or None, sights))
    return zones


def _zone_result(
    zone: MeasuredZone, before: Before | None, zones: Sequence[MeasuredZone], pairs: Sequence[Paired]
) -> ZoneResult:
    L, a, b = (float(value) for value in zone.Lab)
    u_L, u_a, u_b = (float(value) for value in zone.Lab_u95)
    look = zone.appearance
    return ZoneResult(
        id=zone.id,
        board=zone.board.id,
        zone=zone.zone.id,
        stage=zone.stage,
        light=zone.light,
        species=zone.board.species,
        treatment=zone.zone.treatment,
        stain=zone.zone.stain,
        lab=(L, a, b),
        lab_u95=(u_L, u_a, u_b),
        blotch=zone.blotch,
        blotch_u95=zone.blotch_u95,
        patch_mm=zone.patch_mm,
        figure=zone.figure,
        area_mm2=zone.area_mm2,
        masked=zone.masked,
        photos=zone.photos,
        bare_blotch=before.blotch if before else None,
        bare_blotch_u95=before.blotch_u95 if before else None,
        added_blotch=before.added if before else None,
        added_blotch_u95=before.added_u95 if before else None,
        figure_kept=figure_kept(zone, zones),
        blotch_levelled=blotch_levelled(zone, pairs),
        bands=look.bands if look else None,
        visible_share=look.visible_share if look else None,
        blotch_arm=look.blotch_arm if look else None,
        blotch_room=look.blotch_room if look else None,
        drift=look.drift if look else None,
        lap=look.lap if look else None,
    )


def _differences(job: Job, zones: Sequence[MeasuredZone]) -> Iterator[DifferenceResult]:
    """Pairs on one board, the control first; then every zone against the zones that are the target."""
    targets = {job.target.zone, *job.target.between}
    alike: dict[tuple[str, str | None], list[MeasuredZone]] = {}
    for zone in zones:
        alike.setdefault((zone.stage, zone.light), []).append(zone)
    for group in alike.values():
        controls_first = sorted(group, key=lambda zone: zone.zone.treatment != "none")
        for a, b in combinations(controls_first, 2):
            if a.board.id == b.board.id and not {a.id, b.id} & targets:
                yield _difference_result(a, b)
        for a in group:
            if a.id in targets:
                yield from (_difference_result(a, b) for b in group if b.id not in targets)


def _difference_result(a: MeasuredZone, b: MeasuredZone) -> DifferenceResult:
    found = difference(a, b)
    parts = components(found.Lab_a, found.Lab_b)
    return DifferenceResult(
        a=a.id,
        b=b.id,
        stage=a.stage,
        light=a.light,
        de00=found.de00,
        de00_u95=found.de00_u95,
        de76=float(delta_E_ab(found.Lab_a, found.Lab_b)),
        dl=float(parts.dL),
        da=float(parts.da),
        db=float(parts.db),
        dc=float(parts.dC),
        dh=float(parts.dH),
        sources=found.sources,
        grade=float(colour_change_grade(found.Lab_a, found.Lab_b)),
    )


@dataclass(frozen=True, slots=True)
class _Shown:
    board: str
    stage: str
    light: str | None


def _pictures(measured: Sequence[MeasuredPhoto]) -> Iterator[BoardPicture]:
    """The first usable photo of each board, stage and light."""
    shown: set[_Shown] = set()
    for photo in measured:
        for board in photo.boards:
            key = _Shown(board.entry.board, board.entry.stage, board.entry.light)
            if key not in shown:
                shown.add(key)
                yield _picture(board)


def _picture(board: MeasuredBoard) -> BoardPicture:
    measured = np.zeros(board.shape, bool)
    deviation = np.full(board.shape, np.nan, np.float32)
    for sight in board.sights.values():
        measured[sight.reading.window] = sight.reading.measured
        deviation[sight.reading.window] = sight.reading.evenness.deviation
    return BoardPicture(
        board.board,
        board.entry.stage,
        board.entry.light,
        board.entry.file,
        board.Lab,
        measured,
        deviation,
        board.mm_per_px,
    )
