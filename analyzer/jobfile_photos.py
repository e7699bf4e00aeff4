"""What does job.toml say about the photos?"""

from collections.abc import Collection, Mapping
from pathlib import Path, PurePosixPath

from analyzer.job import PhotoEntry, Point, Quad
from analyzer.jobfile_boards import Declared
from analyzer.jobfile_table import Table, as_number, nearest, show
from analyzer.results import STAGES

PHOTO_KEYS = ("file", "board", "boards", "stage", "light", "corners", "card", "flat", "exposure_pair")

_QUAD_WORDS = "four points in pixels, [[x, y], [x, y], [x, y], [x, y]]: top-left, top-right, bottom-right, bottom-left"
_LARGEST_PX = 1e6  # chosen: no photo is a million pixels wide


def read_photos(
    top: Table,
    folder: Path,
    declared: Declared,
    tables: Mapping[str, Collection[str]],
    *,
    may_be_missing: bool = False,
) -> tuple[PhotoEntry, ...]:
    """Read every [[photo]], one entry for each board in it. Photos with problems are left out, after noting them.

    Photos `may_be_missing` while they are being taken; only their files may.
    """
    entries: list[tuple[Table, PhotoEntry]] = []
    listed = top.content.get("photo")
    named_files = (
        {str(item.get("file")) for item in listed if isinstance(item, dict)} if isinstance(listed, list) else set()
    )
    for table in top.tables("photo"):
        file = table.content.get("file")
        named = table.named(file) if isinstance(file, str) and file.isprintable() else table
        named.unknown(PHOTO_KEYS, tables)
        entries += [
            (named, entry) for entry in _entries(named, folder, declared, named_files, may_be_missing=may_be_missing)
        ]
    _check_shared(entries, folder)
    return tuple(entry for _, entry in entries)


def existing_file(
    table: Table,
    key: str,
    folder: Path,
    *,
    required: bool = False,
    named: Collection[str] = (),
    may_be_missing: bool = False,
) -> str | None:
    """Read the path of a file that lies in the job folder; None, after noting why, if there is none.

    `named` are the files that the job names already, which a misspelled path was not meant to be. A file that
    `may_be_missing` needs only a path inside the folder.
    """
    name = table.text(key, "the path of a file in the job folder, in quotes", required=required)
    if name is None:
        return None
    path = PurePosixPath(name)
    if path.is_absolute() or Path(name).is_absolute() or ".." in path.parts:
        table.wrong(key, "a file inside the job folder, so that the folder can be kept and sent as a whole")
        return None
    try:
        is_there = (folder / name).is_file()
    except OSError:  # for instance a name longer than the disk allows
        is_there = False
    if not is_there and not may_be_missing:
        hint = _near_file(folder, name, named)
        table.wrong(key, f"a file in {folder}", hint, found=f"{show(name)}, which is not there")
        return None
    return name


def _near_file(folder: Path, name: str, named: Collection[str]) -> str:
    """Suggest the file that a path was probably meant to be."""
    if "\\" in name:
        return "Write paths with forward slashes: photos/a.jpg."
    path = PurePosixPath(name)
    try:
        names = sorted(file.name for file in (folder / path.parent).iterdir() if file.is_file())
    except OSError:
        return ""
    free = [path.parent / other for other in names if str(path.parent / other) not in named]
    by_stem = {other.stem: other for other in free}  # a.jpeg for a.jpg is the commonest slip
    near = nearest(path.stem, by_stem)
    return f'Did you mean "{by_stem[near]}"?' if near else ""


def _entries(
    table: Table, folder: Path, declared: Declared, named: Collection[str], *, may_be_missing: bool
) -> list[PhotoEntry]:
    """Read one [[photo]]."""
    file = existing_file(table, "file", folder, required=True, named=named, may_be_missing=may_be_missing)
    stage = table.choice("stage", STAGES, required=True)
    light = table.text("light")
    flat, pair = (
        existing_file(table, key, folder, named=named, may_be_missing=may_be_missing)
        for key in ("flat", "exposure_pair")
    )
    card = read_quad(table, "card", table.content["card"]) if "card" in table.content else None
    boards = _boards(table, declared)
    corners = _corners(table, len(boards))
    if file is None or stage is None or len(corners) != len(boards):
        return []
    return [
        PhotoEntry(file, board, stage, light, corners=quad, card=card, flat=flat, exposure_pair=pair)
        for board, quad in zip(boards, corners, strict=True)
    ]


