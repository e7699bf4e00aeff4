"""What is a trial to be planned for?  The nouns of `[plan]` and `[[part]]` of `job.toml`, in mm, m², °C and per cent.

Nothing here reads files; jobfile_plan.py does.
"""

from dataclasses import dataclass, field
from datetime import date, time
from typing import Any, Literal

Paper = Literal["a4", "letter"]
Application = Literal["wiped", "brushed", "sprayed"]
Substrate = Literal["solid", "veneer"]

DEFAULT_POWER = 0.8  # how often a difference that is there shall be seen (common practice)
DEFAULT_BOARDS = 2  # one light, one dark: the least that shows a spread
# Standard deviation, from board to board, of what a treatment takes off the blotch index, L*. No published value:
# chosen as a third of the tool's own limit of 1.0, until the job's own boards say what it is.
DEFAULT_SPREAD = 0.35
# A board holds a control at both ends and one treatment at least. Each zone shows 50 mm inside its margins, one wave of
# the longest blotch (evenness.py); on less there is nothing to plan.
LEAST_SHOWN_MM = 50.0
LEAST_ZONES = 3


@dataclass(frozen=True, slots=True)
class Candidate:
    """One pre-treatment to be tried: a zone on every board."""

    id: str  # becomes the zone's id
    treatment: str
    stain: str | None = None  # None: the plan's
    recipe: dict[str, Any] = field(default_factory=dict)  # solids, dilution, wait, scuff, …; the plan's where left out


@dataclass(frozen=True, slots=True)
class Part:
    """Parts of the piece that get the finish."""

    id: str
    species: str
    area_m2: float  # of all pieces and faces together
    glue_faces: str | None = None  # what must be masked, in the finisher's words
    substrate: Substrate = "solid"


@dataclass(frozen=True, slots=True)
class Conditions:
    """The air of the shop and of the place of use, and the wood. None: not given."""

    temperature_C: float | None = None
    humidity_percent: float | None = None  # relative, of the shop
    use_humidity_percent: float | None = None  # relative, where the piece will stand
    wood_moisture_percent: float | None = None


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What `[plan]` asks for."""

    candidates: tuple[Candidate, ...]
    start: date
    stain: str | None = None
    topcoat: str | None = None
    recipe: dict[str, Any] = field(default_factory=dict)  # what all zones share: stain_coats, dwell, topcoat, sheen, …
    applied: Application | None = None  # how stain and finish are put on
    conditions: Conditions = field(default_factory=Conditions)
    hours: tuple[time, time] = (time(8), time(17))  # of a working day
    board_length_mm: float | None = None  # None: as long as the treatments need
    board_width_mm: float | None = None
    boards: int | None = None  # of each wood; None: by `smallest`, or the least
    smallest: float | None = None  # smallest difference of blotch to be seen, L*
    power: float = DEFAULT_POWER
    spread: float | None = None  # L*, from board to board; None: not known, `DEFAULT_SPREAD`
    first_board: str = "A"
    seed: int | None = None  # None: made from the job's name
    paper: Paper = "a4"

    @property
    def sheen(self) -> str | None:
        """Sheen of the topcoat as written, None when not given."""
        sheen = self.recipe.get("sheen")
        return f"{sheen:g}" if isinstance(sheen, int | float) else sheen
