"""Shifts from stage to stage, repeatability of repeated photos, and all zones against all: zones made by hand."""

import itertools
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from board_photos import Floats
from readings import COLUMNS, ROWS, blocks_of, reading_of, sight_of

from analyzer.compare import difference
from analyzer.evenness import Evenness
from analyzer.job import Board, EvennessWish, Job, Reference, Target, Zone
from analyzer.matrix import READABLE, matrices
from analyzer.pooling import MeasuredZone
from analyzer.repeatability import repeatability
from analyzer.results import Stage
from analyzer.stages import stage_shifts
from analyzer.targets import judged_zones
from analyzer.verdicts import judge
from calibration.difference import delta_E_00

BASE = np.array([45.0, 14.0, 22.0])
COAT = np.array([-5.0, 1.0, 6.0])  # what a topcoat does to it
SEALED = {"topcoat": "two coats of lacquer", "sheen": "satin"}


def moved(L: float, a: float, b: float) -> Floats:
    return np.asarray(BASE + np.array([L, a, b]))


def zone(
    name: str,
    Labs: Sequence[Floats],
    *,
    board: str = "A",
    stage: Stage = "stained",
    light: str | None = None,
    species: str = "hard maple",
    blotches: Sequence[float] = (),
    **of_zone: Any,  # noqa: ANN401 - fields of Zone
) -> MeasuredZone:
    """A zone of even colour in one photo for each colour given, the photos named by board and stage."""
    made = Zone(name, **({"treatment": "none", "span_mm": (0.0, 90.0), "across_mm": (0.0, 120.0)} | of_zone))
    sights = []
    for number, (Lab, blotch) in enumerate(itertools.zip_longest(Labs, blotches)):
        reading = reading_of(blocks_of(Lab, np.zeros((ROWS, COLUMNS))))
        evenness = Evenness(blotch, None, None, None, (), np.empty((0, 0), np.float32))
        photo = f"{board}-{stage}-{number}.jpg"
        sights.append(sight_of(replace(reading, evenness=evenness), photo=photo, board=board))
    return MeasuredZone(Board(board, species, 300.0, 120.0, (made,)), made, stage, light, tuple(sights))


def before_and_after(board: str, name: str, stray: Sequence[float] = (0, 0, 0), **more: Any) -> list[MeasuredZone]:  # noqa: ANN401 - of `zone`
    after = BASE + COAT + np.asarray(stray, dtype=float)
    return [
        zone(name, [BASE], board=board, **more),
        zone(name, [after], board=board, stage="topcoated", **more),
    ]


# ---- from stage to stage


def test_a_shift_is_later_minus_earlier_as_a_vector() -> None:
    (shift,) = stage_shifts(before_and_after("A", "a", stain="walnut dye", recipe=SEALED))
    assert (shift.dl, shift.da, shift.db) == pytest.approx(tuple(COAT), abs=1e-6)
    assert (shift.stage_from, shift.stage_to) == ("stained", "topcoated")
    assert (shift.stain, shift.topcoat, shift.sheen) == ("walnut dye", "two coats of lacquer", "satin")
    assert shift.de00 == pytest.approx(float(delta_E_00(BASE, BASE + COAT)))
    assert (shift.boards, shift.zones, shift.zone_sd, shift.dlab_u95) == (1, ("A/a",), None, None)


def test_the_spread_over_zones_and_the_mean_over_boards_are_apart() -> None:
    """Strays of 0 and 2 on board A, 4 on B: boards stray by 1 and 4, the three zones by a standard deviation of 2."""
    stray = {("A", "a"): 0.0, ("A", "b"): 2.0, ("B", "a"): 4.0}
    zones = [z for (board, name), dL in stray.items() for z in before_and_after(board, name, (dL, 0, 0))]
    (shift,) = stage_shifts(zones)
    assert shift.dl == pytest.approx(-5 + (1 + 4) / 2, abs=1e-6)
    assert shift.zone_sd == pytest.approx((2.0, 0.0, 0.0), abs=1e-6)
    assert shift.boards == 2
    assert shift.dlab_u95 is not None
    between = 12.706 * np.std([1.0, 4.0], ddof=1) / np.sqrt(2)  # t of one degree of freedom
    assert between < shift.dlab_u95[0] < between * 1.1  # a little more, by what two photos leave open


