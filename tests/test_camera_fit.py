"""The camera correction fitted to a chart: exact where it must be, better on wood than the chart alone, honest."""

import csv
from functools import cache

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from studies.camera_study import (
    NEUTRAL,
    U_READ,
    WITHIN_95,
    distances,
    fitted,
    judged,
    measured_wood,
    photographed,
    plain,
    root_polynomial,
    roots,
    simulated_wood,
)
from studies.held_out import LAMPS, camera_weights, cameras, chart
from studies.make_camera_prior import departures, observer

from calibration.camera_fit import FEWEST_PATCHES, CameraFit, fit_camera
from calibration.camera_prior import bent_to, camera_prior, observer_weights, published_chart_spectra
from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.published import published_file
from calibration.white_preserving import Lab_slopes, perceived_slopes, white_preserving_matrix
from calibration.wood_spectra import BANDS_nm, through_stain, wood_reflectances

Floats = NDArray[np.float64]
LEVELS = st.floats(0.05, 0.9)
RGB = st.tuples(LEVELS, LEVELS, LEVELS).map(np.array)
KNOWN_MATRIX = np.array([[0.61, 0.22, 0.14], [0.27, 0.68, 0.05], [0.03, -0.11, 0.91]])
LAMP_LIST = [lamp for lamps in LAMPS.values() for lamp in lamps]
ONE_OF_EACH = {kind: lamps[0] for kind, lamps in LAMPS.items()}
SOME = tuple(cameras())[::2]  # all of them in the study; half are enough to prove it every day
EXACT = np.full((24, 3), 1e-6)


@cache
def known_XYZ() -> Floats:
    return published_chart_spectra() @ observer_weights()


@cache
def seen_by(camera: str, lamp: str, seed: int = 1) -> tuple[Floats, Floats]:
    seeds = [seed, list(cameras()).index(camera), LAMP_LIST.index(lamp)]  # each photo its own chart and noise
    return photographed(camera_weights(camera, lamp), "ISO 17321-1", np.random.default_rng(seeds))


@cache
def fit_of(camera: str, lamp: str) -> CameraFit:
    return fitted(seen_by(camera, lamp))


