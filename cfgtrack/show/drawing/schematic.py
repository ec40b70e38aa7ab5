"""Boxes that look inside: a row a port, a bar what is always joined, a gate what can be shut, in some media."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

from cfgtrack.model.hold import carries
from cfgtrack.model.part import EXPANSION, SOURCE
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.network.facing import faced_by
from cfgtrack.show.drawing.alarms import Alarms
from cfgtrack.show.drawing.bundles import Bundles
from cfgtrack.show.drawing.interior import Group, Way, is_inline, role_symbol
from cfgtrack.show.drawing.sheet import Bar, Box, Form, Gate, Line, Row, Symbol
from cfgtrack.show.drawing.survey import Survey, Tie


class Contents(NamedTuple):
    """What of one medium a box shows: the turns of groups of its inside, None for all of them.

    Of hold any `groups` but None mean: only what holds it to something that is drawn.
    """

    owner: str
    medium: str
    groups: Collection[int] | None = None


class Schematic:
    """The boxes and lines of what is to be shown."""

    def __init__(self, survey: Survey, alarms: Alarms, contents: Iterable[Contents]) -> None:
        self.survey = survey
        self.alarms = alarms
        self.contents: dict[str, list[Contents]] = {}
        for one in contents:
            self.contents.setdefault(one.owner, []).append(one)

    # --- what there is

    @cached_property
    def _turns(self) -> dict[str, Turn]:
        return turns(self.survey, self.contents, self.inline)

    @cached_property
    def inline(self) -> dict[str, None]:
        """The units that are drawn on a line."""
        forms = {o: self._form(o, [one.medium for one in some]) for o, some in self.contents.items()}
        return {owner: None for owner, form in forms.items() if form is Form.INLINE}

    @cached_property
    def ends(self) -> dict[str, str]:
        """The key of the row of each end that is drawn."""
        found: dict[str, str] = {}
        for owner, contents in self.contents.items():
            for one in contents:
                if one.medium == HOLD:
                    found.update(self.bundles.row_of(owner))
                    continue
                for _, group in self._groups(one):
                    found.update((f"{owner}:{end}", f"{owner}:{end}") for end in group.ends)
        return found

    @cached_property
    def bundles(self) -> Bundles:
        """What holds together, bolts and latches that are alike as one."""
        shown = [one for some in self.contents.values() for one in some if one.medium == HOLD]
        return Bundles(self.survey, self.alarms, {one.owner: one.groups is None for one in shown})

    @cached_property
    def ties(self) -> list[Tie]:
        """Every tie between two rows that are drawn, `a` the nearer to where the medium comes from."""
        found = []
        for tie in self.survey.ties:
            if tie.medium == HOLD or tie.a not in self.ends or tie.b not in self.ends:
                continue
            if self._turns[owner_of(tie.a)] > self._turns[owner_of(tie.b)]:
                tie = replace(tie, a=tie.b, b=tie.a)  # noqa: PLW2901 - the same tie, the other way round
            found.append(tie)
        return found

    @cached_property
    def sides(self) -> Mapping[str, str]:
        """On which side of its box each row is that a line ends at now, or did once; not of what is on a line."""
        found: dict[str, str] = {}
        for tie in self.ties:
            for end, side in ((tie.a, "out"), (tie.b, "in")):
                if owner_of(end) not in self.inline:
                    found.setdefault(end, side)
        return found

    @cached_property
    def _free_side(self) -> dict[str, str]:
        """On which side the rows of each owner are that were never mated: where what comes last in the flow will be."""
        found: dict[str, str] = {}
        for end, side in self.sides.items():
            if side == "in" or owner_of(end) not in found:
                found[owner_of(end)] = "out" if side == "in" else "in"
        return found

    def _side(self, end: str) -> str:
        return self.sides.get(end) or self._free_side.get(owner_of(end), "")

    def _groups(self, one: Contents) -> Iterator[tuple[int, Group]]:
        for turn, group in enumerate(self.survey.inside(one.owner, one.medium).groups):
            if one.groups is None or turn in one.groups:
                yield turn, group

    # --- what is drawn

    def boxes(self) -> list[Box]:
        """Return a box for each unit or place that is shown."""
        return [self._box(owner, contents) for owner, contents in self.contents.items()]

    def lines(self) -> list[Line]:
        """Return a line for each tie of now, and a ghost for each of another time."""
        found = [
            Line(
                owner_of(tie.a),
                tie.a,
                owner_of(tie.b),
                tie.b,
                tie.medium,
                self.survey.look(tie),
                ghost=not tie.now,
            )
            for tie in self.ties
        ]
        return [*found, *self.bundles.lines()]

    def _box(self, owner: str, contents: Sequence[Contents]) -> Box:
        rows: list[Row] = []
        bars: list[Bar] = []
        gates: list[Gate] = []
        for one in contents:
            if one.medium == HOLD:
                rows += self.bundles.rows(owner)
                continue
            rows += self._rows(one)
            bars += self._bars(one)
            gates += self._gates(one)
        media = [one.medium for one in contents]
        held = self.alarms.held(owner) if HOLD in media else ()
        return headed(
            self.survey,
            Box(
                owner,
                form=self._form(owner, media),
                rows=tuple(rows),
                bars=tuple(bars),
                gates=tuple(gates),
                symbol=self._symbol(owner),
                marks=(*held, *self.alarms.owner(owner)),
            ),
        )

    def _form(self, owner: str, media: Sequence[str]) -> Form:
        plant = self.survey.plant
        if owner in plant.units:
            return Form.INLINE if is_inline(plant, plant.part_of(owner), media) else Form.UNIT
        return Form.MOVES if plant.is_mobile(owner) else Form.PLACE

    def _symbol(self, owner: str) -> Symbol:
        unit = self.survey.plant.units.get(owner)
        tags = self.survey.plant.part_of(owner).tags | (unit.tags if unit else frozenset())
        return Symbol.PUMP if "pump" in tags else Symbol.NONE

    def _rows(self, one: Contents) -> Iterator[Row]:
        for _, group in self._groups(one):
            bar = f"{one.owner}:{group.name}" if group.is_bar else ""
            for end in group.ends:
                yield self._row(f"{one.owner}:{end}", one.medium, bar)
        for name in self.survey.inside(one.owner, one.medium).idle if one.groups is None else ():
            address = f"{one.owner}:{name}"
            found = self.survey.plant.port(address)
            assert found is not None
            said = tuple(map(found[1].says, found[1].statuses))
            yield Row(
                address,
                name,
                self.survey.status(address),
                said,
                one.medium,
                valve=carries(self.survey.configuration, address),
                marks=self.alarms.gate(address),
            )

    def _row(self, address: str, medium: str, bar: str) -> Row:
        port = port_of(address)
        found, state = self.survey.plant.port(port), self.survey.configuration.state(port)
        assert found is not None
        kind = found[1]
        assert kind.joined is not None
        has_valve = kind.carries is not None and kind.rank(kind.carries) > kind.rank(kind.joined)
        is_joined = kind.is_joined(state.value)
        is_facing = is_joined and bool(faced_by(self.survey.configuration, address))
        return Row(
            address,
            address.partition(":")[2].replace(":", "."),
            kind.says(state.value),
            tuple(map(kind.says, kind.statuses)),
            medium,
            bar,
            self._side(address),
            joined=is_facing,
            capped=not is_joined and state.value != kind.parted,
            to=state.other or "" if is_facing else "",
            valve=kind.is_carrying(state.value) if has_valve else None,
            look=self.survey.reach(address, medium),
            marks=(*self.alarms.end(address, medium), *self.alarms.facing_nothing(address)),
        )

    def _bars(self, one: Contents) -> Iterator[Bar]:
        plant = self.survey.plant
        for _, group in self._groups(one):
            if not group.is_bar:
                continue
            nodes = [f"{one.owner}:{name}" for name in group.nodes]
            found = [(address, node) for address in nodes if (node := plant.node(address)) is not None]
            texts = (f"{n.name}  {n.litres:g} l" if n.litres is not None else n.name for _, n in found)
            member = f"{one.owner}:{(group.nodes or group.ends)[0]}"
            yield Bar(
                f"{one.owner}:{group.name}",
                one.medium,
                tuple(texts),
                tuple(role_symbol(node) for _, node in found),
                self.survey.reach(member, one.medium),
                tuple(mark for address, _ in found for mark in self.alarms.node(address, one.medium)),
            )

    def _gates(self, one: Contents) -> Iterator[Gate]:
        inside = self.survey.inside(one.owner, one.medium)
        shown = dict(self._groups(one))
        for way in inside.ways:
            if way.a in shown and way.b in shown:
                yield self._gate(one, way, shown[way.a], shown[way.b])

    def _gate(self, one: Contents, way: Way, a: Group, b: Group) -> Gate:
        key, link = f"{one.owner}:{way.key}", way.link
        ends = (f"{one.owner}:{a.name}", f"{one.owner}:{b.name}")
        if not link.gate:
            return Gate(key, *ends, way.symbol, one_way=True, medium=one.medium)
        address = f"{one.owner}:{link.gate}"
        found = self.survey.plant.port(address)
        assert found is not None
        return Gate(
            key,
            *ends,
            way.symbol,
            carries(self.survey.configuration, address),
            link.one_way,
            link.gate,
            self.survey.status(address),
            tuple(map(found[1].says, found[1].statuses)),
            one.medium,
            marks=self.alarms.gate(address) if way.key == link.gate else (),
        )


def headed(survey: Survey, box: Box) -> Box:
    """Return a box with its name and what stands under it: its title, what else it is called, where it is."""
    plant = survey.plant
    thing = plant.units.get(box.id) or plant.places[box.id]
    lines = [thing.title or plant.part_of(box.id).title]
    if thing.aliases:
        lines.append(f"also {', '.join(thing.aliases)}")
    if box.id in plant.units and (place := survey.configuration.state(box.id).value):
        lines.append(f"at {place}")
    return replace(box, name=box.id, lines=tuple(filter(None, lines)))


Turn = tuple[int, int, int, int]


def turns(survey: Survey, owners: Collection[str], inline: Collection[str]) -> dict[str, Turn]:
    """Return a turn for each owner: by how many ties it is from where the media come from, then by the plant's order.

    Media come from sources, else from the vessels where they have room to expand; what none of these reaches is
    counted from its first owner. Ties of any time count, so the order of boxes stays. What is drawn on a line comes
    right behind the earlier of its neighbours.
    """
    near: dict[str, dict[str, None]] = {owner: {} for owner in owners}
    for tie in survey.ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        if tie.medium != HOLD and a in near and b in near and a != b:
            near[a][b] = near[b][a] = None
    found: dict[str, int] = {}
    roots = [*_origins(survey, owners), *([owner] for owner in owners if owner not in inline), list(owners)]
    for some in roots:
        queue = [owner for owner in some if owner not in found]
        found.update(dict.fromkeys(queue, 0))
        for owner in queue:
            for far in near[owner]:
                if far not in found:
                    found[far] = found[owner] + 1
                    queue.append(far)
    order = survey.order
    own: dict[str, Turn] = {o: (found[o], order[o], 0, 0) for o in owners if o not in inline}
    for owner in inline:
        ends = [own[o] for o in near[owner] if o in own]
        first = [end for end in ends if end[0] < max(ends)[0]] or [min(ends)] if ends else []
        rank, turn = max(first)[:2] if first else (found[owner], order[owner])
        own[owner] = (rank, turn, 1, order[owner])
    return own


def _origins(survey: Survey, owners: Collection[str]) -> Iterator[list[str]]:
    """Yield the owners that media come from: of sources, of vessels with room to expand, of anything else with it."""
    here = set(owners)
    media = sorted((m for m in survey.media if m != HOLD), key=lambda m: (m != "power", m == "bond"))
    for medium in media:
        yield [o for n in survey.paths(medium).nodes(SOURCE) if (o := owner_of(n)) in here]
    for medium in media:
        nodes = survey.paths(medium).nodes(EXPANSION)
        litres = {n: node.litres or 0.0 for n in nodes if (node := survey.plant.node(n)) is not None}
        for is_vessel in (True, False):
            yield [o for n in nodes if bool(litres[n]) == is_vessel and (o := owner_of(n)) in here]
