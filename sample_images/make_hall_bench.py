"""Make the demo job `hall-bench`: all of it is INVENTED.

No such job, shop, customer, board, stain or camera exists. The photos are drawn by the scene simulator of the tests
(tests/simulator) from spectra, with fixed seeds; `truth.json` holds what is really there, for tests to compare with. On
one machine, with the same versions of the libraries, the same bytes come out again:

    python sample_images/make_hall_bench.py            # writes sample_images/hall-bench
    python sample_images/make_hall_bench.py SOMEWHERE  # or another folder

The story: parts of hard maple and cherry shall get one brown, that of a customer's sample. Two boards of each wood, a
control at both ends and three pre-treatments between, photographed bare (held by hand, each board by itself) and
topcoated (camera on a stand, sample and gray card beside the board, one photo of a plain sheet in the same place).
"""

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from PIL.ExifTags import Base

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from simulator import (
    Background,
    Board,
    Camera,
    GlareSpot,
    GrayCard,
    Light,
    RenderedPhoto,
    Scene,
    Shadow,
    WoodZone,
    render,
    save_photo,
)

STAIN = "walnut brown"
ZONE_MM = 80
LENGTH_MM, WIDTH_MM = 5 * ZONE_MM, 150
IDS = {
    "none": "control",
    "shellac washcoat": "washcoat",
    "glue size": "glue",
    "stain conditioner": "conditioner",
}
# Recipe of each pre-treatment as job.toml records it. Common practice in the trade; a product's own label beats it.
RECIPES = {
    "none": {},
    "shellac washcoat": {"solids": 5, "wait": "2 h", "scuff": "P320"},
    "glue size": {"solids": 5, "wait": "overnight", "scuff": "P220"},
    "stain conditioner": {"wait": "1 h", "scuff": "P320"},
}


@dataclass(frozen=True)
class TrialBoard:
    """One trial board: the order of its zones was drawn by lot, controls at both ends."""

    species: str
    order: tuple[str, ...]
    seed: int
    tone: float  # among boards of one plank
    strength: float  # of the stain: cherry is darker to begin with, so its stain was thinned
    wipes: tuple[float, ...]  # how much stain each wipe left, relative


BOARDS = {
    "A": TrialBoard(
        "hard maple",
        ("none", "shellac washcoat", "stain conditioner", "glue size", "none"),
        101,
        1.00,
        1.30,
        (1.01, 1.00, 0.99, 1.01, 0.99),
    ),
    "B": TrialBoard(
        "hard maple",
        ("none", "glue size", "shellac washcoat", "stain conditioner", "none"),
        202,
        1.01,
        1.30,
        (0.99, 0.99, 1.01, 1.00, 1.01),
    ),
    "C": TrialBoard(
        "cherry",
        ("none", "stain conditioner", "glue size", "shellac washcoat", "none"),
        303,
        1.00,
        0.50,
        (1.00, 1.01, 0.99, 1.01, 1.00),
    ),
    "D": TrialBoard(
        "cherry",
        ("none", "shellac washcoat", "glue size", "stain conditioner", "none"),
        404,
        0.99,
        0.50,
        (1.01, 0.99, 1.01, 0.99, 1.00),
    ),
}
SAMPLE = Board(
    "S",
    150,
    100,
    (WoodZone("sample", (0, 150), "shellac washcoat", "old brown", 1.28),),
    species="hard maple",
    stage="topcoated",
    seed=505,
    thickness_mm=19,
    texture_px_per_mm=6,
)

QUALITY = 92  # of the JPEG files

# The bench stands at a window on the left, under an overcast sky.
LIGHT = Light("D55", gradient=0.07, direction_deg=20, radial=0.03, over_mm=(0, 0, 480, 330))
BY_HAND = Camera(
    sensor="one",
    size_px=(2016, 1512),
    exposure_EV=-0.15,
    white_balance_error=(0.025, -0.02),
    full_well_e=8000.0,
    read_noise_e=5.0,
)
ON_STAND = Camera(
    sensor="three",
    profile="p3",
    size_px=(2304, 1728),
    px_per_mm=4.35,
    look_at_mm=(240, 165),
    tilt_deg=(2.5, -1.5),
    roll_deg=0.6,
    exposure_EV=0.35,
    white_balance_error=(-0.01, 0.015),
    full_well_e=8000.0,
    read_noise_e=5.0,
)
MAT = Background((33, -1, -3), texture=0.035, wavelengths_mm=(1.0, 5.0))
PAPER = Background((74, 0.5, 4), texture=0.010, wavelengths_mm=(1.5, 12.0))
SHEET = Background((83, 0, 2), texture=0.003, wavelengths_mm=(1.0, 8.0))
# Pose of each bare photo, as a hand holds a phone: roll, tilts; and where card and board happened to lie.
HELD = {
    "A": (3.0, (9.0, -5.0), -2.0, GrayCard((100, 70), (150, 185), 4.0)),
    "B": (-4.0, (-6.0, 4.0), 1.5, GrayCard((100, 70), (255, 190), -6.0)),
    "C": (2.0, (-4.0, -6.0), 2.5, GrayCard((100, 70), (40, -95), 3.0)),
    "D": (-2.0, (5.0, 8.0), -1.0, GrayCard((100, 70), (300, 180), 9.0)),
}
LAID = {"A": (1.2, (38.0, 26.0)), "B": (-0.8, (42.0, 33.0)), "C": (0.5, (40.0, 29.0)), "D": (-1.6, (36.0, 36.0))}


