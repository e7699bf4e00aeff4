"""What is read of the 24-patch chart is what it shows, and what cannot be relied on is left out and told."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from board_photos import FAULTLESS, Floats, photo_of_codes
from chart_scenes import DAYLIGHT_BALANCE, LIT_MM, ChartPhoto, chart_photo
from simulator import Chart, Light, Tone, chart_reflectances
from simulator.spectra import RGB_to_XYZ_D50, XYZ_weights

from calibration.chart_finder import ChartFound, find_chart
from calibration.chart_reading import (
    CLIPPED,
    COVERED,
    DARK,
    GLOSSY,
    MIN_USED,
    SHADED,
    SMALL,
    UNEVEN,
    chart_findings,
    read_chart,
)
from calibration.errors import ReferenceCardError
from calibration.patches import PatchReadings
from calibration.preview import preview_of

KNOWN = chart_reflectances() @ XYZ_weights("D50")


def take(chart: Chart | None = None, *, light: Light | None = None, **camera: Any) -> ChartPhoto:  # noqa: ANN401 - fields of Camera
    told = {
        "size_px": (640, 480),
        "px_per_mm": 1.6,
        "look_at_mm": (140.0, 108.0),
        "exposure_EV": -0.4,
        "profile": "p3",
        **camera,
    }
    return chart_photo(chart or Chart(), light=light or Light(over_mm=LIT_MM), **told)


def found_in(scene: ChartPhoto) -> ChartFound:
    found = find_chart(scene.photo, preview_of(scene.photo))
    assert found is not None
    return found


def read(scene: ChartPhoto, known: Floats = KNOWN) -> PatchReadings:
    return read_chart(scene.photo, found_in(scene), known)


def left_out(readings: PatchReadings) -> dict[int, str]:
    return {patch: why for patch, why in enumerate(readings.why_not) if why}


def codes_of(readings: PatchReadings) -> list[str]:
    return [found.code for found in chart_findings(readings)]


@pytest.mark.parametrize("roll_deg", [0.0, 143.0])
def test_readings_are_the_light_of_each_patch_in_the_published_order(roll_deg: float) -> None:
    """A faultless camera in P3: readings through its primaries are the spectra's XYZ, within 8-bit steps."""
    scene = take(Chart(texture=0.005), roll_deg=roll_deg, **FAULTLESS)
    readings = read(scene)
    XYZ = readings.linear_RGB @ RGB_to_XYZ_D50("p3").T * 2**0.4
    assert readings.used.all()
    assert (np.abs(XYZ - KNOWN) < 0.001 + 0.02 * KNOWN).all()
    assert np.hypot(*(readings.centres_px - scene.centres_px).T).max() < 2
    assert codes_of(readings) == []


def test_the_uncertainty_is_that_of_repeated_photos() -> None:
    """Eight noisy photos of one chart: the readings' spread is what each states, within what eight can tell."""
    scenes = [
        take(Chart(texture=0.0), seed=seed, full_well_e=2000.0, size_px=(480, 360), px_per_mm=1.1) for seed in range(8)
    ]
    found = found_in(scenes[0])
    all_read = [read_chart(scene.photo, found, KNOWN) for scene in scenes]
    seen = np.stack([readings.linear_RGB for readings in all_read])
    stated = np.stack([readings.u_relative for readings in all_read])
    used = np.all([readings.used for readings in all_read], axis=0)
    spread = seen[:, used].std(axis=0, ddof=1) / seen[:, used].mean(axis=0)
    assert used.sum() > 18
    assert np.median(stated[:, used].mean(axis=0) / spread) == pytest.approx(1.0, abs=0.4)


@pytest.mark.parametrize(
    ("light", "camera"),
    [
        ("D50", {}),
        ("D75", {"sensor": "two"}),
        ("LED-B3", {"sensor": "three", "tone": Tone(flare=0.01)}),
        ("LED-B1", {"white_balance_error": DAYLIGHT_BALANCE["LED-B1"]}),
        ("FL11", {"sensor": "two", "tone": Tone(flare=0.01, s_curve=0.3)}),
        ("D65", {"tone": Tone(contrast_gamma=1.15)}),
    ],
)
def test_a_clean_chart_keeps_nearly_all_its_patches(light: str, camera: dict[str, Any]) -> None:
    """Whatever camera and lamp: they are the camera's to correct, no fault of a patch. Cut-off colours may go."""
    scene = take(light=Light(light, gradient=0.3, direction_deg=200, over_mm=(0, 0, 280, 220)), **camera)
    readings = read(scene)
    judged = {patch: why for patch, why in left_out(readings).items() if why != DARK}
    assert len(judged) <= 2, judged
    assert readings.used[18:].all()


