"""`untagged`: nobody's tag hangs on any item."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.model.action import TAG, UNTAG, Action
from cfgtrack.model.lock import tags_on
from cfgtrack.model.plant import port_of
from cfgtrack.rules.condition import Asked, Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.what.locked import people_of
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Untagged(OnItems):
    """No tag hangs on any item of `of`: what is tagged is to be left alone, 29 CFR 1910.147 (d)(4)(iii)."""

    key: ClassVar[str] = "untagged"

    @classmethod
    def read(cls, clause: Clause) -> Self:
        return cls(clause.selection("untagged"))

    def words(self) -> str:
        return f"{self.of.words()} is not tagged"

    def asked(self) -> Iterator[Asked]:
        yield from ()

    def is_met(self, world: World, item: str) -> bool:
        return not tags_on(world.configuration, item)

    def reason(self, world: World, item: str) -> Reason:
        whose = say_list([one.holder for one in tags_on(world.configuration, item)])
        return Reason.of_each(
            "status", (f"{item} is tagged by {whose}",), "{}; it must be left alone", (item,)
        )

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:
        if true:
            for one in tags_on(world.configuration, item):
                yield Proposal(Action("", UNTAG, (one.thing, one.holder), world.now))
        else:
            for person in people_of(world):
                yield Proposal(Action("", TAG, (port_of(item), person), world.now))
