"""What an event means at once: rules it breaks, clocks it starts, remarks it meets, what is open where it is done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from cfgtrack.answers.moment import Moment, now_of
from cfgtrack.answers.past import Past
from cfgtrack.model.approval import person_named
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.trouble import Unfollowable
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.rules.variance import under_variance
from cfgtrack.store.journal import Journal


@dataclass(frozen=True, slots=True)
class Consequence:
    """What an event means at once: rules it breaks, clocks it starts, remarks that stick to what it touches.

    `excused` are findings under a variance; `open` is what was broken before, still is, and has to do with what it
    touches.
    """

    findings: tuple[Finding, ...] = ()
    excused: tuple[Finding, ...] = ()
    started: tuple[Clock, ...] = ()
    remarks: tuple[Entry, ...] = ()
    open: tuple[Finding, ...] = ()


def consequence(past: Past, entry: Entry) -> Consequence:
    """Return what an event means on the past as it was known just before, at its instant."""
    event = entry.event
    remarks: tuple[Entry, ...] = ()
    if event.subjects:
        at, known, there = past.moment.at, past.moment.known, filter(None, (event.place,))
        remarks = tuple(past.journal.remarks(event.subjects, at=at, known=known, around=True, places=there))
    if not past.rules.rules:
        return Consequence(remarks=remarks)
    from cfgtrack.analysis.options import try_action

    engine = past.engine_before(event)
    by = person_named(past.plant, event.by) if event.by else ""
    option = try_action(engine, event, variances=past.variances, doer=lambda _: by, times=past.times)
    engine.step(event)
    engine.settle()
    new = {named for f in (*option.findings, *option.excused) for named in _named(f)}
    still = (f for f in engine.findings(as_it_is=True) if new.isdisjoint(_named(f)))
    open_ones = _open_on(past, [event], still)
    findings = option.findings
    if findings:
        from cfgtrack.analysis.course import Course
        from cfgtrack.analysis.cures import cured

        findings = tuple(cured(findings, past.ready(past.rules, event), Course((event,))))
    return Consequence(findings, option.excused, option.started, remarks, open_ones)


def _named(finding: Finding) -> set[tuple[str, int]]:
    """Return what tells the instances of a finding from those of all others."""
    return {(code, finding.time) for code in finding.fingerprints}


def _open_on(past: Past, events: Sequence[Event], findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return those of the findings that stand open and name what the events touch, or what that belongs to."""
    named = (s for e in events for s in (*e.subjects, *e.moved, e.peer) if s is not None)
    touched = {owner_of(subject) for subject in named}
    about = (f for f in findings if f.is_open and not touched.isdisjoint(_owners(f)))
    plain, _ = under_variance(about, past.variances, at=past.moment.at, doer=past.doer, times=past.times)
    return tuple(sorted(plain, key=lambda f: (f.severity, f.time)))


def _owners(finding: Finding) -> set[str]:
    """Return the units and places that a finding names, with its reasons."""
    links = (end for r in finding.reasons for link in r.links for end in link.split(" - "))
    beyond = (item for r in finding.reasons for item in r.beyond)
    return {owner_of(item) for item in (*finding.subjects, *beyond, *links)}


# --- late events and corrections ----------------------------------------------------------------------------------


class _Stood(NamedTuple):
    """What stood: findings by their instances, and the clocks that ran, each by its rule and subject."""

    findings: set[tuple[str, int]]
    clocks: set[tuple[str, str]]


class Standing:
    """What stood at the end of the past, before something is recorded that changes it from long ago."""

    def __init__(self, journal: Journal, at: int, known: int) -> None:
        self.journal = journal
        self.moment = Moment(at, known)
        self.unknown: str | None = None
        self._stood = self._at(self.moment)

    def _at(self, moment: Moment) -> _Stood:
        try:
            return self._judged(moment)
        except Unfollowable:
            # What is recorded now may be the way out of that: then what is new isn't told from what was there.
            self.unknown = "what was broken before isn't known: `cfgtrack findings` tells what is now"
            return _Stood(set(), set())

    def _judged(self, moment: Moment) -> _Stood:
        past = Past(self.journal, moment, strict=False)
        if not past.rules.rules:
            return _Stood(set(), set())
        past.judge_to_keep()
        found = {named for finding in past.findings()[0] for named in _named(finding)}
        past.keep()
        return _Stood(found, {(clock.rule, clock.subject) for clock in past.engine.clocks()})

    def changed_by(self, entries: Sequence[Entry], *, clocks: bool = False) -> Consequence:
        """Return what recorded events have broken: the findings of the past as it now stands that are theirs or new.

        What was put right by them is no longer found, so there is nothing to say of that. With `clocks` also those that
        run now and didn't. Where the past can't be followed, `unknown` says why, and there is nothing else to say.
        """
        try:
            found = self._changed_by(entries, clocks=clocks)
            return found if self.unknown is None else Consequence()
        except Unfollowable as trouble:
            self.unknown = trouble.problems[0].sentence
            return Consequence()

    def _changed_by(self, entries: Sequence[Entry], *, clocks: bool) -> Consequence:
        first, last = (pick(entries, key=lambda entry: entry.number) for pick in (min, max))
        now = Past(self.journal, now_of(self.journal, last.known), strict=False)
        if not now.rules.rules:
            return Consequence()
        then = Moment(now.moment.at, self.journal.known_before(first))
        # Others may have come in between, and the end be another one.
        before = self._stood if then == self.moment else self._at(then)
        now.judge_to_keep()
        own = {entry.event.id for entry in entries}
        new, old = list[Finding](), list[Finding]()
        for finding in now.findings(as_it_is=True)[0]:
            (new if finding.event in own or _named(finding) - before.findings else old).append(finding)
        now.keep()
        running = now.engine.clocks() if clocks else []
        started = tuple(one for one in running if (one.rule, one.subject) not in before.clocks)
        if any(finding.is_open for finding in new):
            from cfgtrack.analysis.cures import cured

            new = cured(new, now.ready(now.rules))
        about = _open_on(now, [entry.event for entry in entries], old)
        return Consequence(tuple(new), started=started, open=about)


def with_what_followed(found: Consequence, later: Consequence) -> Consequence:
    """Return what a late event meant at once (`found`), and what it broke between its time and now (`later`)."""
    return replace(found, findings=later.findings, open=later.open)
