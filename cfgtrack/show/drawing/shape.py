"""The inside of a box: its header, its ports as rows, what is joined inside as bars, and the gates between them.

Everything is thought along the flow (`d`, from the edge where it comes in to the one where it goes out) and across it
(`t`). From left to right d is x and t is y; from the top down they change places, and only how texts stand differs.
Nothing here depends on a status, on what is open or on a mark: their room is always kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import zip_longest

from cfgtrack.show.drawing.flags import FLAG, ROOM, flags, marked, sign_of, tab
from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Path, Rect, Text
from cfgtrack.show.drawing.metrics import fitted, width_of, wrapped
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK, NEW, OLD, SHADE, STROKES, colour_of
from cfgtrack.show.drawing.sheet import Alarm, Bar, Box, Change, Form, Gate, Look, Mark, Row, Symbol
from cfgtrack.show.drawing.symbols import REACH, moved, symbol
from cfgtrack.show.visible import visible

NAME, TEXT, SMALL, TINY = 10.5, 8.5, 7.5, 6.5
"""Sizes of type: a box's name; a row's and a text's; statuses and what stands under a name; what is said by the way."""

TAB = 12.0
"""Room over a box for the words of its marks."""

_STUB = 7.0
_LONG = 150.0
_PAD = 7.0
_SLOT = 2 * REACH + 6
"""Room at a row's end for a valve of its own."""


@dataclass(frozen=True, slots=True)
class Port:
    """Where a row's line ends: at the edge `side`, at x, y of the box."""

    side: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Shape:
    """A box about its own top left corner; `ports`: by row."""

    width: float
    height: float
    ports: Mapping[str, Port]
    ink: Group


def shape(
    box: Box, inward: Mapping[str, bool], *, media: tuple[str, ...], down: bool, lined: frozenset[str]
) -> Shape:
    """Return a box's shape. `inward`: the rows where the flow comes in; `lined`: those that have a line."""
    return _Shaping(box, inward, media, down, lined).shape()


def is_slim(box: Box) -> bool:
    """Whether a box is drawn as a slim pill on its line: a hose or cable with two ends of one medium, no more."""
    return (
        box.form is Form.INLINE
        and len(box.rows) == 2
        and not box.gates
        and len(box.bars) <= 1
        and len({row.medium for row in box.rows}) == 1
    )


@dataclass(slots=True)
class _Node:
    """A bar, or a row where several gates meet, as it is laid out."""

    key: str
    bar: Bar | None
    rows: list[Row] = field(default_factory=list)
    gates: list[Gate] = field(default_factory=list)
    texts: list[tuple[str, Symbol]] = field(default_factory=list)
    tracks: list[int] = field(default_factory=list)
    column: int = 0
    lean: float = 0.0

    @property
    def stands(self) -> bool:
        """Whether there is anything to join."""
        return len(self.rows) + len(self.gates) + len(self.texts) > 1 or bool(self.texts)


@dataclass(slots=True)
class _Track:
    """What lies at one height: a row on either side, or a gate between bars, or a bar's text."""

    before: float = 0.0
    after: float = 0.0
    t: float = 0.0
    gap: float = 0.0


