"""Photos that several test files measure: taken once."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job
from board_photos import taken
from simulator import RenderedPhoto, save_photo

from analyzer.user_data import DATA_VARIABLE


@pytest.fixture(scope="session", autouse=True)
def own_data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A folder of the tests' own for what is kept between jobs: nobody's index or corrections are read or written."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(DATA_VARIABLE, str(tmp_path_factory.mktemp("data")))
        yield


@pytest.fixture(scope="session")
def shop() -> RenderedPhoto:
    """A board of three zones and a card, held by hand."""
    return taken(SHOP_SCENE, 3, size_px=(1100, 825), tilt_deg=(5, -4))


@pytest.fixture
def shop_job(tmp_path: Path, shop: RenderedPhoto) -> Path:
    """A job folder with that photo."""
    save_photo(tmp_path / "a.jpg", shop)
    return write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
