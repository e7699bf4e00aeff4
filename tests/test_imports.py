"""Who may import whom: each layer only those before it, from calibration to the command line."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
LAYERS = (
    "calibration",
    "analyzer",
    "analyzer.trade",
    "analyzer.paper",
    "analyzer.report",
    "analyzer.strip_sheets",
    "analyzer.plan",
    "analyzer.record",
    "analyzer.match",
    "analyzer.approval",
    "analyzer.cli",
)  # each may use those before it
# `analyzer` itself names what every layer offers, and loads none of it: see test_cli.py.
FRONT = "analyzer"


def module_name(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(file): file for package in LAYERS[:2] for file in sorted((ROOT / package).rglob("*.py"))}


def layer(module: str) -> int | None:
    """Place in `LAYERS`, None for what is not ours."""
    found = [i for i, name in enumerate(LAYERS) if module == name or module.startswith(f"{name}.")]
    return max(found, default=None)


def imported(file: Path) -> Iterator[str]:
    """Every module that a file imports anywhere, in functions and for type checkers too."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative imports hide the layer they come from"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_every_calibration_module_loads_without_the_analyzer() -> None:
    """In a fresh process, all of them."""
    names = [name for name in MODULES if layer(name) == 0]
    assert len(names) > 10
    code = (
        f"import sys, importlib; [importlib.import_module(name) for name in {names!r}]; "
        "print(sorted(name for name in sys.modules if name.split('.')[0] == 'analyzer'))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"


def test_a_module_imports_only_its_own_layer_and_those_below() -> None:
    upwards = [
        f"{name} imports {other}"
        for name, file in MODULES.items()
        for other in imported(file)
        if name != FRONT and (layer(other) or 0) > (layer(name) or 0)
    ]
    assert upwards == []
    assert {layer(name) for name in MODULES} == set(range(len(LAYERS)))


def test_the_rule_would_notice_an_import_inside_a_function(tmp_path: Path) -> None:
    file = tmp_path / "late.py"
    file.write_text("def late():\n    from analyzer.report import words\n    return words\n", encoding="utf-8")
    assert [layer(name) for name in imported(file)] == [LAYERS.index("analyzer.report")]
    assert layer("numpy") is None
    assert layer("analyzerish") is None


def test_measuring_loads_neither_what_draws_nor_what_talks() -> None:
    """The main call hands over results; pages, plots and terminals come after it."""
    code = (
        "import sys, analyzer.measure; "
        "print([name for name in ('analyzer.report', 'analyzer.cli', 'matplotlib', 'jinja2', 'typer')"
        " if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"
