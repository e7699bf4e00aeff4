"""Verdicts, ranking and the answer, from zones whose truth is known."""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from analyzer.compare import Difference
from analyzer.job import EvennessWish, Job, Reference, Target
from analyzer.results import AnswerResult, VerdictResult
from analyzer.verdicts import JudgedZone, answer, judge
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]
Delta = tuple[float, float, float]
TARGET = np.array([50.0, 0.0, 0.0])  # here dE00 = |dL| / S_L, and S_L is 1 within 2 % for a few L*
WOOD = np.array([38.0, 14.5, 22.0])


def job(target: Target | None = None, **evenness: Any) -> Job:  # noqa: ANN401 - its fields
    return Job(
        folder=Path("job"),
        name="bench",
        units="mm",
        target=target or Target(tolerance=2.0, zone="S/sample"),
        evenness=EvennessWish(**evenness),
        reference=Reference(),
        boards=(),
        photos=(),
    )


def to_target(delta: ArrayLike, u: float | Floats | None = 0.1, target: Floats = TARGET) -> Difference:
    delta = np.asarray(delta, dtype=float)
    covariance = None if u is None else np.eye(3) * u**2 if np.ndim(u) == 0 else np.asarray(u)
    return Difference(delta, covariance, target, target + delta, float(delta_E_00(target, target + delta)), None)


def zone(path: str, treatment: str = "glue size", dL: float = 0.5, **more: Any) -> JudgedZone:  # noqa: ANN401 - its fields
    """A zone that is `dL` lighter than the target (or given as `delta`), sure to `u`."""
    delta, u = more.pop("delta", (dL, 0, 0)), more.pop("u", 0.1)
    made = JudgedZone(
        id=path,
        board=path.split("/", maxsplit=1)[0],
        treatment=treatment,
        stain=None,
        species="hard maple",
        stage="stained",
        light=None,
        sheen=None,
        to_target=None if delta is None else to_target(delta, u, more.pop("target", TARGET)),
        why_not=None,
        blotch=0.5,
        blotch_u95=0.1,
        blotch_limit=1.0,
        blotch_limit_u95=0.0,
    )
    return replace(made, **more)


def only(zones: Sequence[JudgedZone], of: Job | None = None) -> VerdictResult:
    (verdict,) = judge(of or job(), zones)
    return verdict


# ---- who is judged


def test_the_targets_own_zones_and_unstained_wood_get_no_verdict() -> None:
    zones = [zone("S/sample"), zone("A/a", stage="bare"), zone("A/a", stage="treated"), zone("A/a", stage="wet")]
    assert [(verdict.zones, verdict.stage) for verdict in judge(job(), zones)] == [(("A/a",), "wet")]
    ranged = job(Target(tolerance=2.0, between=("R/light", "R/dark")))
    assert judge(ranged, [zone("R/light"), zone("R/dark")]) == ()


def test_each_treatment_stain_species_stage_and_light_gets_one_verdict_and_ranks_count_within_the_last_three() -> None:
    zones = [
        zone("A/1", "none"),
        zone("A/2", "glue size"),
        zone("A/3", "glue size", stain="walnut dye"),
        zone("B/1", "none", species="cherry"),
        zone("A/1", "none", stage="sealed"),
        zone("A/1", "none", light="window"),
        zone("A/4", "none"),
    ]
    verdicts = judge(job(), zones)
    assert [(v.stage, v.light, v.species, v.rank) for v in verdicts] == [
        ("stained", None, "cherry", 1),
        ("stained", None, "hard maple", 1),
        ("stained", None, "hard maple", 2),
        ("stained", None, "hard maple", 3),
        ("stained", "window", "hard maple", 1),
        ("sealed", None, "hard maple", 1),
    ]
    assert ("A/1", "A/4") in {verdict.zones for verdict in verdicts}


# ---- colour


