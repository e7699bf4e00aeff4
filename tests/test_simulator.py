"""Does the simulator, our test instrument, show what it says it shows?

Closed forms and colour-science's own integration are the oracles; nothing of the measuring code is used.
"""

import importlib.util
import io
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps
from PIL.ExifTags import Base
from simulator import (
    SENSORS,
    Background,
    Board,
    Camera,
    GrayCard,
    Lab_to_reflectance,
    Light,
    PaintedZone,
    Scene,
    Tone,
    WoodZone,
    drift,
    fine_texture,
    gaussian_field,
    reflectance_to_Lab,
    render,
    save_photo,
    streaks,
)
from simulator.render import encode
from simulator.spectra import BANDS_nm, RGB_to_XYZ_D50, XYZ_to_Lab, camera_matrix
from simulator.truth import Corners

PLAIN = Camera(sensor="ideal", size_px=(800, 600), white_balance_error=(0.0, 0.0), blur_sigma_px=0.0, full_well_e=None)


def flat_board(Lab: tuple[float, float, float] = (60.0, 10.0, 25.0), turn_deg: float = 0.0) -> Board:
    return Board("A", 200, 120, (PaintedZone("all", (0, 200), Lab),), top_left_mm=(10, 20), turn_deg=turn_deg)


def decode(codes: NDArray[np.uint8]) -> NDArray[np.float64]:
    """IEC 61966-2-1."""
    V = codes / 255
    return np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4)


def middle(codes: NDArray[np.uint8], corners_px: Corners) -> NDArray[np.float64]:
    """Mean linear RGB of a square well inside a thing."""
    x, y = np.mean(corners_px, axis=0).round().astype(int)
    return decode(codes[y - 15 : y + 16, x - 15 : x + 16]).mean(axis=(0, 1))


def test_nothing_of_the_measuring_code_is_loaded() -> None:
    code = "import simulator, sys; print([m for m in sys.modules if m.split('.')[0] in ('calibration', 'analyzer')])"
    done = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parent, capture_output=True, check=True)
    assert done.stdout.decode().strip() == "[]"


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("light", ["D50", "A", "FL11", "LED-B3"])
def test_a_gray_card_in_even_light_shows_its_reflectance(sensor: str, light: str) -> None:
    """Quantising to 8 bits rounds by up to half a code: 0.0018 at this level."""
    scene = Scene((flat_board(),), GrayCard((60, 60), (60, 30), texture=0.0), light=Light(light))
    photo = render(scene, Camera(**{**vars(PLAIN), "sensor": sensor, "size_px": (400, 300)}))
    assert middle(photo.codes, photo.truth.card_corners_px) == pytest.approx([0.18] * 3, abs=0.0018)


