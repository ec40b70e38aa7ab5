"""Two sheets of one scope as one: what is only before, what is only now, and what is otherwise now; and a list of it.

Of what is in both, the sheet of now counts, and each status that changed says what it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar, cast

from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.ink import Group, Ink, Page, Path, Rect
from cfgtrack.show.drawing.leaves import extent
from cfgtrack.show.drawing.palette import NEW, OLD
from cfgtrack.show.drawing.sheet import Alarm, Bar, Box, Change, Gate, Line, Look, Note, Row, Sheet

_T = TypeVar("_T")
_Part = TypeVar("_Part", Row, Gate, Bar)
"""A part of a box, of one sort."""


def compared(before: Sheet, now: Sheet) -> Sheet:
    """Return both sheets as one, each thing with its change, and its changes as the first notes.

    The notes of now stay behind these, so that what is wrong now is still told.
    """
    boxes = [*_boxes(before, now, _restated)]
    lines = [*_lines(before, now, _relabelled)]
    return replace(
        now,
        boxes=tuple(boxes),
        lines=tuple(lines),
        title=f"What differs: {now.title}" if now.title else "What differs",
        moment=f"before: {before.moment}; now: {now.moment}",
        verdict=_count(boxes, lines),
        notes=(*(Note(Alarm.NOTED, text) for text in _told(boxes, lines)), *now.notes),
        media=tuple(dict.fromkeys((*now.media, *before.media))),
    )


def difference_page(before: Sheet, now: Sheet, *, title: str = "", page: str = "") -> Page:
    """Return what differs between two sheets as a page, with a ring around what has changed. `page`: as of `drawn`."""
    sheet = compared(before, now)
    found = drawn(replace(sheet, title=title or sheet.title), page=page)
    return replace(found, ink=ringed(found.ink))


def since(before: Sheet, now: Sheet) -> Sheet:
    """Return a sheet of now in which what has changed is signed, and no text says more than it does without."""
    boxes = _boxes(before, now, lambda part, *_words: replace(part, change=Change.OTHER))
    lines = _lines(before, now, lambda _old, new: replace(new, change=Change.OTHER))
    return replace(now, boxes=tuple(boxes), lines=tuple(lines))


# --- boxes --------------------------------------------------------------------------------------------------------

Part = Row | Gate | Bar
Restate = Callable[[Part, str, str], Part]
"""What signs a part of a box that is otherwise now, given in words what it was and what it is."""


def _boxes(before: Sheet, now: Sheet, restate: Restate) -> Iterator[Box]:
    for old, new in _paired(before.boxes, now.boxes, lambda box: box.id):
        if new is None:
            assert old is not None
            yield _all_of(replace(old, marks=()), Change.GONE)
        elif old is None:
            yield _all_of(new, Change.NEW)
        else:
            yield _box(old, new, restate)


def _box(old: Box, new: Box, restate: Restate) -> Box:
    """Return a box that is in both."""
    lost = [line for line in old.lines if line not in new.lines]
    came = [line for line in new.lines if line not in old.lines]
    lines = new.lines
    if restate is _restated and (lost or came):
        lines = (*new.lines, *(f"was: {line}" for line in lost or ("not told",)))
    is_other = bool(lost or came) or old.count != new.count or old.members != new.members
    return replace(
        new,
        lines=lines,
        rows=tuple(_parts(old.rows, new.rows, restate)),
        gates=tuple(_parts(old.gates, new.gates, restate)),
        bars=tuple(_parts(old.bars, new.bars, restate)),
        change=Change.OTHER if is_other else Change.SAME,
    )


def _all_of(box: Box, change: Change) -> Box:
    """Return a box that is there at one time alone, and so all that is in it; one that is gone has no marks."""
    return replace(
        box,
        change=change,
        rows=tuple(_alone(row, change) for row in box.rows),
        gates=tuple(_alone(gate, change) for gate in box.gates),
        bars=tuple(_alone(bar, change) for bar in box.bars),
    )


def _alone(part: _Part, change: Change) -> _Part:
    return replace(part, change=change, marks=() if change is Change.GONE else part.marks)


def _parts(old: Sequence[_Part], new: Sequence[_Part], restate: Restate) -> Iterator[_Part]:
    for one, other in _paired(old, new, lambda part: part.key):
        if other is None:
            assert one is not None
            yield _alone(one, Change.GONE)
        elif one is None:
            yield _alone(other, Change.NEW)
        else:
            was, now = _words(one), _words(other)
            if was == now and _mate(one) != _mate(other):
                was, now = f"to {_mate(one) or 'nothing'}", f"to {_mate(other) or 'nothing'}"
            yield other if was == now else cast("_Part", restate(other, was, now))


def _mate(part: Part) -> str:
    """Return what a port is mated to, where that isn't drawn."""
    return part.to if isinstance(part, Row) else ""