@pytest.mark.parametrize(
    ("dL", "colour", "overall"),
    [(0.5, "match", "use"), (1.95, "cannot tell", "cannot tell"), (3.0, "no match", "do not use")],
)
def test_colour_is_held_against_the_tolerance_with_its_uncertainty(dL: float, colour: str, overall: str) -> None:
    verdict = only([zone("A/a", dL=dL)])
    assert (verdict.colour, verdict.overall, verdict.evenness) == (colour, overall, "even")
    assert verdict.de00 == pytest.approx(dL, rel=0.03)
    assert verdict.de00_u95 == pytest.approx(0.196, rel=0.05)


def test_an_unknown_uncertainty_is_null_and_never_a_decision() -> None:
    verdict = only([zone("A/a", u=None)])
    assert (verdict.colour, verdict.de00_u95) == ("cannot tell", None)
    mixed = only([zone("A/a"), zone("A/b", u=None)])
    assert (mixed.colour, mixed.de00_u95) == ("cannot tell", None)


def test_a_comparison_that_is_not_allowed_carries_its_words() -> None:
    verdict = only([zone("A/a", delta=None, why_not="the sample was measured topcoated, this zone stained")])
    assert (verdict.colour, verdict.overall, verdict.de00) == ("cannot tell", "cannot tell", None)
    assert "the sample was measured topcoated, this zone stained" in verdict.advice


def test_zones_of_different_sheens_are_not_averaged() -> None:
    verdict = only([zone("A/a", sheen="matt"), zone("B/a", sheen="gloss")])
    assert verdict.colour == "cannot tell"
    assert "sheen (gloss, matt)" in verdict.advice
    assert only([zone("A/a", sheen="matt"), zone("B/a", sheen=None)]).colour == "match"
    assert only([zone("A/a", sheen="matt"), zone("B/a", sheen=" Matt")]).colour == "match"


def test_zones_are_averaged_within_their_board_before_boards_are() -> None:
    """Board A says (0 + 2) / 2 = 1, board B says 4: together 2.5, not the mean of three zones, 2."""
    verdict = only([zone("A/1", dL=0), zone("A/2", dL=2), zone("B/1", dL=4)])
    expected = delta_E_00(TARGET, TARGET + np.array([2.5, 0, 0]))
    assert verdict.de00 == pytest.approx(expected)
    assert verdict.boards == 2


def test_opposite_misses_cancel_in_the_mean_but_not_in_the_uncertainty() -> None:
    verdict = only([zone("A/a", dL=3), zone("B/a", dL=-3)])
    assert verdict.de00 == pytest.approx(0, abs=1e-9)
    assert verdict.colour == "cannot tell"
    assert "another board would settle it" in verdict.advice


def test_two_zones_on_one_board_are_still_one_board() -> None:
    verdict = only([zone("A/1", dL=0.4), zone("A/2", dL=0.6)])
    assert verdict.boards == 1
    assert verdict.advice.endswith("rests on one board.")


def test_the_measurements_error_does_not_shrink_with_the_number_of_boards() -> None:
    """A hundred boards that agree exactly: card, light and camera are common to all of them, nothing else is left."""
    one = only([zone("A/a", dL=1)])
    many = only([zone(f"{board}/a", dL=1) for board in range(100)])
    assert many.de00_u95 == pytest.approx(one.de00_u95, rel=0.03)


def test_boards_that_agree_are_believed_the_more_the_more_there_are() -> None:
    """Two might agree by chance: what is known of wood beforehand still counts; ten hardly need it."""
    few, some, many = (only([zone(f"{board}/a", dL=1) for board in range(n)]).de00_u95 for n in (2, 4, 10))
    assert few > some > many


