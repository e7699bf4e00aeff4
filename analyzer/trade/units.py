"""What is a gallon, a mil, a pound? Exact, by NIST Handbook 44, appendix C."""

L_PER_US_GALLON = 3.785411784
US_PINT_L = L_PER_US_GALLON / 8
US_FLUID_OUNCE_L = L_PER_US_GALLON / 128
M2_PER_FT2 = 0.3048**2
UM_PER_MIL = 25.4
G_PER_POUND = 453.59237
MM_PER_INCH = 25.4
FT2_PER_GALLON_IN_M2_PER_L = M2_PER_FT2 / L_PER_US_GALLON  # 1 ft²/gal is 0.0245 m²/L


def celsius(fahrenheit: float) -> float:
    """Degrees Fahrenheit to degrees Celsius."""
    return (fahrenheit - 32) / 1.8


def fahrenheit(celsius_: float) -> float:
    """Degrees Celsius to degrees Fahrenheit."""
    return celsius_ * 1.8 + 32
