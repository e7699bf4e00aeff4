"""What stands on the labels of a trial?  For the back of each board, for each zone, and for step panels.

A label is drawn in millimetres from its upper left corner. All words are fitted into their rooms: a long name is set
smaller, then broken, and cut short only where nothing else is left; the code beside it carries the id in full.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from analyzer.plan.fitting import set_text
from analyzer.plan.layout import PlannedBoard, PlannedZone, Units, said
from analyzer.plan.qr import code_loops, code_text
from analyzer.plan.shapes import SOFT, Line, Outline, Shape, Words, lines_of
from analyzer.recipe_fields import FIELDS
from analyzer.results import Stage

Kind = Literal["board", "zone", "step panel"]
SIZES_MM: Final[dict[Kind, tuple[float, float]]] = {
    "board": (87.0, 60.0),
    "zone": (58.0, 40.0),
    "step panel": (174.0, 40.0),
}

# A step panel shows what lasts: the damp moment after wiping cannot be taped off.
STEPS: Final[dict[Stage, str]] = {
    "bare": "sanded, nothing on it",
    "treated": "pre-treatment alone",
    "stained": "stain, dry",
    "sealed": "first full clear coat",
    "topcoated": "all coats",
}
NATURAL: Final = "Wood varies by nature in colour and figure; such variation is not a defect."
PAD: Final = 2.5  # white at every edge of a label, mm

_CODE_MM: Final[dict[Kind, float]] = {"board": 22.0, "zone": 17.0, "step panel": 15.0}
_LINE_MM: Final = 4.9  # between lines to be filled in by hand
_SMALL: Final = (6.5, 6.0, 5.5, 5.0)


@dataclass(frozen=True, slots=True)
class Label:
    """One label."""

    kind: Kind
    code: str  # text of its QR code; of a step panel, that of its first step
    shapes: tuple[Shape, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return SIZES_MM[self.kind]


@dataclass(frozen=True, slots=True)
class StepPanel:
    """A strip of one wood with one treatment, on which each step is taped off in turn."""

    id: str  # "P1"
    species: str
    zone: PlannedZone


def step_panels(boards: Sequence[PlannedBoard]) -> tuple[StepPanel, ...]:
    """One panel for each wood and treatment: the piece is later held against it step by step."""
    zones: dict[tuple[str, str], PlannedZone] = {}
    for board in boards:
        for zone in board.zones:
            if zone.treatment != "none":
                zones.setdefault((board.species, zone.id), zone)
    ordered = sorted(zones, key=lambda key: [board.species for board in boards].index(key[0]))
    return tuple(StepPanel(f"P{n}", key[0], zones[key]) for n, key in enumerate(ordered, 1))


def recipe_words(zone: PlannedZone) -> str:
    """Say what is put on a zone, in the order of the work: "shellac washcoat, solids as used 5 %; brown oil stain"."""
    facts = {key: field for key, field in FIELDS.items() if key in zone.recipe}
    before = [_fact(key, zone.recipe[key]) for key in facts if key in ("parent_solids", "dilution", "solids", "wait")]
    first = "no pre-treatment" if zone.treatment == "none" else ", ".join([zone.treatment, *before])
    stain = ", ".join([zone.stain or "", *(_fact(k, zone.recipe[k]) for k in ("stain_coats", "dwell") if k in facts)])
    finish = ", ".join(str(zone.recipe[key]) for key in ("sealer", "topcoat", "sheen") if key in facts)
    return "; ".join(part.strip(", ") for part in (first, stain, finish) if part.strip(", "))


def board_label(job: str, customer: str | None, board: PlannedBoard, units: Units) -> Label:
    """Label of a board's back."""
    width, height = SIZES_MM["board"]
    code, code_mm = code_text(job, board.id), _CODE_MM["board"]
    right = width - PAD
    room = right - PAD - code_mm - 1.5
    y = PAD
    shapes: list[Shape] = [Outline(code_loops(code, right - code_mm, PAD, code_mm))]
    head = [
        set_text(f"Board {board.id}", room, sizes_pt=(15, 13, 11, 9), is_bold=True),
        set_text(f"{job}, for {customer}" if customer else job, room, most_lines=2),
        set_text(f"{board.species}, a {board.role} board", room, most_lines=2),
    ]
    for text in head:
        shapes += lines_of(text, PAD, y)
        y += text.height_mm + 0.3
    y = max(y, PAD + code_mm) + 1.0
    places = " | ".join(f"{said(z.start_mm, units)} {z.id}" for z in board.zones)
    zones = set_text(f"from the left end: {places}", right - PAD, most_lines=3, sizes_pt=_SMALL)
    shapes += lines_of(zones, PAD, y)
    shapes += _blanks(
        [
            ["lot and cut", "moisture, %"],
            ["sanded to, scale", "stain batch"],
            ["date", "by", "light"],
            ["approved by, date"],
        ],
        (PAD, right),
        height - PAD - 3.2 - 4 * _LINE_MM,
    )
    shapes += _natural(width, height)
    return Label("board", code, tuple(shapes))


