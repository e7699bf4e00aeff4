"""Board and gray card, found in simulated photos whose corners are known; and what is no board, refused.

All photos go through a JPEG file, as they come from a phone.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from board_photos import card_corners, corners, photo_of_codes, photo_of_light, saved, taken, without_order
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from simulator import (
    Background,
    Board,
    Camera,
    GrayCard,
    Light,
    PaintedZone,
    RenderedPhoto,
    Scene,
    Shadow,
    WoodZone,
    render,
    save_photo,
)

from calibration.board_candidates import order_corners
from calibration.photo import Photo, open_photo
from calibration.place import Place, locate

STAIN = "walnut brown"
DARK = Background((30, 0, -2))
WHITE = Background((88, 0, 2), texture=0.01)
CARD = GrayCard((90, 60), (100, 175), 4.0)


def board(length: float = 300, width: float = 150, board_id: str = "A", **of_board: Any) -> Board:  # noqa: ANN401
    third = length / 3
    zones = (
        WoodZone("control", (0, third), stain=STAIN),
        WoodZone("washcoat", (third, 2 * third), "shellac washcoat", STAIN),
        WoodZone("glue", (2 * third, length), "glue size", STAIN),
    )
    return Board(board_id, length, width, zones, **{"seed": 5, **of_board})


def thing(name: str, Lab: tuple[float, float, float], length: float, width: float, **of_board: Any) -> Board:  # noqa: ANN401
    """Something flat and of one colour that is no board: a label, a phone."""
    return Board(name, length, width, (PaintedZone("all", (0, length), Lab),), **of_board)


LABEL_ZONE = PaintedZone("label", (12, 52), (95, 0, 1), across_mm=(10, 35))
LABELLED = replace(board(), zones=(*board().zones, LABEL_ZONE))


@dataclass(frozen=True)
class Setting:
    """A scene and what is special about its camera. The first board is the one that is looked for."""

    boards: tuple[Board, ...]
    card: GrayCard = CARD
    around: dict[str, Any] = field(default_factory=lambda: {"background": DARK})
    camera: dict[str, Any] = field(default_factory=dict)
    within_px: float = 1.0  # corners of the board


SETTINGS = {
    "on a dark sheet": Setting((board(),)),
    "on a white sheet, card above": Setting((board(),), GrayCard((90, 60), (20, -85), -8), {"background": WHITE}),
    "dark wood on a dark sheet": Setting((board(species="walnut"),)),
    "bare maple on a white sheet": Setting((board(stage="bare"),), around={"background": WHITE}),
    "on green cloth, card to the right": Setting(
        (board(),), GrayCard((90, 60), (320, 40)), {"background": Background((60, -18, 10))}
    ),
    "on a brown bench": Setting((board(),), around={"background": Background((55, 12, 28), texture=0.03)}),
    "card on the board": Setting((board(),), GrayCard((60, 45), (120, 50), 7)),
    "card over a corner": Setting((board(),), GrayCard((90, 60), (270, -25), 20), {"background": WHITE}),
    "card over an edge": Setting((board(),), GrayCard((90, 60), (110, 120), 3)),
    "turned by 40 degrees": Setting((board(),), camera={"roll_deg": 40}),
    "tilted": Setting((board(),), camera={"tilt_deg": (15, -12)}),
    "standing upright": Setting((board(),), camera={"roll_deg": 92, "size_px": (900, 1200)}),
    "nearly square": Setting((board(200, 190),), GrayCard((90, 60), (60, 210)), camera={"roll_deg": 5}),
    "narrow": Setting((board(400, 70),), GrayCard((90, 60), (150, 95))),
    "thick, uneven light, its shadow beside it": Setting(
        (board(thickness_mm=19),),
        GrayCard((90, 60), (100, 180)),
        {
            "background": Background((74, 0.5, 4)),
            "light": Light("D55", gradient=0.3, direction_deg=30),
            "shadow": Shadow(),
        },
        within_px=1.5,
    ),
    "under a warm lamp": Setting(
        (board(),), around={"background": WHITE, "light": Light("A")}, camera={"exposure_EV": -0.5}
    ),
    "a paper label beside it": Setting(
        (board(), thing("paper", (93, 0, 1), 70, 40, top_left_mm=(205, 180), turn_deg=6)),
        GrayCard((90, 60), (60, 178)),
    ),
    "a paper label on it": Setting((LABELLED,)),
    "a phone beside it": Setting(
        (board(), thing("phone", (12, 0, 0), 75, 150, top_left_mm=(320, 0), turn_deg=4)),
        GrayCard((90, 60), (60, 178)),
        {"background": WHITE},
    ),
    "another board beside it": Setting(
        (board(), board(180, 90, "B", species="cherry", top_left_mm=(10, 180))),
        GrayCard((80, 55), (205, 185)),
        {"background": WHITE},
    ),
}


@dataclass(frozen=True)
class Taken:
    rendered: RenderedPhoto
    photo: Photo
    place: Place


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Taken]:
    """Every setting, photographed and looked at once."""
    folder = tmp_path_factory.mktemp("places")
    made = {}
    for seed, (name, setting) in enumerate(SETTINGS.items()):
        rendered = taken(Scene(setting.boards, setting.card, **setting.around), seed, **setting.camera)
        photo = saved(folder, rendered, f"{seed}.jpg")
        made[name] = Taken(rendered, photo, locate(photo, setting.boards[0].size_mm))
    return made


@pytest.mark.parametrize("name", SETTINGS)
def test_the_board_is_found_and_read_the_right_way_round(shots: dict[str, Taken], name: str) -> None:
    """Corner by corner, in the order top-left, top-right, bottom-right, bottom-left of the board itself."""
    shot = shots[name]
    assert shot.place.located_by == "outline"
    assert shot.place.board is not None
    assert np.abs(shot.place.board - corners(shot.rendered)).max() < SETTINGS[name].within_px
    assert shot.place.board_edges is not None
    assert shot.place.board_edges.support > 0.4


@pytest.mark.parametrize("name", SETTINGS)
def test_the_card_is_found(shots: dict[str, Taken], name: str) -> None:
    shot = shots[name]
    assert shot.place.card is not None, shot.place.why_no_card
    assert without_order(shot.place.card, card_corners(shot.rendered)) < 1.5


def test_typical_corners_lie_within_a_third_of_a_pixel(shots: dict[str, Taken]) -> None:
    errors = [np.abs(shot.place.board - corners(shot.rendered)).max() for shot in shots.values()]
    assert np.median(errors) < 0.33


def test_only_the_board_that_stands_upright_is_told_to_be_turned(shots: dict[str, Taken]) -> None:
    assert [name for name, shot in shots.items() if shot.place.turned] == ["standing upright"]


def test_looking_twice_finds_the_same(shots: dict[str, Taken]) -> None:
    shot = shots["turned by 40 degrees"]
    again = locate(shot.photo, (300, 150))
    assert np.array_equal(again.board, shot.place.board)
    assert np.array_equal(again.card, shot.place.card)


@pytest.mark.parametrize("name", ["on a dark sheet", "tilted", "card over a corner", "a paper label on it"])
def test_without_a_size_the_same_outline_is_found(shots: dict[str, Taken], name: str) -> None:
    shot = shots[name]
    place = locate(shot.photo, None)
    assert place.board is not None
    assert without_order(place.board, corners(shot.rendered)) < 1.5


def test_a_board_of_quite_other_proportions_is_not_taken(shots: dict[str, Taken]) -> None:
    """The job says 300 x 60 mm, in the photo lies one of 300 x 150 mm."""
    place = locate(shots["on a dark sheet"].photo, (300, 60))
    assert place.board is None
    assert "proportions" in place.why_no_board


def test_corners_and_card_that_are_given_are_taken_as_they_are(shots: dict[str, Taken]) -> None:
    shot = shots["on a dark sheet"]
    given_board, given_card = corners(shot.rendered) + 3.25, card_corners(shot.rendered) - 2.5
    place = locate(shot.photo, (300, 150), corners=given_board, card=given_card)
    assert place.located_by == "corners"
    assert np.array_equal(place.board, given_board)
    assert np.array_equal(place.card, given_card)
    assert place.board_edges is None
    assert place.card_edges is None
    assert not place.turned


def test_a_card_that_is_given_helps_to_find_the_board_it_lies_on(shots: dict[str, Taken]) -> None:
    shot = shots["card over a corner"]
    place = locate(shot.photo, (300, 150), card=card_corners(shot.rendered))
    assert np.abs(place.board - corners(shot.rendered)).max() < 1


@pytest.mark.parametrize("around", [DARK, WHITE, Background((55, 12, 28))])
def test_without_a_card_none_is_made_up(tmp_path: Path, around: Background) -> None:
    """Nor is the board's proportion of calm wood taken for one."""
    photo = saved(tmp_path, taken(Scene((board(),), background=around)))
    place = locate(photo, (300, 150))
    assert place.board is not None
    assert place.card is None
    assert "neutral" in place.why_no_card