class _Shaping:
    def __init__(
        self,
        box: Box,
        inward: Mapping[str, bool],
        media: tuple[str, ...],
        down: bool,  # noqa: FBT001 - the module's own
        lined: frozenset[str],
    ) -> None:
        self.box, self.media, self.down, self.lined = box, media, down, lined
        self.inward = {row.key: inward.get(row.key, True) for row in box.rows}
        self.nodes: dict[str, _Node] = {bar.key: _Node(bar.key, bar) for bar in box.bars}
        self.inline: dict[str, Gate] = {}
        self.meets: dict[str, str] = {}
        self.between: list[tuple[Gate, str, str]] = []
        self.tracks: list[_Track] = []
        self.at: dict[str, int] = {}
        self.text_at: list[tuple[_Node, str, Symbol, int]] = []
        self._resolve()

    # --- what meets what ------------------------------------------------------------------------------------------

    def _resolve(self) -> None:
        rows = {row.key: row for row in self.box.rows}
        touching: dict[str, int] = {}
        for gate in self.box.gates:
            for end in (gate.a, gate.b):
                touching[end] = touching.get(end, 0) + 1
        for row in self.box.rows:
            if row.bar:
                self._node(row.bar).rows.append(row)
                self.meets[row.key] = row.bar
        single = {key for key, row in rows.items() if not row.bar and touching.get(key) == 1}
        for gate in self.box.gates:
            near, far = (gate.a, gate.b) if gate.a in single else (gate.b, gate.a)
            if near in single:
                single.discard(far)
                target = self._meeting(far, rows)
                self.inline[near] = gate
                self.meets[near] = target
                self._node(target).rows.append(rows[near])
            else:
                a, b = self._meeting(gate.a, rows), self._meeting(gate.b, rows)
                self.between.append((gate, a, b))
                for end in (a, b):
                    self._node(end).gates.append(gate)
        for node in self.nodes.values():
            if node.bar is not None:
                pairs = zip_longest(node.bar.texts, node.bar.symbols)
                node.texts = [(text or "", sign or Symbol.NONE) for text, sign in pairs]

    def _meeting(self, end: str, rows: Mapping[str, Row]) -> str:
        """Return the bar that an end of a gate is; a row without one becomes one of its own."""
        if end in self.meets:
            return self.meets[end]
        if end in rows:
            self.meets[end] = end
            self._node(end).rows.append(rows[end])
        return end

    def _node(self, key: str) -> _Node:
        return self.nodes.setdefault(key, _Node(key, None))

    # --- tracks and columns ---------------------------------------------------------------------------------------

    def _components(self) -> list[list[_Node]]:
        """Return the bars in groups that gates join, each group and its bars in the order of the first rows."""
        order = {row.key: i for i, row in enumerate(self.box.rows)}
        last = len(order)
        first = {
            key: min((order[row.key] for row in node.rows), default=last) for key, node in self.nodes.items()
        }
        near: dict[str, list[str]] = {key: [] for key in self.nodes}
        for _, a, b in self.between:
            near[a].append(b)
            near[b].append(a)
        groups, seen = [], set()
        for key in sorted(self.nodes, key=lambda k: first[k]):
            if key in seen or not self.nodes[key].stands:
                continue
            group, queue = [], [key]
            while queue:
                if (one := queue.pop()) not in seen:
                    seen.add(one)
                    group.append(one)
                    queue += near[one]
            groups.append([self.nodes[k] for k in sorted(group, key=lambda k: first[k])])
        return groups

    def _lay_tracks(self) -> None:
        for i, group in enumerate(self._components()):
            start = len(self.tracks)
            here, there = start, start
            for node in group:
                here, there = self._lay_node(node, here, there)
            for gate, a, b in self.between:
                if any(node.key == a for node in group):
                    at = self._track(len(self.tracks), self._gate_extent(gate))
                    self.at[gate.key] = at
                    self.nodes[a].tracks.append(at)
                    self.nodes[b].tracks.append(at)
            if i and start < len(self.tracks):
                self.tracks[start].gap = 6.0
        loose = [row for row in self.box.rows if not self._is_joined(row)]
        start = here = there = len(self.tracks)
        for row in loose:
            if self.inward[row.key]:
                self.at[row.key] = self._track(here, self._row_extent(row))
                here += 1
            else:
                self.at[row.key] = self._track(there, self._row_extent(row))
                there += 1
        if 0 < start < len(self.tracks):
            self.tracks[start].gap = 6.0

    def _is_joined(self, row: Row) -> bool:
        """Whether a row goes on inside the box."""
        return row.key in self.meets and self.nodes[self.meets[row.key]].stands

    def _lay_node(self, node: _Node, here: int, there: int) -> tuple[int, int]:
        """Give a bar's rows and texts their tracks; return which ones are free next, on either side."""
        ins = [row for row in node.rows if self.inward[row.key]]
        outs = [row for row in node.rows if not self.inward[row.key]]
        if (ins and outs) or not node.rows:
            here = there = max(here, there)
        for row in ins:
            self.at[row.key] = self._track(here, self._joined_extent(row))
            here += 1
        for row in outs:
            self.at[row.key] = self._track(there, self._joined_extent(row))
            there += 1
        node.tracks += [self.at[row.key] for row in node.rows]
        node.lean = (len(outs) - len(ins)) / max(len(node.rows), 1)
        for text, sign in node.texts:
            at = self._track(len(self.tracks), self._text_extent(text))
            self.text_at.append((node, text, sign, at))
            node.tracks.append(at)
            here = there = len(self.tracks)
        return here, there

    def _track(self, index: int, extent: tuple[float, float]) -> int:
        while index >= len(self.tracks):
            self.tracks.append(_Track())
        track = self.tracks[index]
        track.before, track.after = max(track.before, extent[0]), max(track.after, extent[1])
        return index

    def _columns(self) -> list[list[_Node]]:
        """Return the bars in columns: one whose tracks overlap another's stands beside it."""
        columns: list[list[_Node]] = []
        standing = [node for node in self.nodes.values() if node.stands and node.tracks]
        for node in sorted(standing, key=lambda n: (n.lean, min(n.tracks))):
            low, high = min(node.tracks), max(node.tracks)
            for number, column in enumerate(columns):  # noqa: B007 - its end is what is asked for
                if all(max(o.tracks) < low or min(o.tracks) > high for o in column):
                    break
            else:
                number = len(columns)
                columns.append([])
            columns[number].append(node)
            node.column = number
        return columns

    # --- how much room what takes ---------------------------------------------------------------------------------

    def _row_extent(self, row: Row) -> tuple[float, float]:
        if not self.down:
            return 13.0, 9.5
        return 9.0, 6 + max(self._name_width(row.text), self._status_width(row)) + ROOM

    def _joined_extent(self, row: Row) -> tuple[float, float]:
        before, after = self._row_extent(row)
        if row.key in self.inline:
            gate_before, gate_after = self._gate_extent(self.inline[row.key])
            return max(before, gate_before), max(after, gate_after)
        return before, after

    def _gate_extent(self, gate: Gate) -> tuple[float, float]:
        if not self.down:
            return 15.5, 9.5
        wide = max(self._name_width(gate.text), self._longest(gate.status, gate.statuses))
        return 9.0, 10 + wide + ROOM

    def _text_extent(self, text: str) -> tuple[float, float]:
        return (8.5, 8.5) if not self.down else (9.0, 10 + self._name_width(text) + ROOM)

    def _row_depth(self, row: Row) -> float:
        slot = _SLOT if row.valve is not None else 0.0
        if self.down:
            return slot + 33.0
        return slot + _PAD + self._name_width(row.text) + 5 + self._status_width(row) + ROOM

    def _gate_depth(self, gate: Gate) -> float:
        if self.down:
            return 34.0
        wide = self._name_width(gate.text) + 4 + self._longest(gate.status, gate.statuses) + ROOM
        return max(2 * REACH, wide) + 12

    def _text_depth(self, text: str, sign: Symbol) -> float:
        if self.down:
            return 26.0
        return 10 + (2 * REACH if sign is not Symbol.NONE else 0) + self._name_width(text) + ROOM

    def _name_width(self, text: str) -> float:
        return min(width_of(visible(text, lines=False), TEXT), _LONG)

    def _status_width(self, row: Row) -> float:
        wide = self._longest(row.status, row.statuses)
        return max(wide, 34.0) if row.key not in self.lined else wide

    def _longest(self, status: str, statuses: tuple[str, ...]) -> float:
        texts = statuses or (status,)
        return min(max(width_of(visible(text, lines=False), SMALL) for text in texts), _LONG)

    # --- the whole ------------------------------------------------------------------------------------------------

    def shape(self) -> Shape:
        if is_slim(self.box):
            return _pill(self)
        self._lay_tracks()
        columns = self._columns()
        head = _Head(self.box)
        top = 2.0 if self.down else head.height + 3.0
        t = top
        for track in self.tracks:
            t += track.gap + track.before
            track.t = t
            t += track.after
        across = t + (2.0 if self.tracks else 0.0)
        depth, xs, mids = self._depths(columns, 0.0 if self.down else head.width)
        if self.down:
            depth = max(depth, head.height)
        return self._drawn(head, columns, depth, across, xs, mids)

    def _depths(
        self, columns: list[list[_Node]], least: float
    ) -> tuple[float, list[float], tuple[float, float]]:
        """Return how deep the inside is, where its columns are, and where gates on rows of either side stand."""
        ins = [row for row in self.box.rows if self.inward[row.key]]
        outs = [row for row in self.box.rows if not self.inward[row.key]]
        text_in = max((self._row_depth(row) for row in ins), default=0.0)
        text_out = max((self._row_depth(row) for row in outs), default=0.0)
        gate_in = max(
            (self._gate_depth(self.inline[r.key]) for r in ins if r.key in self.inline), default=0.0
        )
        gate_out = max(
            (self._gate_depth(self.inline[r.key]) for r in outs if r.key in self.inline), default=0.0
        )
        if not columns:
            depth = max(text_in + text_out + (14.0 if ins and outs else 6.0), least)
            return depth, [], (0.0, 0.0)
        xs = [text_in + gate_in + (10.0 if ins else 14.0)]
        for number in range(len(columns) - 1):
            xs.append(xs[-1] + self._gap(number, columns))
        beyond = text_out + gate_out + (10.0 if outs else 8.0)
        needed = max(
            (xs[node.column] + self._text_depth(text, sign) + 4 for node, text, sign, _ in self.text_at),
            default=0.0,
        )
        depth = max(xs[-1] + beyond, needed, least)
        slack = depth - max(xs[-1] + beyond, needed)
        shift = slack / 2 if outs and ins else slack if ins else 0.0
        xs = [x + (shift if ins else 0.0) for x in xs] if not self.text_at else xs
        return depth, xs, (text_in + gate_in / 2, depth - text_out - gate_out / 2)

    def _gap(self, number: int, columns: list[list[_Node]]) -> float:
        """Return how far a column is from the next: for the gates and the texts that stand between them."""
        wide = 18.0
        for gate, a, b in self.between:
            if min(self.nodes[a].column, self.nodes[b].column) == number:
                wide = max(wide, self._gate_depth(gate) + 6)
        for node, text, sign, at in self.text_at:
            later = [n for column in columns[number + 1 :] for n in column]
            if node.column == number and any(min(n.tracks) <= at <= max(n.tracks) for n in later):
                wide = max(wide, self._text_depth(text, sign) + 8)
        return wide

    # --- ink ------------------------------------------------------------------------------------------------------

    def _drawn(
        self,
        head: _Head,
        columns: list[list[_Node]],
        depth: float,
        across: float,
        xs: list[float],
        mids: tuple[float, float],
    ) -> Shape:
        side = head.width + 4 if self.down else 0.0
        top = 0.0 if self.down else TAB
        width = side + across if self.down else depth
        height = depth if self.down else max(across, head.height)

        def place(d: float, t: float) -> tuple[float, float]:
            return (side + t, d) if self.down else (d, top + t)

        pen = _Pen(self, place, depth)
        ports = {}
        groups: list[Ink] = []
        for column in columns:
            groups += [pen.bar(node, xs[node.column]) for node in column]
        for row in self.box.rows:
            inner = None
            if self._is_joined(row):
                inner = xs[self.nodes[self.meets[row.key]].column]
            groups.append(pen.row(row, inner))
            x, y = place(0.0 if self.inward[row.key] else depth, self.tracks[self.at[row.key]].t)
            ports[row.key] = Port(self.side_of(row), x, y)
        for key, gate in self.inline.items():
            groups.append(pen.inline(gate, key, mids[0 if self.inward[key] else 1]))
        for gate, a, b in self.between:
            ca, cb = self.nodes[a].column, self.nodes[b].column
            low = min(ca, cb)
            middle = (xs[low] + xs[low + 1]) / 2 if low + 1 < len(xs) else xs[low] + 14
            groups.append(pen.between(gate, (xs[ca], xs[cb]), middle))
        tops = _tops(
            self.box, head.width if self.down else width, 0.0, head.height - 12 if self.down else 0.0
        )
        ink = (
            *_outline(self.box, width, height, top, down=self.down),
            *head.ink(0.0, top, height if self.down else None, width),
            *groups,
            *tops,
        )
        return Shape(width, top + height, ports, self.grouped(ink))

    def side_of(self, row: Row) -> str:
        if self.down:
            return "top" if self.inward[row.key] else "bottom"
        return "left" if self.inward[row.key] else "right"

    def grouped(self, ink: tuple[Ink, ...]) -> Group:
        box = self.box
        data = [("form", box.form.value)]
        if box.count > 1:
            data += [("count", str(box.count)), ("members", " ".join(box.members))]
        if box.change is not Change.SAME:
            data.append(("change", box.change.value))
        said = "\n".join((box.name or box.id, *box.lines, *(mark.word for mark in box.marks)))
        return Group(key=box.id, what="box", title=said, ink=ink, data=tuple(data))


