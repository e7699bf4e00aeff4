"""Which light do the white fields of all strips in a photo show for one board?

A board's own strips tell the shape of its light best. The strips of other boards in the photo lie in the same light:
where their paper is the same, all of them make one map, and boards far from the gray card, or without strips of their
own, hang together in it as zones of one board do. Whether the paper is the same is told by its colour, and by its level
against what the map of the own strips foretells.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.findings import finding
from calibration.light import Light
from calibration.lightmap import LightMap, StripSurface, light_from_samples
from calibration.photo import Photo
from calibration.place import Place
from calibration.plane import Plane
from calibration.strip_plane import StripPlane
from calibration.strip_white import WhiteSamples, white_samples

Array = NDArray[np.float64]

NEAR_MM = 300.0  # beyond the white fields of another board's strips; further out they say little of the light (chosen)
# Of two papers, ln units of a ratio of channels: sheets of one pack agree to a few thousandths, two kinds of office
# paper differ by several hundredths. Chosen.
SAME_COLOUR = 0.015
# Of their level, against what is foretold: so many standard uncertainties, and so much of one pack's sheets and of how
# they lie (chosen).
SAME_LEVEL, U_SHEET_LEVEL = 2.5, 0.01
ALONG_THE_BOARD = "shadow-edge"  # the finding that names places along one's own board


@dataclass(frozen=True, slots=True, eq=False)
class _Paper:
    """The strips beside one board, and what their white fields show."""

    strips: StripPlane
    samples: WhiteSamples

    @property
    def plane(self) -> Plane:
        return replace(self.strips.plane, lens=self.strips.lens)

    @property
    def middle_px(self) -> Array:
        return np.asarray(self.samples.points_px.mean(axis=0))


def light_by_paper(photo: Photo, place: Place, plane: Plane) -> Light | None:
    """Map the light over a board by the strips of its photo.

    Parameters
    ----------
    photo : Photo
    place : Place
        The board's: its own strips and those elsewhere in the photo.
    plane : Plane
        The board's face.

    Returns
    -------
    Light or None
        None: neither its own strips nor any near it show the light, or the card was not found.
    """
    if place.card is None:
        return None
    strips = [laid for laid in (place.beside, *place.elsewhere) if laid is not None]
    papers = [paper for laid in strips if len((paper := _Paper(laid, white_samples(photo, laid))).samples.spread)]
    for paper in papers:
        is_own = paper.strips is place.beside
        if is_own or _reach_mm(paper, plane) <= NEAR_MM:
            alone = light_from_samples(paper.samples.points_px, paper.samples.linear_RGB, None, paper.plane, place.card)
            if alone is not None:
                others = [other for other in papers if other is not paper and _is_same(paper, alone, other)]
                light = _together(paper, alone, others, place.card)
                return light if is_own else _from_others(light, [paper, *others], plane)
    return None


def _reach_mm(paper: _Paper, plane: Plane) -> float:
    """How far the face reaches beyond the white fields of a paper."""
    face_mm, points_mm = paper.strips.to_mm(plane.corners_px()), paper.samples.points_mm
    beyond = np.maximum(points_mm.min(axis=0) - face_mm, face_mm - points_mm.max(axis=0))
    return float(np.hypot(*np.maximum(beyond, 0).T).max())


def _is_same(paper: _Paper, alone: LightMap, other: _Paper) -> bool:
    """Whether another board's strips are of the same paper, as far as the light foretold there lets tell."""
    own_level, level = (_log_paper(alone.light, some.samples) for some in (paper, other))
    off = level - own_level
    u = alone.light.u_between(paper.middle_px, other.middle_px)
    same_level = abs(float(off[1])) <= SAME_LEVEL * float(np.hypot(u, U_SHEET_LEVEL))
    return same_level and bool(np.abs(off[[0, 2]] - off[1]).max() <= SAME_COLOUR)


def _log_paper(light: Light, samples: WhiteSamples) -> Array:
    """Natural logarithm of the paper's own RGB (3,), up to a constant: the light divided out; dirt has no say."""
    log_RGB = np.log(np.maximum(samples.linear_RGB, 1e-6))
    return np.asarray(np.median(log_RGB - light.log_RGB_at(samples.points_px), axis=0))


def _together(paper: _Paper, alone: LightMap, others: list[_Paper], card_px: Array) -> Light:
    """One map by all papers; what is noticed along the board is what its own strips show."""
    if not others:
        return alone.light
    samples = [some.samples for some in (paper, *others)]
    points_px = np.concatenate([some.points_px for some in samples])
    linear_RGB = np.concatenate([some.linear_RGB for some in samples])
    together = light_from_samples(points_px, linear_RGB, None, paper.plane, card_px)
    if together is None:
        return alone.light
    light, shadows = together.light, alone.light.shadows
    surface = light.surface
    if isinstance(surface, StripSurface):
        surface = replace(surface, shadows=shadows)
    findings = [found for found in light.findings if found.code != ALONG_THE_BOARD]
    findings += [found for found in alone.light.findings if found.code == ALONG_THE_BOARD]
    return replace(light, surface=surface, shadows=shadows, findings=tuple(findings))


def _from_others(light: Light, papers: list[_Paper], plane: Plane) -> Light:
    """The same for a board without strips: what was noticed along another board is no matter of this one's."""
    reach_mm = min(_reach_mm(paper, plane) for paper in papers)
    kept = tuple(found for found in light.findings if found.code != ALONG_THE_BOARD)
    found = finding("light-from-others", distance_mm=reach_mm)
    return replace(light, shadows=(), px_per_mm=plane.px_per_mm()[0], findings=(*kept, found))
