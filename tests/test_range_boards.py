"""Range boards: how blotchy may a surface be that was agreed by a light and a dark board?"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from readings import NO_EVENNESS, blocks_of, reading_of, sight_of, zone_of
from report_example import example_job, example_results

from analyzer.job import EvennessWish, Job, Reference, Target
from analyzer.pooling import MeasuredZone
from analyzer.report.answer_block import job_facts
from analyzer.report.page import page_of
from analyzer.results import Stage
from analyzer.targets import judged_zones
from analyzer.trials import JudgedZone
from analyzer.verdicts import judge

LIGHT, MID, DARK = (45.0, 14.0, 24.0), (42.0, 14.0, 23.0), (36.0, 13.0, 20.0)
RANGE = Target(between=("S/light", "S/dark"))
THREE = Target(between=("S/light", "S/mid", "S/dark"))


def job(evenness: dict[str, Any] | None = None, target: Target = RANGE, wish: EvennessWish | None = None) -> Job:
    """A job whose [evenness] is as written; `wish` is what the job file's reader makes of it."""
    as_read = {} if evenness is None else {"evenness": evenness}
    return Job(Path("job"), "bench", "mm", target, wish or EvennessWish(), Reference(), (), (), as_read=as_read)


def measured(
    path: str,
    Lab: tuple[float, float, float],
    blotch: float | None,
    *,
    u95: float = 0.15,
    stage: Stage = "stained",
    light: str | None = None,
) -> MeasuredZone:
    board, zone = path.split("/")
    evenness = replace(NO_EVENNESS, blotch=blotch, blotch_u95=None if blotch is None else u95)
    sight = sight_of(replace(reading_of(blocks_of(Lab)), evenness=evenness), board=board)
    return replace(zone_of(sight, zone_id=zone, board_id=board), stage=stage, light=light)


def boards(light: float | None = 0.8, dark: float | None = 1.6, **of_dark: Any) -> list[MeasuredZone]:  # noqa: ANN401 - fields
    return [measured("S/light", LIGHT, light), measured("S/dark", DARK, dark, u95=0.2, **of_dark)]


def held(of: Job, zones: list[MeasuredZone]) -> JudgedZone:
    return next(zone for zone in judged_zones(of, zones) if zone.id == "A/glue")


def tried(blotch: float, Lab: tuple[float, float, float] = (40.5, 13.5, 22.0)) -> MeasuredZone:
    return measured("A/glue", Lab, blotch)


# ---- the limit


@pytest.mark.parametrize(("light", "dark", "worst"), [(0.8, 1.6, 1), (1.9, 1.6, 0)])
def test_the_blotchier_range_board_sets_the_limit_and_its_doubt(light: float, dark: float, worst: int) -> None:
    of_range = boards(light, dark)
    zone = held(job(), [*of_range, tried(1.2)])
    assert (zone.blotch_limit, zone.blotch_limit_u95) == (max(light, dark), of_range[worst].blotch_u95)
    assert of_range[0].blotch_u95 != of_range[1].blotch_u95


def test_the_middle_board_counts_among_three() -> None:
    zones = [*boards(), measured("S/mid", MID, 2.5), tried(1.2)]
    assert held(job(target=THREE), zones).blotch_limit == 2.5


def test_a_limit_or_a_zone_written_by_hand_goes_before_the_range_boards() -> None:
    zones = [*boards(), measured("S/old", MID, 0.4), tried(1.2)]
    by_number = held(job({"limit": 1.0}), zones)
    assert (by_number.blotch_limit, by_number.blotch_limit_u95) == (1.0, 0.0)
    like = job({"like": "S/old"}, wish=EvennessWish("even", None, "S/old"))
    assert held(like, zones).blotch_limit == 0.4
    assert held(job({"wish": "even"}), zones).blotch_limit == 1.6  # a wish is no limit


def test_without_range_boards_the_tools_own_limit_holds() -> None:
    assert held(job(target=Target(zone="S/light")), [*boards(), tried(1.2)]).blotch_limit == 1.0


@pytest.mark.parametrize(
    "range_boards",
    [boards()[:1], boards(dark=None), boards(stage="sealed"), boards(light=None)],
    ids=["not photographed", "too small to measure", "at another stage", "the light one unknown"],
)
def test_a_range_board_whose_blotch_is_not_known_here_leaves_no_limit(range_boards: list[MeasuredZone]) -> None:
    """It might be the blotchiest: the other's index would be too strict."""
    zone = held(job(), [*range_boards, tried(1.2)])
    assert (zone.blotch_limit, zone.blotch_limit_u95) == (None, None)


# ---- the verdict


@pytest.mark.parametrize(
    ("Lab", "blotch", "colour", "evenness", "overall"),
    [
        ((40.5, 13.5, 22.0), 1.2, "match", "even", "use"),  # on the line, above the tool's own limit of 1.0
        ((40.5, 13.5, 22.0), 2.4, "match", "blotchy", "do not use"),
        ((40.5, 13.5, 22.0), 1.6, "match", "cannot tell", "cannot tell"),  # no blotchier, but who can tell
        ((52.0, 15.0, 27.0), 1.2, "no match", "even", "do not use"),  # lighter than the light board
        ((40.5, 19.0, 22.0), 1.2, "no match", "even", "do not use"),  # as dark as agreed, but redder
    ],
)
def test_a_treatment_must_lie_on_the_line_and_be_no_blotchier_than_the_worst_range_board(
    Lab: tuple[float, float, float], blotch: float, colour: str, evenness: str, overall: str
) -> None:
    (verdict,) = judge(job(), judged_zones(job(), [*boards(), tried(blotch, Lab)]))
    assert (verdict.colour, verdict.evenness, verdict.overall) == (colour, evenness, overall)


# ---- the report


def test_the_report_says_which_board_sets_the_limit() -> None:
    of = replace(example_job(), target=Target(between=("A/glue", "A/control")), as_read={"target": {}})
    results = example_results()
    assert "No blotchier than the worst range board" in job_facts(of, results)
    page = page_of(of, results)
    assert page.blotch_limit == "that of the worst range board"
    by_hand = replace(of, as_read={"evenness": {"limit": 1.0}})
    assert "Largest acceptable blotch: 1.00" in job_facts(by_hand, results)
    assert page_of(by_hand, results).blotch_limit == "1.00"


def test_the_chart_of_blotch_draws_the_worst_range_boards_as_its_limit() -> None:
    """The example's zones were given 1.92 (A/control) and 0.97 (A/glue)."""
    of = replace(example_job(), target=Target(between=("A/glue", "A/control")), as_read={})
    limits = {chart.limit for group in page_of(of, example_results()).groups for chart in group.charts[1:]}
    assert limits == {"1.92"}
