"""What is really there?  The truth of a simulated photo, from geometry and spectra, never from its pixels."""

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.scene import Board, PaintedZone, Scene, Zone, place, rectangle
from simulator.spectra import XYZ_to_Lab
from simulator.view import View, apply
from simulator.wood import board_lightness, board_XYZ, zone_pixels

Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ZoneTruth:
    """One zone, its margin left out.

    `Lab` is that of the mean XYZ. The standard deviations are of L*: `L_sd` of all that is there, `blotch_sd` of what
    uneven uptake (or a painted field) adds, `figure_sd` of the wood's own pattern without it.
    """

    id: str
    span_mm: tuple[float, float]
    across_mm: tuple[float, float]
    Lab: tuple[float, float, float]
    L_sd: float
    blotch_sd: float
    figure_sd: float


@dataclass(frozen=True)
class BoardTruth:
    id: str
    corners_px: Corners  # of its face: top-left, top-right, bottom-right, bottom-left
    light_range: float  # (max - min) / max of the light over the face
    zones: tuple[ZoneTruth, ...]

    def zone(self, zone_id: str) -> ZoneTruth:
        return next(zone for zone in self.zones if zone.id == zone_id)


@dataclass(frozen=True)
class Truth:
    boards: tuple[BoardTruth, ...]
    card_corners_px: Corners | None
    card_reflectance: float | None
    chart_corners_px: Corners | None = None  # of its frame
    chart_centres_px: Corners | None = None  # of its 24 patches
    steps_corners_px: Corners | None = None  # of the row of steps: outer corners, the first step's first
    steps_centres_px: Corners | None = None

    def board(self, board_id: str) -> BoardTruth:
        return next(board for board in self.boards if board.id == board_id)

    def as_dict(self) -> dict[str, Any]:
        told = asdict(self)
        kept = told if self.chart_corners_px else {key: told[key] for key in told if not key.startswith("chart")}
        return kept if self.steps_corners_px else {key: kept[key] for key in kept if not key.startswith("steps")}


def light_map(scene: Scene, points_mm: NDArray[np.floating]) -> NDArray[np.floating]:
    """Relative light at table points (..., 2): 1 where it is brightest on the boards, never below 0.05."""
    light, corners = scene.light, scene.lit_corners_mm
    direction = np.array([np.cos(np.radians(light.direction_deg)), np.sin(np.radians(light.direction_deg))])
    first, last = (corners @ direction).min(), (corners @ direction).max()
    x, y = points_mm[..., 0], points_mm[..., 1]
    level: NDArray[np.floating] = 1 - light.gradient * (x * direction[0] + y * direction[1] - first) / (last - first)
    if light.radial:
        centre = np.array(light.centre_mm) if light.centre_mm else (corners.min(axis=0) + corners.max(axis=0)) / 2
        farthest = np.square(corners - centre).sum(axis=1).max()
        level = level * (1 - light.radial * (np.square(x - centre[0]) + np.square(y - centre[1])) / farthest)
    return np.asarray(np.maximum(level, 0.05))


def truth_of(scene: Scene, view: View) -> Truth:
    """Everything that a measurement of the photo could be compared with."""
    boards = tuple(_board_truth(scene, board, view) for board in scene.boards)
    card, chart = scene.card, scene.chart
    truth = Truth(boards, card_corners_px=None, card_reflectance=None)
    if card:
        corners = apply(view.of_card(card), rectangle(*card.size_mm))
        truth = replace(truth, card_corners_px=_corners(corners), card_reflectance=card.reflectance)
    if chart:
        points = place(chart, np.concatenate([rectangle(*chart.size_mm), chart.centres_mm()]))
        points_px = _corners(view.project(points, chart.thickness_mm))
        truth = replace(truth, chart_corners_px=points_px[:4], chart_centres_px=points_px[4:])
    if scene.step_card:
        steps = scene.step_card
        points = place(steps, np.concatenate([steps.outline_mm(), steps.centres_mm()]))
        points_px = _corners(view.project(points, steps.thickness_mm))
        truth = replace(truth, steps_corners_px=points_px[:4], steps_centres_px=points_px[4:])
    return truth


def _board_truth(scene: Scene, board: Board, view: View) -> BoardTruth:
    x, y = np.meshgrid(np.linspace(0, board.length_mm, 101), np.linspace(0, board.width_mm, 51))
    light = light_map(scene, place(board, np.column_stack([x.ravel(), y.ravel()])))
    return BoardTruth(
        id=board.id,
        corners_px=_corners(view.project(place(board, rectangle(*board.size_mm)), board.thickness_mm)),
        light_range=float((light.max() - light.min()) / light.max()),
        zones=tuple(_zone_truth(board, zone, scene.margin_mm) for zone in board.zones),
    )


def _zone_truth(board: Board, zone: Zone, margin_mm: float) -> ZoneTruth:
    area = zone_pixels(board, zone, margin_mm)
    XYZ = board_XYZ(board)[area].astype(np.float64)
    L, a, b = XYZ_to_Lab(XYZ.mean(axis=(0, 1)))
    lightness = XYZ_to_Lab(XYZ)[..., 0]
    if isinstance(zone, PaintedZone):
        blotch_sd, figure_sd = lightness.std(), 0.0
    else:
        even = board_lightness(board, blotch=False, figure=True)[area]
        blotch_sd, figure_sd = (lightness - even).std(), even.std(dtype=np.float64)
    return ZoneTruth(
        id=zone.id,
        span_mm=zone.span_mm,
        across_mm=zone.across_mm or (0.0, board.width_mm),
        Lab=(float(L), float(a), float(b)),
        L_sd=float(lightness.std()),
        blotch_sd=float(blotch_sd),
        figure_sd=float(figure_sd),
    )


def _corners(points: NDArray[np.float64]) -> Corners:
    return tuple((float(x), float(y)) for x, y in points)