def test_integration_agrees_with_colour_science() -> None:
    """The 24 patches, 380 to 730 nm by 10 nm. colour-science goes by 1 nm and on to 830 nm: hence 0.3."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    D50 = colour.SDS_ILLUMINANTS["D50"].copy().align(cmfs.shape)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    for patch in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        assert np.array_equal(patch.wavelengths, BANDS_nm)
        XYZ = colour.sd_to_XYZ(patch.copy().align(cmfs.shape), cmfs, D50, method="Integration")
        expected = colour.XYZ_to_Lab(XYZ / 100, white)
        assert reflectance_to_Lab(patch.values) == pytest.approx(expected, abs=0.3)


@pytest.mark.parametrize("Lab", [(80, 5, 20), (38, 14.5, 22), (25, 10, 12), (50, 0, 0), (92, 0, 3)])
def test_a_painted_colour_is_the_colour_asked_for(Lab: tuple[float, float, float]) -> None:
    assert reflectance_to_Lab(Lab_to_reflectance(Lab)) == pytest.approx(Lab, abs=1e-5)
    photo = render(Scene((flat_board(Lab),)), PLAIN)
    assert photo.truth.board("A").zone("all").Lab == pytest.approx(Lab, abs=1e-3)


@pytest.mark.parametrize("profile", ["srgb", "p3"])
def test_the_ideal_camera_under_D50_sees_the_true_colour(profile: str) -> None:
    photo = render(Scene((flat_board((55, 18, 34)),)), Camera(**{**vars(PLAIN), "profile": profile}))
    XYZ = middle(photo.codes, photo.truth.board("A").corners_px) @ RGB_to_XYZ_D50(profile).T
    assert XYZ_to_Lab(XYZ) == pytest.approx([55, 18, 34], abs=0.6)  # half a code of blue is about 0.5 b* here


@pytest.mark.parametrize("pose", [{}, {"roll_deg": 90}, {"roll_deg": 172, "tilt_deg": (12, -8)}])
def test_the_true_corners_lie_where_the_edges_are(pose: dict[str, Any]) -> None:
    """Half-way level between board and background, along short walks across each edge."""
    board = flat_board((25, 5, 8), turn_deg=7)
    scene = Scene((board,), background=Background((85, 0, 0), texture=0.0))
    photo = render(scene, Camera(**{**vars(PLAIN), **pose, "blur_sigma_px": 0.8}))
    level = decode(photo.codes)[..., 1]
    corners = np.array(photo.truth.board("A").corners_px)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        for share in (0.2, 0.5, 0.8):
            assert edge_offset_px(level, start, end, share) == pytest.approx(0, abs=0.06)


def edge_offset_px(
    level: NDArray[np.float64], start: NDArray[np.float64], end: NDArray[np.float64], share: float
) -> float:
    """How far the half-way level lies from the line start-end, walking squarely across it."""
    along = (end - start) / np.linalg.norm(end - start)
    steps = np.arange(-6, 6.01, 0.25)
    walk = start + share * (end - start) + steps[:, None] * np.array([-along[1], along[0]])
    values = cv2.remap(level.astype(np.float32), walk.astype(np.float32)[None], None, cv2.INTER_LINEAR)[0]
    if values[0] > values[-1]:
        values, steps = values[::-1], steps[::-1]
    return float(np.interp((values[0] + values[-1]) / 2, values, steps))


@pytest.mark.parametrize("light", [{"gradient": 0.3, "direction_deg": 40}, {"radial": 0.4}])
def test_the_light_falls_off_as_much_as_asked(light: dict[str, float]) -> None:
    scene = Scene((flat_board((70, 0, 0), turn_deg=5),), light=Light(**light))
    photo = render(scene, PLAIN)
    asked = max(light.get("gradient", 0), light.get("radial", 0))
    assert photo.truth.board("A").light_range == pytest.approx(asked, abs=1e-3)
    level = decode(photo.codes)[..., 1]
    seen = [level[tuple(np.round(point[::-1]).astype(int))] for point in inset(photo.truth.board("A").corners_px, 4)]
    seen.append(middle(photo.codes, photo.truth.board("A").corners_px)[1])
    assert 1 - min(seen) / max(seen) == pytest.approx(asked, abs=0.03)  # the inset leaves out the outermost light


def inset(corners_px: Corners, px: float) -> NDArray[np.float64]:
    corners = np.array(corners_px)
    towards = corners.mean(axis=0) - corners
    return corners + px * towards / np.linalg.norm(towards, axis=1, keepdims=True)


FIELDS = [gaussian_field, fine_texture, streaks, drift]


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("seed", [0, 7])
def test_fields_have_mean_0_and_standard_deviation_1_and_repeat(
    field: Callable[..., NDArray[np.float32]], seed: int
) -> None:
    values = field((300, 400), 0.25, seed=seed)
    assert values.shape == (300, 400)
    assert values.mean() == pytest.approx(0, abs=1e-4)
    assert values.std() == pytest.approx(1, abs=1e-4)
    assert np.array_equal(values, field((300, 400), 0.25, seed=seed))
    assert not np.array_equal(values, field((300, 400), 0.25, seed=seed + 1))


@pytest.mark.parametrize(
    ("field", "shortest", "longest"), [(gaussian_field, 6, 35), (fine_texture, 0.5, 2), (streaks, 2, 20)]
)
def test_fields_keep_to_their_wavelengths(
    field: Callable[..., NDArray[np.float32]], shortest: float, longest: float
) -> None:
    """A window keeps the cut edges from leaking; it widens each line by a few steps, hence the slack."""
    values = field((800, 800), 0.25, seed=3)
    window = np.hanning(800)[:, None] * np.hanning(800)[None, :]
    power = np.abs(np.fft.fft2(values * window)) ** 2
    frequency = np.hypot(np.fft.fftfreq(800, 0.25)[:, None], np.fft.fftfreq(800, 0.25)[None, :])
    inside = (frequency > 1 / longest - 0.012) & (frequency < 1 / shortest + 0.012)
    assert power[inside].sum() / power.sum() > 0.98


def test_streaks_run_straight_along_the_grain_and_drift_has_no_second_turn() -> None:
    assert np.ptp(streaks((200, 300), 0.25, seed=1), axis=1).max() == 0
    for seed in range(5):
        row = drift((200, 300), 0.25, seed=seed)[100]
        assert np.count_nonzero(np.diff(np.sign(np.diff(row)))) <= 1


def test_a_painted_field_adds_exactly_its_lightness() -> None:
    zone = PaintedZone("all", (0, 200), (60, 10, 25), lambda shape, mm: 1.3 * gaussian_field(shape, mm, seed=5))
    photo = render(Scene((Board("A", 200, 120, (zone,)),), margin_mm=0.0), PLAIN)
    truth = photo.truth.board("A").zone("all")
    assert truth.blotch_sd == truth.L_sd == pytest.approx(1.3, abs=2e-3)
    assert truth.Lab[0] == pytest.approx(60, abs=0.05)  # the mean is taken over light, so it lies a trifle higher


def test_a_painted_field_of_another_shape_is_refused() -> None:
    zone = PaintedZone("all", (0, 200), (60, 10, 25), lambda _shape, _mm: np.zeros((3, 3)))
    with pytest.raises(ValueError, match="L_field of zone all"):
        render(Scene((Board("A", 200, 120, (zone,)),)), PLAIN)


def test_washcoat_lightens_and_evens_stained_maple_but_not_bare_maple() -> None:
    zones = (
        WoodZone("none", (0, 100), stain="walnut brown"),
        WoodZone("wash", (100, 200), "shellac washcoat", "walnut brown"),
    )
    stained = render(Scene((Board("A", 200, 120, zones, seed=2),)), PLAIN).truth.board("A")
    bare = render(Scene((Board("A", 200, 120, zones, stage="bare", seed=2),)), PLAIN).truth.board("A")
    assert stained.zone("wash").Lab[0] > stained.zone("none").Lab[0] + 4
    assert stained.zone("wash").blotch_sd < 0.5 * stained.zone("none").blotch_sd
    assert max(zone.blotch_sd for zone in bare.zones) < 1e-4
    assert bare.zone("wash").Lab == pytest.approx(bare.zone("none").Lab, abs=0.8)


def test_the_same_seed_gives_the_same_photo_and_another_seed_another() -> None:
    scene = Scene((flat_board(),), GrayCard((40, 30), (20, 20)))
    camera = Camera(size_px=(320, 240))
    assert np.array_equal(render(scene, camera, seed=4).codes, render(scene, camera, seed=4).codes)
    assert not np.array_equal(render(scene, camera, seed=4).codes, render(scene, camera, seed=5).codes)


def test_photon_noise_follows_the_square_root_law() -> None:
    """Sensor "ideal" under illuminant E weighs its channels about equally; the matrix is undone before comparing."""
    board = flat_board((70, 0, 0))
    quiet = Camera(**{**vars(PLAIN), "full_well_e": 1500.0, "read_noise_e": 0.0})
    photo = render(Scene((board,), light=Light("E")), quiet, seed=1)
    x, y = np.mean(photo.truth.board("A").corners_px, axis=0).round().astype(int)
    patch = decode(photo.codes[y - 60 : y + 60, x - 60 : x + 60]) @ np.linalg.inv(camera_matrix("ideal", "srgb")).T
    level = patch.mean(axis=(0, 1))
    assert patch.std(axis=(0, 1)) == pytest.approx(np.sqrt(level / 1500), rel=0.06)


def test_tone_leaves_white_and_flare_lifts_black() -> None:
    ends = np.array([[0.0, 1.0]], dtype=np.float32)
    assert encode(ends, Tone()).tolist() == [[0, 255]]
    assert encode(ends, Tone(contrast_gamma=1.3, s_curve=0.5)).tolist() == [[0, 255]]
    assert encode(ends, Tone(flare=0.01)).tolist() == [
        [25, 255]
    ]  # 255 (1.055 x 0.01^(1/2.4) - 0.055) = 25.5, less half


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_file_shows_the_same_upright_picture(tmp_path: Path, orientation: int) -> None:
    photo = render(Scene((flat_board(),)), Camera(size_px=(160, 120)))
    save_photo(tmp_path / "p.png", photo, orientation=orientation)
    with Image.open(tmp_path / "p.png") as stored:
        assert np.array_equal(np.asarray(ImageOps.exif_transpose(stored)), photo.codes)


@pytest.mark.parametrize("profile", ["srgb", "p3"])
def test_the_embedded_profile_says_what_the_codes_mean(tmp_path: Path, profile: str) -> None:
    """LittleCMS reads our profile and makes the same sRGB colours of either file, to two codes."""
    scene = Scene((flat_board((55, 18, 34)),))
    photo = render(scene, Camera(**{**vars(PLAIN), "profile": profile, "size_px": (160, 120)}))
    save_photo(tmp_path / "p.png", photo, exif={Base.Model: "none", Base.ISOSpeedRatings: 100})
    with Image.open(tmp_path / "p.png") as stored:
        shown = np.asarray(ImageCms.profileToProfile(stored, embedded(stored), ImageCms.createProfile("sRGB")))
        assert stored.getexif()[Base.Model] == "none"
    plain = render(scene, Camera(**{**vars(PLAIN), "size_px": (160, 120)})).codes
    assert np.abs(shown.astype(int) - plain).max() <= 2


def embedded(stored: Image.Image) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(stored.info["icc_profile"]))


DEMO = Path(__file__).parent.parent / "sample_images"


@pytest.mark.parametrize("name", ["c-bare.jpg", "plain-sheet.jpg"])
def test_the_demo_photos_are_what_their_script_makes(tmp_path: Path, name: str) -> None:
    """To a fifth of a code on average: an exponential's last digit may differ between processors."""
    script = importlib.util.spec_from_file_location("make_hall_bench", DEMO / "make_hall_bench.py")
    assert script is not None
    assert script.loader is not None
    demo = importlib.util.module_from_spec(script)
    sys.modules[script.name] = demo  # its dataclasses look themselves up
    script.loader.exec_module(demo)
    shot = next(shot for shot in demo.shots() if shot.name == name)
    photo = shot.take()
    save_photo(tmp_path / name, photo, quality=demo.QUALITY)
    with Image.open(DEMO / "hall-bench" / "photos" / name) as stored, Image.open(tmp_path / name) as made:
        assert np.abs(np.asarray(stored, dtype=np.int16) - np.asarray(made, dtype=np.int16)).mean() < 0.2
    if shot.stage:
        told = json.loads((DEMO / "hall-bench" / "truth.json").read_text(encoding="utf-8"))["photos"][f"photos/{name}"]
        assert json.loads(json.dumps(demo.truth_entry(shot, photo))) == told


def test_the_demo_stays_under_its_budget_of_12_megabytes() -> None:
    assert sum(file.stat().st_size for file in (DEMO / "hall-bench").rglob("*") if file.is_file()) < 12e6
