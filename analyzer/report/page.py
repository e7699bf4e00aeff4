"""What stands on the report page?  One dataclass per block, filled here; the template only lays them out."""

from dataclasses import dataclass

from analyzer.job import Job
from analyzer.report import words
from analyzer.report.answer_block import AnswerBlock, answer_block, job_facts
from analyzer.report.approved import ApprovalRow
from analyzer.report.cautions import Caution, cautions_of, closing_words
from analyzer.report.charts import Chart, Row, chart
from analyzer.report.colour_plots import ColourPlots, colour_plots
from analyzer.report.customer import CustomerPage, customer_page
from analyzer.report.effects import (
    DoseBlock,
    EffectGroup,
    MatrixTable,
    dose_blocks,
    effect_groups,
    matrix_tables,
    repeats_in_words,
)
from analyzer.report.lights import LightRow, light_rows, one_light_only
from analyzer.report.looks import LookTable, look_table
from analyzer.report.marks import Mark, colour_mark, evenness_mark, overall_mark
from analyzer.report.photos import seen_photos
from analyzer.report.prose import Prose, prose_of
from analyzer.report.recipes import Recipes, recipes_of
from analyzer.report.sources import SourceTable, source_table
from analyzer.report.swatches import hex_colours, target_Labs, verdict_colours, zone_result
from analyzer.report.tables import (
    DifferenceRow,
    PhotoRow,
    ZoneRow,
    difference_row,
    is_against_control,
    photo_row,
    zone_row,
)
from analyzer.results import Results, ToolResult, VerdictResult

BY_CHART = ("colour chart", "stored")  # absolute colours are more than indicative


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """One treatment."""

    name: str
    detail: str  # stain and number of boards
    swatches: tuple[str, ...]  # one a zone, in the order of the zones
    target: tuple[str, ...]
    colour: str
    colour_mark: Mark
    blotch: str
    evenness_mark: Mark
    overall_mark: Mark
    advice: str


@dataclass(frozen=True, slots=True)
class VerdictGroup:
    """Treatments that may be compared: one stage in one light on the same wood."""

    heading: str
    rows: tuple[VerdictRow, ...]
    charts: tuple[Chart, ...]
    plots: ColourPlots | None  # None: no target at this stage in this light
    sources: SourceTable


@dataclass(frozen=True, slots=True)
class Page:
    """Everything on the page but the pictures of the boards."""

    title: str
    customer: str | None
    facts: tuple[str, ...]
    answer: AnswerBlock
    for_customer: CustomerPage
    groups: tuple[VerdictGroup, ...]
    effects: tuple[EffectGroup, ...]  # treatments beside a control of their own board
    doses: tuple[DoseBlock, ...]  # treatments tried in several doses
    matrices: tuple[MatrixTable, ...]  # all zones against all
    repeats: str  # how closely repeated photos agree; empty without any
    lights: tuple[LightRow, ...]  # treatments seen in more than one light
    one_light_only: bool
    blotch_limit: str  # as said
    against_control: tuple[DifferenceRow, ...]  # in one photo, at a stage that was judged: the firmest numbers
    other_differences: tuple[DifferenceRow, ...]
    zones: tuple[ZoneRow, ...]  # at a stage that was judged
    other_zones: tuple[ZoneRow, ...]
    looks: LookTable  # more figures of the unevenness
    recipes: Recipes
    photos: tuple[PhotoRow, ...]
    cautions: tuple[Caution, ...]
    closing: str
    prose: Prose
    tool: ToolResult


