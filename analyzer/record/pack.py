"""How does a job become one file that is complete in itself, and a job folder again?

Both ways are all or nothing: what is made grows beside its place, is proved, and is then put there in one step. Nothing
that is there is ever replaced.
"""

import errno
import hashlib
import os
import secrets
import shutil
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from analyzer.corrections import kept_corrections
from analyzer.errors import ArchiveError
from analyzer.jobfile import JOB_FILE
from analyzer.record.archive_manifest import (
    FORMAT,
    KIND,
    MANIFEST,
    ArchivedFile,
    Manifest,
    check_names,
    manifest_json,
)
from analyzer.record.archive_reading import LARGEST_PACKED_BYTES, open_archive, verify_archive
from analyzer.report.swap import is_half_done
from analyzer.version import tool_version

CORRECTIONS: Final = "corrections"  # the folder of kept corrections that a job relied on, in its archive

TARGETS: Final = "approved"  # the folder of a target that was approved in another job, in the archive of this one

# What becomes smaller. Photos and pictures hardly would, and stored ones can be taken out of a damaged archive whole.
_PACKED: Final = (".toml", ".json", ".csv", ".html", ".txt", ".md", ".svg", ".ics")
_LEVEL: Final = 6
_CHUNK: Final = 1 << 20
_ZIP64_FROM: Final = 2_000_000_000  # bytes; a little before the format's own limit of 2^31

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Packed:
    """An archive that was written and proved, or a folder that was unpacked."""

    format: int
    archive: str
    folder: str
    job: str
    files: int
    bytes: int  # of the files together
    corrections: tuple[str, ...]  # files of kept corrections among them
    left_out: tuple[str, ...] = ()  # hidden files, and links that the job does not name
    missing: tuple[str, ...] = ()  # files that the job names and that are not there
    target: str | None = None  # copy of the approval that the job names as its target, where that lies in another job


def pack_job(folder: Path, archive: Path, *, progress: Progress | None = None) -> Packed:
    """Pack a job folder: all its files, and the kept corrections that it may have relied on.

    The same content gives the same bytes, whenever and wherever it is packed by the same version.

    Parameters
    ----------
    folder : Path
        A job folder.
    archive : Path
        The ZIP file to write; it must not be there, and not lie in the folder.
    progress : callable, optional
        Told in a few words what is being done, file by file.

    Raises
    ------
    ArchiveError
        If the folder is no job or is being written to, a name cannot stand in an archive, the archive is there already,
        or it cannot be written, for want of space for instance. Nothing is left behind then.
    """
    folder, archive = Path(folder), Path(archive)
    if not (folder / JOB_FILE).is_file():
        raise ArchiveError(f"{folder} is no job folder: it has no {JOB_FILE}.", remedy="Name the job's folder.")
    if is_half_done(folder):
        raise ArchiveError(
            f"{folder} is being written to, or a run was cut off.", remedy="Run evenboard measure again."
        )
    if archive.exists() or archive.is_symlink():
        raise ArchiveError(f"{archive} is there already.", remedy="It was left as it is; choose another name.")
    if folder.resolve() in archive.resolve().parents:
        raise ArchiveError(f"{archive} would lie in the job's own folder.", remedy="Choose a place outside of it.")
    table = _job_tables(folder)
    named = _named_files(table)
    found, left_out = _files_of(folder, named)
    corrections = _corrections_for(table, found)
    target = _target_elsewhere(folder, table)
    found = dict(sorted({**found, **corrections, **target}.items()))
    check_names([*found, MANIFEST])
    about = table.get("job")
    name = str(about.get("name") or "") if isinstance(about, dict) else ""
    with _told(archive, "packed"), _draft_of(archive) as draft:
        manifest = _written(draft, found, name or folder.resolve().name, progress)
        if progress:
            progress("proving the archive")
        if verify_archive(draft) != manifest:
            raise ArchiveError(
                f"{archive} did not come out as it was written.", remedy="Check the disk, and pack again."
            )
        _put(draft, archive)
    return Packed(
        FORMAT,
        str(archive),
        str(folder),
        manifest.job,
        len(found),
        sum(file.size for file in manifest.files),
        tuple(corrections),
        tuple(left_out),
        tuple(sorted(name for name in named if name not in found)),
        next(iter(target), None),
    )


