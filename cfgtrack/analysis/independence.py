"""Which steps can't matter to each other, so that it makes no difference in which order they are done.

A step has a footprint: what it was seen to read and to change, wherever it was done so far. Two steps are independent
where neither changes what the other reads or changes. A link that a step makes or ends has to do with those who thereby
gain or lose a way that a rule asks for, and, where somebody still has one, with the links that it leads over. When
unsure, a footprint has more in it, never less.

What a step reads follows from what it reads first. So who has come everywhere by steps with known footprints, and has
seen none but these, has missed none: until then `Footprints.grew` says that he must begin again.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from cfgtrack.model.configuration import State, View, place_line
from cfgtrack.model.event import Effect, Event, effects
from cfgtrack.model.hold import aboard
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.network.flow import Link
from cfgtrack.network.reach import Reach
from cfgtrack.rules.condition import Judge
from cfgtrack.rules.dependence import Instances
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.items import EveryItem
from cfgtrack.rules.match import Matcher
from cfgtrack.rules.mode import Runner
from cfgtrack.rules.several import PartsJudge
from cfgtrack.rules.ways import Ways
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from cfgtrack.rules.world import Change, did

Cell = tuple[Hashable, ...]
"""One thing that may be read or changed."""

Before = tuple[tuple[int | None, ...], tuple[str, ...]]
"""What was so before a step: how often what is counted had changed, and where stood what it moves."""


class Reads:
    """A view that notes what is read of it."""

    def __init__(self, view: View) -> None:
        self._view = view
        self.cells: dict[Cell, None] = {}

    @property
    def plant(self) -> Plant:
        """The plant whose configuration this is."""
        return self._view.plant

    @property
    def is_bare(self) -> bool:
        """No: where nothing hangs anywhere it is looked at each all the same, as something may in another order."""
        return False

    def state(self, subject: str) -> State:
        """Return the state of a port, unit or mobile place. KeyError for anything else."""
        self.cells["state", subject] = None
        return self._view.state(subject)

    def standing_at(self, place: str) -> Iterable[str]:
        """Return the units and mobile places that stand directly at `place`."""
        self.cells["standing", place] = None
        return self._view.standing_at(place)

    def end_at(self, port: str) -> str:
        """Return the site where a free end of a flexible unit was last parted, "" where it goes with its unit."""
        self.cells["value", port] = None
        return self._view.end_at(port)

    def devices_on(self, thing: str) -> Iterable[Effect]:
        """Return what put the locks and tags on a port or lock box that hang there, in any order."""
        self.cells["value", thing] = None
        return self._view.devices_on(thing)


@dataclass(slots=True)
class Footprint:
    """What a step reads, changes, and adds to: two that add to one thing may come in either order."""

    reads: int = 0
    changes: int = 0
    adds: int = 0

    def meets(self, other: Footprint) -> bool:
        """Return whether the order of two may matter."""
        return bool(
            self.changes & (other.reads | other.changes | other.adds)
            or other.changes & (self.reads | self.adds)
            or self.reads & other.adds
            or self.adds & other.reads
        )


@dataclass(slots=True)
class _Seen:
    """The cells that one doing of a step touched."""

    reads: dict[Cell, None] = field(default_factory=dict)
    changes: dict[Cell, None] = field(default_factory=dict)
    adds: dict[Cell, None] = field(default_factory=dict)


class Footprints:
    """The footprints of so many steps, as they are seen over one engine. `grew`: some pair was found to be dependent.

    `sole` are the pairs of steps that are dependent whatever they touch: those of one doer. `counts` are the steps from
    whose end on it was seen to count how long all takes.
    """

    def __init__(self, engine: Engine, steps: int, sole: Iterable[tuple[int, int]] = ()) -> None:
        self._of = [Footprint() for _ in range(steps)]
        self._bits: dict[Cell, int] = {}
        self._known: dict[int, dict[str | None, None]] = {}
        self.fresh = False
        self.grew = False
        self.depends = [0] * steps
        self.counts = 0
        for a, b in sole:
            self._join(a, b)
        self.over(engine)

    def over(self, engine: Engine) -> None:
        """Go on over another engine of the same rules."""
        self._engine = engine
        self._readers = [
            _reader(runner, engine, dict(self._known.get(runner.number, {}))) for runner in engine.runners
        ]
        self._counted = [leaf for reader in self._readers for leaf in reader.counted]
        self._has_peers = any(runner.depends.peers for runner in engine.runners)
        self._of = [Footprint() for _ in self._of]
        self._see_networks()

    def _see_networks(self) -> None:
        """Note which paths the rules ask for, but those that matter at ends alone."""
        self._reaches: dict[Reach, int] = {}
        self._in_medium: dict[str, list[Reach]] = {}
        self._coarse: dict[str, None] = {}
        for reader in self._readers:
            for ways in reader.ways:
                medium = ways.flow.network.medium
                if ways.reach is None:
                    self._coarse[medium] = None
                elif ways.reach not in self._reaches:
                    self._reaches[ways.reach] = len(self._reaches)
                    self._in_medium.setdefault(medium, []).append(ways.reach)
            for judge in reader.each:
                self._coarse.update(dict.fromkeys(judge.depends.media))

    def before(self, event: Event) -> Before:
        """Return what must be known from before a step: see `take`."""
        configuration = self._engine.world.configuration
        moved = (
            e.subject for e in effects(configuration.plant, event) if not e.aspect and ":" not in e.subject
        )
        left = tuple(place for one in moved if (place := configuration.state(one).value))
        return tuple(leaf.version for leaf in self._counted), left

    def take(self, step: int, change: Change, reads: Iterable[Cell], before: Before) -> None:
        """Take in what a step did: right after the engine has taken its event, and before that instant is closed."""
        versions, left = before
        seen = _Seen(reads=dict.fromkeys(reads), adds=dict.fromkeys(("standing", place) for place in left))
        self._take_state(change.event, seen)
        self._take_done(change.event, seen)
        self._take_rules(change, seen, versions)
        self._take_links(change, seen)
        if self.fresh:
            # Whoever was seen before a rule was known to be about an item may have changed it: all is seen anew.
            self.fresh, self.grew = False, True
            self._of = [Footprint() for _ in self._of]
            return
        self._enter(step, seen)

    def refused(self, step: int, reads: Iterable[Cell]) -> None:
        """Take in what a step read that can't be done."""
        self._enter(step, _Seen(reads=dict.fromkeys(reads)))

    def _enter(self, step: int, seen: _Seen) -> None:
        mine = self._of[step]
        reads, changes, adds = map(self._mask, (seen.reads, seen.changes, seen.adds))
        if not (reads & ~mine.reads or changes & ~mine.changes or adds & ~mine.adds):
            return
        mine.reads |= reads
        mine.changes |= changes
        mine.adds |= adds
        for other, its in enumerate(self._of):
            if other != step and not self.depends[step] >> other & 1 and mine.meets(its):
                self._join(step, other)
                self.grew = True

    def _join(self, a: int, b: int) -> None:
        self.depends[a] |= 1 << b
        self.depends[b] |= 1 << a

    def _mask(self, cells: Iterable[Cell]) -> int:
        mask = 0
        for cell in cells:
            bit = self._bits.get(cell)
            if bit is None:
                bit = self._bits[cell] = 1 << len(self._bits)
            mask |= bit
        return mask

    # --- the configuration ---

    def _take_state(self, event: Event, seen: _Seen) -> None:
        configuration = self._engine.world.configuration
        plant = configuration.plant
        for effect in effects(plant, event):
            subject = effect.subject
            if effect.aspect:
                seen.changes["value", subject] = None
                continue
            seen.changes["state", subject] = None
            if ":" in subject:
                mate = configuration.state(subject).other
                if mate is not None:
                    seen.reads["state", mate] = None
            elif effect.value:
                seen.adds["standing", effect.value] = None
            if subject in plant.places:
                for place in (subject, *aboard(configuration, subject)):
                    seen.reads["standing", place] = None
                if self._has_peers:
                    for port in plant.ports_of(owner_of(subject)):
                        seen.reads["state", port] = None

    def _take_done(self, event: Event, seen: _Seen) -> None:
        """Note what is done that a rule asks the order of: of two that it doesn't tell apart any may come first."""
        world = self._engine.world
        for subject, action in did(event):
            for number, of in world.groups(subject, action):
                asked = world.asked[number]
                first = asked.aged is None or action in asked.aged
                # Of what is as old as it is, and not only before or after another, each is told apart.
                sole = first and (asked.most_age is not None or asked.aged is None)
                (seen.changes if sole else seen.adds)["done", number, of, first] = None
                seen.reads["done", number, of, not first] = None

    # --- the rules ---

    def _take_rules(self, change: Change, seen: _Seen, before: tuple[int | None, ...]) -> None:
        engine = self._engine
        touched = _Touched.by(engine, change)
        versions = dict(zip(self._counted, before, strict=True))
        stirred: dict[int, list[str | None]] = {}
        for number, it in engine.to_judge:
            stirred.setdefault(number, []).append(it)
        for reader in self._readers:
            number = reader.number
            into = seen.changes if reader.watches else seen.adds
            if (
                reader.on_everything
                or any(leaf.version != versions[leaf] for leaf in reader.counted)
                or any(touched.moves_any(ways) for ways in reader.in_all)
            ):
                into["rule", number, "*"] = None
            for it in self._near(reader, change, stirred):
                if reader.may_differ(it, touched):
                    into["rule", number, it] = None
            for it in reader.items(change.event):
                if it not in reader.known:
                    reader.known[it] = None
                    self._known.setdefault(number, {})[it] = None
                    self.fresh = True
                self._reads_instance(reader, it, seen)

    def _near(
        self, reader: _Reader, change: Change, stirred: Mapping[int, list[str | None]]
    ) -> Iterable[str | None]:
        """Return the instances of a rule, of those that are told apart, that a change may have changed."""
        if not reader.is_scoped:
            if not reader.known or not reader.is_near:
                return ()
            near = reader.near.near(change)
            return [it for it in reader.known if it in near] if len(reader.known) < len(near) else near
        if reader.instances is None:
            return stirred.get(reader.number, ())
        return reader.instances.affected(change)

    def _reads_instance(self, reader: _Reader, it: str | None, seen: _Seen) -> None:
        """Note that a rule judges an instance at a step, or starts a clock for it there."""
        number = reader.number
        if reader.watches:
            seen.changes["rule", number, it] = None
        seen.reads["rule", number, it] = None
        seen.reads["rule", number, "*"] = None
        configuration = self._engine.world.configuration
        if it is not None:
            for place in place_line(configuration, owner_of(it)):
                if configuration.plant.is_mobile(place):
                    seen.reads["state", place] = None
        for ways in reader.ways:
            if ways.reach is None:
                seen.reads["net", ways.flow.network.medium] = None
                continue
            for item in ways.start.items(it):
                for vertex in ways.flow.vertices(item):
                    seen.reads["member", self._reaches[ways.reach], vertex] = None
        for judge in reader.each:
            for medium in judge.depends.media:
                seen.reads["net", medium] = None

    def _take_links(self, change: Change, seen: _Seen) -> None:
        """Note the links that come and go: who reaches an end by it, and over what those who still do without it.

        A link that comes may matter to whoever is on one of its sides; one that goes mattered to nobody if there is
        another way, for as long as that is there.
        """
        for medium, shift in change.shifts.items():
            if not shift.ended and not shift.begun:
                continue
            if medium in self._coarse:
                seen.changes["net", medium] = None
            for link in (*shift.ended, *shift.begun):
                seen.changes["link", medium, *sorted((link.a, link.b))] = None
            for reach in self._in_medium.get(medium, ()):
                number = self._reaches[reach]
                for vertex in (*shift.lost.get(reach, ()), *shift.gained.get(reach, ())):
                    seen.changes["member", number, vertex] = None
                for vertex in _ends((*shift.ended, *shift.begun)):
                    seen.reads["member", number, vertex] = None
                for vertex in filter(reach.has, _ends(shift.ended)):
                    for pair in pairwise(reach.way(vertex)):
                        seen.reads["link", medium, *sorted(pair)] = None


