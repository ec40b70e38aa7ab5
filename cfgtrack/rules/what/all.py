"""`all`: every one of several conditions is true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from cfgtrack.rules.condition import Ended, Node
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.several import Several, SeveralNode
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class All(Several):
    """Every part is true. True when there are none."""

    key: ClassVar[str] = "all"

    def words(self) -> str:
        """Return the condition in plain words."""
        return self.joined_by("and", bracketed="any") or "always"

    def compile(self, world: World) -> Node:
        """Return what judges it over one world."""
        return AllNode(self, world)


class AllNode(SeveralNode):
    """Judges that all are true."""

    def holds(self, it: str | None) -> bool:
        """Return whether all are true now."""
        return all(part.holds(it) for part in self.parts)

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:
        """Return why those that are false are so."""
        return tuple(r for part in self.parts if not part.holds(it) for r in part.reasons(it, ended))
