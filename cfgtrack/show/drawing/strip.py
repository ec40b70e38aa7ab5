"""A strip: frame by frame what a plan does to the paths of one scope, everything at one place in all frames.

What has changed since the frame before is signed; a frame that comes with findings has a thick edge and their numbers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from cfgtrack.answers.strip import frame_title
from cfgtrack.model.time import format_instant
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.rules.saying import say_list
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.difference import Placeable, in_one_place, ringed, since
from cfgtrack.show.drawing.ink import Group, Ink, Page, Rect, Text
from cfgtrack.show.drawing.leaves import MARGIN, Block, extent, moved, one_page, pages, scaled
from cfgtrack.show.drawing.lettering import cut_to, line, wrapped
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK, RULE
from cfgtrack.show.drawing.sheet import Look, Sheet
from cfgtrack.show.tables import count

if TYPE_CHECKING:
    from cfgtrack.answers.strip import Frame, Strip

WIDTH = 1400.0
"""How wide a strip is where no paper says."""

_SMALLEST = 0.62
"""A frame's picture is made no smaller than this to have more in a row: its texts stay above 5 pt."""

_GAP = 14.0
_PAD = 8.0
_CAPTION = 9.0
_LEAD = 11.0
_TOLD = 7.5
_MOST_TOLD = 5
"""So many lines of what the flags in a frame say: the rest is in a picture of that moment alone."""


def strip_pages(
    strip: Strip,
    sheets: Sequence[Sheet],
    *,
    title: str = "",
    width: float = WIDTH,
    height: float | None = None,
) -> tuple[Page, ...]:
    """Return a strip, one sheet a frame, on one page, or with a height on as many as it takes."""
    said = title or f"{strip.title}: what each step changes".removeprefix(": ")
    inner = width - 2 * MARGIN
    pictures = _pictures(sheets)
    head = _head(strip, sheets, said, inner)
    room = None if height is None else height - 2 * MARGIN - 13 - head.height
    cut = _newly_cut_off(sheets)
    grid = _Grid.of(pictures, strip, sheets, cut, inner, room)
    blocks = [head, *grid.rows(strip, sheets, pictures), *_findings(strip, inner), _legend(inner)]
    return (one_page(blocks, width, said),) if height is None else pages(blocks, width, height, said)


@dataclass(frozen=True, slots=True)
class _Picture:
    """The picture of a frame about its own top left corner: all have one size."""

    width: float
    height: float
    ink: tuple[Ink, ...]


def _pictures(sheets: Sequence[Sheet]) -> list[_Picture]:
    """Return the pictures of all frames: everything at the same place in each, and signed what is new in it."""
    turned = [sheets[0], *(since(before, now) for before, now in pairwise(sheets))]
    placed = [_picture(one) for one in in_one_place(turned)]
    left = min(box[0] for _, box in placed)
    top = min(box[1] for _, box in placed)
    width = max(box[2] for _, box in placed) - left
    height = max(box[3] for _, box in placed) - top
    return [_Picture(width, height, moved(ink, -left, -top)) for ink, _ in placed]


def _picture(one: Placeable) -> tuple[tuple[Ink, ...], tuple[float, float, float, float]]:
    """Return what is drawn of a frame, from where its first box has its name, and how far that goes."""
    page = drawn(replace(one.sheet, title="", moment="", verdict="", notes=()))
    kept = [ink for ink in page.ink if isinstance(ink, Group) and ink.what in ("box", "line")]
    boxes = [ink for ink in kept if ink.what == "box"]
    if not boxes:
        return (), (0.0, 0.0, 0.0, 0.0)
    x, y = _name_at(boxes[0])
    there = [ink for ink in kept if ink.what == "line" or ink.key not in one.absent]
    shown = ringed(moved(there, -x, -y))
    return shown, extent(moved(kept, -x, -y))


def _name_at(box: Group) -> tuple[float, float]:
    """Return where a box's name stands: signs and flags come and go around it."""
    for one in box.ink:
        if isinstance(one, Text) and one.role == "name":
            return one.x, one.y
        if isinstance(one, Group):
            found = _name_at(one)
            if found != (0.0, 0.0):
                return found
    return 0.0, 0.0


