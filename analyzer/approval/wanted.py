"""Which parts, in which photos, are to be held against an approval?  The nouns of `verify.toml` and of the flags."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from analyzer.job import Point, Quad
from analyzer.results import Stage

Mode = Literal["run", "first article", "aged"]


@dataclass(frozen=True, slots=True)
class PartWanted:
    """One part in one photo. Without `corners` and `polygon` it is found by edge strips or by its outline."""

    id: str
    species: str | None = None
    sheen: str | None = None
    size_mm: tuple[float, float] | None = None  # length (along the grain) and width
    corners: Quad | None = None  # pixels
    polygon: tuple[Point, ...] = ()  # pixels, three corners or more, in order


@dataclass(frozen=True, slots=True)
class PhotoWanted:
    """One photo with the parts in it."""

    path: Path
    file: str  # as it is called in results
    stage: Stage | None
    light: str | None
    parts: tuple[PartWanted, ...]
    card: Quad | None = None
    flat: Path | None = None  # a photo of a plain sheet in the same place and light
    board: str | None = None  # the approved board, lying in this photo as well
    board_corners: Quad | None = None
    approval: str | None = None  # the name of the one to hold against; None: it is told by zone, stage and light


@dataclass(frozen=True, slots=True)
class VerifyRequest:
    """All that is asked of one run."""

    photos: tuple[PhotoWanted, ...]
    mode: Mode = "run"
    zone: str | None = None  # "board/zone" whose approval counts; None: the only one that fits