class _Head:
    """A box's name and what stands under it, with room for its flags and its symbol."""

    def __init__(self, box: Box) -> None:
        self.box = box
        name = visible(box.name or box.id, lines=False)
        if box.count > 1:
            name = f"{name}  × {box.count}"
        self.names = wrapped(name, NAME, 190.0, bold=True)
        self.lines = [part for line in box.lines for part in wrapped(visible(line), SMALL, 190.0)]
        names = max(width_of(line, NAME, bold=True) for line in self.names)
        lines = max((width_of(line, SMALL) for line in self.lines), default=0.0)
        self.sign = box.symbol is not Symbol.NONE
        self.width = max(names + ROOM, lines) + 2 * _PAD + (22.0 if self.sign else 0.0)
        self.height = 5 + 12.5 * len(self.names) + 9.5 * len(self.lines) + 4
        self.down = False

    def ink(self, x: float, y: float, tall: float | None, width: float) -> tuple[Ink, ...]:
        """Return the header from x, y on. `tall`: it is a panel so high, at the left; else it goes over the width."""
        wide = self.width if tall is not None else width
        high = tall if tall is not None else self.height
        within = (x, y, wide, high)
        drawn: list[Ink] = []
        at = y + 3
        for line in self.names:
            at += 12.5
            drawn.append(_text(x + _PAD, at - 1, line, NAME, bold=True, within=within, role="name"))
        drawn += flags(self.box.marks, x + _PAD + width_of(self.names[0], NAME, bold=True) + 4, y + 11)
        for line in self.lines:
            at += 9.5
            drawn.append(_text(x + _PAD, at - 1, line, SMALL, colour=FAINT, within=within, role="line"))
        if self.sign:
            sign = symbol(self.box.symbol, INK)
            drawn += [moved(one, x + wide - 15, y + 12) for one in sign]
        return tuple(drawn)


