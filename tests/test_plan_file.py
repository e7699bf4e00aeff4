"""What `[plan]` and `[[part]]` of job.toml say: read as written, every fault told with its key and line."""

import re
from collections.abc import Callable
from datetime import date, time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer import JobFileError, read_job
from analyzer.job import Job, Target
from analyzer.plan_request import Candidate, Conditions, Part
from calibration.published import published_file

TEMPLATE = published_file("job_template.toml").read_text(encoding="utf-8")
PLAN = """\
format = 1
[job]
name = "Entry bench"
units = "mm"
[plan]
start = "2026-12-07"
hours = ["7:30", "16:00"]
stain = "brown oil stain"
topcoat = "waterborne clear"
sheen = "satin"
applied = "wiped"
temperature = 19
humidity = 55
use_humidity = 40
wood_moisture = 7.5
board_length = 480
board_width = 140
boards = 3
first_board = "C"
seed = 11
paper = "letter"
[[plan.candidate]]
treatment = "shellac washcoat"
solids = 5
wait = "1 h"
[[plan.candidate]]
treatment = "Glue size"
id = "size"
dilution = "1:10"
stain = "brown gel stain"
[[part]]
id = "top"
species = "hard maple"
length = 1400
width = 400
count = 2
faces = 3
[[part]]
id = "panel"
species = "cherry"
area = 1.25
substrate = "veneer"
glue_faces = "edges"
"""
Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def job_folder(text: str) -> Path:
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return job_folder


def edited(*changes: tuple[str, str]) -> str:
    text = PLAN
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def planned(folder: Path) -> Job:
    return read_job(folder, to_plan=True)


def test_a_plan_is_read_as_it_is_written_with_neither_target_nor_boards_nor_photos(write: Write) -> None:
    job = planned(write(PLAN))
    assert (job.target, job.boards, job.photos) == (Target(), (), ())
    plan = job.plan
    assert plan is not None
    assert plan.candidates == (
        Candidate("shellac-washcoat", "shellac washcoat", None, {"solids": 5, "wait": "1 h"}),
        Candidate("size", "Glue size", "brown gel stain", {"dilution": "1:10"}),
    )
    assert (plan.start, plan.hours) == (date(2026, 12, 7), (time(7, 30), time(16)))
    assert (plan.stain, plan.topcoat, plan.sheen, plan.applied) == (
        "brown oil stain",
        "waterborne clear",
        "satin",
        "wiped",
    )
    assert plan.conditions == Conditions(19, 55, 40, 7.5)
    assert (plan.board_length_mm, plan.board_width_mm, plan.boards, plan.first_board) == (480, 140, 3, "C")
    assert (plan.seed, plan.paper, plan.smallest, plan.power, plan.spread) == (11, "letter", None, 0.8, None)
    assert job.parts == (
        Part("top", "hard maple", pytest.approx(1.4 * 0.4 * 6)),
        Part("panel", "cherry", 1.25, "edges", "veneer"),
    )


def test_beside_inches_areas_are_square_feet_and_temperatures_fahrenheit(write: Write) -> None:
    """1 ft² is 0.09290304 m², exact; 68 °F are 20 °C."""
    changes = (
        ('"mm"', '"in"'),
        ("temperature = 19", "temperature = 68"),
        ("480", "18"),
        ("= 140\n", "= 6\n"),
        ("1400", "48"),
    )
    job = planned(write(edited(*changes, ("width = 400", "width = 12"), ('paper = "letter"\n', ""))))
    assert job.plan is not None
    assert job.plan.board_length_mm == pytest.approx(18 * 25.4)
    assert job.plan.conditions.temperature_C == pytest.approx(20)
    assert job.plan.paper == "letter"
    assert [part.area_m2 for part in job.parts] == pytest.approx([4 * 1 * 6 * 0.09290304, 1.25 * 0.09290304])


def test_a_date_may_be_tomls_own_and_the_clock_too(write: Write) -> None:
    text = edited(('"2026-12-07"', "2026-12-07"), ('["7:30", "16:00"]', "[07:30:00, 16:00:00]"))
    assert planned(write(text)).plan == planned(write(PLAN)).plan


