"""The report says everything that was measured, to a finisher, on any screen, and nothing that was not."""

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_example import example_job, example_measurement, example_results, without_answer

from analyzer.job import Target
from analyzer.measurement import Measurement
from analyzer.report import words
from analyzer.report.boards import board_figures, shown_boards
from analyzer.report.cautions import cautions_for, cautions_of, closing_words
from analyzer.report.charts import LEAST_ROOM, Row, axis, chart
from analyzer.report.content import content_of
from analyzer.report.html import report_html
from analyzer.report.marks import colour_mark
from analyzer.report.page import page_of
from analyzer.report.pictures import (
    BOARD_PX_PER_MM,
    MAP_LEAST_LIMIT,
    board_rasters,
    jpeg,
    map_limit,
    map_palette,
    map_png,
)
from analyzer.report.plates import plate_jpeg
from analyzer.report.swatches import hex_colours, target_Labs
from analyzer.report.terminal import summary
from calibration.colorspace import SRGB_TO_XYZ, XYZ_to_Lab, sRGB_decode

VOID = {"meta", "img", "br", "hr", "link", "input", "circle", "path", "rect", "use"}


class Reader(HTMLParser):
    """Reads a page as a browser must be able to: every element closed in its order, all text collected."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)

    @property
    def said(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.text))


def html_of(measurement: Measurement) -> str:
    boards = shown_boards(measurement)
    return report_html(content_of(measurement, boards, map_limit(shown.rasters.deviation for shown in boards))).decode()


def with_results(**changes: object) -> Measurement:
    measurement = example_measurement(boards=())
    return replace(measurement, results=replace(measurement.results, **changes))


@pytest.fixture(scope="module")
def page() -> str:
    return html_of(example_measurement())


@pytest.fixture(scope="module")
def said(page: str) -> str:
    return Reader(page).said


# The page as a file


def test_the_page_is_well_formed_and_says_it_is_utf_8(page: str) -> None:
    Reader(page)
    assert page.lstrip().startswith("<!DOCTYPE html>")
    assert '<meta charset="utf-8">' in page


def test_the_page_fetches_nothing_and_runs_nothing(page: str) -> None:
    for tag, name, value in Reader(page).attributes:
        assert tag not in {"script", "link", "iframe", "object", "embed"}
        assert not name.startswith("on")
        if name in {"src", "href", "srcset", "action", "data"}:
            assert value.startswith(("data:image/", "#")), (tag, name, value[:40])
    without_pictures = re.sub(r"base64,[A-Za-z0-9+/=]+", "", page)
    assert not re.search(r"https?:|//\w|@import|url\(|<script", without_pictures)


def test_every_shape_that_is_used_is_drawn_on_the_page(page: str) -> None:
    used = {value[1:] for tag, name, value in Reader(page).attributes if (tag, name) == ("use", "href")}
    drawn = {value for tag, name, value in Reader(page).attributes if (tag, name) == ("symbol", "id")}
    assert used
    assert used <= drawn


def test_every_picture_on_the_page_can_be_opened_and_has_words(page: str) -> None:
    pictures = re.findall(r'<img src="data:image/(?:jpeg|png);base64,([^"]+)" alt="([^"]+)"', page)
    assert len(pictures) == page.count("<img") == 2 * 3 + 1  # three boards with their maps, and one overlay
    for data, _ in pictures:
        assert cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_UNCHANGED) is not None


def test_names_from_the_job_file_cannot_become_markup() -> None:
    evil = '<script>alert("x")</script>'
    results = example_results()
    verdict = replace(results.verdicts[0], treatment=evil, advice=evil)
    answer = replace(results.answer, treatment=evil, reason=evil)
    measurement = with_results(verdicts=(verdict,), answer=answer)
    text = html_of(replace(measurement, job=replace(measurement.job, name=evil, customer=evil)))
    assert "<script" not in text
    assert text.count("&lt;script&gt;") >= 5
    Reader(text)


# What the page says


def test_the_sections_come_in_the_order_in_which_a_finisher_asks(page: str) -> None:
    order = [
        "Bay window seat",
        "for Ms. Example",
        "Use the dewaxed shellac washcoat",
        "The treatments",
        "How sure is that?",
        "The boards",
        "The recipe in full",
        "For the customer",
        "Differences between zones",
        "All zones",
        "The photos",
        "How this was measured",
        "What this report cannot tell",
        "Take care",
        "evenboard 0.1.0",
    ]
    body = page[page.index("<header>") :]
    places = [body.index(words_) for words_ in order]
    assert places == sorted(places)


def test_every_verdict_stands_with_its_numbers_words_and_advice(said: str) -> None:
    for item in example_results().verdicts:
        assert words.treatment_name(item.treatment) in said
        assert item.advice in said
        assert f"{words.colour(item.de00, item.de00_u95)} {item.colour}" in said
        assert f"{words.blotch(item.blotch, item.blotch_u95)} {item.evenness}" in said
        assert item.overall in said


def test_every_zone_stands_with_its_colour_blotch_and_treatment(said: str) -> None:
    for zone in example_results().zones:
        row = said[said.index("All zones") :]
        row = row[row.index(zone.id) :]
        assert words.treatment_name(zone.treatment) in row[:80]
        assert f"{zone.lab[0]:.1f} ± 1.9" in row[:200]
        assert words.blotch(zone.blotch, zone.blotch_u95) in row[:260]


def test_every_finding_stands_with_its_severity_and_remedy(said: str) -> None:
    word = {"note": "Note", "warning": "Warning", "unusable": "Not used"}
    for photo in example_results().photos:
        assert photo.file in said
        for item in photo.findings:
            assert f"{word[item.severity]} {item.message} {item.remedy}" in said


def test_every_difference_stands_and_those_against_the_control_in_one_photo_come_first() -> None:
    page = page_of(example_job(), example_results())
    assert [(row.a, row.b) for row in page.against_control] == [
        ("A/control", "A/shellac"),
        ("A/control", "A/glue"),
        ("R/control", "R/shellac"),
        ("R/control", "R/glue"),
    ]
    assert len(page.against_control) + len(page.other_differences) == len(example_results().differences)


def test_a_difference_of_two_photos_of_one_board_is_not_among_the_most_certain() -> None:
    results = example_results()
    moved = tuple(replace(zone, photos=("photos/b.jpg",)) if zone.id == "A/shellac" else zone for zone in results.zones)
    rows = page_of(example_job(), replace(results, zones=moved)).against_control
    assert ("A/control", "A/shellac") not in [(row.a, row.b) for row in rows]


@pytest.mark.parametrize(
    ("grade", "said"), [(5.0, "5"), (4.76, "5"), (4.74, "4–5"), (3.2, "3"), (1.3, "1–2"), (1.0, "1"), (None, "–")]
)
def test_a_gray_scale_grade_is_said_in_half_steps(grade: float | None, said: str) -> None:
    """Older results carry none."""
    assert words.gray_scale(grade) == said
    first, *others = example_results().differences
    rows = page_of(example_job(), replace(example_results(), differences=(replace(first, grade=grade), *others)))
    assert rows.against_control[0].grade == said


def test_zones_and_differences_at_the_stage_that_was_judged_come_first() -> None:
    results = example_results()
    bare = tuple(replace(zone, stage="bare") for zone in results.zones)
    bare_differences = tuple(replace(item, stage="bare") for item in results.differences)
    both = replace(results, zones=(*bare, *results.zones), differences=(*bare_differences, *results.differences))
    page = page_of(example_job(), both)
    assert {row.taken for row in page.against_control} == {"stained, light “shop”"}
    assert len(page.against_control) + len(page.other_differences) == 2 * len(results.differences)
    assert {row.taken for row in page.zones} == {"stained, light “shop”"}
    assert {row.taken for row in page.other_zones} == {"bare, light “shop”"}


def test_boards_are_drawn_to_one_scale() -> None:
    measurement = example_measurement(boards=("A", "S"))
    figures = board_figures(shown_boards(measurement), 2.0, measurement.results, "mm")
    assert [float(figure.share) for figure in figures] == [1.0, 0.5]


def test_stage_and_light_stand_beside_the_numbers(page: str) -> None:
    beside = "stained, light “shop”"
    counts = {"verdicts and charts": 2, "for the customer": 1, "boards": 3, "differences": 10, "zones": 7, "photos": 4}
    assert page.count(beside) == sum(counts.values())


def test_a_light_without_a_name_is_said_to_have_none() -> None:
    results = example_results()
    verdicts = tuple(replace(item, light=None) for item in results.verdicts)
    assert "stained, light not named" in Reader(html_of(with_results(verdicts=verdicts))).said


def test_treatments_of_other_stages_or_lights_are_not_put_in_one_table() -> None:
    first, second, third = example_results().verdicts
    results = replace(
        example_results(), verdicts=(first, replace(second, stage="sealed"), replace(third, light="kitchen"))
    )
    groups = page_of(example_job(), results).groups
    assert [[row.name for row in group.rows] for group in groups] == [
        [words.treatment_name(item.treatment)] for item in (first, second, third)
    ]


def test_a_verdict_never_rests_on_colour_alone(page: str) -> None:
    for found in re.findall(r'<span class="mark [a-z]+">(.*?)</span></span>', page):
        assert re.search(r'<use href="#\w+"/></svg><span>\w', found)
    good, bad, unknown = colour_mark("match"), colour_mark("no match"), colour_mark("cannot tell")
    assert len({good.shape, bad.shape, unknown.shape}) == 3


def test_an_undecided_job_says_what_is_known_and_what_would_settle_it() -> None:
    undecided = without_answer(example_measurement(boards=()))
    text = Reader(html_of(undecided)).said
    assert "Not decided yet No treatment can be named yet" in text
    assert "What is known" in text
    settle = text[text.index("What would settle it") :]
    assert undecided.results.verdicts[0].advice in settle
    assert "Give its corners in job.toml" in settle[:600]


def test_a_control_that_wins_is_not_called_a_treatment() -> None:
    answer = replace(example_results().answer, treatment="none", reason="No pre-treatment: 0.5 ± 0.4 from the target.")
    page = page_of(example_job(), replace(example_results(), answer=answer))
    assert page.answer.heading == "No pre-treatment is needed"
    assert not any(fact.startswith("Treatment") for fact in page.facts)


def test_what_an_undecided_job_does_know_is_said() -> None:
    first, second, third = example_results().verdicts
    answer = without_answer(example_measurement(boards=())).results.answer
    known = page_of(example_job(), replace(example_results(), answer=answer)).answer.known
    assert known[0].endswith("match, even")
    assert known[1].endswith("no match, blotchy")  # the second is sure of nothing
    ruled_out = tuple(replace(item, overall="do not use") for item in (first, second, third))
    heading = page_of(example_job(), replace(example_results(), answer=answer, verdicts=ruled_out)).answer.heading
    assert heading == "None of the tried treatments"


def test_a_job_in_which_no_photo_could_be_used_still_makes_a_page() -> None:
    unusable = tuple(photo for photo in example_results().photos if not photo.usable)
    answer = replace(
        without_answer(example_measurement(boards=())).results.answer, reason="No photo could be measured."
    )
    empty = with_results(photos=unusable, zones=(), differences=(), verdicts=(), answer=answer)
    text = Reader(html_of(empty)).said
    assert "No photo could be measured." in text
    assert "0 of 1 photo used" in text
    assert "All zones" not in text
    assert "The gray card was not found" in text


def test_unknown_uncertainty_is_said_and_drawn_as_unknown_never_as_0() -> None:
    text = html_of(without_answer(example_measurement(boards=())))
    assert "0.7 ± unknown" in Reader(text).said
    assert text.count('class="interval unknown"') == 2 * 3
    assert "± 0.0 " not in text


def test_lengths_are_in_the_units_of_the_job() -> None:
    measurement = example_measurement(boards=("A",))
    metric = Reader(html_of(measurement)).said
    assert "300 × 150 mm" in metric
    assert "14 mm" in metric
    inches = Reader(html_of(replace(measurement, job=replace(measurement.job, units="in")))).said
    assert "11.8 × 5.91 in" in inches
    assert "0.56 in" in inches
    assert " mm " not in inches.replace("4 mm and 50 mm", "")  # the band is part of the method's definition


def test_a_photo_of_several_boards_is_one_photo_and_its_findings_stand_once() -> None:
    unusable, *usable = example_results().photos[::-1]
    card = example_results().photos[1].findings[0]
    glare = replace(card, code="glare", message="Glare covers 3 % of zone sample.")
    both = [
        replace(usable[0], file="photos/both.jpg", board="A", findings=(card,)),
        replace(usable[0], file="photos/both.jpg", board="S", findings=(card, glare)),
    ]
    measurement = with_results(photos=(*both, unusable))
    text = Reader(html_of(measurement)).said
    assert "1 of 2 photos used" in text
    assert "photos/both.jpg boards A and S" in text
    assert text.count(card.message) == 1
    assert f"board S: {glare.message}" in text
    assert "Not used: 1 of 2 photos" in summary(measurement.results)


def test_repeats_of_a_board_are_shown_once_and_counted() -> None:
    measurement = example_measurement(boards=("S",))
    picture = measurement.pictures[0]
    bare = replace(picture, stage="bare")
    again = replace(picture, photo="photos/s-again.jpg")
    shown = shown_boards(replace(measurement, pictures=(bare, picture, again)))
    assert [(board.picture.stage, board.photos) for board in shown] == [("stained", 2), ("bare", 1)]
    text = Reader(html_of(replace(measurement, pictures=(picture, again)))).said
    assert "photos/s-stained.jpg, one of 2 photos" in text


def test_a_lively_wish_draws_no_blotch_limit() -> None:
    evenness = replace(example_job().evenness, wish="lively")
    colour, blotch = page_of(replace(example_job(), evenness=evenness), example_results()).groups[0].charts
    assert colour.limit_at is not None
    assert blotch.limit_at is None


def test_a_zone_named_as_the_limit_is_the_limit() -> None:
    evenness = replace(example_job().evenness, limit=None, like="R/control")
    page = page_of(replace(example_job(), evenness=evenness), example_results())
    assert page.groups[0].charts[1].limit == "2.24"
    assert "No blotchier than zone R/control" in page.facts


def test_the_page_makes_no_promise_about_safety_and_names_the_guard_band(said: str) -> None:
    assert "No number or verdict here is a statement about safety" in said
    assert "JCGM 106:2012" in said
    assert "No colour tolerance for stained furniture is published" in said


def test_zone_outlines_lie_where_the_zones_are(page: str) -> None:
    assert (
        'style="left:33.333%;top:0%;width:33.333%;height:100%" title="dewaxed shellac washcoat, brown oil stain"'
        in page
    )


# Swatches


def test_a_swatch_is_the_colour_of_its_lab() -> None:
    """White and black are exact; L* 53.585 is sRGB code 128 (IEC 61966-2-1, D65 adapted)."""
    assert hex_colours([(100.0, 0.0, 0.0), (0.0, 0.0, 0.0), (53.585, 0.0, 0.0)]) == ("#ffffff", "#000000", "#808080")
    assert hex_colours([]) == ()


def test_the_target_is_shown_whichever_way_it_was_agreed() -> None:
    job, results = example_job(), example_results()
    assert target_Labs(replace(job, target=Target(lab=(38.0, 14.5, 22.0))), results, "stained", None) == [
        (38.0, 14.5, 22.0)
    ]
    assert target_Labs(job, results, "stained", "shop") == [results.zones[-1].lab]
    between = replace(job, target=Target(between=("A/glue", "A/control")))
    assert target_Labs(between, results, "stained", "shop") == [results.zones[2].lab, results.zones[0].lab]
    assert target_Labs(replace(job, target=Target(zone="X/gone")), results, "stained", "shop") == []


def test_the_target_seen_at_the_verdicts_stage_is_shown_before_any_other() -> None:
    results = example_results()
    sealed = replace(results.zones[-1], stage="sealed", lab=(30.0, 10.0, 10.0))
    both = replace(results, zones=(*results.zones, sealed))
    job = replace(example_job(), target=Target(zone="S/sample"))
    assert target_Labs(job, both, "sealed", "shop") == [sealed.lab]
    assert target_Labs(job, both, "stained", "shop") == [results.zones[-1].lab]


# Pictures


def test_boards_are_shown_no_finer_than_needed_and_keep_their_colour_and_size() -> None:
    picture = example_measurement(boards=("A",)).pictures[0]
    raster = board_rasters(picture)
    rows, columns = raster.deviation.shape
    assert raster.RGB.shape == (rows, columns, 3)
    assert columns / 300 == pytest.approx(BOARD_PX_PER_MM)
    assert columns * raster.mm_per_px == pytest.approx(300)
    shown = XYZ_to_Lab(sRGB_decode(raster.RGB / 255) @ SRGB_TO_XYZ.T).reshape(-1, 3).mean(axis=0)
    assert shown == pytest.approx(picture.Lab.reshape(-1, 3).mean(axis=0), abs=0.1)


def test_a_shrunk_map_averages_only_what_was_measured() -> None:
    picture = example_measurement(boards=("S",)).pictures[0]
    deviation = np.full_like(picture.deviation, np.nan)
    deviation[100:200, 100:300] = 1.5
    shrunk = board_rasters(replace(picture, deviation=deviation)).deviation
    assert np.nanmin(shrunk) == pytest.approx(1.5)
    assert np.nanmax(shrunk) == pytest.approx(1.5)
    share = np.isfinite(deviation).mean()
    assert np.isfinite(shrunk).mean() == pytest.approx(share, rel=0.03)


def test_a_board_that_was_partly_out_of_sight_is_still_shown() -> None:
    picture = example_measurement(boards=("S",)).pictures[0]
    Lab = picture.Lab.copy()
    Lab[:50] = np.nan
    assert board_rasters(replace(picture, Lab=Lab)).RGB[0, 0].tolist() == [212, 212, 212]


def test_one_map_scale_holds_for_all_boards_and_a_calm_board_looks_calm() -> None:
    calm, lively = np.full((9, 9), 0.3, np.float32), np.full((9, 9), -4.2, np.float32)
    assert map_limit([calm]) == MAP_LEAST_LIMIT
    assert map_limit([calm, lively]) == 5.0
    assert map_limit([]) == MAP_LEAST_LIMIT
    assert map_limit([np.full((9, 9), np.nan, np.float32)]) == MAP_LEAST_LIMIT


def test_one_knot_does_not_wash_out_the_map() -> None:
    deviation = np.full((100, 100), 0.5, np.float32)
    deviation[:4, :5] = 40.0
    assert map_limit([deviation]) == MAP_LEAST_LIMIT


def test_the_map_rises_in_lightness_so_that_it_also_reads_in_gray_and_without_red_or_green() -> None:
    """A step of the map is seen by everybody: lightness rises with each, from end to end by more than 70 L*."""
    L = XYZ_to_Lab(sRGB_decode(map_palette() / 255) @ SRGB_TO_XYZ.T)[:, 0]
    assert (np.diff(L) > 0).all()
    assert L[-1] - L[0] > 70


def test_the_map_is_gray_in_the_middle_blue_below_yellow_above_and_clear_where_not_measured() -> None:
    deviation = np.array([[-9.0, -2.0, 0.0, 2.0, 9.0, np.nan]], np.float32)
    decoded = cv2.imdecode(np.frombuffer(map_png(deviation, 2.0), np.uint8), cv2.IMREAD_UNCHANGED)
    B, G, R, alpha = np.moveaxis(decoded[0].astype(int), -1, 0)
    assert alpha.tolist() == [255] * 5 + [0]
    assert (R[0], G[0], B[0]) == (R[1], G[1], B[1])
    assert (R[3], G[3], B[3]) == (R[4], G[4], B[4])
    assert B[1] > R[1]
    assert abs(R[2] - B[2]) <= 2
    assert B[3] < R[3]


def test_a_jpeg_comes_back_as_it_was_within_its_losses() -> None:
    RGB = np.full((32, 48, 3), (130, 90, 60), np.uint8)
    back = cv2.imdecode(np.frombuffer(jpeg(RGB), np.uint8), cv2.IMREAD_COLOR_RGB)
    assert np.abs(back.astype(int) - RGB).max() <= 3


def test_a_plate_shows_board_and_map_at_one_scale_and_leaves_matplotlib_as_it_was() -> None:
    from matplotlib import get_backend, rcParams  # noqa: PLC0415 - loaded late in the code under test too

    before = dict(rcParams)
    picture = example_measurement(boards=("S",)).pictures[0]
    name = replace(picture.board, id="$S_1$ 樫")  # no mathematics, and a letter that the font lacks
    plate = plate_jpeg(replace(picture, board=name), board_rasters(picture), 2.0, "in")
    drawn = cv2.imdecode(np.frombuffer(plate, np.uint8), cv2.IMREAD_COLOR_RGB)
    assert drawn.shape[1] == 1120
    brown = (np.abs(drawn.astype(int) - (128, 84, 56)).max(axis=-1) < 20).any(axis=1)
    assert 0.25 < brown.mean() < 0.5  # the board is one of two pictures, one above the other
    assert dict(rcParams) == before
    assert get_backend().lower() in {"agg", "module://matplotlib_inline.backend_inline"}


# Charts


@given(st.floats(1e-3, 1e4))
def test_an_axis_holds_its_values_in_a_few_plain_steps(largest: float) -> None:
    end, step = axis(largest)
    assert end >= largest * (1 - 1e-9)
    assert end < 2 * largest
    assert 2 <= round(end / step) <= 7
    assert float(f"{step:.1e}"[:-4]) in {1.0, 2.0, 2.5, 5.0}


@given(st.floats(0, 50), st.floats(0.01, 50), st.floats(0.1, 20))
def test_value_interval_and_limit_lie_on_the_axis_and_the_interval_holds_the_value(
    value: float, u95: float, limit: float
) -> None:
    drawn = chart("t", "u", limit, [Row("n", None, value, u95, "", colour_mark("match"))], 1)
    row = drawn.rows[0]
    assert drawn.limit_at is not None
    assert row.at is not None
    assert row.low is not None
    assert row.width is not None
    at, low, high = float(row.at), float(row.low), float(row.low) + float(row.width)
    assert 0 <= low <= at + 1e-2
    assert at - 1e-2 <= high <= 100.01
    assert float(drawn.limit_at) <= 100 / LEAST_ROOM + 1e-2
    assert (at < float(drawn.limit_at)) == (value < limit) or at == pytest.approx(float(drawn.limit_at), abs=1e-2)


def test_a_value_that_was_not_measured_is_not_drawn() -> None:
    row = chart("t", "u", 2.0, [Row("n", None, None, None, "not measured", colour_mark("cannot tell"))], 1).rows[0]
    assert (row.at, row.low, row.width) == (None, None, None)


# Words


@given(st.floats(0, 100), st.floats(1e-4, 100))
def test_a_doubt_is_never_shown_smaller_than_it_is_and_never_as_0(value: float, u95: float) -> None:
    for decimals in (1, 2):
        shown = float(words.measured(value, u95, decimals).split(" ± ")[1])
        assert u95 - 1e-6 <= shown <= u95 + 10.0**-decimals
        assert shown > 0


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (words.measured(1.14, 0.46, 1), "1.1 ± 0.5"),
        (words.measured(1.14, 0.41, 1), "1.1 ± 0.5"),
        (words.measured(1.14, 0.1 + 0.2, 1), "1.1 ± 0.3"),
        (words.measured(1.14, 0.004, 1), "1.1 ± 0.1"),
        (words.measured(None, None, 1), "not measured"),
        (words.number(-0.04, 1), "0.0"),
        (words.number(-1.26, 1), "−1.3"),
        (words.length(25.4, "in"), "1.00 in"),
        (words.length(14.2, "mm"), "14 mm"),
        (words.area(12600, "mm"), "126 cm²"),
        (words.area(645.16, "in"), "1.0 in²"),
        (words.scale(0.1, "mm"), "10.0 px/mm"),
        (words.scale(0.1, "in"), "254 px/in"),
        (words.percent(0.0125), "1.2 %"),
        (words.percent(0.25), "25 %"),
        (words.direction(2.0, 0.1, -3.0), "bluer, lighter"),
        (words.direction(-2.0, 0.6, 0.0), "darker, redder"),
        (words.direction(0.4, -0.4, 0.4), "the same to the eye"),
        (words.sentence("a match; even enough."), "A match; even enough."),
        (words.sentence(""), ""),
        (words.count(1, "board"), "1 board"),
        (words.count(3, "board"), "3 boards"),
    ],
)
def test_numbers_are_said_plainly(shown: str, expected: str) -> None:
    assert shown == expected


# Cautions


def test_the_cautions_that_a_job_calls_for_come_first_with_the_words_that_call_for_them() -> None:
    cautions = cautions_for(["two-part urethane, sprayed"])
    assert [caution.id for caution in cautions][:2] == ["spraying", "isocyanates"]
    assert cautions[0].named == ("two-part urethane, sprayed",)


def test_the_general_cautions_are_shown_to_everybody() -> None:
    general = ["self-heating-rags", "solvent-vapour", "sanding-dust"]
    assert [caution.id for caution in cautions_for([])] == general
    assert {caution.id for caution in cautions_for(["glue size"])} == set(general)


@pytest.mark.parametrize(
    ("words_", "caution"),
    [
        ("boiled linseed oil", "self-heating-rags"),
        ("Danish Oil", "self-heating-rags"),
        ("gel stain", "self-heating-rags"),
        ("dewaxed shellac washcoat", "solvent-vapour"),
        ("conversion varnish", "formaldehyde"),
        ("nitrocellulose lacquer", "mixed-booth-residues"),
        ("potassium dichromate", "hexavalent-chromium"),
        ("ammonia fuming", "chemical-colouring"),
        ("stripped and refinished", "stripper"),
        ("stripped and refinished", "old-coatings"),
    ],
)
def test_a_material_calls_for_its_caution(words_: str, caution: str) -> None:
    assert any(shown.id == caution and shown.named == (words_,) for shown in cautions_for([words_]))


@pytest.mark.parametrize("words_", ["foil", "soiled", "spartan", "gunmetal gray", "flyer", "candyed"])
def test_a_keyword_inside_another_word_calls_for_nothing(words_: str) -> None:
    assert all(not shown.named for shown in cautions_for([words_]))


def test_every_caution_names_its_source_and_all_defer_to_label_codes_and_practice() -> None:
    everything = "oil shellac scuff spray lacquer urethane conversion dichromate lye stripper refinish"
    shown = cautions_for(everything.split())
    assert len(shown) == 11
    assert all(caution.sources and caution.text and caution.title for caution in shown)
    for word in ("label", "local codes", "licensed practice", "safety"):
        assert word in closing_words()


def test_the_report_carries_the_cautions_of_the_job_with_their_sources(said: str) -> None:
    for caution in cautions_of(example_job()):
        assert caution.title in said
        assert caution.text in said
        assert all(source in said for source in caution.sources)
    assert "Named in this job: brown oil stain." in said
    assert closing_words() in said


# The terminal


@pytest.mark.parametrize("width", [30, 50, 60, 80, 120])
def test_the_summary_keeps_to_the_width_and_leaves_nothing_out(width: int) -> None:
    text = summary(example_results(), width)
    assert max(map(len, text.splitlines())) <= width
    flat = re.sub(r"\s+", " ", text)
    assert example_results().answer.reason in flat
    for item in example_results().verdicts:
        assert item.overall.upper() in flat
        assert words.colour(item.de00, item.de00_u95) in flat
        assert words.blotch(item.blotch, item.blotch_u95) in flat
    assert "Not used: 1 of 4 photos" in flat
    assert "lay it flat beside the board, wholly in frame." in flat


def test_the_summary_has_one_line_a_treatment_on_an_ordinary_terminal() -> None:
    lines = summary(example_results()).splitlines()
    assert next(line for line in lines if "none (control)" in line).split()[-3:] == ["DO", "NOT", "USE"]
    assert "stained, light “shop”, brown oil stain" in "\n".join(lines)


def test_a_name_cannot_steer_the_terminal() -> None:
    results = example_results()
    verdict = replace(results.verdicts[0], treatment="\x1b[2Jshellac\r\n")
    text = summary(replace(results, verdicts=(verdict,), job={"job": {"name": "\x1b]0;x\x07"}}))
    assert all(letter.isprintable() for letter in text.replace("\n", ""))


def test_a_summary_without_any_verdict_still_answers() -> None:
    results = replace(example_results(), verdicts=(), zones=(), photos=(), job={})
    assert summary(results, 200) == f"{results.answer.reason}\n"
