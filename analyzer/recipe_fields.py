"""Which facts of a recipe can be recorded, what does each mean, and in which unit?

This is the one list: the reader of `job.toml`, the comparison of two recipes and the record all go by it. A step is
what was done and could be done again; a circumstance is what happened to hold that day, with that board. Two boards
with the same steps are replicates of one recipe, whatever their circumstances.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

# Some are named after the unit in which two values are compared
Kind = Literal[
    "text", "count", "percent", "time", "grit", "grits", "dilution", "film", "celsius", "sheen", "day", "yes"
]


@dataclass(frozen=True, slots=True)
class RecipeField:
    """One fact of a recipe."""

    key: str  # in job.toml
    words: str  # as a finisher says it
    kind: Kind
    meaning: str
    is_step: bool = True  # False: a circumstance


STEPS: Final = (
    RecipeField("sanding", "sanding", "grits", "grits in their order, the last one the stop grit"),
    RecipeField("grit_scale", "grit scale", "text", 'which scale the grits are of: "P" or "CAMI"'),
    RecipeField("sander", "sander", "text", "machine or block, and the pass by hand along the grain"),
    RecipeField("raised", "grain raised", "yes", "wetted and dried before the last sanding: true or false"),
    RecipeField("glue", "glue", "text", "what the joints are glued with; its smears stay light under stain"),
    RecipeField("masked", "masked faces", "text", "which faces were taped off"),
    RecipeField("parent_solids", "solids as bought", "percent", "of the pre-treatment before thinning, by volume"),
    RecipeField("dilution", "dilution", "dilution", "parts of thinner to one part"),
    RecipeField("solids", "solids as used", "percent", "of the pre-treatment as it was used, by volume"),
    RecipeField("treatment_coats", "coats of pre-treatment", "count", "how many coats of it"),
    RecipeField("wait", "wait", "time", "between pre-treatment and stain"),
    RecipeField("wait_ended", "stained over", "text", '"wet" or "dry": how the pre-treatment was when stained'),
    RecipeField("scuff", "scuff grit", "grit", "between pre-treatment and stain"),
    RecipeField("stain_kind", "kind of stain", "text", "dye, pigment or gel; in oil, water or solvent"),
    RecipeField("stirred", "stirred", "text", "how, and how long before"),
    RecipeField("method", "way of staining", "text", "wiped, brushed, sprayed or flooded"),
    RecipeField("stain_coats", "coats of stain", "count", "how many coats of it"),
    RecipeField("dwell", "dwell", "time", "from putting the stain on to wiping it off"),
    RecipeField("wipe", "wiping off", "text", "in which direction and order, with what"),
    RecipeField("dry", "drying of the stain", "time", "between stain and the next coat"),
    RecipeField("sealer", "sealer", "text", "which one"),
    RecipeField("sealer_coats", "coats of sealer", "count", "how many coats of it"),
    RecipeField("sealer_scuff", "scuff of the sealer", "grit", "between sealer and the next coat"),
    RecipeField("glaze", "glaze", "text", "which glaze or toner, over what"),
    RecipeField("topcoat", "topcoat", "text", "which one"),
    RecipeField("topcoat_coats", "coats of topcoat", "count", "how many coats of it"),
    RecipeField("topcoat_scuff", "scuff between topcoats", "grit", "between two of them"),
    RecipeField("wet_film", "wet film", "film", "of one coat, with its unit"),
    RecipeField("sheen", "sheen", "sheen", "in words, or gloss units from 0 to 100"),
    RecipeField("cure", "cure", "time", "between the last coat and use"),
    RecipeField("notes", "notes", "text", "anything else"),
)

CIRCUMSTANCES: Final = (
    RecipeField("lot", "lot", "text", "delivery of wood", is_step=False),
    RecipeField("supplier", "supplier", "text", "of the wood", is_step=False),
    RecipeField("cut", "cut", "text", "flat or quarter sawn, rotary or sliced veneer", is_step=False),
    RecipeField("sapwood", "sapwood", "percent", "share of the face", is_step=False),
    RecipeField("moisture", "moisture of the wood", "percent", "of its dry weight", is_step=False),
    RecipeField(
        "paper_wear", "wear of the paper", "text", "new, half worn; worn paper leaves it lighter", is_step=False
    ),
    RecipeField("batch", "batch of the stain", "text", "the number on the can, or of the mix", is_step=False),
    RecipeField("wiper", "wiped by", "text", "who wiped the stain off", is_step=False),
    RecipeField("person", "done by", "text", "who did the rest", is_step=False),
    RecipeField("temperature", "temperature", "celsius", "of the room, with its unit", is_step=False),
    RecipeField("humidity", "humidity", "percent", "relative, of the room", is_step=False),
    RecipeField("date", "date", "day", "on which it was done", is_step=False),
    RecipeField("order", "place in the order", "count", "which of the zones was done first, second, …", is_step=False),
    RecipeField("touch_up", "touch-up", "text", "what a repair was coloured with", is_step=False),
    RecipeField("kept", "kept where", "text", "place of the board, dark and dry", is_step=False),
)

FIELDS: Final[Mapping[str, RecipeField]] = {field.key: field for field in (*STEPS, *CIRCUMSTANCES)}
STEP_KEYS: Final = tuple(field.key for field in STEPS)
CIRCUMSTANCE_KEYS: Final = tuple(field.key for field in CIRCUMSTANCES)


def recorded(board: Mapping[str, Any], zone: Mapping[str, Any]) -> dict[str, Any]:
    """All that is recorded of a zone: its own facts, and those of its board where it says nothing else.

    Parameters
    ----------
    board, zone : mapping of str to value
        The tables of a parsed job file, or what a Board and a Zone hold; other keys are passed over.

    Returns
    -------
    facts : dict
        In the order of the list of fields.
    """
    return {key: zone[key] if key in zone else board[key] for key in FIELDS if key in zone or key in board}
