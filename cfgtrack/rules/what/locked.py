"""`locked`: somebody's lock is on every item."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar, Self

from cfgtrack.model.action import LOCK, UNLOCK, Action
from cfgtrack.model.lock import Device, holders_over, locks_on
from cfgtrack.model.plant import port_of
from cfgtrack.rules.condition import Asked, Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.world import World

MOST_PEOPLE = 12
"""So many people at most are proposed to put a lock on."""


@dataclass(frozen=True, slots=True)
class Locked(OnItems):
    """A lock is on every item of `of`; with `by`, that of this person or lock box.

    Somebody's lock on a group lock box is on whatever the box has locked, too (29 CFR 1910.147 (f)(3)). A contact is
    locked with its shell.
    """

    key: ClassVar[str] = "locked"
    puts_on: ClassVar[str] = LOCK
    takes_off: ClassVar[str] = UNLOCK
    by: str = ""

    @classmethod
    def read(cls, clause: Clause) -> Self:
        return cls(clause.selection(cls.key), clause.text("by"))

    def words(self) -> str:
        return f"{self.of.words()} is {self.wanted}"

    @property
    def wanted(self) -> str:
        """What the items should be."""
        return self.key + (f" by {self.by}" if self.by else "")

    def hanging(self, world: World, item: str) -> list[Device]:
        """Return what hangs on an item, of the sort that is asked for."""
        return locks_on(world.configuration, item)

    def asked(self) -> Iterator[Asked]:
        yield from ()

    def is_met(self, world: World, item: str) -> bool:
        if self.by and self.puts_on == LOCK:
            return self.by in holders_over(world.configuration, item)
        return any(not self.by or one.holder == self.by for one in self.hanging(world, item))

    def reason(self, world: World, item: str) -> Reason:
        there = [one.holder for one in self.hanging(world, item)]
        said = f"{item} is {self.key} by {' and '.join(there)}" if there else f"{item} is not {self.key}"
        return Reason.of_each("status", (said,), f"{{}}; must be {self.wanted}", (item,))

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:
        if not true:
            for one in self.hanging(world, item):
                if not self.by or one.holder == self.by:
                    yield Proposal(Action("", self.takes_off, (one.thing, one.holder), world.now))
            return
        for holder in (self.by,) if self.by else people_of(world):
            yield Proposal(Action("", self.puts_on, (port_of(item), holder), world.now))


def people_of(world: World) -> Iterator[str]:
    """Yield who might be proposed to put a lock or tag on: some of the people and machines of the plant."""
    people = (place.id for place in world.plant.places.values() if place.mobile)
    yield from islice(people, MOST_PEOPLE)
