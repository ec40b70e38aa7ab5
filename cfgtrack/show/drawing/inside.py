"""The inside of a box as a ladder: which port meets which bar through which gate, at which height, in which column.

Everything is thought along the flow (`d`, from the edge where it comes in to the one where it goes out) and across it
(`t`). From left to right d is x and t is y; from the top down they change places, and only how texts stand differs.
Nothing here depends on a status, on what is open or on a mark.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import zip_longest

from cfgtrack.show.drawing.flags import FLAG, ROOM
from cfgtrack.show.drawing.rooms import Rooms
from cfgtrack.show.drawing.sheet import Bar, Box, Gate, Row, Symbol

_JOINT = 7.0
"""Room beside a bar for the dots of its joints."""


@dataclass(slots=True)
class Joint:
    """A bar, or a row where several gates meet, as it is laid out."""

    key: str
    bar: Bar | None
    rows: list[Row] = field(default_factory=list)
    gates: list[Gate] = field(default_factory=list)
    texts: list[tuple[str, Symbol]] = field(default_factory=list)
    tracks: list[int] = field(default_factory=list)
    is_gated: bool = False
    flags_at: int | None = None
    column: int = 0
    lean: float = 0.0

    @property
    def stands(self) -> bool:
        """Whether there is anything to join."""
        return self.is_gated or bool(self.gates or self.texts) or len(self.rows) > 1


@dataclass(slots=True)
class Track:
    """What lies at one height: a row on either side, or a gate between bars, or a bar's text."""

    before: float = 0.0
    after: float = 0.0
    t: float = 0.0
    gap: float = 0.0


