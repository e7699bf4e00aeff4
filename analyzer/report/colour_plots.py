"""Which way is each treatment off the target?  Two pictures of CIELAB for the page, all places worked out here.

The target lies in the middle. One picture looks along the lightness axis (greener or redder, bluer or yellower), the
other along the hue (duller or more vivid, darker or lighter). A match lies within the tolerance in both; the verdict
counts all directions together, so that lying within it in both is not enough: the mark says the verdict.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.job import Job
from analyzer.report import words
from analyzer.report.charts import axis
from analyzer.report.colour_places import Offset, Placed, Target, offset_from, places, target_of
from analyzer.report.label_places import LabelPlace, label_places
from analyzer.report.marks import Mark, colour_mark
from analyzer.report.swatches import hex_colours
from analyzer.results import Results, VerdictResult
from analyzer.tolerance_contour import hue_plane, tolerance_contour
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

SIZE: Final = 290.0  # of the picture, in its own units; the page scales it
MARK_SIZE: Final = 14.0
ROOM: Final = 1.12  # the picture reaches this many times as far as what it shows
FARTHEST: Final = 3.0  # but no farther than this many times the tolerance, which would be a speck otherwise
NET_LINES: Final = 5  # at most, from the middle to an edge
LINE_STEPS: Final = 6  # from one range board to the next, at each of which the tolerance is worked out


@dataclass(frozen=True, slots=True)
class Side:
    """One edge of a picture: what lies that way, and the target's colour changed that much."""

    word: str
    colour: str


@dataclass(frozen=True, slots=True)
class Dot:
    """One zone."""

    x: str
    y: str
    title: str


@dataclass(frozen=True, slots=True)
class Spot:
    """One treatment in one picture."""

    number: int
    title: str
    mark: Mark
    x: str
    y: str
    corner: tuple[str, str]  # of the mark
    label: tuple[str, str]
    leads: bool  # a line leads from the mark to its number
    ring: str | None = None  # path of its 95 %; None: unknown, or farther out than the picture reaches
    dots: tuple[Dot, ...] = ()  # its zones that lie in the picture
    arrow_deg: str | None = None  # it lies farther out, this way
    is_pale: bool = False  # inside the tolerance here, but outside it in the other picture


@dataclass(frozen=True, slots=True)
class ColourPlot:
    """One picture, `size` wide and high."""

    title: str
    unit: str
    size: str
    middle: str
    mark_size: str
    left: Side
    right: Side
    bottom: Side
    top: Side
    net: str  # path
    net_step: str  # CIELAB units from line to line
    tolerance: tuple[str, ...]  # paths; their union is within the tolerance
    target: str | None  # path through the range boards; None: one colour, in the middle
    spots: tuple[Spot, ...]  # the best last, on top


@dataclass(frozen=True, slots=True)
class KeyRow:
    """What a number in the pictures stands for."""

    number: int
    name: str
    detail: str | None  # the stain, where treatments differ in it
    mark: Mark


@dataclass(frozen=True, slots=True)
class ColourPlots:
    """The pictures of treatments that may be compared."""

    plots: tuple[ColourPlot, ...]
    key: tuple[KeyRow, ...]
    is_range: bool
    has_farther: bool
    has_unknown: bool


@dataclass(frozen=True, slots=True)
class _View:
    """How CIELAB is looked at."""

    title: str
    unit: str
    sides: tuple[str, str, str, str]  # left, right, bottom, top
    xy: Callable[[Offset], tuple[float, float]]
    axes: Callable[[Floats], Floats]  # (2, 3), of the picture's plane as seen from a colour


VIEWS: Final = (
    _View(
        "Darker or lighter, duller or more vivid",
        "L*, C*",
        ("duller", "more vivid", "darker", "lighter"),
        lambda offset: (offset.dC, offset.dL),
        hue_plane,
    ),
    _View(
        "Greener or redder, bluer or yellower",
        "a*, b*",
        ("greener", "redder", "bluer", "yellower"),
        lambda offset: (offset.da, offset.db),
        lambda _: np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    ),
)


