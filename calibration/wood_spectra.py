"""How does stained wood reflect light, wavelength by wavelength?  A model of our own, stated here as such.

Transparent colourants only take light away: their absorbances add to that of the bare wood (Beer-Lambert, light passing
down and up again), and a little light comes back from the very surface (Saunderson 1942):
R = h + (1 - h) 10^-(wood + stain). Bare wood darkens smoothly towards the violet, as lignin does; a stain is some
yellow, some red and some black absorber. The shapes and ranges below are chosen, wide enough to hold species from maple
to walnut with stains from amber to near black; nothing here was measured. What the model says is that spectra of wood
are smooth, fall towards the violet and have no narrow bands, and that is what the camera correction needs of it.
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

BANDS_nm = np.arange(380, 731, 10)  # between them a reflectance is taken as linear
COUNT = 400  # spectra in the set; chosen: twice as many move the fitted matrix by less than 0.01 CIEDE2000 on wood

# (lowest, highest) of each number that makes a spectrum. Absorbances are of light that has gone down and up again.
RANGES = {
    "haze": (0.0, 0.03),  # light from the surface: 0 under a fresh gloss coat, 3 % on bare sanded wood
    "gray": (0.02, 0.30),  # absorbance of the wood at all wavelengths
    "slope": (0.0, 0.10),  # absorbance of the wood that dies away evenly from 380 to 730 nm
    "violet": (0.15, 0.75),  # absorbance of the wood at 400 nm on top of these
    "decay_nm": (45.0, 110.0),  # how fast that dies away towards the red
    "green": (0.0, 0.12),  # a broad band at 530 nm: the reds of cherry and mahogany
    "amount": (0.0, 1.0),  # of the stain
    "brown": (0.2, 1.1),  # absorbance of the stain's yellow
    "yellow_nm": (395.0, 440.0),
    "yellow_width_nm": (40.0, 65.0),
    "red": (0.1, 1.1),  # the stain's red, as a share of its yellow
    "red_nm": (500.0, 540.0),
    "red_width_nm": (40.0, 60.0),
    "black": (0.0, 1.2),  # absorbance of the stain's black at 555 nm
    "black_slope": (-0.6, 0.0),  # its change from 380 to 730 nm, relative: most black stains let more red through
}


def through_stain(reflectance: ArrayLike, density: ArrayLike) -> Floats:
    """Reflectance of a surface under a transparent stain: light passes it twice (Beer-Lambert).

    Parameters
    ----------
    reflectance : array_like
        Of the surface alone, 0..1.
    density : array_like
        Optical density of the stain, passed once; broadcast against the reflectance.
    """
    return np.asarray(np.asarray(reflectance) * 10.0 ** (-2 * np.asarray(density)))


@cache
def wood_reflectances(count: int = COUNT) -> Floats:
    """Reflectances (count, 36) of stained and bare wood at `BANDS_nm`, spread evenly over the model's ranges.

    Always the same: the numbers follow an additive sequence (Roberts 2018, the golden ratio in many dimensions), not
    chance.
    """
    numbers = _even_numbers(count, len(RANGES))
    value = {
        name: low + (high - low) * column for (name, (low, high)), column in zip(RANGES.items(), numbers.T, strict=True)
    }

    def band(centre: str | float, width: str | float) -> Floats:
        middle = value[centre][:, np.newaxis] if isinstance(centre, str) else centre
        sigma = value[width][:, np.newaxis] if isinstance(width, str) else width
        return np.asarray(np.exp(-0.5 * ((BANDS_nm - middle) / sigma) ** 2))

    def of(name: str) -> Floats:
        return np.asarray(value[name][:, np.newaxis])

    wood = of("gray") + of("slope") * (730 - BANDS_nm) / 350
    wood = wood + of("violet") * np.exp(-(BANDS_nm - 400) / of("decay_nm")) + of("green") * band(530.0, 45.0)
    stain = of("brown") * (band("yellow_nm", "yellow_width_nm") + of("red") * band("red_nm", "red_width_nm"))
    stain = stain + of("black") * (1 + of("black_slope") * (BANDS_nm - 555) / 350)
    under_surface = through_stain(10**-wood, of("amount") * stain / 2)
    reflectances = of("haze") + (1 - of("haze")) * under_surface
    reflectances.setflags(write=False)  # shared by everybody, so changed by nobody
    return np.asarray(reflectances)


def _even_numbers(count: int, dimensions: int) -> Floats:
    """Points (count, dimensions) that fill the unit cube evenly."""
    root = 2.0
    for _ in range(64):  # the root of x^(d+1) = x + 1, by fixed-point iteration
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1)
    return np.asarray((0.5 + np.outer(np.arange(1, count + 1), steps)) % 1)
