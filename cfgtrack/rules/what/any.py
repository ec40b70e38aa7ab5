"""`any`: at least one of several conditions is true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from cfgtrack.rules.condition import Ended, Node
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.several import Several, SeveralNode
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class AnyOf(Several):
    """At least one part is true."""

    key: ClassVar[str] = "any"

    def words(self) -> str:
        """Return the condition in plain words."""
        return self.joined_by("or", bracketed="all") or "never"

    def compile(self, world: World) -> Node:
        """Return what judges it over one world."""
        return AnyNode(self, world)


class AnyNode(SeveralNode):
    """Judges that any is true."""

    def holds(self, it: str | None) -> bool:
        """Return whether any is true now."""
        return any(part.holds(it) for part in self.parts)

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:
        """Return why all of them are false."""
        return tuple(r for part in self.parts for r in part.reasons(it, ended))
