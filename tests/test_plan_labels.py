"""Labels of a trial: all ids on them, codes that a reader reads, nothing outside its label, nothing over another."""

import io
import itertools
from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_plan_layout import trial

from analyzer.paper.document import MARGIN_MM, PAPERS_MM, TOP_MM, PaperName
from analyzer.paper.fonts import SANS, SANS_BOLD, width_pt
from analyzer.plan.fitting import MM_PER_POINT
from analyzer.plan.label_sheets import HEAD_MM, ROOM_MM, cut_lines, grid, label_sheets, labels_pdf, place
from analyzer.plan.labels import (
    NATURAL,
    PAD,
    STEPS,
    Label,
    all_labels,
    board_label,
    recipe_words,
    step_panel_label,
    step_panels,
    zone_label,
)
from analyzer.plan.layout import PlannedZone
from analyzer.plan.qr import LONGEST_JOB, code_text, read_code
from analyzer.plan.shapes import Line, Outline, Shape, Words

BOARDS = trial(3).boards
LABELS = all_labels("Entry bench", "A. Sample", BOARDS, "mm")
PAPERS: tuple[PaperName, ...] = ("a4", "letter")
Extent = tuple[float, float, float, float]


def extent(shape: Shape) -> Extent:
    """Left, top, right, bottom of what is drawn; capitals of DejaVu are 0.76 of the size, tails 0.24."""
    if isinstance(shape, Words):
        wide = width_pt(shape.text, SANS_BOLD if shape.is_bold else SANS, shape.size_pt) * MM_PER_POINT
        left = shape.x - {"left": 0, "middle": wide / 2, "right": wide}[shape.align]
        em = shape.size_pt * MM_PER_POINT
        return left, shape.y - 0.76 * em, left + wide, shape.y + 0.24 * em
    if isinstance(shape, Outline):
        x, y = zip(*itertools.chain(*shape.loops), strict=True)
        return min(x), min(y), max(x), max(y)
    assert isinstance(shape, Line)
    return shape.x1, min(shape.y1, shape.y2), shape.x2, max(shape.y1, shape.y2)


def overlap(a: Extent, b: Extent) -> bool:
    slack = 0.05
    return a[0] < b[2] - slack and b[0] < a[2] - slack and a[1] < b[3] - slack and b[1] < a[3] - slack


def check_inside(label: Label) -> None:
    width, height = label.size_mm
    extents = [extent(shape) for shape in label.shapes]
    for left, top, right, bottom in extents:
        assert left >= PAD - 0.01
        assert top >= PAD - 0.6
        assert right <= width - PAD + 0.01
        assert bottom <= height - PAD + 0.6
    for a, b in itertools.combinations(extents, 2):
        assert not overlap(a, b), (a, b)


@pytest.mark.parametrize("label", LABELS, ids=lambda label: label.code.replace("/", " "))
def test_everything_on_a_label_lies_inside_it_and_apart(label: Label) -> None:
    check_inside(label)


@settings(max_examples=40, deadline=None)
@given(st.text(min_size=1, max_size=150), st.text(min_size=1, max_size=80), st.text(min_size=1, max_size=300))
def test_long_and_strange_names_shrink_or_wrap_but_never_spill(job: str, name: str, treatment: str) -> None:
    board = BOARDS[0]
    zone = replace(board.zones[1], id=name, treatment=treatment, stain=treatment)
    board = replace(board, species=name, zones=(board.zones[0], *[zone] * 4, board.zones[-1]))
    check_inside(board_label(job, name, board, "in"))
    check_inside(zone_label(job, board, zone))
    check_inside(step_panel_label(job, step_panels([board])[0]))


def test_each_board_zone_and_step_panel_has_its_label() -> None:
    kinds = Counter(label.kind for label in LABELS)
    assert kinds == {"board": 4, "zone": 20, "step panel": 6}
    codes = [label.code for label in LABELS]
    assert len(set(codes)) == len(codes)
    assert "evenboard:1:Entry bench:A/:" in codes
    assert "evenboard:1:Entry bench:D/control-right:" in codes


def test_a_label_has_what_the_trade_writes_on_the_back_of_a_sample() -> None:
    said = {label.kind: " ".join(s.text for s in label.shapes if isinstance(s, Words)) for label in reversed(LABELS)}
    for kind in ("board", "zone", "step panel"):
        for word in ("Entry bench", "hard maple", "date", "by", "light", "approved", NATURAL):
            assert word in said[kind], (kind, word)
    for word in ("A. Sample", "lot", "moisture", "sanded to", "stain batch", "a light board", "100 mm"):
        assert word in said["board"]
    zone = next(label for label in LABELS if label.code.endswith("A/glue-size:"))
    words = " ".join(s.text for s in zone.shapes if isinstance(s, Words))
    assert "glue size, solids as used 5 %; brown oil stain; satin" in words
    assert all(f"{number} {stage}" in said["step panel"] for number, stage in enumerate(STEPS, 1))


