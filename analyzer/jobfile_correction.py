"""What does job.toml say about a correction for the photos with a gray card?"""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Literal

from analyzer.job import CorrectionWish, Reference
from analyzer.jobfile_photos import existing_file, read_quad
from analyzer.jobfile_reference import read_patches
from analyzer.jobfile_table import Table, nearest, one_of, show

CORRECTION_KEYS = ("from", "stored", "kind", "reflectance", "values", "edition", "light", "card")

_KINDS: tuple[Literal["chart-24", "step-card"], ...] = ("chart-24", "step-card")


def read_correction_wish(
    top: Table, folder: Path, reference: Reference | None, tables: Mapping[str, Collection[str]]
) -> CorrectionWish | None:
    """Read [correction]; None when there is none, or when problems were noted."""
    table = top.table("correction")
    if table is None:
        return None
    table.unknown(CORRECTION_KEYS, tables)
    if reference is not None and reference.kind != "gray-card":
        expected = f"no [correction] beside a {reference.kind}: each photo is corrected by its own"
        table.problems.add(table.path, "", "a table", expected)
    if ("from" in table.content) == ("stored" in table.content):
        expected = 'either from = "photos/chart.jpg", a photo of a chart or step card, or stored = true'
        table.wrong("stored" if "stored" in table.content else "from", expected)
        return None
    return _stored(table) if "stored" in table.content else _from_photo(table, folder, _lights(top))


def _stored(table: Table) -> CorrectionWish | None:
    """Read the wish for what is kept of earlier jobs."""
    for key in CORRECTION_KEYS[2:]:
        if key in table.content:
            table.wrong(key, 'stored = true alone, or from = "photos/chart.jpg" with it')
    if table.content["stored"] is True:
        return CorrectionWish()
    table.wrong("stored", "true", "Leave [correction] out to measure by the gray card alone.")
    return None


def _from_photo(table: Table, folder: Path, lights: Collection[str | None]) -> CorrectionWish | None:
    """Read the photo of a chart or step card, and what is known of it."""
    photo = existing_file(table, "from", folder)
    kind = table.choice("kind", _KINDS) if "kind" in table.content else "chart-24"
    reference = read_patches(table, folder, kind) if kind else None
    card = read_quad(table, "card", table.content["card"]) if "card" in table.content else None
    light = _light(table, lights)
    return CorrectionWish(photo, reference, light, card) if photo and reference else None


def _light(table: Table, lights: Collection[str | None]) -> str | None:
    """Read the name of its light; left out, that of all photos, when they have but one."""
    named = sorted(light for light in lights if light)
    if "light" not in table.content:
        if len(lights) > 1:
            table.wrong("light", f"the light it was taken in, {one_of(named)}")
            return None
        return named[0] if named else None
    light = table.text("light")
    if light is not None and light not in named:
        near = nearest(light, named)
        hint = f'Did you mean "{near}"?' if near else f'Give it to the photos taken in it: light = "{light}".'
        table.wrong("light", "a light that photos of this job were taken in", hint, found=show(light))
    return light


def _lights(top: Table) -> set[str | None]:
    """The lights that the photos of this job name; None stands for those that name none."""
    photos = top.content.get("photo")
    tables = [photo for photo in photos if isinstance(photo, dict)] if isinstance(photos, list) else []
    return {light if isinstance(light := photo.get("light"), str) else None for photo in tables}