def page_of(job: Job, results: Results, approvals: tuple[ApprovalRow, ...] = ()) -> Page:
    """Fill everything on the page but the pictures of the boards.

    Parameters
    ----------
    job : Job
        Names, target, limits and units.
    results : Results
        The answer.
    approvals : tuple of ApprovalRow
        What was approved already, from `approved.approval_rows`.
    """
    comparable = _comparable(results.verdicts)
    groups = tuple(_group(members, job, results) for members in comparable)
    used = [photo for photo in results.photos if photo.usable]
    judged = {verdict.stage for verdict in results.verdicts}
    firmest = [item for item in results.differences if item.stage in judged and is_against_control(item, results)]
    has_chart = bool(used) and all(photo.correction in BY_CHART for photo in used)
    other_differences = [item for item in results.differences if item not in firmest]
    judged_zones = [zone for zone in results.zones if zone.stage in judged or not judged]
    other_zones = [zone for zone in results.zones if zone not in judged_zones]
    return Page(
        title=job.name,
        customer=job.customer,
        facts=job_facts(job, results),
        answer=answer_block(job, results),
        for_customer=customer_page(job, results, comparable, approvals, has_chart=has_chart),
        groups=groups,
        effects=effect_groups(results),
        doses=dose_blocks(results),
        matrices=matrix_tables(results),
        repeats=repeats_in_words(results),
        lights=light_rows(results),
        one_light_only=one_light_only(results),
        blotch_limit=_limit_words(job),
        against_control=tuple(difference_row(item, results) for item in firmest),
        other_differences=tuple(difference_row(item, results) for item in other_differences),
        zones=tuple(zone_row(zone, job) for zone in judged_zones),
        other_zones=tuple(zone_row(zone, job) for zone in other_zones),
        looks=look_table(results, job.units),
        recipes=recipes_of(job, results),
        photos=tuple(photo_row(photo, job) for photo in seen_photos(results)),
        cautions=cautions_of(job),
        closing=closing_words(),
        prose=prose_of(job, results.tool.method, _limit_words(job), has_chart=has_chart),
        tool=results.tool,
    )


def _blotch_limit(job: Job, results: Results, stage: str | None, light: str | None) -> float | None:
    if job.evenness.wish == "lively":
        return None
    if not job.blotch_limit_zones:
        return job.evenness.limit
    found = [zone_result(results, path, stage, light) for path in job.blotch_limit_zones]
    blotches = [zone.blotch for zone in found if zone is not None and zone.blotch is not None]
    return max(blotches) if len(blotches) == len(found) else None


def _limit_words(job: Job) -> str:
    if job.evenness.wish == "lively":
        return "none, since a lively figure is wished"
    if job.evenness.like:
        return f"that of zone {job.evenness.like}"
    if job.blotch_limit_zones:
        return "that of the worst range board"
    return words.number(job.evenness.limit or 0.0, words.BLOTCH_DECIMALS)


def _comparable(verdicts: tuple[VerdictResult, ...]) -> list[list[VerdictResult]]:
    groups: dict[tuple[str, str, str | None], list[VerdictResult]] = {}
    for item in verdicts:
        groups.setdefault((item.species, item.stage, item.light), []).append(item)
    return [sorted(group, key=lambda item: item.rank) for group in groups.values()]


def _group(members: list[VerdictResult], job: Job, results: Results) -> VerdictGroup:
    first = members[0]
    colours = [
        _row(item, item.de00, item.de00_u95, words.COLOUR_DECIMALS, colour_mark(item.colour)) for item in members
    ]
    blotches = [
        _row(item, item.blotch, item.blotch_u95, words.BLOTCH_DECIMALS, evenness_mark(item.evenness))
        for item in members
    ]
    limit = _blotch_limit(job, results, first.stage, first.light)
    return VerdictGroup(
        heading=f"{first.species}: {words.taken(first.stage, first.light)}",
        rows=tuple(_verdict_row(item, job, results) for item in members),
        charts=(
            chart("Colour difference from the target", "ΔE00", job.target.tolerance, colours, words.COLOUR_DECIMALS),
            chart("Blotch", "L*", limit, blotches, words.BLOTCH_DECIMALS),
        ),
        plots=colour_plots(job, results, members),
        sources=source_table(members),
    )


def _row(item: VerdictResult, value: float | None, u95: float | None, decimals: int, mark: Mark) -> Row:
    text = words.measured(value, u95, decimals)
    return Row(words.treatment_name(item.treatment, item.dose), item.stain, value, u95, text, mark)


def _verdict_row(item: VerdictResult, job: Job, results: Results) -> VerdictRow:
    return VerdictRow(
        name=words.treatment_name(item.treatment, item.dose),
        detail=", ".join(part for part in (item.stain, words.count(item.boards, "board")) if part),
        swatches=verdict_colours(item, results),
        target=hex_colours(target_Labs(job, results, item.stage, item.light)),
        colour=words.colour(item.de00, item.de00_u95),
        colour_mark=colour_mark(item.colour),
        blotch=words.blotch(item.blotch, item.blotch_u95),
        evenness_mark=evenness_mark(item.evenness),
        overall_mark=overall_mark(item.overall),
        advice=words.sentence(item.advice),
    )
