"""What would this camera, under this lamp, show of any surface?  Learned from a chart whose spectra are known.

With c the camera's RGB of a patch of reflectance r and tristimulus values t under D50, some matrix M makes
M c = t + r D, where D is the camera's departure from the observer under this lamp (`camera_prior.py`). All patches
together, each with its noise, and the prior of D give M and D with their covariance: Bayesian linear regression in
closed form. Lamp and camera need not be known apart: only their product matters, and the chart shows it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera_prior import CameraPrior, camera_prior
from calibration.white_preserving import neutral_parts, perceived_slopes, white_preserving_matrix

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# How far one patch may lie off before it is left out: the squared distance of its reading from what all others
# predict, over its covariance; 3 degrees of freedom. Chosen: 25 is passed once in 60,000 good patches.
OUTLIER_DISTANCE = 25.0
MEDIAN_DISTANCE = 2.366  # median of chi-square with 3 degrees of freedom
LARGEST_SHARE_LEFT_OUT = 0.25  # chosen: past that it is no longer the patches that are wrong


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """Known colours as a photo shows them."""

    linear_RGB: Floats  # (n, 3)
    u_relative: Floats  # (n, 3), of each RGB value
    XYZ: Floats  # (n, 3), known, under D50
    spectra: Floats  # (n, 36)
    is_neutral: Flags  # (n,)
    u_known: float  # standard uncertainty of the known values and spectra, CIEDE2000 units, each of three axes

    def those(self, chosen: Flags) -> "Patches":
        """Only the chosen ones."""
        return Patches(
            self.linear_RGB[chosen],
            self.u_relative[chosen],
            self.XYZ[chosen],
            self.spectra[chosen],
            self.is_neutral[chosen],
            self.u_known,
        )

    @property
    def neutral(self) -> tuple[Floats, Floats]:
        """Mean RGB (3,) and XYZ (3,) of the neutrals."""
        return self.linear_RGB[self.is_neutral].mean(axis=0), self.XYZ[self.is_neutral].mean(axis=0)


@dataclass(frozen=True, slots=True, eq=False)
class CameraPosterior:
    """What a chart tells of a camera and its lamp."""

    matrix: Floats  # (3, 3), M
    departure: Floats  # (36, 3), D
    free: Floats  # (3, 2): matrices that keep the neutral differ by numbers (3, 2) @ free.T
    covariance: Floats  # (6 + k, 6 + k), of those six numbers and of the amounts of the prior's k modes
    misfit: float  # how many times larger than stated the chart's errors look; 1 or more, already in `covariance`


def learn_camera(patches: Patches) -> CameraPosterior:
    """Matrix and departure of a camera under its lamp, the mean of the neutrals kept exactly."""
    prior = camera_prior()
    fixed, free = neutral_parts(*patches.neutral)
    start = white_preserving_matrix(patches.linear_RGB, patches.XYZ, *patches.neutral)
    left, right = _whitened(patches, start, fixed, free, prior)
    precision = left.T @ left + _prior_precision(free, prior)
    covariance = np.linalg.inv(precision)
    numbers = covariance @ (left.T @ right)
    matrix_numbers, amounts = np.split(numbers, [3 * free.shape[1]])
    residual = right - left @ numbers
    degrees = right.size - matrix_numbers.size
    misfit = max(1.0, float((residual @ residual + amounts @ amounts) / degrees))
    return CameraPosterior(
        matrix=fixed + matrix_numbers.reshape(3, -1) @ free.T,
        departure=prior.mean + np.tensordot(amounts, prior.modes, axes=1),
        free=free,
        covariance=np.asarray(covariance * misfit),
        misfit=float(np.sqrt(misfit)),
    )


def trusted(patches: Patches) -> Flags:
    """Which patches (n,) agree with all the others; the worst is left out, then the next, until the rest agree.

    Nothing is kept exact here: a bad neutral must not bend what it is judged by.
    """
    keep = np.ones(len(patches.XYZ), dtype=bool)
    for _ in range(int(LARGEST_SHARE_LEFT_OUT * keep.size)):
        distances = _distances(patches.those(keep))
        typical = max(1.0, float(np.median(distances)) / MEDIAN_DISTANCE)
        if distances.max() <= OUTLIER_DISTANCE * typical:
            break
        keep[np.flatnonzero(keep)[distances.argmax()]] = False
    return keep


def _distances(patches: Patches) -> Floats:
    """Squared distance (n,) of each patch from what the others predict for it, over the covariance of that."""
    prior = camera_prior()
    start = white_preserving_matrix(patches.linear_RGB, patches.XYZ, *_brightest(patches))
    free = np.eye(3)
    left, right = _whitened(patches, start, np.zeros((3, 3)), free, prior)
    precision = left.T @ left + _prior_precision(free, prior)
    unexplained = np.eye(right.size) - left @ np.linalg.solve(precision, left.T)
    pulled = (unexplained @ right).reshape(-1, 3)
    count = len(pulled)
    own = unexplained.reshape(count, 3, count, 3)[np.arange(count), :, np.arange(count), :]
    return np.asarray((pulled * np.linalg.solve(own, pulled[..., np.newaxis])[..., 0]).sum(axis=1))


def _brightest(patches: Patches) -> tuple[Floats, Floats]:
    """A rough neutral to start from: the sum over all patches, which no single one governs."""
    return patches.linear_RGB.sum(axis=0), patches.XYZ.sum(axis=0)


def _whitened(
    patches: Patches, matrix: Floats, fixed: Floats, free: Floats, prior: CameraPrior
) -> tuple[Floats, Floats]:
    """The regression's left side (3 n, unknowns) and right side (3 n,), each row in standard deviations."""
    count = len(patches.XYZ)
    slopes = perceived_slopes(patches.XYZ)
    noise = (slopes @ matrix) * (patches.u_relative * patches.linear_RGB)[:, np.newaxis, :]
    covariance = noise @ noise.transpose(0, 2, 1) + np.eye(3) * patches.u_known**2
    scale = np.linalg.solve(np.linalg.cholesky(covariance), slopes)
    seen = (patches.linear_RGB @ free)[:, np.newaxis, np.newaxis, :]
    of_matrix = (scale[..., np.newaxis] * seen).reshape(count, 3, -1)
    of_modes = -scale @ np.einsum("nb,kbx->nxk", patches.spectra, prior.modes)
    wanted = patches.XYZ + patches.spectra @ prior.mean - patches.linear_RGB @ fixed.T
    left = np.concatenate([of_matrix, of_modes], axis=2)
    return left.reshape(3 * count, -1), (scale @ wanted[..., np.newaxis]).ravel()


def _prior_precision(free: Floats, prior: CameraPrior) -> Floats:
    """Nothing is known beforehand of the matrix; the modes' amounts have standard deviation 1."""
    return np.diag(np.concatenate([np.zeros(3 * free.shape[1]), np.ones(len(prior.modes))]))
