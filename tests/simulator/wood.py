"""What does a board's face look like, spectrally?

Absorbances add (Beer-Lambert): R = h + (1 - h) 10^-(density x wood + sum of uptake x stain), h the haze of the surface.
All colours and strengths are invented but plausible: chosen by us so that the results look like finished wood.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.fields import gaussian_field, streaks
from simulator.scene import Board, PaintedZone, WoodZone
from simulator.spectra import BANDS_nm, L_to_Y, Lab_to_reflectance, XYZ_weights, band_weights
from simulator.wet_film import film_light

Array = NDArray[np.float32]
Shape = tuple[int, int]


@dataclass(frozen=True)
class Species:
    Lab: tuple[float, float, float]  # bare, dry
    rings: float  # relative standard deviation of density by growth rings
    ring_mm: float  # typical ring width on the face
    fibre: float  # relative standard deviation of density by fine straight streaks
    pores: float  # how much denser a pore is
    pore_mm: tuple[float, float]  # length, width
    blotch: float  # standard deviation of the logarithm of stain uptake
    reversal: float = 0.2  # how much less stain dense latewood takes: pine's grain turns light where it was dark


SPECIES = {
    "hard maple": Species(
        (80, 5, 20), rings=0.030, ring_mm=7, fibre=0.022, pores=0.10, pore_mm=(0.8, 0.2), blotch=0.10
    ),
    "cherry": Species((62, 13, 25), rings=0.030, ring_mm=6, fibre=0.022, pores=0.14, pore_mm=(1.2, 0.2), blotch=0.17),
    "pine": Species(
        (80, 5, 26), rings=0.110, ring_mm=5, fibre=0.020, pores=0.03, pore_mm=(1.5, 0.2), blotch=0.20, reversal=0.9
    ),
    "walnut": Species((45, 8, 16), rings=0.060, ring_mm=6, fibre=0.035, pores=0.16, pore_mm=(3.0, 0.3), blotch=0.05),
    "oak": Species((67, 7, 21), rings=0.060, ring_mm=5, fibre=0.040, pores=0.28, pore_mm=(5.0, 0.3), blotch=0.04),
}


@dataclass(frozen=True)
class Treatment:
    uptake: float  # share of the stain that still gets in
    blotch: float  # share of the species' blotch that is left
    amber: float = 0.0  # colour of the treatment itself, as an uptake of the amber absorber


TREATMENTS = {
    "none": Treatment(1.0, 1.0),
    "shellac washcoat": Treatment(0.62, 0.20, amber=0.03),
    "glue size": Treatment(0.46, 0.15),
    "stain conditioner": Treatment(0.71, 0.42, amber=0.01),
    "thinned oil": Treatment(0.88, 0.85, amber=0.05),
}

_yellow, _red = (np.exp(-0.5 * ((BANDS_nm - centre) / width) ** 2) for centre, width in ((425, 55), (520, 50)))
_black = np.interp(BANDS_nm, [380, 560, 730], [1.15, 1.0, 0.75])
AMBER = 1.5 * np.exp(-(BANDS_nm - 400) / 70)
# Absorbance (36 bands) at an uptake of 1.
STAINS = {
    "walnut brown": 0.42 * _yellow + 0.22 * _red + 0.40 * _black,
    "old brown": 0.38 * _yellow + 0.24 * _red + 0.40 * _black,
    "red mahogany": 0.45 * _yellow + 0.55 * _red + 0.24 * _black,
    "golden oak": 0.50 * _yellow + 0.15 * _red + 0.10 * _black,
    "black": 0.90 * _black,
}


@dataclass(frozen=True)
class Stage:
    depth: float  # a wet or coated surface loses less light at the surface, so colours deepen
    haze: float  # light scattered back by the surface itself
    stained: bool
    treated: bool


STAGES = {
    "bare": Stage(1.0, 0.02, stained=False, treated=False),
    "treated": Stage(1.03, 0.018, stained=False, treated=True),
    "wet": Stage(1.20, 0.002, stained=True, treated=True),
    "stained": Stage(1.0, 0.02, stained=True, treated=True),
    "sealed": Stage(1.14, 0.004, stained=True, treated=True),
    "topcoated": Stage(1.17, 0.002, stained=True, treated=True),
}

BLOTCH_MM = (6.0, 35.0)  # wavelengths of uneven uptake
ZONE_EDGE_MM = 0.5  # a taped edge bleeds about this far (Gaussian sigma)


@lru_cache(maxsize=12)
def board_in_light(board: Board, light: str, sensor: str) -> Array:
    """Balanced sensor values of the board's face (rows, columns, 3), its wet film with it; a perfect white is 1."""
    face = _integrate(_flat(board), band_weights(light, sensor))
    return face + film_light(board.film, face.shape[:2], 1 / board.texture_px_per_mm)[..., None] if board.film else face


