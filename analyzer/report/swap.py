"""How do new files take the place of old ones, all or nothing, even if the run is killed in between?

Everything happens inside one hidden folder beside the files, so that each move is a rename on one file system:

    .evenboard-writing/new/…   the new files, written and flushed to disk
    .evenboard-writing/old/…   the old ones, set aside one by one
    .evenboard-writing/swap    the names that are moving; it exists only while they move

While `swap` exists the swap is under way, and undoing it brings the old files back; removing it is the one step that
makes the new files count. What a killed run leaves is told apart by that alone.
"""

import contextlib
import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

STAGING = ".evenboard-writing"
NEW, OLD, JOURNAL = "new", "old", "swap"
COMING, GOING = "+", "-"  # in the journal: a new file, and one that is only taken away


def swap_in(files: Mapping[str, bytes], folder: Path, *, outdated: Sequence[str] = ()) -> None:
    """Put new files in place of old ones, all or nothing.

    Parameters
    ----------
    files : mapping of str to bytes
        Name inside the folder, with slashes, to content.
    folder : Path
        An existing folder.
    outdated : sequence of str
        Files of an earlier run to be taken away by the same step.

    Raises
    ------
    OSError
        If a step failed. The folder is then as it was.
    """
    with _locked(folder):
        _recover(folder)
        staging = folder / STAGING
        try:
            _stage(files, staging)
            _announce([*(COMING + name for name in files), *(GOING + name for name in outdated)], staging)
            _move(files, outdated, folder)
            (staging / JOURNAL).unlink()  # from here the new files count
        except BaseException:  # whatever stops us, Ctrl-C too: the old files come back
            _recover(folder)
            raise
        # What follows is only tidying, and the next run would do it too.
        with contextlib.suppress(OSError):
            _flush_folder(staging)
        shutil.rmtree(staging, ignore_errors=True)


def recover(folder: Path) -> None:
    """Undo what a killed run left half done.

    Raises
    ------
    OSError
        If the folder cannot be written to.
    """
    if (folder / STAGING).exists():
        with _locked(folder):
            _recover(folder)


def is_half_done(folder: Path) -> bool:
    """Whether a swap was cut off: the old files wait to be put back."""
    return (folder / STAGING / JOURNAL).exists()


def _stage(files: Mapping[str, bytes], staging: Path) -> None:
    (staging / OLD).mkdir(parents=True)
    for name, content in files.items():
        path = staging / NEW / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, content)


def _announce(lines: Sequence[str], staging: Path) -> None:
    """Write the journal in one step: half a journal would undo half a swap."""
    draft = staging / f"{JOURNAL}-draft"
    _write(draft, "\n".join(lines).encode())
    draft.rename(staging / JOURNAL)
    _flush_folder(staging)


def _move(files: Mapping[str, bytes], outdated: Sequence[str], folder: Path) -> None:
    staging = folder / STAGING
    for name in (*files, *outdated):
        if (folder / name).exists() or (folder / name).is_symlink():
            (staging / OLD / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(folder / name, staging / OLD / name)  # noqa: PTH105 - one name for every move, so that tests can fail each
        if name in files:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(staging / NEW / name, folder / name)  # noqa: PTH105 - as above
    for parent in {(folder / name).parent for name in files} | {folder}:
        _flush_folder(parent)


def _recover(folder: Path) -> None:
    staging = folder / STAGING
    journal = staging / JOURNAL
    if journal.exists():
        for line in journal.read_text(encoding="utf-8").splitlines():
            _put_back(line[1:], folder, came=line.startswith(COMING))
        _flush_folder(folder)
        journal.unlink()
    if staging.exists():
        shutil.rmtree(staging)


def _put_back(name: str, folder: Path, *, came: bool) -> None:
    """Undo the two moves of one name in reverse, as far as they came; undoing twice does no harm.

    A new file is missing from the staging folder only when it went to its place: it goes back there first, unless
    somebody has deleted it since.
    """
    new, old, place = folder / STAGING / NEW / name, folder / STAGING / OLD / name, folder / name
    if came and not new.exists() and place.exists():
        os.replace(place, new)  # noqa: PTH105 - as in _move
    if old.exists() or old.is_symlink():
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(old, place)  # noqa: PTH105 - as in _move
    elif place.parent != folder:
        with contextlib.suppress(OSError):  # not empty, or not made yet: nothing to tidy
            place.parent.rmdir()


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Make renames last through a power cut, where the system can do that for folders."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Let one run at a time write to a folder. The lock lies on the folder itself and leaves no file behind."""
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network folders cannot be locked; two runs at once are rare
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
