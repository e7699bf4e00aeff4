"""Is what the strips' layout says where it says, in the pictures and on paper?

Markers are read by OpenCV's own detector and compared with its own generator; the PDF is read back by pypdf.
"""

import json
import shutil
import subprocess
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pypdf import PdfReader
from pypdf.generic import ContentStream

from analyzer.cli import main
from analyzer.errors import FolderError
from analyzer.strip_sheets.images import PX_PER_MM, strip_image
from analyzer.strip_sheets.pdf import PAPERS_MM
from analyzer.strip_sheets.write import StripLengthError, write_strips
from calibration.strips import (
    CELLS,
    DICTIONARY,
    HEIGHT_MM,
    MARKER_MM,
    MAX_LENGTH_MM,
    MIN_LENGTH_MM,
    PITCH_MM,
    QUIET_MM,
    SECTION_MM,
    ZERO_MM,
    Rectangle,
    Side,
    marker_box_mm,
    marker_corners_mm,
    marker_id,
    marker_place,
    section_of,
    sections,
    white_fields_mm,
)

LENGTHS = st.floats(MIN_LENGTH_MM, MAX_LENGTH_MM)
POINT_MM = 25.4 / 72
UNPRINTABLE_MM = 6.35  # a quarter of an inch: the margin that any office printer keeps free


def predefined() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))


def read_markers(picture: NDArray[np.uint8]) -> dict[int, NDArray[np.float64]]:
    """Number to corners (4, 2), found by OpenCV alone."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(predefined(), parameters).detectMarkers(picture)
    return {int(number): quad[0] for number, quad in zip(np.ravel(numbers), corners, strict=True)}


def region(picture: NDArray[np.uint8], side: Side, box: Rectangle) -> NDArray[np.uint8]:
    """The pixels wholly inside a rectangle of strip mm."""
    left, top, right, bottom = box
    x, y = ZERO_MM, HEIGHT_MM if side is Side.TOP else 0.0
    rows = slice(int(np.ceil((top + y) * PX_PER_MM - 1e-6)), int(np.floor((bottom + y) * PX_PER_MM + 1e-6)))
    columns = slice(int(np.ceil((left + x) * PX_PER_MM - 1e-6)), int(np.floor((right + x) * PX_PER_MM + 1e-6)))
    return picture[rows, columns]


# --- the layout ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", Side)
def test_a_number_tells_strip_and_cell(side: Side) -> None:
    assert [marker_place(marker_id(side, cell)) for cell in range(CELLS)] == [(side, cell) for cell in range(CELLS)]
    assert marker_place(-1) is None
    assert marker_place(2 * CELLS) is None


def test_no_two_markers_of_the_strips_share_a_number() -> None:
    numbers = [marker_id(side, cell) for side in Side for cell in range(CELLS)]
    assert len(set(numbers)) == 2 * CELLS
    assert max(numbers) < len(predefined().bytesList)


@given(LENGTHS)
def test_sections_follow_one_another_and_reach_along_the_board(length_mm: float) -> None:
    pieces = sections(Side.TOP, length_mm)
    assert pieces[0].left_mm == -ZERO_MM
    assert all(first.right_mm == second.left_mm for first, second in pairwise(pieces))
    assert length_mm - 5 < pieces[-1].right_mm <= length_mm + ZERO_MM


@given(LENGTHS)
def test_every_section_has_a_whole_marker_of_its_own_and_fits_the_narrower_paper(length_mm: float) -> None:
    narrowest = min(width for width, _ in PAPERS_MM.values())
    for piece in sections(Side.BOTTOM, length_mm):
        assert len(piece.cells) >= 1
        assert {section_of(cell) for cell in piece.cells} == {piece.index}
        for cell in piece.cells:
            left, _, right, _ = marker_box_mm(piece.side, cell)
            assert left - QUIET_MM >= piece.left_mm
            assert right + QUIET_MM <= piece.right_mm
        assert piece.right_mm - piece.left_mm <= narrowest - 2 * UNPRINTABLE_MM


@given(LENGTHS, LENGTHS)
def test_a_longer_strip_has_the_same_markers_and_more(first_mm: float, second_mm: float) -> None:
    shorter, longer = (
        [cell for piece in sections(Side.TOP, length) for cell in piece.cells]
        for length in sorted((first_mm, second_mm))
    )
    assert longer[: len(shorter)] == shorter == list(range(len(shorter)))


def test_the_bottom_strip_mirrors_the_top_strip_about_the_edge_of_the_board() -> None:
    for cell in (0, 7):
        left, top, right, bottom = marker_box_mm(Side.TOP, cell)
        assert marker_box_mm(Side.BOTTOM, cell) == (left, -bottom, right, -top)


@pytest.mark.parametrize("length_mm", [59.9, 3000.1, float("nan"), float("inf"), -300.0])
def test_no_strips_for_boards_out_of_range(length_mm: float, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="60 to 3000 mm"):
        sections(Side.TOP, length_mm)
    with pytest.raises(StripLengthError, match="60 to 3000 mm"):
        write_strips(tmp_path / "out.pdf", length_mm)
    assert list(tmp_path.iterdir()) == []


# --- the pictures ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("length_mm", [60.0, 252.0, 317.4])
def test_opencv_reads_every_marker_where_the_layout_puts_it(side: Side, length_mm: float) -> None:
    """Within 0.03 mm: OpenCV's corners are good to a third of a pixel, a pixel is 0.1 mm."""
    picture = strip_image(side, length_mm)
    framed = cv2.copyMakeBorder(picture, 50, 50, 50, 50, cv2.BORDER_CONSTANT, value=60)  # a dark table around it
    found = read_markers(np.asarray(framed, dtype=np.uint8))
    cells = [cell for piece in sections(side, length_mm) for cell in piece.cells]
    assert sorted(found) == [marker_id(side, cell) for cell in cells]
    for number, corners in found.items():
        edge_mm = (corners - 50 + 0.5) / PX_PER_MM  # a pixel's centre lies half a pixel from its corner
        own = edge_mm - [ZERO_MM, HEIGHT_MM if side is Side.TOP else 0.0]
        assert own == pytest.approx(np.array(marker_corners_mm(number)), abs=0.03)


