"""A timeline: an outing after the other, each with a lane a track, and below them what holds a unit, and the clocks.

All outings have one scale, so that lengths compare; what lies between them is cut out, and a torn line says how long
it is. Whatever has no room for its name has a number, and the list below the lanes tells what it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from cfgtrack.model.time import MINUTE, format_duration, format_instant
from cfgtrack.model.zone import local_text
from cfgtrack.show.drawing.axis import Axis, clock_time, day_of, depths, moment, rows_of
from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Page, Path, Rect, Text
from cfgtrack.show.drawing.leaves import MARGIN, Block, moved, one_page, pages
from cfgtrack.show.drawing.lettering import cut_to, fits, line, measure, wrapped
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK

if TYPE_CHECKING:
    from cfgtrack.analysis.timeline import ClockSpan, HoldSpan
    from cfgtrack.answers.timeline import Bar, Marked, OutingSpan, Timeline

WIDTH = 1120.0
"""How wide a timeline is where no paper says."""

LINES = "#8a97a3"
BAR = "#e3ebf2"
HOLD = "#e9e4d6"
CLOCK = "#31566f"
WHITE = "#ffffff"

_NAMES = 112.0
_BAR_HEIGHT = 14.0
_ROW = 8.5
_SMALL = 6.5
_LIST = 7.5
_SHORTEST = 20 * MINUTE
_COLUMNS = 3


def timeline_pages(
    timeline: Timeline, *, title: str = "", width: float = WIDTH, height: float | None = None
) -> tuple[Page, ...]:
    """Return a timeline on one page that is as high as it must be; or, with a height, on as many as it takes."""
    drawing = _Drawing(timeline, width - 2 * MARGIN)
    said = title or timeline.title or "Timeline"
    blocks = [*drawing.head(said), *drawing.outings(), *drawing.findings(), drawing.legend()]
    return (one_page(blocks, width, said),) if height is None else pages(blocks, width, height, said)


@dataclass(frozen=True, slots=True)
class _Lane:
    """What stands in a lane: its ink, from y = 0 down, and how high it is."""

    name: str
    ink: tuple[Ink, ...]
    height: float
    sort: str
    bottom: float = 0.0


class _Drawing:
    """A timeline that is being drawn into a width."""

    def __init__(self, timeline: Timeline, width: float) -> None:
        self.timeline, self.width = timeline, width
        longest = max((span.end - span.start for span in timeline.outings), default=0)
        self.per_point = max(longest, _SHORTEST) / (width - _NAMES - 14)
        self.numbers: dict[str, int] = {}
        for span in timeline.outings:
            bars = (bar for lane in self._lanes(span.id).values() for bar in lane)
            self.numbers.update((bar.step, number) for number, bar in enumerate(bars, 1))
        self.wrong_steps: dict[str, list[int]] = {}
        for mark in timeline.findings:
            if mark.step is not None:
                self.wrong_steps.setdefault(mark.step, []).append(mark.number)

    def _lanes(self, outing: str) -> dict[str, list[Bar]]:
        lanes: dict[str, list[Bar]] = {}
        for bar in self.timeline.bars:
            if bar.outing == outing:
                lanes.setdefault(bar.lane, []).append(bar)
        return {name: sorted(some, key=lambda b: (b.start, b.end)) for name, some in lanes.items()}

    # --- the head -------------------------------------------------------------------------------------------------

    def head(self, title: str) -> Iterator[Block]:
        """Yield the title, the verdict in one line, and the moment that it is for."""
        timeline = self.timeline
        ink: list[Ink] = [
            line(0, 14, cut_to(title, self.width, 15, bold=True), size=15, bold=True, role="title")
        ]
        y = 31.0
        counting = [m for m in timeline.findings if not m.excused]
        count = f"{len(counting)} {'finding' if len(counting) == 1 else 'findings'}"
        left = sum(clock.counts for clock in timeline.clocks)
        clocks = f", {left} {'clock' if left == 1 else 'clocks'} left running" if left else ""
        excused = len(timeline.findings) - len(counting)
        under = f", {excused} more under a variance" if excused else ""
        verdict = timeline.verdict[:1].upper() + timeline.verdict[1:]
        here = "" if "whole plan" not in verdict else "here "
        said = f"{verdict}: {here}{count}{clocks}{under}" if verdict else f"As recorded: {count}{under}"
        colour = ALARM if counting or left else INK
        ink.append(line(0, y, said, size=10, bold=True, colour=colour, role="verdict"))
        y += 13
        times = (
            "with likely durations"
            if not timeline.recorded
            else "as recorded: only when each was done is known"
        )
        for text in wrapped(f"{timeline.moment}; {times}; all times UTC", self.width, 8):
            ink.append(line(0, y, text, size=8, colour=FAINT, role="moment"))
            y += 10
        yield Block(y + 2, tuple(ink))

    # --- outings ----------------------------------------------------------------------------------------------------

    def outings(self) -> Iterator[Block]:
        """Yield the outings, and what lies between them."""
        before: OutingSpan | None = None
        for span in self.timeline.outings:
            yield self._break(before, span)
            yield self._outing(span)
            yield from self._steps(span)
            before = span
        last = self._between(before.end if before else None, None)
        if last:
            yield self._torn("afterwards", last)

    def _between(self, start: int | None, end: int | None) -> list[Marked]:
        """Return the findings at moments that lie in no outing: after a `start`, before an `end`."""
        return [
            m
            for m in self.timeline.findings
            if m.time is not None and (start is None or m.time > start) and (end is None or m.time < end)
        ]

    def _break(self, before: OutingSpan | None, span: OutingSpan) -> Block:
        marks = self._between(None if before is None else before.end, span.start)
        if before is None and not marks:
            return Block(4, ())
        gap = "" if before is None else format_duration(max(0, span.start - before.end) // MINUTE * MINUTE)
        return self._torn(f"{gap} cut out" if gap else "before", marks)

    def _torn(self, text: str, marks: Sequence[Marked]) -> Block:
        """Return a torn line across, with what was cut out, and which findings come in it."""
        y, size = 9.0, 8.0
        half = measure(text, size) / 2 + 8
        middle = _NAMES + (self.width - _NAMES) / 2
        teeth = [*_teeth(0, middle - half, y)], [*_teeth(middle + half, self.width, y)]
        ink: list[Ink] = [Path(tuple(some), stroke=LINES, thickness=0.8, role="break") for some in teeth]
        ink.append(line(middle, y + 3, text, size=size, colour=FAINT, anchor=Anchor.MIDDLE, role="break"))
        if not marks:
            return Block(20, tuple(ink))
        rows = [f"at {format_instant(m.time or 0)}" for m in marks]
        x, y = _NAMES, y + 18
        for mark, said in zip(marks, rows, strict=True):
            needs = self._pill_width(str(mark.number)) + 4 + measure(said, 7) + 14
            if x + needs > self.width and x > _NAMES:
                x, y = _NAMES, y + 14
            group = self._pill(x + self._pill_width(str(mark.number)) / 2, y, [mark])
            ink += [
                group,
                line(x + self._pill_width(str(mark.number)) + 4, y + 2.5, said, size=7, colour=ALARM),
            ]
            x += needs
        return Block(y + 12, tuple(ink))

    def _outing(self, span: OutingSpan) -> Block:
        axis = Axis(span.start, max(span.end, span.start + 1), _NAMES, self.per_point)
        day = day_of(span.start)
        took = span.end - span.start
        title = f"{span.id}  {span.title}".strip()
        told = f"{day} {clock_time(span.start)} to {moment(span.end, day)} UTC, {_minutes(took)}"
        if span.budget is not None:
            over = took > span.budget
            left = f"{_minutes(abs(span.budget - took))} {'TOO LONG' if over else 'left'}"
            told += f" of {format_duration(span.budget)}, {left}"
        said = cut_to(title, self.width - measure(told, 8) - 20, 11, bold=True)
        ink: list[Ink] = [
            line(0, 11, said, size=11, bold=True, role="outing"),
            line(self.width, 11, told, size=8, anchor=Anchor.END, role="outing"),
        ]
        y = 39.0 if self.timeline.moment.zone else 30.0
        lanes = [*self._all_lanes(span, axis)]
        bottom = y + sum(lane.height for lane in lanes)
        marks = [m for m in self.timeline.findings if m.time is not None and span.start <= m.time <= span.end]
        block, high = self._finding_lane(axis, marks, bottom - y) if marks else ([], 0.0)
        ink += self._grid(axis, y, bottom + high)
        if marks:
            ink += _down(block, y)
            y += high
        tops: dict[str, float] = {}
        drawn: list[Ink] = []
        sort = ""
        for lane in lanes:
            if lane.sort != sort:
                drawn.append(Path(((0, y), (self.width, y)), stroke=LINES, thickness=0.8, role="section"))
                sort = lane.sort
            tops[lane.name if lane.sort == "track" else ""] = y
            drawn += _down(lane.ink, y)
            y += lane.height
        ink += self._connectors(span, axis, tops)
        ink += drawn
        ink.append(Path(((0, y), (self.width, y)), stroke=LINES, thickness=0.8, role="section"))
        return Block(y + 8, tuple(ink))

    def _grid(self, axis: Axis, top: float, bottom: float) -> Iterator[Ink]:
        for tick in axis.ticks(46):
            x = axis.at(tick)
            yield Path(((x, top - 4), (x, bottom)), stroke="#e2e6ea", thickness=0.6, role="tick")
            yield line(x, top - 6, clock_time(tick), size=7, colour=FAINT, anchor=Anchor.MIDDLE, role="tick")
        yield line(0, top - 6, "UTC", size=7, colour=FAINT, role="axis")
        if self.timeline.moment.zone:
            yield from self._local_times(axis, top - 15)

    def _local_times(self, axis: Axis, y: float) -> Iterator[Ink]:
        """Write the local time over each time of the axis, with its offset wherever that is another than at first."""
        said = {tick: local_text(tick, self.timeline.moment.zone).split() for tick in axis.ticks(46)}
        first = local_text(axis.start, self.timeline.moment.zone).split()[1]
        yield line(0, y, f"local {first}", size=7, colour=FAINT, role="axis")
        for tick, (clock, offset, *_) in said.items():
            text = clock if offset == first else f"{clock} {offset}"
            yield line(axis.at(tick), y, text, size=7, colour=FAINT, anchor=Anchor.MIDDLE, role="local tick")

    def _all_lanes(self, span: OutingSpan, axis: Axis) -> Iterator[_Lane]:
        for name, bars in self._lanes(span.id).items():
            yield self._track(name, bars, axis)
        yield from self._stop_lane(span, axis)
        yield from self._hold_lanes(span, axis)
        yield from self._clock_lanes(span, axis)

    # --- tracks -----------------------------------------------------------------------------------------------------

    def _track(self, name: str, bars: Sequence[Bar], axis: Axis) -> _Lane:
        """Return the lane of a track: its bars, what fits into them, and numbers that hang from the others."""
        y = 3.0
        middle = y + _BAR_HEIGHT / 2
        ink: list[Ink] = []
        ink += self._idle(bars, axis, middle)
        hanging: list[tuple[Bar, float]] = []
        for bar in bars:
            left, right = axis.at(bar.start), axis.at(bar.end)
            group, has_label = self._bar(bar, left, right, y)
            ink.append(group)
            if not has_label:
                hanging.append((bar, left))
        size = _SMALL
        labels = [str(self.numbers[bar.step]) for bar, _ in hanging]
        deep = depths(
            [(x - 1, measure(text, size) + 1) for (_, x), text in zip(hanging, labels, strict=True)], 1.5
        )
        for (_, x), text, row in zip(hanging, labels, deep, strict=True):
            base = y + _BAR_HEIGHT + 7 + row * _ROW
            ink.append(Path(((x, y + _BAR_HEIGHT), (x, base)), stroke=LINES, thickness=0.5, role="leader"))
            ink.append(_plate(x + 1, base, text, size))
            ink.append(line(x + 1, base, text, size=size, role="step-number"))
        high = y + _BAR_HEIGHT + 4 + (max(deep, default=-1) + 1) * _ROW
        who = {bar.doer for bar in bars} - {""}
        label = name or "by nobody named"
        said = [cut_to(label, _NAMES - 8, 9, bold=True)]
        ink.insert(0, line(0, middle + 3, said[0], size=9, bold=True, role="lane"))
        if len(who) == 1 and who != {name}:
            ink.insert(
                1, line(0, middle + 11, cut_to(f"by {who.pop()}", _NAMES - 8, 7), size=7, colour=FAINT)
            )
            high = max(high, middle + 15)
        return _Lane(name, tuple(ink), high, "track")

    def _idle(self, bars: Sequence[Bar], axis: Axis, middle: float) -> Iterator[Ink]:
        """Yield a dotted line where a track waits between two steps, with for how long where there is room."""
        if self.timeline.recorded:
            yield Path(
                ((axis.x, middle), (axis.right, middle)), stroke=LINES, thickness=0.6, role="lane-line"
            )
            return
        ends = [axis.start]
        for bar in bars:
            if bar.start > max(ends):
                yield from self._wait(max(ends), bar.start, axis, middle)
            ends.append(bar.end)
        if max(ends) < axis.end:
            yield from self._wait(max(ends), axis.end, axis, middle)

    def _wait(self, start: int, end: int, axis: Axis, middle: float) -> Iterator[Ink]:
        left, right = axis.at(start), axis.at(end)
        said = f"idle {_minutes(end - start)}"
        path = Path(
            ((left, middle), (right, middle)), stroke=LINES, thickness=0.8, dash=(1.5, 2.5), role="idle"
        )
        ink: list[Ink] = [path]
        if measure(said, _SMALL) + 10 < right - left:
            ink.append(_on_white((left + right) / 2, middle + 2.2, said, _SMALL, FAINT))
        data = (("start", format_instant(start)), ("end", format_instant(end)))
        yield Group("", "idle", said, tuple(ink), data)

    def _bar(self, bar: Bar, left: float, right: float, y: float) -> tuple[Group, bool]:
        """Return the bar of a step, and whether it has room for what it is."""
        number = self.numbers[bar.step]
        wrong = self.wrong_steps.get(bar.step, [])
        ink: list[Ink] = []
        stroke, thickness = (ALARM, 1.8) if wrong or not bar.possible else ("#4a5b6a", 0.8)
        has_label = False
        if bar.start == bar.end:
            points = ((left, y), (left + 3.5, y + 7), (left, y + 14), (left - 3.5, y + 7))
            ink.append(Path(points, stroke=stroke, thickness=thickness, fill=BAR, closed=True, role="step"))
        else:
            width = max(right - left, 1.0)
            dash = () if bar.possible else (3.0, 2.0)
            fill = BAR if bar.possible else WHITE
            ink.append(
                Rect(
                    round(left, 2),
                    y,
                    round(width, 2),
                    _BAR_HEIGHT,
                    stroke,
                    fill,
                    thickness,
                    dash,
                    role="step",
                )
            )
            room = width - 3
            for text, size in (
                (f"{bar.step} {bar.action}", _SMALL),
                (bar.step, _SMALL),
                (str(number), _SMALL),
            ):
                if fits(text, room, size):
                    x = left + width / 2
                    label = line(x, y + 9.3, text, size=size, anchor=Anchor.MIDDLE, role="step-label")
                    ink.append(_inside(label, (left, y, width, _BAR_HEIGHT)))
                    has_label = True
                    break
        said = f"{number}. {bar.step} {clock_time(bar.start)} to {clock_time(bar.end)}: {bar.action}"
        data = (
            ("lane", bar.lane),
            ("outing", bar.outing),
            ("start", format_instant(bar.start)),
            ("end", format_instant(bar.end)),
            *((("findings", " ".join(map(str, wrong))),) if wrong else ()),
            *(() if bar.possible else (("possible", "no"),)),
        )
        return Group(bar.step, "step", said, tuple(ink), data), has_label

    def _connectors(self, span: OutingSpan, axis: Axis, tops: Mapping[str, float]) -> Iterator[Ink]:
        """Yield a thin line for each wait that holds a step up: from the end of the one to the start of the other."""
        bars = {bar.step: bar for bar in self.timeline.bars if bar.outing == span.id}
        for wait in self.timeline.waits:
            one, other = bars.get(wait.waits_for), bars.get(wait.step)
            if one is None or other is None or not self._holds_up(one, other):
                continue
            x, middle = axis.at(other.start), 3.0 + _BAR_HEIGHT / 2
            down = tops[one.lane] < tops[other.lane]
            start = tops[one.lane] + (middle + _BAR_HEIGHT / 2 if down else middle - _BAR_HEIGHT / 2)
            end = tops[other.lane] + (middle - _BAR_HEIGHT / 2 if down else middle + _BAR_HEIGHT / 2)
            title = f"{wait.step} waits for {wait.waits_for}" + (
                f": {wait.doer} does both" if wait.doer else ""
            )
            path = Path(((x, start), (x, end)), stroke="#5d6f80", thickness=0.7, arrow=True, role="wait")
            yield Group(f"{wait.waits_for} {wait.step}", "wait", title, (path,))

    def _holds_up(self, one: Bar, other: Bar) -> bool:
        """Return whether a step starts just when another ends, and its own track had been free before."""
        own = [b.end for b in self.timeline.bars if b.outing == other.outing and b.lane == other.lane]
        return one.end == other.start and other.start not in own

    # --- findings ---------------------------------------------------------------------------------------------------

    def _finding_lane(self, axis: Axis, marks: Sequence[Marked], below: float) -> tuple[list[Ink], float]:
        """Return the marks of findings at their moments, each with a thin line down through the lanes."""
        several = [list(some) for _, some in groupby(marks, key=lambda m: m.time)]
        extents = []
        for some in several:
            half = self._pill_width(_span_of(some)) / 2
            x = axis.at(some[0].time or 0)
            extents.append((x - half, x + half))
        rows = rows_of(extents, 2)
        high = 16.0 * (max(rows) + 1) + 2
        ink: list[Ink] = [line(0, 12, "Findings", size=9, bold=True, colour=ALARM, role="lane")]
        for some, row in zip(several, rows, strict=True):
            x, y = axis.at(some[0].time or 0), 9 + 16 * row
            ink.append(
                Path(
                    ((x, y), (x, high + below)), stroke=ALARM, thickness=0.6, dash=(2, 2), role="finding-line"
                )
            )
        for some, row in zip(several, rows, strict=True):
            ink.append(self._pill(axis.at(some[0].time or 0), 9 + 16 * row, some))
        return ink, high

    def _pill_width(self, text: str) -> float:
        return max(13.0, measure(text, 7.5, bold=True) + 8)

    def _pill(self, x: float, y: float, marks: Sequence[Marked]) -> Group:
        """Return the mark of findings of one moment: their numbers on a rounded plate, pale where all are excused."""
        text = _span_of(marks)
        width = self._pill_width(text)
        excused = all(m.excused for m in marks)
        box = Rect(
            round(x - width / 2, 2),
            y - 6.5,
            round(width, 2),
            13,
            ALARM,
            WHITE if excused else ALARM,
            1.0,
            (2.0, 1.5) if excused else (),
            6.5,
            role="finding",
        )
        colour = ALARM if excused else WHITE
        label = line(
            x, y + 2.7, text, size=7.5, bold=True, colour=colour, anchor=Anchor.MIDDLE, role="finding"
        )
        said = "; ".join(f"{m.number}: {m.headline}" for m in marks)
        data = (
            ("numbers", " ".join(str(m.number) for m in marks)),
            ("time", format_instant(marks[0].time or 0)),
        )
        return Group("", "finding", said, (box, label), data)

    def findings(self) -> Iterator[Block]:
        """Yield the list of the findings, by the numbers that they are marked with."""
        if not self.timeline.findings:
            return
        yield Block(20, (line(0, 14, "Findings", size=11, bold=True, role="section"),))
        for mark in self.timeline.findings:
            when = "before it begins" if mark.time is None else format_instant(mark.time)
            ends = (
                f", until {format_instant(mark.until)}"
                if mark.until is not None and mark.time is not None
                else ""
            )
            step = f", step {mark.step}" if mark.step else ""
            mix = f", with durations {mark.mix}" if mark.mix not in ("", "likely") else ""
            head = f"{when}{ends}{step}{mix}"
            text = f"{mark.label}  {mark.headline}  [{mark.rule}]"
            lines = wrapped(text, self.width - 30, 8.5)
            ink: list[Ink] = [
                line(0, 10, str(mark.number), size=9, bold=True, colour=ALARM, role="finding-number")
            ]
            ink += [line(26, 10 + 11 * i, some, size=8.5) for i, some in enumerate(lines)]
            ink.append(line(26, 10 + 11 * len(lines), head, size=7.5, colour=FAINT))
            group = Group(str(mark.number), "finding-text", "", tuple(ink))
            yield Block(11 * len(lines) + 16, (group,))

    # --- may the work stop ------------------------------------------------------------------------------------------

    def _stop_lane(self, span: OutingSpan, axis: Axis) -> Iterator[_Lane]:
        """Yield the strip of whether the work may stop, where that was asked."""
        times = [p.time for p in self.timeline.stops[1:]] + [span.end]
        cells = [
            (p.may, p.until if p.may == "until" else None, max(p.time, span.start), min(end, span.end))
            for p, end in zip(self.timeline.stops, times, strict=False)
            if end > span.start and p.time < span.end and end > p.time
        ]
        if not cells:
            return
        ink: list[Ink] = [line(0, 11, "May the work stop", size=8, bold=True, role="lane")]
        merged = [
            (may, until, some[0][2], some[-1][3])
            for (may, until), group in groupby(cells, key=lambda c: c[:2])
            if (some := list(group))
        ]
        looks = {"yes": (WHITE, ()), "until": ("#f0f0f0", (3.0, 2.0)), "no": ("#d8d8d8", ())}
        for may, limit, start, end in merged:
            left, right = axis.at(start), axis.at(end)
            fill, dash = looks[may]
            said = f"until {moment(limit, day_of(start))}" if may == "until" and limit is not None else may
            parts: list[Ink] = [Rect(left, 3, right - left, 11, LINES, fill, 0.6, dash, role="stop")]
            shown = next((t for t in (said, may) if fits(t, right - left - 2, _SMALL)), "")
            if shown:
                label = line((left + right) / 2, 10.8, shown, size=_SMALL, anchor=Anchor.MIDDLE)
                parts.append(_inside(label, (left, 3, right - left, 11)))
            data = (("may", may), ("start", format_instant(start)), ("end", format_instant(end)))
            ink.append(Group("", "stop", f"may the work stop: {said}", tuple(parts), data))
        yield _Lane("May stop", tuple(ink), 18, "stop")

    # --- what holds a unit --------------------------------------------------------------------------------------------

    def _hold_lanes(self, span: OutingSpan, axis: Axis) -> Iterator[_Lane]:
        still: list[str] = []
        for unit, all_of in groupby(self.timeline.holds, key=lambda h: h.unit):
            here = [h for h in all_of if h.end > span.start and h.start < span.end]
            if len(here) == 1 and here[0].held:
                still.append(f"{unit}: {_held_by(here)}")
            elif here:
                yield self._hold_lane(unit, here, axis)
        if still:
            lines = wrapped("; ".join(still), self.width - _NAMES, 7.5)
            ink: list[Ink] = [line(0, 10, "Held all along", size=7.5, colour=FAINT, role="lane")]
            ink += [line(_NAMES, 10 + 9.5 * i, text, size=7.5, colour=FAINT) for i, text in enumerate(lines)]
            yield _Lane("", tuple(ink), 9.5 * len(lines) + 5, "hold")

    def _hold_lane(self, unit: str, spans: Sequence[HoldSpan], axis: Axis) -> _Lane:
        """Return the lane of a unit: what holds it from when to when, in one piece while it is by the same holders."""
        y = 3.0
        ink: list[Ink] = [
            line(0, y + 10, cut_to(unit, _NAMES - 8, 9, bold=True), size=9, bold=True, role="lane")
        ]
        hanging: list[tuple[float, str, bool]] = []
        for (_, held), some in groupby(spans, key=lambda h: (tuple(h.holders), h.held)):
            pieces = list(some)
            left, right = axis.at(pieces[0].start), axis.at(pieces[-1].end)
            said = _held_by(pieces)
            stroke, fill, thickness = ("#8a7f5f", HOLD, 0.8) if held else (ALARM, WHITE, 2.2)
            box = Rect(left, y, max(right - left, 1), _BAR_HEIGHT, stroke, fill, thickness, role="hold")
            parts: list[Ink] = [box]
            if not held:
                parts += [
                    Path(
                        ((x, y + _BAR_HEIGHT), (min(x + 5, right), y)),
                        stroke=ALARM,
                        thickness=0.7,
                        role="gap",
                    )
                    for x in _every(left, right - 1, 4)
                ]
            parts += [
                Path(
                    ((axis.at(p.start), y), (axis.at(p.start), y + _BAR_HEIGHT)), stroke=stroke, thickness=0.6
                )
                for p in pieces[1:]
            ]
            if held and fits(said, right - left - 4, _SMALL):
                # The ticks of joints made and broken don't run through the text.
                parts.append(_on_fill((left + right) / 2, y + 9.3, said, _SMALL, INK, fill))
            else:
                hanging.append((left, said, held))
            data = (
                ("unit", unit),
                ("start", format_instant(pieces[0].start)),
                ("end", format_instant(pieces[-1].end)),
                ("held", "yes" if held else "no"),
            )
            ink.append(Group(unit, "hold", f"{unit}: {said}", tuple(parts), data))
        limit = axis.x + (self.width - _NAMES)
        places = []
        for x, said, held in hanging:
            size = _SMALL if held else 8.0
            places.append((x - 1, min(measure(said, size, bold=not held), limit - x) + 2))
        deep = depths(places, 2)
        for (x, said, held), row in zip(hanging, deep, strict=True):
            size = _SMALL if held else 8.0
            base = y + _BAR_HEIGHT + 7.5 + row * _ROW
            colour = INK if held else ALARM
            ink.append(Path(((x, y + _BAR_HEIGHT), (x, base)), stroke=colour, thickness=0.5, role="leader"))
            shown = cut_to(said, limit - x - 2, size, bold=not held)
            ink.append(_plate(x + 1.5, base, shown, size, bold=not held))
            ink.append(line(x + 1.5, base, shown, size=size, bold=not held, colour=colour, role="hold"))
        high = y + _BAR_HEIGHT + 4 + (max(deep, default=-1) + 1) * _ROW
        return _Lane("", tuple(ink), high, "hold")

    # --- clocks -------------------------------------------------------------------------------------------------------

    def _clock_lanes(self, span: OutingSpan, axis: Axis) -> Iterator[_Lane]:
        """Yield the clocks that run in an outing, as many in a row as have room: first the name, below it the time."""
        here = [c for c in self.timeline.clocks if c.started <= span.end and c.ended >= span.start]
        alike: dict[tuple[object, ...], list[ClockSpan]] = {}
        for clock in here:
            name = (
                clock.rule,
                clock.started,
                clock.ended,
                clock.deadline,
                clock.end,
                clock.counts,
                clock.ended_by,
            )
            alike.setdefault(name, []).append(clock)
        drawn: list[tuple[float, float, str, list[ClockSpan]]] = []
        room = self.width - _NAMES
        for clocks in alike.values():
            clock = clocks[0]
            said = cut_to(_clock_text(clocks, span), room, 7, bold=_is_wrong(clock))
            left = axis.at(clock.started)
            right = max(
                axis.at(clock.ended if clock.deadline is None else clock.deadline), axis.at(clock.ended)
            )
            wide = measure(said, 7, bold=_is_wrong(clock))
            start = min(left, self.width - wide)
            drawn.append((min(left, start), max(right, start + wide), said, clocks))
        drawn.sort(key=lambda d: (d[0], d[1]))
        rows = rows_of([(left, right) for left, right, *_ in drawn], 8)
        for row in range(max(rows, default=-1) + 1):
            ink: list[Ink] = []
            if row == 0:
                ink.append(line(0, 12, "Clocks", size=9, bold=True, role="lane"))
                ink.append(line(0, 20, "from start to limit", size=6.5, colour=FAINT))
            for (left, _, said, clocks), of in zip(drawn, rows, strict=True):
                if of == row:
                    ink.append(self._clock(clocks, said, left, axis))
            yield _Lane("", tuple(ink), 22, "clock")

    def _clock(self, clocks: Sequence[ClockSpan], said: str, left: float, axis: Axis) -> Group:
        clock = clocks[0]
        wrong = _is_wrong(clock)
        colour = ALARM if wrong else CLOCK
        start, end = axis.at(clock.started), axis.at(clock.ended)
        y = 14.0
        ink: list[Ink] = [
            _plate(left, 9, said, 7, bold=wrong),
            line(left, 9, said, size=7, bold=wrong, colour=colour, role="clock"),
        ]
        ink.append(Rect(start, y - 2, max(end - start, 1), 4, colour, colour, 0.5, role="clock-ran"))
        if clock.deadline is not None:
            limit = axis.at(clock.deadline)
            if limit > end:
                ink.append(
                    Path(((end, y), (limit, y)), stroke=colour, thickness=0.9, dash=(3, 2), role="clock-left")
                )
            if clock.deadline <= axis.end:
                ink.append(
                    Path(((limit, y - 4), (limit, y + 4)), stroke=colour, thickness=2, role="clock-limit")
                )
            else:
                ink.append(_arrow(axis.right, y, 4, colour))
        if clock.started < axis.start:
            ink.append(_arrow(axis.x, y, -4, colour))
        if clock.end == "met":
            ink.append(Circle(round(end, 2), y, 3, colour, WHITE, 1.2, role="clock-met"))
        data = (
            ("rule", clock.rule),
            ("subjects", " ".join(c.subject for c in clocks)),
            ("start", format_instant(clock.started)),
            ("deadline", "" if clock.deadline is None else format_instant(clock.deadline)),
            ("end", format_instant(clock.ended)),
            ("how", str(clock.end)),
        )
        return Group(clock.rule, "clock", f"{clock.title}: {said}", tuple(ink), data)

    # --- lists ----------------------------------------------------------------------------------------

    def _steps(self, span: OutingSpan) -> Iterator[Block]:
        """Yield the list of an outing's steps, lane by lane, in columns."""
        column = (self.width - 14 * (_COLUMNS - 1)) / _COLUMNS
        waits: dict[str, list[str]] = {}
        for wait in self.timeline.waits:
            waits.setdefault(wait.step, []).append(wait.waits_for)
        rows: list[tuple[float, tuple[Ink, ...]]] = []
        for name, bars in self._lanes(span.id).items():
            head = cut_to(name or "by nobody named", column, 8, bold=True)
            told = [self._row(bar, waits.get(bar.step, []), column) for bar in bars]
            # The name of a lane stays with its first step.
            high, first = told[0]
            rows.append((13 + high, (line(0, 9, head, size=8, bold=True), *_down(first, 13))))
            rows += told[1:]
        total = sum(height for height, _ in rows)
        ink: list[Ink] = []
        x = y = high = 0.0
        number = 1
        for height, some in rows:
            if y > 0 and y + height / 2 > total / _COLUMNS and number < _COLUMNS:
                x, y, number = x + column + 14, 0.0, number + 1
            ink += [*_right(_down(some, y), x)]
            y += height
            high = max(high, y)
        yield Block(high + 10, tuple(ink))

    def _row(self, bar: Bar, waits: Sequence[str], width: float) -> tuple[float, tuple[Ink, ...]]:
        number = self.numbers[bar.step]
        times = clock_time(bar.start)
        times += f"-{clock_time(bar.end)}" if bar.end > bar.start else ""
        head = f"{bar.step}  {times}"
        indent = 20.0
        by = f" by {bar.doer}" if bar.doer and bar.doer != bar.lane else ""
        title = f": {bar.title}" if bar.title else ""
        after = f" (after {', '.join(waits)})" if waits else ""
        text = f"{head}  {bar.action}{by}{title}{after}"
        if not bar.possible:
            text = f"CAN'T BE DONE: {text}"
        lines = wrapped(text, width - indent, _LIST)
        wrong = bar.step in self.wrong_steps
        ink: list[Ink] = [
            line(indent - 4, 7, str(number), size=_LIST, colour=FAINT, anchor=Anchor.END, role="list")
        ]
        ink += [
            line(
                indent + (8 if i else 0),
                7 + 8.6 * i,
                one,
                size=_LIST,
                colour=ALARM if wrong else INK,
                role="list",
            )
            for i, one in enumerate(_hung(lines, width - indent - 8))
        ]
        return 8.6 * (len(ink) - 1) + 1, (Group(bar.step, "step-text", "", tuple(ink)),)

    def legend(self) -> Block:
        """Return what the signs mean, in words."""
        said = [
            "A bar is a step, from its start to its end; its action counts at the end.",
            "A number stands for the step of that number in the list below its outing.",
            "Dotted: a track is idle. An arrow from lane to lane: what a step is held up by.",
            "A clock: thick while it runs, dashed what was left, a stroke at its limit, a ring where it was met.",
            "A rounded plate: the findings of these numbers; dashed and white, they are under a variance.",
        ]
        if self.timeline.recorded:
            said[:3] = ["A rhomb is what was done at that moment, as recorded."]
        if self.timeline.more_units:
            said.append(
                f"What holds is not drawn of {', '.join(self.timeline.more_units)}: ask for one with --unit."
            )
        lines = [text for one in said for text in wrapped(one, self.width, 7)]
        ink = [line(0, 12 + 9 * i, text, size=7, colour=FAINT, role="legend") for i, text in enumerate(lines)]
        return Block(9 * len(lines) + 14, tuple(ink))


