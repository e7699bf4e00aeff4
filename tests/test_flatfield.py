"""A photo of a plain sheet as a light map: exact where it is clean, robust where it is not, and it says how sure it is.

L* at L* 50: a relative error e of the light is 116/3 Y^(1/3) e = 22.0 e there (CIE 1976).
"""

import cv2
import numpy as np
import pytest
from board_photos import Floats, photo_of_codes, photo_of_light
from numpy.typing import NDArray

from calibration.light import Light, gain_over, light_from_flat
from calibration.photo import Photo
from calibration.plane import Plane, plane_from_corners

L_PER_UNIT = 22.0
SHAPE = (756, 1008)
FACE = np.array([[175.0, 225.0], [825.0, 225.0], [825.0, 550.0], [175.0, 550.0]])
CARD = np.array([[860.0, 300.0], [960.0, 300.0], [960.0, 370.0], [860.0, 370.0]])
PLANE = plane_from_corners(FACE, 300, 150)
WHITE = np.array([0.95, 1.0, 0.9])
y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(np.float64)


def cos4(angle_deg: float) -> Floats:
    """Fall-off with the fourth power of the cosine, so many degrees at the frame's corner."""
    squared = (x - SHAPE[1] / 2) ** 2 + (y - SHAPE[0] / 2) ** 2
    return np.asarray(0.8 * (1 + squared / squared.max() * np.tan(np.radians(angle_deg)) ** 2) ** -2.0)


def ramp(share: float, direction_deg: float) -> Floats:
    """Straight fall-off by a share over the board."""
    across = x * np.cos(np.radians(direction_deg)) + y * np.sin(np.radians(direction_deg))
    corners = FACE @ (np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg)))
    return np.asarray(np.clip(0.75 * (1 - share * (across - corners.min()) / np.ptp(corners)), 0.02, 0.95))


def lamp(distance_px: float) -> Floats:
    """One lamp at 45 degrees on the left."""
    height = distance_px / np.sqrt(2)
    light = ((x - 500 + height) ** 2 + (y - 388) ** 2 + height**2) ** -1.5
    return np.asarray(np.minimum(0.8 * light / light[225:550, 175:825].max(), 0.95))


