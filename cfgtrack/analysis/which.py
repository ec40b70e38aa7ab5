"""Which one: what could stand in a unit's place, where could it be put, what could a port be mated with; side by side.

Who could at all is told by what the things are: a stand-in has a counterpart for every port that is joined, a place
room and the right way round, a port fits. All else is compared: what a plan that uses it would break, defects, open
remarks, running clocks, how far it is, what is left of its rated cycles after the plan, and how old its last
check-out is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from typing import ClassVar, NamedTuple

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.state import LoadState, load_states
from cfgtrack.model.action import INSPECT, LIFT, MEASURE, PLACE, Action
from cfgtrack.model.configuration import Configuration, View, place_line
from cfgtrack.model.defect import Defect, defects_about, defects_on
from cfgtrack.model.defect import told as defect_text
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import misfits, too_full
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant, span_in_words
from cfgtrack.network.network import Network
from cfgtrack.rules.finding import Clock

HEATER = "heater"
"""The tag of loads that keep a unit warm; where none has it, all loads of a unit are told."""


@dataclass(frozen=True, slots=True)
class Wear:
    """What is left of the rated cycles of a port: used so far, used by the plan, rated."""

    told: ClassVar[tuple[str, ...]] = ("left",)

    port: str
    used: int
    planned: int
    rated: int

    @property
    def left(self) -> int:
        """What is left after the plan; below 0 where it needs more than there are."""
        return self.rated - self.used - self.planned


@dataclass(frozen=True, slots=True)
class CheckOut:
    """The last check-out: what was done, to what, and when."""

    action: str
    subject: str
    when: Instant


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of the plan with a candidate in it: the verdict in its word, how many findings, the first of them.

    `severity` is that of the worst, None for none, 0 for a step that can't be done.
    """

    verdict: str
    findings: int = 0
    severity: int | None = None
    first: str = ""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One that could do: `thing` (a unit, a place or a port) and where it is now.

    `fetch_seconds`: how long the plan takes for ways from there to where it is wanted, None where it doesn't say.
    `wear` is that of its port with the fewest cycles left. `connectors`, of a place: free ports there that fit what
    heats the unit. `reason` says in words why it stands where it stands in the order.
    """

    thing: str
    title: str
    where: str
    tried: Tried | None = None
    defects: tuple[str, ...] = ()
    remarks: int = 0
    clocks: tuple[Clock, ...] = ()
    heaters: tuple[LoadState, ...] = ()
    joined: int = 0
    connectors: tuple[str, ...] = ()
    room: int | None = None
    fetch_seconds: float | None = None
    wear: Wear | None = None
    checked: CheckOut | None = None
    reason: str = ""


# --- who could ----------------------------------------------------------------------------------------------------


Interfaces = tuple[tuple[str, str], ...]
"""The interfaces that a role needs: the name of each port, and a mate that it must take."""


def interfaces(now: Configuration, unit: str, plan: Proposal | None = None) -> Interfaces:
    """Return the interfaces that a unit's role needs: what is joined with it, and what a plan has to do with it so.

    That is what the plan does to a port of it, or of what it uses in its role, together with another.
    """
    found = dict.fromkeys(_joined(now, unit))
    if plan is not None:
        users = {unit, used_for(plan, now, unit)}
        for step in plan.steps:
            pair = step.action.subjects
            if len(pair) != 2 or any(now.plant.port(one) is None for one in pair):
                continue
            for port, mate in (pair, pair[::-1]):
                if owner_of(port) in users and owner_of(mate) not in users:
                    found[port.partition(":")[2], mate] = None
    return tuple(found)


def stand_ins(now: Configuration, unit: str, plan: Proposal | None = None) -> Iterator[str]:
    """Yield the other units that could stand in the place of one: of its part, or taking every mate of its role."""
    needed = interfaces(now, unit, plan)
    for other in _others(now.plant, unit):
        is_alike = now.plant.units[other].part == now.plant.units[unit].part
        if is_alike or (needed and not any(lacks(now.plant, other, needed))):
            yield other


def _others(plant: Plant, unit: str) -> list[str]:
    return [other for other in sorted(plant.units) if other != unit]


def nearest(now: Configuration, unit: str, plan: Proposal | None = None) -> tuple[str, list[str]] | None:
    """Return the other unit that lacks least of what a unit's role needs, and that; None where nothing comes near."""
    needed = interfaces(now, unit, plan)
    found = [([*lacks(now.plant, other, needed)], other) for other in _others(now.plant, unit)]
    near = [(lacking, other) for lacking, other in found if len(lacking) < len(needed)]
    if not near:
        return None
    lacking, other = min(near, key=lambda one: (len(one[0]), one[1]))
    return other, lacking


