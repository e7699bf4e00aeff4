"""What does the page of a plan say, block by block, before anybody lays it out?  In the words of the bench.

Screen and paper show the same blocks: page_html.py and page_pdf.py lay them out and add nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from analyzer.plan.amounts_nouns import Amounts
from analyzer.plan.drawing import BoardDrawing, draw_board
from analyzer.plan.labels import recipe_words
from analyzer.plan.layout import PlannedBoard, PlannedZone, boards_of_a_set, said
from analyzer.plan.plan import Plan
from analyzer.plan.schedule_nouns import Advice, Schedule, Step
from analyzer.report.words import board_size, count, number, sentence
from analyzer.trade.units import M2_PER_FT2

TAKE = {
    "light": "take one of the lightest of the lot",
    "dark": "take one of the darkest of the lot",
    "middle": "take one of middle colour",
}


@dataclass(frozen=True, slots=True)
class BoardBlock:
    """One board: what to take, how to mark it, what goes where."""

    heading: str
    note: str
    drawing: BoardDrawing
    about: str  # the drawing in words
    rows: tuple[tuple[str, str, str], ...]  # from, to | zone | what goes on


@dataclass(frozen=True, slots=True)
class StepBlock:
    """One row of the checklist."""

    when: str
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchBlock:
    """One material."""

    heading: str
    lines: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Page:
    """The whole page."""

    title: str
    customer: str | None
    facts: tuple[str, ...]
    marking: tuple[str, ...]
    boards: tuple[BoardBlock, ...]
    warnings: tuple[str, ...]
    shows: tuple[str, ...]
    shows_table: tuple[tuple[str, str], ...]  # boards of each wood | the smallest difference seen
    advice: tuple[Advice, ...]
    steps: tuple[StepBlock, ...]
    schedule_notes: tuple[str, ...]
    trial_amounts: tuple[BatchBlock, ...]
    amounts: tuple[BatchBlock, ...]
    amount_notes: tuple[str, ...]
    parts: tuple[tuple[str, str, str, str], ...]


def page_of(plan: Plan) -> Page:
    """Put a plan into words and drawings."""
    return Page(
        title=plan.job,
        customer=plan.customer,
        facts=tuple(_facts(plan)),
        marking=tuple(_marking(plan)),
        boards=tuple(_board(board, plan) for board in plan.boards),
        warnings=plan.warnings,
        shows=plan.how_many.sentences,
        shows_table=tuple((str(row.boards), number(row.smallest, 2)) for row in plan.how_many.table),
        advice=plan.schedule.advice if plan.schedule else (),
        steps=tuple(_step(step) for step in plan.schedule.steps) if plan.schedule else (),
        schedule_notes=tuple(_schedule_notes(plan.schedule)) if plan.schedule else (),
        trial_amounts=_batches(plan.trial_amounts),
        amounts=_batches(plan.amounts),
        amount_notes=_amount_notes(plan),
        parts=tuple((part.id, part.species, part.substrate, _area(part.area_m2, plan)) for part in plan.parts),
    )


def day(moment: date | datetime) -> str:
    """Say a day: "Mon 7 Dec 2026", the same whatever the language of the machine."""
    days = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return f"{days[moment.weekday()]} {moment.day} {months[moment.month - 1]} {moment.year}"


def _facts(plan: Plan) -> Iterator[str]:
    board = plan.boards[0]
    woods = list(dict.fromkeys(one.species for one in plan.boards))
    yield f"begins {day(plan.request.start)}"
    yield f"{count(len(plan.request.candidates), 'pre-treatment')} to try, each against bare controls"
    size = board_size(board.length_mm, board.width_mm, plan.units)
    yield f"{count(len(plan.boards), 'board')} of {size}, of {_and(woods)}"
    if plan.request.stain:
        yield f"stain: {plan.request.stain}"
    if plan.request.topcoat:
        yield f"topcoat: {plan.request.topcoat}{f', {plan.request.sheen}' if plan.request.sheen else ''}"


def _marking(plan: Plan) -> Iterator[str]:
    """How the boards are chosen and marked."""
    yield (
        "Cut the boards from the lot that the piece is made of, and machine and sand them as its parts: same grits, "
        "same paper, same person. Other lumber tells about other lumber."
    )
    yield (
        "Lay each board face up with its grain from left to right. Mark the edges of the zones from the left end, at "
        "the distances below the drawing, across the full width: so the same growth lines run through every zone."
    )
    several = next((board for board in plan.boards if len(boards_of_a_set(plan.boards, board)) > 1), None)
    if several:
        ids = _and([board.id for board in boards_of_a_set(plan.boards, several)])
        yield (
            f"The treatments do not fit on one board. Boards {ids}, and so on, belong together: cut them from one "
            "plank. Each has controls of its own, and every treatment is held against those."
        )
    yield (
        "Tape off along the marks for each treatment. Within the dashed line, "
        f"{said(plan.boards[0].margin_mm, plan.units)} inside every edge, is what the photos measure; what bleeds "
        "under the tape stays outside of it."
    )
    yield (
        "Controls stand at both ends and get everything but the pre-treatment. Do them with the same rag and the same "
        "time."
    )
    yield (
        f"The order of the zones was drawn by chance (number {plan.seed}), so that a change along the board favours no "
        "treatment. Do not put them in order."
    )
    yield (
        "Stick the labels on the backs before anything is put on, and photograph every board bare: it tells what was "
        "there before."
    )


def _board(board: PlannedBoard, plan: Plan) -> BoardBlock:
    zones = ", ".join(
        f"{zone.id} from {said(zone.start_mm, plan.units)} to {said(zone.end_mm, plan.units)}" for zone in board.zones
    )
    drawing = draw_board(board, plan.units)
    return BoardBlock(
        heading=f"Board {board.id}: {board.species}",
        note=f"{sentence(TAKE[board.role])}.",
        drawing=drawing,
        about=f"Board {board.id}, grain from left to right: {zones}",
        rows=tuple((_span(zone, plan), zone.id, recipe_words(zone)) for zone in board.zones),
    )


def _span(zone: PlannedZone, plan: Plan) -> str:
    """Say "100 to 200 mm": the unit once."""
    start = said(zone.start_mm, plan.units).removesuffix(f" {plan.units}")
    return f"{start} to {said(zone.end_mm, plan.units)}"


def _step(step: Step) -> StepBlock:
    when = f"{day(step.start)}, {step.start:%H:%M}"
    if step.end.date() != step.start.date():
        when += f", to {day(step.end)}, {step.end:%H:%M}"
    elif step.end != step.start:
        when += f" to {step.end:%H:%M}"
    lines = [*step.instructions]
    if step.wait:
        lines.append(f"Not before {day(step.earliest)}, {step.earliest:%H:%M}: {step.wait}.")
    if step.latest:
        lines.append(f"Not after {day(step.latest)}, {step.latest:%H:%M}.")
    if not step.is_wait_known:
        lines.append("No table has this wait and a day was taken: the product's sheet decides.")
    if step.record:
        lines.append(f"Write down: {', '.join(step.record)}.")
    return StepBlock(when, sentence(step.title), tuple(lines))


def _schedule_notes(schedule: Schedule) -> Iterator[str]:
    if schedule.in_service:
        yield f"Careful use from {day(schedule.in_service)}."
    if schedule.cured:
        yield f"Fully cured about {day(schedule.cured)}."
    for taken in schedule.taken_as:
        if taken.row is None:
            near = f" Near it: {', '.join(taken.near)}." if taken.near else ""
            yield f"“{taken.asked}” is in no table as a {taken.table}: its times are by the product's own sheet.{near}"
        elif taken.row.casefold() != taken.asked.casefold():
            yield f"“{taken.asked}” was taken as {taken.row}."
    yield schedule.closing


def _batches(amounts: Amounts | None) -> tuple[BatchBlock, ...]:
    if amounts is None:
        return ()
    return tuple(BatchBlock(sentence(batch.name), batch.sentences, batch.source) for batch in amounts.batches)


def _amount_notes(plan: Plan) -> tuple[str, ...]:
    found = [amounts for amounts in (plan.trial_amounts, plan.amounts) if amounts]
    notes = [note for amounts in found for note in (*amounts.notes, amounts.closing) if note]
    return tuple(dict.fromkeys(notes))


def _area(area_m2: float, plan: Plan) -> str:
    return f"{area_m2 / M2_PER_FT2:.1f} ft²" if plan.units == "in" else f"{area_m2:.2f} m²"


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
