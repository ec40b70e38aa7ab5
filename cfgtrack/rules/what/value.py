"""`value`: what was measured, counted or passed is in a range."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from math import nan
from typing import ClassVar, Self

from cfgtrack.model.action import BOOK_ACTIONS, GENERAL_ACTIONS, MEASURE, Action
from cfgtrack.model.plant import Plant, port_of
from cfgtrack.model.quantity import DIMENSIONS, QUANTITIES, Quantity, dimension_of, from_si
from cfgtrack.model.time import SECOND, format_duration
from cfgtrack.network.rating import Rated
from cfgtrack.rules.condition import Asked, Clause
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.dependence import Dependence, Timer
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.rating import RATINGS
from cfgtrack.rules.saying import say_either
from cfgtrack.rules.world import Stamp, World

CYCLES, ELAPSED = "cycles", "elapsed"
MASS = "mass"
ANY_QUANTITY = next(iter(QUANTITIES))
"""Stands for whichever is measured."""

_RATED = ("torque", CYCLES)


@dataclass(frozen=True, slots=True)
class Value(OnItems):
    """The last value of `quantity` of every item of `of` is inside [low, high] (SI units; None is open).

    Measured quantities by name; ``cycles`` is mate cycles used; ``elapsed`` is seconds since the last action `since`
    on the item. With `rated` the range is the port's own (its torque range, its rated mate cycles). What was never
    measured is outside, unless `unmeasured` is true. A measured value counts only if it is not older than `max_age`
    (microseconds) and was measured later than the last of `since`, where these are given. `unit` is the one that the
    range was written in. `limit` names the rating that stands for `high` (`rules.rating`): where nothing is rated for
    an item it meets it.
    """

    key: ClassVar[str] = "value"
    quantity: str
    low: float | None = None
    high: float | None = None
    rated: bool = False
    unmeasured: bool = False
    since: tuple[str, ...] = ()
    unit: str = field(default="", compare=False)
    max_age: int | None = None
    limit: str = ""

    @classmethod
    def read(cls, clause: Clause) -> Self:
        of, quantity = clause.selection("value"), clause.text("quantity", required=True)
        rated, unmeasured = clause.flag("rated"), clause.flag("unmeasured")
        since = clause.actions("since", required=quantity == ELAPSED)
        max_age = clause.duration("max_age")
        for name in (
            ("since", "max_age") if quantity == CYCLES else ("max_age",) if quantity == ELAPSED else ()
        ):
            if clause.has(name):
                clause.note(name, "unexpected", f"{name} goes with what is measured, not with {quantity}")
        limit = _limit(clause, quantity)
        least, most = _bound(clause, "min", quantity), None if limit else _bound(clause, "max", quantity)
        low, high = (None if q is None else q.value for q in (least, most))
        unit = next((q.unit for q in (least, most) if q is not None), "")
        given = [name for name in ("min", "max") if clause.has(name)]
        if rated and quantity and quantity not in _RATED:
            named = next((name for name, rating in RATINGS.items() if rating.quantity == quantity), "")
            instead = f'; name the rating: max = "{named}"' if named else ""
            sentence = f"parts are rated for {' and '.join(_RATED)}, not for {quantity}{instead}"
            clause.note("rated", "unexpected", sentence)
        if rated and given:
            clause.note(
                given[0], "contradiction", "rated takes the range from the part: leave out min and max"
            )
        if not rated and not given:
            clause.note("", "missing", "a value condition needs min, max or rated")
        if low is not None and high is not None and low > high:
            clause.note("min", "contradiction", "min is above max: never true")
        return cls(of, quantity, low, high, rated, unmeasured, since, unit, max_age, limit)

    def words(self) -> str:
        span = "in its rated range" if self.rated else self._span_words()
        missing = ", or was never measured" if self.unmeasured else ""
        return f"{self.what()} of {self.of.words()} is {span}{missing}{self.age_words()}"

    def _span_words(self) -> str:
        if not self.limit:
            return self.span(self.low, self.high)
        least = "" if self.low is None else f"at least {self.number(self.low)} and "
        return f"{least}at most {RATINGS[self.limit].noun.removeprefix('the ').removesuffix(' of')} allows"

    def age_words(self) -> str:
        """Return how old the measurement may be; "" where nothing is asked of that."""
        if self.quantity == ELAPSED or not self._asks_age:
            return ""
        asked = [] if self.max_age is None else [f"at most {format_duration(self.max_age)} ago"]
        asked += [f"since the last {say_either(self.since)}"] if self.since else []
        return f", measured {' and '.join(asked)}"

    @property
    def _asks_age(self) -> bool:
        return self.max_age is not None or bool(self.since)

    def what(self) -> str:
        """Return what it looks at."""
        if self.quantity == ELAPSED:
            return f"time since the last {say_either(self.since)}"
        return "mate cycles" if self.quantity == CYCLES else self.quantity

    def number(self, value: float, unit: str = "") -> str:
        """Return a value in SI units (of elapsed: seconds) in the unit that the range was written in, else `unit`."""
        if self.quantity == ELAPSED:
            return format_duration(round(value * SECOND))
        dimension = QUANTITIES.get(self.quantity)
        if dimension is None:
            return f"{value:.10g}"
        if unit := self.unit or unit:
            return f"{from_si(value, unit=unit, dimension=dimension).shown:.10g} {unit}"
        return f"{value:.10g} {DIMENSIONS[dimension][0]}".rstrip()

    def span(self, low: float | None, high: float | None, unit: str = "") -> str:
        """Return the range that a value must be in."""
        parts = [] if low is None else [f"at least {self.number(low, unit)}"]
        parts += [] if high is None else [f"at most {self.number(high, unit)}"]
        return " and ".join(parts) or "measured"

    # --- judging ---

    def timers(self, plant: Plant) -> tuple[Timer, ...]:
        """Return when the time that has passed comes into the range and leaves it, or a measurement gets too old."""
        if self.quantity != ELAPSED:
            if self.max_age is None:
                return ()
            return (Timer(_any_action(plant), (self.max_age + 1,), self.quantity),)
        after = [] if self.low is None else [round(self.low * SECOND)]
        after += [] if self.high is None else [round(self.high * SECOND) + 1]
        return (Timer(self.since, tuple(after)),)

    def asked(self) -> Iterator[Asked]:
        if self.quantity == CYCLES:
            return
        if self.quantity == ELAPSED:
            ends = [round(end * SECOND) + 1 for end in (self.low, self.high) if end is not None]
            yield Asked(frozenset(self.since), self.looks_inside(), max(ends, default=0))
            return
        most_age = None if self.max_age is None else self.max_age + 1
        measured = frozenset((f" {self.quantity}",))
        yield Asked(measured.union(self.since), self.looks_inside(), most_age, measured)

    def looks_inside(self) -> bool:
        return bool(self.since)

    def beside(self, world: World) -> Dependence | None:
        return RATINGS[self.limit].depends(world) if self.limit else None

    def alone_may_fall_short(self, world: World) -> Iterable[str] | None:
        if not self.limit or not self.unmeasured or RATINGS[self.limit].value is not None:
            return None
        return [subject for subject, quantity in world.configuration.values if quantity == self.quantity]

    def rated_of(self, world: World, item: str) -> Rated | None:
        """Return the rating that limits an item now, None where there is none."""
        return RATINGS[self.limit].of(world, item) if self.limit else None

    def is_met(self, world: World, item: str) -> bool:
        return all(self._meets(world, item, where) for where in self._readings(world, item))

    def _readings(self, world: World, item: str) -> Iterable[str]:
        """Return where what counts for an item was told: of itself; of a contact or of its shell, whichever was later.

        A shell stands for all of its contacts: what was told of one later than of the shell counts for that one. None
        of either: it is the item that was never measured. With a rating as the limit each has its own alone: the
        current of a shell is no contact's.
        """
        if self.quantity in (CYCLES, ELAPSED) or self.limit:
            return (item,)
        if world.plant.contact(item) is not None:
            return (self._later(world, item, port_of(item)) or item,)
        if world.plant.port(item) is None:
            return (item,)
        contacts = world.plant.contacts_of(item)
        return dict.fromkeys(self._later(world, one, item) or item for one in contacts) or (item,)

    def _later(self, world: World, contact: str, shell: str) -> str | None:
        """Return of which of two a value was told last; None where of neither."""
        told = [
            (taken is not None, taken or (0, 0), one)
            for one in (shell, contact)
            if (one, self.quantity) in world.configuration.values
            for taken in (world.last_done(one, "", self.quantity),)
        ]
        return max(told, key=lambda each: each[:2])[2] if told else None

    def _meets(self, world: World, item: str, where: str) -> bool:
        """Return whether an item meets it by what was told of it, or for it."""
        value = self._value(world, where)
        if value is None and self.unmeasured:
            return True
        low, high = self._range(world, item)
        if self.limit and high is None and low is None:
            return True
        if value is None:
            return False
        is_inside = (low is None or value >= low) and (high is None or value <= high)
        return is_inside and not self._fault_of_age(world, item, where)

    def _fault_of_age(self, world: World, item: str, where: str) -> str:
        """Return why the measured value doesn't count though it is there, "" where it does."""
        if self.quantity == ELAPSED or not self._asks_age:
            return ""
        taken = world.last_done(where, "", self.quantity)
        if taken is None:
            return "at a time that isn't known"
        if self.max_age is not None and world.age(taken) > self.max_age:
            return f"{format_duration(world.age(taken))} ago"
        before = last_since(world, item, self.since)
        return "" if before is None or taken > before else f"before the last {say_either(self.since)}"

    def _range(self, world: World, item: str) -> tuple[float | None, float | None]:
        """Return the range that applies to an item, SI units."""
        if self.limit:
            rated = self.rated_of(world, item)
            return self.low, None if rated is None else rated.value
        if not self.rated:
            return self.low, self.high
        found = world.plant.port(port_of(item))
        if found is None:
            return None, None
        port = found[0]
        if self.quantity == CYCLES:
            return None, None if port.cycles is None else float(port.cycles)
        return port.torque if port.torque is not None else (None, None)

    def _value(self, world: World, item: str) -> float | None:
        """Return the last value of an item, SI units, or None where there is none."""
        if self.quantity == CYCLES:
            return float(world.configuration.cycles.get(port_of(item), 0))
        if self.quantity == ELAPSED:
            stamps = [s for a in self.since if (s := last_done_to(world, item, a)) is not None]
            return world.age(max(stamps)) / SECOND if stamps else None
        if self.limit and (work_out := RATINGS[self.limit].value) is not None:
            return work_out(world, item)
        effect = world.configuration.values.get((item, self.quantity))
        return None if effect is None else float(effect.value)

    def reason(self, world: World, item: str) -> Reason:
        told = self._readings(world, item)
        where = next((one for one in told if not self._meets(world, item, one)), item)
        value = self._value(world, where)
        if value is None and self.quantity == ELAPSED:
            form = f"{say_either(self.since)} of {{}} was never done"
            return Reason.of_each("value", (item,), form, (item,))
        unit = self._unit_of(world, item)
        missing = "isn't known" if self.quantity == MASS and self.limit else "was never measured"
        got = missing if value is None else f"is {self.number(value, unit)}"
        if value is not None and (fault := self._fault_of_age(world, item, where)):
            got = f"was {self.number(value, unit)} when it was measured {fault}"
        low, high = self._range(world, item)
        form = "{}; must be " + self.span(low, high, unit) + self._whose(world, item) + self.age_words()
        return Reason.of_each("value", (f"{self.what()} of {where} {got}",), form, (item,))

    def _whose(self, world: World, item: str) -> str:
        """Return whose rating limits an item, to be told after the number."""
        rated = self.rated_of(world, item)
        return "" if rated is None else f", {RATINGS[self.limit].noun} {rated.of}"

    def _unit_of(self, world: World, item: str) -> str:
        """Return the unit in which an item's value was told last, where the rule itself names none."""
        effect = world.configuration.values.get((item, self.quantity)) if self.limit else None
        return (effect.other or "") if effect is not None else ""

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:
        """Yield the action that gives an item a new value: the one of that name, if its kind has one, or measuring."""
        if self.quantity == ELAPSED:
            for action in self.since:
                yield Proposal(Action("", action, (item,), world.now))
        elif self.quantity != CYCLES and not (self.limit and RATINGS[self.limit].value):
            found = world.plant.port(item)
            by_name = found is not None and self.quantity in found[1].moves
            low, high = self._range(world, item)
            span = self.span(low, high, self._unit_of(world, item))
            action = self.quantity if by_name else MEASURE
            if true:
                ends = [v for v in (high, low) if v is not None] or [nan]
                yield measuring(world, action, item, self.quantity, *ends, span=span if ends != [nan] else "")
            else:
                yield measuring(world, action, item, self.quantity, nan, span=f"not {span}")


