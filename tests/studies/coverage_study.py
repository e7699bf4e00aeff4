"""How far off are measured colours and blotch, and how often do the stated 95 % intervals hold the truth?

    python tests/studies/coverage_study.py --boards 400

Every board is drawn by chance (board_draws.py), photographed by the spectral simulator, saved as JPEG and measured as
a job folder, all automatic. The measurand is a zone's own mean colour, its margin left out; a pair is two zones of one
photo.
"""

import argparse
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's packages, not installed ones

from board_jobs import write_job
from simulator import BoardTruth, render, save_photo
from simulator.chart import Chart, chart_Lab
from studies.board_draws import STEPS, TONES, Kind, draw

from analyzer import measure_job
from analyzer.results import Results
from calibration.difference import delta_E_00

KINDS: tuple[Kind, ...] = ("gray-card", "step-card", "chart-24")
REFERENCES = {
    "gray-card": {"kind": "gray-card", "reflectance": 0.18},
    "step-card": {"kind": "step-card", "reflectance": list(STEPS)},
    "chart-24": {"kind": "chart-24", "values": "chart.csv"},
}


@dataclass(frozen=True)
class Judged:
    """One measured number with its truth."""

    what: str  # "pair", "colour", "L*", "a*", "b*", "blotch"
    error: float  # measured minus true; of "colour" the CIEDE2000 distance
    u95: float | None  # None: nothing is stated
    daylight: bool
    board: int

    @property
    def is_held(self) -> bool:
        """Whether the stated interval holds the truth."""
        return self.u95 is not None and abs(self.error) <= self.u95


@dataclass(frozen=True)
class Outcome:
    """All numbers of one board; none, and the finding that says why, when it was refused."""

    judged: tuple[Judged, ...]
    refused: str = ""


def measured(number: int, kind: Kind, *, strips: bool = True, tone: str = "mild") -> Outcome:
    """Take and measure the photo of a number."""
    drawn = draw(number, kind, strips=strips, tone=tone)
    photo = render(drawn.scene, drawn.camera, drawn.seed)
    board = drawn.scene.boards[0]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "photos").mkdir()
        save_photo(folder / "photos" / "a.jpg", photo, quality=drawn.quality)
        entry = {"file": "photos/a.jpg", "board": "A", "stage": board.stage}
        if drawn.scene.chart:
            (folder / "chart.csv").write_text(_values_of(drawn.scene.chart, number), encoding="utf-8")
        write_job(folder, [board], [entry], reference=REFERENCES[kind])
        results = measure_job(folder).results
    if not results.photos[0].usable:
        return Outcome((), next(f.code for f in results.photos[0].findings if f.severity == "unusable"))
    numbers = _numbers(results, photo.truth.board("A"))
    return Outcome(tuple(Judged(what, error, u95, drawn.daylight, number) for what, error, u95 in numbers))


def _values_of(chart: Chart, number: int) -> str:
    """A file of the chart's own values, each as far off as a good instrument is (standard deviation 0.3)."""
    values = chart_Lab(chart.spectra) + 0.3 * np.random.default_rng(number).standard_normal((24, 3))
    return "L,a,b\n" + "".join(",".join(f"{value:.2f}" for value in row) + "\n" for row in values)


def _numbers(results: Results, truth: BoardTruth) -> Iterator[tuple[str, float, float | None]]:
    """What was measured, its error, its stated half-width."""
    for pair in results.differences:
        a, b = (truth.zone(path.split("/")[1]).Lab for path in (pair.a, pair.b))
        yield "pair", pair.de00 - float(delta_E_00(a, b)), pair.de00_u95
    for zone in results.zones:
        true = truth.zone(zone.zone)
        yield "colour", float(delta_E_00(true.Lab, zone.lab)), None
        errors = np.subtract(zone.lab, true.Lab)
        for name, error, u95 in zip(("L*", "a*", "b*"), errors, zone.lab_u95 or (None,) * 3, strict=True):
            yield name, float(error), u95
        if zone.blotch is not None:
            yield "blotch", zone.blotch - true.blotch_sd, zone.blotch_u95


def study(numbers: Iterable[int], kind: Kind, *, strips: bool, tone: str, processes: int) -> list[Outcome]:
    """Measure many boards."""
    with ProcessPoolExecutor(processes) as pool:
        return list(pool.map(partial(measured, kind=kind, strips=strips, tone=tone), numbers, chunksize=4))


def table(outcomes: Sequence[Outcome]) -> str:
    """Errors, coverage and widths, one line a quantity."""
    judged = [one for outcome in outcomes for one in outcome.judged]
    lines = [f"{'':22}{'n':>6}{'mean |error|':>14}{'p95 |error|':>13}{'held':>8}{'median u95':>12}"]
    for light, of_light in (("all lights", None), ("daylight", True), ("lamps", False)):
        chosen = [one for one in judged if of_light in (None, one.daylight)]
        lines += [
            _line(f"{light}: {what}", [one for one in chosen if one.what == what])
            for what in dict.fromkeys(one.what for one in chosen)
        ]
    refused = Counter(outcome.refused for outcome in outcomes if outcome.refused)
    lines.append(f"refused: {sum(refused.values())} of {len(outcomes)} boards {dict(refused) or ''}")
    return "\n".join(lines)


def _line(name: str, judged: Sequence[Judged]) -> str:
    errors = np.abs([one.error for one in judged])
    stated = [one.u95 for one in judged if one.u95 is not None]
    held = f"{np.mean([one.is_held for one in judged]):8.1%}{np.median(stated):12.2f}" if stated else ""
    return f"{name:22}{len(judged):6}{errors.mean():14.2f}{np.percentile(errors, 95):13.2f}{held}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--boards", type=int, default=400, help="for each kind of reference")
    parser.add_argument("--first", type=int, default=0, help="number of the first board: other numbers, other boards")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=list(KINDS))
    parser.add_argument("--no-strips", action="store_true", help="nearly even light and no edge strips")
    parser.add_argument("--tone", choices=list(TONES), default="mild", help="of half the cameras")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    for kind in asked.kinds:
        numbers = range(asked.first, asked.first + asked.boards)
        outcomes = study(numbers, kind, strips=not asked.no_strips, tone=asked.tone, processes=asked.processes)
        heading = f"{kind}{'' if asked.no_strips else ' and edge strips'}, {asked.boards} boards"
        print(f"\n{heading}\n{table(outcomes)}", flush=True)  # noqa: T201 - a script


if __name__ == "__main__":
    main()
