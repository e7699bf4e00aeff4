"""On how many boards is a trial made, and what can so many show?

Boards are the replicates: each treatment is held against the controls of its own board, and each board gives one
paired difference. Of one board nobody can tell whether the difference is due to the treatment or to that board.
"""

from dataclasses import dataclass
from typing import Final

from analyzer.plan_request import DEFAULT_BOARDS, DEFAULT_SPREAD, PlanRequest
from analyzer.power import ALPHA, boards_needed, power_of, smallest_seen

SHOWN: Final = (2, 3, 4, 6, 8)  # numbers of boards that the table tells, beside the plan's own


@dataclass(frozen=True, slots=True)
class CanShow:
    """What so many boards of one wood can show."""

    boards: int
    smallest: float  # difference of blotch, L*, that is seen with the plan's power


@dataclass(frozen=True, slots=True)
class HowMany:
    """How often the trial is repeated on each wood, and why. Differences and spread in L* of the blotch index."""

    repeats: int
    wanted: float | None  # the smallest difference asked for; None: the number was given or is the least
    power: float  # how often a difference that is there is seen, 0 to 1
    level: float  # how often one is seen where there is none
    spread: float  # standard deviation of the difference from board to board
    spread_is_assumed: bool
    smallest: float  # what is seen on `repeats` boards with `power`
    chance: float | None  # of seeing `wanted` on `repeats` boards; None without `wanted`
    table: tuple[CanShow, ...]
    sentences: tuple[str, ...]


def how_many(request: PlanRequest) -> HowMany:
    """Choose the number of boards, and say what it can show.

    Parameters
    ----------
    request : PlanRequest
        Names the number, or the smallest difference of blotch to be seen, or neither: then it is the least, two.

    Returns
    -------
    HowMany

    Raises
    ------
    ValueError
        If no number of boards that can be searched shows a difference as small as asked for.
    """
    spread = DEFAULT_SPREAD if request.spread is None else request.spread
    wanted, power = request.smallest, request.power
    if request.boards is not None:
        repeats = request.boards
    elif wanted is not None:
        repeats = boards_needed(wanted, spread, power=power)
    else:
        repeats = DEFAULT_BOARDS
    smallest = smallest_seen(repeats, spread, power=power)
    chance = None if wanted is None else power_of(repeats, wanted, spread)
    table = tuple(CanShow(n, smallest_seen(n, spread, power=power)) for n in sorted({*SHOWN, repeats}))
    is_assumed = request.spread is None
    sentences = _sentences(repeats, wanted, smallest, power, spread, is_assumed=is_assumed)
    return HowMany(repeats, wanted, power, ALPHA, spread, is_assumed, smallest, chance, table, sentences)


def _sentences(
    repeats: int, wanted: float | None, smallest: float, power: float, spread: float, *, is_assumed: bool
) -> tuple[str, ...]:
    """Say it in a finisher's words."""
    often = f"{100 * power:.0f} of 100"
    if wanted is not None:
        first = (
            f"To see a difference of blotch of {wanted:g} (L*) in {often} trials, each treatment goes on {repeats} "
            "boards of each wood."
        )
    else:
        first = (
            f"Each treatment goes on {repeats} boards of each wood. So many show a difference of blotch of "
            f"{smallest:.2g} (L*) or more in {often} trials; a smaller one may well stay hidden."
        )
    varies = (
        f"That holds if the difference between a treatment and its control varies by {spread:g} (L*, standard "
        "deviation) from board to board"
    )
    known = (
        ", which is assumed: nobody has published it. After the first boards, put what they show into [plan] as spread."
        if is_assumed
        else ", as job.toml says."
    )
    pooled = (
        "It is reckoned for one treatment alone and for nothing known beforehand. Measuring shares the spread among "
        "all treatments on a wood, so that several treatments may show somewhat more."
    )
    one = (
        "One board alone can show none of this: whether a difference comes from the treatment or from that board "
        "cannot be told, however many photos are taken of it. Photos of one board tell how well it was photographed; "
        "only further boards tell how the next one will turn out."
    )
    return first, varies + known, pooled, one
