"""Where does the 24-patch chart lie, and which patch is which?

Lattices of even patches are looked for in a small copy of the photo, then in a larger one. Which of a lattice's cells
are the chart's, and which way round it lies, is told by colour alone: of all ways to lay 4 x 6 patches on the lattice,
mirrored ones too, the one whose colours fit the published ones best through some camera, by a clear margin.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.chart import COLUMNS, PATCHES, ROWS, chart_XYZ
from calibration.chart_colours import fit_colours
from calibration.chart_patches import Lattice, homography, lattices_in, regions_in, through
from calibration.errors import ReferenceCardError
from calibration.photo import Photo
from calibration.preview import Preview

LARGER_PX = 1400  # longest side, about, of the second copy (chosen: a chart 60 pixels wide in it is found)
CROP_PX = 520  # longest side, about, of what lies inside given corners
REFINED_PITCH_PX = 28  # about; a crop of the photo in which the patches are this large is searched for exact places
# Of 24: right ways round reach 18 to 22 on real charts in tungsten light, daylight and shade, less each patch that is
# covered or clipped. Other things than charts (28 pictures, 12 quilts of random colours) reach 5. Chosen.
MIN_SCORE, CLEAR_SCORE, MARGIN = 9.5, 14.0, 3.0
MIN_SHARE_IN = 0.75  # of the best window's members that another window must hold to be tried
READ_SHARE = 0.22  # of the pitch, half a side of what is read of a cell to judge its colour
READ_ACROSS = 10  # samples across it
FRAME = 0.25  # of the pitch: rim around the patches that is taken as the chart's own
MOST_MOVED = 0.5  # of the pitch, by refining
REFINED_OFF = 0.25  # of the pitch: how far a refined patch may lie from where it was expected
# Frames of charts, in pitches beyond the outermost patches: none (the corners are the patches' own), narrow, wide,
# high. Measured on pictures of four charts.
FRAMES = ((0.0, 0.0), (0.12, 0.12), (0.25, 0.25), (0.17, 0.45))

Cells = NDArray[np.float64]  # (24, 2): column and row on a lattice of each of the chart's patches, in its order


@dataclass(frozen=True, slots=True, eq=False)
class ChartFound:
    """Where the chart lies, with its order known."""

    to_px: NDArray[np.float64]  # homography (3, 3): column and row, (0, 0) the middle of dark skin, to photo pixels
    patch_share: float  # of the pitch that a patch takes, about
    corners_px: NDArray[np.float64]  # (4, 2), of the chart, clockwise from dark skin's: as given, or about the patches
    score: float  # 0..24: how many patches have the colour they should, about
    runner_up: float  # the same, of the best other way to lay the chart there

    def centres_px(self) -> NDArray[np.float64]:
        """Middles (24, 2) of the patches in the photo, row by row from dark skin."""
        return through(self.to_px, chart_cells())

    def squares_px(self, share: float) -> NDArray[np.float64]:
        """Corners (24, 4, 2) of squares about the patches' middles, `share` of the pitch wide."""
        square = share / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        points = (chart_cells()[:, None] + square).reshape(-1, 2)
        return through(self.to_px, points).reshape(PATCHES, 4, 2)

    @property
    def pitch_px(self) -> float:
        """Smallest distance of neighbouring patches' middles."""
        middles = self.centres_px().reshape(ROWS, COLUMNS, 2)
        return float(min(np.hypot(*np.diff(middles, axis=axis).reshape(-1, 2).T).min() for axis in (0, 1)))


def chart_cells() -> Cells:
    """Column and row (24, 2) of the patches, row by row from dark skin."""
    rows, columns = np.divmod(np.arange(PATCHES), COLUMNS)
    return np.column_stack([columns, rows]).astype(np.float64)


