"""How unevenness looks: closed forms for waves, planes and clouds, and the finding of lap marks from photos."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, codes, write_job
from board_photos import FAULTLESS, corners, saved, taken
from evenness_fields import Array, luminance, patches, random_streaks
from simulator import PaintedZone

from analyzer import measure_job
from analyzer.appearance import LAP_LIMIT, Appearance, appearance, contrast_sensitivity, mean_appearance
from analyzer.evenness import evenness

MM = 0.4
SHAPE = (275, 225)  # 110 x 90 mm
DOWN_MM, ALONG_MM = ((np.arange(n) + 0.5) * MM for n in SHAPE)


def seen(L: Array, measured: Array | None = None, mm_per_px: float = MM) -> Appearance:
    known = np.ones(L.shape, bool) if measured is None else measured.astype(bool)
    Y = np.where(known, luminance(L), np.nan)
    found = appearance(Y, known, mm_per_px, evenness(Y, known, mm_per_px))
    assert found is not None
    return found


def band(amplitude: float, wavelength_mm: float) -> Array:
    return np.tile(45 + amplitude * np.cos(2 * np.pi * ALONG_MM / wavelength_mm), (SHAPE[0], 1))


def test_the_contrast_sensitivity_is_that_of_1974() -> None:
    assert contrast_sensitivity(8) == pytest.approx(0.98077, abs=1e-5)
    frequency = np.linspace(0, 60, 60001)
    sensitivity = contrast_sensitivity(frequency)
    assert sensitivity.max() == pytest.approx(0.98088, abs=1e-5)
    assert frequency[sensitivity.argmax()] == pytest.approx(7.891, abs=0.002)
    with pytest.raises(ValueError, match="0 or more"):
        contrast_sensitivity(-1)


@pytest.mark.parametrize("wavelength_mm", [18, 30, 60])
@pytest.mark.parametrize("amplitude", [0.5, 2.0])
def test_a_band_across_the_grain_reads_its_root_mean_square(amplitude: float, wavelength_mm: float) -> None:
    found = seen(band(amplitude, wavelength_mm) + random_streaks(SHAPE, MM, 1))
    assert found.lap == pytest.approx(amplitude / math.sqrt(2), rel=0.02)
    assert found.has_lap_marks == (amplitude > 1)


@pytest.mark.parametrize("wavelength_mm", [9, 180])
def test_finer_and_longer_waves_are_no_bands(wavelength_mm: float) -> None:
    assert seen(band(2, wavelength_mm)).lap < 0.2


def test_a_plane_reads_its_lightness_from_end_to_end_and_is_no_lap_mark() -> None:
    plane = 45 + 3 * ALONG_MM / 90 - 2 * DOWN_MM[:, None] / 110
    found = seen(plane)
    assert found.drift == pytest.approx((3, -2), rel=1e-3)
    assert found.lap < 0.02
    holed = np.ones(SHAPE)
    holed[:60, 150:] = 0
    assert seen(plane, holed).drift == pytest.approx((3, -2), rel=1e-3)


def test_clouds_and_streaks_have_no_lap_marks() -> None:
    for seed, waves_mm in enumerate([(6, 35), (6, 35), (20, 50), (20, 50), (30, 50), (30, 50)]):
        assert not seen(45 + 2 * patches(SHAPE, MM, seed, waves_mm) + random_streaks(SHAPE, MM, seed)).has_lap_marks


def test_bands_are_found_among_clouds() -> None:
    for seed in range(4):
        found = seen(band(1.3, 30) + patches(SHAPE, MM, seed))
        assert found.has_lap_marks
        assert found.lap == pytest.approx(1.3 / math.sqrt(2), abs=0.15)


def test_holes_neither_hide_bands_nor_make_them() -> None:
    holed = np.ones(SHAPE)
    holed[100:190, 60:140] = 0
    assert seen(band(1.5, 30) + random_streaks(SHAPE, MM, 1), holed).lap == pytest.approx(1.5 / math.sqrt(2), rel=0.02)
    assert not seen(45 + 2 * patches(SHAPE, MM, 2), holed).has_lap_marks


def test_the_visible_share_is_that_of_a_wave() -> None:
    """A cosine of amplitude A is beyond 1 over acos(1/A)/pi of its length, on each side."""
    found = seen(band(2, 30))
    assert found.visible_share == pytest.approx((math.acos(0.5) / math.pi,) * 2, abs=0.02)
    assert seen(band(0.9, 30)).visible_share == (0, 0)
    spots = np.where(np.hypot(DOWN_MM[:, None] % 30 - 15, ALONG_MM % 30 - 15) < 4, 41.0, 45.0)
    darker, lighter = seen(spots).visible_share
    assert darker > 0.04
    assert lighter < 0.01


@pytest.mark.parametrize("wavelength_mm", [10, 20, 30])
def test_from_afar_waves_count_as_the_eye_sees_them(wavelength_mm: float) -> None:
    """One wave, seen under so many cycles per degree."""
    found = seen(band(1, wavelength_mm))
    for blotch, distance_mm in ((found.blotch_arm, 700), (found.blotch_room, 2500)):
        cycles_per_deg = 2 * distance_mm * math.tan(math.pi / 360) / wavelength_mm
        assert blotch == pytest.approx(float(contrast_sensitivity(cycles_per_deg)) / math.sqrt(2), rel=0.04)


def test_the_octaves_are_those_of_the_evenness() -> None:
    bands = seen(band(1, 12)).bands
    assert bands[1] == pytest.approx(1 / math.sqrt(2), rel=0.1)
    assert max(bands[0], bands[2], bands[3]) < 0.2


def test_nothing_is_said_where_evenness_is_not_measured() -> None:
    Y, known = luminance(np.full((40, 40), 45.0)), np.ones((40, 40), bool)
    assert appearance(Y, known, MM, evenness(Y, known, MM)) is None
    with pytest.raises(ValueError, match="differ"):
        appearance(Y[1:], known[1:], MM, evenness(Y, known, MM))


def test_photos_of_one_zone_are_averaged() -> None:
    first, second = seen(band(2, 30)), seen(band(1, 30))
    mean = mean_appearance([first, None, second])
    assert mean is not None
    assert mean.lap == pytest.approx((first.lap + second.lap) / 2)
    assert mean.drift == pytest.approx(np.mean([first.drift, second.drift], axis=0))
    assert mean_appearance([None]) is None


def waves(amplitude: float) -> Callable[[tuple[int, int], float], Array]:
    """Bands of 28 mm, for a painted zone."""

    def field(shape: tuple[int, int], mm_per_px: float) -> Array:
        along_mm = (np.arange(shape[1]) + 0.5) * mm_per_px
        return np.tile(amplitude * np.cos(2 * np.pi * along_mm / 28), (shape[0], 1))

    return field


def test_lap_marks_are_told_photo_by_photo_but_not_of_bare_wood(tmp_path: Path) -> None:
    """Two zones of one board, one of them a little above the limit, the other as much below it."""
    zones = tuple(
        PaintedZone(name, span_mm, (45, 10, 20), waves(times * LAP_LIMIT * math.sqrt(2)))
        for name, span_mm, times in (("above", (0, 150), 1.15), ("below", (150, 300), 0.85))
    )
    board = replace(SHOP_BOARD, zones=zones)
    rendered = taken(replace(SHOP_SCENE, boards=(board,)), **FAULTLESS)
    photos = []
    for stage in ("stained", "bare"):
        saved(tmp_path, rendered, f"{stage}.jpg")
        where = {"board": "A", "corners": corners(rendered).tolist()}
        photos.append({"file": f"{stage}.jpg", "stage": stage, **where})
    results = measure_job(write_job(tmp_path, [board], photos)).results
    said = [found.message for one in results.photos for found in one.findings if found.code == "lap-marks"]
    assert codes(results, "stained.jpg").count("lap-marks") == 1
    assert said == ["Bands across the grain in zone above: 0.8 L*. They look like lap marks."]
    stained = {zone.zone: zone for zone in results.zones if zone.stage == "stained"}
    assert stained["above"].lap == pytest.approx(1.15 * LAP_LIMIT, rel=0.06)
    assert stained["below"].lap == pytest.approx(0.85 * LAP_LIMIT, rel=0.06)
    assert stained["above"].bands is not None
    assert stained["above"].blotch is not None
    assert stained["above"].blotch_arm is not None
    assert stained["above"].blotch_arm < stained["above"].blotch
