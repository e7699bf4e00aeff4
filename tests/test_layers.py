"""Light in layers of colour, against the published formulas; colour differences as vectors; spectra behind colours."""

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from simulator.spectra import Lab_to_reflectance, XYZ_weights
from simulator.wood import SPECIES
from studies.mix_study import K_over_S, opaque_reflectance

from analyzer.match.eye import covariance_of_u, parts_00
from analyzer.match.layers import absorption_of, layer_over, with_surface, without_surface
from analyzer.match.spectra import XYZ_of, absorbances_of
from calibration.colorspace import D50, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.wood_spectra import through_stain

SHARES = st.floats(0.02, 0.98)
AMOUNTS = st.floats(0.0, 4.0)


def layer_as_published(R_g: float, K: float, S: float) -> float:
    """Kubelka 1948: [1 - Rg (a - b coth bSX)] / [a - Rg + b coth bSX], a = 1 + K/S, b = sqrt(a^2 - 1)."""
    a = 1 + K / S
    b = np.sqrt(a**2 - 1)
    coth = 1 / np.tanh(b * S)
    return float((1 - R_g * (a - b * coth)) / (a - R_g + b * coth))


def test_a_layer_over_a_ground_has_the_published_reflectance() -> None:
    """Rg = .6, S = .1, K = .5, X = 1 in Kubelka's formula, worked out by hand to six digits."""
    assert layer_over(0.6, 0.5, 0.1) == pytest.approx(0.246923, abs=5e-7)
    assert layer_as_published(0.6, 0.5, 0.1) == pytest.approx(0.246923, abs=5e-7)


@given(SHARES, st.floats(0.01, 4.0), st.floats(0.01, 4.0))
def test_a_layer_is_as_in_the_formula_wherever_that_holds(ground: float, K: float, S: float) -> None:
    assert float(layer_over(ground, K, S)) == pytest.approx(layer_as_published(ground, K, S), abs=1e-9)


def test_a_layer_that_does_not_scatter_is_a_transparent_one() -> None:
    """Rg exp(-2 K X) = .220728, where the published formula divides by 0."""
    assert layer_over(0.6, 0.5, 0.0) == pytest.approx(0.220728, abs=5e-7)
    assert layer_over(0.6, 0.5, 1e-9) == pytest.approx(0.220728, abs=5e-7)
    assert layer_over(0.6, 0.0, 0.0) == pytest.approx(0.6)


def test_a_thick_layer_shows_no_ground() -> None:
    """K/S = (1 - R)^2 / 2R: of R = .36 it is .56889, and a thick layer of that ratio has R = .36 (Kubelka and Munk)."""
    assert K_over_S(np.array(0.36)) == pytest.approx(0.56889, abs=5e-6)
    assert opaque_reflectance(K_over_S(np.array(0.36))) == pytest.approx(0.36, abs=1e-12)
    thick = 30.0
    assert layer_over(0.9, thick * 0.5688889, thick) == pytest.approx(0.36, abs=1e-6)


@given(SHARES, AMOUNTS, st.floats(0.0, 2.0))
def test_absorption_is_found_again_from_what_a_layer_shows(ground: float, K: float, S: float) -> None:
    found = absorption_of(layer_over(ground, K, S), ground, S)
    assert layer_over(ground, found, S) == pytest.approx(layer_over(ground, K, S), abs=1e-9)


def test_a_layer_lighter_than_scattering_alone_could_make_it_absorbs_nothing() -> None:
    assert absorption_of(0.9, 0.5, 0.1) == 0.0


@pytest.mark.parametrize(("inside", "seen"), [(0.1, 0.08085), (0.3, 0.18049), (0.5, 0.31429), (0.7, 0.50345)])
def test_a_surface_changes_reflectance_as_saunderson_says(inside: float, seen: float) -> None:
    """k1 = .04, k2 = .6 in Saunderson 1942, worked out by hand to five digits."""
    assert with_surface(inside, 0.04, 0.6) == pytest.approx(seen, abs=5e-6)
    assert without_surface(with_surface(inside, 0.04, 0.6), 0.04, 0.6) == pytest.approx(inside, abs=1e-12)


def test_a_gray_dye_darkens_as_its_density_says() -> None:
    """Density .1, passed twice, over L* 80: Y falls by 10^-.2; L* = 116 cbrt(Y) - 16 gives 66.339."""
    Y = ((80 + 16) / 116) ** 3
    assert XYZ_to_Lab(through_stain(Y, 0.1) * D50)[0] == pytest.approx(66.339, abs=5e-4)
    assert XYZ_to_Lab(layer_over(Y, 0.1 * np.log(10), 0.0) * D50)[0] == pytest.approx(66.339, abs=5e-4)


# ---- colour differences as vectors


def test_the_parts_have_the_length_of_ciede2000() -> None:
    """Against colour-science, on 2000 pairs of the colours of wood."""
    rng = np.random.default_rng(3)
    first, second = rng.uniform((15, 1, 3), (88, 28, 45), (2, 2000, 3))
    assert np.linalg.norm(parts_00(first, second), axis=-1) == pytest.approx(
        colour.delta_E(first, second, method="CIE 2000"), abs=1e-8
    )


def test_the_parts_point_the_way_the_colour_went() -> None:
    dL, dC, dH = parts_00([50, 10, 20], [53, 9, 22])
    assert dL > 0
    assert dC > 0  # more vivid: 24 against 22
    assert dH > 0  # counter-clockwise: yellower


def test_a_doubt_told_as_ciede2000_is_alike_in_all_directions() -> None:
    """A step of one sigma along each principal axis is a difference of one u."""
    Lab, u = np.array([55.0, 14.0, 26.0]), 0.02
    variances, axes = np.linalg.eigh(covariance_of_u(Lab, u))
    for variance, axis in zip(variances, axes.T, strict=True):
        assert delta_E_00(Lab, Lab + np.sqrt(variance) * axis) == pytest.approx(u, rel=0.01)


# ---- spectra behind colours


@pytest.mark.parametrize("haze", [0.0, 0.02])
def test_a_spectrum_has_the_colour_that_it_was_made_for(haze: float) -> None:
    for species in SPECIES.values():
        XYZ = np.array(Lab_to_reflectance(species.Lab)) @ XYZ_weights("D50")
        assert XYZ_of(absorbances_of(XYZ, haze), haze) == pytest.approx(XYZ, abs=1e-8)


def test_the_spectra_of_the_simulators_woods_are_found_within_a_tenth() -> None:
    """Their shapes are not those of the model; absorbance from 420 to 680 nm, where the eye sees."""
    for name, species in SPECIES.items():
        reflectance = np.array(Lab_to_reflectance(species.Lab))
        found = absorbances_of(reflectance @ XYZ_weights("D50"), 0.0)
        assert np.abs(found + np.log10(reflectance))[4:31].max() < 0.1, name
