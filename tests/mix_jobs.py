"""Measured jobs made on paper for the tests of matching: a job file, and results of colours that the test paints.

Colours are spectra of the simulator turned into CIELAB, so that what a mix truly looks like is known; no photo is taken
and nothing of ours makes a colour.
"""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from simulator.spectra import Lab_to_reflectance, reflectance_to_Lab
from simulator.wood import SPECIES, STAINS

from analyzer.jobfile import read_job
from analyzer.report.jsonfile import results_json
from analyzer.results import AnswerResult, DifferenceResult, Results, ToolResult, VerdictResult, ZoneResult
from calibration.difference import components, delta_E_00, delta_E_ab

Floats = NDArray[np.float64]
Zones = Mapping[str, Mapping[str, Any]]  # "A/bare" -> keys of the zone; "Lab" or {stage: Lab} beside them

HAZE = 0.02  # share of light from the surface
DIRECTED = {"treatment": "none"}


def wood(species: str = "hard maple", tone: float = 1.0) -> Floats:
    """Absorbance (36,) of a board's wood under its surface."""
    return np.asarray(-tone * np.log10((np.array(Lab_to_reflectance(SPECIES[species].Lab)) - HAZE) / (1 - HAZE)))


def Lab_of(absorbance: ArrayLike) -> tuple[float, float, float]:
    """CIELAB of an absorbance under the surface."""
    L, a, b = reflectance_to_Lab(HAZE + (1 - HAZE) * 10 ** -np.asarray(absorbance))
    return float(L), float(a), float(b)


def stained(ground: Floats, **shares: float) -> tuple[float, float, float]:
    """CIELAB of wood under shares of the simulator's stains, their names with _ for spaces."""
    return Lab_of(ground + sum(share * STAINS[name.replace("_", " ")] for name, share in shares.items()))


def measured_job(
    folder: Path,
    zones: Zones,
    *,
    species: str = "hard maple",
    target: Mapping[str, Any] | None = None,
    stage: str = "stained",
    u95: float | None = 0.4,
    light: str | None = None,
) -> Path:
    """Write job.toml and results.json. Without a target it is zone "S/sample", which must be among the zones."""
    aim = target or {"zone": "S/sample"}
    _write_job(folder, zones, species, aim, stage, light)
    job = read_job(folder)
    found = [result for path, keys in zones.items() for result in _zone(job, path, keys, stage, light, u95)]
    aimed = {aim.get("zone"), *aim.get("between", ())}
    differences = tuple(
        _difference(a, b, u95)
        for a in found
        for b in found
        if a.id in aimed and b.id not in aimed and a.stage == b.stage
    )
    results = Results(
        format=1,
        tool=ToolResult("evenboard", "0", "painted"),
        job=job.as_read,
        photos=(),
        zones=tuple(found),
        differences=differences,
        verdicts=_verdicts(found, aim, aimed, differences, u95),
        answer=AnswerResult(None, None, None, "Painted."),
    )
    (folder / "results.json").write_bytes(results_json(results))
    return folder


def _write_job(
    folder: Path, zones: Zones, species: str, target: Mapping[str, Any], stage: str, light: str | None
) -> None:
    boards: dict[str, list[tuple[str, Mapping[str, Any]]]] = defaultdict(list)
    for path, keys in zones.items():
        board, zone = path.split("/")
        boards[board].append((zone, keys))
    lines = ["format = 1", "[job]", 'name = "Painted"', "[target]"]
    lines += [f"{key} = {json.dumps(value)}" for key, value in target.items()]
    photos = []
    for board, of in boards.items():
        lines += ["[[board]]", f'id = "{board}"', f'species = "{species}"', f"length = {100 * len(of)}", "width = 100"]
        stages = {stage}
        for place, (zone, keys) in enumerate(of):
            lines += ["[[board.zone]]", f'id = "{zone}"', f"span = [{100 * place}, {100 * place + 100}]"]
            own = DIRECTED | {key: value for key, value in keys.items() if key != "Lab"}
            lines += [f"{key} = {json.dumps(value)}" for key, value in own.items()]
            if isinstance(keys["Lab"], Mapping):
                stages |= set(keys["Lab"])
        for seen in sorted(stages):
            name = f"{board}-{seen}.jpg"
            (folder / name).touch()
            photos += ["[[photo]]", f'file = "{name}"', f'board = "{board}"', f'stage = "{seen}"']
            photos += [] if light is None else [f'light = "{light}"']
    (folder / "job.toml").write_text("\n".join([*lines, *photos]) + "\n", encoding="utf-8")


