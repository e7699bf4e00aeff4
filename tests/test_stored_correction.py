"""What a chart photo leaves for later photos with a gray card: how true it is, how sure, and for which photos."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from board_photos import Floats, card_corners, corners, photo_of, photo_of_light
from chart_scenes import LIT_MM
from hypothesis import given
from hypothesis import strategies as st
from simulator import (
    Background,
    Board,
    Camera,
    Chart,
    GrayCard,
    Light,
    Scene,
    StepCard,
    Tone,
    WoodZone,
    chart_Lab,
    render,
)

from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab
from calibration.correction import Correction, by_gray_card
from calibration.difference import delta_E_00
from calibration.exif import Exif
from calibration.flatboard import FlatBoard, flat_board
from calibration.known import KnownReference, gray_card, step_card
from calibration.photo import Photo
from calibration.place import Place, locate
from calibration.raw import RAW_PROFILE
from calibration.reference import GrayReading
from calibration.reference_photo import read_reference_photo
from calibration.stored_correction import (
    MAX_BALANCE,
    StoredCorrection,
    apart,
    by_stored,
    serving,
    stored_correction,
    stored_tone,
)
from calibration.tone_curve import ToneCurve
from calibration.white_preserving import Lab_slopes

CHART = KnownReference("chart-24", Lab_to_XYZ(chart_Lab()))
EXIF = Exif(camera="Bench One", lens="main", taken="2026-03-02T09:00:00")
ZONES = (
    WoodZone("bare", (0, 75)),
    WoodZone("washcoat", (75, 150), "shellac washcoat", "walnut brown"),
    WoodZone("red", (150, 225), stain="red mahogany"),
    WoodZone("golden", (225, 300), stain="golden oak"),
)
VEIL, CHART_EV = 0.01, -0.1
# sensor, lamp, and how the later photos' red and blue gains differ from the chart photo's
SETUPS = (
    ("three", "D50", (0.03, -0.02)),
    ("three", "FL11", (-0.03, 0.02)),
    ("one", "D65", (0.02, 0.04)),
    ("one", "FL11", (-0.02, -0.03)),
)
CHI2_95 = 7.815  # of three degrees of freedom: 95 % of an ellipsoid


def chart_photo(sensor: str, lamp: str, balance: tuple[float, float] = (0.02, -0.015)) -> Photo:
    scene = Scene(chart=Chart(scale=0.8), light=Light(lamp, over_mm=LIT_MM))
    tone = Tone(flare=VEIL, contrast_gamma=1.04, s_curve=0.3)
    camera = Camera(sensor=sensor, size_px=(1200, 900), exposure_EV=CHART_EV, white_balance_error=balance, tone=tone)
    return replace(photo_of(render(scene, camera, 1), name="chart.jpg"), exif=EXIF, sha256="c" * 64)


def learned(photo: Photo) -> StoredCorrection:
    return stored_correction(read_reference_photo(photo, CHART).correction, photo, "shop", "24-patch colour chart")


@dataclass(frozen=True, eq=False)
class Later:
    """A later photo of a board and a gray card, and the truth about its zones."""

    photo: Photo
    place: Place
    Lab: Floats  # (4, 3)

    def flat(self, stored: StoredCorrection | None = None) -> FlatBoard:
        return flat_board(self.photo, self.place, (300, 120), stored=stored)


def later_photo(sensor: str, lamp: str, EV: float, balance: tuple[float, float], *, scene_veil: float = 1.0) -> Later:
    """At another exposure: the veil is a share of the light and grows with it; `scene_veil` is the scene's own part."""
    board = Board("A", 300, 120, ZONES, species="cherry", seed=7, texture_px_per_mm=2.5)
    scene = Scene((board,), GrayCard((80, 55), (100, 145), 4.0), background=Background((50, 0, 1)), light=Light(lamp))
    tone = Tone(flare=VEIL * scene_veil * 2 ** (EV - CHART_EV), contrast_gamma=1.04, s_curve=0.3)
    camera = Camera(sensor=sensor, size_px=(1200, 900), exposure_EV=EV, white_balance_error=balance, tone=tone)
    rendered = render(scene, camera, 3)
    photo = replace(photo_of(rendered), exif=EXIF)
    place = locate(photo, (300, 120), corners=corners(rendered), card=card_corners(rendered))
    return Later(photo, place, np.array([zone.Lab for zone in rendered.truth.board("A").zones]))


