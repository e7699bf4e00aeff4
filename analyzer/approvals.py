"""What was approved in a job, when, by whom, and is the record of it still as it was written?

An approval is one JSON file in the job's folder `approvals`, written once and never overwritten (analyzer/approval/
writes it). It holds what was measured, how sure that is and what that hangs on, so that later photos can be compared
with it without the old ones. Its last key is a hash of all the others: an edit by hand or a damaged file is seen. A
hash does not keep anybody from writing another one; the signed board is what counts between people.
"""

import hashlib
import json
from dataclasses import dataclass, field
from datetime import date as Day  # noqa: N812 - `date` is a key of the file
from pathlib import Path
from typing import Any, Final, Literal

from analyzer.errors import ApprovalError
from analyzer.results import FindingResult, Stage, ToolResult

FORMAT: Final = 1
KIND: Final = "evenboard approval"
FOLDER: Final = "approvals"
LARGEST_BYTES: Final = 4_000_000  # chosen: an approval of five photos is about 100 kB

Covered = Literal["colour", "evenness", "sheen", "figure"]
COVERS: Final[tuple[Covered, ...]] = ("colour", "evenness", "sheen", "figure")
Triple = tuple[float, float, float]
Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class ApprovedFile:
    """A file that the approved values rest on, as it was."""

    file: str  # as in job.toml
    sha256: str


@dataclass(frozen=True, slots=True)
class ApprovedSight:
    """One zone in one photo, with all that a comparison with a later photo asks for (`analyzer/approved_zone.py`)."""

    file: str
    sha256: str
    taken: str | None  # ISO 8601, by the camera's clock
    camera: str | None
    xyz: Triple  # under D50, Y = 1 for a perfect white
    block_xyz: tuple[tuple[Triple | None, ...], ...]  # means of blocks of the zone; None: not measured
    across_mm: tuple[float, float]
    light_log_rgb: Triple  # ln of the light on the zone over that on the reference
    u_light: float  # relative standard uncertainty of that
    u_light_lab: Triple  # of L*, a*, b*, by a change in the light's colour
    basis: Literal["gray card", "step card", "colour chart", "stored"]
    matrix: Rows  # (3, 3), linear RGB to XYZ
    stated: Rows  # (3, m), doubts about what the reference is said to be
    read: Rows  # (3, m), doubts about how it was read
    tone_levels: Triple  # middle gray, darkest and lightest level of the tone curve
    tone_covariance: Rows  # of its parameters
    tone_from: str
    camera_modes: tuple[Rows, ...]  # (10, 3, m), calibration/camera_error.py
    camera_unseen: Rows  # (3, 3)
    camera_widening: float
    camera_from: str
    findings: tuple[FindingResult, ...] = ()


@dataclass(frozen=True, slots=True)
class ApprovedZone:
    """One zone as it was measured for the approval."""

    id: str  # "A/washcoat"
    species: str
    treatment: str
    stain: str | None
    sheen: str | None
    recipe: dict[str, Any]
    stage: Stage
    light: str | None
    lab: Triple  # CIELAB, D50, 2 degree observer
    lab_u95: Triple
    blotch: float | None  # L*
    blotch_u95: float | None
    figure: float | None  # L*
    patch_mm: float | None
    area_mm2: float
    length_mm: float
    width_mm: float
    sights: tuple[ApprovedSight, ...]


@dataclass(frozen=True, slots=True)
class ApprovedLimits:
    """What later parts are held against."""

    tolerance: float  # CIEDE2000
    wish: Literal["even", "lively"]
    blotch: float | None  # L*; None: lively, or it could not be told
    blotch_u95: float | None  # 0 for an agreed number
    blotch_from: str  # "agreed", or the zone that sets it


@dataclass(frozen=True, slots=True)
class ApprovedJob:
    """The job as it was."""

    name: str
    customer: str | None
    job_toml_sha256: str
    results_sha256: str
    tables: dict[str, Any]  # of job.toml, those that the approved values rest on
    files: tuple[ApprovedFile, ...]  # photos and what belongs to them


@dataclass(frozen=True, slots=True)
class Approval:
    """One approval: `approvals/NAME.json`, key for key, but for the last two fields."""

    format: int
    kind: str
    by: str  # who approved
    date: str  # ISO 8601
    until: str | None  # last day on which it holds; None: no end was agreed
    scope: str  # what it covers, in the words of those who agreed
    covers: tuple[Covered, ...]
    not_covered: str | None
    notes: str | None
    supersedes: str | None  # name of the earlier approval of this zone
    zone: ApprovedZone
    range_boards: tuple[ApprovedZone, ...]  # light to dark; (): none were agreed
    limits: ApprovedLimits
    job: ApprovedJob
    tool: ToolResult
    sha256: str  # of all the above
    name: str = field(default="", compare=False)  # of the file, without its ending
    is_whole: bool = field(default=True, compare=False)  # False: it was changed after it was written

    @property
    def same_as(self) -> tuple[str, str, str | None]:
        """What two approvals must have in common for the later one to supersede the other."""
        return self.zone.id, self.zone.stage, self.zone.light

    def has_expired(self, today: Day) -> bool:
        """Whether the agreed time is over."""
        return self.until is not None and Day.fromisoformat(self.until[:10]) < today


