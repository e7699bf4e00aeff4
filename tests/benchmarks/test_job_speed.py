"""How long does a job take beside decoding its photo, and how much memory?  Ratios within one run.

Run with ``pytest tests/benchmarks --benchmark-only -s``, which prints them. One simulated 12-megapixel JPEG of a board
with three zones, with so much noise that the file has the 3 MB of a phone's.
"""

import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from simulator import Board, Camera, GrayCard, Light, Scene, WoodZone, render, save_photo
from speed import JOB, SIZE_PX, peak_ratio, ratio

from analyzer import measure_job

# What is asked for; the aims are 3 and 6.
MOST_DECODES = 4.0
MOST_DECODED_BYTES = 8.0
MOST_BARE_STARTS = 5.0


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("speed")
    (folder / "photos").mkdir()
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    names = ("none", "shellac washcoat", "glue size")
    zones = tuple(WoodZone(f"z{i}", (100.0 * i, 100.0 * (i + 1)), name, "walnut brown") for i, name in enumerate(names))
    board = Board("A", 300, 150, zones, species="hard maple", seed=3, turn_deg=3)
    scene = Scene((board,), GrayCard(top_left_mm=(330, 30), turn_deg=8), light=Light("D55", gradient=0.02))
    camera = Camera(size_px=SIZE_PX, tilt_deg=(3, 4), roll_deg=-5, full_well_e=1200, blur_sigma_px=0.8)
    save_photo(folder / "photos" / "a.jpg", render(scene, camera, seed=1))
    return folder


def test_a_photo_is_measured_in_a_few_times_its_decoding(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], job: Path
) -> None:
    """Warm, from file to results: finding, balance, flattening, zones, uncertainty, verdicts; without the report."""
    data = np.frombuffer((job / "photos" / "a.jpg").read_bytes(), np.uint8)
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    found = ratio(
        benchmark,
        capsys,
        lambda: measure_job(job),
        lambda: cv2.imdecode(data, flags),
        "the plain decoding of its photo",
    )
    assert found <= MOST_DECODES


def test_help_appears_within_a_few_bare_interpreter_starts(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*arguments: str) -> None:
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)

    found = ratio(
        benchmark,
        capsys,
        lambda: run("-m", "analyzer.cli", "--help"),
        lambda: run("-c", "pass"),
        "a bare interpreter's start",
    )
    assert found <= MOST_BARE_STARTS


def test_a_cold_measurement_with_its_report_is_mostly_the_loading_of_libraries(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], job: Path
) -> None:
    """The whole command in a fresh process, against a process that only loads what it needs."""
    libraries = "import numpy, cv2, PIL.Image, msgspec, jinja2, typer; from matplotlib.figure import Figure"

    def run(*arguments: str) -> None:
        subprocess.run([sys.executable, *arguments], check=False, capture_output=True)

    found = ratio(
        benchmark,
        capsys,
        lambda: run("-m", "analyzer.cli", "measure", str(job)),
        lambda: run("-c", libraries),
        "the loading of its libraries",
    )
    assert found <= 5


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the kernel's books are read on Linux only")
def test_memory_stays_a_few_times_the_decoded_photo(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], job: Path
) -> None:
    """Peak of a fresh process that measures one photo and writes the report, libraries included."""
    assert peak_ratio(benchmark, capsys, "measure", job) <= MOST_DECODED_BYTES
