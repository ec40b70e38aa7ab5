"""Is a condition true now? Conditions over fixed selections are tallied, so that an event costs what it touches."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from cfgtrack.model.plant import owner_of
from cfgtrack.network.flow import Flow
from cfgtrack.network.reach import Reach
from cfgtrack.rules.custom import ask, find_custom
from cfgtrack.rules.rule import (
    All,
    AnyOf,
    Condition,
    Count,
    Custom,
    Done,
    NoPath,
    Not,
    Path,
    Selection,
    Status,
    Value,
)
from cfgtrack.rules.selection import stands_at
from cfgtrack.rules.world import Change, World

MICRO = 1_000_000
IT = Selection(of="it")


def atoms(condition: Condition) -> Iterator[Condition]:
    """Yield the conditions at the leaves."""
    if isinstance(condition, All | AnyOf):
        for part in condition.parts:
            yield from atoms(part)
    elif isinstance(condition, Not):
        yield from atoms(condition.part)
    else:
        yield condition


def selections(condition: Condition) -> Iterator[Selection]:
    """Yield every selection that a condition uses."""
    for atom in atoms(condition):
        if isinstance(atom, Path | NoPath):
            yield atom.start
            yield atom.end
        elif isinstance(atom, Status | Count | Value | Done | Custom):
            yield atom.of
            if isinstance(atom, Count) and atom.end is not None:
                yield atom.end


def media_of(condition: Condition) -> set[str]:
    """Return the media whose paths a condition asks for."""
    out: set[str] = set()
    for atom in atoms(condition):
        if isinstance(atom, Path | NoPath) or (isinstance(atom, Count) and atom.end is not None):
            out.add(atom.medium)
        elif isinstance(atom, Custom):
            out.update(find_custom(atom.name).media)
    return out


@dataclass(slots=True)
class Tally:
    """How many vertices or items of a fixed selection fall short, kept up to date by whoever is told of changes."""

    condition: Condition
    short: dict[object, bool] = field(default_factory=dict)
    reach: Reach | None = None
    starts: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Cut:
    """What cut a path, in words too, and what would give it back, for every vertex in `ahead`."""

    ahead: set[int]
    links: tuple[str, ...]
    cures: tuple[str, ...]
    text: str


class Judge:
    """Judges conditions over one world. `cuts` remembers, within one instant, what cut the paths of a condition."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.cuts: dict[int, Cut] = {}
        self._tallies: dict[Condition, Tally] = {}
        self._tally_of: dict[int, Tally | None] = {}
        self._direct: dict[int, tuple[Flow, Reach]] = {}
        self._by_item: dict[str, list[Tally]] = {}
        self._by_reach: dict[Reach, list[Tally]] = {}

    def prepare(self, condition: Condition) -> None:
        """Start the tallies of a condition now: one that is started after a mark would not be stepped back."""
        for atom in atoms(condition):
            if not isinstance(atom, Custom):
                self._tally(atom)
            if isinstance(atom, Path) and atom.start == IT:
                reach = self.world.reach_of(atom.medium, atom.end)
                if reach is not None:
                    self._direct[id(atom)] = (self.world.flows[atom.medium], reach)

    def direct(self, condition: Condition) -> tuple[Flow, Reach] | None:
        """Return the flow and the reach that tell at once whether `it` has its path, for the commonest condition."""
        return self._direct.get(id(condition))

    # --- truth ---

    def holds(self, condition: Condition, it: str | None = None) -> bool:
        """Return whether a condition is true now, for `it`."""
        direct = self._direct.get(id(condition))
        if direct is not None and it is not None:
            vertices = direct[0].vertices(it)
            return bool(vertices) and all(map(direct[1].__contains__, vertices))
        match condition:
            case All(parts):
                return all(self.holds(p, it) for p in parts)
            case AnyOf(parts):
                return any(self.holds(p, it) for p in parts)
            case Not(part):
                return not self.holds(part, it)
            case Path():
                return not self._short_vertices(condition, it)
            case NoPath():
                return not self._short_vertices(condition, it)
            case Status() | Value() | Done():
                return not self._short_items(condition, it)
            case Count():
                return self._count_holds(condition, self.count(condition, it))
            case Custom():
                return ask(condition, self.world, self.world.items(condition.of, it))

    def _count_holds(self, condition: Count, n: int) -> bool:
        return (condition.least is None or n >= condition.least) and (
            condition.most is None or n <= condition.most
        )

    def count(self, condition: Count, it: str | None) -> int:
        """Return how many items of a count have what it asks for."""
        tally = self._tally(condition) if condition.end is None else None
        return len(self.meeting(condition, it)) if tally is None else len(tally.short)

    def meeting(self, condition: Count, it: str | None) -> list[str]:
        """Return the items of a count that have what it asks for."""
        if condition.end is None:
            return [i for i in self.world.items(condition.of, it) if self._item_meets(condition, i)]
        path = Path(condition.medium, condition.of, condition.end)
        reached = self._reached(path, it)
        flow = self.world.flows[condition.medium]
        items = self.world.items(condition.of, it)
        return [i for i in items if (vs := flow.vertices(i)) and all(reached(v) for v in vs)]

    # --- paths ---

    def _short_vertices(self, condition: Path | NoPath, it: str | None) -> bool:
        tally = self._tally(condition)
        if tally is not None:
            return bool(tally.short)
        return next(iter(self.short_items(condition, it)), None) is not None

    def short_items(self, condition: Path | NoPath, it: str | None) -> Iterator[str]:
        """Yield the items of `start` for which a path condition is false: cut off, or (no_path) not."""
        reached = self._reached(condition, it)
        flow = self.world.flows[condition.medium]
        wanted = isinstance(condition, Path)
        for item in self.world.items(condition.start, it):
            vertices = flow.vertices(item)
            if (
                (wanted and not vertices)
                or (wanted and not all(reached(v) for v in vertices))
                or (not wanted and any(reached(v) for v in vertices))
            ):
                yield item

    def _reached(self, condition: Path | NoPath, it: str | None) -> Callable[[int], bool]:
        reach = self.world.reach_of(condition.medium, condition.end)
        if reach is not None:
            return reach.__contains__
        flow = self.world.flows[condition.medium]
        ends = self.world.vertices(condition.medium, self.world.items(condition.end, it))
        return flow.graph.behind(ends).__contains__

    # --- items ---

    def _short_items(self, condition: Status | Value | Done, it: str | None) -> bool:
        tally = self._tally(condition)
        if tally is not None:
            return bool(tally.short)
        return any(not self._item_meets(condition, i) for i in self.world.items(condition.of, it))

    def failing(self, condition: Status | Value | Done, it: str | None) -> list[str]:
        """Return the items that fall short of a condition on items."""
        return [i for i in self.world.items(condition.of, it) if not self._item_meets(condition, i)]

    def _item_meets(self, condition: Condition, item: str) -> bool:
        match condition:
            case Status(_, among, at) | Count(_, among, at):
                return self._has_status(item, among, at)
            case Value():
                return self.in_range(condition, item)
            case Done():
                return self._is_done(condition, item)
        raise TypeError(condition)

    def _has_status(self, item: str, among: tuple[str, ...], at: tuple[str, ...]) -> bool:
        configuration = self.world.configuration
        if among and not (self.world.plant.port(item) and configuration.state(item).value in among):
            return False
        return not at or stands_at(configuration, owner_of(item), at)

    def in_range(self, condition: Value, item: str) -> bool:
        """Return whether the last value of an item is in the range."""
        low, high = self.range_of(condition, item)
        value = self.value_of(condition, item)
        if value is None:
            return condition.unmeasured
        return (low is None or value >= low) and (high is None or value <= high)

    def range_of(self, condition: Value, item: str) -> tuple[float | None, float | None]:
        """Return the range that applies to an item, SI units."""
        if not condition.rated:
            return condition.low, condition.high
        found = self.world.plant.port(item)
        if found is None:
            return None, None
        port = found[0]
        if condition.quantity == "cycles":
            return None, None if port.cycles is None else float(port.cycles)
        return port.torque if port.torque is not None else (None, None)

    def value_of(self, condition: Value, item: str) -> float | None:
        """Return the last value of an item, SI units, or None where there is none."""
        if condition.quantity == "cycles":
            return float(self.world.configuration.cycles.get(item, 0))
        if condition.quantity == "elapsed":
            stamps = [s for a in condition.since if (s := self.world.last_done(item, a)) is not None]
            return (self.world.now - max(stamps)[0]) / MICRO if stamps else None
        effect = self.world.configuration.values.get((item, condition.quantity))
        return None if effect is None else float(effect.value)

    def _is_done(self, condition: Done, item: str) -> bool:
        done = [
            s
            for a in condition.actions
            if (s := self.world.last_done(item, a, condition.quantity)) is not None
        ]
        since = [s for a in condition.since if (s := self.world.last_done(item, a)) is not None]
        return bool(done) and (not since or max(done) > max(since))

    # --- tallies ---

    def _tally(self, condition: Condition) -> Tally | None:
        """Return the tally of a condition over fixed selections, or None where it must be judged afresh.

        Conditions live as long as their rules, so their identity serves as the key: hashing one takes longer than
        judging it. Equal conditions share a tally all the same.
        """
        try:
            return self._tally_of[id(condition)]
        except KeyError:
            pass
        tally = self._tallies.get(condition)
        if tally is None and _is_fixed(condition):
            tally = self._tallies[condition] = self._start(condition)
        self._tally_of[id(condition)] = tally
        return tally

    def _start(self, condition: Condition) -> Tally:
        if isinstance(condition, Path | NoPath):
            return self._start_path(condition)
        tally = Tally(condition)
        assert isinstance(condition, Status | Count | Value | Done)
        for item in self.world.selector.candidates(condition.of):
            self._by_item.setdefault(item, []).append(tally)
            if self._counts(condition, item):
                tally.short[item] = True
        return tally

    def _start_path(self, condition: Path | NoPath) -> Tally:
        world = self.world
        reach = world.reach_of(condition.medium, condition.end)
        assert reach is not None
        starts: set[int] = set()
        tally = Tally(condition)
        flow = world.flows[condition.medium]
        for item in world.selector.candidates(condition.start):
            vertices = flow.vertices(item)
            if not vertices and isinstance(condition, Path):
                tally.short[item] = True
            starts.update(vertices)
        tally.reach, tally.starts = reach, frozenset(starts)
        wanted = isinstance(condition, Path)
        tally.short.update({v: True for v in starts if (v in reach) != wanted})
        self._by_reach.setdefault(reach, []).append(tally)
        return tally

    def _counts(self, condition: Condition, item: str) -> bool:
        """Return whether an item stands in a tally: a count's lists what meets it, the others what falls short."""
        return self._item_meets(condition, item) == isinstance(condition, Count)

    def update(self, change: Change) -> None:
        """Bring the tallies up to date after an event."""
        self.cuts.clear()
        self._update_items(change.subjects)
        for shift in change.shifts.values():
            for reach, lost in shift.lost.items():
                self._update_reach(reach, lost, reached=False)
            for reach, gained in shift.gained.items():
                self._update_reach(reach, gained, reached=True)

    def _update_items(self, subjects: Iterable[str]) -> None:
        if not self._by_item:
            return
        trail = self.world.trail
        for subject in self._with_inside(subjects):
            for tally in self._by_item.get(subject, ()):
                if self._counts(tally.condition, subject):
                    trail.set(tally.short, subject, True)
                else:
                    trail.drop(tally.short, subject)

    def _with_inside(self, subjects: Iterable[str]) -> Iterator[str]:
        """Yield subjects, and for a unit that moved its ports and nodes too (their `at` may differ)."""
        for subject in subjects:
            yield subject
            if ":" not in subject and self.world.plant.has_owner(subject):
                yield from self.world.plant.ports_of(subject)
                yield from self.world.plant.nodes_of(subject)

    def _update_reach(self, reach: Reach, vertices: set[int], *, reached: bool) -> None:
        trail = self.world.trail
        for tally in self._by_reach.get(reach, ()):
            wanted = isinstance(tally.condition, Path)
            for vertex in (
                vertices & tally.starts if len(vertices) < len(tally.starts) else tally.starts & vertices
            ):
                if reached != wanted:
                    trail.set(tally.short, vertex, True)
                else:
                    trail.drop(tally.short, vertex)


def _is_fixed(condition: Condition) -> bool:
    """Return whether a condition depends on no `it`, no whereabouts of its own items, and no passing of time."""
    match condition:
        case Path(_, start, end) | NoPath(_, start, end):
            return not (start.of or start.at or end.of or end.at)
        case Count(of=of, end=end):
            return not of.of and not of.at and end is None
        case Value(of=of, quantity=quantity):
            return not of.of and not of.at and quantity != "elapsed"
        case Status(of=of) | Done(of=of):
            return not of.of and not of.at
    return False
