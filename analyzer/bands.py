"""Which part of a zone's lightness has which wavelength?

A zone is written as a sum of cosine waves that end level at its edges (the discrete cosine transform, type II:
Ahmed, Natarajan & Rao, IEEE Trans. Computers C-23, 1974). Three things make these waves fit a board: the edges are
mirrored, so no jump where the zone ends is taken for blotch; half a wave of drift is one single mode; streaks
along the grain are exactly the modes that do not change from column to column. The basis is orthonormal: mean square
lightness is the sum of the powers of the modes (Parseval).

Only waves of 1.6 mm and more are kept; any number of rows and columns will do.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FINEST_MM = 1.6  # shorter waves are not computed; the rings next to the band tell the noise (evenness.py)
# Butterworth shoulders: an octave outside a limit 1/4096 of the power passes, a third of an octave inside 94 %.
# Chosen: sharp enough to keep 6 and 35 mm whole and 2 mm out, soft enough not to ring in the map.
SHOULDER_POWER = 12
FREQUENCY_BIN = 1 / 500  # per mm; 20 mm waves are then told from 21 mm
HALF_WIDTHS_MM = np.arange(0, 20.1, 0.25)  # where the autocorrelation is looked at


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """The cosine waves of one rectangle. Shared and read-only."""

    rows: int
    columns: int
    frequency: Array  # (modes down, modes along), cycles per mm
    direction_deg: Array  # (modes down, modes along): 0 changes across the grain only, 90 along it only

    # By FFT and not as products with cosine matrices, which are as fast on an idle machine: NumPy's products start
    # threads that wait for each other, and with two photos measured at a time 0.5 ms became 30 ms.
    def analyse(self, L: Array) -> Array:
        """Amplitude of each mode of a map (rows, columns): (modes down, modes along), unit of `L` per root pixel."""
        down, along = self.frequency.shape
        return np.ascontiguousarray(_cosine_transform(_cosine_transform(L)[:, :along].T)[:, :down].T)

    def synthesise(self, amplitude: Array) -> Array:
        """The map (rows, columns) that these amplitudes add up to."""
        return np.ascontiguousarray(_cosine_sum(_cosine_sum(amplitude.T, self.rows).T, self.columns))

    def synthesise_on(self, amplitude: Array, rows: int, columns: int) -> Array:
        """The same map seen on a grid of other pixels; waves too fine for that grid are left out."""
        few = amplitude[:rows, :columns]
        scale = math.sqrt(rows * columns / (self.rows * self.columns))
        return scale * np.ascontiguousarray(_cosine_sum(_cosine_sum(few.T, rows).T, columns))

    def analyse_on(self, L: Array) -> Array:
        """Amplitudes, in the scale of this rectangle's own, of a map of it on a grid of other pixels: as `L`."""
        scale = math.sqrt(self.rows * self.columns / L.size)
        return scale * np.ascontiguousarray(_cosine_transform(_cosine_transform(L).T).T)


@lru_cache(maxsize=16)  # the zones of a job come in few sizes
def modes_of(rows: int, columns: int, mm_per_px: float) -> Modes:
    """All waves of `FINEST_MM` and more of a rectangle.

    Parameters
    ----------
    rows, columns : int
        Size, px.
    mm_per_px : float
        At most ``FINEST_MM / 2``, or the finest waves would have no pixels to live on.

    Raises
    ------
    ValueError
        If the pixels are too large.
    """
    if not 0 < mm_per_px <= FINEST_MM / 2:
        raise ValueError(f"modes_of: mm_per_px must be in (0, {FINEST_MM / 2:g}], got {mm_per_px:g}.")
    down = _frequencies(rows, mm_per_px)[:, np.newaxis]
    along = _frequencies(columns, mm_per_px)
    modes = Modes(
        rows=rows,
        columns=columns,
        frequency=np.hypot(down, along),
        direction_deg=np.degrees(np.arctan2(along + 0 * down, down + 0 * along)),
    )
    modes.frequency.setflags(write=False)
    modes.direction_deg.setflags(write=False)
    return modes


def _frequencies(count: int, mm_per_px: float) -> Array:
    """Mode m is m half waves over the side."""
    side_mm = count * mm_per_px
    kept = min(count, int(2 * side_mm / FINEST_MM) + 1)
    return np.arange(kept) / (2 * side_mm)


def _cosine_transform(values: Array) -> Array:
    """Orthonormal cosine transform (type II) along the last axis.

    By one FFT of the same length: even samples first, then the odd ones backwards (Makhoul, IEEE Trans. Acoustics,
    Speech and Signal Processing 28, 1980).
    """
    count = values.shape[-1]
    half = count // 2 + 1
    folded = np.concatenate([values[..., ::2], values[..., 1::2][..., ::-1]], axis=-1)
    turned = np.fft.rfft(folded) * _twiddle(count)
    amplitude = np.empty(values.shape)
    amplitude[..., :half] = turned.real
    amplitude[..., half:] = -turned.imag[..., count - half : 0 : -1]
    amplitude[..., 0] *= math.sqrt(0.5)
    return amplitude


