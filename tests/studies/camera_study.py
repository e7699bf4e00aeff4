"""How well does a chart correct cameras, lamps, woods and charts that the correction was not made from?

    python tests/studies/camera_study.py     # two minutes

Eleven measured cameras under fifteen CIE lamps, a chart of other spectra than the published ones, its values off by
0.3 on each axis and its readings by 0.3 %, on the simulator's stained wood. The ranges of `calibration/wood_spectra.py`
were set with an eye on that wood; weathered wood measured outdoors (the package earthlib, used if it is installed)
stained in the simulator's way was not looked at. Averages over cameras; CIEDE2000 unless said otherwise.
"""

import csv
import sys
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's calibration, not an installed one

import colour
import numpy as np
from numpy.typing import NDArray
from simulator.spectra import BANDS_nm
from simulator.wood import STAINS
from studies.held_out import LAMPS, boards, camera_weights, cameras, chart

from calibration.camera_fit import CameraFit, fit_camera
from calibration.camera_prior import observer_weights
from calibration.colorspace import D50, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.white_preserving import perceived_slopes, white_preserving_matrix

Floats = NDArray[np.float64]
Seen = tuple[Floats, Floats]  # linear RGB and known XYZ of 24 patches

NEUTRAL = np.arange(18, 24)
U_READ, U_VALUES = 0.003, 0.3  # relative; CIEDE2000 units on each axis
WITHIN_95 = 7.815  # chi-square, 3 degrees of freedom
DRAWN = 20  # colours and pairs judged for each camera and lamp


@dataclass(frozen=True)
class Wood:
    """Surfaces (n, 36), and of some pairs on one and the same board the two numbers."""

    spectra: Floats
    pairs: NDArray[np.int_]

    @property
    def Lab(self) -> Floats:
        return XYZ_to_Lab(self.spectra @ observer_weights())


@dataclass(frozen=True)
class Outcome:
    """One way of correcting one camera under one lamp."""

    mean: float
    p95: float
    pair: float  # mean error of the difference of two colours on one board
    neutrals: float


def simulated_wood() -> Wood:
    spectra, series = boards()
    first, second = np.triu_indices(len(spectra), 1)
    alike = series[first] == series[second]
    return Wood(spectra, np.stack([first[alike], second[alike]], axis=1))


def measured_wood() -> Wood | None:
    """Weathered wood, shingles and bark as measured, and stained by calculation; None without the package."""
    try:
        root = Path(str(distribution("earthlib").locate_file("earthlib/data")))
    except PackageNotFoundError:
        return None
    with (root / "spectra.csv").open(encoding="utf-8") as file:
        kinds = [row["LEVEL_3"] for row in csv.DictReader(file)]
    table = np.fromfile(root / "spectra.sli", "<f4").reshape(len(kinds), -1)[:, :34]  # 400 to 730 nm, every 10
    bare = table[np.isin(kinds, ["wood", "wood_shingle", "bark"])].astype(np.float64)
    slope = np.log(bare[:, 2] / bare[:, 0]) / 20
    violet = bare[:, :1] * np.exp(slope[:, np.newaxis] * (BANDS_nm[:2] - 400))
    bare = np.clip(np.concatenate([violet, bare], axis=1), 0, 0.95)
    stained = [one * 10 ** -(uptake * stain) for one in bare for stain in STAINS.values() for uptake in (0.0, 0.3, 0.8)]
    numbers = np.arange(len(stained)).reshape(-1, 3)
    return Wood(np.array(stained), np.concatenate([numbers[:, [0, 1]], numbers[:, [1, 2]]]))


def photographed(camera: Floats, key: str, rng: np.random.Generator) -> Seen:
    """A chart as a camera (36, 3) shows it, and the values that its owner believes in."""
    patches = chart(key)
    true = patches @ observer_weights()
    off = np.linalg.inv(perceived_slopes(true)) @ (U_VALUES * rng.standard_normal((24, 3)))[..., np.newaxis]
    return patches @ camera * (1 + U_READ * rng.standard_normal((24, 3))), true + off[..., 0]


def fitted(seen: Seen) -> CameraFit:
    return fit_camera(seen[0], np.full((24, 3), U_READ), seen[1], NEUTRAL)


def plain(seen: Seen) -> Floats:
    """White-preserving least squares on the chart alone."""
    RGB, XYZ = seen
    return white_preserving_matrix(RGB, XYZ, RGB[NEUTRAL].mean(axis=0), XYZ[NEUTRAL].mean(axis=0))


