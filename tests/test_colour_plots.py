"""The pictures show each treatment where it lies, the limit in its true shape, and hide nothing."""

import re
from dataclasses import replace
from html import unescape

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_example import SHELLAC, example_job, example_measurement, example_results

from analyzer.job import Job, Target
from analyzer.measurement import Measurement
from analyzer.report.colour_places import offset_from, places, target_of
from analyzer.report.colour_plots import MARK_SIZE, SIZE, ColourPlot, ColourPlots, colour_plots
from analyzer.report.content import content_of
from analyzer.report.html import report_html
from analyzer.report.label_places import HEIGHT, WIDTH, label_places
from analyzer.results import Results, VerdictResult
from analyzer.tolerance_contour import hue_plane, tolerance_contour
from calibration.difference import delta_E_00

AB_PLANE = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
SAMPLE = np.array([40.2, 14.6, 22.8])  # the example's target
LIGHTNESS, HUE = 0, 1  # which picture


def moved(offsets: dict[str, tuple[float, float, float]], u95: float | None = 0.88) -> Results:
    """The example with its zones elsewhere: (dL, da, db) from the sample, by zone."""
    results = example_results()
    Labs = {path: SAMPLE + np.array(delta) for path, delta in offsets.items()}
    differences = []
    for item in results.differences:
        if item.a == "S/sample" and item.b in Labs:
            at = offset_from(SAMPLE, Labs[item.b])
            differences.append(replace(item, dl=at.dL, da=at.da, db=at.db, dc=at.dC))
        else:
            differences.append(item)
    zones = [replace(zone, lab=tuple(Labs[zone.id].tolist())) if zone.id in Labs else zone for zone in results.zones]
    verdicts = tuple(replace(item, de00_u95=u95) for item in results.verdicts)
    return replace(results, differences=tuple(differences), zones=tuple(zones), verdicts=verdicts)


def shellac_at(dL: float, da: float, db: float, u95: float | None = 0.88) -> Results:
    """The example with nothing but its shellac, on both boards at one place."""
    results = moved(dict.fromkeys(("A/shellac", "R/shellac"), (dL, da, db)), u95)
    return replace(results, verdicts=results.verdicts[:1])


def plots_of(results: Results, job: Job | None = None) -> ColourPlots:
    found = colour_plots(job or example_job(), results, results.verdicts)
    assert found is not None
    return found


def html_of(measurement: Measurement) -> str:
    return report_html(content_of(measurement, (), 2.0)).decode()


