"""Which files does a measurement leave in the job folder?"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

from analyzer.errors import FolderError
from analyzer.job import Job
from analyzer.measurement import BoardPicture, Measurement
from analyzer.paper.document import PaperName, paper_for
from analyzer.report.approved import ApprovalRow, approval_rows
from analyzer.report.boards import ShownBoard, shown_boards
from analyzer.report.content import content_of
from analyzer.report.csvfile import zones_csv
from analyzer.report.html import report_html
from analyzer.report.jsonfile import results_json
from analyzer.report.pdf import report_pdf
from analyzer.report.pictures import jpeg, map_limit, overlay_jpeg
from analyzer.report.plates import plate_jpeg
from analyzer.report.swap import is_half_done, recover, swap_in
from analyzer.report.words import Units

RESULTS, ZONES, REPORT, PAPER, PICTURES = "results.json", "zones.csv", "report.html", "report.pdf", "pictures"
# Only files of these names in the pictures folder are ours to replace: somebody may keep photos there.
OUR_PICTURES = re.compile(r"(?:board|map|seen)_[\w-]+\.jpg")


def write_results(measurement: Measurement, folder: Path, paper: PaperName | None = None) -> tuple[Path, ...]:
    """Write results.json, zones.csv, report.html, report.pdf and the pictures, all or nothing.

    Everything is made beforehand, then moved into place; if anything fails, the results of an earlier run are as
    they were. Photos and job.toml are never touched. What a killed run left behind is put right first.

    Parameters
    ----------
    measurement : Measurement
        A measured job.
    folder : Path
        The job folder; it must exist. What was approved in it stands in the report.
    paper : {"a4", "letter"}, optional
        Of report.pdf; Letter for a job in inches, else A4, unless given.

    Returns
    -------
    tuple of Path
        The files written: results.json, zones.csv, report.html and report.pdf first, then the pictures.

    Raises
    ------
    FolderError
        If the folder cannot be written to, or the disk is full, or a photo of the job stands where a file would go.
    ValueError
        If a number in the results is not finite.
    """
    files = made_files(measurement, paper, approval_rows(folder, measurement.results))
    _refuse_to_replace_inputs(files, measurement.job)
    try:
        swap_in(files, folder, outdated=_outdated(folder, files, measurement.job))
    except OSError as failed:
        raise _folder_error(folder, failed) from failed
    return tuple(folder / name for name in files)


def recover_results(folder: Path) -> None:
    """Put right what a killed run left in a job folder: its earlier results come back whole.

    Raises
    ------
    FolderError
        If the folder cannot be written to.
    """
    try:
        recover(folder)
    except OSError as failed:
        raise _folder_error(folder, failed) from failed


def made_files(
    measurement: Measurement, paper: PaperName | None = None, approvals: tuple[ApprovalRow, ...] = ()
) -> dict[str, bytes]:
    """Make every file in memory: name inside the job folder, with slashes, to its bytes."""
    boards = shown_boards(measurement)
    limit = map_limit(shown.rasters.deviation for shown in boards)
    content = content_of(measurement, boards, limit, approvals)
    return {
        RESULTS: results_json(measurement.results),
        ZONES: zones_csv(measurement.results),
        REPORT: report_html(content),
        PAPER: report_pdf(content, paper or paper_for(measurement.job.units)),
        **_board_files(boards, limit, measurement.job.units),
        **_overlay_files(measurement),
    }


def _board_files(boards: Sequence[ShownBoard], limit: float, units: Units) -> dict[str, bytes]:
    files = {}
    for name, shown in zip(_distinct(_board_name(shown.picture) for shown in boards), boards, strict=True):
        files[f"{PICTURES}/board_{name}.jpg"] = jpeg(shown.rasters.RGB)
        files[f"{PICTURES}/map_{name}.jpg"] = plate_jpeg(shown.picture, shown.rasters, limit, units)
    return files


def _overlay_files(measurement: Measurement) -> dict[str, bytes]:
    names = _distinct(_file_name([PurePosixPath(overlay.photo).stem]) for overlay in measurement.overlays)
    return {
        f"{PICTURES}/seen_{name}.jpg": overlay_jpeg(overlay)
        for name, overlay in zip(names, measurement.overlays, strict=True)
    }


def _board_name(picture: BoardPicture) -> str:
    return _file_name([picture.board.id, picture.stage, picture.light or ""])


def _file_name(parts: Iterable[str]) -> str:
    """Letters, digits, - and _ only: a name that every file system takes, readable where it was."""
    plain = (unicodedata.normalize("NFKD", part).encode("ascii", "ignore").decode() for part in parts if part)
    return "_".join(re.sub(r"[^A-Za-z0-9-]+", "-", part).strip("-") or "x" for part in plain)


def _distinct(names: Iterable[str]) -> list[str]:
    """Put numbers to repeats; upper and lower case are one to some file systems."""
    taken: set[str] = set()
    distinct = []
    for name in names:
        candidate, k = name, 2
        while candidate.casefold() in taken:
            candidate, k = f"{name}-{k}", k + 1
        taken.add(candidate.casefold())
        distinct.append(candidate)
    return distinct


def _inputs(job: Job) -> set[str]:
    """List what the job file points to, inside the job folder, with slashes."""
    named = [name for photo in job.photos for name in (photo.file, photo.flat) if name]
    named += [job.reference.values] if job.reference.values else []
    return {PurePosixPath(name.replace("\\", "/")).as_posix() for name in named} | {"job.toml"}


def _refuse_to_replace_inputs(files: Iterable[str], job: Job) -> None:
    folded = {name.casefold() for name in _inputs(job)}
    for name in files:
        if name.casefold() in folded:
            raise FolderError(
                f"{name} is a file that the job is made from, and the results would take its place.",
                remedy="Nothing was written. Give that file another name, in the folder and in job.toml.",
            )


def _outdated(folder: Path, files: Iterable[str], job: Job) -> list[str]:
    """Pictures of an earlier run that this one does not make again."""
    kept = {name.casefold() for name in files} | {name.casefold() for name in _inputs(job)}
    present = sorted((folder / PICTURES).glob("*.jpg"))
    ours = [f"{PICTURES}/{path.name}" for path in present if OUR_PICTURES.fullmatch(path.name)]
    return [name for name in ours if name.casefold() not in kept]


def _folder_error(folder: Path, failed: OSError) -> FolderError:
    reason = failed.strerror or str(failed)
    earlier = "will be put back by the next run" if is_half_done(folder) else "are unchanged"
    return FolderError(
        f"the results could not be written to {folder}: {reason}.",
        remedy=f"Earlier results {earlier}. Free some space, or choose a folder that can be written to.",
    )
