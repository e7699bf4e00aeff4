"""Which approvals has a job, which of them hold, and what has changed since?"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from analyzer.approval_changes import Change, changes_since
from analyzer.approvals import Approval, approval_files, current_approvals
from analyzer.measure import METHOD


@dataclass(frozen=True, slots=True)
class ApprovalState:
    """One file in the folder of approvals."""

    name: str
    approval: Approval | None  # None: it cannot be read
    in_force: bool  # no later approval of the same zone, stage and light supersedes it, and it was not changed by hand
    changes: tuple[Change, ...]
    fault: str = ""  # why it cannot be read


def check_approvals(folder: Path, *, today: date | None = None) -> tuple[ApprovalState, ...]:
    """All approvals of a job, the oldest first, each with what is no longer as it was.

    Parameters
    ----------
    folder : Path
        The job folder.
    today : date, optional
        Against which the end of an approval is held; left out, the present day.
    """
    today = today or datetime.now(tz=UTC).date()
    files = approval_files(folder)
    current = current_approvals(tuple(file.approval for file in files if file.approval is not None))
    states = []
    for file in files:
        approval = file.approval
        if approval is None:
            states.append(ApprovalState(file.path.stem, None, in_force=False, changes=(), fault=file.fault))
            continue
        changes = changes_since(folder, approval, method=METHOD, today=today)
        in_force = approval.is_whole and approval in current and not approval.has_expired(today)
        states.append(ApprovalState(approval.name, approval, in_force, changes))
    return tuple(states)
