"""What does a job consist of?  The nouns of `job.toml`, checked and in millimetres.

Nothing here reads files; jobfile.py does.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from analyzer.approvals import Approval
from analyzer.plan_request import Part, PlanRequest
from analyzer.results import Stage

Point = tuple[float, float]  # pixel x, y of the upright photo; (0, 0) is the centre of the top-left pixel
Quad = tuple[Point, Point, Point, Point]  # top-left, top-right, bottom-right, bottom-left of the thing itself

# No tolerance for stained furniture is published: these are the tool's own, chosen, and a shop sets its own.
DEFAULT_TOLERANCE = 2.0  # CIEDE2000
DEFAULT_BLOTCH_LIMIT = 1.0  # L*
DEFAULT_MARGIN_MM = 5.0  # left out inside each zone's edge: masking tape bleeds, brushes overlap (chosen)


@dataclass(frozen=True, slots=True)
class Target:
    """The agreed colour. Exactly one of `lab`, `zone` and `between` is set; with `approved`, `lab` is its colour."""

    tolerance: float = DEFAULT_TOLERANCE  # largest acceptable CIEDE2000 difference
    lab: tuple[float, float, float] | None = None  # CIELAB, D50, 2 degree observer
    zone: str | None = None  # "S/sample"
    between: tuple[str, ...] = ()  # light and dark limit, or light, mid, dark
    stage: Stage | None = None  # the stage at which the target was agreed
    lights: tuple[str, ...] = ()  # those that decide; () lets every light decide that was photographed in
    approved: Approval | None = None  # an approved zone, of an earlier job as a rule: compared with as it was measured


@dataclass(frozen=True, slots=True)
class EvennessWish:
    """How even the surface shall be. `limit` in L*; `like` names a zone that may not be exceeded instead."""

    wish: Literal["even", "lively"] = "even"
    limit: float | None = DEFAULT_BLOTCH_LIMIT  # None when `like` is set
    like: str | None = None


@dataclass(frozen=True, slots=True)
class Reference:
    """What lies in the photos as the known colour."""

    kind: Literal["gray-card", "step-card", "chart-24"] = "gray-card"
    reflectance: tuple[float, ...] = (
        0.18,
    )  # one for a gray card; light to dark for a step card; () beside `lab`, chart
    lab: tuple[float, float, float] | None = None  # of the gray card, instead of `reflectance`
    values: str | None = None  # chart-24: a file beside job.toml
    edition: Literal["from-2015", "before-2015"] | None = None


@dataclass(frozen=True, slots=True)
class CorrectionWish:
    """Where the correction for photos with a gray card comes from: a photo of this job, or what is kept of others."""

    photo: str | None = None  # of a chart or step card, as in job.toml; None: from the user's data folder
    reference: Reference | None = None  # what lies in that photo
    light: str | None = None  # the name of its light
    card: Quad | None = None  # corners of the chart or step card in it


@dataclass(frozen=True, slots=True)
class Zone:
    """A patch of a board with one treatment. Lengths in mm, x along the grain from the board's left end.

    An irregular zone has a `polygon_mm`; its span and width across are then those of its bounding box.
    """

    id: str
    treatment: str  # "none" for a control
    span_mm: tuple[float, float]
    across_mm: tuple[float, float]  # from the top edge; the full width when job.toml leaves it out
    margin_mm: float = DEFAULT_MARGIN_MM
    stain: str | None = None
    # stain_coats, dilution, solids, wait, scuff, dwell, …; what its board says of all its zones included
    recipe: dict[str, Any] = field(default_factory=dict)
    polygon_mm: tuple[tuple[float, float], ...] = ()  # (x, y) of its corners in order; (): the whole rectangle
    circumstances: dict[str, Any] = field(
        default_factory=dict
    )  # batch, person, temperature, …: its own, not the board's

    @property
    def sheen(self) -> str | None:
        """Sheen of the topcoat as written, None when not recorded."""
        sheen = self.recipe.get("sheen")
        return f"{sheen:g}" if isinstance(sheen, int | float) else sheen


@dataclass(frozen=True, slots=True)
class Board:
    """One board. `length_mm` runs along the grain."""

    id: str
    species: str
    length_mm: float
    width_mm: float
    zones: tuple[Zone, ...]
    circumstances: dict[str, Any] = field(default_factory=dict)  # lot, moisture, batch, …: of all its zones


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One board in one photo. A photo of several boards makes several entries."""

    file: str  # as in job.toml, relative to the job folder
    board: str
    stage: Stage
    light: str | None = None
    corners: Quad | None = None
    card: Quad | None = None
    flat: str | None = None
    exposure_pair: str | None = None  # the same still scene, lighter or darker by 1.5 to 20 times


@dataclass(frozen=True, slots=True)
class Job:
    """A whole job, as job.toml says it."""

    folder: Path
    name: str
    units: Literal["mm", "in"]
    target: Target
    evenness: EvennessWish
    reference: Reference
    boards: tuple[Board, ...]
    photos: tuple[PhotoEntry, ...]
    customer: str | None = None
    correction: CorrectionWish | None = None  # None: the gray card counts alone
    plan: PlanRequest | None = None  # the trial to be planned, if any
    parts: tuple[Part, ...] = ()  # of the piece; only a plan needs them
    as_read: dict[str, Any] = field(default_factory=dict)  # job.toml as parsed, for results.json

    def board(self, board_id: str) -> Board:
        """Find the board of an id. Raises KeyError."""
        for board in self.boards:
            if board.id == board_id:
                return board
        raise KeyError(board_id)

    @property
    def blotch_limit_zones(self) -> tuple[str, ...]:
        """Zones of which the blotchiest sets the limit of blotch; () where the limit is a number.

        Range boards set it unless job.toml says what the limit is: they show what was agreed to be acceptable.
        """
        if self.evenness.like is not None:
            return (self.evenness.like,)
        return () if "limit" in self.as_read.get("evenness", {}) else self.target.between

    def zone(self, path: str) -> tuple[Board, Zone]:
        """Find board and zone of a path "board/zone". Raises KeyError."""
        for board in self.boards:
            for zone in board.zones:
                if f"{board.id}/{zone.id}" == path:
                    return board, zone
        raise KeyError(path)
