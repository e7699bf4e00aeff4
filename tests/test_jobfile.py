"""What `read_job` promises: every key checked, every problem told with its key, its line, found and expected."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer import JobFileError, read_job
from analyzer.errors import Problem
from analyzer.job import EvennessWish, PhotoEntry, Reference, Target
from analyzer.results import STAGES, Stage
from calibration.published import published_file

Write = Callable[[str], Path]

CHART = published_file("chart24_before_2015.csv").read_text(encoding="utf-8")
JOB = """\
format = 1

[job]
name = "Stool"
customer = "A. Customer"
units = "mm"

[target]
lab = [38.0, 14.5, -22]
stage = "topcoated"
tolerance = 1.5

[evenness]
wish = "even"
limit = 0.8

[reference]
kind = "gray-card"
reflectance = 0.18

[[board]]
id = "A"
species = "hard maple"
length = 300
width = 150
  [[board.zone]]
  id = "control"
  treatment = "none"
  span = [0, 100]
  [[board.zone]]
  id = "washcoat"
  treatment = "shellac washcoat"
  span = [100, 200]
  across = [10, 140]
  margin = 8
  stain = "walnut oil stain"
  stain_coats = 2
  dilution = "1:3"
  solids = 5
  wait = "2 h"
  scuff = "P320"
  dwell = "3 min"
  topcoat = "lacquer"
  sheen = "satin"
  notes = "two\\nlines"

[[board]]
id = "S"
species = "unknown"
length = 120
width = 90
  [[board.zone]]
  id = "sample"
  treatment = "unknown"
  span = [0, 120]

[[photo]]
file = "photos/a.jpg"
board = "A"
stage = "stained"
light = "shop"
flat = "photos/sheet.jpg"
corners = [[10, 10], [900, 12], [898, 500], [8, 505]]
card = [[10, 600], [200, 600], [200, 700], [10, 700]]

[[photo]]
file = "photos/s.jpg"
board = "S"
stage = "topcoated"
"""
QUAD = ((10.0, 10.0), (900.0, 12.0), (898.0, 500.0), (8.0, 505.0))


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a job file into a folder that holds the photos, and give the folder."""
    (tmp_path / "photos").mkdir()
    for name in ("a.jpg", "s.jpg", "sheet.jpg"):
        (tmp_path / "photos" / name).touch()

    def job_folder(text: str) -> Path:
        (tmp_path / "job.toml").write_text(text, encoding="utf-8", newline="")
        return tmp_path

    return job_folder


def edited(*changes: tuple[str, str]) -> str:
    """The job above with parts of it replaced, each of which is there exactly once."""
    text = JOB
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def problems_of(folder: Path) -> tuple[Problem, ...]:
    with pytest.raises(JobFileError) as caught:
        read_job(folder)
    return caught.value.problems


def only_problem(folder: Path) -> Problem:
    problems = problems_of(folder)
    assert len(problems) == 1, problems
    return problems[0]


# --- what holds ------------------------------------------------------------------------------------------------------


def test_a_whole_job_is_read_as_it_is_written(write: Write) -> None:
    folder = write(JOB)
    job = read_job(folder)
    assert (job.folder, job.name, job.customer, job.units) == (folder, "Stool", "A. Customer", "mm")
    assert job.target == Target(tolerance=1.5, lab=(38.0, 14.5, -22.0), stage="topcoated")
    assert job.evenness == EvennessWish(wish="even", limit=0.8)
    assert job.reference == Reference(kind="gray-card", reflectance=(0.18,))
    board, zone = job.zone("A/washcoat")
    assert (board.species, board.length_mm, board.width_mm, len(board.zones)) == ("hard maple", 300, 150, 2)
    assert (zone.treatment, zone.span_mm, zone.across_mm) == ("shellac washcoat", (100, 200), (10, 140))
    assert (zone.margin_mm, zone.stain, zone.sheen) == (8, "walnut oil stain", "satin")
    assert zone.recipe == {
        "stain_coats": 2, "dilution": "1:3", "solids": 5, "wait": "2 h", "scuff": "P320",
        "dwell": "3 min", "topcoat": "lacquer", "sheen": "satin", "notes": "two\nlines",
    }  # fmt: skip
    assert job.board("A").zones[0].across_mm == (0, 150)
    assert job.board("A").zones[0].margin_mm == 5
    assert job.photos == (
        PhotoEntry(
            "photos/a.jpg", "A", "stained", "shop", corners=QUAD, flat="photos/sheet.jpg",
            card=((10, 600), (200, 600), (200, 700), (10, 700)),
        ),
        PhotoEntry("photos/s.jpg", "S", "topcoated"),
    )  # fmt: skip


def test_the_job_as_read_goes_into_json_and_back_unchanged(write: Write) -> None:
    job = read_job(write(JOB))
    assert json.loads(json.dumps(job.as_read)) == job.as_read
    assert job.as_read["board"][0]["zone"][1]["margin"] == 8


