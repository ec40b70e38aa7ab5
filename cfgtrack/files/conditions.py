"""Conditions of a rules file: one key of a table names the condition, the others are its fields."""

from __future__ import annotations

from collections.abc import Callable

from cfgtrack.files.fields import hint, shown
from cfgtrack.files.selections import Against, check_places, read_actions, read_selection
from cfgtrack.files.table import Table
from cfgtrack.model.quantity import QUANTITIES, BadQuantity, Quantity, dimension_of, parse_quantity
from cfgtrack.model.time import SECOND
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.custom import find_custom
from cfgtrack.rules.rule import (
    All,
    AnyOf,
    Condition,
    Count,
    Custom,
    Done,
    NoPath,
    Not,
    Path,
    Selection,
    Status,
    Value,
)

CYCLES, ELAPSED = "cycles", "elapsed"
_RATED = ("torque", CYCLES)


def read_condition(table: Table, against: Against, *, has_it: bool) -> Condition | None:
    """Return the condition of a table, None after noting that it is none."""
    named = [name for name in _READERS if name in table.values]
    if "count" in named and "path" in named:
        named.remove("path")
    if len(named) != 1:
        expected = ", ".join(_READERS)
        near = next((tail for key in table.values if (tail := hint(key, _READERS))), "") if not named else ""
        found = " and ".join(named) or ", ".join(table.values) or "nothing"
        table.note("", "no-such-condition", f"expected one of {expected}; found {found}{near}")
        return None
    condition = _READERS[named[0]](_Reader(table, against, has_it))
    if named[0] != "custom":
        table.finish()
    return condition


