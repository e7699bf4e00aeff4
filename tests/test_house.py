"""The house around the code: pages that name what is there, links that lead somewhere, nothing left lying about."""

import ast
import os
import re
import runpy
import subprocess
from pathlib import Path

import pytest

import analyzer
from calibration.findings import REGISTRY

ROOT = Path(__file__).parent.parent
FOLDERS = ("analyzer", "calibration", "shared", "sample_images", "tests", "docs", ".ci")
TEXTS = {".py", ".md", ".toml", ".csv", ".json", ".html", ".css", ".svg", ".txt", ""}
MADE = re.compile(
    r"__pycache__|^sample_images/[^/]+/"
    r"(plan\.\w+|labels\.pdf|results\.json|zones\.csv|match\.json|report\.(html|pdf)|pictures/|approvals/|verify/)"
)


def files() -> list[Path]:
    """Everything that belongs to the project: not what tools leave behind, not what the demo's run writes."""
    inside = [path for folder in FOLDERS for path in (ROOT / folder).rglob("*") if path.is_file()]
    top = [path for path in ROOT.iterdir() if path.suffix in (".md", ".toml") or path.name in ("LICENSE", ".gitignore")]
    return sorted(path for path in [*inside, *top] if not MADE.search(path.relative_to(ROOT).as_posix()))


PAGES = [path for path in files() if path.suffix == ".md"]
WRITTEN = [path for path in files() if path.suffix in TEXTS]


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_nothing_points_into_somebodys_machine() -> None:
    """Absolute paths hold on one machine only."""
    path = re.compile(r"(?<![\w.<>*}/-])/(?:home|Users|root|opt|work|mnt|srv)/\w+")
    found = [(name(file), path.findall(file.read_text(encoding="utf-8"))) for file in WRITTEN]
    assert [(file, hits) for file, hits in found if hits] == []
    assert path.search("see /" + "home/me/job.toml")


def test_nothing_is_left_unfinished() -> None:
    words = re.compile(r"\b(?:TO[D]O|FIX[M]E|XX[X]|TB[D])\b")
    assert [name(file) for file in WRITTEN if words.search(file.read_text(encoding="utf-8"))] == []
    assert words.search("# TO" + "DO later")


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_every_link_leads_to_a_file(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if not target.startswith("https://"):
            assert (page.parent / target).exists(), target


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_every_link_inside_a_page_leads_to_a_heading(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    headings = {
        re.sub(r"[^\w -]", "", head.lower()).strip().replace(" ", "-")
        for head in re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    }
    for anchor in re.findall(r"\]\(#([^)]+)\)", text):
        assert anchor in headings, anchor


def test_the_page_of_findings_is_the_registry() -> None:
    """To mend: python docs/make_findings.py."""
    page = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    assert page == runpy.run_path(str(ROOT / "docs" / "make_findings.py"))["findings_page"]()
    assert sorted(re.findall(r"^\*\*`([\w-]+)`\*\*", page, re.MULTILINE)) == sorted(REGISTRY)
    for kind in REGISTRY.values():
        assert f"What to do: {kind.remedy}" in page
        assert f"Why it matters: {kind.explanation}" in page


def test_every_finding_that_the_code_makes_is_registered_and_every_registered_one_is_made() -> None:
    """A code that nothing makes would be documented in vain."""
    made, spoken = set[str](), set[str]()
    for folder in ("analyzer", "calibration"):
        for path in (ROOT / folder).rglob("*.py"):
            code = path.read_text(encoding="utf-8")
            made |= set(re.findall(r'(?:\bfinding\(\s*|\bcode=|\bcode: str = )"([^"]+)"', code))
            if path.name != "findings.py":
                literals = (node.value for node in ast.walk(ast.parse(code)) if isinstance(node, ast.Constant))
                spoken |= {literal for literal in literals if isinstance(literal, str)}
    assert made - set(REGISTRY) == set()
    assert set(REGISTRY) - spoken == set()


def test_the_map_for_developers_names_every_module_and_no_other() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:analyzer|calibration)/[a-z_/]+\.py)`", page))
    there = {name(path) for folder in ("analyzer", "calibration") for path in (ROOT / folder).rglob("*.py")}
    assert {path for path in there if "__" not in path} - named == set()
    assert named - there == set()


def test_every_public_name_explains_itself() -> None:
    for public in analyzer.__all__:
        assert (getattr(analyzer, public).__doc__ or "").strip(), public


def test_the_changelog_begins_with_the_version_of_the_project() -> None:
    first = re.search(r"^## (\d+\.\d+\.\d+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert first
    assert first[1] == analyzer.tool_version()


def test_the_licence_is_whole() -> None:
    licence = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert licence.split()[:4] == ["Apache", "License", "Version", "2.0,"]
    assert "9. Accepting Warranty or Additional Liability." in licence
    assert "limitations under the License." in licence


def test_the_samples_are_light() -> None:
    """A clone should take seconds."""
    assert sum(path.stat().st_size for path in files() if name(path).startswith("sample_images/")) < 12_000_000


@pytest.mark.skipif(os.name != "posix", reason="bash is at home elsewhere")
def test_the_ci_script_fails_loudly_and_stays_in_the_project() -> None:
    script = ROOT / ".ci" / "run"
    text = script.read_text(encoding="utf-8")
    assert text.startswith("#!/usr/bin/env bash\n")
    assert "\nset -euo pipefail\n" in text
    assert "|| true" not in text
    assert os.access(script, os.X_OK)
    subprocess.run(["bash", "-n", str(script)], check=True)
    parts = ("ruff check .", "ruff format --check .", "mypy", "pip install '.[test]' && pytest")
    lines = text.splitlines()
    assert [line for line in lines if line in parts] == list(parts)
