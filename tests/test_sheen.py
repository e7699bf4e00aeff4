"""Does wood shine?  Painted surfaces, simulated boards with and without a wet film, and pictures of real dry wood."""

from dataclasses import replace
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job
from board_photos import card_corners, corners, photo_of, taken
from numpy.typing import NDArray
from PIL import Image
from simulator import (
    Background,
    Board,
    GlareSpot,
    GrayCard,
    Light,
    RenderedPhoto,
    Scene,
    WetFilm,
    WoodZone,
    gaussian_field,
    save_photo,
)

from analyzer import measure_job
from analyzer.results import STAGES
from analyzer.wetness import DULL_STAGES
from calibration.colorspace import D50, Lab_to_XYZ
from calibration.flatboard import flat_board
from calibration.place import locate
from calibration.sheen import Sheen, read_sheen

MM = 0.4
SHAPE = (250, 225)
Face = NDArray[np.float32]


def painted(Lab: tuple[float, float, float] = (40.0, 14.0, 22.0), *, figure: float = 0.06) -> Face:
    """A body whose light varies, as under a texture of shading."""
    texture = 1 + figure * gaussian_field(SHAPE, MM, (1.0, 12.0), 3)
    return (np.array(Lab_to_XYZ(np.array(Lab))) * texture[..., None]).astype(np.float32)