class _Reader:
    """Reads one condition of a table."""

    def __init__(self, table: Table, against: Against, has_it: bool) -> None:  # noqa: FBT001 - passed on, never written out
        self.table = table
        self.against = against
        self.has_it = has_it

    def selection(self, name: str) -> Selection:
        return read_selection(self.table, name, self.against, has_it=self.has_it)

    def medium(self, name: str) -> str:
        medium = self.table.text(name, required=True)
        plant = self.against.plant
        if medium and plant is not None and medium not in plant.media:
            tail = hint(medium, plant.media) or f"; known are {', '.join(plant.media)}"
            self.table.note(name, "no-such-medium", f"there is no medium {medium}{tail}")
        return medium

    def path(self) -> Condition:
        return Path(self.medium("path"), self.selection("from"), self.selection("to"))

    def no_path(self) -> Condition:
        return NoPath(self.medium("no_path"), self.selection("from"), self.selection("to"))

    def status(self) -> Condition:
        of = self.selection("status")
        among, at = self._among(of), self._at(of)
        if not among and not at:
            self.table.note("", "missing", "a status condition needs is (a status) or at (a place)")
        return Status(of, among, at)

    def count(self) -> Condition | None:
        table = self.table
        of = self.selection("count")
        among, at = self._among(of), self._at(of)
        least, most = table.count("at_least", at_least=0), table.count("at_most", at_least=0)
        medium = self.medium("path") if "path" in table.values else ""
        end = self.selection("to") if medium or "to" in table.values else None
        if end is not None and not medium:
            table.note("to", "missing", "a count of those that reach something needs path, a medium")
        if medium and (among or at):
            table.note(
                "path", "unexpected", "count those of a status, or those that have a path: not both at once"
            )
        if "at_least" not in table.values and "at_most" not in table.values:
            table.note("", "missing", "a count needs at_least or at_most")
        if least is not None and most is not None and least > most:
            table.note("at_least", "contradiction", f"at least {least} and at most {most} is never true")
        self._check_reachable(of, least)
        return Count(of, among, at, least, most, medium, end)

    def _check_reachable(self, of: Selection, least: int | None) -> None:
        selector = self.against.selector
        if selector is None or least is None or of.of or of.may_be_empty:
            return
        there = len(selector.candidates(of))
        if 0 < there < least:
            self.table.note("at_least", "contradiction", f"at least {least} is never true: there are {there}")

    def value(self) -> Condition | None:
        table = self.table
        of, quantity = self.selection("value"), table.text("quantity", required=True)
        rated, unmeasured = table.flag("rated"), table.flag("unmeasured")
        since = read_actions(table, "since", self.against, required=quantity == ELAPSED)
        if since and quantity != ELAPSED:
            table.note("since", "unexpected", f"since goes with the quantity {ELAPSED}, not {quantity}")
        least, most = self._bound("min", quantity), self._bound("max", quantity)
        low, high = (None if q is None else q.value for q in (least, most))
        unit = next((q.unit for q in (least, most) if q is not None), "")
        given = [name for name in ("min", "max") if name in table.values]
        if rated and quantity and quantity not in _RATED:
            table.note(
                "rated", "unexpected", f"parts are rated for {' and '.join(_RATED)}, not for {quantity}"
            )
        if rated and given:
            table.note(
                given[0], "contradiction", "rated takes the range from the part: leave out min and max"
            )
        if not rated and not given:
            table.note("", "missing", "a value condition needs min, max or rated")
        if low is not None and high is not None and low > high:
            table.note("min", "contradiction", "min is above max: never true")
        return Value(of, quantity, low, high, rated, unmeasured, since, unit)

    def _bound(self, name: str, quantity: str) -> Quantity | None:
        """Return min or max by the dimension of the quantity."""
        table = self.table
        if quantity == ELAPSED:
            duration = table.duration(name)
            return None if duration is None else Quantity(duration / SECOND, "", duration / SECOND, "time")
        value = table.get(name)
        if value is None or not self._is_quantity(quantity):
            return None
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            table.wrong(name, "a number with its unit", value)
            return None
        try:
            return parse_quantity(value, dimension=dimension_of(quantity))
        except BadQuantity as err:
            table.note(name, "bad-quantity", str(err))
            return None

    def _is_quantity(self, quantity: str) -> bool:
        known = (*QUANTITIES, CYCLES, ELAPSED)
        if quantity and quantity not in known:
            sentence = f"no quantity is named {quantity}{hint(quantity, known)}"
            self.table.note("quantity", "no-such-quantity", sentence)
        return quantity in known

    def done(self) -> Condition:
        actions = read_actions(self.table, "done", self.against)
        since = read_actions(self.table, "since", self.against, required=False)
        quantity = self.table.text("quantity")
        self._is_quantity(quantity)
        return Done(self.selection("of"), actions, since, quantity)

    def all(self) -> Condition | None:
        parts = self._parts("all")
        return None if parts is None else All(parts)

    def any(self) -> Condition | None:
        parts = self._parts("any")
        return None if parts is None else AnyOf(parts)

    def _parts(self, name: str) -> tuple[Condition, ...] | None:
        tables = list(self.table.tables(name))
        if not tables and self.table.values[name] == []:
            self.table.note(name, "missing", f"{name} needs at least one condition")
        parts = [read_condition(one, self.against, has_it=self.has_it) for one in tables]
        return None if not all(parts) or not parts else tuple(part for part in parts if part is not None)

    def negated(self) -> Condition | None:
        below = self.table.table("not")
        part = None if below is None else read_condition(below, self.against, has_it=self.has_it)
        return None if part is None else Not(part)

    def custom(self) -> Condition | None:
        name, of = self.table.text("custom", required=True), self.selection("of")
        try:
            find_custom(name)
        except KeyError:
            sentence = (
                f"no condition in Python is named {name}: it is neither built in nor in an installed package"
            )
            self.table.note("custom", "no-such-condition", sentence)
            return None
        except BadInput as err:
            for problem in err.problems:
                self.table.note("custom", problem.code, problem.sentence)
            return None
        settings = {key: value for key, value in self.table.values.items() if key not in ("custom", "of")}
        return Custom(name, of, settings)

    def _at(self, of: Selection) -> tuple[str, ...]:
        at = self.table.some("at")
        if not of.may_be_empty:
            check_places(self.table, "at", at, self.against)
        return at

    def _among(self, of: Selection) -> tuple[str, ...]:
        """Return the statuses of `is`, noting those that nothing selected can ever have."""
        among = self.table.some("is")
        plant, selector = self.against.plant, self.against.selector
        if plant is None or selector is None or not among:
            return among
        if of.of or not (items := selector.candidates(of)):
            kinds = [plant.kinds[name] for name in of.kinds if name in plant.kinds] or [*plant.kinds.values()]
        else:
            found = (plant.port(item) for item in items)
            kinds = list({port[1].id: port[1] for port in found if port is not None}.values())
            if not kinds:
                sentence = f"{items[0]} is no port and has no status: say at, or select its ports"
                self.table.note("is", "no-such-status", sentence)
                return among
        ladders = dict.fromkeys(status for kind in kinds for status in kind.statuses)
        for status in among:
            if status not in ladders:
                tail = hint(status, ladders) or f"; it can be {', '.join(ladders)}"
                self.table.note("is", "no-such-status", f"nothing selected is ever {shown(status)}{tail}")
        return among


_READERS: dict[str, Callable[[_Reader], Condition | None]] = {
    "path": _Reader.path,
    "no_path": _Reader.no_path,
    "status": _Reader.status,
    "count": _Reader.count,
    "value": _Reader.value,
    "done": _Reader.done,
    "all": _Reader.all,
    "any": _Reader.any,
    "not": _Reader.negated,
    "custom": _Reader.custom,
}
