"""A row of neutral steps, spectrally flat: a step card, and what may lie or shine on it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.fields import gaussian_field

Point = tuple[float, float]

PX_PER_MM = 5.0


@dataclass(frozen=True)
class StepCard:
    """Steps side by side from left to right, in the order of `reflectances`; they are counted from 0."""

    reflectances: tuple[float, ...] = (0.90, 0.18, 0.035)
    step_mm: Point = (30.0, 45.0)  # width, along the row, and height of one
    gap_mm: float = 0.0  # between steps
    border_mm: float = 0.0  # around them all
    frame_reflectance: float = 0.9  # of gaps and border
    top_left_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    texture: float = 0.008  # relative standard deviation, wavelengths 0.8 to 3 mm
    covered: tuple[int, ...] = ()  # something lies on most of these steps
    cover_reflectance: float = 0.4
    shaded: tuple[Point, ...] = ()  # outline of a shadow, in shares of the card's width and height
    shade_depth: float = 0.4
    shiny: tuple[tuple[int, float], ...] = ()  # step, and the share of a perfect white that shines all over it
    thickness_mm: float = 0.0  # height of its face above the table

    @property
    def size_mm(self) -> Point:
        count = len(self.reflectances)
        along = count * self.step_mm[0] + (count - 1) * self.gap_mm
        return along + 2 * self.border_mm, self.step_mm[1] + 2 * self.border_mm

    def outline_mm(self) -> NDArray[np.float64]:
        """Outer corners (4, 2) of the row of steps in the card's own millimetres, clockwise."""
        (width, height), border = self.size_mm, self.border_mm
        low, right, below = border, width - border, height - border
        return np.array([(low, low), (right, low), (right, below), (low, below)])

    def centres_mm(self) -> NDArray[np.float64]:
        """Middles of the steps in the card's own millimetres, (n, 2)."""
        pitch = self.step_mm[0] + self.gap_mm
        along = self.border_mm + self.step_mm[0] / 2 + pitch * np.arange(len(self.reflectances))
        return np.column_stack([along, np.full(len(along), self.size_mm[1] / 2)])


def step_card_face(card: StepCard, rng: np.random.Generator) -> NDArray[np.float32]:
    """Balanced sensor values of the card's face (rows, columns, 3)."""
    width, height = (round(side * PX_PER_MM) for side in card.size_mm)
    face = np.full((height, width), card.frame_reflectance, np.float32)
    half = np.array(card.step_mm) / 2
    for step, (middle, reflectance) in enumerate(zip(card.centres_mm(), card.reflectances, strict=True)):
        face[_box(middle - half, middle + half)] = reflectance
        if step in card.covered:
            face[_box(middle - 0.7 * half, middle + half * (0.6, 1.2))] = card.cover_reflectance
    texture = gaussian_field((height, width), 1 / PX_PER_MM, (0.8, 3.0), int(rng.integers(2**31)))
    face *= 1 + np.float32(card.texture) * texture
    if card.shaded:
        shade = np.zeros((height, width), np.float32)
        outline = np.array(card.shaded) * [width, height]
        cv2.fillPoly(shade, [np.round(outline).astype(np.int32)], float(card.shade_depth))
        face *= 1 - cv2.GaussianBlur(shade, (0, 0), 2.0 * PX_PER_MM)
    for step, strength in card.shiny:
        middle = card.centres_mm()[step]
        face[_box(middle - half, middle + half)] += np.float32(strength)
    return np.repeat(face[..., None], 3, axis=2)


def _box(low_mm: NDArray[np.float64], high_mm: NDArray[np.float64]) -> tuple[slice, slice]:
    low = np.maximum(np.round(low_mm * PX_PER_MM).astype(int), 0)
    high = np.round(high_mm * PX_PER_MM).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])
