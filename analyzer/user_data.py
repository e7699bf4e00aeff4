"""Where does Evenboard keep what outlives a job: corrections, a shop's own tables, the index of all jobs?"""

import os
from pathlib import Path

DATA_VARIABLE = "EVENBOARD_DATA"  # names another data folder than the system's usual one


def data_folder() -> Path:
    """The folder that `EVENBOARD_DATA` names, else the system's for a user's data; need not be there."""
    named = os.environ.get(DATA_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_data_path  # noqa: PLC0415 - only who keeps something needs it

    return user_data_path("evenboard", appauthor=False)
