"""An invented job, measured on paper: what the report's tests and its looks are tried on.

Nothing here went through a camera. Boards are painted with a fixed seed so that every run draws the same picture;
the numbers are of the size that a real job gives.
"""

from dataclasses import replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from analyzer.job import Board, EvennessWish, Job, PhotoEntry, Reference, Target, Zone
from analyzer.measurement import BoardPicture, Measurement, Overlay
from analyzer.results import (
    AnswerResult,
    DifferenceResult,
    FindingResult,
    PhotoResult,
    Results,
    ToolResult,
    VerdictResult,
    ZoneResult,
)
from calibration.gray_scale import colour_change_grade

SHA = "9f2c" * 16
STAIN = "brown oil stain"
SHELLAC = "dewaxed shellac washcoat"
GLUE = "glue size"
LIGHT = "shop"
TREATMENTS = {"control": "none", "shellac": SHELLAC, "glue": GLUE}

# board / zone: CIELAB and blotch index
READ = {
    "A/control": ((37.2, 13.1, 20.4), 1.92),
    "A/shellac": ((40.9, 14.9, 23.6), 0.61),
    "A/glue": ((42.6, 13.6, 23.9), 0.97),
    "R/control": ((36.1, 13.9, 20.9), 2.24),
    "R/shellac": ((40.1, 15.3, 23.2), 0.74),
    "R/glue": ((41.5, 14.2, 23.0), 1.05),
    "S/sample": ((40.2, 14.6, 22.8), 0.55),
}
SPECIES = {"A": "hard maple", "R": "red alder", "S": "hard maple"}


def example_job(folder: Path = Path("bay-window")) -> Job:
    """The job file of the example, as jobfile.py would read it."""
    boards = tuple(
        Board(
            id=board,
            species=SPECIES[board],
            length_mm=300.0,
            width_mm=150.0,
            zones=tuple(
                Zone(
                    id=zone,
                    treatment=treatment,
                    span_mm=(100.0 * k, 100.0 * k + 100.0),
                    across_mm=(0.0, 150.0),
                    stain=STAIN,
                    recipe={"scuff": "P320", "topcoat": "waterborne clear, satin"},
                )
                for k, (zone, treatment) in enumerate(TREATMENTS.items())
            ),
        )
        for board in ("A", "R")
    )
    sample = Board("S", "hard maple", 150.0, 100.0, (Zone("sample", "none", (0.0, 150.0), (0.0, 100.0)),))
    photos = tuple(
        PhotoEntry(f"photos/{board.lower()}-stained.jpg", board, "stained", LIGHT) for board in ("A", "R", "S")
    )
    return Job(
        folder=folder,
        name="Bay window seat",
        units="mm",
        target=Target(tolerance=2.0, zone="S/sample", stage="stained"),
        evenness=EvennessWish("even", 1.0),
        reference=Reference(),
        boards=(*boards, sample),
        photos=(*photos, PhotoEntry("photos/a-second.jpg", "A", "stained", LIGHT)),
        customer="Ms. Example",
        as_read={
            "format": 1,
            "job": {"name": "Bay window seat", "customer": "Ms. Example", "units": "mm"},
            "target": {"zone": "S/sample", "stage": "stained", "tolerance": 2.0},
            "evenness": {"wish": "even", "limit": 1.0},
        },
    )


def example_results() -> Results:
    """The answer of the example: shellac matches and is even, the control does neither, glue size cannot be told."""
    return Results(
        format=1,
        tool=ToolResult("evenboard", "0.1.0", "gray card, no chart; band 4-50 mm; block bootstrap"),
        job=example_job().as_read,
        photos=_photos(),
        zones=tuple(_zone(path) for path in READ),
        differences=_differences(),
        verdicts=_verdicts(),
        answer=AnswerResult(
            SHELLAC,
            STAIN,
            None,
            "Use the dewaxed shellac washcoat: its colour lies within your limit on both boards, and it is even.",
        ),
    )


