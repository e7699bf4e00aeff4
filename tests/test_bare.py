"""What was in the wood before it was stained: taken out of the blotch, and laid over the stained board by its grain."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job, zone_of
from board_photos import FAULTLESS, Floats, corners, saved, taken
from evenness_fields import patches, random_streaks, unit
from report_example import example_measurement
from simulator import PaintedZone
from simulator.wood import board_lightness

from analyzer import measure_job
from analyzer.before_staining import Added, added_since, alignment_of
from analyzer.board_alignment import align
from analyzer.evenness import Evenness, evenness
from analyzer.measurement import Measurement
from analyzer.photos import measure_photo
from analyzer.report.boards import board_figures, shown_boards
from analyzer.report.content import content_of
from analyzer.report.html import report_html
from analyzer.report.tables import zone_row

MM = 0.4
SHAPE = (275, 225)  # 110 x 90 mm
BARE_L, STAINED_L = 75.0, 45.0
CONTRAST = (STAINED_L + 16) / (BARE_L + 16)


def seen(L: Floats) -> Evenness:
    """Evenness of a zone without holes."""
    return evenness(((L + 16) / 116) ** 3, np.ones(L.shape, bool), MM)


def stained_and_bare(seed: int, wood: float, stain: float, steeper: float = 1.0) -> tuple[Added, Evenness, Evenness]:
    """A cloudy board with streaks, bare, and under a stain with clouds of its own."""
    before, since = wood * patches(SHAPE, MM, 3 * seed), stain * patches(SHAPE, MM, 3 * seed + 1)
    streaks = random_streaks(SHAPE, MM, seed)
    bare = seen(BARE_L + before + streaks)
    stained = seen(STAINED_L + CONTRAST * (steeper * before + streaks) + since)
    found = added_since(stained, bare, bare.deviation, CONTRAST)
    assert found is not None
    return found, stained, bare


# --- how much is taken out -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wood", "stain"), [(1.0, 1.0), (1.0, 0.5), (2.0, 1.0), (0.3, 1.0)])
def test_what_shows_through_an_even_film_is_taken_out(wood: float, stain: float) -> None:
    """Absorbance on top of absorbance: the cube root makes bare clouds weaker by the contrast."""
    found, truth, held = [], [], 0
    for seed in range(10):
        added, stained, _ = stained_and_bare(seed, wood, stain)
        found.append(added.blotch)
        truth.append(seen(STAINED_L + stain * patches(SHAPE, MM, 3 * seed + 1)).blotch)
        assert stained.blotch is not None
        assert stained.blotch_u95 is not None
        u95 = math.hypot(added.u95, stained.blotch_u95 * added.blotch / stained.blotch)  # as for a pooled zone
        held += abs(found[-1] - truth[-1]) < u95
    assert held >= 9
    assert np.mean(found) == pytest.approx(np.mean(truth), rel=0.07)


def test_wood_alone_under_an_even_stain_leaves_nothing() -> None:
    for seed in range(4):
        added, stained, _ = stained_and_bare(seed, wood=1.0, stain=0.0)
        assert stained.blotch == pytest.approx(CONTRAST, rel=0.2)
        assert added.blotch < 0.05
        assert 0.02 < added.u95 < 0.2


def test_clouds_that_have_nothing_to_do_with_each_other_are_left_alone() -> None:
    """Chance makes two maps alike; that much is not taken out, or only little of it."""
    shares = []
    for seed in range(20):
        bare, stained = seen(BARE_L + patches(SHAPE, MM, 2 * seed)), seen(STAINED_L + patches(SHAPE, MM, 2 * seed + 1))
        added = added_since(stained, bare, bare.deviation, CONTRAST)
        assert added is not None
        assert stained.blotch is not None
        shares.append(added.blotch / stained.blotch)
    assert np.mean(shares) > 0.98
    assert min(shares) > 0.93


def test_dark_patches_that_drank_more_are_the_stains() -> None:
    """Half as strong again as what shows through: no more is taken out than shows through an even film."""
    for seed in range(5):
        added, stained, bare = stained_and_bare(seed, wood=1.5, stain=0.3, steeper=1.5)
        assert stained.blotch is not None
        assert bare.blotch is not None
        assert added.blotch == pytest.approx(math.sqrt(stained.blotch**2 - (CONTRAST * bare.blotch) ** 2), rel=1e-6)


def test_light_and_dark_turned_round_is_the_stains() -> None:
    added, stained, _ = stained_and_bare(1, wood=1.0, stain=0.3, steeper=-1.0)
    assert added == Added(stained.blotch or 0.0, 0.0)


def test_an_even_bare_board_explains_nothing() -> None:
    flat = seen(np.full(SHAPE, BARE_L))
    stained = seen(STAINED_L + patches(SHAPE, MM, 1))
    added = added_since(stained, flat, flat.deviation, CONTRAST)
    assert added is not None
    assert added.blotch == pytest.approx(stained.blotch, abs=0.01)


def test_too_little_seen_in_both_tells_nothing() -> None:
    bare, stained = seen(BARE_L + patches(SHAPE, MM, 1)), seen(STAINED_L + patches(SHAPE, MM, 1))
    hidden = bare.deviation.copy()
    hidden[:, : round(0.52 * SHAPE[1])] = math.nan
    assert added_since(stained, bare, hidden, CONTRAST) is None
    hidden[:, round(0.48 * SHAPE[1]) :] = bare.deviation[:, round(0.48 * SHAPE[1]) :]
    assert added_since(stained, bare, hidden, CONTRAST) is not None


# --- one board over the other ----------------------------------------------------------------------------------------


def faces() -> tuple[Floats, Floats]:
    """L* of one simulated board of maple, stained and bare, at 0.4 mm."""
    size = round(SHOP_BOARD.length_mm / MM), round(SHOP_BOARD.width_mm / MM)
    stained, bare = (
        cv2.resize(board_lightness(replace(SHOP_BOARD, stage=stage), blotch=True, figure=True), size, interpolation=3)
        for stage in ("stained", "bare")
    )
    return stained.astype(np.float32), bare.astype(np.float32)


def moved(face: Floats, x_mm: float, y_mm: float, turn_deg: float) -> tuple[Floats, Floats]:
    """A face laid down elsewhere, turned about its middle; and the matrix from its own pixels to the moved ones."""
    middle = ((face.shape[1] - 1) / 2, (face.shape[0] - 1) / 2)
    matrix = cv2.getRotationMatrix2D(middle, turn_deg, 1.0) + np.array([[0, 0, x_mm / MM], [0, 0, y_mm / MM]])
    return cv2.warpAffine(face, matrix, face.shape[::-1], borderMode=cv2.BORDER_REPLICATE), matrix


@pytest.mark.parametrize("of_earlier", [(1.5, -1.1, 0.0), (-0.7, 2.3, 0.6), (0.0, 0.0, -1.0), (3.2, 0.5, 0.2)])
@pytest.mark.parametrize("sign", [1, -1])
def test_the_grain_lays_a_bare_board_over_the_stained_one(of_earlier: tuple[float, float, float], sign: int) -> None:
    """To a millimetre and a half at the corners; also where the stain turned light and dark grain round."""
    later, earlier = faces()
    elsewhere, matrix = moved(np.asarray(100 - earlier if sign < 0 else earlier, dtype=np.float32), *of_earlier)
    all_seen = np.ones(later.shape, bool)
    found = align(later, elsewhere, all_seen, all_seen, MM)
    rows, columns = later.shape
    ends = np.array([[0, 0, 1], [columns, 0, 1], [0, rows, 1], [columns, rows, 1]], dtype=np.float64).T
    away_mm = np.hypot(*(found.matrix @ ends - matrix @ ends)) * MM
    assert away_mm.max() < 1.5
    assert abs(found.correlation) > abs(found.unmoved) + 0.02
    assert np.sign(found.correlation) == sign


def test_boards_that_lie_right_are_not_moved() -> None:
    later, earlier = faces()
    all_seen = np.ones(later.shape, bool)
    found = align(later, earlier, all_seen, all_seen, MM)
    assert found.matrix == pytest.approx(np.eye(2, 3), abs=1e-6)
    assert found.correlation > 0.15


@pytest.mark.parametrize("make", [lambda rng, shape: rng.normal(50, 1, shape), lambda _, shape: np.full(shape, 50.0)])
def test_surfaces_without_common_grain_are_not_moved(
    make: Callable[[np.random.Generator, tuple[int, int]], Floats],
) -> None:
    rng = np.random.default_rng(4)
    first, second = (make(rng, (300, 750)).astype(np.float32) for _ in range(2))
    all_seen = np.ones(first.shape, bool)
    assert (align(first, second, all_seen, all_seen, MM).matrix == np.eye(2, 3)).all()


# --- from photos -----------------------------------------------------------------------------------------------------


def clouds(name: str) -> Callable[[tuple[int, int], float], Floats]:
    return lambda shape, mm_per_px: unit(patches(shape, mm_per_px, len(name)))


def pores(shape: tuple[int, int], mm_per_px: float) -> Floats:
    """Short dark strokes along the grain, too fine for blotch."""
    noise = np.random.default_rng(8).standard_normal(shape)
    strokes = np.clip(cv2.GaussianBlur(noise, (0, 0), sigmaX=0.6 / mm_per_px, sigmaY=0.25 / mm_per_px), 0, None)
    return unit(cv2.GaussianBlur(strokes, (0, 0), 0.8 / mm_per_px) - strokes)


def painted(stage: str) -> tuple[PaintedZone, PaintedZone]:
    """A zone as cloudy bare as it is stained, under an even film; and one that was even before."""
    wood, stain = clouds("wood"), clouds("stain")
    L, through, clouded = (STAINED_L, CONTRAST, 1.0) if stage == "stained" else (BARE_L, 1.0, 0.0)
    colour = (L, 10.0, 20.0)
    return (
        PaintedZone("cloudy", (0, 150), colour, lambda *at: through * (1.5 * wood(*at) + 2 * pores(*at))),
        PaintedZone("even", (150, 300), colour, lambda *at: clouded * stain(*at) + through * 2 * pores(*at)),
    )


def clicked(true_corners: Floats, along_mm: float, down_mm: float) -> list[list[float]]:
    """Corners of the board that a hand set wrong, all of them by the same."""
    top_left, top_right, _, bottom_left = true_corners
    along = (top_right - top_left) / SHOP_BOARD.length_mm
    down = (bottom_left - top_left) / SHOP_BOARD.width_mm
    return (true_corners + along_mm * along + down_mm * down).tolist()


@pytest.fixture(scope="module")
def bare_and_stained(tmp_path_factory: pytest.TempPathFactory) -> Measurement:
    """Corners of the bare board are 2 mm off along the grain and 1 mm across it."""
    folder = tmp_path_factory.mktemp("bare")
    photos = []
    board = SHOP_BOARD
    for stage, off_mm in (("bare", (2.0, -1.0)), ("stained", (0.0, 0.0))):
        board = replace(SHOP_BOARD, stage=stage, zones=painted(stage))
        rendered = taken(replace(SHOP_SCENE, boards=(board,)), **FAULTLESS)
        saved(folder, rendered, f"{stage}.jpg")
        photos.append(
            {"file": f"{stage}.jpg", "board": "A", "stage": stage, "corners": clicked(corners(rendered), *off_mm)}
        )
    return measure_job(write_job(folder, [board], photos))


def test_the_results_tell_the_blotch_before_and_what_was_added(bare_and_stained: Measurement) -> None:
    zones = {(zone.id, zone.stage): zone for zone in bare_and_stained.results.zones}
    cloudy, even = zones["A/cloudy", "stained"], zones["A/even", "stained"]
    assert cloudy.bare_blotch == zones["A/cloudy", "bare"].blotch == pytest.approx(1.5, rel=0.1)
    assert cloudy.blotch == pytest.approx(1.5 * CONTRAST, rel=0.1)
    assert cloudy.added_blotch == pytest.approx(0, abs=0.2)
    assert cloudy.added_blotch_u95 is not None
    assert cloudy.added_blotch_u95 > 0.05
    assert even.bare_blotch == pytest.approx(0, abs=0.3)  # the pores: some of them 4 mm apart
    assert even.added_blotch == pytest.approx(even.blotch, rel=0.03)
    assert even.added_blotch_u95 == pytest.approx(even.blotch_u95, rel=0.1)
    assert zones["A/cloudy", "bare"].added_blotch is None
    assert zones["A/cloudy", "bare"].bare_blotch is None


def test_the_verdict_counts_all_of_the_blotch(bare_and_stained: Measurement) -> None:
    results = bare_and_stained.results
    (verdict,) = [one for one in results.verdicts if one.zones == ("A/cloudy",)]
    (zone,) = [zone for zone in results.zones if (zone.id, zone.stage) == ("A/cloudy", "stained")]
    assert verdict.blotch == pytest.approx(zone.blotch)


def page_of(measured: Measurement) -> str:
    return report_html(content_of(measured, shown_boards(measured), 3.0)).decode()


def test_the_report_says_what_was_in_the_wood_before(bare_and_stained: Measurement) -> None:
    figures = board_figures(shown_boards(bare_and_stained), 3.0, bare_and_stained.results, "mm")
    said = {figure.facts[-1]: figure.before for figure in figures}
    stained = next(text for taken_at, text in said.items() if "stained" in taken_at)
    bare = next(text for taken_at, text in said.items() if "bare" in taken_at)
    assert "of cloudy, 0.9" in stained
    assert "of even" not in stained
    assert "; elsewhere next to nothing." in stained
    assert "The verdict counts all" in stained
    assert bare == ""
    page = page_of(bare_and_stained)
    assert "was in the wood before" in page
    assert "added since bare" in page


def test_the_grain_of_a_bare_board_is_found_in_its_stained_photo_and_is_no_blotch(tmp_path: Path) -> None:
    """Simulated maple, the same board before and after; the bare one's corners are 1.5 mm and 1 mm off."""
    photos = []
    board = SHOP_BOARD
    for stage, off_mm in (("bare", (1.5, -1.0)), ("stained", (0.0, 0.0))):
        board = replace(SHOP_BOARD, stage=stage)
        rendered = taken(replace(SHOP_SCENE, boards=(board,)), size_px=(1600, 1200))
        saved(tmp_path, rendered, f"{stage}.jpg")
        photos.append(
            {"file": f"{stage}.jpg", "board": "A", "stage": stage, "corners": clicked(corners(rendered), *off_mm)}
        )
    measured = measure_job(write_job(tmp_path, [board], photos))
    bare, stained = (measure_photo(measured.job, f"{stage}.jpg").boards[0] for stage in ("bare", "stained"))
    x_mm, y_mm = MM * alignment_of(stained, bare).matrix[:, 2]
    assert (x_mm, y_mm) == pytest.approx((-1.5, 1.0), abs=0.4)
    for zone in measured.results.zones:
        if zone.stage == "stained":
            assert zone.bare_blotch == pytest.approx(0, abs=0.2)
            assert zone.added_blotch == pytest.approx(zone.blotch, rel=0.05)
    figures = board_figures(shown_boards(measured), 3.0, measured.results, "mm")
    stained_board, bare_board = (figure.before for figure in figures)
    assert "next to" in stained_board
    assert "control" not in stained_board
    assert bare_board == ""


