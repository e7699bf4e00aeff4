"""Which approved zone does a job file name as its target, and does the record of it hold?"""

from pathlib import Path

from analyzer.approvals import Approval, read_approval
from analyzer.errors import ApprovalError
from analyzer.jobfile_table import Table

_EXPECTED = 'the path of an approval, from this folder: "../bench/approvals/2026-03-31-A-washcoat-topcoated.json"'


def read_approved(table: Table, folder: Path) -> Approval | None:
    """Read the approval that `[target] approved` names; None, after noting why, if it cannot serve.

    The file may lie anywhere, in the folder of the earlier job or as a copy in this one.
    """
    if "approved" not in table.content:
        return None
    path = table.text("approved", _EXPECTED)
    if path is None:
        return None
    try:
        approval = read_approval(folder / path)
    except ApprovalError as refused:
        table.wrong("approved", _EXPECTED, "A copy of the file in this folder will do.", found=refused.what.rstrip("."))
        return None
    if not approval.is_whole:
        found = f"{path}, which was changed after it was written"
        table.wrong("approved", "an approval as it was written", "Take it from a backup.", found=found)
        return None
    stage = table.content.get("stage")
    if stage is not None and stage != approval.zone.stage:
        table.wrong("stage", f"the stage that was approved, {approval.zone.stage}; it may be left out")
    return approval
