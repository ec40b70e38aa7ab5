"""A way out found from ends to means, where the plan leads nowhere: what is open, and what time would break, is brought
about through whatever actions can be done and break nothing.

What is found is one order of steps on an engine that is ready for anything. Whoever asks tries it, with the time that
it takes, before he calls it a way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.exchange import engine_for_anything, who_acts
from cfgtrack.analysis.gaps import Gaps
from cfgtrack.analysis.leaving import Stopping
from cfgtrack.analysis.means import Lack, Means, Spent
from cfgtrack.analysis.wants import Alternative, At, Do
from cfgtrack.analysis.way_out import Bars, Legs, nothing_barred
from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.time import MINUTE
from cfgtrack.network.network import Network
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.when.by import By

MOST_ROUNDS_OUT = 24
"""So often at most something that is lacking is brought about."""

SHARE = 6
"""What one lack may cost: such a part of all."""

ABOUT_TO = 2 * MINUTE
"""What runs out so soon can't be met."""

MOST_LONGER = 3
"""So many legs more at most than the fewest somebody goes."""


@dataclass(slots=True)
class _Outward(Means):
    """Means to leave: nothing that is barred is done, and nobody goes where nobody of his sort went."""

    bars: Bars = nothing_barred
    legs: Legs | None = None

    def _may_be(self, event: Event) -> bool:
        return not self.bars(event) and (self.legs is None or self.legs.has(self.now, event))

    def _event(self, said: Action) -> Event | None:
        event = Means._event(self, said)
        return event if event is not None and self._may_be(event) else None

    def _by_somebody(self, action: Action) -> Event | None:
        if not self.engine.world.plant.has_sites:
            return self._event(action)
        for doer in self._who(action):
            outcome = resolve(self.now, self._timed(replace(action, by=doer)))
            if isinstance(outcome, Event) and self._may_be(outcome):
                return outcome
        return None

    def _try(self, action: Action) -> tuple[bool, Iterable[Alternative], Action]:
        # What can't be done counts as tried, too.
        self.tried += 1
        if self.tried > self.most:
            raise Spent
        outcome = resolve(self.now, self._timed(replace(action, by=None)))
        if isinstance(outcome, Event) and self.bars(outcome):
            return False, (), action
        return Means._try(self, action)

    def _ways_to(self, want: At) -> Iterator[Alternative]:
        """Yield how something comes to a place; somebody by the legs that are known, and what carries him."""
        if want.thing in self.actors and self.legs is not None:
            yield from self._by_legs(want)
            return
        yield from Means._ways_to(self, want)

    def _by_legs(self, want: At) -> Iterator[Alternative]:
        assert self.legs is not None
        for legs in self.legs.to(self.now, want.thing, want.place, MOST_LONGER, inside=want.inside):
            at: dict[str, str] = {}
            moves = list[Action]()
            for who, place in legs:
                if who != want.thing and at.get(who, self.now.state(who).value) == place:
                    continue
                at[who] = place
                moves.append(
                    Action("", PLACE, (who,), 0, place=place, by=who if who in self.actors else None)
                )
            yield tuple(map(Do, moves))


class Rescue:
    """Looks for what leads out of where a plan stands, on an engine of its own that follows it.

    `parts` are the events between each place of a plan and the next.
    """

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        networks: Mapping[str, Network] | None,
        legs: Legs,
        parts: Sequence[Sequence[Event]],
    ) -> None:
        self.engine: Engine = engine_for_anything(rules, begin, networks)
        self._legs, self._parts = legs, parts
        plant, now = self.engine.world.plant, self.engine.world.configuration
        self._gaps = Gaps(plant)
        self._by_end = frozenset(rule.id for rule in rules.rules if isinstance(rule.mode, By))
        acted = [event for part in parts for event in part]
        self._actors, self._machines = who_acts(plant, replace(begin, history=(*begin.history, *acted)))
        movable = (*plant.units, *(p.id for p in plant.places.values() if p.mobile))
        self._homes = {
            thing: begin.configuration.state(thing).value or now.state(thing).value for thing in movable
        }
        self._marks: list[int] = []

    def go_to(self, number: int) -> None:
        """Go to a place of the plan."""
        if number < len(self._marks):
            self.engine.back(self._marks[number])
            del self._marks[number:]
        while len(self._marks) < number:
            at = len(self._marks)
            self._marks.append(self.engine.mark())
            for event in self._parts[at]:
                self.engine.step(event)

    def out(
        self, stopping: Stopping, happened: Sequence[Event], time: int, bars: Bars, most: int
    ) -> list[Action]:
        """Return an order of steps that leads to where little is lacking, once something has `happened` at a time."""
        engine, mark = self.engine, self.engine.mark()
        engine.advance(time)
        for event in happened:
            engine.step(event)
        engine.settle()
        # A step takes no time here: what is about to run out is taken for broken.
        while (due := engine.next_time()) is not None and due <= time + ABOUT_TO:
            engine.advance(max(due, engine.world.now) + 1)
            engine.settle()
        means = _Outward(
            engine, self._gaps, self._actors, self._machines, most=most, bars=bars, legs=self._legs
        )
        means.homes.update(self._homes)
        try:
            self._leave(means, stopping)
        except Spent:
            pass
        finally:
            order = [one.said for one in means.order]
            engine.back(mark)
        return order

    def _leave(self, means: Means, stopping: Stopping) -> None:
        failed: set[tuple[str, str | None]] = set()
        for _ in range(MOST_ROUNDS_OUT):
            lacking = (one for one in self._lacking(means, stopping) if (one.rule, one.it) not in failed)
            # What is loose, and who is out, goes in last: till then it may be needed.
            lack = min(lacking, key=self._turn, default=None)
            if lack is None:
                return
            before, enough = means.keep(), means.most
            means.most = min(enough, means.tried + enough // SHARE)
            try:
                done = means._one_of(lack.alternatives) is not None
            except Spent:
                if means.tried >= enough:
                    raise
                done = False
            means.most = enough
            if not done:
                # What costs too much is left; something else may do without.
                means.most = enough + 2 * len(before) + 2
                means.restore(before)
                means.most = enough
                failed.add((lack.rule, lack.it))

    def _turn(self, lack: Lack) -> int:
        plant, it = self.engine.world.plant, lack.it or ""
        return 2 if plant.is_mobile(it) else 1 if it in plant.units and lack.rule in self._by_end else 0

    def _lacking(self, means: Means, stopping: Stopping) -> Iterator[Lack]:
        """Yield what would be open if all were left, what is open, and clocks that run out before anybody is back."""
        engine = self.engine
        engine.settle()
        seen = set[tuple[str, str | None]]()
        lacks = [] if stopping.outing is None else means.lacking_at_end(stopping.outing, last=False)
        opened = (b for b in engine.open_breaches().values() if b.rule.mode.can_be_mended)
        several = (
            (one for one in lacks),
            (means._lack(b.rule.id, b.it, b.part) for b in opened),
            (
                means._lack(c.rule, c.subject or None, None)
                for c in engine.clocks()
                if c.deadline is not None and stopping.back is not None and c.deadline < stopping.back
            ),
        )
        for some in several:
            for lack in some:
                if (lack.rule, lack.it) not in seen:
                    seen.add((lack.rule, lack.it))
                    yield lack