# --- pieces ---------------------------------------------------------------------------------------------------------


def _hung(lines: Sequence[str], width: float) -> list[str]:
    """Return lines with all but the first wrapped anew to a smaller width."""
    return [lines[0], *wrapped(" ".join(lines[1:]), width, _LIST)] if len(lines) > 1 else [*lines]


def _down(ink: Iterable[Ink], dy: float) -> tuple[Ink, ...]:
    return moved(ink, 0, dy)


def _right(ink: Iterable[Ink], dx: float) -> tuple[Ink, ...]:
    return moved(ink, dx, 0)


def _inside(text: Text, box: tuple[float, float, float, float]) -> Text:
    x, y, width, height = box
    return replace(text, within=(round(x, 2), round(y, 2), round(width, 2), round(height, 2)))


def _plate(x: float, y: float, text: str, size: float, *, bold: bool = False, fill: str = WHITE) -> Rect:
    """Return what lies under a text that begins at x, so that no line runs through it."""
    width = measure(text, size, bold=bold) + 1
    return Rect(
        round(x - 0.4, 2), round(y - 0.75 * size, 2), round(width, 2), size, "none", fill, 0, role="plate"
    )


def _on_fill(x: float, y: float, text: str, size: float, colour: str, fill: str) -> Group:
    """Return a text in the middle on a plate, so that no line runs through it."""
    plate = _plate(x - measure(text, size) / 2, y, text, size, fill=fill)
    return Group("", "label", "", (plate, line(x, y, text, size=size, colour=colour, anchor=Anchor.MIDDLE)))


