"""What conditions that are made of others have in common."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import ClassVar, Self

from cfgtrack.rules.condition import Clause, Condition, Ended, Judge
from cfgtrack.rules.dependence import Dependence
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Several(Condition):
    """A condition made of others, true where they `combine` so. Their words are joined by `word`.

    `brackets` is the key of the parts that go into brackets; `none` is what it says without parts.
    """

    combine: ClassVar[Callable[[Iterable[bool]], bool]]
    word: ClassVar[str]
    brackets: ClassVar[str]
    none: ClassVar[str]
    parts: tuple[Condition, ...]

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        """Read the parts."""
        parts = clause.conditions(cls.key)
        return None if parts is None else cls(parts)

    def words(self) -> str:
        """Return the condition in plain words."""
        said = (f"({p.words()})" if p.key == self.brackets else p.words() for p in self.parts)
        return f" {self.word} ".join(said) or self.none

    def media(self) -> frozenset[str]:
        """Return the media of the parts."""
        return frozenset().union(*(part.media() for part in self.parts))

    def checked(self) -> Iterator[Selection]:
        """Yield what the parts check."""
        for part in self.parts:
            yield from part.checked()

    def compile(self, world: World) -> Judge:
        """Return what judges it over one world."""
        return _Several([part.compile(world) for part in self.parts], type(self).combine)


class _Several(Judge):
    """Judges by several judges: what changes any of them may change the whole."""

    def __init__(self, parts: list[Judge], combine: Callable[[Iterable[bool]], bool]) -> None:
        self.parts = parts
        self.combine = combine
        self.depends = reduce(or_, (part.depends for part in parts), Dependence())

    def holds(self, it: str | None) -> bool:
        return self.combine(part.holds(it) for part in self.parts)

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:
        return tuple(r for part in self.parts if not part.holds(it) for r in part.reasons(it, ended))
