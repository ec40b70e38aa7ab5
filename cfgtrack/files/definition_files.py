"""Definition files from a definition: TOML, with CSV where lists are long. The reader gives the same definition back.

What of it comes with the tool is left out. A field is written as `model.item` names it, save for those that a
file calls otherwise; one that differs from its default only, so that a reader sees what was said.

>>> from cfgtrack.model.part import Part
>>> print(definition_files(Definition(parts={"pump": Part("pump", mass=85.0)}), Definition())["plant.toml"], end="")
[[part]]
id = "pump"
mass = "85 kg"
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from cfgtrack.files.definition import shipped
from cfgtrack.files.fields import BETWEEN
from cfgtrack.files.formula import is_live
from cfgtrack.files.listed import LISTS
from cfgtrack.files.people import area_in_file
from cfgtrack.model.action import Action
from cfgtrack.model.attribute import attribute_from_json
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.item import item_to_json
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.time import SECOND, format_duration, format_instant

MAIN = "plant.toml"
"""The file to load: it names the others."""

LONG = 12
"""A list of more than so many stands in a CSV file of its own."""

Row = dict[str, Any]
"""Fields by name, as a definition file has them: texts, numbers, yes or no, lists, tables."""


def definition_files(
    definition: Definition, base: Definition | None = None, *, head: Sequence[str] = ()
) -> dict[str, str]:
    """Return the texts of definition files by name, `MAIN` first: all that `definition` has beyond `base` (None: what
    is shipped). `head` are lines of comment to stand first.

    Initial states of one time and author can be told in one file; those of others stand in files of their own,
    `initial-2.toml` and so on, which must be loaded too.
    """
    return _Writing(definition, base if base is not None else shipped(), head).files()


@dataclass(slots=True)
class _Writing:
    definition: Definition
    base: Definition
    head: Sequence[str]
    sheets: dict[str, list[Row]] = field(default_factory=dict)

    def files(self) -> dict[str, str]:
        parts = self._new("part")
        lists: dict[str, list[Row]] = {what: [] for what in LISTS} | self._rows_of_parts(parts)
        lists["units"], lists["places"] = self._new("unit"), self._new("place")
        for what, rows in lists.items():
            if len(rows) > LONG:
                self.sheets[what] = [row for row in rows if _fits_a_sheet(what, row)]
        chunks = [self._media_and_kinds(), *(self._part(part) for part in parts)]
        for sort in ("place", "unit"):
            chunks += [_table(sort, row) for row in lists[f"{sort}s"] if not self._in_sheet(f"{sort}s", row)]
        for sort in ("setting", "person", "permission"):
            chunks += [_table(sort, row) for row in self._new(sort)]
        first, *others = self._initial() or [""]
        text = "".join(f"# {line}".rstrip() + "\n" for line in self.head)
        chunks = [_lines({"title": self.definition.title}), *self._named_sheets(), *chunks, first]
        files = {MAIN: "\n".join(chunk for chunk in (text, *chunks) if chunk)}
        files |= {f"{what}.csv": _sheet(what, rows) for what, rows in self.sheets.items() if rows}
        files |= {f"initial-{n}.toml": other for n, other in enumerate(others, 2)}
        return files

    def _new(self, sort: str) -> list[Row]:
        """Return the items of a sort that `base` doesn't have so."""
        old = self.base.items(sort)
        items = ((name, one) for name, one in self.definition.items(sort).items() if old.get(name) != one)
        return [_FILE_FORM[sort](item_to_json(sort, one)) for _, one in items]

    def _media_and_kinds(self) -> str:
        return "\n".join(_table(sort, row) for sort in ("medium", "kind") for row in self._new(sort))

    def _rows_of_parts(self, parts: list[Row]) -> dict[str, list[Row]]:
        """Return the ports, nodes and links of all parts as rows; of the links of one part either all or none."""
        names = ("port", "node", "link")
        return {
            f"{name}s": [{"part": p["id"], **row} for p in parts for row in p.get(name, ())] for name in names
        }

    def _part(self, part: Row) -> str:
        own = dict(part)
        for name in ("port", "node", "link"):
            kept = [
                one
                for one in part.get(name, ())
                if not self._in_sheet(f"{name}s", {"part": part["id"], **one})
            ]
            own[name] = kept
        return _table("part", own)

    def _in_sheet(self, what: str, row: Row) -> bool:
        return what in self.sheets and _fits_a_sheet(what, row)

    def _named_sheets(self) -> Iterator[str]:
        for what, rows in self.sheets.items():
            if rows:
                yield _table("csv", {"file": f"{what}.csv", "table": what})

    # --- the initial configuration ---

    def _initial(self) -> list[str]:
        """Return one [initial] table a time and author; rows of the first stand in a sheet where they are many."""
        known = {event.id for event in self.base.initial}
        groups: dict[tuple[int, str | None], list[Action]] = {}
        for event in self.definition.initial:
            if event.id not in known:
                groups.setdefault((event.happened, event.by), []).append(event)
        found: list[str] = []
        for (at, by), events in groups.items():
            rows = list(_initial_rows(events, self.definition.plant()))
            table: Row = {"at": at, "by": by or ""}
            if not found and len(rows) > LONG:
                self.sheets["initial"] = [row for row in rows if _fits_a_sheet("initial", row)]
                rows = [row for row in rows if not _fits_a_sheet("initial", row)]
            found.append(_initial_text(table, rows))
        return found


