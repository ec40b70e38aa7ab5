"""Draws what is inside a box: its rows with their line ends, its bars and its gates."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from cfgtrack.show.drawing.flags import FLAG, ROOM, flags
from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Path
from cfgtrack.show.drawing.inside import Inside, Joint
from cfgtrack.show.drawing.lettering import cut_to
from cfgtrack.show.drawing.metrics import fitted, width_of
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK, colour_of, weight_of
from cfgtrack.show.drawing.rooms import LONG, PAD, SLOT
from cfgtrack.show.drawing.sheet import Alarm, Bar, Gate, Look, Mark, Row, Symbol
from cfgtrack.show.drawing.strokes import SMALL, TEXT, TINY, changed, medium_sign, stroked, text_ink, yes
from cfgtrack.show.drawing.symbols import REACH, moved, symbol
from cfgtrack.show.visible import visible

STUB = 7.0
"""How far the end of what has no line stands out."""


class Pen:
    """Draws into a box whose inside is laid: `place` maps along and across to x and y, `depth` is the far edge."""

    def __init__(
        self,
        inside: Inside,
        media: tuple[str, ...],
        looks: Mapping[str, Look],
        place: Callable[[float, float], tuple[float, float]],
        depth: float,
    ) -> None:
        self.inside, self.rooms, self.media, self.looks = inside, inside.rooms, media, looks
        self.place, self.depth, self.down = place, depth, inside.down
        self.columns = {
            inward: self.rooms.columns([row for row in inside.box.rows if inside.inward[row.key] is inward])
            for inward in (True, False)
        }
        """By side of the box, whether the flow comes in there: how wide its rows' valves, names and statuses are."""

    def line(self, medium: str, look: Look, *points: tuple[float, float], role: str = "inside") -> Path:
        """Return a piece of line inside the box."""
        return stroked(medium, self.media, look, tuple(self.place(*p) for p in points), role)

    def t(self, key: str) -> float:
        """Return how far across a row or gate lies."""
        return self.inside.tracks[self.inside.at[key]].t

    # rows

    def row(self, row: Row, inner: float | None, gate_at: float | None = None) -> Group:
        """Return a row: its end at the edge, its line in to `inner`, its texts. `gate_at`: where a gate is on it."""
        into = 1 if self.inside.inward[row.key] else -1
        edge, t = (0.0 if into > 0 else self.depth), self.t(row.key)
        slot = SLOT if row.valve is not None else 0.0
        drawn: list[Ink] = []
        if inner is not None:
            drawn += self._wires(row, edge, inner, gate_at, t)
        elif slot:
            drawn.append(self.line(row.medium, self.own_look(row), (edge, t), (edge + into * slot, t)))
        if row.valve is not None:
            drawn.append(self.own_valve(row, edge + into * (slot / 2 + 1), t))
        drawn += self.free_end(row, edge, t, into)
        drawn += self.row_texts(
            row, edge + into * self._columns(row)[0], t, into, is_joined=inner is not None
        )
        return self.row_group(row, drawn)

    def row_group(self, row: Row, drawn: list[Ink]) -> Group:
        """Return a row's ink with all that is true of it."""
        data = (
            ("side", self.inside.side_of(row)),
            ("status", row.status),
            ("medium", row.medium),
            ("bar", row.bar),
            ("joined", yes(row.joined)),
            ("capped", yes(row.capped)),
            ("to", row.to),
            ("look", self.own_look(row).name.lower()),
            ("change", row.change.value),
        )
        said = ": ".join(part for part in (row.key, row.status) if part) + (
            f", to {row.to}" if row.to else ""
        )
        ink = tuple(self._as_its_row(row, one) for one in drawn)
        return Group(key=row.key, what="row", title=said, ink=ink, data=data)

    def _as_its_row(self, row: Row, one: Ink) -> Ink:
        """Return what stands outside a row's edge drawn as what it belongs to: dead or cut off as that is."""
        look = self.own_look(row)
        if look is Look.MADE or not isinstance(one, Path) or one.role not in ("free end", "goes on"):
            return one
        if one.role == "goes on":
            return replace(one, fill="#ffffff")
        return stroked(row.medium, self.media, look, one.points, one.role)

    def _wires(self, row: Row, edge: float, inner: float, gate_at: float | None, t: float) -> list[Ink]:
        """Return a row's line: where a gate is on it, each half looks like what it belongs to."""
        node = self.inside.nodes[self.inside.meets[row.key]]
        look = self._look_of(node)
        if gate_at is None:
            return [self.line(row.medium, look, (edge, t), (inner, t))]
        first = self.line(row.medium, self.own_look(row), (edge, t), (gate_at, t))
        return [first, self.line(row.medium, look, (gate_at, t), (inner, t))]

    def _look_of(self, node: Joint) -> Look:
        """Return the look of a bar, or of a row where several gates meet."""
        if node.bar is not None:
            return node.bar.look
        return next((self.own_look(row) for row in self.inside.box.rows if row.key == node.key), Look.MADE)

    def own_look(self, row: Row) -> Look:
        """Return the look of the piece of line at a row's edge."""
        if row.key in self.inside.ending:
            return self.inside.ending[row.key].look
        if row.look is not Look.MADE:
            return row.look
        look = self.looks.get(row.key, Look.MADE)
        return look if look in (Look.CUT_OFF, Look.DEAD) else Look.MADE

    def marks_of(self, row: Row) -> tuple[Mark, ...]:
        """Return the marks at a row: its own, and those of a bar that is nothing but its end."""
        bar = self.inside.ending.get(row.key)
        if bar is None and row.bar and not self.inside.is_joined(row):
            bar = self.inside.nodes[row.bar].bar
        return row.marks if bar is None else (*row.marks, *(m for m in bar.marks if m not in row.marks))

    def own_valve(self, row: Row, d: float, t: float) -> Group:
        """Return the valve that a port has of its own."""
        state = "open" if row.valve else "shut"
        x, y = self.place(d, t)
        sign = symbol(Symbol.VALVE, INK, is_open=bool(row.valve))
        ink = tuple(moved(one, x, y, down=self.down) for one in sign)
        return Group(
            key=row.key,
            what="own valve",
            title=f"{row.key}: valve {state}",
            ink=ink,
            data=(("state", state),),
        )

    def free_end(self, row: Row, edge: float, t: float, into: int) -> list[Ink]:
        """Return what stands outside the edge where no line ends: a cap, an open end, an arrow to what isn't drawn."""
        colour = colour_of(row.medium, self.media)
        tip = edge - into * STUB
        if row.is_text:
            return []
        if row.key in self.rooms.drawn:
            return [self.end_sign(row.medium, edge, t)]
        thick = 1.6 * weight_of(row.medium, self.media)
        stub = Path(
            (self.place(edge, t), self.place(tip, t)), stroke=colour, thickness=thick, role="free end"
        )
        if row.joined:
            head = (self.place(tip, t - 3.5), self.place(tip - into * 5, t), self.place(tip, t + 3.5))
            return [stub, Path(head, stroke=colour, fill=colour, closed=True, thickness=1.0, role="goes on")]
        if row.capped:
            return [
                stub,
                Path(
                    (self.place(tip, t - 4.5), self.place(tip, t + 4.5)),
                    stroke=INK,
                    thickness=2.6,
                    role="cap",
                ),
            ]
        x, y = self.place(tip - into * 2, t)
        return [stub, Circle(x, y, 2.2, stroke=colour, fill="#ffffff", thickness=1.2, role="open end")]

    def end_sign(self, medium: str, d: float, t: float) -> Ink:
        """Return what shows that a line of a medium ends here."""
        return medium_sign(medium, self.media, *self.place(d, t))

    def row_texts(self, row: Row, d: float, t: float, into: int, *, is_joined: bool) -> list[Ink]:
        """Return a row's name and status, its flags, and what there is to say by the way."""
        name = cut_to(row.text, LONG, TEXT)
        status = cut_to(row.status, LONG, SMALL)
        aside = [mark.word for mark in self.marks_of(row)]
        if row.to and row.key not in self.rooms.drawn:
            aside.insert(0, f"to {row.to}")
        words = visible("  ".join(aside), lines=False)
        if self.down:
            return self._row_texts_down(row, name, status, words, d, t, into)
        x, y = self.place(d + into * PAD, t)
        up = 4.0 if is_joined else -3.0
        end = Anchor.START if into > 0 else Anchor.END
        wide = self._columns(row)[1:]
        sides = self.marks_of(row)
        drawn: list[Ink] = [text_ink(x, y - up, name, TEXT, anchor=end, role="row")]
        further = x + into * (wide[0] + 5)
        if status:
            drawn.append(text_ink(further, y - up, status, SMALL, colour=FAINT, anchor=end, role="status"))
        room = wide[0] + 5 + wide[1] + 4
        if is_joined:  # under the line
            drawn += flags(sides, x, y + 6, leftward=into < 0)
            taken = min(len(sides), 2) * (FLAG + 1.5)
            if sign := changed(row.change, x + into * (taken + 4), y + 8.5):
                drawn += sign
                taken += 10
            x, room, y = x + into * taken, room - taken, y + 8
        else:
            flag_at = further + into * (wide[1] + 3)
            drawn += flags(sides, flag_at, y, leftward=into < 0)
            drawn += changed(row.change, flag_at + into * (ROOM - 8), y - up)
            room, y = room + ROOM - 10, y + 9.3
        if words := fitted(words, TINY, room):
            drawn.append(text_ink(x, y, words, TINY, anchor=end, colour=self._aside(row), role="aside"))
        return drawn

    def _aside(self, row: Row) -> str:
        return ALARM if any(mark.alarm is Alarm.WRONG for mark in self.marks_of(row)) else FAINT

    def _columns(self, row: Row) -> tuple[float, float, float]:
        """Return the columns of the rows on a row's side."""
        return self.columns[self.inside.inward[row.key]]

    def _row_texts_down(
        self, row: Row, name: str, status: str, words: str, d: float, t: float, into: int
    ) -> list[Ink]:
        x, y = self.place(d, t + 5)
        first = y + 10 if into > 0 else y - 21
        drawn: list[Ink] = [text_ink(x, first, name, TEXT, role="row")]
        room = self.rooms.row_extent(row)[1] - 8
        if status:
            drawn.append(text_ink(x, first + 9, status, SMALL, colour=FAINT, role="status"))
        sides = self.marks_of(row)
        drawn += flags(sides, x, first + 15)
        taken = min(len(sides), 2) * (FLAG + 1.5)
        drawn += changed(row.change, x + room - 4, first)
        if words := fitted(words, TINY, room - taken):
            drawn.append(text_ink(x + taken, first + 17, words, TINY, colour=self._aside(row), role="aside"))
        return drawn

    # bars

    def bar(self, node: Joint, d: float) -> Group:
        """Return a bar with its joints and texts."""
        bar = node.bar or Bar(node.key, node.rows[0].medium if node.rows else "", look=self._look_of(node))
        colour = colour_of(bar.medium, self.media)
        meeting = [*(self.t(row.key) for row in node.rows), *(self.t(gate.key) for gate in node.gates)]
        meeting += [self.inside.tracks[at].t for one, _, _, at in self.inside.text_at if one is node]
        joints = len(meeting)
        ts = meeting
        if node.flags_at is not None and bar.marks and node.flags_at in node.tracks:
            ts = [*meeting, self.inside.tracks[node.flags_at].t]  # as far as its flags
        low, high = min(ts), max(ts)
        drawn: list[Ink] = []
        if high > low:
            spine = self.line(bar.medium, bar.look, (d, low), (d, high), role="bar")
            if joints > 2 and bar.look is Look.MADE:
                spine = Path(spine.points, stroke=colour, thickness=4.0, role="bar")
            drawn.append(spine)
        if joints > 2:
            for t in sorted(set(meeting)):
                x, y = self.place(d, t)
                drawn.append(Circle(x, y, 2.9, stroke=colour, fill=colour, thickness=0.6, role="joint"))
        mine = [(text, sign, at) for one, text, sign, at in self.inside.text_at if one is node]
        for i, (text, sign, at) in enumerate(mine):
            drawn += self.bar_text(bar, text, sign, d, self.inside.tracks[at].t, first=i == 0)
        if node.flags_at is not None:
            x, y = self.place(d, self.inside.tracks[node.flags_at].t)
            drawn += flags(bar.marks, x + (0.0 if self.down else 4.0), y)
        return self.bar_group(bar, tuple(drawn))

    def bar_group(self, bar: Bar, drawn: tuple[Ink, ...]) -> Group:
        """Return a bar's ink, if it has any, with all that is true of it."""
        data = (
            ("medium", bar.medium),
            ("look", bar.look.name.lower()),
            ("texts", "; ".join(bar.texts)),
            ("change", bar.change.value),
        )
        said = ", ".join((*(t for t in bar.texts if t), *(mark.word for mark in bar.marks)))
        return Group(key=bar.key, what="bar", title=said or bar.look.value, ink=drawn, data=data)

    def bar_text(self, bar: Bar, text: str, sign: Symbol, d: float, t: float, *, first: bool) -> list[Ink]:
        """Return a volume or node of a bar, on a short line of its own."""
        shown = cut_to(text, LONG, TEXT)
        half = REACH if sign is not Symbol.NONE else 0.0
        middle = d + 8 + half
        drawn: list[Ink] = [self.line(bar.medium, bar.look, (d, t), (middle, t))]
        x, y = self.place(middle, t)
        drawn += [moved(one, x, y, down=self.down) for one in symbol(sign, INK)]
        x, y = (x + half + 3, y + 3) if self.down else (x + half + 2, y + 3)
        drawn.append(text_ink(x, y, shown, TEXT, role="bar text"))
        if first:
            after = x + width_of(shown, TEXT) + 4
            drawn += flags(bar.marks, after, y - 3)
            drawn += changed(bar.change, after + 2 * FLAG - 4, y)
        return drawn

    # gates

    def inline(self, row: str, d: float) -> Group:
        """Return the gate on a row's line."""
        gate, near = self.inside.inline[row]
        return self.gate(gate, d, self.t(row), back=(gate.a == near) != self.inside.inward[row])

    def between(self, gate: Gate, ends: tuple[float, float], d: float) -> Group:
        """Return a gate between two bars, on a line of its own."""
        t = self.t(gate.key)
        nodes = (self.inside.nodes[self.inside.meets.get(key, key)] for key in (gate.a, gate.b))
        halves = [
            self.line(gate.medium, self._look_of(node), (end, t), (d, t))
            for node, end in zip(nodes, ends, strict=True)
        ]
        return self.gate(gate, d, t, back=ends[0] > ends[1], wires=halves)

    def gate(self, gate: Gate, d: float, t: float, *, back: bool, wires: Sequence[Path] = ()) -> Group:
        """Return a gate's symbol with its name and status, over its two pieces of line where it has its own."""
        x, y = self.place(d, t)
        sign = symbol(gate.symbol, INK, is_open=gate.is_open, back=back)
        drawn: list[Ink] = list(wires)
        drawn += [moved(one, x, y, down=self.down) for one in sign]
        name = cut_to(gate.text, LONG, TEXT)
        status = cut_to(gate.status, LONG, SMALL)
        first, second = width_of(name, TEXT), width_of(status, SMALL)
        role = "gate"
        if self.down:
            text_x, flag_x = x + 9, x + 9 + self.rooms.name_width(gate.text) + 3
            drawn.append(text_ink(text_x, y - 0.5, name, TEXT, role=role))
            drawn.append(text_ink(text_x, y + 8, status, SMALL, bold=not gate.is_open, role="status"))
            drawn += flags(gate.marks, flag_x, y - 3.5)
            drawn += changed(gate.change, flag_x + 2 * FLAG, y)
        else:
            gap = 4.0 if name and status else 0.0
            left = x - (first + gap + second) / 2
            drawn.append(text_ink(left, y - 8, name, TEXT, role=role))
            drawn.append(
                text_ink(left + first + gap, y - 8, status, SMALL, bold=not gate.is_open, role="status")
            )
            drawn += flags(gate.marks, x + REACH + 2, y + 6.7)
            drawn += changed(gate.change, x - REACH - 6, y + 9)
        state = "open" if gate.is_open else "shut"
        data = (
            ("state", state),
            ("status", gate.status),
            ("symbol", gate.symbol.value),
            ("a", gate.a),
            ("b", gate.b),
            ("medium", gate.medium),
            ("one-way", yes(gate.one_way)),
            ("change", gate.change.value),
        )
        said = ": ".join(part for part in (gate.key, gate.status or state) if part)
        return Group(key=gate.key, what="gate", title=said, ink=tuple(drawn), data=data)