def trial_board(board_id: str, stage: str) -> Board:
    """Give the board as it is at a stage, lying at the origin."""
    trial = BOARDS[board_id]
    zones = tuple(
        WoodZone(zone_id, (i * ZONE_MM, (i + 1) * ZONE_MM), treatment, STAIN, trial.strength * wipe)
        for i, (zone_id, treatment, wipe) in enumerate(zip(zone_ids(trial), trial.order, trial.wipes, strict=True))
    )
    return Board(
        board_id,
        LENGTH_MM,
        WIDTH_MM,
        zones,
        species=trial.species,
        stage=stage,
        seed=trial.seed,
        tone=trial.tone,
        thickness_mm=19,
        texture_px_per_mm=6,
    )


def zone_ids(trial: TrialBoard) -> list[str]:
    """Name the zones from left to right; the two controls are told apart."""
    ids = [IDS[treatment] for treatment in trial.order]
    return [f"{zone}-{'left' if i == 0 else 'right'}" if zone == "control" else zone for i, zone in enumerate(ids)]


@dataclass(frozen=True)
class Shot:
    """One photo to be taken. `stage` is None for the plain sheet."""

    name: str
    stage: str | None
    scene: Scene
    camera: Camera
    seed: int

    def take(self) -> RenderedPhoto:
        """Let the simulator render it."""
        return render(self.scene, self.camera, self.seed)


def shots() -> Iterator[Shot]:
    """Set up every photo of the job."""
    for seed, (board_id, (roll, tilt, turn, card)) in enumerate(HELD.items(), start=1):
        board = replace(trial_board(board_id, "bare"), turn_deg=turn)
        scene = Scene((board,), card, MAT, LIGHT, shadow=Shadow((3, 6), 0.4))
        camera = replace(BY_HAND, roll_deg=roll, tilt_deg=tilt)
        yield Shot(f"{board_id.lower()}-bare.jpg", "bare", scene, camera, seed)
    for seed, (board_id, (turn, corner)) in enumerate(LAID.items(), start=11):
        board = replace(trial_board(board_id, "topcoated"), turn_deg=turn, top_left_mm=corner)
        sample = replace(SAMPLE, turn_deg=-1.5 * turn, top_left_mm=(62.0, 212.0))
        card = GrayCard((100, 70), (282.0, 222.0), 2.0 * turn)
        # A satin coat mirrors the window a little: one speck, on the zone that is too light anyway.
        speck = () if board_id != "D" else (GlareSpot((236.0, 80.0), 1.5, 0.9),)
        scene = Scene((board, sample), card, PAPER, LIGHT, glare=speck, shadow=Shadow((5, 6), 0.35))
        yield Shot(f"{board_id.lower()}-topcoated.jpg", "topcoated", scene, ON_STAND, seed)
    yield Shot("plain-sheet.jpg", None, Scene(background=SHEET, light=LIGHT), ON_STAND, seed=20)


