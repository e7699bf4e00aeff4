"""What does job.toml say about the trial that is to be planned, and the parts that it is for?"""

import itertools
import math
import re
from collections.abc import Collection, Mapping
from datetime import date, datetime, time
from typing import Any, Final

from analyzer.job import DEFAULT_MARGIN_MM
from analyzer.jobfile_boards import LONGEST_BOARD_MM, MM_PER_UNIT
from analyzer.jobfile_recipe import RECIPE_KEYS, read_recipe
from analyzer.jobfile_table import Interval, Table, show
from analyzer.plan_request import (
    DEFAULT_POWER,
    LEAST_SHOWN_MM,
    LEAST_ZONES,
    Application,
    Candidate,
    Conditions,
    Paper,
    Part,
    PlanRequest,
    Substrate,
)

CANDIDATE_KEYS = ("id", "treatment", "stain", *RECIPE_KEYS)
AIR_KEYS = ("temperature", "humidity", "use_humidity", "wood_moisture")
# Of a pre-treatment, so each candidate's own: a control has none.
_OF_PRE_TREATMENT = ("parent_solids", "dilution", "solids", "treatment_coats", "wait", "wait_ended", "scuff")
PLAN_RECIPE_KEYS = tuple(key for key in RECIPE_KEYS if key not in _OF_PRE_TREATMENT)
PLAN_KEYS = (
    *("candidate", "start", "hours", "stain", "applied"),
    *PLAN_RECIPE_KEYS,
    *AIR_KEYS,
    *("board_length", "board_width", "boards", "smallest", "power", "spread", "first_board", "seed", "paper"),
)
PART_KEYS = ("id", "species", "area", "length", "width", "count", "faces", "glue_faces", "substrate")

MOST_CANDIDATES = 40  # chosen: nobody tries more at once, and every one takes a zone on every board
MOST_BOARDS = 60  # chosen, of each wood: a day's sanding; more is a slipped digit
LARGEST_SEED = 2**32 - 1
_MOST_AREA_M2 = 10_000.0  # chosen: no finishing shop's single job is larger
_M2_PER_UNIT: Final = {"mm": 1.0, "in": 0.3048**2}  # areas are in m² beside mm, in ft² beside in
_LETTERS = re.compile(r"[A-Z]{1,2}")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")

_PERCENT = Interval(0, 100)
_START_WORDS = 'a day as year-month-day: "2026-12-07"'
_HOURS_WORDS = 'when work begins and ends: ["8:00", "17:00"]'


def read_plan(
    top: Table, units: str | None, tables: Mapping[str, Collection[str]], *, required: bool = False
) -> tuple[PlanRequest | None, tuple[Part, ...]]:
    """Read [plan] and every [[part]].

    Parameters
    ----------
    top : Table
        The whole job file.
    units : str or None
        Of its lengths; None when not known, after a problem was noted.
    tables : mapping of str to collection of str
        The keys of every table, by its header.
    required : bool
        A plan is to be made: both must be there.

    Returns
    -------
    PlanRequest or None
        None when there is none, or when problems were noted.
    tuple of Part
        Without those that have problems.
    """
    table = top.table("plan", required=required)
    request = None if table is None else _request(table, units, tables)
    wanted = required or "part" in top.content
    return request, _parts(top, units, tables) if wanted else ()


def _request(table: Table, units: str | None, tables: Mapping[str, Collection[str]]) -> PlanRequest | None:
    """Read [plan]."""
    table.unknown(PLAN_KEYS, tables)
    candidates = _candidates(table, tables)
    start = _start(table)
    stain = table.text("stain")
    recipe = {key: value for key, value in read_recipe(table).items() if key in PLAN_RECIPE_KEYS}
    applied: tuple[Application, ...] = ("wiped", "brushed", "sprayed")
    papers: tuple[Paper, ...] = ("a4", "letter")
    least_mm = LEAST_SHOWN_MM + 2 * DEFAULT_MARGIN_MM
    length_mm = _length_mm(table, "board_length", units, LEAST_ZONES * least_mm, "two controls and a treatment")
    width_mm = _length_mm(table, "board_width", units, least_mm, "its margins and something between them")
    boards, smallest = _how_many(table)
    power = table.number("power", Interval(above=0.05, most=0.999), "a chance above 0.05, up to 0.999: 0.8 for 80 %")
    request = PlanRequest(
        candidates=candidates,
        start=start or date.min,
        stain=stain,
        topcoat=recipe.get("topcoat"),
        recipe=recipe,
        applied=table.choice("applied", applied),
        conditions=_conditions(table, units),
        hours=_hours(table),
        board_length_mm=length_mm,
        board_width_mm=width_mm,
        boards=boards,
        smallest=smallest,
        power=DEFAULT_POWER if power is None else power,
        spread=table.number("spread", Interval(above=0, most=100), "a lightness difference above 0 (L*)"),
        first_board=_first_board(table),
        seed=_whole(table, "seed", 0, LARGEST_SEED),
        paper=table.choice("paper", papers) or ("letter" if units == "in" else "a4"),
    )
    return request if start and candidates else None