def roots(RGB: Floats) -> Floats:
    """Terms (..., 6) of the root-polynomial of degree 2 (Finlayson, Mackiewicz and Hurlbert 2015)."""
    r, g, b = np.moveaxis(RGB, -1, 0)
    return np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=-1)


def root_polynomial(seen: Seen) -> Floats:
    """Its coefficients (3, 6), by least squares on the chart, errors counted as the eye does."""
    terms, slopes = roots(seen[0]), perceived_slopes(seen[1])
    left = (slopes[..., np.newaxis] * terms[:, np.newaxis, np.newaxis, :]).reshape(-1, 18)
    right = (slopes @ seen[1][..., np.newaxis]).ravel()
    return np.asarray(np.linalg.lstsq(left, right, rcond=None)[0].reshape(3, 6))


def left_out(seen: Seen) -> tuple[float, float]:
    """Mean CIEDE2000 of left-out patches: plain matrix, root-polynomial."""
    found = []
    for patch in range(24):
        rest = np.arange(24) != patch
        RGB, XYZ = seen[0][rest], seen[1][rest]
        matrix = white_preserving_matrix(RGB, XYZ, RGB[-5:].mean(axis=0), XYZ[-5:].mean(axis=0))
        polynomial = root_polynomial((RGB, XYZ))
        both = np.stack([matrix @ seen[0][patch], polynomial @ roots(seen[0][patch])])
        found.append(delta_E_00(XYZ_to_Lab(both), XYZ_to_Lab(np.stack([seen[1][patch]] * 2))))
    plain_mean, polynomial_mean = np.mean(found, axis=0)
    return float(plain_mean), float(polynomial_mean)


def judged(matrix: Floats, camera: Floats, wood: Wood, *, by_roots: bool = False) -> Outcome:
    def Lab_of(spectra: Floats) -> Floats:
        RGB = spectra @ camera
        return XYZ_to_Lab((roots(RGB) if by_roots else RGB) @ matrix.T)

    Lab, true = Lab_of(wood.spectra), wood.Lab
    differences = delta_E_00(Lab, true)
    a, b = wood.pairs.T
    pairs = np.abs(delta_E_00(Lab[a], Lab[b]) - delta_E_00(true[a], true[b]))
    grays = chart("ISO 17321-1")[NEUTRAL]
    gray = delta_E_00(Lab_of(grays), XYZ_to_Lab(grays @ observer_weights()))
    return Outcome(*(float(x) for x in (differences.mean(), np.percentile(differences, 95), pairs.mean(), gray.mean())))


def distances(fit: CameraFit, camera: Floats, wood: Wood, rng: np.random.Generator) -> Floats:
    """Squared errors (2, DRAWN) over the stated covariance: of colours, of pairs."""
    true = wood.Lab
    errors = XYZ_to_Lab(wood.spectra @ camera @ fit.matrix.T) - true
    single = [
        float(errors[n] @ np.linalg.solve(fit.u_absolute(true[n]), errors[n])) for n in rng.choice(len(true), DRAWN)
    ]
    double = []
    for a, b in wood.pairs[rng.choice(len(wood.pairs), DRAWN)]:
        error = errors[b] - errors[a]
        double.append(float(error @ np.linalg.solve(fit.u_pair(true[a], true[b]), error)))
    return np.array([single, double])


def with_a_chart(wood: Wood, *, seed: int = 1) -> list[str]:
    """Lines of the table: how each way of fitting does, by kind of lamp."""
    lines, rng = [], np.random.default_rng(seed)
    for kind, lamps in LAMPS.items():
        found: dict[str, list[Outcome]] = {}
        for camera in [camera_weights(name, lamp) for lamp in lamps for name in cameras()]:
            seen = photographed(camera, "ISO 17321-1", rng)
            found.setdefault("plain 3x3", []).append(judged(plain(seen), camera, wood))
            polynomial = judged(root_polynomial(seen), camera, wood, by_roots=True)
            found.setdefault("root-polynomial", []).append(polynomial)
            found.setdefault("wood-aware 3x3", []).append(judged(fitted(seen).matrix, camera, wood))
        for way, outcomes in found.items():
            mean, p95, pair, gray = np.mean([(o.mean, o.p95, o.pair, o.neutrals) for o in outcomes], axis=0)
            worst = max(outcome.mean for outcome in outcomes)
            lines.append(f"{kind:23} {way:16} {mean:5.2f} {worst:6.2f} {p95:5.2f} {pair:6.3f} {gray:6.2f}")
    return lines


