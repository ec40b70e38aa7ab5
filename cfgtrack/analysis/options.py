"""What may I do next? The possible actions on a unit or place, each marked allowed, or by what it would break.

What only looks, or writes down (measure, inspect, remark, as-found), is always possible and isn't listed. Rules that
are judged at an end are left out: a single action ends nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from cfgtrack.analysis.check import Start, judged
from cfgtrack.model.action import LIFT, PLACE, Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.lock import could_be_done, is_box
from cfgtrack.model.plant import Plant, owner_of, port_of
from cfgtrack.model.possibility import Impossible, moves_from, resolve
from cfgtrack.network.network import Network
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.variance import Times, Variance, nobody, times_of, under_variance

MOST_MATES = 12
"""How many partners are offered for one free port, at most, nearest first; the answer says when there are more."""

MOST_PLACES = 24
"""How many places a thing is offered to be taken to, at most, nearest first; the answer says when there are more."""


_Who = Sequence[str | None]


@dataclass(frozen=True, slots=True)
class Option:
    """One action that could be done now. `findings` is what it would break, `started` the clocks it would start.

    `excused` is what it would break under a variance. `by` are those who are there to do it, in a plant with sites.
    """

    event: Event
    findings: tuple[Finding, ...] = ()
    started: tuple[Clock, ...] = ()
    excused: tuple[Finding, ...] = ()
    by: tuple[str, ...] = ()


def try_action(
    engine: Engine,
    event: Event,
    *,
    variances: Sequence[Variance] = (),
    doer: Callable[[Finding], str] = nobody,
    times: Times | None = None,
) -> Option:
    """Return what an action, resolved, would break, on an engine that is left as it was; `doer` tells who does it.

    `times` tells when what it would break ever was broken before.
    """
    noted, turned = engine.noted, engine.turned
    mark = engine.mark()
    try:
        engine.step(event)
        engine.settle()
        findings, excused = under_variance(engine.findings(noted), variances, doer=doer, times=times)
        started = tuple(engine.clock_of(turn) for turn in engine.turns(turned) if turn.starts)
    finally:
        engine.back(mark)
    return Option(event, tuple(findings), started, tuple(excused))


def options(
    rules: RuleSet,
    begin: Start,
    thing: str,
    *,
    by: str | None = None,
    locker: str | None = None,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
) -> tuple[list[Option], list[str]]:
    """Return what may be done from `begin` to a unit, place or port; of a node, to the ports and gates of its links.

    In a plant with sites: done `by` somebody, else by whoever is there. Also the ports with more partners, and the
    thing if it has more places to go to, than are listed. `locker`: who might put a lock or tag on. KeyError for an
    unknown thing.
    """
    now = begin.now()
    cut: list[str] = []
    events = list(candidates(now, thing, begin.start, cut, by=by, locker=locker))
    engine = judged(rules, begin, networks, coming=events)
    times = times_of(engine.findings()) if variances else None
    who = doers(now.plant, thing, by)
    return [
        replace(try_action(engine, event, variances=variances, times=times), by=tuple(_able(now, event, who)))
        for event in events
    ], cut


def doers(plant: Plant, thing: str, by: str | None = None) -> tuple[str | None, ...]:
    """Return who might do something to a thing: itself, and who has hands or any port, where anybody has.

    None alone in a plant without sites. A bag or a lift does nothing unless it is asked for.
    """
    if by is not None or not plant.has_sites:
        return (by,)
    mobile = [place for place in plant.places.values() if place.mobile]
    able = [place.id for place in mobile if place.part] or [place.id for place in mobile]
    return tuple(dict.fromkeys((*([thing] if plant.is_mobile(thing) else ()), *able)))


def _able(now: Configuration, action: Action, who: Iterable[str | None]) -> Iterator[str]:
    """Yield those who could do something possible where they are."""
    for doer in who:
        if doer is not None and isinstance(resolve(now, replace(action, by=doer)), Event):
            yield doer


def candidates(
    now: Configuration,
    thing: str,
    at: int,
    cut: list[str],
    *,
    by: str | None = None,
    locker: str | None = None,
) -> Iterator[Event]:
    """Yield the possible actions on a thing, resolved, each once. What has more than are yielded goes to `cut`.

    In a plant with sites: `by` somebody, else by the first of those who are there. Locks and tags come off by whose
    they are; the `locker` might put on his own, or a box's. KeyError for an unknown thing.
    """
    plant = now.plant
    who = doers(plant, thing, by)
    ports = _ports(plant, thing)
    partners = _Partners(now, owner_of(thing))
    seen: set[tuple[str, frozenset[str]]] = set()
    for number, address in enumerate(ports):
        found = plant.port(address)
        if found is None:
            raise KeyError(address)
        for move in moves_from(now, address):
            base = Action(f"option:{number}:{move.action}", move.action, (address,), at)
            for event in _port_events(now, base, found[1], move, partners, cut, who):
                what = (event.action, frozenset(event.subjects))
                if what not in seen:
                    seen.add(what)
                    yield event
    for address in ports if ":" in thing else (thing, *ports):
        yield from _devices(now, address, at, who, locker)
    if plant.can_move(thing):
        yield from _whereabouts(now, thing, at, cut, who)


def _devices(now: Configuration, thing: str, at: int, who: _Who, locker: str | None) -> Iterator[Event]:
    """Yield which locks and tags may be put on a thing, or taken off."""
    for action, holder in could_be_done(now, thing, locker):
        base = Action(f"option:{thing}:{action}:{holder}", action, (thing, holder), at)
        if not is_box(now.plant, holder):
            # Whose it is puts it on and takes it off: he, and nobody else.
            yield from _possible(now, [base], (holder,) if locker in (None, holder) else ())
        else:
            yield from _possible(now, [base], (locker,) if locker else who)


def _ports(plant: Plant, thing: str) -> list[str]:
    """Return a port itself, a contact's shell, the ports of a unit or place, or those that a node's links lead over."""
    owner, colon, name = thing.partition(":")
    if not colon:
        return plant.ports_of(thing)
    if plant.contact(thing) is not None:
        return [port_of(thing)]
    if plant.node(thing) is None:
        return [thing]
    links = [link for link in plant.part_of(owner).links if name in (link.a, link.b)]
    addresses = (port_of(f"{owner}:{end}") for link in links for end in (link.a, link.b, link.gate))
    return list(dict.fromkeys(a for a in addresses if plant.port(a) is not None))


def _port_events(
    now: Configuration, base: Action, kind: Kind, move: Move, partners: _Partners, cut: list[str], who: _Who
) -> Iterator[Event]:
    if not kind.joins(move):
        yield from _possible(now, [base], who)
        return
    address = base.subjects[0]
    pairs = (replace(base, subjects=(address, mate), id=f"{base.id}:{mate}") for mate in partners.of(address))
    for n, event in enumerate(_possible(now, pairs, who)):
        if n == MOST_MATES:
            cut.append(address)
            return
        yield event


def _whereabouts(now: Configuration, thing: str, at: int, cut: list[str], who: _Who) -> Iterator[Event]:
    """Yield where a thing may be lifted or placed: to each place once, however it may face there."""
    line = frozenset(_line(now, thing))
    nearest = sorted(now.plant.places, key=lambda place: -len(line.intersection(place_line(now, place))))
    offered = 0
    for name in nearest:
        place = now.plant.places[name]
        action = LIFT if place.mobile else PLACE
        moves = (
            Action(f"option:{action}:{name}:{facing}", action, (thing,), at, place=name, facing=facing)
            for facing in place.ways_round
        )
        possible = list(_possible(now, moves, who))
        if possible and offered == MOST_PLACES:
            cut.append(thing)
            return
        offered += bool(possible)
        yield from possible


def _line(now: Configuration, thing: str) -> list[str]:
    """Return the places around a thing, and around where it belongs."""
    unit = now.plant.units.get(thing)
    home = place_line(now, unit.home) if unit is not None and unit.home else []
    return [*place_line(now, thing), *home]


def _possible(now: Configuration, actions: Iterable[Action], who: _Who) -> Iterator[Event]:
    for action in actions:
        if isinstance(resolve(now, action), Impossible):
            continue
        outcomes = (resolve(now, replace(action, by=doer)) for doer in who)
        yield from islice((event for event in outcomes if isinstance(event, Event)), 1)


class _Partners:
    """The free ports that those of one owner could be mated with, nearest first."""

    def __init__(self, now: Configuration, owner: str) -> None:
        self._now = now
        self._line = frozenset(place_line(now, owner))
        self._free: dict[str, list[str]] = {}

    def of(self, address: str) -> Iterator[str]:
        """Yield free ports of the kinds that the one at `address` can be mated with."""
        found = self._now.plant.port(address)
        assert found is not None
        for other in self._now.plant.kinds.values():
            if found[1].mates_with(other):
                yield from (mate for mate in self._free_of(other) if mate != address)

    def _free_of(self, kind: Kind) -> list[str]:
        """Return the free ports of a kind, those that share most of the places around them first."""
        found = self._free.get(kind.id)
        if found is None:
            now = self._now
            every = Selection(kinds=(kind.id,)).candidates(now.plant)
            free = [port for port in every if now.state(port).other is None]
            near = {o: len(self._line.intersection(place_line(now, o))) for o in map(owner_of, free)}
            found = self._free[kind.id] = sorted(free, key=lambda port: -near[owner_of(port)])
        return found
