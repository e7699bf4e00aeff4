"""Where are corrections kept for later jobs, and what stands in their files?

One JSON file for each camera, lens and light in the user's data folder, named after them. A file is written whole
beside its place and then put there in one step: two programs at once cannot mix their texts, the later one counts.
"""

import contextlib
import hashlib
import os
import re
import tempfile
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from analyzer.errors import CorrectionError
from analyzer.jobfile_table import nearest
from analyzer.user_data import DATA_VARIABLE, data_folder
from analyzer.version import tool_version
from calibration.camera_error import TERMS, CameraError
from calibration.stored_correction import MadeBy, Residual, Setup, Source, StoredCorrection
from calibration.tone import ToneFit, unusable
from calibration.tone_curve import PARAMETERS, ToneCurve

FORMAT = 1
KIND: Final = "evenboard correction"
LARGEST_BYTES = 2_000_000  # chosen: a correction is about 30 kB
SIGNIFICANT_DIGITS = 9
NAME_LETTERS = 80  # of a file's name; systems allow 255 bytes

Matrix = list[list[float]]


@dataclass(frozen=True, slots=True)
class KeptCorrection:
    """A file in the folder of corrections."""

    name: str  # what `evenboard corrections show` takes
    path: Path
    stored: StoredCorrection | None  # None: the file cannot be used
    kept: str = ""  # ISO 8601 date
    fault: str = ""  # why not, in words


@dataclass(frozen=True, slots=True)
class _ToneEntry:
    why_not: str
    told_by_the_steps: list[str]
    flare_of_full_scale: tuple[float, float, float]
    gamma: float
    s_curve: float
    s_middle: float
    bends: list[float]
    middle_gray_level: float
    measured_from_level: float
    measured_to_level: float
    parameters: list[str]
    covariance_of_parameters: Matrix


@dataclass(frozen=True, slots=True)
class _ErrorEntry:
    terms: list[str]  # of a quadratic in CIELAB (calibration/camera_error.py)
    modes_of_L_a_b: list[Matrix]  # by term, then L*, a*, b*, then mode
    unseen_covariance_of_L_a_b: Matrix
    widening: float


@dataclass(frozen=True, slots=True)
class _CorrectionFile:
    """The JSON, key for key."""

    kind: Literal["evenboard correction"]
    format: int
    kept: str
    by: str
    made_for: Setup
    photo: Source
    made_by: MadeBy
    residual: Residual
    profile_to_XYZ_D50: Matrix
    ln_white_red_and_blue_over_green: tuple[float, float]
    tone_curve: _ToneEntry
    balanced_RGB_to_XYZ_D50: Matrix | None
    error_left_in_CIELAB: _ErrorEntry | None


def corrections_folder() -> Path:
    """Where corrections are kept: `EVENBOARD_DATA`, else the system's folder for a user's data; need not be there."""
    return data_folder() / "corrections"


def kept_corrections() -> tuple[KeptCorrection, ...]:
    """All files in the folder of corrections, by name; those that cannot be used too, with the reason.

    Raises
    ------
    CorrectionError
        If the folder cannot be read.
    """
    folder = corrections_folder()
    try:
        paths = sorted(path for path in folder.glob("*.json") if not path.name.startswith("."))
    except OSError as refused:
        raise _unreadable(folder, refused) from refused
    return tuple(_kept(path) for path in paths)


def find_correction(name: str) -> KeptCorrection:
    """Find one by its name.

    Raises
    ------
    CorrectionError
        If there is none.
    """
    corrections = {correction.name: correction for correction in kept_corrections()}
    if name not in corrections:
        near = nearest(name, corrections)
        hint = f"Did you mean {near}?" if near else "See which there are: evenboard corrections."
        raise CorrectionError(f"no correction is called {name} in {corrections_folder()}.", remedy=hint)
    return corrections[name]


def keep_correction(stored: StoredCorrection) -> KeptCorrection:
    """Keep a correction, in place of an earlier one for the same camera, lens and light.

    Raises
    ------
    CorrectionError
        If the folder cannot be made or written.
    """
    folder = corrections_folder()
    path = folder / f"{_name_of(stored.setup)}.json"
    kept = datetime.now(tz=UTC).date().isoformat()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(path, correction_json(stored, kept))
    except OSError as refused:
        reason = refused.strerror or str(refused)
        raise CorrectionError(
            f"the correction cannot be kept in {folder}: {reason}.",
            remedy=f"Name a folder that can be written: {DATA_VARIABLE}=FOLDER.",
        ) from refused
    return KeptCorrection(path.stem, path, stored, kept)


def remove_correction(name: str) -> KeptCorrection:
    """Remove one by its name; what it was is given back.

    Raises
    ------
    CorrectionError
        If there is none, or it cannot be removed.
    """
    correction = find_correction(name)
    try:
        correction.path.unlink(missing_ok=True)  # somebody else may have been quicker
    except OSError as refused:
        raise CorrectionError(
            f"{correction.path} cannot be removed: {refused.strerror or refused}.", remedy="See to its permissions."
        ) from refused
    return correction


