"""What the prior has never seen: measured cameras, CIE lamps, other wood, another chart."""

from functools import cache

import colour
import numpy as np
from numpy.typing import NDArray
from simulator.spectra import MORE_SENSORS, SENSORS, BANDS_nm, FINE_nm, Lab_to_reflectance, illuminant, sensor
from simulator.wood import SPECIES, STAGES, STAINS

Floats = NDArray[np.float64]
LAMPS = {
    "daylight": ("D55", "D65", "D75"),
    "filament": ("A",),
    "warm LED": ("LED-B1", "LED-B2", "LED-V1"),
    "cool LED": ("LED-B3", "LED-B4", "LED-B5"),
    "fluorescent": ("FL2", "FL4", "FL7", "FL3.4"),
    "three-band fluorescent": ("FL11", "FL12"),
}


@cache
def cameras() -> dict[str, Floats]:
    """Measured sensitivities (71, 3) of eleven cameras."""
    return {name: sensor(name) for name in (*SENSORS, *MORE_SENSORS) if name != "ideal"}


def weights(curves: Floats, lamp: Floats) -> Floats:
    """Weights (36, 3) from reflectance bands to balanced camera values; a perfect white gives (1, 1, 1)."""
    to_fine = np.stack([np.interp(FINE_nm, BANDS_nm, row) for row in np.eye(BANDS_nm.size)], axis=1)
    raw = to_fine.T @ (lamp[:, np.newaxis] * curves)
    return np.asarray(raw / raw.sum(axis=0))


@cache
def camera_weights(camera: str, lamp: str) -> Floats:
    return weights(cameras()[camera], illuminant(lamp))


@cache
def boards() -> tuple[Floats, NDArray[np.int_]]:
    """Reflectances (n, 36) of the simulator's stained woods, and for each the number of its wood-and-stain series."""
    spectra, series = [], []
    for number, (species, stain) in enumerate((a, b) for a in SPECIES.values() for b in STAINS.values()):
        bare = -np.log10(np.array(Lab_to_reflectance(species.Lab)))
        for uptake in (0.0, 0.15, 0.35, 0.6, 0.9, 1.2):
            for stage in (STAGES["stained"], STAGES["topcoated"]):
                depth = stage.depth * (bare + uptake * stain)
                spectra.append(stage.haze + (1 - stage.haze) * 10**-depth)
                series.append(number)
    return np.array(spectra), np.array(series)


@cache
def chart(key: str = "ISO 17321-1") -> Floats:
    """Reflectances (24, 36) of a 24-patch chart, row by row from dark skin."""
    spectra = list(colour.SDS_COLOURCHECKERS[key].values())
    return np.array([np.interp(BANDS_nm, one.wavelengths, one.values) for one in spectra])