def unpack_job(archive: Path, folder: Path, *, progress: Progress | None = None) -> Packed:
    """Unpack an archive into a new folder, once every file of it is proved.

    Parameters
    ----------
    archive : Path
        A file of `pack_job`, of this or any earlier version.
    folder : Path
        Must not be there, or be empty.
    progress : callable, optional
        Told in a few words what is being done, file by file.

    Raises
    ------
    ArchiveError
        If the archive is damaged, changed, of a newer format, or could do harm; if something is in the folder already,
        or it cannot be written. Nothing is left behind then.
    """
    archive, folder = Path(archive), Path(folder)
    if folder.is_symlink() or (folder.exists() and not (folder.is_dir() and not any(folder.iterdir()))):
        raise ArchiveError(f"{folder} is there already.", remedy="It was left as it is; choose another folder.")
    with open_archive(archive) as source, _told(folder, "unpacked"):
        manifest = source.manifest
        folder.absolute().parent.mkdir(parents=True, exist_ok=True)
        _check_space(folder.absolute().parent, sum(file.size for file in manifest.files))
        draft = _draft_beside(folder)
        draft.mkdir()
        try:
            for file in manifest.files:
                if progress:
                    progress(f"unpacking {file.path}")
                place = draft.joinpath(*file.path.split("/"))
                place.parent.mkdir(parents=True, exist_ok=True)
                with place.open("xb") as target:
                    source.copy(file, target.write)
                    _flush(target.fileno())
            if folder.exists():
                folder.rmdir()  # empty; some systems do not rename over it
            draft.rename(folder)
        except BaseException:
            shutil.rmtree(draft, ignore_errors=True)
            raise
    paths = [file.path for file in manifest.files]
    table = _job_tables(folder)
    copy = f"{TARGETS}/{Path(_approved(table) or '').name}"
    return Packed(
        FORMAT,
        str(archive),
        str(folder),
        manifest.job,
        len(paths),
        sum(file.size for file in manifest.files),
        tuple(path for path in paths if path.startswith(f"{CORRECTIONS}/")),
        missing=tuple(sorted(name for name in _named_files(table) if name not in paths)),
        target=copy if copy in paths and _approved(table) != copy else None,
    )


