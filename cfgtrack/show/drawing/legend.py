"""The column beside a picture: its numbered notes, and a legend of what really occurs in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from cfgtrack.show.drawing.flags import FLAG, flags
from cfgtrack.show.drawing.ink import Circle, Group, Ink, Path, Rect
from cfgtrack.show.drawing.metrics import wrapped
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK, SHADE, STROKES, colour_of, weight_of
from cfgtrack.show.drawing.sheet import (
    Alarm,
    Bar,
    Box,
    Change,
    Form,
    Gate,
    Line,
    Look,
    Mark,
    Note,
    Row,
    Sheet,
    Symbol,
)
from cfgtrack.show.drawing.strokes import NAME, change_colour, medium_sign, sign_of, text_ink
from cfgtrack.show.drawing.symbols import STANDARDS, moved, symbol
from cfgtrack.show.visible import visible

WIDTH = 216.0
"""How wide the column is, always, so that the picture beside it never moves."""

_SIZE, _LEAD = 8.5, 11.0
_SAMPLE = 34.0
_HEADS = {Alarm.WRONG: "Needs attention", Alarm.NOTED: "To know"}

_Entry = tuple[str, Callable[[float, float], Sequence[Ink]]]
"""What a sample means, and what draws it in the middle of some place."""


def column(sheet: Sheet, x: float, y: float) -> tuple[tuple[Ink, ...], float]:
    """Return notes and legend, one under the other, and where they end."""
    drawn: list[Ink] = []
    for block in _blocks(sheet):
        y = block(drawn, x, y)
    return tuple(drawn), y


def foot(sheet: Sheet, x: float, y: float, wide: float) -> tuple[tuple[Ink, ...], float]:
    """Return notes and legend in as many columns of even height as there is room for, and where they end."""
    blocks = list(_blocks(sheet))
    heights = [block([], 0.0, 0.0) for block in blocks]
    number = max(1, int((wide + _BETWEEN) // (WIDTH + _BETWEEN)))
    high = max([sum(heights) / number, *heights], default=0.0)
    while _columns(heights, high) > number:
        high += _LEAD
    drawn: list[Ink] = []
    left, at, end = x, y, y
    for block, height in zip(blocks, heights, strict=True):
        if at > y and at + height > y + high + _TINY:
            left, at = left + WIDTH + _BETWEEN, y
        at = block(drawn, left, at)
        end = max(end, at)
    return tuple(drawn), end


_BETWEEN, _TINY = 24.0, 0.01


def _columns(heights: Sequence[float], high: float) -> int:
    number, at = 1, 0.0
    for height in heights:
        if at and at + height > high + _TINY:
            number, at = number + 1, 0.0
        at += height
    return number


_Block = Callable[[list[Ink], float, float], float]
"""What draws something that isn't torn apart, its top left corner at x, y, and returns where it ends."""


def _blocks(sheet: Sheet) -> Iterator[_Block]:
    for alarm in Alarm:
        notes = [note for note in sheet.notes if note.alarm is alarm]
        head = (_HEADS[alarm], ALARM if alarm is Alarm.WRONG else INK)
        for i, note in enumerate(notes):
            last = 8.0 if note is notes[-1] else 0.0
            yield partial(_block, head if i == 0 else None, partial(_note, note=note), last)
    for i, (said, draw) in enumerate(_entries(sheet)):
        yield partial(_block, None if i else ("Legend", INK), partial(_entry, said=said, draw=draw), 0.0)


def _block(
    head: tuple[str, str] | None,
    inner: Callable[..., float],
    after: float,
    drawn: list[Ink],
    x: float,
    y: float,
) -> float:
    if head is not None:
        y = _headed(drawn, head[0], x, y, head[1])
    return inner(drawn, x=x, y=y) + after


def _headed(drawn: list[Ink], text: str, x: float, y: float, colour: str) -> float:
    drawn.append(text_ink(x, y + 9, text, 9.5, bold=True, colour=colour, role="heading"))
    drawn.append(Path(((x, y + 13), (x + WIDTH, y + 13)), stroke=colour, thickness=0.6, role="rule"))
    return y + 18