def _ends(links: Iterable[Link]) -> Iterator[int]:
    for link in links:
        yield link.a
        yield link.b


@dataclass(slots=True)
class _Touched:
    """What an event touched: `inside`, all whose state, values or past may be different, `owners` those that are moved
    or measured themselves, `around` the owners of anything touched, and by the reach who lost or gained a way.
    """

    inside: dict[str, None]
    subjects: dict[str, None]
    around: dict[str, None]
    moved: dict[Reach, set[int]]

    @classmethod
    def by(cls, engine: Engine, change: Change) -> _Touched:
        """Return what a change touched."""
        moved: dict[Reach, set[int]] = {}
        for shift in change.shifts.values():
            for some in (shift.lost, shift.gained):
                for reach, vertices in some.items():
                    moved.setdefault(reach, set()).update(vertices)
        inside = dict.fromkeys(engine.world.tallies.with_inside(change.subjects))
        return cls(inside, change.subjects, dict.fromkeys(map(owner_of, change.subjects)), moved)

    def moves_any(self, ways: Ways) -> bool:
        """Return whether anybody lost or gained a way of these."""
        return ways.reach is None or bool(self.moved.get(ways.reach))

    def moves(self, ways: Ways, it: str | None) -> bool:
        """Return whether one of the items of an instance lost or gained its way."""
        if ways.reach is None:
            return True
        moved = self.moved.get(ways.reach)
        if not moved:
            return False
        return any(v in moved for item in ways.start.items(it) for v in ways.flow.vertices(item))


