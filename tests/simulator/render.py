"""A scene and a camera make a photo.

surface reflectance -> sensor values in this light -> perspective -> uneven light, shadow, glare -> blur -> noise ->
camera matrix -> tone -> the profile's curve -> 8-bit codes. Light is added up before any curve is applied.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.chart import PX_PER_MM as CHART_PX_PER_MM
from simulator.chart import chart_face
from simulator.fields import gaussian_field
from simulator.scene import Background, Camera, GrayCard, Paper, Scene, Shadow, Tone, place, placement, rectangle
from simulator.spectra import Lab_to_reflectance, band_weights, camera_matrix, illuminant, sensor
from simulator.step_card import PX_PER_MM as STEPS_PX_PER_MM
from simulator.step_card import step_card_face
from simulator.truth import Truth, light_map, truth_of
from simulator.view import View, apply, coverage, view_of
from simulator.wood import board_in_light

Array = NDArray[np.float32]

SUPERSAMPLE = 2  # surfaces are sampled this many times finer than the photo, then averaged
CARD_PX_PER_MM = 5.0
BACKGROUND_PX_PER_MM = 2.0
BACKGROUND_TILE_MM = 256.0
SIDE_SHADE = 0.5  # the sides of a thick board get about half the light of its face


@dataclass(frozen=True)
class RenderedPhoto:
    codes: NDArray[np.uint8]  # (height, width, 3), in the curve and primaries of `profile`
    profile: str  # "srgb" or "p3"
    truth: Truth


def render(scene: Scene, camera: Camera | None = None, seed: int = 0) -> RenderedPhoto:
    """The photo of a scene, with its truth. `seed` draws the sensor noise and the background's and card's texture."""
    camera = camera or Camera()
    photo = render_sensor(scene, camera, seed)
    return RenderedPhoto(
        codes=_develop(photo, camera), profile=camera.profile, truth=truth_of(scene, view_of(scene, camera))
    )


def render_sensor(scene: Scene, camera: Camera, seed: int = 0) -> Array:
    """What the sensor sees, noise and all, before the camera makes a picture of it: (height, width, 3).

    Each channel is balanced: 1 for a perfect white in the brightest light, at an exposure of 0 EV.
    """
    view = view_of(scene, camera)
    rng = np.random.default_rng(seed)
    photo = _surfaces(scene, camera, view, rng)
    photo *= _light_in_photo(scene, camera, view)[..., None]
    _add_glare(photo, scene, view)
    photo *= np.float32(2.0**camera.exposure_EV)
    if camera.blur_sigma_px > 0:
        photo = np.asarray(cv2.GaussianBlur(photo, (0, 0), camera.blur_sigma_px), dtype=np.float32)
    if camera.full_well_e is not None:
        _add_noise(photo, scene, camera, camera.full_well_e, rng)
    return photo


def encode(linear: Array, tone: Tone) -> NDArray[np.uint8]:
    """8-bit codes of linear values: the camera's tone, then the curve of sRGB (IEC 61966-2-1), which P3 shares."""
    steps = np.linspace(0, 1, 65536)
    toned = np.clip(steps + tone.flare, 0, 1) ** tone.contrast_gamma
    curve = np.where(toned <= 0.0031308, 12.92 * toned, 1.055 * toned ** (1 / 2.4) - 0.055)
    curve -= tone.s_curve * np.sin(2 * np.pi * curve) / (2 * np.pi)
    codes = np.round(255 * curve).astype(np.uint8)
    return np.asarray(codes[np.clip(linear * 65535 + 0.5, 0, 65535).astype(np.uint16)])


