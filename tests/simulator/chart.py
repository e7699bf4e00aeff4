"""A 24-patch colour chart, spectrally: measured reflectances in a dark frame, and what may lie or shine on it.

The reflectances are measured ones of colour-science (`SDS_COLOURCHECKERS`). The layout is about that of the common
chart of 279 x 216 mm, measured by us on pictures of it; other sizes by `scale`.
"""

from dataclasses import dataclass
from functools import cache

import colour
import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.fields import gaussian_field
from simulator.spectra import BANDS_nm, band_weights, reflectance_to_Lab

Point = tuple[float, float]

ROWS, COLUMNS = 4, 6
PX_PER_MM = 5.0  # of the painted face, at a scale of 1
PATCH_MM, PITCH_MM = 40.0, 44.0
LEFT_MM, TOP_MM = 9.5, 22.0  # from the frame's corner to the first patch
SIZE_MM = (279.0, 216.0)
COVER_OFF_MM = np.array([3.0, -4.0])
# Name here -> key of the measured set in colour-science
SPECTRA = {"average": "BabelColor Average", "older": "ColorChecker N Ohta"}


@dataclass(frozen=True)
class Chart:
    """A chart on the table; patches are counted from 0, row by row from dark skin."""

    top_left_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    scale: float = 1.0  # 1: the common chart of 279 x 216 mm
    spectra: str = "average"
    frame_reflectance: float = 0.035
    texture: float = 0.01  # relative standard deviation, wavelengths 0.8 to 3 mm
    covered: tuple[int, ...] = ()  # something lies on most of these patches
    cover_reflectance: Point = (0.25, 0.45)  # of what lies there, at 380 and 730 nm
    shaded: tuple[Point, ...] = ()  # outline of a shadow, in shares of the chart's width and height
    shade_depth: float = 0.5
    shiny: tuple[tuple[int, float], ...] = ()  # patch, and the share of a perfect white that shines on it
    glare_share: float = 2.0  # radius of the shine in patches: 2 veils a whole patch, 0.2 is a spot
    thickness_mm: float = 0.0  # height of its face above the table

    @property
    def size_mm(self) -> Point:
        return SIZE_MM[0] * self.scale, SIZE_MM[1] * self.scale

    def centres_mm(self) -> NDArray[np.float64]:
        """Middles of the patches in the chart's own millimetres, (24, 2)."""
        rows, columns = np.divmod(np.arange(ROWS * COLUMNS), COLUMNS)
        first = np.array([LEFT_MM, TOP_MM]) + PATCH_MM / 2
        return np.asarray(self.scale * (first + PITCH_MM * np.column_stack([columns, rows])))


@cache
def chart_reflectances(spectra: str = "average") -> NDArray[np.float64]:
    """Reflectances (24, 36) on the simulator's bands."""
    measured = list(colour.SDS_COLOURCHECKERS[SPECTRA[spectra]].values())
    return np.stack([np.interp(BANDS_nm, one.wavelengths, one.values) for one in measured])


def chart_Lab(spectra: str = "average") -> NDArray[np.float64]:
    """True CIELAB (24, 3) of the patches, D50/2 degree."""
    return reflectance_to_Lab(chart_reflectances(spectra))


def chart_face(chart: Chart, light: str, sensor_name: str) -> NDArray[np.float32]:
    """Balanced sensor values of the chart's face (rows, columns, 3)."""
    weights = band_weights(light, sensor_name)
    width, height = (round(side * PX_PER_MM) for side in SIZE_MM)
    face = np.full((height, width, 3), chart.frame_reflectance, np.float32)
    cover = np.interp(BANDS_nm, [380, 730], chart.cover_reflectance) @ weights
    middles = chart.centres_mm() / chart.scale
    for patch, (middle, colour_seen) in enumerate(
        zip(middles, chart_reflectances(chart.spectra) @ weights, strict=True)
    ):
        face[_square(middle, PATCH_MM)] = colour_seen
        if patch in chart.covered:  # a little off the middle, and reaching over the gaps
            face[_square(middle + COVER_OFF_MM, 1.1 * PATCH_MM)] = cover
    face *= (1 + np.float32(chart.texture) * _grain((height, width)))[..., None]
    if chart.shaded:
        shade = np.zeros((height, width), np.float32)
        outline = np.array(chart.shaded) * [width, height]
        cv2.fillPoly(shade, [np.round(outline).astype(np.int32)], float(chart.shade_depth))
        face *= 1 - cv2.GaussianBlur(shade, (0, 0), 2.0 * PX_PER_MM)[..., None]
    y, x = (np.arange(n, dtype=np.float32) / np.float32(PX_PER_MM) for n in (height, width))
    for patch, strength in chart.shiny:
        squared = (x - middles[patch][0])[None, :] ** 2 + (y - middles[patch][1])[:, None] ** 2
        face += (strength * np.exp(-squared / (2 * (chart.glare_share * PATCH_MM) ** 2)))[..., None]
    return face


@cache
def _grain(shape: tuple[int, int]) -> NDArray[np.float32]:
    """The texture of a chart, the same on every one."""
    return gaussian_field(shape, 1 / PX_PER_MM, (0.8, 3.0), seed=24)


def _square(middle_mm: NDArray[np.float64], side_mm: float) -> tuple[slice, slice]:
    low = np.maximum(np.round((middle_mm - side_mm / 2) * PX_PER_MM).astype(int), 0)
    high = np.round((middle_mm + side_mm / 2) * PX_PER_MM).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])
