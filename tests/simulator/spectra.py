"""How spectra become numbers: reflectance to CIELAB, and light x reflectance x sensor to camera values.

Reflectances live on 36 bands, 380 to 730 nm in steps of 10 nm. Illuminants, the CIE 1931 observer and the measured
camera sensitivities come from the package colour-science; the cameras carry neutral names in everything we write.
"""

import csv
from functools import cache, lru_cache
from pathlib import Path

import colour
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

BANDS_nm = np.arange(380, 731, 10)
FINE_nm = np.arange(380, 731, 5)  # lamps have narrow lines, so lamps and sensors are kept finer than reflectances

# Name here -> key of the measured set in colour-science. "ideal" sees like the CIE 1931 observer.
SENSORS = {
    "one": "Nikon 5100 (NPL)",
    "two": "Sigma SDMerill (NPL)",
    "three": "CANON_EOS_5DMark_II_RGB_Sensitivities.csv",
    "ideal": "CIE 1931 2 Degree Standard Observer",
}
# Further measured cameras, kept in a file of our own: see its head for the source.
MORE_SENSORS = ("four", "five", "six", "seven", "eight", "nine", "ten", "eleven")
SENSITIVITIES_CSV = Path(__file__).parents[1] / "data" / "cameras" / "sensitivities.csv"

# Primaries (x, y) of red, green, blue: IEC 61966-2-1 for sRGB, SMPTE EG 432-1 for Display P3; both with a D65 white.
CHROMATICITIES = {
    "srgb": ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)),
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
}
D65_xy = (0.3127, 0.3290)
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


@cache
def illuminant(key: str) -> Array:
    """Relative spectral power on the fine grid, (71,)."""
    return _on_fine_grid(colour.SDS_ILLUMINANTS[key])


@cache
def observer() -> Array:
    """CIE 1931 colour-matching functions on the fine grid, (71, 3)."""
    return _on_fine_grid(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])


@cache
def sensor(name: str) -> Array:
    """Camera sensitivities on the fine grid, (71, 3), red, green, blue."""
    if name == "ideal":
        return observer()
    if name in MORE_SENSORS:
        rows = [row for row in _measured_rows() if row["camera"] == name]
        return np.stack([_on_bands(rows, channel) for channel in ("red", "green", "blue")], axis=1)
    key = SENSORS[name]
    if key.endswith(".csv"):
        path = Path(colour.__file__).parent / "characterisation" / "datasets" / "rawtoaces" / key
        table = np.loadtxt(path, delimiter=",", skiprows=1)
        return np.stack([np.interp(FINE_nm, table[:, 0], table[:, i]) for i in (1, 2, 3)], axis=1)
    return _on_fine_grid(colour.MSDS_CAMERA_SENSITIVITIES[key])


@cache
def _measured_rows() -> list[dict[str, str]]:
    with SENSITIVITIES_CSV.open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def _on_bands(rows: list[dict[str, str]], channel: str) -> Array:
    return np.interp(FINE_nm, [float(row["wavelength_nm"]) for row in rows], [float(row[channel]) for row in rows])


@lru_cache(maxsize=64)
def band_weights(light: str, sensor_name: str) -> Array:
    """Weights (36, 3): reflectance bands to sensor values, a perfect white giving (1, 1, 1).

    Between bands the reflectance is taken as linear, so a lamp's line between two bands counts with the right share.
    """
    weights: Array = _bands_to_fine().T @ (illuminant(light)[:, None] * sensor(sensor_name))
    return np.asarray(weights / weights.sum(axis=0))


@cache
def XYZ_weights(light: str = "D50") -> Array:
    """Weights (36, 3): reflectance bands to XYZ under a light, a perfect white having Y = 1."""
    weights: Array = _bands_to_fine().T @ (illuminant(light)[:, None] * observer())
    return np.asarray(weights / weights[:, 1].sum())


def reflectance_to_Lab(reflectance: ArrayLike) -> Array:
    """CIELAB under D50, 2 degree observer, of reflectances (..., 36)."""
    return XYZ_to_Lab(np.asarray(reflectance, dtype=np.float64) @ XYZ_weights("D50"))


def XYZ_to_Lab(XYZ: ArrayLike) -> Array:
    """CIELAB (ISO/CIE 11664-4) of tristimulus values (..., 3) under D50; white is the perfect diffuser."""
    t = np.asarray(XYZ, dtype=np.float64) / XYZ_weights("D50").sum(axis=0)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), (841 / 108) * t + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def L_to_Y(L: ArrayLike) -> Array:
    """Relative luminance of CIE lightness."""
    f = (np.asarray(L, dtype=np.float64) + 16) / 116
    return np.where(f > 6 / 29, f**3, (f - 4 / 29) * 108 / 841)


