"""`all`: every one of several conditions is true."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cfgtrack.rules.condition import Condition, Ended, Judge, Part
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.finding import Reason, join
from cfgtrack.rules.several import PartsJudge, Several


class _All(PartsJudge):
    """Judges that all are true. Its instances are theirs: what is judged as one is told apart by its position."""

    def holds(self, it: str | None) -> bool:
        return all(part.holds(it) for part in self.parts)

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        out: dict[Part, tuple[str, ...]] = {}
        for number, _, part, items in self._all_short(it):
            key = _placed(number, part)
            out[key] = tuple(dict.fromkeys((*out.get(key, ()), *items)))
        return out

    def _all_short(self, it: str | None) -> Iterator[tuple[int, Judge, Part, tuple[str, ...]]]:
        for number, judge in enumerate(self.parts):
            for part, items in judge.short(it).items():
                yield number, judge, part, items

    def met(self, it: str | None) -> tuple[str, ...]:
        return tuple(dict.fromkeys(item for judge in self.parts for item in judge.met(it)))

    def towards(self, it: str | None, part: Part | None = None, *, true: bool) -> Iterator[Proposal]:
        if not true:
            return in_turn(judge.towards(it, true=False) for judge in self.parts)
        return in_turn(
            judge.towards(it, inner, true=True)
            for number, judge, inner, _ in self._all_short(it)
            if part is None or _placed(number, inner) == part
        )

    def reasons(self, it: str | None, ended: Ended, part: Part | None = None) -> tuple[Reason, ...]:
        return join(
            reason
            for number, judge, inner, _ in self._all_short(it)
            if part is None or _placed(number, inner) == part
            for reason in judge.reasons(it, ended, inner)
        )


def _placed(number: int, part: Part) -> Part:
    """Return an instance of the `number`-th condition as one of all of them: an item is the same in each."""
    return (f"#{number}", *part) if not part or part[0].startswith("#") else part


@dataclass(frozen=True, slots=True)
class All(Several):
    """Every part is true. True when there are none."""

    key, word, brackets, none, judge = "all", "and", "any", "always", _All

    def as_one(self) -> Iterator[Condition]:
        for part in self.parts:
            yield from part.as_one()
