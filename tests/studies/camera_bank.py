"""Cameras and lamps that never were, but could be: the bank from which the prior of the camera correction is made.

Nothing measured goes in: sensitivities are sums of skewed bells between an ultraviolet and an infrared cut, lamps are
daylights, filaments, LEDs and discharge tubes by formula. So every measured camera and every CIE lamp is new to it.
Ranges chosen by us, wide.
"""

import colour
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
FINE_nm = np.arange(380, 731, 5)
FAMILIES = ("daylight", "filament", "led", "tube", "triband", "mixed")


def sensitivities(rng: np.random.Generator) -> Floats:
    """One camera's sensitivities (71, 3): red, green, blue."""

    def bell(centre: float, left: float, right: float) -> Floats:
        width = np.where(centre > FINE_nm, left, right)
        return np.asarray(np.exp(-0.5 * ((FINE_nm - centre) / width) ** 2))

    u = rng.uniform
    red = bell(u(582, 612), u(8, 24), u(22, 55)) + u(0, 0.35) * bell(u(510, 545), 25, 25) * (u() < 0.5)
    red += u(0, 0.10) * bell(u(415, 440), 15, 20)
    green = bell(u(522, 548), u(22, 40), u(28, 48)) + u(0, 0.18) * bell(u(430, 470), 30, 30) + u(0, 0.06)
    blue = bell(u(445, 472), u(18, 32), u(22, 38)) + u(0, 0.20) * bell(u(500, 540), 30, 30) * (u() < 0.6)
    curves = np.stack([red, green, blue], axis=1)
    turns, start = FINE_nm / rng.uniform(70, 300, (3, 6, 1)), rng.uniform(0, 2 * np.pi, (3, 6, 1))
    ripple = (np.cos(2 * np.pi * turns + start).sum(axis=1) / np.sqrt(3)).T  # of dyes and coatings
    curves = curves * np.exp(u(0.02, 0.10) * ripple)
    curves = curves @ (np.eye(3) + rng.uniform(0, 0.04, (3, 3)))  # light that leaks into the neighbour's pixel
    cut = 1 / (1 + np.exp(-(FINE_nm - u(400, 420)) / u(2, 7))) / (1 + np.exp((FINE_nm - u(640, 690)) / u(6, 20)))
    return np.asarray(curves * cut[:, np.newaxis])


def lamp(family: str, rng: np.random.Generator) -> Floats:
    """One lamp's spectral power (71,)."""
    if family == "mixed":
        first, second = (lamp(str(kind), rng) for kind in rng.choice(FAMILIES[:5], 2, replace=False))
        share = rng.uniform(0.1, 0.9)
        return np.asarray(share * first / first.mean() + (1 - share) * second / second.mean())
    return MAKERS[family](rng)


def _daylight(rng: np.random.Generator) -> Floats:
    xy = colour.temperature.CCT_to_xy_CIE_D(1 / rng.uniform(1 / 9000, 1 / 4000))
    spectrum = colour.sd_CIE_illuminant_D_series(xy, shape=colour.SpectralShape(380, 730, 5))
    glass = 1 - rng.uniform(0, 0.3) * np.exp(-(FINE_nm - 380) / 40) - rng.uniform(0, 0.1) * (FINE_nm - 380) / 350
    return np.asarray(spectrum.values * glass)


def _filament(rng: np.random.Generator) -> Floats:
    return _planck(rng.uniform(2500, 3400))


def _led(rng: np.random.Generator) -> Floats:
    u = rng.uniform
    kind = rng.choice(["one phosphor", "two phosphors", "violet", "three chips"], p=[0.4, 0.4, 0.1, 0.1])
    if kind == "three chips":
        centres, widths = (u(445, 470), u(515, 540), u(605, 635)), (10, 15, 9)
        return np.asarray(sum(u(0.5, 1.5) * _bell(c, w) for c, w in zip(centres, widths, strict=True)))
    if kind == "violet":
        pump = u(0.2, 0.7) * _bell(u(405, 420), 8) + u(0.2, 0.9) * _bell(u(450, 475), 25)
    else:
        pump = u(0.15, 1.3) * _bell(u(440, 462), u(8, 12))
    yellow = _bell(u(540, 590), u(35, 60))
    red = u(0, 1.6) * _bell(u(605, 645), u(20, 42)) * (kind != "one phosphor")
    return np.asarray(pump + yellow + red)


def _tube(rng: np.random.Generator) -> Floats:
    u = rng.uniform
    broad = u(0.2, 1.0) * _bell(u(470, 495), u(35, 50)) + u(0.6, 1.2) * _bell(u(575, 600), u(30, 45))
    broad += u(0, 0.6) * _bell(u(620, 660), u(20, 35)) * (u() < 0.5)
    return np.asarray(broad + u(0.5, 1.5) * _mercury())


def _triband(rng: np.random.Generator) -> Floats:
    u = rng.uniform
    blue = u(0.1, 1.0) * _bell(u(448, 456), 20)
    green = u(0.8, 1.2) * (0.25 * _bell(489, 5) + _bell(543, 4) + 0.2 * _bell(586, 6))
    red = u(0.5, 1.8) * (_bell(611, 3.5) + 0.15 * _bell(630, 6) + 0.08 * _bell(707, 5))
    return np.asarray(blue + green + red + 0.6 * _mercury() + u(0, 0.1) * _bell(580, 60))


MAKERS = {"daylight": _daylight, "filament": _filament, "led": _led, "tube": _tube, "triband": _triband}


def _mercury() -> Floats:
    lines = ((404.7, 0.35), (435.8, 1.0), (546.1, 0.8), (578.0, 0.25))  # nm and relative strength in a tube
    return np.asarray(sum(strength * _bell(centre, 3.0) for centre, strength in lines))


def _planck(kelvin: float) -> Floats:
    metres = FINE_nm * 1e-9
    return np.asarray((560e-9 / metres) ** 5 / np.expm1(1.4388e-2 / (metres * kelvin)))


def _bell(centre: float, sigma: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((FINE_nm - centre) / sigma) ** 2))
