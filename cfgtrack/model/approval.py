"""What an approval must hold: which findings it is of, and for how long."""

from __future__ import annotations

from typing import Any

from cfgtrack.model.action import Action
from cfgtrack.model.time import is_instant


def fault_of_approval(action: Action) -> str:
    """Return what is wrong with what an approval holds, "" for nothing. One that is void all the same has no fault."""
    body = action.body
    if not isinstance(body, dict) or not body:
        return "an approval names the findings that it is of by their fingerprints"
    told, rule, code = body.get("fingerprints"), body.get("rule"), body.get("fingerprint")
    if told is not None and not _is_names(told):
        return f"fingerprints: expected a list of texts, found {told!r}"
    for name, value in (("rule", rule), ("fingerprint", code)):
        if value is not None and not (isinstance(value, str) and value):
            return f"{name}: expected a text, found {value!r}"
    if not (told or rule or code):
        return "an approval names the findings that it is of by their fingerprints"
    for name in ("start", "end"):
        value = body.get(name)
        if value is not None and not is_instant(value):
            return f"{name}: expected a time in microseconds, found {value!r}"
    return ""


def _is_names(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, str) and one for one in value)