class _Pen:
    """Draws rows, bars and gates at their places."""

    def __init__(self, shaping: _Shaping, place: object, depth: float) -> None:
        self.s, self.place, self.depth, self.down = shaping, place, depth, shaping.down

    def at(self, d: float, t: float) -> tuple[float, float]:
        x, y = self.place(d, t)  # type: ignore[operator]
        return x, y

    def line(self, medium: str, look: Look, *points: tuple[float, float], role: str = "inside") -> Path:
        return _stroked(colour_of(medium, self.s.media), look, tuple(self.at(*p) for p in points), role)

    def t(self, key: str) -> float:
        return self.s.tracks[self.s.at[key]].t

    # rows

    def row(self, row: Row, inner: float | None) -> Group:
        edge = 0.0 if self.s.inward[row.key] else self.depth
        into = 1 if self.s.inward[row.key] else -1
        t = self.t(row.key)
        node = self.s.nodes.get(self.s.meets.get(row.key, ""))
        look = node.bar.look if node is not None and node.bar is not None else Look.MADE
        drawn: list[Ink] = []
        slot = _SLOT if row.valve is not None else 0.0
        if inner is not None:
            drawn.append(self.line(row.medium, look, (edge, t), (inner, t)))
        elif slot:
            drawn.append(self.line(row.medium, look, (edge, t), (edge + into * slot, t)))
        if row.valve is not None:
            drawn.append(self.own_valve(row, edge + into * (slot / 2 + 1), t))
        drawn += self.free_end(row, edge, t, into)
        drawn += self.row_texts(row, edge + into * slot, t, into, is_joined=inner is not None)
        data = [
            ("side", self.s.side_of(row)),
            ("status", row.status),
            ("medium", row.medium),
            ("bar", row.bar),
            ("joined", _yes(row.joined)),
            ("capped", _yes(row.capped)),
            ("to", row.to),
        ]
        if row.change is not Change.SAME:
            data.append(("change", row.change.value))
        said = ": ".join(part for part in (row.key, row.status) if part) + (
            f", to {row.to}" if row.to else ""
        )
        return Group(key=row.key, what="row", title=said, ink=tuple(drawn), data=tuple(data))

    def own_valve(self, row: Row, d: float, t: float) -> Group:
        state = "open" if row.valve else "shut"
        x, y = self.at(d, t)
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
        colour = colour_of(row.medium, self.s.media)
        tip = edge - into * _STUB
        if row.key in self.s.lined:
            return [self.dot(edge, t, colour)]
        stub = Path((self.at(edge, t), self.at(tip, t)), stroke=colour, thickness=1.6, role="free end")
        if row.joined:
            head = (self.at(tip, t - 3.5), self.at(tip - into * 5, t), self.at(tip, t + 3.5))
            return [stub, Path(head, stroke=colour, fill=colour, closed=True, thickness=1.0, role="goes on")]
        if row.capped:
            return [
                stub,
                Path((self.at(tip, t - 4.5), self.at(tip, t + 4.5)), stroke=INK, thickness=2.6, role="cap"),
            ]
        x, y = self.at(tip - into * 2, t)
        return [stub, Circle(x, y, 2.2, stroke=colour, fill="#ffffff", thickness=1.2, role="open end")]

    def dot(self, d: float, t: float, colour: str) -> Rect:
        x, y = self.at(d, t)
        return Rect(x - 1.8, y - 1.8, 3.6, 3.6, stroke=colour, fill=colour, thickness=0.6, role="line end")

    def row_texts(self, row: Row, d: float, t: float, into: int, *, is_joined: bool) -> list[Ink]:
        name = fitted(visible(row.text, lines=False), TEXT, _LONG)
        status = fitted(visible(row.status, lines=False), SMALL, _LONG)
        aside = [mark.word for mark in row.marks]
        if row.to and row.key not in self.s.lined:
            aside.insert(0, f"to {row.to}")
        words = visible("  ".join(aside), lines=False)
        if self.down:
            return self._row_texts_down(row, name, status, words, d, t, into)
        x, y = self.at(d + into * _PAD, t)
        up, strip = (4.0, 7.2) if is_joined else (-3.0, 99.0)
        end = Anchor.START if into > 0 else Anchor.END
        wide = self._columns_of(row)
        drawn: list[Ink] = [_text(x, y - up, name, TEXT, anchor=end, role="row")]
        further = x + into * (wide[0] + 5)
        if status:
            drawn.append(_text(further, y - up, status, SMALL, colour=FAINT, anchor=end, role="status"))
        flag_at = further + into * (wide[1] + 3)
        drawn += flags(row.marks, flag_at, y - up - 3, leftward=into < 0)
        drawn += _changed(row.change, flag_at + into * (ROOM - 8), y - up)
        room = wide[0] + 5 + wide[1] + ROOM - 6
        if words := fitted(words, TINY, room):
            y = y + strip if is_joined else y + 9.3
            drawn.append(_text(x, y, words, TINY, anchor=end, colour=self._aside(row), role="aside"))
        return drawn

    def _aside(self, row: Row) -> str:
        return ALARM if any(mark.alarm is Alarm.WRONG for mark in row.marks) else FAINT

    def _columns_of(self, row: Row) -> tuple[float, float]:
        """Return how wide the names and the statuses are on a row's side, so that they stand in columns."""
        same = [one for one in self.s.box.rows if self.s.inward[one.key] == self.s.inward[row.key]]
        names = max(self.s._name_width(one.text) for one in same)
        fits = min(
            max(self.s._row_depth(one) - (_SLOT if one.valve is not None else 0) for one in same)
            - _PAD
            - names
            - 5
            - ROOM,
            max(self.s._status_width(one) for one in same),
        )
        return names, max(fits, self.s._status_width(row))

    def _row_texts_down(
        self, row: Row, name: str, status: str, words: str, d: float, t: float, into: int
    ) -> list[Ink]:
        x, y = self.at(d, t + 5)
        first = y + 10 if into > 0 else y - 21
        drawn: list[Ink] = [_text(x, first, name, TEXT, role="row")]
        room = max(self.s._name_width(row.text), self.s._status_width(row))
        if status:
            drawn.append(_text(x, first + 9, status, SMALL, colour=FAINT, role="status"))
        drawn += flags(row.marks, x + room + 2, first - 3)
        drawn += _changed(row.change, x + room + 2 + 2 * FLAG, first)
        if words := fitted(words, TINY, room + ROOM - 4):
            drawn.append(_text(x, first + 17, words, TINY, colour=self._aside(row), role="aside"))
        return drawn

    # bars

    def bar(self, node: _Node, d: float) -> Group:
        bar = node.bar or Bar(node.key, node.rows[0].medium if node.rows else "")
        ts = [self.s.tracks[i].t for i in node.tracks]
        low, high = min(ts), max(ts)
        colour = colour_of(bar.medium, self.s.media)
        joints = len(node.tracks)
        drawn: list[Ink] = []
        if high > low:
            spine = self.line(bar.medium, bar.look, (d, low), (d, high), role="bar")
            if joints > 2 and bar.look is Look.MADE:
                spine = Path(spine.points, stroke=colour, thickness=4.0, role="bar")
            drawn.append(spine)
        if joints > 2:
            for t in sorted(set(ts)):
                x, y = self.at(d, t)
                drawn.append(Circle(x, y, 2.9, stroke=colour, fill=colour, thickness=0.6, role="joint"))
        mine = [(text, sign, at) for one, text, sign, at in self.s.text_at if one is node]
        for i, (text, sign, at) in enumerate(mine):
            drawn += self.bar_text(bar, text, sign, d, self.s.tracks[at].t, first=i == 0)
        if bar.marks and not mine:
            x, y = self.at(d, (low + min(t for t in (*ts, high) if t > low)) / 2 if high > low else low)
            shown = flags(bar.marks, x - FLAG / 2, y)
            drawn += shown
        data = [("medium", bar.medium), ("look", bar.look.name.lower()), ("texts", "; ".join(bar.texts))]
        if bar.change is not Change.SAME:
            data.append(("change", bar.change.value))
        said = ", ".join((*(t for t in bar.texts if t), *(mark.word for mark in bar.marks)))
        return Group(
            key=node.key, what="bar", title=said or bar.look.value, ink=tuple(drawn), data=tuple(data)
        )

    def bar_text(self, bar: Bar, text: str, sign: Symbol, d: float, t: float, *, first: bool) -> list[Ink]:
        shown = fitted(visible(text, lines=False), TEXT, _LONG)
        half = REACH if sign is not Symbol.NONE else 0.0
        middle = d + 8 + half
        drawn: list[Ink] = [self.line(bar.medium, bar.look, (d, t), (middle, t))]
        x, y = self.at(middle, t)
        drawn += [moved(one, x, y, down=self.down) for one in symbol(sign, INK)]
        x, y = (x + 10, y + 3) if self.down else (x + half + 2, y + 3)
        drawn.append(_text(x, y, shown, TEXT, role="bar text"))
        if first:
            after = x + width_of(shown, TEXT) + 4
            drawn += flags(bar.marks, after, y - 3)
            drawn += _changed(bar.change, after + 2 * FLAG - 4, y)
        return drawn

    # gates

    def inline(self, gate: Gate, row: str, d: float) -> Group:
        is_first = gate.a == row
        return self.gate(gate, d, self.t(row), back=is_first != self.s.inward[row])

    def between(self, gate: Gate, ends: tuple[float, float], d: float) -> Group:
        t = self.t(gate.key)
        wire = self.line(gate.medium, Look.MADE, (ends[0], t), (ends[1], t))
        return self.gate(gate, d, t, back=ends[0] > ends[1], wire=wire)

    def gate(self, gate: Gate, d: float, t: float, *, back: bool, wire: Path | None = None) -> Group:
        x, y = self.at(d, t)
        sign = symbol(gate.symbol, INK, is_open=gate.is_open, back=back)
        drawn: list[Ink] = [] if wire is None else [wire]
        drawn += [moved(one, x, y, down=self.down) for one in sign]
        name = fitted(visible(gate.text, lines=False), TEXT, _LONG)
        status = fitted(visible(gate.status, lines=False), SMALL, _LONG)
        first, second = width_of(name, TEXT), width_of(status, SMALL)
        role = "gate"
        if self.down:
            text_x, flag_x = x + 9, x + 9 + self.s._name_width(gate.text) + 3
            drawn.append(_text(text_x, y - 0.5, name, TEXT, role=role))
            drawn.append(_text(text_x, y + 8, status, SMALL, bold=not gate.is_open, role="status"))
            drawn += flags(gate.marks, flag_x, y - 3.5)
            drawn += _changed(gate.change, flag_x + 2 * FLAG, y)
        else:
            gap = 4.0 if name and status else 0.0
            left = x - (first + gap + second) / 2
            drawn.append(_text(left, y - 8, name, TEXT, role=role))
            drawn.append(
                _text(left + first + gap, y - 8, status, SMALL, bold=not gate.is_open, role="status")
            )
            after = left + first + gap + second + 3
            drawn += flags(gate.marks, after, y - 11)
            drawn += _changed(gate.change, after + 2 * FLAG - 4, y - 8)
        state = "open" if gate.is_open else "shut"
        data = [
            ("state", state),
            ("status", gate.status),
            ("symbol", gate.symbol.value),
            ("a", gate.a),
            ("b", gate.b),
            ("medium", gate.medium),
            ("one-way", _yes(gate.one_way)),
        ]
        if gate.change is not Change.SAME:
            data.append(("change", gate.change.value))
        said = ": ".join(part for part in (gate.key, gate.status or state) if part)
        return Group(key=gate.key, what="gate", title=said, ink=tuple(drawn), data=tuple(data))