@dataclass(slots=True)
class _Reader:
    """One rule as its judges read: see `Footprints`.

    `watches`: it is judged after every step that may change it, else only at some. `counted` are the judges in it that
    count their changes, `ways` the paths that it asks for, `in_all` those of them that aren't of an item, `each` the
    judges of an item's own things, and `unsure` says that there are others. `known` are the items that it was about.
    """

    number: int
    runner: Runner
    watches: bool
    is_scoped: bool
    on_everything: bool
    is_near: bool
    counted: tuple[Judge, ...]
    ways: tuple[Ways, ...]
    in_all: tuple[Ways, ...]
    each: tuple[EveryItem, ...]
    unsure: bool
    near: Instances
    instances: Instances | None
    matcher: Matcher | None
    known: dict[str | None, None]

    def items(self, event: Event) -> Iterable[str | None]:
        """Return for which items the rule is judged at a step, or begins a clock."""
        if self.matcher is None or self.runner.rule.mode.match is None:
            return ()
        if event.action not in self.runner.rule.mode.match.actions:
            return ()
        return self.matcher.items(event)

    def may_differ(self, it: str | None, touched: _Touched) -> bool:
        """Return whether an instance may be another after what was touched."""
        if self.unsure or it is None:
            return True
        if owner_of(it) in touched.subjects and self._is_about_owners():
            return True
        if any(touched.moves(ways, it) for ways in self.ways):
            return True
        return any(self._touches(judge, it, touched) for judge in self.each)

    def _is_about_owners(self) -> bool:
        scope, mode = self.runner.rule.scope, self.runner.rule.mode
        return (scope is not None and bool(scope.at)) or (
            isinstance(mode, Within) and isinstance(mode.limit, str)
        )

    def _touches(self, judge: EveryItem, it: str, touched: _Touched) -> bool:
        if judge.depends.media or judge.depends.everything:
            return True
        items = judge.items(it)
        if any(item in touched.inside for item in items):
            return True
        return judge.condition.looks_inside() and any(item in touched.around for item in items)


