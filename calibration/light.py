"""How far may uneven light fake a difference between two places of the board?

Three sources. White paper along the board's long edges (lightmap.py) and a photo of a plain sheet in the same place and
light (`flat`, flatfield.py) give the light's shape, which is then divided out. Without either, the calm background
around the board shows how the light falls off; that is never used to correct anything (the sheet may be stained,
curled or further away than the board), only to say how much of a difference could be the light's.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.background import Background
from calibration.findings import Finding, finding
from calibration.flatfield import read_sheet
from calibration.mixed_light import U_DIVIDED_OUT, channels_of, colour_apart
from calibration.photo import Photo
from calibration.plane import Plane
from calibration.preview import Preview
from calibration.quads import quad_mask, shrunk
from calibration.reference import RIM_SHARE
from calibration.shadows import ShadowEdge

MIN_BACKGROUND = 0.08  # share of the frame; less says too little about the light (chosen)
MAX_SPREAD = 0.12  # ln units, of the background; a cluttered bench (0.3 and more) says nothing about the light (chosen)
# Standard uncertainty of the light's ratio between two places, relative.
U_FLOOR = 0.005  # at the same place: shading by the card's thickness, reflections from clothes and walls (chosen)
U_FLOOR_FULL_MM = 100.0  # of a map: what it leaves is shared by places nearer than this (chosen)
U_SHARE = 0.25  # of what the background shows: it is another surface, not at the board's height (chosen)
# One lamp of two moved, or a window: 5 % over 300 mm for two lamps at 1 m, 47 % for one (cosine and distance laws).
U_UNKNOWN_PER_MM = 0.10 / 300
U_MAPPED = 0.004  # of a map whose residual is not known (chosen)
U_SHEET = 0.003  # of a flat photo: the sheet lies higher or lower than the board, and is not alike everywhere (chosen)
COVERAGE = 1.96  # of a 95 % half-width
NODE_PX, MOST_NODES = 8, 160  # steps in which a flat picture asks for the light, and how often at most on a side


class LightSurface(Protocol):
    """A mapped light, by photo pixels (..., 2)."""

    def log_RGB_at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Natural logarithm of light (..., 3), 0 at the card."""

    def log_at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """The same (...,) of luminance."""

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty of the ratio of light at two places."""

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of L*, a*, b* (3,) because the light's colour differs between two places."""


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The light over one board, as far as it is known."""

    log_light: NDArray[np.float32] | None  # (rows, columns) of a small map over the whole photo, ln; None: no such map
    scale: tuple[float, float]  # map pixels per photo pixel
    mapped: bool  # True: the light is known by white paper or a flat photo, and is divided out
    px_per_mm: float  # of the photo, at the board
    log_ratios: NDArray[np.float32] | None = None  # (rows, columns, 2), ln R/G and B/G where the light is mixed
    u_residual: float = U_MAPPED  # relative, of the map in `log_light`
    residual: float | None = None  # relative: how far left-out samples of the mapped light lie from the rest's
    surface: LightSurface | None = None  # the map, where it is a surface and no picture
    shadows: tuple[ShadowEdge, ...] = ()
    findings: tuple[Finding, ...] = ()

    def log_at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Natural logarithm of light (...,) at photo pixels (..., 2); zeros when nothing is known."""
        points = np.asarray(points_px, dtype=np.float64)
        if self.surface is not None:
            return self.surface.log_at(points)
        if self.log_light is None:
            return np.zeros(points.shape[:-1])
        return self._sampled(self.log_light, points)

    def log_RGB_at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """The same for each channel (..., 3); the channels differ only where the light is mixed."""
        points = np.asarray(points_px, dtype=np.float64)
        if self.surface is not None:
            return self.surface.log_RGB_at(points)
        log_Y = self.log_at(points)
        if self.log_ratios is None:
            return np.repeat(log_Y[..., np.newaxis], 3, axis=-1)
        red, blue = (self._sampled(self.log_ratios[..., i], points) for i in (0, 1))
        return channels_of(log_Y, red, blue)

    def range_over(self, plane: Plane) -> float | None:
        """(max - min) / max of the light over a face; None when nothing is known."""
        if self.log_light is None and self.surface is None:
            return None
        return float(1 - np.exp(-np.ptp(self.log_at(plane.to_px(face_grid_mm(plane))))))

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty of the ratio of light at two places of the photo, (x, y) in pixels.

        An unevenness that is seen but not corrected is a bias of known size: the expanded uncertainty must hold
        it whole (GUM, JCGM 100:2008, F.2.4.5), so it enters divided by the coverage factor 1.96.
        """
        if self.surface is not None:
            return self.surface.u_between(first_px, second_px)
        ends = np.stack([np.asarray(first_px, dtype=np.float64), np.asarray(second_px, dtype=np.float64)])
        distance_mm = float(np.hypot(*(ends[1] - ends[0]))) / self.px_per_mm
        if self.mapped:
            return float(np.hypot(self.u_residual, u_floor(distance_mm)))
        if self.log_light is None:
            return U_FLOOR + U_UNKNOWN_PER_MM * distance_mm
        seen = abs(float(np.diff(self.log_at(ends))[0]))
        return seen / COVERAGE + U_FLOOR + U_SHARE * seen

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of L*, a*, b* (3,) of wood because the light's colour differs between two places.

        The camera's matrix holds for one light. Where the colour of the light changes, what is divided out for each
        channel leaves an error that grows with the change; zeros where no change was seen.
        """
        if self.surface is not None:
            return self.surface.u_Lab_between(first_px, second_px)
        if self.log_ratios is None:
            return np.zeros(3)
        ends = np.stack([np.asarray(first_px, dtype=np.float64), np.asarray(second_px, dtype=np.float64)])
        at_ends = np.stack([self._sampled(self.log_ratios[..., i], ends) for i in (0, 1)], axis=-1)
        return np.asarray(U_DIVIDED_OUT * colour_apart(*at_ends))

    def shadows_over(self, from_mm: float, to_mm: float) -> tuple[ShadowEdge, ...]:
        """Shadow edges and hot spots that touch a stretch of the board, mm from its left end."""
        return tuple(shadow for shadow in self.shadows if shadow.touches(from_mm, to_mm))

    def _sampled(self, picture: NDArray[np.float32], points: NDArray[np.float64]) -> NDArray[np.float64]:
        # by hand: OpenCV's remap gives up on rows of more than 32767 points
        at = np.clip((points + 0.5) * self.scale - 0.5, 0, np.array(picture.shape[1::-1]) - 1.0)
        low = np.minimum(np.floor(at).astype(np.intp), np.array(picture.shape[1::-1]) - 2)
        x, y = np.moveaxis(at - low, -1, 0)
        left, top = np.moveaxis(low, -1, 0)
        above = (1 - x) * picture[top, left] + x * picture[top, left + 1]
        below = (1 - x) * picture[top + 1, left] + x * picture[top + 1, left + 1]
        return np.asarray((1 - y) * above + y * below, dtype=np.float64)


