"""The results of a run are written whole or not at all, whatever fails and whenever."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from report_example import example_job, example_measurement

from analyzer.errors import FolderError
from analyzer.report import swap, write
from analyzer.report.write import made_files, recover_results, write_results

EARLIER = {
    "results.json": b"earlier results",
    "report.html": b"earlier page",
    "report.pdf": b"earlier pages",
    "pictures/board_A_stained_shop.jpg": b"earlier board",
    "pictures/board_Z_stained_shop.jpg": b"a board of the earlier run only",
}
INPUTS = {
    "job.toml": b"format = 1",
    "photos/a-stained.jpg": b"a photo",
    "pictures/my-own.jpg": b"somebody's picture",
    "offer.pdf": b"written by hand",
}
LATER = {
    "results.json": b"later results",
    "zones.csv": b"later zones",
    "report.html": b"later page",
    "report.pdf": b"later pages",
    "pictures/board_A_stained_shop.jpg": b"later board",
    "pictures/map_A_stained_shop.jpg": b"later map",
}
EXPECTED = {**INPUTS, **LATER}
MOVES = len(EARLIER) + len(LATER)  # os.replace is called so often when nothing fails


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in {**EARLIER, **INPUTS}.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    return tmp_path


@pytest.fixture(autouse=True)
def _small_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is written does not matter to these tests, only that it is."""
    monkeypatch.setattr(write, "made_files", lambda *_: LATER)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def failing(
    call: Callable[..., object], at: int, *, once: bool = True, error: BaseException | None = None
) -> Callable[..., object]:
    """The same call, but the `at`-th time (and, unless `once`, ever after) it fails."""
    count = 0

    def counted(*args: object, **kwargs: object) -> object:
        nonlocal count
        count += 1
        if count == at or (count > at and not once):
            raise error or OSError(28, "No space left on device")
        return call(*args, **kwargs)

    return counted


def test_the_new_files_stand_where_the_earlier_ones_stood(folder: Path) -> None:
    written = write_results(example_measurement(boards=()), folder)
    assert contents(folder) == EXPECTED
    assert [path.relative_to(folder).as_posix() for path in written] == list(LATER)


def test_the_first_run_writes_into_a_folder_without_results(tmp_path: Path) -> None:
    write_results(example_measurement(boards=()), tmp_path)
    assert contents(tmp_path) == LATER


@pytest.mark.parametrize("at", range(1, MOVES + 1))
@pytest.mark.parametrize("error", [None, KeyboardInterrupt()])
def test_whichever_move_fails_the_earlier_results_stay_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch, at: int, error: BaseException | None
) -> None:
    monkeypatch.setattr(os, "replace", failing(os.replace, at, error=error))
    with pytest.raises((FolderError, KeyboardInterrupt)) as stopped:
        write_results(example_measurement(boards=()), folder)
    assert contents(folder) == {**EARLIER, **INPUTS}
    if error is None:
        assert "No space left on device" in str(stopped.value)
        assert "unchanged" in str(stopped.value)