def test_what_is_left_out_has_its_default(write: Write) -> None:
    short = re.sub(
        r"(?m)^(hours|stain|topcoat|sheen|applied|\w*humidity|wood_m.*|temp.*|board.*|first.*|seed|paper) = .*\n",
        "",
        PLAN,
    )
    plan = planned(write(short)).plan
    assert plan is not None
    assert (plan.hours, plan.boards, plan.seed, plan.paper, plan.stain) == ((time(8), time(17)), None, None, "a4", None)
    assert plan.conditions == Conditions()


def test_treatments_of_one_name_are_told_apart_by_their_strength(write: Write) -> None:
    more = '[[plan.candidate]]\ntreatment = "shellac washcoat"\nsolids = 8\n'
    plan = planned(write(PLAN.replace("[[part]]", more + more.replace("8", "3.5") + "[[part]]", 1))).plan
    assert plan is not None
    assert [c.id for c in plan.candidates] == ["shellac-washcoat", "size", "shellac-washcoat-8", "shellac-washcoat-3.5"]


FAULTS = [
    (("start = ", "begin = "), "plan.start", "missing", "a day"),
    (('"2026-12-07"', '"7 December"'), "plan.start", '"7 December"', "year-month-day"),
    (('"2026-12-07"', '"2026-02-30"'), "plan.start", '"2026-02-30"', "year-month-day"),
    (('"2026-12-07"', "2026-12-07T08:00:00"), "plan.start", "2026-12-07 08:00:00", "year-month-day"),
    (('["7:30", "16:00"]', '["17:00", "8:00"]'), "plan.hours", '["17:00", "8:00"]', "begins and ends"),
    (('["7:30", "16:00"]', '"8 to 5"'), "plan.hours", '"8 to 5"', "begins and ends"),
    (("temperature = 19", "temperature = 68"), "plan.temperature", "68", "-10 to 50 °C"),
    (("\nhumidity = 55", "\nhumidity = 155"), "plan.humidity", "155", "0 to 100"),
    (("boards = 3", "boards = 1"), "plan.boards", "1", "2 to 60"),
    (("boards = 3", "boards = 3\nsmallest = 0.5"), "plan.smallest", "0.5", "not both"),
    (("boards = 3", "smallest = 0"), "plan.smallest", "0", "above 0"),
    (("boards = 3", "smallest = 1\npower = 1"), "plan.power", "1", "0.999"),
    (('"C"', '"c1"'), "plan.first_board", '"c1"', "capital letters"),
    (("seed = 11", "seed = -1"), "plan.seed", "-1", "0 to 4294967295"),
    (('paper = "letter"', 'paper = "a3"'), "plan.paper", '"a3"', '"a4" or "letter"'),
    (('applied = "wiped"', 'applied = "dipped"'), "plan.applied", '"dipped"', "wiped"),
    (
        ("board_length = 480", "board_length = 0"),
        "plan.board_length",
        "0",
        "at least 180 mm, for two controls and a treatment",
    ),
    (('"shellac washcoat"', '"None"'), "plan.candidate[1].treatment", '"None"', "a pre-treatment"),
    (('"size"', '"control-2"'), "plan.candidate[2].id", '"control-2"', "not that of another zone"),
    (("solids = 5", "solids = 500"), "plan.candidate[1].solids", "500", "0 to 100"),
    (("solids = 5", "solid = 5"), "plan.candidate[1].solid", "unknown key", "solids"),
    (("area = 1.25\n", ""), "part[2].area", "missing", "either area in m²"),
    (("area = 1.25", "area = 1.25\ncount = 2"), "part[2].count", "2", "either area"),
    (("width = 400\n", ""), "part[1].width", "missing", "length and width"),
    (("faces = 3", "faces = 2.5"), "part[1].faces", "2.5", "whole number"),
    (('"panel"', '"top"'), "part[2].id", '"top" a second time', "name of its own"),
    (('"veneer"', '"ply"'), "part[2].substrate", '"ply"', "veneer"),
    (('species = "cherry"\n', ""), "part[2].species", "missing", "kind of wood"),
]


