"""What does the index keep of one job folder?  Read whole, or not at all."""

import hashlib
import json
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final, Literal

from analyzer.approvals import FOLDER as APPROVALS
from analyzer.approvals import Approval, approvals_of, current_approvals
from analyzer.jobfile import JOB_FILE
from analyzer.recipe_fields import recorded
from analyzer.record.photo_date import DateFrom, taken_on, zone_date
from analyzer.report.jsonfile import read_results
from analyzer.report.swap import is_half_done
from analyzer.results import Colour, Evenness, Overall, Results, VerdictResult, ZoneResult

RESULTS: Final = "results.json"  # as analyzer/report/write.py names it, which loads all that draws
LARGEST_BYTES: Final = 200_000_000  # chosen: a job of 100 boards has about 1 MB

_SETTLED_NS: Final = 2_000_000_000  # a file changed so shortly before it was read may change again with the same time


@dataclass(frozen=True, slots=True)
class Seen:
    """A file as it was when it was read."""

    mtime_ns: int
    size: int
    sha256: str
    is_settled: bool  # False: read so soon after it was written that its time alone cannot tell a later change


@dataclass(frozen=True, slots=True)
class ZoneEntry:
    """One zone at one stage in one light, as it is kept."""

    zone: ZoneResult
    recipe: Mapping[str, Any]
    date: str
    date_from: DateFrom
    verdict: Overall | None  # None: of the customer's sample, for instance, nothing is judged
    colour: Colour | None
    evenness: Evenness | None
    is_approved: bool


@dataclass(frozen=True, slots=True)
class JobEntry:
    """One measured job, as it is kept."""

    folder: Path
    name: str
    customer: str | None
    method: str
    zones: tuple[ZoneEntry, ...]
    seen: Mapping[str, Seen]  # by file name inside the folder


@dataclass(frozen=True, slots=True)
class NotRead:
    """Why a folder gave no entry."""

    folder: Path
    why: Literal["unmeasured", "being written", "broken"]
    reason: str = ""


def seen_again(folder: Path, seen: Mapping[str, Seen], now_ns: int) -> Mapping[str, Seen] | None:
    """Look whether the files that an entry was made of are still the same.

    Returns
    -------
    mapping of str to Seen, or None
        What to remember from now on, `seen` itself if that is nothing new; None: they have changed. A job that is
        just being written has not changed yet.
    """
    if is_half_done(folder):
        return seen
    if set(_watched(folder)) != set(seen):
        return None
    now = {}
    for name, one in seen.items():
        try:
            status = (folder / name).stat()
            if one.is_settled and (status.st_mtime_ns, status.st_size) == (one.mtime_ns, one.size):
                now[name] = one
                continue
            _, now[name] = _read(folder / name, now_ns)
        except OSError:
            return None
        if now[name].sha256 != one.sha256:
            return None
    return seen if now == seen else now


def read_entry(folder: Path, now_ns: int) -> JobEntry | NotRead:
    """Read a job folder.

    Parameters
    ----------
    folder : Path
        A folder that holds job.toml.
    now_ns : int
        The time, nanoseconds since 1970.

    Returns
    -------
    JobEntry or NotRead
        Nothing is raised for a job that cannot be read.
    """
    try:
        if is_half_done(folder):
            return NotRead(folder, "being written")
        names = _watched(folder)
        if JOB_FILE not in names or RESULTS not in names:
            return NotRead(folder, "unmeasured")
        files = {name: _read(folder / name, now_ns) for name in names}
        seen = {name: one for name, (_, one) in files.items()}
        results = read_results(files[RESULTS][0])
        entry = _entry(folder, results, files[JOB_FILE][0], approvals_of(folder), seen)
    except (OSError, ValueError, RecursionError) as wrong:
        if is_half_done(folder):
            return NotRead(folder, "being written")
        return NotRead(folder, "broken", (isinstance(wrong, OSError) and wrong.strerror) or str(wrong))
    # what the files hold goes together only if none of them moved meanwhile
    return entry if seen_again(folder, seen, now_ns) is seen else NotRead(folder, "being written")


