"""What does a verification answer, and in which shape is it written?  `verify.json`, key for key.

A `*_u95` is a 95 % half-width; None (null) means unknown and is never written as 0.
"""

from dataclasses import dataclass, field
from typing import Final, Literal

from analyzer.approval.run_chart import ControlSeries
from analyzer.approval.wanted import Mode
from analyzer.approvals import Covered
from analyzer.results import FindingResult, ToolResult

FORMAT: Final = 1
KIND: Final = "evenboard verification"

Verdict = Literal["within", "outside", "cannot tell", "not judged"]
Go = Literal["go", "stop", "cannot tell"]
Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ApprovedResult:
    """What parts were held against."""

    name: str  # of the approval
    sha256: str
    zone: str
    species: str
    treatment: str
    stain: str | None
    sheen: str | None
    stage: str
    light: str | None
    by: str
    date: str
    until: str | None
    scope: str
    covers: tuple[Covered, ...]
    not_covered: str | None
    lab: Triple
    range_labs: tuple[Triple, ...]  # of range boards, light to dark
    tolerance: float
    blotch_limit: float | None
    blotch_limit_u95: float | None
    changes: tuple[str, ...]  # what is not as it was when it was approved
    notes_of_change: tuple[str, ...]  # the same, of what the approved values do not rest on


@dataclass(frozen=True, slots=True)
class PartPhotoResult:
    """One photo of parts."""

    file: str
    sha256: str | None
    taken: str | None
    camera: str | None
    light: str | None
    stage: str | None
    usable: bool  # all its parts could be measured
    findings: tuple[FindingResult, ...]


@dataclass(frozen=True, slots=True)
class PartResult:
    """One part in one photo."""

    id: str
    photo: str
    taken: str | None
    place: int  # in the series, from 1
    species: str | None
    other_species: bool  # than the approved zone's
    sheen: str | None
    approval: str | None  # name; None: none fits
    scale: Literal["edge strips", "size given"] | None
    located_by: Literal["strips", "corners", "outline", "polygon"] | None
    compared: Literal["same photo", "across photos"] | None
    lab: Triple | None
    lab_u95: Triple | None
    de00: float | None  # to the approved colour, or to the line through its range boards
    de00_u95: float | None
    de76: float | None
    dl: float | None  # part minus approved
    da: float | None
    db: float | None
    dc: float | None
    dh: float | None
    sources: dict[str, float]  # parts of `de00_u95`; their squares add up to its
    directions: tuple[str, ...]
    colour: Verdict
    blotch: float | None
    blotch_u95: float | None
    figure: float | None
    evenness: Verdict
    overall: Verdict
    says: str
    settles: str  # what would settle a "cannot tell"; "" where there is none
    days: int | None  # between the approved photo and this one; None: not known
    findings: tuple[FindingResult, ...]

    @property
    def is_measured(self) -> bool:
        """Whether there is a colour."""
        return self.lab is not None


@dataclass(frozen=True, slots=True)
class RunResult:
    """All parts together."""

    parts: int  # measured
    within: int
    outside: int
    cannot_tell: int
    share_within: float | None  # of those that could be told
    mean: Triple | None  # dL*, dC*, dH*, part minus approved
    spread: Triple | None  # standard deviation of single parts
    mean_de00: float | None
    ordered_by: Literal["time taken", "order given"]
    points: tuple[str, ...]  # of the chart: photos, in order
    rule: str
    series: tuple[ControlSeries, ...]  # lightness, vividness, hue
    false_alarm: float | None  # share of steady runs of this length that signal by chance
    left_at: str | None  # the part or photo at which the run left
    says: str


@dataclass(frozen=True, slots=True)
class CheckFirst:
    """Something to look at before going on."""

    what: str
    check: str
    source: str


@dataclass(frozen=True, slots=True)
class FirstArticleResult:
    """May the run go on?"""

    part: str
    decision: Go
    reasons: tuple[str, ...]
    check_first: tuple[CheckFirst, ...]


@dataclass(frozen=True, slots=True)
class Verification:
    """The whole answer: `verify.json`."""

    format: int
    kind: str
    made: str  # ISO 8601
    mode: Mode
    job: str
    approvals: tuple[ApprovedResult, ...]
    photos: tuple[PartPhotoResult, ...]
    parts: tuple[PartResult, ...]  # in the order of the series
    run: RunResult | None  # None: nothing measured, or not a run
    first_article: FirstArticleResult | None
    tool: ToolResult
    boards: tuple[str, ...] = field(default=())  # how the approved board itself compares with its approval, in words
