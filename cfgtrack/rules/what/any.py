"""`any`: at least one of several conditions is true."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cfgtrack.rules.condition import WHOLE, Condition, Ended, Part, falling_short
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.finding import Reason, join
from cfgtrack.rules.several import PartsJudge, Several


class _AnyOf(PartsJudge):
    """Judges that one is true. It is one instance; an item falls short in it that does so in every alternative."""

    def holds(self, it: str | None) -> bool:
        return any(part.holds(it) for part in self.parts)

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        if self.holds(it):
            return {}
        first, *others = [falling_short(part, it) for part in self.parts] or [()]
        return {WHOLE: tuple(item for item in first if all(item in other for other in others))}

    def met(self, it: str | None) -> tuple[str, ...]:
        true = (part for part in self.parts if part.holds(it))
        return tuple(dict.fromkeys(item for part in true for item in part.met(it)))

    def towards(
        self,
        it: str | None,
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
        *,
        true: bool,
    ) -> Iterator[Proposal]:
        return in_turn(one.towards(it, true=true) for one in self.parts if one.holds(it) != true)

    def reasons(
        self,
        it: str | None,
        ended: Ended,
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
    ) -> tuple[Reason, ...]:
        return join(reason for one in self.parts for reason in one.reasons(it, ended))


@dataclass(frozen=True, slots=True)
class AnyOf(Several):
    """At least one part is true."""

    key, word, brackets, none, judge = "any", "or", "all", "never", _AnyOf

    def as_one(self) -> Iterator[Condition]:
        yield self
