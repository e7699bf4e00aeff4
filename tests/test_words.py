"""Directions and advice, in words a finisher can act on."""

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from analyzer.directions import A_LITTLE, directions
from analyzer.results import Colour, Evenness
from analyzer.words import (
    ColourFound,
    Doubt,
    EvennessFound,
    advice,
    colour_clause,
    colour_remedy,
    evenness_clause,
    evenness_remedy,
    half_width,
    listed,
)

Floats = NDArray[np.float64]
WOOD = np.array([38.0, 14.5, 22.0])  # hue angle 57 degrees, between red and yellow
GRAY = np.array([50.0, 0.5, 1.0])
SURE = np.eye(3) * 0.05**2


def polar(L_star: float, chroma: float, hue_deg: float) -> Floats:
    return np.array([L_star, chroma * math.cos(math.radians(hue_deg)), chroma * math.sin(math.radians(hue_deg))])


def words(target: ArrayLike, delta: ArrayLike, covariance: Floats = SURE) -> list[str]:
    return [direction.word for direction in directions(target, delta, covariance)]


# ---- directions


@pytest.mark.parametrize(
    ("target", "delta", "expected"),
    [
        (WOOD, (2.0, 0, 0), ["light"]),
        (WOOD, (-2.0, 0, 0), ["dark"]),
        (WOOD, polar(38, 30, 56.61) - polar(38, 26.35, 56.61), ["vivid"]),
        (WOOD, polar(38, 22, 56.61) - polar(38, 26.35, 56.61), ["dull"]),
        (WOOD, polar(38, 26.35, 66) - polar(38, 26.35, 56.61), ["yellow"]),
        (WOOD, polar(38, 26.35, 47) - polar(38, 26.35, 56.61), ["red"]),
        (polar(50, 30, 130), polar(50, 30, 140) - polar(50, 30, 130), ["green"]),
        (polar(50, 30, 130), polar(50, 30, 120) - polar(50, 30, 130), ["yellow"]),
        (polar(50, 30, 320), polar(50, 30, 310) - polar(50, 30, 320), ["blue"]),
        (polar(50, 30, 359), polar(50, 30, 2) - polar(50, 30, 359), ["yellow"]),  # red is just behind
        (GRAY, (0, 1.0, 0), ["red"]),
        (GRAY, (0, -1.0, 0), ["green"]),
        (GRAY, (0, 0, 1.0), ["yellow"]),
        (GRAY, (0, 0, -1.0), ["blue"]),
        (GRAY, (1.0, -1.0, 1.0), ["light", "green", "yellow"]),
    ],
)
def test_a_difference_is_called_by_its_directions(
    target: Floats, delta: tuple[float, float, float] | Floats, expected: list[str]
) -> None:
    assert words(target, delta) == expected


def test_value_comes_first_then_chroma_then_hue() -> None:
    off = polar(40.0, 33.0, 66.0) - polar(38.0, 26.35, 56.61)
    assert words(polar(38.0, 26.35, 56.61), off) == ["light", "vivid", "yellow"]


def test_the_amounts_are_the_CIELAB_parts_of_the_difference() -> None:
    """dL, dC and dH of ISO/CIE 11664-4 in closed form: dH = 2 sqrt(C1 C2) sin(dh / 2)."""
    found = directions(polar(38, 26, 60), polar(40, 30, 70) - polar(38, 26, 60), SURE)
    dH = 2 * math.sqrt(26 * 30) * math.sin(math.radians(5))
    assert [direction.amount for direction in found] == pytest.approx([2.0, 4.0, dH])


def test_chroma_counts_less_in_a_vivid_colour() -> None:
    """CIE 116:1995: at C* 40, S_C = 2.8, so that dC* 1.3 weighs 0.46 and is not named; at C* 10 it is."""
    assert words(polar(50, 39.35, 60), polar(0, 1.3, 60)) == []
    assert words(polar(50, 9.35, 60), polar(0, 1.3, 60)) == ["vivid"]


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3), st.floats(0.05, 2))
def test_nothing_is_named_that_cannot_be_told(dL: float, da: float, db: float, u: float) -> None:
    found = directions(WOOD, (dL, da, db), np.eye(3) * u**2)
    assert all(direction.amount > 1.95 * u and direction.seen >= A_LITTLE for direction in found)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3))
def test_swapping_the_two_colours_swaps_every_word(dL: float, da: float, db: float) -> None:
    opposite = {"light": "dark", "vivid": "dull", "yellow": "red"}
    opposite |= {after: before for before, after in opposite.items()}
    delta = np.array([dL, da, db])
    assert [opposite[word] for word in words(WOOD, delta)] == words(WOOD + delta, -delta)


def test_a_direction_is_judged_along_its_own_axis() -> None:
    """Unsure of one of lightness, chroma and hue: the other two are still named."""
    delta = polar(40, 30, 66) - polar(38, 26, 57)
    cos, sin = math.cos(math.radians(61.5)), math.sin(math.radians(61.5))
    axes = {"light": (1, 0, 0), "vivid": (0, cos, sin), "yellow": (0, -sin, cos)}
    for unsure, axis in axes.items():
        covariance = 0.001 * np.eye(3) + 9.0 * np.outer(axis, axis)
        assert words(polar(38, 26, 57), delta, covariance) == [word for word in axes if word != unsure]


