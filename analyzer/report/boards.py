"""How is a board drawn on the page: picture, map, outlines, names and axes, in per cent of the board?

Per cent, because the page is as wide as the phone or the paper is; only the names keep their size.
"""

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.job import Zone
from analyzer.measurement import BoardPicture, Measurement, Overlay
from analyzer.report import words
from analyzer.report.charts import axis
from analyzer.report.pictures import BoardRasters, board_rasters, jpeg, map_palette, map_png, overlay_jpeg
from analyzer.report.swatches import zone_result
from analyzer.results import Results

Tick = tuple[str, str]  # place in per cent, label
LEAST_SHARE = 0.35
LONG_BOARD = 3.0  # times as long as wide: board and map then lie one above the other on paper too
X_STEPS, X_STEPS_SHORT, Y_STEPS, Y_STEPS_LONG = 6, 3, 3, 1  # at most: labels stand apart on a phone
SHORT_SHARE = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class ShownBoard:
    """One board at one stage in one light: the picture that stands for all photos of it."""

    picture: BoardPicture
    rasters: BoardRasters
    photos: int  # how many showed it


@dataclass(frozen=True, slots=True)
class ZoneBox:
    """A zone's outline in per cent of the board, and what is written in it."""

    id: str
    title: str
    blotch: str
    left: str
    top: str
    width: str
    height: str
    corners: str  # of an irregular zone, in per cent of its own box: "0,0 100,0 50,100"; "" for a rectangle