def test_the_spread_between_boards_enters_with_students_t() -> None:
    """Four boards, no noise: 3 degrees of freedom join the 6 stated beforehand, t(9) = 2.26 (GUM, table G.2)."""
    lightness = [6.2, 5.7, 6.9, 6.1]
    verdict = only([zone(f"{board}/a", dL=dL, u=1e-4) for board, dL in zip("ABCD", lightness, strict=True)])
    half_width = 2.26 * math.sqrt((6 * 0.5**2 + 3 * np.var(lightness, ddof=1)) / 9) / 2
    S_L = 1 + 0.015 * 3.11**2 / math.sqrt(20 + 3.11**2)  # at the mean lightness of the pair
    assert verdict.de00_u95 == pytest.approx(half_width / S_L, rel=0.06)  # S_L itself moves along the interval


def test_a_treatment_is_never_surer_for_having_fewer_boards() -> None:
    """The spread that other treatments show between boards holds for one that was tried on a single board too."""
    several = [zone("A/a", "none", 0.2), zone("B/a", "none", 0.8), zone("A/b", "wash", 0.9), zone("B/b", "wash", 0.4)]
    both = {v.treatment: v for v in judge(job(), [*several, zone("A/c", "size", 0.5), zone("B/c", "size", 0.6)])}
    alone = {v.treatment: v for v in judge(job(), [*several, zone("A/c", "size", 0.5)])}
    assert alone["size"].de00_u95 > both["size"].de00_u95
    assert alone["size"].advice.endswith("rests on one board.")


# ---- evenness


@pytest.mark.parametrize(("blotch", "evenness"), [(0.5, "even"), (0.95, "cannot tell"), (1.3, "blotchy")])
def test_evenness_is_held_against_its_limit(blotch: float, evenness: str) -> None:
    verdict = only([zone("A/a", blotch=blotch)])
    assert verdict.evenness == evenness
    assert verdict.overall == {"even": "use", "cannot tell": "cannot tell", "blotchy": "do not use"}[evenness]


def test_the_uncertainty_of_a_measured_limit_counts_too() -> None:
    """0.8 + 0.1 is within 1.0, but not when the limit itself is only known to 0.2: hypot(0.1, 0.2) = 0.22."""
    assert only([zone("A/a", blotch=0.8)]).evenness == "even"
    limited = only([zone("A/a", blotch=0.8, blotch_limit_u95=0.2)])
    assert limited.evenness == "cannot tell"
    assert limited.blotch_u95 == pytest.approx(0.1)  # of the zone itself


@pytest.mark.parametrize("missing", ["blotch", "blotch_u95", "blotch_limit", "blotch_limit_u95"])
def test_evenness_cannot_be_told_when_something_is_missing(missing: str) -> None:
    assert only([zone("A/a", **{missing: None})]).evenness == "cannot tell"


def test_a_lively_wish_reports_the_blotch_but_does_not_judge_it() -> None:
    verdict = only([zone("A/a", blotch=3.0)], job(wish="lively"))
    assert (verdict.evenness, verdict.blotch, verdict.overall) == ("not judged", 3.0, "use")


def test_the_blotch_of_zones_on_one_board_is_their_mean_and_its_sampling_shrinks() -> None:
    verdict = only([zone("A/1", blotch=0.4, blotch_u95=0.1), zone("A/2", blotch=0.6, blotch_u95=0.1)])
    assert verdict.blotch == pytest.approx(0.5)
    assert verdict.blotch_u95 == pytest.approx(0.1 / math.sqrt(2))


def test_the_blotch_of_boards_carries_their_spread() -> None:
    """Two boards: u^2 = (0.1^2 + 0.1^2) / 4 + (t s)^2 / 2, s^2 of 1 + 6 degrees of freedom, t(7) = 2.3646."""
    verdict = only([zone("A/1", blotch=0.4), zone("B/1", blotch=0.6)])
    between = 2.3646 * math.sqrt((6 * 0.08**2 + 0.02) / 7 / 2)
    assert verdict.blotch_u95 == pytest.approx(math.hypot(0.1 / math.sqrt(2), between), rel=1e-4)


# ---- overall and rank


def test_one_failure_is_enough_to_turn_a_treatment_down() -> None:
    assert only([zone("A/a", dL=3, blotch=None)]).overall == "do not use"
    assert only([zone("A/a", delta=None, blotch=1.5)]).overall == "do not use"