def example_measurement(*, boards: tuple[str, ...] = ("A", "R", "S"), folder: Path = Path("bay-window")) -> Measurement:
    """The whole handover, with painted boards and one photo in which the card was not found."""
    job = example_job(folder)
    return Measurement(
        job=job,
        results=example_results(),
        pictures=tuple(_picture(job.board(board), f"photos/{board.lower()}-stained.jpg") for board in boards),
        overlays=(Overlay("photos/a-second.jpg", "The board was found (outlined); no gray card was.", _overlay()),),
    )


def without_answer(measurement: Measurement) -> Measurement:
    """The same job when nothing can be named: every treatment is 'cannot tell'."""
    verdicts = tuple(
        replace(
            verdict,
            colour="cannot tell",
            evenness="cannot tell",
            overall="cannot tell",
            de00_u95=None,
            blotch_u95=None,
            advice="Only one photo of one board: photograph it twice more, moving it between the shots.",
        )
        for verdict in measurement.results.verdicts
    )
    answer = AnswerResult(
        None, None, None, "No treatment can be named yet: every difference is smaller than its uncertainty."
    )
    return replace(measurement, results=replace(measurement.results, verdicts=verdicts, answer=answer))


def _photos() -> tuple[PhotoResult, ...]:
    no_profile = FindingResult(
        "no-profile",
        "note",
        "The photo carries no colour profile; sRGB is assumed.",
        "Send the original file: messaging apps and some editors strip the profile.",
    )
    uneven = FindingResult(
        "card-uneven",
        "warning",
        "The light changes by 4 % across the gray card (limit 3 %).",
        "Move the lamps further away, and keep shadows off the card.",
    )
    missing = FindingResult(
        "card-missing",
        "unusable",
        "The gray card was not found: nothing neutral and four-sided lies in the frame.",
        "Give its corners in job.toml: card = [[x, y], …], or lay it flat beside the board, wholly in frame.",
    )
    return (
        _photo("a-stained", "A", 0.1523, "outline", None, no_profile),
        _photo("r-stained", "R", 0.1498, "corners", 0.06, uneven),
        _photo("s-stained", "S", 0.1301, "outline", None),
        _photo("a-second", "A", None, None, None, missing),
    )


def _photo(
    name: str,
    board: str,
    mm_per_px: float | None,
    located_by: Literal["corners", "outline"] | None,
    light_range: float | None,
    *findings: FindingResult,
) -> PhotoResult:
    return PhotoResult(
        file=f"photos/{name}.jpg",
        sha256=SHA,
        board=board,
        stage="stained",
        light=LIGHT,
        usable=mm_per_px is not None,
        mm_per_px=mm_per_px,
        located_by=located_by,
        light_range=light_range,
        light_residual=None if light_range is None else 0.003,
        findings=findings,
    )


def _zone(path: str) -> ZoneResult:
    board, zone = path.split("/")
    Lab, blotch = READ[path]
    return ZoneResult(
        id=path,
        board=board,
        zone=zone,
        stage="stained",
        light=LIGHT,
        species=SPECIES[board],
        treatment=TREATMENTS.get(zone, "none"),
        stain=STAIN if board != "S" else None,
        lab=Lab,
        lab_u95=(1.9, 1.1, 1.7),
        blotch=blotch,
        blotch_u95=round(0.11 + 0.08 * blotch, 3),
        patch_mm=14.2,
        figure=0.83,
        area_mm2=12600.0,
        masked=0.0125,
        photos=(f"photos/{board.lower()}-stained.jpg",),
    )


def _differences() -> tuple[DifferenceResult, ...]:
    pairs = [(f"{board}/control", f"{board}/{zone}") for board in "AR" for zone in ("shellac", "glue")]
    pairs += [("S/sample", f"{board}/{zone}") for board in "AR" for zone in TREATMENTS]
    return tuple(_difference(a, b) for a, b in pairs)


def _difference(a: str, b: str) -> DifferenceResult:
    first, second = np.array(READ[a][0]), np.array(READ[b][0])
    dL, da, db = (second - first).tolist()
    dC = float(np.hypot(*second[1:]) - np.hypot(*first[1:]))
    de76 = float(np.linalg.norm(second - first))
    dH = float(np.sqrt(max(de76**2 - dL**2 - dC**2, 0.0)))
    same_photo = a[0] == b[0]
    return DifferenceResult(
        a=a,
        b=b,
        stage="stained",
        light=LIGHT,
        de00=0.86 * de76,
        de00_u95=0.42 if same_photo else 1.3,
        de76=de76,
        dl=dL,
        da=da,
        db=db,
        dc=dC,
        dh=dH,
        grade=float(colour_change_grade(first, second)),
    )