@pytest.mark.parametrize(("change", "key", "found", "expected"), FAULTS, ids=[f"{f[1]} {f[2]}" for f in FAULTS])
def test_a_fault_is_told_with_its_key_its_line_and_what_was_expected(
    write: Write, change: tuple[str, str], key: str, found: str, expected: str
) -> None:
    text = edited(change)
    with pytest.raises(JobFileError) as caught:
        planned(write(text))
    problem = next(p for p in caught.value.problems if p.key == key)
    assert found in problem.found
    assert expected in problem.expected
    last = key.rpartition(".")[2]
    line = text.split("\n")[(problem.line or 0) - 1]
    assert line.startswith((f"{last} = ", "[")), line  # a missing key: the header of its table


def test_the_same_treatment_with_the_same_recipe_is_told(write: Write) -> None:
    twice = '[[plan.candidate]]\ntreatment = "shellac washcoat"\nsolids = 5\nwait = "1 h"\n'
    with pytest.raises(JobFileError, match=r"plan.candidate\[3\].treatment .*a second time"):
        planned(write(PLAN.replace("[[part]]", twice + "[[part]]", 1)))


def test_a_plan_without_candidates_or_parts_is_told(write: Write) -> None:
    head = PLAN.split("[[plan.candidate]]", maxsplit=1)[0]
    with pytest.raises(JobFileError) as caught:
        planned(write(head))
    assert {p.key: p.expected for p in caught.value.problems} == {
        "plan.candidate": "one or more tables, [[plan.candidate]]",
        "part": "one or more tables, [[part]]",
    }
    with pytest.raises(JobFileError, match=r"plan: missing; expected a table, \[plan\]"):
        planned(write(head.split("[plan]")[0] + "[[part]]" + PLAN.rpartition("[[part]]")[2]))


def test_measuring_still_wants_boards_photos_and_a_target_and_no_plan(write: Write) -> None:
    with pytest.raises(JobFileError) as caught:
        read_job(write(PLAN))
    assert {problem.key for problem in caught.value.problems} == {"board", "photo", "target"}
    head = PLAN.split("[plan]", maxsplit=1)[0]
    board = 'id = "A"\nspecies = "maple"\nlength = 200\nwidth = 100\n'
    zone = '[[board.zone]]\nid = "z"\ntreatment = "none"\nspan = [0, 100]\n'
    photo = '[[photo]]\nfile = "a.jpg"\nboard = "A"\nstage = "bare"\n'
    (write("") / "a.jpg").touch()
    job = read_job(write(f"{head}[target]\nlab = [40, 10, 20]\n[[board]]\n{board}{zone}{photo}"))
    assert (job.plan, job.parts) == (None, ())


def test_the_template_teaches_a_plan_that_holds_once_its_hashes_are_taken_away(write: Write) -> None:
    """With either of what excludes each other: boards or smallest, size or area."""
    lines = TEMPLATE.split("\n")
    section = lines[lines.index("# [plan]") : next(n for n, line in enumerate(lines) if "--- The boards" in line)]
    whole = "\n".join(line.removeprefix("#") for line in section)
    head = 'format = 1\n[job]\nname = "x"\n'
    for left_out in ("smallest|area", "boards|length|width|count|faces"):
        job = planned(write(head + re.sub(rf"(?m)^   (?:{left_out}) = .*\n", "", whole)))
        assert job.plan is not None
        assert [c.id for c in job.plan.candidates] == ["washcoat", "glue-size"]
        assert job.parts[0].area_m2 == pytest.approx(1.7, abs=0.05)


VALUES = st.sampled_from(["1", "-1", "nan", '""', '"x"', "true", "[]", "[[1]]", "{}", "[{}]", "2026-01-31", "12:30:00",
                          '["8:00", "9:00"]', "1" + "0" * 30])  # fmt: skip
VALUE_LINES = [number for number, line in enumerate(PLAN.split("\n")) if " = " in line]


@given(st.dictionaries(st.sampled_from(VALUE_LINES), VALUES, min_size=1, max_size=5))
def test_any_value_in_any_place_is_read_or_told(
    tmp_path_factory: pytest.TempPathFactory, changes: dict[int, str]
) -> None:
    lines = PLAN.split("\n")
    for number, value in changes.items():
        lines[number] = f"{lines[number].split(' = ')[0]} = {value}"
    folder = tmp_path_factory.getbasetemp() / "any"
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text("\n".join(lines), encoding="utf-8")
    told = []
    try:
        assert planned(folder).plan is not None
    except JobFileError as refused:
        told = [problem.line or 0 for problem in refused.problems]
    assert all(1 <= line <= len(lines) for line in told)