def _start(table: Table) -> date | None:
    """Read the first day of work: a TOML date, or the same as text."""
    value = table.content.get("start")
    if isinstance(value, datetime):
        value = None  # a moment is no day; `wrong` shows it as written
    if isinstance(value, str):
        try:
            value = date.fromisoformat(value)
        except ValueError:
            value = None
    if isinstance(value, date):
        return value
    table.wrong("start", _START_WORDS)
    return None


def _hours(table: Table) -> tuple[time, time]:
    """Read when work begins and ends."""
    default = PlanRequest((), date.min).hours
    if "hours" not in table.content:
        return default
    value = table.content["hours"]
    ends = [_clock(item) for item in value] if isinstance(value, list) else []
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and ends[0] < ends[1]:
        return ends[0], ends[1]
    table.wrong("hours", _HOURS_WORDS)
    return default


def _clock(value: object) -> time | None:
    """Read a time of day: TOML's own, or text such as "8:30"."""
    if isinstance(value, time):
        return value.replace(second=0, microsecond=0)
    found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    return time(int(found[1]), int(found[2])) if found else None


def _candidates(table: Table, tables: Mapping[str, Collection[str]]) -> tuple[Candidate, ...]:
    """Read every [[plan.candidate]]: treatments other than the control, each once."""
    listed = list(itertools.islice(table.tables("candidate"), MOST_CANDIDATES + 1))
    if len(listed) > MOST_CANDIDATES:
        table.wrong("candidate", f"at most {MOST_CANDIDATES} treatments to try", found="more")
        return ()
    candidates: list[Candidate] = []
    recipes: list[tuple[Any, ...]] = []
    for number, plain in enumerate(listed, 1):
        name = plain.content.get("treatment")
        shown = f'"{name}"' if isinstance(name, str) and name.isprintable() else f"number {number}"
        named = plain.named(f"candidate {shown}")
        candidate = _candidate(named, tables, [known.id for known in candidates])
        if candidate is None:
            continue
        said = (candidate.treatment.casefold(), candidate.stain, sorted(map(str, candidate.recipe.items())))
        if said in recipes:
            named.wrong("treatment", "each treatment once, or with another recipe", found=f"{shown} a second time")
        recipes.append(said)
        candidates.append(candidate)
    return tuple(candidates)


def _candidate(table: Table, tables: Mapping[str, Collection[str]], taken: Collection[str]) -> Candidate | None:
    """Read one treatment to try."""
    table.unknown(CANDIDATE_KEYS, tables)
    treatment = table.text("treatment", "the pre-treatment in quotes", required=True)
    stain, recipe = table.text("stain"), read_recipe(table)
    if treatment is None:
        return None
    if treatment.strip().casefold() == "none":
        hint = "Leave it out: a control without pre-treatment stands at both ends of every board by itself."
        table.wrong("treatment", "a pre-treatment", hint)
        return None
    zone_id = _zone_id(table, treatment, recipe, taken)
    return None if zone_id is None else Candidate(zone_id, treatment, stain, recipe)


def _zone_id(table: Table, treatment: str, recipe: dict[str, Any], taken: Collection[str]) -> str | None:
    """Read or make the id of its zones: its treatment in small letters, with its strength where that tells it apart."""
    if "id" in table.content:
        expected = "a short name in quotes, without / and without spaces at its ends, and not that of another zone"
        name = table.text("id", expected, required=True)
        if name is None:
            return None
        clash = name in taken or name.startswith("control")
        if clash or not name.isprintable() or name != name.strip() or "/" in name or "\\" in name:
            table.wrong("id", expected)
            return None
        return name
    plain = slug(treatment) or "treatment"
    if plain.startswith("control"):
        plain = f"try-{plain}"
    strength = next((slug(str(recipe[key])) for key in ("solids", "dilution", "wait") if key in recipe), "")
    tries = itertools.chain((plain, f"{plain}-{strength}"), (f"{plain}-{n}" for n in itertools.count(2)))
    return next(name for name in tries if name not in taken and not name.endswith("-"))


def slug(text: str) -> str:
    """Letters and digits of a text in lower case, joined by hyphens: a name that is easy to write on a board."""
    return re.sub(r"[^\w.]+", "-", text.casefold()).strip("-.")


def _how_many(table: Table) -> tuple[int | None, float | None]:
    """Read how many boards of each wood: a number, or the smallest difference that they shall show."""
    boards = _whole(table, "boards", 2, MOST_BOARDS, "One board is one board: what is due to it cannot be told.")
    smallest = table.number("smallest", Interval(above=0, most=100), "a difference of blotch above 0 (L*)")
    if "boards" in table.content and "smallest" in table.content:
        table.wrong("smallest", "either boards, or smallest (and power), not both")
    return boards, smallest


