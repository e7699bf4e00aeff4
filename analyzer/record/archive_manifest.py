"""What does an archive of a job say of itself?  Its manifest, and which names may stand in it.

An archive is a ZIP file of a job's folder, with the manifest as one more file. Format 1. A reader refuses what a newer
version wrote; what any earlier version wrote stays readable (tests keep an archive of each format).
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

import msgspec

from analyzer.errors import ArchiveError

FORMAT: Final = 1
KIND: Final = "evenboard job archive"
MANIFEST: Final = "evenboard-archive.json"
LARGEST_MANIFEST_BYTES: Final = 64_000_000  # chosen: 100,000 files take about 15 MB
MOST_FILES: Final = 100_000  # chosen: a job has tens
LONGEST_NAME: Final = 1000  # characters of a path; systems take about as many
LONGEST_PART_BYTES: Final = 255  # of one folder's or file's name; what file systems take

# Names that mean a device on some systems, with any ending
_DEVICES: Final = re.compile(r"(?:con|prn|aux|nul|com[1-9¹²³]|lpt[1-9¹²³])(?:\..*)?", re.IGNORECASE)
_FORBIDDEN: Final = frozenset('<>:"|?*\\')  # by some file systems; the colon and backslash also lead out of a folder


@dataclass(frozen=True, slots=True)
class ArchivedFile:
    """One file of an archive."""

    path: str  # inside the job folder, with slashes
    size: int  # bytes
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """The manifest, key for key."""

    kind: Literal["evenboard job archive"]
    format: int
    by: str  # "evenboard 0.1.0"
    job: str  # its name
    files: tuple[ArchivedFile, ...]  # by path; the manifest itself is not among them


def manifest_json(manifest: Manifest) -> bytes:
    """Write a manifest: one line a file."""
    files = ",\n".join(f"  {msgspec.json.encode(file).decode()}" for file in manifest.files)
    head = [
        f'"{key}": {msgspec.json.encode(getattr(manifest, key)).decode()}' for key in ("kind", "format", "by", "job")
    ]
    return ("{\n" + ",\n".join(head) + ',\n"files": [\n' + files + "\n]}\n").encode()


def read_manifest(content: bytes) -> Manifest:
    """Read a manifest again; every name in it may stand in an archive, and none clashes with another.

    Raises
    ------
    ArchiveError
        If it is none, or of a newer format, or a name in it may not stand there.
    """
    try:
        head = msgspec.json.decode(content)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as damaged:
        raise ArchiveError(f"its manifest is damaged: {damaged}.", remedy=FROM_A_BACKUP) from damaged
    if not isinstance(head, dict) or head.get("kind") != KIND:
        raise ArchiveError("this is no archive of a job.", remedy="Name a file that evenboard pack wrote.")
    version = head.get("format")
    if isinstance(version, int) and version > FORMAT:
        raise ArchiveError(
            f"it is of format {version}, which a newer Evenboard wrote; this one reads format {FORMAT}.",
            remedy="Install that version.",
        )
    try:
        manifest = msgspec.convert(head, Manifest)
    except msgspec.ValidationError as wrong:
        raise ArchiveError(f"its manifest is damaged: {wrong}.", remedy=FROM_A_BACKUP) from wrong
    if manifest.format != FORMAT:
        raise ArchiveError(f"it is of format {manifest.format}, which there is not.", remedy=FROM_A_BACKUP)
    check_names(file.path for file in manifest.files)
    return manifest


FROM_A_BACKUP: Final = "Nothing was unpacked. Take it from a backup, or from whoever packed it."


def check_names(paths: Iterable[str]) -> None:
    """Refuse names that lead out of the folder, mean something else on another system, or clash.

    Raises
    ------
    ArchiveError
        With the name and why.
    """
    files: dict[str, str] = {}
    folders: dict[str, str] = {}
    for count, path in enumerate(paths, 1):
        fault = _fault(path)
        if fault:
            raise ArchiveError(f"the name {path!r} cannot stand in an archive: {fault}.", remedy=_RENAME)
        folded = unicodedata.normalize("NFC", path).casefold()
        for other in (files.get(folded), folders.get(folded)):
            if other is not None:
                told = f"{path!r} and {other!r} would be one file on some systems."
                raise ArchiveError(told, remedy=_RENAME)
        files[folded] = path
        for end in (at for at, letter in enumerate(folded) if letter == "/"):
            folder = folded[:end]
            written = "/".join(path.split("/")[: folder.count("/") + 1])
            if folder in files or folders.setdefault(folder, written) != written:
                other = files.get(folder) or folders[folder]
                raise ArchiveError(f"{path!r} and {other!r} clash on some systems.", remedy=_RENAME)
        if count > MOST_FILES:
            raise ArchiveError(f"there are more than {MOST_FILES} files.", remedy="Move what is not of the job.")


_RENAME: Final = "Nothing was written. Give the file another name, in the folder and in job.toml."


def _fault(path: str) -> str:
    """Why a name may not stand in an archive, in words; "" if it may."""
    bad = sorted(_FORBIDDEN.intersection(path))
    parts = path.split("/")
    device = next((part for part in parts if _DEVICES.fullmatch(part)), "")
    for is_so, fault in (
        (not path or len(path) > LONGEST_NAME, f"it has {len(path)} characters (limit {LONGEST_NAME})"),
        (not path.isprintable(), "it holds what cannot be shown"),
        (bool(bad), f"it holds {' '.join(bad)}"),
        (any(part in ("", ".", "..") for part in parts), "it leads out of the folder, or nowhere"),
        (any(part != part.strip(" ").rstrip(".") for part in parts), "a part of it ends with a full stop or a space"),
        (bool(device), f"{device} is a device on some systems"),
        (
            any(len(part.encode("utf-8", "replace")) > LONGEST_PART_BYTES for part in parts),
            f"a part of it has more than {LONGEST_PART_BYTES} bytes",
        ),
    ):
        if is_so:
            return fault
    return ""
