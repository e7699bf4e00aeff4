"""What does job.toml say about the known colour in the photos: a gray card, a step card or a 24-patch chart?"""

import itertools
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Final, Literal

from analyzer.job import Reference
from analyzer.jobfile_photos import existing_file
from analyzer.jobfile_table import Interval, Table, as_number
from calibration.errors import CalibrationError

REFERENCE_KEYS = ("kind", "reflectance", "lab", "values", "edition")

# L* of a surface is 0 to 100 by definition; a* and b* of surface colours stay well inside the 8-bit coding range.
LAB: Final = (Interval(0, 100), Interval(-128, 128), Interval(-128, 128))
LAB_WORDS = "three numbers, [L, a, b]: L from 0 to 100, a and b from -128 to 128"
CHART_PATCHES = 24  # as in calibration/chart.py
LEAST_STEPS = 3  # of a step card: two cannot tell the camera's tone curve from the exposure

_KINDS: tuple[Literal["gray-card", "step-card", "chart-24"], ...] = ("gray-card", "step-card", "chart-24")
_KEYS_OF_KIND: Final = {
    "gray-card": ("reflectance", "lab"),
    "step-card": ("reflectance",),
    "chart-24": ("values", "edition"),
}
_REFLECTANCE = Interval(above=0, most=1)
_REFLECTANCE_WORDS = "a number above 0, up to 1: 0.18 for an 18 % gray card"


def read_reference(top: Table, folder: Path, tables: Mapping[str, Collection[str]]) -> Reference | None:
    """Read [reference]; left out, an 18 % gray card. None when problems were noted."""
    table = top.table("reference")
    if table is None:
        return None if "reference" in top.content else Reference()
    table.unknown(REFERENCE_KEYS, tables)
    kind = table.choice("kind", _KINDS) if "kind" in table.content else "gray-card"
    if kind is None:
        return None
    return _gray_card(table) if kind == "gray-card" else read_patches(table, folder, kind)


def read_patches(table: Table, folder: Path, kind: Literal["step-card", "chart-24"]) -> Reference | None:
    """Read what is known of a step card or a chart. None when problems were noted."""
    for key in REFERENCE_KEYS[1:]:
        if key in table.content and key not in _KEYS_OF_KIND[kind]:
            _not_of_kind(table, key, kind)
    return _step_card(table) if kind == "step-card" else _chart(table, folder)


def _not_of_kind(table: Table, key: str, kind: str) -> None:
    wanted = " or ".join(_KEYS_OF_KIND[kind])
    table.wrong(key, f"{wanted} for a {kind}", found=f"{key}, which does not go with it")


def _gray_card(table: Table) -> Reference | None:
    """Read a gray card: one reflectance, or the CIELAB value that its maker gives."""
    for key in ("values", "edition"):
        if key in table.content:
            _not_of_kind(table, key, "gray-card")
    if "lab" in table.content:
        if "reflectance" in table.content:
            table.wrong("lab", "either reflectance or lab, not both")
        lab = table.numbers("lab", LAB_WORDS, LAB)
        return Reference("gray-card", (), (lab[0], lab[1], lab[2])) if lab else None
    if "reflectance" not in table.content:
        return Reference()
    value = table.content["reflectance"]
    reflectance = as_number(value)
    if reflectance is not None and reflectance in _REFLECTANCE:
        return Reference("gray-card", (reflectance,))
    hint = f"{reflectance:g} % is {reflectance / 100:g}." if reflectance and 1 < reflectance <= 100 else ""
    if isinstance(value, list):
        hint = 'A list of reflectances is for kind = "step-card".'
    table.wrong("reflectance", _REFLECTANCE_WORDS, hint)
    return None


def _step_card(table: Table) -> Reference | None:
    """Read a step card: reflectances, light to dark."""
    value = table.content.get("reflectance")
    if isinstance(value, list) and len(value) >= LEAST_STEPS:
        steps = [number for number in map(as_number, value) if number is not None and number in _REFLECTANCE]
        falling = all(light > dark for light, dark in itertools.pairwise(steps))
        if len(steps) == len(value) and falling:
            return Reference("step-card", tuple(steps))
    table.wrong("reflectance", "three or more numbers, light to dark, each above 0, up to 1: [0.9, 0.18, 0.03]")
    return None


def _chart(table: Table, folder: Path) -> Reference | None:
    """Read a 24-patch colour chart: its own measured values, or the published table of its edition."""
    if ("values" in table.content) == ("edition" in table.content):
        key = "values" if "values" in table.content else "edition"
        table.wrong(key, 'either values = "chart.csv" or edition = "from-2015" or "before-2015"')
        return None
    editions: tuple[Literal["from-2015", "before-2015"], ...] = ("from-2015", "before-2015")
    edition = table.choice("edition", editions)
    values = existing_file(table, "values", folder)
    if values is not None:
        fault = chart_fault(folder / values)
        if fault:
            table.wrong("values", f"a text file: header L,a,b, then {CHART_PATCHES} rows of numbers", found=fault)
    return Reference("chart-24", (), None, values, edition) if values or edition else None


def chart_fault(path: Path) -> str:
    """Say what is wrong with a file of a chart's own values.

    Parameters
    ----------
    path : Path
        Comma-separated text: the header L,a,b, then one row a patch, CIELAB D50/2 degree, row by row from dark skin.

    Returns
    -------
    str
        The first fault in words, empty when the file holds.
    """
    from calibration.chart import read_chart_Lab  # noqa: PLC0415 - NumPy loads only for a job with such a file

    try:
        read_chart_Lab(path)
    except CalibrationError as refused:
        return refused.what
    return ""
