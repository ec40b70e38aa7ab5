"""One table of a rules file that a mode or a condition is read from, checked against a plant where there is one."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from cfgtrack.files.action import actions_of
from cfgtrack.files.selections import Against, check_places, read_fields, read_selection
from cfgtrack.files.table import Table
from cfgtrack.model.action import BOOK_ACTIONS, LIFT, PLACE
from cfgtrack.model.quantity import BadQuantity, Quantity, parse_quantity
from cfgtrack.model.unknown import UNKNOWN, instead
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what import CONDITIONS


class RuleTable:
    """A table, what it is read against, and whether it may speak of `it`: a `Clause` of `rules.condition`."""

    def __init__(self, table: Table, against: Against, *, has_it: bool) -> None:
        self._table = table
        self._against = against
        self._has_it = has_it
        self.text, self.flag, self.count, self.duration = table.text, table.flag, table.count, table.duration
        self.note, self.is_known, self.finish = table.note, table.is_known, table.finish

    def has(self, name: str) -> bool:
        """Return whether there is a field of this name, right or wrong."""
        return name in self._table.values

    def rest(self) -> dict[str, Any]:
        """Return the fields that nobody has asked for, as they stand."""
        return {name: self._table.get(name) for name in self._table.unasked()}

    def one_of(self, name: str, words: Collection[str]) -> str:
        """Return the text of a field if it is one of some words, "" for anything else."""
        value = self._table.get(name)
        return value if isinstance(value, str) and value in words else ""

    def amount(self, name: str, dimension: str | None) -> Quantity | None:
        """Return a number with its unit; None too where there is no `dimension` to read it by."""
        value = self._table.get(name)
        if value is None or dimension is None:
            return None
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            self._table.wrong(name, "a number with its unit", value)
            return None
        try:
            return parse_quantity(value, dimension=dimension)
        except BadQuantity as err:
            self.note(name, "bad-quantity", str(err))
            return None

    # --- what is in the plant ---

    def candidates(self, of: Selection) -> tuple[str, ...] | None:
        """Return what a selection names in the plant whatever is so now; None where no plant is at hand."""
        plant = self._against.plant
        return None if plant is None else of.candidates(plant)

    def selection(self, name: str) -> Selection:
        """Return the selection of a field that must be there."""
        return read_selection(self._table, name, self._against, has_it=self._has_it)

    def medium(self, name: str) -> str:
        """Return the medium of a field that must be there, noting one that the plant doesn't have."""
        medium, plant = self.text(name, required=True), self._against.plant
        if medium and plant is not None:
            self.is_known(name, "medium", medium, plant.media)
        return medium

    def places(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return patterns of places, noting those that no place fits, unless there may be no items."""
        places = self._table.some(name)
        check_places(self._table, name, places, self._against, may_be_none=of.may_be_empty)
        return places

    def statuses(self, name: str, of: Selection) -> tuple[str, ...]:
        """Return statuses, noting those that nothing selected can ever have."""
        among, plant = self._table.some(name), self._against.plant
        if plant is None or not among:
            return among
        if of.of or not (items := of.candidates(plant)):
            kinds = [plant.kinds[one] for one in of.kinds if one in plant.kinds] or [*plant.kinds.values()]
        else:
            found = (plant.port(item) for item in items)
            kinds = list({port[1].id: port[1] for port in found if port is not None}.values())
            if not kinds:
                sentence = f"{items[0]} is no port and has no status: say at, or select its ports"
                self.note(name, UNKNOWN, sentence)
                return among
        ladders = dict.fromkeys(status for kind in kinds for status in kind.statuses)
        for status in among:
            self.is_known(name, "status", status, ladders)
        return among

    def actions(self, name: str, *, required: bool = True) -> tuple[str, ...]:
        """Return actions, noting those that no kind of port knows."""
        actions, plant = self._table.some(name, required=required), self._against.plant
        if plant is not None:
            known = {**actions_of(plant), **dict.fromkeys(BOOK_ACTIONS)}
            for action in actions:
                self.is_known(name, "action", action, known)
        return actions

    # --- tables below, and what a table is as a whole ---

    def below(self, name: str, *, required: bool = False, has_it: bool | None = None) -> RuleTable | None:
        """Return the table in a field. `has_it`: whether it may speak of `it`; None: if this one may."""
        self._table.get(name, required=required)
        table = self._table.table(name)
        may = self._has_it if has_it is None else has_it
        return None if table is None else RuleTable(table, self._against, has_it=may)

    def conditions(self, name: str) -> tuple[Condition, ...] | None:
        """Return the conditions in a field, None after noting that there are none or that some are wrong."""
        tables = list(self._table.tables(name))
        if not tables and self._table.values[name] == []:
            self.note(name, "missing", f"{name} needs at least one condition")
        found = [RuleTable(table, self._against, has_it=self._has_it).condition() for table in tables]
        parts = tuple(part for part in found if part is not None)
        return parts if found and len(parts) == len(found) else None

    def condition(self) -> Condition | None:
        """Return the condition that this table is, by the key in it, None after noting that it is none."""
        values = self._table.values
        named = [key for key in CONDITIONS if key in values]
        borrowed = {key for name in named for key in CONDITIONS[name].borrows}
        named = [key for key in named if key not in borrowed]
        if len(named) != 1:
            near = "" if named else next(filter(None, (instead(key, CONDITIONS) for key in values)), "")
            found = " and ".join(named) or ", ".join(values) or "nothing"
            sentence = f"expected one of {', '.join(CONDITIONS)}; found {found}{near}"
            self.note("", "no-such-condition", sentence)
            return None
        condition = CONDITIONS[named[0]].read(self)
        self.finish()
        return condition

    def match(self) -> ActionMatch:
        """Return the match of actions that this table is: the action, what it is done to, where to."""
        actions, to = self.actions("action"), self._table.some("to")
        of = read_fields(self._table, self._against, has_it=self._has_it)
        if to and not set(actions) <= {PLACE, LIFT}:
            self.note("to", "unexpected", "only place and lift go to a place")
        check_places(self._table, "to", to, self._against, may_be_none=of.may_be_empty)
        self.finish()
        return ActionMatch(actions, of, to)
