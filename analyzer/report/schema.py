"""What does `results.json` promise?  The JSON Schema, made from the result dataclasses.

``python -m analyzer.report.schema > shared/results.schema.json`` writes it anew.
"""

import json
import sys
from typing import Any

import msgspec

from analyzer.results import FORMAT, STAGES, Results

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ABOUT = (
    f"results.json of Evenboard, format {FORMAT}. CIELAB is D50, 2 degree observer. Lengths are in mm, whatever the "
    "job's units. Every *_u95 is a 95 % half-width; null means unknown and is never written as 0."
)
FRACTION = {"minimum": 0, "maximum": 1}
AT_LEAST_0 = {"minimum": 0}
# Meaning and bounds of the keys whose name does not say it all: "class.key".
NOTES: dict[str, dict[str, Any]] = {
    "Results.format": {"const": FORMAT},
    "Results.job": {"description": "The job file as read; its lengths are in the job's own units."},
    "PhotoResult.file": {"description": "As in job.toml."},
    "PhotoResult.sha256": {
        "description": "Of the photo file; null if it could not be read.",
        "pattern": "^[0-9a-f]{64}$",
    },
    "PhotoResult.stage": {"enum": list(STAGES)},
    "PhotoResult.light": {"description": "Name of the light, null when the job file gives none."},
    "PhotoResult.mm_per_px": {"description": "Scale on the board, before resampling.", "exclusiveMinimum": 0},
    "PhotoResult.light_range": {
        "description": "(max - min) / max of the light map over the board; null: not mapped.",
        **FRACTION,
    },
    "PhotoResult.light_residual": {
        "description": "Relative: how far parts of the white paper or plain sheet lie from the light that the others "
        "foretell, root mean square; null: not mapped.",
        **AT_LEAST_0,
    },
    "PhotoResult.correction": {
        "description": "By what its colours were corrected; stored: by an earlier photo of a chart or step card with "
        "the same camera, lens and light, beside the gray card. Null: it was not measured, or an older version wrote "
        "this.",
    },
    "ChartResult.left_out": {
        "description": "CIEDE2000, mean and 95th percentile: the chart's patches, each by a fit without it.",
    },
    "ChartResult.wood": {
        "description": "CIEDE2000, mean and 95th percentile predicted for stained wood.",
    },
    "ZoneResult.id": {"description": "board/zone"},
    "ZoneResult.stage": {"enum": list(STAGES)},
    "ZoneResult.lab": {"description": "CIELAB of the mean over linear tristimulus values."},
    "ZoneResult.blotch": {
        "description": "Blotch index, L*: lightness variation of 4 to 50 mm, figure left out.",
        **AT_LEAST_0,
    },
    "ZoneResult.patch_mm": {"description": "Size of the patches.", **AT_LEAST_0},
    "ZoneResult.figure": {"description": "The wood's own figure, left out of the blotch index, L*.", **AT_LEAST_0},
    "ZoneResult.area_mm2": {"description": "Measured area.", **AT_LEAST_0},
    "ZoneResult.masked": {"description": "Fraction of the zone left out as glare, specks or covered.", **FRACTION},
    "ZoneResult.bare_blotch": {
        "description": "Blotch index of the same zone in the bare photos of its board, L*. Null: there are none.",
        **AT_LEAST_0,
    },
    "ZoneResult.added_blotch": {
        "description": "What is left of `blotch` when what was in the bare wood is taken out as variance, L*. "
        "Verdicts count `blotch`.",
        **AT_LEAST_0,
    },
    "ZoneResult.bands": {
        "description": "Blotch of the octaves 4-8, 8-16, 16-32 and 32-64 mm of wavelength, L*, figure left out.",
    },
    "ZoneResult.visible_share": {
        "description": "Fractions of the measured area that are darker, and lighter, than the zone by more than 1 L*.",
    },
    "ZoneResult.blotch_arm": {
        "description": "Blotch, L*, its waves weighted by the eye's contrast sensitivity (Mannos & Sakrison 1974, "
        "at most 0.98) from 0.7 m. Compare it with itself, not with `blotch`.",
        **AT_LEAST_0,
    },
    "ZoneResult.blotch_room": {"description": "As `blotch_arm`, from 2.5 m.", **AT_LEAST_0},
    "ZoneResult.drift": {
        "description": "Change of L* from end to end of the zone: along the grain to the right, and across it down. "
        "Where the light was not mapped, the light's drift is in it.",
    },
    "ZoneResult.lap": {
        "description": "Bands across the grain of 15 to 80 mm, L*, root mean square, beyond what clouds without "
        "direction put there.",
        **AT_LEAST_0,
    },
    "ZoneResult.figure_kept": {
        "description": "Figure over that of the same zone in the bare photos of its board: 1 when all was kept. Null: "
        "there are none, or hardly any figure in them.",
        **AT_LEAST_0,
    },
    "ZoneResult.blotch_levelled": {
        "description": "`blotch` times the ratio of dL*/d ln Y (CIE 1976) at the lightness of its board's control and "
        "at its own, L*: how blotchy it would be on ground as light as the control's.",
        **AT_LEAST_0,
    },
    "ZoneResult.photos": {"description": "Files pooled into these numbers."},
    "DifferenceResult.a": {"description": "board/zone; d* are b minus a."},
    "DifferenceResult.stage": {"enum": list(STAGES)},
    "DifferenceResult.de00": {"description": "CIEDE2000, weights 1:1:1.", **AT_LEAST_0},
    "DifferenceResult.de76": {"description": "Euclidean distance in CIELAB.", **AT_LEAST_0},
    "DifferenceResult.grade": {
        "description": "Gray scale grade for change in colour, ISO 105-A05: 5 none, 1 great; null in older files.",
    },
    "DifferenceResult.dc": {"description": "Difference in chroma."},
    "DifferenceResult.dh": {"description": "Metric hue difference, Delta H*ab."},
    "VerdictResult.stage": {"enum": list(STAGES)},
    "VerdictResult.zones": {"description": "board/zone of each zone that carries this treatment."},
    "VerdictResult.boards": {"description": "Boards are the replicates.", **AT_LEAST_0},
    "VerdictResult.rank": {"description": "1 is the best.", "minimum": 1},
    "VerdictResult.de00": {"description": "CIEDE2000 from the target.", **AT_LEAST_0},
    "VerdictResult.blotch": {"description": "Blotch index, L*.", **AT_LEAST_0},
    "AnswerResult.treatment": {"description": "null when no treatment can be named."},
}


