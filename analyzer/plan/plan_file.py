"""How does a plan become `plan.json`, and how is it read again?"""

import msgspec

from analyzer.plan.plan import FORMAT, Plan
from analyzer.report.jsonfile import json_text


def plan_json(plan: Plan) -> bytes:
    """Write a plan as the text of `plan.json`: UTF-8, dates and times in ISO 8601, a line break at the end."""
    return json_text(msgspec.to_builtins(plan))


def read_plan(data: bytes) -> Plan:
    """Read `plan.json` again.

    Raises
    ------
    ValueError
        If it is no plan of this format; the message says which it is, or names the key.
    """
    try:
        version = msgspec.json.decode(data, type=dict[str, object]).get("format")
        if isinstance(version, int) and version > FORMAT:
            raise ValueError(f"a plan of format {version}; this version reads format {FORMAT}. Install a newer one.")
        return msgspec.json.decode(data, type=Plan)
    except msgspec.DecodeError as wrong:
        raise ValueError(f"not a plan of format {FORMAT}: {wrong}") from wrong
