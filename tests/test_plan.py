"""A whole plan: from job.toml to the files of the folder, all or none, and what its page says."""

import io
import json
import os
import re
from datetime import date, time
from pathlib import Path

import pypdf
import pytest
from test_plan_file import PLAN

from analyzer import JobFileError, read_job
from analyzer.cli import DONE, NOT_MEASURED, WRONG_USAGE, main
from analyzer.errors import FolderError
from analyzer.plan.plan import Plan, plan_job
from analyzer.plan.plan_file import plan_json, read_plan
from analyzer.plan.write import LABELS, PLAN_PAGE, PLAN_PRINT, plan_files, write_plan
from analyzer.plan.write import PLAN as PLAN_FILE

INCHES = {'"mm"': '"in"', "temperature = 19": "temperature = 66", "= 1400": "= 55", "= 400": "= 16", "= 140\n": "= 6\n",
          "= 480": "= 19"}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.toml").write_text(PLAN, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def plan(folder: Path) -> Plan:
    return plan_job(folder)


@pytest.fixture(scope="module")
def files(plan: Plan) -> dict[str, bytes]:
    return plan_files(plan)


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


def page_text(html: bytes) -> str:
    return " ".join(re.sub(r"<style>.*?</style>|<[^>]+>", " ", html.decode(), flags=re.DOTALL).split())


def test_each_wood_of_the_parts_gets_light_and_dark_boards_with_every_candidate(plan: Plan) -> None:
    assert [(b.id, b.species, b.role) for b in plan.boards] == [
        *(("C", "hard maple", "light"), ("D", "hard maple", "dark"), ("E", "hard maple", "middle")),
        *(("F", "cherry", "light"), ("G", "cherry", "dark"), ("H", "cherry", "middle")),
    ]
    for board in plan.boards:
        assert {zone.id for zone in board.zones} == {"control-left", "shellac-washcoat", "size", "control-right"}
    assert plan.seed == 11


def test_plan_json_says_all_of_it_with_dates_as_text_and_reads_back(plan: Plan) -> None:
    tree = json.loads(plan_json(plan))
    assert tree["format"] == 1
    assert (tree["request"]["start"], tree["request"]["hours"]) == ("2026-12-07", ["07:30:00", "16:00:00"])
    assert [board["id"] for board in tree["boards"]] == list("CDEFGH")
    again = read_plan(plan_json(plan))
    assert (again.request.start, again.request.hours) == (date(2026, 12, 7), (time(7, 30), time(16)))
    assert again.boards == plan.boards
    assert plan_json(again) == plan_json(plan)


def test_a_plan_of_a_newer_format_or_none_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="format 2; this version reads format 1"):
        read_plan(b'{"format": 2, "boards": "something new"}')
    for wrong in (b"", b"[]", b'{"format": 1}', b"\xff"):
        with pytest.raises(ValueError, match="not a plan of format 1"):
            read_plan(wrong)


def test_the_same_job_gives_the_same_bytes(folder: Path, files: dict[str, bytes]) -> None:
    assert plan_files(plan_job(folder)) == files


@pytest.mark.parametrize("units", ["mm", "in"])
def test_page_and_print_say_the_same_of_boards_and_zones(tmp_path: Path, units: str) -> None:
    text = PLAN
    for old, new in INCHES.items() if units == "in" else ():
        text = text.replace(old, new)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    plan = plan_job(tmp_path)
    made = plan_files(plan)
    page, printed = page_text(made[PLAN_PAGE]), text_of(made[PLAN_PRINT])
    for said in (page, printed):
        assert "begins Mon 7 Dec 2026" in said
        assert "take one of the lightest" in said.casefold()
        for board in plan.boards:
            assert f"Board {board.id}: {board.species}" in said
        assert ("120 to 240 mm" in said) == (units == "mm")
        assert ("4 3/4 to 9 1/2 in" in said) == (units == "in")
        assert "One board alone can show none of this" in said
        assert "Rags can set themselves on fire" in said
        assert "washcoat a very thin coat of finish under the colour" in said
        assert ("1.25 m²" if units == "mm" else "1.2 ft²") in said
    assert "[[board]]" in page


def test_the_page_fetches_nothing_and_names_are_text(tmp_path: Path) -> None:
    name = "<script>alert(1)</script> & Söhne"
    (tmp_path / "job.toml").write_text(
        PLAN.replace("Entry bench", name).replace("shellac washcoat", "<b>wash</b>"), encoding="utf-8"
    )
    html = plan_files(plan_job(tmp_path))[PLAN_PAGE].decode()
    assert not re.search(r"<script|https?://|src=|@import|url\(", html)
    assert "&lt;script&gt;alert(1)" in html
    assert "<b>wash</b>" not in html


