"""Which profile holds for this photo?  Cameras and editors say it in six ways, or not at all.

Sources: PNG (W3C, third edition, 2025), ITU-T H.273 (code points), Exif 2.32 (CIPA DC-008-2019) and DCF 2.0.
"""

from dataclasses import replace
from typing import Final

from calibration.colorspace import SRGB_PRIMARIES, white_XYZ
from calibration.errors import PhotoError
from calibration.file_kind import RGB_REMEDY
from calibration.findings import Finding, finding
from calibration.photo_header import PhotoHeader
from calibration.profiles import (
    DISPLAY_P3,
    OPRGB,
    SRGB,
    Profile,
    ProfileDamagedError,
    ProfileSpaceError,
    power_curve,
    profile_of_primaries,
    read_profile,
)

# ITU-T H.273 code points: primaries (table 2) with transfer characteristics (table 3).
_SRGB_TRANSFER, _PQ, _HLG = 13, 16, 18
_BT2020_PRIMARIES = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
_BT2020 = profile_of_primaries("BT.2020 primaries", _BT2020_PRIMARIES, SRGB.curves[0])
_BY_PRIMARIES = {1: SRGB, 9: _BT2020, 12: DISPLAY_P3}

_USUAL_GAMMA = 1 / 2.2  # what gAMA says beside sRGB; PNG clause 11.3.2.2

SRGB_ASSUMED: Final = replace(SRGB, name="sRGB (assumed)")


def profile_of_photo(header: PhotoHeader) -> tuple[Profile, tuple[Finding, ...]]:
    """Take the most binding statement about colour in a file; sRGB, and a finding, where there is none.

    In the order of the PNG standard (clause 4.3): code points, profile, sRGB mark, gamma; then what EXIF says. A
    camera that marks its photo as sRGB in EXIF has said so: that is no assumption, and no finding.

    Parameters
    ----------
    header : PhotoHeader

    Returns
    -------
    profile : Profile
    findings : tuple of Finding

    Raises
    ------
    PhotoError
        If the colours are of a kind that cannot be measured; without the photo's name.
    """
    profile, findings = _by_code_points(header)
    if profile is None and (header.icc is not None or header.icc_damaged):
        return _by_icc(header)
    profile = profile or _by_png(header) or _by_exif(header)
    if profile is None:
        return SRGB_ASSUMED, (finding("no-profile"),)
    return profile, findings


def _by_code_points(header: PhotoHeader) -> tuple[Profile | None, tuple[Finding, ...]]:
    """None where they are missing, or name what photos do not use: then the rest of the file is asked.

    Other primaries than sRGB's with a transfer other than sRGB's: the primaries are believed, as reading them as sRGB
    would be wrong by several Delta E, and the curve is said to be assumed. With sRGB's primaries, all is assumed.
    """
    if header.colour.code_points is None:
        return None, ()
    primaries, transfer = header.colour.code_points
    if transfer in (_PQ, _HLG):
        raise PhotoError(
            "the photo is encoded for high-dynamic-range screens.",
            remedy="Switch HDR off in the camera, or export the photo as JPEG.",
        )
    profile = _BY_PRIMARIES.get(primaries)
    if profile is None or (profile is SRGB and transfer != _SRGB_TRANSFER):
        return None, ()
    named = replace(profile, name=f"{profile.name} (by {header.kind})")
    return named, () if transfer == _SRGB_TRANSFER else (finding("curve-assumed"),)


def _by_icc(header: PhotoHeader) -> tuple[Profile, tuple[Finding, ...]]:
    if header.icc is None:
        return SRGB_ASSUMED, (finding("profile-damaged", reason="it is cut short"),)
    try:
        return read_profile(header.icc), ()
    except ProfileSpaceError as wrong:
        raise PhotoError(
            f"the photo's colour profile is for {wrong} pictures, but its pixels are RGB or gray.", remedy=RGB_REMEDY
        ) from wrong
    except ProfileDamagedError as refused:
        return SRGB_ASSUMED, (finding("profile-damaged", reason=str(refused)),)


def _by_png(header: PhotoHeader) -> Profile | None:
    """Read the sRGB mark, or a gamma other than the usual one, which says only that the file is an ordinary one."""
    gamma, chromaticities = header.colour.gamma, header.colour.chromaticities
    if header.colour.srgb:
        return replace(SRGB, name="sRGB (by PNG)")
    if gamma is None or not 0.1 < gamma <= 1.5 or abs(gamma / _USUAL_GAMMA - 1) < 0.01:
        return None
    name = f"gamma {1 / gamma:.2f} (by PNG)"
    if chromaticities is None or chromaticities[1] == 0:
        return profile_of_primaries(name, SRGB_PRIMARIES, power_curve(1 / gamma))
    white, *primaries = (chromaticities[at : at + 2] for at in (0, 2, 4, 6))
    try:
        return profile_of_primaries(name, primaries, power_curve(1 / gamma), white=white_XYZ((white[0], white[1])))
    except ProfileDamagedError:
        return None


def _by_exif(header: PhotoHeader) -> Profile | None:
    known = {"sRGB": SRGB, "opRGB": OPRGB}.get(header.tags.colour_space or "")
    return None if known is None else replace(known, name=f"{known.name} (by EXIF)")
