"""Irregular zones: what a job file may say of them, which pixels they have, and that their shape makes no blotch."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job, zone_of
from board_photos import FAULTLESS, Floats, corners, saved, taken
from evenness_fields import patches, unit
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from simulator import PaintedZone
from skimage.draw import polygon2mask

from analyzer import measure_job
from analyzer.errors import JobFileError, Problem
from analyzer.evenness import evenness
from analyzer.job import Board, Zone
from analyzer.jobfile import read_job
from analyzer.polygon import depth, goes_round_once, overlap, rectangle
from analyzer.report.boards import board_figures, shown_boards
from analyzer.report.plates import plate_jpeg
from analyzer.zone_shape import zone_shape

MM = 0.4
L_SHAPE = ((10.0, 10.0), (110.0, 10.0), (110.0, 60.0), (60.0, 60.0), (60.0, 110.0), (10.0, 110.0))  # 7,500 mm²
TRIANGLE = ((0.0, 0.0), (120.0, 0.0), (0.0, 90.0))  # sides of 120, 90 and 150 mm
BOW_TIE = ((0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0))

BROWN = (40.0, 14.0, 22.0)


def zone(polygon: tuple[tuple[float, float], ...], margin: float = 0.0) -> Zone:
    xs, ys = zip(*polygon, strict=True)
    return Zone("a", "none", (min(xs), max(xs)), (min(ys), max(ys)), margin, polygon_mm=polygon)


def shape_mm2(of_zone: Zone, mm_per_px: float = MM) -> float:
    _, shape = zone_shape(of_zone, Board("A", "maple", 200, 120, (of_zone,)), mm_per_px)
    return float(shape.sum()) * mm_per_px**2


# --- geometry --------------------------------------------------------------------------------------------------------


def test_an_outline_that_crosses_or_touches_itself_does_not_go_round_once() -> None:
    assert goes_round_once(L_SHAPE)
    assert goes_round_once(L_SHAPE[::-1])
    assert not goes_round_once(BOW_TIE)
    assert not goes_round_once(((0, 0), (100, 0), (50, 0)))  # there and back
    assert not goes_round_once(((0, 0), (100, 0), (100, 0), (0, 50)))  # a corner given twice
    assert not goes_round_once((*TRIANGLE, TRIANGLE[0]))  # closed by hand
    assert not goes_round_once(((0, 0), (100, 0), (100, 50), (50, 0), (0, 50)))  # a corner on another edge


def test_zones_that_share_an_edge_or_a_notch_do_not_overlap() -> None:
    """The square that fills the notch of the L; and one a hundredth larger."""
    notch = rectangle((60, 110), (60, 110))
    assert not overlap(L_SHAPE, notch, 1e-9)
    assert overlap(L_SHAPE, rectangle((59.99, 110), (60, 110)), 1e-9)
    assert not overlap(L_SHAPE, rectangle((110, 200), (0, 120)), 1e-9)
    assert overlap(L_SHAPE, L_SHAPE, 1e-9)
    assert overlap(rectangle((0, 120), (0, 120)), rectangle((50, 60), (50, 60)), 1e-9)  # one inside the other
    assert overlap(((0, 50), (100, 40), (100, 60)), ((50, 0), (60, 100), (40, 100)), 1e-9)  # no corner of either inside


@settings(max_examples=40, deadline=None)
@given(st.floats(-80, 80), st.floats(-80, 80), st.floats(0, 360))
def test_polygons_overlap_where_their_pixels_do(x: float, y: float, turn_deg: float) -> None:
    """An L against a turned triangle, painted at 0.5 mm; where they all but touch it is not asked."""
    turn = np.radians(turn_deg)
    turned = np.array(TRIANGLE) @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    other = turned - turned.mean(axis=0) + [60 + x, 60 + y]
    first, second = (_painted(np.array(polygon)) for polygon in (L_SHAPE, other))
    found = overlap(L_SHAPE, [(float(a), float(b)) for a, b in other], 1e-9)
    if (first & ~_grown(~second)).any():
        assert found
    if not (first & _grown(second)).any():
        assert not found


def _painted(polygon: Floats) -> NDArray[np.bool_]:
    """Drawn at 0.5 mm."""
    return np.asarray(polygon2mask((720, 720), (polygon + 120) / 0.5))


def _grown(painted: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Two pixels larger all round."""
    grown = painted.copy()
    for _ in range(2):
        grown |= np.roll(grown, 1, 0) | np.roll(grown, -1, 0) | np.roll(grown, 1, 1) | np.roll(grown, -1, 1)
    return grown


