"""How does the light lie over the board, by the white paper along its edges?

Paper white gives the shape of the light only: papers differ in colour, so neutral and level are the card's, where the
map is 1. Dirt, print and the shadow of a hand on some fields count for nothing (Tukey's biweight); what is left decides
between the laws of falloff. How well fields, and whole thirds of a strip, are foretold by the others says how far the
map can be trusted.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.falloff import LAWS, Falloff, Law, Lines, fit_falloff, predicted, predicted_mean
from calibration.findings import Finding, finding
from calibration.light import COVERAGE, U_SHARE, Light, face_grid_mm, u_floor
from calibration.mixed_light import (
    MIXED_LIGHT,
    U_DIVIDED_OUT,
    U_LEFT_IN,
    channels_of,
    colour_apart,
    log_level,
    log_ratios,
)
from calibration.paper_trust import LEAST_TRUST, noise_of, region_of, without_dirt
from calibration.plane import Plane
from calibration.shadows import SAME_PLACE_MM, ShadowEdge, shadow_edges

Floats = NDArray[np.float64]

MIN_SAMPLES = 8  # fields, fewer of them cannot outvote a dirty one (chosen)
# One smooth family is enough to tell dirt from light; the laws are weighed afterwards.
ANY_SMOOTH = (LAWS[1],)
# Colours of lamps a third apart, mixed by lamps at 0.6 m and more (chosen); nothing else binds x to y.
OF_RATIOS = (Law("ratio of channels", 0.0, 1.0, 1.0, (0.0, 1.0), 1.0, 1.0, 20.0, None),)
FOLDS = 8  # of fields left out by turns
TRUSTED = 0.5  # from here on a field counts
MOST_LEFT_OUT = 0.2  # share of the fields; with more, what the rest says is in doubt itself (chosen)
MAX_RESIDUAL = 0.015  # of left-out fields, relative, without a finding: 0.33 L* at L* 50 (chosen)
SURE = 4.0  # standard uncertainties by which the light's colour must change to be believed
MAX_U_CARD = 0.02  # of the light at the card against the board, relative, without a finding: 0.44 L* at L* 50 (chosen)
BESIDE_MM = 150.0  # from the strips' last field to the middle of a card that lies at the board's end (chosen)
SHADOW_MARGIN_MM = 10.0  # beyond its ends, where a shadow may still be felt


@dataclass(frozen=True, slots=True, eq=False)
class LightMap:
    """The light over one board, by the strips' white paper, and how well it is known."""

    light: Light
    residual: float  # relative: how far fields lie from what the others foretell, root mean square
    region_residual: float  # the same for the means of whole thirds of a strip
    left_out: float  # share of the fields that count for little: dirt, print, shadow
    is_mixed: bool  # the light's colour changes, and is divided out channel by channel
    laws: Mapping[str, float]  # probability of each law of falloff


def light_from_samples(
    points_px: ArrayLike,
    linear_RGB: ArrayLike,
    u_relative: ArrayLike | None,
    plane: Plane,
    card_px: ArrayLike,
) -> LightMap | None:
    """Map the light from samples of white paper along the board's long edges.

    Parameters
    ----------
    points_px : array_like, (n, 2)
        Middles of the samples in the photo, px. Two rows a strip tell more than one: they show how the light slopes
        across the board.
    linear_RGB : array_like, (n, 3)
        The paper's linear RGB there. Samples that are not finite or not above 0 are left out.
    u_relative : array_like, (n,), or None
        Standard uncertainty of each sample, relative. None: judged by their scatter.
    plane : Plane
    card_px : array_like, (2,) or (4, 2)
        The card's middle, or its corners, in the photo: there the map is 1.

    Returns
    -------
    LightMap or None
        None: fewer than `MIN_SAMPLES` samples can be used.

    Raises
    ------
    ValueError
        If the arrays do not belong together.
    """
    points_mm, log_RGB, stated = _usable(points_px, linear_RGB, u_relative, plane)
    if len(points_mm) < MIN_SAMPLES:
        return None
    size = plane.length_mm, plane.width_mm
    lines, trust = without_dirt(Lines(points_mm, log_level(log_RGB), stated, *size), ANY_SMOOTH)
    clean = trust > TRUSTED
    falloff = fit_falloff(lines)
    residual, region_residual, widening = _left_out(lines, trust)
    error = lines.log_light - predicted(falloff, lines)
    noise = noise_of(lines, error)
    shadows = shadow_edges(lines, error, noise)
    misfit = math.sqrt(max(residual**2 - max(noise, float(np.median(stated))) ** 2, 0.0))
    if 1 - clean.mean() > MOST_LEFT_OUT:
        misfit = max(misfit, region_residual)
    ratios = [
        fit_falloff(without_dirt(Lines(points_mm, ratio, stated, *size), OF_RATIOS, clean)[0], OF_RATIOS)
        for ratio in log_ratios(log_RGB).T
    ]
    change = max(_change_over(ratio, plane) for ratio in ratios)  # 0: as good as none
    is_mixed = change > MIXED_LIGHT
    card_mm = plane.to_mm(np.asarray(card_px, dtype=np.float64).reshape(-1, 2).mean(axis=0))
    surface = StripSurface(
        falloff=replace(falloff, widening=widening),
        ratios=(ratios[0], ratios[1]),
        is_mixed=is_mixed,
        plane=plane,
        card_mm=card_mm,
        misfit=misfit,
        shadows=shadows,
    )
    light = Light(
        None,
        (1.0, 1.0),
        mapped=True,
        px_per_mm=plane.px_per_mm()[0],
        residual=residual,
        surface=surface,
        shadows=shadows,
        findings=_findings(surface, lines, residual, change if is_mixed else None),
    )
    laws = {fit.law.name: fit.share for fit in falloff.fits}
    return LightMap(light, residual, region_residual, float(1 - clean.mean()), is_mixed, laws)