def read_Lab(edition: str) -> Floats:
    lines = published_file(f"chart24_{edition}_2015.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return np.array([[float(row[axis]) for axis in "Lab"] for row in rows])


# What must be exact


def test_a_camera_that_is_a_known_matrix_of_the_observer_is_fitted_without_error() -> None:
    """No noise, no departure: the plain fit finds the matrix itself (self-fit of a linear camera)."""
    RGB = known_XYZ() @ np.linalg.inv(KNOWN_MATRIX).T
    matrix = white_preserving_matrix(RGB, known_XYZ(), RGB[21], known_XYZ()[21])
    assert matrix == pytest.approx(KNOWN_MATRIX, abs=1e-10)
    assert delta_E_00(XYZ_to_Lab(RGB @ matrix.T), XYZ_to_Lab(known_XYZ())).max() < 1e-8


def test_the_wood_aware_fit_of_such_a_camera_is_as_near_as_its_prior_lets_it() -> None:
    """The prior expects a small departure; with a chart known this well hardly any is left."""
    RGB = known_XYZ() @ np.linalg.inv(KNOWN_MATRIX).T
    fit = fit_camera(RGB, EXACT, known_XYZ(), NEUTRAL, u_known=0.01)
    assert np.nanmax(fit.chart_delta_E_00) < 0.15
    assert fit.used.all()


@given(RGB, st.floats(0.1, 0.9))
@settings(max_examples=25)
def test_the_neutral_is_kept_exactly(neutral_RGB: Floats, Y: float) -> None:
    """The constraint of Finlayson and Drew 1997, whatever else the chart asks for."""
    seen, XYZ = seen_by("one", "FL2")
    matrix = white_preserving_matrix(seen, XYZ, neutral_RGB, Y * D50)
    assert matrix @ neutral_RGB == pytest.approx(Y * D50, abs=1e-10)


@pytest.mark.parametrize("lamp", ["D55", "A", "LED-B1", "FL11"])
def test_the_mean_of_the_neutrals_or_the_chosen_gray_is_kept_exactly(lamp: str) -> None:
    seen, XYZ = seen_by("five", lamp)
    assert fit_of("five", lamp).matrix @ seen[NEUTRAL].mean(axis=0) == pytest.approx(
        XYZ[NEUTRAL].mean(axis=0), abs=1e-10
    )
    one_gray = fit_camera(seen, np.full((24, 3), U_READ), XYZ, 21)
    assert one_gray.matrix @ seen[21] == pytest.approx(XYZ[21], abs=1e-10)


@given(st.floats(0.05, 20.0))
@settings(max_examples=10, deadline=None)
def test_exposure_changes_the_matrix_and_nothing_else(times: float) -> None:
    seen, XYZ = seen_by("seven", "LED-B2")
    fit = fit_camera(times * seen, np.full((24, 3), U_READ), XYZ, NEUTRAL)
    assert times * fit.matrix == pytest.approx(fit_of("seven", "LED-B2").matrix, rel=1e-8)
    assert fit.u_absolute([40, 15, 20]) == pytest.approx(fit_of("seven", "LED-B2").u_absolute([40, 15, 20]), rel=1e-6)


def test_mixing_the_channels_changes_nothing_that_is_measured() -> None:
    """A phone's JPEG is a mixture of its sensor's channels; the prior knows no channels, so the answer is the same."""
    seen, XYZ = seen_by("two", "D65")
    noise = np.full((24, 3), 1e-5)
    mixed = seen @ np.array([[1.7, -0.5, -0.2], [-0.3, 1.5, -0.2], [0.0, -0.6, 1.6]]).T
    a, b = fit_camera(seen, noise, XYZ, NEUTRAL), fit_camera(mixed, noise, XYZ, NEUTRAL)
    assert mixed @ b.matrix.T == pytest.approx(seen @ a.matrix.T, abs=2e-6)


def test_half_the_light_is_half_the_XYZ_of_a_root_polynomial_and_not_of_a_polynomial() -> None:
    """Why the study compares the root form: it scales with exposure (Finlayson, Mackiewicz and Hurlbert 2015)."""
    seen, XYZ = seen_by("one", "D55")
    polynomial = root_polynomial((seen, XYZ))
    assert roots(0.5 * seen) @ polynomial.T == pytest.approx(0.5 * roots(seen) @ polynomial.T, abs=1e-10)
    squares = np.concatenate([seen, seen**2, seen * np.roll(seen, 1, axis=1)], axis=1)
    plain_form = np.linalg.lstsq(squares, XYZ, rcond=None)[0]
    half = 0.5 * seen
    halved = np.concatenate([half, half**2, half * np.roll(half, 1, axis=1)], axis=1) @ plain_form
    assert np.abs(halved - 0.5 * squares @ plain_form).max() > 0.002


# The derivatives that weigh errors


@given(st.floats(10, 95), st.floats(-40, 60), st.floats(-40, 60))
def test_the_slopes_of_Lab_are_its_derivatives(L: float, a: float, b: float) -> None:
    XYZ = Lab_to_XYZ(np.array([L, a, b]))
    if XYZ.min() < 0.012 or XYZ.min() * 0.99 < 0.009:  # away from the corner where the cube root meets its line
        return
    steps = 1e-6 * np.eye(3)
    numeric = np.stack([(XYZ_to_Lab(XYZ + s) - XYZ_to_Lab(XYZ - s)) / 2e-6 for s in steps], axis=1)
    assert Lab_slopes(XYZ) == pytest.approx(numeric, rel=1e-5, abs=1e-4)


@given(st.floats(20, 80), st.floats(4, 35), st.floats(8, 45), st.floats(0, 6.28), st.floats(-1, 1))
def test_near_wood_the_perceived_length_is_CIEDE2000(L: float, a: float, b: float, turn: float, height: float) -> None:
    """Against the project's CIEDE2000, itself held to Sharma's 34 pairs; the left-out terms make a few percent."""
    Lab = np.array([L, a, b])
    other = Lab + 0.2 * np.array([height, np.sqrt(1 - height**2) * np.cos(turn), np.sqrt(1 - height**2) * np.sin(turn)])
    XYZ = Lab_to_XYZ(np.stack([Lab, other]))
    length = np.linalg.norm(perceived_slopes(XYZ.mean(axis=0)) @ (XYZ[1] - XYZ[0]))
    assert length == pytest.approx(float(delta_E_00(Lab, other)), rel=0.12)


# What is published, and what is made from it


def test_the_two_editions_of_the_chart_differ_by_half_an_error_budget() -> None:
    """CIEDE2000 between the editions: mean 0.8477, most 1.9513, computed with colour-science from its own tables."""
    before, after = (read_Lab(edition) for edition in ("before", "from"))
    difference = delta_E_00(before, after)
    assert (difference.mean(), difference.max()) == pytest.approx((0.8477, 1.9513), abs=1e-3)


def test_the_observer_and_the_chart_are_those_of_an_independent_library() -> None:
    """XYZ of its spectra by its own integration at 10 nm steps; ours counts light and observer every 5 nm."""
    shape = colour.SpectralShape(380, 730, 10)
    observer_10nm = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    daylight = colour.SDS_ILLUMINANTS["D50"].copy().align(shape)
    for patch, spectrum in enumerate(colour.SDS_COLOURCHECKERS["BabelColor Average"].values()):
        XYZ = colour.sd_to_XYZ(spectrum, observer_10nm, daylight, method="Integration") / 100
        assert delta_E_00(XYZ_to_Lab(known_XYZ()[patch]), XYZ_to_Lab(XYZ)) < 0.12, spectrum.name
    assert observer_weights().sum(axis=0) == pytest.approx(D50, abs=1e-7)


def test_the_tables_are_what_the_script_makes() -> None:
    """The prior by its covariance, in which neither the order nor the sign of near-equal modes shows."""
    assert observer_weights() == pytest.approx(observer(), abs=5e-9)
    assert published_chart_spectra() == pytest.approx(chart("BabelColor Average"), abs=5e-4)
    found = departures().reshape(-1, 108)
    spread, modes = np.cov(found, rowvar=False, ddof=0), camera_prior().modes.reshape(-1, 108)
    assert camera_prior().mean.ravel() == pytest.approx(found.mean(axis=0), abs=1e-6)
    assert np.trace(modes.T @ modes) / np.trace(spread) == pytest.approx(0.995, abs=0.003)
    assert np.linalg.norm(modes.T @ modes - spread) < 0.01 * np.linalg.norm(spread)


def test_a_bent_spectrum_has_the_colour_that_is_known_and_stays_smooth() -> None:
    shifted = Lab_to_XYZ(XYZ_to_Lab(known_XYZ()) + np.array([1.5, -1.0, 2.0]))
    bent = bent_to(published_chart_spectra(), shifted)
    assert bent @ observer_weights() == pytest.approx(shifted, abs=1e-11)
    assert np.abs(np.diff(np.log(bent / published_chart_spectra()), axis=1)).max() < 0.1


def test_a_spectrum_is_not_bent_to_a_colour_that_no_surface_has() -> None:
    with pytest.raises(ValueError, match="cannot be bent"):
        bent_to(published_chart_spectra()[:1], np.array([[0.9, 0.1, 0.1]]))


def test_a_gray_dye_of_density_0_1_takes_L_80_to_66_339() -> None:
    """Light passes it twice, so Y falls by 10^-0.2; closed form of ISO/CIE 11664-4."""
    white = Lab_to_XYZ(np.array([80.0, 0.0, 0.0]))
    assert XYZ_to_Lab(through_stain(white, 0.1)) == pytest.approx([66.339, 0, 0], abs=5e-4)


def test_modelled_wood_is_wood() -> None:
    """Reflectances in 0..1 that rise from violet to red, from near black to pale maple, none of them blue."""
    spectra = wood_reflectances()
    Lab = XYZ_to_Lab(spectra @ observer_weights())
    assert spectra.shape == (400, BANDS_nm.size)
    assert ((spectra > 0) & (spectra < 1)).all()
    assert (spectra[:, -1] > spectra[:, 0]).all()
    assert Lab[:, 0].min() < 25
    assert Lab[:, 0].max() > 78
    assert (Lab[:, 2] > 0).all()
    assert not spectra.flags.writeable


# Cameras, lamps, chart and wood that went into nothing


def test_a_plain_matrix_leaves_on_the_chart_what_others_found() -> None:
    """24 patches under D55, median camera: 0.82 in a computation with 52 measured cameras. For orientation only."""
    patches, found = published_chart_spectra(), []
    for name in cameras():
        RGB = patches @ camera_weights(name, "D55")
        matrix = white_preserving_matrix(RGB, known_XYZ(), np.ones(3), D50)
        found.append(delta_E_00(XYZ_to_Lab(RGB @ matrix.T), XYZ_to_Lab(known_XYZ())).mean())
    assert np.median(found) == pytest.approx(0.82, abs=0.15)


@cache
def outcomes() -> dict[str, Floats]:
    """Kind of lamp to (cameras x lamps, 2 ways, 4 measures): plain and wood-aware; mean, p95, pairs, grays."""
    wood, found = simulated_wood(), {}
    for kind in LAMPS:
        here = []
        for name in SOME:
            lamp = ONE_OF_EACH[kind]
            both = (plain(seen_by(name, lamp)), fit_of(name, lamp).matrix)
            judgements = [judged(matrix, camera_weights(name, lamp), wood) for matrix in both]
            here.append([(j.mean, j.p95, j.pair, j.neutrals) for j in judgements])
        found[kind] = np.array(here)
    return found


@pytest.mark.parametrize("kind", list(LAMPS))
def test_knowing_wood_beats_the_chart_alone_under_every_kind_of_lamp(kind: str) -> None:
    plain_way, aware = outcomes()[kind].mean(axis=0)
    assert aware[0] < 0.95 * plain_way[0]
    assert aware[1] < plain_way[1]
    assert aware[2] < 1.05 * plain_way[2]
    assert aware[3] < plain_way[3] + 0.03, "worse on the chart's own grays"


@pytest.mark.parametrize("kind", [kind for kind in LAMPS if kind != "filament"])
def test_stained_wood_is_read_within_0_8_in_the_mean_and_1_6_for_19_in_20(kind: str) -> None:
    """The aim for a photo with a chart, CIEDE2000, averaged over the cameras."""
    mean, p95 = outcomes()[kind][:, 1, :2].mean(axis=0)
    assert mean <= 0.8
    assert p95 <= 1.6


def test_the_stated_95_percent_region_holds_the_truth_about_95_times_in_100() -> None:
    """Here over some cameras and lamps; over all of them the study finds 94 in 100, of colours and of pairs."""
    wood, rng = simulated_wood(), np.random.default_rng(8)
    pairs = [(name, lamp) for lamp in ONE_OF_EACH.values() for name in SOME]
    found = np.concatenate([distances(fit_of(n, la), camera_weights(n, la), wood, rng) for n, la in pairs], axis=1)
    of_colours, of_pairs = (found < WITHIN_95).mean(axis=1)
    assert 0.93 <= of_colours <= 0.98
    assert 0.93 <= of_pairs <= 0.97


def test_close_colours_are_told_apart_far_better_than_either_is_known() -> None:
    fit = fit_of("ten", "LED-B1")
    single, close, far = (
        np.sqrt(np.trace(u))
        for u in (
            fit.u_absolute([45, 14, 22]),
            fit.u_pair([45, 14, 22], [46, 14, 23]),
            fit.u_pair([45, 14, 22], [70, 8, 24]),
        )
    )
    assert close < 0.35 * single
    assert close < far
    assert fit.u_pair([45, 14, 22], [70, 8, 24]) == pytest.approx(fit.u_pair([70, 8, 24], [45, 14, 22]), abs=1e-12)


def test_the_predicted_error_on_wood_is_near_the_true_one() -> None:
    """Over all held-out cameras and kinds of lamps; a prediction half as large or twice as large would be none."""
    for kind, lamp in ONE_OF_EACH.items():
        predicted = np.mean([fit_of(name, lamp).wood_delta_E_00[0] for name in SOME])
        true = outcomes()[kind][:, 1, 0].mean()
        assert 0.7 < predicted / true < 1.6, kind


def test_patches_left_out_are_met_worse_than_those_that_were_used() -> None:
    fit = fit_of("three", "D55")
    mean, p95 = fit.leave_one_out
    assert 0 < np.nanmean(fit.chart_delta_E_00) < mean < p95


@pytest.mark.skipif(measured_wood() is None, reason="needs the package earthlib")
def test_measured_wood_is_no_worse_for_it() -> None:
    wood = measured_wood()
    assert wood is not None
    ways: list[tuple[float, float]] = []
    for name, lamp in [(n, la) for la in ONE_OF_EACH.values() for n in SOME]:
        both = (plain(seen_by(name, lamp)), fit_of(name, lamp).matrix)
        one, other = (judged(matrix, camera_weights(name, lamp), wood).mean for matrix in both)
        ways.append((one, other))
    plain_mean, aware_mean = np.mean(ways, axis=0)
    assert aware_mean < plain_mean


# Charts as they come


@pytest.mark.parametrize("patch", [4, 12, 18, 21])
def test_one_bad_patch_is_left_out_and_does_no_harm(patch: int) -> None:
    """Glare on a coloured patch, on a neutral one: found by what all others say of it."""
    seen, XYZ = seen_by("nine", "D65")
    spoiled = seen.copy()
    spoiled[patch] = spoiled[patch] + 0.08
    fit = fit_camera(spoiled, np.full((24, 3), U_READ), XYZ, NEUTRAL)
    assert np.flatnonzero(~fit.used).tolist() == [patch]
    without = seen.copy()
    without[patch] = np.nan
    assert fit.matrix == pytest.approx(fit_camera(without, np.full((24, 3), U_READ), XYZ, NEUTRAL).matrix, abs=1e-12)
    assert fit.chart_delta_E_00[patch] > 3 * np.nanmean(fit.chart_delta_E_00[fit.used & (np.arange(24) >= 18)])
    assert np.isnan(fit.left_out_delta_E_00[patch])


def test_good_patches_are_hardly_ever_left_out() -> None:
    left_out = [(~fit_of(name, lamp).used).sum() for lamp in ONE_OF_EACH.values() for name in SOME]
    assert np.mean(left_out) < 0.25


def test_a_shaded_half_leaves_a_chart_that_still_serves() -> None:
    """Twelve patches read; wood still within 1.6 for 19 in 20."""
    seen, XYZ = seen_by("nine", "D65")
    half = seen.copy()
    half[[0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22]] = np.nan
    fit = fit_camera(half, np.full((24, 3), U_READ), XYZ, NEUTRAL)
    assert fit.used.sum() == 12
    assert judged(fit.matrix, camera_weights("nine", "D65"), simulated_wood()).p95 < 1.6
    wider = fit.u_absolute([45, 14, 22]) - fit_of("nine", "D65").u_absolute([45, 14, 22])
    assert np.trace(wider) > 0


def test_too_few_patches_are_refused() -> None:
    seen, XYZ = seen_by("nine", "D65")
    few = seen.copy()
    few[: 24 - FEWEST_PATCHES + 1] = np.nan
    with pytest.raises(ValueError, match="9 patches can be used, 10 are needed"):
        fit_camera(few, EXACT, XYZ, NEUTRAL)


def test_a_chart_without_a_readable_neutral_is_refused() -> None:
    seen, XYZ = seen_by("nine", "D65")
    colours_only = seen.copy()
    colours_only[18:] = np.nan
    with pytest.raises(ValueError, match="none of the neutral"):
        fit_camera(colours_only, EXACT, XYZ, NEUTRAL)


def test_spectra_are_wanted_for_another_chart() -> None:
    seen, XYZ = seen_by("nine", "D65")
    with pytest.raises(ValueError, match="give the spectra of 23 patches"):
        fit_camera(seen[1:], EXACT[1:], XYZ[1:], NEUTRAL - 1)
    given_spectra = fit_camera(
        seen[1:], np.full((23, 3), U_READ), XYZ[1:], NEUTRAL - 1, spectra=published_chart_spectra()[1:]
    )
    assert given_spectra.used.sum() >= 22


def test_doubt_grows_with_a_chart_that_fits_badly() -> None:
    """A chart of other values than it is said to have: every patch off a little, none an outlier."""
    seen, XYZ = seen_by("nine", "D65")
    off = Lab_to_XYZ(XYZ_to_Lab(XYZ) + 1.5 * np.random.default_rng(3).standard_normal((24, 3)))
    fit = fit_camera(seen, np.full((24, 3), U_READ), off, NEUTRAL)
    assert fit.misfit > 1.5 * fit_of("nine", "D65").misfit
    assert np.trace(fit.u_absolute([45, 14, 22])) > 1.5 * np.trace(fit_of("nine", "D65").u_absolute([45, 14, 22]))
