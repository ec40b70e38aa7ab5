"""`tagged`: somebody's tag hangs on every item, whether a lock does or not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from cfgtrack.model.action import TAG, UNTAG
from cfgtrack.model.lock import Device, tags_on
from cfgtrack.rules.what.locked import Locked
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Tagged(Locked):
    """A tag hangs on every item of `of`; with `by`, that of this person."""

    key: ClassVar[str] = "tagged"
    puts_on: ClassVar[str] = TAG
    takes_off: ClassVar[str] = UNTAG

    def hanging(self, world: World, item: str) -> list[Device]:
        return tags_on(world.configuration, item)
