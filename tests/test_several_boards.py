"""Several boards in one photo: each in its own place, by its strips or its outline, whatever else lies there.

The truth is where the simulator drew them. Zone ends within 0.5 mm are the claim.
"""

from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from board_scenes import Table, painted, photographed
from simulator import Board

from calibration import place as place_module
from calibration import strip_search
from calibration.light import Light
from calibration.paper_light import SharedSurface, light_by_paper
from calibration.photo import Photo
from calibration.place import Place, locate_all
from calibration.plane import plane_from_corners
from calibration.strip_search import Wanted

LONG, SHORT, SMALL = (300.0, 120.0), (200.0, 100.0), (110.0, 80.0)


TILTED = {"tilt_deg": (9.0, -8.0), "roll_deg": 6.0}
A = painted("A", *LONG, (0, 0), 2.0)
# A is the upper or left board, B the other one, S the sample.
SCENES: dict[str, tuple[list[Board], dict[str, Any]]] = {
    "stacked": ([A, painted("B", *LONG, (10, 215), -3.0)], {"strips": "AB", **TILTED}),
    "turned, a third hidden": (
        [A, painted("B", *LONG, (-5, 225), 177.0)],
        {"strips": "AB", "hidden": 0.34, **TILTED},
    ),
    "side by side": (
        [painted("A", *SHORT, (0, 0)), painted("B", *SHORT, (262, 8), 2.0)],
        {"strips": "AB", "tilt_deg": (-8.0, 8.0)},
    ),
    "two sizes, a third hidden": (
        [A, painted("B", *SHORT, (40, 220), 4.0)],
        {"strips": "AB", "hidden": 0.34, **TILTED},
    ),
    "sample": ([A, painted("S", *SMALL, (60, 165), 5.0)], {"strips": "A", **TILTED}),
    "two outlines": ([painted("A", 300, 150, (0, 0)), painted("S", 200, 100, (30, 180), 4.0)], TILTED),
    "three of one size": (
        [painted("A", *SHORT, (0, 0)), painted("B", *SHORT, (5, 180)), painted("C", *SHORT, (0, 360), 1.0)],
        {"strips": "ABC", "px": (1500, 2000)},
    ),
}


@lru_cache
def table(name: str) -> Table:
    boards, how = SCENES[name]
    return photographed(boards, **how)


@lru_cache
def located(name: str, names: str) -> dict[str, Place]:
    photo = table(name)
    return dict(zip(names, locate_all(photo.photo, photo.wanted(names)), strict=True))


def codes(place: Place) -> list[str]:
    return [finding.code for finding in place.findings]


STRIPPED = ["stacked", "turned, a third hidden", "side by side", "two sizes, a third hidden"]


@pytest.mark.parametrize("name", STRIPPED)
@pytest.mark.parametrize("board", "AB")
def test_each_board_lies_between_its_own_strips(name: str, board: str) -> None:
    place = located(name, "AB")[board]
    assert place.located_by == "strips"
    along, across = table(name).edges_mm(board, place).max(axis=0)
    assert along < 0.5
    assert across < 1.3  # strips laid 0.5 mm off on either side, and turned: their middle is all there is to go by


@pytest.mark.parametrize("name", STRIPPED)
def test_boards_of_one_size_go_by_their_order_and_it_is_told(name: str) -> None:
    by_order = {board: "boards-by-order" in codes(place) for board, place in located(name, "AB").items()}
    assert by_order == dict.fromkeys("AB", name != "two sizes, a third hidden")


def test_named_in_the_other_order_boards_of_one_size_change_places_and_others_do_not() -> None:
    for name, swapped in (("stacked", True), ("side by side", True), ("two sizes, a third hidden", False)):
        as_laid, other_way = located(name, "AB"), located(name, "BA")
        taken = other_way["B" if swapped else "A"].board
        assert taken == pytest.approx(as_laid["A"].board, abs=0.5), name


def test_a_sample_without_strips_is_found_beside_a_board_that_has_them() -> None:
    found = located("sample", "AS")
    assert [place.located_by for place in found.values()] == ["strips", "outline"]
    for board, place in found.items():
        assert table("sample").edges_mm(board, place)[:, 0].max() < 0.5
        assert codes(place) == []


def test_boards_without_strips_are_told_apart_by_their_sizes() -> None:
    """Both are twice as long as wide."""
    for names in ("AS", "SA"):
        for board, place in located("two outlines", names).items():
            assert place.located_by == "outline"
            assert table("two outlines").edges_mm(board, place).max() < 0.5
            assert codes(place) == []


def test_corners_that_are_given_are_kept_and_the_other_board_is_looked_for() -> None:
    photo = table("sample")
    corners = photo.corners("A") + 1.5
    a, s = locate_all(photo.photo, photo.wanted("AS", A=corners))
    assert a.located_by == "corners"
    assert np.array_equal(a.board, corners)
    assert a.strips is None
    assert s.located_by == "outline"
    assert photo.edges_mm("S", s).max() < 0.5


def test_given_corners_of_the_sample_leave_the_strips_to_the_other_board() -> None:
    photo = table("sample")
    a, s = locate_all(photo.photo, photo.wanted("AS", S=photo.corners("S")))
    assert [a.located_by, s.located_by] == ["strips", "corners"]
    assert s.beside is None
    assert len(s.elsewhere) == 1


