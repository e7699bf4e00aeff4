"""The published values: every file and every row says where it comes from, and the table of files is complete."""

import csv
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

SHARED = Path(__file__).parent.parent / "shared"
FILES = sorted(path for path in SHARED.rglob("*") if path.is_file() and path.name != "README.md")
TEMPLATES = ("job_template.toml",)  # an example to be changed, no values


def table_of_files() -> dict[str, list[str]]:
    """File name to the other cells of its row in shared/README.md."""
    rows = re.findall(r"^\| `(.+?)` \|(.+)\|$", (SHARED / "README.md").read_text("utf-8"), re.MULTILINE)
    return {name: [cell.strip() for cell in rest.split(" | ")] for name, rest in rows}


def test_the_table_names_every_file_what_it_holds_its_source_and_its_readers() -> None:
    table = table_of_files()
    assert sorted(table) == [path.relative_to(SHARED).as_posix() for path in FILES]
    for name, cells in table.items():
        assert len(cells) == 3, name
        assert all(len(cell) > 5 for cell in cells), name


@pytest.mark.parametrize("path", [path for path in FILES if path.suffix == ".csv"], ids=lambda path: path.name)
def test_every_row_of_a_csv_file_has_a_source(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert rows
    assert any("Source: " in line for line in head) or all(row["source"] for row in rows)


def tables(value: object) -> Iterator[dict[str, Any]]:
    """Every table of every array of tables, however deep."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from tables(inner)
    elif isinstance(value, list):
        for item in value:
            if isinstance(item, dict):
                yield item
            yield from tables(item)


@pytest.mark.parametrize(
    "path",
    [path for path in FILES if path.suffix == ".toml" and path.name not in TEMPLATES],
    ids=lambda path: path.name,
)
def test_every_row_of_a_toml_file_has_its_sources(path: Path) -> None:
    rows = list(tables(tomllib.loads(path.read_text(encoding="utf-8"))))
    assert rows
    for row in rows:
        assert row["sources"], row
        assert all(isinstance(source, str) and len(source) > 5 for source in row["sources"]), row


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_is_plain_text_with_unix_line_ends(path: Path) -> None:
    content = path.read_bytes()
    assert b"\r" not in content
    assert content.endswith(b"\n")
    assert not content.startswith(b"\xef\xbb\xbf")
    content.decode("utf-8")
