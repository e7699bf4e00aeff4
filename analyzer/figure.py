"""Which part of a zone's lightness is the wood's figure, and which is patchy?

Figure keeps on along the grain: streaks as straight waves, at least three times as long along it as across; growth
rings and cathedrals along lines that bend (grain_lines.py). Both are tried, and the one that leaves less counts. From
what is left, ring by ring of wavelength, follows how much of the whole is patchy, for a patchy surface would have had
a known share taken with the figure. Only a clear surplus over that share is figure and taken out. Blotch is therefore
read right with and without grain under it. The price: figure too weak to stand out of strong blotch is not told apart
from it. It then stays, where it hardly counts (0.5 under 2.8 makes 2.84), and `figure` reads low.

Pores and fibres are thin, so across the grain they have as much power at 8 mm as at 3 mm; what they add to the band is
read off there. What no rule takes off is where rings close into patches, as in a cathedral's crown: how much of
that may be left is told from how much bent and thin figure there is (evenness.py).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.bands import FINEST_MM, Array, Modes, between
from analyzer.grain_lines import along_grain

Mask = NDArray[np.bool_]

ELONGATION = 3.0  # a wave this much longer along the grain than across may be straight figure; chosen
WEDGE_DEG = math.degrees(math.atan(1 / ELONGATION))  # 18.4
# Patches that bent lines leave, as a share of those that straight waves leave: up to the first the lines are right,
# from the second on the waves. Without grain, lines follow the patches and leave 0.7 to 1.1 (simulated patches of one
# narrow band of waves or many, 80 x 110 mm); on simulated boards without blotch 0.1 to 0.8.
BENT = (0.7, 0.85)


@dataclass(frozen=True, slots=True)
class _Limits:
    """How much more than patches explain may be taken from a ring before it is figure, in standard deviations.

    From `refused[0]` on some of it is taken out, from `refused[1]` on all. Where figure is `seen` clearly at one
    wavelength, from "perhaps" to "surely", it is expected at the others too and taken out from 0 to 1 on. Chosen on
    simulated surfaces of 6 to 35 mm and of narrow bands of that, 44 x 60 to 60 x 160 mm: of 670 without grain one lost
    more than 10 % of B.
    """

    refused: tuple[float, float]
    seen: tuple[float, float]
    expected: tuple[float, float] = (0.0, 1.0)


STRAIGHT = _Limits(refused=(2.0, 4.0), seen=(3.0, 5.0))
ALONG_LINES = _Limits(refused=(3.0, 5.0), seen=(4.0, 7.0))  # lines follow patches a little, waves cannot
FIGURE_SHARE = 0.02  # of the power of the band, before a ring may speak for the others: less is leakage
NOTHING = 1e-12  # share of a power that stands for none
MODES_LEAK = 1.1  # neighbouring modes share waves, so chance is wider than their number says; simulated: 1.0 to 1.15
# Wavelengths at which a ring ends: half octaves, to just beyond the band on both sides.
RINGS_MM = (64.0, 45.3, 32.0, 22.6, 16.0, 11.3, 8.0, 5.66, 4.0, 2.83)
MIN_RING = (3, 6)  # modes inside and outside the wedge; smaller rings join the next finer one

# Rings where the white part (photo noise, pores) is looked for: those just finer than the band, and its fine end.
WHITE_RINGS_MM = ((FINEST_MM, 2.5), (2.5, 4.0), (4.0, 5.7), (5.7, 8.0))
# Wavelengths across the grain where thin figure is looked for: coarser than the blur of a photo, finer than patches.
THIN_MM = ((2.2, 3.0), (3.0, 4.0), (4.0, 5.7))
THIN_BIN = 0.012  # per mm along the grain: mean over neighbouring frequencies


@dataclass(frozen=True, slots=True, eq=False)
class Separated:
    """A surface without its figure."""

    amplitude: Array  # (modes down, modes along): what is patchy, thin or noise
    kept: Array  # (modes down, modes along), 0 to 1: share of each mode that could tell of patches
    thin: Array  # (modes down, modes along), L*²: power of pores, fibres and noise, which `amplitude` still holds
    white: float  # L*²: the part of `thin` that each mode has, noise
    bent_figure: float  # L*, in the band: taken out although no straight wave
    thin_figure: float  # L*, in the band: thin, although neither a straight wave nor noise


def without_figure(
    modes: Modes, amplitude: Array, grain_deg: float, mm_per_px: float, band_mm: tuple[float, float]
) -> Separated:
    """Take the figure out of a surface.

    Parameters
    ----------
    modes : Modes
    amplitude : ndarray of float64, (modes down, modes along)
        Of the whole rectangle, as `modes.analyse` gives it; not changed.
    grain_deg : float
        Slope of straight grain against the rows.
    mm_per_px : float
    band_mm : (float, float)
        Shortest and longest wavelength that count.
    """
    root_pixels = math.sqrt(modes.rows * modes.columns)
    surface = amplitude / root_pixels  # squares are L*²
    outside = np.abs(modes.direction_deg - abs(grain_deg)) > WEDGE_DEG
    lines = along_grain(surface, modes, mm_per_px)
    rest = surface - lines.amplitude
    white = _white_power(modes, surface**2, outside)
    thin = np.maximum(_thin_power(modes, surface**2, rest**2), white)
    band = between(modes, *band_mm)
    rings = list(_rings(modes, outside))

    bent = _without(surface, rest, np.where(outside, lines.left, 0.0), thin, rings, outside, band, ALONG_LINES)
    straight = _without(surface, surface, outside.astype(np.float64), thin, rings, outside, band, STRAIGHT)
    share = _step(bent.patchy / straight.patchy, *BENT) if straight.patchy > 0 else 1.0
    return Separated(
        amplitude=root_pixels * (bent.amplitude + share * (straight.amplitude - bent.amplitude)),
        kept=bent.kept + share * (straight.kept - bent.kept),
        thin=thin,
        white=white,
        bent_figure=math.sqrt((1 - share) * bent.beyond + share * straight.beyond),
        thin_figure=math.sqrt(float((band * (thin - white) * outside).sum())),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Without:
    """A surface without figure of one kind."""

    patchy: float  # L*², in the band: what the rest says of patches
    amplitude: Array
    kept: Array
    beyond: float  # L*², in the band: taken out beyond the wedge


def _without(
    surface: Array,
    rest: Array,
    tells: Array,
    thin: Array,
    rings: list[Mask],
    outside: Mask,
    band: Array,
    limits: _Limits,
) -> _Without:
    """Take figure out, given the rest beside it and which share of each mode of that tells of patches."""
    found = [_ring(modes, outside, surface**2, rest**2, tells, thin) for modes in rings]
    weights = [float(band[one.modes].mean()) for one in found]
    enough = FIGURE_SHARE * float((band * surface**2).sum())
    clearest = max((one.surplus for one in found if one.taken - one.expected >= enough), default=0.0)
    sure = _step(clearest, *limits.seen)
    start, end = (
        doubtful + sure * (seen - doubtful) for doubtful, seen in zip(limits.refused, limits.expected, strict=True)
    )
    amplitude, kept, beyond = surface.copy(), np.ones_like(surface), 0.0
    for one, weight in zip(found, weights, strict=True):
        share = _step(one.surplus, start, end)
        if share > 0:
            left = one.left_when(share)
            mixed = surface[one.modes] + share * (_unstreaked(rest, one, outside) - surface[one.modes])
            amplitude[one.modes] = mixed * math.sqrt(left / float((mixed**2).sum()))
            kept[one.modes] = 1 - share + share * tells[one.modes]
            beyond += weight * max(0.0, one.outside - left * one.share_outside)
    patchy = sum(weight * one.patchy for one, weight in zip(found, weights, strict=True))
    return _Without(patchy, amplitude, kept, beyond)


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """Modes of about one wavelength; powers are sums, L*²."""

    modes: Mask
    taken: float  # all that is not in the rest, or lies in the wedge
    expected: float  # the same, of a surface with patches and what is thin but no other figure
    patchy: float  # in the whole ring, as the rest says
    thin: float  # in the whole ring
    outside: float  # of the surface, outside the wedge
    share_outside: float  # of the modes
    chance: float  # standard deviation of the logarithm of taken to expected, on a patchy surface

    @property
    def surplus(self) -> float:
        """How much more was taken than patches explain, in standard deviations of chance."""
        return math.log(self.taken / self.expected) / self.chance if self.taken > self.expected > 0 else 0.0

    def left_when(self, share: float) -> float:
        """Power without figure, when this share of the surplus (of its logarithm) is figure."""
        back = math.exp((1 - share) * math.log(self.taken / self.expected))
        return self.patchy + self.thin + self.expected * (back - 1)


def _ring(modes: Mask, outside: Mask, power: Array, rest: Array, tells: Array, thin: Array) -> _Ring:
    beyond = modes & outside
    count, telling = int(modes.sum()), float(tells[beyond].sum())
    whole, left = float(power[modes].sum()), float(rest[beyond].sum())
    thin_whole, thin_left = float(thin[modes].sum()), float((thin * tells)[beyond].sum())
    patchy = max(left - thin_left, NOTHING * whole) * count / telling
    return _Ring(
        modes=modes,
        taken=whole - left,
        expected=patchy * (1 - telling / count) + max(min(thin_whole, whole) - thin_left, 0.0),
        patchy=patchy,
        thin=min(thin_whole, whole),
        outside=float(power[beyond].sum()),
        share_outside=int(beyond.sum()) / count,
        # Chi-squares of one degree each.
        chance=MODES_LEAK * math.sqrt(2 / telling + 2 / max(count - telling, 1.0)),
    )


def _unstreaked(rest: Array, ring: _Ring, outside: Mask) -> Array:
    """The rest of a ring, with no more in the wedge of straight figure than patches would have there."""
    values, straight = rest[ring.modes], ~outside[ring.modes]
    expected = (ring.patchy + ring.thin) / values.size
    found = float((values[straight] ** 2).mean())
    return np.where(straight, values * math.sqrt(min(1.0, expected / found)), values) if found > 0 else values


def _step(value: float, start: float, end: float) -> float:
    """0 up to `start`, 1 from `end` on, smooth between."""
    t = min(max((value - start) / (end - start), 0.0), 1.0)
    return t * t * (3 - 2 * t)


def _rings(modes: Modes, outside: Mask) -> Iterator[Mask]:
    """Half-octaves of wavelength from the longest to just finer than the band, joined where they hold few modes."""
    ring = np.zeros_like(outside)
    upper = 0.0
    for wavelength_mm in RINGS_MM:
        lower, upper = upper, 1 / wavelength_mm
        ring = ring | ((modes.frequency > lower) & (modes.frequency <= upper))
        beyond = np.count_nonzero(ring & outside)
        if np.count_nonzero(ring) - beyond >= MIN_RING[0] and beyond >= MIN_RING[1]:
            yield ring
            ring = np.zeros_like(outside)


def _white_power(modes: Modes, power: Array, outside: Mask) -> float:
    """L*² per mode of what has the same power at every wavelength: photo noise, and texture as fine as noise.

    No ring may hold less than the white part, so the quietest one bounds it; where fine texture ends before the band,
    the band's own fine end is the quietest, and blotch is not paid for texture.
    """
    means = [
        float(power[ring].mean())
        for finest_mm, coarsest_mm in WHITE_RINGS_MM
        if (ring := (modes.frequency > 1 / coarsest_mm) & (modes.frequency <= 1 / finest_mm) & outside).any()
    ]
    return min(means)


def _thin_power(modes: Modes, power: Array, rest: Array) -> Array:
    """L*² of each mode of what is as thin as noise across the grain, whatever its length along it.

    What is thin has the same power at every wavelength across; so, for each frequency along, the quietest of the finer
    wavelengths across bounds it. Those within the band are read where bent figure was taken off.
    """
    across = modes.frequency * np.cos(np.radians(modes.direction_deg))
    width = 2 * round(THIN_BIN / float(modes.frequency[0, 1]) / 2) + 1
    means = []
    for finest_mm, coarsest_mm in THIN_MM:
        within = (across > 1 / coarsest_mm) & (across <= 1 / finest_mm)
        seen = rest if coarsest_mm > THIN_MM[1][1] else power
        total, count = (np.convolve((values * within).sum(axis=0), np.ones(width), "same") for values in (seen, within))
        means.append(total / np.maximum(count, 1))
    return np.broadcast_to(np.minimum.reduce(means), power.shape)
