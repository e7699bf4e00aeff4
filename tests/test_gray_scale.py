"""The gray scale grade against ISO 105: worked values of A05, and the colour differences of the scale's own steps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.gray_scale import colour_change, colour_change_grade, grade_of

Lab = st.tuples(st.floats(1, 99), st.floats(-80, 80), st.floats(-80, 80))


@pytest.mark.parametrize(
    ("before", "after", "change", "grade"),
    [
        # Worked with the formula of ISO 105-A05:1996 as two open implementations have it, to four decimals.
        ((50, 15, 35), (48, 16, 36), 2.2087, 3.7007),
        ((60, 10, 30), (55, 12, 33), 5.6117, 2.2771),
        ((50, 5, -20), (48, 6, -25), 4.0245, 2.7567),  # blue, where hue and chroma lean on each other
    ],
)
def test_worked_values(before: tuple[float, ...], after: tuple[float, ...], change: float, grade: float) -> None:
    assert colour_change(before, after) == pytest.approx(change, abs=5e-5)
    assert colour_change_grade(before, after) == pytest.approx(grade, abs=5e-5)


# ISO 105-A02:1993: each step of the scale, its colour difference and the tolerance of its making.
SCALE = [(5.0, 0.0, 0.2), (4.5, 0.8, 0.2), (4.0, 1.7, 0.3), (3.5, 2.5, 0.35), (3.0, 3.4, 0.4),
         (2.5, 4.8, 0.5), (2.0, 6.8, 0.6), (1.5, 9.6, 0.7), (1.0, 13.6, 1.0)]  # fmt: skip


@pytest.mark.parametrize(("grade", "difference", "tolerance"), SCALE)
def test_pairs_of_gray_chips_have_the_grades_that_the_scale_gives_them(
    grade: float, difference: float, tolerance: float
) -> None:
    """The whole grades to rounding; half grades within the tolerance of the chips."""
    found = float(colour_change_grade((50, 0, 0), (50 - difference, 0, 0)))
    if grade == round(grade):
        assert found == pytest.approx(grade, abs=1e-9)
    easier, harder = float(grade_of(difference - min(tolerance, difference))), float(grade_of(difference + tolerance))
    assert harder <= grade <= easier


def test_the_grade_falls_with_the_change_and_has_no_step() -> None:
    change = np.linspace(0, 20, 4001)
    grades = grade_of(change)
    assert (np.diff(grades) <= 0).all()
    assert np.abs(np.diff(grades)).max() < 0.004
    assert grade_of(3.4) == pytest.approx(3)
    assert grades[0] == 5
    assert grades[-1] == 1


@given(Lab, Lab)
def test_swapping_the_colours_changes_nothing(a: tuple[float, ...], b: tuple[float, ...]) -> None:
    assert colour_change(a, b) == pytest.approx(colour_change(b, a), abs=1e-9)


@given(Lab)
def test_no_change_is_grade_5(a: tuple[float, ...]) -> None:
    assert colour_change_grade(a, a) == 5


@given(st.floats(1, 60), st.floats(0, 360), st.floats(-20, 20))
def test_the_mean_hue_goes_the_shorter_way_round(C: float, hue_deg: float, turn_deg: float) -> None:
    """Mirroring both hues about 280 degrees, the axis of the blue term, keeps a pure change of hue."""

    def at(deg: float) -> tuple[float, float, float]:
        return 50.0, C * np.cos(np.radians(deg)), C * np.sin(np.radians(deg))

    mirrored = 560 - hue_deg
    assert colour_change(at(hue_deg), at(hue_deg + turn_deg)) == pytest.approx(
        colour_change(at(mirrored), at(mirrored - turn_deg)), abs=1e-6
    )


def test_shapes_broadcast() -> None:
    many = np.tile([40.0, 10, 20], (2, 3, 1))
    assert colour_change_grade((41.0, 10, 20), many).shape == (2, 3)
