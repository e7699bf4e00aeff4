"""Job folders around simulated boards, for the tests of measuring from end to end."""

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from simulator import Background, Board, GrayCard, PaintedZone, Scene, WoodZone

from analyzer.results import Results, ZoneResult

GRAY_SHEET = Background((34, 0, -1))
ZONES = (
    WoodZone("control", (0, 100), stain="walnut brown"),
    WoodZone("washcoat", (100, 200), "shellac washcoat", "walnut brown"),
    WoodZone("glue", (200, 300), "glue size", "walnut brown"),
)
SHOP_BOARD = Board("A", 300, 120, ZONES, seed=5)
SHOP_SCENE = Scene((SHOP_BOARD,), GrayCard((80, 55), (100, 145), 4.0), background=GRAY_SHEET)

LAB_TARGET = {"lab": [40.0, 14.0, 22.0]}
Zone = WoodZone | PaintedZone


def write_job(
    folder: Path,
    boards: Iterable[Board],
    photos: Sequence[Mapping[str, Any]],
    *,
    target: Mapping[str, Any] = LAB_TARGET,
    reference: Mapping[str, Any] | None = None,
    evenness: Mapping[str, Any] | None = None,
    of_zones: Mapping[str, Mapping[str, Any]] | None = None,
    inch: bool = False,
) -> Path:
    """Write job.toml. `photos` are the tables of [[photo]]; `of_zones` adds keys to zones, by "board/zone"."""
    per_unit = 25.4 if inch else 1.0
    lines = ["format = 1", *_table("job", {"name": "Test", "units": "in" if inch else "mm"}), *_table("target", target)]
    lines += _table("reference", reference or {"kind": "gray-card", "reflectance": 0.18})
    lines += _table("evenness", evenness) if evenness else []
    for board in boards:
        size = {"length": board.length_mm / per_unit, "width": board.width_mm / per_unit}
        lines += _table("board", {"id": board.id, "species": board.species, **size}, repeated=True)
        for zone in board.zones:
            keys = _zone(zone, per_unit) | dict((of_zones or {}).get(f"{board.id}/{zone.id}", {}))
            lines += _table("board.zone", keys, repeated=True)
    for photo in photos:
        lines += _table("photo", {"stage": "stained", **photo}, repeated=True)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def _zone(zone: Zone, per_unit: float) -> dict[str, Any]:
    keys: dict[str, Any] = {"id": zone.id, "span": [edge / per_unit for edge in zone.span_mm]}
    if zone.across_mm:
        keys["across"] = [edge / per_unit for edge in zone.across_mm]
    if isinstance(zone, WoodZone):
        return keys | {"treatment": zone.treatment, "stain": zone.stain or "none"}
    return keys | {"treatment": zone.id}


def _table(name: str, keys: Mapping[str, Any], *, repeated: bool = False) -> list[str]:
    head = f"[[{name}]]" if repeated else f"[{name}]"
    return ["", head, *(f"{key} = {json.dumps(value)}" for key, value in keys.items())]


def zone_of(results: Results, zone_id: str, light: str | None = None) -> ZoneResult:
    (found,) = [zone for zone in results.zones if zone.id == zone_id and zone.light == light]
    return found


def codes(results: Results, photo: str) -> list[str]:
    return [finding.code for result in results.photos if result.file == photo for finding in result.findings]