@dataclass(frozen=True, slots=True, eq=False)
class StripSurface:
    """The light as the strips tell it, by photo pixels; 1 at the card."""

    falloff: Falloff
    ratios: tuple[Falloff, Falloff]  # R/G and B/G
    is_mixed: bool  # they change so much that they are divided out
    plane: Plane
    card_mm: Floats  # (2,)
    misfit: float  # relative, of the smooth light at either place, beyond the fields' own noise
    shadows: tuple[ShadowEdge, ...]

    def log_at(self, points_px: ArrayLike) -> Floats:
        """Natural logarithm of the light's level (...,) at photo pixels (..., 2)."""
        return self._from_card(self.falloff, self.plane.to_mm(points_px))

    def log_RGB_at(self, points_px: ArrayLike) -> Floats:
        """The same for each channel (..., 3)."""
        points_mm = self.plane.to_mm(points_px)
        level = self._from_card(self.falloff, points_mm)
        if not self.is_mixed:
            return np.repeat(level[..., np.newaxis], 3, axis=-1)
        red, blue = (self._from_card(ratio, points_mm) for ratio in self.ratios)
        return channels_of(level, red, blue)

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty of the ratio of light at two places (2,) of the photo.

        A shadow that the map does not follow is a bias of known size, as is light that was not corrected at all.
        """
        ends_mm = self.plane.to_mm(np.stack([np.asarray(first_px), np.asarray(second_px)]))
        distance_mm = float(np.hypot(*(ends_mm[1] - ends_mm[0])))
        if not distance_mm > 0:
            return 0.0
        sources = float(self.falloff.u_between(*ends_mm)), u_floor(distance_mm), self.misfit, self.misfit
        shadow = max(self._shadow_at(float(x)) for x in ends_mm[:, 0])
        return float(np.sqrt(np.square(sources).sum())) + (1 + U_SHARE) * shadow / COVERAGE

    def u_from_middle(self, point_mm: Floats) -> float:
        """Relative standard uncertainty of the smooth light at a place against the board's middle."""
        middle_mm = np.array([self.plane.length_mm, self.plane.width_mm]) / 2
        return float(self.falloff.u_between(point_mm, middle_mm))

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> Floats:
        """Standard uncertainty of L*, a*, b* (3,) of wood because the light's colour differs between two places."""
        ends_mm = self.plane.to_mm(np.stack([np.asarray(first_px), np.asarray(second_px)]))
        at_ends = np.stack([ratio.log_at(ends_mm) for ratio in self.ratios], axis=-1)
        return np.asarray((U_DIVIDED_OUT if self.is_mixed else U_LEFT_IN) * colour_apart(*at_ends))

    def _from_card(self, falloff: Falloff, points_mm: Floats) -> Floats:
        return falloff.log_at(points_mm) - falloff.log_at(self.card_mm)

    def _shadow_at(self, x_mm: float) -> float:
        near = x_mm - SHADOW_MARGIN_MM, x_mm + SHADOW_MARGIN_MM
        return max((abs(shadow.depth) for shadow in self.shadows if shadow.touches(*near)), default=0.0)


def _usable(
    points_px: ArrayLike, linear_RGB: ArrayLike, u_relative: ArrayLike | None, plane: Plane
) -> tuple[Floats, Floats, Floats]:
    """Board mm (m, 2), ln RGB (m, 3) and stated uncertainty (m,) of the samples that mean something."""
    points, RGB = np.asarray(points_px, dtype=np.float64), np.asarray(linear_RGB, dtype=np.float64)
    stated = np.zeros(len(points)) if u_relative is None else np.asarray(u_relative, dtype=np.float64)
    if points.shape != (len(points), 2) or RGB.shape != (len(points), 3) or stated.shape != (len(points),):
        raise ValueError(
            f"light_from_samples: points (n, 2), colours (n, 3) and uncertainties (n,) wanted, got {points.shape}, "
            f"{RGB.shape} and {stated.shape}."
        )
    good = (RGB > 0).all(axis=1) & np.isfinite(RGB).all(axis=1) & np.isfinite(points).all(axis=1)
    good &= np.isfinite(stated) & (stated >= 0)
    return plane.to_mm(points[good]), np.log(RGB[good]), stated[good]