def with_spots(face: Face, count: int, light: float, tint: tuple[float, float, float] = (1, 1, 1)) -> Face:
    """Add light in spots of about 1 mm on a random grid, the same every time."""
    spots = np.zeros(SHAPE, np.float32)
    places = np.random.default_rng(4).permutation(12 * 12)[:count]
    spots[(places // 12) * 20 + 12, (places % 12) * 18 + 12] = 1
    blurred = np.asarray(cv2.GaussianBlur(spots, (0, 0), 1.2))
    return np.asarray(face + light * (blurred / blurred.max())[..., None] * (D50 * tint), np.float32)


def read(face: Face, full_scale: NDArray[np.bool_] | None = None) -> Sheen:
    clipped = np.zeros(face.shape[:2], bool) if full_scale is None else full_scale
    found = read_sheen(face, ~clipped, clipped, MM)
    assert found is not None
    return found


def test_neutral_spots_are_counted_and_coloured_ones_are_not() -> None:
    """Of 40 spots at least 36: a spot in a dark place of the figure may miss the step."""
    body = painted()
    assert read(body).spots == 0
    found = read(with_spots(body, 40, 0.15))
    assert 36 <= found.spots <= 40
    assert found.glints
    assert found.spots_per_cm2 == pytest.approx(found.spots / (SHAPE[0] * SHAPE[1] * MM**2 / 100))
    X, Y, Z = body.mean(axis=(0, 1)) / D50
    assert read(with_spots(body, 40, 0.15, (X / Y, 1, Z / Y))).spots == 0


@pytest.mark.parametrize(("count", "found"), [(26, True), (14, False)])
def test_a_few_spots_are_dust(count: int, found: bool) -> None:
    """20 in 100 cm2 are wet; the area has 90 cm2, so 18 of them."""
    assert read(with_spots(painted(), count, 0.2)).glints is found


def test_spots_at_full_scale_count_by_their_rim() -> None:
    face = with_spots(painted(), 40, 0.9)
    clipped = face[..., 1] > 0.5
    assert clipped.sum() > 40
    assert read(face, clipped).spots >= 36


@pytest.mark.parametrize(("light", "found"), [(0.09, True), (0.03, False)])
def test_light_added_smoothly_is_a_broad_sheen(light: float, found: bool) -> None:
    """On a body of Y = 0.11: 1.35 times as bright needs 0.04 of a perfect white."""
    rise = np.linspace(0, light, SHAPE[1], dtype=np.float32)
    sheen = read((painted() + rise[None, :, None] * D50).astype(np.float32))
    assert sheen.is_broad is found
    assert sheen.follows < 0.3
    assert not sheen.glints


def test_more_light_is_no_sheen() -> None:
    """However steep: the colour follows."""
    rise = np.linspace(1, 3, SHAPE[1], dtype=np.float32)
    sheen = read((painted() * rise[None, :, None]).astype(np.float32))
    assert sheen.broad > 2.5
    assert sheen.follows == pytest.approx(1, abs=0.02)
    assert not sheen.is_broad


def test_gray_and_tiny_and_hidden_areas_tell_nothing() -> None:
    seen, none = np.ones(SHAPE, bool), np.zeros(SHAPE, bool)
    assert read_sheen(painted((40.0, 0.5, 1.0)), seen, none, MM) is None
    assert read_sheen(painted()[:30], seen[:30], none[:30], MM) is None
    assert read_sheen(painted(), none, none, MM) is None
    assert read_sheen(painted()[:0], seen[:0], none[:0], MM) is None


def test_exposure_of_the_card_and_mirroring_change_nothing() -> None:
    face = with_spots(painted(), 40, 0.15)
    assert read(face[:, ::-1].copy()).spots == read(face).spots
    assert read(0.7 * face).spots == read(face).spots


# --- simulated boards


def scene(board: Board, light: Light = Light(), **of_scene: Any) -> Scene:  # noqa: ANN401, B008 - fields of Scene; frozen
    background = Background((34, 0, -1))
    return Scene((board,), GrayCard((80, 55), (100, 145), 4.0), background, light, **of_scene)


def sheens(board: Board, light: Light = Light(), seed: int = 1, **of_scene: Any) -> list[Sheen | None]:  # noqa: ANN401, B008 - fields of Scene; frozen
    """Of each third of the board, 5 mm inside its edges."""
    rendered = taken(scene(board, light, **of_scene), seed, size_px=(900, 675))
    place = locate(photo_of(rendered), board.size_mm, corners=corners(rendered), card=card_corners(rendered))
    flat = flat_board(photo_of(rendered), place, board.size_mm)
    rows = slice(round(5 / MM), round((board.width_mm - 5) / MM))
    found = []
    for left in (0, 100, 200):
        window = rows, slice(round((left + 5) / MM), round((left + 95) / MM))
        found.append(read_sheen(flat.XYZ[window], flat.measurable[window], flat.full_scale[window], flat.mm_per_px))
    return found


def shining(board: Board, **options: Any) -> int:  # noqa: ANN401 - those of `sheens`
    return sum(sheen is not None and (sheen.glints or sheen.is_broad) for sheen in sheens(board, **options))


def board(species: str, stage: str, stains: tuple[str | None, str | None, str | None], **more: Any) -> Board:  # noqa: ANN401 - fields of Board
    treatments = ("none", "shellac washcoat", "thinned oil")
    zones = tuple(
        WoodZone(name, (left, left + 100.0), treatment, stain)
        for name, left, treatment, stain in zip("abc", (0, 100, 200), treatments, stains, strict=True)
    )
    return Board("A", 300, 120, zones, species=species, stage=stage, texture_px_per_mm=3, **more)


UNEVEN = Light("LED-B3", gradient=0.3, direction_deg=30)


@pytest.mark.parametrize(
    ("species", "stage", "light"),
    [("hard maple", "bare", Light()), ("cherry", "stained", UNEVEN), ("pine", "stained", Light("A")),
     ("walnut", "treated", UNEVEN), ("oak", "stained", Light("FL2", radial=0.3))],
)  # fmt: skip
def test_dry_wood_does_not_shine(species: str, stage: str, light: Light) -> None:
    dry = board(species, stage, ("golden oak", "red mahogany", "black"), seed=21)
    assert shining(dry, light=light) == 0


def test_one_highlight_of_a_lamp_on_dry_wood_is_glare_and_not_wet() -> None:
    glare = (GlareSpot((60, 60), 3.0, 0.8), GlareSpot((150, 40), 3.0, 0.8))
    assert shining(board("cherry", "stained", ("walnut brown",) * 3, seed=21), glare=glare) == 0


@pytest.mark.parametrize("species", ["hard maple", "cherry", "pine", "walnut", "oak"])
def test_a_wet_film_with_glints_is_seen(species: str) -> None:
    film = WetFilm(glints_per_cm2=1.0, glint_strength=0.4, seed=8)
    wet = board(species, "wet", ("golden oak", "red mahogany", "walnut brown"), seed=22, film=film)
    assert shining(wet, light=UNEVEN) >= 2


def test_a_broad_sheen_without_glints_is_seen() -> None:
    film = WetFilm(glints_per_cm2=0, sheen=0.3, sheen_mm=70, sheen_at=(0.1, 0.5))
    wet = board("cherry", "wet", ("walnut brown",) * 3, seed=23, film=film)
    first, *_ = sheens(wet)
    assert first is not None
    assert first.is_broad
    assert not first.glints


# --- the finding


@lru_cache(maxsize=2)
def shot(film: WetFilm | None) -> RenderedPhoto:
    wet = replace(SHOP_BOARD, stage="wet", film=film)
    return taken(replace(SHOP_SCENE, boards=(wet,)), 3, size_px=(900, 675))


def findings(folder: Path, stage: str, film: WetFilm | None) -> list[tuple[str, str]]:
    save_photo(folder / "a.jpg", shot(film))
    write_job(folder, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "stage": stage}])
    results = measure_job(folder).results
    assert results.photos[0].usable
    return [(found.code, found.message) for found in results.photos[0].findings if found.code == "wood-wet"]