def measuring(world: World, action: str, item: str, quantity: str, *values: float, span: str) -> Proposal:
    """Return the proposal that an action gives an item a value in a range: it must do with each of some `values`."""
    measured = (Quantity(value, "", value, dimension_of(quantity)) for value in values)
    first, *others = (Action("", action, (item,), world.now, values={quantity: value}) for value in measured)
    said = f"{action} {item} {quantity}" + (f", {span}" if span else "")
    return Proposal(first, said, tuple(others))


def last_done_to(world: World, item: str, action: str, quantity: str = "") -> Stamp | None:
    """Return when an action was last done to an item, or None: what is done to a shell is done to its contacts."""
    stamps = [
        stamp
        for one in dict.fromkeys((item, port_of(item)))
        if (stamp := world.last_done(one, action, quantity)) is not None
    ]
    return max(stamps, default=None)


def last_since(world: World, item: str, actions: Iterable[str]) -> Stamp | None:
    """Return when the last of these actions was done to an item, or None.

    A unit or place is engaged, mated or opened at its ports: what is done along a ladder to one of them is done to it.
    """
    stamps = [
        stamp
        for action in actions
        for subject in _where_done(world.plant, item, action)
        if (stamp := last_done_to(world, subject, action)) is not None
    ]
    return max(stamps, default=None)


