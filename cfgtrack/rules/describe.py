"""Conditions and what they look at, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from cfgtrack.model.quantity import DIMENSIONS, QUANTITIES, from_si
from cfgtrack.model.time import format_duration
from cfgtrack.rules.judge import MICRO
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

MOST_NAMES = 6


def say_list(names: Sequence[str]) -> str:
    """Return names as a list in words, cut where it gets long."""
    if len(names) > MOST_NAMES:
        return ", ".join(names[:MOST_NAMES]) + f" and {len(names) - MOST_NAMES} more"
    return " and ".join(", ".join(names).rsplit(", ", 1)) if names else "nothing"


def say_either(names: Sequence[str]) -> str:
    """Return names of which any will do."""
    return " or ".join(names)


def describe_selection(selection: Selection) -> str:
    """Return a selection in words.

    >>> describe_selection(Selection(source=True))
    'any source'
    """
    if selection == Selection(of=selection.of):
        return selection.of or "anything"
    if selection == Selection(ids=selection.ids, may_be_empty=selection.may_be_empty):
        return " or ".join(selection.ids)
    said = [_noun(selection)]
    for label, values in (
        ("named", selection.ids),
        ("of part", selection.parts),
        ("of medium", selection.media),
        ("in loop", selection.loops),
        ("tagged", selection.tags),
        ("of place", selection.places),
        ("standing at", _places(selection.at)),
    ):
        if values:
            said.append(f"{label} {say_either(values)}")
    if selection.of:
        said.append(f"among {selection.of}")
    return "any " + " ".join(said)


def _noun(selection: Selection) -> str:
    """Return what sort of item a selection names: `not` before what it must not be."""
    flags = (
        (selection.source, "source"),
        (selection.expansion, "expansion volume"),
        (selection.load, "load"),
        (selection.liquid, "liquid-full volume"),
        (selection.mobile, "place that moves"),
    )
    words_for = [name if flag else f"item that is no {name}" for flag, name in flags if flag is not None]
    return " and ".join(words_for) or say_either((*selection.kinds, *selection.what)) or "item"


def describe(condition: Condition) -> str:
    """Return a condition in plain words."""
    s = describe_selection
    match condition:
        case All(parts):
            said = (f"({describe(p)})" if isinstance(p, AnyOf) else describe(p) for p in parts)
            return " and ".join(said) or "always"
        case AnyOf(parts):
            said = (f"({describe(p)})" if isinstance(p, All) else describe(p) for p in parts)
            return " or ".join(said) or "never"
        case Not(part):
            return f"not ({describe(part)})"
        case Path(medium, start, end):
            return f"{s(start)} has a {medium} path to {s(end)}"
        case NoPath(medium, start, end):
            return f"{s(start)} has no {medium} path to {s(end)}"
        case Status(of, among, at):
            return f"{s(of)} is {say_wanted(among, at)}"
        case Count():
            return _describe_count(condition)
        case Value(of, quantity, low, high):
            span = "in its rated range" if condition.rated else say_range(quantity, low, high, condition.unit)
            missing = ", or was never measured" if condition.unmeasured else ""
            return f"{say_quantity(condition)} of {s(of)} is {span}{missing}"
        case Done(of):
            return f"{say_deed(condition)} of {s(of)} has been done{say_since(condition)}"
        case Custom(name, of):
            return f"{name} holds for {s(of)}"


def _describe_count(condition: Count) -> str:
    bounds = [f"at least {condition.least}"] if condition.least is not None else []
    bounds += [f"at most {condition.most}"] if condition.most is not None else []
    how_many = "none" if condition.most == 0 else " and ".join(bounds) or "any number"
    of, counted = describe_selection(condition.of), say_counted(condition)
    if counted:
        return f"{how_many} of {of} {counted}"
    return f"there is {'no' if condition.most == 0 else how_many} {of.removeprefix('any ')}"


def say_wanted(among: tuple[str, ...], at: tuple[str, ...]) -> str:
    """Return which statuses and places are asked for."""
    said = []
    if among:
        said.append(" or ".join(among))
    if at:
        said.append(f"at {say_either(_places(at))}")
    return " ".join(said)


def _places(at: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"a {a[1:]} place" if a.startswith("#") else a for a in at)


def say_counted(condition: Count) -> str:
    """Return what the items of a count do that count; "" where it is enough that they are there."""
    wanted = say_wanted(condition.among, condition.at)
    if wanted:
        return f"are {wanted}"
    return f"have a {condition.medium} path to {describe_selection(condition.end)}" if condition.end else ""


def say_there(selection: Selection, items: Sequence[str]) -> str:
    """Return what is there of a selection, in words."""
    what = describe_selection(selection).removeprefix("any ")
    return f"{what}: {len(items)}" + (f" ({say_list(items)})" if items else "")


def say_quantity(condition: Value) -> str:
    """Return what a value condition looks at."""
    if condition.quantity == "cycles":
        return "mate cycles"
    return (
        f"time since the last {say_either(condition.since)}"
        if condition.quantity == "elapsed"
        else condition.quantity
    )


def say_number(quantity: str, value: float, unit: str = "") -> str:
    """Return a value of a quantity, given in SI units (of elapsed: seconds), in `unit` where one is given."""
    if quantity == "elapsed":
        return format_duration(round(value * MICRO))
    dimension = QUANTITIES.get(quantity)
    if dimension is None:
        return f"{value:.10g}"
    if unit:
        return f"{from_si(value, unit=unit, dimension=dimension).shown:.10g} {unit}"
    return f"{value:.10g} {DIMENSIONS[dimension][0]}".rstrip()


def say_range(quantity: str, low: float | None, high: float | None, unit: str = "") -> str:
    """Return the range that a value must be in."""
    parts = []
    if low is not None:
        parts.append(f"at least {say_number(quantity, low, unit)}")
    if high is not None:
        parts.append(f"at most {say_number(quantity, high, unit)}")
    return " and ".join(parts) or "measured"


def say_deed(condition: Done) -> str:
    """Return what must have been done."""
    return say_either(condition.actions) + (f" ({condition.quantity})" if condition.quantity else "")


def say_since(condition: Done) -> str:
    """Return since what it must have been done; "" for ever."""
    return f" since the last {say_either(condition.since)}" if condition.since else ""
