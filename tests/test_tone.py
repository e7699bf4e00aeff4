"""Tone curve and flare from known neutral steps: curves that the fit does not know are painted, and taken back.

The painted curves are of three other kinds than the fitted one: a sine on the encoded values with a power and a veil
(as in the simulator), a film-like saturation in light, and a toe that subtracts.
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from calibration.findings import REGISTRY
from calibration.posterior import fit_with_prior
from calibration.tone import ToneFit, fit_tone, tone_findings
from calibration.tone_curve import PARAMETERS, ToneCurve, sigmoid, sigmoid_inverse

Floats = NDArray[np.float64]
Camera = Callable[[Floats], Floats]

CARDS = {
    3: (0.90, 0.18, 0.035),
    4: (0.90, 0.40, 0.18, 0.035),
    6: (0.90, 0.59, 0.36, 0.198, 0.09, 0.031),
    12: tuple(np.geomspace(0.88, 0.03, 12)),
}
BALANCE = np.array([1.05, 1.0, 0.9]) * 0.87  # red and blue gain, exposure
WOOD_Y = np.geomspace(0.03, 0.5, 15)  # L* 20 to 76


def L_star(Y: ArrayLike) -> Floats:
    """ISO/CIE 11664-4."""
    ratio = np.asarray(Y, dtype=np.float64)
    return np.where(ratio > (6 / 29) ** 3, 116 * np.cbrt(ratio) - 16, (29 / 3) ** 3 * ratio)


def encode(linear: Floats) -> Floats:
    """IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)


def decode(V: Floats) -> Floats:
    return np.where(V <= 0.04045, V / 12.92, ((np.maximum(V, 0.04) + 0.055) / 1.055) ** 2.4)


def sine(s_curve: float, gamma: float = 1.0, flare: float = 0.01) -> Camera:
    def camera(light: Floats) -> Floats:
        V = encode(np.clip(light + flare, 0, 1) ** gamma)
        return decode(V - s_curve * np.sin(2 * np.pi * V) / (2 * np.pi))

    return camera


def film(light: Floats) -> Floats:
    """Saturates as L / (L + 0.6), with a toe that falls off with the square below 2 % of white."""
    toed = light**2 / (light + 0.008)
    return 1.6 * toed / (toed + 0.6)


def photographed(
    camera: Camera, steps: ArrayLike, noise: float = 0.0, rng: np.random.Generator | None = None
) -> Floats:
    Y = np.asarray(steps, dtype=np.float64)
    drawn = (rng or np.random.default_rng(0)).normal(0, 1, (len(Y), 4))
    return camera(Y[:, None] * BALANCE) * (1 + noise * (drawn[:, :1] + drawn[:, 1:]))


def fitted(RGB: Floats, steps: ArrayLike) -> ToneFit:
    return fit_tone(RGB, np.full(RGB.shape, 1e-3), steps)


def errors_L(fit: ToneFit, camera: Camera, Y: ArrayLike = WOOD_Y) -> Floats:
    """Error in L* (n, 3) of surfaces of known luminance, level and balance set by an 18 % gray."""
    known = np.asarray(Y)
    gray = fit.curve.apply(camera(0.18 * BALANCE)[None])[0]
    light = fit.curve.apply(camera(known[:, None] * BALANCE)) * (0.18 / gray)
    return L_star(light) - L_star(known)[:, None]


NOTHING = ToneFit(
    ToneCurve(), "", np.zeros((15, 15)), (), np.zeros(0), np.zeros(0), np.zeros(0, bool), np.ones(3), np.ones(3)
)
curves = st.builds(
    ToneCurve,
    st.tuples(*[st.floats(-0.005, 0.03)] * 3),
    st.floats(0.8, 1.3),
    st.floats(-0.3, 2.0),
    st.floats(0.35, 0.65),
    st.tuples(*[st.floats(-0.04, 0.04)] * 8),
    st.floats(0.05, 0.4),
    st.floats(0.0, 0.03),
    st.floats(0.5, 1.0),
)


