"""What does the trade say: of defects, of usual schedules, of its words, and where does it contradict itself?

Source: the rows of `shared/trade_defects.csv`, `trade_schedules.csv`, `trade_words.csv` and `trade_questions.csv`.
"""

from dataclasses import dataclass

from analyzer.trade.lookup import Found, find
from analyzer.trade.origin import Origin
from analyzer.trade.table_file import Cells, Layout, read_table

DEFECTS = Layout("trade_defects.csv", ("id", "seen", "cause", "check", "source"), ("id", "seen", "cause"))
SCHEDULES = Layout(
    "trade_schedules.csv",
    ("id", "title", "species", "grits", "end_grit", "steps", "source"),
    ("id", "title", "species", "grits"),
)
WORDS = Layout("trade_words.csv", ("word", "meaning", "source"), ("word", "meaning"))
QUESTIONS = Layout(
    "trade_questions.csv",
    ("id", "question", "one_view", "other_view", "how_to_test", "source"),
    ("id", "question", "one_view", "other_view", "how_to_test"),
)


@dataclass(frozen=True, slots=True)
class Defect:
    """Something seen, its likely cause, and what tells or mends it."""

    id: str
    seen: str
    cause: str
    check: str
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class TypicalSchedule:
    """A usual way of work, to start a plan from."""

    id: str
    title: str
    species: tuple[str, ...]  # names of species.py; "any"
    grits: tuple[str, ...]  # on face grain, in order; the last is the stop grit
    end_grit: str  # the last on end grain; empty: as on the face
    steps: tuple[str, ...]
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Word:
    """A word of the trade and what is meant by it here."""

    word: str
    meaning: str
    source: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Question:
    """Where the trade contradicts itself: to be tested on one's own wood, not a rule."""

    id: str
    question: str
    one_view: str
    other_view: str
    how_to_test: str
    source: str
    origin: Origin


def all_defects() -> tuple[Defect, ...]:
    """All defects, the shop's own in place. Raises TradeTableError if the shop's table does not hold."""
    return read_table(DEFECTS, _defect, lambda row: row.id)


def find_defect(asked: str) -> Found[Defect]:
    """Find a defect by what is seen: "gray-white haze", "dark end grain"."""
    return find(asked, all_defects(), lambda row: (row.seen, row.id))


def all_typical_schedules() -> tuple[TypicalSchedule, ...]:
    """All usual schedules, the shop's own in place. Raises TradeTableError if the shop's table does not hold."""
    return read_table(SCHEDULES, _typical_schedule, lambda row: row.id)


def typical_schedule(species: str | None) -> TypicalSchedule:
    """The first usual schedule for a wood, by its name in species.py; that for any wood when it has none of its own.

    The general one comes first in the table and is passed over for a wood's own.
    """
    rows = all_typical_schedules()
    own = (row for row in rows if species is not None and species.casefold() in map(str.casefold, row.species))
    general = (row for row in rows if "any" in row.species)
    return next(own, None) or next(general)


def all_words() -> tuple[Word, ...]:
    """All words, the shop's own in place. Raises TradeTableError if the shop's table does not hold."""
    return read_table(WORDS, _word, lambda row: row.word.casefold())


def all_questions() -> tuple[Question, ...]:
    """All open questions, the shop's own in place. Raises TradeTableError if the shop's table does not hold."""
    return read_table(QUESTIONS, _question, lambda row: row.id)


def _defect(cells: Cells) -> Defect:
    id_, seen, cause = (cells.text(column, required=True) for column in ("id", "seen", "cause"))
    return Defect(id_, seen, cause, cells.text("check"), cells.source(), cells.origin)


def _typical_schedule(cells: Cells) -> TypicalSchedule:
    cells.text("grits", required=True)
    return TypicalSchedule(
        id=cells.text("id", required=True),
        title=cells.text("title", required=True),
        species=cells.many("species"),
        grits=cells.many("grits"),
        end_grit=cells.text("end_grit"),
        steps=cells.many("steps"),
        source=cells.source(),
        origin=cells.origin,
    )


def _word(cells: Cells) -> Word:
    word, meaning = (cells.text(column, required=True) for column in ("word", "meaning"))
    return Word(word, meaning, cells.source(), cells.origin)


def _question(cells: Cells) -> Question:
    id_, question, one, other, how = (cells.text(column, required=True) for column in QUESTIONS.columns[:-1])
    return Question(id_, question, one, other, how, cells.source(), cells.origin)
