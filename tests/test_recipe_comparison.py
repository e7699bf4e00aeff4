"""Two recipes side by side: what means the same is not told as different, and what was not written down is told."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from recorded_jobs import Recorded, write_recorded

from analyzer.cli import main
from analyzer.errors import JobFileError, RecordError
from analyzer.jobfile import read_job
from analyzer.recipe_fields import FIELDS
from analyzer.record.recipe_comparison import compare_recipes, compare_records, split_zone, zone_facts
from analyzer.recorded_value import celsius_of, likeness, micrometres_of, seconds_of

GRAY = (50.0, 0.0, 0.0)


def alike(key: str, one: object, other: object, scales: tuple[str | None, str | None] = (None, None)) -> str:
    return likeness(FIELDS[key], one, other, scales)


@pytest.mark.parametrize(
    ("key", "one", "other"),
    [
        ("wait", "2 h", "120 min"),
        ("wait", "1 h 30 min", "90 minutes"),
        ("wait", "1.5 hours", "1,5 h"),
        ("cure", "3 weeks", "21 days"),
        ("dwell", "180 s", "3 min."),
        ("wait", "Overnight", "overnight"),
        ("solids", 5, "5 %"),
        ("solids", 5.0, "5 percent"),
        ("dilution", 3, "1:3"),
        ("dilution", "1 to 10", "1:10"),
        ("scuff", "P320", "p 320"),
        ("scuff", 320, "320"),
        ("sanding", [120, 150, 180], "120, 150, 180"),
        ("sanding", "P120 then P150", ["P120", "P150"]),
        ("temperature", "20 °C", "68 °F"),
        ("temperature", "21 C", "70 F"),  # 70 °F is 21.1 °C
        ("wet_film", "4 mil", "101.6 µm"),
        ("wet_film", "0.1 mm", "100 microns"),
        ("sheen", 30, "30 gloss units"),
        ("topcoat", "Satin  lacquer", "satin lacquer."),
    ],
)
def test_values_that_mean_the_same_are_the_same(key: str, one: object, other: object) -> None:
    """Conversions by definition: 1 mil is 25.4 µm, 68 °F is 20 °C."""
    assert alike(key, one, other) == "same"
    assert alike(key, other, one) == "same"


@pytest.mark.parametrize(
    ("key", "one", "other"),
    [
        ("wait", "2 h", "2 min"),
        ("wait", "2 h", "overnight"),
        ("wait", "1-2 h", "1 h"),
        ("solids", 5, "about 5 %"),
        ("solids", 5, 6),
        ("scuff", "P320", "CAMI 320"),
        ("scuff", "P320", "P220"),
        ("sanding", [120, 180], [120, 150, 180]),
        ("temperature", "20 °C", "20 °F"),
        ("wet_film", "4 mil", "100 µm"),
        ("raised", True, False),
        ("stain_coats", 1, 2),
    ],
)
def test_values_that_mean_something_else_are_different(key: str, one: object, other: object) -> None:
    assert alike(key, one, other) == "different"
    assert alike(key, other, one) == "different"


def test_a_grit_without_its_scale_cannot_be_told_from_one_with_it() -> None:
    assert alike("scuff", "P320", 320) == "cannot tell"
    assert alike("scuff", "P320", 320, (None, "P")) == "same"
    assert alike("scuff", "P320", 320, (None, "CAMI")) == "different"
    assert alike("sanding", [120, 150], [120, 150], ("P", None)) == "cannot tell"
    assert alike("scuff", "P320", 220) == "different"


@given(st.integers(1, 9999), st.sampled_from(["min", "h", "days"]))
def test_a_time_is_its_number_of_seconds(count: int, unit: str) -> None:
    assert seconds_of(f"{count} {unit}") == count * {"min": 60, "h": 3600, "days": 86_400}[unit]


@given(st.text(max_size=30))
def test_no_text_upsets_the_readers(text: str) -> None:
    for read in (seconds_of, celsius_of, micrometres_of):
        value = read(text)
        assert value is None or math.isfinite(value)
    assert all(alike(key, text, text) == "same" for key in FIELDS)


def test_what_differs_agrees_and_was_not_recorded_is_told_apart() -> None:
    first = {"species": "hard maple", "treatment": "shellac washcoat", "stain": "brown", "wait": "1 h", "scuff": "P320"}
    second = first | {"wait": "overnight", "scuff": 320, "wiper": "Ida", "solids": 5}
    found = compare_recipes(first, second)
    assert [field.key for field in found.differs] == ["wait"]
    assert [field.key for field in found.agrees] == ["species", "treatment", "stain"]
    assert [field.key for field in found.cannot_tell] == ["scuff"]
    missing = {field.key: (field.first, field.second) for field in found.not_recorded}
    assert missing["solids"] == (None, "5")
    assert missing["batch"] == (None, None)
    differs, doubtful, lacking = found.says
    assert differs == "What differs: wait 1 h against overnight."
    assert doubtful == "Cannot be told: scuff grit P320 against 320, the scale of the grit is not given."
    assert lacking.startswith("Not recorded: solids as used (first), wiped by (first), ")
    assert "batch of the stain (both)" in lacking


def test_every_field_is_told_exactly_once() -> None:
    found = compare_recipes({"treatment": "size"}, {"treatment": "size", "wait": "2 h"})
    told = [
        field.key for part in (found.differs, found.agrees, found.cannot_tell, found.not_recorded) for field in part
    ]
    assert sorted(told) == sorted(["species", "treatment", "stain", *FIELDS])


def test_a_control_lacks_no_wait_for_a_pre_treatment_that_it_never_had() -> None:
    both = compare_recipes({"treatment": "none"}, {"treatment": "none"})
    assert "wait" not in {field.key for field in both.not_recorded}
    one = compare_recipes({"treatment": "none"}, {"treatment": "size", "wait": "2 h"})
    assert [(field.first, field.second) for field in one.differs if field.key == "wait"] == [("none", "2 h")]


@pytest.fixture
def jobs(tmp_path: Path) -> tuple[str, str]:
    wash = {"solids": 5, "wait": "2 h"}
    write_recorded(
        tmp_path / "one",
        [
            Recorded(GRAY, "A/wash", recipe=wash),
            Recorded(GRAY, "A/size", treatment="glue size"),
            Recorded(GRAY, "B/wash", recipe=wash | {"wait": "3 h"}),
        ],
        board_facts='lot = "M-14"',
    )
    write_recorded(
        tmp_path / "two",
        [Recorded(GRAY, "A/wash", recipe={"solids": "5 %", "wait": "120 min", "batch": "7"})],
        board_facts='lot = "M-15"\nbatch = "6"',
    )
    return str(tmp_path / "one"), str(tmp_path / "two")


def test_two_zones_of_two_jobs_are_compared(jobs: tuple[str, str]) -> None:
    one, two = jobs
    (recipe,) = compare_records(f"{one}:A/wash", f"{two}:A/wash").recipes
    assert {field.key for field in recipe.agrees} == {"species", "treatment", "stain", "solids", "wait"}
    assert [(field.key, field.first, field.second) for field in recipe.differs] == [("lot", "M-14", "M-15")]
    assert next(field for field in recipe.not_recorded if field.key == "batch").second == "7"


def test_two_jobs_are_compared_by_the_pre_treatments_that_both_have(jobs: tuple[str, str]) -> None:
    found = compare_records(*jobs)
    assert (found.only_first, found.only_second) == (("glue size",), ())
    (recipe,) = found.recipes
    assert recipe.first == "A/wash, B/wash"
    assert next(field for field in recipe.differs if field.key == "wait").first == "2 h or 3 h"
    with pytest.raises(RecordError, match="no pre-treatment in common"):
        compare_records(f"{jobs[0]}:A/size", jobs[1])


def test_a_zone_that_is_not_there_is_told_with_the_nearest(jobs: tuple[str, str]) -> None:
    with pytest.raises(RecordError, match="Did you mean A/wash"):
        compare_records(f"{jobs[0]}:A/wosh", jobs[1])
    with pytest.raises(JobFileError):
        compare_records(f"{jobs[0]}-nowhere:A/wash", jobs[1])


def test_a_colon_in_a_folder_does_no_harm(tmp_path: Path) -> None:
    odd = tmp_path / "job: hall"
    odd.mkdir()
    assert split_zone(str(odd)) == (odd, None)
    assert split_zone(f"{odd}:A/z") == (odd, "A/z")
    assert split_zone("C:\\jobs\\hall:A/z") == (Path("C:\\jobs\\hall"), "A/z")


def test_a_zones_own_line_wins_over_its_boards(jobs: tuple[str, str]) -> None:
    job = read_job(Path(jobs[1]), while_shooting=True)
    facts = zone_facts(*job.zone("A/wash"))
    assert (facts["batch"], facts["lot"]) == ("7", "M-15")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("moisture = -1", "0 to 100"),
        ('grit_scale = "Q"', "CAMI"),
        ("sanding = []", "120, 150, 180"),
        ("sanding = [120, 0]", "120, 150, 180"),
        ("raised = 1", "true or false"),
        ('date = "2026-02-30"', "year-month-day"),
        ("date = 2026-03-01T08:00:00", "year-month-day"),
        ("temperature = 20", "with its unit"),
        ("wet_film = 100", "with its unit"),
        ("order = 1.5", "whole number"),
        ('wait_ended = "damp"', '"wet" or "dry"'),
        ("lott = 3", "Did you mean lot"),
    ],
)
def test_a_field_that_does_not_hold_is_told(tmp_path: Path, line: str, told: str) -> None:
    write_recorded(tmp_path, [Recorded(GRAY)], board_facts=line)
    with pytest.raises(JobFileError, match=told):
        read_job(tmp_path, while_shooting=True)


def test_the_command_says_it_in_words(jobs: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    one, two = jobs
    assert main(["compare", f"{one}:A/wash", f"{two}:A/wash"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "What differs: lot M-14 M-15" in printed
    assert "Not recorded: batch of the stain (first)" in printed