def _head(strip: Strip, sheets: Sequence[Sheet], title: str, width: float) -> Block:
    y = 14.0
    ink: list[Ink] = [line(0, y, cut_to(title, width, 15, bold=True), size=15, bold=True, role="title")]
    y += 15
    changes = len(strip.frames) - 1
    steps = f"{changes} {'step changes' if changes == 1 else 'steps change'} a path"
    of = f" of: {sheets[0].title}" if sheets[0].title else ""
    ink.append(
        line(
            0,
            y,
            cut_to(f"{_verdict(strip)}; {steps}{of}", width, 10, bold=True),
            size=10,
            bold=True,
            role="verdict",
        )
    )
    y += 12
    for text in wrapped(f"{strip.moment}; with likely durations; foreseen, not recorded", width, 8):
        ink.append(line(0, y, text, size=8, colour=FAINT, role="moment"))
        y += 10
    return Block(y + 4, tuple(ink))


@dataclass(frozen=True, slots=True)
class _Grid:
    """How frames stand: so many in a row, each so wide, its picture at a scale, its caption so high."""

    columns: int
    cell: float
    scale: float
    caption: float
    cut: Sequence[Sequence[str]]

    @classmethod
    def of(
        cls,
        pictures: Sequence[_Picture],
        strip: Strip,
        sheets: Sequence[Sheet],
        cut: Sequence[Sequence[str]],
        width: float,
        room: float | None,
    ) -> _Grid:
        """Return the grid with as many columns as the texts allow, and no row higher than a page."""
        wide, high = pictures[0].width, pictures[0].height
        smallest = max(wide * _SMALLEST, 150.0) + 2 * _PAD + _GAP
        columns = max(1, min(len(pictures), int((width + _GAP) // smallest)))
        cell = (width - _GAP * (columns - 1)) / columns
        scale = min(1.0, (cell - 2 * _PAD) / max(wide, 1.0))
        if columns == len(pictures):
            cell = min(cell, max(wide * scale, 220.0) + 2 * _PAD)
        caption = max(
            sum(_LEAD if bold else 9.5 for _, bold in _caption(frame, sheet, cut[n], cell, n))
            for n, (frame, sheet) in enumerate(zip(strip.frames, sheets, strict=True))
        )
        if room is not None:
            scale = min(scale, _for_rows(max(high, 1.0), caption + 3 * _PAD + _GAP, scale, room))
        return cls(columns, cell, scale, caption, cut)

    def rows(self, strip: Strip, sheets: Sequence[Sheet], pictures: Sequence[_Picture]) -> Iterator[Block]:
        """Yield the rows of frames."""
        high = self.caption + pictures[0].height * self.scale + 3 * _PAD
        frames = list(zip(strip.frames, sheets, pictures, strict=True))
        for start in range(0, len(frames), self.columns):
            ink: list[Ink] = []
            for i, (frame, sheet, picture) in enumerate(frames[start : start + self.columns]):
                x = i * (self.cell + _GAP)
                ink += moved([self._frame(frame, sheet, picture, start + i, high)], x, 0)
            yield Block(high + _GAP, tuple(ink))

    def _frame(self, frame: Frame, sheet: Sheet, picture: _Picture, number: int, high: float) -> Group:
        wrong = bool(frame.findings or self.cut[number])
        edge = Rect(
            0,
            0,
            round(self.cell, 2),
            round(high, 2),
            ALARM if wrong else RULE,
            "#ffffff",
            2.4 if wrong else 0.8,
        )
        ink: list[Ink] = [edge]
        y = _PAD
        for text, bold in _caption(frame, sheet, self.cut[number], self.cell, number):
            y += _LEAD if bold else 9.5
            size = _CAPTION if bold else _TOLD
            is_finding = wrong and text.startswith(("FINDING", "CUT OFF"))
            colour = ALARM if is_finding else INK if bold else FAINT
            ink.append(line(_PAD, y - 3, text, size=size, bold=bold, colour=colour, role="caption"))
        inside = moved(scaled(picture.ink, self.scale), _PAD, self.caption + 2 * _PAD)
        ink.append(Group(str(number), "frame-picture", "", inside))
        data = (
            ("step", frame.step or ""),
            ("time", format_instant(frame.time)),
            ("findings", " ".join(map(str, frame.findings))),
        )
        return Group(str(number), "frame", frame_title(frame), tuple(ink), data)


def _newly_cut_off(sheets: Sequence[Sheet]) -> list[tuple[str, ...]]:
    """Return of each frame which volumes are cut off in it that weren't in the one before."""
    before: set[str] = set()
    found = []
    for sheet in sheets:
        bars = [bar for box in sheet.boxes for bar in box.bars]
        now = [bar.key for bar in bars if bar.look is Look.CUT_OFF and any(bar.texts)]
        found.append(tuple(key for key in now if key not in before))
        before = set(now)
    return found


def _verdict(strip: Strip) -> str:
    """Return what the whole plan's findings are, the gravest first."""
    counted = Counter(mark.word for mark in strip.findings if not mark.excused)
    if not counted:
        return "no finding"
    order = ["impossible", *SEVERITIES.values()]
    said = ", ".join(f"{counted[word]} {word}" for word in sorted(counted, key=order.index))
    return f"{count(counted.total(), 'finding')}: {said}"


def _for_rows(high: float, beside: float, scale: float, room: float) -> float:
    """Return the scale at which as many rows fill a page as do with pictures that are a little smaller."""
    rows = max(1, int(room // (beside + high * max(_SMALLEST, 0.8 * scale))))
    return max(0.1, (room / rows - beside) / high)


def _caption(
    frame: Frame, sheet: Sheet, cut: Sequence[str], cell: float, number: int
) -> list[tuple[str, bool]]:
    """Return the lines over a frame, each with whether it is bold."""
    room = cell - 2 * _PAD
    lines = [(text, True) for text in wrapped(f"{number}  {frame_title(frame)}", room, _CAPTION, bold=True)]
    if frame.findings:
        said = f"FINDING {', '.join(map(str, frame.findings))}"
        lines += [(text, True) for text in wrapped(said, room, _CAPTION, bold=True)]
    if cut:
        said = f"CUT OFF: {say_list(cut)}"
        lines += [(text, True) for text in wrapped(said, room, _CAPTION, bold=True)]
    for word, links in (("makes", frame.begun), ("breaks", frame.ended)):
        if links:
            lines += [(text, False) for text in wrapped(f"{word} {', '.join(links)}", room, _TOLD)]
    notes = [f"{note.number}: {note.text}" for note in sheet.notes if note.number]
    if notes:
        told = wrapped(f"flags in it: {'; '.join(notes)}", room, _TOLD)
        if len(told) > _MOST_TOLD:
            told = [
                *told[: _MOST_TOLD - 1],
                cut_to(f"{told[_MOST_TOLD - 1]} {told[_MOST_TOLD]}", room, _TOLD),
            ]
        lines += [(text, False) for text in told]
    return lines


def _findings(strip: Strip, width: float) -> Iterator[Block]:
    """Yield the findings, with which of them come with a step that no frame shows."""
    if not strip.findings:
        return
    yield Block(18, (line(0, 12, "Findings of the whole plan", size=11, bold=True, role="section"),))
    for mark in strip.findings:
        step = f"step {mark.step}" if mark.step else "no step"
        when = "before it begins" if mark.time is None else format_instant(mark.time)
        where = " (in no frame)" if mark.number in strip.elsewhere else ""
        text = f"{mark.label}  {mark.headline}  [{mark.rule}]  {step}, {when}{where}"
        lines = wrapped(text, width - 30, 8)
        ink: list[Ink] = [line(0, 9, str(mark.number), size=8.5, bold=True, colour=ALARM)]
        ink += [line(26, 9 + 10 * i, one, size=8) for i, one in enumerate(lines)]
        yield Block(10 * len(lines) + 5, (Group(str(mark.number), "finding-text", "", tuple(ink)),))


def _legend(width: float) -> Block:
    said = (
        "Each frame is what is so after its step; 0 is what is so before. Signed since the frame before:"
        " + only now, \N{EN DASH} only before (dashed), \N{NOT EQUAL TO} changed. A thick edge: a finding comes with"
        " it, or a volume is newly cut off in it."
    )
    lines = wrapped(said, width, 7.5)
    ink = [line(0, 10 + 9 * i, text, size=7.5, colour=FAINT, role="legend") for i, text in enumerate(lines)]
    return Block(9 * len(lines) + 8, tuple(ink))
