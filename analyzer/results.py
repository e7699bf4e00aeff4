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
class ChartResult:
    """How well a colour chart's correction does, CIEDE2000: mean and 95th percentile."""

    left_out: tuple[float, float]  # of the chart's patches, each by a fit without it
    wood: tuple[float, float]  # predicted for stained wood


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
    chart: ChartResult | None = None  # None: no chart in the photo


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
    # Against the bare photos of the same board; None: there are none, or this is one, or it cannot be told
    bare_blotch: float | None = None  # L*, of the same zone before it was stained
    bare_blotch_u95: float | None = None
    added_blotch: float | None = None  # L*, what is left of `blotch` when what was in the wood before is taken out
    added_blotch_u95: float | None = None
    figure_kept: float | None = None  # `figure` over that of the bare wood: 1 when all was kept
    # L*, `blotch` as it would be on ground as light as the control's; None: no control of its board, or it is one
    blotch_levelled: float | None = None
    # How the unevenness looks; beside the verdicts. None where `blotch` is, or written by an older version
    bands: tuple[float, float, float, float] | None = None  # L*, blotch of the octaves 4-8, 8-16, 16-32, 32-64 mm
    visible_share: tuple[float, float] | None = None  # darker, lighter by more than 1 L*: fraction of the area
    blotch_arm: float | None = None  # L*, weighted by the eye's contrast sensitivity at 0.7 m
    blotch_room: float | None = None  # at 2.5 m
    drift: tuple[float, float] | None = None  # L*, end to end: along the grain to the right, across it down
    lap: float | None = None  # L*, bands across the grain


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
    grade: float | None = None  # of the gray scale for change in colour (ISO 105-A05): 5 none, 1 great


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
    dose: str | None = None  # "5 % solids", where the treatment was tried in several doses; None: in one


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
    dose: str | None = None  # "5 % solids", where the treatment was tried in several doses; None: in one


@dataclass(frozen=True, slots=True)
class EffectResult:
    """What one treatment does, against the controls of the same boards: a mean over boards of paired differences."""

    treatment: str
    stain: str | None
    species: str
    stage: str
    light: str | None
    zones: tuple[str, ...]
    controls: tuple[str, ...]
    boards: int
    de00: float  # of the mean difference
    de00_u95: float | None
    dl: float  # treatment minus control
    da: float
    db: float
    dlab_u95: tuple[float, float, float] | None
    directions: tuple[str, ...]  # those that can be told and seen, by their words: "light", "dull", "yellow"
    colour_p: float | None  # two-sided: a shift like that by chance; None: one board, or unknown
    colour_p_holm: float | None  # adjusted for all treatments of this species, stage and light (Holm)
    blotch: float | None  # L*, of the treatment
    blotch_control: float | None
    blotch_change: float | None  # treatment minus control
    blotch_change_u95: float | None
    blotch_ratio: float | None  # treatment over control, geometric mean; None where the control has hardly any blotch
    blotch_ratio_range: tuple[float, float] | None  # its 95 % interval
    blotch_p: float | None
    blotch_p_holm: float | None
    says: str
    dose: str | None = None  # "5 % solids", where the treatment was tried in several doses; None: in one


@dataclass(frozen=True, slots=True)
class DosePointResult:
    """One dose of a treatment against the target and the limit of blotch."""

    dose: float  # percent of solids, parts of thinner to one part, or coats
    words: str
    boards: int  # 0: read between two doses that were tried
    de00: float
    de00_u95: float | None
    dl: float  # this dose minus the target
    da: float
    db: float
    dlab_u95: tuple[float, float, float] | None
    colour: Colour
    blotch: float | None
    blotch_u95: float | None
    evenness: Evenness


@dataclass(frozen=True, slots=True)
class DoseResult:
    """Treatments that differ in one dose only, as one curve."""

    treatment: str
    stain: str | None
    species: str
    stage: str
    light: str | None
    key: Literal["solids", "dilution", "stain_coats"]
    points: tuple[DosePointResult, ...]  # those that were tried, by dose
    best: float | None  # the dose that takes up least of both limits, where both surely hold; None: none does
    best_range: tuple[float, float] | None  # the unbroken range around it in which both hold
    nearest: DosePointResult  # the best dose, or the one nearest to its limits
    says: str


@dataclass(frozen=True, slots=True)
class StageShiftResult:
    """How the colour of zones moved from one stage to the next that was photographed: later minus earlier."""

    stage_from: str
    stage_to: str
    light: str | None
    species: str
    stain: str | None
    topcoat: str | None
    sheen: str | None
    zones: tuple[str, ...]
    boards: int
    dl: float  # mean over boards
    da: float
    db: float
    dlab_u95: tuple[float, float, float] | None  # of that mean, for the boards of this job and others like them
    zone_sd: tuple[float, float, float] | None  # of a single zone around the mean; None: one zone only
    de00: float  # from the mean colour before to the mean colour after


@dataclass(frozen=True, slots=True)
class RepeatabilityResult:
    """How closely repeated photos of the same zones agree: pooled standard deviations of a single photo."""

    zones: int  # seen in two photos or more, at one stage in one light
    photos: int
    degrees_of_freedom: int  # photos beyond the first, over all boards, stages and lights
    lab_sd: tuple[float, float, float]  # of a zone's own colour
    de00_sd: float  # the same as a CIEDE2000 distance from the zone's mean
    pair_lab_sd: tuple[float, float, float] | None  # of the difference of two zones in one photo; None: no two zones
    pair_de00_sd: float | None
    blotch_sd: float | None  # L*
    says: str


@dataclass(frozen=True, slots=True)
class MatrixResult:
    """All zones against all, at one stage in one light; boards, woods and treatments alike."""

    stage: str
    light: str | None
    zones: tuple[str, ...]
    de00: tuple[tuple[float | None, ...], ...]  # row against column; None: of different sheens, not compared
    de00_u95: tuple[tuple[float | None, ...], ...] | None  # None: too many zones to say how sure each is


@dataclass(frozen=True, slots=True)
class AnswerResult:
    """The one sentence that the finisher came for. `treatment` is None when no treatment can be named."""

    treatment: str | None
    stain: str | None
    species: str | None
    reason: str
    dose: str | None = None  # "5 % solids", where the treatment was tried in several doses; None: in one


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
    effects: tuple[EffectResult, ...] = ()  # treatments beside a control of their own board
    doses: tuple[DoseResult, ...] = ()  # treatments that differ in one dose only
    stage_shifts: tuple[StageShiftResult, ...] = ()  # zones seen at several stages
    repeatability: RepeatabilityResult | None = None  # None: no zone was photographed twice
    matrices: tuple[MatrixResult, ...] = ()  # all zones against all
