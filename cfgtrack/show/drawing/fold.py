"""A sheet with boxes that are alike drawn as one, and rows that are alike as one: a big plant on a page.

Two boxes are alike when they are of one part, in one state, with the same marks, and their rows lead to rows alike of
boxes alike, however far one follows. So whatever differs from its like, and all that is tied to it, is drawn by itself;
nothing is lost: the counts of boxes, rows and lines add up to what there is.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from cfgtrack.rules.saying import say_list
from cfgtrack.show.drawing.sheet import Alarm, Box, Gate, Line, Mark, Note, Row, Sheet

ROUNDS = 24
"""So many ties far it is followed whether boxes are alike: beyond, a difference in a long row is let go."""

_FEWEST_ROWS = 3


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a box is one of many of: the id of its part, and what that is called."""

    part: str
    title: str


def folded(sheet: Sheet, patterns: Mapping[str, Pattern]) -> Sheet:
    """Return a sheet with boxes that are alike as one. Boxes without a pattern stay as they are."""
    fold = _Fold(sheet, patterns)
    boxes, lines = fold.boxes(), fold.lines()
    if len(boxes) == len(sheet.boxes) and not fold.renamed:
        return sheet
    told = Note(
        Alarm.NOTED, f"{len(sheet.boxes)} boxes are drawn as {len(boxes)}: × says for how many one stands"
    )
    return replace(
        sheet,
        boxes=boxes,
        lines=lines,
        title=f"{sheet.title} – alike ones drawn as one",
        notes=(*sheet.notes, told),
    )


