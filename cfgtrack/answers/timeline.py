"""A plan, or an outing as it was recorded, over time: who does what when, which clocks run, what holds a unit."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past
from cfgtrack.answers.proposing import proposed
from cfgtrack.model.action import BEGIN, BOOK_ACTIONS, END
from cfgtrack.model.event import Event
from cfgtrack.model.sequence import Schedule
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import LATEST, Instant
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.model.unknown import UNKNOWN, expect_thing, find, no_such
from cfgtrack.rules.breach import words
from cfgtrack.rules.finding import Finding

if TYPE_CHECKING:
    from cfgtrack.analysis.check import CheckReport
    from cfgtrack.analysis.timeline import ClockSpan, HoldSpan

MOST_UNITS = 6
"""Of so many units it is told what holds them, where nobody names one."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A step from its `start` to its `end`, when its action happens; of what was recorded only that moment is known.

    `step` is the id of the step, or of the event. `lane` is its track, or who did it.
    """

    step: str
    outing: str
    lane: str
    doer: str
    start: Instant
    end: Instant
    action: str
    title: str = ""
    possible: bool = True


@dataclass(frozen=True, slots=True)
class Waiting:
    """That a step starts only when one of another track has ended. `doer`: who does both, where that is why."""

    step: str
    waits_for: str
    doer: str = ""


@dataclass(frozen=True, slots=True)
class Marked:
    """A finding, by its `number` in the picture: at its `time`, None for what was broken before it begins.

    `mix`: the durations with which it first comes; `excused`: it is under a variance.
    """

    number: int
    time: Instant | None
    until: Instant | None
    step: str | None
    rule: str
    category: str | None
    headline: str
    mix: str = ""
    excused: bool = False

    @property
    def word(self) -> str:
        """How bad it is, in a word."""
        return self.category or "impossible"

    @property
    def label(self) -> str:
        """What stands before it in a list: how bad it is, and whether it is excused."""
        return self.word.upper() + (" (under a variance)" if self.excused else "")


@dataclass(frozen=True, slots=True)
class OutingSpan:
    """An outing from its `start` to its `end`, with its `budget` in microseconds."""

    id: str
    title: str
    start: Instant
    end: Instant
    budget: int | None = None


@dataclass(frozen=True, slots=True)
class StopSpan:
    """Whether the work may stop after a step (None: before the first): yes, no, or until a time."""

    step: str | None
    time: Instant
    may: str
    until: Instant | None


@dataclass(frozen=True, slots=True)
class Timeline(Answer):
    """What is done over time, with what goes on beside it. `recorded`: as it was recorded, else as it is planned.

    `holds` tells of some units span by span what holds them; `more_units` are further ones whose holds change.
    `verdict` is that of the check in words, "" for what was recorded.
    """

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "more_units")

    title: str
    recorded: bool
    verdict: str
    outings: tuple[OutingSpan, ...]
    bars: tuple[Bar, ...]
    waits: tuple[Waiting, ...]
    clocks: tuple[ClockSpan, ...]
    holds: tuple[HoldSpan, ...]
    findings: tuple[Marked, ...]
    stops: tuple[StopSpan, ...] = ()
    more_units: tuple[str, ...] = ()


def timeline(
    asking: Asking,
    sequence: Path | None = None,
    *,
    outing: str | None = None,
    unit: str | None = None,
    with_stops: bool = False,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> Timeline:
    """Return a sequence file, else what is left of the plan in force, over time, with likely durations.

    Of one `outing` alone, if that is asked, and with what holds one `unit`. NoAnswer for no such outing or unit.
    """
    from cfgtrack.analysis.course import course_of
    from cfgtrack.analysis.timeline import clock_spans, hold_spans
    from cfgtrack.answers.check import judged

    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        plan = proposed(past, sequence)
        proposal, rules = plan.sequence, past.rules
        if outing is not None:
            find("outing", outing, {one.id: one for one in proposal.outings})
        report = judged(past, rules, proposal)
        course = course_of(past.configuration, proposal, past.moment.at, past.begun)
        events = list(course.events)
        clocks = clock_spans(past.ready(rules)(events), events, whole=proposal.whole)
        units, more = _units(past, events, unit)
        titles = {one.id: one for one in proposal.outings}
        spans = [
            OutingSpan(name, titles[name].title, *span, titles[name].budget)
            for name, span in report.layout.spans.items()
            if outing in (None, name) and any(step.outing == name for step in proposal.steps)
        ]
        start, end = (min(s.start for s in spans), max(s.end for s in spans)) if spans else (0, 0)
        points = _stops(past, proposal, tell) if with_stops else ()
        kept = {span.id for span in spans}
        bars = tuple(bar for bar in _bars(report, proposal) if bar.outing in kept)
        latest = end if outing is not None else LATEST
        return Timeline(
            past.moment,
            report.title,
            False,
            _verdict(report, outing),
            tuple(spans),
            bars,
            tuple(_waits(proposal, past, kept)),
            tuple(
                c
                for c in _counted(clocks, report)
                if c.started <= end and (c.ended > start or c.started >= start)
            ),
            tuple(
                h
                for h in hold_spans(past.configuration, events, units, start, end)
                if h.end > start and h.start <= end
            ),
            tuple(marked(report, {bar.step for bar in bars}, start, latest)),
            tuple(p for p in points if outing is None or start <= p.time <= end),
            more,
            notes=plan.notes,
        )


def _verdict(report: CheckReport, outing: str | None) -> str:
    """Return the verdict in words: of the whole plan, whatever of it is drawn."""
    whole = "" if outing is None else ", of the whole plan"
    return f"{report.verdict} {report.said_for}{whole}"


def _units(past: Past, events: Sequence[Event], unit: str | None) -> tuple[list[str], tuple[str, ...]]:
    """Return of which units it is told what holds them, and the further ones."""
    from cfgtrack.analysis.timeline import held_units

    if unit is not None:
        found = expect_thing(past.plant, unit).partition(":")[0]
        if found not in past.plant.units:
            raise NoAnswer(Problem("--unit", UNKNOWN, no_such("unit", unit, past.plant.units)))
        return [found], ()
    every = list(held_units(past.configuration, events))
    return every[:MOST_UNITS], tuple(every[MOST_UNITS:])


def _bars(report: CheckReport, proposal: Proposal) -> Iterator[Bar]:
    titles = {step.id: step.title for step in proposal.steps}
    for one in report.steps:
        doer = one.done.by or ""
        yield Bar(
            one.step,
            one.outing,
            one.track,
            doer,
            one.start,
            one.end,
            one.action,
            titles[one.step],
            one.possible,
        )


def _waits(proposal: Proposal, past: Past, outings: set[str]) -> Iterator[Waiting]:
    """Yield the waits of steps for such of other tracks within an outing."""
    steps = {step.id: step for step in proposal.steps}
    schedule = Schedule(proposal, past.moment.at, past.begun)
    doers = {(wait.step, wait.waits_for): wait.doer for wait in schedule.doer_waits}
    for step in proposal.steps:
        for name in dict.fromkeys(schedule.waits[step.id]):
            other = steps[name]
            if step.outing in outings and other.outing == step.outing and other.track != step.track:
                yield Waiting(step.id, name, doers.get((step.id, name), ""))


def _counted(clocks: Iterable[ClockSpan], report: CheckReport) -> Iterator[ClockSpan]:
    """Yield clocks, those marked that the check says are left running."""
    left = {(one.rule, one.subject, one.started) for one in report.left_running}
    for clock in clocks:
        yield replace(clock, counts=True) if (clock.rule, clock.subject, clock.started) in left else clock


def marked(
    report: CheckReport, steps: Collection[str] = (), start: int = 0, end: int = LATEST
) -> Iterator[Marked]:
    """Yield the findings of a check that are of some `steps`, or come from `start` to `end`, by numbers.

    What is open before comes first, then the new ones as they come.
    """
    found = [_mark(finding, None) for finding in (*report.past, *report.open)]
    found += [_mark(finding, finding.time, mix=finding.mix) for finding in report.new]
    found += [
        _mark(finding, finding.time if finding.time >= report.start else None, excused=True)
        for finding in report.excused
    ]
    found.sort(key=lambda one: (one.time is not None, one.time or 0, one.excused))
    here = (one for one in found if one.time is None or one.step in steps or start <= one.time <= end)
    for number, one in enumerate(here, 1):
        yield replace(one, number=number)


def _mark(finding: Finding, time: int | None, *, mix: str = "", excused: bool = False) -> Marked:
    return Marked(
        0,
        time,
        finding.until,
        finding.step,
        finding.rule,
        finding.category,
        finding.headline,
        mix,
        excused,
    )


def _stops(past: Past, proposal: Proposal, tell: Callable[[int, int], object]) -> tuple[StopSpan, ...]:
    from cfgtrack.analysis.stops import stop_points

    report = stop_points(
        past.rules,
        past.start_for(past.rules),
        proposal,
        variances=past.variances,
        networks=past.networks,
        begun=past.begun,
        recorded=past.start,
        tell=tell,
    )
    return tuple(StopSpan(point.step, point.time, point.may.value, point.until) for point in report.points)


# --- as it was recorded -------------------------------------------------------------------------------------------


def recorded_timeline(asking: Asking, *, outing: str | None = None, unit: str | None = None) -> Timeline:
    """Return an outing as it was recorded, over time; without one that is named, the last that has begun.

    NoAnswer where no outing is recorded, or not that one, or where the plant was revised within it.
    """
    from cfgtrack.analysis.timeline import clock_spans, hold_spans

    with asking.read() as journal:
        now = Past(journal, asking.moment(journal), strict=False)
        spans = _recorded_outings(now)
        if not spans:
            raise NoAnswer(Problem("--as-run", UNKNOWN, "no outing is recorded to have begun"))
        span = find("outing", outing, spans) if outing is not None else list(spans.values())[-1]
        dates = journal.dates_of_effect(now.moment.known)
        if any(span.start < date <= span.end for date in dates):
            sentence = f"the plant was revised within outing {span.id}"
            raise NoAnswer(Problem("--as-run", "plant-changed", sentence))
        past = Past(journal, replace(now.moment, at=span.start - 1), strict=False)
        entries = journal.entries(at=span.end, known=now.moment.known, since=span.start - 1)
        events = [e.event for e in entries if e.event.action not in BOOK_ACTIONS and not e.event.initial]
        rules = past.rules
        engine = past.ready(rules)(events)
        noted = engine.noted
        clocks = clock_spans(engine, events, whole=False)
        found = [f for f in engine.findings(noted) if f.time <= span.end]
        units, more = _units(past, events, unit)
        marks = (
            replace(_mark(finding, finding.time), number=number)
            for number, finding in enumerate(sorted(found, key=lambda f: (f.time, f.severity, f.rule)), 1)
        )
        return Timeline(
            now.moment,
            f"Outing {span.id} as recorded",
            True,
            "",
            (span,),
            tuple(_recorded_bars(events, span)),
            (),
            tuple(clocks),
            tuple(hold_spans(past.configuration, events, units, span.start, span.end)),
            tuple(marks),
            (),
            more,
        )


def _recorded_outings(past: Past) -> dict[str, OutingSpan]:
    """Return the outings that have begun, as they are recorded, in the order in which they began."""
    at, known = past.moment.at, past.moment.known
    hours = sorted(past.journal.hours(at=at, known=known).values(), key=lambda one: one.began)
    return {
        one.outing: OutingSpan(one.outing, "", one.began, at if one.ended is None else one.ended)
        for one in hours
    }


def _recorded_bars(events: Iterable[Event], span: OutingSpan) -> Iterator[Bar]:
    for event in events:
        if event.action not in (BEGIN, END):
            doer = event.by or ""
            said = words(event)
            yield Bar(
                event.step or event.id,
                span.id,
                doer,
                doer,
                event.happened,
                event.happened,
                said,
                event.remark or "",
            )
