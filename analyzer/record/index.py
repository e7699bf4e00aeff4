"""Which zones has the shop measured?  An index over all job folders, brought up to date and searched.

with open_index() as index:
    index.update([Path("jobs")])
    zones = index.search(Query(species="maple", near=(38, 14.5, 22), within=3))
"""

import json
import os
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self, TypeVar

from analyzer.errors import RecordError
from analyzer.jobfile import JOB_FILE
from analyzer.record.job_entry import JobEntry, NotRead, Seen, ZoneEntry, read_entry, recipe_json, seen_again
from analyzer.record.query import FoundZone, Query
from analyzer.record.search import count_zones, find_zones, folded
from analyzer.record.store import index_path, open_database, remember_folders, remembered_folders, remove_database

Answer = TypeVar("Answer")

_NOT_LOOKED_IN: Final = ("photos", "pictures", "approvals")  # of a job folder: no job lies in there


@dataclass(frozen=True, slots=True)
class UpdateReport:
    """What bringing the index up to date found."""

    folders: tuple[Path, ...]  # that were looked in
    missing: tuple[Path, ...]  # of these, those that are not there: their jobs are left out
    jobs: int  # kept now, of these folders
    zones: int
    added: int
    changed: int
    unchanged: int
    dropped: int  # jobs whose folders, or whose results, are not there any more
    unmeasured: tuple[Path, ...]
    being_written: tuple[Path, ...]  # left as they were for the next time
    broken: tuple[tuple[Path, str], ...]  # folder and reason; left out
    why_new: str  # why the index was made anew, in words; "": it was not


def open_index(path: Path | None = None) -> "RecordIndex":
    """Open the index of all jobs; close it after use, or use it in a `with` block.

    Parameters
    ----------
    path : Path, optional
        Its file; left out, the one in the user's data folder. One that is damaged or of an older version is made
        anew from the remembered folders by the next `update`.

    Raises
    ------
    RecordError
        If it cannot be made or opened, or a newer version made it.
    """
    return RecordIndex(index_path(path))


