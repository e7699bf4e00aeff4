"""results.json and zones.csv say what was measured, keep their promise, and can be read again."""

import csv
import io
import json
from dataclasses import fields, replace
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_example import example_results

from analyzer import results as result_types
from analyzer.report.csvfile import COLUMNS, zones_csv
from analyzer.report.jsonfile import read_results, results_json, tidy_number
from analyzer.report.schema import NOTES, results_schema, schema_text
from analyzer.results import Results, ZoneResult
from calibration.published import published_file

VALIDATOR = jsonschema.Draft202012Validator(results_schema())


def with_zone(**changes: object) -> Results:
    results = example_results()
    first, *others = results.zones
    return replace(results, zones=(replace(first, **changes), *others))


def as_json(results: Results) -> Any:  # noqa: ANN401 - a JSON tree is of any type
    return json.loads(results_json(results))


def rows(results: Results) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(zones_csv(results).decode("utf-8-sig"))))


def test_the_published_schema_is_the_one_that_the_dataclasses_make() -> None:
    """To mend: python -m analyzer.report.schema > shared/results.schema.json."""
    assert published_file("results.schema.json").read_text(encoding="utf-8") == schema_text()


def test_the_schema_is_a_valid_schema_and_the_example_holds_to_it() -> None:
    jsonschema.Draft202012Validator.check_schema(results_schema())
    VALIDATOR.validate(as_json(example_results()))


def test_every_note_in_the_schema_is_about_a_key_that_exists() -> None:
    keys = {
        f"{name}.{field.name}"
        for name in dir(result_types)
        if name == "Results" or name.endswith("Result")
        for field in fields(getattr(result_types, name))
    }
    assert NOTES.keys() <= keys


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), 2),
        (("zones", 0, "blotch_u95"), 0),
        (("zones", 0, "lab_u95", 1), 0),
        (("zones", 0, "lab"), [38.0, 14.0]),
        (("zones", 0, "masked"), 1.5),
        (("zones", 0, "stage"), "waxed"),
        (("verdicts", 0, "colour"), "nearly"),
        (("verdicts", 0, "de00"), -1),
        (("photos", 0, "mm_per_px"), 0),
        (("photos", 0, "sha256"), "abc"),
        (("differences", 0, "de00"), None),
    ],
)
def test_the_schema_refuses(path: tuple[str | int, ...], value: object) -> None:
    document = as_json(example_results())
    *way, last = path
    place = document
    for step in way:
        place = place[step]
    place[last] = value
    assert not VALIDATOR.is_valid(document)


def test_what_was_written_is_read_again_the_same() -> None:
    results = example_results()
    again = read_results(results_json(results))
    assert again.verdicts == results.verdicts
    assert again.zones == results.zones
    assert results_json(again) == results_json(results)


def test_a_lab_triple_stands_on_one_line() -> None:
    assert '"lab": [37.2, 13.1, 20.4]' in results_json(example_results()).decode()


def test_unknown_is_null_in_json_and_empty_in_the_table() -> None:
    results = with_zone(lab_u95=None, blotch=None, blotch_u95=None, light=None)
    zone, row = as_json(results)["zones"][0], rows(results)[0]
    for key in ("lab_u95", "blotch", "blotch_u95", "light"):
        assert zone[key] is None
    for key in ("L_u95", "a_u95", "b_u95", "blotch", "blotch_u95", "light"):
        assert row[key] == ""


@pytest.mark.parametrize("wrong", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("key", ["blotch", "area_mm2", "masked"])
def test_a_number_that_is_not_finite_is_refused_by_name(key: str, wrong: float) -> None:
    results = with_zone(**{key: wrong})
    with pytest.raises(ValueError, match=rf"zones\[0\]\.{key}"):
        results_json(results)
    with pytest.raises(ValueError, match="must be None"):
        zones_csv(results)


def test_a_number_that_is_not_finite_is_refused_inside_the_job_too() -> None:
    with pytest.raises(ValueError, match=r"job\.target\.tolerance"):
        results_json(replace(example_results(), job={"target": {"tolerance": float("nan")}}))


def test_the_job_file_is_copied_to_the_last_digit() -> None:
    corners = [[1023.4567891, 88.25], [3000.1, 91.0]]
    assert (
        as_json(replace(example_results(), job={"photo": [{"corners": corners}]}))["job"]["photo"][0]["corners"]
        == corners
    )


@given(st.floats(1e-12, 1e12))
def test_rounding_moves_no_number_by_more_than_half_its_sixth_digit_and_none_to_0(value: float) -> None:
    assert tidy_number(value) == pytest.approx(value, rel=5e-6)
    assert tidy_number(value) > 0
    assert tidy_number(-value) == -tidy_number(value)


def test_minus_zero_is_written_as_zero() -> None:
    assert str(tidy_number(-0.0)) == "0.0"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"{", "format 1"),
        (b'{"format": 1}', "tool"),
        (results_json(example_results()).replace(b'"format": 1,\n  "tool"', b'"format": 2,\n  "tool"'), "format 2"),
        (results_json(example_results()).replace(b'"boards": 2', b'"boards": "two"', 1), "boards"),
    ],
)
def test_a_file_that_does_not_hold_is_refused_with_the_key(data: bytes, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        read_results(data)


def test_a_later_version_may_add_keys() -> None:
    data = results_json(example_results()).replace(b'"format": 1,\n  "tool"', b'"format": 1,\n  "added": [],\n  "tool"')
    assert b"added" in data
    assert read_results(data).answer == example_results().answer


def test_the_table_has_one_row_a_zone_with_the_numbers_of_results_json() -> None:
    results = example_results()
    table, zones = rows(results), as_json(results)["zones"]
    assert len(table) == len(zones)
    for row, zone in zip(table, zones, strict=True):
        assert tuple(row) == COLUMNS
        assert [float(row[key]) for key in ("L", "a", "b")] == zone["lab"]
        assert [float(row[key]) for key in ("L_u95", "a_u95", "b_u95")] == zone["lab_u95"]
        for key in ("blotch", "blotch_u95", "patch_mm", "figure", "area_mm2", "masked"):
            assert float(row[key]) == zone[key]
        for key in ("id", "board", "zone", "stage", "light", "species", "treatment"):
            assert row[key] == zone[key]
        assert row["photos"] == "; ".join(zone["photos"])


def test_every_key_of_a_zone_has_its_column() -> None:
    flat = {
        "lab": ["L", "a", "b"],
        "lab_u95": ["L_u95", "a_u95", "b_u95"],
        "bands": ["blotch_4_8_mm", "blotch_8_16_mm", "blotch_16_32_mm", "blotch_32_64_mm"],
        "visible_share": ["visible_darker", "visible_lighter"],
        "drift": ["drift_along", "drift_across"],
    }
    expected = [name for field in fields(ZoneResult) for name in flat.get(field.name, [field.name])]
    assert list(COLUMNS) == expected


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", '=HYPERLINK("x")'])
def test_no_text_becomes_a_formula(text: str) -> None:
    assert rows(with_zone(treatment=text))[0]["treatment"] == f"'{text}"


@pytest.mark.parametrize("text", ['two "quoted", comma', "line\nbreak", "érable", "1/2 lb cut"])
def test_any_other_text_comes_back_as_it_was(text: str) -> None:
    assert rows(with_zone(treatment=text))[0]["treatment"] == text


def test_a_byte_order_mark_is_written_only_where_a_spreadsheet_needs_it() -> None:
    assert zones_csv(example_results()).startswith(b"id,")
    assert zones_csv(with_zone(species="érable")).startswith(b"\xef\xbb\xbfid,")