def _words(part: Part) -> str:
    """Return all that may change of a part in words."""
    if isinstance(part, Gate):
        return part.status or ("passes" if part.is_open else "stops it")
    if isinstance(part, Bar):
        reached = {Look.CUT_OFF: "cut off", Look.DEAD: "fed by no source", Look.MADE: "reached"}
        return reached.get(part.look, part.look.value)
    words = [part.status] if part.status else []
    if part.capped and not part.status:
        words.append("capped")
    if part.valve is not None and "valve" not in part.status:
        words.append("valve open" if part.valve else "valve shut")
    return ", ".join(words) or "not told"


def _restated(part: Part, was: str, now: str) -> Part:
    """Return a part that says what it was, too."""
    said = f"was {was}, now {now}"
    if isinstance(part, Bar):
        return replace(part, texts=(*part.texts, said), change=Change.OTHER)
    return replace(part, status=said, statuses=(*part.statuses, said), change=Change.OTHER)


# --- lines --------------------------------------------------------------------------------------------------------


def _lines(before: Sheet, now: Sheet, relabel: Callable[[Line, Line], Line]) -> Iterator[Line]:
    drawn_before = [line for line in before.lines if not line.ghost]
    drawn_now = [line for line in now.lines if not line.ghost]
    told: set[object] = set()
    for old, new in _paired(drawn_before, drawn_now, line_key):
        one = new or old
        assert one is not None
        told.add(line_key(one))
        if new is None:
            yield replace(one, change=Change.GONE)
        elif old is None:
            yield replace(one, change=Change.NEW)
        elif old.look is not new.look or old.count != new.count:
            yield relabel(old, new)
        else:
            yield new
    for line in (*now.lines, *before.lines):
        if line.ghost and line_key(line) not in told:
            told.add(line_key(line))
            yield line


def line_key(line: Line) -> tuple[object, ...]:
    """Return what a line is known by, whichever end is named first."""
    return (frozenset({(line.a, line.a_row), (line.b, line.b_row)}), line.medium)


def _relabelled(old: Line, new: Line) -> Line:
    if old.look is new.look:
        said = f"was {old.count}, now {new.count}"
    else:
        said = f"was {old.look.value}, now {new.look.value}"
    return replace(new, label=f"{new.label}: {said}" if new.label else said, change=Change.OTHER)


# --- in words -----------------------------------------------------------------------------------------------------


def _told(boxes: Sequence[Box], lines: Sequence[Line]) -> Iterator[str]:
    """Yield every change in words, what is gone first."""
    for change in (Change.GONE, Change.NEW, Change.OTHER):
        for line in lines:
            if line.change is change:
                yield _line_words(line, change)
        for box in boxes:
            yield from _box_words(box, change)


def _line_words(line: Line, change: Change) -> str:
    if line.look is Look.INSIDE:
        return f"{change.value}: {line.b_row or line.b} in {line.a_row or line.a}"
    medium = f" ({line.medium})" if line.medium else ""
    ends = f"{_end(line.a, line.a_row)} to {_end(line.b, line.b_row)}{medium}"
    label = f": {line.label}" if line.label else ""
    return f"{change.value}: {ends}{label}"