@dataclass
class _Fold:
    sheet: Sheet
    patterns: Mapping[str, Pattern]
    renamed: dict[tuple[str, str], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._boxes = {box.id: box for box in self.sheet.boxes}
        classes: dict[Hashable, int] = {}
        self._class = {
            (box.id, row.key): classes.setdefault(
                (self._part(row), _row_class(box, row, gates)), len(classes)
            )
            for box in self.sheet.boxes
            for row, gates in _with_gates(box)
        }
        self._ends: dict[str, list[_End]] = {box: [] for box in self._boxes}
        for line in self.sheet.lines:
            if not line.ghost and line.a in self._boxes and line.b in self._boxes:
                self._ends[line.a].append(_End(line.a_row, line.b, line.b_row, line))
                self._ends[line.b].append(_End(line.b_row, line.a, line.a_row, line))
        groups = self._alike()
        self._group = {box: group for group in groups for box in group}
        self._drawn = tuple(self._box(group) for group in groups)

    def _part(self, row: Row) -> str:
        """Return of which part the unit is that a row is the text of: only those of one part are alike."""
        pattern = self.patterns.get(row.key) if row.is_text else None
        return "" if pattern is None else pattern.part

    def _alike(self) -> list[list[str]]:
        """Return the boxes in groups of alike ones: apart by what they are, then, round by round, by their ties."""
        colour = _numbered({box.id: self._own(box) for box in self.sheet.boxes})
        for _ in range(ROUNDS):
            finer = _numbered({box: (colour[box], self._ties(box, colour)) for box in self._boxes})
            if len(set(finer.values())) == len(set(colour.values())):
                break
            colour = finer
        groups: dict[int, list[str]] = {}
        for box, number in colour.items():
            groups.setdefault(number, []).append(box)
        return list(groups.values())

    def _ties(self, box: str, colour: Mapping[str, int]) -> Hashable:
        """Return where a box's lines lead: from which row to what sort of row of what sort of box."""
        return tuple(
            sorted(
                (
                    _local(box, end.row),
                    colour[end.far],
                    self._class.get((end.far, end.far_row), -1),
                    *end.said,
                )
                for end in self._ends[box]
            )
        )

    def _own(self, box: Box) -> Hashable:
        pattern = self.patterns.get(box.id)
        if pattern is None:
            return box.id
        rows = tuple((_local(box.id, r.key), r.text, self._class[box.id, r.key]) for r in box.rows)
        bars = tuple((_local(box.id, b.key), b.texts, b.look, b.marks, b.change) for b in box.bars)
        gates = tuple((_local(box.id, g.key), g.is_open, g.status, g.marks, g.change) for g in box.gates)
        return pattern.part, box.form, rows, bars, gates, box.marks, box.change

    # --- drawn

    def boxes(self) -> tuple[Box, ...]:
        """Return the boxes, each for all that are like it."""
        return self._drawn

    def lines(self) -> tuple[Line, ...]:
        """Return the lines, each for all that lead from alike rows to alike rows."""
        found: dict[tuple[object, ...], Line] = {}
        for line in self.sheet.lines:
            if line.a not in self._boxes or line.b not in self._boxes:
                continue
            moved = replace(
                line,
                a=self._group[line.a][0],
                b=self._group[line.b][0],
                a_row=self._row_key(line.a, line.a_row),
                b_row=self._row_key(line.b, line.b_row),
            )
            key = (moved.a, moved.a_row, moved.b, moved.b_row, moved.medium, moved.look, moved.label,
                   moved.ghost, moved.change)  # fmt: skip
            before = found.get(key)
            count = moved.count if before is None else before.count + moved.count
            found[key] = replace(moved, count=count)
        drawn = {(one.a, one.a_row, one.b, one.b_row) for one in found.values() if not one.ghost}
        return tuple(
            one
            for one in found.values()
            if not one.ghost or (one.a, one.a_row, one.b, one.b_row) not in drawn
        )

    def _row_key(self, box: str, row: str) -> str:
        """Return the key of the row that stands for a row, in the box that stands for its box."""
        if not row:
            return ""
        first = self._group[box][0]
        key = row if first == box else _moved(box, first, row)
        return self.renamed.get((first, key), key)

    def _box(self, group: Sequence[str]) -> Box:
        box = self._with_fewer_rows(self._boxes[group[0]])
        if len(group) == 1:
            return box
        pattern = self.patterns[box.id]
        return replace(
            box,
            name=f"{group[0]} … {group[-1]}",
            lines=tuple(filter(None, (pattern.title, say_list(group)))),
            count=len(group) * box.count,
            members=tuple(group),
            rows=tuple(replace(row, to="") for row in box.rows),
        )

    def _with_fewer_rows(self, box: Box) -> Box:
        """Return a box with rows that are alike, and lead to rows alike, as one, and their gates as one."""
        leads: dict[str, list[tuple[Hashable, ...]]] = {}
        for end in self._ends[box.id]:
            leads.setdefault(end.row, []).append((*self._leads_to(end), *end.said))
        names = {row.key for row in box.rows}
        alike: dict[Hashable, list[tuple[Row, list[Gate]]]] = {}
        for row, gates in _with_gates(box):
            alone = len(gates) > 1 or any(_other(gate, row.key) in names for gate in gates)
            to = tuple(sorted(leads.get(row.key, ()), key=repr))
            key = (row.key if alone else "", self._class[box.id, row.key], to)
            alike.setdefault(key, []).append((row, gates))
        rows: list[Row] = []
        stands: dict[str, list[Gate]] = {}
        for some in alike.values():
            if len(some) < _FEWEST_ROWS:
                rows += [row for row, _ in some]
                continue
            first, gates = some[0]
            rows.append(_one_row([row for row, _ in some]))
            self.renamed.update(((box.id, row.key), first.key) for row, _ in some)
            if gates:
                stands[gates[0].key] = [gate for _, others in some for gate in others]
        gone = {gate.key for key, some in stands.items() for gate in some if gate.key != key}
        order = {row.key: i for i, row in enumerate(box.rows)}
        kept = (_one_gate(stands.get(gate.key, [gate])) for gate in box.gates if gate.key not in gone)
        return replace(box, rows=tuple(sorted(rows, key=lambda row: order[row.key])), gates=tuple(kept))

    def _leads_to(self, end: _End) -> tuple[Hashable, ...]:
        """Return to which box and row a line leads: of a box that is drawn alone any row of one sort."""
        group = self._group[end.far]
        if len(group) == 1:
            return group[0], self._class.get((end.far, end.far_row), -1)
        return group[0], _local(end.far, end.far_row)


class _End(NamedTuple):
    """A line as it is seen from one of its ends: own row, the box and row at the other end."""

    row: str
    far: str
    far_row: str
    line: Line

    @property
    def said(self) -> tuple[str, ...]:
        """All else of the line that makes it unlike another."""
        line = self.line
        return line.medium, line.look.name, line.label, str(line.count), line.change.value


def _one_row(rows: Sequence[Row]) -> Row:
    return replace(
        rows[0], text=_listed([row.text for row in rows]), count=sum(row.count for row in rows), to=""
    )


def _one_gate(gates: Sequence[Gate]) -> Gate:
    gate = gates[0]
    if len(gates) == 1:
        return gate
    text = _listed([one.text for one in gates]) if gate.text else ""
    return replace(gate, text=text, count=sum(one.count for one in gates))


def _listed(names: Sequence[str]) -> str:
    return f"{names[0]} … {names[-1]} ({len(names)})"


def _numbered(keys: Mapping[str, Hashable]) -> dict[str, int]:
    """Return a number for each box, the same for the same key."""
    numbers: dict[Hashable, int] = {}
    return {box: numbers.setdefault(key, len(numbers)) for box, key in keys.items()}


def _local(box: str, key: str) -> str:
    """Return the key of a row, bar or gate without its box: alike boxes have the same."""
    return key.removeprefix(f"{box}:").replace(f"{box}:", "")


def _moved(box: str, first: str, key: str) -> str:
    """Return the key that a row of a box has in the box that stands for it."""
    return f"{first}:{key.removeprefix(f'{box}:')}" if key.startswith(f"{box}:") else key


def _with_gates(box: Box) -> Iterable[tuple[Row, list[Gate]]]:
    """Yield each row with the gates that are on it."""
    gates: dict[str, list[Gate]] = {}
    for gate in box.gates:
        for end in {gate.a, gate.b}:
            gates.setdefault(end, []).append(gate)
    for row in box.rows:
        yield row, gates.get(row.key, [])


def _other(gate: Gate, end: str) -> str:
    return gate.b if gate.a == end else gate.a


def _row_class(box: Box, row: Row, gates: Sequence[Gate]) -> tuple[object, ...]:
    """Return all that rows alike have in common, but for their names and where they lead."""
    on = sorted(
        (
            gate.symbol.value,
            gate.is_open,
            gate.status,
            gate.one_way and gate.a == row.key,
            gate.one_way,
            _said(gate.marks),
            _local(box.id, _other(gate, row.key)),
            gate.change.value,
        )
        for gate in gates
    )
    bar = _local(box.id, row.bar)
    marks = _said(row.marks)
    return (row.medium, row.status, row.statuses, row.valve, row.joined, row.capped, row.is_text, bar, tuple(on), marks,
            row.look.name, row.change.value)  # fmt: skip


def _said(marks: Sequence[Mark]) -> tuple[tuple[str, str, int], ...]:
    return tuple((mark.alarm.value, mark.word, mark.number) for mark in marks)
