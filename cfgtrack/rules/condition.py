"""What a condition is: a value that a rule is made of, and the judge of it over one world.

Each condition is a file of `rules/what/`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import PurePath
from typing import Any, ClassVar, NamedTuple, Protocol, Self

from cfgtrack.model.plant import owner_of, port_of
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.time import LONGEST
from cfgtrack.network.flow import Link
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.dependence import EVERYTHING, Dependence
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import Stamp, World

Ended = Sequence[tuple[str, Link]]
"""The links that just ended, each with its medium."""

Part = tuple[str, ...]
"""One instance of a condition: an item, a pair of items, or `WHOLE` where it is judged as one.

Under `all` what is judged as one is told apart by its position: ``("#0",)``.
"""

WHOLE: Part = ()


class Asked(NamedTuple):
    """What a condition asks of when things were last done: of these `actions` (see `Done`; None: of all).

    Their order within an item; `inside`, within all that is of one owner. With a `most_age` (microseconds), how long
    ago those of them that are `aged` were as well: what is longer ago is all the same to it.
    """

    actions: frozenset[str] | None = None
    inside: bool = True
    most_age: int | None = LONGEST
    aged: frozenset[str] | None = None

    def groups(self, subject: str, action: str) -> tuple[str, ...]:
        """Return within what the order of an action on a subject is asked: its port, and its owner if `inside`.

        What must have been done to a unit itself isn't done to it at its ports.
        """
        port, owner = port_of(subject), owner_of(subject)
        if not self.inside or port == owner:
            return (port,)
        return (port,) if self.aged is not None and action in self.aged else (port, owner)

    def concerns(self, action: str) -> bool:
        """Return whether it is asked of an action when that was done."""
        return self.actions is None or action in self.actions

    def ranked(self, stamps: Mapping[tuple[str, str], Stamp]) -> frozenset[tuple[tuple[str, str], int]]:
        """Return what was done within a group, each with its rank in time.

        Of that since which something must be done it matters only between what of that it was.
        """
        out, rank, before, last = [], 0, (0, 0), False
        for stamp, key in sorted((stamp, key) for key, stamp in stamps.items()):
            matters = self.aged is None or key[1] in self.aged
            if stamp != before and (matters or last):
                rank += 1
            before, last = stamp, matters or (stamp == before and last)
            out.append((key, rank))
        return frozenset(out)

    def is_aged(self, action: str) -> bool:
        """Return whether it is asked how long ago an action was."""
        return self.most_age is not None and (self.aged is None or action in self.aged)


class Condition(ABC):
    """A condition of a rule, frozen. `key` names it in a rules file; `borrows` are fields that are keys of others."""

    __slots__ = ()
    __match_args__: ClassVar[tuple[str, ...]]
    key: ClassVar[str]
    borrows: ClassVar[tuple[str, ...]] = ()

    @classmethod
    @abstractmethod
    def read(cls, clause: Clause) -> Self | None:
        """Return the condition that a table of a rules file gives, None after noting that it gives none."""

    @abstractmethod
    def words(self) -> str:
        """Return the condition in plain words."""

    @abstractmethod
    def compile(self, world: World) -> Judge:
        """Return what judges it over one world."""

    def media(self) -> frozenset[str]:
        """Return the media whose networks it needs."""
        return frozenset()

    def checked(self) -> Iterator[Selection]:
        """Yield the selections of the items that it checks: unless it says otherwise, the first that it has."""
        values = (getattr(self, name) for name in self.__match_args__)
        yield from islice((one for one in values if isinstance(one, Selection)), 1)

    def watched(self) -> Iterator[Selection]:
        """Yield the selections of whose items it asks something: of fewer of them it asks less. Those that it checks,
        unless it says otherwise.
        """
        return self.checked()

    def each(self) -> Iterator[Selection]:
        """Yield the selections of those items that it looks at each by itself: of a count there are none."""
        return iter(())

    def asked(self) -> Iterator[Asked]:
        """Yield what it asks of when things were last done: everything, unless it says less."""
        yield Asked()

    def as_one(self) -> Iterator[Condition]:
        """Yield the conditions in it that are judged as one though each of their items may matter by itself."""
        return iter(())


class Judge(ABC):
    """A condition over one world. `depends` says what may change it: everything, unless the condition says less.

    `restless`: while it is false any event may change for whom, though not whether, it is false.
    """

    depends: Dependence = EVERYTHING
    restless: bool = False

    @abstractmethod
    def holds(self, it: str | None) -> bool:
        """Return whether it is true now, for `it`. Raises NoVerdict where that can't be told."""

    @abstractmethod
    def reasons(self, it: str | None, ended: Ended, part: Part | None = None) -> tuple[Reason, ...]:
        """Return why it is false now, for `it`. `ended` are the links that just ended.

        With `part`, one of those that are `short`: why that instance is false.
        """

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        """Return the instances that are false now, for `it`, each with the items that fall short in it.

        There are none exactly where it holds. Raises NoVerdict where that can't be told.
        """
        return {} if self.holds(it) else {WHOLE: ()}

    def met(self, it: str | None) -> tuple[str, ...]:  # noqa: ARG002 - who tells nothing of items has none
        """Return, where it holds, the items that make it true."""
        return ()

    def is_still_why(self, reasons: tuple[Reason, ...], part: Part) -> bool:  # noqa: ARG002 - none knows but a path
        """Return whether the reasons of an instance that was false before are those of now, if it is false."""
        return False

    def towards(self, it: str | None, part: Part | None = None, *, true: bool) -> Iterator[Proposal]:  # noqa: ARG002 - who knows of nothing proposes nothing
        """Yield single actions that might make it true, or false: likely ones first, none of them tried.

        With `part`, one of those that are `short`: that might make that instance true.
        """
        yield from ()

    @property
    def version(self) -> int | None:
        """A number that is another whenever `short` may be; None where nobody counts."""
        return None

    def unsure(self, items: Iterable[str | None]) -> list[str | None]:
        """Return the items for which it is false now, or can't be told."""
        return [it for it in items if not self._is_sure(it)]

    def _is_sure(self, it: str | None) -> bool:
        try:
            return self.holds(it)
        except NoVerdict:
            return False


