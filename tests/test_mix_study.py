"""The study of mixing, in small: which way of adding is best, and whole jobs from photos."""

from pathlib import Path

import numpy as np
from studies.mix_study import HAZES_DRY, cases, errors, opaque_errors, photographed, ways


def test_smooth_spectra_foretell_mixes_better_than_bands_of_any_kind() -> None:
    """What analyzer/match/spectra.py says of the ways that were tried, on a seventh of its mixes."""
    for kind, haze, hazes in (("simulator", 0.02, HAZES_DRY), ("drawn", 0.0, (0.0,))):
        of = cases(kind, 40, haze=haze)
        mean = {name: float(np.mean([errors(way, of, hazes).mean() for way in each])) for name, each in ways().items()}
        best = mean.pop("smooth spectra")
        assert best < 0.3, (kind, best)
        assert best < min(mean.values()) + 0.02, (kind, best, mean)
        assert mean["K/S, smooth spectra"] > 5 * best


def test_pigments_that_cover_are_found_out_on_light_and_dark_boards() -> None:
    """Kubelka and Munk's layer instead of a transparent one, where two grounds differ by 30 % of absorbance."""
    clear, found, S = np.array(list(opaque_errors(0.15, 0.3, (0.85, 1.15), count=16))).mean(axis=0)
    assert found < 0.75 * clear
    assert 0.05 < S < 0.25
    none = np.array(list(opaque_errors(0.0, 0.3, (0.85, 1.15), count=16)))
    assert none[:, 2].mean() < 0.02  # and nothing is found where there is none
    assert none[:, 1].mean() < none[:, 0].mean() + 0.2


def test_mixes_are_foretold_from_photos_of_the_stains_alone(tmp_path: Path) -> None:
    """Two jobs from photos; what the whole study found stands in DEVELOPERS.md."""
    done = []
    for number in range(2):
        folder = tmp_path / str(number)
        folder.mkdir()
        done.append(photographed(number, folder, tone_sd=0.03, size_px=(800, 600)))
    assert max(one.de00 for one in done) <= 1.5
    assert max(one.found_de00 for one in done) <= 1.5
    assert all(one.de00 <= one.told.de00_u95 for one in done)
