"""`not`: a condition is false."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.rules.condition import WHOLE, Asked, Clause, Condition, Ended, Judge, Part, falling_short
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Not(Condition):
    """The part is false."""

    key: ClassVar[str] = "not"
    part: Condition

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        below = clause.below("not")
        part = None if below is None else below.condition()
        return None if part is None else cls(part)

    def words(self) -> str:
        return f"not ({self.part.words()})"

    def media(self) -> frozenset[str]:
        return self.part.media()

    def checked(self) -> Iterator[Selection]:
        return self.part.checked()

    def watched(self) -> Iterator[Selection]:
        return self.part.watched()

    def each(self) -> Iterator[Selection]:
        return self.part.each()

    def asked(self) -> Iterator[Asked]:
        return self.part.asked()

    def as_one(self) -> Iterator[Condition]:
        yield self

    def compile(self, world: World) -> Judge:
        return _Not(self.part, self.part.compile(world))


class _Not(Judge):
    def __init__(self, part: Condition, judge: Judge) -> None:
        self.part, self.judge = part, judge
        self.depends, self.restless = judge.depends, judge.restless

    def holds(self, it: str | None) -> bool:
        return not self.judge.holds(it)

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return {} if self.holds(it) else {WHOLE: self.judge.met(it)}

    def met(self, it: str | None) -> tuple[str, ...]:
        return falling_short(self.judge, it)

    @property
    def version(self) -> int | None:
        return self.judge.version

    def towards(
        self,
        it: str | None,
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
        *,
        true: bool,
    ) -> Iterator[Proposal]:
        return self.judge.towards(it, true=not true)

    def reasons(
        self,
        it: str | None,
        ended: Ended,  # noqa: ARG002 - what is so needs none
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
    ) -> tuple[Reason, ...]:
        text = f"it is so, and must not be, that {self.part.words()}"
        return (Reason("is-so", text, beyond=self.judge.met(it)),)
