"""How does a job folder begin?  With a `job.toml` that explains itself, and a place for the photos."""

import os
from contextlib import suppress
from pathlib import Path

from analyzer.errors import FolderError, JobExistsError
from analyzer.jobfile import JOB_FILE
from calibration.published import published_file

PHOTO_FOLDER = "photos"

_TEMPLATE = "job_template.toml"
_TEMPLATE_NAME = 'name = "Hall bench"'  # in the template; the job is named after its folder instead


def new_job(folder: Path) -> Path:
    """Start a job folder: a commented `job.toml` and an empty folder for the photos.

    Parameters
    ----------
    folder : Path
        Made if it is not there. What it holds already is left as it is.

    Returns
    -------
    Path
        The new job file.

    Raises
    ------
    JobExistsError
        If there is a job file already.
    FolderError
        If the folder cannot be made or written.
    """
    folder = Path(folder)
    target = folder / JOB_FILE
    if os.path.lexists(target):
        raise _there_already(target)
    template = published_file(_TEMPLATE).read_text(encoding="utf-8")
    text = template.replace(_TEMPLATE_NAME, f"name = {_quoted(folder)}", 1)
    try:
        (folder / PHOTO_FOLDER).mkdir(parents=True, exist_ok=True)
        _write_new(target, text.encode("utf-8"))
    except FileExistsError as error:
        raise _there_already(Path(error.filename2 or error.filename)) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise FolderError(f"{folder} cannot be made or written: {reason}.", remedy="Choose another folder.") from error
    return target


def _there_already(path: Path) -> JobExistsError:
    """Make the error of a file that stands in the way."""
    return JobExistsError(f"{path} is there already.", remedy="It was left as it is; choose another folder.")


def _quoted(folder: Path) -> str:
    """Write the folder's name as a TOML text; a name that no line can show gives way to a plain one."""
    name = folder.absolute().name
    if not name or not name.isprintable():
        name = "New job"
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _write_new(target: Path, content: bytes) -> None:
    """Write a file that must not be there yet: whole or not at all.

    Raises
    ------
    FileExistsError
        If it is there.
    """
    aside = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        aside.write_bytes(content)
        try:
            os.link(aside, target)  # refuses, in one step, if another run was faster
        except FileExistsError:
            raise
        except OSError:  # some memory sticks and network drives know no links
            with target.open("xb") as file:
                file.write(content)
    finally:
        with suppress(OSError):
            aside.unlink()