def _where_done(plant: Plant, item: str, action: str) -> tuple[str, ...]:
    if ":" in item or action in GENERAL_ACTIONS or action in BOOK_ACTIONS:
        return (item,)
    return (item, *plant.ports_of(item))


def _any_action(plant: Plant) -> tuple[str, ...]:
    """Return all that may be done to hardware: whatever it is, what was measured can be told with it."""
    moves = {action: None for kind in plant.kinds.values() for action in kind.moves}
    return (*moves, *sorted(GENERAL_ACTIONS))


def is_quantity(clause: Clause, quantity: str) -> bool:
    """Return whether a rules file may ask for a quantity, after noting that it may not."""
    known = (*QUANTITIES, CYCLES, ELAPSED)
    return bool(quantity) and clause.is_known("quantity", "quantity", quantity, known)


def _limit(clause: Clause, quantity: str) -> str:
    """Return the rating that is named as the most, "" where none is. Of another quantity it is noted."""
    limit = clause.one_of("max", RATINGS)
    if not limit:
        return ""
    rating = RATINGS[limit]
    if quantity and quantity != rating.quantity:
        clause.note("max", "contradiction", f"{limit} limits {rating.quantity}, not {quantity}")
    for name in ("since", "max_age") if rating.value is not None else ():
        if clause.has(name):
            clause.note(name, "unexpected", f"{name} goes with what is measured: this is worked out")
    return limit


def _bound(clause: Clause, name: str, quantity: str) -> Quantity | None:
    """Return min or max by the dimension of the quantity."""
    if quantity == ELAPSED:
        duration = clause.duration(name)
        return None if duration is None else Quantity(duration / SECOND, "", duration / SECOND, "time")
    known = clause.has(name) and is_quantity(clause, quantity)
    return clause.amount(name, dimension_of(quantity) if known else None)