def test_an_empty_table_has_no_board(tmp_path: Path) -> None:
    empty = Camera(size_px=(1200, 900), look_at_mm=(0, 0), px_per_mm=3)
    save_photo(
        tmp_path / "empty.jpg", render(Scene(background=WHITE, light=Light(over_mm=(-200, -150, 200, 150))), empty)
    )
    place = locate(open_photo(tmp_path / "empty.jpg"), (300, 150))
    assert place.board is None
    assert place.card is None
    assert place.why_no_board


def test_a_board_that_fills_the_frame_is_told_to_have_no_background(tmp_path: Path) -> None:
    close = {"px_per_mm": 6.0, "look_at_mm": (150, 75)}
    place = locate(saved(tmp_path, taken(Scene((board(),)), **close)), (300, 150))
    assert place.board is None
    assert place.why_no_board


@pytest.mark.parametrize("tone", [0.3, 1.0])
@pytest.mark.parametrize("noise_e", [2000.0, 20000.0])
def test_noise_does_not_hide_a_card(tone: float, noise_e: float) -> None:
    """Not through a JPEG: its colour noise would be smoothed away. Electrons at full scale: the fewer the noisier."""
    rendered = taken(Scene((board(),), CARD, background=WHITE), full_well_e=noise_e, exposure_EV=float(np.log2(tone)))
    place = locate(photo_of_codes(rendered.codes), (300, 150))
    assert place.card is not None
    assert without_order(place.card, card_corners(rendered)) < 1.5