def zones_Lab(flat: FlatBoard) -> Floats:
    """Mean colours (4, 3), margins of 6 mm left out."""
    spans = [np.round((np.array(zone.span_mm) + np.array([6, -6])) / flat.mm_per_px).astype(int) for zone in ZONES]
    return np.array([XYZ_to_Lab(flat.XYZ[15:-15, a:b].reshape(-1, 3).mean(axis=0)) for a, b in spans])


def covariance(correction: Correction, Lab: Floats) -> Floats:
    """Of one colour, light and wood left out."""
    XYZ = Lab_to_XYZ(Lab)
    slopes = Lab_slopes(XYZ)
    doubts = [XYZ[:, None] * correction.stated, XYZ[:, None] * correction.read, correction.tone_acts(XYZ)]
    return np.asarray(sum((slopes @ acts) @ (slopes @ acts).T for acts in doubts) + correction.error.u_absolute(Lab))


@pytest.fixture(scope="module")
def chart() -> Photo:
    return chart_photo("three", "D50")


@pytest.fixture(scope="module")
def own(chart: Photo) -> Correction:
    """The chart photo's own correction."""
    return read_reference_photo(chart, CHART).correction


@pytest.fixture(scope="module")
def stored(own: Correction, chart: Photo) -> StoredCorrection:
    return stored_correction(own, chart, "shop", "24-patch colour chart")


@pytest.fixture(scope="module")
def later() -> Later:
    return later_photo("three", "D50", -0.7, (0.03, -0.02))


def test_later_photos_come_near_the_truth_and_their_regions_hold_it() -> None:
    """Single colours at two other exposures, white balance moved, veil of another scene. The aim for charts is 0.8 in
    the mean, 1.6 at 95 %. Of 32 regions of 95 %, fewer than 27 hold in one of 100 such trials."""
    off: dict[str, list[float]] = {"gray": [], "stored": []}
    held = []
    for sensor, lamp, (red, blue) in SETUPS:
        told = learned(chart_photo(sensor, lamp))
        for EV, scene_veil in ((-0.8, 0.7), (0.05, 1.4)):
            seen = later_photo(sensor, lamp, EV, (0.02 + red, -0.015 + blue), scene_veil=scene_veil)
            off["gray"] += list(delta_E_00(zones_Lab(seen.flat()), seen.Lab))
            flat = seen.flat(told)
            found = zones_Lab(flat)
            off["stored"] += list(delta_E_00(found, seen.Lab))
            errors = zip(found - seen.Lab, found, strict=True)
            held += [e @ np.linalg.solve(covariance(flat.correction, Lab), e) < CHI2_95 for e, Lab in errors]
    assert np.mean(off["gray"]) > 2.5
    assert np.mean(off["stored"]) < 0.8
    assert np.percentile(off["stored"], 95) < 1.6
    assert sum(held) >= 27


def test_the_note_says_what_was_used_and_how_good_it_is(stored: StoredCorrection, later: Later) -> None:
    (note,) = [found for found in later.flat(stored).findings if found.code == "correction-used"]
    assert "chart.jpg, taken 2026-03-02" in note.message
    assert f"{stored.residual.mean:.1f} ΔE00" in note.message
    assert later.flat(stored).correction.basis == "stored"


@given(st.floats(0.05, 0.6), st.floats(0.05, 0.6), st.floats(0.0, 0.03), st.floats(0.85, 1.2))
def test_a_curve_holds_at_any_exposure_and_its_veil_grows_with_the_light(
    was: float, now: float, veil: float, gamma: float
) -> None:
    """Closed form: a power of scene light with a share of it added. Tables of 2049 steps are not in the way here."""
    reflectances = np.array([0.04, 0.10, 0.18, 0.30, 0.50])[:, None] * np.ones(3)

    def photographed(gray_light: float) -> Floats:
        light = reflectances * gray_light / 0.18
        return np.asarray((light + veil * gray_light / 0.18) ** gamma)

    first, second = photographed(was * 0.18), photographed(now * 0.18)
    curve = ToneCurve(flare=(veil * was,) * 3, gamma=gamma, mid_level=float(first[2, 0]), darkest=1e-4)
    light = curve.at_exposure(float(second[2, 0])).exactly(second)
    assert light[:, 0] / light[2, 0] == pytest.approx(reflectances[:, 0] / 0.18, rel=1e-6)


