"""What a treatment does against the control of its own board: pairing, boards as replicates, words.

Oracles: the paired t test by hand (scipy's t), Holm's method by hand, and draws whose truth we chose.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from readings import COLUMNS, ROWS, blocks_of, reading_of, sight_of
from report_example import example_measurement, example_results
from scipy import stats

from analyzer.effects import Paired, effects, paired_zones
from analyzer.evenness import Evenness
from analyzer.job import Board, EvennessWish, Job, Reference, Target, Zone
from analyzer.pooling import MeasuredZone
from analyzer.report.content import content_of
from analyzer.report.effects import dose_blocks, effect_groups, matrix_tables, repeats_in_words
from analyzer.report.html import report_html
from analyzer.report.jsonfile import read_results, results_json
from analyzer.results import (
    DosePointResult,
    DoseResult,
    EffectResult,
    MatrixResult,
    RepeatabilityResult,
    Results,
    Stage,
)
from calibration.difference import delta_E_00

if TYPE_CHECKING:
    from board_photos import Floats

CONTROL = np.array([40.0, 14.0, 22.0])


def pair(board: str, treatment: str = "glue size", dL: float = 2.0, **more: Any) -> Paired:  # noqa: ANN401 - its fields
    """A zone that is `dL` lighter than its control, measured without doubt unless `u` says otherwise."""
    u = more.pop("u", 1e-6)
    made = Paired(
        zones=(f"{board}/{treatment}",),
        controls=(f"{board}/control",),
        board=board,
        treatment=treatment,
        stain="walnut dye",
        species="hard maple",
        stage="stained",
        light=None,
        Lab_control=CONTROL,
        delta_Lab=np.array([dL, 0.0, 0.0]),
        measured=np.eye(3) * u**2,
        wood=np.zeros((3, 3)),
        blotch=0.5,
        blotch_u95=0.05,
        control_blotch=2.8,
        control_blotch_u95=0.05,
    )
    return replace(made, **more)


def only(pairs: Sequence[Paired]) -> EffectResult:
    (effect,) = effects(pairs)
    return effect


# ---- boards are the replicates


def test_the_change_in_blotch_is_the_paired_t_test_over_boards() -> None:
    """Four boards; half-width and p-value of scipy's one-sample t test on the four paired differences."""
    treated, controls = [0.5, 0.9, 0.7, 0.4], [2.8, 2.2, 3.1, 2.6]
    effect = only(
        [pair(b, blotch=t, control_blotch=c, blotch_u95=0.01, control_blotch_u95=0.01)
         for b, t, c in zip("ABCD", treated, controls, strict=True)]
    )  # fmt: skip
    differences = np.subtract(treated, controls)
    test = stats.ttest_1samp(differences, 0.0)
    low, high = test.confidence_interval(0.95)
    assert effect.blotch_change == pytest.approx(np.mean(differences))
    assert effect.blotch_change_u95 == pytest.approx((high - low) / 2, rel=1e-6)
    assert effect.blotch_p == pytest.approx(test.pvalue, rel=1e-6)
    assert (effect.blotch, effect.blotch_control) == pytest.approx((np.mean(treated), np.mean(controls)))


def test_the_ratio_to_the_control_is_the_geometric_mean_with_its_interval() -> None:
    treated, controls = [0.5, 0.9, 0.7], [2.8, 2.2, 3.1]
    effect = only(
        [pair(b, blotch=t, control_blotch=c, blotch_u95=1e-3, control_blotch_u95=1e-3)
         for b, t, c in zip("ABC", treated, controls, strict=True)]
    )  # fmt: skip
    logs = np.log(np.divide(treated, controls))
    half = 4.302653 * np.std(logs, ddof=1) / math.sqrt(3)  # t of 2 degrees of freedom
    assert effect.blotch_ratio == pytest.approx(math.exp(np.mean(logs)))
    assert effect.blotch_ratio_range == pytest.approx((math.exp(np.mean(logs) - half), math.exp(np.mean(logs) + half)))


