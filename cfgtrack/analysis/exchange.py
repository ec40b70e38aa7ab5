"""A way for a whole exchange, in a plant too big for the shortest to be proved: found from ends to means.

First one order of steps is found (`means`), then what of it isn't needed is left out, then it is laid side by side
(`lanes`) and checked as any sequence is. What that finds is mended by waits, and by reading anew what a limit is worked
out from. It is no shortest way; but no single step of it can be left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from cfgtrack.analysis.check import CheckReport, Start, check
from cfgtrack.analysis.gaps import Gaps
from cfgtrack.analysis.goal import Goal
from cfgtrack.analysis.goal import Want as Wanted
from cfgtrack.analysis.lanes import Bench, Prefix, as_sequence, waits_of
from cfgtrack.analysis.means import Means, Planned, Spent
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.analysis.wants import At, Be, Pair, Want
from cfgtrack.model.action import MEASURE, PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import HOLD, Plant, owner_of
from cfgtrack.model.presence import acts_at, site_at
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.network.network import Network
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance

OUTING = "WAY"
MOST_MENDED = 24
MOST_HELPERS = 3
"""So many lend one a hand who has too much to do before a clock runs out."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """A way that was found. `plan` is None where none was; `lacking`: what could not be brought about, in words.

    `tried`: how many steps were tried. `interrupted`: it is as far as that had come.
    """

    plan: Proposed | None
    report: CheckReport | None
    lacking: tuple[str, ...]
    tried: int
    interrupted: bool = False


@dataclass(slots=True)
class _Course:
    """One order of steps: what is said, the waits that are added to those that it needs, and titles."""

    order: list[Action]
    forced: list[tuple[Action, Action]] = field(default_factory=list)
    titles: dict[int, str] = field(default_factory=dict)


def engine_for_anything(
    rules: RuleSet, begin: Start, networks: Mapping[str, Network] | None = None
) -> Engine:
    """Return an engine that has judged the past, ready for whatever may come."""
    engine = Engine(
        rules,
        begin.configuration.fork(),
        start=begin.began,
        touched=None,
        networks=networks,
        prior=begin.done,
        memory=begin.memory,
    )
    engine.add_settled(begin.settled)
    for event in begin.history:
        engine.step(event)
    engine.finish(begin.start)
    return engine


def who_acts(
    plant: Plant, begin: Start, workers: Sequence[str] = ()
) -> tuple[tuple[str, ...], frozenset[str]]:
    """Return who and what may act by itself, and which of these are machines.

    A bag or a cart does nothing, unless it is on record that it did; a lift does.
    """
    acted = {event.by for event in begin.history if event.by}
    mobile = [place for place in plant.places.values() if place.mobile]
    able = [place.id for place in mobile if place.part or place.id in acted] or [p.id for p in mobile]
    operated = {place.operates for place in mobile if place.operates}
    machines = frozenset(one for one in able if one in operated or not plant.places[one].part)
    if workers:
        machines |= frozenset(m for m in able if m in machines)
        able = [one for one in able if one in workers or one in machines]
    return tuple(able), machines if len(machines) < len(able) else frozenset()


def find_exchange(
    rules: RuleSet,
    begin: Start,
    goal: Goal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    outing: Outing | None = None,
    trace: Callable[[str], object] | None = None,
    tell: Callable[[str], object] = lambda _: None,
) -> Exchange:
    """Return a way to a goal, clear as checked, from which no step can be taken; or what stands against it.

    `tell` is told how far it has come. A KeyboardInterrupt keeps the way as it is by then, if there is one.
    """
    engine = engine_for_anything(rules, begin, networks)
    now, plant = engine.world.configuration, engine.world.plant
    outing = Outing(OUTING, begin.start) if outing is None else outing
    actors, machines = who_acts(plant, begin, goal.workers)
    means = Means(engine, Gaps(plant), actors, machines, trace=trace, tell=tell, allows=goal.allows)
    wants = wants_for(now, goal.wants)
    for want in wants:
        if isinstance(want, Pair):
            means.claims[want.b] = want.a
        elif isinstance(want, At):
            means.targets[want.thing] = want.place
    start = engine.mark()
    means.begin(outing.id)
    best: tuple[Proposed, CheckReport] | None = None
    interrupted = False
    try:
        left = means.every(wants)
        lacking = [] if left else means.finish(outing.id, wants)
        if left or lacking:
            return Exchange(None, None, tuple(map(str, (*left, *lacking))), means.tried)
        order = _without_spare(means, wants, outing.id)
        engine.back(start)
        trial = _Trial(rules, begin, goal, outing, engine, variances, networks, begun, tell)
        course = _Course(order)
        best = trial.mended(course)
        for helpers in range(1, MOST_HELPERS + 1):
            shared = None
            if best[1].verdict != Verdict.CLEAR:
                shared = trial.shared(course, *best, helpers, means, wants)
            if shared is None:
                break
            told = trial.mended(_Course(shared))
            if _faults(told[1]) <= _faults(best[1]):
                course, best = _Course(shared), told
        if best[1].verdict == Verdict.CLEAR:
            best = trial.tightened(*best)
    except Spent:
        pass
    except KeyboardInterrupt:
        interrupted = True
    plan, report = best or (None, None)
    return Exchange(plan, report, (), means.tried, interrupted)


def _faults(report: CheckReport) -> int:
    return len(report.new) + len(report.left_running)


def wants_for(now: Configuration, wanted: Iterable[Wanted]) -> list[Want]:
    """Return what a goal wants, in the order in which it is best brought about: where things stand, what holds them,
    what is joined to them, and how valves and switches are.
    """
    plant, wanted = now.plant, list(wanted)
    filled = {one.places[0] for one in wanted if one.places}
    ranked: list[tuple[int, Want]] = []
    seen = set[frozenset[str]]()
    for one in wanted:
        if one.places:
            # What is in another's way goes first; what is where it should be only has to be put back.
            want = At(one.subject, one.places[0], facing=one.facing)
            in_the_way = now.state(one.subject).value in filled
            ranked.append((4 if want.is_met(now) else 0 if in_the_way else 1, want))
        elif one.mate:
            pair = frozenset((one.subject, one.mate))
            if pair not in seen:
                seen.add(pair)
                found = plant.port(one.subject)
                holds = found is not None and found[1].medium == HOLD
                ranked.append((2 if holds else 3, Pair(one.subject, one.mate, frozenset(one.statuses))))
        else:
            ranked.append((4, Be(one.subject, frozenset(one.statuses))))
    return [want for _, want in sorted(ranked, key=lambda one: one[0])]


def _without_spare(means: Means, wants: Sequence[Want], outing: str) -> list[Action]:
    """Return the order without what it does as well without, step by step from the end, then in pairs."""
    order, size = means.keep(), 0
    while size != len(order):
        size = len(order)
        for pairs in (False, True):
            for first in range(len(order) - 1, -1, -1):
                means.restore(order[:first])
                for second in _counterparts(order, first) if pairs else [first]:
                    kept = [one for n, one in enumerate(order) if n > first and n != second]
                    pressing = sum(one.pressing for one in order[first:])
                    if _goes(means, kept, pressing, wants, outing):
                        order = means.keep()
                        break
                    means.restore(order[:first])
        means.restore(order)
    return [one.said for one in means.order]


def _counterparts(order: Sequence[Planned], first: int) -> list[int]:
    """Return the later steps that may undo a step: those on the same things."""
    things = set(order[first].event.subjects)
    return [n for n in range(first + 1, len(order)) if things.intersection(order[n].event.subjects)][:3]


def _goes(means: Means, steps: Sequence[Planned], pressing: int, wants: Sequence[Want], outing: str) -> bool:
    """Return whether steps can be done and end where they should. Clocks that leave little time may not run for more
    steps than they did: how long steps take isn't known here.
    """
    for one in steps:
        if not means._again(one.said):
            return False
        pressing -= means.order[-1].pressing
        if pressing < 0:
            return False
    return all(map(means.met, wants)) and not means.lacking_at_end(outing)


class _Trial:
    """Lays a course out, checks it, and mends it."""

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        goal: Goal,
        outing: Outing,
        engine: Engine,
        variances: Sequence[Variance],
        networks: Mapping[str, Network] | None,
        begun: Mapping[str, int] | None,
        tell: Callable[[str], object],
    ) -> None:
        self.checks, self.tell = 0, tell
        self.rules, self.begin, self.goal, self.outing, self.engine = rules, begin, goal, outing, engine
        self.plant = engine.world.plant
        self._waits: dict[tuple[int, ...], list[set[int]]] = {}
        self._more = {"variances": variances, "networks": networks, "begun": begun}

    def check(self, plan: Proposed) -> CheckReport:
        """Check a plan."""
        self.checks += 1
        self.tell(f"{len(plan.steps)} steps, checked {self.checks} times")
        return check(self.rules, self.begin, plan, **self._more)  # type: ignore[arg-type]

    def laid(self, course: _Course) -> Proposed:
        """Return a course side by side."""
        order, takes = course.order, self.goal.takes
        key = tuple(map(id, order))
        if key not in self._waits:
            self._waits = {key: waits_of(self.engine, order, _track_of)}
        waits = [set(some) for some in self._waits[key]]
        number = {id(said): n for n, said in enumerate(order)}
        for step, before in course.forced:
            if id(step) in number and id(before) in number:
                waits[number[id(step)]].add(number[id(before)])
        return as_sequence(
            order,
            waits,
            _track_of,
            outing=self.outing,
            takes=lambda said: takes.span(self.plant, said),
            assumed=lambda said: takes.is_assumed(self.plant, said),
            titles=course.titles,
            title=self.goal.title,
        )

    def mended(self, course: _Course) -> tuple[Proposed, CheckReport]:
        """Return a course laid side by side, mended where its check finds fault, as far as that can be done."""
        plan = self.laid(course)
        report = self.check(plan)
        for _ in range(MOST_MENDED):
            faults = [*report.new, *report.left_running]
            if report.verdict == Verdict.CLEAR or not faults:
                break
            mended = any(self._mend(course, plan, fault) for fault in faults)
            if not mended and not any(self._held_back(course, plan, report, fault) for fault in faults):
                break
            plan = self.laid(course)
            report = self.check(plan)
        return plan, report

    def _mend(self, course: _Course, plan: Proposed, fault: object) -> bool:
        """Mend one fault: by having the step that brings it wait for what was before it, or by reading anew."""
        step = getattr(fault, "step", None)
        number = next((n for n, one in enumerate(plan.steps) if one.id == step), None)
        if number is None:
            return False
        if getattr(fault, "mode", "") == "at":
            # What was read for it is too old by then: it is read later.
            read = self._reading(course, number)
            if read is None:
                return False
            number = read
        said = course.order[number]
        before = next(
            (one for one in reversed(course.order[:number]) if _track_of(one) != _track_of(said)), None
        )
        if before is not None and (said, before) not in _Forced(course.forced):
            course.forced.append((said, before))
            return True
        return self._read_anew(course, number, fault)

    def _held_back(self, course: _Course, plan: Proposed, report: CheckReport, fault: object) -> bool:
        """Have what runs ahead of its turn, of what a fault is about, wait for what came before it in the order."""
        number = {one.id: n for n, one in enumerate(plan.steps)}
        first = number.get(getattr(fault, "step", None) or "")
        time, about = getattr(fault, "time", None), set(getattr(fault, "subjects", ()))
        if first is None or time is None:
            return False
        for step in reversed(report.steps):
            n = number[step.step]
            said = course.order[n]
            if n <= first or step.end > time or about.isdisjoint(said.subjects):
                continue
            before = next((s for s in reversed(course.order[:n]) if _track_of(s) != _track_of(said)), None)
            if before is not None and (said, before) not in _Forced(course.forced):
                course.forced.append((said, before))
                return True
        return False

    def _reading(self, course: _Course, number: int) -> int | None:
        """Return the last step before one that reads something of the same thing."""
        things = set(map(owner_of, course.order[number].subjects))
        return next(
            (
                n
                for n in range(number - 1, -1, -1)
                if course.order[n].action == MEASURE
                and things.intersection(map(owner_of, course.order[n].subjects))
            ),
            None,
        )

    def _read_anew(self, course: _Course, number: int, fault: object) -> bool:
        """Have what a limit is worked out from read just before its clock starts; return whether that is new."""
        rule = next((r for r in self.rules.rules if r.id == getattr(fault, "rule", "")), None)
        if rule is None or getattr(rule.mode, "limit", None) != "thermal":
            return False
        for subject in getattr(fault, "subjects", ()):
            owner = owner_of(subject)
            thermal = self.plant.part_of(owner).thermal
            known = any(
                one.action == MEASURE and one.subjects == (owner,) and "temperature" in one.values
                for one in course.order[:number]
            )
            if thermal is None or known:
                continue
            by = self._reader(course, number, owner)
            value = Quantity(thermal.start, "K", thermal.start, "temperature")
            reading = Action("", MEASURE, (owner,), 0, by=by, values={"temperature": value})
            course.order.insert(number, reading)
            course.titles = {n + (n >= number): text for n, text in course.titles.items()}
            course.titles[number] = "go on only if it is so"
            return True
        return False

    def _reader(self, course: _Course, number: int, owner: str) -> str | None:
        """Return who is there to read something, of those who work near it soonest."""
        if not self.plant.has_sites:
            return None
        mark = self.engine.mark()
        bench = Bench(self.engine)
        for said in course.order[:number]:
            bench.does(said)
        now = self.engine.world.configuration
        site = site_at(now, owner)
        people = [one for one in dict.fromkeys(s.by for s in course.order[number:]) if one]
        actors, machines = who_acts(self.plant, self.begin, self.goal.workers)
        people += [one for one in actors if one not in machines]
        found = next((one for one in people if one not in machines and _is_at(now, one, site)), None)
        self.engine.back(mark)
        return found

    def shared(
        self,
        course: _Course,
        plan: Proposed,
        report: CheckReport,
        helpers: int,
        means: Means,
        wants: Sequence[Want],
    ) -> list[Action] | None:
        """Return the course with what is done while a clock runs that runs out shared out among more people.

        What belongs to one port stays in one hand. None where no clock runs out, or nobody can lend a hand.
        """
        for fault in report.new:
            first = next((n for n, one in enumerate(plan.steps) if one.id == fault.step), None)
            if first is None or fault.rule not in self._timed:
                continue
            order = course.order
            last = self._stops(order, first, fault.rule)
            team = self._team(order, range(first + 1, last), helpers)
            if len(team) < 2:
                continue
            hands = dict[int, str]()
            load = dict.fromkeys(team, 0)
            holder = dict[str, str]()
            for n in range(first + 1, last):
                said = order[n]
                if said.by != team[0] or self._own(said):
                    continue
                one = holder.setdefault(said.subjects[0], min(team, key=load.__getitem__))
                load[one] += self.goal.takes.span(self.plant, said)[2]
                hands[n] = one
            again = self._done_by(order, hands, means, wants)
            if again is not None:
                return again
        return None

    @property
    def _timed(self) -> frozenset[str]:
        """The rules that leave some time."""
        return frozenset(rule.id for rule in self.rules.rules if rule.mode.key in ("always", "within"))

    def _own(self, said: Action) -> bool:
        """Return whether an action is about the doer: where he goes, what holds him."""
        return said.action == PLACE or any(owner_of(one) == said.by for one in said.subjects)

    def _stops(self, order: Sequence[Action], first: int, rule: str) -> int:
        """Return the step after which a rule's clock, started by a step, no longer runs."""
        mark = self.engine.mark()
        bench = Bench(self.engine)
        last = len(order)
        for n, said in enumerate(order):
            bench.does(said)
            if n > first and not any(clock.rule == rule for clock in self.engine.clocks()):
                last = n
                break
        self.engine.back(mark)
        return last

    def _team(self, order: Sequence[Action], inside: range, helpers: int) -> list[str]:
        """Return who has most to do in a part of the order, and who has least, most of them at the place already."""
        actors, machines = who_acts(self.plant, self.begin, self.goal.workers)
        load = {one: 0 for one in actors if one not in machines}
        for n in inside:
            by = order[n].by
            if by in load:
                load[by] += self.goal.takes.span(self.plant, order[n])[2]
        busiest = max(load, key=load.__getitem__, default="")
        others = sorted((one for one in load if one != busiest), key=load.__getitem__)
        return [busiest, *others[:helpers]] if busiest else []

    def _done_by(
        self, order: Sequence[Action], hands: Mapping[int, str], means: Means, wants: Sequence[Want]
    ) -> list[Action] | None:
        """Return an order done once more, some of it by others, with what that takes; None where that can't be."""
        busy = {said.by for said in order}
        last = {one: n for n, one in hands.items() if one not in busy}
        idle: dict[int, list[str]] = {}
        for one, n in last.items():
            # Who only lends a hand goes home once that is done.
            idle.setdefault(n, []).append(one)
        mark = self.engine.mark()
        means.order.clear()
        means.begin(self.outing.id)
        try:
            for n, said in enumerate(order):
                done = replace(said, by=hands.get(n, said.by))
                if means.once_more(done) is None and not means.do(done):
                    # By whoever did it before; what is so already needn't be done.
                    means.once_more(said)
                for one in idle.get(n, ()):
                    means.bring_about(At(one, means.homes[one], inside=True))
            if means.every(wants) or means.finish(self.outing.id, wants):
                return None
            return _without_spare(means, wants, self.outing.id)
        except Spent:
            return None
        finally:
            self.engine.back(mark)
            means.order.clear()

    def tightened(self, plan: Proposed, report: CheckReport) -> tuple[Proposed, CheckReport]:
        """Return a clear plan without each step without which it is clear, too, and reaches its goal."""
        prefix = Prefix(Bench(self.engine), [one.action for one in plan.steps])
        for number in range(len(plan.steps) - 1, -1, -1):
            step = plan.steps[number]
            if not self._may_go(prefix, number):
                continue
            shorter = without(plan, step.id)
            told = self.check(shorter)
            if told.verdict == Verdict.CLEAR and self._arrives(told):
                plan, report = shorter, told
                prefix.order = [one.action for one in plan.steps]
        prefix.stand_before(0)
        return plan, report

    def _arrives(self, report: CheckReport) -> bool:
        """Return whether a checked plan ends where the goal has it."""
        now = self.engine.world.configuration.fork()
        for step in report.steps:
            if isinstance(step.outcome, Event):
                now.apply(step.outcome)
        return self.goal.is_met(now)

    def _may_go(self, prefix: Prefix, number: int) -> bool:
        """Return whether a plan can be done without a step, one after another, and ends where it should."""
        prefix.stand_before(number)
        mark = self.engine.mark()
        try:
            if not all(map(prefix.bench.does, prefix.order[number + 1 :])):
                return False
            return self.goal.is_met(self.engine.world.configuration)
        finally:
            self.engine.back(mark)