def test_inches_apply_to_every_length_and_to_nothing_else(write: Write) -> None:
    in_mm = read_job(write(JOB))
    text = JOB.replace('"mm"', '"in"')
    for key in ("length", "width", "span", "across", "margin"):
        text = re.sub(rf"^ *{key} = .*$", lambda line: re.sub(r"\d+", _inches, line[0]), text, flags=re.MULTILINE)
    in_inches = read_job(write(text))
    for board, other in zip(in_mm.boards, in_inches.boards, strict=True):
        assert (other.length_mm, other.width_mm) == pytest.approx((board.length_mm, board.width_mm), abs=1e-9)
        for zone, same in zip(board.zones, other.zones, strict=True):
            assert same.span_mm == pytest.approx(zone.span_mm, abs=1e-9)
            assert same.across_mm == pytest.approx(zone.across_mm, abs=1e-9)
            assert same.margin_mm == pytest.approx(zone.margin_mm, abs=1e-9)  # the default stays 5 mm
    assert in_inches.photos == in_mm.photos  # corners are pixels
    assert in_inches.evenness == in_mm.evenness  # a blotch index is in L*


def _inches(length_mm: re.Match[str]) -> str:
    return repr(int(length_mm[0]) / 25.4)


def test_what_may_be_left_out_has_the_documented_default(write: Write) -> None:
    """Units, customer, evenness, reference, tolerance and light."""
    text = edited(
        ('customer = "A. Customer"\nunits = "mm"\n', ""),
        ('stage = "topcoated"\ntolerance = 1.5\n', ""),
        ('[evenness]\nwish = "even"\nlimit = 0.8\n', ""),
        ('[reference]\nkind = "gray-card"\nreflectance = 0.18\n', ""),
    )
    job = read_job(write(text))
    assert (job.units, job.customer) == ("mm", None)
    assert job.target == Target(tolerance=2.0, lab=(38.0, 14.5, -22.0))
    assert job.evenness == EvennessWish(wish="even", limit=1.0, like=None)
    assert job.reference == Reference(kind="gray-card", reflectance=(0.18,))
    assert job.photos[1].light is None


def test_a_margin_holds_for_a_zone_before_its_board_before_the_default(write: Write) -> None:
    job = read_job(write(edited(("width = 150", "width = 150\nmargin = 12"))))
    assert [zone.margin_mm for zone in job.board("A").zones] == [12, 8]
    assert job.board("S").zones[0].margin_mm == 5


@pytest.mark.parametrize(
    ("line", "target"),
    [
        ('zone = "S/sample"', Target(1.5, zone="S/sample", stage="topcoated")),
        ('between = ["A/control", "A/washcoat"]', Target(1.5, between=("A/control", "A/washcoat"), stage="topcoated")),
        (
            'between = ["A/control", "S/sample", "A/washcoat"]',
            Target(1.5, between=("A/control", "S/sample", "A/washcoat"), stage="topcoated"),
        ),
    ],
)
def test_a_target_may_be_a_zone_or_range_boards(write: Write, line: str, target: Target) -> None:
    assert read_job(write(edited(("lab = [38.0, 14.5, -22]", line)))).target == target


def test_evenness_may_be_measured_against_a_zone(write: Write) -> None:
    text = edited(('wish = "even"\nlimit = 0.8', 'wish = "lively"\nlike = "A/control"'))
    assert read_job(write(text)).evenness == EvennessWish("lively", limit=None, like="A/control")


@pytest.mark.parametrize(
    ("lines", "reference"),
    [
        ("lab = [49.5, 0.1, -0.2]", Reference("gray-card", (), (49.5, 0.1, -0.2))),
        ("", Reference("gray-card", (0.18,))),
        ("reflectance = 1", Reference("gray-card", (1.0,))),
        ('kind = "step-card"\nreflectance = [0.9, 0.18, 0.03]', Reference("step-card", (0.9, 0.18, 0.03))),
        ('kind = "chart-24"\nedition = "before-2015"', Reference("chart-24", (), edition="before-2015")),
        ('kind = "chart-24"\nvalues = "chart.csv"', Reference("chart-24", (), values="chart.csv")),
    ],
)
def test_every_kind_of_reference_is_read(write: Write, lines: str, reference: Reference) -> None:
    folder = write(edited(('kind = "gray-card"\nreflectance = 0.18', lines)))
    (folder / "chart.csv").write_text(CHART, encoding="utf-8")
    assert read_job(folder).reference == reference


def test_several_boards_in_one_photo_each_have_their_own_corners(write: Write) -> None:
    quads = "[[[10, 10], [900, 12], [898, 500], [8, 505]], [[10, 600], [300, 600], [300, 700], [10, 700]]]"
    text = edited(
        ('board = "A"\nstage', 'boards = ["A", "S"]\nstage'),
        ("corners = [[10, 10], [900, 12], [898, 500], [8, 505]]", f"corners = {quads}"),
    )
    first, second, _ = read_job(write(text)).photos
    assert (first.board, first.corners) == ("A", QUAD)
    assert (second.board, second.corners) == ("S", ((10, 600), (300, 600), (300, 700), (10, 700)))
    assert replace(first, board="", corners=None) == replace(second, board="", corners=None)


