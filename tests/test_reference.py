"""The gray card's level and colour, against levels that were painted."""

import cv2
import numpy as np
import pytest
from board_photos import FAULTLESS, card_corners, photo_of_codes, photo_of_light, saved, taken
from numpy.typing import ArrayLike, NDArray
from simulator import Background, Board, GrayCard, Light, PaintedZone, Scene

from calibration.errors import ReferenceCardError
from calibration.reference import GrayReading, read_gray_card

SHAPE = (240, 320)
CARD = np.array([[60.4, 50.2], [262.7, 61.9], [255.1, 190.3], [52.8, 178.6]])
LEVEL = np.array([0.21, 0.18, 0.15])


def light_of_card(level: ArrayLike = LEVEL, *, around: float = 0.55) -> NDArray[np.float64]:
    light = np.full((*SHAPE, 3), around)
    light[inside(CARD)] = level
    return light


def inside(quad: NDArray[np.float64]) -> NDArray[np.bool_]:
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillConvexPoly(mask, np.round(quad).astype(np.int32), 1)
    return mask.astype(bool)


def noisy(light: NDArray[np.float64], relative: float, seed: int = 1) -> NDArray[np.float64]:
    return light * (1 + np.random.default_rng(seed).normal(0, relative, light.shape))


def disc(light: NDArray[np.float64], centre: tuple[int, int], radius: int, value: float) -> NDArray[np.float64]:
    mask = np.zeros(SHAPE, np.uint8)
    cv2.circle(mask, centre, radius, 1, -1)
    return np.where(mask[..., None].astype(bool), value, light)


def read(light: NDArray[np.float64]) -> GrayReading:
    return read_gray_card(photo_of_light(light), CARD)


def test_the_level_is_read_to_a_tenth_of_a_percent_under_noise() -> None:
    """5 % of noise a pixel, some 9000 pixels in the middle: 0.05 % is what chance leaves."""
    reading = read(noisy(light_of_card(), 0.05))
    assert reading.linear_RGB == pytest.approx(LEVEL, rel=1.5e-3)
    assert reading.left_out < 0.01
    assert reading.clipped == 0


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("mirrored", [False, True])
def test_whichever_corner_comes_first_the_reading_is_the_same(turn: int, mirrored: bool) -> None:
    photo = photo_of_light(noisy(light_of_card(), 0.05))
    corners = np.roll(CARD[::-1] if mirrored else CARD, turn, axis=0)
    assert read_gray_card(photo, corners).linear_RGB == pytest.approx(read_gray_card(photo, CARD).linear_RGB, rel=1e-6)


def test_corners_five_pixels_off_change_nothing() -> None:
    """A rim of a tenth is not read."""
    photo = photo_of_light(light_of_card())
    for shift in ([5, 0], [-5, 3], [0, -5]):
        assert read_gray_card(photo, CARD + shift).linear_RGB == pytest.approx(LEVEL, rel=1e-4)


@pytest.mark.parametrize("brightness", [0.4, 0.95, 1.0])
def test_a_speck_of_glare_changes_nothing(brightness: float) -> None:
    clean = noisy(light_of_card(), 0.02)
    glare = disc(clean, (170, 120), 6, brightness)
    assert read(glare).linear_RGB == pytest.approx(read(clean).linear_RGB, rel=3e-3)


def test_soft_glare_changes_less_than_half_a_percent() -> None:
    """A highlight fades out into the card: its faint rim cannot be told from light, its middle can."""
    clean = noisy(light_of_card(), 0.02)
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    spot = 0.5 * np.exp(-((x - 170) ** 2 + (y - 120) ** 2) / (2 * 6.0**2))
    assert read(clean + spot[..., None]).linear_RGB == pytest.approx(read(clean).linear_RGB, rel=5e-3)