def said_by(page: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", page)))


def points(path: str) -> np.ndarray:
    return np.array(
        [[float(n) for n in re.findall(r"-?[\d.]+", pair)] for pair in re.findall(r"[ML][^ML Z]+ [^MLZ]+", path)]
    )


def depth(plot: ColourPlot, at: np.ndarray) -> float:
    """How far a place lies inside the tolerance, in the picture's units; below 0 outside."""
    return max(
        cv2.pointPolygonTest(points(path).astype(np.float32), tuple(map(float, at)), measureDist=True)
        for path in plot.tolerance
    )


# The contour


@given(
    st.floats(15, 90), st.floats(12, 60), st.floats(0, 360), st.floats(0.1, 6), st.sampled_from(["a*b*", "lightness"])
)
@settings(max_examples=30, deadline=None)
def test_every_point_of_a_contour_differs_from_its_middle_by_just_the_tolerance(
    L: float, C: float, h_deg: float, tolerance: float, plane: str
) -> None:
    Lab = np.array([L, C * np.cos(np.radians(h_deg)), C * np.sin(np.radians(h_deg))])
    axes = AB_PLANE if plane == "a*b*" else hue_plane(Lab)
    contour = tolerance_contour(Lab, tolerance, axes)
    assert contour.shape == (72, 2)
    assert delta_E_00(Lab, Lab + contour @ axes) == pytest.approx(np.full(72, tolerance), abs=1e-3)


def test_around_a_brown_a_tolerance_reaches_farther_in_vividness_than_in_lightness() -> None:
    """S_C / S_L of CIEDE2000 there: 1 + 0.045 C, a stretched by 1 + G, over 1.1; written out for small tolerances."""
    vivid, lighter = tolerance_contour(SAMPLE, 0.01, hue_plane(SAMPLE), points=4)[:2]
    offset = (SAMPLE[0] - 50) ** 2
    S_L = 1 + 0.015 * offset / np.sqrt(20 + offset)
    assert lighter[1] == pytest.approx(0.01 * S_L, rel=1e-3)
    assert vivid[0] / lighter[1] > 1.8


@pytest.mark.parametrize("delta_E", [0.0, -1.0, float("nan"), 1e3])
def test_a_contour_of_no_difference_or_of_an_impossible_one_is_refused(delta_E: float) -> None:
    with pytest.raises(ValueError, match="differ"):
        tolerance_contour(SAMPLE, delta_E, AB_PLANE)


def test_a_neutral_colour_has_a_plane_too() -> None:
    assert hue_plane((50, 0, 0)).tolist() == [[0, 1, 0], [1, 0, 0]]
    assert hue_plane((50, 3, 4)) == pytest.approx(np.array([[0, 0.6, 0.8], [1, 0, 0]]))


# Places


def test_a_place_is_the_treatment_minus_the_target_as_the_differences_say() -> None:
    results, job = example_results(), example_job()
    target = target_of(job, results, "stained", "shop")
    assert target is not None
    placed = places(job, results, target, results.verdicts)
    assert [item.verdict.treatment for item in placed] == [item.treatment for item in results.verdicts]
    shellac = placed[0]
    assert dict(shellac.zones)["A/shellac"].delta_Lab == pytest.approx([40.9 - 40.2, 14.9 - 14.6, 23.6 - 22.8])
    assert shellac.mean.delta_Lab == pytest.approx([0.3, 0.5, 0.6])  # halfway between both boards


def test_two_zones_on_one_board_count_as_one_board() -> None:
    results = moved({"A/shellac": (2, 0, 0), "A/control": (4, 0, 0), "R/shellac": (0, 0, 0)})
    verdict = replace(results.verdicts[0], zones=("A/shellac", "A/control", "R/shellac"))
    target = target_of(example_job(), results, "stained", "shop")
    assert target is not None
    assert places(example_job(), results, target, [verdict])[0].mean.dL == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("delta", "picture", "way"),
    [
        ((3, 0, 0), LIGHTNESS, (0, -1)),
        ((-3, 0, 0), LIGHTNESS, (0, 1)),
        ((0, 3, 0), HUE, (1, 0)),
        ((0, 0, 3), HUE, (0, -1)),
    ],
)
def test_lighter_is_up_redder_is_right_and_yellower_is_up(
    delta: tuple[float, float, float], picture: int, way: tuple[int, int]
) -> None:
    spot = plots_of(shellac_at(*delta)).plots[picture].spots[0]
    offset = np.array([float(spot.x), float(spot.y)]) - SIZE / 2
    assert np.sign(np.round(offset, 0)).tolist() == list(way)


def test_duller_is_left_whatever_the_hue() -> None:
    grayer = -3 * SAMPLE[1:] / np.hypot(*SAMPLE[1:])
    spot = plots_of(shellac_at(0, *grayer)).plots[LIGHTNESS].spots[0]
    assert float(spot.x) < SIZE / 2 - 10
    assert float(spot.y) == SIZE / 2


@given(st.floats(0, 360), st.floats(0.6, 1.4), st.sampled_from([LIGHTNESS, HUE]))
@settings(max_examples=30, deadline=None)
def test_a_mark_lies_inside_the_dashed_ring_exactly_when_it_is_within_the_tolerance(
    angle_deg: float, share: float, picture: int
) -> None:
    """For colours that differ in the picture's own directions only."""
    axes = hue_plane(SAMPLE) if picture == LIGHTNESS else AB_PLANE
    way = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))]) @ axes
    delta = share * 4 * way
    plot = plots_of(shellac_at(*delta)).plots[picture]
    spot = plot.spots[0]
    inside = depth(plot, np.array([float(spot.x), float(spot.y)]))
    if abs(inside) > 1:  # a picture is drawn to a tenth of a unit, its ring as a polygon
        assert (inside > 0) == (delta_E_00(SAMPLE, SAMPLE + delta) < example_job().target.tolerance)


@given(st.floats(-2, 2), st.floats(-3, 3), st.floats(-3, 3), st.floats(0.1, 1.5))
@settings(max_examples=30, deadline=None)
def test_a_sure_match_keeps_its_whole_ring_inside_the_dashed_one_in_both_pictures(
    dL: float, da: float, db: float, u95: float
) -> None:
    de00 = float(delta_E_00(SAMPLE, SAMPLE + np.array([dL, da, db])))
    if de00 + u95 > 0.97 * example_job().target.tolerance:  # CIEDE2000 keeps the triangle's rule only nearly
        return
    for plot in plots_of(shellac_at(dL, da, db, u95)).plots:
        ring = plot.spots[0].ring
        assert ring is not None
        assert min(depth(plot, at) for at in points(ring)) > -0.3


