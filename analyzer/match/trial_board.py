"""Which trial board would test a mix?  A table to be pasted into job.toml."""

import json
from typing import Any, Final

from analyzer.job import Board, Job, Zone
from analyzer.match.held_pot import HeldPot
from analyzer.match.mix_words import in_words
from analyzer.match.mixing import Parts
from analyzer.recipe_fields import STEP_KEYS

_ZONE: Final = {"mm": 100, "in": 4}  # along the grain, in the job's units
_WIDTH: Final = {"mm": 150, "in": 6}
_OF_STAIN: Final = ("dilution", "stain_coats", "notes")  # the mix and its clear base say these themselves


def trial_board(job: Job, held: HeldPot, parts: Parts) -> str:
    """Write one `[[board]]` with the mix between unstained wood and the stain that it holds most of.

    Parameters
    ----------
    job : Job
    held : HeldPot
    parts : Parts
        The mix.

    Returns
    -------
    text : str
        TOML. The recipe is that of a zone with the same treatment; the unstained zone shows the new board's own wood,
        the stain alone ties it to the boards that the mix was worked out from.
    """
    main = held.stains[max(range(len(parts.parts)), key=parts.parts.__getitem__)]
    like = _like(job, held, main)
    board, zone = like
    tried: dict[str, Any] = {key: zone.recipe[key] for key in _OF_STAIN[:2] if key in zone.recipe}
    coats: dict[str, Any] = {"stain_coats": held.coats} if held.coats > 1 else {}
    rows: list[tuple[str, dict[str, Any]]] = [
        ("unstained", {"stain": "none"}),
        ("mix", {"stain": in_words(held.stains, parts), **coats}),
        ("stain-alone", {"stain": main, **tried}),
    ]
    length = _ZONE[job.units]
    lines = ["[[board]]", *_keys({"id": _free_id(job), "species": board.species})]
    lines += _keys({"length": length * len(rows), "width": _WIDTH[job.units]})
    steps = {key: zone.recipe[key] for key in STEP_KEYS if key in zone.recipe and key not in _OF_STAIN}
    for place, (name, own) in enumerate(rows):
        span = [place * length, (place + 1) * length]
        keys = {"id": name, "treatment": held.treatment, "span": span, **own, **steps}
        lines += ["", "  [[board.zone]]", *(f"  {line}" for line in _keys(keys))]
    return "\n".join(lines) + "\n"


def _like(job: Job, held: HeldPot, stain: str) -> tuple[Board, Zone]:
    """A zone of the same treatment, with the same stain where there is one."""
    with_it = [patch.id for patch in held.patches if patch.stain == stain]
    return job.zone((with_it or [held.patches[0].id])[0])


def _free_id(job: Job) -> str:
    taken = {board.id for board in job.boards}
    return next(name for k in range(1, len(taken) + 2) if (name := f"mix-{k}") not in taken)


def _keys(keys: dict[str, Any]) -> list[str]:
    return [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in keys.items()]