def test_the_depth_of_a_triangle_is_the_radius_of_its_circle() -> None:
    """Twice the area over the perimeter: 2 * 5400 / 360."""
    assert depth(TRIANGLE) == pytest.approx(30.0, abs=1.5)


def test_the_pixels_of_a_zone_fill_its_shrunk_outline() -> None:
    """A polygon shrunk by m loses perimeter times m, less the corners: a triangle stays similar to itself."""
    assert shape_mm2(zone(L_SHAPE), 0.25) == pytest.approx(7500, rel=0.01)
    assert shape_mm2(zone(TRIANGLE, 5.0), 0.1) == pytest.approx(5400 * (25 / 30) ** 2, rel=0.01)
    assert shape_mm2(zone(TRIANGLE[::-1], 5.0), 0.1) == shape_mm2(zone(TRIANGLE, 5.0), 0.1)
    assert shape_mm2(zone(TRIANGLE, 31.0)) == 0


def test_a_polygon_of_four_right_angles_is_the_rectangle() -> None:
    plain = Zone("a", "none", (10.0, 110.0), (10.0, 90.0), 5.0)
    of_corners = replace(plain, polygon_mm=rectangle(plain.span_mm, plain.across_mm))
    board = Board("A", "maple", 200, 120, (plain,))
    window, shape = zone_shape(plain, board, MM)
    same_window, same_shape = zone_shape(of_corners, board, MM)
    assert window == same_window
    assert shape.all()
    assert same_shape.all()


@pytest.mark.parametrize("polygon", [L_SHAPE, TRIANGLE, ((20, 10), (130, 30), (110, 110), (5, 90))])
def test_the_shape_of_a_zone_neither_makes_nor_hides_blotch(polygon: tuple[tuple[float, float], ...]) -> None:
    """Over many cut-outs of one surface the mean index is the surface's own; without blotch it stays near 0."""
    of_zone = zone(polygon, 5.0)
    _, shape = zone_shape(of_zone, Board("A", "maple", 200, 120, (of_zone,)), MM)
    found = []
    for seed in range(12):
        L = 40 + patches(shape.shape, MM, seed)
        Y = ((np.where(shape, L, 90.0) + 16) / 116) ** 3  # what lies outside is far lighter
        found.append(evenness(Y, shape, MM).blotch)
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(1.0, rel=0.1)
    flat = ((np.where(shape, 40.0, 90.0) + 16) / 116) ** 3
    assert evenness(flat, shape, MM).blotch == pytest.approx(0, abs=0.02)


# --- the job file ----------------------------------------------------------------------------------------------------

JOB = """format = 1
[job]
name = "Test"
[target]
lab = [40, 14, 22]
[[board]]
id = "A"
species = "hard maple"
length = 200
width = 120
  [[board.zone]]
  id = "a"
  treatment = "none"
  span = [150, 200]
  [[board.zone]]
  id = "b"
  treatment = "glue size"
  polygon = [[10, 10], [110, 10], [110, 60], [60, 60], [60, 110], [10, 110]]
[[photo]]
file = "a.jpg"
board = "A"
stage = "stained"
"""


def job_file(folder: Path, polygon: str | None = None, *more: str) -> Path:
    (folder / "a.jpg").touch()
    text = re.sub(r"polygon = .*", f"polygon = {polygon}", JOB) if polygon else JOB
    (folder / "job.toml").write_text(text.replace("[[photo]]", "\n".join((*more, "[[photo]]"))), encoding="utf-8")
    return folder


def problem(folder: Path) -> Problem:
    with pytest.raises(JobFileError) as caught:
        read_job(folder)
    (only,) = caught.value.problems
    return only


