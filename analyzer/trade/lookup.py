"""Which row does a finisher mean?  Own words in any case, plural or order, matched as whole words."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from typing import Generic, TypeVar

Row = TypeVar("Row")

NEAR = 3  # names that are offered when none is meant for certain (chosen)
_NEAR_ENOUGH = 0.6  # of difflib's ratio, its own default

# One finisher writes waterborne, another water-based: one word for all that are alike in it.
_SAME = {
    "waterborne": "water",
    "waterbased": "water",
    "oilbased": "oil",
    "solventbased": "solvent",
    "based": "",
    "borne": "",
    "and": "",
    "of": "",
    "the": "",
    "with": "",
    "grey": "gray",
    "colored": "coloured",
    "catalyzed": "catalysed",
    "precatalyzed": "precatalysed",
    "sanded": "sanding",
    "sized": "size",
    "sizing": "size",
    "thinned": "thin",
    "reduced": "thin",
    "conditioned": "conditioner",
    "toned": "toner",
    "toning": "toner",
    "washcoated": "washcoat",
}


@dataclass(frozen=True, slots=True)
class Found(Generic[Row]):
    """What a name was understood as. `row` None: not known, or more than one may be meant; `near` are the nearest."""

    asked: str
    row: Row | None
    near: tuple[str, ...] = ()


def words_of(text: str) -> tuple[str, ...]:
    """Split a text into words that can be compared: small letters, no accents, no plural, one spelling.

    Parameters
    ----------
    text : str
        "Maple, hard (sapwood)", "water-based dyes"

    Returns
    -------
    tuple of str
        ("maple", "hard", "sapwood"), ("water", "dye")
    """
    return _words_of(text)


@lru_cache(maxsize=4096)
def _words_of(text: str) -> tuple[str, ...]:
    plain = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    parts = re.findall(r"[a-z0-9]+", re.sub(r"(?<=[a-z])'s?(?![a-z])", "", plain))
    return tuple(word for word in (_SAME.get(one, one) for one in map(_singular, parts)) if word)


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("ches", "shes", "xes", "sses")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us")) else word


def find(
    asked: str,
    rows: Sequence[Row],
    names: Callable[[Row], Iterable[str]],
    *,
    may_stand_beside: frozenset[str] | None = None,
) -> Found[Row]:
    """Find the row that a text means.

    A row is meant when all words of one of its names stand in the text. The name with the most words counts, then the
    longest; a tie between rows is nobody's.

    Parameters
    ----------
    asked : str
    rows : sequence
    names : callable
        The names of a row, the one to be shown first.
    may_stand_beside : frozenset of str, optional
        The only words that the text may have beside a name, as `words_of` gives them. None: any.

    Returns
    -------
    Found
    """
    words = words_of(asked)
    having = frozenset(words)
    best: tuple[int, int] = (0, 0)
    meant: dict[int, Row] = {}
    for row in rows:
        for name in names(row):
            of_name = words_of(name)
            wanted = frozenset(of_name)
            if not wanted or not wanted <= having:
                continue
            if may_stand_beside is not None and not (having - wanted) <= may_stand_beside:
                continue
            score = len(wanted), sum(map(len, of_name))
            if score > best:
                best, meant = score, {}
            if score == best:
                meant[id(row)] = row
    if len(meant) == 1:
        return Found(asked, next(iter(meant.values())))
    tied = [_first(names(row)) for row in meant.values()]
    return Found(asked, None, tuple(tied[:NEAR]) or _near(words, rows, names))


def _near(words: tuple[str, ...], rows: Sequence[Row], names: Callable[[Row], Iterable[str]]) -> tuple[str, ...]:
    """Names that look alike, then those that share a word; never more than `NEAR`."""
    shown: dict[str, str] = {}
    for row in rows:
        for name in names(row):
            shown.setdefault(" ".join(words_of(name)), _first(names(row)))
    asked = " ".join(words)
    alike = [shown[one] for one in get_close_matches(asked, shown, n=2 * NEAR, cutoff=_NEAR_ENOUGH)]
    sharing = [first for one, first in shown.items() if set(one.split()) & set(words)]
    return tuple(dict.fromkeys([*alike, *sharing]))[:NEAR]


def _first(names: Iterable[str]) -> str:
    return next(iter(names))
