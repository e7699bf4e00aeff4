"""Which command was asked for?  The `evenboard` command line.

Each command is a module of this package, loaded only when it is called: typer alone takes as long to load as four
bare interpreters take to start, and the overview below needs none of it.
Exit codes: 0 done, 1 a photo or a job could not be measured, 2 wrong usage or a job file that does not hold,
130 stopped with Ctrl-C.
"""

import sys
from collections.abc import Sequence

# command: (arguments, first line of its help); module, function and docstring of the command say the same
COMMANDS = {
    "new": ("DIR", "Start a job folder with a commented job.toml."),
    "plan": ("DIR", "Plan a trial: boards and zones, how many, drawings, labels."),
    "strips": ("OUT.pdf", "Print edge strips for a board: a PDF at exact size."),
    "check": ("PHOTO…", "Check whether photos can be used; what to change if not."),
    "measure": ("DIR", "Measure a job: its photos to results.json, zones.csv, report."),
    "find": ("…", "Find recorded zones: by wood, recipe, colour, verdict."),
    "compare": ("A B", "Compare two recipes: what differs, what was not recorded."),
    "match": ("DIR", "Say what to change to reach the target: direction, dose, mix."),
    "approve": ("DIR", "Freeze an agreed BOARD/ZONE; --list shows what was approved."),
    "verify": ("DIR", "Hold production parts in photos against the approved zone."),
    "pack": ("DIR", "Pack a job into one archive, whole and proved."),
    "unpack": ("ZIP", "Unpack an archive into a new job folder, once proved."),
    "corrections": ("…", "List, show or remove the corrections kept for later jobs."),
}

DONE, NOT_MEASURED, WRONG_USAGE, INTERRUPTED = 0, 1, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows `evenboard` on the command line; left out, that of this process.

    Returns
    -------
    int
        Exit code.
    """
    given = sys.argv[1:] if arguments is None else list(arguments)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal without ΔE prints ?E, not a traceback
    try:
        code = _dispatch(given)
        sys.stdout.flush()
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader, `head` for instance, has seen enough
        from analyzer.cli.closed_pipe import silence_stdout  # noqa: PLC0415 - needed once in a thousand runs

        silence_stdout()
        return NOT_MEASURED
    return code


def overview() -> str:
    """Help of the command line as a whole."""
    width = max(len(f"{name} {arguments}") for name, (arguments, _) in COMMANDS.items())
    commands = "\n".join(f"  {f'{name} {arguments}':{width}}   {line}" for name, (arguments, line) in COMMANDS.items())
    return f"""Usage: evenboard COMMAND …

Photos of stained test boards in, a decision out: which pre-treatment keeps this
wood even, which comes nearest the agreed colour, and how sure that is.

Commands:
{commands}

Options:
  --version   Show the version.
  --help      Show this help; after a command, that command's own.

Exit codes: 0 done; 1 a photo or a job could not be measured; 2 wrong usage, or
a job file that does not hold."""


def _dispatch(given: list[str]) -> int:
    """Answer what needs no command; run the others."""
    first = given[0] if given else ""
    if first in COMMANDS:
        from analyzer.cli.run import run_command  # noqa: PLC0415 - loads typer

        return run_command(first, given[1:])
    if first in ("--help", "-h"):
        sys.stdout.write(f"{overview()}\n")
        return DONE
    if first == "--version":
        from analyzer.version import tool_version  # noqa: PLC0415 - loads importlib.metadata

        sys.stdout.write(f"evenboard {tool_version()}\n")
        return DONE
    if not given:
        sys.stderr.write(f"{overview()}\n")
        return WRONG_USAGE
    sys.stderr.write(f"evenboard: there is no {first}.{_suggestion(first)} Try: evenboard --help\n")
    return WRONG_USAGE


def _suggestion(word: str) -> str:
    """Name the command that was probably meant."""
    from difflib import get_close_matches  # noqa: PLC0415 - only a mistyped command needs it

    near = get_close_matches(word, COMMANDS, n=1)
    return f" Did you mean {near[0]}?" if near else ""
