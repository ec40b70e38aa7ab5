"""Everything that conditions look at, kept up to date event by event: state, networks, and what was last done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration, Undo
from cfgtrack.model.event import Effect, Event
from cfgtrack.model.hold import aboard
from cfgtrack.network.flow import Flow, Link, Shift
from cfgtrack.network.network import Network, compile_network
from cfgtrack.network.reach import Reach
from cfgtrack.rules.rule import Selection
from cfgtrack.rules.selection import Selector
from cfgtrack.rules.trail import Trail

Stamp = tuple[int, int]
"""When something was last done: (happened, order among the events of the engine's run)."""

Prior = Callable[[str, str], int | None]
"""When an action was last done to a subject before the engine's start, or None: looked up when first asked for."""


@dataclass(slots=True)
class Change:
    """What one event changed. `subjects` are the ports, units and places whose state, value or past is different."""

    event: Event
    effects: list[Effect]
    subjects: dict[str, None]
    shifts: dict[str, Shift] = field(default_factory=dict)

    def ended(self) -> list[tuple[str, Link]]:
        """Return the links that the event ended, each with its medium."""
        return [(medium, link) for medium, shift in self.shifts.items() for link in shift.ended]


def no_prior(_subject: str, _action: str) -> int | None:
    """Know of nothing that was done before."""
    return None


class World:
    """A configuration with its networks. `touched` names all that may change, so that the rest can be contracted."""

    def __init__(
        self,
        configuration: Configuration,
        *,
        media: Iterable[str],
        touched: Iterable[str] | None,
        now: int,
        trail: Trail,
        prior: Prior = no_prior,
        networks: Mapping[str, Network] | None = None,
    ) -> None:
        self.plant = configuration.plant
        self.configuration = configuration
        self.selector = Selector(self.plant)
        self.trail = trail
        self.clock: dict[str, int] = {"now": now, "order": 0}
        self._touched = None if touched is None else frozenset(touched)
        self._prior = prior
        self._done: dict[tuple[str, str], Stamp] = {}
        known = networks or {}
        self.flows: dict[str, Flow] = {
            medium: Flow(
                known.get(medium) or compile_network(self.plant, medium), configuration, self._touched, trail
            )
            for medium in media
        }
        self._targets: dict[tuple[str, Selection], Reach] = {}
        self._reach_of: dict[tuple[str, int], tuple[Selection, Reach | None]] = {}

    @property
    def now(self) -> int:
        """The instant up to which the world has been told."""
        return self.clock["now"]

    def set_now(self, now: int) -> None:
        """Move the clock."""
        self.trail.set(self.clock, "now", now)

    # --- what was done ---

    def last_done(self, subject: str, action: str, quantity: str = "") -> Stamp | None:
        """Return when an action (that measured `quantity`, where given) was last done to a subject, or None."""
        key = (subject, f"{action} {quantity}" if quantity else action)
        found = self._done.get(key)
        if found is not None:
            return found
        before = self._prior(*key)
        return None if before is None else (before, -1)

    def _note_done(self, event: Event) -> None:
        stamp = (event.happened, self.clock["order"])
        self.trail.set(self.clock, "order", self.clock["order"] + 1)
        for subject in (*event.subjects, *event.moved):
            self.trail.set(self._done, (subject, event.action), stamp)
            for quantity in event.values:
                self.trail.set(self._done, (subject, f"{event.action} {quantity}"), stamp)

    # --- one event ---

    def apply(self, event: Event) -> Change:
        """Write a resolved event; return all that it changed."""
        effects, undo = self.configuration.apply(event)
        self.trail.on_back(self._undo, undo)
        subjects = dict.fromkeys((*event.subjects, *event.moved))
        states = [e.subject for e in effects if not e.aspect]
        subjects.update(dict.fromkeys(states))
        for owner in [s for s in states if ":" not in s and s in self.plant.places]:
            subjects.update(dict.fromkeys(aboard(self.configuration, owner)))
        shifts = {medium: flow.update(states) for medium, flow in self.flows.items()} if states else {}
        self._note_done(event)
        return Change(event, effects, subjects, shifts)

    def _undo(self, undo: Undo) -> None:
        self.configuration.undo(undo)

    # --- selections, as vertices ---

    def items(self, selection: Selection, it: str | None) -> tuple[str, ...]:
        """Return the items that a selection names now."""
        return self.selector.items(selection, self.configuration, it)

    def vertices(self, medium: str, items: Iterable[str]) -> list[int]:
        """Return the vertices that items stand for in a medium."""
        flow = self.flows[medium]
        return [v for item in items for v in flow.vertices(item)]

    def reach_of(self, medium: str, end: Selection) -> Reach | None:
        """Return who reaches a selection of ends, or None when the ends depend on `it` or on the time."""
        known = self._reach_of.get((medium, id(end)))
        if known is not None:
            return known[1]
        found = None if end.of or end.at else self._find_reach(medium, end)
        self._reach_of[medium, id(end)] = (end, found)
        return found

    def _find_reach(self, medium: str, end: Selection) -> Reach:
        found = self._targets.get((medium, end))
        if found is None:
            targets = frozenset(self.vertices(medium, self.selector.candidates(end)))
            found = self._targets[medium, end] = self.flows[medium].reach(targets)
        return found
