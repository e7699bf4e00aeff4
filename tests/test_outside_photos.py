"""Pictures that nobody made for us: chart photos, wood textures, a table with a cup.

They come from published packages and are read from their files without importing them; a test is skipped where its
package is not installed (`pip install --no-deps NAME`). scikit-image is always there.
"""

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from board_jobs import write_job, zone_of
from board_photos import Floats
from numpy.typing import NDArray
from PIL import Image
from real_charts import package_file, real_chart_codes
from simulator import Board, PaintedZone
from simulator.spectra import RGB_to_XYZ_D50, XYZ_to_Lab

from analyzer import measure_job
from analyzer.results import Results
from calibration.camera import card_XYZ, gray_card_correction
from calibration.colorspace import XYZ_to_Lab as ours
from calibration.errors import ReferenceCardError
from calibration.photo import Photo, open_photo
from calibration.reference import read_gray_card

# --- real photos of a 24-patch colour chart ---------------------------------------------------------------------------
# Centres of the six neutral patches, white to black, and half a side of the area read, measured by hand.
CHARTS = {
    "warm lamp, on cloth": ([(313, 464), (375, 463), (438, 462), (501, 460), (563, 459), (622, 458)], 17),
    "warm lamp, at a wall": ([(514, 482), (574, 487), (636, 491), (699, 496), (764, 500), (833, 504)], 17),
    "by a window": ([(311, 452), (393, 454), (474, 457), (557, 460), (639, 463), (722, 465)], 24),
}
# L* of the neutral patches as published for charts made from November 2014 on (colour-science, CCS_COLOURCHECKERS).
NEUTRAL_L = (95.19, 81.29, 66.89, 50.76, 35.63, 20.64)
MIDDLE = 3  # the patch that is given as the card


@pytest.fixture(params=CHARTS)
def chart(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Photo, list[Floats]]:
    """Name, photo, and the corners of its neutral patches."""
    centres, half = CHARTS[request.param]
    Image.fromarray(real_chart_codes(request.param)).save(tmp_path / "chart.png")
    square = half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    return request.param, open_photo(tmp_path / "chart.png"), [np.array(centre) + square for centre in centres]


def test_a_neutral_patch_given_as_the_card_makes_the_others_neutral(chart: tuple[str, Photo, list[Floats]]) -> None:
    """Under strongly coloured light: a* and b* of the other grays stay within 1.5, where uncorrected they reach 30."""
    _, photo, patches = chart
    matrix = gray_card_correction(
        photo, read_gray_card(photo, patches[MIDDLE]), card_XYZ(None, (NEUTRAL_L[MIDDLE], 0, 0))
    )
    for patch, L in zip(patches[1:], NEUTRAL_L[1:], strict=True):
        seen = ours(matrix @ read_gray_card(photo, patch).linear_RGB)
        assert np.abs(seen[1:]).max() < 1.5
        assert seen[0] == pytest.approx(L, abs=5)  # uneven light over the chart, and the camera's own tone curve
    balanced = ours(photo.to_XYZ @ read_gray_card(photo, patches[MIDDLE]).linear_RGB)
    assert np.hypot(*balanced[1:]) > 6


def test_the_grays_keep_their_order_and_spacing(chart: tuple[str, Photo, list[Floats]]) -> None:
    _, photo, patches = chart
    levels = [read_gray_card(photo, patch).linear_RGB[1] for patch in patches[1:]]
    assert (np.diff(levels) < 0).all()
    assert levels[0] / levels[2] == pytest.approx(0.5838 / 0.1905, rel=0.2)  # Y of L* 81.29 and 50.76


def test_a_clipped_white_patch_is_no_card(chart: tuple[str, Photo, list[Floats]]) -> None:
    name, photo, patches = chart
    if name == "warm lamp, on cloth":
        with pytest.raises(ReferenceCardError, match="full scale"):
            read_gray_card(photo, patches[0])
    else:
        assert read_gray_card(photo, patches[0]).clipped < 0.02


def test_a_patch_is_calm_and_its_uncertainty_small(chart: tuple[str, Photo, list[Floats]]) -> None:
    _, photo, patches = chart
    reading = read_gray_card(photo, patches[MIDDLE])
    assert (reading.u_relative < 0.01).all()
    assert reading.left_out < 0.05


# --- pictures of wood as boards ---------------------------------------------------------------------------------------
WOODS = {
    "vpython": ["vpython/vpython_data/wood_texture.jpg", "vpython/vpython_data/wood_old_texture.jpg"],
    "metaworld": [
        "metaworld/assets/textures/wood_light.png",
        "metaworld/assets/textures/light_wood_v3.png",
        "metaworld/assets/textures/wood1.png",
        "metaworld/assets/textures/wood3.png",
        "metaworld/assets/textures/darkwood.png",
    ],
}
FACE = (400, 800)  # pixels of the board in the photo: 100 x 200 mm
EDGE = 60


