"""Pictures to send on: a corrected board above its lightness map, at one scale, with outlines, names and axes.

Matplotlib takes half a second to load and is imported only when the first plate is drawn; its global state
(pyplot, rcParams) is left alone.
"""

import warnings
from typing import TYPE_CHECKING

import numpy as np

from analyzer.job import Board
from analyzer.measurement import BoardPicture
from analyzer.polygon import rectangle
from analyzer.report.pictures import BoardRasters, jpeg, map_palette
from analyzer.report.words import MM_PER_INCH, Units, taken

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

WIDEST_IN, NARROWEST_IN = 8.0, 4.5  # of the whole picture; the titles need the least
DPI = 140
QUALITY = 92  # of JPEG; keeps letters clean, and is written thirty times as fast as PNG
LEFT_IN, RIGHT_IN, TOP_IN, BETWEEN_IN, BOTTOM_IN = 0.65, 0.2, 0.5, 0.42, 1.05
BAR_IN = 3.2
TALLEST_IN = 5.0  # of one of the two pictures
INK = "#1f1f1d"
HATCH = "#dddddd"


def plate_jpeg(picture: BoardPicture, rasters: BoardRasters, limit: float, units: Units) -> bytes:
    """One board as a JPEG file.

    Parameters
    ----------
    picture : BoardPicture
        Names, stage and light.
    rasters : BoardRasters
        What is drawn.
    limit : float
        L* at both ends of the map's scale, the same for all boards of a job.
    units : {"mm", "in"}
        Of the axes.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - slow to load
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to load

    rows, columns = rasters.deviation.shape
    unit_mm = MM_PER_INCH if units == "in" else 1.0
    extent = (0.0, columns * rasters.mm_per_px / unit_mm, rows * rasters.mm_per_px / unit_mm, 0.0)
    tall = min(TALLEST_IN, (WIDEST_IN - LEFT_IN - RIGHT_IN) * rows / columns)
    wide = tall * columns / rows
    across = max(NARROWEST_IN, LEFT_IN + wide + RIGHT_IN)
    whole = TOP_IN + 2 * tall + BETWEEN_IN + BOTTOM_IN

    figure = Figure(figsize=(across, whole), dpi=DPI, facecolor="white")
    canvas = FigureCanvasAgg(figure)

    def place(bottom_in: float, height_in: float, width_in: float) -> tuple[float, float, float, float]:
        return LEFT_IN / across, bottom_in / whole, width_in / across, height_in / whole

    above = figure.add_axes(place(BOTTOM_IN + tall + BETWEEN_IN, tall, wide))
    below = figure.add_axes(place(BOTTOM_IN, tall, wide))
    above.imshow(rasters.RGB, extent=extent, interpolation="none", aspect="auto")
    _draw_map(below, rasters, extent, limit)
    for axes in (above, below):
        _draw_zones(axes, picture.board, unit_mm)
        axes.tick_params(labelsize=8, colors=INK)
        axes.locator_params(axis="y", nbins=4)
        axes.set_ylabel(units, fontsize=8, color=INK)
    above.tick_params(labelbottom=False)
    title = f"Board {picture.board.id}, {picture.board.species}: {taken(picture.stage, picture.light)}"
    above.set_title(title, loc="left", fontsize=10, color=INK, parse_math=False)
    below.set_title("Lighter or darker than the surroundings", loc="left", fontsize=9, color=INK)
    bar = figure.colorbar(below.images[0], cax=figure.add_axes(place(0.45, 0.13, BAR_IN)), orientation="horizontal")
    bar.ax.tick_params(labelsize=8, colors=INK)
    bar.set_label("darker  ←  L*  →  lighter", fontsize=8, color=INK)

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")  # a box stands for a letter that it lacks
        canvas.draw()  # type: ignore[no-untyped-call] # Matplotlib leaves its canvas untyped
    RGBA: NDArray[np.uint8] = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call] # as above
    return jpeg(RGBA[..., :3], QUALITY)


def _draw_map(axes: "Axes", rasters: BoardRasters, extent: tuple[float, float, float, float], limit: float) -> None:
    from matplotlib.colors import ListedColormap  # noqa: PLC0415 - slow to load

    colours = ListedColormap(map_palette() / 255)
    axes.patch.set(facecolor="white", edgecolor=HATCH, hatch="////")  # shows through where nothing was measured
    axes.imshow(
        rasters.deviation, extent=extent, cmap=colours, vmin=-limit, vmax=limit, interpolation="none", aspect="auto"
    )


def _draw_zones(axes: "Axes", board: Board, unit_mm: float) -> None:
    from matplotlib.patches import Polygon  # noqa: PLC0415 - slow to load

    for zone in board.zones:
        corners = np.array(zone.polygon_mm or rectangle(zone.span_mm, zone.across_mm)) / unit_mm
        # black on white: seen on the palest and on the darkest stain
        axes.add_patch(Polygon(corners, fill=False, edgecolor="white", linewidth=2.4))
        outline = axes.add_patch(Polygon(corners, fill=False, edgecolor="black", linewidth=0.8))
        highest = corners[corners[:, 1] == corners[:, 1].min()]
        name = axes.annotate(
            zone.id,
            tuple(highest[highest[:, 0].argmin()]),
            xytext=(5, -5),
            textcoords="offset points",
            va="top",
            fontsize=8,
            color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
            parse_math=False,
        )
        # a long name ends at its zone, and does not run over the next
        for part in (name, name.get_bbox_patch()):
            if part is not None:
                part.set_clip_path(outline)
