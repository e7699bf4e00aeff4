"""What lies on the table, in which light, before which camera?  The nouns of a simulated photo.

The table plane has millimetres: x to the right, y down, as seen by an unturned camera. A thing lies with its own
top-left corner at `top_left_mm`, turned clockwise by `turn_deg` about that corner. Points in photos are pixels
(x right, y down), the origin at the centre of the top-left pixel.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulator.chart import Chart
from simulator.step_card import StepCard
from simulator.wet_film import WetFilm

Point = tuple[float, float]
Field = Callable[[tuple[int, int], float], NDArray[np.floating]]  # (rows, columns), mm per px -> pattern in L*


@dataclass(frozen=True)
class WoodZone:
    """A patch with one treatment and one stain. `across_mm` left out: the full width."""

    id: str
    span_mm: Point
    treatment: str = "none"
    stain: str | None = None
    stain_coats: float = 1.0
    across_mm: Point | None = None


@dataclass(frozen=True)
class PaintedZone:
    """A flat surface of one colour (CIELAB D50/2°) to which a pattern of lightness is added exactly.

    `L_field` takes the zone's shape in pixels and the scale, and returns what is added to L*; chromaticity stays.
    """

    id: str
    span_mm: Point
    Lab: tuple[float, float, float]
    L_field: Field | None = None
    across_mm: Point | None = None


Zone = WoodZone | PaintedZone


@dataclass(frozen=True)
class Board:
    """One board, its grain along the length. What no zone covers is bare wood."""

    id: str
    length_mm: float
    width_mm: float
    zones: tuple[Zone, ...] = ()
    species: str = "hard maple"
    stage: str = "stained"
    seed: int = 0  # draws this board's own figure, pores and blotch
    tone: float = 1.0  # how dark this board is among its species: a factor on the wood's absorbance
    top_left_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    thickness_mm: float = 0.0  # the face lies this much above the table
    texture_px_per_mm: float = 5.0  # scale at which the surface is painted, whatever the camera sees of it
    film: WetFilm | None = None  # shines on the face; the truth is that of the wood below it

    @property
    def size_mm(self) -> Point:
        return self.length_mm, self.width_mm


@dataclass(frozen=True)
class GrayCard:
    """A spectrally flat gray card with a slight texture."""

    size_mm: Point = (100.0, 70.0)
    top_left_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    reflectance: float = 0.18
    texture: float = 0.008  # relative standard deviation, wavelengths 0.8 to 3 mm
    thickness_mm: float = 0.0  # height of its face above the table: the board's, when it lies on the board
    lean_deg: Point = (0.0, 0.0)  # its right end, then its lower end is raised so much; the light on it stays the same


@dataclass(frozen=True, eq=False)
class Paper:
    """A printed sheet of matt paper, neutral; `picture` holds 255 for bare paper and 0 for full ink."""

    picture: NDArray[np.uint8]  # (rows, columns)
    px_per_mm: float
    top_left_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    reflectance: float = 0.85
    ink: float = 0.04
    thickness_mm: float = 0.0  # height of its face above the table

    @property
    def size_mm(self) -> Point:
        rows, columns = self.picture.shape
        return columns / self.px_per_mm, rows / self.px_per_mm


@dataclass(frozen=True)
class Background:
    """The calm surface under it all. `Lab` is its mean colour; texture is a relative standard deviation."""

    Lab: tuple[float, float, float] = (34.0, 0.0, 1.0)
    texture: float = 0.02
    wavelengths_mm: Point = (1.0, 6.0)


@dataclass(frozen=True)
class Light:
    """Kind of light and its fall-off over all board faces, whose brightest point gets 1; or over `over_mm`.

    `gradient` is the straight fall-off across the boards; `radial` the fall-off from `centre_mm` (left out: the middle
    of the boards) to the farthest board corner, growing with the square of the distance. Both are (max - min) / max.
    With `over_mm` a lamp stays the same when boards are moved or taken away.
    """

    illuminant: str = "D50"
    gradient: float = 0.0
    direction_deg: float = 0.0  # the light falls off towards here: 0 right, 90 down
    radial: float = 0.0
    centre_mm: Point | None = None
    over_mm: tuple[float, float, float, float] | None = (
        None  # left, top, right, bottom: this area counts, not the boards
    )


@dataclass(frozen=True)
class GlareSpot:
    """A mirror-like highlight of the lamp, added as white light."""

    centre_mm: Point
    radius_mm: float
    strength: float = 1.0  # of a perfect white in the same light, at the centre
    on_card: bool = False  # only the card shines, all else is matt


@dataclass(frozen=True)
class Shadow:
    """Soft shadow that boards throw on the table."""

    offset_mm: Point = (4.0, 5.0)
    depth: float = 0.45  # share of the light that is missing where it is deepest
    softness_mm: float = 8.0


@dataclass(frozen=True)
class CastShadow:
    """Soft shadow of something out of frame over all that lies in a convex polygon. `truth.light_map` leaves it out."""

    corners_mm: tuple[Point, ...]  # on the table; the shadow is whole `softness_mm` inside them
    depth: float = 0.4  # share of the light that is missing where it is deepest
    softness_mm: float = 8.0


@dataclass(frozen=True)
class Scene:
    boards: tuple[Board, ...] = ()
    card: GrayCard | None = None
    background: Background = Background()
    light: Light = Light()
    glare: tuple[GlareSpot, ...] = ()
    shadow: Shadow | None = None
    margin_mm: float = 5.0  # left out inside each zone's edge when the truth is averaged
    papers: tuple[Paper, ...] = ()
    cast_shadows: tuple[CastShadow, ...] = ()
    chart: Chart | None = None  # 24 patches, lying on the boards and papers
    step_card: StepCard | None = None  # lying on the boards and papers
    covers: tuple[Board, ...] = ()  # what lies on all else, the card too; the light is not counted over them

    @cached_property
    def lit_corners_mm(self) -> NDArray[np.float64]:
        """Corners, on the table, of what the fall-off of the light is counted over, (n, 2)."""
        if self.light.over_mm:
            left, top, right, bottom = self.light.over_mm
            return np.array([(left, top), (right, top), (right, bottom), (left, bottom)], dtype=np.float64)
        return np.concatenate([place(board, rectangle(*board.size_mm)) for board in self.boards])

    @cached_property
    def all_corners_mm(self) -> NDArray[np.float64]:
        """Corners of boards, card, chart and papers, (n, 2)."""
        cards = [card for card in (self.card, self.chart, self.step_card) if card]
        things: list[Board | GrayCard | Paper | Chart | StepCard] = [*self.boards, *cards, *self.papers]
        return np.concatenate([np.empty((0, 2)), *(place(thing, rectangle(*thing.size_mm)) for thing in things)])


@dataclass(frozen=True)
class Tone:
    """What the camera does to linear values before the profile's own curve. The default does nothing."""

    flare: float = 0.0  # veil of scattered light, as a fraction of white
    contrast_gamma: float = 1.0  # power on linear values, white stays
    s_curve: float = 0.0  # 0 to below 1: strength of an S on the encoded values


