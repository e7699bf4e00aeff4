"""How far apart are all zones, each against each?  One table for each stage and light, whatever wood they are on."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import Final

import numpy as np

from analyzer.compare import difference
from analyzer.pooling import MeasuredZone
from analyzer.results import STAGES, DifferenceResult, MatrixResult
from analyzer.targets import sheens_differ
from analyzer.uncertainty import in_common
from calibration.colorspace import XYZ_to_Lab
from calibration.difference import delta_E_00

# Up to so many zones a stage each pair is given its half-width and the table is printed; with more it would be neither
# quick to work out nor possible to read. Chosen.
READABLE: Final = 12

Cell = tuple[float | None, float | None]  # CIEDE2000 and its half-width


def matrices(zones: Sequence[MeasuredZone], known: Iterable[DifferenceResult]) -> tuple[MatrixResult, ...]:
    """Every zone of a stage and light against every other one.

    Parameters
    ----------
    zones : sequence of MeasuredZone
        In the order that the rows shall have.
    known : iterable of DifferenceResult
        Differences that were worked out already; they are taken over.

    Returns
    -------
    matrices : tuple of MatrixResult
        One for each stage and light at which two zones or more were measured, by stage. Zones of different sheens are
        not compared.
    """
    found = {(item.stage, item.light, frozenset((item.a, item.b))): (item.de00, item.de00_u95) for item in known}
    alike: dict[tuple[int, str], list[MeasuredZone]] = {}
    for zone in zones:
        alike.setdefault((STAGES.index(zone.stage), zone.light or ""), []).append(zone)
    return tuple(_matrix(alike[key], found) for key in sorted(alike) if len(alike[key]) > 1)


def _matrix(
    zones: Sequence[MeasuredZone], known: Mapping[tuple[str, str | None, frozenset[str]], Cell]
) -> MatrixResult:
    size, readable = len(zones), len(zones) <= READABLE
    cells: list[list[Cell]] = [[(0.0, None)] * size for _ in zones]
    for (row, a), (column, b) in combinations(enumerate(zones), 2):
        pair = (a.stage, a.light, frozenset((a.id, b.id)))
        cells[row][column] = cells[column][row] = _cell(a, b, known.get(pair), with_u95=readable)
    return MatrixResult(
        stage=zones[0].stage,
        light=zones[0].light,
        zones=tuple(zone.id for zone in zones),
        de00=tuple(tuple(cell[0] for cell in row) for row in cells),
        de00_u95=tuple(tuple(cell[1] for cell in row) for row in cells) if readable else None,
    )


def _cell(a: MeasuredZone, b: MeasuredZone, known: Cell | None, *, with_u95: bool) -> Cell:
    if sheens_differ(a.zone.sheen, b.zone.sheen):
        return None, None
    if known is not None:
        return known
    if with_u95:
        found = difference(a, b)
        return found.de00, found.de00_u95
    Lab_a, Lab_b = (
        XYZ_to_Lab(np.mean([sight.reading.XYZ for sight in sights], axis=0)) for sights in in_common(a.sights, b.sights)
    )
    return float(delta_E_00(Lab_a, Lab_b)), None