class RecordIndex:
    """An open index. Not to be shared between threads; any number of programs may each open their own."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._database, self.why_new = open_database(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    @property
    def folders(self) -> tuple[Path, ...]:
        """Folders that are remembered from earlier."""
        return remembered_folders(self.path)

    def remember(self, folders: Iterable[Path]) -> None:
        """Remember folders to look in, beside those that are."""
        remember_folders(self.path, [*self.folders, *(Path(folder).resolve() for folder in folders)])

    def forget(self, folders: Iterable[Path]) -> None:
        """Remember them no more, and drop their jobs from the index. The folders themselves are not touched."""
        gone = {Path(folder).resolve() for folder in folders}
        left = [folder for folder in self.folders if folder not in gone]
        remember_folders(self.path, left)
        self._run(lambda: self._drop([one for one in self._kept(gone) if not _is_below(one, left)]))

    def rebuild(self) -> None:
        """Throw the index away; the next `update` makes it anew."""
        self._database.close()
        try:
            remove_database(self.path)
        except OSError as refused:
            raise _refused(self.path, refused) from refused
        self._database, _ = open_database(self.path)

    def update(
        self, folders: Iterable[Path] | None = None, *, progress: Callable[[str], None] | None = None
    ) -> UpdateReport:
        """Read what is new or has changed in job folders; drop what is gone.

        Parameters
        ----------
        folders : iterable of Path, optional
            Looked in, with all folders below them; left out, the remembered ones. An index that was just made anew
            takes the remembered ones as well.
        progress : callable, optional
            Told in a few words what is being done, job by job.

        Returns
        -------
        UpdateReport

        Raises
        ------
        RecordError
            If the index cannot be written.
        """
        named = [Path(folder).resolve() for folder in (self.folders if folders is None else folders)]
        if self.why_new:
            named += self.folders
        roots = list(dict.fromkeys(named))
        return self._run(lambda: self._update(roots, progress))

    def search(self, query: Query) -> tuple[FoundZone, ...]:
        """Find zones; see `Query`.

        Raises
        ------
        RecordError
            If the index cannot be read.
        """
        return self._run(lambda: find_zones(self._database, query))

    def count(self, query: Query) -> int:
        """How many zones answer a query, whatever its limit."""
        return self._run(lambda: count_zones(self._database, query))

    def _update(self, roots: list[Path], progress: Callable[[str], None] | None) -> UpdateReport:
        missing = tuple(root for root in roots if not root.is_dir())
        kept = self._kept(roots)
        present = dict.fromkeys(folder for root in roots for folder in job_folders(root))
        added, changed, unchanged = 0, 0, 0
        not_read: list[NotRead] = []
        for folder in present:
            before = kept.get(folder)
            again = None if before is None else seen_again(folder, before, time.time_ns())
            if again is not None:
                unchanged += 1
                if again is not before:
                    self._database.execute("UPDATE job SET seen = ? WHERE folder = ?", (_seen_json(again), str(folder)))
                continue
            if progress:
                progress(f"reading {folder.name}")
            entry = read_entry(folder, time.time_ns())
            if isinstance(entry, NotRead):
                not_read.append(entry)
                continue
            self._put(entry)
            added, changed = added + (before is None), changed + (before is not None)
        waiting = {one.folder for one in not_read if one.why == "being written"}
        unread = {one.folder for one in not_read} - waiting
        dropped = [folder for folder in kept if (folder not in present or folder in unread) and folder not in waiting]
        self._drop(dropped)
        now = self._kept(roots)
        return UpdateReport(
            folders=tuple(roots),
            missing=missing,
            jobs=len(now),
            zones=self._zones_of(now),
            added=added,
            changed=changed,
            unchanged=unchanged,
            dropped=len(dropped),
            unmeasured=tuple(one.folder for one in not_read if one.why == "unmeasured"),
            being_written=tuple(sorted(waiting)),
            broken=tuple((one.folder, one.reason) for one in not_read if one.why == "broken"),
            why_new=self.why_new,
        )

    def _kept(self, roots: Iterable[Path]) -> dict[Path, Mapping[str, Seen]]:
        """Jobs in or below folders, with what was seen of their files."""
        inside = list(roots)
        rows = self._database.execute("SELECT folder, seen FROM job").fetchall()
        return {
            Path(folder): {name: Seen(*one) for name, one in json.loads(seen).items()}
            for folder, seen in rows
            if _is_below(Path(folder), inside)
        }

    def _zones_of(self, folders: Iterable[Path]) -> int:
        rows = self._database.execute(
            "SELECT job.folder, count(zone.id) FROM job LEFT JOIN zone ON zone.job = job.id GROUP BY job.id"
        )
        wanted = {str(folder) for folder in folders}
        return sum(count for folder, count in rows if folder in wanted)

    def _put(self, entry: JobEntry) -> None:
        """Keep a job in place of what was kept of it: all or nothing."""
        self._database.execute("BEGIN IMMEDIATE")
        try:
            self._database.execute("DELETE FROM job WHERE folder = ?", (str(entry.folder),))
            about = (entry.name, entry.customer, folded(entry.customer), entry.method, _seen_json(entry.seen))
            job = self._database.execute(
                "INSERT INTO job VALUES (NULL, ?, ?, ?, ?, ?, ?)", (str(entry.folder), *about)
            ).lastrowid
            marks = ", ".join("?" * _ZONE_COLUMNS)
            self._database.executemany(
                f"INSERT INTO zone VALUES (NULL, ?, {marks})",  # noqa: S608 - question marks only
                [(job, *_zone_row(entry, zone)) for zone in entry.zones],
            )
            self._database.execute("COMMIT")
        except BaseException:
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")
            raise

    def _drop(self, folders: Iterable[Path]) -> None:
        self._database.executemany("DELETE FROM job WHERE folder = ?", [(str(folder),) for folder in folders])

    def _run(self, work: Callable[[], Answer]) -> Answer:
        """Work with the database; one that turns out to be damaged is made anew, and the work done again."""
        try:
            return work()
        except sqlite3.OperationalError as refused:
            raise _refused(self.path, refused) from refused
        except sqlite3.DatabaseError as damaged:
            self.rebuild()
            self.why_new = f"it was damaged ({damaged})"
        try:
            self._update(list(self.folders), None)
            return work()
        except sqlite3.Error as refused:
            raise _refused(self.path, refused) from refused


def job_folders(root: Path) -> Iterator[Path]:
    """All job folders in or below a folder, in order; hidden folders and links to folders are not followed."""
    for here, below, files in os.walk(root):
        is_job = JOB_FILE in files
        if is_job:
            yield Path(here)
        below[:] = sorted(
            name for name in below if not name.startswith(".") and not (is_job and name in _NOT_LOOKED_IN)
        )


def _refused(path: Path, refused: sqlite3.Error | OSError) -> RecordError:
    return RecordError(
        f"the index {path} cannot be used: {refused}.",
        remedy="Close other programs that use it, see to the free space, or name another file: --index FILE.",
    )


def _is_below(folder: Path, roots: Iterable[Path]) -> bool:
    return any(folder == root or root in folder.parents for root in roots)


def _seen_json(seen: Mapping[str, Seen]) -> str:
    return json.dumps({name: list(asdict(one).values()) for name, one in seen.items()})


_ZONE_COLUMNS: Final = 26  # of the table, without its own id and the job's


def _zone_row(entry: JobEntry, kept: ZoneEntry) -> tuple[object, ...]:
    zone = kept.zone
    told = (entry.name, entry.customer, zone.id, zone.species, zone.treatment, zone.stain, *kept.recipe.values())
    return (
        zone.id,
        zone.stage,
        zone.light,
        zone.species,
        zone.treatment,
        zone.stain,
        *zone.lab,
        None if zone.lab_u95 is None else json.dumps(zone.lab_u95),
        zone.blotch,
        zone.blotch_u95,
        zone.figure,
        zone.area_mm2,
        kept.verdict,
        kept.colour,
        kept.evenness,
        int(kept.is_approved),
        kept.date,
        kept.date_from,
        recipe_json(kept.recipe),
        *(folded(text) for text in (zone.light, zone.species, zone.treatment, zone.stain)),
        folded("\n".join(str(item) for item in told if item is not None)),
    )
