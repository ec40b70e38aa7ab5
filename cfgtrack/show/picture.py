"""What a picture shows, before it becomes DOT: boxes with rows, lines between them, clusters around them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Look(Enum):
    """How a line or row is drawn. The value is the word that stands beside it in the legend."""

    MADE = "made"
    APART = "mated, but not carrying"
    CUT_OFF = "cut off: no path to any expansion"
    DEAD = "made, but not fed by any source"
    GIVES = "gives: a tether, a grip"
    INSIDE = "is inside"


class Sort(Enum):
    """What a row of a box is."""

    MEDIUM = "medium"
    NODE = "node"
    PORT = "port"
    OPEN_GATE = "open gate"
    SHUT_GATE = "shut gate"
    ALARM = "alarm"
    QUIET = "quiet"


@dataclass(frozen=True, slots=True)
class BoxRow:
    """One row of a box. Lines end at the row whose `key` they name. `flags` are numbers of findings."""

    text: str
    sort: Sort
    key: str = ""
    flags: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Box:
    """A unit, a place, or a list of what stands somewhere. `name`, where given, is shown in place of the id.

    `groups`: rows that are joined inside, group by group. `moves`: a person, an arm, a bag.
    """

    id: str
    name: str = ""
    title: str = ""
    note: str = ""
    groups: tuple[tuple[BoxRow, ...], ...] = ()
    flags: tuple[int, ...] = ()
    is_place: bool = False
    moves: bool = False
    is_list: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A line between two boxes, from `a`'s row to `b`'s ("" for the box itself). `a` is drawn to the left of `b`."""

    a: str
    a_row: str
    b: str
    b_row: str
    look: Look
    medium: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Cluster:
    """Boxes that stand together. No cluster stands inside another."""

    id: str
    title: str
    boxes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything that is drawn. `outside`: boxes in no cluster. `notes` stand under the title, one a line."""

    boxes: tuple[Box, ...]
    lines: tuple[Line, ...]
    clusters: tuple[Cluster, ...] = ()
    notes: tuple[str, ...] = ()
    title: str = ""
    moment: str = ""
    media: tuple[str, ...] = ()