def falling_short(judge: Judge, it: str | None) -> tuple[str, ...]:
    """Return the items that fall short in any instance of a condition that is false."""
    return tuple(dict.fromkeys(item for items in judge.short(it).values() for item in items))


class NoVerdict(Exception):
    """A condition in Python crashed: whether its rule is kept or broken is not known. Chained to the error."""

    def __init__(self, name: str, error: Exception) -> None:
        super().__init__(f"the condition {name} crashed: {type(error).__name__}: {error}{line_of(error)}")

    def reason(self) -> Reason:
        """Return why there is no verdict."""
        return Reason("crashed", str(self))


def line_of(error: Exception) -> str:
    """Return the line that an error was raised at."""
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    return "" if at is None else f" ({PurePath(at.tb_frame.f_code.co_filename).name}:{at.tb_lineno})"


class Clause(Protocol):
    """One table of a rules file, as a mode or a condition reads it, field by field.

    What is wrong with a field is noted, and it reads as if it were not there; so is a field that nobody asks for.
    """

    def has(self, name: str) -> bool:
        """Return whether there is a field of this name, right or wrong."""

    def text(self, name: str, *, required: bool = False) -> str:
        """Return a text, "" when there is none."""

    def flag(self, name: str) -> bool:
        """Return a yes or no, False when it is not there."""

    def count(self, name: str, *, at_least: int = 1) -> int | None:
        """Return a whole number."""

    def duration(self, name: str) -> int | None:
        """Return a duration, in microseconds."""

    def one_of(self, name: str, words: Collection[str]) -> str:
        """Return the text of a field if it is one of some words, "" for anything else."""

    def amount(self, name: str, dimension: str | None) -> Quantity | None:
        """Return a number with its unit; None too where there is no `dimension` to read it by."""

    def selection(self, name: str) -> Selection:
        """Return the selection of a field that must be there."""

    def medium(self, name: str) -> str:
        """Return the medium of a field that must be there."""

    def statuses(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return statuses that items of a selection can have."""

    def places(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return patterns of places, for the items of a selection."""

    def actions(self, name: str, *, required: bool = True) -> tuple[str, ...]:
        """Return actions."""

    def below(self, name: str, *, required: bool = False, has_it: bool | None = None) -> Clause | None:
        """Return the table in a field. `has_it`: whether it may speak of `it`; None: if this one may."""

    def condition(self) -> Condition | None:
        """Return the condition that this table is."""

    def conditions(self, name: str) -> tuple[Condition, ...] | None:
        """Return the conditions in a field, None after noting that there are none or that some are wrong."""

    def match(self) -> ActionMatch:
        """Return the match of actions that this table is."""

    def rest(self) -> dict[str, Any]:
        """Return the fields that nobody has asked for, as they stand."""

    def finish(self) -> None:
        """Note every field that nobody has asked for."""

    def is_known(self, name: str, what: str, value: str, known: Collection[str]) -> bool:
        """Return whether a value of the field `name` is one of those known, after noting that it isn't."""

    def note(self, name: str, code: str, sentence: str) -> None:
        """Note a problem of the field `name`, or with "" of the table."""

    def candidates(self, of: Selection) -> tuple[str, ...] | None:
        """Return what a selection names in the plant whatever is so now; None where no plant is at hand."""
