"""How much room a row, a gate or a text takes, along the flow (its depth) and across it (its extent).

Room is kept for the longest status that a thing may have, and for two flags, whatever is the case now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cfgtrack.show.drawing.flags import ROOM
from cfgtrack.show.drawing.lettering import measure
from cfgtrack.show.drawing.sheet import Gate, Row, Symbol
from cfgtrack.show.drawing.strokes import SMALL, TEXT
from cfgtrack.show.drawing.symbols import REACH

LONG = 150.0
"""The most that one name or status takes; what is longer ends in an ellipsis, and is told whole when pointed at."""

PAD = 7.0
ASIDE = 46.0
"""Room for where a line goes on to that isn't drawn."""

SLOT = 2 * REACH + 6
"""Room at a row's end for a valve of its own."""


@dataclass(frozen=True, slots=True)
class Rooms:
    """The rooms of one box. `lined`: the rows where a line ends at some moment, `drawn`: where one ends now."""

    down: bool
    lined: frozenset[str]
    drawn: frozenset[str]

    def row_extent(self, row: Row) -> tuple[float, float]:
        """Return how much a row takes before and after its line, across the flow."""
        if not self.down:
            return (7.5, 9.0) if row.is_text else (13.0, 10.5)
        aside = ASIDE if row.key not in self.lined else 0.0
        return 9.0, 8 + max(self.name_width(row.text), self.status_width(row), ROOM - 2, aside)

    def gate_extent(self, gate: Gate) -> tuple[float, float]:
        """Return how much a gate takes before and after its line, across the flow."""
        if not self.down:
            return 15.5, 11.5
        wide = max(self.name_width(gate.text), self.longest(gate.status, gate.statuses))
        return 9.0, 10 + wide + ROOM

    def text_extent(self, text: str) -> tuple[float, float]:
        """Return how much a bar's text takes before and after its middle, across the flow."""
        return (8.5, 8.5) if not self.down else (9.0, 10 + self.name_width(text) + ROOM)

    def columns(self, rows: Sequence[Row]) -> tuple[float, float, float]:
        """Return how wide the rows of one side have their own valves, their names and their statuses, in columns."""
        slot = SLOT if any(row.valve is not None for row in rows) else 0.0
        names = max((self.name_width(row.text) for row in rows), default=0.0)
        return slot, names, max((self.status_width(row) for row in rows), default=0.0)

    def rows_depth(self, rows: Sequence[Row], loose: Sequence[Row]) -> float:
        """Return how far the texts of one side's rows go in from the edge.

        Flags hang under a row's line; a `loose` row has none, and its flags stand after its status.
        """
        slot, names, statuses = self.columns(rows)
        if not rows or self.down:
            return slot + (33.0 if rows else 0.0)
        return slot + PAD + max(names + 5 + statuses + (ROOM if loose else 0.0), ROOM)

    def gate_depth(self, gate: Gate) -> tuple[float, float]:
        """Return how much of its line a gate needs before its middle, and after it, where its flags are."""
        if self.down:
            return 17.0, 17.0
        wide = self.name_width(gate.text) + 4 + self.longest(gate.status, gate.statuses)
        return max(REACH + 11, wide / 2) + 4, max(REACH + ROOM, wide / 2) + 4

    def text_depth(self, text: str, sign: Symbol) -> float:
        """Return how far a bar's text goes from it."""
        if self.down:
            return 26.0
        return 10 + (2 * REACH if sign is not Symbol.NONE else 0) + self.name_width(text) + ROOM

    def name_width(self, text: str) -> float:
        """Return how wide a name is drawn at most."""
        return min(measure(text, TEXT), LONG)

    def status_width(self, row: Row) -> float:
        """Return how wide a row's longest status is; a row without a line may have more to say."""
        wide = self.longest(row.status, row.statuses)
        return max(wide, 34.0) if row.key not in self.lined else wide

    def longest(self, status: str, statuses: tuple[str, ...]) -> float:
        """Return how wide the longest of some statuses is."""
        texts = statuses or (status,)
        return min(max(measure(text, SMALL) for text in texts), LONG)