@pytest.mark.parametrize("corners", ["", "corners = [[[10, 10], [900, 12], [898, 500], [8, 505]], []]"])
def test_boards_of_one_photo_without_corners_are_to_be_looked_for(write: Write, corners: str) -> None:
    text = edited(
        ('board = "A"\nstage', 'boards = ["A", "S"]\nstage'),
        ("corners = [[10, 10], [900, 12], [898, 500], [8, 505]]", corners),
    )
    first, second, _ = read_job(write(text)).photos
    assert (first.board, first.corners) == ("A", QUAD if corners else None)
    assert (second.board, second.corners) == ("S", None)


def test_boards_at_different_stages_may_share_a_photo_in_two_entries(write: Write) -> None:
    """A stained trial beside the customer's top-coated sample: the surest comparison there is."""
    corners = "\ncorners = [[10, 600], [300, 600], [300, 700], [10, 700]]"
    text = edited(
        ('file = "photos/s.jpg"', f'file = "photos/a.jpg"\nlight = "shop"{corners}'),
    )
    assert [(p.file, p.board, p.stage) for p in read_job(write(text)).photos] == [
        ("photos/a.jpg", "A", "stained"),
        ("photos/a.jpg", "S", "topcoated"),
    ]


def test_recipe_numbers_are_kept_as_written(write: Write) -> None:
    text = edited(
        ('dilution = "1:3"', "dilution = 2.5"),
        ("solids = 5", 'solids = "about 5 %"'),
        ('scuff = "P320"', "scuff = 320"),
        ('sheen = "satin"', "sheen = 30"),
    )
    zone = read_job(write(text)).zone("A/washcoat")[1]
    assert (zone.recipe["dilution"], zone.recipe["solids"], zone.recipe["scuff"]) == (2.5, "about 5 %", 320)
    assert zone.sheen == "30"


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_is_known(write: Write, stage: Stage) -> None:
    assert read_job(write(edited(('stage = "stained"', f'stage = "{stage}"')))).photos[0].stage == stage


def test_windows_text_with_a_byte_order_mark_is_read_alike(write: Write) -> None:
    plain = read_job(write(JOB))
    assert read_job(write("\ufeff" + JOB.replace("\n", "\r\n"))) == plain


def test_zones_may_share_an_edge_and_lie_one_above_the_other(write: Write) -> None:
    text = edited(
        ("span = [0, 100]", "span = [0, 100]\n  across = [0, 75]"),
        ("span = [100, 200]\n  across = [10, 140]", "span = [0, 100]\n  across = [75, 150]"),
    )
    assert len(read_job(write(text)).board("A").zones) == 2


# --- what does not ---------------------------------------------------------------------------------------------------