def without(plan: Proposed, step: str) -> Proposed:
    """Return a plan without a step: what waited for it waits for what it came after."""
    (gone,) = (one for one in plan.steps if one.id == step)
    steps = []
    for one in plan.steps:
        if one.id == step:
            continue
        if step in one.after:
            waits = [a for a in one.after if a != step]
            waits += [a for a in (*gone.after, *_ahead(plan, gone)) if a not in waits]
            steps.append(replace(one, after=tuple(a for a in waits if a != one.id)))
        elif _follows(plan, gone, one):
            steps.append(replace(one, after=tuple(dict.fromkeys((*one.after, *gone.after)))))
        else:
            steps.append(one)
    return replace(plan, steps=tuple(steps))


def _ahead(plan: Proposed, step: Step) -> list[str]:
    """Return the step before one on its track."""
    own = [one.id for one in plan.steps if (one.outing, one.track) == (step.outing, step.track)]
    at = own.index(step.id)
    return own[at - 1 : at] if at else []


def _follows(plan: Proposed, step: Step, other: Step) -> bool:
    """Return whether another step is the next on a step's track."""
    own = [one.id for one in plan.steps if (one.outing, one.track) == (step.outing, step.track)]
    at = own.index(step.id)
    return own[at + 1 : at + 2] == [other.id]


def _track_of(said: Action) -> str:
    return said.by or "WORK"


class _Forced:
    """Pairs of steps, told apart by which they are, not by what they say."""

    def __init__(self, pairs: Iterable[tuple[Action, Action]]) -> None:
        self._pairs = {(id(a), id(b)) for a, b in pairs}

    def __contains__(self, pair: tuple[Action, Action]) -> bool:
        return (id(pair[0]), id(pair[1])) in self._pairs


def _is_at(now: Configuration, doer: str, site: str) -> bool:
    return site in acts_at(now, doer)
