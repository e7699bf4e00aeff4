"""The main call of a plan: what job.toml asks for in, the whole trial out."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from analyzer.errors import JobFileError, Problem
from analyzer.job import Job
from analyzer.jobfile import JOB_FILE, read_job
from analyzer.jobfile_plan import MOST_BOARDS
from analyzer.plan.amounts_nouns import Amounts
from analyzer.plan.board_entries import board_entries
from analyzer.plan.how_many import HowMany, how_many
from analyzer.plan.labels import recipe_words, step_panels
from analyzer.plan.layout import PlannedBoard, Units, lay_out
from analyzer.plan.schedule_nouns import Schedule
from analyzer.plan_request import Paper, Part, PlanRequest
from analyzer.report.cautions import Caution, cautions_for, closing_words
from analyzer.toml_lines import LineNumbers
from analyzer.trade.sayings import Word, all_words
from analyzer.version import tool_version

FORMAT: Final = 1


@dataclass(frozen=True, slots=True)
class PlanTool:
    """What made the plan."""

    name: str
    version: str


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """A step panel: a strip of one wood with one treatment, each step taped off in turn."""

    id: str
    species: str
    zone: str
    recipe: str  # in words


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan, key for key what `plan.json` holds. Lengths in mm, areas in m²."""

    format: Literal[1]
    tool: PlanTool
    job: str
    customer: str | None
    units: Units  # in which page, drawings and labels speak
    paper: Paper
    request: PlanRequest
    parts: tuple[Part, ...]
    seed: int  # of the order of the zones
    boards: tuple[PlannedBoard, ...]
    warnings: tuple[str, ...]  # what of the boards is less than it should be
    how_many: HowMany
    step_panels: tuple[PanelPlan, ...]
    schedule: Schedule | None
    trial_amounts: Amounts | None  # of the boards
    amounts: Amounts | None  # of the whole piece, for each treatment as if it were the chosen one
    cautions: tuple[Caution, ...]
    closing: str  # of the cautions
    words: tuple[Word, ...]  # of the trade, that the plan uses
    entries: str  # the boards as job.toml holds them


def plan_job(folder: Path) -> Plan:
    """Plan the trial that a job folder asks for. Nothing is written.

    Parameters
    ----------
    folder : Path
        The job folder; its job.toml has [plan] and [[part]], and needs no boards, photos or target.

    Returns
    -------
    Plan
        The same for the same job file and trade tables.

    Raises
    ------
    JobFileError
        If the job file does not hold or asks for what cannot be planned, with key and line.
    TradeTableError
        If a trade table of the shop's own does not hold.
    """
    folder = Path(folder)
    job = read_job(folder, to_plan=True)
    if job.plan is None:
        raise ValueError("plan_job: a job that is to be planned was read without a plan")
    return make_plan(job, job.plan, _number_of_boards(folder, job.plan))


def make_plan(job: Job, request: PlanRequest, number: HowMany) -> Plan:
    """Plan a trial on so many boards of each wood."""
    woods = tuple(dict.fromkeys(part.species for part in job.parts))
    layout = lay_out(request, woods, number.repeats, job.name, job.units)
    panels = tuple(PanelPlan(p.id, p.species, p.zone.id, recipe_words(p.zone)) for p in step_panels(layout.boards))
    texts = tuple(_texts(request, job))
    return Plan(
        format=FORMAT,
        tool=PlanTool("evenboard", tool_version()),
        job=job.name,
        customer=job.customer,
        units=job.units,
        paper=request.paper,
        request=request,
        parts=job.parts,
        seed=layout.seed,
        boards=layout.boards,
        warnings=layout.warnings,
        how_many=number,
        step_panels=panels,
        schedule=None,
        trial_amounts=None,
        amounts=None,
        cautions=cautions_for(texts),
        closing=closing_words(),
        words=_words_used(" ".join((*texts, "control", "step panel"))),
        entries=board_entries(layout.boards, job.units),
    )


def _number_of_boards(folder: Path, request: PlanRequest) -> HowMany:
    """How many boards of each wood; a number that nobody makes is refused with the key that asks for it."""
    try:
        number = how_many(request)
    except ValueError:
        takes = "more than anybody makes"
    else:
        if number.repeats <= MOST_BOARDS:
            return number
        takes = f"{number.repeats}"
    path = folder / JOB_FILE
    line = LineNumbers(path.read_text(encoding="utf-8-sig")).line(("plan", "smallest"))
    found = f"{request.smallest:g}, which takes {takes} boards of each wood"
    hint = "Ask for a larger difference, or for less power."
    expected = f"a difference that at most {MOST_BOARDS} boards show"
    raise JobFileError(path, (Problem("plan.smallest", line, found, expected, hint=hint),))


def _texts(request: PlanRequest, job: Job) -> Iterator[str]:
    """Whatever names a material or a step of the work."""
    yield from filter(None, (request.stain, request.topcoat, request.applied))
    for candidate in request.candidates:
        yield candidate.treatment
        yield candidate.stain or ""
        yield from (f"{key}: {value}" for key, value in candidate.recipe.items() if isinstance(value, str))
    yield from (f"{key}: {value}" for key, value in request.recipe.items() if isinstance(value, str))
    yield from (part.glue_faces or "" for part in job.parts)


def _words_used(text: str) -> tuple[Word, ...]:
    """Words of the trade that stand in a text, whole, in any case; a plural s is forgiven."""
    return tuple(w for w in all_words() if re.search(rf"(?<!\w){re.escape(w.word)}s?(?!\w)", text, re.IGNORECASE))