def _cosine_sum(amplitude: Array, count: int) -> Array:
    """Inverse of `_cosine_transform` to `count` samples; amplitudes left out at the fine end are 0."""
    half = count // 2 + 1
    full = np.zeros((*amplitude.shape[:-1], count + 1))
    full[..., : amplitude.shape[-1]] = amplitude
    full[..., 0] *= math.sqrt(2)
    turned = full[..., :half] - 1j * full[..., count : count - half : -1]
    folded = np.fft.irfft(turned / _twiddle(count), count)
    values = np.empty(folded.shape)
    values[..., ::2] = folded[..., : (count + 1) // 2]
    values[..., 1::2] = folded[..., (count + 1) // 2 :][..., ::-1]
    return values


@lru_cache(maxsize=32)
def _twiddle(count: int) -> NDArray[np.complex128]:
    turn = np.exp(-0.5j * np.pi * np.arange(count // 2 + 1) / count) * math.sqrt(2 / count)
    turn.setflags(write=False)
    return np.asarray(turn)


@lru_cache(maxsize=128)  # a few bands for each of the rectangles above
def longer_than(modes: Modes, wavelength_mm: float) -> Array:
    """Share of the power of each mode, 0 to 1, that a low-pass with this limit lets through (half at the limit)."""
    share: Array = 1 / (1 + (modes.frequency * wavelength_mm) ** SHOULDER_POWER)
    share.setflags(write=False)
    return share


@lru_cache(maxsize=128)
def between(modes: Modes, shortest_mm: float, longest_mm: float) -> Array:
    """Share of the power of each mode, 0 to 1, that belongs to this band. Shared and read-only.

    Bands that meet share each mode between them: their shares add up to the share of the whole.
    """
    share = longer_than(modes, shortest_mm) - longer_than(modes, longest_mm)
    share.setflags(write=False)
    return share


def full_width_mm(modes: Modes, power: Array) -> float | None:
    """Full width at half height of the autocorrelation of an isotropic surface with these powers.

    For one single wavelength it is 0.484 of it: about the width of one light or dark patch.

    Parameters
    ----------
    modes : Modes
    power : ndarray of float64, as `modes.frequency`
        Of waves of 3 mm and more; any unit. Single values may be below 0, where noise was taken off.

    Returns
    -------
    width_mm : float or None
        None when there is no power, or only in waves too long for a patch to end within 40 mm.
    """
    bins, frequency = _bins(modes)
    weight = np.bincount(bins.ravel(), power.ravel(), minlength=frequency.size)[: frequency.size]
    if not weight.sum() > 0:
        return None
    correlation = _J0(2 * np.pi * HALF_WIDTHS_MM[:, np.newaxis] * frequency) @ weight / weight.sum()
    below = int(np.argmax(correlation < 0.5))
    if below == 0:
        return None
    high, low = correlation[below - 1], correlation[below]
    step_mm = HALF_WIDTHS_MM[1] - HALF_WIDTHS_MM[0]
    return float(2 * (HALF_WIDTHS_MM[below - 1] + (high - 0.5) / (high - low) * step_mm))


@lru_cache(maxsize=16)
def _bins(modes: Modes) -> tuple[NDArray[np.intp], Array]:
    """Bin of each mode, and the mean frequency of the modes of each bin, up to 1/3 per mm."""
    bins = np.floor(modes.frequency / FREQUENCY_BIN).astype(np.intp)
    count = np.bincount(bins.ravel())
    total = np.bincount(bins.ravel(), modes.frequency.ravel())
    middle = (np.arange(count.size) + 0.5) * FREQUENCY_BIN
    mean = np.where(count > 0, total / np.maximum(count, 1), middle)
    return bins, np.asarray(mean[: int(1 / 3 / FREQUENCY_BIN)])


def _J0(x: Array) -> Array:
    """Bessel function of order 0."""
    return np.asarray(np.interp(x, *_J0_table()))


@lru_cache(maxsize=1)
def _J0_table() -> tuple[Array, Array]:
    """Table of x and J0(x), as the mean of a plane wave over all directions: its definition, not a fit."""
    x = np.linspace(0, 45, 1801)  # 2 pi x 20 mm / 3 mm is 42
    angle = (np.arange(128) + 0.5) / 128 * np.pi
    return x, np.cos(x[:, np.newaxis] * np.cos(angle)).mean(axis=1)
