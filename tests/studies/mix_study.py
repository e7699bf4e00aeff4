"""Which way of adding stains foretells a mix best, and how well does it do on photos?

python tests/studies/mix_study.py             spectra: every way on the same mixes, about a minute
python tests/studies/mix_study.py --photos 60 whole jobs: photos in, a mix foretold, held against a board made of it

Mixes of two or three stains and clear base on bare wood whose spectra are known: those of the simulator (its five woods
and stains, surface light 2 %), and woods and stains drawn by chance from the ranges of calibration/wood_spectra.py. All
colours are lighter than L* 18. Each way is given the colours of bare wood and of each stain alone, as a chart or a
perfect camera would give them, and foretells the colour of the mix. Errors are CIEDE2000.
"""

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the simulator
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # this tree's packages, not installed ones

from board_jobs import GRAY_SHEET, write_job
from simulator import Board, Camera, GrayCard, Light, Scene, WoodZone, render, save_photo
from simulator.scene import PaintedZone
from simulator.spectra import BANDS_nm, Lab_to_reflectance, XYZ_weights, band_weights
from simulator.wood import SPECIES, STAINS, TREATMENTS

from analyzer.match.foretold import Foretold, foretold
from analyzer.match.held import settings_of
from analyzer.match.held_pot import HeldPot, held_pot
from analyzer.match.layers import layer_over
from analyzer.match.mixing import in_parts, solved
from analyzer.match.pot import HAZES_DRY, Pot, Stained, ground_reflectance, layer_of
from analyzer.match.spectra import XYZ_of, absorbances_of
from analyzer.measure import measure_job
from calibration.colorspace import BRADFORD, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.wood_spectra import RANGES, wood_reflectances

Floats = NDArray[np.float64]

LIGHTEST_DARK: Final = 18.0  # L*; darker mixes hang on the surface light alone
NARROW_nm: Final = (450, 550, 610)  # the best of 60 triples of bands, tried on the same mixes
CAMERAS: Final = ("one", "three", "four", "five", "six", "seven")
PHOTOGRAPHED: Final = ("one", "two", "three", "four", "five")
LIGHTS: Final = ("D50", "D65", "A", "LED-B3", "FL2")
MIX: Final = "the mix"


@dataclass(frozen=True)
class Case:
    """Bare wood and each stain alone (1 + n, 36), the mix (36,), and the shares of clear base and stains (1 + n,)."""

    alone: Floats
    mix: Floats
    shares: Floats


def cases(kind: str, count: int, *, haze: float | None, seed: int = 5) -> list[Case]:
    """Mixes of "simulator" or "drawn" stains; `haze` None draws 0 to 3 % for each."""
    rng = np.random.default_rng([20261125, seed])
    found: list[Case] = []
    while len(found) < count:
        wood, stains = _simulator(rng) if kind == "simulator" else _drawn(rng)
        stains = stains[: rng.integers(2, 4)]
        shares = rng.dirichlet(np.ones(len(stains) + 1))
        h = float(rng.uniform(0, 0.03)) if haze is None else haze
        inside = [10**-wood, *(10 ** -(wood + stain) for stain in stains), 10 ** -(wood + shares[1:] @ stains)]
        *alone, mix = (h + (1 - h) * R for R in inside)
        case = Case(np.array(alone), mix, shares)
        if XYZ_to_Lab(np.vstack([alone, mix]) @ XYZ_weights("D50"))[:, 0].min() > LIGHTEST_DARK:
            found.append(case)
    return found


def _simulator(rng: np.random.Generator) -> tuple[Floats, Floats]:
    species = SPECIES[str(rng.choice(list(SPECIES)))]
    wood = -np.log10((np.array(Lab_to_reflectance(species.Lab)) - 0.02) / 0.98)
    picked = rng.choice([name for name in STAINS if name != MIX], 3, replace=False)
    return rng.uniform(0.85, 1.15) * wood, np.array([STAINS[str(name)] for name in picked])


