"""Which matrix takes this camera's RGB, under this light, to the XYZ of stained wood?  Fitted to a 24-patch chart.

A chart's paints are no wood: the matrix that is best for them is not best for boards. So the chart is used to learn
what the camera would show of stained wood under this light (`camera_posterior.py`), and the matrix is fitted to that
and, with a small weight, to the chart's own patches, those most that look like wood. It keeps the mean of the chart's
neutrals exactly. A root-polynomial (Finlayson, Mackiewicz and Hurlbert 2015) follows a chart more closely, even its
left-out patches, and wood less closely than this matrix does, so there is none here (`tests/studies/camera_study.py`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera_error import CameraError, error_of_modes
from calibration.camera_posterior import CameraPosterior, Patches, learn_camera, trusted
from calibration.camera_prior import bent_to, camera_prior, observer_weights, published_chart_spectra
from calibration.colorspace import XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.white_preserving import Lab_slopes, perceived_slopes, white_preserving_matrix
from calibration.wood_spectra import wood_reflectances

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST_PATCHES = 10  # chosen: 30 values for the matrix's six numbers and the few modes that matter
U_KNOWN = 0.3  # CIEDE2000 units on each axis, chosen: how far a clean chart is from its stated values, about 0.5 in all
CHART_SHARE = 0.1  # chosen: weight of all patches together beside the modelled wood's 1
WOOD_REACH_Lab = 20.0  # chosen: a patch so far from the nearest wood colour counts 60 %
WOOD_LEAST = 0.05  # weight of a patch that looks nothing like wood
LIGHTNESS_SHARE = 0.5  # hue and chroma decide what looks like wood, more than lightness does
# Share of the error by unknown spectra that counts: the modelled wood is more varied than what lies in one photo.
# Chosen so that on simulated boards the stated 95 % regions of colours and of pairs hold the truth 95 % of the time.
WOOD_DOUBT = 0.8
DRAWS = 16  # of what the chart leaves open, for the predicted error


@dataclass(frozen=True, slots=True, eq=False)
class CameraFit:
    """A correction for one camera under one light, and how well it does."""

    matrix: Floats  # (3, 3), linear RGB to XYZ under D50
    used: Flags  # (n,), which patches were used
    chart_delta_E_00: Floats  # (n,), each patch against its known value; NaN where it could not be read
    left_out_delta_E_00: Floats  # (n,), the same by a fit without that patch; NaN where it was not used
    wood_delta_E_00: tuple[float, float]  # mean and 95th percentile predicted for stained wood
    misfit: float  # how many times larger than stated the chart's errors look, 1 or more
    error: CameraError

    @property
    def leave_one_out(self) -> tuple[float, float]:
        """Mean and 95th percentile of the used patches' left-out differences."""
        found = self.left_out_delta_E_00[np.isfinite(self.left_out_delta_E_00)]
        return float(found.mean()), float(np.percentile(found, 95))

    def u_absolute(self, Lab: ArrayLike) -> Floats:
        """Covariance (3, 3) of the error in CIELAB of wood that looks like `Lab` (3,)."""
        return self.error.u_absolute(Lab)

    def u_pair(self, Lab_a: ArrayLike, Lab_b: ArrayLike) -> Floats:
        """Covariance (3, 3) of the error of the difference of two wood-like colours (3,) on one photo."""
        return self.error.u_pair(Lab_a, Lab_b)


