"""A spectral simulator of board photos: a test instrument with known truth.

Wood reflectance x stain absorbance x illuminant x measured camera sensitivities x perspective, uneven light,
blur, noise, tone curve and JPEG. It shares no code with what it tests: nothing here imports `calibration` or
`analyzer`. Everything is drawn from seeds, so that a scene can be repeated.

    board = Board("A", 300, 150, zones=(WoodZone("control", (0, 150), stain="walnut brown"), ...), species="hard maple")
    scene = Scene(boards=(board,), card=GrayCard(top_left_mm=(320, 20)))
    photo = render(scene, Camera(), seed=1)      # photo.codes, photo.truth
    save_photo(path, photo)
"""

from simulator.chart import Chart, chart_Lab, chart_reflectances
from simulator.fields import drift, fine_texture, gaussian_field, streaks
from simulator.photo_file import save_photo
from simulator.render import RenderedPhoto, render, render_sensor
from simulator.scene import (
    Background,
    Board,
    Camera,
    CastShadow,
    GlareSpot,
    GrayCard,
    Light,
    PaintedZone,
    Paper,
    Scene,
    Shadow,
    Tone,
    WoodZone,
)
from simulator.spectra import SENSORS, Lab_to_reflectance, reflectance_to_Lab
from simulator.step_card import StepCard
from simulator.truth import BoardTruth, Truth, ZoneTruth
from simulator.wet_film import WetFilm
from simulator.wood import SPECIES, STAINS, TREATMENTS

__all__ = [
    "SENSORS",
    "SPECIES",
    "STAINS",
    "TREATMENTS",
    "Background",
    "Board",
    "BoardTruth",
    "Camera",
    "CastShadow",
    "Chart",
    "GlareSpot",
    "GrayCard",
    "Lab_to_reflectance",
    "Light",
    "PaintedZone",
    "Paper",
    "RenderedPhoto",
    "Scene",
    "Shadow",
    "StepCard",
    "Tone",
    "Truth",
    "WetFilm",
    "WoodZone",
    "ZoneTruth",
    "chart_Lab",
    "chart_reflectances",
    "drift",
    "fine_texture",
    "gaussian_field",
    "reflectance_to_Lab",
    "render",
    "render_sensor",
    "save_photo",
    "streaks",
]