def test_a_ratio_to_a_control_without_blotch_is_none() -> None:
    effect = only([pair(b, control_blotch=0.05) for b in "AB"])
    assert (effect.blotch_ratio, effect.blotch_ratio_range) == (None, None)
    assert effect.blotch_change == pytest.approx(0.45)


def test_the_colour_shift_is_that_of_the_mean_paired_difference() -> None:
    deltas = [(3.0, 1.0, 0.0), (2.0, -1.0, 1.0), (2.8, 0.3, 0.8)]
    effect = only([pair(b, delta_Lab=np.array(d)) for b, d in zip("ABC", deltas, strict=True)])
    mean = np.mean(deltas, axis=0)
    assert (effect.dl, effect.da, effect.db) == pytest.approx(tuple(mean))
    assert effect.de00 == pytest.approx(float(delta_E_00(CONTROL, CONTROL + mean)))
    half = 4.302653 * np.std(deltas, axis=0, ddof=1) / math.sqrt(3)
    assert effect.dlab_u95 == pytest.approx(tuple(half), rel=1e-4)
    p = [stats.ttest_1samp([d[k] for d in deltas], 0.0).pvalue for k in range(3)]
    assert effect.colour_p == pytest.approx(min(1.0, 3 * min(p)), rel=1e-4)


def test_what_the_measurement_leaves_open_does_not_shrink_with_boards() -> None:
    """Boards that agree exactly: light and camera are common to all of them, 1.96 times 0.2."""
    effect = only([pair(b, u=0.2) for b in "ABC"])
    assert effect.dlab_u95 == pytest.approx((0.392,) * 3, abs=0.0005)


def test_zones_of_one_board_are_averaged_before_boards_are() -> None:
    effect = only([pair("A", dL=0.0, zones=("A/1",)), pair("A", dL=2.0, zones=("A/2",)), pair("B", dL=4.0)])
    assert effect.dl == pytest.approx(2.5)
    assert (effect.boards, effect.zones) == (2, ("A/1", "A/2", "B/glue size"))


def test_one_board_has_numbers_and_no_inference() -> None:
    effect = only([pair("A", u=0.1)])
    assert (effect.colour_p, effect.colour_p_holm, effect.blotch_p, effect.blotch_p_holm) == (None,) * 4
    assert effect.blotch_change == pytest.approx(-2.3)
    assert effect.blotch_change_u95 == pytest.approx(math.hypot(0.05, 0.05))
    assert effect.says == (
        "here blotch falls from 2.8 to 0.5, by 2.3 ± 0.1; colour 1.8 ± 0.2 from the control: lighter; "
        "one board: no inference about the pre-treatment"
    )


def test_one_board_borrows_the_spread_that_other_treatments_show() -> None:
    others = [pair("A", "wash", 2.0), pair("B", "wash", 3.0)]
    alone = {e.treatment: e for e in effects([pair("A", u=0.1)])}
    beside = {e.treatment: e for e in effects([pair("A", u=0.1), *others])}
    assert (beside["glue size"].de00_u95 or 0) > 3 * (alone["glue size"].de00_u95 or 0)
    assert beside["glue size"].colour_p is None


# ---- many treatments


def test_p_values_are_adjusted_over_the_treatments_of_one_species_stage_and_light() -> None:
    rng = np.random.default_rng(2)
    pairs = [
        pair(b, name, float(rng.normal(1.0, 0.5)), blotch=float(rng.normal(2.2, 0.3)))
        for name in ("a", "b", "c")
        for b in "ABCDE"
    ]
    found = effects(pairs)
    p = [effect.blotch_p or 0.0 for effect in found]
    order = np.argsort(p)
    expected, largest = [0.0] * 3, 0.0
    for place, index in enumerate(order):
        largest = expected[index] = min(1.0, max(largest, (3 - place) * p[index]))
    assert [effect.blotch_p_holm for effect in found] == pytest.approx(expected)
    elsewhere = effects([*pairs, *(replace(one, species="cherry", board=f"C{one.board}") for one in pairs)])
    assert [e.blotch_p_holm for e in elsewhere if e.species == "hard maple"] == pytest.approx(expected)


