"""Which files does `evenboard plan` leave in the job folder?"""

from pathlib import Path

from analyzer.errors import FolderError
from analyzer.plan.label_sheets import labels_pdf
from analyzer.plan.labels import all_labels
from analyzer.plan.page_html import plan_html
from analyzer.plan.page_pdf import plan_pdf
from analyzer.plan.plan import Plan
from analyzer.plan.plan_file import plan_json
from analyzer.report.swap import is_half_done, swap_in

PLAN, PLAN_PAGE, PLAN_PRINT, LABELS = "plan.json", "plan.html", "plan.pdf", "labels.pdf"


def write_plan(plan: Plan, folder: Path) -> tuple[Path, ...]:
    """Write a plan into its job folder, all files or none.

    Parameters
    ----------
    plan : Plan
    folder : Path
        The job folder; it must exist. job.toml and photos are never touched.

    Returns
    -------
    tuple of Path
        The files written, plan.json first.

    Raises
    ------
    FolderError
        If the folder cannot be written to.
    """
    files = plan_files(plan)
    try:
        swap_in(files, folder)
    except OSError as failed:
        reason = failed.strerror or str(failed)
        earlier = "will be put back by the next run" if is_half_done(folder) else "is unchanged"
        raise FolderError(
            f"the plan could not be written to {folder}: {reason}.",
            remedy=f"An earlier plan {earlier}. Free some space, or choose a folder that can be written to.",
        ) from failed
    return tuple(folder / name for name in files)


def plan_files(plan: Plan) -> dict[str, bytes]:
    """Make every file in memory: name to its bytes."""
    labels = all_labels(plan.job, plan.customer, plan.boards, plan.units)
    return {
        PLAN: plan_json(plan),
        PLAN_PAGE: plan_html(plan),
        PLAN_PRINT: plan_pdf(plan),
        LABELS: labels_pdf(labels, paper=plan.paper, job=plan.job, inches=plan.units == "in"),
    }
