"""What differs between two recipes, what agrees, and what was not written down?"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from analyzer.errors import RecordError
from analyzer.job import Board, Job, Zone
from analyzer.jobfile import read_job
from analyzer.jobfile_table import nearest
from analyzer.recipe_fields import FIELDS, RecipeField, recorded
from analyzer.recorded_value import likeness
from analyzer.words import UNTREATED

FORMAT: Final = 1

# What every zone has, before the fields that may be left out
_ALWAYS: Final = (
    RecipeField("species", "wood", "text", "kind of wood", is_step=False),
    RecipeField("treatment", "pre-treatment", "text", "which one"),
    RecipeField("stain", "stain", "text", "which one"),
)
_OF_PRE_TREATMENT: Final = ("parent_solids", "dilution", "solids", "treatment_coats", "wait", "wait_ended", "scuff")
_NONE: Final = "none"
# Of what neither side recorded these are named, for they are what finishers suspect first (common practice, no source)
_ASKED_FIRST: Final = ("sanding", "grit_scale", "solids", "wait", "dwell", "method", "stain_coats", "batch", "wiper")

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ComparedField:
    """One fact on both sides, as written; None: not recorded."""

    key: str
    words: str
    first: str | None
    second: str | None
    is_step: bool  # False: a circumstance of that day and that board
    remark: str = ""


@dataclass(frozen=True, slots=True)
class RecipeComparison:
    """Two recipes side by side, each fact in the order of the work."""

    first: str  # which zones
    second: str
    differs: tuple[ComparedField, ...]
    agrees: tuple[ComparedField, ...]
    cannot_tell: tuple[ComparedField, ...]
    not_recorded: tuple[ComparedField, ...]  # on one side, or on both
    says: tuple[str, ...]  # what differs, in one sentence; then what cannot be told, and what was not recorded


@dataclass(frozen=True, slots=True)
class RecordComparison:
    """What `evenboard compare` answers."""

    format: int
    first: str
    second: str
    recipes: tuple[RecipeComparison, ...]  # one for two zones; for jobs one for each pre-treatment that both have
    only_first: tuple[str, ...] = ()  # pre-treatments that the other job does not have
    only_second: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Side:
    """Zones that are held against others."""

    name: str
    zones: tuple[tuple[str, Facts], ...]  # "A/washcoat" and what is recorded of it
    is_zone: bool

    def of_treatment(self, treatment: str) -> "_Side":
        alike = tuple(zone for zone in self.zones if _folded(zone[1]["treatment"]) == treatment)
        return _Side(self.name, alike, self.is_zone)

    @property
    def treatments(self) -> dict[str, str]:
        """Each as written, by its name without regard to case."""
        return {_folded(facts["treatment"]): str(facts["treatment"]) for _, facts in self.zones}

    @property
    def called(self) -> str:
        return ", ".join(path for path, _ in self.zones)


def compare_records(first: str, second: str) -> RecordComparison:
    """Compare the recipes of two zones, of two jobs, or of a zone and the zones of a job with its pre-treatment.

    Parameters
    ----------
    first, second : str
        Each a job folder, or a zone of one as "FOLDER:BOARD/ZONE".

    Returns
    -------
    RecordComparison

    Raises
    ------
    JobFileError
        If a job file is missing or does not hold.
    RecordError
        If there is no such zone, or two jobs have no pre-treatment in common.
    """
    a, b = _side(first), _side(second)
    if a.is_zone and b.is_zone:
        return RecordComparison(FORMAT, first, second, (_compared(a, b),))
    wanted = [name for name in a.treatments if name in b.treatments]
    if not wanted:
        had = " and ".join(", ".join(side.treatments.values()) or "no zone" for side in (a, b))
        raise RecordError(
            f"{first} and {second} have no pre-treatment in common: {had}.",
            remedy="Name the two zones: FOLDER:BOARD/ZONE.",
        )
    return RecordComparison(
        FORMAT,
        first,
        second,
        tuple(_compared(a.of_treatment(name), b.of_treatment(name)) for name in wanted),
        () if b.is_zone else tuple(text for name, text in a.treatments.items() if name not in b.treatments),
        () if a.is_zone else tuple(text for name, text in b.treatments.items() if name not in a.treatments),
    )


def compare_recipes(first: Facts, second: Facts, names: tuple[str, str] = ("first", "second")) -> RecipeComparison:
    """Compare what is recorded of two zones.

    Parameters
    ----------
    first, second : mapping
        `species`, `treatment` and `stain`, and the fields of recipe_fields.py, as in job.toml.
    names : two of str
        What the two are called.
    """
    found: dict[str, list[ComparedField]] = {"same": [], "different": [], "cannot tell": [], "missing": []}
    for field in (*_ALWAYS, *FIELDS.values()):
        one, other = _value(first, field), _value(second, field)
        if field.key in _OF_PRE_TREATMENT and _NONE in (one, other) and (one == other or None in (one, other)):
            continue  # a control has none of these to be recorded
        kind: Literal["same", "different", "cannot tell", "missing"] = "missing"
        if one is not None and other is not None:
            kind = likeness(field, one, other, (first.get("grit_scale"), second.get("grit_scale")))
        remark = "the scale of the grit is not given" if kind == "cannot tell" else ""
        found[kind].append(ComparedField(field.key, field.words, _shown(one), _shown(other), field.is_step, remark))
    return RecipeComparison(
        first=names[0],
        second=names[1],
        differs=tuple(found["different"]),
        agrees=tuple(found["same"]),
        cannot_tell=tuple(found["cannot tell"]),
        not_recorded=tuple(found["missing"]),
        says=_said(found["different"], found["cannot tell"], found["missing"]),
    )


def zone_facts(board: Board, zone: Zone) -> dict[str, Any]:
    """All that a job file says of how a zone was made."""
    facts = recorded(board.circumstances, {**zone.recipe, **zone.circumstances})
    return {"species": board.species, "treatment": zone.treatment, "stain": zone.stain, **facts}


def split_zone(named: str) -> tuple[Path, str | None]:
    """Split "FOLDER:BOARD/ZONE"; a folder alone has no zone. A colon in the folder's own name does no harm."""
    folder, colon, zone = named.rpartition(":")
    if Path(named).is_dir() or not colon or not folder or "/" not in zone:
        return Path(named), None
    return Path(folder), zone


