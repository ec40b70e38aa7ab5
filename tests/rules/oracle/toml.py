"""Cases as the files that people would write: hardware, rules and plan in TOML, events as rows of CSV."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.rules.oracle.plant import Table
from tests.rules.oracle.state import Event

START = datetime(2031, 5, 1, tzinfo=UTC)
"""The instant that is nought in a case."""


def instant(offset: int) -> str:
    """Return a case's time as RFC 3339.

    >>> instant(1)
    '2031-05-01T00:00:00.000001Z'
    """
    return (START + timedelta(microseconds=offset)).isoformat().replace("+00:00", "Z")


class Literal(str):
    """A text that stands in TOML as it is."""

    __slots__ = ()


def hardware_text(hardware: Table) -> str:
    """Return a hardware file."""
    initial = {"at": Literal(instant(0)), **hardware["initial"]}
    return written({**hardware, "initial": initial})


def rules_text(rules: list[Table]) -> str:
    """Return a rules file."""
    return written({"title": "The rules of a case", "rule": rules})


def plan_text(plan: Table) -> str:
    """Return a sequence file."""
    outings = [{**outing, "start": Literal(instant(outing["start"]))} for outing in plan["outing"]]
    return written({**plan, "outing": outings})


def events_text(events: list[Event]) -> str:
    """Return events as rows of CSV."""
    quantities = sorted({name for event in events for name in event.get("values", {})})
    columns = ["id", "at", "action", "subject", "subject2", "place", "status", "by", "outing", *quantities]
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(columns)
    for number, event in enumerate(events):
        subjects = [*event["subjects"], "", ""]
        row = [f"E{number}", instant(event["happened"]), event["action"], *subjects[:2]]
        row += [event.get(name, "") for name in ("place", "status", "by", "outing")]
        rows.writerow(row + [event.get("values", {}).get(name, "") for name in quantities])
    return out.getvalue()


def written(table: Table) -> str:
    """Return a table as TOML: arrays of tables one below the other, all that is in them inline.

    >>> print(written({"title": "t", "part": [{"id": "a", "links": [["A", "B"]]}]}))
    title = "t"
    [[part]]
    id = "a"
    links = [["A", "B"]]
    <BLANKLINE>
    """
    lines = [f"{name} = {_value(value)}" for name, value in table.items() if not _is_tables(value)]
    for name, value in table.items():
        if _is_tables(value):
            for one in value:
                lines.append(f"[[{name}]]")
                lines += [f"{key} = {_value(inner)}" for key, inner in one.items()]
    return "\n".join(lines) + "\n"


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _value(value: Any) -> str:
    if isinstance(value, Literal):
        return str(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {_value(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(inner) for inner in value) + "]"
    return json.dumps(value)