# what is replaced, by what, the key at fault, words of what was found, words of what was expected or of the hint
FAULTS = [
    # unknown keys
    ('name = "Stool"', 'nam = "Stool"\nname = "x"', "job.nam", "unknown key", "Did you mean name?"),
    ("[evenness]", "[evennes]", "evennes", "unknown key", "Did you mean evenness?"),
    ("margin = 8", "corners = 8", "board[1].zone[2].corners", "unknown key", "It belongs under [[photo]]."),
    ('id = "sample"', 'id = "sample"\nlength = 9', "board[2].zone[1].length", "unknown key", "[[board]] or [[part]]."),
    ("format = 1", "format = 1\nunits = 'mm'", "units", "unknown key", "It belongs under [job]."),
    # missing keys
    ("format = 1\n", "", "format", "missing", "format = 1"),
    ('name = "Stool"\n', "", "job.name", "missing", "text in quotes"),
    ("lab = [38.0, 14.5, -22]\n", "", "target", "a target without a colour", "exactly one of lab, zone and between"),
    ('id = "A"\n', "", "board[1].id", "missing", "a short name in quotes"),
    ('species = "hard maple"\n', "", "board[1].species", "missing", "kind of wood"),
    ("length = 300\n", "", "board[1].length", "missing", "a number above 0"),
    ('treatment = "none"\n', "", "board[1].zone[1].treatment", "missing", '"none" for a control'),
    ("  span = [0, 100]\n", "", "board[1].zone[1].span", "missing", "from 0 to 300"),
    ('stage = "stained"\n', "", "photo[1].stage", "missing", '"stained"'),
    ('file = "photos/a.jpg"\n', "", "photo[1].file", "missing", "the path of a file"),
    ('board = "A"\n', "", "photo[1].board", "missing", "boards"),
    # wrong types
    ("format = 1", 'format = "1"', "format", '"1"', "format = 1"),
    ("format = 1", "format = true", "format", "true", "format = 1"),
    ("format = 1", "format = 0", "format", "0", "format = 1"),
    ('name = "Stool"', "name = 12", "job.name", "12", "text in quotes"),
    ('name = "Stool"', 'name = "  "', "job.name", '"  "', "text in quotes"),
    ('name = "Stool"', 'name = "a\\u001b[31m"', "job.name", "x1b", "text in quotes"),
    ('units = "mm"', 'units = "cm"', "job.units", '"cm"', '"mm" or "in"'),
    ('units = "mm"', 'units = "inch"', "job.units", '"inch"', 'Did you mean "in"?'),
    ('units = "mm"', 'units = ["mm"]', "job.units", '["mm"]', '"mm" or "in"'),
    ("length = 300", 'length = "300 mm"', "board[1].length", '"300 mm"', "without quotes"),
    ("length = 300", "length = true", "board[1].length", "true", "a number above 0"),
    ('wait = "2 h"', "wait = 2", "board[1].zone[2].wait", "2", "with its unit"),
    ("stain_coats = 2", "stain_coats = 1.5", "board[1].zone[2].stain_coats", "1.5", "whole number"),
    ("stain_coats = 2", "stain_coats = -1", "board[1].zone[2].stain_coats", "-1", "whole number"),
    ("solids = 5", "solids = 500", "board[1].zone[2].solids", "500", "percent by volume"),
    ("solids = 5", "solids = [5]", "board[1].zone[2].solids", "[5]", "percent by volume"),
    ('notes = "two\\nlines"', "notes = 2026-01-31", "board[1].zone[2].notes", "2026-01-31", "text in quotes"),
    ('stain = "walnut oil stain"', "stain = 7", "board[1].zone[2].stain", "7", "text in quotes"),
    ('light = "shop"', "light = 5000", "photo[1].light", "5000", "text in quotes"),
    # numbers out of range, or not finite
    ("lab = [38.0, 14.5, -22]", "lab = [101, 0, 0]", "target.lab", "[101, 0, 0]", "L from 0 to 100"),
    ("lab = [38.0, 14.5, -22]", "lab = [38, nan, 0]", "target.lab", "nan", "three numbers"),
    ("lab = [38.0, 14.5, -22]", "lab = [38, 1]", "target.lab", "[38, 1]", "three numbers"),
    ("lab = [38.0, 14.5, -22]", "lab = [38, 1, 200]", "target.lab", "200", "from -128 to 128"),
    ("lab = [38.0, 14.5, -22]", 'lab = "38 14 22"', "target.lab", '"38 14 22"', "three numbers"),
    ("tolerance = 1.5", "tolerance = 0", "target.tolerance", "0", "above 0"),
    ("tolerance = 1.5", "tolerance = -1", "target.tolerance", "-1", "above 0"),
    ("tolerance = 1.5", "tolerance = inf", "target.tolerance", "inf", "above 0"),
    ("limit = 0.8", "limit = 0.0", "evenness.limit", "0.0", "above 0"),
    ("limit = 0.8", "limit = nan", "evenness.limit", "nan", "above 0"),
    ("length = 300", "length = 0", "board[1].length", "0", "above 0"),
    ("length = 300", "length = 30000", "board[1].length", "30000", "up to 10000 mm"),
    ("length = 300", "length = 1" + "0" * 400, "board[1].length", "1000", "up to 10000 mm"),
    ("margin = 8", "margin = -1", "board[1].zone[2].margin", "-1", "0 mm or more"),
    # spans and zones
    ("span = [0, 100]", "span = [100, 0]", "board[1].zone[1].span", "[100, 0]", "the smaller first"),
    ("span = [0, 100]", "span = [50, 50]", "board[1].zone[1].span", "[50, 50]", "the smaller first"),
    ("span = [0, 100]", "span = [-1, 100]", "board[1].zone[1].span", "[-1, 100]", "from 0 to 300"),
    ("span = [0, 120]", "span = [0, 121]", "board[2].zone[1].span", "[0, 121]", "from 0 to 120"),
    ("span = [0, 100]", "span = 100", "board[1].zone[1].span", "100", "two numbers"),
    ("across = [10, 140]", "across = [10, 151]", "board[1].zone[2].across", "[10, 151]", "from 0 to 150"),
    ("span = [100, 200]", "span = [99, 200]", "board[1].zone[2].span", "[99, 200]", 'zone "control"'),
    ("margin = 8", "margin = 50", "board[1].zone[2].margin", "50 mm is left out", "smaller margin"),
    ("span = [100, 200]", "span = [100, 116]", "board[1].zone[2].margin", "only 16 mm", "smaller margin"),
    ("span = [0, 100]", "span = [0, 9]", "board[1].zone[1].span", "only 9 mm", "larger zone"),
    # ids
    ('id = "washcoat"', 'id = "control"', "board[1].zone[2].id", "a second time", "an id of its own"),
    ('id = "control"', 'id = "left/control"', "board[1].zone[1].id", "left/control", "without /"),
    ('id = "control"', 'id = " control"', "board[1].zone[1].id", " control", "spaces"),
    # zones and boards that are not there
    ("lab = [38.0, 14.5, -22]", 'zone = "S/sampel"', "target.zone", "S/sampel", 'Did you mean "S/sample"?'),
    ("lab = [38.0, 14.5, -22]", "zone = 4", "target.zone", "4", "a zone of this job"),
    ("lab = [38.0, 14.5, -22]", 'lab = [38, 1, 2]\nzone = "S/sample"', "target.zone", "S/sample", "exactly one"),
    ("lab = [38.0, 14.5, -22]", 'between = ["A/control"]', "target.between", "A/control", "two or three"),
    ("lab = [38.0, 14.5, -22]", 'between = ["A/control", "A/dark"]', "target.between", "A/dark", "a zone of this job"),
    ("lab = [38.0, 14.5, -22]", 'between = ["A/control", "A/control"]', "target.between", "A/control", "different"),
    ('stage = "topcoated"\ntolerance', 'stage = "sealt"\ntolerance', "target.stage", "sealt", 'mean "sealed"?'),
    ('wish = "even"', 'wish = "evn"', "evenness.wish", "evn", 'Did you mean "even"?'),
    ("limit = 0.8", 'like = "A/none"', "evenness.like", "A/none", "a zone of this job"),
    ("limit = 0.8", 'limit = 0.8\nlike = "A/control"', "evenness.like", "A/control", "not both"),
    ('board = "A"', 'board = "B"', "photo[1].board", '"B"', "(A, S)"),
    ('board = "A"', 'board = "A"\nboards = ["A", "S"]', "photo[1].boards", "[", "either board"),
    ('stage = "stained"', 'stage = "dry"', "photo[1].stage", "dry", '"stained"'),
    # the reference
    ("reflectance = 0.18", "reflectance = 18", "reference.reflectance", "18", "18 % is 0.18."),
    ("reflectance = 0.18", "reflectance = 0", "reference.reflectance", "0", "above 0"),
    ("reflectance = 0.18", "reflectance = nan", "reference.reflectance", "nan", "above 0"),
    ("reflectance = 0.18", "reflectance = [0.9, 0.2]", "reference.reflectance", "[0.9, 0.2]", "step-card"),
    ("reflectance = 0.18", "reflectance = 0.18\nlab = [50, 0, 0]", "reference.lab", "[50, 0, 0]", "not both"),
    ("reflectance = 0.18", "edition = 'from-2015'", "reference.edition", "does not go with it", "gray-card"),
    ('kind = "gray-card"', 'kind = "grey-card"', "reference.kind", "grey-card", 'Did you mean "gray-card"?'),
    ('kind = "gray-card"', 'kind = "step-card"', "reference.reflectance", "0.18", "light to dark"),
    *(
        (
            'kind = "gray-card"\nreflectance = 0.18',
            f'kind = "step-card"\nreflectance = {steps}',
            "reference.reflectance",
            steps,
            "three or more numbers, light to dark",
        )
        for steps in ("[0.1, 0.18, 0.9]", "[0.9, 0.18]")
    ),
    ('"gray-card"\nreflectance = 0.18', '"chart-24"', "reference.edition", "missing", "from-2015"),
    ('"gray-card"\nreflectance = 0.18', '"chart-24"\nedition = "2015"', "reference.edition", '"2015"', "from-2015"),
    ('"gray-card"\nreflectance = 0.18', '"chart-24"\nvalues = "c.csv"', "reference.values", "not there", "a file in"),
    # files
    ("photos/a.jpg", "photos/a.jpeg", "photo[1].file", "which is not there", 'Did you mean "photos/a.jpg"?'),
    ("photos/a.jpg", "photos/A.JPG", "photo[1].file", "which is not there", 'Did you mean "photos/a.jpg"?'),
    ("photos/sheet.jpg", "photos/shet.jpg", "photo[1].flat", "not there", 'Did you mean "photos/sheet.jpg"?'),
    ("photos/a.jpg", "photos", "photo[1].file", "which is not there", "a file in"),
    ("photos/a.jpg", "/photos/a.jpg", "photo[1].file", "/photos/a.jpg", "inside the job folder"),
    ("photos/a.jpg", "../a.jpg", "photo[1].file", "../a.jpg", "inside the job folder"),
    ('"photos/a.jpg"', r"'photos\a.jpg'", "photo[1].file", "which is not there", "forward slashes"),
    ("photos/a.jpg", "a" * 300, "photo[1].file", "which is not there", "a file in"),
    ("photos/sheet.jpg", "sheet.jpg", "photo[1].flat", "which is not there", "a file in"),
    # corners
    ("[898, 500], [8, 505]]", "[898, 500]]", "photo[1].corners", "[[10, 10]", "four points in pixels"),
    ("[898, 500], [8, 505]]", "[8, 505], [898, 500]]", "photo[1].corners", "[[10, 10]", "they cross"),
    ("[900, 12], [898, 500], [8, 505]]", "[8, 505], [898, 500], [900, 12]]", "photo[1].corners", "", "wrong way round"),
    ("[900, 12], [898, 500]", "[900, 12], [100, 100]", "photo[1].corners", "[[10, 10]", "going round once"),
    ("[900, 12], [898, 500]", "[900, 12], [900, 12]", "photo[1].corners", "[[10, 10]", "going round once"),
    ("[900, 12], [898, 500]", "[900, 12], [inf, 500]", "photo[1].corners", "inf", "four points in pixels"),
    ("card = [[10, 600]", 'card = [["10", 600]', "photo[1].card", '"10"', "four points in pixels"),
    ("[898, 500], [8, 505]]", '[898, 500], [8, 505]]\nboards = ["A", "S"]', "photo[1].boards", "", "either board"),
    # photos that say two things
    ("photos/s.jpg", "photos/a.jpg", "photo[2].light", "missing", 'the same photo has above ("shop")'),
    (
        'file = "photos/s.jpg"\nboard = "S"',
        'file = "photos/a.jpg"\nlight = "shop"\nboard = "A"',
        "photo[2].file",
        "a second time",
        "repeats are different photos",
    ),
    (
        'file = "photos/s.jpg"\nboard = "S"',
        'file = "./photos//a.jpg"\nlight = "shop"\nboard = "A"',
        "photo[2].file",
        "a second time",
        "repeats are different photos",
    ),
    ('"photos/sheet.jpg"', '"photos/a.jpg"', "photo[1].flat", "the photo itself", "a plain sheet"),
    # brackets
    ("[job]", "[[job]]", "job", "a list of tables", "single brackets"),
    ("[reference]", "[[reference]]", "reference", "a list of tables", "single brackets"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "found", "expected"), FAULTS)
