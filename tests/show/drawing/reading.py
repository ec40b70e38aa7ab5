"""All that a sheet says, as text: box by box, a line a row, bar, gate and note."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.show.drawing.sheet import Box, Mark, Sheet
from cfgtrack.show.drawing.shown import shown
from tests.show.world import MOMENT, Yard


def sheet_of(world: Yard, scope: Scope, *, fold: bool | None = None) -> Sheet:
    """Return the sheet of a world."""
    return shown(Scene(MOMENT, *world, scope), fold=fold)


def boxes(sheet: Sheet) -> dict[str, Box]:
    """Return the boxes of a sheet by their ids."""
    return {box.id: box for box in sheet.boxes}


def reading(sheet: Sheet) -> str:
    """Return all that a sheet says."""
    return re.sub(r" +", " ", "\n".join(_lines(sheet)))


def _lines(sheet: Sheet) -> Iterator[str]:
    yield from (sheet.title, sheet.moment, sheet.verdict)
    for box in sheet.boxes:
        yield f"{box.name} {', '.join(box.lines)} {_words(box.marks)}"
        for row in box.rows:
            yield f"{row.text} {row.status} {_words(row.marks)}"
        for bar in box.bars:
            yield f"{', '.join(bar.texts)} {_words(bar.marks)}"
        for gate in box.gates:
            ends = " | ".join(end.removeprefix(f"{box.id}:") for end in (gate.a, gate.b))
            yield f"{gate.text} {gate.status} {_words(gate.marks)}: {ends}"
    for note in sheet.notes:
        yield f"[{note.number}] {note.text}" if note.number else note.text


def _words(marks: Iterable[Mark]) -> str:
    return ", ".join(f"{mark.word} [{mark.number}]" if mark.number else mark.word for mark in marks)
