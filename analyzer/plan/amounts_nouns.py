"""What is asked of the amounts, and what comes out?  Areas in m², volumes in litres, films in µm."""

from dataclasses import dataclass
from typing import Literal

from analyzer.trade.origin import Origin

Role = Literal["treatment", "stain", "sealer", "topcoat"]


@dataclass(frozen=True, slots=True)
class PartArea:
    """Parts of one wood."""

    name: str
    species: str
    area_m2: float  # of all pieces and faces together


@dataclass(frozen=True, slots=True)
class Use:
    """One material and how it is used. None: not told, the tables' value is taken, or the figure is left out.

    Solids are per cent by VOLUME. A sheet gives those by weight as well, and they are larger: turn them first with
    `analyzer.trade.dilution.volume_from_weight_percent`.
    """

    name: str  # the finisher's words
    role: Role
    coats: int = 1
    method: str = "wiped"  # "wiped", "brushed", "sprayed", "hvlp", "airless", "conventional spray", "spray can"
    spread_m2_per_l: float | None = None  # measured on the trial board, of what lies on the wood
    wet_film_um: float | None = None  # of one coat
    can_solids_percent: float | None = None  # of what is in the can
    wanted_solids_percent: float | None = None  # of what goes on
    can_pound_cut: float | None = None  # shellac: instead of the two above
    wanted_pound_cut: float | None = None


@dataclass(frozen=True, slots=True)
class AmountsRequest:
    """Which parts get what."""

    parts: tuple[PartArea, ...]
    uses: tuple[Use, ...]
    units: Literal["mm", "in"] = "mm"  # "mm": m² and litres; "in": ft² and US gallons, in every sentence
    waste_percent: float | None = None  # None: the table's, by method
    retain_l: float | None = None  # kept of each batch; None: the table's
    is_rough: bool = False  # rough-sawn wood drinks more


@dataclass(frozen=True, slots=True)
class Range:
    """From the least to the most."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Batch:
    """What to mix of one material, at once, for the whole job."""

    name: str
    role: Role
    taken_as: str | None  # the table's name of it; None: not known there
    area_m2: float
    coats: int
    method: str
    spread_m2_per_l: Range  # of what lies on the wood, one coat
    transfer_percent: Range  # of what leaves the gun
    waste_percent: Range
    needed_l: Range  # without the retain
    retain_l: float
    mix_l: float  # what to mix: the most that may be needed, and the retain
    solids_percent: float | None  # by volume, as it goes on
    can_l: float | None  # of what is in the can; None: strengths are not told
    thinner_l: float | None
    thinner_parts: float | None  # to 1 part of what is in the can
    dry_film_um: Range | None  # all coats together
    sentences: tuple[str, ...]  # the same in words, in the units asked for
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Amounts:
    """One batch a material."""

    batches: tuple[Batch, ...]
    notes: tuple[str, ...]
    closing: str  # a product's own sheet comes before all of it