def colour_plots(job: Job, results: Results, verdicts: Sequence[VerdictResult]) -> ColourPlots | None:
    """Lay out both pictures of some treatments.

    Parameters
    ----------
    job : Job
        Its target and tolerance.
    results : Results
        Where the colours stand.
    verdicts : sequence of VerdictResult
        Of one species, stage and light, the best first. One that could not be compared is left out.

    Returns
    -------
    plots : ColourPlots or None
        None when there is no target at this stage in this light, or nothing to hold against it.
    """
    if not verdicts:
        return None
    target = target_of(job, results, verdicts[0].stage, verdicts[0].light)
    placed = () if target is None else places(job, results, target, verdicts)
    if target is None or not placed:
        return None
    several = len({item.verdict.stain for item in placed}) > 1
    tolerance = job.target.tolerance
    outside = np.array([[not _is_within(view, item, target, tolerance) for item in placed] for view in VIEWS])
    pale = outside.any(axis=0) & ~outside
    plots = tuple(_plot(view, placed, of_view, target, tolerance) for view, of_view in zip(VIEWS, pale, strict=True))
    return ColourPlots(
        plots=plots,
        key=tuple(_key(number, item, several=several) for number, item in enumerate(placed, start=1)),
        is_range=len(target.line) > 1,
        has_farther=any(spot.arrow_deg is not None for plot in plots for spot in plot.spots),
        has_unknown=any(item.verdict.de00_u95 is None for item in placed),
    )


def _key(number: int, item: Placed, *, several: bool) -> KeyRow:
    verdict = item.verdict
    return KeyRow(
        number=number,
        name=words.treatment_name(verdict.treatment, verdict.dose),
        detail=verdict.stain if several else None,
        mark=colour_mark(verdict.colour),
    )


def _is_within(view: _View, item: Placed, target: Target, tolerance: float) -> bool:
    """Whether a treatment is drawn inside the tolerance: by its difference in the directions of one picture only."""
    Labs = np.array(_along(target.line))
    offsets = np.array(view.xy(item.mean)) - [view.xy(offset_from(target.Lab, Lab)) for Lab in Labs]
    seen = [Lab + offset @ view.axes(Lab) for Lab, offset in zip(Labs, offsets, strict=True)]
    return bool((delta_E_00(Labs, np.array(seen)) <= tolerance).any())


def _outlines(target: Target, tolerance: float, view: _View) -> list[Floats]:
    """The tolerance around the target, or around each stretch from range board to range board; (points, 2) each."""
    around = [
        np.array(view.xy(offset_from(target.Lab, Lab))) + tolerance_contour(Lab, tolerance, view.axes(Lab))
        for Lab in _along(target.line)
    ]
    if len(around) == 1:
        return around
    # Contours hardly change along a stretch: their hull is their union, in one unbroken outline.
    starts = range(0, len(around) - 1, LINE_STEPS)
    return [_hull(np.concatenate(around[start : start + LINE_STEPS + 1])) for start in starts]


def _hull(points: Floats) -> Floats:
    hull: Floats = cv2.convexHull(points.astype(np.float32)).reshape(-1, 2).astype(np.float64)
    return hull


def _along(line: Sequence[Floats]) -> list[Floats]:
    steps = np.arange(LINE_STEPS) / LINE_STEPS
    return [start + t * (end - start) for start, end in pairwise(line) for t in steps] + [line[-1]]


def _ring(item: Placed, target: Target, view: _View) -> Floats | None:
    """The 95 % of one treatment, (points, 2): as far on every side as its ± says it is towards the target."""
    if not item.verdict.de00_u95:
        return None
    Lab = target.Lab + item.mean.delta_Lab
    return np.array(view.xy(item.mean)) + tolerance_contour(Lab, item.verdict.de00_u95, view.axes(Lab))


def _half_range(
    view: _View, outlines: Sequence[Floats], rings: Sequence[Floats | None], placed: Sequence[Placed]
) -> float:
    """How far a picture reaches from the middle, CIELAB units."""
    tolerance = max(float(np.abs(points).max()) for points in outlines)
    shown = [tolerance, *(float(np.abs(ring).max()) for ring in rings if ring is not None)]
    shown += [max(map(abs, view.xy(offset))) for item in placed for offset in _offsets(item)]
    return ROOM * min(FARTHEST * tolerance, max(shown))


def _offsets(item: Placed) -> list[Offset]:
    return [item.mean, *(offset for _, offset in item.zones)]


