"""How moist does wood get in an air, and how cold may a surface be before the air's water settles on it?"""

import math
from typing import Final

# Magnus formula over water, Alduchov & Eskridge, Journal of Applied Meteorology 35, 601-609, 1996: -40 to 50 degC.
_MAGNUS_A: Final = 17.625
_MAGNUS_B_C: Final = 243.04


def equilibrium_moisture_percent(temperature_C: float, humidity_percent: float) -> float:
    """Moisture content that wood takes on in an air, percent of its dry weight.

    Hailwood-Horrobin equation with the constants for degrees Celsius of the Wood Handbook, FPL-GTR-190 (USDA Forest
    Products Laboratory, 2010), chapter 4, equation 4-5.

    Parameters
    ----------
    temperature_C : float
        -10 to 60 degrees Celsius.
    humidity_percent : float
        Relative humidity, 0 to below 100.

    Raises
    ------
    ValueError
        If one is out of range.
    """
    if not (-10 <= temperature_C <= 60 and 0 <= humidity_percent < 100):
        raise ValueError(f"equilibrium moisture: {temperature_C:g} °C at {humidity_percent:g} % is out of range.")
    T, H = temperature_C, humidity_percent / 100
    W = 349 + 1.29 * T + 0.0135 * T**2
    K = 0.805 + 0.000736 * T - 0.00000273 * T**2
    K1 = 6.27 - 0.00938 * T - 0.000303 * T**2
    K2 = 1.91 + 0.0407 * T - 0.000293 * T**2
    KH = K * H
    hydrated = (K1 * KH + 2 * K1 * K2 * KH**2) / (1 + K1 * KH + K1 * K2 * KH**2)
    return 1800 / W * (KH / (1 - KH) + hydrated)


def dew_point_C(temperature_C: float, humidity_percent: float) -> float:
    """Temperature at which the air's water begins to settle, degrees Celsius.

    Parameters
    ----------
    temperature_C : float
        -40 to 50 degrees Celsius.
    humidity_percent : float
        Relative humidity, above 0 to 100.

    Raises
    ------
    ValueError
        If one is out of range.
    """
    if not (-40 <= temperature_C <= 50 and 0 < humidity_percent <= 100):
        raise ValueError(f"dew point: {temperature_C:g} °C at {humidity_percent:g} % is out of range.")
    gamma = math.log(humidity_percent / 100) + _MAGNUS_A * temperature_C / (_MAGNUS_B_C + temperature_C)
    return _MAGNUS_B_C * gamma / (_MAGNUS_A - gamma)
