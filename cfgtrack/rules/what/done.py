"""`done`: an action was done on items, and later than some other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan
from typing import ClassVar, Self

from cfgtrack.model.action import MEASURE, Action
from cfgtrack.model.plant import Plant
from cfgtrack.model.time import format_duration
from cfgtrack.rules.condition import Asked, Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.dependence import Timer
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.saying import say_either
from cfgtrack.rules.what.value import ANY_QUANTITY, is_quantity, last_done_to, last_since, measuring
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Done(OnItems):
    """On every item of `of`, the last of `actions` is later than the last of `since`.

    False where none of `actions` was ever done. With `since` empty it is enough that one was done at all. With
    `quantity`, only those actions count that measured it; with `max_age` (microseconds), only those not longer ago.
    """

    key: ClassVar[str] = "done"
    actions: tuple[str, ...]
    since: tuple[str, ...] = ()
    quantity: str = ""
    max_age: int | None = None

    @classmethod
    def read(cls, clause: Clause) -> Self:
        actions, since = clause.actions("done"), clause.actions("since", required=False)
        quantity = clause.text("quantity")
        is_quantity(clause, quantity)
        return cls(clause.selection("of"), actions, since, quantity, clause.duration("max_age"))

    def words(self) -> str:
        return f"{self.deed()} of {self.of.words()} has been done{self.since_words()}"

    def deed(self) -> str:
        """Return what must have been done."""
        return say_either(self.actions) + (f" ({self.quantity})" if self.quantity else "")

    def since_words(self) -> str:
        """Return since what, and how long ago at most, it must have been done; "" for ever."""
        asked = [f"since the last {say_either(self.since)}"] if self.since else []
        asked += [] if self.max_age is None else [f"in the last {format_duration(self.max_age)}"]
        return f" {' and '.join(asked)}" if asked else ""

    def timers(self, plant: Plant) -> tuple[Timer, ...]:  # noqa: ARG002 - it names its own actions
        """Return when what was done is too long ago."""
        return () if self.max_age is None else (Timer(self.actions, (self.max_age + 1,), self.quantity),)

    def asked(self) -> Iterator[Asked]:
        done = frozenset(f"{action} {self.quantity}" if self.quantity else action for action in self.actions)
        most_age = None if self.max_age is None else self.max_age + 1
        yield Asked(done.union(self.since), self.looks_inside(), most_age, done)

    def looks_inside(self) -> bool:
        return bool(self.since)

    def is_met(self, world: World, item: str) -> bool:
        """Return whether it was done on an item, since then."""
        done = [s for a in self.actions if (s := last_done_to(world, item, a, self.quantity)) is not None]
        last = max(done, default=None)
        if last is None or (self.max_age is not None and world.age(last) > self.max_age):
            return False
        before = last_since(world, item, self.since)
        return before is None or last > before

    def reason(self, world: World, item: str) -> Reason:  # noqa: ARG002 - as it was asked for, so it is told
        form = f"{self.deed()} of {{}} has not been done{self.since_words()}; it must come first"
        return Reason.of_each("order", (item,), form, (item,))

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:
        for action in self.actions if true else self.since:
            if not self.quantity and action != MEASURE:
                yield Proposal(Action("", action, (item,), world.now))
            else:
                # Whatever is measured must do: so it is tried with what is in no range at all.
                quantity = self.quantity or ANY_QUANTITY
                yield measuring(world, action, item, quantity, nan, span="")
