"""Step cards found in simulated photos, read, and turned into a tone curve; and what is no step card, not found."""

from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from board_photos import corners, photo_of_codes, saved, taken
from numpy.typing import NDArray
from simulator import (
    Background,
    Board,
    GrayCard,
    Light,
    PaintedZone,
    Paper,
    RenderedPhoto,
    Scene,
    StepCard,
    Tone,
    WoodZone,
)

from calibration.colorspace import D50, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.errors import ReferenceCardError
from calibration.findings import REGISTRY, finding_of
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.preview import preview_of
from calibration.step_card import StepsFound, find_step_card, read_step_card, step_card_findings
from calibration.tone import fit_tone

THREE, SIX = (0.90, 0.18, 0.035), (0.90, 0.59, 0.36, 0.198, 0.09, 0.031)
TWELVE = tuple(np.geomspace(0.88, 0.03, 12))
WHITE = Background((88, 0, 2), texture=0.01)
BENCH = Background((55, 12, 28), texture=0.03)
PHONE = Tone(flare=0.01, s_curve=0.4)
STAINED = tuple(
    WoodZone(name, (100 * k, 100 * k + 100), treatment, "walnut brown")
    for k, (name, treatment) in enumerate([("a", "none"), ("b", "shellac washcoat"), ("c", "glue size")])
)
BOARD = Board("A", 300, 150, STAINED, seed=5)
BELOW = (60.0, 170.0)
GRAY_SHEET = Board("sheet", 80, 60, (PaintedZone("all", (0, 80), (50, 0, 0)),), top_left_mm=(320, 20), turn_deg=6)
MARKS = Paper(
    np.kron(np.array([[255, 0, 255, 0, 255, 255, 0, 255, 0, 255]], np.uint8), np.full((80, 80), 1, np.uint8)), 4.0,
    top_left_mm=(20, -30),
)  # fmt: skip


@dataclass(frozen=True)
class Setting:
    card: StepCard
    around: dict[str, Any]
    camera: dict[str, Any]


SETTINGS = {
    "three steps": Setting(StepCard(THREE, (45, 60), top_left_mm=BELOW), {}, {}),
    "dark end first": Setting(StepCard(THREE, (40, 50), top_left_mm=(190, 230), turn_deg=178), {}, {"tone": PHONE}),
    "standing upright": Setting(StepCard(SIX, (22, 30), top_left_mm=(360, 10), turn_deg=90), {}, {"roll_deg": 20}),
    "six with gaps on a dark mount": Setting(
        StepCard(SIX, (24, 36), 2.0, 4.0, 0.04, BELOW), {"background": BENCH}, {"roll_deg": -130, "tone": PHONE}
    ),
    "white step on a white sheet": Setting(
        StepCard(THREE, (40, 55), top_left_mm=BELOW), {"background": WHITE}, {"roll_deg": 65}
    ),
    "black step on a black sheet": Setting(
        StepCard(SIX, (24, 40), top_left_mm=BELOW), {"background": Background((21, 0, 0))}, {"tilt_deg": (18, -15)}
    ),
    "twelve narrow ones": Setting(StepCard(TWELVE, (18, 40), 1.0, top_left_mm=BELOW), {}, {"tone": PHONE}),
    "tilted, turned, uneven, under a warm lamp": Setting(
        StepCard(SIX, (26, 36), top_left_mm=BELOW, turn_deg=-9),
        {"light": Light("A", gradient=0.3, direction_deg=20), "background": BENCH},
        {"tilt_deg": (-20, 14), "roll_deg": 160, "exposure_EV": -0.5},
    ),
    "among papers, marks and a gray card": Setting(
        StepCard(THREE, (36, 46), top_left_mm=BELOW),
        {"boards": (BOARD, GRAY_SHEET), "papers": (MARKS,), "card": GrayCard((60, 45), (220, 170))},
        {"roll_deg": 8},
    ),
}


def photographed(setting: Setting, seed: int = 1) -> RenderedPhoto:
    scene = Scene(**{"boards": (BOARD,), "step_card": setting.card, **setting.around})
    return taken(scene, seed, **{"full_well_e": 8000.0, "exposure_EV": -0.2, **setting.camera})


def off_centre(found: StepsFound, rendered: RenderedPhoto) -> float:
    """Farthest that a step's middle was put wrong, in step widths."""
    true = np.array(rendered.truth.steps_centres_px)
    width = np.hypot(*(true[1] - true[0]))
    return float(np.hypot(*(found.cells_px.mean(axis=1) - true).T).max() / width)


