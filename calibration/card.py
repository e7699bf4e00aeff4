"""Where does the gray card lie in the photo?

A calm, neutral, four-sided patch. Candidates come from thresholds on lightness and on colour; each is judged by
how calm, how neutral and how rectangular it is, and by what it would make of the scene if it were the card.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.background import Background
from calibration.preview import Preview
from calibration.quads import corner_angles_deg, quad_mask, quads_in, shrunk, side_lengths

LEVELS = 14  # thresholds of a map
BAND = 3  # levels between the two thresholds of a band
MIN_SIDE_PX = 10  # of the preview
MOST_PATCHES = 8
GOOD_ENOUGH = 0.5  # score and plausibility together; colour alone has then found the card
MAX_AREA_SHARE = 0.3  # of the frame
MAX_ASPECT = 3.5  # cards are 1:1 to 3:2; tilt and long step cards add to that
NEUTRAL_RATIO = (
    0.35  # ln units; white balance leaves 0.1 in daylight and 0.3 under warm lamps, bare wood has 0.8 (chosen)
)
MAX_RATIO = 0.75  # ln units; warm lamps photographed with daylight balance
CALM = 0.035  # ln units of luminance, robust spread inside the card (chosen: card texture and noise)
MAX_UNCALM = 0.12
CALM_RATIO = 0.10  # ln units of a ratio: 8-bit steps alone make 0.06 in the blue of an under-exposed card
MIN_SCORE = 0.2  # below it a patch is no card: simulated cards reach 0.45 and more, patches of other photos often less
MIN_STEP, CLEAR_STEP = 0.05, 0.25  # ln units, of luminance or a ratio, between the card and what lies around it
PAPER_RIM, PAPER_PIXELS = 0.08, 200  # of a paper's sides, left out; so many pixels of it tell the photo's cast
SAME_PATCH = 0.5  # overlap of two candidates that are one patch
# A sheet of paper is as calm and neutral as the card. What tells them apart is what else there is: taken as 18 %, the
# right patch leaves the brightest surface of the scene between a tenth and a perfect white. Chosen.
CARD_REFLECTANCE = 0.18
USUAL_BRIGHTEST, BRIGHTEST_SPREAD = 0.55, 0.75  # reflectance; ln units
IMPOSSIBLE_REFLECTANCE = 1.4  # a perfect white, in light up to 40 % stronger than at the card
BRIGHTEST_PERCENTILE = 99.7  # of the frame: a small label counts, a highlight does not


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A four-sided patch that might be the card."""

    quad: NDArray[np.float64]  # (4, 2), preview pixels
    score: float  # 0..1
    log_Y: float  # median ln luminance inside


def find_card(
    preview: Preview, background: Background, papers: Sequence[NDArray[np.float64]] = ()
) -> tuple[Candidate, ...]:
    """Candidates for the gray card, best first; empty when nothing looks like one.

    Parameters
    ----------
    preview : Preview
    background : Background
    papers : sequence of ndarray, (4, 2)
        Outlines in preview pixels of what is known to be no card.
    """
    scene_log_Y = float(np.percentile(preview.log_Y, BRIGHTEST_PERCENTILE))
    candidates: tuple[Candidate, ...] = ()
    quads: list[NDArray[np.float64]] = []
    layers = preview.layers - _cast_of(preview, papers)
    for masks in (_colour_masks(layers, background), _lightness_masks(preview)):
        for mask in masks:
            quads += [quad for quad in _quads(mask) if not any(_same(quad, other) for other in quads)]
        quads = [quad for quad in quads if not any(_lies_on(quad, paper) for paper in papers)]
        candidates = _best(layers, quads, scene_log_Y)
        if candidates and candidates[0].score * _plausible_level(candidates[0], scene_log_Y) > GOOD_ENOUGH:
            break
    return candidates


def _cast_of(preview: Preview, papers: Sequence[NDArray[np.float64]]) -> NDArray[np.float32]:
    """Ratios (3,), the first 0, that a neutral surface has in this photo, by known white paper; zeros without any."""
    inside = np.zeros(preview.log_Y.shape, np.uint8)
    for paper in papers:
        cv2.fillConvexPoly(inside, np.round(shrunk(paper, PAPER_RIM)).astype(np.int32), 1)
    pixels = preview.layers[inside.astype(bool)]
    if len(pixels) < PAPER_PIXELS:
        return np.zeros(3, np.float32)
    white = pixels[pixels[:, 0] > np.percentile(pixels[:, 0], 50)]  # print is darker
    return np.concatenate([[0.0], np.median(white[:, 1:], axis=0)]).astype(np.float32)


