"""Boards as chance lays them: the scenes of the studies, over cameras, lights, captures and references.

Ranges chosen by us, to hold what a shop's phone photos hold; the sensors are the measured ones of the simulator, on
which nothing in the measuring code was fitted.
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from simulator import Background, Board, Camera, GrayCard, Light, Scene, WoodZone
from simulator.chart import Chart
from simulator.scene import Paper, Tone
from simulator.spectra import MORE_SENSORS
from simulator.step_card import StepCard
from simulator.strips_in_scene import Laid, strips_beside
from simulator.wood import SPECIES, STAINS, TREATMENTS
from strip_photos import printed

from calibration.strips import HEIGHT_MM

Kind = Literal["gray-card", "step-card", "chart-24"]

DAYLIGHTS: Final = ("D50", "D55", "D65", "D75")
LAMPS: Final = ("A", "FL2", "FL11", "LED-B1", "LED-B3", "LED-B5")
SENSORS: Final = ("one", "two", "three", *MORE_SENSORS)
TABLES: Final = ((34.0, 0.0, 1.0), (62.0, 0.0, 1.0), (45.0, -2.0, -6.0), (70.0, 2.0, 8.0))
ZONE_MM: Final = 90.0
# The most of it: a gray card cannot see it, so a mild one is what it can be held to; the other one is a phone's.
TONES: Final = {
    "mild": Tone(flare=0.004, s_curve=0.08, contrast_gamma=1.025),
    "strong": Tone(flare=0.012, s_curve=0.4, contrast_gamma=1.08),
}
STEPS: Final = (0.90, 0.45, 0.18, 0.07, 0.03)


@dataclass(frozen=True)
class Draw:
    """One photo to take."""

    scene: Scene
    camera: Camera
    seed: int
    quality: int  # JPEG
    daylight: bool


def draw(number: int, kind: Kind = "gray-card", *, strips: bool = True, tone: str = "mild") -> Draw:
    """Draw the scene of a number; the same number gives the same board in the same light for every kind."""
    rng = np.random.default_rng([20261125, number])
    board = _board(rng, number)
    daylight = bool(rng.uniform() < 0.6)
    light = Light(
        illuminant=str(rng.choice(DAYLIGHTS if daylight else LAMPS)),
        gradient=float(rng.uniform(0, 0.35 if strips else 0.04)),
        direction_deg=float(rng.uniform(0, 360)),
        radial=float(rng.uniform(0, 0.15 if strips else 0.03)),
    )
    papers: tuple[Paper, ...] = ()
    if strips:
        laid = [(Laid((rng.normal(0, 0.5), rng.normal(0, 0.4)), rng.normal(0, 0.4)),) for _ in range(2)]
        papers = strips_beside(board, printed(board.length_mm), top=laid[0], bottom=laid[1])
    scene = Scene(
        boards=(board,),
        papers=papers,
        light=light,
        background=Background(Lab=TABLES[int(rng.integers(len(TABLES)))]),
    )
    scene = _with_reference(scene, kind, board, rng, HEIGHT_MM + 12 if strips else 15.0)
    camera = Camera(
        sensor=str(rng.choice(SENSORS)),
        profile=str(rng.choice(["srgb", "p3"])),
        size_px=(2400, 1800),
        roll_deg=float(rng.uniform(-8, 8)),
        tilt_deg=(float(rng.uniform(-8, 8)), float(rng.uniform(-8, 8))),
        exposure_EV=float(rng.uniform(-0.7, -0.1)),
        white_balance_error=(float(rng.normal(0, 0.02)), float(rng.normal(0, 0.02))),
        blur_sigma_px=float(rng.uniform(0.5, 1.1)),
        full_well_e=float(rng.uniform(6000, 20000)),
        tone=_tone(rng, TONES[tone]),
    )
    return Draw(scene, camera, number, int(rng.integers(85, 97)), daylight)


def _tone(rng: np.random.Generator, largest: Tone) -> Tone:
    """Half the cameras keep to their profile, the others add some of a phone's tone."""
    keeps, share = rng.uniform() < 0.5, rng.uniform(size=3)
    if keeps:
        return Tone()
    gamma = 1 + (2 * share[2] - 1) * (largest.contrast_gamma - 1)
    return Tone(flare=share[0] * largest.flare, s_curve=share[1] * largest.s_curve, contrast_gamma=gamma)


def _board(rng: np.random.Generator, number: int) -> Board:
    treatments = ["none", *rng.permutation([name for name in TREATMENTS if name != "none"])[:2], "none"]
    stain = str(rng.choice(list(STAINS)))
    zones = tuple(
        WoodZone(f"z{place}", (place * ZONE_MM, (place + 1) * ZONE_MM), str(treatment), stain)
        for place, treatment in enumerate(treatments)
    )
    return Board(
        "A",
        ZONE_MM * len(zones),
        float(rng.uniform(90, 140)),
        zones,
        species=str(rng.choice(list(SPECIES))),
        stage=str(rng.choice(["stained", "sealed", "topcoated"])),
        seed=number,
        tone=float(rng.uniform(0.85, 1.15)),
    )


def _with_reference(scene: Scene, kind: Kind, board: Board, rng: np.random.Generator, below_mm: float) -> Scene:
    place = float(rng.uniform(30, 120)), board.width_mm + below_mm
    turn = float(rng.uniform(-6, 6))
    if kind == "gray-card":
        return replace(scene, card=GrayCard(top_left_mm=place, turn_deg=turn))
    if kind == "step-card":
        return replace(scene, step_card=StepCard(STEPS, top_left_mm=place, turn_deg=turn))
    return replace(scene, chart=Chart(top_left_mm=place, turn_deg=turn, scale=0.6, spectra="older"))