def test_treatments_that_do_nothing_are_rarely_said_to_do_something() -> None:
    """250 jobs of four idle treatments on three boards; the controls' own stray is common to all four.

    At most 5 % of the jobs may name one, for blotch and for colour: with three standard errors, 9.1 %.
    """
    rng = np.random.default_rng(7)
    named = np.zeros(2)
    for _ in range(250):
        control = {board: (rng.normal(0, 0.3), rng.normal(0, 0.4, 3)) for board in "ABC"}
        pairs = [
            pair(
                board, name,
                blotch=2.0 + rng.normal(0, 0.3), control_blotch=2.0 + control[board][0],
                delta_Lab=rng.normal(0, 0.4, 3) - control[board][1], blotch_u95=0.01, control_blotch_u95=0.01,
            )
            for name in "abcd"
            for board in "ABC"
        ]  # fmt: skip
        found = effects(pairs)
        named += [any((e.blotch_p_holm or 0) < 0.05 for e in found), any((e.colour_p_holm or 0) < 0.05 for e in found)]
    assert np.all(named / 250 <= 0.091), named


# ---- words


def test_an_evening_treatment_says_so_with_its_numbers_and_boards() -> None:
    blotch = {"A": 0.45, "B": 0.5, "C": 0.55}
    effect = only([pair(b, blotch=blotch[b], u=0.05, dL=3.0) for b in "ABC"])
    assert effect.says == (
        "evens: blotch falls from 2.8 to 0.5, by 2.3 ± 0.2, over 3 boards; colour 2.7 ± 0.1 from the control: lighter"
    )


def test_a_treatment_that_makes_it_worse_says_so() -> None:
    effect = only([pair(b, blotch=4.0 + 0.1 * k, u=0.05) for k, b in enumerate("ABC")])
    assert effect.says.startswith("makes it blotchier: blotch rises from 2.8 to 4.1, by 1.3 ± 0.3, over 3 boards")


def test_what_cannot_be_told_is_said_to_be_so() -> None:
    effect = only([pair("A", dL=0.1, blotch=2.4, u=0.2), pair("B", dL=-0.1, blotch=3.4, u=0.2)])
    assert effect.says.startswith("no change in blotch can be told: from 2.8 to 2.9, a change of 0.1 ± 6.4, over 2")
    assert "; no shift in colour can be told (0.0 ± 1." in effect.says


def test_a_small_p_value_among_many_treatments_may_be_chance() -> None:
    """Two treatments, one p between 0.025 and 0.05."""
    change = {"A": -0.4, "B": -0.9, "C": -0.6, "D": -0.2}
    idle = {"A": 0.3, "B": -0.4, "C": 0.5, "D": -0.3}
    found = effects(
        [pair(b, name, blotch=2.8 + of[b] * scale, blotch_u95=0.01, control_blotch_u95=0.01)
         for name, of, scale in (("one", change, 0.9), ("two", idle, 1.0)) for b in "ABCD"]
    )  # fmt: skip
    assert found[0].blotch_p is not None
    assert found[0].blotch_p < 0.05 <= (found[0].blotch_p_holm or 0)
    assert "blotch seems to fall from 2.8 to 2.3" in found[0].says
    assert "among 2 treatments that may be chance" in found[0].says


def test_unknown_is_never_a_number() -> None:
    effect = only([pair(b, measured=None, blotch_u95=None) for b in "A"])
    assert (effect.de00_u95, effect.dlab_u95, effect.colour_p, effect.blotch_change_u95) == (None,) * 4
    assert "± unknown" in effect.says
    unseen = only([pair(b, blotch=None, blotch_u95=None) for b in "AB"])
    assert (unseen.blotch_change, unseen.blotch_ratio, unseen.blotch_p) == (None, None, None)
    assert unseen.says.startswith("blotch was not measured beside a control; ")


