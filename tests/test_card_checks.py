"""What is wrong with the gray card is told, in simulated photos; and what is nearly wrong is not."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE
from board_photos import card_corners, photo_of, taken
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from simulator import Background, Board, CastShadow, GlareSpot, GrayCard, Light, PaintedZone, Scene, WoodZone
from simulator.strips_in_scene import strips_beside
from strip_photos import printed

from calibration.card_checks import MAX_LEAN_DEG, lean_of
from calibration.errors import ReferenceCardError
from calibration.findings import Finding
from calibration.flatboard import photo_findings
from calibration.place import locate
from calibration.reference import read_gray_card

CARD = GrayCard((80, 55), (100, 145))
SHOP = replace(SHOP_SCENE, card=CARD)
# The card lies from (100, 145) to (180, 200) mm.
LEFT_HALF = ((-100.0, 100.0), (145.0, 100.0), (145.0, 300.0), (-100.0, 300.0))
ALL_AROUND = ((60.0, 128.0), (220.0, 128.0), (220.0, 260.0), (60.0, 260.0))
NEW = ("card-tilted", "card-shaded", "card-glossy", "card-not-neutral", "card-covered")


def told(scene: Scene, *, given_card: bool = False, **camera: Any) -> list[Finding]:  # noqa: ANN401 - fields of Camera
    """What is said of the card in a photo of a scene; its corners found, or given."""
    rendered = taken(scene, 3, **{"size_px": (900, 675), **camera})
    photo = photo_of(rendered)
    board = scene.boards[0]
    size_mm = board.length_mm, board.width_mm
    place = locate(photo, size_mm, card=card_corners(rendered) if given_card else None)
    return [finding for finding in photo_findings(photo, place, size_mm) if finding.code in NEW]


def codes(findings: list[Finding]) -> list[str]:
    return [finding.code for finding in findings]


@pytest.mark.parametrize(
    "scene",
    [
        SHOP,
        replace(SHOP, light=Light("D50", gradient=0.4, direction_deg=80)),
        replace(SHOP, light=Light("A", gradient=0.2, radial=0.2), background=Background((55, 12, 28), texture=0.03)),
        replace(SHOP, light=Light("FL11"), background=Background((86, 0, 2)), card=replace(CARD, turn_deg=7.0)),
    ],
    ids=["even", "falling off", "warm, on a bench", "fluorescent, on a white sheet"],
)
@pytest.mark.parametrize("tilt_deg", [(0.0, 0.0), (12.0, -9.0)])
def test_nothing_is_said_of_a_card_as_it_should_lie(scene: Scene, tilt_deg: tuple[float, float]) -> None:
    assert codes(told(scene, tilt_deg=tilt_deg)) == []


@pytest.mark.parametrize("lean_deg", [(11.0, 0.0), (0.0, -11.0), (-8.0, 8.0)])
def test_a_card_that_leans_is_told_with_its_angle(lean_deg: tuple[float, float]) -> None:
    (finding,) = told(replace(SHOP, card=replace(CARD, lean_deg=lean_deg)))
    assert finding.code == "card-tilted"
    assert " 11°" in finding.message or " 10°" in finding.message or " 12°" in finding.message


def test_a_card_that_leans_a_little_is_not() -> None:
    """By 4 degrees; and one that lies 19 mm lower than the board, flat, does not lean at all."""
    assert codes(told(replace(SHOP, card=replace(CARD, lean_deg=(3.0, -3.0))))) == []
    thick = replace(SHOP, boards=(replace(SHOP_BOARD, thickness_mm=19.0),))
    assert codes(told(thick, tilt_deg=(10.0, 8.0))) == []


@settings(max_examples=60)
@given(
    st.floats(-15, 15),
    st.floats(-15, 15),
    st.floats(0, 360),
    st.floats(40, 120),
    st.floats(-100, 100),
    st.floats(-30, 30),
)
def test_the_lean_is_that_of_a_rectangle_seen_from_above(
    right_deg: float, lower_deg: float, turn_deg: float, length_mm: float, aside_mm: float, height_mm: float
) -> None:
    """By geometry: corners in space, seen by a camera 400 mm over the plane, whatever their height and place."""
    right, lower, turn = np.radians([right_deg, lower_deg, turn_deg])
    about_y = np.array([[np.cos(right), 0, -np.sin(right)], [0, 1, 0], [np.sin(right), 0, np.cos(right)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(lower), -np.sin(lower)], [0, np.sin(lower), np.cos(lower)]])
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    turned = about_z @ about_y @ about_x
    corners = np.array([[0, 0, 0], [length_mm, 0, 0], [length_mm, 60, 0], [0, 60, 0]]) @ turned.T
    corners += [aside_mm, -aside_mm / 2, height_mm]
    seen = corners[:, :2] * (400 / (400 - corners[:, 2:]))
    truth = np.degrees(np.arccos(turned[2, 2]))
    assert lean_of(seen, np.array([0.0, 0.0, 400.0])) == pytest.approx(truth, abs=0.01)


def test_a_lean_does_not_depend_on_which_corner_comes_first() -> None:
    seen = np.array([[0.0, 0.0], [82.0, -1.0], [83.0, 58.0], [0.0, 55.0]])
    leans = [lean_of(np.roll(seen, k, axis=0), np.array([150.0, 75.0, 400.0])) for k in range(4)]
    assert leans == pytest.approx([leans[0]] * 4, abs=1e-3)
    assert leans[0] > MAX_LEAN_DEG


@pytest.mark.parametrize(("depth", "softness_mm"), [(0.08, 4.0), (0.3, 4.0), (0.3, 30.0)])
def test_a_shadow_over_a_part_of_the_card_is_told(depth: float, softness_mm: float) -> None:
    scene = replace(SHOP, cast_shadows=(CastShadow(LEFT_HALF, depth, softness_mm),))
    assert codes(told(scene, given_card=True)) == ["card-shaded"]


def test_a_shadow_beside_the_card_and_a_faint_one_are_not() -> None:
    beside = tuple((x - 55.0, y) for x, y in LEFT_HALF)
    assert codes(told(replace(SHOP, cast_shadows=(CastShadow(beside, 0.3, 4.0),)))) == []
    assert codes(told(replace(SHOP, cast_shadows=(CastShadow(LEFT_HALF, 0.02, 4.0),)))) == []


def test_a_card_wholly_in_a_shadow_is_told_by_its_surroundings() -> None:
    """On a calm background: darker around the card than elsewhere."""
    (finding,) = told(replace(SHOP, cast_shadows=(CastShadow(ALL_AROUND, 0.25, 8.0),)))
    assert finding.code == "card-shaded"
    assert "around" in finding.message
    assert codes(told(replace(SHOP, cast_shadows=(CastShadow(ALL_AROUND, 0.05, 8.0),)))) == []


@pytest.mark.parametrize(("strength", "radius_mm"), [(0.05, 6.0), (0.3, 6.0), (0.3, 15.0), (0.05, 30.0)])
def test_a_lamp_that_the_card_reflects_is_told(strength: float, radius_mm: float) -> None:
    spot = GlareSpot((135.0, 170.0), radius_mm, strength, on_card=True)
    assert codes(told(replace(SHOP, glare=(spot,)), given_card=True)) == ["card-glossy"]


def test_a_speck_and_a_faint_sheen_are_not() -> None:
    speck = GlareSpot((135.0, 170.0), 1.5, 0.2, on_card=True)
    assert codes(told(replace(SHOP, glare=(speck,)), given_card=True)) == []
    sheen = GlareSpot((135.0, 170.0), 15.0, 0.003, on_card=True)
    assert codes(told(replace(SHOP, glare=(sheen,)), given_card=True)) == []


COVERS: dict[str, tuple[WoodZone | PaintedZone, ...]] = {
    "paper": (PaintedZone("all", (0, 200), (93, 0, 1)),),
    "a dark thing": (PaintedZone("all", (0, 200), (20, 0, 0)),),
    "a hand": (PaintedZone("all", (0, 200), (65, 15, 17)),),
    "wood as light as the card": (PaintedZone("all", (0, 200), (49, 14, 24)),),
    "a stained board": (WoodZone("all", (0, 200), stain="walnut brown"),),
}


def covered(what: str, share: float) -> Scene:
    """Something lies on the right end of the card."""
    right_mm = 180 - share * 80
    cover = Board("cover", 200, 90, COVERS[what], top_left_mm=(right_mm, 130.0), seed=4)
    return replace(SHOP, covers=(cover,), light=Light("D50", gradient=0.2))


@pytest.mark.parametrize("what", COVERS)
def test_something_on_the_card_is_told_and_the_rest_is_read(what: str) -> None:
    """A third of it; the level is that of the bare card within 1 %, though the light falls off over it."""
    scene = covered(what, 0.33)
    assert codes(told(scene, given_card=True)) == ["card-covered"]
    assert level(scene) == pytest.approx(level(replace(scene, covers=())), rel=0.01)


def test_a_corner_that_is_hidden_is_not_told() -> None:
    assert codes(told(covered("a hand", 0.12), given_card=True)) == []


@pytest.mark.parametrize("what", COVERS)
def test_a_card_of_which_half_is_hidden_is_refused(what: str) -> None:
    with pytest.raises(ReferenceCardError, match="one even surface") as refused:
        level(covered(what, 0.5))
    assert refused.value.code == "card-missing"


def level(scene: Scene) -> NDArray[np.float64]:
    rendered = taken(scene, 3, size_px=(900, 675), look_at_mm=(150.0, 100.0), px_per_mm=2.2)
    return read_gray_card(photo_of(rendered), card_corners(rendered)).linear_RGB


def mat(Lab: tuple[float, float, float]) -> Scene:
    """A coloured thing where the card should be."""
    thing = Board("mat", 80, 55, (PaintedZone("all", (0, 80), Lab),), top_left_mm=(100.0, 145.0))
    return replace(SHOP, covers=(thing,))


@pytest.mark.parametrize("Lab", [(50, -25, 10), (50, 20, -5), (55, 20, 45)])
def test_a_coloured_thing_that_was_taken_for_the_card_is_told(Lab: tuple[float, float, float]) -> None:
    assert codes(told(mat(Lab), given_card=True)) == ["card-not-neutral"]


def test_a_slightly_tinted_card_is_not_nor_what_white_balance_leaves() -> None:
    assert codes(told(mat((50, 3, 5)), given_card=True)) == []
    assert codes(told(SHOP, given_card=True, white_balance_error=(0.15, -0.15))) == []


def with_strips(scene: Scene) -> Scene:
    return replace(
        scene, card=replace(CARD, top_left_mm=(100.0, 165.0)), papers=strips_beside(SHOP_BOARD, printed(300))
    )


def test_beside_strips_a_beige_mat_is_told_and_the_card_is_not() -> None:
    """Without them a beige mat could be a gray card in warm light."""
    card = CARD.size_mm
    beige = Board("mat", *card, (PaintedZone("all", (0, 80), (55, 3, 16)),), top_left_mm=(100.0, 165.0))
    camera = {"size_px": (1200, 900), "white_balance_error": (0.1, -0.1)}
    assert codes(told(with_strips(replace(SHOP, covers=(beige,))), given_card=True, **camera)) == ["card-not-neutral"]
    assert codes(told(with_strips(SHOP), given_card=True, **camera)) == []
    assert codes(told(replace(SHOP, covers=(replace(beige, top_left_mm=(100.0, 145.0)),)), given_card=True)) == []