def _reader(runner: Runner, engine: Engine, known: dict[str | None, None]) -> _Reader:
    rule, mode = runner.rule, runner.rule.mode
    leaves = [leaf for judge in (runner.own, *runner.others) for leaf in _leaves(judge)]
    on_ways = [leaf for leaf in leaves if getattr(leaf, "ways", None) is not None]
    ways = tuple(leaf.ways for leaf in on_ways)  # type: ignore[attr-defined]
    counted = tuple(leaf for leaf in leaves if leaf.version is not None)
    rest = [leaf for leaf in leaves if leaf not in on_ways and leaf.version is None]
    at_end = isinstance(mode, By) and mode.end != "stop"
    watches = not isinstance(mode, At) and not at_end
    is_scoped, has_match = rule.scope is not None, mode.match is not None
    is_one = not is_scoped and not has_match
    # Where the ends of a path come and go, or what is asked isn't near any item, any step may change it.
    wandering = any(w.depends.everything for w in ways)
    restless = is_one and any(leaf.restless and not leaf.holds(None) for leaf in leaves)
    on_everything = (
        wandering or restless or (is_one and bool(rest)) or any(leaf.depends.everything for leaf in rest)
    )
    instances = None
    if is_scoped and not runner.watched:
        instances = Instances(rule.scope, (), runner.depends, engine.world)
    in_all = (
        ()
        if is_scoped or has_match
        else tuple(w for leaf, w in zip(on_ways, ways, strict=True) if leaf.version is None)
    )
    # What must be so at an end alone is the same then, whatever came first, but for what was done in which order.
    if at_end:
        on_everything, counted, ways, in_all, rest, instances = False, (), (), (), [], None
    matcher = None
    if mode.match is not None:
        matcher = Matcher(mode.match, runner.instances, engine.world)
    return _Reader(
        number=runner.number,
        runner=runner,
        watches=watches,
        is_scoped=is_scoped and not at_end,
        on_everything=on_everything,
        is_near=has_match and not is_scoped,
        counted=counted,
        ways=ways,
        in_all=in_all,
        each=tuple(leaf for leaf in rest if isinstance(leaf, EveryItem)),
        unsure=any(not isinstance(leaf, EveryItem) for leaf in rest),
        near=Instances(None, (), runner.depends, engine.world),
        instances=instances,
        matcher=matcher,
        known=known,
    )


def _leaves(judge: Judge) -> Iterator[Judge]:
    if isinstance(judge, PartsJudge):
        for part in judge.parts:
            yield from _leaves(part)
    elif isinstance(inner := getattr(judge, "judge", None), Judge):
        yield from _leaves(inner)
    else:
        yield judge