# ---- clauses


def colour(
    verdict: Colour = "no match",
    delta: tuple[float, float, float] | Floats = (2.1, 0, 0),
    de00: float = 2.0,
    u95: float | None = 0.3,
    **more: Any,  # noqa: ANN401 - its fields
) -> ColourFound:
    found = directions(WOOD, delta, None if u95 is None else np.eye(3) * (u95 / 2) ** 2)
    facts = {"doubt": None, "why_not": None, "boards": 2, "against_sample": True} | more
    return ColourFound(verdict, de00, u95, 2.0, found, **facts)


EVEN = EvennessFound("even", 0.6, 0.1, 1.0, None)
BLOTCHY = EvennessFound("blotchy", 1.6, 0.1, 1.0, None)
TOO_LIGHT_AND_YELLOW = polar(40.1, 26.35, 59.5) - polar(38, 26.35, 56.61)


def test_a_miss_reads_as_a_finisher_would_say_it() -> None:
    said = advice("none", 2, "do not use", colour(delta=TOO_LIGHT_AND_YELLOW), EVEN)
    assert said == ("2.1 too light and a little too yellow; try one more coat or a darker stain; even enough.")


def test_a_second_remedy_is_named_only_for_a_clear_miss() -> None:
    a_little, clearly = (polar(42, 26.35, 56.61 + turn) - WOOD for turn in (4, 9))
    assert colour_remedy("none", colour(delta=a_little), "even") == "try one more coat or a darker stain"
    assert colour_remedy("none", colour(delta=clearly), "even") == (
        "try one more coat or a darker stain, and a stain with less yellow in it, leaning to violet"
    )


def test_one_board_is_always_said_to_be_one_board() -> None:
    assert advice("none", 1, "use", colour("match", boards=1), EVEN).endswith("; rests on one board.")
    assert "one board" not in advice("none", 2, "use", colour("match"), EVEN)


def test_a_match_says_to_which_side_it_lies_or_that_nothing_can_be_told() -> None:
    assert colour_clause(colour("match", (0.8, 0, 0), 0.7)) == "a match, 0.8 on the light side"
    assert colour_clause(colour("match", (0.2, 0, 0), 0.2)) == "a match, no difference that can be told"
    assert colour_clause(colour("match", (0.4, 0, 0), 0.4)) == "a match, hardly a visible difference"


def test_a_doubt_gives_its_width_and_the_tolerance() -> None:
    said = colour_clause(colour("cannot tell", (2.1, 0, 0), 1.9, 0.52))
    assert said == "2.1 too light, but ± 0.6 leaves open whether that is within 2.0"
    assert colour_clause(colour("cannot tell", (0.3, 0, 0), 0.3, 1.9)).startswith("no difference that can be told, but")
    assert colour_clause(colour("cannot tell", (2.1, 0, 0), 1.9, None)).endswith("how sure that is is not known")


def test_a_missing_comparison_carries_its_reason() -> None:
    missing = replace(colour(), verdict="cannot tell", de00=None, de00_u95=None, why_not="the sample is topcoated.")
    assert colour_clause(missing) == "colour cannot be told: the sample is topcoated"


@pytest.mark.parametrize(
    ("verdict", "blotch", "u95", "limit", "said"),
    [
        ("even", 0.6, 0.1, 1.0, "even enough"),
        ("blotchy", 1.62, 0.1, 1.0, "too blotchy (1.6, limit 1.0)"),
        ("not judged", 1.6, 0.1, None, "evenness not judged, as a lively figure is wanted"),
        ("cannot tell", 1.05, 0.12, 1.0, "evenness cannot be told (blotch 1.1 ± 0.2, limit 1.0)"),
        ("cannot tell", 1.3, None, 1.0, "evenness cannot be told (blotch 1.3, how sure is not known, limit 1.0)"),
        ("cannot tell", 1.3, 0.1, None, "blotch 1.3, with no limit measured to hold it against"),
        ("cannot tell", None, None, None, "evenness could not be measured"),
    ],
)
def test_evenness_is_said_with_its_numbers_where_they_matter(
    verdict: Evenness, blotch: float | None, u95: float | None, limit: float | None, said: str
) -> None:
    assert evenness_clause(EvennessFound(verdict, blotch, u95, limit, None)) == said


# ---- what to try


def test_a_weaker_pre_treatment_is_only_named_where_the_surface_can_afford_it() -> None:
    assert "weaker pre-treatment" in colour_remedy("glue size", colour(), "even")
    assert "weaker" not in colour_remedy("glue size", colour(), "blotchy")
    assert "weaker" not in colour_remedy("glue size", colour(), "cannot tell")
    assert "weaker" not in colour_remedy("none", colour(), "even")


@pytest.mark.parametrize("treatment", ["none", "glue size"])
def test_too_light_gets_more_colour_and_too_dark_gets_less(treatment: str) -> None:
    more, less = (colour_remedy(treatment, colour(delta=(dL, 0, 0)), "even") for dL in (3.0, -3.0))
    assert "darker stain" in more
    assert "diluted" not in more
    assert "diluted" in less
    assert "darker" not in less


