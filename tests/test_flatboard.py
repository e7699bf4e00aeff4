"""One photo in, one flat board out: the whole way, and what the checks say on it.

Each finding has a photo that just brings it and one that just does not. Photos are painted in light, or simulated
where the scene's own truth is compared.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from board_photos import (
    FAULTLESS,
    Floats,
    card_corners,
    corners,
    photo_of,
    photo_of_codes,
    photo_of_light,
    saved,
    taken,
)
from numpy.typing import NDArray
from simulator import Background, Board, GlareSpot, GrayCard, Light, PaintedZone, RenderedPhoto, Scene, gaussian_field

from calibration.colorspace import D50, XYZ_to_Lab
from calibration.errors import CalibrationError, PlaceError, ReferenceCardError
from calibration.findings import REGISTRY, Severity, finding_of
from calibration.flatboard import FlatBoard, flat_board, photo_findings
from calibration.photo import Photo
from calibration.place import locate

SIZE_mm = (290.0, 145.0)

# A painted photo: table, board and card, the board at 2.6 px/mm.
SHAPE = (760, 1000)
BOARD = np.array([[120.0, 80.0], [880.0, 80.0], [880.0, 460.0], [120.0, 460.0]])
CARD = np.array([[420.0, 530.0], [600.0, 530.0], [600.0, 660.0], [420.0, 660.0]])
SMALL_CARD = CARD.mean(axis=0) + 0.37 * (CARD - CARD.mean(axis=0))


def painted(
    board_Y: float = 0.15, *, table: float = 0.5, card: Floats = CARD, times: float = 1.0, blur_px: float = 0.8
) -> Floats:
    light = np.full((*SHAPE, 3), table)
    for quad, level in ((BOARD, board_Y), (card, 0.18)):
        mask = np.zeros(SHAPE, np.uint8)
        cv2.fillConvexPoly(mask, np.round(quad).astype(np.int32), 1)
        light[mask > 0] = level
    return times * cv2.GaussianBlur(light, (0, 0), blur_px)


def measured(light: Floats | Photo, size_mm: tuple[float, float] = SIZE_mm, **given: Any) -> FlatBoard:  # noqa: ANN401
    photo = light if isinstance(light, Photo) else photo_of_light(light)
    return flat_board(photo, locate(photo, size_mm, **given), size_mm)


def codes(board: FlatBoard) -> list[str]:
    return [finding.code for finding in board.findings]


def ramp(share: float, first: float, last: float) -> Floats:
    """Light that falls straight by `share` between two columns."""
    return (1 - share * (np.arange(SHAPE[1]) - first) / (last - first))[None, :, None]


def with_block(light: Floats, rows: slice, columns: slice, value: float) -> Floats:
    light = light.copy()
    light[rows, columns] = value
    return light


@dataclass(frozen=True)
class Border:
    """Photos on either side of a finding's limit."""

    brings: Callable[[], FlatBoard]
    does_not: Callable[[], FlatBoard]


