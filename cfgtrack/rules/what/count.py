"""`count`: so many items are in a status, at a place, or have a path."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import ClassVar, Self

from cfgtrack.rules.condition import WHOLE, Asked, Clause, Condition, Ended, Judge, Part
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.dependence import depends_on_items
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.joining import to_join, to_part
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.tally import Tally
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.ways import Ways
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Count(Condition):
    """At least `least` and at most `most` items of `of` have a status of `among`, or are at `at`.

    With `medium` and `end`, those count that have such a path: k of n strings powered.
    """

    key: ClassVar[str] = "count"
    borrows: ClassVar[tuple[str, ...]] = ("path",)
    of: Selection
    among: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    least: int | None = None
    most: int | None = None
    medium: str = ""
    end: Selection | None = None

    @classmethod
    def read(cls, clause: Clause) -> Self:
        of = clause.selection("count")
        among, at = clause.statuses("is", of), clause.places("at", of)
        least, most = clause.count("at_least", at_least=0), clause.count("at_most", at_least=0)
        medium = clause.medium("path") if clause.has("path") else ""
        end = clause.selection("to") if medium or clause.has("to") else None
        if end is not None and not medium:
            clause.note("to", "missing", "a count of those that reach something needs path, a medium")
        if medium and (among or at):
            clause.note(
                "path", "unexpected", "count those of a status, or those that have a path: not both at once"
            )
        if not clause.has("at_least") and not clause.has("at_most"):
            clause.note("", "missing", "a count needs at_least or at_most")
        if least is not None and most is not None and least > most:
            clause.note("at_least", "contradiction", f"at least {least} and at most {most} is never true")
        there = None if of.of or of.may_be_empty or least is None else clause.candidates(of)
        if there and least is not None and len(there) < least:
            sentence = f"at least {least} is never true: there are {len(there)}"
            clause.note("at_least", "contradiction", sentence)
        return cls(of, among, at, least, most, medium, end)

    def words(self) -> str:
        bounds = [f"at least {self.least}"] if self.least is not None else []
        bounds += [f"at most {self.most}"] if self.most is not None else []
        how_many = "none" if self.most == 0 else " and ".join(bounds) or "any number"
        of, counted = self.of.words(), self.counted()
        if counted:
            return f"{how_many} of {of} {counted}"
        return f"there is {'no' if self.most == 0 else how_many} {of.removeprefix('any ')}"

    def counted(self, says: Callable[[str], str] = str) -> str:
        """Return what the items do that count; "" where it is enough that they are there.

        `says`: what a status is called.
        """
        wanted = Wanted(self.among, self.at).words(says)
        if wanted:
            return f"are {wanted}"
        return f"have a {self.medium} path to {self.end.words()}" if self.end else ""

    def asked(self) -> Iterator[Asked]:
        yield from ()

    def media(self) -> frozenset[str]:
        return frozenset() if self.end is None else frozenset({self.medium})

    def compile(self, world: World) -> Judge:
        return _Count(self, world)


class _Count(Judge):
    """Judges how many items have what is asked for; where they are always the same, those that do are tallied."""

    def __init__(self, condition: Count, world: World) -> None:
        self.condition = condition
        self.world = world
        self.of = world.bind(condition.of)
        self.wanted = Wanted(condition.among, condition.at)
        self.ways: Ways | None = None
        self.have: Tally | None = None
        if condition.end is not None:
            self.ways = Ways(world, condition.medium, condition.of, condition.end)
            self.depends = self.ways.depends
            return
        self.depends = depends_on_items(condition.of)
        if condition.of.is_fixed:
            self.have = world.tallies.of_items(condition, condition.of.candidates(world.plant), self._counts)

    def _counts(self, item: str) -> bool:
        return self.wanted.is_met(self.world, item)

    def _meeting(self, it: str | None) -> list[str]:
        if self.ways is None and self.have is not None:
            return [item for item in self.of.items(it) if item in self.have]
        if self.ways is None:
            return list(filter(self._counts, self.of.items(it)))
        cut_off = frozenset(self.ways.cut_off(it))
        return [item for item in self.of.items(it) if item not in cut_off]

    def holds(self, it: str | None) -> bool:
        n = len(self._meeting(it)) if self.have is None else len(self.have)
        return not self._is_few(n) and not self._is_many(n)

    def _is_few(self, n: int) -> bool:
        return self.condition.least is not None and n < self.condition.least

    def _is_many(self, n: int) -> bool:
        return self.condition.most is not None and n > self.condition.most

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        if self.holds(it):
            return {}
        meeting = self._meeting(it)
        return {WHOLE: self._others(it, meeting) if self._is_few(len(meeting)) else tuple(meeting)}

    def met(self, it: str | None) -> tuple[str, ...]:
        if self.condition.least is not None and self.condition.most is not None:
            return self.of.items(it)
        meeting = self._meeting(it)
        return self._others(it, meeting) if self.condition.least is None else tuple(meeting)

    @property
    def version(self) -> int | None:
        return None if self.have is None else self.have.version

    def _others(self, it: str | None, meeting: Sequence[str]) -> tuple[str, ...]:
        meets = frozenset(meeting)
        return tuple(item for item in self.of.items(it) if item not in meets)

    def reasons(
        self,
        it: str | None,
        ended: Ended,  # noqa: ARG002 - numbers, not links
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
    ) -> tuple[Reason, ...]:
        condition, items, meeting = self.condition, self.of.items(it), self._meeting(it)
        n, counted = len(meeting), condition.counted(partial(self._says, items))
        text = f"{n} of {len(items)} {counted}" if counted else _say_there(condition.of, items)
        if condition.least is not None and n < condition.least:
            off, beyond = condition.least - n, self._others(it, meeting)
            text += f"; at least {condition.least} must: {off} short"
        else:
            most = condition.most or 0
            off, beyond = n - most, tuple(meeting)
            text += f"; at most {most} may: {off} too many"
        return (Reason("count", text, (), beyond),)

    def _says(self, items: Sequence[str], status: str) -> str:
        """Return what a status of some items is called: its words where all of them say it so, else its id."""
        words = {self.world.plant.says(item, status) for item in items}
        return words.pop() if len(words) == 1 else status

    def towards(
        self,
        it: str | None,
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
        *,
        true: bool,
    ) -> Iterator[Proposal]:
        meeting = self._meeting(it)
        others = self._others(it, meeting)
        few, many = self._is_few(len(meeting)), self._is_many(len(meeting))
        if few or not true:
            yield from self._towards(it, others, true=True)
        if many or not true:
            yield from self._towards(it, meeting, true=False)

    def _towards(self, it: str | None, items: Sequence[str], *, true: bool) -> Iterator[Proposal]:
        """Yield actions after which one more of some items, or one less, might count."""
        if self.ways is not None:
            to = to_join if true else to_part
            return to(self.ways, it, items)
        return in_turn(self.wanted.towards(self.world, item, away=not true) for item in items)


def _say_there(selection: Selection, items: tuple[str, ...]) -> str:
    what = selection.words().removeprefix("any ")
    return f"{what}: {len(items)}" + (f" ({say_list(items)})" if items else "")