# What is photographed instead of a board. All of scikit-image, none shows a board beside a gray card.
OTHER_PHOTOS = [
    "astronaut",
    "chelsea",
    "coffee",
    "rocket",
    "camera",
    "brick",
    "gravel",
    "grass",
    "coins",
    "page",
    "text",
]


@pytest.mark.parametrize("name", OTHER_PHOTOS)
def test_a_photo_of_something_else_shows_no_board(name: str) -> None:
    picture = getattr(skimage.data, name)()
    codes = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    place = locate(photo_of_codes(codes if codes.ndim == 3 else np.repeat(codes[..., None], 3, axis=2)), (300, 150))
    assert place.board is None
    assert place.why_no_board


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (2, 2), (3, 3), (1, 500), (500, 1), (40, 6000), (5000, 30)])
@pytest.mark.parametrize("level", [0.0, 0.2, 1.0, None])
def test_photos_of_any_shape_and_level_are_looked_at_without_an_accident(
    shape: tuple[int, int], level: float | None
) -> None:
    random = np.random.default_rng(1).uniform(size=(*shape, 3))
    place = locate(photo_of_light(random if level is None else np.full((*shape, 3), level)), (300, 150))
    assert place.board is None
    assert place.card is None


def rectangle_px(across: float, down: float, turn_deg: float) -> NDArray[np.float64]:
    """Corners clockwise, from the top-left of the unturned rectangle."""
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [across / 2, down / 2]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return square @ np.array([[c, s], [-s, c]]) + 500


@given(st.floats(-44, 44), st.integers(0, 3))
def test_a_board_lying_across_is_read_from_its_upper_left(turn_deg: float, first: int) -> None:
    wanted = rectangle_px(600, 300, turn_deg)
    found, turned = order_corners(np.roll(wanted, first, axis=0), (300, 150))
    assert np.array_equal(found, wanted)
    assert not turned


@given(st.floats(46, 134), st.integers(0, 3))
def test_a_board_standing_upright_is_read_from_the_top_down(turn_deg: float, first: int) -> None:
    """Turned clockwise by about a quarter, its left end comes to lie at the top."""
    wanted = rectangle_px(600, 300, turn_deg)
    found, turned = order_corners(np.roll(wanted, first, axis=0), (300, 150))
    assert np.array_equal(found, wanted)
    assert turned


@given(st.floats(-40, 40), st.integers(0, 3))
def test_a_board_whose_grain_runs_along_its_shorter_side_is_read_so(turn_deg: float, first: int) -> None:
    """150 mm along the grain, 300 mm across: seen upright it lies as it should."""
    wanted = rectangle_px(300, 600, turn_deg)
    found, turned = order_corners(np.roll(wanted, first, axis=0), (150, 300))
    assert np.array_equal(found, wanted)
    assert not turned


@given(st.floats(-40, 40), st.integers(0, 3), st.floats(0.95, 1.05))
def test_a_nearly_square_board_is_read_as_it_is_seen(turn_deg: float, first: int, stretch: float) -> None:
    """Its proportion says nothing then: perspective changes it by more."""
    wanted = rectangle_px(300 * stretch, 300, turn_deg)
    found, turned = order_corners(np.roll(wanted, first, axis=0), (200, 190))
    assert np.array_equal(found, wanted)
    assert not turned