@pytest.mark.parametrize("name", SETTINGS)
def test_the_steps_are_found_in_their_order(tmp_path: Path, name: str) -> None:
    setting = SETTINGS[name]
    rendered = photographed(setting)
    photo = saved(tmp_path, rendered, quality=90)
    found = find_step_card(preview_of(photo), setting.card.reflectances)
    assert found is not None
    assert off_centre(found, rendered) < 0.2
    readings = read_step_card(photo, found, setting.card.reflectances)
    assert readings.used.all(), readings.why_not
    assert fit_tone(readings.linear_RGB, readings.u_relative, setting.card.reflectances).is_usable


@pytest.mark.parametrize("name", ["astronaut", "coffee", "brick", "page", "checkerboard"])
def test_a_photo_of_something_else_shows_no_step_card(name: str) -> None:
    picture = getattr(skimage.data, name)()
    codes = cv2.resize(picture[..., :3] if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2), (900, 700))
    preview = preview_of(photo_of_codes(codes))
    assert [find_step_card(preview, card) for card in (THREE, SIX)] == [None, None]


def test_boards_papers_and_a_gray_card_are_no_step_card() -> None:
    setting = SETTINGS["among papers, marks and a gray card"]
    scene = Scene(**setting.around)
    preview = preview_of(photo_of_codes(taken(scene, roll_deg=8).codes))
    assert [find_step_card(preview, card) for card in (THREE, SIX, TWELVE)] == [None, None, None]


def test_a_card_with_other_reflectances_is_not_found() -> None:
    """Three steps that are nearly alike are no white, gray and black."""
    card = StepCard((0.5, 0.42, 0.35), (45, 60), top_left_mm=BELOW)
    assert find_step_card(preview_of(photo_of_codes(photographed(Setting(card, {}, {})).codes)), THREE) is None


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_corners_that_were_given_are_turned_the_right_way(turn: int, mirrored: bool) -> None:
    rendered = photographed(SETTINGS["three steps"])
    outer = np.array(rendered.truth.steps_corners_px)
    given = np.roll(outer[::-1] if mirrored else outer, turn, axis=0)
    found = find_step_card(preview_of(photo_of_codes(rendered.codes)), THREE, given)
    assert found is not None
    assert off_centre(found, rendered) < 0.02


def test_corners_of_something_else_show_no_steps() -> None:
    rendered = photographed(SETTINGS["three steps"])
    assert find_step_card(preview_of(photo_of_codes(rendered.codes)), THREE, corners(rendered)) is None


def test_reflectances_must_go_from_light_to_dark() -> None:
    with pytest.raises(ValueError, match="light to dark"):
        find_step_card(preview_of(photo_of_codes(np.zeros((100, 100, 3), np.uint8))), THREE[::-1])


def read(card: StepCard, **camera: Any) -> PatchReadings:  # noqa: ANN401 - fields of Camera
    rendered = photographed(Setting(card, {}, camera))
    photo = photo_of_codes(rendered.codes)
    found = find_step_card(preview_of(photo), card.reflectances, np.array(rendered.truth.steps_corners_px))
    return read_step_card(photo, found, card.reflectances)


SIX_STEPS = StepCard(SIX, (30, 45), top_left_mm=(30, 170))


SHADOW = ((0.5, -0.2), (0.58, -0.2), (0.58, 1.2), (0.5, 1.2))


@pytest.mark.parametrize(
    ("fault", "step"),
    [({"covered": (3,)}, 3), ({"shiny": ((3, 0.3),)}, 3), ({"shaded": SHADOW}, 3)],
    ids=["covered", "shiny", "shaded"],
)
def test_a_faulty_step_is_left_out_with_its_reason(fault: dict[str, Any], step: int) -> None:
    readings = read(replace(SIX_STEPS, **fault))
    assert not readings.used[step]
    assert readings.used.sum() == 5
    [found] = step_card_findings(readings)
    assert found.code == "step-card-partial"
    assert f"step {step + 1}:" in found.message


def test_a_shine_that_keeps_the_order_is_seen_by_the_fit() -> None:
    readings = read(replace(SIX_STEPS, shiny=((4, 0.06),)))
    fit = fit_tone(readings.linear_RGB, readings.u_relative, SIX, used=readings.used)
    assert not fit.used[4]
    assert fit.used.sum() >= 4


def test_a_sound_card_has_nothing_to_say_against_it() -> None:
    assert step_card_findings(read(SIX_STEPS)) == ()


def test_a_clipped_white_is_left_out_of_six_and_ends_the_reading_of_three() -> None:
    readings = read(SIX_STEPS, exposure_EV=0.4)
    assert not readings.used[0]
    assert "full scale" in readings.why_not[0]
    assert readings.used[1:].all()
    with pytest.raises(ReferenceCardError, match="2 of the step card's 3 steps") as refused:
        read(SETTINGS["three steps"].card, exposure_EV=0.4)
    assert finding_of(refused.value).code == "step-card-few"
    assert "less exposure" in str(refused.value)


