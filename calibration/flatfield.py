"""Which light does a photo of a plain sheet show, and can it be trusted?

The sheet stands for a surface that is alike everywhere, so what varies smoothly over it is the light and the lens.
Dust, print and the sheet's end do not vary smoothly: a polynomial is fitted to what agrees with it (Tukey's biweight,
Beaton & Tukey, Technometrics 16, 1974, 147-185), and what agrees is smoothed on top of it.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.mixed_light import MIXED_LIGHT, log_level, log_ratios
from calibration.photo import Photo

Map = NDArray[np.float32]

MAP_PX = 160  # longest side of a light map: light is smooth
READ_PX = 1280  # longest side to which codes are averaged before they are made linear; noise is then a code or less
CLIPPED_STRIDE = 4  # every so many pixels is enough to see clipping
FLAT_MIN_LEVEL, FLAT_MAX_CLIPPED, FLAT_MAX_DETAIL = 0.08, 0.005, 0.03
FLAT_MIN_PLAIN = 0.90  # share of the board's area that must look like one sheet (chosen)
LEAST = 1e-4  # of full scale: below it there is no light to take a logarithm of

# Degree of the polynomial, and how many map pixels the sheet may be followed beyond what is known to be sheet.
GROWTH = ((2, 8), (4, 24), (4, 48))
BIWEIGHT = 4.685  # spreads, beyond which a pixel does not count (the usual tuning: 95 % efficient on Gaussian noise)
CALM = 0.003  # least spread, ln: paper and JPEG
FIT_ROUNDS = 6
FIT_STRIDE = 2  # a polynomial needs no more than every second map pixel
SMOOTH_PX = MAP_PX / 24  # standard deviation of the smoothing of what the polynomial leaves
BLOCK_PX = 12  # side of the blocks that are left out by turns, about a zone's width


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """The light on a plain sheet."""

    log_light: Map  # (rows, columns), ln, over the whole photo
    log_ratios: Map | None  # (rows, columns, 2), ln R/G and B/G, where the light's colour changes
    mixed: float  # change of a ratio over the board, ln
    scale: tuple[float, float]  # map pixels per photo pixel
    residual: float  # relative: how far left-out blocks of the sheet lie from the rest's smooth light, root mean square


def read_sheet(photo: Photo, face_px: NDArray[np.float64]) -> tuple[Sheet | None, str]:
    """The light that a photo of a plain sheet shows.

    Parameters
    ----------
    photo : Photo
    face_px : ndarray, (4, 2)
        The board's corners in a photo taken from the same place, px.

    Returns
    -------
    sheet : Sheet or None
    why_not : str
        When None: why the photo cannot serve.
    """
    linear_RGB, scale = _small_linear(photo)
    on_board = _inside(linear_RGB.shape[:2], face_px, scale)
    why_not = _unfit(photo, linear_RGB, on_board, face_px)
    if why_not:
        return None, why_not
    log_RGB = np.log(np.maximum(linear_RGB, LEAST))
    level = log_level(log_RGB).astype(np.float32)
    surface = _smooth_surface(level, on_board)
    plain = float(surface.trust[on_board].mean())
    detail = float(np.std(np.expm1((level - surface.log_light)[on_board & surface.trust])))
    if plain < FLAT_MIN_PLAIN:
        return None, f"the sheet is not plain ({1 - plain:.0%} of the board's area does not look like one even sheet)"
    if detail > FLAT_MAX_DETAIL:
        return None, f"the sheet is not plain (it varies by {detail:.1%} over short distances)"
    ratios = np.stack(
        [_smooth_surface(ratio, on_board).log_light for ratio in np.moveaxis(log_ratios(log_RGB), -1, 0)], axis=-1
    )
    mixed = float(np.ptp(ratios[on_board], axis=0).max())
    residual = _left_out_residual(level, on_board)
    return Sheet(surface.log_light, ratios if mixed > MIXED_LIGHT else None, mixed, scale, residual), ""


def _small_linear(photo: Photo) -> tuple[Map, tuple[float, float]]:
    """Linear RGB (rows, columns, 3) averaged to the size of a light map, and map pixels per photo pixel."""
    rows, columns = photo.codes.shape[:2]
    step = max(1, min(max(rows, columns) // READ_PX, rows, columns))
    # whole steps only: averaging is then six times as fast, and what is cut off is narrower than a step
    rows, columns = rows // step * step, columns // step * step
    whole = photo.codes[:rows, :columns]
    codes = cv2.resize(whole, (columns // step, rows // step), interpolation=cv2.INTER_AREA)
    linear = cv2.LUT(codes, photo.curve[np.newaxis])
    shrink = min(1.0, MAP_PX / max(rows, columns))
    size = max(2, round(columns * shrink)), max(2, round(rows * shrink))
    small = np.asarray(cv2.resize(linear, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    return small, (size[0] / columns, size[1] / rows)


def _inside(shape: tuple[int, ...], face_px: NDArray[np.float64], scale: tuple[float, float]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round((face_px + 0.5) * scale - 0.5).astype(np.int32), 1)
    return mask.astype(bool)


def _unfit(photo: Photo, linear_RGB: Map, on_board: NDArray[np.bool_], face_px: NDArray[np.float64]) -> str:
    """Why the exposure over the board's place cannot serve; empty when it can."""
    to_Y = photo.to_XYZ[1].astype(np.float32)
    if not on_board.any() or float(np.median(linear_RGB[on_board] @ to_Y)) < FLAT_MIN_LEVEL:
        return "it is too dark"
    some = slice(None, None, CLIPPED_STRIDE)
    clipped = photo.is_clipped(some, some)
    if float(clipped[_inside(clipped.shape, face_px, (1 / CLIPPED_STRIDE, 1 / CLIPPED_STRIDE))].mean()) > (
        FLAT_MAX_CLIPPED
    ):
        return "it is clipped"
    return ""