@pytest.mark.parametrize("ink", [0.02, 0.6])
def test_print_over_a_tenth_of_the_card_changes_nothing(ink: float) -> None:
    clean = noisy(light_of_card(), 0.02)
    text = np.zeros(SHAPE, np.uint8)
    for baseline in (88, 116, 144):
        cv2.putText(text, "GRAY 18 % FACE UP", (78, baseline), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 255)
    printed = np.where(text[..., None] > 0, ink, clean)
    assert (text[inside(CARD)] > 0).mean() == pytest.approx(0.1, abs=0.03)
    assert read(printed).linear_RGB == pytest.approx(read(clean).linear_RGB, rel=3e-3)


def test_a_black_corner_marker_is_left_out_and_told() -> None:
    marked = light_of_card()
    marked[80:108, 90:125] = 0.02
    reading = read(noisy(marked, 0.02))
    assert reading.linear_RGB == pytest.approx(LEVEL, rel=3e-3)
    assert reading.left_out == pytest.approx(28 * 35 / reading.pixels, rel=0.25)


@pytest.mark.parametrize("gradient", [0.0, 0.03, 0.08, 0.2])
def test_unevenness_is_the_painted_gradient(gradient: float) -> None:
    """Light falls straight from left to right; told is its range over the middle that is read, 80 % of the sides."""
    x = np.arange(SHAPE[1])
    left, right = CARD[:, 0].min(), CARD[:, 0].max()
    light = light_of_card() * (1 - gradient * (x - left) / (right - left))[None, :, None]
    middle = CARD.mean(axis=0) + 0.8 * (CARD - CARD.mean(axis=0))
    ends = 1 - gradient * (np.array([middle[:, 0].min(), middle[:, 0].max()]) - left) / (right - left)
    reading = read(noisy(light, 0.01))
    assert reading.unevenness == pytest.approx(1 - ends[1] / ends[0], abs=0.004)


def test_under_a_gradient_the_level_is_that_of_the_cards_centre() -> None:
    x = np.arange(SHAPE[1])
    light = light_of_card() * (1 - 0.2 * (x - CARD[:, 0].mean()) / np.ptp(CARD[:, 0]))[None, :, None]
    assert read(light).linear_RGB == pytest.approx(LEVEL, rel=2e-3)


@pytest.mark.parametrize("blur_px", [0.0, 1.5, 2.5])
@pytest.mark.parametrize("size", [1.0, 0.35])
def test_the_stated_uncertainty_is_the_spread_of_a_hundred_photos(blur_px: float, size: float) -> None:
    """Noise of independent pixels, and noise that neighbours share as demosaicing and JPEG make it."""
    corners = CARD.mean(axis=0) + size * (CARD - CARD.mean(axis=0))
    rng = np.random.default_rng(11)
    means, stated = [], []
    for _ in range(100):
        noise = rng.standard_normal((*SHAPE, 3), dtype=np.float32)
        if blur_px:
            noise = cv2.GaussianBlur(noise, (0, 0), blur_px)
            noise /= noise.std()
        reading = read_gray_card(photo_of_light(light_of_card() * (1 + 0.04 * noise)), corners)
        means.append(reading.linear_RGB / LEVEL)
        stated.append(reading.u_relative)
    spread = np.std(means, axis=0, ddof=1)  # known to 7 %
    typical = np.sqrt(np.mean(np.square(stated), axis=0))
    assert (typical > 0.7 * spread).all()  # never much too sure,
    assert (typical < 2.0 * spread).all()  # and not wildly unsure


def test_u_relative_does_not_count_a_gradient_as_noise() -> None:
    x = np.arange(SHAPE[1])
    light = light_of_card() * (1 - 0.1 * x / SHAPE[1])[None, :, None]
    assert read(noisy(light, 0.01)).u_relative == pytest.approx(read(noisy(light_of_card(), 0.01)).u_relative, rel=0.6)


def test_a_calm_8_bit_card_of_one_code_is_read_as_it_is() -> None:
    """Nearly all pixels share a code; those one code away are the signal between the codes, no outliers."""
    rng = np.random.default_rng(2)
    V = 118.3 + rng.normal(0, 0.25, (*SHAPE, 3))
    photo = photo_of_codes(np.round(V).astype(np.uint8))
    expected = photo.curve[118, 0] + 0.3 * (photo.curve[119, 0] - photo.curve[118, 0])
    assert read_gray_card(photo, CARD).linear_RGB == pytest.approx([expected] * 3, rel=2e-3)


