"""What does a job folder's `job.toml` say, and does it hold?

Every key is checked and all problems are told together, each with its key, its line, what was found and what was
expected. A key that is not known is a problem too: a misspelled one would otherwise be left out in silence.
"""

import re
import tomllib
from pathlib import Path
from typing import Any, Final, Literal

from analyzer.errors import JobFileError, Problem
from analyzer.job import DEFAULT_BLOTCH_LIMIT, DEFAULT_TOLERANCE, EvennessWish, Job, PhotoEntry, Target
from analyzer.jobfile_approved import read_approved
from analyzer.jobfile_boards import BOARD_KEYS, ZONE_KEYS, Declared, read_boards
from analyzer.jobfile_correction import CORRECTION_KEYS, read_correction_wish
from analyzer.jobfile_photos import PHOTO_KEYS, read_photos
from analyzer.jobfile_plan import CANDIDATE_KEYS, PART_KEYS, PLAN_KEYS, read_plan
from analyzer.jobfile_reference import LAB, LAB_WORDS, REFERENCE_KEYS, read_reference
from analyzer.jobfile_table import Interval, Problems, Table, nearest, shorten, show
from analyzer.results import STAGES
from analyzer.toml_lines import open_statement

JOB_FILE = "job.toml"
FORMAT = 1

JOB_KEYS = ("name", "customer", "units")
TARGET_KEYS = ("lab", "zone", "between", "approved", "stage", "tolerance", "lights")
EVENNESS_KEYS = ("wish", "limit", "like")
TABLES: Final = {
    "[job]": JOB_KEYS,
    "[target]": TARGET_KEYS,
    "[evenness]": EVENNESS_KEYS,
    "[reference]": REFERENCE_KEYS,
    "[correction]": CORRECTION_KEYS,
    "[[board]]": BOARD_KEYS,
    "[[board.zone]]": ZONE_KEYS,
    "[[photo]]": PHOTO_KEYS,
    "[plan]": PLAN_KEYS,
    "[[plan.candidate]]": CANDIDATE_KEYS,
    "[[part]]": PART_KEYS,
}
TOP_KEYS = ("format", "job", "target", "evenness", "reference", "correction", "board", "photo", "plan", "part")

_LARGEST_BYTES = 1_000_000  # chosen: a job of 100 boards is about 50 kB; this is some other file
_UP_TO_100 = Interval(above=0, most=100)  # of lightness or colour difference
_PLACE_IN_FILE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")  # tomllib, Python 3.11 to 3.14


def read_job(folder: Path, *, while_shooting: bool = False, to_plan: bool = False) -> Job:
    """Read and check the job of a folder.

    Parameters
    ----------
    folder : Path
        The job folder, which holds `job.toml`.
    while_shooting : bool
        Photos that the job names may not have been taken yet. To measure, all must be there.
    to_plan : bool
        The job is to be planned: it must ask for that in [plan] and [[part]], and may have neither boards nor photos
        nor a target yet.

    Returns
    -------
    Job
        All lengths in mm, whatever the file's units.

    Raises
    ------
    JobFileError
        If the job file is missing, cannot be read, or does not hold. Carries every problem.
    """
    folder = Path(folder)
    path = folder / JOB_FILE
    return job_of_text(_text(folder, path), folder, while_shooting=while_shooting, to_plan=to_plan)


def job_of_text(text: str, folder: Path, *, while_shooting: bool = False, to_plan: bool = False) -> Job:
    """Read and check the text of a job file, as `read_job` does: what it would say if it stood in the folder."""
    path = folder / JOB_FILE
    content = _parsed(path, text)
    top = Table(content, (), Problems(text))
    _check_format(path, top)
    job = _job(folder, top, may_be_missing=while_shooting or to_plan, to_plan=to_plan)
    problems = top.problems.by_line()
    if problems or job is None:
        raise JobFileError(path, problems)
    return job


def _text(folder: Path, path: Path) -> str:
    """Read the text of the job file, with or without a byte-order mark."""
    try:
        if not folder.exists():
            raise _refused(path, f"no folder {folder}", "a job folder", "Start one: evenboard new DIR.")
        if not folder.is_dir():
            raise _refused(path, f"a file, {folder}", "the folder that holds job.toml")
        if not path.is_file():
            raise _refused(path, "no job.toml in this folder", "a job folder", "Start one: evenboard new DIR.")
        if path.stat().st_size > _LARGEST_BYTES:
            found = f"{path.stat().st_size / 1e6:.1f} MB"
            raise _refused(path, found, f"a text file of at most {_LARGEST_BYTES / 1e6:g} MB")
        raw = path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise _refused(path, f"a file that cannot be read: {reason}", "a readable job.toml") from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        hint = "Save the file again with the encoding UTF-8."
        found = f"the byte 0x{raw[error.start]:02X}, which is not UTF-8"
        raise _refused(path, found, "plain text in UTF-8", hint, line) from error