def test_a_polygon_is_read_in_the_units_of_the_file(tmp_path: Path) -> None:
    _, read = read_job(job_file(tmp_path)).zone("A/b")
    assert read.polygon_mm == L_SHAPE
    assert (read.span_mm, read.across_mm) == ((10, 110), (10, 110))
    text = JOB.replace("[target]", 'units = "in"\n[target]')
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    _, in_inches = read_job(tmp_path).zone("A/b")
    assert np.array(in_inches.polygon_mm) == pytest.approx(25.4 * np.array(L_SHAPE), abs=1e-9)


@pytest.mark.parametrize(
    ("polygon", "expected"),
    [
        ("[[10, 10], [110, 10]]", "3 to 200 corners"),
        ("[[10, 10], [110, 10], [110, 121]]", "y from 0 to 120"),
        ("[[-1, 10], [110, 10], [110, 60]]", "x from 0 to 200"),
        ("[[10, 10, 0], [110, 10], [110, 60]]", "3 to 200 corners"),
        ('[[10, "10"], [110, 10], [110, 60]]', "3 to 200 corners"),
        ("[10, 110]", "3 to 200 corners"),
        ('"round"', "3 to 200 corners"),
        ("[[0, 0], [100, 100], [100, 0], [0, 100]]", "does not cross or touch itself"),
        ("[[10, 10], [110, 10], [110, 60], [10, 10]]", "does not cross or touch itself"),
        ("[[10, 10], [160, 10], [110, 60]]", 'clear of zone "a", which spans 150 to 200'),
        ("[[10, 10], [110, 10], [110, 12]]", "larger zone or a smaller margin"),
    ],
)
def test_a_polygon_that_does_not_hold_is_told(tmp_path: Path, polygon: str, expected: str) -> None:
    found = problem(job_file(tmp_path, polygon))
    assert expected in found.expected
    assert found.key.endswith("polygon")
    assert found.line == 18


def test_a_zone_says_where_it_lies_once(tmp_path: Path) -> None:
    assert "either polygon, or span" in problem(job_file(tmp_path, None, "  span = [10, 110]")).expected


def test_a_later_rectangle_may_fill_the_notch_of_an_earlier_polygon(tmp_path: Path) -> None:
    more = ["[[board.zone]]", 'id = "c"', 'treatment = "none"', "across = [60, 110]", "span = [60, 110]"]
    assert len(read_job(job_file(tmp_path, None, *more)).boards[0].zones) == 3
    more[-1] = "span = [55, 110]"
    assert 'clear of zone "b"' in problem(job_file(tmp_path, None, *more)).expected


# --- from a photo ----------------------------------------------------------------------------------------------------


def blotchy(shape: tuple[int, int], mm_per_px: float) -> Floats:
    return unit(patches(shape, mm_per_px, 3))


def test_an_irregular_zone_is_measured_and_drawn_by_its_own_outline(tmp_path: Path) -> None:
    """A dark patch whose lower right half is another colour: the triangle above it knows nothing of that."""
    board = replace(
        SHOP_BOARD, zones=(PaintedZone("a", (0, 150), BROWN, blotchy), PaintedZone("b", (150, 300), (60, 8, 20)))
    )
    rendered = taken(replace(SHOP_SCENE, boards=(board,)), **FAULTLESS)
    photo = {"file": "a.jpg", "board": "A", "corners": corners(rendered).tolist()}
    polygon = [[5, 5], [145, 5], [145, 40], [60, 115], [5, 115]]
    folder = write_job(tmp_path, [board], [photo])
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace("span = [0.0, 150.0]", f"polygon = {polygon}"), encoding="utf-8")
    saved(folder, rendered, "a.jpg")
    measured = measure_job(folder)
    found = zone_of(measured.results, "A/a")
    assert found.lab == pytest.approx(BROWN, abs=1.5)
    assert found.blotch == pytest.approx(1.0, rel=0.15)
    assert found.masked < 0.02
    _, shape = zone_shape(measured.job.boards[0].zones[0], measured.job.boards[0], 0.1)
    assert found.area_mm2 == pytest.approx(shape.sum() * 0.01, rel=0.02)

    shown = shown_boards(measured)
    (figure,) = board_figures(shown, 3.0, measured.results, "mm")
    box, other = figure.zones
    assert box.corners == "0,0 100,0 100,31.818 39.286,100 0,100"
    assert other.corners == ""
    assert plate_jpeg(shown[0].picture, shown[0].rasters, 3.0, "mm")[:2] == b"\xff\xd8"
