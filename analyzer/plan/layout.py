"""Which treatment lies where on which board?  Zones along the grain, a control at both ends, the rest by chance.

A board is a block and a zone a plot: all zones of a board are crossed by the same growth lines, and each treatment is
held against the controls of its own board. The order within a board is drawn at random, so that light, heart or
planer marks that change along a board favour nobody; over the boards of one wood the orders are rows of a randomised
Latin square, in which every treatment comes to every place as often (Fisher, The Design of Experiments, 1935).
"""

import itertools
import math
import random
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from analyzer.job import DEFAULT_MARGIN_MM, Board, Zone
from analyzer.plan_request import LEAST_ZONES, Candidate, PlanRequest

Units = Literal["mm", "in"]
Role = Literal["light", "dark", "middle"]

SHOWN_MM = 80.0  # of a zone inside its margins, along and across: what the measures' promises are made for
MOST_PER_BOARD: Final = 4  # treatments on a board whose length is ours to choose: 600 mm still fill one photo sharply
LONGEST_ZONE_MM = 200.0  # chosen: longer zones cost wood and sharpness and tell little more
_MM_PER_INCH = 25.4
_STEP_MM: Final = {"mm": 1.0, "in": _MM_PER_INCH / 16}  # as fine as anybody marks a board
_ZONE_MM: Final = {"mm": 100.0, "in": 4 * _MM_PER_INCH}  # of a board whose length is ours to choose
_WIDTH_MM: Final = {"mm": 150.0, "in": 6 * _MM_PER_INCH}
ROLES: tuple[Role, ...] = ("light", "dark", "middle")

_DRAWS = 100  # of a square, to find orders that no other board has


@dataclass(frozen=True, slots=True)
class PlannedZone:
    """One zone, as it will stand in job.toml. Lengths in mm from the board's left end."""

    id: str
    treatment: str  # "none" for a control
    start_mm: float
    end_mm: float
    stain: str | None = None
    recipe: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PlannedBoard:
    """One board to be made. `length_mm` runs along the grain; zones go over its full width."""

    id: str
    species: str
    role: Role  # which of the lot's boards to take
    repeat: int  # from 1: boards of one wood and repeat hold all treatments once between them
    length_mm: float
    width_mm: float
    margin_mm: float  # left out of every measure inside each zone's edge
    zones: tuple[PlannedZone, ...]

    def board(self) -> Board:
        """The same as job.toml says it."""
        return Board(
            self.id,
            self.species,
            self.length_mm,
            self.width_mm,
            tuple(
                Zone(z.id, z.treatment, (z.start_mm, z.end_mm), (0.0, self.width_mm), self.margin_mm, z.stain, z.recipe)
                for z in self.zones
            ),
        )


@dataclass(frozen=True, slots=True)
class Layout:
    """All boards of a trial, and what of them is less than it should be."""

    seed: int
    boards: tuple[PlannedBoard, ...]
    warnings: tuple[str, ...]  # whole sentences


def lay_out(request: PlanRequest, species: Sequence[str], repeats: int, job_name: str, units: Units) -> Layout:
    """Lay out a trial.

    Parameters
    ----------
    request : PlanRequest
        Treatments to try, and the size of the boards if it is given.
    species : sequence of str
        The woods of the parts, each once.
    repeats : int
        How many times each wood gets every treatment, 2 or more, on as many boards or sets of boards.
    job_name : str
        The seed is made from it when the request names none.
    units : "mm" or "in"
        Edges of zones lie on whole millimetres or sixteenths of an inch.

    Returns
    -------
    Layout
        The same for the same request.

    Raises
    ------
    ValueError
        For no wood, or fewer than two repeats: one board shows no spread.
    """
    if not species or repeats < 2:
        raise ValueError(f"lay_out: {len(species)} woods and {repeats} repeats; at least 1 and 2 are needed.")
    seed = default_seed(job_name, request.first_board) if request.seed is None else request.seed
    chance = random.Random(seed)  # noqa: S311 - an order that can be drawn again, not a secret
    per_board, length_mm = _size(request, units)
    width_mm = request.board_width_mm or _WIDTH_MM[units]
    ids = _board_ids(request.first_board)
    boards: list[PlannedBoard] = []
    taken: set[tuple[int, ...]] = set()
    for wood in species:
        for repeat, order in enumerate(_orders(len(request.candidates), repeats, taken, chance), 1):
            for share in _shares(order, per_board):
                tried = [request.candidates[k] for k in share]
                zones = _zones(tried, request, length_mm, units)
                role = ROLES[(repeat - 1) % len(ROLES)]
                boards.append(
                    PlannedBoard(next(ids), wood, role, repeat, length_mm, width_mm, DEFAULT_MARGIN_MM, zones)
                )
    return Layout(seed, tuple(boards), tuple(_warnings(boards, units)))


def default_seed(job_name: str, first_board: str) -> int:
    """Seed of a job that names none: the same job always gets the same plan, and its next round another order."""
    return zlib.crc32(f"{job_name}\n{first_board}".encode())


def boards_of_a_set(boards: Sequence[PlannedBoard], board: PlannedBoard) -> tuple[PlannedBoard, ...]:
    """All boards that hold the treatments of one repeat between them: they are cut from one plank."""
    return tuple(other for other in boards if (other.species, other.repeat) == (board.species, board.repeat))


def _size(request: PlanRequest, units: Units) -> tuple[int, float]:
    """How many treatments go on a board, and how long it is."""
    count = len(request.candidates)
    if request.board_length_mm is None:
        per_board = math.ceil(count / math.ceil(count / MOST_PER_BOARD))
        return per_board, (per_board + 2) * _ZONE_MM[units]
    step = _STEP_MM[units]
    zone_mm = math.ceil((SHOWN_MM + 2 * DEFAULT_MARGIN_MM) / step) * step
    fitting = max(1, math.floor(request.board_length_mm / zone_mm + 1e-9) - 2)
    return math.ceil(count / math.ceil(count / fitting)), request.board_length_mm