def _surfaces(scene: Scene, camera: Camera, view: View, rng: np.random.Generator) -> Array:
    """Balanced sensor values of everything under even light, (height, width, 3)."""
    width, height = camera.size_px
    light, sensor_name = scene.light.illuminant, camera.sensor
    photo = _background(scene.background, view, (height, width), light, sensor_name, rng)
    boards = [(board, board_in_light(board, light, sensor_name)) for board in scene.boards]
    if scene.shadow:
        _throw_shadows(photo, scene, scene.shadow, view)
    for board, face in boards:
        corners = place(board, rectangle(*board.size_mm))
        if board.thickness_mm:
            block = np.concatenate([view.project(corners, z) for z in (0.0, board.thickness_mm)])
            _lay(photo, coverage(block, (height, width)), SIDE_SHADE * face.mean(axis=(0, 1)))
        _lay_surface(photo, face, view.homography(board.thickness_mm) @ placement(board), board.texture_px_per_mm)
    for paper in scene.papers:
        to_photo = view.homography(paper.thickness_mm) @ placement(paper)
        _lay_surface(photo, _paper_face(paper), to_photo, paper.px_per_mm)
    if scene.card:
        card = scene.card
        _lay_surface(photo, _card_face(card, rng), view.of_card(card), CARD_PX_PER_MM)
    if scene.chart:
        chart = scene.chart
        to_photo = view.homography(chart.thickness_mm) @ placement(chart)
        _lay_surface(photo, chart_face(chart, light, sensor_name), to_photo, CHART_PX_PER_MM / chart.scale)
    if scene.step_card:
        steps = scene.step_card
        to_photo = view.homography(steps.thickness_mm) @ placement(steps)
        _lay_surface(photo, step_card_face(steps, rng), to_photo, STEPS_PX_PER_MM)
    for cover in scene.covers:
        to_photo = view.homography(cover.thickness_mm) @ placement(cover)
        _lay_surface(photo, board_in_light(cover, light, sensor_name), to_photo, cover.texture_px_per_mm)
    return photo


