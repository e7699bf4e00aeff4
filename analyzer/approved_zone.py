"""How does a measured zone become a record, and the record a zone that later photos can be compared with?

What two photos have in common cancels in their difference: the same card, the same camera in the same light. So the
record keeps, beside the colour, each doubt about it and where it came from; a zone made from the record is then
compared by the same rules as one that was measured a minute ago (uncertainty.py, `pair_budget`). A photo goes by its
hash there, so that the same file is known again under another name.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.approvals import Approval, ApprovedSight, ApprovedZone
from analyzer.compare import Difference, difference, difference_to_range
from analyzer.evenness import Evenness
from analyzer.job import Board, Zone
from analyzer.pooling import MeasuredZone
from analyzer.results import FindingResult
from analyzer.uncertainty import Sight
from analyzer.zones import ZoneReading
from calibration.camera_error import CameraError
from calibration.correction import Correction
from calibration.light import Light
from calibration.photo import Photo
from calibration.tone import ToneFit, unusable
from calibration.tone_curve import ToneCurve

Floats = NDArray[np.float64]

DIGITS: Final = 9  # of a written number; a float32 has no more
NOTHING_MEASURED: Final = np.zeros((0, 0), bool)
# Where zone and reference lie plays no part any more: the light between them is kept as it was.
AT_CARD, AT_ZONE = np.array([0.0, 0.0]), np.array([1.0, 0.0])


@dataclass(frozen=True, slots=True, eq=False)
class KeptLight:
    """The light between the reference and one zone, as it was found (`LightSurface` of calibration/light.py)."""

    log_RGB: Floats  # (3,), on the zone over that on the reference
    u: float
    u_Lab: Floats  # (3,)

    def log_RGB_at(self, points_px: ArrayLike) -> Floats:
        """`log_RGB` at the zone, 0 at the reference."""
        return np.asarray(np.asarray(points_px, dtype=np.float64)[..., :1] * self.log_RGB)

    def log_at(self, points_px: ArrayLike) -> Floats:
        """The mean of the channels."""
        return np.asarray(self.log_RGB_at(points_px).mean(axis=-1))

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty; 0 from one place to itself."""
        return 0.0 if np.array_equal(first_px, second_px) else self.u

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> Floats:
        """The same of L*, a*, b* by the light's colour."""
        return np.zeros(3) if np.array_equal(first_px, second_px) else self.u_Lab


@dataclass(frozen=True, slots=True)
class PhotoOfSight:
    """What else is kept of the photo behind a sight."""

    file: str
    sha256: str
    taken: str | None
    findings: tuple[FindingResult, ...]


def photo_of_sight(file: str, photo: Photo, findings: tuple[FindingResult, ...]) -> PhotoOfSight:
    """Gather what is kept of a photo, under the name that the job gives it."""
    return PhotoOfSight(file, photo.sha256, photo.exif.taken, findings)


def kept_zone(zone: MeasuredZone, photos: Sequence[PhotoOfSight]) -> ApprovedZone:
    """Make the record of a zone; `photos` belong to its sights, in their order."""
    L, a, b = (float(value) for value in zone.Lab)
    u_L, u_a, u_b = (float(value) for value in zone.Lab_u95)
    return ApprovedZone(
        id=zone.id,
        species=zone.board.species,
        treatment=zone.zone.treatment,
        stain=zone.zone.stain,
        sheen=zone.zone.sheen,
        recipe=dict(zone.zone.recipe),
        stage=zone.stage,
        light=zone.light,
        lab=(_tidy(L), _tidy(a), _tidy(b)),
        lab_u95=(_tidy(u_L), _tidy(u_a), _tidy(u_b)),
        blotch=_known(zone.blotch),
        blotch_u95=_known(zone.blotch_u95),
        figure=_known(zone.figure),
        patch_mm=_known(zone.patch_mm),
        area_mm2=_tidy(zone.area_mm2),
        length_mm=_tidy(zone.zone.span_mm[1] - zone.zone.span_mm[0]),
        width_mm=_tidy(zone.zone.across_mm[1] - zone.zone.across_mm[0]),
        sights=tuple(_kept_sight(sight, photo) for sight, photo in zip(zone.sights, photos, strict=True)),
    )


def zone_of_record(kept: ApprovedZone) -> MeasuredZone:
    """A zone to compare with, from its record."""
    board_id, _, zone_id = kept.id.partition("/")
    size = kept.length_mm, kept.width_mm
    zone = Zone(zone_id, kept.treatment, (0.0, size[0]), (0.0, size[1]), 0.0, kept.stain, dict(kept.recipe))
    board = Board(board_id, kept.species, *size, (zone,))
    sights = tuple(_sight_of_record(sight, kept, board_id) for sight in kept.sights)
    return MeasuredZone(board, zone, kept.stage, kept.light, sights)


