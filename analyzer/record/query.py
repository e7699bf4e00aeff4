"""What can the record be asked, and what does it answer?"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from analyzer.record.photo_date import DateFrom
from analyzer.results import Overall

Lab = tuple[float, float, float]
Order = Literal["nearest", "newest", "most even", "job"]

DEFAULT_LIMIT: Final = 20  # zones that are told of (chosen: what a screen holds)


@dataclass(frozen=True, slots=True)
class Query:
    """What is looked for; every condition that is set must hold. Words count whether upper or lower case."""

    species: str | None = None  # part of it is enough, unless `is_exact`
    treatment: str | None = None
    stain: str | None = None
    is_exact: bool = False  # these three must be just so: "oak" does not find "white oak"
    stage: str | None = None
    light: str | None = None
    since: str | None = None  # first and last day, ISO 8601
    until: str | None = None
    customer: str | None = None  # part of the name
    words: str | None = None  # all of them stand somewhere in the job's name, its customer or the zone's recipe
    near: Lab | None = None  # CIELAB, D50, 2 degree observer
    near_u95: Lab | None = None  # 95 % half-widths; None: an exact value, unless `near_is_measured`
    near_is_measured: bool = False  # without a `near_u95` its doubt is then unknown, and so is that of a difference
    within: float | None = None  # CIEDE2000; None: the nearest, however far
    blotch: float | None = None  # L*, at most; a zone of which it is not known is left out
    verdict: Overall | None = None
    is_approved: bool | None = None
    folders: tuple[Path, ...] = ()  # jobs in or below these; (): all that are kept
    not_in: Path | None = None  # leaves out the job of this folder
    limit: int | None = DEFAULT_LIMIT  # None: all
    order: Order | None = None  # None: the nearest first where a colour is given, else the newest


@dataclass(frozen=True, slots=True)
class FoundZone:
    """A zone of a recorded job, at one stage in one light."""

    job: str
    customer: str | None
    folder: Path
    id: str  # "A/washcoat"
    stage: str
    light: str | None
    species: str
    treatment: str
    stain: str | None
    lab: Lab
    lab_u95: Lab | None
    blotch: float | None  # L*
    blotch_u95: float | None
    figure: float | None  # L*
    area_mm2: float
    verdict: Overall | None  # None: it was not judged
    colour: str | None
    evenness: str | None
    is_approved: bool
    date: str  # ISO 8601
    date_from: DateFrom
    method: str  # by which the numbers came about
    recipe: dict[str, Any] = field(default_factory=dict)  # as in job.toml, what its board says included
    de00: float | None = None  # CIEDE2000 to the colour that was asked for
    de00_u95: float | None = None