def _note(drawn: list[Ink], x: float, y: float, note: Note) -> float:
    """Write a note, with its number as a flag in front."""
    lines = wrapped(visible(note.text), _SIZE, WIDTH - 30)
    flag = flags((Mark(note.alarm, "", note.number),), x, y + 6.5) if note.number else ()
    left = x + 2 * FLAG - 6 if note.number else x
    texts = [text_ink(left, y + 9 + i * _LEAD, line, _SIZE, role="note") for i, line in enumerate(lines)]
    data = (("alarm", note.alarm.value), ("number", str(note.number)))
    drawn.append(Group(key=str(note.number), what="note", title=note.text, ink=(*flag, *texts), data=data))
    return y + _LEAD * len(lines) + 4


def _entry(
    drawn: list[Ink], x: float, y: float, said: str, draw: Callable[[float, float], Sequence[Ink]]
) -> float:
    lines = wrapped(visible(said), _SIZE, WIDTH - _SAMPLE - 10)
    ink = list(draw(x + _SAMPLE / 2, y + 7.5))
    ink += [
        text_ink(x + _SAMPLE + 8, y + 10.5 + i * _LEAD, line, _SIZE, role="legend")
        for i, line in enumerate(lines)
    ]
    drawn.append(Group(what="legend", title=said, ink=tuple(ink)))
    return y + max(_LEAD * len(lines), 11) + 5


# --- what occurs ------------------------------------------------------------------------------------------------------


def _entries(sheet: Sheet) -> Iterator[_Entry]:
    rows = [row for box in sheet.boxes for row in box.rows]
    yield from _media(sheet, rows)
    yield from _lines(sheet)
    yield from _symbols(sheet, rows)
    yield from _ends(sheet)
    yield from _boxes(sheet)
    yield from _marks(sheet, rows)
    yield from _changes(sheet, rows)


def _media(sheet: Sheet, rows: Sequence[Row]) -> Iterator[_Entry]:
    met = {row.medium for row in rows} | {line.medium for line in sheet.lines if not line.ghost}
    for medium in dict.fromkeys((*sheet.media, *sorted(met - set(sheet.media)))):
        if medium and medium in met:
            yield medium, _medium_sample(medium, sheet.media)


def _medium_sample(medium: str, media: tuple[str, ...]) -> Callable[[float, float], Sequence[Ink]]:
    """Return what draws a medium's colour, weight of line, and sign at its ends."""
    thick = 1.8 * weight_of(medium, media)
    return lambda x, y: [
        Path(((x - 14, y), (x + 14, y)), colour_of(medium, media), thick),
        medium_sign(medium, media, x - 14, y),
        medium_sign(medium, media, x + 14, y),
    ]


def _lines(sheet: Sheet) -> Iterator[_Entry]:
    looks = {line.look for line in sheet.lines if not line.ghost} | {
        bar.look for box in sheet.boxes for bar in box.bars
    }
    for look in Look:
        if look in looks:
            yield look.value, _line_sample(look)


def _line_sample(look: Look) -> Callable[[float, float], Sequence[Ink]]:
    stroke = STROKES[look]
    return lambda x, y: [
        Path(((x - 16, y), (x + 16, y)), INK, stroke.thickness, stroke.dash, double=stroke.double)
    ]


def _symbols(sheet: Sheet, rows: Sequence[Row]) -> Iterator[_Entry]:
    gates = {(gate.symbol, gate.is_open) for box in sheet.boxes for gate in box.gates}
    gates |= {(Symbol.VALVE, row.valve) for row in rows if row.valve is not None}
    other = {sign for box in sheet.boxes for bar in box.bars for sign in bar.symbols}
    other |= {box.symbol for box in sheet.boxes}
    for which, said in STANDARDS.items():
        for is_open in (True, False):
            if (which, is_open) in gates:
                word = {
                    Symbol.VALVE: ("open: ", "shut: "),
                    Symbol.SWITCH: ("closed, passes: ", "open, off: "),
                }.get(which, ("", ""))[0 if is_open else 1]
                yield f"{word}{said}", _symbol_sample(which, is_open=is_open)
        if which in other:
            yield said, _symbol_sample(which, is_open=True)


def _symbol_sample(which: Symbol, *, is_open: bool) -> Callable[[float, float], Sequence[Ink]]:
    def draw(x: float, y: float) -> list[Ink]:
        wire = Path(((x - 16, y), (x + 16, y)), FAINT, 1.0)
        return [wire, *(moved(ink, x, y) for ink in symbol(which, INK, is_open=is_open))]

    return draw


