"""How long does a check take beside decoding its photo, and how much memory?  Ratios within one run.

Run with ``pytest tests/benchmarks/test_check_speed.py --benchmark-only -s``, which prints them. Asked for is about the
time of decoding; the limits below are what is held to.
"""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from pytest_benchmark.fixture import BenchmarkFixture
from simulator import Board, Camera, GrayCard, Light, Scene, WoodZone, render, save_photo
from simulator.strips_in_scene import Laid, strips_beside
from speed import JOB, SIZE_PX, peak_ratio, ratio
from strip_photos import printed

from analyzer import check_photo

# Decodings of its photo that a check may take.
MOST_DECODES = {"outline": 2.5, "strips": 4.0, "cat": 3.5}
MOST_DECODED_BYTES = 5.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with a board on a bench and the same between its strips; and a cat that no job names."""
    folder = tmp_path_factory.mktemp("check")
    names = ("none", "shellac washcoat", "glue size")
    zones = tuple(WoodZone(f"z{i}", (100.0 * i, 100.0 * (i + 1)), name, "walnut brown") for i, name in enumerate(names))
    board = Board("A", 300, 150, zones, species="hard maple", seed=3)
    scene = Scene((board,), GrayCard(top_left_mm=(340, 30), turn_deg=8), light=Light("D55", gradient=0.02))
    papers = strips_beside(board, printed(300), top=(Laid(),), bottom=(Laid(),))
    camera = Camera(size_px=SIZE_PX, tilt_deg=(3, 4), roll_deg=-5, full_well_e=1200, blur_sigma_px=0.8)
    save_photo(folder / "outline.jpg", render(scene, camera, seed=1))
    save_photo(folder / "strips.jpg", render(replace(scene, papers=papers), camera, seed=1))
    photo = '[[photo]]\nfile = "{}.jpg"\nboard = "A"\nstage = "stained"\n'
    job = JOB[: JOB.index("[[photo]]")] + photo.format("outline") + photo.format("strips")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    cat = cv2.resize(np.asarray(skimage.data.chelsea()), SIZE_PX, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    noise = np.random.default_rng(1).normal(0, 6, cat.shape)
    cv2.imwrite(str(folder / "cat.jpg"), np.clip(cat + noise, 0, 255).astype(np.uint8))
    return folder


@pytest.mark.parametrize("name", MOST_DECODES)
def test_a_photo_is_checked_in_little_more_than_its_decoding(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], folder: Path, name: str
) -> None:
    """Warm, from file to findings. A good photo is decoded once at half its size; so is one of something else."""
    path = folder / f"{name}.jpg"
    data = np.frombuffer(path.read_bytes(), np.uint8)
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    found = ratio(
        benchmark,
        capsys,
        lambda: check_photo(path),
        lambda: cv2.imdecode(data, flags),
        "its plain decoding",
    )
    assert check_photo(path).usable == (name != "cat")
    assert found <= MOST_DECODES[name]


def test_a_cold_check_is_mostly_the_loading_of_libraries(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """The whole command in a fresh process, against a process that only loads NumPy, OpenCV and typer."""

    def run(*arguments: str) -> None:
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)

    found = ratio(
        benchmark,
        capsys,
        lambda: run("-m", "analyzer.cli", "check", str(folder / "outline.jpg")),
        lambda: run("-c", "import numpy, cv2, typer"),
        "the loading of its libraries",
    )
    assert found <= 5


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the kernel's books are read on Linux only")
def test_a_check_stays_within_a_few_times_the_decoded_photo(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """Peak of a fresh process that checks one photo, libraries included."""
    assert peak_ratio(benchmark, capsys, "check", folder / "outline.jpg") <= MOST_DECODED_BYTES