def test_the_order_of_zones_changes_nothing() -> None:
    rng = np.random.default_rng(3)
    pairs = [pair(b, name, rng.normal(2, 0.5), blotch=rng.uniform(0.5, 2)) for b in "ABC" for name in ("a", "b")]
    assert effects(pairs[::-1]) == effects(pairs)


# ---- pairing


def measured(board: str, zone: str, treatment: str, L: float, **more: Any) -> MeasuredZone:  # noqa: ANN401 - its fields
    stage: Stage = more.pop("stage", "stained")
    light: str | None = more.pop("light", None)
    blotch = more.pop("blotch", 1.0)
    noise = 0.2 * np.random.default_rng(round(L * 10)).standard_normal((ROWS, COLUMNS))
    Lab: Floats = CONTROL + np.array([L, 0.0, 0.0])
    evenness = Evenness(blotch, 0.1, 10.0, 0.5, (), np.empty((0, 0), np.float32))
    reading = replace(reading_of(blocks_of(Lab, noise - noise.mean())), evenness=evenness)
    of_zone = Zone(zone, treatment, (0.0, 90.0), (0.0, 120.0), **({"stain": "walnut dye"} | more))
    sight = sight_of(reading, photo=f"{board}.jpg", board=board)
    return MeasuredZone(Board(board, "hard maple", 300.0, 120.0, (of_zone,)), of_zone, stage, light, (sight,))


def job(target: Target | None = None) -> Job:
    return Job(Path("job"), "bench", "mm", target or Target(zone="S/sample"), EvennessWish(), Reference(), (), ())


def test_a_zone_is_paired_with_every_control_of_its_board_and_with_no_other() -> None:
    zones = [
        measured("A", "left", "none", 0.0, blotch=2.0),
        measured("A", "size", "glue size", 3.0, blotch=0.6),
        measured("A", "right", "none", 1.0, blotch=3.0),
        measured("B", "control", "none", 9.0),
        measured("A", "dye", "none", 8.0, stain="oak dye"),
        measured("A", "control", "none", 7.0, stage="sealed"),
        measured("A", "shiny", "none", 6.0, recipe={"sheen": "gloss"}),
        measured("A", "lamp", "none", 5.0, light="lamp"),
    ]
    zones[1] = replace(zones[1], zone=replace(zones[1].zone, recipe={"sheen": "satin"}))
    (found,) = paired_zones(job(), zones)
    assert (found.zones, found.controls) == (("A/size",), ("A/left", "A/right"))
    assert found.delta_Lab == pytest.approx((2.5, 0.0, 0.0), abs=0.05)  # 3 less the controls' mean of 0.5
    assert found.change == pytest.approx(0.6 - 2.5)


def test_a_sample_without_pre_treatment_is_no_control_and_a_board_without_control_tells_nothing() -> None:
    zones = [measured("S", "sample", "none", 0.0), measured("S", "size", "glue size", 3.0)]
    assert paired_zones(job(), zones) == ()
    assert len(paired_zones(job(Target(lab=(40.0, 14.0, 22.0))), zones)) == 1
    bare = [replace(zone, stage="bare") for zone in zones]
    assert paired_zones(job(Target(lab=(40.0, 14.0, 22.0))), bare) == ()


# ---- in the results and on the page