def find_chart(photo: Photo, preview: Preview, corners: ArrayLike | None = None) -> ChartFound | None:
    """Find the 24-patch chart.

    Parameters
    ----------
    photo : Photo
    preview : Preview
        Its small copy.
    corners : array_like, (4, 2), optional
        Corners of the whole chart as the finisher gave them, pixels, in order around it from any of them. Only inside
        them is looked; the patches' own places are refined.

    Returns
    -------
    ChartFound or None
        None where nothing in the photo has a chart's patches and colours.

    Raises
    ------
    ReferenceCardError
        If the chart is seen in a mirror, or given corners are no four corners in order.
    """
    if corners is not None:
        return _inside(photo, np.asarray(corners, dtype=np.float64))
    found = _best(photo, [_scaled(lattice, preview.shrink) for lattice in lattices_in(preview.codes)])
    if found is None:
        shrink = max(1, round(max(photo.codes.shape[:2]) / LARGER_PX))
        if shrink < preview.shrink:
            rows, columns = photo.codes.shape[:2]
            copy = _copy(photo, slice(0, rows), slice(0, columns), shrink)
            found = _best(photo, [_scaled(lattice, shrink) for lattice in lattices_in(copy)])
    return found


def _inside(photo: Photo, corners: NDArray[np.float64]) -> ChartFound | None:
    """The chart inside given corners: by its patches, or, where they are not made out, by usual frames."""
    if corners.shape != (4, 2) or not cv2.isContourConvex(corners.astype(np.float32)):
        raise ReferenceCardError(
            "the corners given are not those of a chart, in order around it.",
            photo=photo.name,
            remedy="Give them one after the other around the chart.",
            code="chart-missing",
        )
    rows, columns = _window(photo, corners, 0.05)
    size = max(rows.stop - rows.start, columns.stop - columns.start)
    if size < 1:
        return None
    shrink = max(1, round(size / CROP_PX))
    offset = (columns.start, rows.start)
    lattices = [_scaled(lattice, shrink, offset) for lattice in lattices_in(_copy(photo, rows, columns, shrink))]
    framed = []
    for x, y in FRAMES:
        for across, down, sides in ((COLUMNS, ROWS, (x, y)), (ROWS, COLUMNS, (y, x))):
            low, high = -0.5 - np.array(sides), np.array([across, down]) - 0.5 + sides
            frame = np.array([low, [high[0], low[1]], high, [low[0], high[1]]], dtype=np.float32)
            to_px = cv2.getPerspectiveTransform(frame, corners.astype(np.float32)).astype(np.float64)
            cells = np.stack(np.meshgrid(np.arange(across), np.arange(down)), axis=-1).reshape(-1, 2)
            framed.append(Lattice(to_px, cells, 0.85))
    return _best(photo, lattices, corners) or _best(photo, framed, corners)