def test_a_recipe_is_said_in_the_order_of_the_work() -> None:
    recipe = {
        "topcoat": "waterborne clear",
        "sheen": 20,
        "wait": "1 h",
        "dwell": "3 min",
        "solids": 5,
        "sealer": "shellac",
    }
    zone = PlannedZone("z", "shellac washcoat", 0, 100, "oil stain", recipe)
    assert recipe_words(zone) == (
        "shellac washcoat, solids as used 5 %, wait 1 h; oil stain, dwell 3 min; shellac, waterborne clear, 20"
    )


# --- codes -----------------------------------------------------------------------------------------------------------


def rendered(outline: Outline, px_per_mm: float) -> np.ndarray:
    """The code as it would be seen on paper: polygons filled by the even-odd rule, some white around."""
    left, top, right, bottom = extent(outline)
    white = 3.0
    size = int((bottom - top + 2 * white) * px_per_mm), int((right - left + 2 * white) * px_per_mm)
    image = np.full(size, 255, np.uint8)
    loops = [
        np.round([((x - left + white) * px_per_mm, (y - top + white) * px_per_mm) for x, y in loop]).astype(np.int32)
        for loop in outline.loops
    ]
    cv2.fillPoly(image, loops, 0)
    return cv2.GaussianBlur(image, (0, 0), 1.0)


@pytest.mark.parametrize("number", [0, 4, 9, 24, 29])
def test_the_codes_on_a_label_are_read_at_300_dots_per_inch(number: int) -> None:
    """By OpenCV's reader, from the very outlines that are printed."""
    label = LABELS[number]
    codes = [shape for shape in label.shapes if isinstance(shape, Outline)]
    read = [cv2.QRCodeDetector().detectAndDecode(rendered(code, 300 / 25.4))[0] for code in codes]
    assert read[0] == label.code
    if label.kind == "step panel":
        assert [read_code(text) for text in read] == [
            ("Entry bench", f"P{number - 23}", label.code.split("/")[1].split(":")[0], stage) for stage in STEPS
        ]
    else:
        assert len(read) == 1


@given(st.text(max_size=30), st.text(max_size=20), st.text(max_size=20), st.sampled_from(["", *STEPS]))
def test_a_code_gives_back_the_ids_that_went_in(job: str, board: str, zone: str, stage: str) -> None:
    text = code_text(job, board, zone, stage)
    assert text.isascii()
    read = read_code(text)
    assert read is not None
    assert read[1:] == (board, zone, stage)
    assert job.startswith(read[0])
    assert read[0] == job or len(code_text(job, "", "")) >= LONGEST_JOB


def test_other_codes_are_none_of_ours() -> None:
    assert [read_code(text) for text in ("", "https://example.com/", "evenboard:2:job:A/z:", "evenboard:1:job:A:")] == [
        None
    ] * 4


# --- sheets ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS)
def test_sheets_have_the_papers_size_and_every_label_is_on_one(paper: PaperName) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(labels_pdf(LABELS, paper=paper, job="Entry bench", inches=paper == "letter")))
    assert len(pdf.pages) == len(label_sheets(LABELS)) == 1 + 2 + 1
    for page in pdf.pages:
        size = float(page.mediabox.width), float(page.mediabox.height)
        assert size == pytest.approx([side * 72 / 25.4 for side in PAPERS_MM[paper]], abs=0.01)
    text = " ".join(page.extract_text() for page in pdf.pages)
    assert all(f"{board.id}/{zone.id}" in text for board in BOARDS for zone in board.zones)
    assert "87 × 60 mm" in text
    assert ("3.43 × 2.36 in" in text) == (paper == "letter")


def test_labels_of_a_sheet_lie_beside_one_another_inside_every_papers_margins() -> None:
    for sheet in label_sheets(LABELS):
        width, height = sheet[0].size_mm
        columns, rows = grid(sheet[0])
        assert len(sheet) <= columns * rows
        corners = [place(label, k) for k, label in enumerate(sheet)]
        boxes = [(x, y, x + width, y + height) for x, y in corners]
        assert not any(overlap(a, b) for a, b in itertools.combinations(boxes, 2))
        assert max(box[2] for box in boxes) <= ROOM_MM[0]
        assert max(box[3] for box in boxes) <= HEAD_MM + ROOM_MM[1]
    for wide, tall in PAPERS_MM.values():
        assert ROOM_MM[0] <= wide - 2 * MARGIN_MM
        assert HEAD_MM + ROOM_MM[1] <= tall - TOP_MM - 11 - 3.6  # above the foot line


def test_every_side_of_every_label_lies_on_a_line_to_cut_along() -> None:
    for sheet in label_sheets(LABELS):
        lines = cut_lines(sheet)
        across = {round(line.y1, 6) for line in lines if line.y1 == line.y2}
        down = {round(line.x1, 6) for line in lines if line.x1 == line.x2}
        for k, label in enumerate(sheet):
            x, y = place(label, k)
            assert {round(x, 6), round(x + label.size_mm[0], 6)} <= down
            assert {round(y, 6), round(y + label.size_mm[1], 6)} <= across
        right = max(place(label, k)[0] + label.size_mm[0] for k, label in enumerate(sheet))
        assert all(line.x1 < 0 and line.x2 > right for line in lines if line.y1 == line.y2)
