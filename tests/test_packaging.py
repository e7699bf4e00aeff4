"""What is installed: a wheel built from the tree, unpacked elsewhere, with no checkout in reach."""

import ast
import email
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email.message import Message
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NAME = f"evenboard-{PROJECT['version']}"


def build(target: str, source: Path, folder: Path) -> Path:
    """Build a wheel or an sdist as pip does, without the network."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(folder)]
    subprocess.run(command, cwd=source, capture_output=True, check=True)
    (built,) = folder.iterdir()
    return built


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("wheel", ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, unpacked as pip unpacks it."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)  # noqa: S202 - built a moment ago from this tree
    return folder


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source archive, unpacked."""
    folder = tmp_path_factory.mktemp("source")
    with tarfile.open(build("sdist", ROOT, tmp_path_factory.mktemp("sdist"))) as archive:
        for member in archive:  # extractall wants a filter that Python 3.11 has only from 3.11.4
            content = archive.extractfile(member)
            if content is not None:
                (folder / member.name).parent.mkdir(parents=True, exist_ok=True)
                (folder / member.name).write_bytes(content.read())
    return folder / NAME


def run(installed: Path, code: str, folder: Path) -> str:
    """Run Python with the unpacked wheel before everything else, from a folder that is not the checkout."""
    start = f"import sys; sys.path[:0] = [{str(installed)!r}]; import analyzer, calibration\n"
    done = subprocess.run(
        [sys.executable, "-I", "-c", start + code],
        cwd=folder,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert done.stderr == ""
    return done.stdout


LEFT_BEHIND = {"__pycache__", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis"}


def tree(folder: Path, *packages: str) -> set[str]:
    """Files below, with slashes, without what Python and the checkers leave behind."""
    found = (path for package in packages or (".",) for path in (folder / package).rglob("*"))
    return {path.relative_to(folder).as_posix() for path in found if path.is_file() and not LEFT_BEHIND & {*path.parts}}


def test_the_wheel_holds_the_two_packages_and_nothing_else(installed: Path) -> None:
    """No tests, no samples: they would land beside everybody's packages under their common names."""
    ours = tree(ROOT, "analyzer", "calibration")
    values = {f"calibration/_shared/{name}" for name in tree(ROOT / "shared")}
    about = {
        f"{NAME}.dist-info/{name}" for name in ("METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/LICENSE")
    }
    assert tree(installed) == ours | values | about
    assert {"analyzer/report/templates/report.html", "analyzer/py.typed", "calibration/py.typed"} <= ours


def test_the_published_values_travel_unchanged_and_are_found_inside_the_wheel(installed: Path, tmp_path: Path) -> None:
    names = sorted(tree(ROOT / "shared"))
    code = f"""
from calibration.published import published_file
for name in {names!r}:
    print(published_file(name))
"""
    found = [Path(line) for line in run(installed, code, tmp_path).splitlines()]
    assert found == [installed / "calibration" / "_shared" / name for name in names]
    for name, path in zip(names, found, strict=True):
        assert path.read_bytes() == (ROOT / "shared" / name).read_bytes()


def test_both_packages_load_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    """Or the claims here would be about the checkout."""
    told = run(installed, "print(analyzer.__file__, calibration.__file__, sep='\\n')", tmp_path)
    assert [Path(line).parent.parent for line in told.splitlines()] == [installed, installed]


def test_a_job_is_started_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    code = "from pathlib import Path; print(analyzer.new_job(Path('desk')))"
    assert Path(run(installed, code, tmp_path).strip()) == Path("desk", "job.toml")
    assert (tmp_path / "desk" / "job.toml").read_text("utf-8").startswith("# An Evenboard job")


def test_a_report_is_written_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    """Template, styles, shapes and cautions come along."""
    code = f"""
sys.path.append({str(ROOT / "tests")!r})
from pathlib import Path
from report_example import example_measurement
written = analyzer.write_results(example_measurement(boards=(), folder=Path()), Path())
print(*written, sep="\\n")
print(analyzer.tool_version())
"""
    *written, version = run(installed, code, tmp_path).splitlines()
    assert "report.html" in written
    assert version == PROJECT["version"]
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Rags can set themselves on fire" in page
    assert re.search(r"<style>\s*[^<]{1000}", page)


def test_the_command_of_the_wheel_is_the_command_line(installed: Path, tmp_path: Path) -> None:
    points = (installed / f"{NAME}.dist-info" / "entry_points.txt").read_text(encoding="utf-8")
    assert points.split() == ["[console_scripts]", "evenboard", "=", "analyzer.cli:main"]
    told = run(installed, "from analyzer.cli import main; sys.exit(main(['--version']))", tmp_path)
    assert told == f"evenboard {PROJECT['version']}\n"


@pytest.fixture(scope="module")
def about(installed: Path) -> Message:
    return email.message_from_bytes((installed / f"{NAME}.dist-info" / "METADATA").read_bytes())


def test_the_metadata_says_what_it_is_and_under_which_licence(about: Message, installed: Path) -> None:
    assert about["Name"] == "evenboard"
    assert about["Version"] == PROJECT["version"]
    assert about["License-Expression"] == "Apache-2.0"
    assert about["License-File"] == "LICENSE"
    assert about["Requires-Python"] == ">=3.11"
    readme = about.get_payload(decode=True)
    assert isinstance(readme, bytes)
    assert readme.decode("utf-8") == (ROOT / "README.md").read_text(encoding="utf-8")
    licence = (installed / f"{NAME}.dist-info" / "licenses" / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License" in licence
    assert "END OF TERMS AND CONDITIONS" in licence


def test_what_the_packages_import_is_declared_and_nothing_else(about: Message) -> None:
    """What some photos alone need is an extra of its own; what the tests alone need is none of ours."""
    distribution = {"cv2": "opencv-python-headless", "PIL": "pillow", "pillow_heif": "pillow-heif"}
    trees = [
        ast.parse(path.read_text(encoding="utf-8"))
        for package in ("analyzer", "calibration")
        for path in (ROOT / package).rglob("*.py")
    ]
    imports = {
        imported.partition(".")[0]
        for tree in trees
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for imported in ([node.module or ""] if isinstance(node, ast.ImportFrom) else [n.name for n in node.names])
    }
    needed = {distribution.get(name, name) for name in imports - sys.stdlib_module_names - {"analyzer", "calibration"}}
    declared: dict[str, set[str]] = {}
    for line in about.get_all("Requires-Dist", []):
        extra = re.search(r"extra == '(\w+)'", line)
        declared.setdefault(extra[1] if extra else "", set()).add(re.split(r"[<>=!~ ;\[]", line)[0])
    del declared["test"]
    assert set.union(*declared.values()) == needed
    assert sum(map(len, declared.values())) == len(needed)


def test_the_source_archive_holds_all_that_a_build_and_the_tests_need(sdist: Path) -> None:
    kept = ("analyzer", "calibration", "shared", "sample_images", "tests", "docs", ".ci")
    assert tree(ROOT / "tests") <= tree(sdist / "tests")
    for name in kept:
        assert (sdist / name).is_dir(), name
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml"):
        assert (sdist / name).is_file(), name
    assert (sdist / "sample_images" / "hall-bench" / "photos" / "a-bare.jpg").is_file()
    strangers = {path.name for path in sdist.iterdir()} - {
        *kept,
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
    }
    assert strangers == {"pyproject.toml", "PKG-INFO", ".gitignore"}


def test_a_wheel_built_from_the_source_archive_is_the_same(sdist: Path, wheel: Path, tmp_path: Path) -> None:
    again = build("wheel", sdist, tmp_path)
    with zipfile.ZipFile(wheel) as one, zipfile.ZipFile(again) as other:
        assert {info.filename: info.CRC for info in one.infolist()} == {
            info.filename: info.CRC for info in other.infolist()
        }
