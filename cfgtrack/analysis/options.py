"""What may I do next? The possible actions on a unit or place, each marked allowed, or by what it would break."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from cfgtrack.analysis.check import Deadline, Start, touched_by
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import LIFT, PLACE, Event
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.part import Port
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Refusal, resolve
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import words
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet, Selection
from cfgtrack.rules.selection import Selector

MOST_MATES = 12
"""How many partners are offered for one free port, at most; the answer says when there are more."""


@dataclass(frozen=True, slots=True)
class Option:
    """One action that could be done now. `findings` is what it would break, `started` the clocks it would start.

    `refusals` is set instead where the action is impossible, and was asked for all the same.
    """

    event: Event
    findings: tuple[Finding, ...] = ()
    started: tuple[Deadline, ...] = ()
    refusals: tuple[Refusal, ...] = ()

    @property
    def is_allowed(self) -> bool:
        """Whether the action is possible and breaks no rule."""
        return not self.findings and not self.refusals

    def to_json(self) -> dict[str, Any]:
        """Return the option as a JSON object."""
        return {
            "action": words(self.event),
            "allowed": self.is_allowed,
            "findings": [f.to_json() for f in self.findings],
            "started": [d.to_json() for d in self.started],
            "refusals": [{"code": r.code, "sentence": r.sentence} for r in self.refusals],
        }


@dataclass(frozen=True, slots=True)
class Options:
    """All that may be done to `thing`. `cut` names the ports for which more partners exist than are listed."""

    thing: str
    options: tuple[Option, ...]
    cut: tuple[str, ...] = ()


def try_action(engine: Engine, event: Event) -> Option:
    """Return what an action would break, on an engine that is left as it was. `event` as somebody would report it."""
    outcome = resolve(engine.world.configuration, event)
    if outcome.refusals:
        return Option(outcome.event, refusals=outcome.refusals)
    noted, running = engine.noted, engine.running()
    mark = engine.mark()
    try:
        engine.step(outcome.event)
        engine.settle()
        findings = tuple(engine.findings(noted))
        started = tuple(
            Deadline(rule, subject, begun, deadline)
            for (rule, subject, begun), deadline in engine.running().items()
            if (rule, subject, begun) not in running
        )
    finally:
        engine.back(mark)
    return Option(outcome.event, findings, started)


def options(
    rules: RuleSet, begin: Start, thing: str, *, networks: Mapping[str, Network] | None = None
) -> Options:
    """Return what may be done to a unit, place or port from `begin`. KeyError for an unknown thing."""
    now = begin.configuration.fork()
    for event in begin.history:
        now.apply(event)
    cut: list[str] = []
    events = list(candidates(now, thing, begin.start, cut))
    engine = Engine(
        rules,
        begin.configuration.fork(),
        start=begin.began,
        touched=touched_by(begin, events),
        networks=networks,
    )
    for event in begin.history:
        engine.step(event)
    engine.finish(begin.start)
    tried = (try_action(engine, e) for e in events)
    return Options(thing, tuple(o for o in tried if not o.refusals), tuple(cut))


def candidates(now: Configuration, thing: str, at: int, cut: list[str]) -> Iterator[Event]:
    """Yield the possible actions on a thing, resolved. Ports with more partners than are yielded go to `cut`."""
    plant = now.plant
    ports = [thing] if ":" in thing else plant.ports_of(thing)
    free = _FreePorts(now)
    for number, address in enumerate(ports):
        found = plant.port(address)
        if found is None:
            raise KeyError(address)
        for move in found[1].moves.values():
            if now.state(address).value in move.sources:
                base = Event(f"option:{number}:{move.action}", move.action, (address,), at)
                yield from _port_events(now, base, found[1], move, free, cut)
    if thing in plant.units or plant.is_mobile(thing):
        yield from _whereabouts(now, thing, at)


def _port_events(
    now: Configuration, base: Event, kind: Kind, move: Move, free: _FreePorts, cut: list[str]
) -> Iterator[Event]:
    if not kind.joins(move):
        yield from _possible(now, [base])
        return
    address = base.subjects[0]
    pairs = (
        replace(base, subjects=(address, mate), id=f"{base.id}:{mate}") for mate in free.partners(address)
    )
    for n, event in enumerate(_possible(now, pairs)):
        if n == MOST_MATES:
            cut.append(address)
            return
        yield event


def _whereabouts(now: Configuration, thing: str, at: int) -> Iterator[Event]:
    lift = Event(f"option:{LIFT}", LIFT, (thing,), at)
    yield from _possible(now, [lift])
    for place in now.plant.places.values():
        for facing in place.facings or (None,):
            move = Event(
                f"option:{PLACE}:{place.id}:{facing}", PLACE, (thing,), at, place=place.id, facing=facing
            )
            yield from _possible(now, [move])


def _possible(now: Configuration, events: Iterable[Event]) -> Iterator[Event]:
    for event in events:
        outcome = resolve(now, event)
        if not outcome.refusals:
            yield outcome.event


class _FreePorts:
    """The ports that are free to be mated, by kind."""

    def __init__(self, now: Configuration) -> None:
        self._now = now
        self._selector = Selector(now.plant)

    def partners(self, address: str) -> Iterator[str]:
        """Yield free ports of other owners that could go with the one at `address` by kind, size and keying."""
        plant = self._now.plant
        found = plant.port(address)
        assert found is not None
        port, kind = found
        for other in plant.kinds.values():
            if not kind.mates_with(other):
                continue
            for mate in self._selector.candidates(Selection(kinds=(other.id,))):
                theirs = plant.port(mate)
                assert theirs is not None
                apart = owner_of(mate) != owner_of(address) and self._now.state(mate).other is None
                if apart and _go_together(port, theirs[0]):
                    yield mate


def _go_together(a: Port, b: Port) -> bool:
    return (
        (not a.size or not b.size or a.size == b.size)
        and (not a.keying or not b.keying or a.keying == b.keying)
        and (not a.gender or a.gender != b.gender)
    )
