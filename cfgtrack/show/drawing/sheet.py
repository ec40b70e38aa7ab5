"""What a picture shows, before anything has a position: boxes with rows and an inside, lines between rows.

A box is a unit or place. Each of its ports is one row, where at most one line ends. Inside it, what is always joined
is one *bar* (a volume, a manifold, a bus bar); a valve, switch or check valve is a *gate* on the way from a row to a
bar, or from bar to bar. A hose or cable is a box of the form INLINE: drawn on the line, joined or not.

Nothing here says where things go, and nothing that changes from one moment to the next (a status, a mark) may change
where they go: `shape.py` leaves room for every status that a row can have.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Form(Enum):
    """How a box is drawn."""

    UNIT = "unit"
    PLACE = "place"
    MOVES = "person, machine or bag"
    INLINE = "hose or cable"
    GROUND = "ground"


class Symbol(Enum):
    """A standard symbol; ISO 14617 for fluids, IEC 60617 for electricity."""

    NONE = ""
    VALVE = "valve"
    CHECK_VALVE = "check valve"
    SWITCH = "switch"
    DIODE = "diode"
    PUMP = "pump"
    SOURCE = "source"
    EXPANSION = "expansion vessel"
    LOAD = "load"
    BOLT = "bolt"


class Look(Enum):
    """How a line is drawn. The value is the word that stands beside it in the legend."""

    MADE = "connected"
    NOT_CARRYING = "mated, but nothing passes"
    CUT_OFF = "liquid without a path to any expansion vessel"
    DEAD = "connected, but fed by no source"
    GIVES = "flexible: a tether, a grip"
    INSIDE = "stands in"


class Alarm(Enum):
    """The two groups of marks: what a rule or a need says is wrong, and what is merely so, by intent or not."""

    WRONG = "wrong"
    NOTED = "noted"


class Change(Enum):
    """In a picture of a difference: what was there before only, what is there now only, what is otherwise now."""

    SAME = ""
    GONE = "only before"
    NEW = "only now"
    OTHER = "changed"


@dataclass(frozen=True, slots=True)
class Mark:
    """A word at a thing, and the number of the note that tells more (0: none): "1" with "CUT OFF"."""

    alarm: Alarm
    word: str
    number: int = 0


@dataclass(frozen=True, slots=True)
class Gate:
    """A valve, switch or one-way link, on its line. `key`: its address (or one made up, for a one-way link).

    `a`, `b`: what it is between, each the key of a row or of a bar of the same box. `one_way`: from `a` to `b`.
    `is_open`: the medium passes. `count`: of how many alike ones of its box it stands for all.
    `text` is its name, `status` the display word, `statuses` all that it may have.
    """

    key: str
    a: str
    b: str
    symbol: Symbol
    is_open: bool = True
    one_way: bool = False
    text: str = ""
    status: str = ""
    statuses: tuple[str, ...] = ()
    medium: str = ""
    count: int = 1
    marks: tuple[Mark, ...] = ()
    change: Change = Change.SAME


@dataclass(frozen=True, slots=True)
class Bar:
    """What is always joined inside a box: volumes, a bus bar, or nothing but the ports that meet in it.

    `texts`: a line for each volume or node in it ("SHELL  12 l", "LINE"), with its one of `symbols`. `look`: MADE,
    CUT_OFF or DEAD.
    """

    key: str
    medium: str
    texts: tuple[str, ...] = ()
    symbols: tuple[Symbol, ...] = ()
    look: Look = Look.MADE
    marks: tuple[Mark, ...] = ()
    change: Change = Change.SAME


@dataclass(frozen=True, slots=True)
class Row:
    """A port of a box: one row, one line end. `key`: its address. `bar`: the bar that it meets, "" for none or a gate.

    `text` its name, `status` the display word now, `statuses` all that it may have (room is left for the longest).
    `joined`: something is mated to it (drawn or not: then `to` names it). `capped`: closed with a cap.
    `side`: "in" or "out" where the sheet wants it on one side (towards sources, towards loads), else "".
    `valve`: the port has a valve of its own (a valved disconnect): True open, False shut, None none.
    `count`: of how many alike ones of its box it stands for all. `is_text`: no port, only a text.
    `look`: of what it is joined to inside its box: MADE, CUT_OFF or DEAD.
    """

    key: str
    text: str
    status: str = ""
    statuses: tuple[str, ...] = ()
    medium: str = ""
    bar: str = ""
    side: str = ""
    joined: bool = False
    capped: bool = False
    to: str = ""
    valve: bool | None = None
    is_text: bool = False
    look: Look = Look.MADE
    count: int = 1
    marks: tuple[Mark, ...] = ()
    change: Change = Change.SAME


@dataclass(frozen=True, slots=True)
class Box:
    """A unit or place. `lines`: what stands under its name: its title, its place.

    `count`: of how many alike ones it stands for all (1: itself); `members` their ids. `rank`: how far from the
    sources or the ground (None: the engine decides).
    """

    id: str
    name: str = ""
    lines: tuple[str, ...] = ()
    form: Form = Form.UNIT
    rows: tuple[Row, ...] = ()
    bars: tuple[Bar, ...] = ()
    gates: tuple[Gate, ...] = ()
    count: int = 1
    members: tuple[str, ...] = ()
    rank: int | None = None
    symbol: Symbol = Symbol.NONE
    marks: tuple[Mark, ...] = ()
    change: Change = Change.SAME


@dataclass(frozen=True, slots=True)
class Line:
    """A line between two boxes, from `a`'s row to `b`'s ("": the box itself). `count`: it stands for so many.

    `ghost`: it isn't there at this moment; it only keeps its boxes where they are at other moments, and isn't drawn.
    `room`: the longest text that it has at other moments; room for that is kept.

    Which end is `a` is the same at all moments, whatever flows: lines are laid out in the order of their ends.
    """

    a: str
    a_row: str
    b: str
    b_row: str
    medium: str = ""
    look: Look = Look.MADE
    label: str = ""
    count: int = 1
    ghost: bool = False
    room: str = ""
    change: Change = Change.SAME


@dataclass(frozen=True, slots=True)
class Note:
    """A numbered note beside the picture: what is wrong, or merely so."""

    alarm: Alarm
    text: str
    number: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything that is drawn. `down`: power, from the top down; else from left to right.

    `boxes` are in the same order at all moments: places hang on it. The order of `lines` doesn't matter.

    `verdict` is one line under the title; `notes` stand beside the picture, the wrong ones first; `media` in order,
    for the colours.
    """

    boxes: tuple[Box, ...]
    lines: tuple[Line, ...]
    title: str = ""
    moment: str = ""
    verdict: str = ""
    notes: tuple[Note, ...] = ()
    media: tuple[str, ...] = ()
    down: bool = False
