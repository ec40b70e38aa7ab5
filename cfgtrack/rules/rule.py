"""Rules as values: WHEN x WHAT. A mode says when it must hold, a condition says what must hold.

A rule with a `scope` holds once for every item of the scope; the item is `it` in the rule's selections. A rule
that is tied to an action needs no scope: `it` is each subject of the action that matches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

REFERENCES = ("it", "peer of it", "unit of it", "ports of it", "nodes of it", "place of it")
"""What a selection may start from inside a rule: the item the rule is about, or what belongs to it.

``unit of it`` is the unit or place that a port or node belongs to; ``ports of it`` and ``nodes of it`` are those of
the owner; ``place of it`` is where the owner stands now.
"""

WHATS = ("port", "node", "unit", "place")


@dataclass(frozen=True, slots=True)
class Selection:
    """Names items. Every field that is given must match; a field with several values matches any of them.

    `ids`, `parts`, `places` are shell patterns. `places` selects what the definition puts there (a place, the places
    inside it, and their fittings); `at` selects what stands there at the time (a unit, its ports and nodes).
    `of` starts from one of `REFERENCES` instead of from the whole plant. Empty selections are errors unless
    `may_be_empty`.
    """

    of: str = ""
    ids: tuple[str, ...] = ()
    what: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    loops: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    source: bool | None = None
    expansion: bool | None = None
    load: bool | None = None
    liquid: bool | None = None
    mobile: bool | None = None
    may_be_empty: bool = False


# --- conditions: what ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Path:
    """Every item of `start` reaches some item of `end` over made links of `medium`."""

    medium: str
    start: Selection
    end: Selection


@dataclass(frozen=True, slots=True)
class NoPath:
    """No item of `start` reaches any item of `end` over made links of `medium`."""

    medium: str
    start: Selection
    end: Selection


@dataclass(frozen=True, slots=True)
class Status:
    """Every item of `of` has one of the statuses `among`, or (units, mobile places) is at one of the places `at`.

    `at` holds shell patterns of place ids; being inside such a place counts. A leading ``#`` names a tag of places,
    ``home`` the unit's own home.
    """

    of: Selection
    among: tuple[str, ...] = ()
    at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Count:
    """At least `least` and at most `most` items of `of` have a status of `among`, or are at `at`.

    With `path` (a medium and an end), those count that have such a path: k of n strings powered.
    """

    of: Selection
    among: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    least: int | None = None
    most: int | None = None
    medium: str = ""
    end: Selection | None = None


@dataclass(frozen=True, slots=True)
class Value:
    """The last value of `quantity` of every item of `of` is inside [low, high] (SI units; None is open).

    Measured quantities by name; ``cycles`` is mate cycles used; ``elapsed`` is seconds since the last action `since`
    on the item. With `rated` the range is the port's own (its torque range, its rated mate cycles). What was never
    measured is outside, unless `unmeasured` is true. `unit` is the one that the range was written in.
    """

    of: Selection
    quantity: str
    low: float | None = None
    high: float | None = None
    rated: bool = False
    unmeasured: bool = False
    since: tuple[str, ...] = ()
    unit: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Done:
    """On every item of `of`, the last of `actions` is later than the last of `since`.

    False where none of `actions` was ever done. With `since` empty it is enough that one was done at all. With
    `quantity`, only those actions count that measured it.
    """

    of: Selection
    actions: tuple[str, ...]
    since: tuple[str, ...] = ()
    quantity: str = ""


@dataclass(frozen=True, slots=True)
class All:
    """Every part is true. True when there are none."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """At least one part is true."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """The part is false."""

    part: Condition


@dataclass(frozen=True, slots=True)
class Custom:
    """A condition written in Python, found by `name` (see `cfgtrack.rules.custom`)."""

    name: str
    of: Selection
    settings: Mapping[str, Any] = field(default_factory=dict)


Condition = Path | NoPath | Status | Count | Value | Done | All | AnyOf | Not | Custom


# --- modes: when --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ActionMatch:
    """Matches an event by its action, by what it is done to (`of`), and for place and lift by where to (`to`).

    `to` holds shell patterns of place ids, ``#tag`` for tagged places, like `Status.at`.
    """

    actions: tuple[str, ...]
    of: Selection = field(default_factory=Selection)
    to: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Always:
    """Broken when the condition is false, continuously, for longer than `tolerance` microseconds."""

    tolerance: int = 0


@dataclass(frozen=True, slots=True)
class At:
    """Broken when the condition is false just before (with `after`, just after) an action that matches."""

    action: ActionMatch
    after: bool = False


@dataclass(frozen=True, slots=True)
class Within:
    """Broken when a trigger is not followed by the condition being true at some instant of [t, t + limit].

    `trigger` is an action or a condition turning true. `limit` is microseconds, or the name of a physical limit
    (`thermal`, `trapped`). With `stays` the condition must then stay true until the trigger is undone: a condition
    turning false again, or one of the actions `until` on the same item.
    """

    limit: int | str
    trigger: ActionMatch | Condition
    stays: bool = False
    until: ActionMatch | None = None


@dataclass(frozen=True, slots=True)
class By:
    """Broken when the condition is false at the end of an `outing`, of the `sequence`, or at every `stop` point."""

    end: str


ENDS = ("outing", "sequence", "stop")
LIMITS = ("thermal", "trapped")

Mode = Always | At | Within | By


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `severity` is the MIL-STD-882E category, 1 (catastrophic) to 4 (negligible).

    `hazard` says in words what can hurt; `source` names document and paragraph, or "common practice". `where` is
    the file and line it was written at.
    """

    id: str
    title: str
    hazard: str
    severity: int
    source: str
    mode: Mode
    condition: Condition
    scope: Selection | None = None
    where: str = ""


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules in the order in which they were written; ids are unique."""

    rules: tuple[Rule, ...] = ()
    title: str = ""
    where: str = ""