def _background(
    background: Background, view: View, shape: tuple[int, int], light: str, sensor_name: str, rng: np.random.Generator
) -> Array:
    colour = np.array(Lab_to_reflectance(background.Lab)) @ band_weights(light, sensor_name)
    side = int(BACKGROUND_TILE_MM * BACKGROUND_PX_PER_MM)
    tile = gaussian_field((side, side), 1 / BACKGROUND_PX_PER_MM, background.wavelengths_mm, int(rng.integers(2**31)))
    to_photo = view.homography() @ np.diag([1 / BACKGROUND_PX_PER_MM, 1 / BACKGROUND_PX_PER_MM, 1])
    texture = cv2.warpPerspective(tile, to_photo, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return (1 + np.float32(background.texture) * texture)[..., None] * colour.astype(np.float32)


def _card_face(card: GrayCard, rng: np.random.Generator) -> Array:
    shape = (round(card.size_mm[1] * CARD_PX_PER_MM), round(card.size_mm[0] * CARD_PX_PER_MM))
    texture = gaussian_field(shape, 1 / CARD_PX_PER_MM, (0.8, 3.0), int(rng.integers(2**31)))
    return np.repeat((card.reflectance * (1 + card.texture * texture))[..., None], 3, axis=2).astype(np.float32)


def _paper_face(paper: Paper) -> Array:
    bare = paper.picture.astype(np.float32) / 255
    return np.repeat((paper.ink + (paper.reflectance - paper.ink) * bare)[..., None], 3, axis=2).astype(np.float32)


def _lay(photo: Array, covered: Array, colour: NDArray[np.floating]) -> None:
    photo += covered[..., None] * (colour.astype(np.float32) - photo)


def _lay_surface(photo: Array, face: Array, mm_to_px: NDArray[np.float64], px_per_mm: float) -> None:
    """Lay a painted rectangle into the photo, averaging the surface over each pixel."""
    length, width = face.shape[1] / px_per_mm, face.shape[0] / px_per_mm
    corners = apply(mm_to_px, rectangle(length, width))
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    right, bottom = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 3, [photo.shape[1], photo.shape[0]])
    if right <= left or bottom <= top:
        return
    n = SUPERSAMPLE
    sharpest = max(np.hypot(*(corners[1] - corners[0])) / length, np.hypot(*(corners[3] - corners[0])) / width)
    shrink = max(1, int(px_per_mm / (n * sharpest)))
    if shrink > 1:  # a face much finer than the photo is averaged first, or it would alias
        smaller = face.shape[1] // shrink, face.shape[0] // shrink
        face = np.asarray(cv2.resize(face, smaller, interpolation=cv2.INTER_AREA), dtype=np.float32)
    # Own pixels -> mm: pixel i is centred at (i + 0.5) / scale. Photo -> finer photo: n samples lie evenly in a pixel.
    scale_x, scale_y = length / face.shape[1], width / face.shape[0]
    face_to_mm = np.array([[scale_x, 0, scale_x / 2], [0, scale_y, scale_y / 2], [0, 0, 1]])
    to_finer = np.array([[n, 0, (n - 1) / 2 - n * left], [0, n, (n - 1) / 2 - n * top], [0, 0, 1]], dtype=np.float64)
    finer = cv2.warpPerspective(
        face,
        to_finer @ mm_to_px @ face_to_mm,
        (int(n * (right - left)), int(n * (bottom - top))),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    seen = cv2.resize(finer, (int(right - left), int(bottom - top)), interpolation=cv2.INTER_AREA)
    window = photo[top:bottom, left:right]
    covered = coverage(corners - [left, top], window.shape[:2])
    window += covered[..., None] * (seen - window)


def _throw_shadows(photo: Array, scene: Scene, shadow: Shadow, view: View) -> None:
    for board in scene.boards:
        corners = place(board, rectangle(*board.size_mm)) + np.array(shadow.offset_mm)
        px_per_mm = float(np.linalg.norm(np.subtract(*view.project(corners)[:2]))) / board.length_mm
        softness_px = shadow.softness_mm * px_per_mm
        photo *= (1 - _smooth_dark(view.project(corners), photo.shape[:2], shadow.depth, softness_px))[..., None]


def _smooth_dark(corners_px: NDArray[np.float64], shape: tuple[int, int], depth: float, softness_px: float) -> Array:
    """Share of the light that is missing, smooth at both ends."""
    dark = coverage(corners_px, shape, softness_px=softness_px)
    return np.asarray(np.float32(depth) * dark * dark * (3 - 2 * dark))


def _light_in_photo(scene: Scene, camera: Camera, view: View) -> Array:
    light = light_map(scene, _table_points(camera.size_px, view)).astype(np.float32)
    for shadow in scene.cast_shadows:
        corners = np.array(shadow.corners_mm)
        px_per_mm = float(np.hypot(*np.subtract(*view.project(corners)[:2])) / np.hypot(*(corners[1] - corners[0])))
        light *= 1 - _smooth_dark(view.project(corners), light.shape, shadow.depth, shadow.softness_mm * px_per_mm)
    return light


def _add_glare(photo: Array, scene: Scene, view: View) -> None:
    for spot in scene.glare:
        offset = _table_points((photo.shape[1], photo.shape[0]), view) - np.array(spot.centre_mm, dtype=np.float32)
        shine = spot.strength * np.exp(-np.square(offset).sum(axis=-1) / (2 * spot.radius_mm**2))
        if spot.on_card and scene.card:
            shine *= coverage(apply(view.of_card(scene.card), rectangle(*scene.card.size_mm)), shine.shape)
        photo += shine[..., None]


def _table_points(size_px: tuple[int, int], view: View) -> Array:
    """Table millimetres seen by each pixel, (height, width, 2)."""
    to_table = np.linalg.inv(view.homography()).astype(np.float32)
    columns = np.arange(size_px[0], dtype=np.float32)[None, :]
    rows = np.arange(size_px[1], dtype=np.float32)[:, None]
    x, y, w = (row[0] * columns + (row[1] * rows + row[2]) for row in to_table)
    return np.stack([x / w, y / w], axis=-1)


def _add_noise(photo: Array, scene: Scene, camera: Camera, full_well_e: float, rng: np.random.Generator) -> None:
    """Photon and read noise, in the sensor's own values: a weak channel was amplified, and its noise with it."""
    white = (illuminant(scene.light.illuminant)[:, None] * sensor(camera.sensor)).sum(axis=0)
    electrons = (full_well_e * white / white.max()).astype(np.float32)
    noise = rng.standard_normal(photo.shape, dtype=np.float32)
    photo += noise * np.sqrt(np.maximum(photo, 0) * electrons + np.float32(camera.read_noise_e**2)) / electrons


def _develop(photo: Array, camera: Camera) -> NDArray[np.uint8]:
    red, blue = camera.white_balance_error
    to_profile = camera_matrix(camera.sensor, camera.profile) @ np.diag([1 + red, 1, 1 + blue])
    return encode(np.asarray(cv2.transform(photo, to_profile), dtype=np.float32), camera.tone)
