"""What is the answer of `evenboard match`, and in which shape is it written?  These dataclasses are `match.json`.

A `*_u95` is a 95 % half-width; None (null) means unknown and is never written as 0. Colours are CIELAB, D50, 2 degree
observer; every difference is colour minus target.
"""

from dataclasses import dataclass
from typing import Literal

from analyzer.results import Colour, ToolResult

FORMAT = 1

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class DirectionResult:
    """How one treatment and stain misses the target: value first, then chroma, then hue."""

    treatment: str
    stain: str | None
    dose: str | None
    rank: int  # as in the verdicts, 1 the best
    de00: float
    de00_u95: float | None
    dl: float
    dc: float
    dh: float
    value: str  # "2.1 too dark", "no difference that can be told"
    chroma: str
    hue: str
    says: str


@dataclass(frozen=True, slots=True)
class CloserResult:
    """Whether a colour closer to the target than the best one could be told on this wood at all."""

    answer: Literal["possible", "cannot tell"]
    de00: float  # of the best
    de00_u95: float | None
    own_de00: float | None  # CIEDE2000 between two patches of one recipe on this wood, mean; None: no two of one recipe
    pairs: int  # of patches that mean rests on
    says: str


@dataclass(frozen=True, slots=True)
class PartResult:
    """One stain of a mix."""

    stain: str
    parts: int
    share: float  # of the pot, before it was rounded to parts
    tried: float  # the greatest share that was tried; coats beyond those of the mix count as more


@dataclass(frozen=True, slots=True)
class DoubtResult:
    """A reason not to rely on a mix."""

    code: Literal[
        "out of reach", "too dark", "beyond what was tried", "lightens", "covers", "cover not known", "saturates",
        "borrowed", "no bare wood", "bare wood from another photo", "bare wood untreated", "one board", "very dark",
        "steps differ",
    ]  # fmt: skip
    says: str


@dataclass(frozen=True, slots=True)
class MixResult:
    """A mix of the tried stains for one treatment, in parts that can be measured out."""

    treatment: str
    stains: tuple[PartResult, ...]
    clear_parts: int  # of clear base
    coats: int
    lab: Lab
    lab_u95: Lab  # of the next board of this wood, beside the target
    de00: float  # to the target, of the parts
    de00_u95: float
    exact_de00: float  # the same before rounding
    colour: Colour
    boards: int  # it rests on
    sources: dict[str, float]  # parts of `de00_u95`; their squares add up to its
    left_out_de00: float | None  # patches foretold from the others of their stain, root mean square; None: too few
    doubts: tuple[DoubtResult, ...]
    trial_board: str  # to be pasted into job.toml
    says: str


@dataclass(frozen=True, slots=True)
class DoseMatchResult:
    """The best dose of one treatment, from the doses that were tried."""

    treatment: str
    stain: str | None
    key: Literal["solids", "dilution", "stain_coats"]
    dose: float
    words: str
    tried: tuple[float, float]  # the least and the greatest
    is_between: bool  # it lies between two doses that were tried
    de00: float
    de00_u95: float | None
    colour: Colour
    says: str


@dataclass(frozen=True, slots=True)
class SettingResult:
    """All about one species at one stage in one light."""

    species: str
    stage: str
    light: str | None
    target: str
    target_lab: Lab
    directions: tuple[DirectionResult, ...]  # best first
    closer: CloserResult
    doses: tuple[DoseMatchResult, ...]
    mixes: tuple[MixResult, ...]  # one a treatment, by how near the target they come
    missing: tuple[str, ...]  # what to add so that more can be worked out


@dataclass(frozen=True, slots=True)
class CoatResult:
    """What a zone will look like under a coat that it does not have yet."""

    zone: str
    stage_from: str
    stage_to: str
    light: str | None
    topcoat: str | None
    sheen: str | None
    lab: Lab
    lab_u95: Lab | None
    learnt_from: str  # "this job", or the folder of an earlier one
    boards: int
    de00: float | None  # from there to the target; None: the target is of another stage or sheen
    de00_u95: float | None
    says: str


@dataclass(frozen=True, slots=True)
class EarlierResult:
    """A zone of an earlier job, near the target."""

    job: str
    folder: str
    zone: str
    stage: str
    light: str | None
    species: str
    treatment: str
    stain: str | None
    lab: Lab
    de00: float
    de00_u95: float | None
    differs: tuple[str, ...]  # from the recipe of this job's nearest zone
    not_recorded: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class MatchResult:
    """The whole answer: `match.json`."""

    format: int
    tool: ToolResult
    job: str
    method: str  # by which results.json was measured
    settings: tuple[SettingResult, ...]
    coats: tuple[CoatResult, ...]
    earlier: tuple[EarlierResult, ...]  # nearest first
    notes: tuple[str, ...]  # what could not be told, and why