def _best(photo: Photo, lattices: list[Lattice], corners: NDArray[np.float64] | None = None) -> ChartFound | None:
    """The lattice whose colours are a chart's; None where none is clear."""
    best: _Laid | None = None
    for lattice in lattices:
        laid = _laid(photo, lattice, corners)
        if laid is not None and (best is None or laid.score > best.score):
            best = laid
        if best is not None and best.score >= CLEAR_SCORE and corners is None:
            break
    if best is None:
        return None
    if best.is_mirrored:
        raise ReferenceCardError(
            "the photo is mirrored: the 24-patch chart's colours stand in mirrored order.",
            photo=photo.name,
            remedy="Send the original photo; switch off mirroring if a front camera was used.",
            code="chart-mirrored",
        )
    return _found(photo, best, corners)


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A chart laid on a lattice."""

    lattice: Lattice
    cells: Cells
    score: float
    runner_up: float

    @property
    def is_mirrored(self) -> bool:
        across, down = self.cells[1] - self.cells[0], self.cells[COLUMNS] - self.cells[0]
        seen = across[0] * down[1] - across[1] * down[0]
        # given corners may run round the chart the other way: a lattice can be mirrored itself
        corner, right, below = self.lattice.middles(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        (a, b), (c, d) = right - corner, below - corner
        return bool(seen * (a * d - b * c) < 0)


def _laid(photo: Photo, lattice: Lattice, corners: NDArray[np.float64] | None) -> _Laid | None:
    """The best way to lay the chart on a lattice, if it is a good and a clear one."""
    known = chart_XYZ()
    colours: dict[tuple[int, int], NDArray[np.float64]] = {}
    ways = [
        cells
        for cells in _ways(lattice)
        if corners is None or _within(lattice.middles(cells.mean(axis=0)[None])[0], corners)
    ]
    if not ways:
        return None
    seen = np.array([[_colour(photo, lattice, cell, colours) for cell in cells] for cells in ways])
    scores = fit_colours(seen, known).score
    first, second = np.argsort(-scores)[:2]  # a lattice can be laid on in four ways or more
    clear = scores[first] >= max(MIN_SCORE, scores[second] + MARGIN)
    return _Laid(lattice, ways[first], float(scores[first]), float(scores[second])) if clear else None


def _ways(lattice: Lattice) -> Iterator[Cells]:
    """All ways to lay the chart on a lattice so that it holds most of its members."""
    low, high = lattice.cells.min(axis=0), lattice.cells.max(axis=0)
    windows = []
    for width, height in ((COLUMNS, ROWS), (ROWS, COLUMNS)):
        for left in range(min(low[0], high[0] - width + 1), max(low[0], high[0] - width + 1) + 1):
            for top in range(min(low[1], high[1] - height + 1), max(low[1], high[1] - height + 1) + 1):
                at = lattice.cells - (left, top)
                held = int(((at >= 0) & (at < (width, height))).all(axis=1).sum())
                windows.append((held, left, top, width, height))
    most = max(held for held, *_ in windows)
    for held, left, top, width, height in windows:
        if held < MIN_SHARE_IN * most:
            continue
        grid = np.stack(np.meshgrid(left + np.arange(width), top + np.arange(height)), axis=-1).astype(np.float64)
        for mirrored in (grid, grid[:, ::-1]):
            for quarter in range(4):
                turned = np.rot90(mirrored, quarter)
                if turned.shape[:2] == (ROWS, COLUMNS):
                    yield turned.reshape(PATCHES, 2)


def _colour(
    photo: Photo, lattice: Lattice, cell: NDArray[np.float64], known: dict[tuple[int, int], NDArray[np.float64]]
) -> NDArray[np.float64]:
    """Median linear RGB (3,) of a cell's middle; NaN where a channel is clipped, or it lies outside the photo."""
    key = int(cell[0]), int(cell[1])
    if key not in known:
        known[key] = _middle_colour(
            photo, lattice.middles(cell + READ_SHARE * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))
        )
    return known[key]


def _middle_colour(photo: Photo, square_px: NDArray[np.float64]) -> NDArray[np.float64]:
    rows, columns = photo.codes.shape[:2]
    # the largest upright square inside a turned one is half as wide on its corner
    middle, half = square_px.mean(axis=0), 0.35 * float(np.sqrt(max(cv2.contourArea(square_px.astype(np.float32)), 0)))
    low, high = np.round(middle - half).astype(int), np.round(middle + half).astype(int) + 1
    if low.min() < 0 or high[0] > columns or high[1] > rows or half > max(rows, columns):
        return np.full(3, np.nan)
    step = max(1, int(2 * half / READ_ACROSS))
    codes = np.median(photo.codes[low[1] : high[1] : step, low[0] : high[0] : step].reshape(-1, 3), axis=0)
    linear = np.array([photo.curve[round(codes[channel]), channel] for channel in range(3)], dtype=np.float64)
    return np.where(codes < photo.clipped_from, linear, np.nan)


def _found(photo: Photo, laid: _Laid, corners: NDArray[np.float64] | None) -> ChartFound:
    """The chart in its own order, its patches' places refined in the photo."""
    corner, right, below = laid.cells[0], laid.cells[1], laid.cells[COLUMNS]
    to_lattice = np.eye(3)
    to_lattice[:2] = np.column_stack([right - corner, below - corner, corner])
    to_px, share = _refined(photo, laid.lattice.to_px @ to_lattice, laid.lattice.share)
    if corners is None:
        low, high = -0.5 - FRAME, np.array([COLUMNS, ROWS]) - 0.5 + FRAME
        corners = through(to_px, np.array([[low, low], [high[0], low], high, [low, high[1]]]))
    else:
        corners = _from_first(corners, through(to_px, np.array([[-0.5, -0.5], [COLUMNS - 0.5, ROWS - 0.5]])))
    return ChartFound(to_px, min(share, 0.95), corners, laid.score, laid.runner_up)