def _joined(now: Configuration, unit: str) -> Iterator[tuple[str, str]]:
    """Yield the ports of a unit that are joined, by name, each with its mate."""
    for port in now.plant.ports_of(unit):
        mate = now.state(port).other
        if mate is not None:
            yield port.partition(":")[2], mate


def lacks(plant: Plant, other: str, needed: Interfaces) -> Iterator[str]:
    """Yield for each interface that a role needs and a unit can't serve what it lacks, in words."""
    for name, mate in needed:
        port = f"{other}:{name}"
        if plant.port(port) is None:
            yield f"it has no {name} for {mate}"
        elif owner_of(mate) == other:
            yield f"{mate} is its own"
        else:
            why = next((one.sentence for one in misfits(plant, port, mate)), "")
            if why:
                yield why


def places_for(now: Configuration, unit: str) -> Iterator[str]:
    """Yield the places that a unit could be put at: that don't move, have room for it, and aren't where it is.

    Where the plant has places that are tagged for stowage or take so many units, those alone, and no place that is
    divided into such: a landing is no place to leave something.
    """
    plant, here = now.plant, now.state(unit).value
    fit = [
        place.id
        for place in plant.places.values()
        if not place.mobile
        and place.id != here
        and not place.lock_box
        and unit not in place_line(now, place.id)
    ]
    whole = {plant.places[name].parent for name in fit if plant.places[name].capacity is not None}
    meant = [
        name
        for name in fit
        if plant.places[name].capacity is not None
        or ("stowage" in plant.places[name].tags and name not in whole)
    ]
    for name in meant or fit:
        ahead = now.fork()
        ahead.set_state(unit, now.state(unit)._replace(value=name))
        if too_full(ahead, name) is None:
            yield name


def ports_for(now: Configuration, port: str) -> Iterator[str]:
    """Yield the free ports that one could be mated with, as far as it fits; whatever is in one with it left out."""
    plant = now.plant
    for owner in plant.owners():
        if owner == owner_of(port):
            continue
        for other in plant.ports_of(owner):
            if now.state(other).other is None and not any(misfits(plant, port, other)):
                yield other


# --- how far it is ------------------------------------------------------------------------------------------------


class Travels:
    """How long ways between places that don't move take, as the steps of a plan have them: there and back alike.

    What a plan doesn't tell of a way inside a site takes nothing: it is at least so long.
    """

    def __init__(self, now: Configuration, done: Iterable[tuple[Event, int]]) -> None:
        self._plant = now.plant
        self._ways: dict[str, dict[str, int]] = {}
        then = now.fork()
        for event, takes in done:
            going = (*event.subjects, *event.moved) if event.place is not None else ()
            before = {thing: stands_at(then, thing) for thing in going}
            then.apply(event)
            for thing, here in before.items():
                there = stands_at(then, thing)
                if here and there and here != there:
                    self._note(here, there, takes)
        for place in now.plant.places.values():
            if place.parent and not place.mobile and not place.site:
                self._note(place.id, place.parent, 0)

    def _note(self, here: str, there: str, takes: int) -> None:
        for a, b in ((here, there), (there, here)):
            ways = self._ways.setdefault(a, {})
            ways[b] = min(takes, ways.get(b, takes))

    def between(self, here: str, there: str) -> int | None:
        """Return how long the shortest way takes, in microseconds, None where there is none."""
        best = {here: 0}
        waiting = [(0, here)]
        while waiting:
            span, place = heappop(waiting)
            if place == there:
                return span
            if span > best[place]:
                continue
            for other, takes in self._ways.get(place, {}).items():
                if span + takes < best.get(other, span + takes + 1):
                    best[other] = span + takes
                    heappush(waiting, (span + takes, other))
        return None


