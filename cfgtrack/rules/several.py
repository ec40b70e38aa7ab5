"""What conditions that are made of others have in common."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import ClassVar, Self

from cfgtrack.rules.condition import Asked, Clause, Condition, Judge
from cfgtrack.rules.dependence import Dependence
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Several(Condition):
    """A condition made of others, judged by a `judge` of theirs. Their words are joined by `word`.

    `brackets` is the key of the parts that go into brackets; `none` is what it says without parts.
    """

    judge: ClassVar[type[PartsJudge]]
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

    def watched(self) -> Iterator[Selection]:
        """Yield what the parts ask something of."""
        for part in self.parts:
            yield from part.watched()

    def asked(self) -> Iterator[Asked]:
        """Yield what the parts ask of when things were last done."""
        for part in self.parts:
            yield from part.asked()

    def each(self) -> Iterator[Selection]:
        """Yield what the parts look at item by item."""
        for part in self.parts:
            yield from part.each()

    def compile(self, world: World) -> Judge:
        """Return what judges it over one world."""
        return type(self).judge([part.compile(world) for part in self.parts])


class PartsJudge(Judge):
    """Judges by several judges: what changes any of them may change the whole."""

    def __init__(self, parts: list[Judge]) -> None:
        self.parts = parts
        self.depends = reduce(or_, (part.depends for part in parts), Dependence())
        self.restless = any(part.restless for part in parts)

    @property
    def version(self) -> int | None:
        """The sum of those of the parts, if all have one."""
        # Each only goes up, so their sum stays the same only while each does.
        versions = [part.version for part in self.parts]
        return None if None in versions else sum(v for v in versions if v is not None)
