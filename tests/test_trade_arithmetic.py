"""Thinning, film, spread and climate against handbook values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.trade.climate import dew_point_C, equilibrium_moisture_percent
from analyzer.trade.mixing import (
    amount_L,
    cut_to_g_per_L,
    cut_to_solids_percent,
    cut_to_weight_percent,
    dry_film,
    solids_percent_to_cut,
    spread_m2_per_L,
    thinner_for,
)
from analyzer.trade.units import FT2_PER_GALLON_IN_M2_PER_L, UM_PER_MIL


def test_twenty_percent_thinned_to_five_takes_three_parts() -> None:
    """Common practice, and plain arithmetic: one part of four stays solid finish."""
    assert thinner_for(1.0, 20, 5) == pytest.approx(3)


@given(st.floats(1, 100), st.floats(1, 100))
def test_what_is_solid_stays(solids: float, wanted: float) -> None:
    low, high = sorted((solids, wanted))
    thinner = thinner_for(2.0, high, low)
    assert 2.0 * high == pytest.approx((2.0 + thinner) * low)


def test_thinner_makes_nothing_stronger() -> None:
    with pytest.raises(ValueError, match="cannot be thinned"):
        thinner_for(1, 5, 20)


@pytest.mark.parametrize(("pounds", "by_volume"), [(0.5, 5), (1, 10), (1.5, 14), (2, 16), (3, 24)])
def test_a_pound_cut_has_the_trades_solids_by_volume(pounds: float, by_volume: float) -> None:
    """Trade table of washcoat solids (5, 10, 16 % of half, one and two pounds; its own rounding is a percent or so)."""
    assert cut_to_solids_percent(pounds) == pytest.approx(by_volume, abs=1.3)
    assert solids_percent_to_cut(cut_to_solids_percent(pounds)) == pytest.approx(pounds)
    assert cut_to_weight_percent(pounds) > cut_to_solids_percent(pounds)  # the trap: a sheet's percent by weight


def test_a_pound_to_the_gallon_is_120_grams_to_the_litre() -> None:
    assert cut_to_g_per_L(1) == pytest.approx(119.83, abs=0.005)  # 453.59237 g / 3.785411784 L


def test_a_gallon_of_solids_covers_1604_square_feet_at_one_mil() -> None:
    """Textbook value of coating practice, given to a whole square foot; 1000 m² a litre at 1 µm."""
    assert spread_m2_per_L(UM_PER_MIL) / FT2_PER_GALLON_IN_M2_PER_L == pytest.approx(1604, abs=0.5)
    assert spread_m2_per_L(1.0) == pytest.approx(1000)


def test_a_sprayed_finish_covers_167_square_feet_a_gallon() -> None:
    """Worked example of a coatings journal (2003): 52 % solids, 30 % arrive, 1.5 mil dry."""
    assert spread_m2_per_L(1.5 * UM_PER_MIL, 52, 30) / FT2_PER_GALLON_IN_M2_PER_L == pytest.approx(167, abs=0.5)


def test_four_mils_wet_at_a_quarter_solids_dry_to_one() -> None:
    assert dry_film(4, 25) == 1


def test_an_amount_by_hand() -> None:
    """4 m², two coats, 8 m² a litre: 1 L; 15 % more, and half a litre kept."""
    assert amount_L(4, 2, 8, waste_percent=15, retain_L=0.5) == pytest.approx(1.65)


@pytest.mark.parametrize(
    ("celsius", "humidity", "percent"),
    [(21.1, 30, 6.2), (21.1, 50, 9.2), (21.1, 65, 12.0), (21.1, 80, 16.0), (4.4, 50, 9.5), (37.8, 50, 8.7)],
)
def test_equilibrium_moisture_is_the_handbooks(celsius: float, humidity: float, percent: float) -> None:
    """Wood Handbook, FPL-GTR-190, table 4-2 (70, 40 and 100 °F; from memory), rounded there to 0.1."""
    assert equilibrium_moisture_percent(celsius, humidity) == pytest.approx(percent, abs=0.1)


@pytest.mark.parametrize(("celsius", "humidity", "dew"), [(20, 50, 9.3), (25, 60, 16.7), (30, 80, 26.2), (10, 100, 10)])
def test_the_dew_point_is_that_of_the_tables(celsius: float, humidity: float, dew: float) -> None:
    """Psychrometric tables (from memory), to 0.1 K."""
    assert dew_point_C(celsius, humidity) == pytest.approx(dew, abs=0.1)


@pytest.mark.parametrize(("celsius", "humidity"), [(20, 0), (20, 101), (80, 50)])
def test_impossible_air_has_no_dew_point(celsius: float, humidity: float) -> None:
    with pytest.raises(ValueError, match="out of range"):
        dew_point_C(celsius, humidity)