@dataclass(frozen=True, slots=True)
class BoardFigure:
    """One board on the page."""

    name: str
    facts: tuple[str, ...]
    photo: str
    ratio: str  # width over height
    share: str  # of the page's width: boards are drawn to one scale, as far as the shortest stays readable
    beside: bool  # on paper, board and map lie side by side
    board_jpeg: bytes
    map_png: bytes
    zones: tuple[ZoneBox, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    units: str
    before: str  # what of the blotch was in the bare wood; "" where no bare photo tells

    @property
    def board_src(self) -> str:
        """The board's picture, for a page that fetches nothing."""
        return data_uri("image/jpeg", self.board_jpeg)

    @property
    def map_src(self) -> str:
        """The map, likewise."""
        return data_uri("image/png", self.map_png)


@dataclass(frozen=True, slots=True)
class MapScale:
    """The colours of all maps of the page and what they mean."""

    stops: tuple[str, ...]
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class OverlayFigure:
    """What was seen in a photo that could not be measured."""

    photo: str
    caption: str
    jpeg: bytes

    @property
    def src(self) -> str:
        """The picture, for a page that fetches nothing."""
        return data_uri("image/jpeg", self.jpeg)


def shown_boards(measurement: Measurement) -> tuple[ShownBoard, ...]:
    """Choose one picture for each board, stage and light, the stages that the verdicts are about first.

    Repeats look alike; what they add stands in the uncertainties.
    """
    repeats: dict[tuple[str, str, str | None], list[BoardPicture]] = {}
    for picture in measurement.pictures:
        repeats.setdefault((picture.board.id, picture.stage, picture.light), []).append(picture)
    judged = {verdict.stage for verdict in measurement.results.verdicts}
    chosen = [ShownBoard(same[0], board_rasters(same[0]), len(same)) for same in repeats.values()]
    return tuple(sorted(chosen, key=lambda shown: shown.picture.stage not in judged))


def board_figures(
    boards: Sequence[ShownBoard], limit: float, results: Results, units: words.Units
) -> tuple[BoardFigure, ...]:
    """Lay out the boards for the page.

    Parameters
    ----------
    boards : sequence of ShownBoard
        Names, zones and pictures.
    limit : float
        L* at both ends of the map's scale.
    results : Results
        The blotch index that is written into each zone.
    units : {"mm", "in"}
        Of the axes.
    """
    longest_mm = max((shown.picture.board.length_mm for shown in boards), default=0.0)
    return tuple(_figure(shown, longest_mm, limit, results, units) for shown in boards)


def _figure(shown: ShownBoard, longest_mm: float, limit: float, results: Results, units: words.Units) -> BoardFigure:
    picture, rasters = shown.picture, shown.rasters
    rows, columns = rasters.deviation.shape
    length_mm, width_mm = columns * rasters.mm_per_px, rows * rasters.mm_per_px
    board = picture.board
    boxes = []
    for zone in board.zones:
        (left, right), (top, bottom) = zone.span_mm, zone.across_mm
        found = zone_result(results, f"{board.id}/{zone.id}", picture.stage, picture.light)
        same = found is not None and (found.stage, found.light) == (picture.stage, picture.light)
        boxes.append(
            ZoneBox(
                id=zone.id,
                title=", ".join(part for part in (words.treatment_name(zone.treatment), zone.stain) if part),
                blotch=words.number(found.blotch, words.BLOTCH_DECIMALS)
                if found and same and found.blotch is not None
                else "",
                left=_percent(left / length_mm),
                top=_percent(top / width_mm),
                width=_percent((right - left) / length_mm),
                height=_percent((bottom - top) / width_mm),
                corners=_corners(zone),
            )
        )
    share = max(LEAST_SHARE, board.length_mm / longest_mm)
    size = words.board_size(board.length_mm, board.width_mm, units)
    return BoardFigure(
        name=f"Board {board.id}",
        facts=(board.species, size, words.taken(picture.stage, picture.light)),
        photo=picture.photo if shown.photos == 1 else f"{picture.photo}, one of {shown.photos} photos",
        ratio=f"{columns / rows:.4f}",
        share=f"{share:.4f}",
        beside=columns / rows < LONG_BOARD,
        board_jpeg=jpeg(rasters.RGB),
        map_png=map_png(rasters.deviation, limit),
        zones=tuple(boxes),
        x_ticks=_ticks(length_mm, units, X_STEPS if share > SHORT_SHARE else X_STEPS_SHORT),
        y_ticks=_ticks(width_mm, units, Y_STEPS if columns / rows < LONG_BOARD else Y_STEPS_LONG),
        units=units,
        before=_before(picture, results),
    )


def _before(picture: BoardPicture, results: Results) -> str:
    """Say what of a board's blotch was in the wood before it was stained."""
    parts, others = [], 0
    for zone in picture.board.zones:
        found = zone_result(results, f"{picture.board.id}/{zone.id}", picture.stage, picture.light)
        if found is None or (found.stage, found.light) != (picture.stage, picture.light):
            continue
        if found.blotch is None or found.added_blotch is None:
            continue
        was_there = math.sqrt(max(found.blotch**2 - found.added_blotch**2, 0.0))
        if was_there <= (found.blotch_u95 or 0.0):
            others += 1
            continue
        blotch, before = (words.number(value, words.BLOTCH_DECIMALS) for value in (found.blotch, was_there))
        parts.append(f"of the blotch {blotch} of {zone.id}, {before} was in the wood before")
    if not parts:
        return "By the bare photo, next to none of the blotch was in the wood before." if others else ""
    parts += ["elsewhere next to nothing"] if others else []
    return f"By the bare photo, {'; '.join(parts)}. Such parts add up as squares. The verdict counts all of the blotch."


def _corners(zone: Zone) -> str:
    (left, right), (top, bottom) = zone.span_mm, zone.across_mm
    return " ".join(
        f"{_percent((x - left) / (right - left))},{_percent((y - top) / (bottom - top))}" for x, y in zone.polygon_mm
    )


def map_scale(limit: float) -> MapScale:
    """Lay out the legend of all maps of the page."""
    palette = map_palette()
    stops = tuple("#" + bytes(code).hex() for code in palette[:: len(palette) // 8])
    labels = (-limit, -limit / 2, 0.0, limit / 2, limit)
    ticks = tuple((_percent((label / limit + 1) / 2), _signed(label)) for label in labels)
    return MapScale(stops, ticks)


def overlay_figure(overlay: Overlay) -> OverlayFigure:
    """Lay out what was seen in a photo that could not be measured."""
    return OverlayFigure(overlay.photo, overlay.caption, overlay_jpeg(overlay))


def _ticks(extent_mm: float, units: words.Units, most_steps: int) -> tuple[Tick, ...]:
    extent = extent_mm / (words.MM_PER_INCH if units == "in" else 1.0)
    _, step = axis(extent, most_steps)
    count = int(extent / step * (1 + 1e-6))
    return tuple((_percent(k * step / extent), f"{k * step:.10g}") for k in range(count + 1))


def _signed(value: float) -> str:
    return f"+{value:.3g}" if value > 0 else f"{value:.3g}".replace("-", words.MINUS)


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.3f}".rstrip("0").rstrip(".")


def data_uri(kind: str, data: bytes) -> str:
    """A picture inside the page."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