def _plot(
    view: _View, placed: Sequence[Placed], pale: NDArray[np.bool_], target: Target, tolerance: float
) -> ColourPlot:
    outlines = _outlines(target, tolerance, view)
    rings = [_ring(item, target, view) for item in placed]
    half = _half_range(view, outlines, rings, placed)
    _, net = axis(half, NET_LINES)
    left, right, bottom, top = _sides(view, target, half)
    line = np.array([view.xy(offset_from(target.Lab, Lab)) for Lab in target.line])
    return ColourPlot(
        title=view.title,
        unit=view.unit,
        size=_said(SIZE),
        middle=_said(SIZE / 2),
        mark_size=_said(MARK_SIZE),
        left=left,
        right=right,
        bottom=bottom,
        top=top,
        net=_net(half, net),
        net_step=f"{net:.10g}",
        tolerance=tuple(_path(_drawn(points, half)) + "Z" for points in outlines),
        target=_path(_drawn(line, half)) if len(line) > 1 else None,
        spots=tuple(
            replace(spot, is_pale=bool(is_pale))
            for spot, is_pale in zip(_spots(view, placed, rings, half), pale, strict=True)
        )[::-1],
    )


def _sides(view: _View, target: Target, half: float) -> list[Side]:
    x, y = view.axes(target.Lab)
    Labs = [target.Lab + half * way for way in (-x, x, -y, y)]
    colours = hex_colours([(float(np.clip(Lab[0], 0, 100)), float(Lab[1]), float(Lab[2])) for Lab in Labs])
    return [Side(word, colour) for word, colour in zip(view.sides, colours, strict=True)]


def _net(half: float, step: float) -> str:
    count = int(half / step)
    places_ = [SIZE / 2 * (1 + k * step / half) for k in range(-count, count + 1) if k]
    return "".join(f"M{_said(at)} 0V{_said(SIZE)}M0 {_said(at)}H{_said(SIZE)}" for at in places_)


def _spots(view: _View, placed: Sequence[Placed], rings: Sequence[Floats | None], half: float) -> tuple[Spot, ...]:
    """Treatments with their numbers, the best first."""
    wanted = _drawn(np.array([view.xy(item.mean) for item in placed]), half)
    middle = SIZE / 2
    reach = np.abs(wanted - middle).max(axis=1)
    farther = reach > middle
    held = np.where(farther, (middle - MARK_SIZE) / np.maximum(reach, middle), 1.0)  # on the way to its true place
    shown = middle + held[:, np.newaxis] * (wanted - middle)
    labels = label_places(shown, MARK_SIZE, SIZE, also=[(middle, middle)])
    spots = []
    for number, (item, ring, at, label, is_farther) in enumerate(
        zip(placed, rings, shown, labels, farther, strict=True), start=1
    ):
        spot = _spot(number, item, at, label)
        if is_farther:
            x, y = at - middle
            spots.append(replace(spot, arrow_deg=_said(float(np.degrees(np.arctan2(y, x))))))
        else:
            outline = None if ring is None else _path(_drawn(ring, half)) + "Z"
            spots.append(replace(spot, ring=outline, dots=_dots(item, view, half)))
    return tuple(spots)


def _spot(number: int, item: Placed, at: Floats, label: LabelPlace) -> Spot:
    mark = colour_mark(item.verdict.colour)
    x, y = at
    return Spot(
        number=number,
        title=f"{number}: {words.treatment_name(item.verdict.treatment, item.verdict.dose)}, {mark.word}",
        mark=mark,
        x=_said(x),
        y=_said(y),
        corner=(_said(x - MARK_SIZE / 2), _said(y - MARK_SIZE / 2)),
        label=(_said(label.x), _said(label.y)),
        leads=label.is_led_to,
    )


def _dots(item: Placed, view: _View, half: float) -> tuple[Dot, ...]:
    """Zones that lie in the picture."""
    drawn = _drawn(np.array([view.xy(offset) for _, offset in item.zones]), half)
    shown = zip((path for path, _ in item.zones), drawn, strict=True)
    return tuple(
        Dot(_said(x), _said(y), path) for path, (x, y) in shown if max(abs(x - SIZE / 2), abs(y - SIZE / 2)) <= SIZE / 2
    )


def _drawn(xy: Floats, half: float) -> Floats:
    """CIELAB units as seen from the target -> places in the picture, whose y runs downwards."""
    places_: Floats = SIZE / 2 * (1 + xy / half * np.array([1.0, -1.0]))
    return places_


def _path(points: Floats) -> str:
    return "M" + "L".join(f"{_said(x)} {_said(y)}" for x, y in points)


def _said(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