def job_toml(corners: dict[str, list[list[list[int]]]]) -> str:
    """Write the job file; `corners` of the topcoated photos, board and sample, as a person clicks them."""
    lines = [
        "# Evenboard's demo job. Everything in it is invented: job, customer, boards, stain, photos.",
        "# Run it:  evenboard measure sample_images/hall-bench",
        "format = 1",
        "",
        "[job]",
        'name = "Hall bench"',
        'customer = "Ottilie Brandvold"',
        'units = "mm"',
        "",
        "[target]",
        'zone = "S/sample"      # the customer\'s sample lies in every topcoated photo',
        'stage = "topcoated"',
        "tolerance = 2.0        # largest acceptable ΔE00",
        "",
        "[evenness]",
        'wish = "even"',
        "limit = 1.0            # largest acceptable blotch index",
        "",
        "[reference]",
        'kind = "gray-card"',
        "reflectance = 0.18",
    ]
    for board_id, trial in BOARDS.items():
        lines += ["", *_board_lines(board_id, trial.species, LENGTH_MM, WIDTH_MM)]
        for i, (zone, treatment) in enumerate(zip(zone_ids(trial), trial.order, strict=True)):
            recipe = {"stain": "brown oil stain", **({"dilution": "1:1"} if trial.species == "cherry" else {})}
            recipe |= RECIPES[treatment]
            lines += _zone_lines(zone, treatment, (i * ZONE_MM, (i + 1) * ZONE_MM), recipe)
    lines += ["", *_board_lines("S", "hard maple", 150, 100), *_zone_lines("sample", "unknown", (0, 150), {})]
    for board_id in BOARDS:
        lines += _photo_lines(f"{board_id.lower()}-bare.jpg", f'board = "{board_id}"', "bare")
    for board_id in BOARDS:
        name = f"{board_id.lower()}-topcoated.jpg"
        lines += _photo_lines(name, f'boards = ["{board_id}", "S"]', "topcoated")
        of_board, of_sample = corners[name]
        lines += [f"corners = [{of_board},", f"           {of_sample}]", 'flat = "photos/plain-sheet.jpg"']
    return "\n".join(lines) + "\n"


def truth_entry(shot: Shot, photo: RenderedPhoto) -> object:
    """Give what truth.json says about one photo."""
    return _rounded({"stage": shot.stage, **photo.truth.as_dict()})


def main(folder: Path) -> None:
    """Write the whole job folder."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    truths: dict[str, object] = {}
    corners: dict[str, list[list[list[int]]]] = {}
    for number, shot in enumerate(shots()):
        photo, file = shot.take(), folder / "photos" / shot.name
        save_photo(file, photo, quality=QUALITY, exif=_exif(number, photo.profile))
        print(f"{shot.name}: {file.stat().st_size / 1e6:.2f} MB")
        if shot.stage is not None:
            truths[f"photos/{shot.name}"] = truth_entry(shot, photo)
            corners[shot.name] = [[[round(x), round(y)] for x, y in board.corners_px] for board in photo.truth.boards]
    (folder / "job.toml").write_text(job_toml(corners), encoding="utf-8", newline="\n")
    (folder / "truth.json").write_text(json.dumps({"about": ABOUT, "photos": truths}, indent=1) + "\n", newline="\n")


ABOUT = (
    "Invented data, made by make_hall_bench.py. corners_px: top-left, top-right, bottom-right, bottom-left of a "
    "board's face or of the card, pixel x, y, (0, 0) the centre of the top-left pixel. Lab: CIELAB D50/2 degree of the "
    "zone's mean XYZ, 5 mm margins left out. L_sd, blotch_sd, figure_sd: standard deviations of L* of everything, of "
    "what uneven uptake of stain adds, and of the wood's own pattern without that. light_range: (max - min) / max of "
    "the light over the face."
)


def _board_lines(board_id: str, species: str, length: int, width: int) -> list[str]:
    return ["[[board]]", f'id = "{board_id}"', f'species = "{species}"', f"length = {length}", f"width = {width}"]


def _zone_lines(zone_id: str, treatment: str, span: tuple[int, int], recipe: dict[str, object]) -> list[str]:
    recipe = {**recipe, "topcoat": "waterborne clear", "sheen": "satin"}
    keys = {"id": zone_id, "treatment": treatment, "span": list(span), **recipe}
    return ["  [[board.zone]]", *(f"  {key} = {json.dumps(value)}" for key, value in keys.items())]


def _photo_lines(name: str, boards: str, stage: str) -> list[str]:
    return ["", "[[photo]]", f'file = "photos/{name}"', boards, f'stage = "{stage}"', 'light = "window"']


def _exif(number: int, profile: str) -> dict[Base, object]:
    day, minute = (4, 10 + 3 * number) if profile == "srgb" else (9, 4 * number)
    return {
        Base.Make: "simulated",
        Base.Model: "camera one" if profile == "srgb" else "camera three",
        Base.Software: "scene simulator of the Evenboard tests",
        Base.DateTime: f"2025:03:{day:02d} 10:{minute:02d}:00",
        Base.DateTimeOriginal: f"2025:03:{day:02d} 10:{minute:02d}:00",
        Base.ExposureTime: 1 / 60,
        Base.FNumber: 1.8,
        Base.ISOSpeedRatings: 100,
    }


def _rounded(value: object) -> object:
    """Three decimals: more would only make the file longer."""
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list | tuple) else value


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent / "hall-bench")