def test_usable_ranks_before_doubtful_before_unusable_and_then_by_share_of_the_limit() -> None:
    zones = [
        zone("A/1", "unusable", 2.5),
        zone("A/2", "doubtful", 1.95),
        zone("A/3", "near the limit of blotch", 0.1, blotch=0.88),  # share 0.88
        zone("A/4", "usable", 1.2),  # share 0.6
        zone("A/5", "best", 0.6),  # share 0.5 by its blotch
        zone("A/6", "unknown", delta=None, blotch=None),
    ]
    ranked = sorted(judge(job(), zones), key=lambda verdict: verdict.rank)
    expected = ["best", "usable", "near the limit of blotch", "doubtful", "unknown", "unusable"]
    assert [verdict.treatment for verdict in ranked] == expected
    assert [verdict.rank for verdict in ranked] == [1, 2, 3, 4, 5, 6]


# ---- properties


deltas = st.tuples(st.floats(-3, 3), st.floats(-2, 2), st.floats(-2, 2))
boards = st.lists(deltas, min_size=1, max_size=4)


@settings(max_examples=40)
@given(boards, boards, st.randoms(use_true_random=False))
def test_the_order_of_boards_changes_nothing(first: list[Delta], second: list[Delta], random: Random) -> None:
    zones = [
        zone(f"{board}/{name}", name, delta=delta, target=WOOD)
        for name, trial in (("none", first), ("wash", second))
        for board, delta in enumerate(trial)
    ]
    shuffled = list(zones)
    random.shuffle(shuffled)
    verdicts = judge(job(), zones)
    assert judge(job(), shuffled) == verdicts
    assert answer(job(), verdicts[::-1]) == answer(job(), verdicts)


@settings(max_examples=60)
@given(boards, st.floats(0.05, 1.0), st.floats(1.0, 5.0))
def test_a_less_certain_measurement_never_turns_cannot_tell_into_a_match(
    trial: list[Delta], u: float, factor: float
) -> None:
    def colour(sigma: float) -> str:
        return only([zone(f"{b}/a", delta=delta, u=sigma, target=WOOD) for b, delta in enumerate(trial)]).colour

    assert not (colour(u) == "cannot tell" and colour(u * factor) == "match")


@settings(max_examples=60)
@given(boards, st.floats(0.05, 0.6), st.floats(0.2, 6), st.floats(0, 3))
def test_a_wider_tolerance_never_makes_a_verdict_worse(
    trial: list[Delta], u: float, tolerance: float, wider: float
) -> None:
    zones = [zone(f"{b}/a", delta=delta, u=u, target=WOOD) for b, delta in enumerate(trial)]
    order = ["no match", "cannot tell", "match"]
    strict, lenient = (
        order.index(only(zones, job(Target(tolerance=T, zone="S/sample"))).colour)
        for T in (tolerance, tolerance + wider)
    )
    assert lenient >= strict


@settings(max_examples=30)
@given(boards)
def test_judging_twice_says_the_same_and_changes_no_input(trial: list[Delta]) -> None:
    zones = [zone(f"{b}/a", delta=delta) for b, delta in enumerate(trial)]
    before = [z.to_target.delta_Lab.copy() for z in zones]
    assert judge(job(), zones) == judge(job(), zones)
    assert all(np.array_equal(z.to_target.delta_Lab, delta) for z, delta in zip(zones, before, strict=True))


# ---- false accepts


def _on_the_limit(rng: np.random.Generator, tolerance: float) -> Floats:
    """A colour difference in a random direction whose dE00 from wood is just over the tolerance."""
    direction = rng.standard_normal(3)
    near, far = 0.0, 40.0
    for _ in range(25):
        middle = (near + far) / 2
        inside = delta_E_00(WOOD, WOOD + middle * direction) <= tolerance
        near, far = (middle, far) if inside else (near, middle)
    return far * direction


