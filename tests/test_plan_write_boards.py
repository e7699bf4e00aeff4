"""`--write-boards`: the boards arrive in job.toml as planned, and nothing else of the file changes."""

import os
import stat
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_plan_file import PLAN
from test_plan_layout import trial

from analyzer import JobFileError, read_job
from analyzer.errors import FolderError
from analyzer.plan import board_entries as module
from analyzer.plan.board_entries import BoardsExistError, board_entries, write_boards
from analyzer.plan.layout import PlannedBoard, lay_out


def planned(folder: Path) -> tuple[PlannedBoard, ...]:
    job = read_job(folder, to_plan=True)
    assert job.plan is not None
    woods = list(dict.fromkeys(part.species for part in job.parts))
    return lay_out(job.plan, woods, 2, job.name, job.units).boards


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "job.toml").write_text(PLAN, encoding="utf-8")
    return tmp_path


IN_INCHES = {
    '"mm"': '"in"',
    "temperature = 19": "temperature = 66",
    "= 1400": "= 55",
    "= 400": "= 16",
    "= 140\n": "= 6\n",
}


@pytest.mark.parametrize(("units", "length"), [("mm", "480"), ("mm", "487.3"), ("in", "19"), ("in", "19.3")])
def test_the_boards_read_back_as_they_were_planned(folder: Path, units: str, length: str) -> None:
    """Lengths to a millionth of a millimetre, all else exactly."""
    text = PLAN.replace("board_length = 480", f"board_length = {length}")
    for old, new in IN_INCHES.items() if units == "in" else ():
        assert old in text
        text = text.replace(old, new)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    boards = planned(folder)
    write_boards(folder, boards)
    read = read_job(folder, to_plan=True).boards
    assert [b.id for b in read] == ["C", "D", "E", "F"]
    for one, other in zip(read, (board.board() for board in boards), strict=True):
        assert (one.id, one.species) == (other.id, other.species)
        assert (one.length_mm, one.width_mm) == pytest.approx((other.length_mm, other.width_mm), abs=1e-6)
        for a, b in zip(one.zones, other.zones, strict=True):
            assert (a.id, a.treatment, a.stain, a.recipe) == (b.id, b.treatment, b.stain, b.recipe)
            assert a.span_mm == pytest.approx(b.span_mm, abs=1e-6)
            assert a.margin_mm == pytest.approx(5)


NOTES = "# my notes: ü, tabs\t, spaces   \n"
FORMS = {
    "as it is": PLAN.encode(),
    "no last line end": PLAN.encode().rstrip(b"\n"),
    "windows": PLAN.replace("\n", "\r\n").encode(),
    "with a byte-order mark": b"\xef\xbb\xbf" + PLAN.encode(),
    "with notes": (NOTES + PLAN + NOTES).encode(),
    "two empty lines": PLAN.encode() + b"\n\n",
}


@pytest.mark.parametrize("form", FORMS)
def test_every_byte_that_was_there_stays(folder: Path, form: str) -> None:
    (folder / "job.toml").write_bytes(FORMS[form])
    write_boards(folder, planned(folder))
    after = (folder / "job.toml").read_bytes()
    assert after.startswith(FORMS[form])
    added = after[len(FORMS[form]) :]
    assert added.count(b"[[board]]") == 4
    assert (b"\r\n" in added) == (form == "windows")
    assert added.count(b"\n") == added.count(b"\r\n") or form != "windows"
    assert [file.name for file in folder.iterdir()] == ["job.toml"]


def test_boards_that_are_there_are_not_added_again(folder: Path) -> None:
    boards = planned(folder)
    write_boards(folder, boards)
    once = (folder / "job.toml").read_bytes()
    with pytest.raises(BoardsExistError, match=r"boards C, D, E, F already.*first_board"):
        write_boards(folder, boards)
    assert (folder / "job.toml").read_bytes() == once


def test_a_file_changed_meanwhile_is_left_alone(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    boards = planned(folder)
    changed = PLAN + "# a note of the last second\n"

    def late(*_: object) -> str:
        (folder / "job.toml").write_text(changed, encoding="utf-8")
        return board_entries(boards, "mm")

    monkeypatch.setattr(module, "board_entries", late)
    with pytest.raises(FolderError, match="changed in the meantime"):
        write_boards(folder, boards)
    assert (folder / "job.toml").read_text(encoding="utf-8") == changed
    assert [file.name for file in folder.iterdir()] == ["job.toml"]


def test_boards_that_would_not_hold_change_nothing(folder: Path) -> None:
    """`board` is written as a value here, to which no table can be added."""
    text = PLAN.replace("[job]", "board = []\n[job]")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobFileError):
        write_boards(folder, trial(2).boards)
    assert (folder / "job.toml").read_text(encoding="utf-8") == text


@pytest.mark.skipif(os.name != "posix", reason="modes and links of POSIX")
def test_its_mode_stays_and_a_link_stays_a_link(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    real = tmp_path_factory.mktemp("elsewhere") / "real.toml"
    (folder / "job.toml").rename(real)
    real.chmod(0o640)
    (folder / "job.toml").symlink_to(real)
    write_boards(folder, planned(folder))
    assert (folder / "job.toml").is_symlink()
    assert b"[[board]]" in real.read_bytes()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


@settings(max_examples=30, deadline=None)
@given(st.text(min_size=1, max_size=40).filter(lambda text: text.strip() and text.isprintable()))
def test_any_name_that_a_job_file_may_hold_goes_out_and_comes_back(
    tmp_path_factory: pytest.TempPathFactory, name: str
) -> None:
    folder = tmp_path_factory.getbasetemp() / "names"
    folder.mkdir(exist_ok=True)
    quoted = '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'
    text = PLAN.replace('"Glue size"', quoted).replace('"brown oil stain"', quoted).replace('"cherry"', quoted)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    try:
        boards = planned(folder)
    except JobFileError:
        return  # "none" is no treatment
    write_boards(folder, boards)
    zones = {zone.id: zone for zone in read_job(folder, to_plan=True).boards[-1].zones}
    assert zones["size"].treatment == name
    assert zones["control-left"].stain == name