def _end(box: str, row: str) -> str:
    return row or box


def _box_words(box: Box, change: Change) -> Iterator[str]:
    name = box.name or box.id
    if box.change is change:
        more = "".join(f", {line}" for line in box.lines) if change is Change.OTHER else ""
        yield f"{change.value}: {name}{more}"
        if change is not Change.OTHER:
            return
    elif box.change in (Change.GONE, Change.NEW):
        return
    parts: list[Part] = [*box.rows, *box.gates, *box.bars]
    for part in parts:
        if part.change is change:
            yield f"{change.value}: {_part_words(name, part)}"


def _part_words(name: str, part: Part) -> str:
    said = (part.texts[-1] if part.texts else "") if isinstance(part, Bar) else part.status
    named = ("" if isinstance(part, Bar) else part.text) or part.key
    key = part.key if part.key.startswith(f"{name}:") else f"{name} {named}"
    return f"{key}: {said}" if said else key


def _count(boxes: Sequence[Box], lines: Sequence[Line]) -> str:
    """Return in one line how many things differ, and how."""
    changes = [line.change for line in lines]
    for box in boxes:
        changes.append(box.change)
        if box.change not in (Change.GONE, Change.NEW):
            changes += [row.change for row in box.rows]
            changes += [gate.change for gate in box.gates]
            changes += [bar.change for bar in box.bars]
    counts = [(change, changes.count(change)) for change in (Change.GONE, Change.NEW, Change.OTHER)]
    total = sum(n for _, n in counts)
    if not total:
        return "Nothing of this differs"
    said = ", ".join(f"{n} {change.value}" for change, n in counts if n)
    return f"{total} {'thing differs' if total == 1 else 'things differ'}: {said}"


# --- rings ----------------------------------------------------------------------------------------------------------


def ringed(ink: Iterable[Ink]) -> tuple[Ink, ...]:
    """Return the ink of a sheet with a ring around every port, valve and switch that it says has changed."""
    return tuple(_ringed(one) for one in ink)


def _ringed(one: Ink) -> Ink:
    if not isinstance(one, Group):
        return one
    inside = ringed(one.ink)
    change = dict(one.data).get("change")
    if one.what not in ("row", "gate") or not change:
        return replace(one, ink=inside)
    # What runs on from it, a line or a bar, is not ringed.
    core = [i for i in one.ink if not isinstance(i, Path) or i.closed] or one.ink
    left, top, right, bottom = extent(core)
    wide, high = right - left + 6, bottom - top + 6
    is_gone = change == Change.GONE.value
    ring = Rect(
        round(left - 3, 2),
        round(top - 3, 2),
        round(wide, 2),
        round(high, 2),
        OLD if is_gone else NEW,
        thickness=1.4,
        dash=(3.0, 2.5) if is_gone else (),
        radius=6.0,
        role="ring",
    )
    return replace(one, ink=(*inside, ring))


# --- one place for all --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Placeable:
    """A sheet that has the places of several. `absent`: the boxes that only keep their place, and aren't drawn."""

    sheet: Sheet
    absent: frozenset[str]


def in_one_place(sheets: Sequence[Sheet]) -> list[Placeable]:
    """Return sheets of one scope so that all that is in several is at one place in each.

    Each has the boxes, rows and lines of all; what isn't in it only keeps its place.
    """
    boxes: dict[str, Box] = {}
    lines: dict[object, Line] = {}
    room: dict[object, str] = {}
    for sheet in sheets:
        for box in sheet.boxes:
            boxes[box.id] = _wider(boxes[box.id], box) if box.id in boxes else box
        for line in sheet.lines:
            key = line_key(line)
            lines.setdefault(key, line)
            counted = f"  × {line.count}" if line.count > 1 else ""
            room[key] = max(room.get(key, ""), f"{line.label}{counted}  ≠", key=len)
    kept = {key: replace(line, room=room[key]) for key, line in lines.items()}
    return [_placeable(sheet, boxes, kept) for sheet in sheets]


