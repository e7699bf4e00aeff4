"""How often is a treatment that does not match called a match, and a blotchy one even?

    python tests/studies/false_accepts.py --verdicts 2000 --photos 150

First by drawing: the truth of every treatment lies on either side of its limit; zones are drawn block by block, boards
stray from each other, and card, light and camera err by the very budget that is stated for a gray card with edge strips
(analyzer/uncertainty.py); then analyzer/verdicts.py judges. With one board the truth is what lies on that board, with
several it is the treatment's mean over all boards that might be made.

Then by whole photos of boards as chance lays them (board_draws.py), drawn by the spectral simulator, saved as JPEG and
measured as job folders: each zone against the first zone of its board, and its blotch against a limit, both set by
chance near the truth.
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's packages, not installed ones

from board_jobs import write_job
from readings import COLUMNS, ROWS, blocks_of, reading_of, sight_of, zone_of
from simulator import render, save_photo
from studies.board_draws import draw

from analyzer import measure_job
from analyzer.compare import difference
from analyzer.job import EvennessWish, Job, Reference, Target
from analyzer.pooling import MeasuredZone
from analyzer.results import VerdictResult
from analyzer.trials import JudgedZone
from analyzer.verdicts import judge
from calibration.difference import delta_E_00

Floats = np.ndarray

TOLERANCE: Final = 2.0
LIMIT: Final = 1.0  # L*
MARGIN: Final = 0.8  # CIEDE2000: so far from the limit a verdict is to be had
LEAST_LIMIT: Final = (
    0.4  # L*; below it the index holds more than the stain's own patches, and no job asks for so little
)
NEAR: Final = 0.25  # of the limit: the hardest cases
TREATMENTS: Final = 4
# How wood strays, CIELAB: chosen so that two boards of one wood differ by about 2, as untreated wood does (Buchelt and
# Wagenführ, European Journal of Wood and Wood Products 70, 2012).
BLOCK_SD_L: Final = 1.2  # from block to block of a zone
BOARD_SD: Final = np.array([0.8, 0.4, 0.6])  # all zones of a board together
ZONE_SD: Final = np.array([0.4, 0.2, 0.3])  # one treatment on one board beyond that
BLOTCH_BOARD_SD: Final = 0.10  # L*
WIDTHS: Final = (7, 20, 20, 20, 20, 22)  # of the table's columns
WOODS: Final = ((38.0, 14.0, 20.0), (48.0, 15.0, 27.0), (30.0, 10.0, 12.0), (60.0, 11.0, 26.0))


@dataclass(frozen=True)
class Judged:
    """One verdict with its truth."""

    what: str  # "colour" or "evenness"
    true: float
    limit: float
    said: str  # "within", "outside" or "cannot tell"

    @property
    def is_within(self) -> bool:
        """Whether it truly lies within its limit."""
        return self.true <= self.limit


def job_of(tolerance: float = TOLERANCE, limit: float = LIMIT) -> Job:
    """A job with a gray card, judged against a sample."""
    return Job(
        Path("job"), "study", "mm", Target(tolerance, zone="S/sample"), EvennessWish(limit=limit), Reference(), (), ()
    )


def drawn(number: int, boards: int, straying: float = 1.0) -> list[Judged]:
    """Draw and judge one job: four treatments on so many boards, which stray so many times as much as is usual."""
    rng = np.random.default_rng([20261125, boards, number])
    target = np.array(WOODS[int(rng.integers(len(WOODS)))]) + rng.normal(0, 2, 3)
    shifts = rng.normal(0, 1, (boards, 3)) * BOARD_SD
    stray = straying * (boards > 1)  # of a single board the truth is what lies on it
    zones, truths = [], {}
    for treatment in range(TREATMENTS):
        name = f"t{treatment}"
        mean = _away(rng, target, float(rng.uniform(0.0, 2 * TOLERANCE)))
        blotch = float(rng.uniform(0.2, 2 * LIMIT))
        of_boards = mean + stray * (shifts + rng.normal(0, 1, (boards, 3)) * ZONE_SD)
        blotches = blotch + stray * rng.normal(0, BLOTCH_BOARD_SD, boards)
        error = _measuring_error(rng, target, mean)
        truths[name] = float(delta_E_00(target, target + mean)), blotch
        zones += [
            _judged_zone(rng, f"{board}/{name}", name, target, delta + error, max(of_blotch, 0.05))
            for board, (delta, of_blotch) in enumerate(zip(of_boards, blotches, strict=True))
        ]
    found = []
    for verdict in judge(job_of(), zones):
        colour, blotch = truths[verdict.treatment]
        found += _against(verdict, colour, blotch, TOLERANCE, LIMIT)
    return found


def photographed(number: int) -> list[Judged]:
    """Take, measure and judge the photo of a number; nothing when it was refused."""
    draw_of = draw(number, "gray-card")
    photo = render(draw_of.scene, draw_of.camera, draw_of.seed)
    board = draw_of.scene.boards[0]
    truth = photo.truth.board("A")
    rng = np.random.default_rng([7, number])
    sample, *others = board.zones
    distances = {zone.id: float(delta_E_00(truth.zone(sample.id).Lab, truth.zone(zone.id).Lab)) for zone in others}
    blotches = {zone.id: float(truth.zone(zone.id).blotch_sd) for zone in others}
    tolerance = float(rng.choice(list(distances.values()))) * float(rng.uniform(0.6, 1.7)) + 0.05
    limit = max(LEAST_LIMIT, float(rng.choice(list(blotches.values()))) * float(rng.uniform(0.6, 1.7)))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "photos").mkdir()
        save_photo(folder / "photos" / "a.jpg", photo, quality=draw_of.quality)
        write_job(
            folder, [board], [{"file": "photos/a.jpg", "board": "A", "stage": board.stage}],
            target={"zone": f"A/{sample.id}", "tolerance": tolerance}, evenness={"wish": "even", "limit": limit},
        )  # fmt: skip
        results = measure_job(folder).results
    found = []
    for verdict in results.verdicts:
        (zone,) = (path.split("/")[1] for path in verdict.zones)
        found += _against(verdict, distances[zone], blotches[zone], tolerance, limit)
    return found


def table(judged: Sequence[Judged]) -> str:
    """False accepts, false rejects, and how often it cannot be told, for colour and evenness."""
    names = ("n", "false accepts", "near the limit", "false rejects", "cannot tell", "clear, but not told")
    head = f"{'':10}" + "".join(f"{name:>{width}}" for name, width in zip(names, WIDTHS, strict=True))
    whats = ("colour", "evenness")
    return "\n".join([head, *(_line(what, [one for one in judged if one.what == what]) for what in whats)])


def share(of: Iterable[Judged], said: str) -> tuple[int, int]:
    """How many of some verdicts say this, and how many there are."""
    verdicts = list(of)
    return sum(one.said == said for one in verdicts), len(verdicts)


def false_accepts(judged: Iterable[Judged], *, near: float = np.inf) -> tuple[int, int]:
    """Truly outside, by no more than `near` of the limit, and called within; and how many lie there."""
    return share((one for one in judged if one.limit < one.true <= one.limit * (1 + near)), "within")


def clear_but_not_told(judged: Iterable[Judged]) -> tuple[int, int]:
    """Clearly on one side of its limit, colour by `MARGIN`, and yet "cannot tell"; and how many are so clear."""
    return share((one for one in judged if abs(one.true - one.limit) > MARGIN), "cannot tell")


def _against(verdict: VerdictResult, colour: float, blotch: float, tolerance: float, limit: float) -> list[Judged]:
    colours = {"match": "within", "no match": "outside"}
    evenness = {"even": "within", "blotchy": "outside"}
    return [
        Judged("colour", colour, tolerance, colours.get(verdict.colour, "cannot tell")),
        Judged("evenness", blotch, limit, evenness.get(verdict.evenness, "cannot tell")),
    ]


def _away(rng: np.random.Generator, target: Floats, distance: float) -> Floats:
    """A difference of so much CIEDE2000 from a colour, in a random direction."""
    direction = rng.standard_normal(3)
    near, far = 0.0, 60.0
    for _ in range(40):
        middle = (near + far) / 2
        inside = delta_E_00(target, target + middle * direction) <= distance
        near, far = (middle, far) if inside else (near, middle)
    return far * direction


def _measuring_error(rng: np.random.Generator, target: Floats, delta: Floats) -> Floats:
    """What card, light and camera do to a difference, drawn from the budget that is stated for it."""
    plain = np.zeros((ROWS, COLUMNS))
    covariance = difference(_zone(target, plain, "S"), _zone(target + delta, plain, "A")).covariance
    variances, axes = np.linalg.eigh(covariance)
    return axes @ (np.sqrt(np.maximum(variances, 0.0)) * rng.standard_normal(3))


def _zone(Lab: Floats, L_added: Floats, board: str) -> MeasuredZone:
    """A zone as one photo shows it, under light evened out by strips, beside a gray card."""
    reading = reading_of(blocks_of(Lab, L_added), x_px=100.0 if board == "S" else 300.0)
    return zone_of(sight_of(reading, board=board), board_id=board)


def _judged_zone(
    rng: np.random.Generator, path: str, treatment: str, target: Floats, delta: Floats, blotch: float
) -> JudgedZone:
    """One zone as measured: drawn block by block, its blotch with the half-width that goes with what was seen."""
    sample = _zone(target, np.zeros((ROWS, COLUMNS)), "S")
    zone = _zone(target + delta, rng.normal(0, BLOCK_SD_L, (ROWS, COLUMNS)), "A")
    seen = max(0.01, blotch + _u_blotch(blotch) * rng.standard_normal())
    return JudgedZone(
        id=path,
        board=path.split("/", maxsplit=1)[0],
        treatment=treatment,
        stain=None,
        species="maple",
        stage="stained",
        light=None,
        sheen=None,
        to_target=difference(sample, zone),
        why_not=None,
        blotch=seen,
        blotch_u95=1.96 * _u_blotch(seen),
        blotch_limit=LIMIT,
        blotch_limit_u95=0.0,
    )


def _u_blotch(blotch: float) -> float:
    """Standard uncertainty of the blotch index of a zone of 90 x 110 mm, L*: mostly the sampling of few patches."""
    return 0.01 + 0.07 * blotch


def _line(what: str, judged: Sequence[Judged]) -> str:
    parts = [
        false_accepts(judged),
        false_accepts(judged, near=NEAR),
        share((one for one in judged if one.is_within), "outside"),
        share(judged, "cannot tell"),
    ]
    told = [str(len(judged)), *(_said(part) for part in parts)]
    told.append(_said(clear_but_not_told(judged)) if what == "colour" else "")
    return f"{what:10}" + "".join(f"{text:>{width}}" for text, width in zip(told, WIDTHS, strict=True))


def _said(part: tuple[int, int]) -> str:
    few, all_of = part
    return f"{few} of {all_of}, {few / all_of:.1%}" if all_of else "–"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--verdicts", type=int, default=2000, help="drawn for each number of boards")
    parser.add_argument("--boards", type=int, nargs="+", default=[1, 2, 3, 5], help="numbers of boards")
    parser.add_argument("--straying", type=float, default=1.0, help="boards differ so many times as much as is usual")
    parser.add_argument("--photos", type=int, default=0, help="whole photos, three verdicts each")
    parser.add_argument("--first", type=int, default=0, help="number of the first photo: other numbers, other boards")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    with ProcessPoolExecutor(asked.processes) as pool:
        for boards in asked.boards if asked.verdicts else ():
            numbers = range(-(-asked.verdicts // TREATMENTS))
            of_number = partial(drawn, boards=boards, straying=asked.straying)
            judged = [one for job in pool.map(of_number, numbers, chunksize=20) for one in job]
            print(f"\ndrawn, {boards} board{'s' * (boards > 1)}\n{table(judged)}", flush=True)  # noqa: T201 - a script
        if asked.photos:
            numbers = range(asked.first, asked.first + asked.photos)
            judged = [one for job in pool.map(photographed, numbers, chunksize=4) for one in job]
            print(f"\n{asked.photos} photos, gray card and strips\n{table(judged)}", flush=True)  # noqa: T201 - a script


if __name__ == "__main__":
    main()
