"""Figure kept since the wood was bare, and blotch on ground as light as the control's."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job
from board_photos import FAULTLESS, corners, saved, taken
from evenness_fields import Array, luminance, patches, sine_streaks, unit
from readings import NO_EVENNESS, blocks_of, reading_of, sight_of, zone_of
from simulator import PaintedZone

from analyzer import measure_job
from analyzer.effects import paired_zones
from analyzer.evenness import evenness
from analyzer.job import EvennessWish, Job, Reference, Target
from analyzer.pooling import MeasuredZone
from analyzer.results import Stage
from analyzer.targets import judged_zones
from analyzer.verdicts import judge
from analyzer.zone_ratios import blotch_levelled, figure_kept, steepness

LIVELY = Job(Path("job"), "bench", "mm", Target(lab=(40.0, 14.0, 22.0)), EvennessWish("lively"), Reference(), (), ())


def measured(
    path: str,
    *,
    L_star: float = 40.0,
    blotch: float | None = 0.5,
    figure: float | None = 1.0,
    stage: Stage = "stained",
    light: str | None = None,
    treatment: str = "glue size",
) -> MeasuredZone:
    board, zone = path.split("/")
    found = replace(NO_EVENNESS, blotch=blotch, blotch_u95=None if blotch is None else 0.1, figure=figure)
    sight = sight_of(replace(reading_of(blocks_of((L_star, 14.0, 22.0))), evenness=found), board=board)
    made = zone_of(sight, zone_id=zone, board_id=board, treatment=treatment)
    return replace(made, stage=stage, light=light)


def bare(figure: float | None, light: str | None = None, path: str = "A/glue") -> MeasuredZone:
    return measured(path, L_star=75.0, figure=figure, stage="bare", light=light)


# ---- figure


def test_figure_is_told_against_the_same_zone_bare() -> None:
    now = measured("A/glue", figure=1.3)
    zones = [bare(2.0, path="A/other"), bare(4.0, path="B/glue"), bare(1.0), now]
    assert figure_kept(now, zones) == pytest.approx(1.3)


def test_a_bare_photo_in_the_same_light_goes_before_one_in_another() -> None:
    now = measured("A/glue", figure=1.0, light="shop")
    window, shop = bare(2.0, "window"), bare(0.5, "shop")
    assert figure_kept(now, [window, shop, now]) == figure_kept(now, [shop, window, now]) == pytest.approx(2.0)
    assert figure_kept(now, [window, now]) == pytest.approx(0.5)


@pytest.mark.parametrize(("before", "now"), [(0.19, 1.0), (None, 1.0), (1.0, None)])
def test_without_figure_to_keep_or_to_see_nothing_is_told(before: float | None, now: float | None) -> None:
    zone = measured("A/glue", figure=now)
    assert figure_kept(zone, [bare(before), zone]) is None
    assert figure_kept(measured("A/glue", figure=1.0), [bare(0.2)]) == pytest.approx(5.0)


def test_bare_wood_and_wood_that_was_never_seen_bare_have_kept_nothing() -> None:
    before = bare(1.0)
    assert figure_kept(before, [before]) is None
    assert figure_kept(measured("A/glue"), [measured("A/glue", stage="sealed"), measured("A/glue")]) is None


def test_where_a_lively_figure_is_wanted_the_verdict_says_how_much_of_it_is_there() -> None:
    """Two boards, 1.2 and 1.4 times the bare figure."""
    zones = [measured("A/glue", figure=1.2), measured("B/glue", figure=2.8), bare(1.0), bare(2.0, path="B/glue")]
    (verdict,) = judge(LIVELY, judged_zones(LIVELY, zones))
    said = "evenness not judged, as a lively figure is wanted"
    assert verdict.evenness == "not judged"
    assert f"{said}; the figure is 1.3 times that of the bare wood" in verdict.advice
    (unseen,) = judge(LIVELY, judged_zones(LIVELY, zones[:2]))
    assert said in unseen.advice
    assert "bare wood" not in unseen.advice
    (even,) = judge(replace(LIVELY, evenness=EvennessWish()), judged_zones(LIVELY, zones))
    assert "figure" not in even.advice


# ---- blotch


def levelled(zone: MeasuredZone, *others: MeasuredZone) -> float | None:
    return blotch_levelled(zone, paired_zones(LIVELY, [zone, *others]))


def test_blotch_is_held_at_the_lightness_of_the_control() -> None:
    """(30 + 16) / (50 + 16) by the definition of L* (ISO/CIE 11664-4): cube roots of luminance."""
    lighter = measured("A/glue", L_star=50.0, blotch=1.2)
    control = measured("A/control", L_star=30.0, treatment="none")
    assert levelled(lighter, control) == pytest.approx(1.2 * 46 / 66, rel=1e-3)
    assert levelled(replace(lighter, stage="sealed"), control) is None  # the control was not seen sealed
    assert levelled(lighter, measured("B/control", L_star=30.0, treatment="none")) is None
    assert levelled(control, lighter) is None
    assert levelled(measured("A/glue", blotch=None), control) is None


def test_a_zone_as_light_as_its_control_keeps_its_blotch() -> None:
    assert levelled(measured("A/glue", blotch=0.8), measured("A/control", treatment="none")) == pytest.approx(0.8)


@pytest.mark.parametrize("L_control", [22.0, 35.0, 60.0])
def test_the_same_uneven_uptake_on_darker_ground_is_the_same_blotch_once_levelled(L_control: float) -> None:
    """Painted: two zones whose luminance varies by the same shares of its mean, read by the index itself."""
    share = 0.04 * unit(patches((200, 300), 0.4, 31))
    dark, light = (_index(luminance(L) * np.exp(share)) for L in (L_control, 70.0))
    assert dark < 0.9 * light
    zone = measured("A/glue", L_star=70.0, blotch=light)
    control = measured("A/control", L_star=L_control, blotch=dark, treatment="none")
    assert levelled(zone, control) == pytest.approx(dark, rel=0.01)


def _index(Y: Array) -> float:
    blotch = evenness(Y, np.ones(Y.shape, bool), 0.4).blotch
    assert blotch is not None
    return blotch


@pytest.mark.parametrize(("L_star", "wanted"), [(50.0, 22.0), (8.0, 8.0), (4.0, 4.0), (8.000001, 8.0)])
def test_the_curve_of_lightness_is_as_steep_as_its_definition_says(L_star: float, wanted: float) -> None:
    assert steepness(L_star) == pytest.approx(wanted, rel=1e-6)


# ---- from photos


def painted(stage: str) -> tuple[PaintedZone, PaintedZone]:
    """Streaks of 2 L* on bare wood; stained, half of that on the control, and as much as before under glue size."""
    stained = stage == "stained"

    def surface(streaks: float, clouds: float) -> Callable[[tuple[int, int], float], Array]:
        return lambda shape, mm: (
            streaks * sine_streaks(shape, mm, 6.0) + clouds * unit(patches(shape, mm, int(10 * clouds)))
        )

    def colour(L_star: float) -> tuple[float, float, float]:
        return (L_star if stained else 75.0, 10.0, 20.0)

    return (
        PaintedZone("control", (0, 150), colour(32.0), surface(1.0 if stained else 2.0, 1.0 * stained)),
        PaintedZone("glue", (150, 300), colour(50.0), surface(2.0, 1.5 * stained)),
    )


def test_the_results_tell_both_ratios(tmp_path: Path) -> None:
    photos = []
    board = SHOP_BOARD
    for stage in ("bare", "stained"):
        board = replace(SHOP_BOARD, stage=stage, zones=painted(stage))
        rendered = taken(replace(SHOP_SCENE, boards=(board,)), **FAULTLESS)
        saved(tmp_path, rendered, f"{stage}.jpg")
        photos.append({"file": f"{stage}.jpg", "board": "A", "stage": stage, "corners": corners(rendered).tolist()})
    write_job(tmp_path, [board], photos, of_zones={"A/control": {"treatment": "none"}})
    found = {(zone.id, zone.stage): zone for zone in measure_job(tmp_path).results.zones}
    control, glue = found["A/control", "stained"], found["A/glue", "stained"]
    assert control.figure_kept == pytest.approx(0.5, rel=0.1)
    assert glue.figure_kept == pytest.approx(1.0, rel=0.1)
    assert glue.blotch_levelled == pytest.approx(1.5 * 48 / 66, rel=0.1)
    assert control.blotch_levelled is None
    assert all(
        zone.figure_kept is None and zone.blotch_levelled is None for zone in found.values() if zone.stage == "bare"
    )