def test_a_colour_just_outside_the_tolerance_is_called_a_match_in_at_most_one_case_in_forty() -> None:
    """One board, 600 measurements with an uncertainty that is known: 2.5 % and three standard errors, 1.9 %."""
    rng = np.random.default_rng(3)
    root = np.array([[0.3, 0, 0], [0.1, 0.3, 0], [0.1, 0.2, 0.4]])
    called = []
    for _ in range(600):
        measured = _on_the_limit(rng, 2.0) + root @ rng.standard_normal(3)
        called.append(only([zone("A/a", delta=measured, u=root @ root.T, target=WOOD)]).colour)
    assert called.count("match") <= (0.025 + 0.019) * len(called)
    assert called.count("cannot tell") > 0.9 * len(called)  # on the limit nothing can be told


@pytest.mark.parametrize("shift_sd", [0.0, 0.4])
def test_two_boards_keep_that_promise_when_boards_differ(shift_sd: float) -> None:
    """Four treatments on two boards, 100 jobs; each zone strays by 0.3, each board shifts as a whole."""
    rng = np.random.default_rng(4)
    called = []
    for _ in range(100):
        common = 0.15 * rng.standard_normal(3)  # card, light and camera
        shifts = shift_sd * rng.standard_normal((2, 3))
        zones = []
        for name in "abcd":
            truth = _on_the_limit(rng, 2.0)
            for board in (0, 1):
                found = truth + common + shifts[board] + 0.3 * rng.standard_normal(3)
                zones.append(zone(f"{board}/{name}", name, delta=found, u=0.15, target=WOOD))
        called += [verdict.colour for verdict in judge(job(), zones)]
    assert called.count("match") <= 0.025 * len(called)


# ---- the answer


def settle(zones: Sequence[JudgedZone], of: Job | None = None) -> AnswerResult:
    of = of or job()
    return answer(of, judge(of, zones))


def test_the_best_usable_treatment_is_the_answer() -> None:
    found = settle([zone("A/1", "none", -3, blotch=1.8), zone("A/2", "glue size", 0.5), zone("A/3", "wash", 1.7)])
    assert (found.treatment, found.species) == ("glue size", "hard maple")
    assert found.reason == (
        "Glue size on hard maple: 0.5 ± 0.3 from the target, even enough at blotch 0.5, on one board only."
    )


def test_treatments_that_do_as_well_are_named() -> None:
    alike = settle([zone("A/1", "glue size", 0.5), zone("A/2", "wash", 0.6)])
    assert "; wash does as well within what can be told" in alike.reason
    apart = settle([zone("A/1", "glue size", 0.3), zone("A/2", "wash", 0.9)])
    assert "as well" not in apart.reason
    blotchier = settle([zone("A/1", "glue size", 0.5, blotch=0.3), zone("A/2", "wash", 0.6, blotch=0.7)])
    assert "as well" not in blotchier.reason


def test_each_species_is_told_its_own_treatment() -> None:
    zones = [
        zone("A/1", "glue size", 0.2),
        zone("B/1", "wash", 0.9, species="cherry"),
        zone("B/2", "glue size", 3, species="cherry"),
        zone("C/1", "wash", 1.95, species="pine"),
        zone("D/1", "wash", 4, species="birch"),
    ]
    found = settle(zones)
    assert (found.treatment, found.species) == ("glue size", "hard maple")
    assert "; on cherry wash: 0.9 ± 0.3 from the target" in found.reason
    assert "; on pine none can be named yet" in found.reason
    assert "; on birch none of those tried will do" in found.reason