def _parsed(path: Path, text: str) -> dict[str, Any]:
    """Parse TOML; a syntax error stops everything, since nothing after it can be trusted."""
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise _refused(path, "brackets nested hundreds deep", "lists of at most three levels") from error
    except ValueError as error:
        where = _PLACE_IN_FILE.search(str(error))
        what = _PLACE_IN_FILE.sub("", str(error))
        begun = open_statement(text)
        noticed = int(where[1]) if where and where[1] else begun
        line = min(begun, noticed) if begun and noticed else noticed  # an open bracket is noticed a line late
        column = f" at column {where[2]}" if where and where[2] and line == noticed else ""
        written = text.split("\n")[line - 1].strip() if line else ""
        shown = f": {shorten(written)}" if written else ""
        found = f"something that is not TOML{column} ({what}){shown}"
        expected = 'lines such as key = 12.5, key = "text" or [table]'
        raise _refused(path, found, expected, _syntax_hint(what, written), line) from error


def _syntax_hint(what: str, line: str) -> str:
    """Say what a person most likely did."""
    if "“" in line or "”" in line or "„" in line:
        return 'Use straight quotes, ".'
    if "\\" in line:
        return "Write paths with forward slashes: photos/a.jpg."
    if re.search(r"=\s*[+-]?\d+,\d+\s*(#.*)?$", line):
        return "Write decimals with a point: 2.5."
    if "twice" in what or "overwrite" in what.lower():
        return "It stands here twice. Each board, zone and photo starts with [[board]], [[board.zone]] or [[photo]]."
    if re.search(r"=\s*[^\W\d]", line):
        return "Put text in quotes."
    return ""


def _refused(path: Path, found: str, expected: str, hint: str = "", line: int | None = None) -> JobFileError:
    """Make the error of a file that cannot be checked key by key."""
    return JobFileError(path, (Problem("", line, found, expected, hint=hint),))


def _check_format(path: Path, top: Table) -> None:
    """Check the version of the job file first: in a newer format the other keys may mean something else."""
    version = top.content.get("format")
    if isinstance(version, int) and version > FORMAT:
        hint = "This job was written for a newer Evenboard: install that."
        top.wrong("format", f"{FORMAT}", hint)
        raise JobFileError(path, top.problems.by_line())
    if type(version) is not int or version != FORMAT:  # true and 1.0 equal 1, but are no version
        top.wrong("format", f"format = {FORMAT} at the top of the file")


def _job(folder: Path, top: Table, *, may_be_missing: bool, to_plan: bool) -> Job | None:
    """Read all tables. None, or a job that is not whole, only when problems were noted."""
    top.unknown(TOP_KEYS, TABLES)
    declared = Declared.of(top.content)
    name, customer, units = _about(top)
    boards = read_boards(top, units, TABLES) if "board" in top.content or not to_plan else ()
    target = _target(top, folder, declared, required=not to_plan)
    evenness = _evenness(top, declared, target)
    reference = read_reference(top, folder, TABLES)
    correction = read_correction_wish(top, folder, reference, TABLES)
    photos: tuple[PhotoEntry, ...] = ()
    if "photo" in top.content or not to_plan:
        photos = read_photos(top, folder, declared, TABLES, may_be_missing=may_be_missing)
    plan, parts = read_plan(top, units, TABLES, required=to_plan)
    if name is None or units is None or target is None or evenness is None or reference is None:
        return None
    return Job(
        folder=folder,
        name=name,
        units=units,
        target=target,
        evenness=evenness,
        reference=reference,
        boards=boards,
        photos=photos,
        customer=customer,
        correction=correction,
        plan=plan,
        parts=parts,
        as_read=top.content,
    )


def _about(top: Table) -> tuple[str | None, str | None, Literal["mm", "in"] | None]:
    """Read [job]: name, customer and units."""
    table = top.table("job", required=True)
    if table is None:
        return None, None, None
    table.unknown(JOB_KEYS, TABLES)
    known: tuple[Literal["mm", "in"], ...] = ("mm", "in")
    units = table.choice("units", known) if "units" in table.content else "mm"
    return table.text("name", required=True), table.text("customer"), units


