"""How fast is the colour arithmetic beside two general libraries?  Ratios within one run; `pytest -s` prints them.

Run with ``pytest tests/benchmarks --benchmark-only``; an ordinary run skips what uses the benchmark fixture.
Each library does the same work on the same data. The rounds alternate between ours and theirs, so that other work
on the machine slows both, and the fastest round of each counts.
"""

from collections.abc import Callable
from time import perf_counter

import colour
import cv2
import numpy as np
import pytest
import skimage.color
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from calibration.colorspace import D50, SRGB_TO_XYZ, Lab_image, sRGB_decode
from calibration.difference import delta_E_00

# Below what was measured, so that a busy machine does not fail the test: see the printed ratios for the real ones.
LEAST_IMAGE_RATIO = 4.0
LEAST_DIFFERENCE_RATIO = 2.0
ROUNDS = 3


def ratios(
    benchmark: BenchmarkFixture,
    capsys: pytest.CaptureFixture[str],
    ours: Callable[[], object],
    theirs: dict[str, Callable[[], object]],
) -> dict[str, float]:
    """Time of each library over our time, fastest rounds; also printed and kept with the benchmark."""
    seconds: dict[str, list[float]] = {name: [] for name in theirs}

    def others_once() -> None:
        for name, work in theirs.items():
            start = perf_counter()
            work()
            seconds[name].append(perf_counter() - start)

    benchmark.pedantic(ours, setup=others_once, rounds=ROUNDS, warmup_rounds=1)
    if benchmark.stats is None:
        pytest.skip("a ratio needs times: run without --benchmark-disable")
    fastest = benchmark.stats.stats.min
    found = {name: min(times) / fastest for name, times in seconds.items()}
    benchmark.extra_info.update({f"times as fast as {name}": round(ratio, 1) for name, ratio in found.items()})
    with capsys.disabled():
        words = ", ".join(f"{ratio:.1f} times as fast as {name}" for name, ratio in found.items())
        print(f"\n{benchmark.name}: {1e3 * fastest:.1f} ms, {words}")  # noqa: T201 - the ratio is what this run is for
    return found


@pytest.fixture(scope="module")
def photo() -> NDArray[np.uint8]:
    """3 megapixels of sRGB codes, wood-like: a warm mean, grain along the rows, noise."""
    random = np.random.default_rng(1)
    grain = np.cumsum(random.normal(0, 1.5, (1500, 1, 1)), axis=0)
    codes = np.array([170, 125, 80]) + grain + random.normal(0, 6, (1500, 2000, 3))
    return np.clip(codes, 0, 255).astype(np.uint8)


def test_lab_of_a_photo_is_several_times_faster_than_in_the_libraries(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], photo: NDArray[np.uint8]
) -> None:
    """From 8-bit codes to CIELAB: decoding is part of it everywhere."""
    curve = sRGB_decode(np.arange(256) / 255).astype(np.float32)
    to_ratio = SRGB_TO_XYZ / D50[:, np.newaxis]
    white = colour.XYZ_to_xy(D50)

    def ours() -> NDArray[np.float32]:
        return Lab_image(cv2.LUT(photo, curve), to_ratio)

    def of_colour_science() -> NDArray[np.float64]:
        linear = colour.models.eotf_sRGB(photo / 255)
        return colour.XYZ_to_Lab(linear @ SRGB_TO_XYZ.T, white)

    assert np.abs(ours() - of_colour_science()).max() < 1e-3
    found = ratios(
        benchmark,
        capsys,
        ours,
        {"scikit-image": lambda: skimage.color.rgb2lab(photo), "colour-science": of_colour_science},
    )
    assert min(found.values()) > LEAST_IMAGE_RATIO


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_ciede2000_of_a_million_pairs_is_faster_than_in_the_libraries(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], dtype: type[np.floating]
) -> None:
    """Pairs near wood, everybody in the same type. colour-science computes in float64 whatever it is given."""
    random = np.random.default_rng(2)
    standard = random.uniform([15, 0, 5], [90, 25, 45], (1_000_000, 3)).astype(dtype)
    sample = (standard + random.normal(0, 2, standard.shape)).astype(dtype)

    def ours() -> NDArray[np.floating]:
        return delta_E_00(standard, sample)

    def of_scikit_image() -> NDArray[np.floating]:
        return skimage.color.deltaE_ciede2000(standard, sample)

    assert np.abs(ours() - of_scikit_image()).max() < 1e-4
    found = ratios(
        benchmark,
        capsys,
        ours,
        {
            "scikit-image": of_scikit_image,
            "colour-science": lambda: colour.difference.delta_E_CIE2000(standard, sample),
        },
    )
    assert min(found.values()) > LEAST_DIFFERENCE_RATIO