def _verdicts() -> tuple[VerdictResult, ...]:
    common = {"stain": STAIN, "species": "hard maple, red alder", "stage": "stained", "light": LIGHT, "boards": 2}
    return (
        VerdictResult(
            treatment=SHELLAC,
            zones=("A/shellac", "R/shellac"),
            rank=1,
            de00=0.72,
            de00_u95=0.88,
            colour="match",
            blotch=0.68,
            blotch_u95=0.16,
            evenness="even",
            overall="use",
            advice="Matches on both boards and is even enough.",
            **common,
        ),
        VerdictResult(
            treatment=GLUE,
            zones=("A/glue", "R/glue"),
            rank=2,
            de00=1.64,
            de00_u95=0.93,
            colour="cannot tell",
            blotch=1.01,
            blotch_u95=0.19,
            evenness="cannot tell",
            overall="cannot tell",
            advice="1.9 too light, the hue fits. One more board, or the sample in the same photo, would settle it.",
            **common,
        ),
        VerdictResult(
            treatment="none",
            zones=("A/control", "R/control"),
            rank=3,
            de00=3.31,
            de00_u95=0.97,
            colour="no match",
            blotch=2.08,
            blotch_u95=0.27,
            evenness="blotchy",
            overall="do not use",
            advice="3.6 too dark, and about twice as blotchy as allowed: a pre-treatment is needed.",
            **common,
        ),
    )


def _picture(board: Board, photo: str) -> BoardPicture:
    """Painted wood: streaks along the grain, patches where the zone is blotchy."""
    mm_per_px = 0.25
    rows, columns = round(board.width_mm / mm_per_px), round(board.length_mm / mm_per_px)
    rng = np.random.default_rng(sum(board.id.encode()))
    patches = _band(rng, (rows, columns), 6 / mm_per_px)
    streaks = cv2.GaussianBlur(rng.standard_normal((rows, columns)), (0, 0), sigmaX=90, sigmaY=1.5)
    streaks /= streaks.std()
    Lab = np.empty((rows, columns, 3), np.float32)
    deviation = np.full((rows, columns), np.nan, np.float32)
    measured = np.zeros((rows, columns), np.bool_)
    for zone in board.zones:
        whole = _window(zone.span_mm, zone.across_mm, 0.0, mm_per_px)
        inner = _window(zone.span_mm, zone.across_mm, zone.margin_mm, mm_per_px)
        mean, blotch = READ[f"{board.id}/{zone.id}"]
        Lab[whole] = mean
        Lab[*whole, 0] += (blotch * patches + 0.8 * streaks)[whole]
        deviation[inner] = (blotch * patches)[inner]
        measured[inner] = True
    measured[:20, :20] = False
    deviation[~measured] = np.nan
    return BoardPicture(board, "stained", LIGHT, photo, Lab, measured, deviation, mm_per_px)


def _band(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> np.ndarray:
    noise = rng.standard_normal(shape)
    band = cv2.GaussianBlur(noise, (0, 0), size_px / 2) - cv2.GaussianBlur(noise, (0, 0), size_px)
    return band / band.std()


def _window(
    span: tuple[float, float], across: tuple[float, float], margin: float, mm_per_px: float
) -> tuple[slice, slice]:
    ends = [
        round(value / mm_per_px)
        for value in (across[0] + margin, across[1] - margin, span[0] + margin, span[1] - margin)
    ]
    return slice(ends[0], ends[1]), slice(ends[2], ends[3])


def _overlay() -> np.ndarray:
    RGB = np.full((900, 1200, 3), (196, 194, 190), np.uint8)
    cv2.rectangle(RGB, (180, 220), (1010, 640), (126, 88, 58), -1)
    cv2.rectangle(RGB, (180, 220), (1010, 640), (255, 210, 0), 6)
    return RGB
