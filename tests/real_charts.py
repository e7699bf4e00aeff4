"""Real photos of a 24-patch chart that nobody made for us, from a published package, read without importing it.

colour-checker-detection 0.2.3 (BSD-3-Clause; `pip install --no-deps colour-checker-detection`) shows them as outputs
of its example notebooks. The last two are the first two as that package corrected them. A test is skipped where the
package is not installed.
"""

import base64
import io
import json
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

PACKAGE = "colour-checker-detection"
INSIDE = (10, 9, 1046, 699)  # of a figure: the photo without its frame
# Name -> notebook and output; middles of patches 1, 6, 19 and 24, read by eye off enlarged pictures with a grid, to
# about 2 pixels
ON_CLOTH = [(322, 304), (610, 303), (313, 465), (622, 458)]
AT_A_WALL = [(522, 297), (842, 312), (514, 482), (833, 504)]
REAL = {
    "warm lamp, on cloth": ("inference", 0, ON_CLOTH),
    "warm lamp, at a wall": ("inference", 1, AT_A_WALL),
    "a folding chart": ("segmentation", 0, [(572, 448), (573, 233), (701, 449), (703, 234)]),
    "by a window": ("segmentation", 1, [(317, 209), (732, 222), (311, 452), (722, 465)]),
    "on cloth, corrected": ("inference", 8, ON_CLOTH),
    "at a wall, corrected": ("inference", 11, AT_A_WALL),
}
# A photo under tungsten lamps, and the same after the package's own correction
PAIRS = {
    "warm lamp, on cloth": "on cloth, corrected",
    "warm lamp, at a wall": "at a wall, corrected",
}


def package_file(name: str, path: str) -> Path:
    """A data file of an installed package; skips the test when there is none."""
    try:
        found = Path(str(distribution(name).locate_file(path)))
    except PackageNotFoundError:
        pytest.skip(f"{name} is not installed (pip install --no-deps {name})")
    if not found.is_file():
        pytest.skip(f"this {name} has no {path}")
    return found


@cache
def real_chart_codes(name: str) -> NDArray[np.uint8]:
    """Codes (690, 1036, 3) of a photo of `REAL`."""
    notebook, output, _ = REAL[name]
    path = package_file(PACKAGE, f"colour_checker_detection/examples/examples_detection_{notebook}.ipynb")
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    pictures = [
        out["data"]["image/png"]
        for cell in cells
        for out in cell.get("outputs", [])
        if "image/png" in out.get("data", {})
    ]
    with Image.open(io.BytesIO(base64.b64decode(pictures[output]))) as picture:
        return np.asarray(picture.convert("RGB").crop(INSIDE))
