"""Simulated photos of a 24-patch chart among the clutter of a shop, with the truth about its patches."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from board_photos import Floats, photo_of
from simulator import Background, Board, Camera, Chart, GrayCard, Light, PaintedZone, Paper, Scene, WoodZone, render

from calibration.photo import Photo

# Names of colour-science: daylight, window shade, tungsten, warm LED, cool and tri-band fluorescent lamps
LIGHTS = ("D50", "D65", "D75", "A", "LED-B1", "LED-B3", "FL2", "FL11")
# What a camera that stays at its daylight setting makes of warm lamps: red gain too high, blue too low
DAYLIGHT_BALANCE = {"A": (0.55, -0.60), "LED-B1": (0.35, -0.42), "FL2": (0.15, -0.2)}
LIT_MM = (-400.0, -300.0, 700.0, 500.0)


@dataclass(frozen=True)
class ChartPhoto:
    photo: Photo
    centres_px: Floats  # (24, 2)
    corners_px: Floats  # (4, 2), of the frame
    scene: Scene
    camera: Camera


def chart_photo(
    chart: Chart,
    *,
    boards: tuple[Board, ...] = (),
    card: GrayCard | None = None,
    papers: tuple[Paper, ...] = (),
    background: Background | None = None,
    light: Light | None = None,
    seed: int = 1,
    **camera: Any,  # noqa: ANN401 - fields of Camera
) -> ChartPhoto:
    """Photograph a chart."""
    scene = Scene(
        boards=boards,
        card=card,
        papers=papers,
        chart=chart,
        background=background or Background(),
        light=light or Light(over_mm=LIT_MM),
    )
    eye = Camera(**{"size_px": (1200, 900), **camera})
    rendered = render(scene, eye, seed)
    truth = rendered.truth
    return ChartPhoto(
        photo_of(rendered), np.array(truth.chart_centres_px), np.array(truth.chart_corners_px), scene, eye
    )


def clutter(seed: int) -> dict[str, Any]:
    """Boards, a gray card, papers and a background, drawn from a seed, around the place of a chart at (0, 0)."""
    rng = np.random.default_rng(seed)
    species = ["hard maple", "cherry", "pine", "walnut", "oak"]
    stains = ["walnut brown", "red mahogany", "golden oak", "black", None]
    boards = tuple(
        Board(
            name,
            300,
            120,
            tuple(
                WoodZone(f"{name}{k}", (100.0 * k, 100.0 * k + 100), stain=stains[int(rng.integers(5))])
                for k in range(3)
            ),
            species=species[int(rng.integers(5))],
            seed=int(rng.integers(1000)),
            top_left_mm=place,
            turn_deg=float(rng.uniform(-6, 6)),
            texture_px_per_mm=2.5,
        )
        for name, place in (("A", (0.0, 250.0)), ("B", (-330.0, 40.0)))
    )
    swatches = Board(  # painted squares on a lattice of their own: a quilt beside the chart
        "Q",
        210,
        140,
        tuple(
            PaintedZone(
                f"q{k}",
                (30.0 * (k % 6) + 15, 30.0 * (k % 6) + 40),
                (float(rng.uniform(30, 70)), *rng.uniform(0, 14, 2).tolist()),
                across_mm=(30.0 * (k // 6) + 12, 30.0 * (k // 6) + 37),
            )
            for k in range(24)
        ),
        top_left_mm=(310.0, 20.0),
        turn_deg=float(rng.uniform(-40, 40)),
        texture_px_per_mm=2.0,
    )
    page = np.full((280, 200), 255, np.uint8)
    for line in range(14):
        page[20 + 18 * line : 26 + 18 * line, 20 : 20 + int(rng.integers(60, 160))] = 40
    return {
        "boards": (*boards, swatches) if rng.random() < 0.6 else boards,
        "card": GrayCard(top_left_mm=(-150.0, -90.0), turn_deg=float(rng.uniform(-30, 30))),
        "papers": (Paper(page, 1.5, top_left_mm=(60.0, -220.0), turn_deg=float(rng.uniform(-20, 20))),),
        "background": Background(
            Lab=(float(rng.uniform(25, 80)), *rng.uniform(0, 12, 2).tolist()),
            texture=float(rng.choice([0.01, 0.03, 0.08])),
            wavelengths_mm=(1.0, float(rng.choice([4.0, 12.0]))),
        ),
    }
