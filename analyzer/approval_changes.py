"""What has changed since an approval was given, in words?

Nothing here judges: the approved values stand in the approval itself. A change tells that what they came from is no
longer what it was, and that a new look, or a new approval, may be due.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal

from analyzer.approvals import Approval
from analyzer.jobfile import JOB_FILE
from analyzer.version import tool_version

Kind = Literal["approval", "photo", "job", "results", "method", "time", "superseded"]

RESULTS: Final = "results.json"
SAME_LAB: Final = 0.05  # of each of L*, a*, b*: results.json rounds, and libraries of another machine may (chosen)
CHUNK_BYTES: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is not as it was."""

    kind: Kind
    says: str
    matters: bool  # False: good to know; nothing that the approved values rest on


def changes_since(folder: Path, approval: Approval, *, method: str, today: date) -> tuple[Change, ...]:
    """Compare a job folder with what an approval recorded of it.

    Parameters
    ----------
    folder : Path
        The job folder.
    approval : Approval
        One of its approvals, or one from elsewhere: then its files are not there, and nothing is said of them.
    method : str
        What numbers rest on in this version (`METHOD` of analyzer/measure.py).
    today : date
        Against which the end of the approval is held.

    Returns
    -------
    tuple of Change
        What matters first; empty when all is as it was.
    """
    found = [*_of_itself(approval, today), *_of_files(folder, approval), *_of_job(folder, approval)]
    found += [*_of_results(folder, approval), *_of_method(approval, method)]
    return tuple(sorted(found, key=lambda change: not change.matters))


def sha256_of(path: Path) -> str | None:
    """Hash of a file; None when it cannot be read."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK_BYTES):
                digest.update(chunk)
    except OSError:
        return None
    return digest.hexdigest()


def tables_of(as_read: Mapping[str, Any], zones: Sequence[str], files: Sequence[str]) -> dict[str, Any]:
    """The tables of a job file that the values of some zones in some photos rest on.

    Parameters
    ----------
    as_read : mapping
        job.toml as parsed.
    zones : sequence of str
        "board/zone".
    files : sequence of str
        Photos, as job.toml names them.
    """
    tables: dict[str, Any] = {
        f"[{name}]": as_read[name] for name in ("target", "evenness", "reference", "correction") if name in as_read
    }
    tables["units"] = as_read.get("job", {}).get("units", "mm")
    for board in as_read.get("board", []):
        wanted = [path.partition("/")[2] for path in zones if path.partition("/")[0] == board.get("id")]
        if wanted:
            tables[f"board {board['id']}"] = {key: value for key, value in board.items() if key != "zone"}
        for zone in board.get("zone", []):
            if zone.get("id") in wanted:
                tables[f"zone {board['id']}/{zone['id']}"] = zone
    for photo in as_read.get("photo", []):
        if photo.get("file") in files:
            tables[f"photo {photo['file']}"] = photo
    return json.loads(json.dumps(tables, default=str))  # type: ignore[no-any-return] # as an approval's file holds it


def _of_itself(approval: Approval, today: date) -> Iterator[Change]:
    if not approval.is_whole:
        told = f"the approval {approval.name} itself was changed after it was written: it holds no longer"
        yield Change("approval", told, matters=True)
    if approval.has_expired(today):
        yield Change("time", f"the approval {approval.name} was given until {approval.until}", matters=True)


def _of_files(folder: Path, approval: Approval) -> Iterator[Change]:
    for file in approval.job.files:
        now = sha256_of(folder / file.file)
        if now is None:
            yield Change("photo", f"{file.file} is no longer there", matters=True)
        elif now != file.sha256:
            yield Change("photo", f"photo {Path(file.file).name} was changed after approval", matters=True)


def _of_job(folder: Path, approval: Approval) -> Iterator[Change]:
    path = folder / JOB_FILE
    now = sha256_of(path)
    if now == approval.job.job_toml_sha256:
        return
    if now is None:
        yield Change("job", f"{JOB_FILE} is no longer there", matters=True)
        return
    tables = _parsed(path)
    if tables is None:
        yield Change("job", f"{JOB_FILE} was changed after approval, and cannot be read", matters=True)
        return
    zones = [approval.zone.id, *(kept.id for kept in approval.range_boards)]
    zones += [approval.limits.blotch_from] if "/" in approval.limits.blotch_from else []
    files = [file.file for file in approval.job.files]
    differ = list(_differences(approval.job.tables, tables_of(tables, zones, files)))
    for said in differ:
        yield Change("job", f"{JOB_FILE} was changed after approval: {said}", matters=True)
    if not differ:
        told = f"{JOB_FILE} was changed after approval, but in nothing that this approval rests on"
        yield Change("job", told, matters=False)


def _parsed(path: Path) -> dict[str, Any] | None:
    import tomllib  # noqa: PLC0415 - only a changed job file is read again

    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return None


def _differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    for name in dict.fromkeys([*before, *now]):
        was, became = before.get(name), now.get(name)
        if was == became:
            continue
        if was is None or became is None:
            yield f"{name} was {'added' if was is None else 'taken out'}"
        elif isinstance(was, dict) and isinstance(became, dict):
            for key in dict.fromkeys([*was, *became]):
                if was.get(key) != became.get(key):
                    yield f"{name}, {key}: {_said(was, key)} became {_said(became, key)}"
        else:
            yield f"{name}: {was} became {became}"


def _said(table: Mapping[str, Any], key: str) -> str:
    return json.dumps(table[key], ensure_ascii=False) if key in table else "nothing"


def _of_results(folder: Path, approval: Approval) -> Iterator[Change]:
    path = folder / RESULTS
    now = sha256_of(path)
    if now == approval.job.results_sha256:
        return
    if now is None:
        yield Change("results", f"{RESULTS} is no longer there; measure the job to have it again", matters=False)
        return
    lab = _lab_in(path, approval)
    if lab is None:
        yield Change("results", f"{RESULTS} was changed, and no longer tells of {approval.zone.id}", matters=True)
        return
    off = max(abs(a - b) for a, b in zip(lab, approval.zone.lab, strict=True))
    if off <= SAME_LAB:
        told = f"{RESULTS} was written anew after approval; the values of {approval.zone.id} are the same"
        yield Change("results", told, matters=False)
    else:
        was = _lab_words(approval.zone.lab)
        told = f"{RESULTS} now gives {_lab_words(lab)} for {approval.zone.id}; approved was {was}"
        yield Change("results", told, matters=True)


def _lab_in(path: Path, approval: Approval) -> tuple[float, ...] | None:
    """Colour of the approved zone in results.json as it is now."""
    try:
        zones = json.loads(path.read_bytes())["zones"]
        for zone in zones:
            if (zone["id"], zone["stage"], zone["light"]) == approval.same_as:
                return tuple(float(value) for value in zone["lab"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None


def _lab_words(lab: Sequence[float]) -> str:
    return "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*lab)


def _of_method(approval: Approval, method: str) -> Iterator[Change]:
    if approval.tool.method != method:
        told = (
            f"the approved values were measured by another method (version {approval.tool.version}, "
            f"this is {tool_version()}): {approval.tool.method}"
        )
        yield Change("method", told, matters=True)
    elif approval.tool.version != tool_version():
        told = f"approved with version {approval.tool.version}; this is {tool_version()}, the method is the same"
        yield Change("method", told, matters=False)