def stands_at(view: View, thing: str) -> str:
    """Return the innermost place around a thing that neither moves nor is in anything that moves; "" for none."""
    line = place_line(view, thing)
    moving = [number for number, place in enumerate(line) if view.plant.is_mobile(place)]
    rest = line[moving[-1] + 1 :] if moving else line
    return rest[0] if rest else ""


# --- a plan with another in it ------------------------------------------------------------------------------------


def exchanged(proposal: Proposal, one: str, other: str) -> Proposal:
    """Return a proposal in which two units, or two ports, change places."""

    def named(subject: str) -> str:
        for this, that in ((one, other), (other, one)):
            if subject == this or (":" not in this and owner_of(subject) == this):
                return that + subject.removeprefix(this)
        return subject

    return _with_actions(
        proposal, lambda action: replace(action, subjects=tuple(map(named, action.subjects)))
    )


def put_elsewhere(proposal: Proposal, unit: str, place: str, facing: str | None) -> Proposal:
    """Return a proposal in which a unit is put at another place in the end."""
    last = next((step.id for step in reversed(proposal.steps) if _puts(step.action, unit)), None)
    steps = tuple(
        replace(step, action=replace(step.action, place=place, facing=facing)) if step.id == last else step
        for step in proposal.steps
    )
    return replace(proposal, steps=steps)


def _puts(action: Action, unit: str) -> bool:
    return action.action == PLACE and action.subjects[:1] == (unit,)


def _with_actions(proposal: Proposal, change: Callable[[Action], Action]) -> Proposal:
    return replace(proposal, steps=tuple(replace(s, action=change(s.action)) for s in proposal.steps))


def used_for(proposal: Proposal, now: Configuration, unit: str) -> str | None:
    """Return the unit that a proposal uses in the role of one.

    That is what it puts where the one stands, else the one itself where it says something of it; None where it
    doesn't.
    """
    here = now.state(unit).value
    for step in proposal.steps:
        action, others = step.action, {*step.action.subjects[:1]} & now.plant.units.keys() - {unit}
        if action.action in (PLACE, LIFT) and action.place == here and others:
            return others.pop()
    mentioned = any(owner_of(s) == unit for step in proposal.steps for s in step.action.subjects)
    return unit if mentioned else None


def put_at(proposal: Proposal, unit: str) -> str | None:
    """Return the place that a proposal puts a unit at in the end, None where it doesn't."""
    return next((step.action.place for step in reversed(proposal.steps) if _puts(step.action, unit)), None)


def mated_with(proposal: Proposal, port: str) -> str | None:
    """Return the first port that a proposal joins with one, None where it joins it with none."""
    for step in proposal.steps:
        first, *others = step.action.subjects or ("",)
        if len(others) == 1 and port in (first, *others):
            return others[0] if first == port else first
    return None


def tried(report: CheckReport) -> Tried:
    """Return what a check says, in short."""
    worst = min(report.new, key=lambda f: (f.severity, f.time), default=None)
    first = worst.headline if worst is not None else ""
    if worst is None and report.left_running:
        left = report.left_running[0]
        first = f"{left.rule} of {left.subject} is left running"
    count = len(report.new) + len(report.left_running)
    return Tried(report.verdict, count, None if worst is None else worst.severity, first)


# --- side by side -------------------------------------------------------------------------------------------------