def _target(top: Table, folder: Path, declared: Declared, *, required: bool) -> Target | None:
    """Read [target]: one of a value, a zone, range boards and an approval; not required, it may be agreed on later."""
    if not required and "target" not in top.content:
        return Target()
    table = top.table("target", required=True)
    if table is None:
        return None
    table.unknown(TARGET_KEYS, TABLES)
    given = [key for key in ("lab", "zone", "between", "approved") if key in table.content]
    if not given:
        expected = "exactly one of lab, zone and between, or approved"
        table.problems.add(table.path, "", "a target without a colour", expected)
    for key in given[1:]:
        table.wrong(key, f"exactly one of lab, zone and between, or approved; {given[0]} is there already")
    lab = table.numbers("lab", LAB_WORDS, LAB)
    tolerance = table.number("tolerance", _UP_TO_100, "a colour difference above 0, up to 100")
    approved = read_approved(table, folder)
    if approved is not None:
        return Target(
            tolerance=tolerance or approved.limits.tolerance,
            lab=approved.zone.lab,
            stage=approved.zone.stage,
            lights=_lights(table, top),
            approved=approved,
        )
    return Target(
        tolerance=tolerance or DEFAULT_TOLERANCE,
        lab=(lab[0], lab[1], lab[2]) if lab else None,
        zone=_zone(table, "zone", declared),
        between=_between(table, declared),
        stage=table.choice("stage", STAGES),
        lights=_lights(table, top),
    )


def _lights(table: Table, top: Table) -> tuple[str, ...]:
    """Read the lights that decide: names that photos of this job carry."""
    if "lights" not in table.content:
        return ()
    lights = table.content["lights"]
    if not isinstance(lights, list) or not lights or not all(isinstance(light, str) and light for light in lights):
        table.wrong("lights", 'a list of names of light: ["shop", "window"]')
        return ()
    photos = top.content.get("photo")
    named = {str(photo.get("light")) for photo in photos if isinstance(photo, dict)} if isinstance(photos, list) else ()
    for light in lights:
        if light not in named:
            near = nearest(light, sorted(named))
            hint = f'Did you mean "{near}"?' if near else f'Give it to the photos taken in it: light = "{light}".'
            table.wrong("lights", "lights that photos of this job were taken in", hint, found=show(light))
    return tuple(dict.fromkeys(lights))


def _between(table: Table, declared: Declared) -> tuple[str, ...]:
    """Read the range boards: two or three different zones of this job, light to dark."""
    if "between" not in table.content:
        return ()
    paths = table.content["between"]
    if not isinstance(paths, list) or len(paths) not in (2, 3) or len({str(path) for path in paths}) < len(paths):
        table.wrong("between", 'two or three different zones, light to dark: ["S/light", "S/dark"]')
        return ()
    for path in paths:
        declared.check_zone(table, "between", path)
    return tuple(str(path) for path in paths)


def _zone(table: Table, key: str, declared: Declared) -> str | None:
    """Read a zone of this job, "board/zone"."""
    if key not in table.content:
        return None
    path = table.content[key]
    declared.check_zone(table, key, path)
    return str(path)


def _evenness(top: Table, declared: Declared, target: Target | None) -> EvennessWish | None:
    """Read [evenness]; left out, the surface shall be as was approved, or even within the tool's own limit.

    Range boards, where the target has some, set the limit then.
    """
    table = top.table("evenness")
    if table is None and "evenness" not in top.content and target is not None and target.approved is not None:
        agreed = target.approved.limits
        return EvennessWish(agreed.wish, agreed.blotch or DEFAULT_BLOTCH_LIMIT)
    if table is None:
        return None if "evenness" in top.content else EvennessWish()
    table.unknown(EVENNESS_KEYS, TABLES)
    if "like" in table.content and "limit" in table.content:
        table.wrong("like", "either limit or like, not both")
    limit = table.number("limit", _UP_TO_100, "a blotch index above 0, up to 100")
    like = _zone(table, "like", declared)
    wishes: tuple[Literal["even", "lively"], ...] = ("even", "lively")
    return EvennessWish(
        wish=table.choice("wish", wishes) or "even",
        limit=None if like else limit or DEFAULT_BLOTCH_LIMIT,
        like=like,
    )
