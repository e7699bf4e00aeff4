"""Photos of boards for the tests: from arrays of light, or from the simulator, with and without the way through a file.

The meaning of the codes is written down here once more, from the standards, so that a slip in the reading of files
does not hide in both.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from simulator import Camera, RenderedPhoto, Scene, render, save_photo
from simulator.spectra import RGB_to_XYZ_D50

from calibration.exif import Exif
from calibration.photo import Photo, open_photo

Floats = NDArray[np.float64]

# A camera without faults: what it shows is the scene, rounded to 8 bits.
FAULTLESS: dict[str, Any] = {
    "sensor": "ideal",
    "white_balance_error": (0.0, 0.0),
    "blur_sigma_px": 0.0,
    "full_well_e": None,
}


def photo_of_light(linear_RGB: ArrayLike, *, bits: int = 16, name: str = "painted.png") -> Photo:
    """Photo whose codes stand for light straight, full scale being 1; sRGB's primaries."""
    top = 2**bits - 1
    codes = np.round(np.clip(np.asarray(linear_RGB, dtype=np.float64), 0, 1) * top)
    straight = np.linspace(0, 1, top + 1, dtype=np.float32)
    return _photo(codes.astype(np.uint8 if bits == 8 else np.uint16), straight, "srgb", name)


def photo_of_codes(codes: NDArray[np.uint8], *, profile: str = "srgb", name: str = "codes.png") -> Photo:
    """Photo of 8-bit codes in sRGB or Display P3, which share the curve of IEC 61966-2-1."""
    V = np.arange(256) / 255
    decoded = np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4)
    return _photo(codes, decoded.astype(np.float32), profile, name)


def photo_of(rendered: RenderedPhoto, *, name: str = "simulated.png") -> Photo:
    """A simulated photo without the way through a file."""
    return photo_of_codes(rendered.codes, profile=rendered.profile, name=name)


def saved(folder: Path, rendered: RenderedPhoto, name: str = "board.jpg", **options: Any) -> Photo:  # noqa: ANN401 - those of save_photo
    """A simulated photo, written as a file and opened again."""
    save_photo(folder / name, rendered, **options)
    return open_photo(folder / name)


def taken(scene: Scene, seed: int = 1, *, size_px: tuple[int, int] = (1200, 900), **camera: Any) -> RenderedPhoto:  # noqa: ANN401 - fields of Camera
    """Photograph a scene with a small camera."""
    return render(scene, Camera(size_px=size_px, **camera), seed)


def corners(rendered: RenderedPhoto, board: str = "A") -> Floats:
    """True corners (4, 2) of a board's face, pixels."""
    return np.array(rendered.truth.board(board).corners_px)


def card_corners(rendered: RenderedPhoto) -> Floats:
    """True corners (4, 2) of the card, pixels."""
    return np.array(rendered.truth.card_corners_px)


def without_order(quad: ArrayLike, other: ArrayLike) -> float:
    """Largest distance of corresponding corners, pixels, whichever corner comes first."""
    quad, other = np.asarray(quad), np.asarray(other)
    turned = [np.roll(quad, k, axis=0) for k in range(4)]
    return float(min(np.hypot(*(t - other).T).max() for t in turned))


def _photo(codes: NDArray[Any], curve: NDArray[np.float32], profile: str, name: str) -> Photo:
    return Photo(
        name=name,
        codes=codes,
        curve=np.repeat(curve[:, None], 3, axis=1),
        to_XYZ=RGB_to_XYZ_D50(profile),
        profile=profile,
        sha256="0" * 64,
        exif=Exif(),
        findings=(),
    )