def _refined(photo: Photo, to_px: NDArray[np.float64], share: float) -> tuple[NDArray[np.float64], float]:
    """The same homography, through the patches as a crop of the photo at a suitable scale shows them."""
    middles = through(to_px, chart_cells())
    pitch = float(np.median(np.hypot(*np.diff(middles.reshape(ROWS, COLUMNS, 2), axis=1).reshape(-1, 2).T)))
    shrink = max(1, round(pitch / REFINED_PITCH_PX))
    rows, columns = _window(photo, middles, pitch)
    if rows.stop - rows.start < 4 * shrink or columns.stop - columns.start < 4 * shrink:
        return to_px, share
    regions = regions_in(_copy(photo, rows, columns, shrink), most_side_share=0.4)
    centres = (regions.centres + 0.5) * shrink - 0.5 + (columns.start, rows.start)
    at = through(np.asarray(np.linalg.inv(to_px), dtype=np.float64), centres)
    cell = np.round(at)
    on = (np.hypot(*(at - cell).T) < REFINED_OFF) & (cell >= 0).all(axis=1) & (cell < (COLUMNS, ROWS)).all(axis=1)
    shares = regions.sides * shrink / pitch
    on &= (shares > 0.6 * share) & (shares < min(1.1, 1.5 * share))
    if len(np.unique(cell[on], axis=0)) < PATCHES // 3:
        return to_px, share
    refined = homography(cell[on], centres[on], max(0.06 * pitch, 0.5 * shrink))
    if refined is None or np.hypot(*(through(refined.to_px, chart_cells()) - middles).T).max() > MOST_MOVED * pitch:
        return to_px, share
    return refined.to_px, float(np.median(shares[on]))


def _scaled(lattice: Lattice, shrink: int, offset: tuple[int, int] = (0, 0)) -> Lattice:
    """A lattice of a copy in pixels of the photo."""
    half = (shrink - 1) / 2
    to_photo = np.array([[shrink, 0, half + offset[0]], [0, shrink, half + offset[1]], [0, 0, 1]], dtype=np.float64)
    return Lattice(to_photo @ lattice.to_px, lattice.cells, lattice.share)


def _window(photo: Photo, points: NDArray[np.float64], margin: float) -> tuple[slice, slice]:
    """Rows and columns of the photo about points (n, 2); `margin` in pixels, or below 1 as a share of their extent."""
    wider = margin if margin >= 1 else margin * float(np.ptp(points, axis=0).max())
    size = photo.codes.shape[1], photo.codes.shape[0]
    low = np.clip(np.floor(points.min(axis=0) - wider), 0, size).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + wider) + 1, low, size).astype(int)
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def _copy(photo: Photo, rows: slice, columns: slice, shrink: int) -> NDArray[np.uint8]:
    """A smaller copy of a region, in 8-bit codes as bright as for the eye."""
    region = photo.codes[rows, columns]
    height, width = (max(1, length // shrink) for length in region.shape[:2])
    whole = region[: height * shrink, : width * shrink]
    small = cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA) if shrink > 1 else whole
    if small.dtype == np.uint8:
        return np.ascontiguousarray(small, dtype=np.uint8)
    bright = max(float(np.percentile(small[::4, ::4], 99)), 256.0)
    straight = float(photo.curve[len(photo.curve) // 2].mean()) > 0.4  # 16-bit codes may be linear: the eye's are not
    relative = np.clip(small / bright, 0, 1)
    return np.asarray(np.rint(255 * (relative ** (1 / 2.2) if straight else relative)), dtype=np.uint8)


def _within(point: NDArray[np.float64], corners: NDArray[np.float64]) -> bool:
    x, y = (float(value) for value in point)
    return cv2.pointPolygonTest(corners.astype(np.float32), (x, y), measureDist=False) >= 0


def _from_first(corners: NDArray[np.float64], diagonal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Given corners clockwise in the picture, from the one nearest to dark skin's."""
    area = cv2.contourArea(corners.astype(np.float32), oriented=True)
    clockwise = corners if area > 0 else corners[::-1]
    first = int(np.hypot(*(clockwise - diagonal[0]).T).argmin())
    return np.roll(clockwise, -first, axis=0)