def correction_json(stored: StoredCorrection, kept: str) -> bytes:
    """Write a correction as the text of its file; `kept` is the date, ISO 8601."""
    curve, error = stored.tone.curve, stored.error
    content = _CorrectionFile(
        kind=KIND,
        format=FORMAT,
        kept=kept,
        by=f"evenboard {tool_version()}",
        made_for=stored.setup,
        photo=stored.source,
        made_by=stored.made_by,
        residual=stored.residual,
        profile_to_XYZ_D50=stored.profile_to_XYZ.tolist(),
        ln_white_red_and_blue_over_green=stored.white_ratios,
        tone_curve=_ToneEntry(
            why_not=stored.tone.why_not,
            told_by_the_steps=list(stored.tone.told),
            flare_of_full_scale=curve.flare,
            gamma=curve.gamma,
            s_curve=curve.s_curve,
            s_middle=curve.s_middle,
            bends=list(curve.bends),
            middle_gray_level=curve.mid_level,
            measured_from_level=curve.darkest,
            measured_to_level=curve.lightest,
            parameters=list(PARAMETERS),
            covariance_of_parameters=stored.tone.covariance.tolist(),
        ),
        balanced_RGB_to_XYZ_D50=None if stored.primaries is None else stored.primaries.tolist(),
        error_left_in_CIELAB=None
        if error is None
        else _ErrorEntry(list(TERMS), error.modes.tolist(), error.unseen.tolist(), error.widening),
    )
    return (_text(msgspec.to_builtins(content), "") + "\n").encode()


def read_correction(text: bytes) -> tuple[StoredCorrection, str]:
    """Read the text of a file again.

    Returns
    -------
    StoredCorrection, str
        The correction, and the date on which it was kept.

    Raises
    ------
    ValueError
        If it is none of this format; the message says what does not hold.
    """
    try:
        head = msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as damaged:
        raise ValueError(f"it is damaged ({damaged})") from damaged
    if not isinstance(head, dict) or head.get("kind") != KIND:
        raise ValueError("it is no correction")
    version = head.get("format")
    if isinstance(version, int) and version > FORMAT:
        raise ValueError(f"it is of format {version}, which a newer Evenboard wrote; this one reads format {FORMAT}")
    try:
        content = msgspec.convert(head, _CorrectionFile)
        return _stored(content), content.kept
    except (msgspec.ValidationError, ValueError) as wrong:
        raise ValueError(f"it is damaged ({wrong})") from wrong


def _stored(content: _CorrectionFile) -> StoredCorrection:
    entry, error = content.tone_curve, content.error_left_in_CIELAB
    if content.format != FORMAT or tuple(entry.parameters) != PARAMETERS:
        raise ValueError(f"format {content.format} with other parameters than this version's")
    curve = ToneCurve(
        entry.flare_of_full_scale,
        entry.gamma,
        entry.s_curve,
        entry.s_middle,
        tuple(entry.bends),
        mid_level=entry.middle_gray_level,
        darkest=entry.measured_from_level,
        lightest=entry.measured_to_level,
    )
    covariance, told = _array(entry.covariance_of_parameters), tuple(entry.told_by_the_steps)
    nothing = unusable(entry.why_not)
    primaries = content.balanced_RGB_to_XYZ_D50
    return StoredCorrection(
        content.made_for,
        content.photo,
        content.made_by,
        content.residual,
        _array(content.profile_to_XYZ_D50),
        ToneFit(
            curve,
            entry.why_not,
            covariance,
            told,
            nothing.residual_relative,
            nothing.residual_L,
            nothing.used,
            nothing.white_RGB,
            nothing.u_white_relative,
        ),
        content.ln_white_red_and_blue_over_green,
        None if primaries is None else _array(primaries),
        None
        if error is None
        else CameraError(_array(error.modes_of_L_a_b), _array(error.unseen_covariance_of_L_a_b), error.widening),
    )


def _array(rows: Iterable[Any]) -> NDArray[np.float64]:
    return np.array(list(rows), dtype=np.float64)  # rows of unequal length: ValueError


def _kept(path: Path) -> KeptCorrection:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            return KeptCorrection(path.stem, path, None, fault="it is no correction: the file is too large")
        stored, kept = read_correction(path.read_bytes())
    except OSError as refused:
        return KeptCorrection(path.stem, path, None, fault=f"it cannot be read ({refused.strerror or refused})")
    except ValueError as wrong:
        return KeptCorrection(path.stem, path, None, fault=str(wrong))
    return KeptCorrection(path.stem, path, stored, kept)


def _unreadable(folder: Path, refused: OSError) -> CorrectionError:
    return CorrectionError(
        f"the folder of corrections, {folder}, cannot be read: {refused.strerror or refused}.",
        remedy=f"See to its permissions, or name another one: {DATA_VARIABLE}=FOLDER.",
    )


def _name_of(setup: Setup) -> str:
    """A file's name that people can read, and that no other camera, lens, light and profile has."""
    parts = [setup.camera, setup.lens, setup.light]
    plain = unicodedata.normalize("NFKD", " ".join(part for part in parts if part)).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", plain.lower())[:NAME_LETTERS].strip("-")
    told_apart = hashlib.sha256(repr((*parts, setup.profile)).encode()).hexdigest()[:4]
    return f"{words}-{told_apart}" if words else told_apart


def _write(path: Path, content: bytes) -> None:
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(draft).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(draft).unlink()
        raise


def _text(value: Any, indent: str) -> str:  # noqa: ANN401 - a JSON tree is of any type
    """JSON text, rows of numbers on one line."""
    inner = indent + "  "
    match value:
        case dict():
            lines = [f"{inner}{_leaf(key)}: {_text(item, inner)}" for key, item in value.items()]
            return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
        case [list(), *_]:
            return "[\n" + ",\n".join(inner + _text(item, inner) for item in value) + f"\n{indent}]"
        case list() | tuple():
            return "[" + ", ".join(_text(item, inner) for item in value) + "]"
        case float():
            return _leaf(float(f"{value:.{SIGNIFICANT_DIGITS}g}"))
        case _:
            return _leaf(value)


def _leaf(value: object) -> str:
    return msgspec.json.encode(value).decode()