def _initial_rows(events: Sequence[Action], plant: Plant) -> Iterator[Row]:
    """Yield a row a subject, in the order in which the reader makes the events again.

    What is joined at one status and on one half higher is two events, and two rows: one for each half. What is joined
    at the highest status that its halves have needs none.
    """
    singles = [event for event in events if len(event.subjects) == 1 and event.status]
    higher = {e.subjects[0]: e.status for e in singles if e.id.endswith(f":{e.status}")}
    for event in events:
        subject = event.subjects[0]
        if event.place is not None:
            yield {"subject": subject, "place": event.place, "facing": event.facing or ""}
        elif len(event.subjects) == 2:
            one, other = event.subjects
            if one in higher or other in higher:
                yield {"subject": one, "mate": other, "status": higher.get(one, event.status)}
                yield {"subject": other, "mate": one, "status": higher.get(other, event.status)}
            else:
                at_most = all(_highest(plant, half) == event.status for half in event.subjects)
                yield {"subject": one, "mate": other, "status": "" if at_most else event.status}
        elif subject not in higher:
            yield {"subject": subject, "status": event.status}


def _highest(plant: Plant, address: str) -> str:
    found = plant.port(address)
    return found[1].statuses[-1] if found is not None else ""


def _initial_text(table: Row, rows: list[Row]) -> str:
    joined = [[row["subject"], row["mate"]] for row in rows if row.get("mate") and not row["status"]]
    lines = "".join(f"    {_value(pair)},\n" for pair in joined)
    text = f"[initial]\nat = {format_instant(table['at'])}\n" + _lines({"by": table["by"]})
    text += f"joined = [\n{lines}]\n" if joined else ""
    for name, must, may in (("place", "place", "facing"), ("status", "status", "mate")):
        these = [row for row in rows if row.get(must)]
        text += f"\n[initial.{name}]\n" if these else ""
        for row in these:
            said = {_SAID[name]: row[must], **({may: row[may]} if row.get(may) else {})}
            text += f"{_string(row['subject'])} = {_value(said if len(said) > 1 else row[must])}\n"
    return text


_SAID = {"place": "at", "status": "is"}
"""What a line of the tables of [initial] must say, where it says more than that."""


# --- how the items stand in files -------------------------------------------------------------------------------------


def _measured(unit: str) -> Callable[[Any], str]:
    return lambda value: f"{_number(value)} {unit}"


def _number(value: float) -> str:
    return repr(value).removesuffix(".0")


_UNITS: dict[str, Callable[[Any], Any]] = {
    "mass": _measured("kg"),
    "litres": _measured("l"),
    "sink": _measured("K"),
    "lifts": _measured("kg"),
    "rated_pressure": _measured("Pa"),
    "rated_current": _measured("A"),
    "attributes": lambda found: {name: _attribute(one) for name, one in found.items()},
    "contacts": lambda found: [_as_written(one) for one in found],
    "torque": lambda both: [f"{_number(one)} N*m" for one in both],
    "trapped": lambda seconds: format_duration(round(seconds * SECOND)),
}


def _attribute(found: Any) -> Any:
    """Return an attribute as a file says it: a number with its unit in quotes, one without as a number, a date bare."""
    value = attribute_from_json(found)
    if not isinstance(value, Quantity):
        return value
    return str(value) if value.unit else value.shown