def gain_over(
    light: Light, plane: Plane, shape: tuple[int, int], mm_per_px: float, card_px: ArrayLike
) -> NDArray[np.float32]:
    """What makes a flat picture of the face look as if lit everywhere like the card.

    Parameters
    ----------
    light : Light
        Mapped; without a map all gains are 1.
    plane : Plane
    shape : (int, int)
        Rows and columns of the flat picture, whose pixel (r, c) is the square from (c, r) to (c + 1, r + 1) times
        `mm_per_px`.
    mm_per_px : float
    card_px : array_like, (4, 2)
        The card's corners in the photo. Its light is the mean over its middle, as its reading is.

    Returns
    -------
    ndarray of float32, (rows, columns, 3)
        Factors on linear RGB.
    """
    rows, columns = shape
    if not light.mapped:
        return np.ones((rows, columns, 3), np.float32)
    # light is smooth: a few places are enough, the rest is interpolated
    nodes = min(rows // NODE_PX + 2, MOST_NODES), min(columns // NODE_PX + 2, MOST_NODES)
    y, x = (np.linspace(0, n * mm_per_px, count) for n, count in zip(shape, nodes, strict=True))
    there = light.log_RGB_at(plane.to_px(np.stack(np.meshgrid(x, y), axis=-1)))
    at_card = np.log(np.exp(light.log_RGB_at(_card_middle(card_px))).mean(axis=0))
    down, along = _between(nodes[0], rows), _between(nodes[1], columns)
    gain = [down @ np.exp(at_card - there)[..., channel].astype(np.float32) @ along.T for channel in range(3)]
    return np.stack(gain, axis=-1)


def _between(nodes: int, count: int) -> NDArray[np.float32]:
    """Matrix (count, nodes) from values at evenly spaced nodes, the first and last at the edges, to pixel centres.

    OpenCV's resize takes nodes for pixels, which shifts the map by up to half a step and flattens its rim.
    """
    at = (np.arange(count) + 0.5) / count * (nodes - 1)
    return np.asarray(np.clip(1 - np.abs(at[:, np.newaxis] - np.arange(nodes)), 0, None), dtype=np.float32)


def _card_middle(card_px: ArrayLike) -> NDArray[np.float64]:
    """Points (25, 2) spread evenly over the part of the card that is read."""
    corners = shrunk(np.asarray(card_px, dtype=np.float64), RIM_SHARE)
    t = (np.arange(5) + 0.5) / 5
    s, t = (part.reshape(-1, 1) for part in np.meshgrid(t, t))
    top, bottom = corners[0] + s * (corners[1] - corners[0]), corners[3] + s * (corners[2] - corners[3])
    return np.asarray(top + t * (bottom - top))


def u_floor(distance_mm: float) -> float:
    """What any map leaves over between two places of the board, relative standard uncertainty."""
    return U_FLOOR * min(1.0, distance_mm / U_FLOOR_FULL_MM)


def face_grid_mm(plane: Plane) -> NDArray[np.float64]:
    """Points (13, 7, 2) over a face, edges included: light is smooth."""
    x, y = np.meshgrid(np.linspace(0, plane.length_mm, 13), np.linspace(0, plane.width_mm, 7), indexing="ij")
    return np.stack([x, y], axis=-1)


def light_from_background(preview: Preview, background: Background, plane: Plane) -> Light:
    """What the background around the board says about the light."""
    px_per_mm = plane.px_per_mm()[0]
    # with nothing calm around it, the fit may have settled on the board itself
    face = quad_mask(background.is_background.shape, preview.to_preview(plane.corners_px()))
    around = background.is_background & ~face
    if around.mean() < MIN_BACKGROUND or background.spread_log_Y > MAX_SPREAD:
        return Light(None, preview.scale, mapped=False, px_per_mm=px_per_mm)
    seen = background.log_light[around]
    # the fitted surface may run away where no background is near; light does not
    log_light = np.clip(background.log_light, seen.min() - 0.1, seen.max() + 0.1)
    return Light(log_light.astype(np.float32), preview.scale, mapped=False, px_per_mm=px_per_mm)


def light_from_flat(flat: Photo, photo: Photo, plane: Plane) -> tuple[Light | None, str]:
    """The light's shape from a photo of a plain sheet in the same place and light.

    Parameters
    ----------
    flat : Photo
        The plain sheet, framed as the board's photo: the same pixels show the same place.
    photo : Photo
        The board.
    plane : Plane
        Where the board lies in its photo.

    Returns
    -------
    light : Light or None
    why_not : str
        When None: why the photo of the sheet cannot serve.
    """
    if flat.codes.shape != photo.codes.shape:
        return None, "it has another size or orientation than the photo of the board"
    sheet, why_not = read_sheet(flat, plane.corners_px())
    if sheet is None:
        return None, why_not
    findings = () if sheet.log_ratios is None else (finding("mixed-light", percent=100 * np.expm1(sheet.mixed)),)
    light = Light(
        sheet.log_light,
        sheet.scale,
        mapped=True,
        px_per_mm=plane.px_per_mm()[0],
        log_ratios=sheet.log_ratios,
        u_residual=float(np.hypot(U_SHEET, sheet.residual)),
        residual=sheet.residual,
        findings=findings,
    )
    return light, ""
