"""The values of the 24-patch chart: both published editions, and a chart's own."""

from pathlib import Path

import colour
import numpy as np
import pytest

from calibration.chart import Edition, chart_XYZ, published_chart_Lab, read_chart_Lab
from calibration.difference import delta_E_00
from calibration.errors import CalibrationError

EDITIONS: tuple[Edition, Edition] = ("from-2015", "before-2015")


@pytest.mark.parametrize(("edition", "key"), [("from-2015", "cca2014"), ("before-2015", "ccb2014")])
def test_each_edition_holds_the_values_that_colour_science_carries(edition: Edition, key: str) -> None:
    chart = colour.CCS_COLOURCHECKERS[key]
    XYZ = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    Lab = colour.XYZ_to_Lab(XYZ, chart.illuminant)
    assert published_chart_Lab(edition) == pytest.approx(Lab, abs=5e-4 if edition == "before-2015" else 5e-3)
    # their D50 (0.3457, 0.3585 rounded) and that of ICC profiles differ in the fourth digit
    assert chart_XYZ(edition) == pytest.approx(XYZ, abs=3e-4)


def test_the_editions_differ_as_much_as_a_whole_error_budget() -> None:
    """0.8477 in the mean, 1.9513 at most: own computation with colour-science's CIEDE2000."""
    first, second = map(published_chart_Lab, EDITIONS)
    theirs = colour.delta_E(first, second, method="CIE 2000")
    assert delta_E_00(first, second) == pytest.approx(theirs, abs=5e-5)
    assert theirs.mean() == pytest.approx(0.8477, abs=5e-5)
    assert theirs.max() == pytest.approx(1.9513, abs=5e-5)


def write(folder: Path, Lab: np.ndarray, header: str = "L,a,b") -> Path:
    path = folder / "own.csv"
    path.write_text("\n".join([header, *(",".join(f"{x:.3f}" for x in row) for row in Lab)]) + "\n", encoding="utf-8")
    return path


def test_a_charts_own_values_are_taken(tmp_path: Path) -> None:
    own = published_chart_Lab("before-2015") + np.random.default_rng(1).normal(0, 1, (24, 3)).round(3)
    assert read_chart_Lab(write(tmp_path, own, "# measured in May\nL,a,b")) == pytest.approx(own, abs=1e-9)
    assert (chart_XYZ("from-2015", tmp_path / "own.csv") != chart_XYZ("from-2015")).all()


@pytest.mark.parametrize(
    "order",
    [
        np.arange(24)[::-1],
        np.arange(24).reshape(4, 6)[::-1].ravel(),
        np.arange(24).reshape(4, 6)[:, ::-1].ravel(),
        np.arange(24).reshape(4, 6).T.ravel(),
        np.roll(np.arange(24), 1),
    ],
)
def test_rows_in_another_order_are_refused(tmp_path: Path, order: np.ndarray) -> None:
    with pytest.raises(CalibrationError, match="order"):
        read_chart_Lab(write(tmp_path, published_chart_Lab("from-2015")[order]))


def test_a_slip_of_the_pen_is_told_with_its_patch_and_a_faded_chart_is_none(tmp_path: Path) -> None:
    Lab = published_chart_Lab("from-2015")
    faded = Lab * (1, 0.8, 0.8)
    assert read_chart_Lab(write(tmp_path, faded)) == pytest.approx(faded, abs=1e-3)
    Lab[18, 0] = 59.19  # for 95.19
    with pytest.raises(CalibrationError, match="patch 19, white") as refused:
        read_chart_Lab(write(tmp_path, Lab))
    assert refused.value.code == "chart-values"