def _ends(sheet: Sheet) -> Iterator[_Entry]:
    lined = {
        key for line in sheet.lines if not line.ghost for key in ((line.a, line.a_row), (line.b, line.b_row))
    }
    free = [
        row for box in sheet.boxes for row in box.rows if (box.id, row.key) not in lined and not row.is_text
    ]
    if any(row.joined for row in free):
        yield (
            "goes on to what isn't drawn",
            lambda x, y: [
                Path(((x - 8, y), (x + 3, y)), INK, 1.6),
                Path(((x + 3, y - 3.5), (x + 8, y), (x + 3, y + 3.5)), INK, fill=INK, closed=True),
            ],
        )
    if any(row.capped and not row.joined for row in free):
        yield (
            "capped end",
            lambda x, y: [
                Path(((x - 8, y), (x + 5, y)), INK, 1.6),
                Path(((x + 5, y - 4.5), (x + 5, y + 4.5)), INK, 2.6),
            ],
        )
    if any(not row.capped and not row.joined for row in free):
        yield (
            "open end, nothing connected",
            lambda x, y: [
                Path(((x - 8, y), (x + 3, y)), INK, 1.6),
                Circle(x + 5.2, y, 2.2, fill="#ffffff"),
            ],
        )


def _boxes(sheet: Sheet) -> Iterator[_Entry]:
    forms = {box.form for box in sheet.boxes}
    if Form.PLACE in forms:
        yield "place", lambda x, y: [Rect(x - 13, y - 5, 26, 10, fill=SHADE, radius=2)]
    if Form.MOVES in forms:
        yield "person, machine or bag", lambda x, y: [Rect(x - 13, y - 5, 26, 10, fill="#ffffff", radius=5)]
    if any(box.count > 1 for box in sheet.boxes):
        yield (
            "several alike ones, how many",
            lambda x, y: [
                Rect(x - 11, y - 2, 22, 9, fill="#ffffff", stroke=FAINT),
                Rect(x - 13, y - 5, 26, 9, fill="#ffffff"),
            ],
        )


def _marks(sheet: Sheet, rows: Sequence[Row]) -> Iterator[_Entry]:
    inner = _inner(sheet)
    things: list[Box | Row | Bar | Gate] = [*sheet.boxes, *rows, *inner]
    alarms = {mark.alarm for thing in things for mark in thing.marks}
    if Alarm.WRONG in alarms:
        yield "needs attention: see the note of this number", _flag_sample(Alarm.WRONG)
    if Alarm.NOTED in alarms:
        yield "to know: see the note of this number", _flag_sample(Alarm.NOTED)


def _flag_sample(alarm: Alarm) -> Callable[[float, float], Sequence[Ink]]:
    return lambda x, y: [ink for one in flags((Mark(alarm, "", 1),), x - FLAG / 2, y) for ink in _inside(one)]


def _inner(sheet: Sheet) -> list[Bar | Gate]:
    found: list[Bar | Gate] = []
    for box in sheet.boxes:
        found += (*box.bars, *box.gates)
    return found


def _inside(ink: Ink) -> tuple[Ink, ...]:
    return ink.ink if isinstance(ink, Group) else (ink,)


def _changes(sheet: Sheet, rows: Sequence[Row]) -> Iterator[_Entry]:
    inner = _inner(sheet)
    things: list[Box | Row | Bar | Gate | Line] = [*sheet.boxes, *rows, *inner, *sheet.lines]
    met = {thing.change for thing in things}
    for change in (Change.NEW, Change.GONE, Change.OTHER):
        if change in met:
            yield change.value, _change_sample(change)


def _change_sample(change: Change) -> Callable[[float, float], Sequence[Ink]]:
    colour = change_colour(change)
    dash = (4.0, 3.0) if change is Change.GONE else ()
    thick = 2.6 if change is Change.NEW else 1.4
    return lambda x, y: [
        Rect(x - 15, y - 5, 18, 10, colour, "#ffffff", thick, dash, 2),
        text_ink(x + 7, y + 3.5, sign_of(change), NAME, bold=True, colour=colour),
    ]
