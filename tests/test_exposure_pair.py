"""The tone curve from two exposures of one scene, against curves that were painted and that the fit does not know.

Stray light grows with the exposure, so it is painted in proportion to it; what cannot be seen is not asked for.
"""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from board_photos import photo_of_codes, saved, taken
from numpy.typing import NDArray
from simulator import Background, Board, Light, PaintedZone, Scene, Tone, WoodZone

from calibration.exif import Exif
from calibration.exposure_pair import exposure_ratio, tone_from_exposures
from calibration.photo import Photo
from calibration.tone import ToneFit, tone_findings
from calibration.tone_curve import ToneCurve

Floats = NDArray[np.float64]

STAINED = tuple(
    WoodZone(name, (75 * k, 75 * k + 75), "none", stain)
    for k, (name, stain) in enumerate([("a", "walnut brown"), ("b", "golden oak"), ("c", "black"), ("d", None)])
)
THINGS = tuple(
    Board(f"T{k}", 40, 40, (PaintedZone("all", (0, 40), Lab),), top_left_mm=(20 + 45 * k, 170))
    for k, Lab in enumerate([(92, 0, 1), (70, 3, 8), (50, 0, 0), (35, 10, 10), (20, 0, 0)])
)
SCENE = Scene(
    (Board("A", 300, 150, STAINED, seed=3), *THINGS), background=Background((60, 0, 1)), light=Light(gradient=0.3)
)
WOOD_Y = np.geomspace(0.03, 0.5, 12)
FLARE = 0.01


def L_star(Y: Floats) -> Floats:
    return 116 * np.cbrt(Y) - 16  # nothing here is below the straight part of the curve


def tone(s_curve: float, gamma: float = 1.0, flare: float = FLARE) -> Tone:
    return Tone(flare, gamma, s_curve)


def seen(light: Floats, tone: Tone) -> Floats:
    """What a camera with this tone shows of light, as linear RGB; IEC 61966-2-1 both ways."""
    t = np.clip(light + tone.flare, 0, 1) ** tone.contrast_gamma
    V = np.where(t <= 0.0031308, 12.92 * t, 1.055 * t ** (1 / 2.4) - 0.055)
    V = V - tone.s_curve * np.sin(2 * np.pi * V) / (2 * np.pi)
    return np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4)


@lru_cache
def exposed(stops: float, tone: Tone, aside_mm: float = 0.0, roll_deg: float = 0.0, seed: int = 1) -> Photo:
    """`stops` under a full exposure, with the EXIF of a phone."""
    rendered = taken(
        SCENE, seed, size_px=(1000, 750), exposure_EV=-0.1 - stops, look_at_mm=(150 + aside_mm, 110), px_per_mm=2.7,
        full_well_e=10000.0, roll_deg=roll_deg, tone=replace(tone, flare=tone.flare * 2.0**-stops),
    )  # fmt: skip
    return replace(photo_of_codes(rendered.codes), exif=Exif(exposure_s=2.0**-stops / 90, iso=100, f_number=1.8))


def errors_L(fit: ToneFit, tone: Tone) -> tuple[Floats, Floats]:
    """Errors in L* over stained wood, the veil taken as part of the scene; and what the fit says of them."""
    light = np.repeat((WOOD_Y * 2**-0.1)[:, None], 3, axis=1)
    gray = fit.curve.apply(seen(np.full((1, 3), 0.18 * 2**-0.1), tone))
    Y = fit.curve.apply(seen(light, tone))[:, 0].astype(np.float64) / gray[0, 0]
    veiled = (WOOD_Y * 2**-0.1 + tone.flare) / (0.18 * 2**-0.1 + tone.flare)
    u = fit.u_log_light(seen(light, tone))[:, 0] * (L_star(WOOD_Y) + 16) / 3
    return L_star(0.18 * Y) - L_star(0.18 * veiled), u


NOTHING = ToneFit(
    ToneCurve(), "", np.zeros((15, 15)), (), np.zeros(0), np.zeros(0), np.zeros(0, bool), np.ones(3), np.ones(3)
)


@pytest.mark.parametrize(("s_curve", "gamma"), [(0.4, 1.0), (0.6, 1.0), (0.3, 1.15)])
@pytest.mark.parametrize("stops", [1.0, 2.0])
def test_the_curve_is_taken_back_but_for_the_flare(s_curve: float, gamma: float, stops: float) -> None:
    camera = tone(s_curve, gamma)
    fit = tone_from_exposures(exposed(0.0, camera), exposed(stops, camera, seed=2))
    assert fit.is_usable, fit.why_not
    assert np.abs(errors_L(NOTHING, camera)[0]).mean() > 2
    left, u = errors_L(fit, camera)
    assert np.abs(left).mean() < 0.5
    assert (np.abs(left) < 1.96 * np.maximum(u, 0.1)).all()


def test_a_straight_camera_is_left_straight() -> None:
    camera = tone(0.0, flare=0.0)
    fit = tone_from_exposures(exposed(0.0, camera), exposed(2.0, camera, seed=2))
    assert fit.is_usable, fit.why_not
    assert np.abs(errors_L(fit, camera)[0]).mean() < 0.4


def test_through_files_the_darker_photo_first(tmp_path: Path) -> None:
    camera = tone(0.4)
    pair = []
    for name, stops in (("dark.jpg", 2.0), ("light.jpg", 0.0)):
        rendered = taken(
            SCENE, exposure_EV=-0.1 - stops, full_well_e=10000.0, tone=replace(camera, flare=FLARE * 2.0**-stops)
        )
        photo = saved(tmp_path, rendered, name, quality=90)
        pair.append(replace(photo, exif=Exif(exposure_s=2.0**-stops / 90, iso=100)))
    fit = tone_from_exposures(pair[0], pair[1])
    assert fit.is_usable, fit.why_not
    assert np.abs(errors_L(fit, camera)[0]).mean() < 0.5