def coverage(wood: Wood, *, seed: int = 2) -> list[str]:
    """Lines: how often the truth lies in the stated 95 % region, of colours and of pairs on one board."""
    rng = np.random.default_rng(seed)
    found = {kind: _all_distances(lamps, wood, rng) for kind, lamps in LAMPS.items()}
    found["all"] = np.concatenate(list(found.values()), axis=1)
    shares = {kind: (each < WITHIN_95).mean(axis=1) for kind, each in found.items()}
    return [f"{kind:23} {single:6.1%} {double:6.1%}" for kind, (single, double) in shares.items()]


def _all_distances(lamps: tuple[str, ...], wood: Wood, rng: np.random.Generator) -> Floats:
    """(2, n): of colours, of pairs."""
    found = []
    for camera in [camera_weights(name, lamp) for lamp in lamps for name in cameras()]:
        fit = fitted(photographed(camera, "ISO 17321-1", rng))
        found.append(distances(fit, camera, wood, rng))
    return np.concatenate(found, axis=1)


def cross_validated(*, seed: int = 3) -> list[str]:
    """Lines: left-out patches by plain matrix and by root-polynomial."""
    rng = np.random.default_rng(seed)
    lines = []
    for kind, lamps in LAMPS.items():
        seen = [photographed(camera_weights(name, lamp), "ISO 17321-1", rng) for lamp in lamps for name in cameras()]
        matrix, polynomial = np.mean([left_out(one) for one in seen], axis=0)
        lines.append(f"{kind:23} {matrix:6.2f} {polynomial:6.2f}")
    return lines


def with_a_gray_card(wood: Wood) -> list[str]:
    """Lines: cameras' daylight matrices under other lamps, and the same less the mean error of the other cameras."""
    samples = colour.characterisation.read_training_data_rawtoaces_v1()
    training = np.stack([np.interp(BANDS_nm, samples.wavelengths, row) for row in samples.values.T])
    target, true = training @ observer_weights(), wood.Lab
    matrices = {
        name: white_preserving_matrix(training @ camera_weights(name, "D55"), target, np.ones(3), D50)
        for name in cameras()
    }
    lines = []
    for kind, lamps in LAMPS.items():
        seen = [[wood.spectra @ camera_weights(n, lamp) @ m.T for lamp in lamps] for n, m in matrices.items()]
        errors = XYZ_to_Lab(np.array(seen)) - true  # cameras, lamps, colours, 3
        usual = errors.mean(axis=(1, 2))
        others = (usual.sum(axis=0) - usual) / (len(usual) - 1)
        mended = errors - others[:, np.newaxis, np.newaxis, :]
        before, after = (delta_E_00(true + e, np.broadcast_to(true, e.shape)).mean(axis=2) for e in (errors, mended))
        mean, spread = errors.mean(axis=(0, 1, 2)), errors.mean(axis=2).std(axis=(0, 1))
        text = " ".join(f"{m:+5.1f} ({s:3.1f})" for m, s in zip(mean, spread, strict=True))
        lines.append(f"{kind:23} {before.mean():5.2f} {after.mean():6.2f} {np.mean(after > before):6.0%}   {text}")
    return lines


def report() -> str:
    woods = {"simulated wood": simulated_wood()}
    outdoors = measured_wood()
    if outdoors is not None:
        woods["measured weathered wood, stained by calculation"] = outdoors
    head = f"{'lamp':23} {'way':16} {'mean':>5} {'worst':>6} {'p95':>5} {'pair':>6} {'grays':>6}"
    parts = []
    for name, wood in woods.items():
        parts += [f"A chart in the photo, {name}", head, *with_a_chart(wood), ""]
        parts += [f"In the stated 95 % region, {name}", f"{'lamp':23} colour   pair", *coverage(wood), ""]
    parts += ["Left-out patches", f"{'lamp':23}  plain  roots", *cross_validated(), ""]
    head = f"{'lamp':23}  mean mended  worse   mean error in L*, a*, b* (spread over cameras and lamps)"
    parts += [
        "A gray card and the camera's daylight matrix, simulated wood",
        head,
        *with_a_gray_card(woods["simulated wood"]),
    ]
    return "\n".join(parts)


if __name__ == "__main__":
    print(report())  # noqa: T201  a script