@dataclass(frozen=True)
class Camera:
    """Where the camera stands, and how it sees.

    Left out, `look_at_mm` is the middle of boards and card, and `px_per_mm` (there) the largest scale that
    shows them all inside a border of 6 % of the frame.
    """

    sensor: str = "one"
    profile: str = "srgb"  # or "p3": primaries of the codes
    size_px: tuple[int, int] = (2016, 1512)  # width, height
    px_per_mm: float | None = None
    look_at_mm: Point | None = None
    roll_deg: float = 0.0  # the picture turns clockwise
    tilt_deg: Point = (0.0, 0.0)  # about the table's x and y axis
    focal_px: float | None = None  # left out: 0.72 of the longer side, as of a phone's main lens
    exposure_EV: float = 0.0  # 0: a perfect white in the full light is just full scale
    white_balance_error: Point = (0.02, -0.015)  # relative error of the red and blue gain
    blur_sigma_px: float = 0.6
    full_well_e: float | None = 20000.0  # electrons at full scale; None: no noise at all
    read_noise_e: float = 4.0
    tone: Tone = field(default_factory=Tone)


def rectangle(length_mm: float, width_mm: float) -> NDArray[np.float64]:
    """Corners top-left, top-right, bottom-right, bottom-left in a thing's own millimetres, (4, 2)."""
    return np.array([(0, 0), (length_mm, 0), (length_mm, width_mm), (0, width_mm)], dtype=np.float64)


def placement(thing: Board | GrayCard | Paper | Chart | StepCard) -> NDArray[np.float64]:
    """Matrix (3, 3) from a thing's own millimetres to the table's."""
    c, s = np.cos(np.radians(thing.turn_deg)), np.sin(np.radians(thing.turn_deg))
    x, y = thing.top_left_mm
    return np.array([[c, -s, x], [s, c, y], [0, 0, 1]])


def place(thing: Board | GrayCard | Paper | Chart | StepCard, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (n, 2) of a thing's own millimetres on the table."""
    return (np.column_stack([points_mm, np.ones(len(points_mm))]) @ placement(thing).T)[:, :2]
