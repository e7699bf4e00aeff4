"""Uneven light: divided out where a plain sheet was photographed, carried in the uncertainty where not.

Painted without noise, so that what is left over is the correction's own.
"""

from collections.abc import Iterable

import cv2
import numpy as np
import pytest
from board_photos import Floats, photo_of, photo_of_light
from numpy.typing import NDArray
from simulator import Board, Camera, GrayCard, PaintedZone, Scene, render
from simulator import Light as Lamps
from simulator.strips_in_scene import strips_beside
from strip_photos import TABLE, printed

from calibration.colorspace import XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.flatboard import FlatBoard, flat_board
from calibration.place import locate

SHAPE = (600, 800)
BOARD = np.array([[110.0, 80.0], [690.0, 80.0], [690.0, 370.0], [110.0, 370.0]])
CARD = np.array([[320.0, 430.0], [480.0, 430.0], [480.0, 530.0], [320.0, 530.0]])
SIZE_mm = (290.0, 145.0)  # 2 px/mm
CENTRE = (np.array(SHAPE[::-1]) - 1) / 2
Y_OF_L50 = 0.184187  # ISO/CIE 11664-4
SHEET = 0.75


def cos4(angle_deg: float, at: Floats = BOARD[0]) -> Floats:
    """Light (rows, columns, 1) that falls off with the fourth power of the cosine, `angle_deg` at a point."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    focal = np.hypot(*(at - CENTRE)) / np.tan(np.radians(angle_deg))
    return (1 / (1 + np.hypot(x - CENTRE[0], y - CENTRE[1]) ** 2 / focal**2) ** 2)[..., None]


def ramp(share: float, direction_deg: float = 0.0) -> Floats:
    """Light that falls straight by `share` over the board's length."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    along = np.cos(np.radians(direction_deg)) * (x - CENTRE[0]) + np.sin(np.radians(direction_deg)) * (y - CENTRE[1])
    return (1 - share * along / (BOARD[1, 0] - BOARD[0, 0]))[..., None]


def filled(light: Floats, quads: Iterable[tuple[Floats, float]]) -> Floats:
    for quad, level in quads:
        mask = np.zeros(SHAPE, np.uint8)
        cv2.fillConvexPoly(mask, quad.astype(np.int32), 1)
        light[mask > 0] = level
    return light


def on_table(Y: float = Y_OF_L50) -> Floats:
    return filled(np.full((*SHAPE, 3), 0.5), [(BOARD, Y), (CARD, 0.18)])


def sheet(level: float = SHEET) -> Floats:
    return np.full((*SHAPE, 3), level)


def measured(light: Floats, flat: Floats | None) -> FlatBoard:
    photo = photo_of_light(np.clip(on_table() * light, 0, 0.99))
    place = locate(photo, SIZE_mm, corners=BOARD, card=CARD)
    return flat_board(photo, place, SIZE_mm, flat=None if flat is None else photo_of_light(flat))


def lightness(board: FlatBoard) -> NDArray[np.float64]:
    """L* of the face without its outermost 2 mm, where the photo's pixels mix with the table."""
    rim = round(2 / board.mm_per_px)
    return XYZ_to_Lab(board.XYZ)[rim:-rim, rim:-rim, 0]


def codes(board: FlatBoard) -> list[str]:
    return [finding.code for finding in board.findings]


@pytest.mark.parametrize(("angle_deg", "fall"), [(10, 0.059), (20, 0.220)])
def test_cos4_fall_off_is_divided_out_to_a_twentieth_of_L(angle_deg: float, fall: float) -> None:
    """10 degrees: 5.9 % darker, 20 degrees: 22.0 % (cos^4 itself). Uncorrected that is 1.3 and 5.2 L* at L* 50."""
    light = cos4(angle_deg)
    corner = light[80, 110, 0]
    assert 1 - corner == pytest.approx(fall, abs=5e-4)
    board = measured(light, sheet() * light)
    assert np.abs(lightness(board) - 50).max() < 0.05
    assert board.light_range == pytest.approx(fall, abs=0.01)
    assert "light-not-mapped" not in codes(board)


def test_without_a_sheet_the_same_light_is_left_in() -> None:
    assert np.ptp(lightness(measured(cos4(20), None))) > 4
    assert measured(cos4(20), None).light_range is None


@pytest.mark.parametrize("share", [0.05, 0.3])
@pytest.mark.parametrize("direction_deg", [0, 90, 200])
def test_a_straight_fall_off_is_divided_out(share: float, direction_deg: float) -> None:
    light = ramp(share, direction_deg)
    assert np.abs(lightness(measured(light, sheet() * light)) - 50).max() < 0.05


