"""Where the zones of a trial lie: what a finisher and a statistician would ask of it, whatever is to be tried."""

import itertools
from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.paper.fonts import SANS, SANS_BOLD, width_pt
from analyzer.plan.drawing import WIDTH_MM, draw_board
from analyzer.plan.fitting import MM_PER_POINT, set_text
from analyzer.plan.how_many import how_many
from analyzer.plan.layout import Layout, Units, boards_of_a_set, lay_out, said
from analyzer.plan.shapes import Box, Line, Words
from analyzer.plan_request import Candidate, PlanRequest

NAMES = ("shellac washcoat", "glue size", "stain conditioner", "gel stain", "fine sanding", "water pop", "toner")
UNITS: tuple[Units, ...] = ("mm", "in")


def request(count: int, **more: object) -> PlanRequest:
    tried = tuple(Candidate(name.replace(" ", "-"), name, None, {"solids": 5}) for name in NAMES[:count])
    plain = PlanRequest(tried, date(2026, 12, 7), stain="brown oil stain", recipe={"sheen": "satin"}, seed=3)
    return replace(plain, **more)  # type: ignore[arg-type]


def trial(count: int, repeats: int = 2, units: Units = "mm", **more: object) -> Layout:
    return lay_out(request(count, **more), ["hard maple", "cherry"], repeats, "Entry bench", units)


@given(
    st.integers(1, 7),
    st.integers(2, 7),
    st.sampled_from(UNITS),
    st.none() | st.floats(180, 3000),
    st.integers(0, 2**32 - 1),
)
def test_whatever_is_tried_every_wood_gets_every_treatment_as_often_between_two_controls(
    count: int, repeats: int, units: Units, length: float | None, seed: int
) -> None:
    layout = trial(count, repeats, units, board_length_mm=length, seed=seed)
    times: Counter[tuple[str, str]] = Counter()
    for board in layout.boards:
        assert [board.zones[k].treatment for k in (0, -1)] == ["none", "none"]
        assert "none" not in [zone.treatment for zone in board.zones[1:-1]]
        assert len({zone.id for zone in board.zones}) == len(board.zones) >= 3
        times.update((board.species, zone.treatment) for zone in board.zones[1:-1])
        edges = [zone.start_mm for zone in board.zones] + [board.zones[-1].end_mm]
        assert edges[0] == 0
        assert edges[-1] <= board.length_mm + 1e-9
        lengths = [b - a for a, b in itertools.pairwise(edges)]
        assert [zone.end_mm for zone in board.zones] == edges[1:]
        assert (
            max(lengths) - min(lengths) <= 25.4 / 8 + 1e-6
        )  # an edge lies within a step of where it would lie exactly
        step = 1.0 if units == "mm" else 25.4 / 16
        assert all(abs(edge / step - round(edge / step)) < 1e-6 for edge in edges[1:-1])
        if length is None or length >= 3 * 90 + 3:
            assert min(lengths) - 2 * board.margin_mm >= 80 - 1e-6
    assert set(times) == {(wood, name) for wood in ("hard maple", "cherry") for name in NAMES[:count]}
    assert set(times.values()) == {repeats}
    assert len({board.id for board in layout.boards}) == len(layout.boards)


def test_each_wood_has_a_light_and_a_dark_board() -> None:
    roles = defaultdict(list)
    for board in trial(3).boards:
        roles[board.species].append(board.role)
    assert dict(roles) == {"hard maple": ["light", "dark"], "cherry": ["light", "dark"]}
    assert {board.role for board in trial(3, 3).boards} == {"light", "dark", "middle"}


@pytest.mark.parametrize("count", [3, 4])
def test_the_orders_differ_from_board_to_board(count: int) -> None:
    for seed in range(20):
        orders = [tuple(zone.id for zone in board.zones) for board in trial(count, 3, seed=seed).boards]
        assert len(set(orders)) == len(orders) == 6


@pytest.mark.parametrize("count", [2, 3, 4])
def test_over_as_many_boards_as_treatments_each_comes_to_every_place_once(count: int) -> None:
    """What makes a square Latin."""
    places = defaultdict(set)
    for board in trial(count, count).boards:
        for place, zone in enumerate(board.zones[1:-1]):
            places[board.species, zone.treatment].add(place)
    assert len(places) == 2 * count
    assert all(seen == set(range(count)) for seen in places.values())