@lru_cache(maxsize=256)
def Lab_to_reflectance(Lab: tuple[float, float, float]) -> tuple[float, ...]:
    """Smooth wood-like reflectance (36 bands) that has exactly this CIELAB value under D50.

    The absorbance is a constant, a decay from the violet (as lignin has) and a broad green band, in amounts that fit.
    """
    basis = np.stack(
        [np.ones(36), np.exp(-(BANDS_nm - 400) / 90.0), np.exp(-0.5 * ((BANDS_nm - 540) / 45.0) ** 2)],
        axis=1,
    )
    wanted = np.array(Lab)
    amounts = np.array([-np.log10(L_to_Y(Lab[0])), 0.0, 0.0])
    for _ in range(60):
        error = reflectance_to_Lab(10 ** -(basis @ amounts)) - wanted
        if np.abs(error).max() < 1e-10:
            break
        nudged = np.stack(
            [reflectance_to_Lab(10 ** -(basis @ (amounts + nudge))) for nudge in 1e-6 * np.eye(3)], axis=1
        )
        slopes = (nudged - (wanted + error)[:, None]) / 1e-6
        step = np.linalg.solve(slopes, error)
        amounts = amounts - step * min(1.0, 0.3 / np.abs(step).max())  # short steps keep a far start from overshooting
    reflectance = 10 ** -(basis @ amounts)
    if np.abs(error).max() > 1e-6 or reflectance.max() > 1.0:
        reached = reflectance_to_Lab(reflectance)
        raise ValueError(f"no smooth reflectance between 0 and 1 has CIELAB {Lab}: reached {reached}")
    return tuple(float(r) for r in reflectance)


@lru_cache(maxsize=64)
def camera_matrix(sensor_name: str, profile: str) -> Array:
    """The camera maker's matrix (3, 3): balanced sensor values to linear RGB of a profile, neutral staying neutral.

    Fitted once in daylight (D55) on 190 measured reflectances, and used under every light, as cameras do. The ideal
    sensor is fitted under D50, where its matrix is exact.
    """
    light = "D50" if sensor_name == "ideal" else "D55"
    samples = _training_reflectances()
    seen = samples @ band_weights(light, sensor_name)
    XYZ = samples @ XYZ_weights(light)
    wanted = XYZ @ _adaptation(XYZ_weights(light).sum(axis=0), _white(D65_xy)).T @ np.linalg.inv(RGB_to_XYZ(profile)).T
    weight = 1 / (XYZ[:, 1] + 0.05)[:, None]  # dark samples count in lightness, not in light
    # Rows sum to 1: solve for the first two coefficients of red - blue and green - blue.
    left = (seen[:, :2] - seen[:, 2:]) * weight
    right = (wanted - seen[:, 2:]) * weight
    two = np.linalg.lstsq(left, right, rcond=None)[0].T
    return np.column_stack([two, 1 - two.sum(axis=1)])


def sensor_white(sensor_name: str, light: str) -> Array:
    """What the sensor sees of a perfect white in a light, (3,), the largest 1."""
    white: Array = (illuminant(light)[:, None] * sensor(sensor_name)).sum(axis=0)
    return white / white.max()


@lru_cache(maxsize=64)
def sensor_matrix(sensor_name: str, light: str) -> Array:
    """XYZ in a light to the sensor's own numbers (3, 3), as raw files state it: white is exact.

    Fitted on the same reflectances as `camera_matrix`.
    """
    samples = _training_reflectances()
    XYZ, white_XYZ = samples @ XYZ_weights(light), XYZ_weights(light).sum(axis=0)
    seen = samples @ band_weights(light, sensor_name) * sensor_white(sensor_name, light)
    weight = 1 / (XYZ[:, 1] + 0.05)[:, None]
    # White's share of each row is fixed: solve for the first two coefficients of X and Z beyond it.
    share = XYZ[:, 1:2] / white_XYZ[1]
    left = (XYZ[:, [0, 2]] - share * white_XYZ[[0, 2]]) * weight
    two = np.linalg.lstsq(left, (seen - share * sensor_white(sensor_name, light)) * weight, rcond=None)[0].T
    Y = (sensor_white(sensor_name, light) - two @ white_XYZ[[0, 2]]) / white_XYZ[1]
    return np.stack([two[:, 0], Y, two[:, 1]], axis=1)


@cache
def RGB_to_XYZ(profile: str) -> Array:
    """Linear RGB of a profile to XYZ (D65 white, Y = 1)."""
    primaries = np.stack([_white(xy) for xy in CHROMATICITIES[profile]], axis=1)
    return primaries * np.linalg.solve(primaries, _white(D65_xy))


def RGB_to_XYZ_D50(profile: str) -> Array:
    """The same relative to the D50 white of ICC profiles, adapted by Bradford."""
    return _adaptation(_white(D65_xy), np.array([0.9642, 1.0, 0.8249])) @ RGB_to_XYZ(profile)


@cache
def _training_reflectances() -> Array:
    spectra = colour.characterisation.read_training_data_rawtoaces_v1()
    return np.stack([np.interp(BANDS_nm, spectra.wavelengths, row) for row in spectra.values.T])


@cache
def _bands_to_fine() -> Array:
    return np.stack([np.interp(FINE_nm, BANDS_nm, row) for row in np.eye(BANDS_nm.size)], axis=1)


def _on_fine_grid(spectrum: colour.SpectralDistribution | colour.MultiSpectralDistributions) -> Array:
    values = np.atleast_2d(np.asarray(spectrum.values).T)
    fine = [np.interp(FINE_nm, spectrum.wavelengths, row, left=0, right=0) for row in values]
    return np.stack(fine, axis=1).squeeze()


def _adaptation(source: Array, destination: Array) -> Array:
    scale = (BRADFORD @ destination) / (BRADFORD @ source)
    matrix: Array = np.linalg.inv(BRADFORD) @ np.diag(scale) @ BRADFORD
    return matrix


def _white(xy: tuple[float, float]) -> Array:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])