def test_each_stage_is_joined_to_the_next_that_was_photographed() -> None:
    every = before_and_after("A", "a")
    middle = zone("a", [moved(-1, 0, 0)], stage="sealed")
    unripe = [zone("a", [BASE], stage=stage) for stage in ("bare", "treated", "wet")]
    found = [(shift.stage_from, shift.stage_to) for shift in stage_shifts([*every[::-1], middle, *unripe])]
    assert found == [("stained", "sealed"), ("sealed", "topcoated")]
    assert stage_shifts(unripe) == ()


def test_another_light_wood_stain_topcoat_or_sheen_is_another_shift() -> None:
    zones = [
        *before_and_after("A", "a"),
        *before_and_after("A", "b", light="lamp"),
        *before_and_after("C", "c", species="cherry"),
        *before_and_after("A", "d", stain="oak dye"),
        *before_and_after("A", "e", recipe={"sheen": "gloss"}),
        *before_and_after("A", "f", recipe={"topcoat": "oil"}),
    ]
    order = [shift.zones for shift in stage_shifts(zones)]
    assert order == [("C/c",), ("A/a",), ("A/e",), ("A/f",), ("A/d",), ("A/b",)]
    alone = [before_and_after("A", "a")[0], zone("a", [BASE], stage="topcoated", light="lamp")]
    assert stage_shifts(alone) == ()


# ---- repeated photos


def test_repeatability_is_the_pooled_standard_deviation_over_zones() -> None:
    """Two zones, three and two photos: variances 1 and 2 (of 0, 2) with 2 and 1 degrees of freedom."""
    first = zone("a", [moved(d, 0, 0) for d in (-1, 0, 1)], blotches=(1.0, 1.1, 1.2))
    second = zone("a", [moved(0, d, 0) for d in (0, 2)], board="B", blotches=(0.5, 0.9))
    found = repeatability([first, second, zone("c", [BASE], board="C")])
    assert found is not None
    assert found.lab_sd == pytest.approx((np.sqrt(2 / 3), np.sqrt(2 / 3), 0.0), abs=1e-6)
    assert found.blotch_sd == pytest.approx(np.sqrt((0.02 + 0.08) / 3))
    assert (found.zones, found.photos, found.degrees_of_freedom) == (2, 5, 3)
    assert found.pair_lab_sd is None
    means = BASE, moved(0, 1, 0)
    squares = sum(float(delta_E_00(means[0], moved(d, 0, 0))) ** 2 for d in (-1, 0, 1))
    squares += sum(float(delta_E_00(means[1], moved(0, d, 0))) ** 2 for d in (0, 2))
    assert found.de00_sd == pytest.approx(np.sqrt(squares / 3))


def test_what_moves_both_zones_of_a_photo_alike_is_no_spread_of_their_difference() -> None:
    moves = np.array([(0.0, 0, 0), (1.5, 0, 0.5), (-1.0, 0.3, 0)])
    a, b = zone("a", list(BASE + moves)), zone("b", list(moved(4, 0, 0) + moves))
    found = repeatability([a, b])
    assert found is not None
    assert found.lab_sd[0] == pytest.approx(np.std(moves[:, 0], ddof=1), abs=1e-6)
    assert found.pair_lab_sd == pytest.approx((0, 0, 0), abs=1e-6)
    assert found.pair_de00_sd == pytest.approx(0, abs=0.05)
    assert "2 zones photographed again" in found.says