def fit_camera(
    linear_RGB: ArrayLike,
    u_relative: ArrayLike,
    known_XYZ: ArrayLike,
    neutral: ArrayLike,
    *,
    spectra: ArrayLike | None = None,
    u_known: float = U_KNOWN,
) -> CameraFit:
    """Fit a camera correction to a chart.

    Parameters
    ----------
    linear_RGB : array_like, (n, 3)
        Each patch as the photo shows it, the tone curve, flare and uneven light taken out; any scale. A row with a NaN
        is a patch that cannot be read.
    u_relative : array_like, (n, 3)
        Relative standard uncertainty of each value.
    known_XYZ : array_like, (n, 3)
        The chart's known values under D50, Y = 1 for a perfect white.
    neutral : array_like of bool, (n,), or of int
        Which patches are neutral; the mean of those used is kept exactly.
    spectra : array_like, (n, 36), optional
        Reflectances at `wood_spectra.BANDS_nm`, bent to the known values. Left out: the published means of the
        24-patch chart, row by row from dark skin.
    u_known : float
        Standard uncertainty of the known values, CIEDE2000 units on each of three axes.

    Raises
    ------
    ValueError
        If the shapes do not fit, a value is negative, fewer than `FEWEST_PATCHES` patches or none of the neutrals can
        be used, or 24 spectra are wanted for another number of patches.
    """
    patches, is_read = _checked(linear_RGB, u_relative, known_XYZ, neutral, spectra, u_known)
    readable = patches.those(is_read)
    _enough(readable)
    agrees = trusted(readable)
    good = readable.those(agrees)
    _enough(good)
    used = is_read.copy()
    used[is_read] = agrees

    posterior = learn_camera(good)
    matrix = _matrix_for_wood(good, posterior)
    left_out = np.full(len(used), np.nan)
    left_out[used] = _left_out(good)
    chart = np.full(len(used), np.nan)
    chart[is_read] = _differences(readable, matrix)
    of_wood, of_open = _errors_on_wood(good, posterior, matrix)
    return CameraFit(
        matrix=matrix,
        used=used,
        chart_delta_E_00=chart,
        left_out_delta_E_00=left_out,
        wood_delta_E_00=_predicted(of_wood, of_open),
        misfit=posterior.misfit,
        error=error_of_modes(XYZ_to_Lab(_wood_XYZ()), of_open, WOOD_DOUBT * of_wood),
    )


def _checked(
    linear_RGB: ArrayLike,
    u_relative: ArrayLike,
    known_XYZ: ArrayLike,
    neutral: ArrayLike,
    spectra: ArrayLike | None,
    u_known: float,
) -> tuple[Patches, Flags]:
    RGB, u = np.asarray(linear_RGB, dtype=np.float64), np.asarray(u_relative, dtype=np.float64)
    XYZ = np.asarray(known_XYZ, dtype=np.float64)
    if RGB.ndim != 2 or RGB.shape[1] != 3 or RGB.shape != XYZ.shape or RGB.shape != u.shape:
        raise ValueError(f"fit_camera: RGB {RGB.shape}, uncertainty {u.shape}, XYZ {XYZ.shape} must all be (n, 3).")
    is_read = np.isfinite(RGB).all(axis=1) & np.isfinite(u).all(axis=1)
    if not (np.isfinite(XYZ).all() and (XYZ > 0).all() and (u[is_read] >= 0).all() and u_known > 0):
        raise ValueError("fit_camera: known XYZ must be above 0 and uncertainties 0 or more (u_known above 0).")
    is_neutral = np.zeros(len(RGB), dtype=bool)
    is_neutral[np.asarray(neutral)] = True
    if spectra is None and len(RGB) != len(published_chart_spectra()):
        raise ValueError(f"fit_camera: give the spectra of {len(RGB)} patches; only those of 24 are published.")
    bent = bent_to(published_chart_spectra() if spectra is None else spectra, XYZ)
    return Patches(RGB, u, XYZ, bent, is_neutral, u_known), np.asarray(is_read)


def _enough(patches: Patches) -> None:
    if len(patches.XYZ) < FEWEST_PATCHES:
        raise ValueError(f"fit_camera: {len(patches.XYZ)} patches can be used, {FEWEST_PATCHES} are needed.")
    if not patches.is_neutral.any():
        raise ValueError("fit_camera: none of the neutral patches can be used.")


def _wood_XYZ() -> Floats:
    return wood_reflectances() @ observer_weights()


def _wood_RGB(posterior: CameraPosterior) -> Floats:
    """What the camera would show of the modelled wood, (n, 3)."""
    departed = _wood_XYZ() + wood_reflectances() @ posterior.departure
    return np.asarray(np.linalg.solve(posterior.matrix, departed.T).T)


def _matrix_for_wood(patches: Patches, posterior: CameraPosterior) -> Floats:
    wood_XYZ = _wood_XYZ()
    of_wood = np.full(len(wood_XYZ), 1 / len(wood_XYZ))
    of_patches = WOOD_LEAST + _wood_likeness(patches.XYZ)
    return white_preserving_matrix(
        np.concatenate([_wood_RGB(posterior), patches.linear_RGB]),
        np.concatenate([wood_XYZ, patches.XYZ]),
        *patches.neutral,
        weights=np.concatenate([of_wood, CHART_SHARE * of_patches / len(of_patches)]),
    )


