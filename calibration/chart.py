"""Which colours has a 24-patch chart?  The published values of both editions, or a chart's own from a file.

The order is everywhere the same: row by row from dark skin, the six neutrals last, white to black.
"""

import csv
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from calibration.colorspace import Lab_to_XYZ
from calibration.difference import delta_E_00
from calibration.errors import CalibrationError
from calibration.published import published_file

Edition = Literal["from-2015", "before-2015"]

ROWS, COLUMNS = 4, 6
PATCHES = ROWS * COLUMNS
NEUTRALS = slice(18, 24)  # white to black
PATCH_NAMES: Final = (
    "dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
    "blue", "green", "red", "yellow", "magenta", "cyan",
    "white", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black",
)  # fmt: skip

# The editions differ by up to 2 CIEDE2000, and charts fade. A row farther from both is a slip of the pen, or the rows
# are in another order: columns first, turned or mirrored, some patch is then 59 or more away. Chosen.
FARTHEST = 15.0

_FILES: Final[dict[Edition, str]] = {"from-2015": "chart24_from_2015.csv", "before-2015": "chart24_before_2015.csv"}
_LIMITS = ((0, 100), (-128, 128), (-128, 128))


def chart_XYZ(edition: Edition = "from-2015", values: Path | None = None) -> NDArray[np.float64]:
    """Known tristimulus values of a chart's patches under D50, Y = 1 for a perfect white.

    Parameters
    ----------
    edition : {"from-2015", "before-2015"}
        Which published table holds, where no own values are given.
    values : Path, optional
        File of this chart's own values (see `read_chart_Lab`); the edition then does not matter.

    Returns
    -------
    ndarray, (24, 3)
        Row by row from dark skin.

    Raises
    ------
    CalibrationError
        If the file does not hold.
    """
    return Lab_to_XYZ(published_chart_Lab(edition) if values is None else read_chart_Lab(values))


def published_chart_Lab(edition: Edition) -> NDArray[np.float64]:
    """CIELAB (24, 3), D50/2 degree, as the maker published it."""
    return _read(published_file(_FILES[edition]))


def read_chart_Lab(path: Path) -> NDArray[np.float64]:
    """CIELAB values of one chart, as measured or as its maker gives them.

    Parameters
    ----------
    path : Path
        Comma-separated text: the header L,a,b, then one row a patch, D50/2 degree, row by row from dark skin. Lines
        that begin with # are remarks.

    Returns
    -------
    ndarray, (24, 3)

    Raises
    ------
    CalibrationError
        With the first fault: no such text, another header, a row that is no colour, too few rows or too many, or a
        colour that this patch cannot have.
    """
    Lab = _read(path)
    nearest = np.min([delta_E_00(published_chart_Lab(edition), Lab) for edition in _FILES], axis=0)
    worst = int(np.argmax(nearest))
    if nearest[worst] > FARTHEST:
        told = ", ".join(f"{value:g}" for value in Lab[worst])
        raise _fault(
            f"{path.name} with {told} for patch {worst + 1}, {PATCH_NAMES[worst]}: {nearest[worst]:.0f} Delta E from "
            f"the published value (limit {FARTHEST:.0f}); are the rows in order, row by row from dark skin?"
        )
    return Lab


def _read(path: Path) -> NDArray[np.float64]:
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise _fault(f"{path.name}, which cannot be read ({error})") from error
    told = [
        (line, row)
        for line, row in enumerate(rows, 1)
        if any(cell.strip() for cell in row) and not row[0].startswith("#")
    ]
    if not told or [cell.strip() for cell in told[0][1]] != ["L", "a", "b"]:
        raise _fault(f'{path.name} with the first line "{",".join(told[0][1]) if told else ""}"')
    Lab = []
    for line, row in told[1:]:
        numbers = [_number(cell) for cell in row]
        if len(row) != 3 or not all(low <= x <= high for x, (low, high) in zip(numbers, _LIMITS, strict=True)):
            raise _fault(f'{path.name} with line {line}: "{",".join(row)}"')
        Lab.append(numbers)
    if len(Lab) != PATCHES:
        raise _fault(f"{path.name} with {len(Lab)} rows of values")
    return np.array(Lab)


def _number(cell: str) -> float:
    """The number in a cell; NaN, which lies within no limits, where there is none."""
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def _fault(what: str) -> CalibrationError:
    return CalibrationError(
        what,
        remedy=f"Write the header L,a,b and {PATCHES} rows of numbers, or name the chart's edition instead.",
        code="chart-values",
    )