@given(st.tuples(*[st.floats(0.5, 2.0)] * 3))
def test_what_is_stored_knows_neither_exposure_nor_white_balance(
    own: Correction, chart: Photo, gains: tuple[float, float, float]
) -> None:
    first, other = (
        stored_correction(replace(own, matrix=own.matrix * by), chart, "shop", "chart") for by in (np.ones(3), gains)
    )
    assert first.primaries is not None
    assert other.primaries == pytest.approx(first.primaries, abs=1e-12)
    assert first.primaries.sum(axis=1) == pytest.approx(D50, abs=1e-12)


def test_a_gray_card_takes_its_known_colour_and_a_lab_card_too(stored: StoredCorrection) -> None:
    reading = GrayReading(np.array([0.16, 0.17, 0.18]), np.full(3, 1e-3), 0.0, 400, 0.0, 0.0)
    photo = replace(photo_of_light(np.full((4, 4, 3), 0.17)), exif=EXIF)
    for known in (gray_card(0.18), gray_card(None, (52.0, -1.0, 2.0))):
        tone = stored_tone(stored, reading, known)
        correction = by_stored(photo, reading, known, stored, tone)
        light = tone.curve.apply(reading.linear_RGB).astype(float)
        assert correction.matrix @ light == pytest.approx(known.XYZ[0], rel=1e-9)
        assert correction.camera_from == correction.tone_from == "c" * 64


def test_a_step_card_leaves_its_tone_curve_and_the_profiles_colours() -> None:
    steps = step_card([0.9, 0.5, 0.18, 0.08, 0.03])
    scene = Scene(step_card=StepCard(reflectances=(0.9, 0.5, 0.18, 0.08, 0.03)), light=Light(over_mm=LIT_MM))
    camera = Camera(size_px=(1200, 900), exposure_EV=-0.2, tone=Tone(flare=0.01, s_curve=0.35))
    photo = replace(photo_of(render(scene, camera, 2)), exif=EXIF)
    told = stored_correction(read_reference_photo(photo, steps).correction, photo, "shop", "step card")
    assert told.made_by == "step card"
    assert told.residual.unit == "L*"
    reading = GrayReading(np.array([0.16, 0.17, 0.18]), np.full(3, 1e-3), 0.0, 400, 0.0, 0.0)
    tone = stored_tone(told, reading, gray_card())
    correction = by_stored(photo, reading, gray_card(), told, tone)
    light = tone.curve.apply(reading.linear_RGB).astype(float)
    assert correction.matrix == pytest.approx(
        by_gray_card(photo, replace(reading, linear_RGB=light), gray_card()).matrix, rel=1e-9
    )
    assert (correction.camera_from, correction.tone_from) == ("", photo.sha256)


@pytest.mark.parametrize(
    ("changes", "light", "words"),
    [
        ({"exif": replace(EXIF, camera="Bench Two")}, "shop", "its camera is Bench One, the photo's Bench Two"),
        ({"exif": replace(EXIF, lens="tele")}, "shop", "its lens is main, the photo's tele"),
        ({"exif": replace(EXIF, lens=None)}, "shop", "its lens is main, the photo's not named"),
        ({"exif": Exif()}, "shop", "the photo does not say which camera took it"),
        ({}, "window", "its light is shop, the photo's window"),
        ({}, None, "its light is shop, the photo's not named"),
        ({"profile": "p3"}, "shop", "its colour profile is srgb, the photo's p3"),
        ({"to_XYZ": np.eye(3)}, "shop", "the same name, srgb, and other primaries"),
    ],
)
def test_what_differs_keeps_a_correction_from_a_photo(
    stored: StoredCorrection, chart: Photo, changes: dict[str, Any], light: str | None, words: str
) -> None:
    assert apart(stored, chart, "shop") == ()
    (said,) = apart(stored, replace(chart, **changes), light)
    assert words in said