def _drawn(rng: np.random.Generator) -> tuple[Floats, Floats]:
    def of(name: str) -> float:
        return float(rng.uniform(*RANGES[name]))

    def band(centre: float, width: float) -> Floats:
        return np.asarray(np.exp(-0.5 * ((BANDS_nm - centre) / width) ** 2))

    def stain() -> Floats:
        colour = of("brown") * (
            band(of("yellow_nm"), of("yellow_width_nm")) + of("red") * band(of("red_nm"), of("red_width_nm"))
        )
        return np.asarray(colour + of("black") * (1 + of("black_slope") * (BANDS_nm - 555) / 350))

    wood = of("gray") + of("slope") * (730 - BANDS_nm) / 350 + of("green") * band(530.0, 45.0)
    wood = wood + of("violet") * np.exp(-(BANDS_nm - 400) / of("decay_nm"))
    return np.asarray(wood), np.array([stain() for _ in range(3)])


Way = Callable[[Case, float], "Floats | None"]  # case and haze to the XYZ foretold; None: so much haze is impossible


def in_bands(to_bands: Floats) -> Way:
    """Absorbances add in three bands, made from XYZ by a matrix."""
    white = to_bands @ XYZ_weights("D50").sum(axis=0)

    def way(case: Case, haze: float) -> Floats | None:
        seen = case.alone @ XYZ_weights("D50") @ to_bands.T / white
        if haze and seen.min() < 1.25 * haze:
            return None
        density = np.log(np.maximum((seen - haze) / (1 - haze), 1e-4))
        return np.linalg.solve(to_bands, (haze + (1 - haze) * np.exp(case.shares @ density)) * white)

    return way


def in_camera(camera: str) -> Way:
    """Absorbances add in a camera's own bands; its 3x3 matrix is the best for wood."""
    weights = band_weights("D55", camera)
    training = wood_reflectances()
    to_XYZ = np.linalg.lstsq(training @ weights, training @ XYZ_weights("D50"), rcond=None)[0]

    def way(case: Case, haze: float) -> Floats | None:
        seen = case.alone @ weights
        if haze and seen.min() < 1.25 * haze:
            return None
        density = np.log(np.maximum((seen - haze) / (1 - haze), 1e-4))
        foretold_XYZ = (haze + (1 - haze) * np.exp(case.shares @ density)) @ to_XYZ
        # the camera's own error on the mix is none of the way's: what counts is the colour that it would show
        return np.asarray(foretold_XYZ - case.mix @ weights @ to_XYZ + case.mix @ XYZ_weights("D50"))

    return way


def by_spectra(case: Case, haze: float) -> Floats | None:
    """Absorbances add in smooth spectra: the way that is used."""
    seen = case.alone @ XYZ_weights("D50")
    if haze and (seen / XYZ_weights("D50").sum(axis=0)).min() < 1.25 * haze:
        return None
    return XYZ_of(case.shares @ absorbances_of(seen, haze), haze)


def by_K_over_S(case: Case, haze: float) -> Floats | None:
    """Kubelka and Munk's ratio adds in smooth spectra, as in an opaque film: (1 - R)^2 / 2R and back."""
    seen = case.alone @ XYZ_weights("D50")
    if haze and (seen / XYZ_weights("D50").sum(axis=0)).min() < 1.25 * haze:
        return None
    ratio = case.shares @ K_over_S(10 ** -absorbances_of(seen, haze))
    return XYZ_of(-np.log10(opaque_reflectance(ratio)), haze)


def K_over_S(reflectance: Floats) -> Floats:
    """Kubelka and Munk 1931: of a layer so thick that no ground shows."""
    return np.asarray((1 - reflectance) ** 2 / (2 * reflectance))


def opaque_reflectance(ratio: Floats) -> Floats:
    """The way back."""
    return np.asarray(1 + ratio - np.sqrt(ratio**2 + 2 * ratio))


