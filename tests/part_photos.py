"""Jobs with an approved zone and photos of production parts, for the tests of `verify`."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from board_jobs import GRAY_SHEET, write_job
from board_photos import taken
from PIL.ExifTags import Base
from simulator import Background, Board, GrayCard, Light, RenderedPhoto, Scene, WoodZone, save_photo

from analyzer import ApprovalTerms, approve_zone, measure_job, results_json
from analyzer.approvals import Approval

STAIN, TREATMENT = "walnut brown", "shellac washcoat"
STEADY = Light(gradient=0.02, over_mm=(0.0, 0.0, 200.0, 200.0))
SIZE_PX = (880, 680)
CAMERA = {Base.Make: "Test", Base.Model: "Camera"}


def approved_board(coats: float = 1.0, seed: int = 3) -> Board:
    return Board("A", 160, 110, (WoodZone("washcoat", (0, 160), TREATMENT, STAIN, coats),), seed=seed)


def part_board(coats: float = 1.0, seed: int = 50, size_mm: tuple[float, float] = (180, 120), **more: Any) -> Board:  # noqa: ANN401 - fields of a board
    return Board("P", *size_mm, (WoodZone("face", (0, size_mm[0]), TREATMENT, STAIN, coats),), seed=seed, **more)


def photo_of_parts(
    path: Path,
    boards: Sequence[Board],
    *,
    minute: int | None = None,
    card: bool = True,
    background: Background = GRAY_SHEET,
    seed: int = 1,
) -> RenderedPhoto:
    """Photograph parts with the card below the first; `minute` dates the photo."""
    below = boards[0].width_mm + 15
    lying = GrayCard((80, 55), (45, below), 4.0) if card else None
    rendered = taken(Scene(tuple(boards), lying, background=background, light=STEADY), seed, size_px=SIZE_PX)
    exif: dict[Base, object] = dict(CAMERA)
    if minute is not None:
        exif[Base.DateTimeOriginal] = f"2026:03:05 10:{minute:02d}:00"
    path.parent.mkdir(parents=True, exist_ok=True)
    save_photo(path, rendered, exif=exif)
    return rendered


def approved_job(folder: Path, board: Board | None = None, **terms: Any) -> Approval:  # noqa: ANN401 - of ApprovalTerms
    """A measured job of one board, its only zone approved for colour and evenness."""
    board = board or approved_board()
    photo_of_parts(folder / "photos" / "a.jpg", [board])
    write_job(
        folder,
        [board],
        [{"file": "photos/a.jpg", "board": "A", "light": "shop", "stage": "stained"}],
        target={"zone": "A/washcoat", "tolerance": 2.0},
    )
    (folder / "results.json").write_bytes(results_json(measure_job(folder).results))
    return approve_zone(folder, "A/washcoat", ApprovalTerms("O. Brandvold", "all doors", **terms))