def _job_tables(folder: Path) -> dict[str, Any]:
    """The job file as parsed; {} for one that does not hold: it is packed all the same."""
    try:
        return tomllib.loads((folder / JOB_FILE).read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return {}


def _named_files(table: dict[str, Any]) -> set[str]:
    """Files that a job names, with slashes."""
    photos = table.get("photo")
    tables = [photo for photo in photos if isinstance(photo, dict)] if isinstance(photos, list) else []
    names = [photo.get(key) for photo in tables for key in ("file", "flat", "exposure_pair")]
    for section, keys in (("reference", ("values",)), ("correction", ("from", "values"))):
        of_section = table.get(section)
        names += [of_section.get(key) for key in keys] if isinstance(of_section, dict) else []
    return {name.replace("\\", "/").removeprefix("./") for name in names if isinstance(name, str) and name}


def _files_of(folder: Path, named: set[str]) -> tuple[dict[str, Path], list[str]]:
    """All files of a folder, by their name in the archive; and what is left out."""
    found, left_out = {}, []
    for here, below, files in os.walk(folder):
        inside = Path(here)
        for name in [*files, *(name for name in below if (inside / name).is_symlink())]:
            path = inside / name
            key = path.relative_to(folder).as_posix()
            # A link may lead anywhere, to somebody's keys too: only a photo that the job names is followed.
            if not name.startswith(".") and path.is_file() and (not path.is_symlink() or key in named):
                found[key] = path
            else:
                left_out.append(key)
        left_out += [(inside / name).relative_to(folder).as_posix() for name in below if name.startswith(".")]
        below[:] = [name for name in below if not name.startswith(".")]
    for name in named - set(found):  # below a linked folder
        path = folder.joinpath(*name.split("/"))
        if ".." not in name.split("/") and not Path(name).is_absolute() and path.is_file():
            found[name] = path
    found.pop(MANIFEST, None)  # of an archive that somebody unpacked by other means
    return found, sorted(left_out)


def _corrections_for(table: dict[str, Any], found: dict[str, Path]) -> dict[str, Path]:
    """Kept corrections for the lights of a job that asks for stored ones; those in its folder already stay."""
    wish = table.get("correction")
    if not isinstance(wish, dict) or wish.get("stored") is not True:
        return {}
    photos = table.get("photo")
    lights = {photo.get("light") for photo in photos if isinstance(photo, dict)} if isinstance(photos, list) else set()
    kept = {
        f"{CORRECTIONS}/{one.path.name}": one.path
        for one in kept_corrections()
        if one.stored is not None and one.stored.setup.light in lights
    }
    return {name: path for name, path in kept.items() if name not in found}


def _approved(table: dict[str, Any]) -> str | None:
    """The approval that a job names as its target."""
    target = table.get("target")
    named = target.get("approved") if isinstance(target, dict) else None
    return named.replace("\\", "/") if isinstance(named, str) and named else None


def _target_elsewhere(folder: Path, table: dict[str, Any]) -> dict[str, Path]:
    """An approval outside of the folder: without it nobody could compare with the target again."""
    named = _approved(table)
    path = None if named is None else folder / named
    if path is None or not path.is_file() or folder.resolve() in path.resolve().parents:
        return {}
    return {f"{TARGETS}/{path.name}": path}


def _written(draft: Path, found: dict[str, Path], job: str, progress: Progress | None) -> Manifest:
    files = []
    with zipfile.ZipFile(draft, "w", compresslevel=_LEVEL) as archive:
        for name, path in found.items():
            if progress:
                progress(f"packing {name}")
            files.append(_added(archive, name, path))
        manifest = Manifest(KIND, FORMAT, f"evenboard {tool_version()}", job, tuple(files))
        archive.writestr(_entry(MANIFEST, 0), manifest_json(manifest), compresslevel=_LEVEL)
    with draft.open("rb") as written:
        _flush(written.fileno())
    return manifest


def _added(archive: zipfile.ZipFile, name: str, path: Path) -> ArchivedFile:
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source:
        expected = os.fstat(source.fileno()).st_size
        with archive.open(_entry(name, expected), "w", force_zip64=expected >= _ZIP64_FROM) as target:
            while chunk := source.read(_CHUNK):
                digest.update(chunk)
                size += len(chunk)
                target.write(chunk)
    return ArchivedFile(name, size, digest.hexdigest())


def _entry(name: str, size: int) -> zipfile.ZipInfo:
    """An entry of which nothing depends on when and where it was packed."""
    entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))  # the first day that the format knows
    is_packed = name.lower().endswith(_PACKED) and size <= LARGEST_PACKED_BYTES
    entry.compress_type = zipfile.ZIP_DEFLATED if is_packed else zipfile.ZIP_STORED
    entry.external_attr = 0o100644 << 16
    entry.create_system = 3
    return entry


@contextmanager
def _draft_of(archive: Path) -> Iterator[Path]:
    draft = _draft_beside(archive)
    try:
        draft.open("xb").close()
        yield draft
    finally:
        with suppress(OSError):
            draft.unlink()


def _draft_beside(place: Path) -> Path:
    """A name that nothing has, on the same disk."""
    whole = place.absolute()
    return whole.with_name(f".{whole.name}.{secrets.token_hex(8)}.part")


def _put(draft: Path, archive: Path) -> None:
    """Give the archive its name, unless something has come there meanwhile."""
    try:
        os.link(draft, archive)
    except FileExistsError:
        raise
    except OSError:  # some memory sticks and network drives know no links
        if archive.exists():
            raise FileExistsError(errno.EEXIST, "it is there already") from None
        draft.rename(archive)


def _check_space(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise ArchiveError(
            f"it takes {needed / 1e6:.0f} MB, and {folder} has {free / 1e6:.0f} MB free.",
            remedy="Nothing was unpacked. Free some space, or choose another disk.",
        )


@contextmanager
def _told(place: Path, done: str) -> Iterator[None]:
    try:
        yield
    except OSError as failed:
        reason = "the disk is full" if failed.errno == errno.ENOSPC else failed.strerror or str(failed)
        raise ArchiveError(
            f"{place} cannot be written: {reason}.",
            remedy=f"Nothing was {done}. Free some space, or choose another place.",
        ) from failed


def _flush(handle: int) -> None:
    with suppress(OSError):  # some file systems cannot promise it
        os.fsync(handle)
