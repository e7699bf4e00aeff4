"""What do all parts of a run say together: how many are within, does the series hold steady, where did it leave?"""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import numpy as np

from analyzer.approval.results import ApprovedResult, PartResult, RunResult
from analyzer.approval.run_chart import (
    AXES,
    INDIVIDUALS,
    MIN_POINTS,
    MIN_TREND,
    PROVISIONAL_BELOW,
    RULE,
    Axis,
    ControlSeries,
    control_series,
    false_alarm_of_run,
)
from analyzer.words import half_width, listed

MOST_NAMED: Final = 3  # photos in a sentence (chosen)
_HUES: Final = ("redder", "yellower", "greener", "bluer")  # at 0, 90, 180 and 270 degrees


def moment_of(taken: str | None) -> datetime | None:
    """When a photo was taken; a camera's clock without a zone counts as one zone for all."""
    if taken is None:
        return None
    try:
        moment = datetime.fromisoformat(taken)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def ways_of(axis: Axis, lab: Sequence[float]) -> tuple[str, str]:
    """What less and what more of an axis is called, for colours near one of CIELAB (3,)."""
    if axis == "lightness":
        return "darker", "lighter"
    if axis == "vividness":
        return "duller", "more vivid"
    quadrant = int(math.degrees(math.atan2(lab[2], lab[1])) % 360 // 90)
    return _HUES[quadrant], _HUES[(quadrant + 1) % 4]


def run_of(parts: Sequence[PartResult], *, by_time: bool) -> RunResult | None:
    """Sum up a run.

    Parameters
    ----------
    parts : sequence of PartResult
        In the order of the series; those that were not measured, or not compared, are passed over.
    by_time : bool
        That order is the order in which they were photographed, not the one in which they were named.

    Returns
    -------
    RunResult or None
        None when no part was compared.
    """
    compared = [part for part in parts if part.dl is not None]
    if not compared:
        return None
    shifts = np.array([[part.dl, part.dc, part.dh] for part in compared], dtype=np.float64)
    files = list(dict.fromkeys(part.photo for part in compared))
    points = [shifts[[part.photo == file for part in compared]].mean(axis=0) for file in files]
    series = control_series(np.array(points))
    told: list[str] = [part.overall for part in compared]
    within, outside = told.count("within"), told.count("outside")
    left_at = _left_at(compared, files, series)
    dL, dC, dH = (float(value) for value in shifts.mean(axis=0))
    spread = shifts.std(axis=0, ddof=1) if len(shifts) > 1 else None
    return RunResult(
        parts=len(compared),
        within=within,
        outside=outside,
        cannot_tell=told.count("cannot tell"),
        share_within=within / (within + outside) if within + outside else None,
        mean=(dL, dC, dH),
        spread=None if spread is None else (float(spread[0]), float(spread[1]), float(spread[2])),
        mean_de00=float(np.mean([part.de00 for part in compared])),
        ordered_by="time taken" if by_time else "order given",
        points=tuple(files),
        rule=RULE,
        series=series,
        false_alarm=false_alarm_of_run(len(files)),
        left_at=left_at,
        says=_says(compared, files, series, left_at),
    )


def _left_at(parts: Sequence[PartResult], files: Sequence[str], series: Sequence[ControlSeries]) -> str | None:
    """The first part that is outside, or, if none is, the photo of the first signal."""
    outside = next((part.id for part in parts if part.overall == "outside"), None)
    if outside is not None:
        return outside
    signals = sorted(point for one in series for point in one.beyond)
    return files[signals[0]] if signals else None


def _says(
    parts: Sequence[PartResult], files: Sequence[str], series: Sequence[ControlSeries], left_at: str | None
) -> str:
    clauses = [_count_words(parts)]
    if left_at is not None and any(part.id == left_at and part.overall == "outside" for part in parts):
        clauses.append(f"the first that is outside is {left_at}")
    lab = parts[0].lab or (50.0, 15.0, 25.0)
    drifts = [one for one in series if one.trend is not None and one.trend.is_told]
    if drifts:  # it is then of no use to name single points: half of them lie beyond on either side
        told = listed([_drift_words(one, lab) for one in drifts], "and")
        clauses.append(f"from the first to the last they drifted: {told}")
    else:
        clauses += [_signal_words(one, files) for one in series if one.beyond]
    points = len(files)
    if points < MIN_TREND:
        clauses.append(f"{_photos(points)} too few to tell a drift ({MIN_TREND} or more)")
    elif points < MIN_POINTS:
        clauses.append(f"{_photos(points)} too few for control limits ({MIN_POINTS} or more)")
    else:
        beyond = any(one.beyond for one in series)
        if not beyond and not drifts:
            clauses.append("the series is steady, as far as so many photos can tell")
        elif not drifts:
            clauses.append(_chance_words(false_alarm_of_run(points) or 0.0, points))
        if points < PROVISIONAL_BELOW:
            clauses.append(f"control limits from {points} photos are provisional")
    return "; ".join(clause for clause in clauses if clause) + "."


def _photos(count: int) -> str:
    return "1 photo is" if count == 1 else f"{count} photos are"


def _count_words(parts: Sequence[PartResult]) -> str:
    told: list[str] = [part.overall for part in parts]
    counted = [
        f"{told.count(word)} {words}"
        for word, words in (
            ("within", "within what was approved"),
            ("outside", "outside"),
            ("cannot tell", "cannot be told"),
            ("not judged", "not judged"),
        )
        if told.count(word)
    ]
    return f"of {len(parts)} {'part' if len(parts) == 1 else 'parts'} {', '.join(counted)}"


def _drift_words(one: ControlSeries, lab: Sequence[float]) -> str:
    if one.trend is None:
        return ""
    return (
        f"{abs(one.trend.drift):.1f} ± {half_width(one.trend.drift_u95)} {ways_of(one.axis, lab)[one.trend.drift > 0]}"
    )


def _signal_words(one: ControlSeries, files: Sequence[str]) -> str:
    names = [Path(files[point]).stem for point in one.beyond]
    named = listed(names, "and") if len(names) <= MOST_NAMED else f"{names[0]} and {len(names) - 1} more"
    return f"in {one.axis} {named} {'lies' if len(names) == 1 else 'lie'} beyond the control limits"


def _chance_words(chance: float, points: int) -> str:
    return f"in {100 * chance:.0f} of 100 steady runs of {points} photos some point lies beyond by chance"


def by_eye_words(approved: ApprovedResult) -> str:
    """What an approval covers that no photo of a part is judged by; "" where there is nothing of that kind."""
    left = [word for word in ("sheen", "figure") if word in approved.covers]
    return f"{' and '.join(left)} not judged here: compare by eye with the approved board" if left else ""


def limits_words() -> str:
    """The rule and its false alarms, for the page."""
    return (
        f"{RULE}; the moving range is the step from one photo to the next, and {INDIVIDUALS} of its means are three "
        f"standard deviations (ISO 7870-2). With known limits 0.27 % of the points of a steady series lie beyond in "
        f"each of the {len(AXES)} directions."
    )
