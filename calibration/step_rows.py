"""Which rows of steps do patches suggest, each darker than the one before?

Two patches side by side begin a row, and every next one stands where the last two say. A step may have been missed: a
white one on a white sheet, a black one in shadow. It is put where the row says it must be, at either end or between.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.quads import side_lengths
from calibration.step_patches import StepPatch

Floats = NDArray[np.float64]

MAX_CAST_SPREAD = 0.3  # between steps: the tone curve bends the ratios where the channels differ
MIN_STEP = 0.04  # ln units by which the next step must be darker
NEAREST, FARTHEST = 0.85, 1.75  # spacing of neighbouring steps, in their widths: gaps between them add to 1
OFF_ROW, TURNED = 0.2, 0.25  # of a step's side: how far the next may lie off the row, and differ in its sides
FEW, LEAST_SEEN_OF_FEW, LEAST_SEEN_OF_MANY = 4, 2, 3  # steps; a long row put by two patches goes astray
NEAR_SHARE = 0.6  # of a step's shorter side: how far a patch may lie from where the first guess has its step
MAX_OFF_PX = 1.2  # of the preview: how far from where the other patches have it
FLATNESS = 0.02  # weight of no perspective
OFF_SPACING = 0.22  # of the spacing


def rows_seen(patches: list[StepPatch], count: int) -> Iterator[tuple[Floats, float]]:
    """Rows of steps that patches suggest.

    Parameters
    ----------
    patches : list of StepPatch
    count : int
        Steps of the card.

    Yields
    ------
    (cells, seen)
        Corners (count, 4, 2) of all steps in preview pixels, light to dark, the first two corners of each along the
        row; and the share of the steps that were seen as patches.
    """
    near = _near(patches)
    tried = set[tuple[int, ...]]()
    for first, seconds in enumerate(near):
        for second in seconds:
            for begin in _neighbours(patches, first, int(second)):
                chain = _chain(begin, patches, near, count)
                if len(chain) < (LEAST_SEEN_OF_MANY if count > FEW else LEAST_SEEN_OF_FEW):
                    continue
                for cells in _cells_of(chain, count):
                    about = tuple(int(value) for value in np.round(cells[[0, -1]].mean(axis=1).ravel() / 2))
                    if about not in tried:
                        tried.add(about)
                        yield cells, min(len(chain) / count, 1.0)


def row_again(cells: Floats, patches: list[StepPatch]) -> Iterator[tuple[Floats, float]]:
    """A row put anew by all patches that lie where its steps (count, 4, 2) are; as `rows_seen`, nothing if too few.

    The middles of patches are known to a third of a pixel, their sides only to one or two: so the middles alone tell
    how the steps follow one another, foreshortened, and the sides how large they are.
    """
    centres, places, sides = cells.mean(axis=1), [], []
    seen = []
    side = np.stack([side_lengths(cell) for cell in cells]).mean(axis=0).min()
    for patch in patches:
        off = np.hypot(*(centres - patch.centre).T)
        place = int(off.argmin())
        quad = _begun_along(patch.quad, cells[place, 1] - cells[place, 0])
        if off[place] < NEAR_SHARE * side and _alike(quad, cells[place]):
            places.append(place)
            seen.append(patch.centre)
            sides.append(
                (
                    quad[[1, 2]].mean(axis=0) - quad[[0, 3]].mean(axis=0),
                    quad[[2, 3]].mean(axis=0) - quad[:2].mean(axis=0),
                )
            )
    at, middles, spans = np.array(places, dtype=np.float64), np.array(seen), np.array(sides)
    kept = np.ones(len(at), bool)
    for _ in range(3):
        if len(set(at[kept])) < 3:
            return
        following = _following(at[kept], middles[kept])
        kept = np.hypot(*(following(at) - middles).T) < MAX_OFF_PX
    if len(set(at[kept])) < 3:
        return
    everywhere = np.arange(float(len(cells)))
    step = following(everywhere + 0.5) - following(everywhere - 0.5)
    width = min(float(np.median(np.hypot(*spans[:, 0].T) / np.hypot(*step[at.astype(int)].T))), 1.0)
    basis = np.column_stack([np.ones(kept.sum()), at[kept]])
    tall, *_ = np.linalg.lstsq(basis, spans[kept, 1], rcond=None)
    along, across = width * step / 2, np.column_stack([np.ones(len(cells)), everywhere]) @ tall / 2
    middle = following(everywhere)
    corners = [middle - along - across, middle + along - across, middle + along + across, middle - along + across]
    yield np.stack(corners, axis=1), len(set(at[kept])) / len(cells)


def _following(places: Floats, points: Floats) -> Callable[[Floats], Floats]:
    """Where the middles of evenly spaced steps lie on a line in perspective: (A k + B) / (1 + g k), least squares."""
    k, zero, one = places, np.zeros(len(places)), np.ones(len(places))
    # equations x = A k + B - g k x, for x and y; a little weight on g = 0 keeps three points from inventing perspective
    scale = float(np.ptp(points, axis=0).max()) * max(float(np.ptp(places)), 1.0)
    rows: list[Floats] = [
        np.column_stack([k, zero, one, zero, -k * points[:, 0]]),
        np.column_stack([zero, k, zero, one, -k * points[:, 1]]),
        np.array([[0.0, 0.0, 0.0, 0.0, FLATNESS * scale]]),
    ]
    wanted = np.concatenate([points[:, 0], points[:, 1], [0.0]])
    (a_x, a_y, b_x, b_y, g), *_ = np.linalg.lstsq(np.concatenate(rows), wanted, rcond=None)

    def at(place: Floats) -> Floats:
        return np.asarray(np.column_stack([a_x * place + b_x, a_y * place + b_y]) / (1 + g * place)[:, None])

    return at


def _near(patches: list[StepPatch]) -> list[NDArray[np.intp]]:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Turned:
    """A patch whose corners begin so that the row runs from its first to its second."""

    patch: StepPatch
    quad: Floats
    place: int  # in the row, from the first patch
    number: int  # among the patches


def _neighbours(patches: list[StepPatch], one: int, other: int) -> Iterator[list[_Turned]]:
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


def _chain(begin: list[_Turned], patches: list[StepPatch], near: list[NDArray[np.intp]], count: int) -> list[_Turned]:
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
        yield row_cells(to_px, starts, starts + 1)


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


def row_cells(to_px: Floats, lefts: NDArray[np.floating], rights: NDArray[np.floating]) -> Floats:
    """Corners (n, 4, 2) of steps that reach from `lefts` to `rights` on a flat row of height 1, by a homography."""
    flat = np.stack([_cell_corners(left, right) for left, right in zip(lefts, rights, strict=True)])
    mapped = np.concatenate([flat, np.ones((*flat.shape[:2], 1))], axis=2) @ to_px.T
    return np.asarray(mapped[..., :2] / mapped[..., 2:])