@pytest.mark.parametrize("side", Side)
def test_markers_are_those_of_opencvs_own_generator(side: Side) -> None:
    picture = strip_image(side, 300)
    for cell in range(7):
        drawn = region(picture, side, marker_box_mm(side, cell))
        generated = cv2.aruco.generateImageMarker(predefined(), marker_id(side, cell), round(MARKER_MM * PX_PER_MM))
        assert np.array_equal(drawn, generated)


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("length_mm", [60.0, 252.0, 300.0, 530.0])
def test_white_fields_and_the_rims_of_markers_are_bare_paper(side: Side, length_mm: float) -> None:
    picture = strip_image(side, length_mm)
    for piece in sections(side, length_mm):
        for cell in piece.cells:
            for field in white_fields_mm(side, cell):
                assert (region(picture, side, field) == 255).all()
            left, top, right, bottom = marker_box_mm(side, cell)
            with_rim = region(picture, side, (left - 2, top - 2, right + 2, bottom + 1)).copy()
            with_rim[20:-10, 20:-20] = 255
            assert (with_rim == 255).all()


@pytest.mark.parametrize("side", Side)
def test_the_edge_beside_the_board_is_bare_and_the_zero_arrow_points_at_it(side: Side) -> None:
    picture = strip_image(side, 300)
    from_the_board = picture[::-1] if side is Side.TOP else picture
    assert (from_the_board[: round(0.8 * PX_PER_MM)] == 255).all()
    tip = from_the_board[round(1.2 * PX_PER_MM)] < 128
    arrow = np.flatnonzero(tip)[0], np.flatnonzero(tip[: round((ZERO_MM + 2) * PX_PER_MM)])[-1] + 1
    assert np.mean(arrow) == pytest.approx(ZERO_MM * PX_PER_MM, abs=0.6)
    base = np.flatnonzero(from_the_board[round(4.9 * PX_PER_MM), : round((ZERO_MM + 2) * PX_PER_MM)] < 128)
    assert len(base) > 4 * (arrow[1] - arrow[0])


def test_the_rule_has_a_line_at_every_millimetre_and_every_eighth_of_an_inch() -> None:
    ink = 255 - strip_image(Side.BOTTOM, 300).astype(float)
    for distance_mm, step_mm, length_mm in ((1.5, 1.0, 300), (7.0, 25.4 / 8, 300)):
        row = ink[round(distance_mm * PX_PER_MM)]
        steps = np.arange(np.ceil(4 / step_mm), length_mm / step_mm) * step_mm
        for x in steps[steps != SECTION_MM]:  # nothing is printed on a cut
            centre = (x + ZERO_MM) * PX_PER_MM
            window = np.arange(int(centre) - 3, int(centre) + 4)
            assert row[window].sum() == pytest.approx(255 * 0.14 * PX_PER_MM, rel=0.02)  # one line, 0.14 mm wide
            assert (row[window] * (window + 0.5)).sum() / row[window].sum() == pytest.approx(centre, abs=0.1)


