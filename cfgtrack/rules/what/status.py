"""`status`: items are in a status, or at a place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.rules.condition import Asked, Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Status(OnItems):
    """Every item of `of` has one of the statuses `among`, or (units, mobile places) is at one of the places `at`."""

    key: ClassVar[str] = "status"
    among: tuple[str, ...] = ()
    at: tuple[str, ...] = ()

    @classmethod
    def read(cls, clause: Clause) -> Self:
        of = clause.selection("status")
        among, at = clause.statuses("is", of), clause.places("at", of)
        if not among and not at:
            clause.note("", "missing", "a status condition needs is (a status) or at (a place)")
        return cls(of, among, at)

    @property
    def wanted(self) -> Wanted:
        """What the items should be."""
        return Wanted(self.among, self.at)

    def words(self) -> str:
        return f"{self.of.words()} is {self.wanted.words()}"

    def asked(self) -> Iterator[Asked]:
        yield from ()

    def is_met(self, world: World, item: str) -> bool:
        return self.wanted.is_met(world, item)

    def reason(self, world: World, item: str) -> Reason:
        form = "{}; must be " + self.wanted.words_for(world, item)
        return Reason.of_each("status", (self.wanted.say_now(world, item),), form, (item,))

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:
        return self.wanted.towards(world, item, away=not true)
