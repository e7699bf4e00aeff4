"""Which light do the white fields of all strips in a photo show for one board?

All boards of a photo lie in one light and are evened by one gray card. Where the strips are of the same paper, all of
them make one map, the same for every board, so that boards far from the card, or without strips of their own, hang
together in it as the zones of one board do; maps of their own would each follow the light to the card in their own way.
Whether the paper is the same is told by its colour, and by its level against what the map of the strips nearest to the
card foretells. Strips of another paper serve their own board alone.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.findings import finding
from calibration.light import Light, LightSurface
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
    """The strips beside one board, what their white fields show, and the light by them alone."""

    strips: StripPlane
    samples: WhiteSamples
    alone: LightMap

    @property
    def middle_px(self) -> Array:
        """Middle of the white fields (2,)."""
        return np.asarray(self.samples.points_px.mean(axis=0))

    def beyond_mm(self, points_px: Array) -> float:
        """How far the farthest of these points (n, 2) lies beyond the white fields."""
        points_mm, fields_mm = self.strips.to_mm(points_px), self.samples.points_mm
        beyond = np.maximum(fields_mm.min(axis=0) - points_mm, points_mm - fields_mm.max(axis=0))
        return float(np.hypot(*np.maximum(beyond, 0).T).max())


@dataclass(frozen=True, slots=True, eq=False)
class SharedSurface:
    """The light that all strips show, and the steps in it that were seen along one board."""

    shared: StripSurface
    along: StripSurface  # by the board's own strips alone

    def log_at(self, points_px: ArrayLike) -> Array:
        """Natural logarithm of the light's level (...,) at photo pixels (..., 2), 0 at the card."""
        return self.shared.log_at(points_px)

    def log_RGB_at(self, points_px: ArrayLike) -> Array:
        """The same for each channel (..., 3)."""
        return self.shared.log_RGB_at(points_px)

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty of the ratio of light at two places (2,) of the photo."""
        smooth = replace(self.along, shadows=()).u_between(first_px, second_px)
        steps = self.along.u_between(first_px, second_px) - smooth
        return self.shared.u_between(first_px, second_px) + steps

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> Array:
        """Standard uncertainty of L*, a*, b* (3,) because the light's colour differs between two places."""
        return self.shared.u_Lab_between(first_px, second_px)


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
    papers = _papers(photo, place, place.card)
    own = next((paper for paper in papers if paper.strips is place.beside), None)
    if not papers:
        return None
    first, *others = papers
    alike = [first, *(other for other in others if _is_same(first, other))]
    if own is not None and own not in alike:
        return own.alone.light
    together = _together(alike, place.card)
    if own is not None:
        return _along(together, own) if len(alike) > 1 else own.alone.light
    reach_mm = min(paper.beyond_mm(plane.corners_px()) for paper in alike)
    return _from_others(together, reach_mm, plane) if reach_mm <= NEAR_MM else None


def _papers(photo: Photo, place: Place, card_px: Array) -> list[_Paper]:
    """The strips that show enough of the light, the nearest to the card first."""
    found = []
    for strips in (place.beside, *place.elsewhere):
        if strips is not None:
            samples, along = white_samples(photo, strips), replace(strips.plane, lens=strips.lens)
            alone = light_from_samples(samples.points_px, samples.linear_RGB, None, along, card_px)
            if alone is not None:
                found.append(_Paper(strips, samples, alone))
    return sorted(found, key=lambda paper: paper.beyond_mm(card_px))


def _is_same(first: _Paper, other: _Paper) -> bool:
    """Whether other strips are of the same paper, as far as the light that the first ones foretell there lets tell."""
    light = first.alone.light
    off = _log_paper(light, other.samples) - _log_paper(light, first.samples)
    u = light.u_between(first.middle_px, other.middle_px)
    same_level = abs(float(off[1])) <= SAME_LEVEL * float(np.hypot(u, U_SHEET_LEVEL))
    return same_level and bool(np.abs(off[[0, 2]] - off[1]).max() <= SAME_COLOUR)


def _log_paper(light: Light, samples: WhiteSamples) -> Array:
    """Natural logarithm of the paper's own RGB (3,), up to a constant: the light divided out; dirt has no say."""
    log_RGB = np.log(np.maximum(samples.linear_RGB, 1e-6))
    return np.asarray(np.median(log_RGB - light.log_RGB_at(samples.points_px), axis=0))


def _together(papers: list[_Paper], card_px: Array) -> Light:
    """One map by papers of one kind."""
    first = papers[0]
    if len(papers) == 1:
        return first.alone.light
    points_px = np.concatenate([paper.samples.points_px for paper in papers])
    linear_RGB = np.concatenate([paper.samples.linear_RGB for paper in papers])
    along = replace(first.strips.plane, lens=first.strips.lens)
    together = light_from_samples(points_px, linear_RGB, None, along, card_px)
    return first.alone.light if together is None else together.light


def _along(together: Light, own: _Paper) -> Light:
    """The common map for one board: steps in the light are those that its own strips show."""
    alone = own.alone.light
    surface: LightSurface | None = together.surface
    if isinstance(surface, StripSurface) and isinstance(alone.surface, StripSurface):
        surface = SharedSurface(replace(surface, shadows=()), alone.surface)
    findings = [found for found in together.findings if found.code != ALONG_THE_BOARD]
    findings += [found for found in alone.findings if found.code == ALONG_THE_BOARD]
    return replace(
        together, surface=surface, shadows=alone.shadows, px_per_mm=alone.px_per_mm, findings=tuple(findings)
    )


def _from_others(light: Light, reach_mm: float, plane: Plane) -> Light:
    """The map for a board without strips: what was noticed along another board is no matter of this one's."""
    kept = tuple(found for found in light.findings if found.code != ALONG_THE_BOARD)
    found = finding("light-from-others", distance_mm=reach_mm)
    return replace(light, shadows=(), px_per_mm=plane.px_per_mm()[0], findings=(*kept, found))
