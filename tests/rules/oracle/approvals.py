"""Who excuses what: a slow reading of approvals, from the text of the meanings alone.

The text: a variance is who approved an exception, why, for which subjects, from when to when; it excuses those named
and no other, for as long as it runs. A correction is a new event that supersedes an older one or withdraws it; asked as
known then, the answer is the one of then. Approvals can need two people, and show whether they came before or after the
fact.

Questions that it leaves, and what is taken here:

 1. Before the fact is what was recorded by the time at which the rule was broken, and ran then. Of two, both were.
 2. What is still broken when it is asked about is excused if approvals run at that moment; what is over if they ran
    as long as it lasted.
 3. Two people are two if nobody had a hand in both approvals: neither as who approved, nor as who wrote it down. What a
    person is called besides doesn't make two of him.
 4. Of a plant that names people only those who may approve do.
 5. An approval is given of what had been broken by then, else of the next time; one of a plan of as many more times as
    the plan breaks it. Whatever it excuses besides was broken anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations


@dataclass(frozen=True)
class Row:
    """One event on the record: an approval (`names` something), or what withdraws or corrects (`of`) another one."""

    id: str
    known: int
    happened: int = 0
    by: str = ""
    recorder: str = ""
    names: frozenset[str] = frozenset()
    since: int | None = None
    until: int | None = None
    of: str = ""


@dataclass(frozen=True)
class Broken:
    """What was broken from `time` on, until `mended`, and how many people must approve an exception to it."""

    name: str
    time: int
    mended: int | None
    needs: int


@dataclass(frozen=True)
class People:
    """Who is called what (a name that nobody has is its own), and who may approve; None: whoever it is."""

    called: Mapping[str, str] = field(default_factory=dict)
    may: frozenset[str] | None = None

    def who(self, name: str) -> str:
        """Return who is meant by a name."""
        folded = " ".join(name.split()).lower()
        return self.called.get(name, folded)


@dataclass(frozen=True)
class Ruling:
    """What excuses something: every set of approvals that does, whether before the fact, and until when at most."""

    sets: frozenset[frozenset[str]]
    before: bool
    until: int | None


def ruling(rows: Iterable[Row], people: People, broken: Broken, at: int, known: int) -> Ruling | None:
    """Return what excuses what is broken, asked at a time as known then; None where nothing does."""
    told = [row for row in rows if row.known <= known]
    gone = {row.of for row in told if row.of}
    approvals = [row for row in told if broken.name in row.names and row.id not in gone]
    if people.may is not None:
        approvals = [row for row in approvals if people.who(row.by) in people.may]
    is_over = broken.mended is not None and broken.mended <= at
    instants = {broken.time, (broken.mended or 0) - 1} if is_over else {at}
    running = [row for row in approvals if all(_runs(row, instant) for instant in instants)]
    enough = [
        some for some in combinations(running, broken.needs) if broken.needs == 1 or _are_two(people, *some)
    ]
    before = [
        some for some in enough if all(row.known <= broken.time and _runs(row, broken.time) for row in some)
    ]
    chosen = before or enough
    if not chosen:
        return None
    return Ruling(
        frozenset(frozenset(row.id for row in some) for some in chosen),
        bool(before),
        _last([_first([row.until for row in some]) for some in chosen]),
    )


def is_anew(blows: Iterable[int], given: int, planned: int, blow: int) -> bool:
    """Return whether one of the times at which something was broken is none of those that an approval was given of."""
    later = sorted(time for time in blows if time > given)
    by_then = [time for time in blows if time <= given]
    given_of = [*by_then, *later[: planned or (0 if by_then else 1)]]
    return blow not in given_of


def _runs(row: Row, instant: int) -> bool:
    start = row.happened if row.since is None else row.since
    return start <= instant and (row.until is None or instant < row.until)


def _are_two(people: People, one: Row, other: Row) -> bool:
    hands = [{people.who(name) for name in (row.by, row.recorder) if name} for row in (one, other)]
    return not hands[0] & hands[1]


def _first(ends: list[int | None]) -> int | None:
    told = [end for end in ends if end is not None]
    return min(told) if told else None


def _last(ends: list[int | None]) -> int | None:
    return None if None in ends else max(end for end in ends if end is not None)