def test_the_repeats_are_in_the_half_width_already() -> None:
    """The source "repeats" is the square of the spread over the number of photos."""
    a = zone("a", [moved(d, 0, 0) for d in (-1, 0, 1)])
    b = zone("b", [moved(4, 0, 0)] * 3)
    budget = difference(a, b).budget
    assert budget is not None
    assert budget["repeats"][0, 0] == pytest.approx(1.0 / 3, abs=1e-6)
    once = difference(zone("a", [BASE]), zone("b", [moved(4, 0, 0)]))
    assert once.budget is not None
    assert not once.budget["repeats"].any()
    assert (difference(a, b).de00_u95 or 0) > (once.de00_u95 or 0)


def test_without_a_second_photo_there_is_no_repeatability() -> None:
    assert repeatability([zone("a", [BASE]), zone("b", [BASE])]) is None


# ---- all against all


def many(count: int, **more: Any) -> list[MeasuredZone]:  # noqa: ANN401 - of `zone`
    return [zone(f"z{k}", [moved(k, 0, 0)], **more) for k in range(count)]


def test_every_zone_is_held_against_every_other_once_a_stage_and_light() -> None:
    zones = [*many(3), *many(2, stage="sealed"), *many(1, light="lamp")]
    found = matrices(zones, ())
    assert [(m.stage, m.light, m.zones) for m in found] == [
        ("stained", None, ("A/z0", "A/z1", "A/z2")),
        ("sealed", None, ("A/z0", "A/z1")),
    ]
    table = np.array(found[0].de00, dtype=float)
    assert table == pytest.approx(table.T)
    assert table[0, 2] == pytest.approx(float(delta_E_00(BASE, moved(2, 0, 0))), abs=1e-6)
    assert np.diag(table) == pytest.approx(0)
    assert found[0].de00_u95 is not None
    assert found[0].de00_u95[0][1] == found[0].de00_u95[1][0] == difference(zones[0], zones[1]).de00_u95


def test_zones_of_another_sheen_are_not_compared_but_other_woods_and_boards_are() -> None:
    zones = [
        zone("a", [BASE], recipe={"sheen": "satin"}),
        zone("b", [BASE], recipe={"sheen": "gloss"}),
        zone("c", [moved(3, 0, 0)], board="C", species="cherry"),
    ]
    (found,) = matrices(zones, ())
    assert (found.de00[0][1], found.de00[1][0]) == (None, None)
    assert found.de00[0][2] == pytest.approx(float(delta_E_00(BASE, moved(3, 0, 0))), abs=1e-6)


def test_with_many_zones_only_the_distances_are_worked_out() -> None:
    (few,), (too_many,) = matrices(many(READABLE), ()), matrices(many(READABLE + 1), ())
    assert few.de00_u95 is not None
    assert too_many.de00_u95 is None
    assert np.array(too_many.de00, dtype=float)[:READABLE, :READABLE] == pytest.approx(np.array(few.de00, dtype=float))


# ---- mixed woods


def test_a_treatment_is_judged_against_a_zone_on_another_wood() -> None:
    """Alder against an approved maple zone: the zone that is the target gets no verdict, alder gets its own."""
    maple = zone("approved", [BASE], treatment="washcoat", blotches=(0.4,))
    alder = [
        zone("plain", [moved(-4, 0, 0)], board="R", species="red alder"),
        zone("wash", [moved(0.2, 0, 0)], board="R", species="red alder", treatment="washcoat"),
    ]
    boards = tuple(z.board for z in (maple, *alder))
    job = Job(
        Path("job"), "bench", "mm", Target(2.0, zone="A/approved"), EvennessWish("lively"), Reference(), boards, ()
    )
    verdicts = judge(job, judged_zones(job, [maple, *alder]))
    assert {(v.species, v.treatment) for v in verdicts} == {("red alder", "none"), ("red alder", "washcoat")}
    by_treatment = {v.treatment: v for v in verdicts}
    assert by_treatment["none"].colour == "no match"
    assert by_treatment["washcoat"].de00 == pytest.approx(float(delta_E_00(BASE, moved(0.2, 0, 0))), abs=1e-3)
    assert by_treatment["washcoat"].colour != "no match"