def _left_out(lines: Lines, trust: Floats) -> tuple[float, float, float]:
    """Residual of left-out fields and of left-out regions, and by how much the regions widen the uncertainty.

    The widening is Birge's ratio (Phys. Rev. 40, 1932, 207-227), never below 1.
    """
    errors, _ = _foretold(lines, _place_of(lines) % FOLDS)
    residual = float(np.sqrt((trust * errors**2).sum() / max(trust.sum(), LEAST_TRUST)))
    _, regions = _foretold(lines, region_of(lines))
    if not regions:
        return residual, residual, 1.0
    means, sigmas = np.array(regions).T
    widening = max(1.0, float(np.sqrt(np.mean((means / sigmas) ** 2))))
    return residual, float(np.sqrt(np.mean(means**2))), widening


def _place_of(lines: Lines) -> NDArray[np.intp]:
    """Number of the place along its strip (n,): samples one above the other share the dirt on them."""
    along = lines.points_mm[:, 0] + 1e6 * lines.is_bottom
    order = np.argsort(along)
    place = np.empty(len(order), np.intp)
    place[order] = np.cumsum(np.diff(along[order], prepend=along[order[0]]) > SAME_PLACE_MM)
    return place


def _foretold(lines: Lines, group: NDArray[np.intp]) -> tuple[Floats, list[tuple[float, float]]]:
    """How far each sample (n,) lies from what all other groups foretell; and mean error and its sigma of each group."""
    errors, groups = np.zeros(len(group)), []
    for left_out in (group == number for number in np.unique(group)):
        if left_out.all():
            continue
        here = lines.part(left_out)
        others = fit_falloff(lines.part(~left_out))
        errors[left_out] = here.log_light - predicted(others, here)
        share = here.u**-2 / (here.u**-2).sum()
        expected, u = predicted_mean(others, here, share)
        noise = float(np.sqrt((share**2 * here.u**2).sum()))
        groups.append((float(share @ here.log_light) - expected, math.hypot(u, noise)))
    return errors, groups


def _change_over(ratio: Falloff, plane: Plane) -> float:
    """Change (ln) of a channel ratio over the board, 0 if it may as well be noise."""
    points = face_grid_mm(plane).reshape(-1, 2)
    log_ratio = ratio.log_at(points)
    lowest, highest = points[np.argmin(log_ratio)], points[np.argmax(log_ratio)]
    change = float(np.ptp(log_ratio))
    return change if change > SURE * float(ratio.u_between(lowest, highest)) else 0.0


def _findings(surface: StripSurface, lines: Lines, residual: float, mixed: float | None) -> tuple[Finding, ...]:
    found = []
    if surface.shadows:
        length_mm = surface.plane.length_mm
        where = "; ".join(_where(shadow, length_mm) for shadow in surface.shadows)
        found.append(finding("shadow-edge", where=where))
    if residual > MAX_RESIDUAL:
        found.append(finding("light-residual", percent=100 * residual, limit=100 * MAX_RESIDUAL))
    if mixed is not None:
        found.append(finding("mixed-light", percent=100 * np.expm1(mixed)))
    u_card = surface.u_from_middle(surface.card_mm)
    if u_card > MAX_U_CARD and _is_far_out(surface.card_mm, lines):
        found.append(finding("card-beyond-strips", percent=100 * u_card, limit=100 * MAX_U_CARD))
    return tuple(found)


def _is_far_out(card_mm: Floats, lines: Lines) -> bool:
    """Whether the card lies where the light between two strips tells little: above or below both, or far beside."""
    on_both = 0 < lines.is_bottom.mean() < 1  # else it would lie far out anywhere
    out_mm = np.maximum(lines.points_mm.min(axis=0) - card_mm, card_mm - lines.points_mm.max(axis=0))
    return bool(on_both and (out_mm[0] > BESIDE_MM or out_mm[1] > 0))


def _where(shadow: ShadowEdge, length_mm: float) -> str:
    first, last = max(shadow.from_mm, 0.0), min(shadow.to_mm, length_mm)
    how = "darker" if shadow.depth < 0 else "brighter"
    return f"along the {shadow.edge} edge from {first:.0f} to {last:.0f} mm it is {100 * abs(shadow.depth):.0f} % {how}"