@lru_cache(maxsize=12)
def board_XYZ(board: Board) -> Array:
    """XYZ under D50 of the board's face (rows, columns, 3)."""
    return _integrate(_flat(board), XYZ_weights("D50"))


@lru_cache(maxsize=12)
def board_lightness(board: Board, *, blotch: bool, figure: bool) -> Array:
    """L* of the board's wooden face, with blotch or figure left out."""
    Y = _integrate(_flat(board), XYZ_weights("D50")[:, 1:2], blotch=blotch, figure=figure)[..., 0]
    return (116 * np.cbrt(Y) - 16).astype(np.float32)  # wood never gets as dark as the straight part of the curve


def zone_pixels(board: Board, zone: WoodZone | PaintedZone, margin_mm: float = 0.0) -> tuple[slice, slice]:
    """Rows and columns of a zone in the board's texture."""
    across = zone.across_mm or (0.0, board.width_mm)
    rows, columns = (
        slice(round((low + margin_mm) * board.texture_px_per_mm), round((high - margin_mm) * board.texture_px_per_mm))
        for low, high in (across, zone.span_mm)
    )
    return rows, columns


def texture_shape(board: Board) -> Shape:
    return round(board.width_mm * board.texture_px_per_mm), round(board.length_mm * board.texture_px_per_mm)


def _flat(board: Board) -> Board:
    """The same board wherever it lies: its face is computed once for many photos."""
    return replace(board, top_left_mm=(0.0, 0.0), turn_deg=0.0, thickness_mm=0.0, film=None)


def _integrate(board: Board, weights: NDArray[np.float64], *, blotch: bool = True, figure: bool = True) -> Array:
    shape, channels = texture_shape(board), weights.shape[1]
    seen = np.empty((*shape, channels), dtype=np.float32)
    if any(isinstance(zone, WoodZone) for zone in board.zones) or not _is_covered(board):
        stage = STAGES[board.stage]
        spectra, maps = _absorbers(board, blotch=blotch, figure=figure)
        spectra = (-np.log(10) * stage.depth * spectra).astype(np.float32)
        weights_32 = weights.astype(np.float32)
        for top in range(0, shape[0], 32):  # in tiles: 36 bands of a whole board need not be held at once
            tile = maps[top : top + 32]
            reflectance = np.exp(tile @ spectra)
            seen[top : top + 32] = stage.haze * weights_32.sum(axis=0) + (1 - stage.haze) * (reflectance @ weights_32)
    for zone in board.zones:
        if isinstance(zone, PaintedZone):
            rows, columns = zone_pixels(board, zone)
            seen[rows, columns] = _painted(zone, seen[rows, columns].shape[:2], 1 / board.texture_px_per_mm, weights)
    return seen


def _painted(zone: PaintedZone, shape: Shape, mm_per_px: float, weights: NDArray[np.float64]) -> NDArray[np.float64]:
    colour = np.array(Lab_to_reflectance(zone.Lab)) @ weights
    if zone.L_field is None:
        return np.broadcast_to(colour, (*shape, colour.size))
    added = zone.L_field(shape, mm_per_px)
    if added.shape != shape:
        raise ValueError(f"L_field of zone {zone.id} has shape {added.shape}, the zone has {shape}")
    return (L_to_Y(zone.Lab[0] + added) / L_to_Y(zone.Lab[0]))[..., None] * colour


def _is_covered(board: Board) -> bool:
    painted = np.zeros(texture_shape(board), dtype=bool)
    for zone in board.zones:
        painted[zone_pixels(board, zone)] |= isinstance(zone, PaintedZone)
    return bool(painted.all())


def _absorbers(board: Board, *, blotch: bool, figure: bool) -> tuple[NDArray[np.float64], Array]:
    """Absorbance spectra (n, 36) and how much of each lies where (rows, columns, n)."""
    species, stage = SPECIES[board.species], STAGES[board.stage]
    dry = STAGES["bare"]
    wood = -np.log10((np.array(Lab_to_reflectance(species.Lab)) - dry.haze) / (1 - dry.haze))
    shape, mm_per_px = texture_shape(board), 1 / board.texture_px_per_mm
    density, pores = (
        _figure(shape, mm_per_px, species, board.seed)
        if figure
        else (np.ones(shape, np.float32), np.zeros(shape, np.float32))
    )
    spectra = [wood]
    maps: list[NDArray[np.floating]] = [board.tone * (density + species.pores * pores)]
    wood_zones = [zone for zone in board.zones if isinstance(zone, WoodZone)]
    if stage.treated:
        spectra.append(AMBER)
        maps.append(_paint(board, {zone: TREATMENTS[zone.treatment].amber for zone in wood_zones}))
    stains = sorted({zone.stain for zone in wood_zones if zone.stain}) if stage.stained else []
    thirst = np.exp(species.reversal * (1 - density) + 0.6 * species.pores * pores)  # pores drink a little more
    if stains and blotch:
        depth = _paint(board, {zone: species.blotch * TREATMENTS[zone.treatment].blotch for zone in wood_zones})
        thirst *= np.exp(depth * gaussian_field(shape, mm_per_px, BLOTCH_MM, board.seed + 3, coarseness=1.0))
    for stain in stains:
        stained = [zone for zone in wood_zones if zone.stain == stain]
        spectra.append(STAINS[stain])
        maps.append(thirst * _paint(board, {z: z.stain_coats * TREATMENTS[z.treatment].uptake for z in stained}))
    return np.stack(spectra), np.stack(maps, axis=-1).astype(np.float32)