def test_covered_patches_are_left_out_and_no_others() -> None:
    readings = read(take(Chart(covered=(0, 8, 12, 16, 22, 23))))
    assert set(left_out(readings)) == {0, 8, 12, 16, 22, 23}
    assert set(left_out(readings).values()) <= {COVERED, UNEVEN, GLOSSY}
    assert {finding.code for finding in chart_findings(readings)} <= {"chart-patches-left-out", "chart-glossy"}
    assert "1 (dark skin)" in " ".join(finding.message for finding in chart_findings(readings))


def test_patches_in_shadow_are_left_out_and_called_so() -> None:
    """The shadow covers the three left columns wholly; the fourth column's left third lies in its soft edge."""
    readings = read(take(Chart(shaded=((0, 0), (0.5, 0), (0.5, 1), (0, 1)), shade_depth=0.5)))
    out = np.array([bool(why) for why in readings.why_not]).reshape(4, 6)
    assert out[:, :3].all()
    assert not out[:, 3:].any()
    assert "chart-shaded" in codes_of(readings)
    assert [why for why in readings.why_not if why].count(SHADED) >= 8


def test_smooth_light_is_no_shadow() -> None:
    readings = read(take(light=Light(gradient=0.4, direction_deg=20, over_mm=(0, 0, 280, 220))))
    assert SHADED not in readings.why_not
    assert "chart-shaded" not in codes_of(readings)


@pytest.mark.parametrize("patch", [7, 12, 22, 23])
def test_a_veil_of_gloss_is_told(patch: int) -> None:
    readings = read(take(Chart(shiny=((patch, 0.25),), glare_share=0.45)))
    assert readings.why_not[patch] in (GLOSSY, UNEVEN)
    calm = read(take(Chart(shiny=((patch, 0.001),), glare_share=0.45)))
    assert calm.why_not[patch] == ""


def test_even_gloss_over_a_dark_patch_is_called_gloss() -> None:
    scene = take()
    codes = scene.photo.codes.astype(np.float64)
    found = found_in(scene)
    square = np.round(found.squares_px(0.95)[23]).astype(int)
    (left, top), (right, bottom) = square.min(axis=0), square.max(axis=0)
    codes[top:bottom, left:right] = np.minimum(codes[top:bottom, left:right] + 50, 255)
    readings = read_chart(photo_of_codes(codes.astype(np.uint8), profile="p3"), found, KNOWN)
    assert left_out(readings) == {23: GLOSSY}
    assert codes_of(readings) == ["chart-glossy"]


@pytest.mark.parametrize(("exposure_EV", "clips"), [(0.3, True), (-0.3, False)])
def test_clipped_patches_are_left_out(exposure_EV: float, clips: bool) -> None:
    readings = read(take(exposure_EV=exposure_EV))
    assert (readings.why_not[18] == CLIPPED) == clips
    assert ("chart-clipped" in codes_of(readings)) == clips
    assert np.isnan(readings.linear_RGB[18]).all() == clips


def test_a_speck_on_a_patch_does_no_harm() -> None:
    scene = take()
    clean = read(scene)
    codes = scene.photo.codes.copy()
    for x, y in np.round(clean.centres_px).astype(int):
        codes[y - 2 : y + 2, x - 2 : x + 2] = 255
    dirty = read_chart(photo_of_codes(np.asarray(codes, dtype=np.uint8), profile="p3"), found_in(scene), KNOWN)
    both = clean.used & dirty.used
    assert both.sum() >= clean.used.sum() - 1
    assert dirty.linear_RGB[both] == pytest.approx(clean.linear_RGB[both], rel=0.01, abs=0.0005)


def test_too_few_patches_are_an_error_that_counts_them() -> None:
    covered = (0, 2, 3, 6, 7, 8, 9, 12, 13, 14, 15, 16, 18, 19, 22)
    clean = take()
    scene = take(Chart(covered=covered))
    with pytest.raises(ReferenceCardError, match=rf"at least {MIN_USED}") as refused:
        read_chart(scene.photo, found_in(clean), KNOWN)
    assert refused.value.code == "chart-patches-few"


@pytest.mark.parametrize(("px_per_mm", "code"), [(0.5, "chart-small"), (1.6, None)])
def test_a_small_chart_is_told(px_per_mm: float, code: str | None) -> None:
    assert ("chart-small" in codes_of(read(take(px_per_mm=px_per_mm)))) == (code is not None)


def test_a_tiny_chart_is_found_but_cannot_be_read() -> None:
    scene = take(px_per_mm=0.28)
    with pytest.raises(ReferenceCardError, match=SMALL):
        read(scene)


def test_patches_beyond_the_photo_are_left_out() -> None:
    readings = read(take(px_per_mm=2.0, look_at_mm=(187.0, 108.0)))
    assert _whys(readings, range(0, 24, 6)) == {"outside the photo"}
    assert readings.used.sum() >= 16


def _whys(readings: PatchReadings, patches: Sequence[int]) -> set[str]:
    return {readings.why_not[patch] for patch in patches}