def narrow_bands() -> Floats:
    """Matrix from XYZ to reflectance at three wavelengths, least squares on the model of stained wood."""
    places = [int(np.argmin(np.abs(BANDS_nm - band))) for band in NARROW_nm]
    XYZ = wood_reflectances() @ XYZ_weights("D50")
    weight = XYZ[:, 1:2] ** -0.5
    return np.asarray(np.linalg.lstsq(XYZ * weight, wood_reflectances()[:, places] * weight, rcond=None)[0].T)


def ways() -> dict[str, list[Way]]:
    """Every way by its name; of cameras several."""
    return {
        "camera's own bands": [in_camera(camera) for camera in CAMERAS],
        "X, Y, Z": [in_bands(np.eye(3))],
        "sharpened cones": [in_bands(np.asarray(BRADFORD))],
        "450, 550, 610 nm": [in_bands(narrow_bands())],
        "smooth spectra": [by_spectra],
        "K/S, smooth spectra": [by_K_over_S],
    }


def errors(way: Way, of: Sequence[Case], hazes: Sequence[float]) -> Floats:
    """CIEDE2000 of each mix, the mean over the hazes that are possible being the prediction."""
    told = [np.mean([XYZ for haze in hazes if (XYZ := way(case, haze)) is not None], axis=0) for case in of]
    true = np.array([case.mix for case in of]) @ XYZ_weights("D50")
    return np.asarray(delta_E_00(XYZ_to_Lab(np.array(told)), XYZ_to_Lab(true)))


def opaque_errors(
    scattering: float, noise: float, tones: tuple[float, float], count: int = 60
) -> Iterator[tuple[float, float, float]]:
    """Mixes of two pigments over two boards: error as transparent, error with the scattering found, what was found."""
    rng = np.random.default_rng([20261125, 9])
    haze = 0.01
    while count:
        wood, stains = _drawn(rng)
        grounds = np.array([10 ** -(tone * wood) for tone in tones])
        K, S = 1.15 * np.minimum(stains[:2], 1.2), scattering * rng.uniform(0.7, 1.3, 2)
        shares = rng.dirichlet(np.ones(3))[:2]

        def seen(absorb: Floats, scatter: float, grounds: Floats = grounds) -> Floats:
            return (haze + (1 - haze) * layer_over(grounds, absorb, scatter)) @ XYZ_weights("D50")

        true = XYZ_to_Lab(seen(shares @ K, float(shares @ S)))[0]
        if true[0] < LIGHTEST_DARK:
            continue
        count -= 1
        bare = XYZ_to_Lab(seen(np.zeros(36), 0.0)) + rng.normal(0, noise, (2, 3))
        ground = ground_reflectance([bare[0]], HAZES_DRY)
        layers = []
        for absorb, scatter in zip(K, S, strict=True):
            Labs = XYZ_to_Lab(seen(absorb, float(scatter))) + rng.normal(0, noise, (2, 3))
            patches = [Stained(Lab, Lab_bare, 1.0, name) for Lab, Lab_bare, name in zip(Labs, bare, "AB", strict=True)]
            layers.append(layer_of(patches, ground, HAZES_DRY))
        clear = [
            _as_transparent(layer, Labs, bare, ground) for layer, Labs in zip(layers, _stained(seen, K, S), strict=True)
        ]
        told = [float(delta_E_00(true, Pot(ground, tuple(of), HAZES_DRY).Lab_of(shares))) for of in (clear, layers)]
        yield told[0], told[1], float(np.mean([layer.S for layer in layers]))


def _stained(seen: Callable[..., Floats], K: Floats, S: Floats) -> list[Floats]:
    return [XYZ_to_Lab(seen(absorb, float(scatter))) for absorb, scatter in zip(K, S, strict=True)]


