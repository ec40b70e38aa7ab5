"""`status`: items are in a status, or at a place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.rules.clause import Clause
from cfgtrack.rules.condition import Condition, Ended, Node
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import EveryItem
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Status(Condition):
    """Every item of `of` has one of the statuses `among`, or (units, mobile places) is at one of the places `at`."""

    key: ClassVar[str] = "status"
    of: Selection
    among: tuple[str, ...] = ()
    at: tuple[str, ...] = ()

    @classmethod
    def read(cls, clause: Clause) -> Self:
        """Read the items, and what they should be."""
        of = clause.selection("status")
        among, at = clause.statuses("is", of), clause.places("at", of)
        if not among and not at:
            clause.note("", "missing", "a status condition needs is (a status) or at (a place)")
        return cls(of, among, at)

    def words(self) -> str:
        """Return the condition in plain words."""
        return f"{self.of.words()} is {Wanted(self.among, self.at).words()}"

    def checked(self) -> Iterator[Selection]:
        """Yield the selection of the items."""
        yield self.of

    def compile(self, world: World) -> Node:
        """Return what judges it over one world."""
        return StatusNode(self, world)


class StatusNode(EveryItem):
    """Judges that items are as they should be."""

    def __init__(self, condition: Status, world: World) -> None:
        self.wanted = Wanted(condition.among, condition.at)
        super().__init__(condition, condition.of, world)

    def meets(self, item: str) -> bool:
        """Return whether one item is as it should be."""
        return self.wanted.is_met(self.world, item)

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:  # noqa: ARG002 - a status is no link
        """Return how the items are instead, and what would make them so."""
        items = self.failing(it)
        now = say_list([self.wanted.say_now(self.world, item) for item in items])
        text = f"{now}; must be {self.wanted.words()}"
        return (Reason("status", text, (), tuple(items), self.wanted.cures(self.world, items)),)