def test_the_pictures_have_the_size_of_the_cut_strips() -> None:
    assert strip_image(Side.TOP, 300).shape == (280, 3240)
    assert strip_image(Side.BOTTOM, 612.5).shape == (280, 6365)


# --- the PDF ---------------------------------------------------------------------------------------------------------


def filled_boxes_mm(pdf: Path, page: int = 0) -> list[Rectangle]:
    """Bounding boxes of all filled paths of a page: mm, from its left and top."""
    reader = PdfReader(pdf)
    sheet = reader.pages[page]
    height = float(sheet.mediabox.height)
    contents = sheet.get_contents()
    assert isinstance(contents, ContentStream)
    boxes, points = [], []
    for operands, operator in contents.operations:
        if operator in (b"m", b"l"):
            points.append([float(value) for value in operands])
        elif operator in (b"f", b"f*", b"F"):
            x, y = np.array(points).T * POINT_MM
            boxes.append((x.min(), height * POINT_MM - y.max(), x.max(), height * POINT_MM - y.min()))
            points = []
        elif operator in (b"S", b"s", b"n"):
            points = []
        elif operator == b"cm":
            assert [float(value) for value in operands] == [1, 0, 0, 1, 0, 0]
    return boxes


def of_size(boxes: Iterable[Rectangle], width: float, height: float) -> list[Rectangle]:
    return [box for box in boxes if abs(box[2] - box[0] - width) < 0.005 and abs(box[3] - box[1] - height) < 0.005]


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_printed_strips_have_their_exact_size(paper: str, tmp_path: Path) -> None:
    """Read back with pypdf: page, check bar and markers in mm, to the 0.001 pt that the file holds."""
    written = write_strips(tmp_path / "out.pdf", 300, paper=paper)
    assert (written.sheets, written.sections) == (1, 2)
    page = PdfReader(tmp_path / "out.pdf").pages[0]
    size = float(page.mediabox.width) * POINT_MM, float(page.mediabox.height) * POINT_MM
    assert size == pytest.approx(PAPERS_MM[paper], abs=0.01)
    boxes = filled_boxes_mm(tmp_path / "out.pdf")
    bar = of_size(boxes, 100.0, 0.3)
    assert len(bar) == 1
    ends = [box for box in of_size(boxes, 0.3, 4.0) if bar[0][1] - 5 < box[1] < bar[0][1] + 5]
    assert max(box[2] for box in ends) - min(box[0] for box in ends) == pytest.approx(100, abs=0.005)
    markers = of_size(boxes, MARKER_MM, MARKER_MM)
    assert len(markers) == 2 * (6 + 2)
    first_row = [box[0] for box in markers if box[1] == pytest.approx(markers[0][1])]
    assert np.diff(first_row) == pytest.approx(PITCH_MM, abs=0.005)
    edges = np.array([(left, top, size[0] - right, size[1] - bottom) for left, top, right, bottom in boxes])
    assert edges.min() > UNPRINTABLE_MM


def test_the_sheet_says_how_to_cut_and_lay_the_strips(tmp_path: Path) -> None:
    write_strips(tmp_path / "out.pdf", 300)
    words = " ".join(PdfReader(tmp_path / "out.pdf").pages[0].extract_text().split())
    for piece in ("Edge strips for a board of 300 mm", "sheet 1 of 1", "100 mm from end to end", "TOP 1 of 2"):
        assert piece in words
    for line in (
        "Cut along the thin lines",
        "rule against the wood",
        "zero arrows at the board’s left end",
        "white fields",
    ):
        assert line in words


def test_long_boards_take_more_sheets_and_each_has_the_check_bar(tmp_path: Path) -> None:
    written = write_strips(tmp_path / "out.pdf", 1000)
    assert (written.sections, written.sheets) == (5, 3)
    assert len(PdfReader(tmp_path / "out.pdf").pages) == 3
    for page in range(3):
        assert len(of_size(filled_boxes_mm(tmp_path / "out.pdf", page), 100.0, 0.3)) == 1


