"""May the run go on after its first part?  A plain go, stop or cannot tell, and what to look at first if not.

Strict on purpose: a run is stopped cheaply before its second part, and dearly after its thirtieth. A photo with a
warning says neither go nor stop; what the approval covers and the photo leaves open, leaves the answer open.
"""

import csv
from functools import cache
from typing import Final

from analyzer.approval.results import CheckFirst, FirstArticleResult, Go, PartResult
from analyzer.approvals import Approval
from calibration.published import published_file

DEFECTS: Final = "trade_defects.csv"
# Which rows of the trade table to look at first, by what is seen. Chosen.
BY_DIRECTION: Final = {"light": ("part-lighter",), "dark": ("part-darker",)}
BY_BLOTCH: Final = ("clouds", "glue-smear")
BY_HUE: Final = CheckFirst(
    "stirring and batch of the stain, the tone of the topcoat",
    "stir to the bottom and try again on an offcut; compare the batch with the one on the approved board's label",
    "common practice, no source",
)


def first_article(part: PartResult, approval: Approval) -> FirstArticleResult:
    """Judge the first part of a run strictly.

    Parameters
    ----------
    part : PartResult
        Measured and judged, or not measured at all.
    approval : Approval
        What it was held against.
    """
    doubts = [f"{found.message} {found.remedy}".strip() for found in part.findings if found.severity != "note"]
    stops = []
    if part.colour == "outside":
        stops.append("its colour is outside what was approved")
    if part.evenness == "outside":
        stops.append("it is blotchier than what was approved")
    if not part.is_measured:
        doubts.insert(0, "it could not be measured")
    if "colour" in approval.covers and part.is_measured and part.colour not in ("within", "outside"):
        doubts.append("its colour cannot be told")
    wants_even = "evenness" in approval.covers and approval.limits.wish == "even"
    if wants_even and part.is_measured and part.evenness not in ("within", "outside"):
        doubts.append("its evenness cannot be told")
    if part.other_species:
        doubts.append(f"it is {part.species}, approved was {approval.zone.species}")
    decision: Go = "cannot tell" if doubts else "stop" if stops else "go"
    if stops and not _is_photo_in_doubt(part):
        decision = "stop"  # what is surely outside does not become better by what else is open
    looks = tuple(_check_first(part)) if decision != "go" else ()
    return FirstArticleResult(part.id, decision, (*stops, *doubts), looks)


def _is_photo_in_doubt(part: PartResult) -> bool:
    return any(found.severity != "note" for found in part.findings)


def _check_first(part: PartResult) -> list[CheckFirst]:
    rows = _defects()
    names = [name for word in part.directions for name in BY_DIRECTION.get(word, ())]
    names += BY_BLOTCH if part.evenness == "outside" else ()
    found = [rows[name] for name in dict.fromkeys(names) if name in rows]
    if any(word not in BY_DIRECTION for word in part.directions):
        found.append(BY_HUE)
    return found


@cache
def _defects() -> dict[str, CheckFirst]:
    """What likely causes what is seen, from the trade table."""
    with published_file(DEFECTS).open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return {row["id"]: CheckFirst(row["cause"], row["check"], row["source"]) for row in rows}
