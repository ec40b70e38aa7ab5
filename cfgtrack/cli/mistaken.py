"""A file that was given to the wrong command: what it is, and which command takes it."""

from __future__ import annotations

import csv
import shlex
import tomllib
from collections.abc import Iterable
from pathlib import Path

from cfgtrack.model.trouble import BadInput, Problem

SEQUENCE, HARDWARE, RULES, GOAL, EVENTS, LIST = "sequence", "hardware", "rules", "goal", "events", "list"

_IS = {
    SEQUENCE: "this is a sequence: `cfgtrack check {}` judges it, `cfgtrack plan adopt {}` makes it the plan",
    HARDWARE: "this is a hardware definition: `cfgtrack load {}`",
    RULES: "these are rules: `cfgtrack rules load {}`",
    GOAL: "this says what is wanted: `cfgtrack way {}` finds the steps",
    EVENTS: "these are recorded events: `cfgtrack import {}`",
    LIST: "this is a list of hardware: name it in a [[csv]] of the definition, and `cfgtrack load` that",
}

_TAKES = {
    HARDWARE: ("load", "vet"),
    RULES: ("rules load", "rules try"),
    GOAL: ("way",),
    EVENTS: ("import",),
    SEQUENCE: (
        "check", "plan adopt", "stops", "failures", "orders", "mend", "complete", "durations", "which", "compare",
    ),
}  # fmt: skip
_TAKEN = {command: sort for sort, commands in _TAKES.items() for command in commands}

_HARDWARE = {"kind", "medium", "part", "unit", "place", "initial", "csv", "table", "person", "permission"}


def sort_of_file(path: Path) -> str:
    """Return what a file is by what stands in it, "" where that isn't clear or it can't be read."""
    try:
        if path.suffix == ".csv":
            with path.open(newline="", encoding="utf-8-sig") as rows:
                head = set(next(csv.reader(rows), ()))
            return EVENTS if "action" in head else LIST if {"part", "id"} <= head else ""
        if path.suffix != ".toml":
            return ""
        said = set(tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except (OSError, UnicodeError, tomllib.TOMLDecodeError, csv.Error):
        return ""
    marks = {SEQUENCE: {"outing"}, RULES: {"rule"}, GOAL: {"want"}, HARDWARE: _HARDWARE}
    sorts = [sort for sort, fields in marks.items() if said & fields]
    return sorts[0] if len(sorts) == 1 else ""


def mistaken(command: str, named: Iterable[object]) -> BadInput | None:
    """Return what to say of files that a command (`rules load`) was given and another takes; None where none is so."""
    wanted = _TAKEN.get(command)
    problems = [
        Problem(str(path), "wrong-file", _IS[sort].replace("{}", shlex.quote(str(path))))
        for path in map(Path, (str(one) for one in named))
        if wanted is not None and (sort := sort_of_file(path)) and sort != wanted
    ]
    return BadInput(problems) if problems else None
