"""Random patterns for painting surfaces: each has mean 0 and standard deviation exactly 1 over its area.

All take the shape in pixels, the scale and a seed, and return float32 arrays (rows, columns); columns run along the
grain.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Shape = tuple[int, int]

PIXELS_PER_WAVE = 12  # the coarsest grid on which a wave is drawn before cubic enlargement


def gaussian_field(
    shape: Shape,
    mm_per_px: float,
    wavelengths: tuple[float, float] = (6.0, 35.0),
    seed: int = 0,
    coarseness: float = 0.0,
) -> Array:
    """Isotropic Gaussian random field with wavelengths (in mm) of one band.

    Amplitude goes with the wavelength to the power of `coarseness`: 0 gives every wave vector the same power, which
    looks like pebbles of the shortest wavelength; 1 gives every octave the same power, which looks like cloud.
    """
    shortest, longest = wavelengths
    shrink = max(1, int(shortest / mm_per_px / PIXELS_PER_WAVE))
    step_mm = mm_per_px * shrink
    # Drawn on a larger sheet and cut out: on the sheet itself the pattern would join at its opposite edges.
    border = int(np.ceil(longest / step_mm))
    rows, columns = (int(np.ceil(n / shrink)) + 2 for n in shape)
    sheet = (cv2.getOptimalDFTSize(rows + border), cv2.getOptimalDFTSize(columns + border))
    noise = np.random.default_rng(seed).standard_normal(sheet, dtype=np.float32)
    cycles_per_mm = np.hypot(np.fft.fftfreq(sheet[0], step_mm)[:, None], np.fft.rfftfreq(sheet[1], step_mm)[None, :])
    in_band = (cycles_per_mm >= 1 / longest) & (cycles_per_mm <= 1 / shortest)
    if not in_band.any():
        raise ValueError(f"no wave between {shortest:g} and {longest:g} mm fits {sheet} px at {mm_per_px:g} mm/px")
    amplitude = in_band / np.maximum(cycles_per_mm, 1 / longest) ** coarseness
    field = np.fft.irfft2(np.fft.rfft2(noise) * amplitude, s=sheet)[:rows, :columns]
    return _unit(_enlarge(field, shrink, shape))


def fine_texture(shape: Shape, mm_per_px: float, longest: float = 2.0, seed: int = 0) -> Array:
    """Isotropic texture with wavelengths below `longest` mm, down to the sampling limit."""
    return gaussian_field(shape, mm_per_px, (2 * mm_per_px, longest), seed)


def streaks(shape: Shape, mm_per_px: float, widths: tuple[float, float] = (1.0, 10.0), seed: int = 0) -> Array:
    """Straight streaks along the grain. A streak `w` mm wide is half a wave of 2 w mm across the grain."""
    narrow, wide = widths
    rows = shape[0]
    margin = int(np.ceil(2 * wide / mm_per_px))
    noise = np.random.default_rng(seed).standard_normal(rows + 2 * margin)
    cycles_per_mm = np.fft.rfftfreq(noise.size, mm_per_px)
    in_band = (cycles_per_mm >= 1 / (2 * wide)) & (cycles_per_mm <= 1 / (2 * narrow))
    across = np.fft.irfft(np.fft.rfft(noise) * in_band, n=noise.size)[margin : margin + rows]
    return _unit(np.repeat(across[:, None], shape[1], axis=1))


def drift(shape: Shape, mm_per_px: float, waves: float = 0.5, seed: int = 0) -> Array:
    """Slow change over the area: `waves` of a sine (half a wave or less) in a random direction, with a random phase."""
    rng = np.random.default_rng(seed)
    direction = rng.uniform(0, 2 * np.pi)
    rows = (np.arange(shape[0]) + 0.5) * mm_per_px
    columns = (np.arange(shape[1]) + 0.5) * mm_per_px
    along = np.cos(direction) * columns[None, :] + np.sin(direction) * rows[:, None]
    along = (along - along.min()) / (along.max() - along.min())  # 0 to 1 over the area
    return _unit(np.sin(2 * np.pi * waves * (along - 0.5) + rng.uniform(-np.pi / 4, np.pi / 4)))


def _enlarge(field: NDArray[np.float64], times: int, shape: Shape) -> NDArray[np.floating]:
    large = cv2.resize(field, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC) if times > 1 else field
    return np.asarray(large, dtype=np.float32)[: shape[0], : shape[1]]


def _unit(field: NDArray[np.floating]) -> Array:
    centred = field.astype(np.float64) - field.mean(dtype=np.float64)
    return np.asarray(centred / centred.std(), dtype=np.float32)