def _as_transparent(layer: Any, Labs: Floats, bare: Floats, ground: Floats) -> Any:  # noqa: ANN401 - a Layer
    """The same stain taken as transparent: fitted to each board by itself, where no scattering can be seen."""
    each = [
        layer_of([Stained(Lab, Lab_bare, 1.0, "A")], ground, HAZES_DRY)
        for Lab, Lab_bare in zip(Labs, bare, strict=True)
    ]
    return replace(layer, K=np.mean([one.K for one in each], axis=0), S=0.0)


@dataclass(frozen=True)
class Photographed:
    """One simulated job, and what was foretold of the mix that its sample is made of."""

    told: Foretold
    held: HeldPot
    true_amounts: Floats
    de00: float  # of the mix of the true amounts, foretold, to the sample as it was photographed
    solved_de00: float  # of the mix that was found, foretold
    found_de00: float  # what the mix found, in parts, would truly look like beside the sample, on the sample's board


def photographed(number: int, folder: Path, *, tone_sd: float, size_px: tuple[int, int] = (1200, 900)) -> Photographed:
    """Two boards with bare wood and three stains, each in a photo with a sample whose stain is a mix of the three.

    The sample is a board of its own: `tone_sd` is how much the boards' wood differs, relative absorbance.
    """
    rng = np.random.default_rng([20261125, 77, number])
    picked = [str(name) for name in rng.choice([name for name in STAINS if name != MIX], 3, replace=False)]
    shares = rng.dirichlet(np.ones(4))[1:]
    species, treatment = str(rng.choice(list(SPECIES))), str(rng.choice(list(TREATMENTS)))
    stage = str(rng.choice(["stained", "topcoated"]))
    wood: dict[str, Any] = {"species": species, "stage": stage}
    stain = f"{MIX} {number}"
    STAINS[stain] = np.asarray(shares @ np.array([STAINS[name] for name in picked]))
    try:
        rows = [WoodZone("bare", (0, 80), treatment)]
        rows += [WoodZone(f"s{k}", (80.0 * k, 80.0 * k + 80), treatment, name) for k, name in enumerate(picked, 1)]
        boards = [
            Board(name, 320, 100, tuple(rows), seed=int(rng.integers(1e6)), tone=float(rng.normal(1, tone_sd)), **wood)
            for name in "AB"
        ]
        sample = Board(
            "S", 120, 100, (WoodZone("sample", (0, 120), treatment, stain),),
            seed=int(rng.integers(1e6)), tone=float(rng.normal(1, tone_sd)), top_left_mm=(0, 130), **wood,
        )  # fmt: skip
        light, sensor = Light(str(rng.choice(LIGHTS)), gradient=0.03), str(rng.choice(PHOTOGRAPHED))
        photos = []
        for board in boards:
            scene = Scene((board, sample), GrayCard((80, 55), (180, 145), 4.0), GRAY_SHEET, light)
            shown = render(scene, Camera(sensor=sensor, size_px=size_px, roll_deg=1.0), int(rng.integers(1e6)))
            save_photo(folder / f"{board.id}.jpg", shown)
            corners = [[list(point) for point in shown.truth.board(name).corners_px] for name in (board.id, "S")]
            card = [list(point) for point in shown.truth.card_corners_px or ()]
            photos.append(
                {"file": f"{board.id}.jpg", "boards": [board.id, "S"], "stage": stage, "corners": corners, "card": card}
            )
        write_job(folder, [*boards, sample], photos, target={"zone": "S/sample"})
        measured = measure_job(folder)
    finally:
        del STAINS[stain]
    (setting,) = settings_of(measured.job, measured.results)
    held = held_pot(setting, treatment)
    assert held is not None
    true = np.array([shares[picked.index(name)] for name in held.stains])
    told = foretold(setting, held, true)
    exact = solved(held.pot, setting.Lab_target, held.limits)
    parts = in_parts(held.pot, setting.Lab_target, exact, held.limits)
    found = _made(sample, held, parts.mix.amounts, number)
    return Photographed(
        told, held, true, told.de00, parts.mix.de00, float(delta_E_00(found, _made(sample, held, true, number)))
    )


