"""Rules made ready to run: for each, which of its instances an event may have changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from cfgtrack.model.plant import owner_of
from cfgtrack.network.reach import Reach
from cfgtrack.rules.judge import IT, atoms, selections
from cfgtrack.rules.rule import (
    ActionMatch,
    Condition,
    Count,
    Custom,
    Done,
    NoPath,
    Path,
    Rule,
    Selection,
    Status,
    Value,
    Within,
)
from cfgtrack.rules.world import Change, World

WIDE = ("unit of it", "ports of it", "nodes of it", "place of it")
"""References that lead from one item to others of its owner: a change of one may change the rule for another."""


def trigger_condition(rule: Rule) -> Condition | None:
    """Return the condition whose turning true starts a rule's clock, or None."""
    if isinstance(rule.mode, Within) and not isinstance(rule.mode.trigger, ActionMatch):
        return rule.mode.trigger
    return None


def conditions_of(rule: Rule) -> list[Condition]:
    """Return the conditions that a rule looks at all the time: its own, and its trigger's."""
    trigger = trigger_condition(rule)
    return [rule.condition] if trigger is None else [rule.condition, trigger]


@dataclass(slots=True)
class Watch:
    """One rule over one world. `instances` is its scope; a rule without one has the single instance None."""

    number: int
    rule: Rule
    instances: tuple[str | None, ...]
    members: frozenset[str | None]
    wide: bool = False
    peers: bool = False
    everything: bool = False
    by_vertex: dict[Reach, dict[int, list[str]]] = field(default_factory=dict)
    any_shift: frozenset[str] = frozenset()
    far: bool = False
    elapsed: tuple[Value, ...] = ()

    def affected(self, world: World, change: Change) -> Iterable[str | None]:
        """Return the instances whose condition an event may have changed."""
        if self.rule.scope is None:
            return self.instances if self.everything or self._is_shifted(change) else ()
        if self.far or self._is_shifted(change):
            return self.instances
        out: dict[str, None] = {}
        for subject in change.subjects:
            for it in self._near(world, subject):
                if it in self.members:
                    out[it] = None
        for shift in change.shifts.values():
            for moved in (shift.lost, shift.gained):
                for reach, vertices in moved.items():
                    table = self.by_vertex.get(reach)
                    if table:
                        for vertex in vertices:
                            out.update(dict.fromkeys(table.get(vertex, ())))
        return out

    def _is_shifted(self, change: Change) -> bool:
        return any(
            medium in self.any_shift and (shift.ended or shift.begun)
            for medium, shift in change.shifts.items()
        )

    def _near(self, world: World, subject: str) -> Iterator[str]:
        yield subject
        owner = owner_of(subject)
        if owner != subject:
            yield owner
            if world.plant.port(subject):
                mate = world.configuration.state(subject).other
                if mate is not None:
                    yield mate
        if (self.wide or owner == subject) and world.plant.has_owner(owner):
            yield from world.plant.ports_of(owner)
            yield from world.plant.nodes_of(owner)
            if self.peers and owner == subject:
                mates = (world.configuration.state(p).other for p in world.plant.ports_of(owner))
                yield from (m for m in mates if m is not None)


def make_watch(number: int, rule: Rule, world: World) -> Watch:
    """Make one rule ready: one pass over its scope."""
    instances: tuple[str | None, ...] = (None,)
    if rule.scope is not None:
        instances = world.selector.candidates(rule.scope)
    elif isinstance(rule.mode, Within) and isinstance(rule.mode.trigger, ActionMatch):
        instances = ()  # its items are the subjects of the actions that trigger it
    watch = Watch(number, rule, instances, frozenset(instances))
    watch.elapsed = tuple(
        a for c in conditions_of(rule) for a in atoms(c) if isinstance(a, Value) and a.quantity == "elapsed"
    )
    scope_at = rule.scope is not None and bool(rule.scope.at)
    used = [s for c in conditions_of(rule) for s in selections(c)]
    watch.peers = any(s.of == "peer of it" for s in used)
    watch.wide = any(s.of in WIDE for s in used) or scope_at
    if rule.scope is None:
        _watch_global(watch)
        return watch
    for condition in conditions_of(rule):
        for atom in atoms(condition):
            _watch_atom(watch, atom, world)
    return watch


def _watch_global(watch: Watch) -> None:
    """A rule without scope is judged by its tallies, which is cheap: so after every event."""
    watch.everything = True


def _watch_atom(watch: Watch, atom: Condition, world: World) -> None:
    """Note for one atom what, beside a change of the instance itself, may change it."""
    if isinstance(atom, Path | NoPath):
        _watch_path(watch, atom.medium, atom.start, atom.end, world)
    elif isinstance(atom, Count) and atom.end is not None:
        _watch_path(watch, atom.medium, atom.of, atom.end, world)
    elif isinstance(atom, Custom) or (
        isinstance(atom, Status | Count | Value | Done) and atom.of.of in ("", "place of it")
    ):
        watch.far = True


def _watch_path(watch: Watch, medium: str, start: Selection, end: Selection, world: World) -> None:
    if any(s.at or s.of == "place of it" for s in (start, end)):
        watch.far = True
    reach = world.reach_of(medium, end)
    if reach is None or not start.of or start.of in ("peer of it", "place of it") or start.at:
        watch.any_shift |= {medium}
        return
    table = watch.by_vertex.setdefault(reach, {})
    flow = world.flows[medium]
    plain = start == IT
    for it in watch.instances:
        assert it is not None
        for item in (it,) if plain else world.items(start, it):
            for vertex in flow.vertices(item):
                table.setdefault(vertex, []).append(it)
