"""`done`: an action was done on items, and later than some other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan
from typing import ClassVar, Self

from cfgtrack.model.action import MEASURE, Action
from cfgtrack.rules.condition import Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.saying import say_either
from cfgtrack.rules.what.value import ANY_QUANTITY, is_quantity, measuring
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Done(OnItems):
    """On every item of `of`, the last of `actions` is later than the last of `since`.

    False where none of `actions` was ever done. With `since` empty it is enough that one was done at all. With
    `quantity`, only those actions count that measured it.
    """

    key: ClassVar[str] = "done"
    actions: tuple[str, ...]
    since: tuple[str, ...] = ()
    quantity: str = ""

    @classmethod
    def read(cls, clause: Clause) -> Self:
        actions, since = clause.actions("done"), clause.actions("since", required=False)
        quantity = clause.text("quantity")
        is_quantity(clause, quantity)
        return cls(clause.selection("of"), actions, since, quantity)

    def words(self) -> str:
        return f"{self.deed()} of {self.of.words()} has been done{self.since_words()}"

    def deed(self) -> str:
        """Return what must have been done."""
        return say_either(self.actions) + (f" ({self.quantity})" if self.quantity else "")

    def since_words(self) -> str:
        """Return since what it must have been done; "" for ever."""
        return f" since the last {say_either(self.since)}" if self.since else ""

    def is_met(self, world: World, item: str) -> bool:
        """Return whether it was done on an item, since then."""
        done = [s for a in self.actions if (s := world.last_done(item, a, self.quantity)) is not None]
        since = [s for a in self.since if (s := world.last_done(item, a)) is not None]
        return bool(done) and (not since or max(done) > max(since))

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