def _wood_likeness(XYZ: Floats) -> Floats:
    """1 for a colour that stained wood can have, towards 0 away from it, (n,)."""
    apart = XYZ_to_Lab(XYZ)[:, np.newaxis] - XYZ_to_Lab(_wood_XYZ())
    nearest = np.sqrt(((apart * [LIGHTNESS_SHARE, 1, 1]) ** 2).sum(axis=2)).min(axis=1)
    return np.asarray(np.exp(-0.5 * (nearest / WOOD_REACH_Lab) ** 2))


def _differences(patches: Patches, matrix: Floats) -> Floats:
    return np.asarray(delta_E_00(XYZ_to_Lab(patches.linear_RGB @ matrix.T), XYZ_to_Lab(patches.XYZ)))


def _left_out(patches: Patches) -> Floats:
    """CIEDE2000 (n,) of each patch by a fit to all the others; NaN for the only neutral."""
    found = np.full(len(patches.XYZ), np.nan)
    for index in range(len(found)):
        others = np.arange(len(found)) != index
        if patches.is_neutral[others].any():
            rest = patches.those(others)
            matrix = _matrix_for_wood(rest, learn_camera(rest))
            found[index] = _differences(patches.those(~others), matrix)[0]
    return found


def _errors_on_wood(patches: Patches, posterior: CameraPosterior, matrix: Floats) -> tuple[Floats, Floats]:
    """Errors in CIELAB on the modelled wood: expected (n, 3), and by each thing left open, one sigma (n, 3, m)."""
    reflectances, XYZ, RGB = wood_reflectances(), _wood_XYZ(), _wood_RGB(posterior)
    slopes = Lab_slopes(XYZ)
    expected = slopes @ (RGB @ matrix.T - XYZ)[..., np.newaxis]
    to_XYZ = matrix @ np.linalg.inv(posterior.matrix)
    by_matrix = -(np.eye(3)[..., np.newaxis] * (RGB @ posterior.free)[:, np.newaxis, np.newaxis, :]).reshape(-1, 3, 6)
    by_modes = np.einsum("nb,kbx->nxk", reflectances, camera_prior().modes)
    by_numbers = to_XYZ @ np.concatenate([by_matrix, by_modes], axis=2)
    by_chart = by_numbers @ np.linalg.cholesky(posterior.covariance)
    by_neutral = XYZ[..., np.newaxis] * _neutral_doubt(patches, matrix)
    return expected[..., 0], np.asarray(slopes @ np.concatenate([by_chart, by_neutral], axis=2))


def _neutral_doubt(patches: Patches, matrix: Floats) -> Floats:
    """Relative error of X, Y, Z by what the neutrals' mean may be off, as a factor (3, 3) of its covariance."""
    grays = patches.those(patches.is_neutral)
    count = len(grays.XYZ)
    known = np.linalg.inv(perceived_slopes(grays.XYZ)) * patches.u_known
    read = matrix * (grays.u_relative * grays.linear_RGB)[:, np.newaxis, :]
    covariance = (known @ known.transpose(0, 2, 1) + read @ read.transpose(0, 2, 1)).sum(axis=0) / count**2
    mean = grays.XYZ.mean(axis=0)
    return np.asarray(np.linalg.cholesky(covariance) / mean[:, np.newaxis])


def _predicted(expected: Floats, left_open: Floats) -> tuple[float, float]:
    """Mean and 95th percentile of CIEDE2000 over the modelled wood and what the chart leaves open."""
    XYZ = _wood_XYZ()
    to_perceived = perceived_slopes(XYZ) @ np.linalg.inv(Lab_slopes(XYZ))
    draws = np.random.default_rng(0).standard_normal((DRAWS, left_open.shape[2]))  # always the same ones
    errors = WOOD_DOUBT * expected + np.einsum("nxm,dm->dnx", left_open, draws)
    sizes = np.linalg.norm(np.einsum("nyx,dnx->dny", to_perceived, errors), axis=-1)
    return float(sizes.mean()), float(np.percentile(sizes, 95))
