"""Painted surfaces with known evenness, for test_evenness.py. Written apart from the simulator and from the measure.

All return float64 (rows, columns); columns run along the grain, sizes are in mm.
"""

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHEET_MM = 80.0  # the sheet from which a field is cut is larger than the zone by this


def shape_px(height_mm: float, width_mm: float, mm_per_px: float) -> tuple[int, int]:
    return round(height_mm / mm_per_px), round(width_mm / mm_per_px)


def patches(
    shape: tuple[int, int],
    mm_per_px: float,
    seed: int,
    waves_mm: tuple[float, float] = (6.0, 35.0),
    coarseness: float = 0.0,
) -> Array:
    """Isotropic Gaussian field whose *expected* standard deviation is 1; a realised zone differs by chance.

    Amplitude goes with wavelength to the power of `coarseness`: 0 all waves alike, 1 all octaves alike, 2 the long end
    dominates. Cut from a larger sheet, so that it does not join at its edges.
    """
    rng = np.random.default_rng(seed)
    sheet = tuple(n + int(SHEET_MM / mm_per_px) for n in shape)
    frequency = np.hypot(np.fft.fftfreq(sheet[0], mm_per_px)[:, None], np.fft.fftfreq(sheet[1], mm_per_px))
    shortest, longest = waves_mm
    within = (frequency >= 1 / longest) & (frequency <= 1 / shortest)
    amplitude = within / np.maximum(frequency, 1 / longest) ** coarseness
    spectrum = np.fft.rfft2(rng.standard_normal(sheet)) * amplitude[:, : sheet[1] // 2 + 1]
    field = np.fft.irfft2(spectrum, s=sheet)
    field /= math.sqrt(float(np.mean(amplitude**2)))
    top, left = (int(rng.integers(0, large - small)) for large, small in zip(sheet, shape, strict=True))
    return field[top : top + shape[0], left : left + shape[1]]


def unit(field: Array) -> Array:
    """Mean 0 and standard deviation 1 over the zone."""
    return (field - field.mean()) / field.std()


def sine_streaks(
    shape: tuple[int, int], mm_per_px: float, wide_mm: float, seed: int = 0, slope_deg: float = 0.0
) -> Array:
    """Light and dark streaks, each `wide_mm` wide, along a grain that runs off the rows by `slope_deg`."""
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    return unit(np.cos(np.pi * _across(shape, mm_per_px, slope_deg) / wide_mm + phase))


def random_streaks(shape: tuple[int, int], mm_per_px: float, seed: int, slope_deg: float = 0.0) -> Array:
    """Streaks 1 to 10 mm wide with sharp sides, each of its own lightness."""
    rng = np.random.default_rng(seed)
    across = _across(shape, mm_per_px, slope_deg)
    sides = across.min() - 10 + np.cumsum(rng.uniform(1, 10, 600))
    return unit(rng.standard_normal(601)[np.searchsorted(sides, across)])


def _across(shape: tuple[int, int], mm_per_px: float, slope_deg: float) -> Array:
    rows, columns = ((np.arange(n) + 0.5) * mm_per_px for n in shape)
    slope = math.radians(slope_deg)
    return rows[:, None] * math.cos(slope) - columns * math.sin(slope)


def drift(shape: tuple[int, int], waves: float, direction_deg: float, phase: float) -> Array:
    """`waves` of a sine from one side (or corner) of the zone to the other; 0.5 is half a wave."""
    rows, columns = ((np.arange(n) + 0.5) / n for n in shape)
    direction = math.radians(direction_deg)
    along = rows[:, None] * math.sin(direction) + columns * math.cos(direction)
    along = (along - along.min()) / np.ptp(along)
    return unit(np.cos(2 * np.pi * waves * along + phase))


def luminance(L_star: Array | float) -> Array:
    """Relative luminance of CIE 1976 lightness above 8 (ISO/CIE 11664-4)."""
    return ((np.asarray(L_star) + 16) / 116) ** 3


def averaged(values: Array, times: int) -> Array:
    """Mean of squares of `times` pixels a side; what does not fill a square is cut off."""
    rows, columns = (n // times for n in values.shape)
    return values[: rows * times, : columns * times].reshape(rows, times, columns, times).mean(axis=(1, 3))