def test_a_clipped_card_is_refused_with_what_to_do() -> None:
    light = light_of_card((1.0, 0.7, 0.6))
    with pytest.raises(ReferenceCardError, match="full scale") as refused:
        read(light)
    assert refused.value.code == "card-clipped"
    assert "less exposure" in refused.value.remedy
    assert refused.value.photo == "painted.png"


def test_just_below_the_limit_of_clipping_is_read_without_the_clipped_pixels() -> None:
    """1.5 % of the middle at full scale in blue: left out and told; 3 %: refused (the limit is 2 %)."""
    area = inside(CARD.mean(axis=0) + 0.8 * (CARD - CARD.mean(axis=0))).sum()
    for share, refused in ((0.015, False), (0.03, True)):
        rows = round(np.sqrt(share * area))
        light = light_of_card()
        light[110 : 110 + rows, 150 : 150 + rows, 2] = 1.0
        if refused:
            with pytest.raises(ReferenceCardError, match="full scale"):
                read(light)
        else:
            assert read(light).linear_RGB == pytest.approx(LEVEL, rel=1e-3)
            assert read(light).clipped == pytest.approx(share, abs=0.004)


@pytest.mark.parametrize("shift", [(-80, 0), (0, -70), (90, 0), (0, 70), (5000, 0), (-5000, -5000)])
def test_a_card_that_reaches_out_of_the_photo_is_refused(shift: tuple[int, int]) -> None:
    with pytest.raises(ReferenceCardError, match="beyond the photo") as refused:
        read_gray_card(photo_of_light(light_of_card()), CARD + np.array(shift))
    assert refused.value.code == "card-missing"


@pytest.mark.parametrize("corners", [np.repeat(CARD[:1], 4, axis=0), CARD[0] + 0.02 * (CARD - CARD[0])])
def test_a_card_of_a_few_pixels_is_refused(corners: NDArray[np.float64]) -> None:
    with pytest.raises(ReferenceCardError) as refused:
        read_gray_card(photo_of_light(light_of_card()), corners)
    assert refused.value.code == "card-missing"


@pytest.mark.parametrize(
    "corners",
    [CARD[[0, 2, 1, 3]], [[60, 60], [100, 100], [140, 140], [180, 180]], [[60, 60], [120, 120], [180, 60], [120, 180]]],
    ids=["crossed", "on a line", "notched"],
)
def test_corners_of_no_card_are_refused(corners: ArrayLike) -> None:
    with pytest.raises(ReferenceCardError, match="corners") as refused:
        read_gray_card(photo_of_light(light_of_card()), np.asarray(corners, dtype=np.float64))
    assert refused.value.code == "card-missing"


@pytest.mark.parametrize("level", [(0.0, 0.0, 0.0), (0.2, 0.1, 0.0)])
def test_a_card_without_light_in_a_channel_is_refused(level: tuple[float, float, float]) -> None:
    """Nothing can be balanced by it: the gain of that channel would be without end."""
    with pytest.raises(ReferenceCardError, match="black") as refused:
        read(light_of_card(level))
    assert refused.value.remedy


@pytest.mark.parametrize("exposure_EV", [-1.0, 0.0, 0.7])
def test_a_photographed_card_is_read_as_its_reflectance(tmp_path: object, exposure_EV: float) -> None:
    """Simulated spectrally, textured, through a JPEG file; the camera without faults, so the level is known."""
    board = Board("A", 120, 90, (PaintedZone("all", (0, 120), (55, 12, 25)),))
    card = GrayCard((80, 60), (140, 10), 3.0)
    scene = Scene((board,), card, background=Background((80, 0, 1)), light=Light("D50"))
    rendered = taken(scene, size_px=(800, 450), exposure_EV=exposure_EV, **FAULTLESS)
    reading = read_gray_card(saved(tmp_path, rendered, quality=95), card_corners(rendered))  # type: ignore[arg-type]
    assert reading.linear_RGB == pytest.approx([0.18 * 2**exposure_EV] * 3, rel=0.01)