def _pill(s: _Shaping) -> Shape:  # noqa: PLR0915
    """Return a hose or cable as it is drawn on its line: its id over the line, its ends under it."""
    box = s.box
    a, b = sorted(box.rows, key=lambda row: not s.inward[row.key])
    s.inward = {a.key: True, b.key: False}
    name = visible(box.name or box.id, lines=False)
    texts = [(visible(r.text, lines=False), visible(r.status, lines=False)) for r in (a, b)]
    widths = [max(s._name_width(r.text), 0) + 4 + s._status_width(r) + ROOM for r in (a, b)]
    slots = [_SLOT if r.valve is not None else 0.0 for r in (a, b)]
    lines = [part for line in box.lines for part in wrapped(visible(line), SMALL, 170.0)]
    title = max(width_of(name, TEXT, bold=True) + ROOM, *(width_of(part, SMALL) for part in lines), 0.0)
    bar = box.bars[0] if box.bars else Bar("", a.medium)
    pen_texts: list[Ink] = []
    if s.down:
        width = 22 + max(title, *widths) + 6
        above = 9.5 * len(lines)
        height = 62.0 + above + max(slots) * 2
        top, t = 0.0, 12.0
        depth = height

        def place(d: float, along: float) -> tuple[float, float]:
            return along, d
    else:
        inner = max(title + 2 * _PAD, widths[0] + widths[1])
        depth = width = inner + max(slots) * 2 + 8
        above = 9.5 * len(lines)
        height, top = 33.0 + above, TAB
        t = 18.0 + above

        def place(d: float, along: float) -> tuple[float, float]:
            return d, top + along

    s.tracks = [_Track(t=t)]
    s.at = {a.key: 0, b.key: 0}
    s.meets = {}
    pen = _Pen(s, place, depth)
    wire = pen.line(bar.medium or a.medium, bar.look, (0.0, t), (depth, t), role="bar")
    groups: list[Ink] = [
        Group(
            key=bar.key,
            what="bar",
            title=bar.look.value,
            ink=(wire, *flags(bar.marks, place(depth / 2, t)[0] - 5, place(depth / 2, t)[1])),
            data=(("medium", bar.medium), ("look", bar.look.name.lower()), ("texts", "; ".join(bar.texts))),
        )
    ]
    ports = {}
    for i, row in enumerate((a, b)):
        edge, into = (0.0, 1) if i == 0 else (depth, -1)
        slot = max(slots)
        drawn: list[Ink] = []
        if row.valve is not None:
            drawn.append(pen.own_valve(row, edge + into * (slot / 2 + 1), t))
        drawn += pen.free_end(row, edge, t, into)
        said, status = texts[i]
        x, y = place(edge + into * (slot + (_PAD if not s.down else 0)), t)
        wide = s._name_width(row.text)
        if s.down:
            y = y + 9 if i == 0 else y - 4
            drawn.append(_text(x + 7, y, fitted(said, SMALL, _LONG), SMALL, role="row"))
            drawn.append(
                _text(x + 7 + wide + 4, y, fitted(status, SMALL, _LONG), SMALL, colour=FAINT, role="status")
            )
            drawn += flags(row.marks, x + 7 + wide + 4 + s._status_width(row) + 2, y - 3)
        else:
            end = Anchor.START if i == 0 else Anchor.END
            y += 10
            drawn.append(_text(x, y, fitted(said, SMALL, _LONG), SMALL, anchor=end, role="row"))
            at = x + into * (width_of(said, SMALL) + 4)
            drawn.append(
                _text(at, y, fitted(status, SMALL, _LONG), SMALL, colour=FAINT, anchor=end, role="status")
            )
            drawn += flags(row.marks, at + into * (s._status_width(row) + 2), y - 3, leftward=i == 1)
        data = (
            ("side", s.side_of(row)),
            ("status", row.status),
            ("medium", row.medium),
            ("bar", row.bar),
            ("joined", _yes(row.joined)),
            ("capped", _yes(row.capped)),
            ("to", row.to),
        )
        groups.append(
            Group(key=row.key, what="row", title=f"{row.key}: {row.status}", ink=tuple(drawn), data=data)
        )
        px, py = place(edge, t)
        ports[row.key] = Port(s.side_of(row), px, py)
    if s.down:
        x, y = 20.0, height / 2 + 2 - above / 2
        pen_texts.append(_text(x, y, name, TEXT, bold=True, role="name"))
        flag_x = x + width_of(name, TEXT, bold=True) + 4
        for part in lines:
            y += 9.5
            pen_texts.append(_text(x, y, part, SMALL, colour=FAINT, role="line"))
        pen_texts += flags(box.marks, flag_x, height / 2 - 1 - above / 2)
    else:
        x = depth / 2
        y = top + 10.5
        pen_texts.append(_text(x, y, name, TEXT, bold=True, anchor=Anchor.MIDDLE, role="name"))
        pen_texts += flags(box.marks, x + width_of(name, TEXT, bold=True) / 2 + 3, y - 3)
        for part in lines:
            y += 9.5
            pen_texts.append(_text(x, y, part, SMALL, colour=FAINT, anchor=Anchor.MIDDLE, role="line"))
    outline = _outline(box, width, height, top, down=s.down)
    ink = (*outline, *groups, *pen_texts, *_tops(box, width, 0.0, 0.0 if not s.down else height - 13))
    return Shape(width, top + height, ports, s.grouped(ink))