_THERMAL = {"capacity": "J/K", "leak": "W/K", "start": "K", "limit": "K", "heater": "W"}
_CALLED = {
    "ports": "port",
    "nodes": "node",
    "links": "link",
    "contacts": "contact",
    "moves": "move",
    "sources": "from",
    "target": "to",
}
"""What a file calls otherwise than the model."""


def _as_written(item: Mapping[str, Any]) -> Row:
    return {
        _CALLED.get(name, name): _UNITS.get(name, _same)(value)
        for name, value in item.items()
        if value is not None
    }


def _permission(item: Mapping[str, Any]) -> Row:
    row = _as_written(item)
    return {**row, "on": area_in_file(row["on"])} if "on" in row else row


def _same(value: Any) -> Any:
    return value


def _kind(item: Mapping[str, Any]) -> Row:
    return {**_as_written(item), "move": [_as_written(one) for one in item.get("moves", ())]}


def _part_row(item: Mapping[str, Any]) -> Row:
    row = _as_written(item)
    for name in ("port", "node", "link"):
        if name in row:
            row[name] = [_as_written(one) for one in row[name]]
    if "thermal" in row:
        thermal = row.pop("thermal")
        row["thermal"] = {
            n: f"{_number(v)} {_THERMAL[n]}" if n in _THERMAL else v for n, v in thermal.items()
        }
    return row


_FILE_FORM: dict[str, Callable[[Mapping[str, Any]], Row]] = {
    "medium": _as_written,
    "kind": _kind,
    "part": _part_row,
    "unit": _as_written,
    "place": _as_written,
    "setting": _as_written,
    "person": _as_written,
    "permission": _permission,
}
assert _FILE_FORM.keys() == SORTS.keys()


# --- CSV --------------------------------------------------------------------------------------------------------------


_LINE_END = "\n"
"""What stands between two aliases in a cell: an alias may have blanks."""


def _cells(row: Row) -> dict[str, str]:
    """Return the cells of a row: a range of torque in two of them, a list in one with blanks between."""
    cells = {}
    for name, value in row.items():
        if value in ("", []):
            continue
        if name == "torque":
            cells["torque_low"], cells["torque_high"] = value
        elif isinstance(value, bool):
            cells[name] = "yes" if value else "no"
        elif isinstance(value, (list, tuple)):
            cells[name] = (_LINE_END if name == "aliases" else " ").join(value)
        else:
            cells[name] = str(value)
    return cells


def _fits_a_sheet(what: str, row: Row) -> bool:
    """Return whether a row can stand in a CSV file: it has those columns alone, and the words of lists stay whole."""
    if what == "links":
        return True
    if "contact" in row:
        return False
    lists = (value for name, value in row.items() if name != "aliases" and isinstance(value, (list, tuple)))
    words = (word for value in lists for word in value)
    whole = all(word and not BETWEEN.search(word) for word in words)
    cells = _cells(row)
    one_line = all(
        cell.isprintable() and not is_live(cell) and not isinstance(row.get(name), dict)
        for name, cell in cells.items()
    )
    return whole and one_line and cells.keys() <= set(LISTS[what].columns)


def _sheet(what: str, rows: list[Row]) -> str:
    cells = [_cells(row) for row in rows]
    used = [name for name in LISTS[what].columns if any(row.get(name) for row in cells)]
    out = io.StringIO()
    writer = csv.DictWriter(out, used, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(cells)
    return out.getvalue()


# --- TOML -------------------------------------------------------------------------------------------------------------


def _table(name: str, row: Row) -> str:
    return f"[[{name}]]\n{_lines(row)}"


def _lines(row: Row) -> str:
    """Return the fields of a table, a line each; tables inside it a line each too."""
    return "".join(
        f"{name} = {_value(value, lines=True)}\n" for name, value in row.items() if value not in ("", [])
    )


def _value(value: Any, *, lines: bool = False) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(name)} = {_value(one)}" for name, one in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        if lines and value and isinstance(value[0], Mapping):
            return "[\n" + "".join(f"    {_value(one)},\n" for one in value) + "]"
        return "[" + ", ".join(_value(one) for one in value) + "]"
    if isinstance(value, date):
        return value.isoformat()
    return _string(value) if isinstance(value, str) else json.dumps(value)


def _key(name: str) -> str:
    is_bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if is_bare else _string(name)


def _string(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