def _paint(board: Board, amounts: dict[WoodZone, float]) -> Array:
    """One amount a zone over the board, with slightly bleeding zone edges."""
    canvas = np.zeros(texture_shape(board), dtype=np.float32)
    for zone, amount in amounts.items():
        canvas[zone_pixels(board, zone)] = amount
    return _blur(canvas, ZONE_EDGE_MM * board.texture_px_per_mm)


@lru_cache(maxsize=4)
def _figure(shape: Shape, mm_per_px: float, species: Species, seed: int) -> tuple[Array, Array]:
    """Density of the wood (mean 1) with rings and fibre, and where its pores are (0 to 1). Not to be changed."""
    rings = species.rings * _rings(shape, mm_per_px, species.ring_mm, seed)
    density = 1 + rings + species.fibre * _fibre(shape, mm_per_px, seed + 1)
    length, width = (0.5 * mm for mm in species.pore_mm)
    noise = _strands(shape, mm_per_px, length, width, seed + 2)
    return density.astype(np.float32), np.clip(noise - 1.6, 0, 1).astype(np.float32)


def _rings(shape: Shape, mm_per_px: float, ring_mm: float, seed: int) -> Array:
    """Growth rings cut by the face: long arches, as on a flat-sawn board. Unit standard deviation."""
    rng = np.random.default_rng(seed)
    x = ((np.arange(shape[1]) + 0.5) * mm_per_px)[None, :]
    y = ((np.arange(shape[0]) + 0.5) * mm_per_px)[:, None]
    wander = 3.0 * gaussian_field(shape, mm_per_px, (90.0, 400.0), seed + 11)
    pith = rng.uniform(0.2, 0.8) * shape[0] * mm_per_px
    depth_mm = rng.uniform(25, 60) + rng.uniform(-0.12, 0.12) * x  # the log tapers, so the cut runs through the rings
    radius = np.hypot(y - pith + wander, depth_mm)
    ring = radius / ring_mm + 0.6 * np.sin(radius / (3.1 * ring_mm))  # good and lean years
    phase = ring - np.floor(ring)
    profile = phase**2.5 - np.clip((phase - 0.9) / 0.1, 0, 1)  # slow rise to latewood, quick fall to the next spring
    return _standardised(_blur(profile.astype(np.float32), 0.3 / mm_per_px))


def _fibre(shape: Shape, mm_per_px: float, seed: int) -> Array:
    """Strands some 60 mm and some 6 mm long, and straight streaks. Unit standard deviation."""
    long = _strands(shape, mm_per_px, 20.0, 0.15, seed)
    short = _strands(shape, mm_per_px, 2.0, 0.06, seed + 5)
    return _standardised(long + 0.8 * short + 0.6 * streaks(shape, mm_per_px, (1.0, 6.0), seed))


def _strands(shape: Shape, mm_per_px: float, length_mm: float, width_mm: float, seed: int) -> Array:
    """Noise drawn out along the grain (Gaussian sigmas in mm). Unit standard deviation."""
    margin = int(3 * length_mm / mm_per_px)  # blurred on a longer strip: at its own ends the blur would smear
    noise = np.random.default_rng(seed).standard_normal((shape[0], shape[1] + 2 * margin), dtype=np.float32)
    blurred = _blur(noise, max(0.4, length_mm / mm_per_px), max(0.4, width_mm / mm_per_px))
    return _standardised(blurred[:, margin : margin + shape[1]])


def _blur(image: Array, along_px: float, across_px: float | None = None) -> Array:
    across_px = along_px if across_px is None else across_px
    blurred = cv2.GaussianBlur(image, (0, 0), sigmaX=along_px, sigmaY=across_px, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(blurred, dtype=np.float32)


def _standardised(field: NDArray[np.floating]) -> Array:
    return np.asarray((field - field.mean()) / field.std(), dtype=np.float32)