def _colour_masks(layers: NDArray[np.float32], background: Background) -> Iterator[NDArray[np.uint8]]:
    """What is neutral, by several limits; what is apart from the background; what is both."""
    colourfulness = np.asarray(cv2.magnitude(layers[..., 1], layers[..., 2]), dtype=np.float32)
    for values, levels in (
        (colourfulness, np.geomspace(0.04, 0.6, LEVELS)),
        (background.distance, np.geomspace(4, 40, LEVELS // 2)),
    ):
        smooth = cv2.medianBlur(values, 3)
        for level in levels:
            yield (smooth < level).astype(np.uint8)
    # both at once: a gray card on a neutral sheet, or on a wood as light as it
    for level in np.geomspace(0.08, 0.4, 5):
        mask = ((colourfulness < level) & (background.distance > 6)).astype(np.uint8)
        yield np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), dtype=np.uint8)


def _lightness_masks(preview: Preview) -> Iterator[NDArray[np.uint8]]:
    """What is darker than each of several levels; what lies between two of them."""
    smooth = cv2.medianBlur(preview.log_Y, 3)
    darkest, lightest = (float(level) for level in np.percentile(preview.log_Y, (2, 98)))
    levels = np.linspace(darkest, lightest, LEVELS)
    for level in levels:
        yield (smooth < level).astype(np.uint8)
    # a card that touches something lighter and something darker than itself
    for low, high in zip(levels[:-BAND], levels[BAND:], strict=True):
        yield np.asarray(cv2.inRange(smooth, float(low), float(high)), dtype=np.uint8)