def test_a_board_that_was_even_before_is_said_in_one_sentence(bare_and_stained: Measurement) -> None:
    zones = bare_and_stained.results.zones
    even = replace(
        bare_and_stained.results,
        zones=tuple(replace(zone, added_blotch=zone.blotch if zone.stage == "stained" else None) for zone in zones),
    )
    (said,) = [
        figure.before for figure in board_figures(shown_boards(bare_and_stained), 3.0, even, "mm") if figure.before
    ]
    assert said == "By the bare photo, next to none of the blotch was in the wood before."


def test_a_job_without_bare_photos_says_nothing_of_them() -> None:
    example = example_measurement()
    assert all(zone.bare_blotch is None and zone.added_blotch is None for zone in example.results.zones)
    assert zone_row(example.results.zones[0], example.job).added == ""
    page = page_of(example)
    assert "since bare" not in page
    assert "in the wood before" not in page


@pytest.mark.parametrize(("lights", "bare_is_from"), [(("sun", "shop"), "shop"), (("sun", "lamp"), "lamp")])
def test_a_bare_photo_in_the_same_light_comes_first(tmp_path: Path, lights: tuple[str, str], bare_is_from: str) -> None:
    """In the second case neither is: the first by name counts."""
    photos = []
    board = SHOP_BOARD
    for number, light in enumerate((*lights, "shop")):
        stage = "stained" if number == 2 else "bare"
        zone = PaintedZone("a", (0, 300), (60.0 - 5 * number, 10, 20), clouds("wood") if number == 1 else None)
        board = replace(SHOP_BOARD, stage=stage, zones=(zone,))
        rendered = taken(replace(SHOP_SCENE, boards=(board,)), **FAULTLESS)
        saved(tmp_path, rendered, f"{number}.jpg")
        photos.append(
            {"file": f"{number}.jpg", "board": "A", "stage": stage, "light": light}
            | {"corners": corners(rendered).tolist()}
        )
    results = measure_job(write_job(tmp_path, [board], photos)).results
    (stained,) = [zone for zone in results.zones if zone.stage == "stained"]
    assert (
        stained.bare_blotch
        == zone_of(
            replace(results, zones=tuple(zone for zone in results.zones if zone.stage == "bare")), "A/a", bare_is_from
        ).blotch
    )
