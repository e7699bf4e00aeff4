"""How often do the intervals of production parts hold, and how often is a part called within that is outside?

    python tests/studies/parts_study.py --parts 200 --first 0

A zone is approved from one simulated photo and a part photographed in another, by one of eleven measured cameras, in
daylight (`--lamps`: by lamps too), with other errors of white balance and exposure, tilted by up to 5 degrees, the
light falling off by up to 15 % and not mapped. Truth is that of the spectra.
"""

import argparse
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))  # the tests' own modules, where this is run as a script
sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from approval_examples import paper_approval
from board_jobs import GRAY_SHEET, write_job
from board_photos import corners, taken
from simulator import SENSORS, Board, GrayCard, Light, RenderedPhoto, Scene, WoodZone, save_photo
from simulator.spectra import MORE_SENSORS

from analyzer import read_job
from analyzer.approval.judge_part import judge_part
from analyzer.approval.part_photo import see_parts
from analyzer.approval.wanted import PartWanted, PhotoWanted
from analyzer.approved_zone import PhotoOfSight, kept_zone
from analyzer.correction_choice import NOT_ASKED_FOR
from analyzer.photos import measure_photo
from analyzer.pooling import MeasuredZone
from calibration.difference import delta_E_00

SIZE_MM, SIZE_PX = (160.0, 110.0), (800, 640)
DAYLIGHT, LAMPS = ("D50", "D65"), ("D50", "D65", "FL2", "A")


@dataclass(frozen=True)
class Judged:
    """One part: what is true, and what was said."""

    true: float  # CIEDE2000 to the approved zone
    de00: float
    de00_u95: float
    colour: str

    @property
    def is_held(self) -> bool:
        return abs(self.de00 - self.true) <= self.de00_u95


def judged(number: int, lights: tuple[str, ...] = DAYLIGHT) -> Judged | None:
    """Approve one zone and judge one part; None if a photo was refused."""
    rng = np.random.default_rng(number)
    light, sensor = str(rng.choice(lights)), str(rng.choice([*SENSORS, *MORE_SENSORS]))
    coats = rng.uniform(0.7, 1.3)
    board, part = _board("A", coats, number), _board("P", coats * rng.uniform(0.85, 1.15), number + 5000)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        approved = _photograph(folder / "a.jpg", board, light, sensor, rng)
        entry = {"file": "a.jpg", "board": "A", "light": "shop", "corners": corners(approved).tolist()}
        write_job(folder, [board], [entry])
        job = read_job(folder)
        measured = measure_photo(job, "a.jpg").boards
        rendered = _photograph(folder / "p.jpg", part, light, sensor, rng)
        quad = tuple(map(tuple, corners(rendered, "P").tolist()))
        wanted = PhotoWanted(folder / "p.jpg", "p.jpg", "stained", "shop", (PartWanted("p", corners=quad),))
        seen = see_parts(job, wanted, NOT_ASKED_FOR, None)
    if not measured or seen.parts[0].zone is None:
        return None
    sights = (measured[0].sights["face"],)
    zone = MeasuredZone(measured[0].board, measured[0].board.zones[0], "stained", "shop", sights)
    record = kept_zone(zone, [PhotoOfSight("a.jpg", "a" * 64, None, ())])
    said = judge_part(seen, seen.parts[0], paper_approval(zone=record))
    if said.to_approved is None or said.to_approved.de00_u95 is None:
        return None
    true = delta_E_00(approved.truth.board("A").zone("face").Lab, rendered.truth.board("P").zone("face").Lab)
    return Judged(float(true), said.to_approved.de00, said.to_approved.de00_u95, said.colour)


def _board(name: str, coats: float, seed: int) -> Board:
    zone = WoodZone("face", (0, SIZE_MM[0]), "shellac washcoat", "walnut brown", coats)
    return Board(name, *SIZE_MM, (zone,), seed=seed)


def _photograph(path: Path, board: Board, light: str, sensor: str, rng: np.random.Generator) -> RenderedPhoto:
    fall = Light(light, gradient=rng.uniform(0, 0.15), direction_deg=rng.uniform(0, 360))
    scene = Scene((board,), GrayCard((80, 55), (40, 125), 4.0), background=GRAY_SHEET, light=fall)
    rendered = taken(
        scene,
        int(rng.integers(1 << 30)),
        size_px=SIZE_PX,
        sensor=sensor,
        white_balance_error=(rng.normal(0, 0.03), rng.normal(0, 0.03)),
        exposure_EV=rng.uniform(-0.5, -0.1),
        tilt_deg=(rng.uniform(-5, 5), rng.uniform(-5, 5)),
    )
    save_photo(path, rendered)
    return rendered


def table(parts: list[Judged], tolerance: float = 2.0) -> str:
    """What came out, in words."""
    errors = np.abs([part.de00 - part.true for part in parts])
    outside = [part.colour for part in parts if part.true > tolerance]
    within = [part.colour for part in parts if part.true <= tolerance]
    return (
        f"{len(parts)} parts: error {errors.mean():.2f} on average, 95 % under {np.quantile(errors, 0.95):.2f}; "
        f"held {np.mean([part.is_held for part in parts]):.1%}, "
        f"± {np.median([part.de00_u95 for part in parts]):.2f} in the middle\n"
        f"truly outside {len(outside)}: called within {outside.count('within')}, outside {outside.count('outside')}\n"
        f"truly within {len(within)}: called within {within.count('within')}, outside {within.count('outside')}\n"
    )


def main() -> None:
    """Run it."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--parts", type=int, default=100)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--lamps", action="store_true")
    asked = options.parse_args()
    numbers = range(asked.first, asked.first + asked.parts)
    found = [judged(number, LAMPS if asked.lamps else DAYLIGHT) for number in numbers]
    known = [one for one in found if one is not None]
    sys.stdout.write(f"{table(known)}refused {len(found) - len(known)}\n")


if __name__ == "__main__":
    main()
