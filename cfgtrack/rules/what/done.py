"""`done`: an action was done on items, and later than some other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.model.action import MEASURE
from cfgtrack.rules.clause import Clause
from cfgtrack.rules.condition import Condition, Ended, Node
from cfgtrack.rules.cure import MOST_CURES
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import EveryItem
from cfgtrack.rules.saying import say_either, say_list
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.value import is_quantity
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Done(Condition):
    """On every item of `of`, the last of `actions` is later than the last of `since`.

    False where none of `actions` was ever done. With `since` empty it is enough that one was done at all. With
    `quantity`, only those actions count that measured it.
    """

    key: ClassVar[str] = "done"
    of: Selection
    actions: tuple[str, ...]
    since: tuple[str, ...] = ()
    quantity: str = ""

    @classmethod
    def read(cls, clause: Clause) -> Self:
        """Read what must have been done, since what, and on which items."""
        actions, since = clause.actions("done"), clause.actions("since", required=False)
        quantity = clause.text("quantity")
        is_quantity(clause, quantity)
        return cls(clause.selection("of"), actions, since, quantity)

    def words(self) -> str:
        """Return the condition in plain words."""
        return f"{self.deed()} of {self.of.words()} has been done{self.since_words()}"

    def deed(self) -> str:
        """Return what must have been done."""
        return say_either(self.actions) + (f" ({self.quantity})" if self.quantity else "")

    def since_words(self) -> str:
        """Return since what it must have been done; "" for ever."""
        return f" since the last {say_either(self.since)}" if self.since else ""

    def checked(self) -> Iterator[Selection]:
        """Yield the selection of the items."""
        yield self.of

    def compile(self, world: World) -> Node:
        """Return what judges it over one world."""
        return DoneNode(self, world)


class DoneNode(EveryItem):
    """Judges that something was done on each item, in time."""

    def __init__(self, condition: Done, world: World) -> None:
        self.condition = condition
        super().__init__(condition, condition.of, world)

    def meets(self, item: str) -> bool:
        """Return whether it was done on one item, since then."""
        last, condition = self.world.last_done, self.condition
        done = [s for a in condition.actions if (s := last(item, a, condition.quantity)) is not None]
        since = [s for a in condition.since if (s := last(item, a)) is not None]
        return bool(done) and (not since or max(done) > max(since))

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:  # noqa: ARG002 - a deed is no link
        """Return on which items it was not done; to do it cures it."""
        condition, items = self.condition, self.failing(it)
        text = f"{condition.deed()} of {say_list(items)} has not been done{condition.since_words()}"
        action = condition.actions[0]
        value = f" {condition.quantity or 'QUANTITY'}=..." if action == MEASURE else ""
        cures = tuple(f"{action} {item}{value}" for item in items[:MOST_CURES])
        return (Reason("order", f"{text}; it must come first", (), tuple(items), cures),)