def test_no_change_changes_nothing() -> None:
    linear = np.linspace(-0.1, 1.3, 400)[:, None].repeat(3, axis=1)
    assert ToneCurve().apply(linear) == pytest.approx(linear, abs=1e-6)


@given(curves)
def test_more_light_in_the_photo_is_more_light_in_the_scene(curve: ToneCurve) -> None:
    """Below black and above white too."""
    linear = np.linspace(-0.05, 1.2, 500)[:, None].repeat(3, axis=1)
    assert (np.diff(curve.apply(linear), axis=0) > 0).all()
    assert curve.is_monotone


def test_a_curve_that_turns_back_says_so() -> None:
    assert not ToneCurve(s_curve=-2.0, bends=(0, 0, 0, 0, 0.2, 0, -0.2, 0)).is_monotone


@given(curves)
def test_the_mean_level_of_middle_gray_stays(curve: ToneCurve) -> None:
    assert curve.apply(np.full((1, 3), curve.mid_level)).mean() == pytest.approx(curve.mid_level, rel=2e-4)


@given(st.floats(-2, 3), st.floats(0.3, 0.7))
def test_the_S_runs_from_0_to_1_and_back(s_curve: float, middle: float) -> None:
    V = np.linspace(0, 1, 50)
    there = sigmoid(V, s_curve, middle)
    assert there[[0, -1]] == pytest.approx([0, 1], abs=1e-9)
    assert sigmoid_inverse(there, s_curve, middle) == pytest.approx(V, abs=1e-7)


@pytest.mark.parametrize(("s_curve", "slope"), [(0.5, 1.5), (2.0, 3.0), (0.0, 1.0), (-0.5, 1 / 1.5)])
def test_the_slope_in_the_middle_of_the_S_is_what_it_says(s_curve: float, slope: float) -> None:
    low, high = sigmoid([0.4999, 0.5001], s_curve, 0.5)
    assert (high - low) / 0.0002 == pytest.approx(slope, rel=1e-5)


def test_a_table_of_codes_is_turned_into_one_of_light() -> None:
    curve = ToneCurve((0.01, 0.011, 0.009), 1.1, 0.4)
    table = decode(np.arange(256) / 255)[:, None].repeat(3, axis=1).astype(np.float32)
    before = table.copy()
    codes = np.array([[3, 100, 255], [255, 0, 17]])
    straight = np.take_along_axis(curve.with_tone(table), codes, axis=0)
    assert straight == pytest.approx(curve.apply(np.take_along_axis(table, codes, axis=0)))
    assert np.array_equal(table, before)


@pytest.mark.parametrize(("L", "raised"), [(25, 2.89), (50, 1.17), (80, 0.56)])
def test_one_per_cent_of_flare_raises_dark_stains_most_and_is_taken_back(L: float, raised: float) -> None:
    """Closed form; a white and a black patch of known ratio k solve for the veil: (black - k white) / (1 - k)."""
    Y = ((L + 16) / 116) ** 3
    veiled = Y + 0.01
    assert L_star(veiled) - L_star(Y) == pytest.approx(raised, abs=0.005)
    white, black, known = 0.9 + 0.01, 0.03 + 0.01, 0.03 / 0.9
    veil = (black - known * white) / (1 - known)
    curve = ToneCurve((veil,) * 3)
    light = curve.apply(np.array([[veiled] * 3, [white] * 3]))[:, 0].astype(np.float64)
    assert L_star(0.9 * light[0] / light[1]) == pytest.approx(L, abs=0.01)


def test_flare_alone_is_found_by_white_gray_and_black() -> None:
    camera = sine(0.0, 1.0, 0.01)
    fit = fitted(photographed(camera, CARDS[3]), CARDS[3])
    assert np.abs(errors_L(NOTHING, camera)).max() > 2
    assert np.abs(errors_L(fit, camera)).max() < 0.5