def test_the_sheets_own_exposure_does_not_matter() -> None:
    light = cos4(15)
    full, half = measured(light, sheet() * light), measured(light, 0.5 * sheet() * light)
    assert lightness(half) == pytest.approx(lightness(full), abs=0.01)


def test_dust_and_a_line_of_print_on_the_sheet_leave_no_mark() -> None:
    light = cos4(15)
    flat = sheet() * light
    rng = np.random.default_rng(4)
    for x, y in rng.integers((120, 90), (680, 360), (60, 2)):
        flat[y : y + 3, x : x + 3] *= 0.5
    flat[200:203, 150:400] *= 0.6
    assert np.abs(lightness(measured(light, flat)) - 50).max() < 0.1


UNFIT = {
    "dark": (sheet(0.06), "dark"),
    "clipped": (sheet(1.0), "clipped"),
    "patterned": (np.where((np.arange(SHAPE[1]) // 30 % 2)[None, :, None], 0.75, 0.60) * np.ones((*SHAPE, 1)), "plain"),
    "the board itself": (on_table(0.35), "plain"),
    "half of the board on it": (filled(sheet(), [(BOARD * [0.5, 1], 0.3)]), "plain"),
    "of another size": (np.full((300, 400, 3), 0.7), "size"),
}


@pytest.mark.parametrize("what", [what for what in UNFIT if what != "the board itself"])
def test_a_sheet_that_cannot_serve_is_told_and_not_used(what: str) -> None:
    flat, reason = UNFIT[what]
    board = measured(cos4(10), np.repeat(flat, 3, axis=2) if flat.shape[2] == 1 else flat)
    (finding,) = [finding for finding in board.findings if finding.code == "flat-unusable"]
    assert reason in finding.message
    assert "light-not-mapped" in codes(board)
    assert board.light_range is None
    assert lightness(board) == pytest.approx(lightness(measured(cos4(10), None)), abs=1e-6)


@pytest.mark.parametrize("level", [0.12, 0.95])
def test_a_sheet_just_bright_or_dark_enough_serves(level: float) -> None:
    board = measured(cos4(10), sheet(level) * cos4(10))
    assert codes(board).count("flat-unusable") == 0
    assert np.abs(lightness(board) - 50).max() < 0.1


PLACES_mm = [(10.0, 10.0), (145.0, 72.0), (280.0, 10.0), (280.0, 135.0), (10.0, 135.0)]


@pytest.mark.parametrize("light", [ramp(0.04), ramp(0.15, 30), ramp(0.35, 250), cos4(10), cos4(20)])
def test_unmapped_light_is_held_by_its_uncertainty(light: Floats) -> None:
    """Between any two places of the board the painted ratio of light lies inside 1.96 u, card and board too."""
    board = measured(light, None)
    places = [*board.plane.to_px(PLACES_mm), CARD.mean(axis=0)]
    for first in places:
        for second in places:
            a, b = (light[round(y), round(x), 0] for x, y in (first, second))
            assert abs(np.log(a / b)) <= 1.96 * board.light.u_between(first, second) + 1e-3


def test_even_light_that_was_seen_costs_little() -> None:
    board = measured(ramp(0.0), None)
    first, second = board.plane.to_px([(10.0, 70.0), (280.0, 70.0)])
    assert board.light.u_between(first, second) < 0.01


def test_mapped_light_costs_least() -> None:
    light = ramp(0.2)
    first, second = BOARD[0] + 20, BOARD[2] - 20
    mapped, unmapped = measured(light, sheet() * light), measured(light, None)
    assert mapped.light.u_between(first, second) < 0.01 < unmapped.light.u_between(first, second)


@pytest.mark.parametrize(("block_px", "channels"), [(30, 3), (6, 1)], ids=["coloured clutter", "gravel"])
def test_light_that_nothing_tells_of_costs_more_the_farther_apart(block_px: int, channels: int) -> None:
    """No calm background, no sheet."""
    rng = np.random.default_rng(1)
    blocks = rng.uniform(0.03, 0.95, (SHAPE[0] // block_px, SHAPE[1] // block_px + 1, channels))
    table = np.broadcast_to(blocks, (*blocks.shape[:2], 3)).repeat(block_px, axis=0).repeat(block_px, axis=1)
    photo = photo_of_light(filled(table[: SHAPE[0], : SHAPE[1]], [(BOARD, Y_OF_L50), (CARD, 0.18)]))
    board = flat_board(photo, locate(photo, SIZE_mm, corners=BOARD, card=CARD), SIZE_mm)
    near, far = (board.light.u_between((150, 100), (x, 100)) for x in (200, 650))
    assert near < far
    assert far > 0.05


STAINED = ((50.0, 0.0, 0.0), (42.0, 12.0, 20.0), (60.0, 8.0, 24.0), (33.0, 12.0, 16.0))


def stained_between_strips(light: Lamps) -> FlatBoard:
    """A board of four colours, 300 x 150 mm, between its strips, noisy as a phone's photo; a camera without error."""
    spans = [(75.0 * k, 75.0 * (k + 1)) for k in range(4)]
    zones = tuple(PaintedZone(f"z{k}", span, Lab) for k, (span, Lab) in enumerate(zip(spans, STAINED, strict=True)))
    board = Board("A", 300, 150, zones)
    scene = Scene(
        (board,),
        GrayCard((70, 100), (325, 25)),
        light=light,
        papers=strips_beside(board, printed(300)),
        background=TABLE,
    )
    camera = Camera(
        sensor="ideal",
        size_px=(2100, 1150),
        px_per_mm=4.5,
        roll_deg=2,
        tilt_deg=(4, -5),
        white_balance_error=(0, 0),
        exposure_EV=-0.3,
        full_well_e=8000,
    )
    rendered = render(scene, camera, seed=3)
    photo = photo_of(rendered)
    place = locate(photo, (300, 150), card=np.array(rendered.truth.card_corners_px))
    return flat_board(photo, place, (300, 150))


def zone_Lab(board: FlatBoard, number: int) -> Floats:
    rows, columns = (
        slice(round(start / board.mm_per_px), round(end / board.mm_per_px))
        for start, end in ((5, 145), (75 * number + 5, 75 * number + 70))
    )
    return XYZ_to_Lab(board.XYZ[rows, columns].mean(axis=(0, 1)))


@pytest.mark.parametrize(
    "light",
    [Lamps(gradient=0.4, direction_deg=35), Lamps(gradient=0.4, direction_deg=90), Lamps(radial=0.4)],
    ids=["askew", "across", "round"],
)
def test_strips_take_a_falloff_of_40_percent_out_of_a_noisy_photo(light: Lamps) -> None:
    """Colour differences of all pairs of zones within 0.3 on average and 0.7 at most; 0.4 L* over the gray zone."""
    board = stained_between_strips(light)
    assert board.light_range == pytest.approx(0.4, abs=0.03)
    seen, true = [zone_Lab(board, k) for k in range(4)], [np.array(Lab) for Lab in STAINED]
    pairs = [(i, j) for i in range(4) for j in range(i)]
    errors = [abs(float(delta_E_00(seen[i], seen[j]) - delta_E_00(true[i], true[j]))) for i, j in pairs]
    assert np.mean(errors) < 0.3
    assert max(errors) < 0.7
    rim, column = round(5 / board.mm_per_px), round(70 / board.mm_per_px)
    blocks = cv2.blur(XYZ_to_Lab(board.XYZ)[rim:-rim, rim:column, 0].astype(np.float32), (25, 25))[13:-13, 13:-13]
    assert np.abs(blocks - 50).max() < 0.6  # 0.4, and the card's noise
    assert 0 < (board.light.residual or 0) < 0.005
    assert not {"shadow-edge", "light-residual", "mixed-light", "card-beyond-strips"} & set(codes(board))


def test_the_background_is_never_used_to_correct() -> None:
    """With neither strips nor sheet the face is left as lit: 35 % of falloff stays in it."""
    light = ramp(0.35, 0)
    board = measured(light, None)
    Y = board.XYZ[..., 1][30:-30, 30:-30].mean(axis=0)
    true = light[225, 110:690, 0]
    assert Y[-1] / Y[0] == pytest.approx(true[-24] / true[24], rel=0.03)
    assert board.light_range is None


def test_the_warning_of_uneven_light_comes_at_its_limit() -> None:
    """10 % over the board as the background shows it: 14 % is told, 6 % is not."""
    assert "light-uneven" in codes(measured(ramp(0.14), None))
    assert "light-uneven" not in codes(measured(ramp(0.06), None))


def test_the_note_on_unmapped_light_tells_what_it_could_look_like() -> None:
    """dL* = 116/3 Y^(1/3) x share, from CIE 1976: 12 % at L* 50 is 2.6 L*."""
    (note,) = [finding for finding in measured(ramp(0.12), None).findings if finding.code == "light-not-mapped"]
    percent = float(note.message.split(" %")[0].rsplit(" ", 1)[1])
    told = float(note.message.split("look like ")[1].split(" L*")[0])
    assert percent == pytest.approx(13, abs=2)  # (max - min) / max along the diagonal
    assert told == pytest.approx(116 / 3 * np.cbrt(Y_OF_L50) * percent / 100, abs=0.15)
