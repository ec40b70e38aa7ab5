"""What a condition is: a value that a rule is made of, and the node that judges it over one world.

Each condition is a file of `rules/what/`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePath
from typing import ClassVar, Self

from cfgtrack.network.flow import Link
from cfgtrack.rules.clause import Clause
from cfgtrack.rules.dependence import EVERYTHING, Dependence
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World

Ended = Sequence[tuple[str, Link]]
"""The links that just ended, each with its medium."""


class Condition(ABC):
    """A condition of a rule, frozen. `key` names it in a rules file; `borrows` are fields that are keys of others."""

    __slots__ = ()
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
    def compile(self, world: World) -> Node:
        """Return what judges it over one world."""

    def media(self) -> frozenset[str]:
        """Return the media whose networks it needs."""
        return frozenset()

    def checked(self) -> Iterator[Selection]:
        """Yield the selections of the items that it checks."""
        yield from ()


class Node(ABC):
    """A condition over one world. `depends` says what may change it: everything, unless the condition says less."""

    depends: Dependence = EVERYTHING

    @abstractmethod
    def holds(self, it: str | None) -> bool:
        """Return whether it is true now, for `it`. Raises NoVerdict where that can't be told."""

    @abstractmethod
    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:
        """Return why it is false now, for `it`, and what would cure it. `ended` are the links that just ended."""

    def unsure(self, items: Iterable[str | None]) -> list[str | None]:
        """Return the items for which it is false now, or can't be told."""
        return [it for it in items if not self._is_sure(it)]

    def _is_sure(self, it: str | None) -> bool:
        try:
            return self.holds(it)
        except NoVerdict:
            return False


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
