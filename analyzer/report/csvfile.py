"""How do the zones become `zones.csv`, one row a zone, for a spreadsheet?"""

import csv
import io

from analyzer.report.jsonfile import tidy_number
from analyzer.results import Results, ZoneResult

COLUMNS = (
    *("id", "board", "zone", "stage", "light", "species", "treatment", "stain"),
    *("L", "a", "b", "L_u95", "a_u95", "b_u95"),
    *("blotch", "blotch_u95", "patch_mm", "figure", "area_mm2", "masked", "photos"),
    *("bare_blotch", "bare_blotch_u95", "added_blotch", "added_blotch_u95"),
    *("figure_kept", "blotch_levelled"),
    *("blotch_4_8_mm", "blotch_8_16_mm", "blotch_16_32_mm", "blotch_32_64_mm", "visible_darker", "visible_lighter"),
    *("blotch_arm", "blotch_room", "drift_along", "drift_across", "lap"),
)
# A spreadsheet runs a cell that begins so as a formula (OWASP, "CSV Injection").
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
# Some spreadsheets take a file without this mark for an old 8-bit code page and garble every accent.
BYTE_ORDER_MARK = "\ufeff"


def zones_csv(results: Results) -> bytes:
    """Write the zones as comma-separated text.

    Parameters
    ----------
    results : Results
        A whole answer.

    Returns
    -------
    bytes
        UTF-8 with a byte order mark only where a letter outside ASCII needs one; decimal points; lengths in mm,
        colours in CIELAB (D50, 2 degree); an unknown value is an empty cell; several photos are joined by "; ".
        Text that a spreadsheet would run as a formula is led by an apostrophe.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_row(zone) for zone in results.zones)
    text = table.getvalue()
    return (text if text.isascii() else BYTE_ORDER_MARK + text).encode()


def _row(zone: ZoneResult) -> list[str]:
    text = (zone.id, zone.board, zone.zone, zone.stage, zone.light, zone.species, zone.treatment, zone.stain)
    numbers = (
        *zone.lab,
        *(zone.lab_u95 or (None, None, None)),
        *(zone.blotch, zone.blotch_u95, zone.patch_mm, zone.figure, zone.area_mm2, zone.masked),
    )
    before = (zone.bare_blotch, zone.bare_blotch_u95, zone.added_blotch, zone.added_blotch_u95)
    ratios = (zone.figure_kept, zone.blotch_levelled)
    seen = (
        *(zone.bands or (None,) * 4),
        *(zone.visible_share or (None, None)),
        *(zone.blotch_arm, zone.blotch_room),
        *(zone.drift or (None, None)),
        zone.lap,
    )
    photos = _text_cell("; ".join(zone.photos))
    return [*map(_text_cell, text), *map(_number_cell, numbers), photos, *map(_number_cell, (*before, *ratios, *seen))]


def _text_cell(text: str | None) -> str:
    if text is None:
        return ""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _number_cell(value: float | None) -> str:
    return "" if value is None else f"{tidy_number(value):.10g}"