def phone(light: Floats, seed: int = 1) -> Photo:
    """8 bits in sRGB's curve, with the photon noise of a small sensor."""
    rng = np.random.default_rng(seed)
    linear = light[..., np.newaxis] * WHITE
    linear = linear + np.sqrt(linear / 8000) * rng.standard_normal(linear.shape)
    linear = np.clip(linear, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return photo_of_codes(np.round(255 * encoded).astype(np.uint8))


def clean(light: Floats) -> Photo:
    return photo_of_light(light[..., np.newaxis] * WHITE)


def mapped(flat: Photo) -> Light:
    light, why_not = light_from_flat(flat, flat, PLANE)
    assert light is not None, why_not
    return light


def worst(light: Light, true: Floats) -> float:
    """Largest error over the board against its mean, L* at L* 50."""
    rows, columns = np.mgrid[226:550:9, 176:825:9]
    error = light.log_at(np.stack([columns, rows], axis=-1)) - np.log(true[rows, columns])
    return float(L_PER_UNIT * np.abs(error - error.mean()).max())


LIGHTS = {
    "even": np.full(SHAPE, 0.7),
    "cos4 10": cos4(10),
    "cos4 20": cos4(20),
    "cos4 30": cos4(30),
    "ramp along": ramp(0.4, 0),
    "ramp across": ramp(0.4, 90),
    "ramp askew": ramp(0.4, 215),
    "near lamp": lamp(1300),
}


@pytest.mark.parametrize("name", LIGHTS)
def test_a_clean_sheet_gives_the_light_to_a_twentieth_of_L(name: str) -> None:
    assert worst(mapped(clean(LIGHTS[name])), LIGHTS[name]) < 0.05


@pytest.mark.parametrize("name", LIGHTS)
def test_a_phones_photo_of_a_sheet_gives_it_to_a_tenth_of_L_and_knows(name: str) -> None:
    light = mapped(phone(LIGHTS[name]))
    assert worst(light, LIGHTS[name]) < 0.1
    assert light.findings == ()
    assert light.u_residual < 0.005


def spots(seed: int, count: int, radius_px: tuple[int, int], share: float) -> Floats:
    """What is left of the light on a sheet with round specks."""
    rng = np.random.default_rng(seed)
    left = np.ones(SHAPE)
    for _ in range(count):
        place = int(rng.integers(SHAPE[1])), int(rng.integers(SHAPE[0]))
        left[(x - place[0]) ** 2 + (y - place[1]) ** 2 < int(rng.integers(*radius_px)) ** 2] = share
    return left


def printed(lines: int) -> Floats:
    """A sheet with lines of print over the board's place."""
    ink = np.zeros(SHAPE, np.uint8)
    for line in range(lines):
        cv2.putText(ink, "boards and zones, one under another", (180, 250 + 16 * line), 0, 0.9, 255, 2)
    return np.where(ink > 0, 0.06, 1.0)


@pytest.mark.parametrize(
    ("spoilt", "name"),
    [(spots(1, 150, (1, 5), 0.2), "dust"), (spots(2, 10, (10, 18), 0.4), "stains"), (printed(2), "print")],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_dust_stains_and_a_line_of_print_leave_no_mark(spoilt: Floats, name: str) -> None:
    assert worst(mapped(phone(LIGHTS["ramp askew"] * spoilt)), LIGHTS["ramp askew"]) < 0.1, name


def mottle(standard_deviation: float) -> Floats:
    field = cv2.GaussianBlur(np.random.default_rng(3).standard_normal(SHAPE), (0, 0), 10)
    return np.asarray(1 + standard_deviation * field / field.std())


@pytest.mark.parametrize(
    ("flat", "reason"),
    [
        (LIGHTS["even"] * printed(18), "plain"),
        (LIGHTS["even"] * mottle(0.05), "plain"),
        (np.where(x < 600, 0.7, 0.2), "plain"),
        (LIGHTS["even"] * 0.1, "dark"),
        (LIGHTS["even"] * 1.6, "clipped"),
    ],
    ids=["page of print", "mottled", "covers two thirds", "dark", "clipped"],
)
def test_a_sheet_that_is_not_plain_dark_or_clipped_is_refused(flat: Floats, reason: str) -> None:
    light, why_not = light_from_flat(phone(flat), phone(flat), PLANE)
    assert light is None
    assert reason in why_not


def test_a_sheet_with_a_slight_mottle_serves_and_is_trusted_less() -> None:
    smooth, rough = mapped(phone(LIGHTS["even"])), mapped(phone(LIGHTS["even"] * mottle(0.012)))
    assert rough.u_residual > 1.3 * smooth.u_residual
    assert 0 < (smooth.residual or 0) < (rough.residual or 0) < rough.u_residual
    assert worst(rough, LIGHTS["even"]) < L_PER_UNIT * 1.96 * np.sqrt(2) * rough.u_residual


def test_a_sheet_that_ends_just_outside_the_board_carries_the_card_beside_it() -> None:
    light = LIGHTS["ramp along"]
    just = (x > 150) & (x < 850) & (y > 200) & (y < 575)
    true = np.log(light)
    shown = mapped(phone(np.where(just, light, 0.15)))
    assert worst(shown, light) < 0.1
    middle, card = FACE.mean(axis=0), CARD.mean(axis=0)
    rise = float(shown.log_at(card) - shown.log_at(middle))
    (mx, my), (cx, cy) = middle.astype(int), card.astype(int)
    assert rise == pytest.approx(true[cy, cx] - true[my, mx], abs=0.01)


def test_lamps_of_two_colours_are_kept_apart_channel_by_channel() -> None:
    left, right = ramp(0.3, 0)[..., np.newaxis], ramp(0.3, 180)[..., np.newaxis]
    light = np.clip(left + right * [1.3, 1.0, 0.75], 0, 2) / 2.2
    shown = mapped(photo_of_light(light))
    assert [finding.code for finding in shown.findings] == ["mixed-light"]
    ends = np.array([[200.0, 400.0], [800.0, 400.0]])
    told = np.diff(shown.log_RGB_at(ends), axis=0)[0]
    true = np.log(light[400, 800] / light[400, 200])
    assert told[0] - told[1] == pytest.approx(true[0] - true[1], abs=0.003)
    assert told[2] - told[1] == pytest.approx(true[2] - true[1], abs=0.003)
    assert true[0] - true[1] > 0.03
    L, a, b = shown.u_Lab_between(*ends)
    assert 0 < L < min(a, b)
    one = mapped(clean(ramp(0.3, 0)))
    assert one.findings == ()
    assert one.u_Lab_between(*ends) == pytest.approx(0)
    assert np.ptp(one.log_RGB_at(ends), axis=-1).max() == 0


def evened(light: Light, plane: Plane, shape: tuple[int, int], mm_per_px: float) -> NDArray[np.float32]:
    return gain_over(light, plane, shape, mm_per_px, CARD)


def test_gains_make_the_face_look_as_lit_like_the_card() -> None:
    """Compared at every pixel centre with the painted light; the card's light is its mean where it is read."""
    true = LIGHTS["ramp askew"]
    gain = evened(mapped(clean(true)), PLANE, (300, 600), 0.5)
    rows, columns = np.indices((300, 600))
    at = PLANE.to_px(np.stack([(columns + 0.5) * 0.5, (rows + 0.5) * 0.5], axis=-1))
    there = cv2.remap(true, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    inner = true[307:364, 870:951]
    assert gain.shape == (300, 600, 3)
    assert L_PER_UNIT * np.abs(gain[..., 1] * there / inner.mean() - 1).max() < 0.05


def test_without_a_map_nothing_is_evened() -> None:
    unmapped = Light(None, (1.0, 1.0), mapped=False, px_per_mm=2.0)
    assert (evened(unmapped, PLANE, (20, 40), 0.5) == 1).all()


def test_a_board_of_any_length_can_be_asked_for() -> None:
    """The map is asked at more than 32767 places at once, where OpenCV's resampling gives up."""
    light = mapped(clean(LIGHTS["cos4 10"]))
    points = np.full((200, 300, 2), 400.0)
    assert light.log_at(points) == pytest.approx(np.full((200, 300), float(light.log_at([400.0, 400.0]))))
    assert light.log_at(np.empty((0, 2))).shape == (0,)
