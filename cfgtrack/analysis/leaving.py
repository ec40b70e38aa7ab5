"""May the work stop where it is? Judged as if the outing ended there, and nobody came back until the next one starts.

What must hold at the end of an outing, or wherever the work may stop, is watched all the time by an engine of its own:
so it is known at every moment what would be broken if it ended there, at the cost of what each step changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from operator import is_not
from typing import ClassVar

from cfgtrack.analysis.check import Start, ready
from cfgtrack.analysis.verdict import covered
from cfgtrack.model.action import END, Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.sequence import LeftRunning
from cfgtrack.model.time import Instant
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach, gather
from cfgtrack.rules.condition import Part
from cfgtrack.rules.engine import Engine, Memory
from cfgtrack.rules.finding import SEVERITIES, Finding
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.by import By


class May(StrEnum):
    """Whether the work may stop: all may be left as it is, for so long, or not."""

    YES = "yes"
    UNTIL = "until"
    NO = "no"


@dataclass(frozen=True, slots=True)
class Lack:
    """What is broken, if all is left as it is, from a `time` on: which rule says so, of whom, and what is wrong."""

    told: ClassVar[tuple[str, ...]] = ("category",)

    rule: str
    severity: int
    headline: str
    subjects: tuple[str, ...]
    time: Instant

    @classmethod
    def of(cls, finding: Finding) -> Lack:
        """Return what a finding says, in short."""
        return cls(finding.rule, finding.severity, finding.headline, finding.subjects, finding.time)

    @property
    def category(self) -> str | None:
        """The severity in its word."""
        return SEVERITIES.get(self.severity)


@dataclass(frozen=True, slots=True)
class Left:
    """What is so if all is left as it is, with nobody there until `back`, as far as that is planned.

    `found` is what is broken then: by rules that hold at all times, and by those that hold by an end. `first` is what
    time alone breaks first after that, if nothing is done.
    """

    told: ClassVar[tuple[str, ...]] = ("may", "until", "open", "runs_out")
    untold: ClassVar[tuple[str, ...]] = ("found", "first", "now")

    now: int
    found: tuple[Finding, ...] = ()
    first: Finding | None = None
    back: Instant | None = None

    @property
    def may(self) -> May:
        """The verdict: yes; yes, but somebody must be back in time; no."""
        if self.found:
            return May.NO
        if self.first is None:
            return May.YES
        too_soon = self.back is not None and self.first.time < self.back
        return May.NO if too_soon else May.UNTIL

    @property
    def until(self) -> Instant | None:
        """How long nothing is broken: no longer than now, or until what time breaks first; None for ever."""
        if self.found:
            return self.now
        return None if self.first is None else self.first.time

    @property
    def open(self) -> tuple[Lack, ...]:
        """What is broken, the worst first."""
        return tuple(Lack.of(f) for f in sorted(self.found, key=lambda f: (f.severity, f.rule, f.subjects)))

    @property
    def runs_out(self) -> Lack | None:
        """What time alone breaks first after that."""
        return None if self.first is None else Lack.of(self.first)

    @property
    def sets(self) -> tuple[str, ...]:
        """The rules that set the verdict, the worst first."""
        several = self.open or (() if self.runs_out is None else (self.runs_out,))
        return tuple(dict.fromkeys(one.rule for one in several))


@dataclass(frozen=True, slots=True)
class Stopping:
    """As what the work would stop: the end of an `outing`, the next one `back` at; or the `last` of a sequence."""

    outing: str | None = None
    back: int | None = None
    last: bool = False


def watching_ends(rules: RuleSet) -> RuleSet:
    """Return rules of which those that hold by the end of an outing, or wherever work may stop, hold at all times."""
    return replace(rules, rules=tuple(_watched(rule) for rule in rules.rules))


def _watched(rule: Rule) -> Rule:
    return replace(rule, mode=Always(0)) if _is_by_end(rule) else rule


def _is_by_end(rule: Rule) -> bool:
    return isinstance(rule.mode, By) and rule.mode.end != "sequence"


def without(memory: Memory | None, rules: Iterable[str]) -> Memory | None:
    """Return what rules remember, without those whose mode is another one now."""
    if memory is None:
        return None
    gone = frozenset(rules)
    return {
        **memory,
        "open": [[n, told] for n, told in memory["open"] if told[0] not in gone],
        "wakes": [[time, rule] for time, rule in memory["wakes"] if rule not in gone],
        "rules": {rule: told for rule, told in memory["rules"].items() if rule not in gone},
    }


class Leaving:
    """An engine that knows at every moment whether the work may stop there.

    `coming` are all the events that it will ever be told of; None: whatever may come. `leaves_open` and
    `leaves_running` name what is left so by intent: see `Sequence`.
    """

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        networks: Mapping[str, Network] | None,
        coming: Iterable[Event] | None,
        *,
        variances: Sequence[Variance] = (),
        leaves_open: Iterable[str] = (),
        leaves_running: Iterable[LeftRunning] = (),
    ) -> None:
        self.by_end = {rule.id: rule for rule in rules.rules if _is_by_end(rule)}
        self._may_outlive = frozenset(rule.id for rule in rules.rules if rule.may_outlive)
        self._variances = variances
        self._leaves_open = frozenset(leaves_open)
        self._leaves_running = {(one.rule, one.subject): one.start for one in leaves_running}
        memory = without(begin.memory, self.by_end)
        engine = ready(watching_ends(rules), replace(begin, memory=memory), networks, coming=coming)
        if memory is not None:
            for runner in engine.runners:
                if runner.rule.id in self.by_end:
                    runner.begin()
        for event in begin.history:
            engine.step(event)
        engine.finish(begin.start)
        self.engine: Engine = engine
        self._noted = engine.noted
        self._gathered: dict[object, tuple[list[Breach], list[Finding]]] = {}
        self._open = tuple(engine.open_breaches())

    def breaks(self, since: int) -> bool:
        """Return whether anything was broken after the first `since` breaches, but for what must hold by an end."""
        return any(b.rule.id not in self.by_end for b in self.engine.breaches_since(since).values())

    def broken(self, since: int) -> list[Breach]:
        """Return what was broken after the first `since` breaches, but for what must hold by an end."""
        return [b for b in self.engine.breaches_since(since).values() if b.rule.id not in self.by_end]

    def by_time_alone(self, until: int) -> frozenset[tuple[str, str | None]]:
        """Return which rules time alone breaks up to an instant, each with for whom, if nothing is done any more."""
        engine, mark = self.engine, self.engine.mark()
        try:
            engine.settle()
            noted = engine.noted
            while (time := engine.next_time()) is not None and time <= until:
                engine.advance(max(time, engine.world.now) + 1)
                engine.settle()
            return frozenset((b.rule.id, b.it) for b in self.broken(noted))
        finally:
            engine.back(mark)

    def lacking(self) -> list[Breach]:
        """Return what is broken now, or would be by an end."""
        since = self.engine.breaches_since(self._noted)
        numbers = [n for n in (*self._open, *since) if not self.engine.is_mended(n)]
        return [b for b in self.engine.breaches_of(numbers) if b.rule.mode.can_be_mended]

    def judge(self, stopping: Stopping, *, as_it_is: bool = False, by_end: bool = True) -> Left:
        """Return what is so if the work stops here. The engine is left as it was.

        `as_it_is`: what is open is told with the reasons of this moment, not of when it began. Without `by_end` it is
        not asked what must hold by an end.
        """
        engine, mark = self.engine, self.engine.mark()
        try:
            engine.settle()
            now, noted = engine.world.now, engine.noted
            if stopping.outing is not None and by_end:
                end = resolve(
                    engine.world.configuration, Action("stop", END, (), now, outing=stopping.outing)
                )
                assert isinstance(end, Event), end.refusals
                engine.step(end)
                engine.settle()
            if stopping.last:
                engine.end_sequence()
                engine.settle()
            open_ = self._open_now(noted, stopping, as_it_is=as_it_is, by_end=by_end)
            runs_out = self._first_by_time(stopping)
        finally:
            engine.back(mark)
        return Left(now, tuple(open_), runs_out, stopping.back)

    def _open_now(self, noted: int, stopping: Stopping, *, as_it_is: bool, by_end: bool) -> list[Finding]:
        engine = self.engine
        since = engine.breaches_since(self._noted)
        numbers = [n for n in (*self._open, *since) if not engine.is_mended(n)]
        # What was broken by an action, and can't be put right, is history: but for the end that is tried here.
        numbers = [n for n in numbers if n >= noted or n not in since or since[n].rule.mode.can_be_mended]
        if not numbers:
            return []
        now = engine.world.now
        told = engine.breaches_of(numbers, as_it_is=as_it_is)
        told = [b for b in told if by_end or b.rule.id not in self.by_end]
        told = self._at_end(told, stopping, now)
        found = self._as_findings(told)
        named = [part for f in found if (part := f.only(frozenset(f.fingerprints) - self._leaves_open))]
        over = max(now, stopping.back or now)
        return covered(named, self._variances, now, over)[0] if self._variances else named

    def _as_findings(self, breaches: Iterable[Breach]) -> list[Finding]:
        """Return breaches as findings: those that are the same as the last time aren't gathered again."""
        blows: dict[object, list[Breach]] = {}
        for breach in breaches:
            deed = None if breach.deed is None else breach.deed.id
            blows.setdefault((breach.rule.id, deed, breach.since, breach.time), []).append(breach)
        out = list[Finding]()
        for name, blow in blows.items():
            known = self._gathered.get(name)
            if known is None or len(known[0]) != len(blow) or any(map(is_not, known[0], blow)):
                known = self._gathered[name] = blow, gather((breach, None) for breach in blow)
            out += known[1]
        return sorted(out, key=lambda f: (f.time, f.severity, f.rule, f.subjects))

    def _at_end(self, breaches: Iterable[Breach], stopping: Stopping, now: int) -> list[Breach]:
        """Return breaches, those of rules that hold by an end as that end would note them: each instance once."""
        others = list[Breach]()
        ends: dict[tuple[str, str | None, Part], Breach] = {}
        for breach in breaches:
            rule = self.by_end.get(breach.rule.id)
            if rule is None:
                others.append(breach)
                continue
            assert isinstance(rule.mode, By)
            cause = f"outing {stopping.outing or ''}" if rule.mode.end == "outing" else "stop"
            name = (rule.id, breach.it, breach.part)
            items = (*(ends[name].items if name in ends else ()), *breach.items)
            ends[name] = breach._replace(
                rule=rule,
                items=tuple(dict.fromkeys(items)),
                time=now,
                since=now,
                cause=(cause,),
                deed=None,
                ends=(now,),
            )
        return [*others, *ends.values()]

    def _first_by_time(self, stopping: Stopping) -> Finding | None:
        """Return what time alone breaks first, if all is left as it is; None for nothing."""
        engine = self.engine
        noted = engine.noted
        while (time := engine.next_time()) is not None:
            engine.advance(max(time, engine.world.now) + 1)
            engine.settle()
            fresh = engine.breaches_since(noted).values()
            found = gather((b, None) for b in fresh if self._counts(b))
            if found and self._variances:
                over = max(engine.world.now, stopping.back or 0)
                found = covered(found, self._variances, found[0].time, over)[0]
            if found:
                return found[0]
            noted = engine.noted
        return None

    def _counts(self, breach: Breach) -> bool:
        """Return whether what time breaks counts: not what is met later by intent, or may outlive the work."""
        if breach.rule.id in self.by_end or breach.rule.id in self._may_outlive:
            return False
        met = self._leaves_running.get((breach.rule.id, breach.whom or ""))
        return met is None or met >= (breach.deadline or breach.time)