def test_there_are_as_many_moves_as_the_test_above_makes_fail(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    moves: list[object] = []
    move = os.replace
    monkeypatch.setattr(os, "replace", lambda old, new: (moves.append(new), move(old, new)))
    write_results(example_measurement(boards=()), folder)
    assert len(moves) == MOVES


@pytest.mark.parametrize("at", range(1, MOVES + 1))
def test_a_run_killed_at_any_move_is_undone_by_the_next(folder: Path, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    """Once one move fails all do, so that nothing is put back: the state in which a killed run leaves the folder."""
    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", failing(os.replace, at, once=False))
        with pytest.raises((FolderError, OSError)):
            write_results(example_measurement(boards=()), folder)
    recover_results(folder)
    assert contents(folder) == {**EARLIER, **INPUTS}
    write_results(example_measurement(boards=()), folder)
    assert contents(folder) == EXPECTED


@pytest.mark.parametrize("at", range(1, MOVES + 1))
def test_a_recovery_that_is_itself_killed_is_finished_by_the_next(
    folder: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", failing(os.replace, MOVES, once=False))
        with pytest.raises((FolderError, OSError)):
            write_results(example_measurement(boards=()), folder)
    assert swap.is_half_done(folder)
    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", failing(os.replace, at, once=False))
        try:
            recover_results(folder)
        except FolderError as told:
            assert "next run" in str(told)  # noqa: PT017 - later moves may not be needed, so it need not fail
    recover_results(folder)
    assert contents(folder) == {**EARLIER, **INPUTS}


def test_earlier_results_come_back_even_if_somebody_cleared_the_folder_of_a_killed_run(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", failing(os.replace, MOVES, once=False))
        with pytest.raises((FolderError, OSError)):
            write_results(example_measurement(boards=()), folder)
    (folder / "results.json").unlink()
    shutil.rmtree(folder / "pictures")
    recover_results(folder)
    expected = {**EARLIER, **INPUTS}
    del expected["pictures/my-own.jpg"]  # deleted by hand with its folder, and not ours to bring back
    del expected["pictures/board_Z_stained_shop.jpg"]  # not yet set aside when the run was killed
    assert contents(folder) == expected


@pytest.mark.parametrize("at", range(1, len(LATER) + 2))
def test_a_disk_that_fills_while_writing_leaves_everything_as_it_was(
    folder: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """Every file and the journal in turn."""
    monkeypatch.setattr(swap, "_write", failing(swap._write, at))
    with pytest.raises(FolderError, match="No space left on device"):
        write_results(example_measurement(boards=()), folder)
    assert contents(folder) == {**EARLIER, **INPUTS}


@pytest.mark.parametrize("call", ["fsync", "open"])
def test_a_disk_that_cannot_be_flushed_leaves_everything_as_it_was(
    folder: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(swap.os, call, failing(getattr(os, call), 3, once=False))
        with pytest.raises(FolderError):
            write_results(example_measurement(boards=()), folder)
    recover_results(folder)
    assert contents(folder) == {**EARLIER, **INPUTS}


def test_a_folder_that_may_not_be_written_to_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "mkdir", failing(Path.mkdir, 1, error=PermissionError(13, "Permission denied")))
    with pytest.raises(FolderError, match="Permission denied"):
        write_results(example_measurement(boards=()), folder)
    assert contents(folder) == {**EARLIER, **INPUTS}


def test_a_folder_that_does_not_exist_is_told(tmp_path: Path) -> None:
    with pytest.raises(FolderError, match="No such file"):
        write_results(example_measurement(boards=()), tmp_path / "nowhere")


def test_what_a_run_killed_before_its_first_move_left_is_swept_away(folder: Path) -> None:
    (folder / swap.STAGING / swap.NEW).mkdir(parents=True)
    (folder / swap.STAGING / swap.NEW / "results.json").write_bytes(b"half a fi")
    recover_results(folder)
    assert contents(folder) == {**EARLIER, **INPUTS}
    assert not (folder / swap.STAGING).exists()


def test_what_a_run_killed_after_its_last_move_left_does_not_undo_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as killed:
        killed.setattr(shutil, "rmtree", lambda *_args, **_kwargs: None)
        write_results(example_measurement(boards=()), folder)
    assert (folder / swap.STAGING).exists()
    recover_results(folder)
    assert contents(folder) == EXPECTED


def test_a_photo_is_never_replaced_even_where_a_picture_would_go(folder: Path) -> None:
    job = example_job()
    first, *others = job.photos
    job = replace(job, photos=(replace(first, file="pictures/board_A_stained_shop.jpg"), *others))
    with pytest.raises(FolderError, match="board_A_stained_shop"):
        write_results(replace(example_measurement(boards=()), job=job), folder)
    assert contents(folder) == {**EARLIER, **INPUTS}


def test_a_photo_is_never_taken_away_even_where_an_earlier_picture_could_lie(folder: Path) -> None:
    job = example_job()
    first, *others = job.photos
    job = replace(job, photos=(replace(first, flat="pictures/board_Z_stained_shop.jpg"), *others))
    write_results(replace(example_measurement(boards=()), job=job), folder)
    kept = "pictures/board_Z_stained_shop.jpg"
    assert contents(folder) == {**EXPECTED, kept: EARLIER[kept]}


@pytest.fixture(scope="module")
def real() -> Iterator[dict[str, bytes]]:
    return made_files(example_measurement(boards=("S",)))


def test_a_run_makes_the_files_of_the_contract(real: dict[str, bytes]) -> None:
    assert list(real)[:4] == ["results.json", "zones.csv", "report.html", "report.pdf"]
    assert list(real)[4:] == [
        "pictures/board_S_stained_shop.jpg",
        "pictures/map_S_stained_shop.jpg",
        "pictures/seen_a-second.jpg",
    ]
    assert all(data.startswith(b"\xff\xd8") for name, data in real.items() if name.endswith(".jpg"))


def test_the_same_measurement_makes_the_same_bytes(real: dict[str, bytes]) -> None:
    assert made_files(example_measurement(boards=("S",))) == real


def test_boards_whose_names_look_alike_to_a_file_system_get_files_of_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "plate_jpeg", lambda *_args: b"")  # slow, and not what this is about
    picture = example_measurement(boards=("S",)).pictures[0]
    alike = tuple(replace(picture, board=replace(picture.board, id=name)) for name in ("Böard 1", "board/1", "../../b"))
    names = [name for name in made_files(replace(example_measurement(boards=()), pictures=alike)) if "/board" in name]
    assert names == [
        "pictures/board_Board-1_stained_shop.jpg",
        "pictures/board_board-1_stained_shop-2.jpg",
        "pictures/board_b_stained_shop.jpg",
    ]
    assert all(write.OUR_PICTURES.fullmatch(Path(name).name) for name in names)