def results_schema() -> dict[str, Any]:
    """Make the JSON Schema (draft 2020-12) of `results.json`."""
    made = msgspec.json.schema(Results)
    for kind, definition in made["$defs"].items():
        for key, about in definition["properties"].items():
            _annotate(about, NOTES.get(f"{kind}.{key}", {}))
            if key.endswith("_u95"):
                _bound_above_0(about)
    return {"$schema": DIALECT, "title": "Evenboard results", "description": ABOUT, **made}


def schema_text() -> str:
    """Write the schema as it stands in `shared/results.schema.json`."""
    return json.dumps(results_schema(), indent=2) + "\n"


def _annotate(about: dict[str, Any], note: dict[str, Any]) -> None:
    """Bounds of a nullable number belong to its number, the description to the whole."""
    for word, value in note.items():
        _set_on_values(about, word, value) if word != "description" else about.update(description=value)


def _bound_above_0(about: dict[str, Any]) -> None:
    for choice in about.get("anyOf", [about]):
        for number in choice.get("prefixItems", [choice]):
            if number.get("type") == "number":
                number["exclusiveMinimum"] = 0


def _set_on_values(about: dict[str, Any], word: str, value: object) -> None:
    for choice in about.get("anyOf", [about]):
        if choice.get("type") != "null":
            choice[word] = value


if __name__ == "__main__":
    sys.stdout.write(schema_text())
