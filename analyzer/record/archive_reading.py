"""Can an archive be trusted, and what is in it?  Nothing is written here.

Every file is proved before it counts: its name, its size, its place in the ZIP file and its SHA-256.
"""

import hashlib
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from analyzer.errors import ArchiveError
from analyzer.record.archive_manifest import (
    FROM_A_BACKUP,
    LARGEST_MANIFEST_BYTES,
    MANIFEST,
    MOST_FILES,
    ArchivedFile,
    Manifest,
    read_manifest,
)

# A file that is stored takes as much room as it has; only a packed one can be small and swell. Ours are text.
LARGEST_PACKED_BYTES: Final = 500_000_000  # of one packed file, unpacked (chosen: results.json has about 1 MB)
LARGEST_SWELLING: Final = 1100  # times; what deflate can do at most is 1032 (RFC 1951)
LARGEST_PACKED_SUM: Final = 2_000_000_000  # of all packed files together, unpacked (chosen)

_CHUNK: Final = 1 << 20
_ENCRYPTED: Final = 0x1
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
# What zipfile raises on bytes that are not what they say; a way of packing that it does not know, and a file that asks
# for a password, are a RuntimeError there.
_DAMAGED: Final = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError)


@dataclass(frozen=True, slots=True, eq=False)
class OpenArchive:
    """An archive of which the outside holds: names, sizes and places. Its files are proved as they are read."""

    manifest: Manifest
    _zip: zipfile.ZipFile

    def copy(self, file: ArchivedFile, write: Callable[[bytes], object]) -> None:
        """Hand over a file piece by piece.

        Raises
        ------
        ArchiveError
            If it is not what the manifest says; what was handed over must then be thrown away.
        """
        digest, size = hashlib.sha256(), 0
        try:
            with self._zip.open(file.path) as source:
                while chunk := source.read(_CHUNK):
                    size += len(chunk)
                    if size > file.size:
                        raise ArchiveError(f"{file.path} is longer than it says.", remedy=FROM_A_BACKUP)
                    digest.update(chunk)
                    write(chunk)
        except _DAMAGED as damaged:
            raise ArchiveError(f"{file.path} is damaged: {damaged}.", remedy=FROM_A_BACKUP) from damaged
        if size != file.size or digest.hexdigest() != file.sha256:
            raise ArchiveError(f"{file.path} is not what was packed: its SHA-256 differs.", remedy=FROM_A_BACKUP)


@contextmanager
def open_archive(path: Path) -> Iterator[OpenArchive]:
    """Open an archive.

    Raises
    ------
    ArchiveError
        If it is not there, is none, or could do harm.
    """
    with ExitStack() as opened:
        try:
            file = opened.enter_context(path.open("rb"))
            archive = opened.enter_context(_zip_of(file))
            manifest = _checked(archive, path.stat().st_size)
        except FileNotFoundError as missing:
            raise ArchiveError(f"there is no file {path}.", remedy="Check its name and folder.") from missing
        except OSError as failed:
            reason = failed.strerror or str(failed)
            raise ArchiveError(
                f"{path} cannot be read: {reason}.", remedy="Check the disk, or copy it again."
            ) from failed
        except ArchiveError as refused:
            raise ArchiveError(f"{path}: {refused.what}", remedy=refused.remedy) from refused
        yield OpenArchive(manifest, archive)


def verify_archive(path: Path) -> Manifest:
    """Read a whole archive and prove every file of it.

    Raises
    ------
    ArchiveError
        If anything is not as it says.
    """
    with open_archive(path) as archive:
        for file in archive.manifest.files:
            archive.copy(file, len)
        return archive.manifest


def _zip_of(file: BinaryIO) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(file)
    except (*_DAMAGED, ValueError, OverflowError) as damaged:
        raise ArchiveError(f"it is no archive, or not whole: {damaged}.", remedy=FROM_A_BACKUP) from damaged


def _checked(archive: zipfile.ZipFile, archive_bytes: int) -> Manifest:
    """The manifest, once the ZIP file's own list agrees with it."""
    entries = archive.infolist()
    if len(entries) > MOST_FILES + 1:
        raise ArchiveError(f"it holds {len(entries)} files (limit {MOST_FILES}).", remedy=FROM_A_BACKUP)
    for entry in entries:
        _check_entry(entry)
    _check_room(entries, archive_bytes)
    names = [entry.filename for entry in entries]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise ArchiveError(f"{twice!r} stands in it twice.", remedy=FROM_A_BACKUP)
    if MANIFEST not in names:
        raise ArchiveError("this is no archive of a job: it has no manifest.", remedy="Name a file of evenboard pack.")
    manifest = _manifest_in(archive)
    sizes = {entry.filename: entry.file_size for entry in entries if entry.filename != MANIFEST}
    told = {file.path: file.size for file in manifest.files}
    if len(told) < len(manifest.files) or sizes != told:
        odd = sorted(set(sizes.items()) ^ set(told.items()))
        what = repr(odd[0][0]) if odd else "a file"
        raise ArchiveError(f"{what} is not as the manifest lists it.", remedy=FROM_A_BACKUP)
    return manifest


def _check_entry(entry: zipfile.ZipInfo) -> None:
    kind = stat.S_IFMT(entry.external_attr >> 16)
    fault = ""
    if kind not in (0, stat.S_IFREG) or entry.is_dir():
        fault = "a link or a folder, not a file"
    elif entry.flag_bits & _ENCRYPTED:
        fault = "encrypted"
    elif entry.compress_type not in _METHODS:
        fault = "packed in a way that is not used here"
    elif entry.filename != entry.orig_filename:
        fault = "of a name that two programs read differently"
    elif entry.compress_type == zipfile.ZIP_STORED and entry.file_size != entry.compress_size:
        fault = "of two sizes at once"
    elif entry.compress_type == zipfile.ZIP_DEFLATED and (
        entry.file_size > LARGEST_PACKED_BYTES or entry.file_size > LARGEST_SWELLING * max(entry.compress_size, 1)
    ):
        fault = f"a file that would swell to {entry.file_size / 1e6:.0f} MB"
    if fault:
        raise ArchiveError(f"{entry.filename!r} is {fault}.", remedy=FROM_A_BACKUP)


def _check_room(entries: list[zipfile.ZipInfo], archive_bytes: int) -> None:
    """No two files may share bytes of the archive, and packed ones may not fill a disk together."""
    end = 0
    for entry in sorted(entries, key=lambda entry: entry.header_offset):
        if entry.header_offset < end:
            raise ArchiveError(f"{entry.filename!r} lies over another file of the archive.", remedy=FROM_A_BACKUP)
        end = entry.header_offset + entry.compress_size
    if end > archive_bytes:
        raise ArchiveError("it is cut short.", remedy=FROM_A_BACKUP)
    packed = sum(entry.file_size for entry in entries if entry.compress_type == zipfile.ZIP_DEFLATED)
    if packed > LARGEST_PACKED_SUM:
        raise ArchiveError(f"its packed files would swell to {packed / 1e9:.1f} GB.", remedy=FROM_A_BACKUP)


def _manifest_in(archive: zipfile.ZipFile) -> Manifest:
    if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST_BYTES:
        raise ArchiveError("its manifest is too large.", remedy=FROM_A_BACKUP)
    try:
        return read_manifest(archive.read(MANIFEST))
    except _DAMAGED as damaged:
        raise ArchiveError(f"its manifest is damaged: {damaged}.", remedy=FROM_A_BACKUP) from damaged