def test_the_drawing_on_the_page_has_each_zone_once_a_board(files: dict[str, bytes], plan: Plan) -> None:
    drawings = re.findall(r"<svg class=\"drawing\".*?</svg>", files[PLAN_PAGE].decode(), re.DOTALL)
    assert len(drawings) == len(plan.boards)
    for board, drawing in zip(plan.boards, drawings, strict=True):
        words = re.findall(r"<text[^>]*>([^<]*)</text>", drawing)
        for zone in board.zones:
            assert zone.id.replace("-", "") in "".join(words).replace("-", "")
        assert f'aria-label="Board {board.id}' in drawing


def test_paper_is_as_the_plan_says(files: dict[str, bytes]) -> None:
    """Letter: 8.5 by 11 inches."""
    for name in (PLAN_PRINT, LABELS):
        page = pypdf.PdfReader(io.BytesIO(files[name])).pages[0]
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((612, 792), abs=0.1)


def test_a_difference_that_takes_too_many_boards_is_told_with_its_line(tmp_path: Path) -> None:
    for smallest, said in (("0.01", "more than anybody makes|takes [0-9]{3,}"), ("0.1", "takes 9[0-9]|takes 10[0-9]")):
        text = PLAN.replace("boards = 3", f"smallest = {smallest}\nspread = 0.35")
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")
        with pytest.raises(JobFileError, match=said) as caught:
            plan_job(tmp_path)
        (problem,) = caught.value.problems
        assert text.split("\n")[(problem.line or 0) - 1] == f"smallest = {smallest}"


def test_all_files_are_written_or_none(tmp_path: Path, plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "plan.json").write_text("the last plan", encoding="utf-8")
    replaced: list[str] = []

    def full_disk(source: object, target: object) -> None:
        replaced.append(str(target))
        if len(replaced) == 4:
            raise OSError(28, "No space left on device")
        real(source, target)

    real = os.replace
    monkeypatch.setattr(os, "replace", full_disk)
    with pytest.raises(FolderError, match=r"No space left on device.*unchanged"):
        write_plan(plan, tmp_path)
    monkeypatch.undo()
    assert {file.name for file in tmp_path.iterdir()} == {"plan.json"}
    assert (tmp_path / "plan.json").read_text(encoding="utf-8") == "the last plan"


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_command_writes_the_files_and_says_which_boards(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text(PLAN, encoding="utf-8")
    assert main(["plan", str(tmp_path)]) == DONE
    said = capsys.readouterr().out
    assert "Board C, hard maple, light: control-left, " in said
    assert said.strip().endswith(PLAN_PAGE)
    assert {file.name for file in tmp_path.iterdir()} == {"job.toml", PLAN_FILE, PLAN_PAGE, PLAN_PRINT, LABELS}
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == PLAN


def test_json_prints_what_plan_json_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text(PLAN, encoding="utf-8")
    assert main(["plan", "--json", str(tmp_path)]) == DONE
    assert capsys.readouterr().out == (tmp_path / PLAN_FILE).read_text(encoding="utf-8")


def test_write_boards_adds_them_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text(PLAN, encoding="utf-8")
    assert main(["plan", "--write-boards", str(tmp_path)]) == DONE
    assert [board.id for board in read_job(tmp_path, to_plan=True).boards] == list("CDEFGH")
    assert "add a [[photo]]" in capsys.readouterr().err
    (tmp_path / PLAN_FILE).unlink()
    assert main(["plan", "--write-boards", str(tmp_path)]) == NOT_MEASURED
    assert "already" in capsys.readouterr().err
    assert not (tmp_path / PLAN_FILE).exists()
    assert main(["plan", str(tmp_path)]) == DONE  # without it the plan is made again
    assert main(["measure", str(tmp_path)]) == WRONG_USAGE
    assert "photo: missing" in capsys.readouterr().err


def test_a_job_without_a_plan_is_told_what_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text('format = 1\n[job]\nname = "x"\n', encoding="utf-8")
    assert main(["plan", str(tmp_path)]) == WRONG_USAGE
    told = capsys.readouterr().err
    assert "plan: missing; expected a table, [plan]" in told
    assert "part: missing; expected one or more tables, [[part]]" in told
    assert [file.name for file in tmp_path.iterdir()] == ["job.toml"]
