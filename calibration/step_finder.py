"""Where in the photo does a row of neutral steps lie, from light to dark?

Calm, neutral, four-sided patches are gathered; such of them as stand side by side in one row, each darker than the one
before, are taken for steps of the card, and the others are put where the row says they must be. A step may have been
missed: a white one on a white sheet, a black one in shadow. What decides is whether all steps are calm and neutral
where the row says, and as far apart in lightness as their reflectances ask, but for some tone curve.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.preview import Preview
from calibration.quads import clockwise, corner_angles_deg, quad_mask, quads_in, shrunk, side_lengths

Floats = NDArray[np.float64]

CALM_STEPS = (0.05, 0.09, 0.16, 0.28)  # ln units between neighbouring pixels: borders between steps are steeper
BAND_STEP, BAND_WIDTHS = 0.12, (0.3, 0.6)  # ln units of luminance, of bands in which one step lies alone
MIN_SIDE_PX = 5.0  # of the preview, of a step
MIN_CELL_PX = 8.0  # of a step where the row puts it: smaller ones are put a third of their width wrong (measured)
MAX_ASPECT = 6.0  # of a step
MAX_AREA_SHARE = 0.12  # of the frame, of a step
MAX_CAST = 0.75  # ln units of a ratio, from neutral: warm lamps photographed with daylight balance
MAX_CAST_SPREAD = 0.3  # between steps: the tone curve bends the ratios where the channels differ
MAX_UNCALM = 0.10  # ln units, robust spread inside a step
MIN_STEP = 0.04  # ln units by which the next step must be darker
MOST_PATCHES = 150  # the largest
SAME_PATCH = 0.5  # overlap of two quadrilaterals that are one patch
NEAREST, FARTHEST = 0.85, 1.75  # spacing of neighbouring steps, in their widths: gaps between them add to 1
OFF_ROW, TURNED = 0.2, 0.25  # of a step's side: how far the next may lie off the row, and differ in its sides
OFF_SPACING = 0.22  # of the spacing
LEAST_SLOPE, MOST_SLOPE = 0.3, 3.0  # of seen over known logarithmic steps, for any camera's curve (chosen)
MAX_MISFIT = 0.28  # ln units, of the levels from a smooth curve of the known ones
MIDDLE = 0.3  # of a step's sides, left out all around it when it is looked at
ENOUGH_PIXELS = 150  # of a step, to look at it
CLEAR_SCORE = 0.9  # ends the search
MIN_SCORE = 0.45  # of steps that are as they should be, less what the levels are off
LEAST_FOLLOWING = 0.85  # correlation of levels in given corners with the known ones
RIM_STEP = 0.05  # ln units, in luminance or a ratio, between a step and what lies beside the row


@dataclass(frozen=True, slots=True, eq=False)
class StepsFound:
    """Where the steps lie in the photo, in the order of their reflectances."""

    cells_px: Floats  # (n, 4, 2), corners of each, clockwise or counter-clockwise alike, the first two along the row
    corners_px: Floats  # (4, 2), of the whole row; the first and the last at its light end
    score: float  # 0..1


def find_step_card(
    preview: Preview,
    reflectances: Sequence[float],
    corners: ArrayLike | None = None,
    papers: Sequence[Floats] = (),
) -> StepsFound | None:
    """Find a step card.

    Parameters
    ----------
    preview : Preview
    reflectances : sequence of float
        Of the steps in their order on the card, light to dark.
    corners : array_like, (4, 2), optional
        Outer corners of the row of steps in photo pixels, in order around it, starting anywhere: it is not searched
        then, only turned the right way.
    papers : sequence of ndarray, (4, 2)
        Outlines in preview pixels of what is known to be no card.

    Returns
    -------
    StepsFound or None
        None: nothing in the photo looks like it; with corners: the levels inside them are not in order.
    """
    known = np.log(np.asarray(reflectances, dtype=np.float64))
    if len(known) < 3 or not (np.diff(known) < 0).all():
        raise ValueError("find_step_card: at least three reflectances are needed, from light to dark.")
    if corners is not None:
        return _turned_right(preview, known, clockwise(preview.to_preview(corners)))
    patches = [patch for patch in _patches(preview) if not any(_lies_on(patch.centre, paper) for paper in papers)]
    found = _best(preview, known, _rows_seen(patches, len(known)))
    if found is None:
        return None
    again = _best(preview, known, _row_again(preview.to_preview(found.cells_px), patches))
    return again if again is not None and again.score > found.score - 0.05 else found


def _turned_right(preview: Preview, known: Floats, outer: Floats) -> StepsFound | None:
    """The row in given corners, begun at its light end; None where its levels do not follow the known ones at all.

    The corners are trusted: a step may be covered or shine here, which those who read it will see.
    """
    if not cv2.isContourConvex(outer.astype(np.float32)):
        return None
    ends = np.linspace(0, 1, len(known) + 1)
    best, most = None, LEAST_FOLLOWING
    for turn in range(4):
        to_px, _ = cv2.findHomography(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), np.roll(outer, turn, axis=0), 0)
        cells = _cells(np.asarray(to_px, dtype=np.float64), ends[:-1], ends[1:])
        pixels = [_pixels(preview.layers, cell) for cell in cells]
        if not all(len(inside) for inside in pixels):
            return None
        levels = np.array([np.median(inside[:, 0]) for inside in pixels])
        follows = float(np.corrcoef(levels, known)[0, 1]) if np.ptp(levels) > 1 else 0.0
        if follows > most:
            best, most = _found(preview, cells, follows), follows
    return best


def _found(preview: Preview, cells: Floats, score: float) -> StepsFound:
    cells_px = preview.to_photo(cells)
    outer = np.array([cells_px[0, 0], cells_px[-1, 1], cells_px[-1, 2], cells_px[0, 3]])
    return StepsFound(cells_px, outer, score)


def _best(preview: Preview, known: Floats, rows: Iterator[tuple[Floats, float]]) -> StepsFound | None:
    best: StepsFound | None = None
    for cells, seen in rows:
        score = _score(preview, cells, known, seen)
        if score > (MIN_SCORE if best is None else best.score):
            best = _found(preview, cells, score)
            if score > CLEAR_SCORE:
                break
    return best


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    quad: Floats  # (4, 2), preview pixels, clockwise
    centre: Floats
    along: Floats  # vectors of its two sides, averaged
    across: Floats
    log_Y: float
    ratios: Floats  # (2,)


def _rows_seen(patches: list[_Patch], count: int) -> Iterator[tuple[Floats, float]]:
    """Rows that the patches suggest, with the share of the steps that were seen as patches."""
    near = _near(patches)
    tried = set[tuple[int, ...]]()
    for first, seconds in enumerate(near):
        for second in seconds:
            for begin in _neighbours(patches, first, int(second)):
                chain = _chain(begin, patches, near, count)
                for cells in _cells_of(chain, count):
                    about = tuple(int(value) for value in np.round(cells[[0, -1]].mean(axis=1).ravel() / 2))
                    if about not in tried:
                        tried.add(about)
                        yield cells, min(len(chain) / count, 1.0)


def _row_again(cells: Floats, patches: list[_Patch]) -> Iterator[tuple[Floats, float]]:
    """The row put anew by the middles of all patches that lie where its steps are."""
    centres = cells.mean(axis=1)
    sides = np.stack([side_lengths(cell) for cell in cells]).mean(axis=0)
    quads, places = [], []
    for patch in patches:
        off = np.hypot(*(centres - patch.centre).T)
        place = int(off.argmin())
        quad = _begun_along(patch.quad, cells[place, 1] - cells[place, 0])
        if off[place] < 0.4 * sides.min() and _alike(quad, cells[place]):
            quads.append(quad)
            places.append(place)
    if len(set(places)) < 3:
        return
    # along the row only the middles count: a patch is often a pixel or two smaller than its step, or larger
    ends = [np.array([(q[0] + q[1]) / 2, (q[2] + q[3]) / 2]) for q in quads]
    flat = [np.array([[place + 0.5, 0.0], [place + 0.5, 1.0]]) for place in places]
    to_px, _ = cv2.findHomography(np.concatenate(flat), np.concatenate(ends), 0)
    if to_px is not None:
        width = float(sides[[0, 2]].mean() / np.hypot(*(np.diff(centres, axis=0).mean(axis=0))))
        lefts = np.arange(len(cells)) + 0.5 - min(width, 1.0) / 2
        rights = lefts + min(width, 1.0)
        yield _cells(np.asarray(to_px, dtype=np.float64), lefts, rights), len(set(places)) / len(cells)


def _near(patches: list[_Patch]) -> list[NDArray[np.intp]]:
    """For each patch, those that could be the next step or the next but one."""
    if not patches:
        return []
    centres, log_Y = np.array([patch.centre for patch in patches]), np.array([patch.log_Y for patch in patches])
    ratios = np.array([patch.ratios for patch in patches])
    reach = 2 * FARTHEST * np.array([max(np.hypot(*patch.along), np.hypot(*patch.across)) for patch in patches])
    near = []
    for patch, far in zip(patches, reach, strict=True):
        close = np.hypot(*(centres - patch.centre).T) < far
        alike = np.abs(ratios - patch.ratios).max(axis=1) < MAX_CAST_SPREAD
        near.append(np.flatnonzero(close & alike & (log_Y < patch.log_Y - MIN_STEP)))
    return near


def _patches(preview: Preview) -> list[_Patch]:
    layers = preview.layers
    quads: dict[tuple[int, ...], Floats] = {}
    for mask, grow_px in _masks(layers):
        for quad in quads_in(mask, MIN_SIDE_PX**2 / 2):
            grown = _grown(quad, grow_px)
            if _is_step_like(grown, layers.shape):
                about = *grown.mean(axis=0) / 2, np.sqrt(cv2.contourArea(grown.astype(np.float32))) / 2
                quads.setdefault(tuple(round(float(value)) for value in about), grown)
    found: list[_Patch] = []
    centres = np.empty((0, 2))
    for quad in sorted(quads.values(), key=lambda quad: -cv2.contourArea(quad.astype(np.float32))):
        close = np.hypot(*(centres - quad.mean(axis=0)).T) < 0.5 * float(side_lengths(quad).min())
        if any(_same(quad, found[place].quad) for place in np.flatnonzero(close)):
            continue
        patch = _read(layers, quad)
        if patch is not None:
            found.append(patch)
            centres = np.vstack([centres, patch.centre])
            if len(found) == MOST_PATCHES:
                break
    return found


def _masks(layers: NDArray[np.float32]) -> Iterator[tuple[NDArray[np.uint8], float]]:
    """Where it is calm, by several limits; what lies in bands of luminance. With the rim that each leaves out."""
    kernel = np.ones((3, 3), np.uint8)
    change = np.max(cv2.dilate(layers, kernel) - cv2.erode(layers, kernel), axis=2)
    for limit in CALM_STEPS:
        yield (change < limit).astype(np.uint8), 1.5
    darkest, lightest = (float(level) for level in np.percentile(layers[..., 0], (0.5, 99.9)))
    for width in BAND_WIDTHS:
        for level in np.arange(darkest - width / 2, lightest, BAND_STEP * width / BAND_WIDTHS[0]):
            yield np.asarray(cv2.inRange(layers[..., 0], level, level + width), dtype=np.uint8), 0.0


def _grown(quad: Floats, rim_px: float) -> Floats:
    sides = side_lengths(quad)
    return shrunk(quad, -2 * rim_px / max(float(sides.min()), 1.0)) if rim_px else quad


def _is_step_like(quad: Floats, shape: tuple[int, ...]) -> bool:
    sides = side_lengths(quad)
    along, across = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    angles = corner_angles_deg(quad)
    return bool(
        min(along, across) > MIN_SIDE_PX
        and max(along, across) < MAX_ASPECT * min(along, across)
        and along * across < MAX_AREA_SHARE * shape[0] * shape[1]
        and angles.min() > 60
        and angles.max() < 120
    )


def _read(layers: NDArray[np.float32], quad: Floats) -> _Patch | None:
    pixels = _pixels(layers, quad)
    if len(pixels) < 6:
        return None
    middle = np.median(pixels, axis=0)
    uncalm = 1.4826 * float(np.median(np.abs(pixels[:, 0] - middle[0])))
    if np.hypot(*middle[1:]) > MAX_CAST or uncalm > MAX_UNCALM:
        return None
    sides = np.roll(quad, -1, axis=0) - quad
    return _Patch(
        quad, quad.mean(axis=0), (sides[0] - sides[2]) / 2, (sides[1] - sides[3]) / 2, float(middle[0]), middle[1:]
    )


def _pixels(layers: NDArray[np.float32], quad: Floats, share: float = MIDDLE) -> Floats:
    """Layers (n, 3) in the middle of a quadrilateral; none where it leaves the picture."""
    inner = shrunk(quad, share)
    low, high = np.floor(inner.min(axis=0)).astype(int), np.ceil(inner.max(axis=0)).astype(int) + 1
    if low.min() < 0 or high[0] > layers.shape[1] or high[1] > layers.shape[0]:
        return np.empty((0, 3))
    inside = quad_mask((high[1] - low[1], high[0] - low[0]), inner - low)
    pixels = layers[low[1] : high[1], low[0] : high[0]][inside]
    return pixels[:: 1 + len(pixels) // ENOUGH_PIXELS].astype(np.float64)


def _same(first: Floats, second: Floats) -> bool:
    """Whether one patch lies on the other and is nearly as large; a small one on a large one is another."""
    a, b = first.astype(np.float32), second.astype(np.float32)
    shared = float(cv2.intersectConvexConvex(a, b)[0])
    return shared > SAME_PATCH * max(cv2.contourArea(a), cv2.contourArea(b))


def _lies_on(point: Floats, paper: Floats) -> bool:
    return cv2.pointPolygonTest(paper.astype(np.float32), (float(point[0]), float(point[1])), measureDist=False) >= 0


@dataclass(frozen=True, slots=True, eq=False)
class _Turned:
    """A patch whose corners begin so that the row runs from its first to its second."""

    patch: _Patch
    quad: Floats
    place: int  # in the row, from the first patch
    number: int  # among the patches


def _neighbours(patches: list[_Patch], one: int, other: int) -> Iterator[list[_Turned]]:
    """Two patches as first and next, or next but one, steps of a row; nothing if they cannot be."""
    first, second = patches[one], patches[other]
    shift = second.centre - first.centre
    for along, across in ((first.along, first.across), (first.across, first.along)):
        axes = np.column_stack([along, across])
        if abs(np.linalg.det(axes)) < 1e-6:
            continue
        ahead, aside = np.linalg.solve(axes, shift)
        for places in (1, 2):
            spacing = abs(ahead) / places
            if NEAREST < spacing < FARTHEST and abs(aside) < OFF_ROW * places:
                quads = [_begun_along(patch.quad, shift) for patch in (first, second)]
                if _alike(*quads):
                    yield [_Turned(first, quads[0], 0, one), _Turned(second, quads[1], places, other)]


def _begun_along(quad: Floats, direction: Floats) -> Floats:
    """The same corners, the first side pointing along a direction."""
    sides = np.roll(quad, -1, axis=0) - quad
    first = int((sides @ direction / np.maximum(np.hypot(*sides.T), 1e-9)).argmax())
    return np.roll(quad, -first, axis=0)


def _alike(first: Floats, second: Floats) -> bool:
    """Whether two quadrilaterals have about the same sides."""
    ratio = side_lengths(first) / side_lengths(second)
    a, b = first[1] - first[0], second[1] - second[0]
    turned = abs(a[0] * b[1] - a[1] * b[0]) / max(float(np.hypot(*a) * np.hypot(*b)), 1e-9)
    return bool(np.abs(np.log(ratio)).max() < np.log(1.7) and turned < TURNED)


def _chain(begin: list[_Turned], patches: list[_Patch], near: list[NDArray[np.intp]], count: int) -> list[_Turned]:
    """The longest row that goes on from its first two: every next one where the last two say."""
    chain = list(begin)
    while chain[-1].place < count - 1:
        last, before = chain[-1], chain[-2]
        spacing = (last.patch.centre - before.patch.centre) / (last.place - before.place)
        off = [
            (places, float(np.hypot(*(patches[k].centre - last.patch.centre - places * spacing))), k)
            for k in near[last.number]
            for places in (1, 2)
        ]
        off = [step for step in off if step[1] < OFF_SPACING * step[0] * float(np.hypot(*spacing)) + 1.0]
        off = [step for step in off if _alike(last.quad, _begun_along(patches[step[2]].quad, spacing))]
        if not off:
            break
        places, _, k = min(off)
        chain.append(_Turned(patches[k], _begun_along(patches[k].quad, spacing), last.place + places, int(k)))
    return chain


def _cells_of(chain: list[_Turned], count: int) -> Iterator[Floats]:
    """All steps (count, 4, 2) that a row of patches may stand for, whichever of them it begins with."""
    reach = chain[-1].place
    if reach >= count:
        return
    first, last = chain[0], chain[-1]
    spacing = float(np.hypot(*(last.patch.centre - first.patch.centre))) / reach
    width = float(np.mean([side_lengths(step.quad)[[0, 2]].mean() for step in chain]))
    pitch = max(spacing / max(width, 1e-9), 1.0)
    places = np.array([step.place for step in chain])
    lefts = places * pitch
    flat = np.concatenate([_cell_corners(left, left + 1) for left in lefts])
    to_px = _mapped(flat, np.concatenate([step.quad for step in chain]), bent=len(chain) > 2)
    if to_px is None:
        return
    for missing in range(count - reach):
        starts = (np.arange(count) - missing) * pitch
        yield _cells(to_px, starts, starts + 1)


def _cell_corners(left: float | np.floating, right: float | np.floating) -> Floats:
    return np.array([[left, 0.0], [right, 0.0], [right, 1.0], [left, 1.0]])


def _mapped(flat: Floats, seen: Floats, *, bent: bool) -> Floats | None:
    """Homography (3, 3) from a flat row to the picture; an affine one where there is too little for perspective."""
    if bent:
        to_px, _ = cv2.findHomography(flat, seen, 0)
        return None if to_px is None else np.asarray(to_px, dtype=np.float64)
    basis = np.column_stack([flat, np.ones(len(flat))])
    affine, *_ = np.linalg.lstsq(basis, seen, rcond=None)
    return np.vstack([affine.T, [0.0, 0.0, 1.0]])


def _cells(to_px: Floats, lefts: NDArray[np.floating], rights: NDArray[np.floating]) -> Floats:
    flat = np.stack([_cell_corners(left, right) for left, right in zip(lefts, rights, strict=True)])
    mapped = np.concatenate([flat, np.ones((*flat.shape[:2], 1))], axis=2) @ to_px.T
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def _score(preview: Preview, cells: Floats, known: Floats, seen: float) -> float:
    """How well cells could be the steps, 0..1."""
    if min(side_lengths(cell).min() for cell in cells) < MIN_CELL_PX:
        return 0.0
    steps = [_read(preview.layers, cell) for cell in cells]
    count = len(known)
    good = np.array([step is not None for step in steps])
    log_Y = np.array([np.nan if step is None else step.log_Y for step in steps])
    good[out_of_order(log_Y, good)] = False  # covered, or a lamp shines on it
    if good.sum() < max(3, count - count // 4):
        return 0.0
    ratios = np.array([step.ratios for step, kept in zip(steps, good, strict=True) if step is not None and kept])
    if np.ptp(ratios, axis=0).max() > 2 * MAX_CAST_SPREAD:
        return 0.0
    misfit = _misfit(log_Y[good], known[good])
    if misfit > MAX_MISFIT:
        return 0.0
    rims = float(np.mean([_stands_out(preview.layers, cell, step) for cell, step in zip(cells, steps, strict=True)]))
    return float(good.mean() * (0.5 + 0.2 * seen + 0.3 * rims) * np.exp(-0.5 * (misfit / MAX_MISFIT) ** 2))


def out_of_order(levels: Floats, usable: NDArray[np.bool_], least: float = MIN_STEP) -> list[int]:
    """Usable steps outside the longest row of them in which each is darker than the last.

    Parameters
    ----------
    levels : ndarray, (n,)
        Natural logarithms of light.
    usable : ndarray of bool, (n,)
    least : float
        By which the next must be darker.
    """
    rows: list[list[int]] = []
    for place in np.flatnonzero(usable):
        before = [row for row in rows if levels[place] < levels[row[-1]] - least]
        rows.append([*max(before, key=len, default=[]), int(place)])
    kept = max(rows, key=len, default=[])
    return [int(place) for place in np.flatnonzero(usable) if place not in kept]


def _misfit(log_Y: Floats, known: Floats) -> float:
    """How far levels lie from a smooth curve of the known ones, ln units; infinite where its slope is no camera's."""
    slopes = np.diff(log_Y) / np.diff(known)
    if slopes.max() > MOST_SLOPE or np.median(slopes) < LEAST_SLOPE:
        return np.inf
    degree = 1 if len(known) < 4 else 2 if len(known) < 6 else 3
    residual = log_Y - np.polyval(np.polyfit(known, log_Y, degree), known)
    return float(np.sqrt((residual**2).mean()))


def _stands_out(layers: NDArray[np.float32], cell: Floats, step: _Patch | None) -> bool:
    """Whether a step differs from what lies above and below the row."""
    if step is None:
        return False
    up = cell[[0, 1]] - cell[[3, 2]]
    sides = (cell[[0, 1]].mean(axis=0) + 0.15 * up.mean(axis=0), cell[[2, 3]].mean(axis=0) - 0.15 * up.mean(axis=0))
    here = np.array([step.log_Y, *step.ratios])
    for side in sides:
        x = int(np.clip(round(float(side[0])), 0, layers.shape[1] - 1))
        y = int(np.clip(round(float(side[1])), 0, layers.shape[0] - 1))
        if np.abs(layers[y, x] - here).max() < RIM_STEP:
            return False
    return True