def wavy(amplitude_px: float) -> Floats:
    """The board's long edges wave, as if cut by hand; 1.3 px/mm."""
    x = np.linspace(120, 880, 200)
    wave = amplitude_px * np.sin(2 * np.pi * x / 37)
    outline = np.concatenate([np.stack([x, 80 + wave], 1), np.stack([x, 460 + wave], 1)[::-1]])
    light = with_block(painted(table=0.5), slice(60, 480), slice(100, 900), 0.5)
    mask = np.zeros(SHAPE, np.uint8)
    cv2.fillPoly(mask, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    light[mask > 0] = 0.15
    return cv2.GaussianBlur(light, (0, 0), 0.8)


def upright(light: Floats) -> Floats:
    return np.rot90(light, -1).copy()


BORDERS = {
    "too-few-pixels": Border(lambda: measured(painted(), (310, 155)), lambda: measured(painted(), (300, 150))),
    "board-turned": Border(lambda: measured(upright(painted())), lambda: measured(painted())),
    "outline-rough": Border(lambda: measured(wavy(1.6), (580, 290)), lambda: measured(wavy(0.3), (580, 290))),
    "board-cut-off": Border(
        lambda: measured(painted(), corners=BOARD - [140, 0]), lambda: measured(painted(), corners=BOARD - [122, 0])
    ),
    "corners-misfit": Border(
        lambda: measured(painted(), corners=np.roll(BOARD, -1, axis=0)),
        lambda: measured(painted(), corners=BOARD),
    ),
    "card-uneven": Border(
        lambda: measured(painted() * ramp(0.10, *CARD[:2, 0])), lambda: measured(painted() * ramp(0.05, *CARD[:2, 0]))
    ),
    "card-small": Border(
        lambda: measured(painted(card=SMALL_CARD), card=SMALL_CARD), lambda: measured(painted(), card=CARD)
    ),
    "card-dark": Border(lambda: measured(painted(times=0.2)), lambda: measured(painted(times=0.25))),
    "too-dark": Border(lambda: measured(painted(0.03)), lambda: measured(painted(0.05))),
    "clipped": Border(
        lambda: measured(with_block(painted(), slice(200, 222), slice(300, 322), 1.0)),
        lambda: measured(with_block(painted(), slice(200, 212), slice(300, 312), 1.0)),
    ),
    "blurred": Border(lambda: measured(painted(blur_px=1.6)), lambda: measured(painted(blur_px=0.8))),
    "light-uneven": Border(
        lambda: measured(painted(table=0.4) * ramp(0.14, *BOARD[:2, 0])),
        lambda: measured(painted(table=0.4) * ramp(0.06, *BOARD[:2, 0])),
    ),
}


@pytest.mark.parametrize("code", BORDERS)
def test_a_finding_comes_when_it_must_and_stays_away_when_it_must(code: str) -> None:
    found = codes(BORDERS[code].brings())
    assert found.count(code) == 1
    assert code not in codes(BORDERS[code].does_not())


@pytest.mark.parametrize("code", BORDERS)
def test_a_finding_says_what_was_found_and_what_to_do(code: str) -> None:
    (finding,) = [finding for finding in BORDERS[code].brings().findings if finding.code == code]
    assert finding.severity is Severity.WARNING
    assert "{" not in finding.message
    assert finding.message.endswith(".")
    assert finding.remedy == REGISTRY[code].remedy


def test_a_good_photo_brings_nothing_but_the_note_on_the_light() -> None:
    assert codes(measured(painted())) == ["light-not-mapped"]


@pytest.mark.parametrize(
    ("light", "given", "size_mm", "error", "code"),
    [
        (painted(), {}, (800, 400), PlaceError, "far-too-few-pixels"),
        (painted(), {}, (300, 60), PlaceError, "board-not-found"),
        (painted(), {"corners": BOARD[[0, 2, 1, 3]]}, SIZE_mm, PlaceError, "board-not-found"),
        (painted(), {"corners": BOARD + 3000}, SIZE_mm, PlaceError, "board-not-found"),
        (painted(), {"corners": 1e7 * (BOARD - 500)}, SIZE_mm, PlaceError, "board-not-found"),
        (painted(card=0.01 * CARD), {}, SIZE_mm, ReferenceCardError, "card-missing"),
        (painted(), {"card": CARD + 2000}, SIZE_mm, ReferenceCardError, "card-missing"),
        (painted(), {"card": CARD[[0, 2, 1, 3]]}, SIZE_mm, ReferenceCardError, "card-missing"),
        (painted(times=6), {"card": CARD, "corners": BOARD}, SIZE_mm, ReferenceCardError, "card-clipped"),
    ],
)
def test_what_cannot_be_measured_is_refused_with_a_remedy(
    light: Floats, given: dict[str, Any], size_mm: tuple[float, float], error: type[CalibrationError], code: str
) -> None:
    """The finding that a report shows says the same."""
    with pytest.raises(error) as refused:
        measured(light, size_mm, **given)
    assert refused.value.code == code
    assert refused.value.remedy
    assert refused.value.photo == "painted.png"
    finding = finding_of(refused.value)
    assert finding.severity is Severity.UNUSABLE
    assert finding.message
    assert finding.remedy


def test_just_enough_pixels_are_measured() -> None:
    """1 px/mm is the limit; here 1.02."""
    assert "too-few-pixels" in codes(measured(painted(), (745, 372.5)))


def test_the_quick_check_says_what_measuring_says() -> None:
    """All but what is known only of the flat board: the note on unmapped light."""
    for light, size_mm in ((painted(), SIZE_mm), (painted(0.03), SIZE_mm), (painted(), (310.0, 155.0))):
        photo = photo_of_light(light)
        place = locate(photo, size_mm)
        quick = {finding.code for finding in photo_findings(photo, place, size_mm)}
        assert quick == set(codes(flat_board(photo, place, size_mm))) - {"light-not-mapped"}


def test_a_painted_board_is_measured_to_a_hundredth_of_L() -> None:
    board = measured(painted(0.15))
    inner = board.XYZ[20:-20, 20:-20]
    expected = XYZ_to_Lab(0.15 * D50)
    assert np.abs(XYZ_to_Lab(inner.astype(np.float64)) - expected).max() < 0.02
    assert board.measurable[20:-20, 20:-20].all()
    assert board.photo_px_per_mm == pytest.approx(760 / 290, rel=0.01)


def test_the_card_and_its_rim_on_the_board_are_not_measurable() -> None:
    card = np.array([[400.0, 200.0], [580.0, 200.0], [580.0, 330.0], [400.0, 330.0]])
    board = measured(painted(card=card), card=card, corners=BOARD)
    y, x = np.mgrid[0 : board.XYZ.shape[0], 0 : board.XYZ.shape[1]] * board.mm_per_px
    px_per_mm = 760 / 290
    under = (
        (x > (400 - 120) / px_per_mm) & (x < (580 - 120) / px_per_mm)
        & (y > (200 - 80) / px_per_mm) & (y < (330 - 80) / px_per_mm)
    )  # fmt: skip
    assert not board.measurable[under].any()
    near = cv2.dilate(under.astype(np.uint8), np.ones((11, 11), np.uint8)).astype(bool)  # 2 mm around it
    assert not board.measurable[near].any()
    far = cv2.dilate(under.astype(np.uint8), np.ones((31, 31), np.uint8)).astype(bool)  # 6 mm
    assert board.measurable[~far].all()


COLOURS = {"control": (38.0, 14.0, 22.0), "washcoat": (47.0, 15.0, 27.0), "glue": (52.0, 12.0, 26.0)}


def blotch(shape: tuple[int, int], mm_per_px: float) -> NDArray[np.float32]:
    return gaussian_field(shape, mm_per_px, seed=3)


@lru_cache(maxsize=8)
def simulated(**camera: Any) -> RenderedPhoto:  # noqa: ANN401 - fields of Camera
    """Three painted zones, blotchy by 1 L*, in perspective."""
    zones = tuple(
        PaintedZone(name, (100.0 * k, 100.0 * k + 100), Lab, blotch) for k, (name, Lab) in enumerate(COLOURS.items())
    )
    scene = Scene(
        (Board("A", 300, 120, zones),),
        GrayCard((80, 55), (110, 145), 5.0),
        background=Background((32, 0, -2)),
        light=Light("D50"),
    )
    return taken(scene, 4, **{"size_px": (1400, 1050), "tilt_deg": (8, -6), "roll_deg": 3, "sensor": "ideal"} | camera)


def zone_Labs(photo: Photo, place_of: RenderedPhoto | None = None, mirrored: bool = False) -> Floats:
    given: dict[str, Any] = {}
    if place_of is not None:
        width = photo.codes.shape[1]
        quads = corners(place_of), card_corners(place_of)
        if mirrored:
            quads = tuple(np.stack([width - 1 - quad[:, 0], quad[:, 1]], axis=1) for quad in quads)
        given = dict(zip(("corners", "card"), quads, strict=True))
    board = measured(photo, (300, 120), **given)
    per_mm = 1 / board.mm_per_px
    means = [
        board.XYZ[
            round(5 * per_mm) : round(115 * per_mm), round((100 * k + 5) * per_mm) : round((100 * k + 95) * per_mm)
        ]
        for k in range(3)
    ]
    return np.array([XYZ_to_Lab(zone.mean(axis=(0, 1), dtype=np.float64)) for zone in means])


def truth() -> Floats:
    return np.array([zone.Lab for zone in simulated().truth.board("A").zones])


def test_a_simulated_board_has_its_true_colours() -> None:
    """The ideal camera under D50, its white balance a little off: what is left is that error through its matrix."""
    right_balance = {"white_balance_error": (0.0, 0.0)}
    assert zone_Labs(photo_of(simulated(**right_balance))) == pytest.approx(truth(), abs=0.1)
    assert zone_Labs(photo_of(simulated())) == pytest.approx(truth(), abs=0.6)


@pytest.mark.parametrize("stops", [-0.7, 0.7])
def test_exposure_leaves_the_colours(stops: float) -> None:
    assert zone_Labs(photo_of(simulated(exposure_EV=stops))) == pytest.approx(zone_Labs(photo_of(simulated())), abs=0.3)


def test_a_mirrored_photo_with_mirrored_corners_gives_the_same_board() -> None:
    rendered = simulated()
    mirrored = photo_of_codes(np.ascontiguousarray(rendered.codes[:, ::-1]))
    straight = zone_Labs(photo_of(rendered), rendered)
    assert zone_Labs(mirrored, rendered, mirrored=True) == pytest.approx(straight, abs=0.02)


def test_a_wide_gamut_photo_of_the_same_scene_gives_the_same_colours() -> None:
    """sRGB and Display P3, each with its profile, through files."""
    in_srgb, in_p3 = simulated(white_balance_error=(0.0, 0.0)), simulated(white_balance_error=(0.0, 0.0), profile="p3")
    assert zone_Labs(photo_of(in_p3)) == pytest.approx(zone_Labs(photo_of(in_srgb)), abs=0.15)
    assert (
        zone_Labs(replace(photo_of(in_p3), to_XYZ=photo_of(in_srgb).to_XYZ))[0][1] < truth()[0][1] - 1
    )  # read as sRGB


@pytest.mark.parametrize(("quality", "least_step"), [(95, 0.45), (75, 1.1)])
def test_jpeg_leaves_the_colours_to_its_own_steps(tmp_path: Path, quality: int, least_step: float) -> None:
    """A block's mean chroma is kept in steps of a quarter to one code, and even colours are all rounded alike."""
    photo = saved(tmp_path, simulated(), quality=quality)
    assert zone_Labs(photo) == pytest.approx(zone_Labs(photo_of(simulated())), abs=least_step)


def test_calling_twice_gives_the_same_bits() -> None:
    photo = photo_of(simulated())
    first, second = (measured(photo, (300, 120)) for _ in range(2))
    assert np.array_equal(first.XYZ, second.XYZ)
    assert np.array_equal(first.measurable, second.measurable)
    assert first.findings == second.findings


def test_corners_found_and_corners_given_agree() -> None:
    rendered = simulated()
    assert zone_Labs(photo_of(rendered)) == pytest.approx(zone_Labs(photo_of(rendered), rendered), abs=0.03)


def test_a_highlight_that_clips_is_told_and_left_out() -> None:
    zone = PaintedZone("all", (0.0, 200.0), (45.0, 14.0, 24.0))
    spot = GlareSpot((60.0, 60.0), 4.0, 3.0)
    scene = Scene(
        (Board("A", 200, 120, (zone,)),),
        GrayCard((80, 55), (60, 140)),
        background=Background((32, 0, -2)),
        glare=(spot,),
    )
    board = measured(photo_of(taken(scene, **FAULTLESS)), (200, 120))
    assert "clipped" in codes(board)
    row, column = round(60 / board.mm_per_px), round(60 / board.mm_per_px)
    assert board.full_scale[row, column]
    assert not board.measurable[row, column]
    assert board.full_scale.sum() * board.mm_per_px**2 == pytest.approx(np.pi * 4**2 * 2 * np.log(3 / 0.85), rel=0.25)


def test_neither_photo_nor_place_is_changed() -> None:
    photo = photo_of_light(painted())
    place = locate(photo, SIZE_mm)
    before = photo.codes.copy(), place.board.copy(), place.card.copy()
    flat_board(photo, place, SIZE_mm)
    assert all(np.array_equal(a, b) for a, b in zip(before, (photo.codes, place.board, place.card), strict=True))