def _on_white(x: float, y: float, text: str, size: float, colour: str) -> Group:
    return _on_fill(x, y, text, size, colour, WHITE)


def _arrow(x: float, y: float, length: float, colour: str) -> Path:
    """Return a small head that says that something goes on beyond an edge."""
    points = ((x, y - 3), (x + length, y), (x, y + 3))
    return Path(points, stroke=colour, thickness=0.5, fill=colour, closed=True, role="goes-on")


def _every(start: float, end: float, step: float) -> Iterator[float]:
    x = start
    while x < end:
        yield round(x, 2)
        x += step


def _teeth(left: float, right: float, y: float) -> Iterator[tuple[float, float]]:
    for i, x in enumerate(_every(left, right, 6)):
        yield x, y + (2.5 if i % 2 else -2.5)


def _span_of(marks: Sequence[Marked]) -> str:
    """Return the numbers of some marks in short: 3, 3-7, 3, 5."""
    numbers = [m.number for m in marks]
    if len(numbers) > 1 and all(b == a + 1 for a, b in pairwise(numbers)):
        return f"{numbers[0]}-{numbers[-1]}"
    return ", ".join(map(str, numbers))


def _minutes(duration: int) -> str:
    """Return a duration without the parts of a second."""
    return format_duration(round(duration / 1_000_000) * 1_000_000)