def _whole(table: Table, key: str, least: int, most: int, hint: str = "") -> int | None:
    """Read a whole number."""
    value = table.content.get(key)
    if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most:
        return value
    if key in table.content:
        is_small = isinstance(value, int) and value < least
        table.wrong(key, f"a whole number from {least} to {most}", hint if is_small else "")
    return None


def _first_board(table: Table) -> str:
    """Read the id of the first board; the others follow in the alphabet."""
    if "first_board" not in table.content:
        return "A"
    value = table.content["first_board"]
    if isinstance(value, str) and _LETTERS.fullmatch(value):
        return value
    table.wrong("first_board", 'one or two capital letters, "A" or "AA"')
    return "A"


def _conditions(table: Table, units: str | None) -> Conditions:
    """Read the climate. Temperatures are in °C beside mm and in °F beside in."""
    limits, unit = (Interval(14, 122), "°F") if units == "in" else (Interval(-10, 50), "°C")
    words = f"a temperature from {limits.least:g} to {limits.most:g} {unit}"
    temperature = table.number("temperature", limits, words)
    if temperature is not None and units == "in":
        temperature = (temperature - 32) / 1.8
    air, use = (
        table.number(key, _PERCENT, "a relative humidity from 0 to 100 (per cent)")
        for key in ("humidity", "use_humidity")
    )
    moisture = table.number("wood_moisture", _PERCENT, "the wood's moisture from 0 to 100 (per cent of its dry weight)")
    return Conditions(temperature, air, use, moisture)


def _length_mm(table: Table, key: str, units: str | None, least_mm: float = 0.0, room_for: str = "") -> float | None:
    """Read a length in the file's units, above 0 or with `room_for` what takes `least_mm`."""
    mm = MM_PER_UNIT[units] if units else 1.0
    least = math.ceil(least_mm / mm * 16) / 16 if units == "in" else least_mm
    limits = Interval(least=least, above=0, most=LONGEST_BOARD_MM / mm)
    lower = f"of at least {least:g} {units or ''}, for {room_for}" if room_for else "above 0"
    number = table.number(key, limits, f"a number {lower}, up to {limits.most:.0f} {units or ''}".strip())
    return None if number is None else number * mm


def _parts(top: Table, units: str | None, tables: Mapping[str, Collection[str]]) -> tuple[Part, ...]:
    """Read every [[part]]."""
    parts: list[Part] = []
    seen: set[str] = set()
    for number, plain in enumerate(top.tables("part"), 1):
        name = plain.content.get("id")
        shown = f'"{name}"' if isinstance(name, str) and name.isprintable() else f"number {number}"
        table = plain.named(f"part {shown}")
        table.unknown(PART_KEYS, tables)
        part_id = table.text("id", "a name in quotes", required=True)
        if part_id is not None and part_id in seen:
            table.wrong("id", "a name of its own", found=f"{show(part_id)} a second time")
        seen.add(part_id or "")
        species = table.text("species", "the kind of wood, in quotes", required=True)
        area_m2 = _area_m2(table, units)
        kinds: tuple[Substrate, ...] = ("solid", "veneer")
        substrate, glue = table.choice("substrate", kinds) or "solid", table.text("glue_faces")
        if part_id is not None and species is not None and area_m2 is not None:
            parts.append(Part(part_id, species.strip(), area_m2, glue, substrate))
    return tuple(parts)


def _area_m2(table: Table, units: str | None) -> float | None:
    """Read the area of a part: as such, or from length, width and how many pieces and faces there are."""
    unit = {"mm": "m²", "in": "ft²"}.get(units or "", "m²")
    per_unit = _M2_PER_UNIT[units] if units else 1.0
    measures = [key for key in ("length", "width", "count", "faces") if key in table.content]
    expected = f"either area in {unit}, of all pieces together, or length and width (and count, faces)"
    if "area" in table.content:
        if measures:
            table.wrong(measures[0], expected)
        area = table.number("area", Interval(above=0, most=_MOST_AREA_M2 / per_unit), f"an area above 0, in {unit}")
        return None if area is None else area * per_unit
    if not measures:
        table.wrong("area", expected)
        return None
    for key in ("length", "width"):
        if key not in table.content:
            table.wrong(key, expected)
    length_mm, width_mm = _length_mm(table, "length", units), _length_mm(table, "width", units)
    count, faces = _whole(table, "count", 1, 100_000), _whole(table, "faces", 1, 6)
    if length_mm is None or width_mm is None:
        return None
    return length_mm * width_mm * (count or 1) * (faces or 1) / 1e6