class Inside:
    """What is inside one box, resolved and laid along tracks (`lay`)."""

    def __init__(self, box: Box, inward: Mapping[str, bool], rooms: Rooms) -> None:
        self.box, self.rooms, self.down = box, rooms, rooms.down
        self.inward = {row.key: inward.get(row.key, True) for row in box.rows}
        self.nodes: dict[str, Joint] = {bar.key: Joint(bar.key, bar) for bar in box.bars}
        self.inline: dict[str, tuple[Gate, str]] = {}
        """By row: the gate on its line, and the key that is the gate's end towards the row."""
        self.ending: dict[str, Bar] = {}
        """By row: the bar that is nothing but the piece of line between the row and the gate on it."""
        self.meets: dict[str, str] = {}
        self.between: list[tuple[Gate, str, str]] = []
        self.tracks: list[Track] = []
        self.at: dict[str, int] = {}
        self.text_at: list[tuple[Joint, str, Symbol, int]] = []
        self._resolve()
        self._fold()

    # --- what meets what ------------------------------------------------------------------------------------------

    def _resolve(self) -> None:
        rows = {row.key: row for row in self.box.rows}
        touching = Counter(end for gate in self.box.gates for end in (gate.a, gate.b))
        for row in self.box.rows:
            if row.bar:
                self._node(row.bar).rows.append(row)
                self.meets[row.key] = row.bar
        single = {key for key, row in rows.items() if not row.bar and touching[key] == 1}
        for gate in self.box.gates:
            near, far = (gate.a, gate.b) if gate.a in single else (gate.b, gate.a)
            if near in single and far != near:
                single -= {near, far}
                self._put_inline(rows[near], gate, near, self._meeting(far, rows))
            else:
                a, b = self._meeting(gate.a, rows), self._meeting(gate.b, rows)
                self.between.append((gate, a, b))
                for end in (a, b):
                    self._node(end).gates.append(gate)
        for node in self.nodes.values():
            if node.bar is not None:
                pairs = zip_longest(node.bar.texts, node.bar.symbols)
                node.texts = [(text or "", sign or Symbol.NONE) for text, sign in pairs]

    def _fold(self) -> None:
        """Put a gate on the line of a row whose bar has nothing but the two."""
        for gate, a, b in list(self.between):
            for near, far in ((a, b), (b, a)):
                node = self.nodes[near]
                one = node.rows[0].key if len(node.rows) == 1 and node.gates == [gate] else ""
                if one and a != b and not node.texts and one not in self.inline:
                    self.between.remove((gate, a, b))
                    self.nodes[far].gates.remove(gate)
                    if node.bar is not None:
                        self.ending[one] = node.bar
                    self._put_inline(node.rows.pop(), gate, gate.a if near == a else gate.b, far)
                    node.gates.clear()
                    break

    def _put_inline(self, row: Row, gate: Gate, near: str, target: str) -> None:
        self.inline[row.key] = (gate, near)
        self.meets[row.key] = target
        node = self._node(target)
        node.rows.append(row)
        node.is_gated = True

    def _meeting(self, end: str, rows: Mapping[str, Row]) -> str:
        """Return the bar that an end of a gate is; a row without one becomes one of its own."""
        if end in self.meets:
            return self.meets[end]
        if end in rows:
            self.meets[end] = end
            self._node(end).rows.append(rows[end])
        return end

    def _node(self, key: str) -> Joint:
        return self.nodes.setdefault(key, Joint(key, None))

    # --- tracks and columns ---------------------------------------------------------------------------------------

    def _components(self) -> list[list[Joint]]:
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

    def lay(self) -> None:
        """Give every row, gate and text its track, and every bar its column."""
        for i, group in enumerate(self._components()):
            start = len(self.tracks)
            here, there = start, start
            for node in group:
                here, there = self._lay_node(node, here, there)
            for gate, a, b in self.between:
                if any(node.key == a for node in group):
                    at = self._track(len(self.tracks), self.rooms.gate_extent(gate))
                    self.at[gate.key] = at
                    self.nodes[a].tracks.append(at)
                    self.nodes[b].tracks.append(at)
            for node in group:
                if node.flags_at is None and not node.texts:
                    self._keep_flags(node)
                    if len(group) > 1:
                        node.tracks.append(len(self.tracks) - 1)
            if i and start < len(self.tracks):
                self.tracks[start].gap = 6.0
        loose = [row for row in self.box.rows if not self.is_joined(row)]
        start = here = there = len(self.tracks)
        for row in loose:
            if self.inward[row.key]:
                self.at[row.key] = self._track(here, self.rooms.row_extent(row))
                here += 1
            else:
                self.at[row.key] = self._track(there, self.rooms.row_extent(row))
                there += 1
        if 0 < start < len(self.tracks):
            self.tracks[start].gap = 6.0

    def is_joined(self, row: Row) -> bool:
        """Whether a row goes on inside the box."""
        return row.key in self.meets and self.nodes[self.meets[row.key]].stands

    def _lay_node(self, node: Joint, here: int, there: int) -> tuple[int, int]:
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
        if ins and outs and not node.texts:
            self._keep_flags(node)
            here = there = len(self.tracks)
        at_the_end = len(node.texts) == 1 and len(ins) == 1 and not (outs or node.gates)
        for text, sign in node.texts:
            own = self.at[ins[0].key] if at_the_end else len(self.tracks)
            at = self._track(own, self.rooms.text_extent(text))
            self.text_at.append((node, text, sign, at))
            node.tracks.append(at)
            here = there = len(self.tracks)
        return here, there

    def _keep_flags(self, node: Joint) -> None:
        """Keep room for the flags of a bar that has no text beside which they could stand."""
        node.flags_at = self._track(len(self.tracks), (4.0, ROOM) if self.down else (5.5, 5.5))

    def _track(self, index: int, extent: tuple[float, float]) -> int:
        while index >= len(self.tracks):
            self.tracks.append(Track())
        track = self.tracks[index]
        track.before, track.after = max(track.before, extent[0]), max(track.after, extent[1])
        return index

    def columns(self) -> list[list[Joint]]:
        """Return the bars in columns: one whose tracks overlap another's stands beside it."""
        columns: list[list[Joint]] = []
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

    def _joined_extent(self, row: Row) -> tuple[float, float]:
        before, after = self.rooms.row_extent(row)
        if row.key in self.inline:
            gate_before, gate_after = self.rooms.gate_extent(self.inline[row.key][0])
            return max(before, gate_before), max(after, gate_after)
        return before, after

    def spread(self, start: float) -> float:
        """Give every track its place across the flow, from `start` on; return where they end."""
        t = start
        for track in self.tracks:
            track.t = t + track.gap + track.before
            t = track.t + track.after
        return t + (2.0 if self.tracks else 0.0)

    def depths(
        self, columns: list[list[Joint]], least: float
    ) -> tuple[float, list[float], tuple[float, float]]:
        """Return how deep the inside is, where its columns are, and where gates on rows of either side stand."""
        ins = [row for row in self.box.rows if self.inward[row.key]]
        outs = [row for row in self.box.rows if not self.inward[row.key]]
        text_in = self.rooms.rows_depth(ins, [row for row in ins if not self.is_joined(row)])
        text_out = self.rooms.rows_depth(outs, [row for row in outs if not self.is_joined(row)])
        gates_in, gates_out = self._gates_depth(ins), self._gates_depth(outs)
        gate_in, gate_out = sum(gates_in), sum(gates_out)
        if not columns:
            depth = max(text_in + text_out + (14.0 if ins and outs else 6.0), least)
            return depth, [], (0.0, 0.0)
        xs = [text_in + gate_in + _JOINT]
        for number in range(len(columns) - 1):
            xs.append(xs[-1] + self._gap(number, columns))
        beyond = max(text_out + gate_out + _JOINT if outs else 0.0, ROOM + 6)
        needed = max(
            (xs[node.column] + self.rooms.text_depth(text, sign) + 4 for node, text, sign, _ in self.text_at),
            default=0.0,
        )
        depth = max(xs[-1] + beyond, needed, least)
        slack = depth - max(xs[-1] + beyond, needed)
        shift = slack / 2 if outs and ins else slack if ins else 0.0
        xs = [x + (shift if ins else 0.0) for x in xs] if not self.text_at else xs
        return depth, xs, (text_in + gates_in[0], depth - text_out - gates_out[1])

    def _gates_depth(self, rows: list[Row]) -> tuple[float, float]:
        """Return what the gates on some rows' lines need before and after their middle."""
        found = [self.rooms.gate_depth(self.inline[row.key][0]) for row in rows if row.key in self.inline]
        return max((one[0] for one in found), default=0.0), max((one[1] for one in found), default=0.0)

    def _gap(self, number: int, columns: list[list[Joint]]) -> float:
        """Return how far a column is from the next: for the gates and the texts that stand between them."""
        wide = 2 * FLAG + 6
        for gate, a, b in self.between:
            if min(self.nodes[a].column, self.nodes[b].column) == number:
                wide = max(wide, sum(self.rooms.gate_depth(gate)) + 6)
        later = [n for column in columns[number + 1 :] for n in column]
        for node, text, sign, at in self.text_at:
            if node.column == number and any(min(n.tracks) <= at <= max(n.tracks) for n in later):
                wide = max(wide, self.rooms.text_depth(text, sign) + 8)
        return wide

    def side_of(self, row: Row) -> str:
        """Return the side of the box where a row's line ends."""
        if self.down:
            return "top" if self.inward[row.key] else "bottom"
        return "left" if self.inward[row.key] else "right"
