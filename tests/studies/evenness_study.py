"""How well is blotch told from figure on simulated boards, and does its interval hold the truth?

The boards of `board_draws.py`, every treatment and stage, seen at 2.5 px/mm with a photo's blur and noise but without
its camera: what is asked is the index, not the light. Truth is the standard deviation that uneven uptake adds to L*.

    python tests/studies/evenness_study.py 5000 5080
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's packages, not installed ones

from simulator.wood import board_lightness, board_XYZ, zone_pixels
from studies.board_draws import draw

from analyzer.evenness import evenness

PX_PER_MM = 2.5
MARGIN_MM = 5.0
BLUR_MM = (0.10, 0.22)  # standard deviation, from a sharp photo to a soft one
NOISE = (0.1, 0.4)  # L* a pixel
RATIOS = (0.0, 1.0, 3.0, 10.0, np.inf)  # of figure to blotch: bounds of the classes told apart


@dataclass(frozen=True)
class StudyZone:
    """One zone, as it is and without its blotch."""

    species: str
    treatment: str
    blotch: float  # L*, true
    figure: float  # L*, true, of all wavelengths
    Y: NDArray[np.float64]
    even_Y: NDArray[np.float64]


def zones_of(number: int) -> Iterator[StudyZone]:
    """Give the zones of the board of this number."""
    board = replace(draw(number).scene.boards[0], texture_px_per_mm=PX_PER_MM)
    rng = np.random.default_rng([20261125, number, 7])
    uneven = 116 * np.cbrt(board_XYZ(board)[..., 1].astype(np.float64)) - 16
    even = board_lightness(board, blotch=False, figure=True).astype(np.float64)
    for zone in board.zones:
        area = zone_pixels(board, zone, MARGIN_MM)
        blur_px = rng.uniform(*BLUR_MM) * PX_PER_MM
        noise = rng.uniform(*NOISE) * rng.standard_normal(even[area].shape)
        seen, seen_even = (
            ((cv2.GaussianBlur(L[area], (0, 0), blur_px) + noise + 16) / 116) ** 3 for L in (uneven, even)
        )
        yield StudyZone(
            species=board.species,
            treatment=getattr(zone, "treatment", ""),
            blotch=float((uneven - even)[area].std()),
            figure=float(even[area].std()),
            Y=seen,
            even_Y=seen_even,
        )


def _line(name: str, rows: NDArray[np.float64]) -> str:
    truth, read, u95, even = rows.T
    off = read - truth
    return (
        f"{name:18s} {len(rows):4d} zones  held {np.mean(abs(off) <= u95):6.1%}  median ± {np.median(u95):.3f}"
        f"  error {np.median(off):+.3f} ({np.percentile(off, 5):+.2f} to {np.percentile(off, 95):+.2f})"
        f"  without blotch {np.median(even):.2f}, 95 %: {np.percentile(even, 95):.2f}"
    )


def main(first: int, last: int) -> None:
    """Print the coverage by wood, and by how strong the figure is against the blotch."""
    rows, species, ratios = [], [], []
    for number in range(first, last):
        for zone in zones_of(number):
            everywhere = np.ones(zone.Y.shape, dtype=bool)
            read, even = (evenness(Y, everywhere, 1 / PX_PER_MM) for Y in (zone.Y, zone.even_Y))
            if read.blotch is not None and read.blotch_u95 is not None and even.blotch is not None:
                rows.append((zone.blotch, read.blotch, read.blotch_u95, even.blotch))
                species.append(zone.species)
                ratios.append(zone.figure / zone.blotch)
    table, woods, ratio = np.array(rows), np.array(species), np.array(ratios)
    lines = [_line(wood, table[woods == wood]) for wood in sorted(set(species))]
    for low, high in pairwise(RATIOS):
        if (within := (ratio >= low) & (ratio < high)).any():
            lines.append(_line(f"figure {low:g}-{high:g} x", table[within]))
    sys.stdout.write("\n".join([*lines, _line("all", table)]) + "\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int, help="number of the first board")
    parser.add_argument("last", type=int, help="number after the last")
    asked = parser.parse_args()
    main(asked.first, asked.last)
