"""What of a zone's lightness keeps on along its grain, however the grain bends?

The grain's direction is taken from the picture: that in which lightness changes least, in the mean around each place
(the structure tensor: Bigun & Granlund, ICCV 1987). From each place a line is followed along it both ways, and the
weighted mean of the lightness on that line is what keeps on: streaks and growth rings, curved ones too, stay whole,
and patches average out (the line integral of Cabral & Leedom, SIGGRAPH 1993, there used to draw a flow). How much of
a patchy surface such a mean takes away follows from its directions alone, so it can be allowed for.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.bands import Array, Modes, longer_than

# Grain is seen in the shorter waves: patches are mostly longer and must not bend it. Chosen on simulated boards: nearer
# neighbours or longer waves follow the rings closer (a fifth less of them is left at 4 mm), but the patches too.
GRAIN_MM = 20.0
NEIGHBOURHOOD_MM = 6.5  # standard deviation of the mean of directions
GRADIENT_BLUR_MM = 1.0
LEVEL_GRAIN = 1e-3  # of the squared gradients of all waves is added as level grain: what patches leak bends nothing
STEEPEST_DEG = 65.0  # chosen; steeper is a lap mark or a scratch, and no grain

GRID_MM = 1.6  # of the places from which lines start: the finest wave of the band still has two and a half
FINEST_MM = 3.6  # waves looked at, just beyond the band
STEP_MM = 5.0  # of a line; lightness is also looked at half way
# Standard deviation of the weights along the line, for waves shorter and longer than the limit: figure of any width
# is to be long in its own measure.
SHORT_LINE_MM, LONG_LINE_MM = 10.0, 20.0
LONG_WAVE_MM = 12.0
REACH = 2.5, 2.0  # ends of the lines, in standard deviations
STEPS = round(LONG_LINE_MM * REACH[1] / STEP_MM)
FINER = 3  # lightness is interpolated on a grid so much finer than that of the places
NOTHING = 1e-30  # stands for no gradient at all
DIRECTIONS = 18  # bins of 10 degrees for what is taken from a patchy surface


@dataclass(frozen=True, slots=True, eq=False)
class AlongGrain:
    """What keeps on along the grain, and what that would be without any."""

    amplitude: Array  # (modes down, modes along), as that of the surface
    # (modes down, modes along), 0 to 1: expected share of power left by taking it off, of a surface that is patchy
    left: Array


def along_grain(amplitude: Array, modes: Modes, mm_per_px: float) -> AlongGrain:
    """Mean along the lines of the grain.

    Parameters
    ----------
    amplitude : ndarray of float64, (modes down, modes along)
        As `modes.analyse` gives it, of the whole rectangle.
    modes : Modes
    mm_per_px : float
    """
    rows, columns = (max(8, round(count * mm_per_px / GRID_MM)) for count in (modes.rows, modes.columns))
    within, long = _looked_at(modes)
    shorter, longer = amplitude * within * (1 - long), amplitude * within * long
    fine = amplitude * within * (1 - longer_than(modes, GRAIN_MM))
    direction = _direction(*(modes.synthesise_on(part, 2 * rows, 2 * columns) for part in (fine, shorter + longer)))
    lightness = modes.synthesise_on(shorter, FINER * rows, FINER * columns) + 1j * modes.synthesise_on(
        longer, FINER * rows, FINER * columns
    )
    mean = _mean_along(direction, lightness)
    down, along = min(rows, amplitude.shape[0]), min(columns, amplitude.shape[1])
    found = np.zeros_like(amplitude)
    found[:down, :along] = modes.analyse_on(mean)[:down, :along]
    return AlongGrain(found, _left_of_patches(direction, modes))


def _direction(fine: Array, all_waves: Array) -> NDArray[np.complex128]:
    """Unit vectors x + iy along the grain at every second pixel down and along, as their squares: (-v)² is v²."""
    across = _squared_gradient(fine)
    blur_px = NEIGHBOURHOOD_MM / (GRID_MM / 2)
    real, imaginary = (
        cv2.GaussianBlur(np.ascontiguousarray(part), (0, 0), blur_px, borderType=cv2.BORDER_REFLECT)
        for part in (-across.real, -across.imag)
    )
    mean = np.asarray(real + 1j * imaginary)
    mean = mean.reshape(mean.shape[0] // 2, 2, mean.shape[1] // 2, 2).mean(axis=(1, 3))
    level = LEVEL_GRAIN * float(np.abs(_squared_gradient(all_waves)).mean())
    steep = mean.real < math.cos(2 * math.radians(STEEPEST_DEG)) * np.abs(mean)
    mean = np.where(steep, 0.0, mean) + max(level, NOTHING)
    return np.asarray(mean / np.abs(mean))


def _squared_gradient(lightness: Array) -> NDArray[np.complex128]:
    """Squares of the gradients x + iy; turned by a right angle they change sign and point along the grain."""
    down, along = np.gradient(cv2.GaussianBlur(lightness, (0, 0), GRADIENT_BLUR_MM / (GRID_MM / 2)))
    return np.asarray((along + 1j * down) ** 2)


def _mean_along(direction: NDArray[np.complex128], lightness: NDArray[np.complex128]) -> Array:
    """Follow the lines both ways at once, and sum the short waves (real) and the long ones (imaginary) on them."""
    rows, columns = direction.shape
    starts = np.arange(columns) + 1j * np.arange(rows)[:, np.newaxis]
    place = np.stack([starts, starts])
    grain: NDArray[np.complex128] = np.sqrt(direction)
    heading: NDArray[np.complex128] = np.stack([grain, -grain])
    start = lightness[FINER // 2 :: FINER, FINER // 2 :: FINER]
    short, long = start.real.copy(), start.imag.copy()
    short_weight, long_weight = np.ones(start.shape), np.ones(start.shape)
    step = STEP_MM / GRID_MM
    for number in range(1, STEPS + 1):
        half_way = place + heading * (step / 2)
        heading = _heading_on(grain, half_way, heading)
        place = place + heading * step
        for point, distance_mm in ((half_way, (number - 0.5) * STEP_MM), (place, number * STEP_MM)):
            takes_short = distance_mm <= REACH[0] * SHORT_LINE_MM
            if not takes_short and point is half_way:  # long waves need no more than every step
                continue
            inside = (np.abs(point.real / (columns - 1) - 0.5) <= 0.5) & (np.abs(point.imag / (rows - 1) - 0.5) <= 0.5)
            found = _between(lightness, point * FINER + (1 + 1j) * (FINER // 2))
            if takes_short:
                weight = math.exp(-0.5 * (distance_mm / SHORT_LINE_MM) ** 2) * inside
                short += (weight * found.real).sum(axis=0)
                short_weight += weight.sum(axis=0)
            if point is place:
                weight = math.exp(-0.5 * (distance_mm / LONG_LINE_MM) ** 2) * inside
                long += (weight * found.imag).sum(axis=0)
                long_weight += weight.sum(axis=0)
    return np.asarray(short / short_weight + long / long_weight)


def _heading_on(
    grain: NDArray[np.complex128], place: NDArray[np.complex128], heading: NDArray[np.complex128]
) -> NDArray[np.complex128]:
    """Direction of the grain at the pixels nearest to these places, on the side to which the lines are heading."""
    rows, columns = grain.shape
    column, row = (np.rint(part).astype(np.intp) for part in (place.real, place.imag))
    there = grain.ravel()[np.clip(row, 0, rows - 1) * columns + np.clip(column, 0, columns - 1)]
    onwards = there.real * heading.real + there.imag * heading.imag
    return np.asarray(there * np.where(onwards < 0, -1.0, 1.0))


def _between(values: NDArray[np.complex128], place: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Bilinear interpolation at places x + iy in pixels; beyond the edge, that at the edge."""
    rows, columns = values.shape
    x, y = np.clip(place.real, 0, columns - 1), np.clip(place.imag, 0, rows - 1)
    column, row = np.minimum(x.astype(np.intp), columns - 2), np.minimum(y.astype(np.intp), rows - 2)
    right, below = x - column, y - row
    flat, first = values.ravel(), row * columns + column
    top = flat[first] * (1 - right) + flat[first + 1] * right
    bottom = flat[first + columns] * (1 - right) + flat[first + columns + 1] * right
    return np.asarray(top * (1 - below) + bottom * below)