GLINTS = WetFilm(glints_per_cm2=1.0, glint_strength=0.4, seed=8)


@pytest.mark.parametrize("stage", STAGES)
def test_wet_wood_is_told_at_dry_and_dull_stages_only(tmp_path: Path, stage: str) -> None:
    found = findings(tmp_path, stage, GLINTS)
    assert len(found) == (stage in DULL_STAGES)
    for _, message in found:
        assert stage in message
        assert "zone control has" in message
        assert "small highlights" in message


def test_a_film_with_few_glints_is_not_told(tmp_path: Path) -> None:
    """It just does not: 5 in 100 cm2 might be dust."""
    assert findings(tmp_path, "stained", replace(GLINTS, glints_per_cm2=0.05)) == []


# --- real wood


TEXTURES = "metaworld/assets"
REAL = [
    ("vpython", "vpython/vpython_data/wood_texture.jpg"),
    ("metaworld", f"{TEXTURES}/textures/light_wood_v3.png"),
    ("metaworld", f"{TEXTURES}/textures/light_wood_v2.png"),
    ("metaworld", f"{TEXTURES}/textures/wood1.png"),
    ("metaworld", f"{TEXTURES}/textures/wood3.png"),
    ("metaworld", f"{TEXTURES}/textures/wood4.png"),
    ("metaworld", f"{TEXTURES}/textures/wood_light.png"),
    ("metaworld", f"{TEXTURES}/textures/darkwood.png"),
    ("metaworld", f"{TEXTURES}/scene/textures/wood.png"),
    ("metaworld", f"{TEXTURES}/scene/textures/wood2.png"),
    ("robosuite", "robosuite/models/assets/textures/light-wood.png"),
    ("robosuite", "robosuite/models/assets/textures/dark-wood.png"),
    ("robosuite", "robosuite/models/assets/textures/red-wood.png"),
    ("robosuite", "robosuite/models/assets/textures/blue-wood.png"),
    ("robosuite", "robosuite/models/assets/textures/green-wood.png"),
]
# Linear sRGB to XYZ under D50: IEC 61966-2-1, Bradford adaptation as in ICC profiles.
SRGB_TO_XYZ = np.array([[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7142]])


@lru_cache(maxsize=1)
def real(package: str, file: str) -> tuple[Face, NDArray[np.bool_]]:
    """XYZ, and where a channel is at full scale. The packages are no dependency of ours (install with --no-deps)."""
    try:
        path = distribution(package).locate_file(file)
    except PackageNotFoundError:
        pytest.skip(f"{package} is not installed")
    with Image.open(str(path)) as picture:
        codes = np.asarray(picture.convert("RGB"))
    V = codes / 255
    linear = np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4)
    return (linear @ SRGB_TO_XYZ.T).astype(np.float32), np.asarray((codes >= 254).any(axis=-1))


@pytest.mark.parametrize("px_per_mm", [2.5, 4.0, 6.0])
@pytest.mark.parametrize(("package", "file"), REAL, ids=[Path(file).stem + "-" + package for package, file in REAL])
def test_real_dry_wood_does_not_shine(package: str, file: str, px_per_mm: float) -> None:
    """Scale unknown, taken as 2.5 to 6 px/mm."""
    XYZ, clipped = real(package, file)
    rows, columns = (int(side / (px_per_mm * MM)) for side in XYZ.shape[:2])
    XYZ = np.asarray(cv2.resize(XYZ, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)[:300, :300]
    small = cv2.resize(clipped.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST)[:300, :300] > 0
    found = read_sheen(np.ascontiguousarray(XYZ), ~small, small, MM)
    assert found is None or not (found.glints or found.is_broad)