def zone_label(job: str, board: PlannedBoard, zone: PlannedZone) -> Label:
    """Label of one zone, for the board's back behind it."""
    width, height = SIZES_MM["zone"]
    code, code_mm = code_text(job, board.id, zone.id), _CODE_MM["zone"]
    right = width - PAD
    room = right - PAD - code_mm - 1.0
    shapes: list[Shape] = [Outline(code_loops(code, right - code_mm, PAD, code_mm))]
    y = PAD
    for text in (
        set_text(f"{board.id}/{zone.id}", room, most_lines=2, sizes_pt=(9, 8, 7, 6), is_bold=True),
        set_text(f"{job}; {board.species}", room, most_lines=3, sizes_pt=_SMALL),
    ):
        shapes += lines_of(text, PAD, y)
        y += text.height_mm + 0.2
    y = max(y, PAD + code_mm) + 0.3
    blanks = height - PAD - 3.0 - 2 * _LINE_MM
    lines = max(1, int((blanks + 1.0 - y) / 2.45))
    shapes += lines_of(set_text(recipe_words(zone), right - PAD, most_lines=lines, sizes_pt=_SMALL), PAD, y)
    shapes += _blanks([["date", "by"], ["light", "approved"]], (PAD, right), blanks)
    shapes += _natural(width, height)
    return Label("zone", code, tuple(shapes))


def step_panel_label(job: str, panel: StepPanel) -> Label:
    """Label of a step panel: a field below each of its taped-off steps."""
    width, height = SIZES_MM["step panel"]
    head_mm = 44.0
    field_mm = (width - head_mm - PAD) / len(STEPS)
    shapes: list[Shape] = []
    y = PAD
    for text in (
        set_text(f"Step panel {panel.id}", head_mm - PAD - 2, sizes_pt=(9, 8, 7), is_bold=True),
        set_text(f"{job}; {panel.species}", head_mm - PAD - 2, most_lines=3, sizes_pt=_SMALL),
        set_text(recipe_words(panel.zone), head_mm - PAD - 2, most_lines=5, sizes_pt=_SMALL),
    ):
        shapes += lines_of(text, PAD, y)
        y += text.height_mm + 0.4
    shapes += _blanks([["light"], ["approved"]], (PAD, head_mm - 2), height - PAD - 3.0 - 2 * _LINE_MM)
    codes = [code_text(job, panel.id, panel.zone.id, stage) for stage in STEPS]
    for k, ((stage, told), code) in enumerate(zip(STEPS.items(), codes, strict=True)):
        shapes += _step(k + 1, stage, told, code, (head_mm + k * field_mm, field_mm))
    shapes += _natural(width, height)
    return Label("step panel", codes[0], tuple(shapes))


def all_labels(job: str, customer: str | None, boards: Sequence[PlannedBoard], units: Units) -> tuple[Label, ...]:
    """All labels of a trial: of boards, of zones, of step panels."""
    return (
        *(board_label(job, customer, board, units) for board in boards),
        *(zone_label(job, board, zone) for board in boards for zone in board.zones),
        *(step_panel_label(job, panel) for panel in step_panels(boards)),
    )


def _step(number: int, stage: Stage, told: str, code: str, place: tuple[float, float]) -> Iterator[Shape]:
    """One field of a step panel's label."""
    x, width = place
    code_mm = _CODE_MM["step panel"]
    yield Line(x, PAD, x, SIZES_MM["step panel"][1] - PAD - 3.2, 0.15, SOFT)
    name = set_text(f"{number} {stage}", width - 2, sizes_pt=(8, 7, 6), is_bold=True)
    yield from lines_of(name, x + 1.2, PAD)
    words = set_text(told, width - 2, most_lines=2, sizes_pt=(6.0, 5.5, 5.0))
    yield from lines_of(words, x + 1.2, PAD + name.height_mm, colour=SOFT)
    yield Outline(code_loops(code, x + (width - code_mm) / 2, PAD + 7.0, code_mm))
    yield from _blanks(
        [["date"], ["by"]], (x + 1.2, x + width - 1.2), SIZES_MM["step panel"][1] - PAD - 3.0 - 2 * 4.6, 4.6
    )


def _natural(width: float, height: float) -> list[Words]:
    """At the foot of every label."""
    text = set_text(NATURAL, width - 2 * PAD, sizes_pt=(5.5, 5.0, 4.5, 4.0))
    return lines_of(text, PAD, height - PAD + 0.4 - text.height_mm, colour=SOFT)


def _blanks(
    rows: Sequence[Sequence[str]], across: tuple[float, float], top: float, line_mm: float = _LINE_MM
) -> Iterator[Shape]:
    """Lines to be filled in by hand, each behind its word; the places of a row share its width."""
    left, right = across
    for k, row in enumerate(rows):
        base = top + (k + 1) * line_mm - 1.0
        width = (right - left) / len(row)
        for j, word in enumerate(row):
            text = set_text(word, width * 0.6, sizes_pt=(6.0, 5.5, 5.0))
            placed = lines_of(text, left + j * width, 0.0, colour=SOFT)
            yield from (Words(w.x, base, w.text, w.size_pt, w.align, w.is_bold, w.colour) for w in placed)
            start = left + j * width + text.width_mm + 0.8
            yield Line(start, base + 0.5, left + (j + 1) * width - (1.2 if j + 1 < len(row) else 0), base + 0.5, 0.15)


def _fact(key: str, value: Any) -> str:  # noqa: ANN401 - a recipe holds numbers and words
    """Say one fact of a recipe, briefly."""
    field = FIELDS[key]
    said_value = f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
    unit = " %" if field.kind == "percent" and isinstance(value, int | float) else ""
    return f"{field.words} {said_value}{unit}"