def test_flare_is_not_guessed_and_its_uncertainty_stays() -> None:
    camera = tone(0.4)
    fit = tone_from_exposures(exposed(0.0, camera), exposed(2.0, camera, seed=2))
    assert fit.curve.flare == (0.0, 0.0, 0.0)
    assert "flare" not in fit.told
    assert "S" in fit.told
    dark, light = np.full((1, 3), 0.02), np.full((1, 3), 0.4)
    assert (fit.u_log_light(dark) > 0.1).all()  # 0.6-1 % of white on 2 to 3 % of light
    assert (fit.u_log_light(light) < 0.05).all()


def test_a_wrong_exposure_ratio_becomes_contrast_and_is_within_the_uncertainty() -> None:
    """The exponential ambiguity: 3 % of a ratio of 4 is a power of 1.02."""
    camera = tone(0.4)
    light, dark = exposed(0.0, camera), exposed(2.0, camera, seed=2)
    off = replace(dark, exif=replace(dark.exif, exposure_s=1 / 30 / 4))
    off_light = replace(light, exif=replace(light.exif, exposure_s=1.03 / 30))
    fit = tone_from_exposures(off_light, off)
    left, u = errors_L(fit, camera)
    assert (np.abs(left) < 1.96 * u).all()
    assert np.abs(left).mean() > np.abs(errors_L(tone_from_exposures(light, dark), camera)[0]).mean()


def test_a_little_shake_does_no_harm() -> None:
    camera = tone(0.4)
    fit = tone_from_exposures(exposed(0.0, camera), exposed(2.0, camera, aside_mm=4.0, seed=2))
    assert fit.is_usable, fit.why_not
    assert np.abs(errors_L(fit, camera)[0]).mean() < 0.5


def refused(first: Photo, second: Photo) -> str:
    fit = tone_from_exposures(first, second)
    assert not fit.is_usable
    assert fit.curve == ToneCurve()
    assert [found.code for found in tone_findings(fit)] == ["tone-unsure"]
    return fit.why_not


def with_exif(photo: Photo, **changes: object) -> Photo:
    return replace(photo, exif=replace(photo.exif, **changes))  # type: ignore[arg-type]


def test_what_is_no_pair_is_refused_with_its_reason() -> None:
    camera = tone(0.4)
    light, dark = exposed(0.0, camera), exposed(2.0, camera, seed=2)
    assert "exposure time" in refused(light, with_exif(dark, exposure_s=None))
    assert "exposure time" in refused(light, with_exif(dark, iso=None))
    assert "1.2 times apart" in refused(light, with_exif(dark, exposure_s=1 / 90 / 1.2))
    assert "64.0 times apart" in refused(light, with_exif(dark, exposure_s=1 / 90 / 64))
    assert "different cameras" in refused(light, with_exif(dark, camera="another"))
    assert "flash" in refused(light, with_exif(dark, flash_fired=True))
    assert "size" in refused(light, replace(dark, codes=dark.codes[:-20]))


def test_photos_from_another_place_are_refused() -> None:
    camera = tone(0.4)
    assert refused(exposed(0.0, camera), exposed(2.0, camera, aside_mm=45.0, seed=2))
    assert refused(exposed(0.0, camera), exposed(2.0, camera, roll_deg=8.0, seed=2))


def test_a_photo_that_was_changed_from_place_to_place_is_refused() -> None:
    """As phones do: the same level is lifted here and not there, softly."""
    camera = tone(0.4)
    light, dark = exposed(0.0, camera), exposed(2.0, camera, seed=2)
    lift = 1.1 + 0.4 * np.sin(2 * np.pi * np.arange(dark.codes.shape[1]) / 150)[None, :, None]
    assert "scatter" in refused(light, replace(dark, codes=np.clip(dark.codes * lift, 0, 255).astype(np.uint8)))


def test_exposures_that_do_not_fit_what_the_camera_wrote_are_refused() -> None:
    camera = tone(0.0)
    light, dark = exposed(0.0, camera), exposed(2.0, camera, seed=2)
    assert refused(light, with_exif(dark, exposure_s=1 / 90 / 12))


def test_an_empty_table_tells_nothing() -> None:
    plain = photo_of_codes(np.full((300, 400, 3), 120, np.uint8))
    light = with_exif(plain, exposure_s=1 / 30, iso=100)
    assert refused(light, with_exif(plain, exposure_s=1 / 120, iso=100))


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [
        (Exif(exposure_s=1 / 31, iso=100), Exif(exposure_s=1 / 124, iso=100), 4.0),
        (Exif(exposure_s=1 / 31, iso=400), Exif(exposure_s=1 / 31, iso=100), 4.0),
        (Exif(exposure_s=1 / 31, iso=100, f_number=2.0), Exif(exposure_s=1 / 31, iso=100, f_number=4.0), 4.0),
        (Exif(exposure_s=1 / 31, iso=100, f_number=2.0), Exif(exposure_s=1 / 31, iso=200), 0.5),
    ],
)
def test_the_ratio_is_that_of_time_sensitivity_and_aperture(first: Exif, second: Exif, ratio: float) -> None:
    told = exposure_ratio(first, second)
    assert told is not None
    assert told[0] == pytest.approx(ratio)


def test_marked_times_are_less_sure_than_odd_ones() -> None:
    odd = exposure_ratio(Exif(exposure_s=1 / 31, iso=100), Exif(exposure_s=1 / 121, iso=100))
    marked = exposure_ratio(Exif(exposure_s=1 / 30, iso=100), Exif(exposure_s=1 / 125, iso=100))
    assert odd is not None
    assert marked is not None
    assert odd[1] < marked[1]
