"""What is the answer of a measurement, and in which shape is it written?

These dataclasses are `results.json`, key for key (format 1): the library returns them, msgspec writes them,
and the JSON Schema in `shared/results.schema.json` is generated from them.
A `*_u95` is a 95 % half-width; None (null) means unknown and is never written as 0.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

FORMAT = 1

Stage = Literal["bare", "treated", "wet", "stained", "sealed", "topcoated"]
STAGES: tuple[Stage, ...] = ("bare", "treated", "wet", "stained", "sealed", "topcoated")

Colour = Literal["match", "no match", "cannot tell"]
Evenness = Literal["even", "blotchy", "not judged", "cannot tell"]
Overall = Literal["use", "do not use", "cannot tell"]


@dataclass(frozen=True, slots=True)
class ToolResult:
    """Which program gave the answer, and by which method."""

    name: str
    version: str
    method: str


@dataclass(frozen=True, slots=True)
class FindingResult:
    """Something a check noticed in a photo."""

    code: str
    severity: Literal["note", "warning", "unusable"]
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class PhotoResult:
    """One photo of one board and whether it could be measured. `file` is as in job.toml."""

    file: str
    sha256: str | None  # None: the file could not be read
    board: str
    stage: str
    light: str | None
    usable: bool
    mm_per_px: float | None
    located_by: Literal["strips", "corners", "outline"] | None
    light_range: float | None  # (max - min) / max of the light map over the board; None: not mapped
    light_residual: float | None  # relative: left-out white paper against what the rest foretells; None: not mapped
    findings: tuple[FindingResult, ...]
    # by what its colours were corrected: "stored" by an earlier photo of a chart or step card; None: not measured
    correction: Literal["gray card", "step card", "colour chart", "stored"] | None = None


@dataclass(frozen=True, slots=True)
class ZoneResult:
    """Colour and evenness of one zone at one stage in one light, pooled over its photos."""

    id: str  # "A/control"
    board: str
    zone: str
    stage: str
    light: str | None
    species: str
    treatment: str
    stain: str | None
    lab: tuple[float, float, float]  # CIELAB, D50, 2 degree observer
    lab_u95: tuple[float, float, float] | None
    blotch: float | None  # L*
    blotch_u95: float | None
    patch_mm: float | None
    figure: float | None  # L*
    area_mm2: float
    masked: float  # fraction of the zone left out
    photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DifferenceResult:
    """Zone b against zone a: `d*` are b minus a."""

    a: str
    b: str
    stage: str
    light: str | None
    de00: float
    de00_u95: float | None
    de76: float
    dl: float
    da: float
    db: float
    dc: float
    dh: float
    sources: dict[str, float] = field(default_factory=dict)  # parts of `de00_u95`; their squares add up to its


@dataclass(frozen=True, slots=True)
class VerdictResult:
    """What the measurement says of one treatment."""

    treatment: str
    stain: str | None
    species: str
    stage: str
    light: str | None
    zones: tuple[str, ...]
    boards: int
    rank: int
    de00: float | None
    de00_u95: float | None
    colour: Colour
    blotch: float | None
    blotch_u95: float | None
    evenness: Evenness
    overall: Overall
    advice: str
    sources: dict[str, float] = field(default_factory=dict)  # parts of `de00_u95`; their squares add up to its


@dataclass(frozen=True, slots=True)
class SecondLightResult:
    """One treatment in several lights: does its match to the target hold in each of them?"""

    treatment: str
    stain: str | None
    species: str
    stage: str
    lights: tuple[str | None, ...]
    de00: tuple[float, ...]  # to the target, one for each light
    de00_u95: tuple[float | None, ...]
    worst: str | None  # the light in which it is farthest from the target
    # CIEDE2000 that a perfect match in the one light would show in the other, the largest of all pairs of lights
    # (ISO 18314-4); None: the target is a value, which says nothing of other lights
    metamerism: float | None
    metamerism_u95: float | None
    says: str


@dataclass(frozen=True, slots=True)
class AnswerResult:
    """The one sentence that the finisher came for. `treatment` is None when no treatment can be named."""

    treatment: str | None
    stain: str | None
    species: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class Results:
    """The whole answer: `results.json`."""

    format: int
    tool: ToolResult
    job: dict[str, Any]  # the job file as read
    photos: tuple[PhotoResult, ...]
    zones: tuple[ZoneResult, ...]
    differences: tuple[DifferenceResult, ...]
    verdicts: tuple[VerdictResult, ...]
    answer: AnswerResult
    second_light: tuple[SecondLightResult, ...] = ()  # treatments seen in more than one light
