"""How is one command run, and what does the finisher see when it fails?

A foreseen error is told in words, with the exit code that belongs to it. A fault of our own keeps its traceback.
"""

import os
from importlib import import_module

import typer

from analyzer.cli import NOT_MEASURED, WRONG_USAGE
from analyzer.errors import AnalyzerError, JobExistsError, JobFileError
from calibration.errors import CalibrationError

# Read by the libraries when they load. OpenCV would print its own lines about damaged photos, which get a sentence
# here; OpenBLAS threads wait for one another longer than our small matrices take.
LIBRARY_SETTINGS = {"OPENCV_LOG_LEVEL": "ERROR", "OPENBLAS_NUM_THREADS": "1"}


def run_command(name: str, arguments: list[str]) -> int:
    """Run one command of `COMMANDS`.

    Parameters
    ----------
    name : str
        The command.
    arguments : list of str
        What follows it.

    Returns
    -------
    int
        Exit code.
    """
    for variable, value in LIBRARY_SETTINGS.items():
        os.environ.setdefault(variable, value)
    function = getattr(import_module(f"analyzer.cli.{name}"), name)
    settings = {"help_option_names": ["--help", "-h"]}
    app = typer.Typer(
        add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, context_settings=settings
    )
    app.command()(function)
    try:
        typer.main.get_command(app)(args=arguments, prog_name=f"evenboard {name}")
    except SystemExit as end:  # typer ends every command so: with 2 for wrong usage, 130 for Ctrl-C
        return end.code if isinstance(end.code, int) else 0
    except (JobFileError, JobExistsError) as error:
        return _told(str(error), WRONG_USAGE)
    except (AnalyzerError, CalibrationError) as error:
        return _told(str(error), NOT_MEASURED)
    except OSError as error:  # a full disk, a folder that may not be written
        where = f"{error.filename}: " if error.filename else ""
        return _told(f"{where}{error.strerror or error}.", NOT_MEASURED)
    return 0


def _told(message: str, code: int) -> int:
    """Tell an error on stderr."""
    typer.echo(message, err=True)
    return code
