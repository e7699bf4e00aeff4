"""Where does the camera see a point of the table?  A pinhole camera above a plane, and soft-edged polygons."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.scene import Camera, GrayCard, Scene, placement

Array = NDArray[np.float64]
PHONE_FOCAL = 0.72  # focal length over the longer side: about 26 mm on a 36 mm frame
BORDER = 0.06  # share of the frame left free on each side when the scale is chosen for the user


@dataclass(frozen=True)
class View:
    """A camera pose. `intrinsic` (3, 3), `rotation` (3, 3) and `shift` (3,) take table millimetres to pixels."""

    intrinsic: Array
    rotation: Array
    shift: Array

    def homography(self, height_mm: float = 0.0) -> Array:
        """Matrix (3, 3) from the plane `height_mm` above the table to pixels."""
        r = self.rotation
        return self.intrinsic @ np.column_stack([r[:, 0], r[:, 1], self.shift - height_mm * r[:, 2]])

    def project(self, points_mm: Array, height_mm: float = 0.0) -> Array:
        """Pixels (n, 2) of points (n, 2) of that plane."""
        return apply(self.homography(height_mm), points_mm)

    def of_card(self, card: GrayCard) -> Array:
        """Matrix (3, 3) from the card's own millimetres to pixels, leaning as it does."""
        turned = np.eye(3)
        turned[:2, :2] = placement(card)[:2, :2]
        right, lower = np.radians(card.lean_deg)
        about_y = np.array([[np.cos(right), 0, -np.sin(right)], [0, 1, 0], [np.sin(right), 0, np.cos(right)]])
        about_x = np.array([[1, 0, 0], [0, np.cos(lower), -np.sin(lower)], [0, np.sin(lower), np.cos(lower)]])
        axes = (turned @ about_y @ about_x)[:, :2]  # (3, 2), heights upwards
        lowest = min(0.0, *(axes[2] * card.size_mm), float(axes[2] @ card.size_mm))
        origin = np.array([*card.top_left_mm, card.thickness_mm - lowest])
        down = np.diag([1.0, 1.0, -1.0])  # the camera counts away from itself
        to_camera = np.column_stack([self.rotation @ down @ axes, self.rotation @ down @ origin + self.shift])
        return np.asarray(self.intrinsic @ to_camera)


def view_of(scene: Scene, camera: Camera) -> View:
    """The camera's pose; scale and aim are chosen where the camera leaves them open."""
    corners = scene.all_corners_mm
    if not len(corners) and not (camera.look_at_mm and camera.px_per_mm):
        raise ValueError("an empty table: say where the camera looks, and at which scale")
    aim = np.array(camera.look_at_mm) if camera.look_at_mm else (corners.min(axis=0) + corners.max(axis=0)) / 2
    if camera.px_per_mm:
        return _pose(camera, aim, camera.px_per_mm)
    low, high = 0.0, 100.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if _fits(_pose(camera, aim, middle), scene, camera) else (low, middle)
    if low < 0.1:
        raise ValueError("boards and card do not fit the frame from where the camera looks")
    return _pose(camera, aim, low)


def apply(homography: Array, points: Array) -> Array:
    """Points (n, 2) through a homography (3, 3)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return mapped[:, :2] / mapped[:, 2:]


def coverage(corners_px: Array, shape: tuple[int, int], softness_px: float = 1.0) -> NDArray[np.float32]:
    """Share (0 to 1) of each pixel that a convex polygon covers, its edges `softness_px` wide."""
    rows = np.arange(shape[0], dtype=np.float32)[:, None]
    columns = np.arange(shape[1], dtype=np.float32)[None, :]
    hull = cv2.convexHull(corners_px.astype(np.float32))[:, 0].astype(np.float64)
    centre = hull.mean(axis=0)
    covered = np.ones(shape, dtype=np.float32)
    for start, end in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        normal = np.array([end[1] - start[1], start[0] - end[0]])
        normal *= np.sign(normal @ (centre - start)) / np.hypot(*normal)  # points inwards
        distance = np.float32(normal[0] / softness_px) * columns + (
            np.float32(normal[1] / softness_px) * rows + np.float32(0.5 - normal @ start / softness_px)
        )
        covered *= np.clip(distance, 0, 1)
    return covered


def _fits(view: View, scene: Scene, camera: Camera) -> bool:
    tallest = max((board.thickness_mm for board in scene.boards), default=0.0)
    if view.shift[2] <= tallest:
        return False
    seen = np.concatenate([view.project(scene.all_corners_mm, height) for height in (0.0, tallest)])
    size = np.array(camera.size_px)
    return bool(((seen > BORDER * size) & (seen < (1 - BORDER) * size)).all())


def _pose(camera: Camera, aim: Array, px_per_mm: float) -> View:
    width, height = camera.size_px
    focal = camera.focal_px or PHONE_FOCAL * max(width, height)
    intrinsic = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    roll, tilt_x, tilt_y = np.radians([camera.roll_deg, *camera.tilt_deg])
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt_x), -np.sin(tilt_x)], [0, np.sin(tilt_x), np.cos(tilt_x)]])
    about_y = np.array([[np.cos(tilt_y), 0, np.sin(tilt_y)], [0, 1, 0], [-np.sin(tilt_y), 0, np.cos(tilt_y)]])
    rotation = about_z @ about_x @ about_y
    distance = focal / px_per_mm
    return View(intrinsic, rotation, np.array([0, 0, distance]) - rotation @ np.array([*aim, 0.0]))