def test_no_treatment_prefers_a_place_over_many_seeds() -> None:
    """Of 600 first boards with three treatments each is first on 200, give or take four standard errors."""
    first = Counter(trial(3, seed=seed).boards[0].zones[1].treatment for seed in range(600))
    assert all(abs(times - 200) < 4 * (600 * 1 / 3 * 2 / 3) ** 0.5 for times in first.values())
    assert len(first) == 3


def test_a_seed_gives_one_plan_and_another_seed_another() -> None:
    assert trial(4) == trial(4)
    orders = [[zone.id for board in trial(4, seed=seed).boards for zone in board.zones] for seed in range(5)]
    assert all(one != other for one, other in itertools.combinations(orders, 2))


def test_without_a_seed_the_job_has_its_own_and_its_next_round_another() -> None:
    one, again, second = (trial(4, seed=None, first_board=first) for first in ("A", "A", "E"))
    assert one == again
    assert one.seed != second.seed
    assert second.boards[0].id == "E"


def test_ids_go_on_after_z() -> None:
    assert [board.id for board in trial(2, first_board="Y").boards] == ["Y", "Z", "AA", "AB"]


def test_treatments_that_do_not_fit_on_one_board_are_shared_out_with_controls_on_each() -> None:
    layout = trial(7, board_length_mm=480)  # five zones of 96 mm: three treatments a board
    sets = [boards_of_a_set(layout.boards, board) for board in layout.boards]
    assert {len(boards) for boards in sets} == {3}
    tried = [zone.treatment for board in sets[0] for zone in board.zones[1:-1]]
    assert sorted(tried) == sorted(NAMES)
    assert {board.role for board in sets[0]} == {"light"}


def test_a_short_or_narrow_board_says_what_it_loses_and_a_full_one_nothing() -> None:
    assert trial(3, board_length_mm=450, board_width_mm=90).warnings == ()
    (short,) = trial(1, board_length_mm=180).warnings
    assert "show only 50 mm" in short
    assert "1.3 times" in short  # the root of 80 / 50
    assert "270 mm or more lose nothing" in short
    (narrow,) = trial(1, board_width_mm=60).warnings
    assert "60 mm wide show 50 mm" in narrow
    (long,) = trial(1, board_length_mm=900).warnings
    assert "left over" in long


def test_recipes_are_the_plans_with_the_candidates_own_over_it_and_a_control_has_no_pre_treatment() -> None:
    own = Candidate("b", "glue size", "gel stain", {"sheen": "dull", "dilution": "1:10"})
    zones = trial(1, candidates=(own,)).boards[0].zones
    assert (zones[1].stain, zones[1].recipe) == ("gel stain", {"sheen": "dull", "dilution": "1:10"})
    assert (zones[0].stain, zones[0].recipe) == ("brown oil stain", {"sheen": "satin"})


@pytest.mark.parametrize(
    ("mm", "units", "words"),
    [
        *((100, "mm", "100 mm"), (0, "mm", "0 mm"), (25.4, "in", "1 in"), (25.4 * 3 / 16, "in", "3/16 in")),
        *((25.4 * 4.75, "in", "4 3/4 in"), (25.4 * 11.9375, "in", "11 15/16 in"), (0, "in", "0 in")),
    ],
)
def test_lengths_are_said_as_they_are_marked(mm: float, units: Units, words: str) -> None:
    assert said(mm, units) == words


# --- how many boards -------------------------------------------------------------------------------------------------


def test_the_number_of_boards_is_that_of_the_paired_t_test() -> None:
    """A paired t test at 5 % with power 0.8 needs 10 pairs for a difference of one standard deviation (Cohen 1988,
    table of the t test for means; also any power calculator), and 34 for half of one."""
    assert how_many(request(3, smallest=0.5, spread=0.5)).repeats == 10
    assert how_many(request(3, smallest=0.25, spread=0.5)).repeats == 34