def test_one_fault_is_told_with_key_line_found_and_expected(
    write: Write, old: str, new: str, key: str, found: str, expected: str
) -> None:
    text = edited((old, new))
    told = [problem for problem in problems_of(write(text)) if problem.key == key]
    assert len(told) == 1
    problem = told[0]
    assert found in problem.found
    assert expected in f"{problem.expected} {problem.hint}"
    assert problem.line == expected_line(text, key)


@pytest.mark.parametrize(("old", "new", "key", "found", "expected"), FAULTS)
def test_one_fault_is_told_alone(write: Write, old: str, new: str, key: str, found: str, expected: str) -> None:
    """A span that does not hold, for instance, must not make its zone unknown to the target."""
    others = {problem.key for problem in problems_of(write(edited((old, new)))) if problem.key != key}
    follows = {
        "board[1].id": {"photo[1].board"},  # a board without a name cannot be in a photo
    }
    assert others == follows.get(key, set()), (found, expected)


def expected_line(text: str, key: str) -> int | None:
    """Line of a key by counting headers, as a person would; of its table's header when it is not there."""
    lines = text.split("\n")
    first, last = 0, len(lines)
    parts = re.findall(r"(\w+)(?:\[(\d+)\])?", key)
    headers = []
    for name, index in parts:
        if not index:
            break
        headers.append(name)
        opened = [n for n in range(first, last) if lines[n].strip() == f"[[{'.'.join(headers)}]]"]
        first = opened[int(index) - 1]
        last = next((n for n in range(first + 1, last) if lines[n].strip() == lines[first].strip()), last)
    if headers:
        last = next((n for n in range(first + 1, last) if lines[n].strip().startswith("[[")), last)
    rest = [name for name, index in parts if not index]
    if len(rest) == 2:
        first = next(n for n in range(first, last) if lines[n].strip() == f"[{rest[0]}]")
        last = next((n for n in range(first + 1, last) if lines[n].strip().startswith("[")), last)
    name = rest[-1] if rest else ""
    own = [n for n in range(first, last) if re.match(rf"\s*(\[+{name}\]+\s*$|{name}\s*=)", lines[n])]
    if own:
        return own[0] + 1
    return first + 1 if len(parts) > 1 else None