def _outline(box: Box, width: float, height: float, top: float, *, down: bool) -> tuple[Ink, ...]:
    """Return a box's border: one behind another where it stands for several."""
    stroke, thickness = INK, 1.1
    dash: tuple[float, ...] = ()
    fill = SHADE if box.form is Form.PLACE else "#ffffff"
    radius = {Form.MOVES: 9.0, Form.INLINE: 13.0}.get(box.form, 2.0)
    if box.change is Change.NEW:
        stroke, thickness = NEW, 2.6
    elif box.change is Change.GONE:
        stroke, thickness, dash = OLD, 1.4, (4.0, 3.0)
    drawn: list[Ink] = []
    if box.count > 1:
        for i in (2, 1):
            inset, shift = 4.0 * i, 3.0 * i
            behind = (
                (shift, top + inset, width, height - 2 * inset)
                if down
                else (inset, top + shift, width - 2 * inset, height)
            )
            drawn.append(
                Rect(*behind, stroke=FAINT, fill="#ffffff", thickness=0.9, radius=radius, role="behind")
            )
    drawn.append(
        Rect(
            0,
            top,
            width,
            height,
            stroke=stroke,
            fill=fill,
            thickness=thickness,
            dash=dash,
            radius=radius,
            role="box",
        )
    )
    if box.form is Form.GROUND:
        foot = top + height
        drawn.append(Path(((0, foot), (width, foot)), stroke=INK, thickness=2.4, role="ground"))
        steps = int(width // 9)
        drawn += [
            Path(((4 + 9 * i, foot), (9 * i, foot + 5)), stroke=INK, thickness=0.9, role="ground")
            for i in range(steps)
        ]
    if sign := sign_of(box.change):
        drawn.append(_text(width - 9, top - 2.5, sign, NAME, bold=True, colour=stroke, role="change"))
    return tuple(drawn)


def _tops(box: Box, width: float, x: float, y: float) -> tuple[Ink, ...]:
    """Return the words of a box's marks, and those that stand at no note, as tabs over it."""
    inner: tuple[Bar | Gate, ...] = (*box.bars, *box.gates)
    marks = [*box.marks, *(m for one in inner for m in one.marks if not m.number)]
    words: dict[tuple[Alarm, str], Mark] = {
        (m.alarm, visible(m.word, lines=False)): m for m in marks if m.word
    }
    drawn: list[Ink] = []
    for alarm, word in sorted(words, key=lambda key: key[0] is not Alarm.WRONG):
        room = width - x - 10
        shown = fitted(word, SMALL, room - 8, bold=True) if room > 20 else ""
        if shown:
            drawn.append(marked(words[alarm, word], tab(alarm, shown, x, y)))
            x += width_of(shown, SMALL, bold=True) + 11
    return tuple(drawn)


def _changed(change: Change, x: float, y: float) -> tuple[Ink, ...]:
    sign = sign_of(change)
    if not sign:
        return ()
    colour = {Change.NEW: NEW, Change.GONE: OLD}.get(change, INK)
    return (_text(x, y, sign, TEXT, bold=True, colour=colour, anchor=Anchor.MIDDLE, role="change"),)


def _stroked(colour: str, look: Look, points: tuple[tuple[float, float], ...], role: str) -> Path:
    stroke = STROKES[look]
    return Path(
        points, stroke=colour, thickness=stroke.thickness, dash=stroke.dash, double=stroke.double, role=role
    )


def _text(
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    bold: bool = False,
    colour: str = INK,
    anchor: Anchor = Anchor.START,
    within: tuple[float, float, float, float] | None = None,
    role: str = "",
) -> Text:
    wide = width_of(text, size, bold=bold)
    return Text(
        x, y, text, size=size, bold=bold, colour=colour, anchor=anchor, width=wide, within=within, role=role
    )


def _yes(fact: bool) -> str:  # noqa: FBT001 - said aloud
    return "yes" if fact else "no"
