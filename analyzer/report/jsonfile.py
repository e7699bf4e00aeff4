"""How does the answer become `results.json`, and how is it read again?"""

import math
from collections.abc import Collection
from typing import Any

import msgspec

from analyzer.results import FORMAT, Results

# Digits of a written number. Six keep every L* to 1e-4 and no small uncertainty can turn into 0 (chosen).
SIGNIFICANT_DIGITS = 6
# Sections that are copied as they are: pixel corners in a job file stay what the finisher wrote.
VERBATIM = ("job",)


def results_json(results: Results) -> bytes:
    """Write the answer as the text of `results.json`.

    Parameters
    ----------
    results : Results
        A whole answer.

    Returns
    -------
    bytes
        UTF-8 JSON, two spaces of indent, lists of plain values on one line, a line break at the end.

    Raises
    ------
    ValueError
        If a number is not finite: unknown is None, never NaN.
    """
    return json_text(msgspec.to_builtins(results), verbatim=VERBATIM)


def json_text(tree: dict[str, Any], *, verbatim: Collection[str] = ()) -> bytes:
    """Write a tree as JSON in UTF-8, its numbers to `SIGNIFICANT_DIGITS`, the sections named in `verbatim` as they are.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    tidied = {key: _checked(value, key, tidy=key not in verbatim) for key, value in tree.items()}
    return (_text(tidied, "") + "\n").encode()


def read_results(data: bytes) -> Results:
    """Read `results.json` again.

    Keys that this version does not know are passed over, so that later ones may add some.

    Raises
    ------
    ValueError
        If it is no results file of this format; the message names the key.
    """
    try:
        results = msgspec.json.decode(data, type=Results)
    except msgspec.DecodeError as wrong:
        raise ValueError(f"not a results file of format {FORMAT}: {wrong}") from wrong
    if results.format != FORMAT:
        raise ValueError(f"results file of format {results.format}; this version reads format {FORMAT}.")
    return results


def tidy_number(value: float) -> float:
    """Round a value to the digits that are written to files.

    Raises
    ------
    ValueError
        If it is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} cannot be written: an unknown value must be None.")
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0  # + 0.0: never "-0.0"


def _checked(value: Any, where: str, *, tidy: bool) -> Any:  # noqa: ANN401 - a JSON tree is of any type
    match value:
        case dict():
            return {key: _checked(item, f"{where}.{key}", tidy=tidy) for key, item in value.items()}
        case list() | tuple():
            return [_checked(item, f"{where}[{k}]", tidy=tidy) for k, item in enumerate(value)]
        case float():
            try:
                tidied = tidy_number(value)
            except ValueError as wrong:
                raise ValueError(f"{where}: {wrong}") from None
            return tidied if tidy else value
        case _:
            return value


def _text(value: Any, indent: str) -> str:  # noqa: ANN401 - a JSON tree is of any type
    """JSON text. The library's own formatter would give each of L, a and b a line of its own."""
    inner = indent + "  "
    match value:
        case dict() if value:
            lines = [f"{inner}{_scalar(str(key))}: {_text(item, inner)}" for key, item in value.items()]
            return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
        case list() if any(isinstance(item, dict) for item in value):
            return "[\n" + ",\n".join(inner + _text(item, inner) for item in value) + f"\n{indent}]"
        case list():
            return "[" + ", ".join(_text(item, inner) for item in value) + "]"
        case _:
            return _scalar(value)


def _scalar(value: Any) -> str:  # noqa: ANN401 - a JSON leaf is of any type
    return msgspec.json.encode(value).decode()