def _made(sample: Board, held: HeldPot, amounts: Floats, number: int) -> Floats:
    """True CIELAB of a mix on the sample's own wood."""
    from simulator.wood import board_XYZ  # noqa: PLC0415 - its cache is keyed by the board, stain names and all

    stain = f"{MIX} {number} {np.round(amounts, 6)}"
    STAINS[stain] = np.asarray(amounts @ np.array([STAINS[name] for name in held.stains]))
    try:
        (zone,) = sample.zones
        assert not isinstance(zone, PaintedZone)
        made = replace(sample, zones=(replace(zone, stain=stain),), top_left_mm=(0.0, 0.0))
        return XYZ_to_Lab(board_XYZ(made).mean(axis=(0, 1)))
    finally:
        del STAINS[stain]


def spectra_report() -> Iterator[str]:
    """Lines of the table of ways, and of opaque stains."""
    sets = [
        ("simulator, surface light unknown", cases("simulator", 300, haze=0.02), HAZES_DRY),
        ("drawn, no surface light", cases("drawn", 300, haze=0.0), (0.0,)),
        ("drawn, surface light unknown", cases("drawn", 300, haze=None), HAZES_DRY),
    ]
    yield (f"{'':22}" + "".join(f"{name:>36}" for name, _, _ in sets))
    for name, of in ways().items():
        row = [np.concatenate([errors(way, case, hazes) for way in of]) for _, case, hazes in sets]
        yield (f"{name:22}" + "".join(f"{e.mean():>26.2f}, 95 % {np.quantile(e, 0.95):.2f}" for e in row))
    yield ("\ntwo pigments over two boards: as transparent, with the scattering found; mean, 95 %")
    for tones in ((0.85, 1.15), (0.95, 1.05)):
        for scattering in (0.0, 0.05, 0.15, 0.4):
            told = np.array(list(opaque_errors(scattering, 0.3, tones)))
            means, ends = told.mean(axis=0), np.quantile(told, 0.95, axis=0)
            yield (
                f"boards {tones[0]:.2f} and {tones[1]:.2f}, S {scattering:.2f}: {means[0]:.2f}, {ends[0]:.2f}; "
                f"{means[1]:.2f}, {ends[1]:.2f}; found {means[2]:.2f}"
            )


def photos_report(count: int, tone_sd: float) -> Iterator[str]:
    """Lines on whole jobs."""
    done = []
    for number in range(count):
        with tempfile.TemporaryDirectory() as folder:
            done.append(photographed(number, Path(folder), tone_sd=tone_sd))
    de00 = np.array([one.de00 for one in done])
    inside = np.array([np.abs(one.told.Lab - one.told.Lab_target) <= one.told.Lab_u95 for one in done])
    held = np.array([one.de00 <= one.told.de00_u95 for one in done])
    widths = np.median([one.told.de00_u95 for one in done])
    found = np.array([one.found_de00 for one in done])
    yield (f"boards' wood differs by {tone_sd:.0%} (one sigma); {count} jobs")
    yield (
        f"foretold against the mix as photographed: median {np.median(de00):.2f}, 95 % {np.quantile(de00, 0.95):.2f}"
    )
    yield (f"intervals hold: L*, a*, b* {inside.mean(axis=0)}, CIEDE2000 {held.mean():.3f}; median ± {widths:.2f}")
    yield (f"the mix found, truly made: median {np.median(found):.2f}, 95 % {np.quantile(found, 0.95):.2f}")


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--photos", type=int, default=0, help="so many whole jobs instead of spectra")
    asked.add_argument("--tone", type=float, default=0.03, help="relative spread of the boards' absorbance")
    given = asked.parse_args()
    lines = photos_report(given.photos, given.tone) if given.photos else spectra_report()
    for line in lines:
        sys.stdout.write(f"{line}\n")