def _left_of_patches(direction: NDArray[np.complex128], modes: Modes) -> Array:
    """Share of the power of each mode of a patchy surface that is left when the mean along these lines is taken off."""
    degrees = np.abs(np.degrees(np.angle(direction))) / 2  # a mode is its own mirror image
    count, edges = np.histogram(degrees, DIRECTIONS // 2, (0, 90))
    shares, middles = count / count.sum(), (edges[:-1] + edges[1:]) / 2
    left = np.zeros_like(modes.frequency)
    for share, middle_deg in zip(shares, middles, strict=True):
        left += share * _left_at(modes, float(middle_deg))
    return left


@lru_cache(maxsize=72)  # nine for each rectangle
def _left_at(modes: Modes, grain_deg: float) -> Array:
    """The same, where the grain has one direction, or its mirror image, throughout.

    A Gaussian mean of standard deviation s keeps exp(-(k s)²/2) of a wave with k radians per mm along it. Lines are
    taken as straight, and as endless: under the grain of simulated boards, the share so expected of a patchy surface
    was within 2 % of that found.
    """
    within, long = _looked_at(modes)
    left = np.zeros_like(within)
    for side in (1, -1):
        along = 2 * np.pi * modes.frequency * np.sin(np.radians(modes.direction_deg + side * grain_deg))
        short_kept, long_kept = (np.exp(-0.5 * (along * length) ** 2) for length in (SHORT_LINE_MM, LONG_LINE_MM))
        left += 0.5 * (1 - within * ((1 - long) * short_kept + long * long_kept)) ** 2
    left.setflags(write=False)
    return left


def _looked_at(modes: Modes) -> tuple[Array, Array]:
    """Share of the amplitude of each mode that is looked at, and which part of that along the long lines."""
    return np.sqrt(longer_than(modes, FINEST_MM)), longer_than(modes, LONG_WAVE_MM)