def _side(named: str) -> _Side:
    folder, path = split_zone(named)
    job = read_job(folder, while_shooting=True)
    if path is None:
        return _Side(named, _all_facts(job), is_zone=False)
    try:
        board, zone = job.zone(path)
    except KeyError as missing:
        paths = [zone_path for zone_path, _ in _all_facts(job)]
        near = nearest(path, paths)
        hint = f"Did you mean {near}?" if near else f"It has {', '.join(paths) or 'none'}."
        raise RecordError(f"{folder} has no zone {path}.", remedy=hint) from missing
    return _Side(named, ((path, zone_facts(board, zone)),), is_zone=True)


def _all_facts(job: Job) -> tuple[tuple[str, Facts], ...]:
    return tuple((f"{board.id}/{zone.id}", zone_facts(board, zone)) for board in job.boards for zone in board.zones)


def _compared(a: _Side, b: _Side) -> RecipeComparison:
    return compare_recipes(_in_common(a.zones), _in_common(b.zones), (a.called, b.called))


def _in_common(zones: Sequence[tuple[str, Facts]]) -> Facts:
    """One recipe of several zones: where they differ among themselves, all their values in one text."""
    facts: dict[str, Any] = {}
    for key in dict.fromkeys(key for _, each in zones for key in each):
        values = {_shown(each.get(key)) or "not recorded": each.get(key) for _, each in zones}
        facts[key] = next(iter(values.values())) if len(values) == 1 else " or ".join(values)
    return facts


def _value(facts: Facts, field: RecipeField) -> Any:  # noqa: ANN401 - whatever the job file holds
    value = facts.get(field.key)
    if value is None and field.key in _OF_PRE_TREATMENT and _folded(facts.get("treatment")) == UNTREATED:
        return _NONE
    return value


def _shown(value: object) -> str | None:
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _folded(text: object) -> str:
    return str(text).strip().casefold()


def _said(
    differs: Sequence[ComparedField], doubtful: Sequence[ComparedField], missing: Sequence[ComparedField]
) -> tuple[str, ...]:
    """The whole comparison in a finisher's words."""
    told = [f"{field.words} {field.first} against {field.second}" for field in differs]
    said = [f"What differs: {'; '.join(told)}." if told else "Nothing that was recorded on both sides differs."]
    if doubtful:
        told = [f"{field.words} {field.first} against {field.second}, {field.remark}" for field in doubtful]
        said.append(f"Cannot be told: {'; '.join(told)}.")
    if missing:
        said.append(f"Not recorded: {', '.join(_sides(missing))}.")
    return tuple(said)


def _sides(missing: Iterable[ComparedField]) -> Iterator[str]:
    """Which side lacks each; what only one lacks comes first, for that can still be asked."""
    both = {field.key: field.words for field in missing if field.first is None and field.second is None}
    for field in missing:
        if field.key not in both:
            yield f"{field.words} ({'first' if field.first is None else 'second'})"
    named = [both[key] for key in _ASKED_FIRST if key in both]
    yield from (f"{words} (both)" for words in named)
    if len(both) > len(named):
        yield f"and {len(both) - len(named)} more facts (both)"
