"""A board photographed as camera raw and as JPEG at once: both measured in one job, against each other and the truth.

The raw files state two matrices, for tungsten and for D65, fitted to the sensor's spectral sensitivities as a maker
fits them. The JPEG is developed by one matrix, fitted in daylight, as cameras do.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job, zone_of
from board_photos import Floats
from simulator import Camera, Light, Scene, render, render_sensor, save_photo
from simulator.spectra import sensor_matrix, sensor_white

from analyzer import measure_job
from calibration.difference import delta_E_00
from calibration.raw_colour import Calibration, CameraColour, camera_matrix, matrix_in_light

pytest.importorskip("rawpy")
pytest.importorskip("tifffile")

from raw_files import (
    BLACK,
    LIGHT_A,
    LIGHT_D65,
    SHORT,
    SRATIONAL,
    WHITE,
    dng_file,
    mosaic,
    rationals,
)

FILLED = 0.95  # of the sensor's range, by a perfect white
ZONES = tuple(zone.id for zone in SHOP_BOARD.zones)


@dataclass(frozen=True)
class Measured:
    """CIELAB by zone."""

    jpeg: Mapping[str, Floats]
    raw: Mapping[str, Floats]  # balanced by the camera for the lamp
    locked: Mapping[str, Floats]  # the same counts, the camera's balance locked to daylight
    truth: Mapping[str, Floats]


def raw_of(scene: Scene, camera: Camera, balanced_for: str) -> bytes:
    """A mosaic of what `render` makes a picture of; each of its pixels is a block of the sensor."""
    seen = render_sensor(scene, camera, 3) * sensor_white(camera.sensor, scene.light.illuminant)
    counts = np.clip(BLACK + FILLED * (WHITE - BLACK) * seen, 0, WHITE)
    second = [
        (50722, SRATIONAL, 9, rationals(sensor_matrix(camera.sensor, "D65"))),
        (50779, SHORT, 1, LIGHT_D65),
    ]
    return dng_file(
        mosaic(counts),
        to_camera=sensor_matrix(camera.sensor, "A"),
        light=LIGHT_A,
        neutral=sensor_white(camera.sensor, balanced_for),
        tags=second,
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("raw")


@cache
def measured(folder: Path, sensor: str, light: str) -> Measured:
    scene = replace(SHOP_SCENE, light=Light(light))
    camera = Camera(sensor=sensor, size_px=(800, 600))
    if sensor == "ideal":
        camera = replace(camera, white_balance_error=(0.0, 0.0))
    rendered = render(scene, camera, 3)
    job = folder / f"{sensor} {light}"
    job.mkdir()
    save_photo(job / "a.jpg", rendered)
    (job / "a.dng").write_bytes(raw_of(scene, camera, light))
    (job / "locked.dng").write_bytes(raw_of(scene, camera, "D65"))
    # a lamp under a locked balance is so warm that a gray card is not looked for there: its corners are given
    card = np.round(np.array(rendered.truth.card_corners_px), 1).tolist()
    names = {"jpeg": "a.jpg", "raw": "a.dng", "locked": "locked.dng"}
    photos = [{"file": file, "board": "A", "light": name, "card": card} for name, file in names.items()]
    results = measure_job(write_job(job, [SHOP_BOARD], photos)).results
    by_light = {name: {zone: np.array(zone_of(results, f"A/{zone}", name).lab) for zone in ZONES} for name in names}
    truth = {zone: np.array(rendered.truth.board("A").zone(zone).Lab) for zone in ZONES}
    return Measured(**by_light, truth=truth)


def apart(first: Mapping[str, Floats], second: Mapping[str, Floats]) -> float:
    """Largest CIEDE2000 over the zones."""
    return max(float(delta_E_00(first[zone], second[zone])) for zone in ZONES)


def pairs_apart(first: Mapping[str, Floats], second: Mapping[str, Floats]) -> float:
    """The same of each zone's difference from the control, Delta E*ab."""
    of = [{zone: seen[zone] - seen["control"] for zone in ZONES} for seen in (first, second)]
    return max(float(np.hypot.reduce(of[0][zone] - of[1][zone])) for zone in ZONES)


def test_a_sensor_that_sees_as_the_eye_gives_the_truth_as_raw_and_as_jpeg(folder: Path) -> None:
    """The difference that is left is the JPEG's 8 bits and compression, and half the pixels' place."""
    seen = measured(folder, "ideal", "D50")
    assert apart(seen.raw, seen.jpeg) < 0.2
    assert apart(seen.raw, seen.truth) < 0.25


@pytest.mark.parametrize("sensor", ["one", "two", "three"])
def test_raw_and_jpeg_of_a_real_sensor_agree_in_daylight(folder: Path, sensor: str) -> None:
    """By two matrices that were fitted on their own: measured 0.3 to 1.0."""
    seen = measured(folder, sensor, "D50")
    assert apart(seen.raw, seen.jpeg) < 1.2
    assert pairs_apart(seen.raw, seen.jpeg) < 1.2


@pytest.mark.parametrize("sensor", ["one", "two", "three"])
@pytest.mark.parametrize("light", ["A", "LED-B1"])
def test_under_a_lamp_the_raw_file_is_nearer_to_the_truth(folder: Path, sensor: str, light: str) -> None:
    """It has a matrix for warm light; the JPEG's is for daylight. Measured: under tungsten 1.5 to 1.6 and 2.3 to 6.5.

    The LED's spectrum is none that either matrix was made for.
    """
    seen = measured(folder, sensor, light)
    assert apart(seen.raw, seen.truth) < apart(seen.jpeg, seen.truth)
    assert apart(seen.raw, seen.truth) < (2.0 if light == "A" else 4.7)
    assert pairs_apart(seen.raw, seen.truth) < (0.7 if light == "A" else 1.8)


@pytest.mark.parametrize("sensor", ["one", "two", "three"])
@pytest.mark.parametrize("light", ["A", "D50"])
def test_the_gray_card_tells_the_light_whatever_the_camera_took_for_white(
    folder: Path, sensor: str, light: str
) -> None:
    """Were the camera believed, a balance locked to daylight would cost up to 6 Delta E under tungsten."""
    seen = measured(folder, sensor, light)
    assert apart(seen.locked, seen.raw) < 0.1


def test_a_locked_balance_would_choose_the_wrong_matrix() -> None:
    """The same claim on the matrices alone, and that there is something to win."""
    lights = {"A": 2856.0, "D65": 6504.0}
    colour = CameraColour(
        tuple(
            Calibration(
                kelvin,
                np.linalg.solve(sensor_matrix("two", light), sensor_white("two", light)),
                sensor_matrix("two", light),
            )
            for light, kelvin in lights.items()
        ),
        sensor_white("two", "D65"),
    )
    locked = camera_matrix(colour)
    lamp = camera_matrix(replace(colour, neutral=sensor_white("two", "A")))
    by_card = matrix_in_light(colour, locked.neutral, 0.18 * sensor_white("two", "A") / locked.neutral)
    assert by_card == pytest.approx(lamp.to_XYZ, abs=1e-9)
    assert np.abs(locked.to_XYZ - lamp.to_XYZ).max() > 0.1
