"""From the camera's linear RGB to XYZ under D50 with one gray card: exact for grays, in closed form."""

import numpy as np
import pytest
from board_photos import Floats, photo_of_codes, photo_of_light
from hypothesis import given
from hypothesis import strategies as st
from simulator.spectra import RGB_to_XYZ_D50

from calibration.camera import card_XYZ, gray_card_correction
from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab
from calibration.reference import GrayReading

PHOTO = photo_of_light(np.full((4, 4, 3), 0.2))
LEVELS = st.floats(0.01, 0.9)
RGB = st.tuples(LEVELS, LEVELS, LEVELS).map(np.array)


def reading_of(linear_RGB: Floats) -> GrayReading:
    return GrayReading(linear_RGB, np.full(3, 1e-3), unevenness=0.0, pixels=10_000, left_out=0.0, clipped=0.0)


def Lab_of(linear_RGB: Floats, card_RGB: Floats, reflectance: float = 0.18) -> Floats:
    matrix = gray_card_correction(PHOTO, reading_of(card_RGB), card_XYZ(reflectance, None))
    return XYZ_to_Lab(matrix @ linear_RGB)


def test_a_neutral_card_is_its_reflectance_times_the_white() -> None:
    assert card_XYZ(0.18, None) == pytest.approx(0.18 * D50, abs=1e-12)


@given(st.floats(5, 95), st.floats(-5, 5), st.floats(-5, 5))
def test_a_card_known_in_Lab_has_that_Lab(L: float, a: float, b: float) -> None:
    assert XYZ_to_Lab(card_XYZ(None, (L, a, b))) == pytest.approx([L, a, b], abs=1e-9)


@pytest.mark.parametrize("reflectance", [None, 0.0, -0.1, 1.01, float("nan")])
def test_an_impossible_reflectance_is_refused(reflectance: float | None) -> None:
    with pytest.raises(ValueError, match="reflectance"):
        card_XYZ(reflectance, None)


@pytest.mark.parametrize("profile", ["srgb", "p3"])
@given(RGB)
def test_the_card_gets_its_known_colour_exactly_whatever_the_cast(profile: str, card_RGB: Floats) -> None:
    photo = photo_of_codes(np.zeros((2, 2, 3), np.uint8), profile=profile)
    for known in (card_XYZ(0.18, None), card_XYZ(None, (49.2, 0.8, -1.1))):
        matrix = gray_card_correction(photo, reading_of(card_RGB), known)
        assert matrix @ card_RGB == pytest.approx(known, rel=1e-9)


@given(RGB, st.floats(0.02, 5.0))
def test_a_neutral_surface_of_any_reflectance_comes_out_neutral(card_RGB: Floats, times: float) -> None:
    """Whatever the light's cast, what reflects like the card in every channel has a* = b* = 0."""
    L, a, b = Lab_of(times * card_RGB, card_RGB)
    assert abs(a) < 1e-9
    assert abs(b) < 1e-9
    assert XYZ_to_Lab(times * 0.18 * D50)[0] == pytest.approx(L, abs=1e-9)


@given(RGB, RGB, st.floats(-0.7, 0.7))
def test_exposure_changes_no_colour(surface: Floats, card: Floats, stops: float) -> None:
    assert Lab_of(2**stops * surface, 2**stops * card) == pytest.approx(Lab_of(surface, card), abs=1e-9)


@given(RGB, RGB, RGB)
def test_channel_gains_change_no_colour(surface: Floats, card: Floats, gains: Floats) -> None:
    """White balance of the camera, right or wrong, is undone by the card."""
    assert Lab_of(gains * surface, gains * card) == pytest.approx(Lab_of(surface, card), abs=1e-8)


def test_a_card_entered_as_19_percent_lifts_L_50_to_51_2() -> None:
    """All tristimulus values grow by 0.19 / 0.18; of L* 50 that makes 51.200 (closed form of ISO/CIE 11664-4)."""
    surface = np.linalg.solve(PHOTO.to_XYZ, Lab_to_XYZ(np.array([50.0, 0.0, 0.0])))
    card = np.linalg.solve(PHOTO.to_XYZ, 0.18 * D50)
    assert Lab_of(surface, card)[0] == pytest.approx(50, abs=1e-6)
    assert Lab_of(surface, card, reflectance=0.19)[0] == pytest.approx(51.200, abs=5e-4)


@given(RGB)
def test_in_balanced_light_the_profile_alone_speaks(surface: Floats) -> None:
    """A card that is already neutral at its level: the correction is the profile's own matrix."""
    XYZ = gray_card_correction(PHOTO, reading_of(np.full(3, 0.18)), card_XYZ(0.18, None)) @ surface
    # the simulator writes the white of D50 to four decimals, profiles to sixteen bits: 4e-5 apart
    assert pytest.approx(RGB_to_XYZ_D50("srgb") @ surface, abs=5e-5) == XYZ