def _boards(table: Table, declared: Declared) -> list[str]:
    """Read which boards lie in a photo: `board`, or `boards` when there are several."""
    if ("board" in table.content) == ("boards" in table.content):
        key = "boards" if "boards" in table.content else "board"
        table.wrong(key, 'either board = "A", or boards = ["A", "S"] when several lie in one photo')
        return []
    if "board" in table.content:
        declared.check_board(table, "board", table.content["board"])
        return [str(table.content["board"])]
    boards = table.content["boards"]
    if not isinstance(boards, list) or not boards or len({str(board) for board in boards}) < len(boards):
        table.wrong("boards", 'a list of different board ids: ["A", "S"]')
        return []
    for board in boards:
        declared.check_board(table, "boards", board)
    return [str(board) for board in boards]


def _corners(table: Table, count: int) -> list[Quad | None]:
    """Read the corners of each board: one quad for `board`, a list of quads, in the same order, for `boards`.

    An empty list stands for a board that is to be looked for.
    """
    if "corners" not in table.content or not count:
        return [None] * count
    value = table.content["corners"]
    if "boards" not in table.content:
        return [read_quad(table, "corners", value)]
    if not isinstance(value, list) or len(value) != count:
        each = f"each {_QUAD_WORDS}; [] for a board that is to be looked for"
        table.wrong("corners", f"a list of {count}, one for each of the boards and in their order; {each}")
        return []
    return [None if quad == [] else read_quad(table, "corners", quad) for quad in value]


def read_quad(table: Table, key: str, value: object) -> Quad | None:
    """Read four corners that go round once, as seen in the photo from top-left by top-right."""
    points = [_point(item) for item in value] if isinstance(value, list) else []
    known = [point for point in points if point is not None]
    if len(points) != 4 or len(known) != 4:
        table.wrong(key, _QUAD_WORDS, found=show(value))
        return None
    turns = [_turn(known[i], known[(i + 1) % 4], known[(i + 2) % 4]) for i in range(4)]
    if all(turn > 0 for turn in turns):
        return known[0], known[1], known[2], known[3]
    hint = "They run the wrong way round." if all(turn < 0 for turn in turns) else "Joined in this order they cross."
    table.wrong(key, f"{_QUAD_WORDS}, going round once", hint, found=show(value))
    return None


def _point(value: object) -> Point | None:
    """Read one point, pixel x and y."""
    if not isinstance(value, list) or len(value) != 2:
        return None
    x, y = as_number(value[0]), as_number(value[1])
    if x is None or y is None or max(abs(x), abs(y)) > _LARGEST_PX:
        return None
    return x, y


def _turn(a: Point, b: Point, c: Point) -> float:
    """Cross product of ab and bc: above 0 where the path turns right, as seen with y running down."""
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def _check_shared(entries: list[tuple[Table, PhotoEntry]], folder: Path) -> None:
    """Check what entries of the same photo say together."""
    first: dict[object, PhotoEntry] = {}
    seen: set[tuple[object, str]] = set()
    for table, entry in entries:
        photo = _identity(folder / entry.file)
        earlier = first.setdefault(photo, entry)
        if (photo, entry.board) in seen:  # counted as a repeat, it would make the result look surer than it is
            expected = "each photo of a board once; repeats are different photos"
            table.wrong("file", expected, found=f'board "{entry.board}" in this photo a second time')
        seen.add((photo, entry.board))
        if entry.light != earlier.light:
            expected = f"the light that the same photo has above ({show(earlier.light) if earlier.light else 'none'})"
            table.wrong("light", expected)
        if entry.flat and _identity(folder / entry.flat) == photo:
            table.wrong("flat", "another photo, of a plain sheet", found="the photo itself")
        if entry.exposure_pair and _identity(folder / entry.exposure_pair) == photo:
            table.wrong("exposure_pair", "another photo of the same scene, darker or lighter", found="the photo itself")


def _identity(path: Path) -> object:
    """What tells one file from another, however its path is spelled; of one that is not there yet, its path."""
    try:
        status = path.stat()
    except OSError:
        return path.resolve()
    return status.st_dev, status.st_ino
