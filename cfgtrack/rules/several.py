"""What conditions that are made of others have in common."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Self

from cfgtrack.rules.clause import Clause
from cfgtrack.rules.condition import Condition, Node
from cfgtrack.rules.dependence import Dependence
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Several(Condition):
    """A condition made of other ones."""

    parts: tuple[Condition, ...]

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        """Read the parts."""
        parts = clause.conditions(cls.key)
        return None if parts is None else cls(parts)

    def media(self) -> frozenset[str]:
        """Return the media of the parts."""
        return frozenset().union(*(part.media() for part in self.parts))

    def checked(self) -> Iterator[Selection]:
        """Yield what the parts check."""
        for part in self.parts:
            yield from part.checked()

    def joined_by(self, word: str, *, bracketed: str) -> str:
        """Return the words of the parts with a word between, those with the key `bracketed` in brackets."""
        said = (f"({p.words()})" if p.key == bracketed else p.words() for p in self.parts)
        return f" {word} ".join(said)


class SeveralNode(Node):
    """Several conditions over one world: what changes any of them may change the whole."""

    def __init__(self, condition: Several, world: World) -> None:
        self.parts = [part.compile(world) for part in condition.parts]
        self.depends = reduce(or_, (part.depends for part in self.parts), Dependence())