def test_only_the_stage_of_the_target_counts() -> None:
    zones = [zone("A/1", "wash", 0.2), zone("A/1", "wash", 0.2, stage="sealed")]
    at_topcoat = settle(zones, job(Target(tolerance=2.0, zone="S/sample", stage="topcoated")))
    assert at_topcoat.treatment is None
    assert "topcoated" in at_topcoat.reason
    turned = [zone("A/1", "wash", 0.2), zone("A/1", "wash", 5, stage="sealed"), zone("A/2", "size", 1, stage="sealed")]
    assert settle(turned, job(Target(tolerance=2.0, zone="S/sample", stage="stained"))).treatment == "wash"
    assert settle(turned).treatment == "size"  # no stage stated: the most finished one


def test_a_treatment_must_hold_in_every_light() -> None:
    zones = [
        zone("A/1", "none", 0.1, light="shop"),
        zone("A/1", "none", 3.0, light="window"),
        zone("A/2", "wash", 1.0, light="shop"),
        zone("A/2", "wash", 1.2, light="window"),
        zone("A/3", "size", 0.1, light="shop"),
    ]
    found = settle(zones)
    assert found.treatment == "wash"
    assert "in shop and window light" in found.reason
    assert "size does" not in found.reason  # nearer in the shop, but never seen at the window
    assert settle(zones[-1:] + zones[:2]).reason.count("seen in shop light only") == 1


def test_the_stain_is_named_where_several_were_tried() -> None:
    zones = [zone("A/1", "wash", 0.2, stain="walnut dye"), zone("A/2", "wash", 1.5, stain="oak dye")]
    found = settle(zones)
    assert (found.treatment, found.stain) == ("wash", "walnut dye")
    assert found.reason.startswith("Wash with walnut dye on hard maple")


def test_a_control_that_is_good_enough_is_an_answer_too() -> None:
    found = settle([zone("A/1", "none", 0.2)])
    assert found.treatment == "none"
    assert found.reason.startswith("No pre-treatment on hard maple")


def test_without_a_usable_treatment_the_reason_says_why_and_what_would_settle_it() -> None:
    doubtful = settle([zone("A/1", "none", 4), zone("A/2", "wash", 2.1, u=0.4)])
    assert (doubtful.treatment, doubtful.stain, doubtful.species) == (None, None, None)
    assert doubtful.reason.startswith("It cannot be told yet which treatment to use; the best prospect is wash on")
    assert "would settle it" in doubtful.reason
    failed = settle([zone("A/1", "none", 4), zone("A/2", "wash", 3)])
    assert failed.reason.startswith(
        "None of the treatments tried will do; nearest is wash on hard maple: 3.0 too light"
    )
    assert settle([zone("A/1", "none", 4)]).reason.startswith("The one treatment tried will not do")
    assert "no zone was measured after staining" in settle([zone("A/1", stage="bare")]).reason


@pytest.mark.parametrize("dL", [0.2, 1.95, 4.0])
def test_the_reason_is_one_sentence(dL: float) -> None:
    reason = settle([zone("A/1", "none", dL, light="shop"), zone("A/1", "none", dL, light="window")]).reason
    assert reason.endswith(".")
    assert ". " not in reason
    assert reason[0].isupper()


@pytest.mark.parametrize(
    ("largest", "settles"),
    [
        ("light", "edge strips beside the board"),
        ("tone", "a step card or a 24-patch chart in the photo"),
        ("camera", "a step card or a 24-patch chart in the photo"),
        ("repeats", "repeat photos"),
        ("wood", "a second board"),
    ],
)
def test_the_largest_source_of_doubt_says_what_would_settle_it(largest: str, settles: str) -> None:
    parts = {
        name: np.eye(3) * (0.5 if name == largest else 0.1) ** 2 for name in ("light", "tone", "camera", "repeats")
    }
    wood = np.eye(3) * (1.0 if largest == "wood" else 0.0)
    doubtful = replace(to_target((1.9, 0, 0), sum(parts.values())), budget=parts, wood=wood)
    verdict = only([replace(zone("A/wash", "wash"), to_target=doubtful)])
    assert verdict.colour == "cannot tell"
    assert settles in verdict.advice
    assert max(verdict.sources, key=lambda source: verdict.sources[source]) == largest