def results() -> Results:
    """The example with effects, doses, a matrix and repeats."""
    point = DosePointResult(
        3.0, "3 % solids", 2, 1.2, 0.5, -1.0, 0.2, 0.1, (0.4, 0.3, 0.5), "match", 0.7, 0.2, "even"
    )  # fmt: skip
    zones = ("A/control", "A/shellac", "R/glue")
    distances = ((0.0, 3.2, 0.4), (3.2, 0.0, None), (0.4, None, 0.0))
    doubts = ((None, 0.6, 0.9), (0.6, None, None), (0.9, None, None))
    return replace(
        example_results(),
        effects=effects([pair("A", u=0.1), pair("B", dL=2.4, u=0.1), pair("A", "wash", 1.0, species="cherry", u=0.1)]),
        doses=(
            DoseResult(
                "washcoat",
                None,
                "cherry",
                "stained",
                None,
                "solids",
                (point,),
                3.0,
                (2.5, 4.0),
                point,
                "3 % does",
            ),
        ),
        matrices=(
            MatrixResult("stained", None, zones, distances, doubts),
            MatrixResult("stained", "lamp", ("z",) * 13, ((0.0,) * 13,) * 13, None),
            MatrixResult("bare", None, zones, distances, doubts),
        ),
        repeatability=RepeatabilityResult(2, 3, 2, (0.1, 0.1, 0.1), 0.2, None, None, 0.02, "2 zones again: 0.2"),
    )


def test_what_is_written_can_be_read_again_and_older_files_too() -> None:
    written = results_json(results())
    again = read_results(written)
    assert [e.says for e in again.effects] == [e.says for e in results().effects]
    assert again.effects[1].colour_p_holm == pytest.approx(results().effects[1].colour_p_holm, rel=1e-5)
    assert (again.doses, again.matrices, again.repeatability) == (
        results().doses, results().matrices, results().repeatability
    )  # fmt: skip
    older = example_results()
    assert (older.effects, older.doses, older.stage_shifts, older.repeatability, older.matrices) == (
        (),
        (),
        (),
        None,
        (),
    )
    text = results_json(older).replace(b'"effects": [],', b"").replace(b'"repeatability": null,', b"")
    assert b"effects" not in text
    assert read_results(text) == read_results(results_json(older))


def test_each_wood_has_its_own_table_of_effects_with_corrected_chances() -> None:
    one, two = effect_groups(results())
    assert [group.heading for group in (one, two)] == [
        "cherry: stained, light not named",
        "hard maple: stained, light not named",
    ]
    alone, pooled = one.rows[0], two.rows[0]
    assert (alone.blotch_chance, alone.colour_chance) == ("–", "–")
    assert alone.says.endswith("one board: no inference about the pre-treatment.")
    assert pooled.blotch == "−2.30 ± 0.05"
    assert pooled.ratio.startswith("× 0.18 (0.1")
    assert pooled.detail == "Walnut dye, 2 boards"
    assert pooled.blotch_chance == "< 0.001"


def test_a_readable_matrix_stands_on_the_page_once_a_pair_and_a_large_one_does_not() -> None:
    (table,) = matrix_tables(results())
    assert table.rows == (("", "", ""), ("3.2", "", ""), ("(0.4)", "–", ""))
    nothing_judged = replace(results(), verdicts=())
    assert len(matrix_tables(nothing_judged)) == 2


def test_the_page_tells_effects_doses_distances_and_repeats_and_nothing_of_them_when_there_are_none() -> None:
    measurement = example_measurement()
    page = report_html(content_of(replace(measurement, results=results()), [], 3.0)).decode()
    for text in (
        "against its own board's control", results().effects[0].says, "3 % does.", "All zones against all",
        '<td class="n">(0.4)</td>', "2 zones again: 0.2.",
    ):  # fmt: skip
        assert text in page or text.replace("'", "&#39;") in page or text[:1].upper() + text[1:] in page, text
    assert repeats_in_words(results()) == "2 zones again: 0.2."
    assert dose_blocks(results())[0].rows[0].dose == "3 % solids"
    plain = report_html(content_of(measurement, [], 3.0)).decode()
    for heading in ("own board's control", "How much of it", "All zones against all"):
        assert heading not in plain