def _quads(mask: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
    return [quad for quad in quads_in(mask, MIN_SIDE_PX**2) if _plausible(quad, MAX_AREA_SHARE * mask.size)]


def _best(layers: NDArray[np.float32], quads: list[NDArray[np.float64]], scene_log_Y: float) -> tuple[Candidate, ...]:
    """What could be the card, one candidate a patch, best first."""
    judged = [_judge(layers, quad) for quad in quads]
    candidates = [candidate for candidate in judged if candidate is not None and candidate.score > MIN_SCORE]
    candidates.sort(key=lambda candidate: -candidate.score)
    distinct: list[Candidate] = []
    for candidate in candidates:
        if all(_overlap(candidate.quad, kept.quad) < SAME_PATCH for kept in distinct):
            distinct.append(candidate)
    return _gray_first(distinct[:MOST_PATCHES], scene_log_Y)


def _plausible(quad: NDArray[np.float64], max_area: float) -> bool:
    sides = side_lengths(quad)
    length, width = sorted((sides[[0, 2]].mean(), sides[[1, 3]].mean()), reverse=True)
    angles = corner_angles_deg(quad)
    return bool(
        cv2.contourArea(quad.astype(np.float32)) < max_area
        and width > MIN_SIDE_PX
        and length < MAX_ASPECT * width
        and angles.min() > 60
        and angles.max() < 120
        and max(sides[0] / sides[2], sides[2] / sides[0], sides[1] / sides[3], sides[3] / sides[1]) < 1.5
    )


def _lies_on(quad: NDArray[np.float64], paper: NDArray[np.float64]) -> bool:
    """Whether the middle of a quadrilateral lies on a paper."""
    x, y = (float(value) for value in quad.mean(axis=0))
    return cv2.pointPolygonTest(paper.astype(np.float32), (x, y), measureDist=False) >= 0


def _same(first: NDArray[np.float64], second: NDArray[np.float64]) -> bool:
    """Whether two quadrilaterals are the same to a pixel and a half, whichever corner comes first."""
    distances = np.abs(first[:, None, :] - second[None, :, :]).max(axis=2)
    return bool((distances.min(axis=1) < 1.5).all())


def _judge(layers: NDArray[np.float32], quad: NDArray[np.float64]) -> Candidate | None:
    window, inside = _window(layers.shape, shrunk(quad, 0.25))
    y, x = np.nonzero(inside)
    if len(x) < 40:
        return None
    step = _step_at_rim(layers, quad)
    if step < MIN_STEP:
        return None
    some = slice(None, None, 1 + len(x) // 2000)
    pixels = layers[window][y[some], x[some]].astype(np.float64)
    ratios = np.median(pixels[:, 1:], axis=0)
    cast = float(np.hypot(*ratios))
    basis = np.stack([np.ones(len(pixels)), x[some], y[some]], axis=1)
    plane = np.linalg.solve(basis.T @ basis + 1e-9 * np.eye(3), basis.T @ pixels[:, 0])
    uncalm = _spread(pixels[:, 0] - basis @ plane)
    colour_spread = max(_spread(pixels[:, 1]), _spread(pixels[:, 2]))
    if cast > MAX_RATIO or uncalm > MAX_UNCALM:
        return None
    score = (1 + (cast / NEUTRAL_RATIO) ** 2) ** -2
    score *= np.exp(-0.5 * (uncalm / CALM) ** 2) * np.exp(-0.5 * (colour_spread / CALM_RATIO) ** 2)
    score *= np.sqrt(min(1.0, step / CLEAR_STEP)) * min(1.0, np.sqrt(len(x) / 1500) + 0.4)
    return Candidate(quad, float(score), float(np.median(pixels[:, 0])))


def _spread(values: NDArray[np.float64]) -> float:
    """Robust standard deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _step_at_rim(layers: NDArray[np.float32], quad: NDArray[np.float64]) -> float:
    """Least step in colour, over the four sides, between just inside and just outside (ln units)."""
    share = np.linspace(0.2, 0.8, 9)[:, None, None]
    inner, outer = shrunk(quad, 0.12), shrunk(quad, -0.12)
    inner = inner + share * (np.roll(inner, -1, axis=0) - inner)  # (9, 4, 2)
    outer = outer + share * (np.roll(outer, -1, axis=0) - outer)
    steps = np.abs(_at(layers, inner) - _at(layers, outer)).max(axis=-1)  # (9, 4)
    # a quarter of a side and the least of the sides: half a card, cut off where the light falls off, has no step there
    return float(np.quantile(steps, 0.25, axis=0).min())


def _at(layers: NDArray[np.float32], points: NDArray[np.float64]) -> NDArray[np.float32]:
    rows, columns = layers.shape[:2]
    x = np.clip(np.round(points[..., 0]).astype(int), 0, columns - 1)
    y = np.clip(np.round(points[..., 1]).astype(int), 0, rows - 1)
    return np.asarray(layers[y, x])


def _window(shape: tuple[int, ...], quad: NDArray[np.float64]) -> tuple[tuple[slice, slice], NDArray[np.bool_]]:
    """The quadrilateral's bounding window and its mask within."""
    low = np.maximum(np.floor(quad.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 1, (shape[1], shape[0]))
    high = np.maximum(high, low + 1)
    window = slice(low[1], high[1]), slice(low[0], high[0])
    return window, quad_mask((high[1] - low[1], high[0] - low[0]), quad - low)


def _overlap(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Intersection over the smaller area."""
    shared, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
    smaller = min(cv2.contourArea(first.astype(np.float32)), cv2.contourArea(second.astype(np.float32)))
    return float(shared) / max(float(smaller), 1e-9)


def _gray_first(candidates: list[Candidate], scene_log_Y: float) -> tuple[Candidate, ...]:
    """The candidates by how well they could be the card, given the brightest thing in the scene."""
    return tuple(sorted(candidates, key=lambda candidate: -candidate.score * _plausible_level(candidate, scene_log_Y)))


def _plausible_level(candidate: Candidate, scene_log_Y: float) -> float:
    """How likely the scene's brightest surface is, taking a candidate as the card, 0..1."""
    brightest = np.log(CARD_REFLECTANCE) + scene_log_Y - candidate.log_Y
    if brightest > np.log(IMPOSSIBLE_REFLECTANCE):
        return 0.01
    return float(np.exp(-0.5 * ((brightest - np.log(USUAL_BRIGHTEST)) / BRIGHTEST_SPREAD) ** 2))