class _Surface(NamedTuple):
    log_light: Map  # (rows, columns)
    trust: NDArray[np.bool_]  # (rows, columns), what agrees with it


def _smooth_surface(
    level: NDArray[np.floating], on_board: NDArray[np.bool_], known: NDArray[np.bool_] | None = None
) -> _Surface:
    """A smooth surface through the sheet: from the board's place outward, as far as the sheet goes.

    Parameters
    ----------
    level : ndarray, (rows, columns)
        ln light as the sheet shows it.
    on_board : ndarray of bool, (rows, columns)
        Where the board will lie: there it is sheet, mostly.
    known : ndarray of bool, (rows, columns), optional
        Only these pixels may be used.
    """
    level = level.astype(np.float32)
    usable = np.ones(level.shape, bool) if known is None else known
    sheet, polynomial, spread = on_board & usable, level, CALM
    for degree, steps in GROWTH:
        polynomial, spread = _robust_polynomial(level, sheet, degree)
        around = cv2.dilate(sheet.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=steps).astype(bool)
        sheet = (np.abs(level - polynomial) < BIWEIGHT * spread) & (around | on_board) & usable
    if not sheet.any():
        return _Surface(polynomial, sheet)
    weight = cv2.GaussianBlur(sheet.astype(np.float32), (0, 0), SMOOTH_PX)
    left = cv2.GaussianBlur(np.where(sheet, level - polynomial, 0).astype(np.float32), (0, 0), SMOOTH_PX)
    # far from any sheet the polynomial may run away; light does not
    low, high = float(level[sheet].min()) - 0.1, float(level[sheet].max()) + 0.1
    return _Surface(np.clip(polynomial + left / (weight + 1e-3), low, high), sheet)


def _robust_polynomial(level: Map, sheet: NDArray[np.bool_], degree: int) -> tuple[Map, float]:
    """Polynomial (rows, columns) fitted to the sheet, and the spread of the sheet about it."""
    terms = _terms(*level.shape, degree)
    some = np.zeros_like(sheet)
    some[::FIT_STRIDE, ::FIT_STRIDE] = sheet[::FIT_STRIDE, ::FIT_STRIDE]
    basis, values = terms[some], level[some].astype(np.float64)
    residuals, coefficients, spread = values - np.median(values), np.zeros(terms.shape[-1]), CALM
    for _ in range(FIT_ROUNDS):
        spread = max(1.4826 * float(np.median(np.abs(residuals))), CALM)
        weights = np.clip(1 - (residuals / (BIWEIGHT * spread)) ** 2, 0, None) ** 2
        weighted = basis * weights[:, np.newaxis]
        ridge = 1e-9 * max(len(values), 1) * np.eye(terms.shape[-1])
        coefficients = np.asarray(np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ values), dtype=np.float64)
        residuals = values - basis @ coefficients
    return (terms @ coefficients).astype(np.float32), spread


@lru_cache(maxsize=4)  # one photo asks five times
def _terms(rows: int, columns: int, degree: int) -> NDArray[np.float64]:
    """Monomials (rows, columns, terms) of the place in the frame, -1 to 1. Shared and read-only."""
    down = np.linspace(-1, 1, rows)[:, np.newaxis] ** np.arange(degree + 1)
    along = np.linspace(-1, 1, columns)[:, np.newaxis] ** np.arange(degree + 1)
    powers = [(i, total - i) for total in range(degree + 1) for i in range(total + 1)]
    terms = np.stack([np.outer(down[:, i], along[:, j]) for i, j in powers], axis=-1)
    terms.setflags(write=False)
    return terms


def _left_out_residual(level: Map, on_board: NDArray[np.bool_]) -> float:
    """How well each half of the sheet, in blocks like a chessboard's, is foretold by the other half."""
    rows, columns = np.indices(level.shape) // BLOCK_PX
    white = (rows + columns) % 2 == 0
    errors = []
    for left_out in (white, ~white):
        surface = _smooth_surface(level, on_board, ~left_out)
        wanted = left_out & on_board
        block = (rows * (columns.max() + 1) + columns)[wanted]
        difference = np.clip((level - surface.log_light)[wanted], -BIWEIGHT * CALM, BIWEIGHT * CALM)
        count = np.bincount(block)
        full = count > BLOCK_PX**2 / 4
        errors.append(np.bincount(block, difference)[full] / count[full])
    together = np.concatenate(errors)
    return float(np.sqrt(np.mean(together**2))) if together.size else CALM