@pytest.mark.parametrize(
    ("delta", "is_pale"),
    [
        ((6, 0, 0), (False, True)),  # too light: inside only where lightness is not seen
        ((0, 3.4, -2.2), (True, False)),  # too red by hue alone: inside only where hue is not seen
        ((6, 6, -3), (False, False)),  # outside in both
        ((0.5, 0.3, 0), (False, False)),  # inside in both
    ],
)
def test_what_lies_inside_in_one_picture_only_is_pale_there(
    delta: tuple[float, float, float], is_pale: tuple[bool, bool]
) -> None:
    found = plots_of(shellac_at(*delta))
    assert tuple(plot.spots[0].is_pale for plot in found.plots) == is_pale
    for plot, pale in zip(found.plots, is_pale, strict=True):
        at = np.array([float(plot.spots[0].x), float(plot.spots[0].y)])
        assert not pale or depth(plot, at) > 0


# What is drawn


@given(
    st.lists(st.tuples(*[st.floats(-60, 60)] * 3), min_size=6, max_size=6),
    st.floats(0.05, 12) | st.none(),
    st.floats(0.3, 6),
)
@settings(max_examples=30, deadline=None)
def test_nothing_lies_outside_the_picture_however_far_off_a_treatment_is(
    deltas: list[tuple[float, float, float]], u95: float | None, tolerance: float
) -> None:
    zones = [f"{board}/{zone}" for board in "AR" for zone in ("control", "shellac", "glue")]
    results = moved(dict(zip(zones, deltas, strict=True)), u95)
    job = replace(example_job(), target=replace(example_job().target, tolerance=tolerance))
    for plot in plots_of(results, job).plots:
        assert len(plot.spots) == 3
        room = MARK_SIZE / 2
        for spot in plot.spots:
            x, y = float(spot.x), float(spot.y)
            if spot.arrow_deg is not None:
                assert room < min(x, y)
                assert max(x, y) < SIZE - room
                assert not spot.dots
                assert spot.ring is None
            for place in ((x, y), tuple(map(float, spot.label)), *((float(dot.x), float(dot.y)) for dot in spot.dots)):
                assert all(0 <= value <= SIZE for value in place)
        for path in plot.tolerance:
            assert points(path).min() >= 0
            assert points(path).max() <= SIZE


def test_a_far_treatment_is_marked_at_the_edge_with_an_arrow_and_the_ring_stays_large() -> None:
    found = plots_of(shellac_at(60, 0, 0))
    spot = found.plots[LIGHTNESS].spots[0]
    assert spot.arrow_deg == "-90"
    assert float(spot.y) == pytest.approx(MARK_SIZE)
    assert found.has_farther
    ring = points(found.plots[LIGHTNESS].tolerance[0])
    assert np.ptp(ring[:, 0]) > 0.25 * SIZE
    assert not plots_of(shellac_at(3, 0, 0)).has_farther


def test_every_board_is_a_dot_beside_the_mean_and_carries_its_zone() -> None:
    plot = plots_of(moved({"A/shellac": (2, 0, 0), "R/shellac": (-2, 0, 0)})).plots[LIGHTNESS]
    spot = next(spot for spot in plot.spots if SHELLAC in spot.title)
    assert [dot.title for dot in spot.dots] == ["A/shellac", "R/shellac"]
    lighter, darker = (float(dot.y) for dot in spot.dots)
    assert (lighter + darker) / 2 == pytest.approx(float(spot.y), abs=0.11)
    assert lighter < float(spot.y) < darker


def test_an_unknown_uncertainty_has_no_ring_and_says_so() -> None:
    found = plots_of(shellac_at(1, 0, 0, None))
    assert found.has_unknown
    assert all(spot.ring is None for plot in found.plots for spot in plot.spots)
    assert not plots_of(shellac_at(1, 0, 0)).has_unknown


def test_a_treatment_that_could_not_be_compared_is_left_out_and_without_a_target_there_is_no_picture() -> None:
    results, job = example_results(), example_job()
    first, *others = results.verdicts
    alone: VerdictResult = replace(first, de00=None, de00_u95=None)
    found = colour_plots(job, results, [alone, *others])
    assert found is not None
    assert len(found.key) == 2
    assert colour_plots(job, results, [alone]) is None
    assert colour_plots(replace(job, target=Target(zone="X/gone")), results, results.verdicts) is None
    assert colour_plots(job, results, []) is None


def test_against_a_value_the_zones_own_colours_are_placed() -> None:
    job = replace(example_job(), target=Target(lab=(38.0, 14.6, 22.8)))
    results = shellac_at(0, 0, 0)
    target = target_of(job, results, "stained", "shop")
    assert target is not None
    mean = places(job, results, target, results.verdicts)[0].mean
    assert [mean.dL, mean.da, mean.db, mean.dC] == pytest.approx([2.2, 0, 0, 0])