def test_all_problems_are_told_together_in_the_order_of_the_file(write: Write) -> None:
    text = edited(
        ('units = "mm"', 'units = "inch"'),
        ("limit = 0.8", "limit = -1"),
        ("length = 300", "length = -300"),
        ("span = [0, 120]", "span = [0, 500]"),
        ('stage = "stained"', 'stage = "stain"'),
        ("photos/s.jpg", "photos/t.jpg"),
    )
    problems = problems_of(write(text))
    assert [problem.key for problem in problems] == [
        "job.units", "evenness.limit", "board[1].length", "board[2].zone[1].span", "photo[1].stage", "photo[2].file",
    ]  # fmt: skip
    lines = [problem.line for problem in problems]
    assert lines == sorted(lines)


def test_the_message_names_file_line_key_and_the_finishers_own_names(write: Write) -> None:
    folder = write(edited(("span = [100, 200]", "span = [99, 200]")))
    with pytest.raises(JobFileError) as caught:
        read_job(folder)
    line = edited(("span = [100, 200]", "span = [99, 200]")).split("\n").index("  span = [99, 200]") + 1
    assert str(caught.value).splitlines() == [
        f"{folder / 'job.toml'}: 1 problem. Nothing was measured or written.",
        (
            f'  line {line}: board[1].zone[2].span (board "A", zone "washcoat"): found [99, 200]; '
            'expected a zone clear of zone "control", which spans 0 to 100.'
        ),
    ]