def test_the_pdf_is_the_same_whenever_it_is_made(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_strips(tmp_path / name, 300)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler is not installed")
def test_the_sheet_as_another_program_draws_it_holds_the_same_markers(tmp_path: Path) -> None:
    """Drawn by poppler at 300 dpi: every marker is read, and lies within 0.05 mm of where the layout puts it."""
    write_strips(tmp_path / "out.pdf", 300)
    subprocess.run(
        ["pdftoppm", "-r", "300", "-gray", "-png", "-singlefile", tmp_path / "out.pdf", tmp_path / "page"], check=True
    )
    page = cv2.imread(str(tmp_path / "page.png"), cv2.IMREAD_GRAYSCALE)
    assert page is not None
    found = read_markers(np.asarray(page, dtype=np.uint8))
    numbers = [marker_id(side, cell) for side in Side for cell in range(8)]
    assert sorted(found) == sorted(numbers)
    for side in Side:
        of_part = [marker_id(side, cell) for cell in range(6)]
        seen = np.concatenate([found[number] for number in of_part]) * 25.4 / 300
        known = np.concatenate([marker_corners_mm(number) for number in of_part])
        assert seen - seen.mean(axis=0) == pytest.approx(known - known.mean(axis=0), abs=0.05)


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_command_writes_the_pdf_and_the_pictures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pdf, folder = tmp_path / "new" / "strips.pdf", tmp_path / "cut"
    assert main(["strips", str(pdf), "--length", "200", "--png", str(folder)]) == 0
    said = capsys.readouterr()
    assert said.out.split() == [
        str(path) for path in (pdf, folder / "top.png", folder / "bottom.png", folder / "strips.json")
    ]
    assert "100 %" in said.err
    assert json.loads((folder / "strips.json").read_text()) == {"px_per_mm": PX_PER_MM, "zero_mm": ZERO_MM}
    for side in Side:
        stored = cv2.imread(str(folder / f"{side}.png"), cv2.IMREAD_UNCHANGED)
        assert stored is not None
        assert stored.dtype == np.uint8
        assert np.array_equal(stored, strip_image(side, 200))
    assert sorted(path.name for path in folder.iterdir()) == ["bottom.png", "strips.json", "top.png"]
    assert main(["strips", str(pdf), "--length", "200", "--png", str(folder)]) == 0  # again, over its own files


def test_the_command_answers_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["strips", str(tmp_path / "s.pdf"), "--paper", "letter", "--length", "600", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "length_mm": 600.0,
        "paper": "letter",
        "sections": 3,
        "sheets": 2,
        "px_per_mm": PX_PER_MM,
        "zero_mm": ZERO_MM,
        "files": [str(tmp_path / "s.pdf")],
    }


@pytest.mark.parametrize("wrong", [["--length", "20"], ["--length", "nan"], ["--length", "wide"], ["--paper", "a0"]])
def test_wrong_usage_writes_nothing(wrong: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["strips", str(tmp_path / "s.pdf"), *wrong]) == 2
    assert capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("no folder")
    assert main(["strips", str(tmp_path / "file" / "s.pdf")]) == 1
    assert "cannot be made or written" in capsys.readouterr().err
    assert main(["strips", str(tmp_path)]) == 1
    assert "is a folder" in capsys.readouterr().err
    assert main(["strips", str(tmp_path / "s.pdf"), "--png", str(tmp_path / "file")]) == 1
    assert "cannot be made or written" in capsys.readouterr().err


def test_files_that_are_no_strips_are_left_alone(tmp_path: Path) -> None:
    photo, picture = tmp_path / "photo.jpg", tmp_path / "top.png"
    photo.write_bytes(b"\xff\xd8 a photo")
    picture.write_bytes(b"a picture of something else")
    with pytest.raises(FolderError, match="is no PDF"):
        write_strips(photo, 300)
    with pytest.raises(FolderError, match=r"top\.png is there already"):
        write_strips(tmp_path / "s.pdf", 300, pictures=tmp_path)
    assert photo.read_bytes() == b"\xff\xd8 a photo"
    assert picture.read_bytes() == b"a picture of something else"
    assert not (tmp_path / "s.pdf").exists()


def test_a_section_is_six_cells() -> None:
    assert SECTION_MM == 6 * PITCH_MM