def _zone(
    job: Any,  # noqa: ANN401 - a Job
    path: str,
    keys: Mapping[str, Any],
    stage: str,
    light: str | None,
    u95: float | None,
) -> list[ZoneResult]:
    board, zone = job.zone(path)
    Labs = keys["Lab"] if isinstance(keys["Lab"], Mapping) else {stage: keys["Lab"]}
    return [
        ZoneResult(
            id=path, board=board.id, zone=zone.id, stage=seen, light=light, species=board.species,
            treatment=zone.treatment, stain=zone.stain, lab=tuple(float(value) for value in Lab),
            lab_u95=None if u95 is None else (u95, u95, u95), blotch=0.2, blotch_u95=0.1, patch_mm=8.0, figure=0.5,
            area_mm2=8100.0, masked=0.0, photos=(f"{board.id}-{seen}.jpg",),
        )
        for seen, Lab in Labs.items()
    ]  # fmt: skip


def _difference(a: ZoneResult, b: ZoneResult, u95: float | None) -> DifferenceResult:
    parts = components(a.lab, b.lab)
    return DifferenceResult(
        a=a.id, b=b.id, stage=a.stage, light=a.light, de00=float(delta_E_00(a.lab, b.lab)), de00_u95=u95,
        de76=float(delta_E_ab(a.lab, b.lab)), dl=float(parts.dL), da=float(parts.da), db=float(parts.db),
        dc=float(parts.dC), dh=float(parts.dH),
    )  # fmt: skip


def _verdicts(
    zones: Sequence[ZoneResult],
    target: Mapping[str, Any],
    aimed: set[Any],
    differences: Sequence[DifferenceResult],
    u95: float | None,
) -> tuple[VerdictResult, ...]:
    groups: dict[tuple[str, str | None, str], list[ZoneResult]] = defaultdict(list)
    for zone in zones:
        if zone.id not in aimed and zone.stage not in ("bare", "treated"):
            groups[(zone.treatment, zone.stain, zone.stage)].append(zone)
    judged = []
    for (treatment, stain, stage), of in groups.items():
        to_target = {(found.b, found.stage): found.de00 for found in differences}
        given = target.get("lab")
        if given is not None and target.get("stage") in (None, stage):
            de00: float | None = float(np.mean([delta_E_00(given, zone.lab) for zone in of]))
        else:
            known = [to_target[zone.id, stage] for zone in of if (zone.id, stage) in to_target]
            de00 = float(np.mean(known)) if known else None
        judged.append((de00, treatment, stain, stage, of))
    judged.sort(key=lambda row: float("inf") if row[0] is None else row[0])
    return tuple(
        VerdictResult(
            treatment=treatment, stain=stain, species=of[0].species, stage=stage, light=of[0].light,
            zones=tuple(zone.id for zone in of), boards=len({zone.board for zone in of}), rank=rank, de00=de00,
            de00_u95=None if de00 is None else u95, colour="cannot tell", blotch=None, blotch_u95=None,
            evenness="not judged", overall="cannot tell",
            advice="colour cannot be told: the target was agreed on topcoated wood; rests on one board.",
        )
        for rank, (de00, treatment, stain, stage, of) in enumerate(judged, 1)
    )  # fmt: skip
