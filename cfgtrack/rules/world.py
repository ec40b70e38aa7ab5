"""Everything that conditions look at, kept up to date event by event: state, networks, and what was last done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from cfgtrack.model.configuration import Configuration, Undo, untouched
from cfgtrack.model.event import DEVICE, Effect, Event, effects, is_of_device
from cfgtrack.model.hold import aboard
from cfgtrack.model.lock import is_box, protected_by
from cfgtrack.network.flow import Flow, Link, Shift
from cfgtrack.network.network import Network, compile_network
from cfgtrack.network.reach import Reach
from cfgtrack.rules.selection import Bound, Selection
from cfgtrack.rules.tally import Tallies
from cfgtrack.rules.trail import Trail

if TYPE_CHECKING:
    from cfgtrack.rules.condition import Asked

Stamp = tuple[int, int]
"""When something was last done: (happened, order among the events of that instant)."""

Done = Mapping[tuple[str, str], Stamp]
"""When each action was last done to each subject; of one that measured a quantity there is ``ACTION QUANTITY`` too."""

NOTHING: Done = {}

Group = tuple[int, str]
"""Within what the order of things is asked: the number of what asks it in `World.asked`, and an address."""


@dataclass(slots=True)
class Change:
    """What one event changed. `subjects` are the ports, units and places whose state, value or past is different.

    `near` is what is near these, by how far around one looks, as far as somebody has asked: see `Instances.near`.
    """

    event: Event
    subjects: dict[str, None]
    shifts: dict[str, Shift] = field(default_factory=dict)
    near: dict[tuple[bool, bool], dict[str, None]] = field(default_factory=dict)

    def ended(self) -> list[tuple[str, Link]]:
        """Return the links that the event ended, each with its medium."""
        return [(medium, link) for medium, shift in self.shifts.items() for link in shift.ended]


@dataclass(slots=True)
class First:
    """What all that was written since the trail is kept was before: of states their value and other, of a value its
    text (of a lock or tag, whether it hung), and the mate cycles.
    """

    states: dict[str, tuple[str, str | None]] = field(default_factory=dict)
    values: dict[tuple[str, str], str | bool | None] = field(default_factory=dict)
    cycles: dict[str, int] = field(default_factory=dict)


def told(aspect: str, effect: Effect | None) -> str | bool | None:
    """Return what of a value tells one situation from another: of a lock or tag whether it hangs, not since when."""
    if aspect.startswith(DEVICE):
        return effect is not None and bool(effect.value)
    return None if effect is None else effect.value


def did(event: Event) -> Iterator[tuple[str, str]]:
    """Yield what an event did to whom: see `Done`."""
    for subject in (*event.subjects, *event.moved, *event.carried):
        yield subject, event.action
        for quantity in event.values:
            yield subject, f"{event.action} {quantity}"
    for subject in event.subjects:
        for quantity in event.values:
            yield subject, f" {quantity}"


def done_before(events: Iterable[Event]) -> dict[tuple[str, str], Stamp]:
    """Return what was last done by events, in order: of before the rules begin, it counts all the same."""
    done: dict[tuple[str, str], Stamp] = {}
    last: Stamp = (0, -1)
    for event in events:
        last = (event.happened, last[1] + 1 if event.happened == last[0] else 0)
        done.update(dict.fromkeys(did(event), last))
    return done


class World:
    """A configuration with its networks. `touched` names all that may change, so that the rest can be contracted.

    `prior` is what was last done before it. `now` is the instant up to which it has been told. `epoch` goes up whenever
    something may be different: what is worked out in one need not be worked out again in it.
    """

    def __init__(
        self,
        configuration: Configuration,
        *,
        media: Iterable[str],
        touched: Iterable[str] | None,
        now: int,
        trail: Trail,
        prior: Done = NOTHING,
        networks: Mapping[str, Network] | None = None,
        asked: Sequence[Asked] = (),
    ) -> None:
        self.plant = configuration.plant
        self.configuration = configuration
        self.trail = trail
        self.now = now
        self.epoch = 0
        self.tallies = Tallies(self.plant, trail)
        self._touched = None if touched is None else frozenset(touched)
        self._prior = prior
        self._done: dict[tuple[str, str], Stamp] = {}
        self._stamp: Stamp = (0, 0)
        self.first: First | None = None
        self.asked = asked
        self.ranked: dict[Group, Hashable] = {}
        self._grouped: dict[Group, dict[tuple[str, str], Stamp]] = {}
        self.ages: Callable[[Stamp], int] | None = None
        self._networks = networks or {}
        self.flows: dict[str, Flow] = {}
        for medium in media:
            self.have_flow(medium)
        self._targets: dict[tuple[str, Selection], Reach] = {}

    def have_flow(self, medium: str) -> Flow:
        """Return the flow of a medium, made where there is none yet: before the first event."""
        flow = self.flows.get(medium)
        if flow is None:
            network = self._networks.get(medium) or compile_network(self.plant, medium)
            flow = self.flows[medium] = Flow(network, self.configuration, self._touched, self.trail)
        return flow

    # --- what was done ---

    def last_done(self, subject: str, action: str, quantity: str = "") -> Stamp | None:
        """Return when an action (that measured `quantity`, where given) was last done to a subject, or None.

        With the action "" it is when the quantity was last measured, by whatever action told it.
        """
        key = (subject, f"{action} {quantity}" if quantity else action)
        found = self._done.get(key)
        return self._prior.get(key) if found is None else found

    def done(self) -> Done:
        """Return what was last done to everything, before the start too."""
        return {**self._prior, **self._done}

    def age(self, stamp: Stamp) -> int:
        """Return how long ago something was done, microseconds: as `ages` has it, where somebody keeps the time."""
        return self.now - stamp[0] if self.ages is None else self.ages(stamp)

    @property
    def stamps(self) -> dict[tuple[str, str], Stamp]:
        """When what was done since the start was last done."""
        return self._done

    def _note_done(self, event: Event) -> None:
        happened, order = self._stamp
        stamp = (event.happened, order + 1 if event.happened == happened else 0)
        self.trail.assign(self, "_stamp", stamp)
        for key in did(event):
            self.trail.set(self._done, key, stamp)
        if self.first is not None and self.asked:
            self._rank(event, stamp)

    def groups(self, subject: str, action: str) -> Iterator[Group]:
        """Yield within what somebody asks the order of an action on a subject."""
        for number, asked in enumerate(self.asked):
            if asked.concerns(action):
                yield from ((number, of) for of in asked.groups(subject, action))

    def _rank(self, event: Event, stamp: Stamp) -> None:
        """Keep in which order those things were done that somebody asks the order of."""
        fresh: dict[Group, dict[tuple[str, str], Stamp]] = {}
        for key in did(event):
            for group in self.groups(*key):
                fresh.setdefault(group, {})[key] = stamp
        for group, stamps in fresh.items():
            known = {**self._grouped.get(group, {}), **stamps}
            self.trail.set(self._grouped, group, known)
            self.trail.set(self.ranked, group, self.asked[group[0]].ranked(known))

    # --- one event ---

    def apply(self, event: Event) -> Change:
        """Write a resolved event; return all that it changed."""
        if self.trail.keeping and self.first is None:
            self.first = First()
        effects, undo = self.configuration.apply(event)
        if self.first is not None:
            self._note_first(self.first, undo)
        self.trail.on_back(self.configuration.undo, undo)
        subjects = dict.fromkeys((*event.subjects, *event.moved, *event.carried))
        states = [e.subject for e in effects if not e.aspect]
        subjects.update(dict.fromkeys(states))
        for owner in [s for s in states if ":" not in s and s in self.plant.places]:
            subjects.update(dict.fromkeys(aboard(self.configuration, owner)))
        if is_of_device(self.plant, event) and is_box(self.plant, event.subjects[0]):
            subjects.update(protected_by(self.configuration, event.subjects[0]))
        shifts = {medium: flow.update(states) for medium, flow in self.flows.items()} if states else {}
        self._note_done(event)
        self.tallies.update(subjects, shifts)
        self.epoch += 1
        return Change(event, subjects, shifts)

    def _note_first(self, first: First, undo: Undo) -> None:
        """Note what was so before, of what is written for the first time: it is never undone."""
        for subject, state in undo.states:
            if subject not in first.states:
                before = untouched(self.plant, subject) if state is None else state
                first.states[subject] = (before.value, before.other)
        for key, effect in undo.values:
            if key not in first.values:
                first.values[key] = told(key[1], effect)
        used = Counter[str]()
        for subject, n in undo.cycles:
            used[subject] += n
        for subject, n in used.items():
            first.cycles.setdefault(subject, self.configuration.cycles.get(subject, 0) - n)

    def sees(self, event: Event) -> bool:
        """Return whether an event writes only what was named as touched: all else may be contracted."""
        touched = self._touched
        return touched is None or all(
            e.subject in touched for e in effects(self.plant, event) if not e.aspect
        )

    # --- for conditions that are made ready ---

    def bind(self, selection: Selection) -> Bound:
        """Return a selection made ready to be asked often."""
        return Bound(selection, self.configuration)

    def vertices(self, medium: str, items: Iterable[str]) -> list[int]:
        """Return the vertices that items stand for in a medium."""
        flow = self.flows[medium]
        return [v for item in items for v in flow.vertices(item)]

    def reach(self, medium: str, end: Selection) -> Reach | None:
        """Return who reaches a selection of ends, or None when the ends depend on `it` or on the time."""
        if not end.is_fixed:
            return None
        found = self._targets.get((medium, end))
        if found is None:
            targets = frozenset(self.vertices(medium, end.candidates(self.plant)))
            found = self._targets[medium, end] = self.flows[medium].reach(targets)
        return found