def _placeable(sheet: Sheet, boxes: Mapping[str, Box], lines: Mapping[object, Line]) -> Placeable:
    own = {box.id: box for box in sheet.boxes}
    mine_by = {line_key(line): line for line in sheet.lines}
    placed = []
    for key, line in lines.items():
        mine = replace(line, ghost=True, change=Change.SAME, label="", count=1)
        placed.append(_turned(mine_by[key], line) if key in mine_by else mine)
    return Placeable(
        replace(
            sheet,
            boxes=tuple(_filled(own.get(name), box) for name, box in boxes.items()),
            lines=tuple(placed),
        ),
        frozenset(boxes.keys() - own.keys()),
    )


def _turned(line: Line, like: Line) -> Line:
    """Return a line with its ends in the order that another has them."""
    if (line.a, line.a_row) == (like.a, like.a_row):
        return replace(line, room=like.room)
    return replace(line, a=line.b, a_row=line.b_row, b=line.a, b_row=line.a_row, room=like.room)


def _wider(known: Box, box: Box) -> Box:
    """Return a box with the parts of two, and room for every status of both."""
    same = tuple(line for line in known.lines if line in box.lines)
    return replace(
        known,
        lines=same,
        rows=tuple(_merged(known.rows, box.rows)),
        gates=tuple(_merged(known.gates, box.gates)),
        bars=tuple(_merged(known.bars, box.bars)),
    )


def _merged(known: Sequence[_Part], other: Sequence[_Part]) -> Iterator[_Part]:
    for one, two in _paired(known, other, lambda part: part.key):
        if one is None or two is None:
            part = one or two
            assert part is not None
            yield part
        else:
            yield cast("_Part", _with_room_of(one, two))


def _with_room_of(one: Part, two: Part) -> Part:
    """Return a part with room for what it says in two sheets."""
    if isinstance(one, Bar) or isinstance(two, Bar):
        return max((one, two), key=lambda part: len(part.texts) if isinstance(part, Bar) else 0)
    statuses = dict.fromkeys((*one.statuses, one.status, *two.statuses, two.status))
    return replace(one, statuses=tuple(s for s in statuses if s))


def _filled(own: Box | None, box: Box) -> Box:
    """Return a sheet's own box with the parts and the room of the box of all."""
    if own is None:
        return replace(box, marks=(), change=Change.SAME)
    return replace(
        own,
        lines=box.lines,
        rank=box.rank,
        rows=tuple(_own_or_kept(own.rows, box.rows)),
        gates=tuple(_own_or_kept(own.gates, box.gates)),
        bars=tuple(_own_or_kept(own.bars, box.bars)),
    )


def _own_or_kept(own: Sequence[_Part], all_of: Sequence[_Part]) -> Iterator[_Part]:
    found = {part.key: part for part in own}
    for part in all_of:
        mine = found.get(part.key)
        if mine is None:
            yield replace(part, marks=(), change=Change.SAME)
        else:
            yield cast("_Part", _in_room_of(mine, part))


def _in_room_of(mine: Part, part: Part) -> Part:
    """Return a part as it is, in the room that it has in all sheets."""
    if isinstance(mine, Bar) or isinstance(part, Bar):
        return mine
    return replace(mine, statuses=part.statuses)


def _paired(
    before: Sequence[_T], now: Sequence[_T], key: Callable[[_T], object]
) -> Iterator[tuple[_T | None, _T | None]]:
    """Yield what is in one or both, in the order of now; what is only before stands where it stood."""
    old = {key(one): one for one in before}
    new = {key(one): one for one in now}
    waiting = list(old)
    for name, one in new.items():
        if name in old:
            while waiting:
                first = waiting.pop(0)
                if first == name:
                    break
                if first not in new:
                    yield old[first], None
        yield old.get(name), one
    for name in waiting:
        if name not in new:
            yield old[name], None