def test_around_range_boards_the_limit_follows_the_line_and_the_outer_boards_lie_at_its_ends() -> None:
    """A zone on the line, as far along as the light board is, lies well inside; beyond the light board it does not."""
    job = replace(example_job(), target=Target(between=("A/glue", "A/control")))
    light, dark = (np.array(zone.lab) for zone in (example_results().zones[2], example_results().zones[0]))
    for share, is_inside in ((0.02, True), (0.5, True), (0.98, True), (-1.0, False)):
        delta = light + share * (dark - light) - SAMPLE
        results = shellac_at(*delta)
        plot = plots_of(results, job).plots[LIGHTNESS]
        spot = plot.spots[0]
        assert (depth(plot, np.array([float(spot.x), float(spot.y)])) > 1) == is_inside
        assert plot.target is not None
        assert len(points(plot.target)) == 2
    assert plots_of(results, job).is_range


def test_the_limit_around_range_boards_is_the_union_of_those_around_every_colour_of_the_line() -> None:
    """Its outline is as far from the nearest colour of the line as the tolerance, seen in the directions drawn."""
    job = replace(example_job(), target=Target(between=("A/glue", "A/control")))
    plot = plots_of(shellac_at(0, 0, 0), job).plots[HUE]
    assert plot.target is not None
    assert len(plot.tolerance) == 1
    ends = points(plot.target)
    light, dark = (np.array(zone.lab) for zone in (example_results().zones[2], example_results().zones[0]))
    per_unit = np.linalg.norm(ends[1] - ends[0]) / np.linalg.norm((dark - light)[1:])
    line = [light + t * (dark - light) for t in np.linspace(0, 1, 201)]
    for at in points(plot.tolerance[0]):
        ab = (light + dark)[1:] / 2 + (at - SIZE / 2) / per_unit * [1, -1]
        nearest = min(float(delta_E_00(Lab, np.array([Lab[0], *ab]))) for Lab in line)
        assert nearest == pytest.approx(job.target.tolerance, abs=0.02)


def test_numbers_hide_neither_marks_nor_each_other_where_marks_lie_apart() -> None:
    rng = np.random.default_rng(5)
    for _ in range(60):
        marks = np.empty((0, 2))
        while len(marks) < 7:
            at = rng.uniform(MARK_SIZE, SIZE - MARK_SIZE, 2)
            if not (np.abs(marks - at) < MARK_SIZE).all(axis=1).any():
                marks = np.vstack([marks, at])
        labels = np.array([(label.x, label.y) for label in label_places(marks, MARK_SIZE, SIZE)])
        for k, label in enumerate(labels):
            assert not (np.abs(marks - label) < (np.array([WIDTH, HEIGHT]) + MARK_SIZE) / 2).all(axis=1).any()
            assert not (np.abs(np.delete(labels, k, 0) - label) < (WIDTH, HEIGHT)).all(axis=1).any()


def test_numbers_of_marks_that_lie_on_one_place_still_stand_apart() -> None:
    labels = label_places(np.full((4, 2), 100.0), MARK_SIZE, SIZE)
    assert len({(label.x, label.y) for label in labels}) == 4


# On the page


def test_the_page_shows_both_pictures_with_their_key_and_one_plain_sentence() -> None:
    page = html_of(example_measurement(boards=()))
    assert page.count('<svg class="picture"') == 2
    said = said_by(page)
    assert "A match lies inside the dashed ring in both pictures." in said
    for word in ("lighter", "darker", "duller", "more vivid", "greener", "redder", "bluer", "yellower"):
        assert f"↑ {word}" in said or f"↓ {word}" in said
    for number, verdict in enumerate(example_results().verdicts, start=1):
        name = "no pre-treatment (control)" if verdict.treatment == "none" else verdict.treatment
        assert f"{number} {verdict.colour} {name}" in said


def test_names_cannot_become_markup_in_the_pictures() -> None:
    evil = "<script>x</script>"
    measurement = example_measurement(boards=())
    results = measurement.results
    verdict = replace(results.verdicts[0], treatment=evil, zones=(f"A/{evil}", "R/shellac"))
    differences = tuple(replace(item, b=f"A/{evil}") if item.b == "A/shellac" else item for item in results.differences)
    text = html_of(replace(measurement, results=replace(results, verdicts=(verdict,), differences=differences)))
    assert "<script" not in text
    picture = text[text.index('<svg class="picture"') :]
    assert "<title>A/&lt;script&gt;x&lt;/script&gt;</title>" in picture
    assert "<title>1: &lt;script&gt;" in picture


def test_an_arrow_and_an_unknown_ring_are_explained_where_they_occur() -> None:
    measurement = example_measurement(boards=())
    far = html_of(replace(measurement, results=shellac_at(60, 0, 0, None)))
    assert "An arrow: it lies farther out" in said_by(far)
    assert "how sure it is is unknown" in said_by(far)
    near = said_by(html_of(measurement))
    assert "An arrow: it lies farther out" not in near
    assert "how sure it is is unknown" not in near