def test_a_board_without_zones_and_a_job_without_boards_or_photos_are_told(write: Write) -> None:
    zones = JOB[JOB.index('  [[board.zone]]\n  id = "sample"') : JOB.index("[[photo]]")]  # fmt: skip
    assert only_problem(write(edited((zones, "")))).key == "board[2].zone"
    no_photos = only_problem(write(JOB[: JOB.index("[[photo]]")]))
    assert (no_photos.key, no_photos.expected) == ("photo", "one or more tables, [[photo]]")
    bare = JOB[: JOB.index("[[board]]")]
    assert [problem.key for problem in problems_of(write(bare))] == ["board", "photo"]


def test_single_brackets_around_a_board_are_explained(write: Write) -> None:
    text = JOB[: JOB.index("[[board]]")] + '[board]\nid = "A"\n'
    told = {problem.key: problem for problem in problems_of(write(text))}
    assert told["board"].hint == "Write [[board]], in double brackets."
    zone = edited(('  [[board.zone]]\n  id = "sample"', '  [board.zone]\n  id = "sample"'))
    assert only_problem(write(zone)).hint == "Write [[board.zone]], in double brackets."


def test_a_photo_that_is_in_the_job_already_is_not_suggested_again(write: Write) -> None:
    (write("") / "photos" / "board-1.jpg").touch()
    folder = write(edited(("photos/a.jpg", "photos/board-1.jpg"), ("photos/s.jpg", "photos/board-2.jpg")))
    problem = only_problem(folder)
    assert (problem.key, problem.hint) == ("photo[2].file", "")


@pytest.mark.parametrize("boards", ['["A", "A"]', "[]", '"A, S"', '["A", 3]'])
def test_boards_is_a_list_of_different_known_boards(write: Write, boards: str) -> None:
    text = edited(('board = "A"', f"boards = {boards}"), ("corners = [[10, 10]", "# [[10, 10]"))
    assert "photo[1].boards" in {problem.key for problem in problems_of(write(text))}


def test_one_quad_for_two_boards_is_told(write: Write) -> None:
    problem = only_problem(write(edited(('board = "A"', 'boards = ["A", "S"]'))))
    assert problem.key == "photo[1].corners"
    assert problem.expected.startswith("a list of 2, one for each of the boards")
    assert "[] for a board that is to be looked for" in problem.expected


@pytest.mark.parametrize(
    ("chart", "found"),
    [
        ("L,a,b\n" + "50,0,0\n" * 23, "23 rows"),
        ("R,G,B\n" + "50,0,0\n" * 24, "R,G,B"),
        ("L,a,b\n" + "50,0,0\n" * 23 + "50,0\n", "line 25"),
        ("L,a,b\n50,zero,0\n" + "50,0,0\n" * 23, "line 2"),
        ("L,a,b\n50,nan,0\n" + "50,0,0\n" * 23, "line 2"),
        ("L,a,b\n150,0,0\n" + "50,0,0\n" * 23, "line 2"),
        ("", "first line"),
        ("L,a,b\n" + "".join(f"{line}\n" for line in reversed(CHART.split()[-24:])), "patch 13, blue"),
    ],
)
def test_a_charts_own_values_are_checked(write: Write, chart: str, found: str) -> None:
    folder = write(edited(('kind = "gray-card"\nreflectance = 0.18', 'kind = "chart-24"\nvalues = "chart.csv"')))
    (folder / "chart.csv").write_text(chart, encoding="utf-8")
    problem = only_problem(folder)
    assert problem.key == "reference.values"
    assert found in problem.found


def test_a_chart_that_is_no_text_is_told(write: Write) -> None:
    folder = write(edited(('kind = "gray-card"\nreflectance = 0.18', 'kind = "chart-24"\nvalues = "chart.csv"')))
    (folder / "chart.csv").write_bytes(b"\xff\xfeL,a,b")
    assert "cannot be read" in only_problem(folder).found


def test_lengths_are_not_doubted_when_their_unit_is_not_known(write: Write) -> None:
    text = JOB.replace("300", "12").replace("150", "6").replace("[0, 100]", "[0, 4]").replace("[100, 200]", "[4, 8]")
    text = text.replace("[10, 140]", "[0.5, 5.5]").replace("margin = 8\n", "margin = 0.3\n").replace('"mm"', '"inch"')
    assert only_problem(write(text)).key == "job.units"


def test_a_hostile_key_or_id_does_not_steer_the_terminal(write: Write) -> None:
    text = edited(('name = "Stool"', 'name = "Stool"\n"k\\u001b[2J" = 1'), ('id = "sample"', 'id = "s\\u001b[2J"'))
    with pytest.raises(JobFileError) as caught:
        read_job(write(text.replace("lab = [38.0, 14.5, -22]", 'zone = "S/x"')))
    assert len(caught.value.problems) == 3
    assert "\x1b" not in str(caught.value)