# mean and largest of the errors in L* that are left over L* 20 to 76
@pytest.mark.parametrize(("steps", "mean", "largest"), [(3, 0.4, 1.5), (4, 0.3, 1.0), (6, 0.15, 0.8), (12, 0.12, 0.6)])
def test_curves_that_the_fit_does_not_know_are_taken_back(steps: int, mean: float, largest: float) -> None:
    rng = np.random.default_rng(3)
    left, before = [], []
    for camera in [sine(s, gamma, flare) for s in (0.2, 0.6) for gamma in (0.9, 1.2) for flare in (0, 0.02)]:
        fit = fitted(photographed(camera, CARDS[steps], 0.003, rng), CARDS[steps])
        assert fit.is_usable, fit.why_not
        left.append(errors_L(fit, camera))
        before.append(errors_L(NOTHING, camera))
    assert np.abs(before).mean() > 3
    assert np.abs(left).mean() < mean
    assert np.abs(left).max() < largest


@pytest.mark.parametrize(("steps", "mean"), [(4, 0.8), (6, 0.3), (12, 0.2)])
def test_a_film_like_curve_is_taken_back_too(steps: int, mean: float) -> None:
    fit = fitted(photographed(film, CARDS[steps]), CARDS[steps])
    assert fit.is_usable, fit.why_not
    assert np.abs(errors_L(NOTHING, film)).mean() > 1.5
    assert np.abs(errors_L(fit, film)).mean() < mean


@pytest.mark.parametrize("steps", CARDS)
def test_the_stated_uncertainty_covers_the_error(steps: int) -> None:
    """The painted steps are as uncertain as `fit_tone` takes them: 95 % intervals then cover at least 93 %."""
    rng = np.random.default_rng(8)
    covered = []
    for _ in range(16):
        camera = sine(rng.uniform(0, 0.6), rng.uniform(0.93, 1.1), rng.uniform(0, 0.02))
        fit = fitted(photographed(camera, CARDS[steps], 0.006, rng), CARDS[steps])
        u_L = fit.u_log_light(camera(WOOD_Y[:, None] * BALANCE)) * (L_star(WOOD_Y)[:, None] + 16) / 3
        covered.append(np.abs(errors_L(fit, camera)) < 1.96 * np.maximum(u_L, 0.02))
    assert np.mean(covered) > 0.93


def test_a_pair_of_near_levels_is_surer_than_either() -> None:
    fit = fitted(photographed(sine(0.4), CARDS[6]), CARDS[6])
    dark, near, light = (np.full((1, 3), level) for level in (0.04, 0.045, 0.4))
    assert fit.u_log_ratio(dark, dark) == pytest.approx(np.zeros((1, 3)), abs=1e-9)
    assert (fit.u_log_ratio(dark, near) < 0.3 * fit.u_log_light(dark)).all()
    assert (fit.u_log_ratio(dark, light) > fit.u_log_ratio(dark, near)).all()


def test_more_steps_tell_more() -> None:
    fits = {count: fitted(photographed(sine(0.4), card), card) for count, card in CARDS.items()}
    spreads = [np.sqrt(np.diag(fits[count].covariance)).sum() for count in sorted(fits)]
    assert sorted(spreads, reverse=True) == spreads
    assert {"flare", "S"} <= set(fits[12].told) <= set(PARAMETERS)
    assert "S" in fits[3].told
    assert "contrast" not in fits[3].told


def test_uneven_light_over_the_card_is_evened_by_its_gain() -> None:
    gain = np.linspace(1.2, 0.8, 6)
    camera = sine(0.3)
    RGB = photographed(camera, np.array(CARDS[6]) * gain)
    fit = fit_tone(RGB, np.full(RGB.shape, 1e-3), CARDS[6], gain)
    assert np.abs(errors_L(fit, camera)).mean() < 0.2
    assert np.abs(errors_L(fitted(RGB, CARDS[6]), camera)).mean() > 0.3