@dataclass(frozen=True, slots=True)
class ApprovalFile:
    """A file in the folder of approvals."""

    path: Path
    approval: Approval | None
    fault: str = ""  # why it cannot be read


def approvals_of(folder: Path) -> tuple[Approval, ...]:
    """All approvals of a job that can be read, the oldest first; see `Approval.is_whole` before relying on one.

    Parameters
    ----------
    folder : Path
        The job folder. Without approvals, and without a folder, there are none.
    """
    return tuple(file.approval for file in approval_files(folder) if file.approval is not None)


def approval_files(folder: Path) -> tuple[ApprovalFile, ...]:
    """All files in the folder of approvals, the oldest approval first, those that cannot be read last."""
    paths = sorted(path for path in (Path(folder) / FOLDER).glob("*.json") if not path.name.startswith("."))
    files = []
    for path in paths:
        try:
            files.append(ApprovalFile(path, read_approval(path)))
        except ApprovalError as refused:
            files.append(ApprovalFile(path, None, refused.what))
    return tuple(sorted(files, key=lambda file: (file.approval is None, _moment(file.approval), file.path.stem)))


def current_approvals(approvals: tuple[Approval, ...]) -> tuple[Approval, ...]:
    """Those that no later approval of the same zone, stage and light supersedes."""
    superseded = {(approval.same_as, approval.supersedes) for approval in approvals if approval.is_whole}
    return tuple(approval for approval in approvals if (approval.same_as, approval.name) not in superseded)


def read_approval(path: Path) -> Approval:
    """Read one approval.

    Returns
    -------
    Approval
        With `is_whole` False if it was changed after it was written.

    Raises
    ------
    ApprovalError
        If it is not there, or no approval of a format that this version reads.
    """
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refused(path, f"of {path.stat().st_size / 1e6:.1f} MB is no approval")
        raw = path.read_bytes()
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}") from error
    try:
        content = json.loads(raw)
    except (ValueError, RecursionError) as damaged:
        raise _refused(path, f"is damaged: {damaged}") from damaged
    if not isinstance(content, dict) or content.get("kind") != KIND:
        raise _refused(path, "is no approval")
    version = content.get("format")
    if isinstance(version, int) and version > FORMAT:
        told = f"is of format {version}, which a newer Evenboard wrote; this one reads format {FORMAT}"
        raise _refused(path, told, "Install that version.")
    import msgspec  # noqa: PLC0415 - a job without approvals need not load it

    try:
        known = {key: value for key, value in content.items() if key not in ("name", "is_whole")}
        found = msgspec.convert(
            {**known, "name": path.stem, "is_whole": seal_of(content) == known.get("sha256")}, Approval
        )
        if found.format != FORMAT:
            raise _refused(path, f"is of format {found.format}; this version reads format {FORMAT}")
        _check_dates(found)
    except (msgspec.ValidationError, ValueError) as wrong:
        raise _refused(path, f"is damaged: {wrong}") from wrong
    return found


def approval_json(approval: Approval) -> bytes:
    """The text of an approval's file, sealed with the hash of all that it holds."""
    import msgspec  # noqa: PLC0415 - as above

    content = msgspec.to_builtins(approval)
    for of_the_file in ("name", "is_whole", "sha256"):
        del content[of_the_file]
    content = json.loads(json.dumps(content))  # as it will be read: lists, not tuples
    content["sha256"] = seal_of(content)
    return (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode()


def seal_of(content: dict[str, Any]) -> str:
    """SHA-256 of everything in an approval but the seal itself, whatever its spacing and the order of its keys."""
    sealed = {key: value for key, value in content.items() if key != "sha256"}
    text = json.dumps(sealed, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _moment(approval: Approval | None) -> str:
    return "" if approval is None else approval.date


def _check_dates(approval: Approval) -> None:
    """Raise ValueError where a date is none."""
    Day.fromisoformat(approval.date[:10])
    if approval.until is not None:
        Day.fromisoformat(approval.until[:10])


def _refused(path: Path, what: str, remedy: str = "Take it from a backup, or approve the zone anew.") -> ApprovalError:
    return ApprovalError(f"{path} {what}.", remedy=remedy)
