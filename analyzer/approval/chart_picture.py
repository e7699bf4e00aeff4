"""How does the control chart of a run look?  Three panels, one a direction of colour, as SVG for the page.

Matplotlib takes half a second to load and is imported only when a chart is drawn; its global state is left alone.
"""

import io
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analyzer.approval.results import RunResult
from analyzer.approval.run import ways_of
from analyzer.report.words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from analyzer.approval.run_chart import ControlSeries

INK, SOFT, BAND, SIGNAL = "#1e1e1c", "#595957", "#efefec", "#8c3a06"  # those of the page
WIDTH_IN, PANEL_IN, FOOT_IN, HEAD_IN = 9.0, 1.45, 0.75, 0.3
MOST_NAMES: Final = 30  # along the axis; more would run into each other
SIDE_IN: Final = (1.05, 1.2)
PAD, LABEL_SHARE = 0.08, 0.14  # of the height of a panel
LEAST_SPAN: Final = 2.0  # CIELAB units, of an axis (chosen: about what is called another colour)
LETTERS: Final = 14  # of a photo's name


def control_chart_svg(run: RunResult, lab: Sequence[float]) -> str:
    """Draw the chart.

    Parameters
    ----------
    run : RunResult
    lab : sequence of float, (3,)
        CIELAB of the approved colour: it says what the directions of hue are called.

    Returns
    -------
    str
        An SVG element. The same run gives the same text.
    """
    from matplotlib import rc_context  # noqa: PLC0415 - slow to load
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to load

    height = HEAD_IN + PANEL_IN * len(run.series) + FOOT_IN
    figure = Figure(figsize=(WIDTH_IN, height))
    left, right = SIDE_IN
    for row, one in enumerate(run.series):
        bottom = FOOT_IN + PANEL_IN * (len(run.series) - 1 - row) + 0.1
        place = (left / WIDTH_IN, bottom / height, 1 - (left + right) / WIDTH_IN, (PANEL_IN - 0.2) / height)
        axes = figure.add_axes(place)
        _panel(axes, one, lab)
        last = row == len(run.series) - 1
        _names(axes, run.points, shown=last)
    drawn = io.StringIO()
    with rc_context({"svg.hashsalt": "evenboard", "svg.fonttype": "none", "font.family": "sans-serif"}):
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
    return re.sub(r"^.*?(?=<svg )", "", drawn.getvalue(), flags=re.DOTALL)


def _panel(axes: "Axes", one: "ControlSeries", lab: Sequence[float]) -> None:
    less, more = ways_of(one.axis, lab)
    count = len(one.points)
    places = range(1, count + 1)
    axes.set_xlim(0.5, count + 0.5)
    axes.axhline(0, color=INK, linewidth=0.8)
    labels = [(0.0, "approved", INK)]
    if one.low is not None and one.high is not None:
        axes.axhspan(one.low, one.high, color=BAND, linewidth=0)
        axes.axhline(one.mean, color=SOFT, linewidth=0.8, linestyle=(0, (5, 3)))
        for limit in (one.low, one.high):
            axes.axhline(limit, color=SOFT, linewidth=0.8)
        labels += [(one.low, f"limit {number(one.low, 1)}", SOFT), (one.high, f"limit {number(one.high, 1)}", SOFT)]
    if one.trend is not None and one.trend.is_told:
        middle = (count + 1) / 2
        ends = [one.mean + one.trend.per_point * (x - middle) for x in (1, count)]
        axes.plot([1, count], ends, color=SIGNAL, linewidth=1.2)
    axes.plot(places, one.points, color=INK, linewidth=0.8, marker="o", markersize=4)
    axes.plot(
        [k + 1 for k in one.beyond],
        [one.points[k] for k in one.beyond],
        linestyle="none", marker="s", markersize=8, markerfacecolor="none", markeredgecolor=SIGNAL, markeredgewidth=1.6,
    )  # fmt: skip
    low, high = axes.get_ylim()
    reach = max((1 + 2 * PAD) * (high - low), LEAST_SPAN)  # noise shall not look like a leap
    middle = (low + high) / 2
    axes.set_ylim(middle - reach / 2, middle + reach / 2)
    for value, text, colour in _apart(labels, LABEL_SHARE * reach):
        axes.annotate(text, (1.01, value), xycoords=("axes fraction", "data"), fontsize=8, color=colour, va="center")
    axes.set_ylabel(f"{one.axis}\n← {less}   {more} →", fontsize=8, color=INK)
    axes.tick_params(labelsize=8, colors=INK)
    axes.locator_params(axis="y", nbins=4)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _apart(labels: list[tuple[float, str, str]], least: float) -> list[tuple[float, str, str]]:
    """The same labels, moved up where one would lie on another."""
    moved: list[tuple[float, str, str]] = []
    for value, text, colour in sorted(labels):
        at = max(value, moved[-1][0] + least) if moved else value
        moved.append((at, text, colour))
    return moved


def _names(axes: "Axes", files: Sequence[str], *, shown: bool) -> None:
    step = max(1, -(-len(files) // MOST_NAMES))
    places = list(range(1, len(files) + 1, step))
    axes.set_xticks(places)
    if not shown:
        axes.set_xticklabels([])
        return
    stems = [file.rpartition("/")[2].rpartition(".")[0] or file for file in files]
    names = [stems[place - 1] for place in places]
    short = [name if len(name) <= LETTERS else f"…{name[1 - LETTERS :]}" for name in names]
    turned = len(places) > 8
    axes.set_xticklabels(
        short, rotation=40 if turned else 0, ha="right" if turned else "center", fontsize=7, parse_math=False
    )
