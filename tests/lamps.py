"""Light on a table from lamps, windows and lenses, by the laws of light: no code is shared with what it tests.

Millimetres on the board, z up from the table. Every light is a function from points (..., 2) to irradiance (...,),
in any unit, and at the point `centre_mm` about the same whatever the distance.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Shine = Callable[[Floats], Floats]


def lamp(distance_mm: float, azimuth_deg: float, centre_mm: ArrayLike, elevation_deg: float = 45.0) -> Shine:
    """A small lamp, aimed from where it stands; inverse square and Lambert's cosine. Azimuth 0: right, 90: below."""
    azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
    across = distance_mm * np.cos(elevation) * np.array([np.cos(azimuth), np.sin(azimuth)])
    x, y = np.asarray(centre_mm, dtype=np.float64) + across
    z = distance_mm * np.sin(elevation)

    def shine(points: Floats) -> Floats:
        squared = (points[..., 0] - x) ** 2 + (points[..., 1] - y) ** 2 + z**2
        return np.asarray(distance_mm**2 * z / squared**1.5)

    return shine


def window(distance_mm: float, azimuth_deg: float, centre_mm: ArrayLike) -> Shine:
    """A bright upright square of 1.2 m, its sill at table height: panes that each shine by Lambert's law."""
    azimuth = np.radians(azimuth_deg)
    out = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    along = np.array([-out[1], out[0], 0.0])
    u, v = np.meshgrid(np.linspace(-550, 550, 12), np.linspace(50, 1150, 12))
    panes = np.append(np.asarray(centre_mm, dtype=np.float64), 0.0) + distance_mm * out
    panes = panes + u.reshape(-1, 1) * along + v.reshape(-1, 1) * np.array([0.0, 0.0, 1.0])

    def shine(points: Floats) -> Floats:
        way = panes - np.concatenate([points, np.zeros((*points.shape[:-1], 1))], axis=-1)[..., np.newaxis, :]
        squared = (way**2).sum(axis=-1)
        return np.asarray((way[..., 2] * np.abs(way @ out) / squared**2).mean(axis=-1) * distance_mm**2)

    return shine


def lens(height_mm: float, centre_mm: ArrayLike) -> Shine:
    """What a lens straight above a point passes on: the fourth power of the cosine."""
    centre = np.asarray(centre_mm, dtype=np.float64)
    return lambda points: np.asarray((1 + ((points - centre) ** 2).sum(axis=-1) / height_mm**2) ** -2.0)


def straight(share: float, direction_deg: float, length_mm: float, width_mm: float) -> Shine:
    """Light that falls straight by a share of its highest value over a board."""
    direction = np.array([np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))])
    corners = np.array([[0, 0], [length_mm, 0], [length_mm, width_mm], [0, width_mm]]) @ direction
    return lambda points: np.asarray(1 - share * (points @ direction - corners.min()) / np.ptp(corners))


def vignette(share: float, centre_mm: ArrayLike, length_mm: float, width_mm: float) -> Shine:
    """Light that falls with the square of the distance from a point, by a share at the board's farthest corner."""
    centre = np.asarray(centre_mm, dtype=np.float64)
    corners = np.array([[0, 0], [length_mm, 0], [length_mm, width_mm], [0, width_mm]])
    farthest = ((corners - centre) ** 2).sum(axis=1).max()
    return lambda points: np.asarray(1 - share * ((points - centre) ** 2).sum(axis=-1) / farthest)


def added(*lights: Shine) -> Shine:
    """Lights that shine together."""
    return lambda points: np.asarray(sum(light(points) for light in lights))


def through(*lights: Shine) -> Shine:
    """A light seen through a lens."""
    return lambda points: np.asarray(np.prod([light(points) for light in lights], axis=0))


def shadow(from_mm: float, to_mm: float, depth: float, *, softness_mm: float = 4.0) -> Shine:
    """What is left of the light where something between two places along the board takes a share of it."""

    def left(points: Floats) -> Floats:
        x = points[..., 0]
        rise, fall = (x - from_mm) / softness_mm, (to_mm - x) / softness_mm
        return np.asarray(1 - depth * (1 + np.tanh(rise)) * (1 + np.tanh(fall)) / 4)

    return left
