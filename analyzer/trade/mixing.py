"""How is a can thinned, how thick does it dry, how far does it go?  Solids are percent by VOLUME throughout.

Weight and volume are kept apart by name: thinned by weight, a 20 % finish becomes another than thinned by volume.
"""

from typing import Final

from analyzer.trade.units import G_PER_POUND, L_PER_US_GALLON

# A pound of dry shellac takes the room of 1/9.6 gallon, a gallon of alcohol weighs 6.59 lb (common practice, no source;
# they give the trade's 5 and 10 % by volume for half a pound and a pound).
POUNDS_IN_A_GALLON_DRY: Final = 9.6
POUNDS_IN_A_GALLON_ALCOHOL: Final = 6.59


def thinner_for(volume: float, solids_percent: float, wanted_percent: float) -> float:
    """Thinner to add so that a finish of some solids comes down to others; in the unit of `volume`.

    V (s0 / s1 - 1): what is solid stays, the whole grows.

    Parameters
    ----------
    volume : float
        Of the finish from the can, 0 or more.
    solids_percent, wanted_percent : float
        By volume, above 0 to 100; wanted no more than there is.

    Raises
    ------
    ValueError
        If a percentage is out of range, or more is wanted than is there: thinner cannot make it stronger.
    """
    _check_percent(solids_percent, wanted_percent)
    if volume < 0 or wanted_percent > solids_percent:
        raise ValueError(f"thinner: {solids_percent:g} % cannot be thinned to {wanted_percent:g} %.")
    return volume * (solids_percent / wanted_percent - 1)


def cut_to_solids_percent(pounds: float) -> float:
    """Solids by volume of a pound cut of shellac: so many pounds of flakes to a US gallon of alcohol.

    Parameters
    ----------
    pounds : float
        0 or more.

    Raises
    ------
    ValueError
        For a negative cut.
    """
    if pounds < 0:
        raise ValueError(f"pound cut: no less than 0, got {pounds:g}.")
    flakes = pounds / POUNDS_IN_A_GALLON_DRY
    return 100 * flakes / (1 + flakes)


def solids_percent_to_cut(solids_percent: float) -> float:
    """Pound cut with so much solids by volume, the inverse of `cut_to_solids_percent`; ValueError from 100 % on."""
    if not 0 <= solids_percent < 100:
        raise ValueError(f"pound cut: solids from 0 to below 100 %, got {solids_percent:g}.")
    return POUNDS_IN_A_GALLON_DRY * solids_percent / (100 - solids_percent)


def cut_to_weight_percent(pounds: float) -> float:
    """Solids by WEIGHT of a pound cut, as a sheet may state them. Never for thinning by volume."""
    if pounds < 0:
        raise ValueError(f"pound cut: no less than 0, got {pounds:g}.")
    return 100 * pounds / (pounds + POUNDS_IN_A_GALLON_ALCOHOL)


def cut_to_g_per_L(pounds: float) -> float:
    """Grams of flakes to a litre of alcohol."""
    return pounds * G_PER_POUND / L_PER_US_GALLON


def dry_film(wet_film: float, solids_percent: float) -> float:
    """Thickness that is left of a wet film when its solvent is gone, in the same unit. ValueError beyond 0-100 %."""
    _check_percent(solids_percent)
    return wet_film * solids_percent / 100


def spread_m2_per_L(
    dry_film_um: float, solids_percent: float = 100.0, transfer_efficiency_percent: float = 100.0
) -> float:
    """Area that a litre covers at a dry film: 1000 m²/L at 1 µm of what is all solid and all arrives.

    Raises
    ------
    ValueError
        If a percentage is out of range or the film is not above 0.
    """
    _check_percent(solids_percent, transfer_efficiency_percent)
    if not dry_film_um > 0:
        raise ValueError(f"spread: a film is above 0 µm, got {dry_film_um:g}.")
    return 1000 / dry_film_um * solids_percent / 100 * transfer_efficiency_percent / 100


def amount_L(
    area_m2: float,
    coats: float,
    spread: float,
    *,
    waste_percent: float = 0.0,
    retain_L: float = 0.0,
) -> float:
    """Litres for an area: area x coats / spread, more by the waste, and a retain kept for later.

    Parameters
    ----------
    area_m2, coats : float
        0 or more.
    spread : float
        m²/L in practice, above 0: losses of the gun are in it.
    waste_percent, retain_L : float
        0 or more.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if min(area_m2, coats, waste_percent, retain_L) < 0 or not spread > 0:
        raise ValueError(f"amount: area {area_m2:g} m², {coats:g} coats, {spread:g} m²/L, waste {waste_percent:g} %.")
    return area_m2 * coats / spread * (1 + waste_percent / 100) + retain_L


def _check_percent(*values: float) -> None:
    for value in values:
        if not 0 < value <= 100:
            raise ValueError(f"a share by volume lies above 0 and up to 100 %, got {value:g}.")
