"""What was approved in this job: by whom, when, what does it cover, and what has changed since?"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from analyzer.approval_changes import SAME_LAB, changes_since
from analyzer.approvals import Approval, approval_files, current_approvals
from analyzer.report import words
from analyzer.results import Results
from analyzer.words import listed

ALWAYS: Final = date.min  # the page has no today: it says until when an approval holds, and readers know their own date
CHANGED: Final = ("results", "time")  # kinds of change that are told here in our own way


@dataclass(frozen=True, slots=True)
class ApprovalRow:
    """One approval."""

    zone: str
    colour: tuple[float, float, float]  # CIELAB, as approved
    says: str  # who, when, for how long
    scope: str
    changed: tuple[str, ...]  # since then; () when nothing that it rests on has


def approval_rows(folder: Path, results: Results) -> tuple[ApprovalRow, ...]:
    """Fill one row for each approval that no later one supersedes, the oldest first.

    Parameters
    ----------
    folder : Path
        The job folder, with its approvals, job.toml and photos.
    results : Results
        What is measured now; results.json in the folder may still be that of an earlier run.
    """
    files = approval_files(folder)
    current = current_approvals(tuple(file.approval for file in files if file.approval is not None))
    return tuple(_row(approval, folder, results) for approval in current)


def _row(approval: Approval, folder: Path, results: Results) -> ApprovalRow:
    found = changes_since(folder, approval, method=results.tool.method, today=ALWAYS)
    changed = [change.says for change in found if change.matters and change.kind not in CHANGED]
    changed += _remeasured(approval, results)
    until = f", until {approval.until}" if approval.until else ""
    zone = approval.zone
    return ApprovalRow(
        zone=f"{zone.id} ({words.taken(zone.stage, zone.light)})",
        colour=zone.lab,
        says=f"approved by {approval.by} on {approval.date[:10]}{until}",
        scope=_scope(approval),
        changed=tuple(changed),
    )


def _scope(approval: Approval) -> str:
    covered = f"covers {_and(approval.covers)}" if approval.covers else ""
    excluded = f"does not cover {approval.not_covered}" if approval.not_covered else ""
    return words.sentence("; ".join(part for part in (approval.scope, covered, excluded, approval.notes) if part))


def _remeasured(approval: Approval, results: Results) -> list[str]:
    """Say whether the zone now measures otherwise than when it was approved."""
    zone = next((zone for zone in results.zones if (zone.id, zone.stage, zone.light) == approval.same_as), None)
    if zone is None:
        return [f"{approval.zone.id} is no longer measured"]
    off = max(abs(now - was) for now, was in zip(zone.lab, approval.zone.lab, strict=True))
    if off <= SAME_LAB:
        return []
    return [f"{approval.zone.id} now measures {_said(zone.lab)}; approved was {_said(approval.zone.lab)}"]


def _said(Lab: tuple[float, float, float]) -> str:
    return ", ".join(f"{name} {words.number(value, 1)}" for name, value in zip(("L*", "a*", "b*"), Lab, strict=True))


def _and(names: Sequence[str]) -> str:
    return listed(names, "and")
