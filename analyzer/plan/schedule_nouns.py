"""What does a schedule consist of?  What is asked for, its steps, and what is said against it.

Times are those of the shop's own clock, without a zone. Nothing here computes; schedule.py does.
"""

from dataclasses import dataclass
from datetime import datetime, time
from typing import Literal

from analyzer.results import Stage
from analyzer.trade.origin import Origin

GritScale = Literal["P", "CAMI"]
StepKind = Literal[
    "measure", "sand", "mask", "treat", "scuff", "photo", "stain", "seal", "tone", "topcoat", "in service", "cured"
]
Severity = Literal["note", "warning"]


@dataclass(frozen=True, slots=True)
class WorkingHours:
    """When hands are at work. Waits go on outside of them."""

    opens: time = time(8)
    closes: time = time(17)
    days: tuple[int, ...] = (0, 1, 2, 3, 4)  # Monday is 0


@dataclass(frozen=True, slots=True)
class Air:
    """The air of a place."""

    temperature_C: float
    humidity_percent: float  # relative
    surface_C: float | None = None  # of the wood; None: as the air


@dataclass(frozen=True, slots=True)
class SheetTime:
    """What a product's own sheet says of the wait after it: it comes before every table.

    `after` is "treatment" (all of them), a treatment's own name, "stain", "sealer", "topcoat", or "last topcoat" (use).
    """

    after: str
    shortest_h: float
    longest_h: float | None = None  # of drying, in poor air; None: as `shortest_h`
    latest_h: float | None = None  # end of the window for what follows; None: none is told


@dataclass(frozen=True, slots=True)
class ScheduleRequest:
    """What the schedule is for. Names are the finisher's own words."""

    species: tuple[str, ...]
    treatments: tuple[str, ...]  # tried side by side, or the one of the piece; "none" and () for none
    stain: str | None
    topcoat: str | None
    start: datetime
    sealer: str | None = None
    air: Air | None = None  # of the shop; None: not told, and waits are planned at their long end
    site: Air | None = None  # where the piece will stand
    wood_moisture_percent: float | None = None  # of dry weight
    hours: WorkingHours = WorkingHours()
    grits: tuple[str, ...] = ()  # (): by the typical schedule of the first wood
    grit_scale: GritScale = "P"
    stain_coats: int = 1
    topcoat_coats: int | None = None  # None: the table's
    method: str = ""  # of the topcoat: "brushed", "sprayed", "hvlp", "spray can", …
    dwell_min: float | None = None  # from putting stain on to wiping it off
    outdoors: bool = False
    glue_faces: str | None = None  # what is masked, in the finisher's words; None: by the parts as they are
    sheet: tuple[SheetTime, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work.

    `start` is planned, inside working hours. `earliest` is when it could begin by what it waits for, `latest` when it
    must have begun (None: no end is known).
    """

    id: str  # "treat-glue-pva", "topcoat-2": the same over re-runs
    kind: StepKind
    title: str
    start: datetime
    end: datetime
    earliest: datetime
    latest: datetime | None
    waits_for: tuple[str, ...]  # ids
    wait: str  # what it waits for, in words; empty when for nothing but the step before
    instructions: tuple[str, ...]
    record: tuple[str, ...]  # what to write down
    stage: Stage | None  # of a photo
    source: str  # of its times and instructions
    origin: Origin
    is_wait_known: bool = True  # False: no table has it, a day was taken (the product's sheet decides)


@dataclass(frozen=True, slots=True)
class Advice:
    """Something to mind: in the air, in the wood, in what goes over what."""

    code: str  # "dew-point", "cold", …
    severity: Severity
    text: str
    source: str
    origin: Origin = "evenboard"


@dataclass(frozen=True, slots=True)
class TakenAs:
    """How one of the finisher's words was understood. `row` None: not known, `near` are the nearest."""

    asked: str
    table: Literal["species", "treatment", "stain", "sealer", "topcoat"]
    row: str | None  # its name in the table
    near: tuple[str, ...]
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Climate:
    """What air and wood come to. None: what it follows from was not told."""

    dew_point_C: float | None = None
    above_dew_point_K: float | None = None  # surface over dew point
    shop_moisture_percent: float | None = None  # what wood comes to in the shop's air
    site_moisture_percent: float | None = None  # where it will stand
    panel_change_mm_per_m: float | None = None  # width of a flat-sawn panel from now to there; below 0: it shrinks


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """A question on which the trade contradicts itself: to be tested, not to be believed."""

    id: str
    question: str
    one_view: str
    other_view: str
    how_to_test: str
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Schedule:
    """The steps in the order of time, with all that goes with them."""

    steps: tuple[Step, ...]
    in_service: datetime | None  # careful use from here on; None: no finish was named
    cured: datetime | None
    climate: Climate
    advice: tuple[Advice, ...]  # warnings first
    taken_as: tuple[TakenAs, ...]
    questions: tuple[OpenQuestion, ...]  # those that this work touches
    closing: str  # a product's own sheet comes before all of it