def test_a_board_far_too_small_for_mm_is_asked_about_inches(write: Write) -> None:
    text = JOB.replace("300", "12").replace("150", "6").replace("[0, 100]", "[0, 4]").replace("[100, 200]", "[4, 8]")
    text = text.replace("[10, 140]", "[0.5, 5.5]")
    hints = {problem.key: problem.hint for problem in problems_of(write(text))}
    assert hints["board[1].zone[1].span"] == 'If the file is in inches, write units = "in" under [job].'


# --- files that are no job file --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "marker", "hint"),
    [
        ("tolerance = 1.5", "tolerance = 1,5", "tolerance", "Write decimals with a point: 2.5."),
        ('name = "Stool"', "name = Stool", "name =", "Put text in quotes."),
        ('name = "Stool"', "name = “Stool”", "name =", 'Use straight quotes, ".'),
        ('"photos/a.jpg"', '"photos\\a.jpg"', "photos\\", "Write paths with forward slashes: photos/a.jpg."),
        ("width = 150", "width = 150\nwidth = 140", "width = 140", "It stands here twice."),
        ("[job]", "[job", "[job", ""),
        ("span = [0, 100]", "span = [0, 100", "span = [0, 100", ""),
        ('notes = "two\\nlines"', 'notes = """two', 'notes = """two', ""),
    ],
)
def test_a_syntax_error_is_told_with_its_line_and_a_cure(
    write: Write, old: str, new: str, marker: str, hint: str
) -> None:
    text = edited((old, new))
    problem = only_problem(write(text))
    line = next(number for number, line in enumerate(text.split("\n"), 1) if marker in line)
    assert problem.line == line
    assert problem.found.startswith("something that is not TOML")
    assert hint in problem.hint


def test_a_syntax_error_names_its_column(write: Write) -> None:
    assert "at column 8" in only_problem(write(edited(('name = "Stool"', "name = Stool")))).found


def test_a_newer_format_is_told_alone(write: Write) -> None:
    """In a later format the other keys may mean something else, so nothing is said of them."""
    problem = only_problem(write(edited(("format = 1", "format = 2"), ("[evenness]", "[smoothness]"))))
    assert (problem.key, problem.line, problem.found) == ("format", 1, "2")
    assert "newer Evenboard" in problem.hint


def test_a_file_that_is_not_utf_8_is_told_with_the_line_of_its_first_strange_byte(write: Write) -> None:
    folder = write(JOB)
    (folder / "job.toml").write_bytes(JOB.replace("A. Customer", "Käufer").encode("latin-1"))
    problem = only_problem(folder)
    assert (problem.line, problem.expected) == (5, "plain text in UTF-8")
    assert "0xE4" in problem.found


@pytest.mark.parametrize("text", ["", "\n\n# nothing yet\n"])
def test_an_empty_file_is_told_by_what_it_lacks(write: Write, text: str) -> None:
    assert [problem.key for problem in problems_of(write(text))] == ["format", "job", "board", "target", "photo"]


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    assert "no folder" in only_problem(tmp_path / "nowhere").found
    assert "no job.toml in this folder" in only_problem(tmp_path).found
    file = tmp_path / "job.toml"
    file.write_text(JOB, encoding="utf-8")
    assert only_problem(file).expected == "the folder that holds job.toml"


def test_a_file_far_too_large_for_a_job_is_not_read(write: Write) -> None:
    assert "MB" in only_problem(write(JOB + "# padding\n" * 120_000)).found


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = 1" + "0" * 5000, "\x00", "a = 2026-99-99"])
def test_hostile_text_is_a_problem_not_a_crash(write: Write, text: str) -> None:
    assert only_problem(write(text)).expected


def test_an_error_without_a_problem_is_a_mistake_of_ours(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="without a problem"):
        JobFileError(tmp_path, ())


def test_a_problem_of_the_whole_file_needs_no_key() -> None:
    assert str(Problem("", None, "a file", "a folder")) == "found a file; expected a folder."


# --- whatever is written ---------------------------------------------------------------------------------------------

VALUES = st.sampled_from(
    ["1", "-1", "0.5", "nan", "-inf", '""', '"x"', '"A"', "true", "[]", "[1, 2]", "[[1]]", "{}", "{a = 1}", "[{}]",
     "2026-01-31", "12:30:00", '["A", "S"]', "[[[]]]", "1" + "0" * 30]
)  # fmt: skip
VALUE_LINES = [number for number, line in enumerate(JOB.split("\n")) if " = " in line]


@given(st.dictionaries(st.sampled_from(VALUE_LINES), VALUES, min_size=1, max_size=6))
def test_any_value_in_any_place_is_read_or_told(
    tmp_path_factory: pytest.TempPathFactory, changes: dict[int, str]
) -> None:
    """Never another exception; and every problem has a key, a line of the file, and both halves of its sentence."""
    lines = JOB.split("\n")
    for number, value in changes.items():
        lines[number] = f"{lines[number].split(' = ')[0]} = {value}"
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.toml").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:  # at least its photos are missing
        read_job(folder)
    for problem in caught.value.problems:
        assert problem.key
        assert problem.found
        assert problem.expected
        assert 1 <= problem.line <= len(lines)