def test_what_so_many_boards_show_is_told_with_what_was_assumed_and_what_one_board_cannot() -> None:
    plain = how_many(request(3))
    assert (plain.repeats, plain.wanted, plain.chance, plain.spread_is_assumed) == (2, None, None, True)
    assert "which is assumed" in plain.sentences[1]
    assert "One board alone can show none of this" in plain.sentences[-1]
    asked = how_many(request(3, smallest=0.5, spread=0.5))
    assert asked.chance is not None
    assert 0.8 <= asked.chance < 0.85
    assert asked.smallest <= 0.5
    assert "as job.toml says" in asked.sentences[1]
    assert [row.boards for row in asked.table] == [2, 3, 4, 6, 8, 10]
    assert all(a.smallest > b.smallest for a, b in itertools.pairwise(asked.table))


# --- the drawing -----------------------------------------------------------------------------------------------------


@given(st.integers(1, 7), st.sampled_from(UNITS), st.none() | st.floats(180, 3000), st.none() | st.floats(60, 600))
def test_a_drawing_is_to_scale_inside_its_paper_and_names_every_edge(
    count: int, units: Units, length: float | None, width: float | None
) -> None:
    board = trial(count, 2, units, board_length_mm=length, board_width_mm=width).boards[0]
    drawing = draw_board(board, units)
    boxes = [shape for shape in drawing.shapes if isinstance(shape, Box)]
    solid = [box for box in boxes if box.weight_mm == 0.35]
    assert [box.width / drawing.scale for box in solid] == pytest.approx([z.end_mm - z.start_mm for z in board.zones])
    assert [box.height / drawing.scale for box in solid] == pytest.approx([board.width_mm] * len(solid))
    figures = [shape.text for shape in drawing.shapes if isinstance(shape, Words)]
    for zone in board.zones:
        assert said(zone.end_mm, units) in figures
    for shape in drawing.shapes:
        if isinstance(shape, Words):
            wide = width_pt(shape.text, SANS_BOLD if shape.is_bold else SANS, shape.size_pt) * MM_PER_POINT
            left = shape.x - {"left": 0, "middle": wide / 2, "right": wide}[shape.align]
            assert left >= -0.01
            assert left + wide <= WIDTH_MM + 0.01
            assert 0 < shape.y < drawing.height_mm
        elif isinstance(shape, Line):
            assert 0 <= min(shape.x1, shape.x2) <= max(shape.x1, shape.x2) <= WIDTH_MM


def test_figures_of_the_ruler_do_not_touch() -> None:
    drawing = draw_board(trial(7, 2, "in", board_length_mm=1500).boards[0], "in")
    spans = defaultdict(list)
    for shape in drawing.shapes:
        if isinstance(shape, Words) and shape.align == "middle" and shape.text.endswith(" in") and not shape.is_bold:
            half = width_pt(shape.text, SANS, shape.size_pt) * MM_PER_POINT / 2
            spans[shape.y].append((shape.x - half, shape.x + half))
    assert sum(map(len, spans.values())) == 10
    for row in spans.values():
        assert all(right < left for (_, right), (left, _) in itertools.pairwise(sorted(row)))


@given(st.text(min_size=1, max_size=200), st.floats(5, 80), st.integers(1, 4), st.booleans())
def test_words_never_leave_their_room(words: str, width_mm: float, most: int, is_bold: bool) -> None:
    fitted = set_text(words, width_mm, most_lines=most, is_bold=is_bold)
    assert len(fitted.lines) <= most
    font = SANS_BOLD if is_bold else SANS
    assert all(width_pt(line, font, fitted.size_pt) * MM_PER_POINT <= width_mm + 1e-6 for line in fitted.lines)


def test_words_shrink_before_they_break_and_are_cut_only_at_last() -> None:
    assert set_text("shellac washcoat", 60).lines == ("shellac washcoat",)
    assert set_text("shellac washcoat", 60).size_pt == 8
    assert set_text("shellac washcoat", 21, sizes_pt=(8, 7, 6)).size_pt < 8
    assert set_text("shellac washcoat", 15, most_lines=2).lines == ("shellac", "washcoat")
    assert set_text("shellac-washcoat", 15, most_lines=2).lines == ("shellac-", "washcoat")
    (cut,) = set_text("a very long name of a treatment that cannot fit", 20).lines
    assert cut.startswith("a very long")
    assert cut.endswith("…")
