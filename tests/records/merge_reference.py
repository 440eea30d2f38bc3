"""The merge written a second time, slowly and from its definition, to hold the real one against.

Shares no code with fieldapp.records.fold: it works on the whole set of bodies at once, by comprehension.
"""

from __future__ import annotations

import json
from typing import Any


def heads(bodies: dict[str, str]) -> dict[str, dict[str, dict[str, Any]]]:
    """{record: {path: {change id: value}}} from {change id: body}: those that no other setting the path names."""
    parsed = {one: json.loads(body) for one, body in bodies.items()}
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for record in {change["record"] for change in parsed.values()}:
        mine = {one: change for one, change in parsed.items() if change["record"] == record}
        found[record] = {}
        for path in {path for change in mine.values() for path in change["set"]}:
            setters = {one: change for one, change in mine.items() if path in change["set"]}
            if path.split("/")[0] in {"human", "assessment", "step", "release"} and "/" in path:
                named: set[str] = set()
            else:
                named = {one for change in setters.values() for one in change["over"].get(path, [])}
            found[record][path] = {one: change["set"][path] for one, change in setters.items() if one not in named}
    return found
