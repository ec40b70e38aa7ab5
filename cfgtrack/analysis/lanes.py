"""One order of steps laid side by side: a track a doer, and as few waits as the steps need.

A step waits for the last step of another track without which it can't be done, or would break a rule: that is tried,
by doing it with the steps of that track put off, and what hangs on them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.model.time import SECOND
from cfgtrack.rules.engine import Engine


@dataclass(slots=True)
class Bench:
    """An engine on which orders of steps are tried, from where it stands. It is left as it was."""

    engine: Engine
    tried: int = 0

    def goes(self, said: Sequence[Action]) -> bool:
        """Return whether steps can be done one after the other and break nothing."""
        mark = self.engine.mark()
        try:
            return all(self.does(one) for one in said)
        finally:
            self.engine.back(mark)

    def does(self, said: Action) -> bool:
        """Do a step; return whether it can be done and breaks nothing."""
        engine = self.engine
        self.tried += 1
        timed = replace(said, happened=engine.world.now + SECOND, id=f"try:{self.tried}")
        event = resolve(engine.world.configuration, timed)
        if not isinstance(event, Event):
            return False
        noted = engine.noted
        engine.step(event)
        engine.settle()
        return engine.noted == noted


class Prefix:
    """The first steps of an order, done on an engine: as many as are asked for."""

    def __init__(self, bench: Bench, order: Sequence[Action]) -> None:
        self.bench, self.order = bench, order
        self.marks: list[int] = [bench.engine.mark()]

    def stand_before(self, number: int) -> None:
        """Have just the steps before one done."""
        if len(self.marks) - 1 > number:
            self.bench.engine.back(self.marks[number])
            del self.marks[number + 1 :]
        while len(self.marks) - 1 < number:
            at = len(self.marks) - 1
            if not self.bench.does(self.order[at]):
                raise ValueError(f"step {at} can't be done where it stands: {self.order[at]}")
            self.marks.append(self.bench.engine.mark())


def waits_of(
    engine: Engine,
    order: Sequence[Action],
    track_of: Callable[[Action], str],
    given: Mapping[int, Iterable[int]] = MappingProxyType({}),
) -> list[set[int]]:
    """Return for each step of an order, done by turns, the steps of other tracks that it has to wait for.

    `given` are those of which it is known for what they wait, of those that are so themselves.
    """
    bench = Bench(engine)
    prefix = Prefix(bench, order)
    tracks: dict[str, list[int]] = {}
    waits: list[set[int]] = []
    above: list[set[int]] = []
    """All that each step comes after, directly or not."""
    for number, said in enumerate(order):
        own = tracks.setdefault(track_of(said), [])
        found = set[int](given.get(number, ()))
        known = above[own[-1]] | {own[-1]} if own else set[int]()
        for one in found:
            known = known | above[one] | {one}
        others = sorted(
            (steps for steps in tracks.values() if steps and steps is not own), key=lambda s: -s[-1]
        )
        for steps in others:
            needed = _last_needed(
                prefix, above, number, _free(steps, known, given if number in given else ())
            )
            if needed is not None:
                found.add(needed)
                known = known | above[needed] | {needed}
        # What another wait has in it needs none of its own.
        waits.append({one for one in found if not any(one in above[two] for two in found)})
        above.append(known)
        own.append(number)
    prefix.stand_before(0)
    return waits


def _free(steps: Sequence[int], known: Collection[int], given: Collection[int]) -> list[int]:
    """Return the steps of which it isn't known whether they are needed."""
    return [step for step in steps if step not in known and step not in given]


def _last_needed(prefix: Prefix, above: Sequence[set[int]], number: int, free: Sequence[int]) -> int | None:
    """Return the last of the `free` steps of a track that a step can't do without; None where it needs none."""
    if not free or _goes_without(prefix, above, number, free):
        return None
    low, high = 1, len(free)  # with so many of the first it goes; with fewer than `low` it doesn't
    while low < high:
        kept = (low + high) // 2
        if _goes_without(prefix, above, number, free[kept:]):
            high = kept
        else:
            low = kept + 1
    return free[high - 1]


def _goes_without(prefix: Prefix, above: Sequence[set[int]], number: int, off: Sequence[int]) -> bool:
    """Return whether a step can be done with some put off till after it, and those that hang on them."""
    order, first, out = prefix.order, off[0], set(off)
    before, later = [], []
    for i in range(first, number):
        if i in out or not above[i].isdisjoint(out):
            out.add(i)
            later.append(order[i])
        else:
            before.append(order[i])
    prefix.stand_before(first)
    return prefix.bench.goes([*before, order[number], *later])


def as_sequence(
    order: Sequence[Action],
    waits: Sequence[Iterable[int]],
    track_of: Callable[[Action], str],
    *,
    outing: Outing,
    takes: Callable[[Action], tuple[int, int, int]],
    assumed: Callable[[Action], bool] = lambda _: False,
    titles: Mapping[int, str] = MappingProxyType({}),
    title: str = "",
) -> Proposed:
    """Return an order with its waits as a sequence of one outing."""
    names = [f"S{number + 1:03d}" for number in range(len(order))]
    steps = tuple(
        Step(
            names[number],
            outing.id,
            track_of(said),
            replace(said, id="", outing=None),
            takes(said),
            tuple(names[one] for one in sorted(waits[number])),
            title=titles.get(number, ""),
            assumed=assumed(said),
        )
        for number, said in enumerate(order)
    )
    return Proposed(title=title, outings=(outing,), steps=steps)
