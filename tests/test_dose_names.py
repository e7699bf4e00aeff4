"""Doses of one treatment under one name are trials of their own."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from test_verdicts import job, zone

from analyzer.dose_names import doses_apart
from analyzer.job import Board, EvennessWish, Job, Reference, Target, Zone
from analyzer.verdicts import answer, judge


def job_of(*recipes: dict[str, Any], treatment: str = "shellac washcoat") -> Job:
    """One board a recipe."""
    boards = tuple(
        Board(
            f"B{n}", "birch", 300, 150,
            (Zone("wash", treatment, (0, 100), (0, 150), stain="brown", recipe=recipe),),
        )
        for n, recipe in enumerate(recipes)
    )  # fmt: skip
    return Job(Path("job"), "bench", "mm", Target(zone="S/s"), EvennessWish(), Reference(), boards, ())


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ({"solids": 5}, {"solids": 8}, ("5 % solids", "8 % solids")),
        ({"dilution": "1:4"}, {"dilution": "1:9"}, ("1:4", "1:9")),
        ({"stain_coats": 1, "solids": 5}, {"stain_coats": 2, "solids": 5}, ("1 coat", "2 coats")),
    ],
)
def test_two_doses_are_told_apart_by_what_differs(
    first: dict[str, Any], second: dict[str, Any], words: tuple[str, str]
) -> None:
    assert doses_apart(job_of(first, second)) == {"B0/wash": words[0], "B1/wash": words[1]}


@pytest.mark.parametrize("second", [{"solids": 5.0}, {"solids": "5 %"}, {}, {"solids": 5, "wait": "2 h"}])
def test_one_dose_however_written_or_not_recorded_is_one_trial(second: dict[str, Any]) -> None:
    assert doses_apart(job_of({"solids": 5}, second)) == {}


def test_each_dose_gets_its_own_verdict_and_the_answer_names_it() -> None:
    """5 % matches, 8 % is 4 L* too light: pooled they would be neither."""
    zones = [
        zone("A/5", "wash", 0.3),
        replace(zone("A/8", "wash", 4.0), dose="8 % solids"),
        zone("B/5", "wash", 0.4),
        replace(zone("B/8", "wash", 4.1), dose="8 % solids"),
    ]
    zones = [one if one.dose else replace(one, dose="5 % solids") for one in zones]
    verdicts = judge(job(), zones)
    assert {(one.dose, one.colour) for one in verdicts} == {("5 % solids", "match"), ("8 % solids", "no match")}
    found = answer(job(), verdicts)
    assert (found.treatment, found.dose) == ("wash", "5 % solids")
    assert "wash of 5 % solids" in found.reason.lower()