def test_the_white_is_what_a_perfect_white_would_show() -> None:
    camera = sine(0.4)
    fit = fitted(photographed(camera, CARDS[12]), CARDS[12])
    assert fit.white_RGB / fit.white_RGB[1] == pytest.approx(BALANCE / BALANCE[1], rel=5e-3)
    gray = fit.curve.apply(camera(0.18 * BALANCE)[None])[0]
    assert 0.18 * fit.white_RGB == pytest.approx(gray, rel=0.01)
    assert (np.abs(0.18 * fit.white_RGB / gray - 1) < 3 * fit.u_white_relative).all()


def test_one_shaded_step_of_six_is_left_out() -> None:
    camera = sine(0.4)
    RGB = photographed(camera, CARDS[6])
    RGB[2] = camera(0.8 * CARDS[6][2] * BALANCE)
    fit = fitted(RGB, CARDS[6])
    assert fit.used.tolist() == [True, True, False, True, True, True]
    assert fit.is_usable
    assert np.abs(errors_L(fit, camera)).mean() < 0.3


def test_a_sound_card_keeps_all_its_steps() -> None:
    for card in CARDS.values():
        assert fitted(photographed(sine(0.5, 1.1), card, 0.005), card).used.all()


def refused(RGB: Floats, steps: ArrayLike, **options: ArrayLike) -> str:
    fit = fit_tone(RGB, np.full(RGB.shape, 1e-3), steps, **options)  # type: ignore[arg-type]
    assert not fit.is_usable
    assert fit.curve == ToneCurve()
    assert [found.code for found in tone_findings(fit)] == ["tone-unsure"]
    assert fit.why_not in tone_findings(fit)[0].message
    return fit.why_not


def test_steps_that_no_curve_fits_are_refused_and_told() -> None:
    RGB = photographed(sine(0.4), CARDS[6])
    wrong = RGB * np.array([1, 0.8, 1.25, 0.8, 1.25, 1])[:, None]
    assert "L*" in refused(wrong, CARDS[6])
    assert not tone_findings(fitted(RGB, CARDS[6]))
    assert "{reason}" in REGISTRY["tone-unsure"].line


def test_three_steps_that_ask_for_a_wild_curve_are_refused() -> None:
    """A veil of a tenth of white is no lens's: a lamp shines on the black step."""
    assert refused(photographed(sine(0.0, 1.0, 0.1), CARDS[3]), CARDS[3])


def test_too_few_steps_and_too_small_a_range_are_refused() -> None:
    camera = sine(0.3)
    assert "2 steps" in refused(photographed(camera, CARDS[3]), CARDS[3], used=[True, True, False])
    clipped = photographed(camera, CARDS[3])
    clipped[0] = np.nan
    assert "2 steps" in refused(clipped, CARDS[3])
    assert "times the darkest" in refused(photographed(camera, (0.6, 0.4, 0.2)), (0.6, 0.4, 0.2))
    assert "lighter" in refused(photographed(camera, CARDS[3]), CARDS[3][::-1])


def test_the_order_of_the_steps_does_not_matter() -> None:
    RGB = photographed(sine(0.4), CARDS[6])
    turned = fitted(RGB[::-1], CARDS[6][::-1])
    assert turned.curve.apply(RGB) == pytest.approx(fitted(RGB, CARDS[6]).curve.apply(RGB), rel=1e-3)


def test_arrays_of_other_shapes_are_our_own_mistake() -> None:
    with pytest.raises(ValueError, match="fit_tone"):
        fit_tone(np.ones((3, 3)), np.ones((3, 3)), np.ones(4))


def test_a_fit_with_a_prior_is_the_weighted_mean() -> None:
    """Closed form: two measurements and a prior of one number, weighted by their inverse variances."""
    posterior = fit_with_prior(
        lambda p: np.array([(p[0] - 3) / 0.5, (p[0] - 5) / 1.0]), np.zeros(1), np.ones(1), np.full(1, 2.0)
    )
    weights = np.array([4, 1, 0.25])
    assert posterior.mean == pytest.approx([weights @ [3, 5, 1] / weights.sum()])
    assert posterior.covariance == pytest.approx(np.array([[1 / weights.sum()]]), rel=1e-4)
    assert posterior.settled