class SideBySide:
    """What can be told of a candidate as things are."""

    def __init__(
        self,
        now: Configuration,
        networks: Mapping[str, Network],
        clocks: Sequence[Clock],
        units: Iterable[str],
    ) -> None:
        self.now, self.plant = now, now.plant
        nodes = [node for unit in units for node in self.plant.nodes_of(unit)]
        self._loads = load_states(now, networks, nodes)
        self._clocks = clocks

    def candidate(self, thing: str) -> Candidate:
        """Return a candidate with what is so of it."""
        owner = owner_of(thing)
        only = ":" in thing
        return Candidate(
            thing,
            _title(self.plant, thing),
            self._where(thing),
            defects=tuple(dict.fromkeys(defect_text(one) for one in self._defects(thing))),
            clocks=tuple(one for one in self._clocks if _is_of(one.subject, thing)),
            joined=0 if only or owner not in self.plant.units else len(dict(_joined(self.now, owner))),
            heaters=() if only or owner not in self.plant.units else tuple(self.heaters(owner)),
        )

    def _defects(self, thing: str) -> list[Defect]:
        return defects_on(self.now, thing) if ":" in thing else defects_about(self.now, thing)

    def _where(self, thing: str) -> str:
        line = place_line(self.now, owner_of(thing))
        return line[0] if line else ""

    def heaters(self, unit: str) -> list[LoadState]:
        """Return what heats a unit, and by what it is fed; its other loads where nothing is said to heat it."""
        loads = [load for node in self.plant.nodes_of(unit) if (load := self._loads.get(node)) is not None]
        nodes = {load.address: self.plant.node(load.address) for load in loads}
        return [one for one in loads if (node := nodes[one.address]) and HEATER in node.tags] or loads

    def connectors(self, unit: str, place: str) -> Iterator[str]:
        """Yield the free ports at a place, up to its site, that fit one through which a unit is heated."""
        ports = list(dict.fromkeys(self._heating_ports(unit)))
        around: list[str] = []
        for outer in (place, *self.plant.ancestors(place)):
            if outer not in around:
                around.append(outer)
            if self.plant.places[outer].site:
                break
        for owner in around:
            for port in self.plant.ports_of(owner):
                is_free = self.now.state(port).other in (None, *ports)
                if is_free and any(not any(misfits(self.plant, own, port)) for own in ports):
                    yield port

    def _heating_ports(self, unit: str) -> Iterator[str]:
        part = self.plant.part_of(unit)
        warm = {load.address.partition(":")[2] for load in self.heaters(unit)}
        for link in part.links:
            for a, b in ((link.a, link.b), (link.b, link.a)):
                if a in warm and b.partition(":")[0] in part.ports:
                    yield f"{unit}:{b.partition(':')[0]}"

    def room(self, place: str) -> int | None:
        """Return how many more units a place takes; None where nothing limits that."""
        capacity = self.plant.places[place].capacity
        standing = [s for s in self.now.standing_at(place) if s in self.plant.units]
        return None if capacity is None else capacity - len(standing)

    def wear(self, things: Iterable[str], joins: Counter[str]) -> Wear | None:
        """Return the wear of the port, of those of some things, that has the fewest cycles left."""
        found = []
        for thing in things:
            for port in [thing] if ":" in thing else self.plant.ports_of(thing):
                told = self.plant.port(port)
                if told is not None and told[0].cycles is not None:
                    found.append(Wear(port, self.now.cycles.get(port, 0), joins[port], told[0].cycles))
        # Of equal ones the one that the plan uses most.
        return min(found, key=lambda one: (one.left, -one.planned, one.port), default=None)


def joins_in(proposal: Proposal, now: Configuration) -> Counter[str]:
    """Return how many times a proposal joins each port: that is what wears it."""
    found: Counter[str] = Counter()
    for step in proposal.steps:
        for subject in step.action.subjects:
            port = now.plant.port(subject)
            move = None if port is None else port[1].moves.get(step.action.action)
            if port is not None and move is not None and port[1].joins(move):
                found[subject] += 1
    return found


def check_outs(entries: Iterable[Entry], things: Iterable[str], wanted: Wanted) -> dict[str, CheckOut]:
    """Return the last check-out of each thing, of a unit on any of its ports and nodes."""
    names = set(things)
    found: dict[str, CheckOut] = {}
    for entry in entries:
        event = entry.event
        if event.action not in wanted.actions:
            continue
        if wanted.quantity and wanted.quantity not in event.values:
            continue
        for subject in event.subjects:
            for name in {subject, owner_of(subject)} & names:
                if name not in found or event.happened >= found[name].when:
                    found[name] = CheckOut(event.action, subject, event.happened)
    return found


@dataclass(frozen=True, slots=True)
class Wanted:
    """What counts as a check-out: these actions, where a `quantity` is said those alone that measured it."""

    actions: tuple[str, ...] = (INSPECT, MEASURE)
    quantity: str = ""

    def __str__(self) -> str:
        return " or ".join(self.actions) + (f" {self.quantity}" if self.quantity else "")


def _title(plant: Plant, thing: str) -> str:
    if ":" in thing:
        found = plant.port(thing)
        return "" if found is None else found[0].title
    if thing in plant.units:
        return plant.units[thing].title
    return plant.places[thing].title