def wood_codes(path: Path) -> NDArray[np.uint8]:
    with Image.open(path) as stored:
        picture = stored.convert("RGB")
        side = min(picture.width, 2 * picture.height)
        return np.asarray(picture.crop((0, 0, side, side // 2)).resize(FACE[::-1], Image.Resampling.LANCZOS))


def as_board(folder: Path, face: NDArray[np.uint8]) -> Results:
    """The picture laid as a board on a gray sheet, a gray card beside it, its corners given as a finisher would."""
    photo = np.full((FACE[0] + 260 + EDGE, FACE[1] + 2 * EDGE, 3), 150, np.uint8)
    photo[EDGE : EDGE + FACE[0], EDGE : EDGE + FACE[1]] = face
    top = EDGE + FACE[0] + 50
    photo[top : top + 160, 300:540] = 118  # 0.181 of full scale (IEC 61966-2-1)
    Image.fromarray(photo).save(folder / "wood.png")
    left, right, upper, lower = EDGE - 0.5, EDGE + FACE[1] - 0.5, EDGE - 0.5, EDGE + FACE[0] - 0.5
    corners = [[left, upper], [right, upper], [right, lower], [left, lower]]
    zones = tuple(
        PaintedZone(name, span, (50, 0, 0)) for name, span in (("left", (0.0, 100.0)), ("right", (100.0, 200.0)))
    )
    board = Board("W", 200, 100, zones)
    write_job(
        folder,
        [board],
        [{"file": "wood.png", "board": "W", "corners": corners}],
        reference={"kind": "gray-card", "reflectance": 0.1812},
    )
    return measure_job(folder).results


def true_Lab(face: NDArray[np.uint8], left_mm: float) -> Floats:
    """CIELAB of the mean light of a zone without its margin of 5 mm, by the simulator's own formulas."""
    part = face[20:-20, round(4 * (left_mm + 5)) : round(4 * (left_mm + 95))] / 255.0
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return XYZ_to_Lab(linear.mean(axis=(0, 1)) @ RGB_to_XYZ_D50("srgb").T)


@pytest.mark.parametrize(("package", "path"), [(package, path) for package, paths in WOODS.items() for path in paths])
def test_a_picture_of_wood_goes_the_whole_way(tmp_path: Path, package: str, path: str) -> None:
    """Its mean colour comes out as it is, and every number is one."""
    face = wood_codes(package_file(package, path))
    results = as_board(tmp_path, face)
    assert results.photos[0].usable
    for name, left in (("left", 0.0), ("right", 100.0)):
        zone = zone_of(results, f"W/{name}")
        assert zone.blotch is not None
        assert zone.figure is not None
        assert zone.masked < 0.3
        if zone.masked < 0.005:
            assert zone.lab == pytest.approx(true_Lab(face, left), abs=0.15)


def test_flaking_paint_is_far_blotchier_than_even_wood(tmp_path: Path) -> None:
    values = {}
    for path in ("wood_texture.jpg", "wood_old_texture.jpg"):
        (tmp_path / path).mkdir()
        results = as_board(tmp_path / path, wood_codes(package_file("vpython", f"vpython/vpython_data/{path}")))
        values[path] = np.mean([zone.blotch for zone in results.zones if zone.blotch is not None])
    assert values["wood_old_texture.jpg"] > 1.5 * values["wood_texture.jpg"]


def test_fine_even_wood_is_less_blotchy_than_wood_of_several_tones(tmp_path: Path) -> None:
    values = []
    for name in ("wood1.png", "wood3.png"):
        (tmp_path / name).mkdir()
        results = as_board(tmp_path / name, wood_codes(package_file("metaworld", f"metaworld/assets/textures/{name}")))
        values.append(np.mean([zone.blotch for zone in results.zones if zone.blotch is not None]))
    assert values[0] < values[1]


# --- always there -----------------------------------------------------------------------------------------------------


def test_a_photographed_table_goes_the_whole_way_as_a_board(tmp_path: Path) -> None:
    """The worn varnished wood beside the cup of a well-known picture (scikit-image, CC0).

    The saucer's rim crosses the right half: one straight edge, which may be figure. What is unsure is not called even.
    """
    table = skimage.data.coffee()[230:400, 0:200]
    face = np.asarray(cv2.resize(table, FACE[::-1], interpolation=cv2.INTER_CUBIC))
    results = as_board(tmp_path, face)
    assert results.photos[0].usable
    for name in ("left", "right"):
        zone = zone_of(results, f"W/{name}")
        assert zone.blotch is not None
        assert zone.blotch_u95 is not None
        assert zone.blotch + zone.blotch_u95 > 1  # a real table, with shadow and wear


@pytest.mark.parametrize("name", ["brick", "gravel", "grass"])
def test_other_surfaces_as_boards_give_numbers_not_accidents(tmp_path: Path, name: str) -> None:
    picture = getattr(skimage.data, name)()[:256]
    face = np.repeat(cv2.resize(picture, FACE[::-1], interpolation=cv2.INTER_CUBIC)[..., None], 3, axis=2)
    results = as_board(tmp_path, face)
    for zone in results.zones:
        assert np.isfinite(zone.lab).all()
        assert np.abs(zone.lab[1:]).max() < 0.2  # a black-and-white picture has no colour
        assert zone.blotch is not None
        assert zone.blotch > 0.5
