"""Everything that is written or shown after measuring: files, pictures, page and terminal summary."""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analyzer.report.jsonfile import read_results, results_json
    from analyzer.report.terminal import summary
    from analyzer.report.write import recover_results, write_results

__all__ = ["read_results", "recover_results", "results_json", "summary", "write_results"]

# The summary and the JSON need no NumPy; the pictures behind write_results do.
_HOME = {
    "read_results": "jsonfile",
    "recover_results": "write",
    "results_json": "jsonfile",
    "summary": "terminal",
    "write_results": "write",
}


def __getattr__(name: str) -> object:
    """Load a public name on its first use (PEP 562)."""
    if name not in _HOME:
        raise AttributeError(f"module 'analyzer.report' has no attribute {name!r}")
    return getattr(import_module(f"analyzer.report.{_HOME[name]}"), name)