def _is_of(subject: str, thing: str) -> bool:
    return bool(subject) and (subject == thing or (":" not in thing and owner_of(subject) == thing))


# --- the order ----------------------------------------------------------------------------------------------------

UNTRIED = "untried"
_VERDICTS = {"clear": 0, "undecided": 1, "not clear": 2, UNTRIED: 3}
_FAR = 1 << 62
_ALIKE = "as good as the one before"


class Ground(NamedTuple):
    """One thing that candidates are ranked by, less is better: how it stands with one, and if that is good."""

    key: float
    words: str
    is_good: bool = False


def ranked(candidates: Iterable[Candidate], at: int, used: str | None = None) -> list[Candidate]:
    """Return candidates, the best first, each with the reason why it stands there; `at` is when it is asked.

    They are compared by what matters most first: the first thing that is otherwise than with the one before is the
    reason. Of equal ones the one that is `used` already comes first.
    """
    found = [(grounds(one, at, used), one) for one in candidates]
    found.sort(key=lambda pair: ([ground.key for ground in pair[0]], pair[1].thing))
    out: list[Candidate] = []
    before: list[Ground] | None = None
    for mine, one in found:
        if before is None:
            bad = [f"but {ground.words}" for ground in mine[:2] if ground.key]
            good = [ground.words for ground in mine if ground.is_good]
            reason = "; ".join([*bad, *good][:4]) or "nothing else could do"
        else:
            differs = (g.words for b, g in zip(before, mine, strict=True) if b.key != g.key)
            reason = next(filter(None, differs), _ALIKE)
            if (
                one.tried is not None
                and one.tried.first
                and reason not in (_ALIKE, *(g.words for g in mine[1:4]))
            ):
                reason = f"{mine[1].words}; {reason}"
        out.append(replace(one, reason=reason))
        before = mine
    return out


def grounds(one: Candidate, at: int, used: str | None) -> list[Ground]:
    """Return what a candidate is ranked by, what matters most first."""
    wear, fetch, checked = one.wear, one.fetch_seconds, one.checked
    cold = [load for load in one.heaters if not load.sources]
    clock = min(one.clocks, key=lambda c: _FAR if c.deadline is None else c.deadline, default=None)
    left = 0 if wear is None else wear.left
    cycles = "" if wear is None else f"{left} of {wear.rated} cycles left at {wear.port}"
    ago = "never checked out"
    if checked is not None:
        ago = f"checked out ({checked.action}) {span_in_words(at - checked.when)} ago"
    heat = f"{one.connectors[0]} can heat it there" if one.connectors else "nothing there can heat it"
    return [
        Ground(len(one.defects), one.defects[0] if one.defects else "no defect"),
        *_as_tried(one.tried),
        Ground(not one.connectors, heat, bool(one.connectors)),
        Ground(one.remarks, f"{one.remarks or 'no'} remark{'s' * (one.remarks != 1)} on it", not one.remarks),
        Ground(one.joined, f"{one.joined} of its ports are joined where it is"),
        Ground(left < 0, cycles),
        Ground(
            len(cold), f"{cold[0].address} isn't fed" if cold else "kept warm", bool(one.heaters) and not cold
        ),
        Ground(len(one.clocks), f"{clock.rule} runs" if clock is not None else "no clock runs"),
        Ground(
            _FAR if fetch is None else fetch,
            "the plan tells no way" if fetch is None else f"{fetch / 60:.0f} min away",
            fetch is not None,
        ),
        Ground(_FAR if checked is None else at - checked.when, ago, checked is not None),
        Ground(-left, cycles, wear is not None),
        Ground(one.thing != used, "the plan uses another" if one.thing != used else "the plan uses it"),
    ]


def _as_tried(run: Tried | None) -> list[Ground]:
    """Return what trying a candidate in the plan says of it."""
    if run is None:
        return [Ground(0, "")] * 3
    first = f": {run.first}" if run.first else ""
    found = f"{run.findings} finding{'s' * (run.findings != 1)} in the plan{first}"
    badness = 0 if run.severity is None else 5 - run.severity
    return [
        Ground(_VERDICTS[run.verdict], f"{run.verdict} in the plan{first}", run.verdict == "clear"),
        Ground(badness, found if run.findings else ""),
        Ground(run.findings, found if run.findings else ""),
    ]