def _orders(count: int, repeats: int, taken: set[tuple[int, ...]], chance: random.Random) -> list[tuple[int, ...]]:
    """Orders of the treatments, one a repeat: Latin squares below each other, without orders that are taken."""
    orders: list[tuple[int, ...]] = []
    while len(orders) < repeats:
        wanted = min(count, repeats - len(orders))
        draws = [_latin_square(count, chance)[:wanted] for _ in range(_DRAWS)]
        square = min(draws, key=lambda rows: sum(row in taken for row in rows))  # the first of the best
        taken.update(square)
        orders += square
    return orders


def _latin_square(count: int, chance: random.Random) -> list[tuple[int, ...]]:
    """Rows of the cyclic square with rows, columns and letters shuffled."""
    rows, columns, letters = (_shuffled(range(count), chance) for _ in range(3))
    return [tuple(letters[(row + column) % count] for column in columns) for row in rows]


def _shuffled(items: Sequence[int], chance: random.Random) -> list[int]:
    """Shuffle (Fisher-Yates) by `random()` alone, which Python promises to keep the same for a seed."""
    shuffled = list(items)
    for last in range(len(shuffled) - 1, 0, -1):
        other = int(chance.random() * (last + 1))
        shuffled[last], shuffled[other] = shuffled[other], shuffled[last]
    return shuffled


def _shares(order: Sequence[int], per_board: int) -> Iterator[tuple[int, ...]]:
    """Share an order out over boards, as evenly as it goes."""
    boards = math.ceil(len(order) / per_board)
    for k in range(boards):
        yield tuple(order[len(order) * k // boards : len(order) * (k + 1) // boards])


def _zones(tried: Sequence[Candidate], request: PlanRequest, length_mm: float, units: Units) -> tuple[PlannedZone, ...]:
    """Zones of one board, from the left: a control, the treatments, a control."""
    count = len(tried) + 2
    used_mm = min(length_mm, count * LONGEST_ZONE_MM)
    step = _STEP_MM[units]
    inner = [round(used_mm * k / count / step) * step for k in range(1, count)]
    edges = [0.0, *inner, used_mm if used_mm == length_mm else round(used_mm / step) * step]
    zones = []
    for (start, end), candidate in zip(itertools.pairwise(edges), (None, *tried, None), strict=True):
        if candidate is None:
            name = "control-left" if start == 0 else "control-right"
            zones.append(PlannedZone(name, "none", start, end, request.stain, dict(request.recipe)))
        else:
            recipe = {**request.recipe, **candidate.recipe}
            stain = candidate.stain or request.stain
            zones.append(PlannedZone(candidate.id, candidate.treatment, start, end, stain, recipe))
    return tuple(zones)


def _board_ids(first: str) -> Iterator[str]:
    """A, B, … Z, AA, AB, … from the first on."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    names = itertools.chain(letters, (a + b for a in letters for b in letters), (f"Z{n}" for n in itertools.count(1)))
    return itertools.dropwhile(lambda name: name != first, names)


def _warnings(boards: Sequence[PlannedBoard], units: Units) -> Iterator[str]:
    """Say what the size of the boards loses."""
    board = boards[0]
    shortest = min((zone.end_mm - zone.start_mm for b in boards for zone in b.zones), default=0.0)
    shown = shortest - 2 * board.margin_mm
    if shown < SHOWN_MM - 1e-6:
        yield (
            f"Zones of {said(shortest, units)} show only {said(shown, units)} between their margins; the measures are "
            f"made for {said(SHOWN_MM, units)} or more. Each holds fewer patches, so that the ± of its blotch index is "
            f"about {_widened(shown)} times as wide. Boards of {said(LEAST_ZONES * _full(board), units)} or more lose "
            "nothing."
        )
    across = board.width_mm - 2 * board.margin_mm
    if across < SHOWN_MM - 1e-6:
        yield (
            f"Boards {said(board.width_mm, units)} wide show {said(across, units)} between their margins; the measures "
            f"are made for {said(SHOWN_MM, units)} or more. Fewer growth lines and patches are crossed, and the ± is "
            f"about {_widened(across)} times as wide. Boards {said(_full(board), units)} wide or wider lose nothing."
        )
    if any(b.zones[-1].end_mm < b.length_mm for b in boards):
        yield (
            f"Zones are at most {said(LONGEST_ZONE_MM, units)} long; the rest of each board, at its right end, is left "
            "over."
        )


def _full(board: PlannedBoard) -> float:
    """Length of a zone, or width of a board, on which nothing is lost."""
    return SHOWN_MM + 2 * board.margin_mm


def _widened(shown_mm: float) -> str:
    """How much less sure a smaller sample is: patches are independent, and their number grows with the area."""
    return f"{math.sqrt(SHOWN_MM / shown_mm):.1f}"


def said(mm: float, units: Units) -> str:
    """Say a length as it is marked on wood: whole millimetres, or inches and sixteenths."""
    if units == "mm":
        return f"{mm:.4g} mm" if abs(mm - round(mm)) > 1e-6 else f"{round(mm)} mm"
    sixteenths = round(mm / _STEP_MM["in"])
    whole, rest = divmod(sixteenths, 16)
    if not rest:
        return f"{whole} in"
    divisor = math.gcd(rest, 16)
    fraction = f"{rest // divisor}/{16 // divisor}"
    return f"{whole} {fraction} in" if whole else f"{fraction} in"