def test_no_card_is_told_with_what_to_do() -> None:
    photo = photo_of_codes(np.full((60, 60, 3), 90, np.uint8))
    with pytest.raises(ReferenceCardError, match="step card was not found") as refused:
        read_step_card(photo, None, THREE)
    assert finding_of(refused.value).code == "step-card-missing"
    assert refused.value.remedy == REGISTRY["step-card-missing"].remedy


def test_a_black_step_between_two_codes_is_read_between_them() -> None:
    """Most of its pixels share code 12; the few at 13 are the signal. A code is 7 % of the level here."""
    noise = np.random.default_rng(3).normal(0, 0.3, (120, 300, 3))
    V = np.repeat([230.0, 118.0, 12.25], 100)[None, :, None] + noise
    photo = photo_of_codes(np.round(V).astype(np.uint8))
    outer = np.array([[-0.5, -0.5], [299.5, -0.5], [299.5, 119.5], [-0.5, 119.5]])
    readings = read_step_card(photo, find_step_card(preview_of(photo), THREE, outer), THREE)
    expected = photo.linear_RGB(slice(None), slice(200, 300)).mean()
    assert photo.curve[12, 0] * 1.01 < expected < photo.curve[13, 0] * 0.95
    assert readings.used.all()
    assert readings.linear_RGB[2] == pytest.approx([expected] * 3, rel=0.005)


def test_the_levels_read_are_the_reflectances() -> None:
    """A camera without tone curve shows them straight, but for 8-bit codes and the light."""
    readings = read(replace(SIX_STEPS, texture=0.0), sensor="ideal", white_balance_error=(0.0, 0.0))
    green = readings.linear_RGB[:, 1]
    assert green / green[0] * SIX[0] == pytest.approx(SIX, rel=0.02)


PAINTED = [(28, 10, 12), (36, 16, 22), (45, 18, 30), (52, 14, 28), (24, 6, 7), (70, 8, 26)]


@pytest.mark.parametrize("steps", [THREE, SIX], ids=["three", "six"])
def test_pairs_of_stained_wood_are_right_to_a_third_of_a_delta_E(tmp_path: Path, steps: tuple[float, ...]) -> None:
    """A phone-like S and 1 % flare, noise and JPEG: the mean error of pairs, 0.3 at most; before, it is above 3."""
    zones = tuple(PaintedZone(f"z{k}", (50 * k, 50 * k + 50), Lab) for k, Lab in enumerate(PAINTED))
    card = StepCard(steps, (240 / len(steps), 50), top_left_mm=(20, 140))
    scene = Scene((Board("A", 300, 120, zones),), step_card=card)
    rendered = taken(scene, tone=PHONE, sensor="ideal", full_well_e=8000.0, exposure_EV=-0.2)
    photo = saved(tmp_path, rendered, quality=92)
    readings = read_step_card(photo, find_step_card(preview_of(photo), steps), steps)
    fit = fit_tone(readings.linear_RGB, readings.u_relative, steps, used=readings.used)
    gray = int(np.abs(np.array(steps) - 0.18).argmin())
    straight = fit.curve.apply(readings.linear_RGB[gray][None])[0]
    before = zone_Lab(photo, rendered, readings.linear_RGB[gray] / steps[gray])
    after = zone_Lab(replace(photo, curve=fit.curve.with_tone(photo.curve)), rendered, straight / steps[gray])
    true = np.array([zone.Lab for zone in rendered.truth.board("A").zones])
    assert pair_error(before, true) > 3
    assert pair_error(after, true) < 0.3
    assert delta_E_00(after, true).mean() < 1.0


def zone_Lab(photo: Photo, rendered: RenderedPhoto, white: NDArray[np.floating]) -> NDArray[np.float64]:
    """CIELAB (n, 3) of each zone's middle, balanced by the light of a perfect white (3,)."""
    matrix = photo.to_XYZ * (np.linalg.solve(photo.to_XYZ, D50) / white)
    face = np.array([[0, 0], [300, 0], [300, 120], [0, 120]], np.float64)
    to_px, _ = cv2.findHomography(face, corners(rendered))
    found = []
    for k in range(len(PAINTED)):
        (left, top), (right, low) = cv2.perspectiveTransform(
            np.array([[[50.0 * k + 10, 20.0], [50.0 * k + 40, 100.0]]]), to_px
        )[0].astype(int)
        found.append(matrix @ photo.linear_RGB(slice(top, low), slice(left, right)).mean(axis=(0, 1)))
    return XYZ_to_Lab(np.array(found))


def pair_error(Lab: NDArray[np.float64], true: NDArray[np.float64]) -> float:
    pairs = list(combinations(range(len(true)), 2))
    return float(np.mean([abs(delta_E_00(Lab[i], Lab[j]) - delta_E_00(true[i], true[j])) for i, j in pairs]))