def test_a_blotchy_surface_never_gets_a_remedy_that_feeds_the_blotch() -> None:
    for delta in ((3.0, 0, 0), (-3.0, 0, 0)):
        for treatment in ("none", "glue size"):
            said = advice(treatment, 2, "do not use", colour(delta=delta), BLOTCHY)
            assert "weaker" not in said
            assert said.count("pre-treatment") == 1


def test_what_evens_a_dark_surface_is_said_to_lighten_it_too() -> None:
    dark = colour(delta=(-3.0, 0, 0))
    assert evenness_remedy("none", dark, "blotchy") == "try a pre-treatment, which also lightens, or a gel stain"
    assert evenness_remedy("wash", colour(), "blotchy") == "try a stronger pre-treatment or a gel stain"


def test_a_match_and_a_doubt_ask_for_no_change_of_colour() -> None:
    assert colour_remedy("none", colour("match"), "even") == ""
    assert colour_remedy("none", colour("cannot tell"), "even") == ""


@pytest.mark.parametrize(
    ("hue", "toward"), [("red", "green"), ("green", "red"), ("yellow", "violet"), ("blue", "orange")]
)
def test_too_much_of_a_hue_leans_to_its_opposite(hue: str, toward: str) -> None:
    deltas = {"red": (0, 2, 0), "green": (0, -2, 0), "yellow": (0, 0, 2), "blue": (0, 0, -2)}
    off = replace(colour(), directions=directions(GRAY, deltas[hue], SURE))
    assert colour_remedy("none", off, "even") == f"try a stain with less {hue} in it, leaning to {toward}"


# ---- what would settle it


def doubtful(
    colour_doubt: Doubt | None = None,
    evenness_doubt: Doubt | None = None,
    boards: int = 2,
    *,
    against_sample: bool = True,
) -> str:
    verdict = "cannot tell" if colour_doubt else "match"
    found = colour(verdict, doubt=colour_doubt, boards=boards, against_sample=against_sample)
    even = EvennessFound("cannot tell", 1.0, 0.2, 1.0, evenness_doubt) if evenness_doubt else EVEN
    return advice("glue size", boards, "cannot tell", found, even)


def test_each_doubt_is_told_what_settles_it() -> None:
    assert "another board would settle it" in doubtful(Doubt.BOARDS)
    assert "a second board would settle it" in doubtful(None, Doubt.BOARDS, boards=1)
    assert "sample beside the board" in doubtful(Doubt.PHOTOS)
    assert "the agreed sample itself" in doubtful(Doubt.PHOTOS, against_sample=False)
    assert "more even light" in doubtful(None, Doubt.PHOTOS)
    assert "change the recipe or agree on the limit" in doubtful(Doubt.LIMIT)
    assert "the evenness lies on its limit" in doubtful(None, Doubt.LIMIT)


def test_two_doubts_that_one_board_settles_ask_for_one_board() -> None:
    assert doubtful(Doubt.BOARDS, Doubt.BOARDS).count("board would settle it") == 1


def test_a_missing_comparison_and_a_doubt_about_evenness_are_both_told() -> None:
    missing = replace(colour("cannot tell"), de00=None, de00_u95=None)
    doubt = EvennessFound("cannot tell", 1.0, 0.2, 1.0, Doubt.BOARDS)
    said = advice("none", 2, "cannot tell", missing, doubt)
    assert "with the sample in it, and another board would settle it" in said


def test_what_is_decided_needs_no_settling() -> None:
    uncertain = colour("cannot tell", doubt=Doubt.PHOTOS)
    assert "settle" not in advice("none", 2, "do not use", uncertain, BLOTCHY)


def test_boards_that_could_not_be_compared_are_counted() -> None:
    assert "only 1 of 3 boards could be compared" in advice("none", 3, "use", colour("match", boards=1), EVEN)


@pytest.mark.parametrize("verdict", ["match", "no match", "cannot tell"])
@pytest.mark.parametrize("doubt", [None, *Doubt])
@pytest.mark.parametrize("evenness", [EVEN, BLOTCHY, EvennessFound("cannot tell", None, None, None, Doubt.PHOTOS)])
def test_advice_is_one_sentence_without_empty_clauses(
    verdict: Colour, doubt: Doubt | None, evenness: EvennessFound
) -> None:
    said = advice("glue size", 1, "cannot tell", colour(verdict, doubt=doubt, boards=1), evenness)
    assert said.endswith(".")
    assert not re.search(r"; ;|;;|  |,;|,\.|^;|\. ", said)


def test_a_half_width_is_never_told_smaller_than_it_is() -> None:
    assert [half_width(u) for u in (0.3, 0.31, 0.7, 0.01)] == ["0.3", "0.4", "0.7", "0.1"]


def test_lists_read_as_sentences_do() -> None:
    assert [listed(items, "or") for items in (["a"], ["a", "b"], ["a", "b", "c"])] == ["a", "a or b", "a, b or c"]