def _held_by(pieces: Sequence[HoldSpan]) -> str:
    """Return what holds a unit over spans with the same holders: by how many joints, from so many to so many."""
    first, last = pieces[0], pieces[-1]
    some = []
    for name, n in first.holders.items():
        then = last.holders[name]
        if not n:
            some.append(f"in {name}")
        elif n == then:
            some.append(f"{name} ({n} {'joint' if n == 1 else 'joints'})")
        else:
            some.append(f"{name} ({n} to {then} joints)")
    if first.held:
        return ", ".join(some) or "by its ends"
    span = _minutes(last.end - first.start)
    return f"HELD BY NOTHING for {span}" + (f", with {', '.join(some)}" if some else "")


def _is_wrong(clock: ClockSpan) -> bool:
    """Return whether a clock ran out, or is left running: it is written in bold."""
    return clock.counts or clock.end == "ran out"


def _clock_text(clocks: Sequence[ClockSpan], span: OutingSpan) -> str:
    """Return what is told of a clock: of what, what was left, what ended it."""
    clock = clocks[0]
    day = day_of(span.start)
    subjects = [c.subject for c in clocks if c.subject]
    whom = ", ".join(subjects[:3]) + (f" and {len(subjects) - 3} more" if len(subjects) > 3 else "")
    said = f"{clock.rule} {whom}".strip()
    if clock.started < span.start:
        said += f", since {moment(clock.started, day)}"
    limit = "no limit" if clock.deadline is None else f"limit {moment(clock.deadline, day)}"
    by = f" by {_step(clock.ended_by)}" if clock.ended_by else ""
    left = "" if clock.left is None else f", {_minutes(clock.left)} left"
    if clock.end == "ran out":
        return f"{said}: RAN OUT at {moment(clock.ended, day)}"
    if clock.end == "still running":
        return f"{said}: {'LEFT RUNNING' if clock.counts else 'still runs at the end'}{left}, {limit}"
    if clock.ended > span.end:
        return f"{said}: runs on, met {moment(clock.ended, day)}{by}{left}, {limit}"
    return f"{said}: met{by}{left}, {limit}"


def _step(event: str) -> str:
    """Return the step that an event is, in a proposal; else the event, or which outing begins or ends with it."""
    head, _, rest = event.partition(":")
    return rest if head == "step" and rest else event.replace(":", " ") if head in ("begin", "end") else event
