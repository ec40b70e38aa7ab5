"""What a mode or a condition may ask of the table of a rules file that it is read from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

from cfgtrack.model.quantity import Quantity
from cfgtrack.rules.selection import Selection

if TYPE_CHECKING:
    from cfgtrack.rules.condition import Condition
    from cfgtrack.rules.match import ActionMatch


class Clause(Protocol):
    """One table, read field by field. What is wrong with a field is noted, and it reads as if it were not there.

    A field that nobody asks for is noted too.
    """

    def has(self, name: str) -> bool:
        """Return whether there is a field of this name, right or wrong."""
        ...

    def text(self, name: str, *, required: bool = False) -> str:
        """Return a text, "" when there is none."""
        ...

    def flag(self, name: str) -> bool:
        """Return a yes or no, False when it is not there."""
        ...

    def count(self, name: str, *, at_least: int = 1) -> int | None:
        """Return a whole number."""
        ...

    def duration(self, name: str) -> int | None:
        """Return a duration, in microseconds."""
        ...

    def amount(self, name: str, dimension: str | None) -> Quantity | None:
        """Return a number with its unit; None too where there is no `dimension` to read it by."""
        ...

    def selection(self, name: str) -> Selection:
        """Return the selection of a field that must be there."""
        ...

    def medium(self, name: str) -> str:
        """Return the medium of a field that must be there."""
        ...

    def statuses(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return statuses that items of a selection can have."""
        ...

    def places(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return patterns of places, for the items of a selection."""
        ...

    def actions(self, name: str, *, required: bool = True) -> tuple[str, ...]:
        """Return actions."""
        ...

    def below(self, name: str, *, required: bool = False, has_it: bool | None = None) -> Clause | None:
        """Return the table in a field. `has_it`: whether it may speak of `it`; None: if this one may."""
        ...

    def condition(self) -> Condition | None:
        """Return the condition that this table is."""
        ...

    def conditions(self, name: str) -> tuple[Condition, ...] | None:
        """Return the conditions in a field, None after noting that there are none or that some are wrong."""
        ...

    def match(self) -> ActionMatch:
        """Return the match of actions that this table is."""
        ...

    def rest(self) -> dict[str, Any]:
        """Return the fields that nobody has asked for, as they stand."""
        ...

    def finish(self) -> None:
        """Note every field that nobody has asked for."""
        ...

    def note(self, name: str, code: str, sentence: str) -> None:
        """Note a problem of the field `name`, or with "" of the table."""
        ...

    def candidates(self, of: Selection) -> tuple[str, ...] | None:
        """Return what a selection names in the plant whatever is so now; None where no plant is at hand."""
        ...
