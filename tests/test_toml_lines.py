"""Where a key of a TOML text stands, against places marked in the text itself."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.toml_lines import KeyPath, LineNumbers, open_statement

MARKED = '''\
format = 1                 # @ format
# [[board]] in a comment opens nothing
[job]                      # @ job
name = "Hall # bench"      # @ job name
"quoted.key" = """         # @ job quoted.key
[target]
name = "not a key: still inside the text"
"""
size.width = 3             # @ job size width
[[board]]                  # @ board 0
id = "A"                   # @ board 0 id
  [[board.zone]]           # @ board 0 zone 0
  span = [                 # @ board 0 zone 0 span
    0, # ] in a comment ends nothing
    100,
  ]
  across = \'\'\'[            # @ board 0 zone 0 across
  ]\'\'\'
  [[board.zone]]           # @ board 0 zone 1
  made = {by = "hand", of = {wood = "ash"}} # @ board 0 zone 1 made of wood
[[board]]                  # @ board 1
  [[board.zone]]           # @ board 1 zone 0
  id = "e"                 # @ board 1 zone 0 id
  [board.zone.more]        # @ board 1 zone 0 more
  x = 1                    # @ board 1 zone 0 more x
["odd name"."and.another"] # @ odd_name and.another
'''


def marked_keys() -> list[tuple[tuple[str | int, ...], int]]:
    """The paths that the text above is marked with, and their lines."""
    marks = [(line.split("# @ ")[1], number) for number, line in enumerate(MARKED.splitlines(), 1) if "# @ " in line]
    return [(tuple(_part(word) for word in mark.split()), number) for mark, number in marks]


def _part(word: str) -> str | int:
    return int(word) if word.isdigit() else word.replace("_", " ")


@pytest.mark.parametrize(("path", "line"), marked_keys())
def test_a_key_stands_where_it_is_marked(path: KeyPath, line: int) -> None:
    value = tomllib.loads(MARKED)
    for part in path:  # the mark names a key that the parser knows
        value = value[part]
    assert LineNumbers(MARKED).line(path) == line


@pytest.mark.parametrize("newline", ["\r\n", "\n"])
def test_line_ends_of_either_system_count_alike(newline: str) -> None:
    lines = LineNumbers(MARKED.replace("\n", newline))
    assert [lines.line(path) for path, _ in marked_keys()] == [line for _, line in marked_keys()]


def test_a_missing_key_is_told_at_the_table_it_belongs_to() -> None:
    lines = LineNumbers(MARKED)
    assert lines.line(("board", 0, "zone", 1, "span")) == lines.line(("board", 0, "zone", 1))
    assert lines.line(("nowhere", "at", "all")) is None


STATEMENTS = st.lists(
    st.sampled_from(["key", "table", "array", "sub", "blank", "comment", "long", "text"]), max_size=25
)


@given(STATEMENTS)
def test_every_key_of_any_file_stands_on_the_line_that_spells_it(kinds: list[str]) -> None:
    """Each key gets a name of its own, so the text itself tells its line."""
    shapes = {
        "key": "k{n} = {n}",
        "table": "[t{n}]",
        "array": "[[a]]\nk{n} = 0",
        "sub": "[[a.b]]\nk{n} = 0",
        "blank": "",
        "comment": "# [[a]] k = '''",
        "long": "k{n} = [\n  [1, 2], # ]\n  [3, 4],\n]",
        "text": 'k{n} = """\n[[a]]\n]\n"""',
    }
    statements = [shapes[kind].format(n=n) for n, kind in enumerate(kinds)]
    text = "\n".join(["[[a]]", *statements, ""])  # [[a.b]] needs an [[a]] before it
    lines = LineNumbers(text)
    for path in leaf_paths(tomllib.loads(text)):
        line = lines.line(path)
        assert line is not None
        assert text.splitlines()[line - 1].startswith(f"{path[-1]} =")


def leaf_paths(content: dict[str, Any] | list[Any], path: KeyPath = ()) -> Iterator[KeyPath]:
    """Paths of all values that are no tables."""
    for key, value in content.items() if isinstance(content, dict) else enumerate(content):
        if isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
            yield from leaf_paths(value, (*path, key))
        else:
            yield (*path, key)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = [1, 2\nc = 3\n", 2),
        ('a = 1\n\n# c\nb = """\nnever closed\n', 4),
        ("a = 1\nb = \n", 2),
        ("a = 1\n", None),
        ("a = 1\n# only a comment at the end", None),
    ],
)
def test_a_statement_left_open_is_found_at_its_first_line(text: str, line: int | None) -> None:
    assert open_statement(text) == line


def test_a_huge_open_text_is_given_up_soon() -> None:
    """Ten thousand lines that might each end the value: reading on to every one of them would take minutes."""
    assert open_statement('a = """\n' + "]\n" * 10_000) == 1
