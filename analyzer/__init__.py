"""The finisher's world: jobs, zones, evenness, verdicts, reports and records.

Everything that the command line does is one of these calls. Each is loaded when it is first asked for, so that
`import analyzer`, and with it `evenboard --help`, stays light.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analyzer.approval.approve import ApprovalTerms, approve_zone
    from analyzer.approval.check import check_approvals
    from analyzer.approval.terminal import approvals_summary, verification_summary
    from analyzer.approval.verify import verify_parts
    from analyzer.approval.verify_file import PartFlags, photos_by_flags, read_verify_file
    from analyzer.approval.wanted import VerifyRequest
    from analyzer.approval.write import verification_json, write_verification
    from analyzer.approvals import approvals_of
    from analyzer.check import check_photo, check_photos
    from analyzer.completeness import unmeasured
    from analyzer.corrections import corrections_folder, find_correction, kept_corrections, remove_correction
    from analyzer.errors import (
        AnalyzerError,
        ApprovalError,
        ArchiveError,
        CorrectionError,
        FolderError,
        JobExistsError,
        JobFileError,
        RecordError,
    )
    from analyzer.jobfile import read_job
    from analyzer.keeping import keep_corrections
    from analyzer.match.files import match_json, read_match, write_match
    from analyzer.match.match import Wanted, match_job
    from analyzer.match.terminal import match_summary
    from analyzer.measure import measure_job
    from analyzer.newjob import new_job
    from analyzer.plan.board_entries import BoardsExistError, write_boards
    from analyzer.plan.plan import plan_job
    from analyzer.plan.plan_file import plan_json, read_plan
    from analyzer.plan.write import write_plan
    from analyzer.power import boards_needed, power_of, smallest_seen
    from analyzer.record.archive_reading import verify_archive
    from analyzer.record.find import FindRequest, find_records
    from analyzer.record.index import open_index
    from analyzer.record.pack import pack_job, unpack_job
    from analyzer.record.query import Query
    from analyzer.record.recipe_comparison import compare_recipes, compare_records
    from analyzer.report.jsonfile import read_results, results_json
    from analyzer.report.terminal import summary
    from analyzer.report.write import recover_results, write_results
    from analyzer.strip_sheets.write import StripLengthError, write_strips
    from analyzer.version import tool_version

__all__ = [
    "AnalyzerError",
    "ApprovalError",
    "ApprovalTerms",
    "ArchiveError",
    "BoardsExistError",
    "CorrectionError",
    "FindRequest",
    "FolderError",
    "JobExistsError",
    "JobFileError",
    "PartFlags",
    "Query",
    "RecordError",
    "StripLengthError",
    "VerifyRequest",
    "Wanted",
    "approvals_of",
    "approvals_summary",
    "approve_zone",
    "boards_needed",
    "check_approvals",
    "check_photo",
    "check_photos",
    "compare_recipes",
    "compare_records",
    "corrections_folder",
    "find_correction",
    "find_records",
    "keep_corrections",
    "kept_corrections",
    "match_job",
    "match_json",
    "match_summary",
    "measure_job",
    "new_job",
    "open_index",
    "pack_job",
    "photos_by_flags",
    "plan_job",
    "plan_json",
    "power_of",
    "read_job",
    "read_match",
    "read_plan",
    "read_results",
    "read_verify_file",
    "recover_results",
    "remove_correction",
    "results_json",
    "smallest_seen",
    "summary",
    "tool_version",
    "unmeasured",
    "unpack_job",
    "verification_json",
    "verification_summary",
    "verify_archive",
    "verify_parts",
    "write_boards",
    "write_match",
    "write_plan",
    "write_results",
    "write_strips",
    "write_verification",
]

_HOME = {
    "ApprovalError": "analyzer.errors",
    "ApprovalTerms": "analyzer.approval.approve",
    "PartFlags": "analyzer.approval.verify_file",
    "VerifyRequest": "analyzer.approval.wanted",
    "approvals_of": "analyzer.approvals",
    "approvals_summary": "analyzer.approval.terminal",
    "approve_zone": "analyzer.approval.approve",
    "check_approvals": "analyzer.approval.check",
    "photos_by_flags": "analyzer.approval.verify_file",
    "read_verify_file": "analyzer.approval.verify_file",
    "verification_json": "analyzer.approval.write",
    "verification_summary": "analyzer.approval.terminal",
    "verify_parts": "analyzer.approval.verify",
    "write_verification": "analyzer.approval.write",
    "keep_corrections": "analyzer.keeping",
    "remove_correction": "analyzer.corrections",
    "kept_corrections": "analyzer.corrections",
    "find_correction": "analyzer.corrections",
    "corrections_folder": "analyzer.corrections",
    "CorrectionError": "analyzer.errors",
    "AnalyzerError": "analyzer.errors",
    "FolderError": "analyzer.errors",
    "JobExistsError": "analyzer.errors",
    "JobFileError": "analyzer.errors",
    "StripLengthError": "analyzer.strip_sheets.write",
    "check_photo": "analyzer.check",
    "check_photos": "analyzer.check",
    "match_job": "analyzer.match.match",
    "match_json": "analyzer.match.files",
    "match_summary": "analyzer.match.terminal",
    "read_match": "analyzer.match.files",
    "write_match": "analyzer.match.files",
    "Wanted": "analyzer.match.match",
    "measure_job": "analyzer.measure",
    "boards_needed": "analyzer.power",
    "power_of": "analyzer.power",
    "smallest_seen": "analyzer.power",
    "new_job": "analyzer.newjob",
    "RecordError": "analyzer.errors",
    "Query": "analyzer.record.query",
    "open_index": "analyzer.record.index",
    "FindRequest": "analyzer.record.find",
    "find_records": "analyzer.record.find",
    "pack_job": "analyzer.record.pack",
    "unpack_job": "analyzer.record.pack",
    "verify_archive": "analyzer.record.archive_reading",
    "ArchiveError": "analyzer.errors",
    "compare_records": "analyzer.record.recipe_comparison",
    "compare_recipes": "analyzer.record.recipe_comparison",
    "read_job": "analyzer.jobfile",
    "read_results": "analyzer.report.jsonfile",
    "recover_results": "analyzer.report.write",
    "results_json": "analyzer.report.jsonfile",
    "summary": "analyzer.report.terminal",
    "tool_version": "analyzer.version",
    "unmeasured": "analyzer.completeness",
    "write_results": "analyzer.report.write",
    "write_strips": "analyzer.strip_sheets.write",
    "BoardsExistError": "analyzer.plan.board_entries",
    "write_boards": "analyzer.plan.board_entries",
    "plan_job": "analyzer.plan.plan",
    "plan_json": "analyzer.plan.plan_file",
    "read_plan": "analyzer.plan.plan_file",
    "write_plan": "analyzer.plan.write",
}


def __getattr__(name: str) -> object:
    """Load a public name on its first use (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'analyzer' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List the public names, loaded or not."""
    return sorted({*globals(), *__all__})