def _watched(folder: Path) -> list[str]:
    """Files that an entry is made of, as far as they are there; the photos never change."""
    approvals = sorted(path for path in (folder / APPROVALS).glob("*.json") if not path.name.startswith("."))
    names = [name for name in (JOB_FILE, RESULTS) if (folder / name).is_file()]
    return [*names, *(path.relative_to(folder).as_posix() for path in approvals)]


def _read(path: Path, now_ns: int) -> tuple[bytes, Seen]:
    """Read a file; the time is that before, so that a change meanwhile is seen the next time."""
    before = path.stat()
    if before.st_size > LARGEST_BYTES:
        raise ValueError(f"{path.name} has {before.st_size / 1e6:.0f} MB (limit {LARGEST_BYTES / 1e6:.0f} MB)")
    content = path.read_bytes()
    is_settled = now_ns - before.st_mtime_ns > _SETTLED_NS and len(content) == before.st_size
    return content, Seen(before.st_mtime_ns, len(content), hashlib.sha256(content).hexdigest(), is_settled)


def _entry(
    folder: Path, results: Results, job_file: bytes, approvals: tuple[Approval, ...], seen: Mapping[str, Seen]
) -> JobEntry:
    job = _job_tables(results, job_file)
    about = job.get("job")
    about = about if isinstance(about, dict) else {}
    recipes = _recipes(job)
    days = {name: taken_on(folder / name) for name in {name for zone in results.zones for name in zone.photos}}
    approved = {one.same_as for one in current_approvals(approvals) if one.is_whole and one.name != _foreign(job)}
    zones = []
    for zone in results.zones:
        recipe = recipes.get(zone.id, {})
        date, date_from = zone_date([days[name] for name in zone.photos], recipe, seen[RESULTS].mtime_ns)
        verdict = _verdict(results, zone)
        zones.append(
            ZoneEntry(
                zone,
                recipe,
                date,
                date_from,
                verdict.overall if verdict else None,
                verdict.colour if verdict else None,
                verdict.evenness if verdict else None,
                is_approved=(zone.id, zone.stage, zone.light) in approved,
            )
        )
    return JobEntry(
        folder=folder,
        name=str(about.get("name") or folder.name),
        customer=str(about["customer"]) if about.get("customer") else None,
        method=results.tool.method,
        zones=tuple(zones),
        seen=seen,
    )


def _foreign(job: Mapping[str, Any]) -> str | None:
    """Name of the approval that is the target: it came from another job and says nothing of this one's zones."""
    target = job.get("target")
    named = target.get("approved") if isinstance(target, dict) else None
    return PurePosixPath(named.replace("\\", "/")).stem if isinstance(named, str) else None


def _job_tables(results: Results, job_file: bytes) -> dict[str, Any]:
    """The job file as it is now: what was recorded after measuring counts too. Else as it was when it was measured."""
    with suppress(ValueError, RecursionError):  # neither UTF-8 nor TOML: it is being edited
        now = tomllib.loads(job_file.decode("utf-8-sig"))
        if isinstance(now.get("job"), dict):
            return now
    return results.job


def _recipes(job: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """What is recorded of each zone, by its path; tables of any other shape are passed over."""
    found = {}
    for board in _tables(job.get("board")):
        for zone in _tables(board.get("zone")):
            found[f"{board.get('id')}/{zone.get('id')}"] = recorded(board, zone)
    return found


def _tables(value: object) -> list[dict[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _verdict(results: Results, zone: ZoneResult) -> VerdictResult | None:
    """What was judged of a zone's treatment, at its stage in its light."""
    for verdict in results.verdicts:
        if zone.id in verdict.zones and (verdict.stage, verdict.light) == (zone.stage, zone.light):
            return verdict
    return None


def recipe_json(recipe: Mapping[str, Any]) -> str:
    """A recipe as it is kept in the index: JSON, dates as text."""
    return json.dumps(recipe, ensure_ascii=False, default=str)