def difference_to_approved(approval: Approval, zone: MeasuredZone) -> Difference:
    """A zone minus the approved colour; with range boards, minus the nearest colour on the line through them."""
    if approval.range_boards:
        return difference_to_range(tuple(zone_of_record(kept) for kept in approval.range_boards), zone)
    return difference(zone_of_record(approval.zone), zone)


def by_hash(sight: Sight, photo: Photo) -> Sight:
    """The same sight with its photo named by its hash, as those of records are."""
    return replace(sight, photo=photo.sha256)


def _kept_sight(sight: Sight, photo: PhotoOfSight) -> ApprovedSight:
    correction, reading, light = sight.correction, sight.reading, sight.light
    ends = sight.card_px, reading.centre_px
    there, here = light.log_RGB_at(np.stack(ends)) if light.mapped else np.zeros((2, 3))
    return ApprovedSight(
        file=photo.file,
        sha256=photo.sha256,
        taken=photo.taken,
        camera=sight.camera,
        xyz=_numbers(reading.XYZ),
        block_xyz=tuple(
            tuple(None if np.isnan(block).any() else _numbers(block) for block in row) for row in reading.block_XYZ
        ),
        across_mm=_numbers(np.array(reading.across_mm)),
        light_log_rgb=_numbers(here - there),
        u_light=_tidy(light.u_between(*ends)),
        u_light_lab=_numbers(light.u_Lab_between(*ends)),
        basis=correction.basis,
        matrix=_rows(correction.matrix),
        stated=_rows(correction.stated),
        read=_rows(correction.read),
        tone_levels=_numbers(
            np.array([correction.tone.curve.mid_level, correction.tone.curve.darkest, correction.tone.curve.lightest])
        ),
        tone_covariance=_rows(correction.tone.covariance),
        tone_from=correction.tone_from,
        camera_modes=tuple(_rows(mode) for mode in correction.error.modes),
        camera_unseen=_rows(correction.error.unseen),
        camera_widening=correction.error.widening,
        camera_from=correction.camera_from,
        findings=photo.findings,
    )


def _sight_of_record(kept: ApprovedSight, zone: ApprovedZone, board: str) -> Sight:
    blocks = np.array([[(np.nan,) * 3 if block is None else block for block in row] for row in kept.block_xyz])
    reading = ZoneReading(
        XYZ=np.array(kept.xyz),
        block_XYZ=blocks,
        across_mm=kept.across_mm,
        centre_px=AT_ZONE,
        area_mm2=zone.area_mm2,
        masked=0.0,
        covered=0.0,
        glare=0.0,
        evenness=Evenness(zone.blotch, zone.blotch_u95, zone.figure, zone.patch_mm, (), np.zeros((0, 0), np.float32)),
        window=(slice(0, 0), slice(0, 0)),
        measured=NOTHING_MEASURED,
    )
    mid, darkest, lightest = kept.tone_levels
    # only what is left open of the curve acts on later comparisons: `Correction.tone_acts` asks for no more
    curve = ToneCurve(mid_level=mid, darkest=darkest, lightest=lightest)
    tone: ToneFit = replace(
        unusable("kept in an approval"),
        curve=curve,
        covariance=_matrix(kept.tone_covariance, len(kept.tone_covariance)),
    )
    correction = Correction(
        matrix=_matrix(kept.matrix, 3),
        tone=tone,
        error=CameraError(np.array(kept.camera_modes), _matrix(kept.camera_unseen, 3), kept.camera_widening),
        stated=_matrix(kept.stated, 3),
        read=_matrix(kept.read, 3),
        basis=kept.basis,
        tone_from=kept.tone_from,
        camera_from=kept.camera_from,
    )
    surface = KeptLight(np.array(kept.light_log_rgb), kept.u_light, np.array(kept.u_light_lab))
    light = Light(None, (1.0, 1.0), mapped=True, px_per_mm=1.0, surface=surface)
    return Sight(reading, kept.sha256, board, kept.camera, zone.light, light, AT_CARD, correction)


def _tidy(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _known(value: float | None) -> float | None:
    return None if value is None else _tidy(value)


def _numbers(values: ArrayLike) -> Any:  # noqa: ANN401 - a tuple of the array's length
    return tuple(_tidy(float(value)) for value in np.asarray(values))


def _rows(matrix: ArrayLike) -> tuple[tuple[float, ...], ...]:
    return tuple(_numbers(row) for row in np.asarray(matrix))


def _matrix(rows: Sequence[Sequence[float]], count: int) -> Floats:
    """Rows of numbers as an array (count, m), where m may be 0."""
    return np.array([list(row) for row in rows], dtype=np.float64).reshape(count, -1)