def test_a_raw_photos_own_matrix_may_move_with_its_white_balance(stored: StoredCorrection, chart: Photo) -> None:
    raw = replace(chart, profile=RAW_PROFILE)
    told = replace(stored, setup=replace(stored.setup, profile=RAW_PROFILE))
    assert apart(told, replace(raw, to_XYZ=raw.to_XYZ * [1.02, 1, 0.98]), "shop") == ()


@pytest.mark.parametrize(("share", "serves"), [(0.9, True), (1.1, False)])
def test_a_card_whose_colour_moved_too_far_tells_of_another_lamp(
    stored: StoredCorrection, chart: Photo, share: float, serves: bool
) -> None:
    white = np.exp(np.array([stored.white_ratios[0] + share * MAX_BALANCE, 0.0, stored.white_ratios[1]]))
    light = 0.18 * white / white.mean()
    seen = np.array([np.interp(y, *curve_of(stored)) for y in light])
    reading = GrayReading(seen, np.full(3, 1e-3), 0.0, 400, 0.0, 0.0)
    used, said = serving(chart, reading, gray_card(), stored)
    assert (used is not None) is serves
    assert said.code == ("correction-used" if serves else "correction-not-fitting")


def curve_of(stored: StoredCorrection) -> tuple[Floats, Floats]:
    """Light and linear RGB of the stored curve, for middle gray at 0.18."""
    levels = np.linspace(0.01, 0.6, 600)
    return stored.tone.curve.at_exposure(0.18).exactly(np.repeat(levels[:, None], 3, axis=1))[:, 1], levels


def test_the_farther_the_balance_moved_the_wider_is_the_error(stored: StoredCorrection, later: Later) -> None:
    Lab = np.array([45.0, 15.0, 25.0])
    widths = []
    for moved in (0.0, 0.05, 0.1):
        ratios = (later_ratio(stored, later) - moved, stored.white_ratios[1])
        correction = later.flat(replace(stored, white_ratios=ratios)).correction
        widths.append(float(np.trace(correction.error.u_absolute(Lab))))
    assert np.trace(stored.error.u_absolute(Lab)) < widths[0] < widths[1] < widths[2]  # type: ignore[union-attr] # a chart's


def later_ratio(stored: StoredCorrection, later: Later) -> float:
    """Ln of red against green of white in the later photo."""
    white_RGB = np.linalg.solve(later.flat(stored).correction.matrix, D50)
    return float(np.log(white_RGB[0] / white_RGB[1]))


def test_a_correction_that_does_not_serve_leaves_the_gray_cards_result(stored: StoredCorrection, later: Later) -> None:
    moved = replace(stored, white_ratios=(stored.white_ratios[0] + 0.3, stored.white_ratios[1]))
    flat, alone = later.flat(moved), later.flat()
    assert "correction-not-fitting" in {found.code for found in flat.findings}
    assert flat.correction.basis == "gray card"
    assert np.array_equal(flat.XYZ, alone.XYZ)


def test_a_gray_card_has_nothing_to_store(chart: Photo) -> None:
    reading = GrayReading(np.full(3, 0.18), np.full(3, 1e-3), 0.0, 400, 0.0, 0.0)
    with pytest.raises(ValueError, match="gray card"):
        stored_correction(by_gray_card(chart, reading, gray_card()), chart, "shop", "gray card")


def test_a_photo_that_names_no_camera_has_nothing_to_store(own: Correction, chart: Photo) -> None:
    with pytest.raises(ValueError, match="which camera"):
        stored_correction(own, replace(chart, exif=Exif()), "shop", "chart")


@pytest.mark.parametrize(
    "wrong",
    [
        {"primaries": np.eye(3)},
        {"primaries": None},
        {"profile_to_XYZ": np.full((3, 3), np.nan)},
        {"profile_to_XYZ": np.ones((2, 3))},
        {"made_by": "step card"},
        {"error": None},
    ],
)
def test_numbers_that_make_no_correction_are_refused(stored: StoredCorrection, wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"correction|chart"):
        replace(stored, **wrong)


@pytest.mark.parametrize(
    "wrong", [{"gamma": 0.0}, {"mid_level": 0.0}, {"s_curve": 9.0}, {"bends": ()}, {"darkest": 2.0}]
)
def test_numbers_that_make_no_curve_are_refused(stored: StoredCorrection, wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="tone curve"):
        replace(stored, tone=replace(stored.tone, curve=replace(stored.tone.curve, **wrong)))