def test_of_two_boards_with_strips_the_one_that_is_named_is_taken_by_its_size() -> None:
    photo = table("two sizes, a third hidden")
    for board in "AB":
        (place,) = locate_all(photo.photo, photo.wanted(board))
        assert photo.edges_mm(board, place)[:, 0].max() < 0.5
        assert "strips-of-others" in codes(place)
    assert "strips-of-others" not in codes(located("two sizes, a third hidden", "AB")["A"])


@pytest.mark.parametrize(("name", "names"), [("stacked", "A"), ("three of one size", "AB")])
def test_a_board_that_could_lie_in_a_place_of_an_unnamed_one_is_refused(name: str, names: str) -> None:
    for place in located(name, names).values():
        assert place.board is None
        assert place.code_no_board == "board-ambiguous"
        assert "more than one place" in place.why_no_board


def test_three_boards_of_one_size_are_all_found_once_all_are_named() -> None:
    for board, place in located("three of one size", "ABC").items():
        assert table("three of one size").edges_mm(board, place)[:, 0].max() < 0.5


def test_one_outline_for_two_boards_of_one_size_is_nobodys() -> None:
    photo = photographed([painted("A", *SHORT, (0, 0))], px=(1000, 750))
    twins = [Wanted(SHORT, None, "A"), Wanted(SHORT, None, "B")]
    assert [place.board for place in locate_all(photo.photo, twins)] == [None, None]


def test_strips_of_quite_another_width_are_no_place_of_the_boards() -> None:
    photo = table("stacked")
    a, b = locate_all(photo.photo, [Wanted(LONG, photo.corners("A"), "A"), Wanted((300, 200), None, "B")])
    assert a.located_by == "corners"
    assert (b.board, b.code_no_board) == (None, "strips-apart")
    assert "200 mm wide" in b.why_no_board


def test_a_mirrored_photo_is_refused_for_every_board_that_is_looked_for() -> None:
    photo = table("stacked")
    rows = np.ascontiguousarray(photo.photo.codes[::-1])
    mirrored = Photo(**{name: getattr(photo.photo, name) for name in Photo.__dataclass_fields__} | {"codes": rows})
    found = locate_all(mirrored, photo.wanted("AB"))
    assert [place.code_no_board for place in found] == ["photo-mirrored"] * 2


def test_a_photo_is_looked_at_once_for_all_its_boards(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    for module, name in ((strip_search, "find_strips"), (place_module, "preview_of"), (place_module, "find_card")):
        real = getattr(module, name)
        monkeypatch.setattr(module, name, lambda *args, real=real, name=name: calls.append(name) or real(*args))
    locate_all(table("stacked").photo, table("stacked").wanted("AB"))
    assert sorted(calls) == ["find_card", "find_strips", "preview_of"]


# --- the light -------------------------------------------------------------------------------------------------------


def light_of(photo: Table, board: str, place: Place) -> Light | None:
    assert place.board is not None
    return light_by_paper(photo.photo, place, plane_from_corners(place.board, *photo.board(board).size_mm))


def test_the_light_over_a_board_whose_corners_are_given_comes_from_its_strips() -> None:
    photo = table("sample")
    a, _ = locate_all(photo.photo, photo.wanted("AS", A=photo.corners("A")))
    by_strips, by_corners = (light_of(photo, "A", place) for place in (located("sample", "AS")["A"], a))
    middle = photo.px("A", [(20.0, 60.0), (280.0, 60.0)])
    assert np.ptp(by_strips.log_at(middle)) > 0.1
    assert by_corners.log_at(middle) == pytest.approx(by_strips.log_at(middle), abs=0.003)
    assert "light-from-others" not in [finding.code for finding in by_corners.findings]


def test_a_board_without_strips_takes_its_light_from_those_nearby_and_is_less_sure_of_it() -> None:
    photo = table("sample")
    found = located("sample", "AS")
    light = light_of(photo, "S", found["S"])
    assert "light-from-others" in [finding.code for finding in light.findings]
    card, on_a, on_s = found["A"].card.mean(axis=0), photo.px("A", [(150, 60)])[0], photo.px("S", [(55, 40)])[0]
    assert light.u_between(card, on_s) > light.u_between(card, on_a)


def test_a_board_far_from_all_strips_has_no_light_map() -> None:
    a = painted("A", *SHORT, (0, 0))
    for gap, mapped in ((60, True), (330, False)):
        photo = photographed([a, painted("S", *SMALL, (200 + 12 + gap, 10))], strips="A", px=(1600, 800))
        _, s = locate_all(photo.photo, photo.wanted("AS"))
        assert (light_of(photo, "S", s) is not None) == mapped


def test_strips_of_one_paper_make_one_map_and_those_of_another_serve_their_own_board() -> None:
    same = table("side by side")
    other = photographed([same.board("A"), same.board("B")], strips="AB", tilt_deg=(-8.0, 8.0), papers={"B": 0.6})
    for photo, is_shared in ((same, True), (other, False)):
        places = dict(zip("AB", locate_all(photo.photo, photo.wanted("AB")), strict=True))
        lights = [light_of(photo, board, place) for board, place in places.items()]
        assert [isinstance(light.surface, SharedSurface) for light in lights] == [is_shared] * 2
