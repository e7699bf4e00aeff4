"""Make `packed_job_format_1.zip`, an invented job packed by the version that wrote format 1 of the archive.

Run once for each format, by the version that writes it, and kept: later versions must unpack and read it for ever.

    python tests/data/make_packed_job.py
"""

import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]  # what follows is found there

from board_jobs import SHOP_BOARD, SHOP_SCENE, write_job  # noqa: E402 - found by the line above
from board_photos import taken  # noqa: E402 - as above
from simulator import save_photo  # noqa: E402 - as above

from analyzer import measure_job, pack_job, results_json  # noqa: E402 - as above
from analyzer.record.archive_manifest import FORMAT  # noqa: E402 - as above

RECIPE = {"solids": 5, "wait": "2 h", "scuff": "P320", "lot": "M-14", "batch": "7b", "temperature": "20 °C"}

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "job"
        photo = {"file": "photos/a.jpg", "board": "A", "light": "shop"}
        write_job(folder, [SHOP_BOARD], [photo], of_zones={"A/washcoat": RECIPE})
        (folder / "photos").mkdir()
        save_photo(folder / "photos" / "a.jpg", taken(SHOP_SCENE, 3, size_px=(720, 540)))
        (folder / "results.json").write_bytes(results_json(measure_job(folder).results))
        pack_job(folder, HERE / f"packed_job_format_{FORMAT}.zip")
