"""What schedule and amounts are asked, by what job.toml says."""

from dataclasses import replace
from datetime import date, datetime, time

import pytest
from test_plan_layout import request, trial

from analyzer.plan.schedule_nouns import Air, SheetTime, WorkingHours
from analyzer.plan.work import piece_amounts_request, schedule_request, trial_amounts_requests
from analyzer.plan_request import Candidate, Conditions, Part

PARTS = (Part("top", "cherry", 1.5, "tenons"), Part("rail", "ash", 0.5), Part("leg", "cherry", 0.25, "mortises"))
ASKED = request(
    2,
    start=date(2026, 12, 7),
    hours=(time(7, 30), time(16)),
    conditions=Conditions(19, 60, 40, 8.5),
    topcoat="waterborne clear",
    applied="sprayed",
    recipe={"sanding": [120, "P150", 180], "dwell": "3 min", "topcoat_coats": 3, "sealer": "shellac", "stain_coats": 2},
)


def test_the_schedule_is_asked_for_what_the_job_says() -> None:
    asked = schedule_request(ASKED, PARTS)
    assert asked.species == ("cherry", "ash")
    assert asked.treatments == ("shellac washcoat", "glue size")
    assert (asked.stain, asked.topcoat, asked.sealer) == ("brown oil stain", "waterborne clear", "shellac")
    assert asked.start == datetime(2026, 12, 7, 7, 30)  # noqa: DTZ001 - the shop's own clock
    assert asked.hours == WorkingHours(time(7, 30), time(16))
    assert (asked.air, asked.wood_moisture_percent) == (Air(19, 60), 8.5)
    assert asked.site is not None
    assert asked.site.humidity_percent == 40
    assert (asked.grits, asked.stain_coats, asked.topcoat_coats, asked.method) == (
        ("120", "P150", "180"),
        2,
        3,
        "sprayed",
    )
    assert asked.dwell_min == pytest.approx(3)
    assert asked.glue_faces == "top: tenons; leg: mortises"


def test_what_the_job_does_not_say_is_left_to_the_tables() -> None:
    asked = schedule_request(request(1), (Part("top", "cherry", 1.0),))
    assert (asked.air, asked.site, asked.grits, asked.topcoat_coats, asked.dwell_min) == (None, None, (), None, None)
    assert (asked.glue_faces, asked.sheet, asked.method) == (None, (), "")


def test_a_candidates_own_wait_comes_first_and_the_longest_of_several_strengths_counts() -> None:
    tried = tuple(
        Candidate(str(k), "washcoat", None, {"solids": k, "wait": wait})
        for k, wait in enumerate(("1 h", "2 h", "30 min", "overnight"), 3)
    )
    assert schedule_request(replace(ASKED, candidates=tried), PARTS).sheet == (SheetTime("washcoat", 2.0),)


def test_the_trial_takes_of_each_treatment_for_its_zones_and_of_the_finish_for_all() -> None:
    """Four boards of 400 x 150 mm with two treatments: 0.24 m², a quarter of it for each treatment."""
    boards = trial(2).boards
    first, second, finish = trial_amounts_requests(ASKED, boards, "mm", 3)
    for one, name in ((first, "shellac washcoat"), (second, "glue size")):
        assert [use.name for use in one.uses] == [name]
        assert sum(part.area_m2 for part in one.parts) == pytest.approx(0.06)
        assert {part.species for part in one.parts} == {"hard maple", "cherry"}
        assert one.retain_l == 0
        assert one.uses[0].wanted_solids_percent == 5
    assert sum(part.area_m2 for part in finish.parts) == pytest.approx(0.24)
    assert [(use.role, use.coats, use.method) for use in finish.uses] == [
        ("stain", 2, "wiped"),
        ("sealer", 1, "sprayed"),
        ("topcoat", 3, "sprayed"),
    ]


def test_the_piece_takes_each_treatment_as_if_it_were_chosen_for_all_its_parts() -> None:
    asked = piece_amounts_request(ASKED, PARTS, "in", 3)
    assert [(part.name, part.area_m2) for part in asked.parts] == [("top", 1.5), ("rail", 0.5), ("leg", 0.25)]
    assert [use.role for use in asked.uses] == ["treatment", "treatment", "stain", "sealer", "topcoat"]
    assert (asked.units, asked.retain_l) == ("in", None)
