"""Which photos were there, which could be used, and what was found in each?

results.json has one entry for each board in a photo; a finisher thinks of the photo.
"""

from dataclasses import dataclass

from analyzer.results import FindingResult, PhotoResult, Results

SEVERITIES = ("unusable", "warning", "note")  # the gravest first


@dataclass(frozen=True, slots=True)
class Found:
    """One finding; `boards` are those that it is about, empty when it is about the whole photo."""

    finding: FindingResult
    boards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeenPhoto:
    """One photo file with all boards in it."""

    file: str
    entries: tuple[PhotoResult, ...]  # one a board, in the order of the results

    @property
    def usable(self) -> bool:
        """Whether at least one board in it was measured."""
        return any(entry.usable for entry in self.entries)

    @property
    def boards(self) -> tuple[str, ...]:
        """The boards in it."""
        return tuple(dict.fromkeys(entry.board for entry in self.entries))

    @property
    def findings(self) -> tuple[Found, ...]:
        """What was found, each thing once, the gravest first."""
        boards: dict[FindingResult, list[str]] = {}
        for entry in self.entries:
            for finding in entry.findings:
                boards.setdefault(finding, []).append(entry.board)
        found = [
            Found(finding, () if len(about) == len(self.entries) else tuple(about)) for finding, about in boards.items()
        ]
        return tuple(sorted(found, key=lambda item: SEVERITIES.index(item.finding.severity)))


def seen_photos(results: Results) -> tuple[SeenPhoto, ...]:
    """Gather the photos of a job by file, those that could not be used first, else in the order of the results."""
    entries: dict[str, list[PhotoResult]] = {}
    for entry in results.photos:
        entries.setdefault(entry.file, []).append(entry)
    photos = [SeenPhoto(file, tuple(of_file)) for file, of_file in entries.items()]
    return tuple(sorted(photos, key=lambda photo: photo.usable))
