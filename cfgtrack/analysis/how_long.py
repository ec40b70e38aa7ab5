"""How long does it really take? Each clock's and each budget's margin at worst, and its probability of running out.

A clock starts and is met at points of the schedule. Between which ones, the rules say: so each order of the steps
that differs in what they may see is judged once, and in all samples that come in that order the clock runs between
those points, and what is left of it is a difference of two times. An order is never taken for another: where there
are more than are judged, the samples of the others are told as unknown, and widen the intervals.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, field
from itertools import repeat
from math import ceil, sqrt
from operator import gt, mul, sub
from typing import ClassVar, NamedTuple

from cfgtrack.analysis.campaign import Cancelled, Tell
from cfgtrack.analysis.check import Start, put_on_trial
from cfgtrack.analysis.duration_model import Chance, Shape, seconds
from cfgtrack.analysis.durations import Durations
from cfgtrack.analysis.mixes import Mixes
from cfgtrack.analysis.sampling import (
    Chunk,
    Draws,
    OrderKey,
    chunks,
    criticality,
    draws_of,
    durations_in,
    orders,
    ranks,
    takes_in,
)
from cfgtrack.analysis.schedule import (
    Ways,
    expected_times,
    probability_within,
    way_variance,
)
from cfgtrack.analysis.stirring import ALL, Clockwork
from cfgtrack.analysis.trial import (
    BUDGET,
    BUDGET_TITLE,
    OVERLAP,
    OVERLAP_TITLE,
    POSSIBLE,
    Met,
    Run,
    Trial,
    limit_of,
)
from cfgtrack.analysis.verdict import A_MIX
from cfgtrack.model.sequence import DoerWait, Schedule
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant
from cfgtrack.network.network import Network
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet

MOST_ORDERS = 32
"""How many orders of the steps are judged at most. Those that come most often are the first to be met."""

MOST_FOR_UNSEEN = 6
"""How many of them at most for clocks that weren't seen to run in any yet, and might in another."""

LOOKED_INTO = 2_000
"""In how many samples, the first ones, it is looked for what drives a margin, what is critical, and unlikely clocks."""

DRIVEN = 10
"""Of how many limits, the least sure ones, besides budgets, it is told what drives them."""

TOLD_DRIVERS = 3
DRIVES_FROM = 0.1
"""How many steps are told to drive a margin, and from which rank correlation on one does."""


@dataclass(frozen=True, slots=True)
class Sampling:
    """How samples are drawn: how many, from which seed, with durations of which shape."""

    samples: int = 10_000
    seed: int = 1
    shape: Shape = Shape.TRIANGULAR


# --- the answer ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Driver:
    """A step that drives a margin: how its duration goes along with what is used up, by Spearman's rank correlation."""

    step: str
    correlation: float


@dataclass(frozen=True, slots=True)
class Limit:
    """A clock, or the budget of an outing, and how sure it is that it is kept.

    `rule` is that of the clock, or `budget` or `overlap`; `subject` whom it is about, `starts` and `met` the steps
    at which the clock starts and is met in most samples, None where no step does it. `limit_seconds` is how long it
    may run, `worst` what is left at worst over all durations. `in_time` is the chance that it is kept, of those
    samples in which it runs at all, and `left_running` in how many of them it runs on at the end.
    """

    told: ClassVar[tuple[str, ...]] = ("limit_seconds", "worst_seconds", "likely_seconds")
    untold: ClassVar[tuple[str, ...]] = ("limit", "worst", "likely")

    rule: str
    title: str
    subject: str
    starts: str | None
    met: str | None
    limit: int
    likely: int | None
    worst: int
    in_time: Chance
    left_running: int
    drivers: tuple[Driver, ...]

    @property
    def limit_seconds(self) -> float:
        """How long it may run, in seconds."""
        return seconds(self.limit)

    @property
    def worst_seconds(self) -> float:
        """What is left at worst, in seconds; below 0 where it runs out."""
        return seconds(self.worst)

    @property
    def likely_seconds(self) -> float | None:
        """What is left with likely durations, in seconds; None where it doesn't run then."""
        return None if self.likely is None else seconds(self.likely)


@dataclass(frozen=True, slots=True)
class OutingTime:
    """How long an outing takes.

    In seconds from its beginning on, with the time that is `used` already where it has begun: with `low`, `likely` and
    `high` durations; as PERT expects, `expected` and `deviation` (the root of
    its variance), of the longest way of steps at expected durations; and as sampled, the `mean` and what is
    exceeded in 95, 50 and 5 of a hundred samples (`p05`, `p50`, `p95`). `pert_within` is PERT's own probability
    that the budget holds.
    """

    outing: str
    title: str
    start: Instant
    budget: float | None
    used: float
    low: float
    likely: float
    high: float
    expected: float
    deviation: float
    pert_within: float | None
    mean: float
    p05: float
    p50: float
    p95: float
    critical: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StepTime:
    """A step in the schedule of likely durations, in seconds from the beginning of its outing, and who does it.

    Of one that has begun, from when it did.

    It starts and ends as early as can be at `start` and `end`. It may end so much later without making its outing
    later (`total_float`), and without moving any other step (`free_float`). `is_critical`: it is on the longest
    way; `criticality` is the share of samples in which it is.
    """

    step: str
    outing: str
    track: str
    by: str
    takes: tuple[float, float, float]
    start: float
    end: float
    total_float: float
    free_float: float
    is_critical: bool
    criticality: float


@dataclass(frozen=True, slots=True)
class Breaking:
    """What some orders of the steps break besides clocks: a rule, or `possible` for a step that can't be done then.

    So many of the `orders` that were judged did so; whoever wants to know of all asks for every order.
    """

    rule: str
    step: str | None
    headline: str
    orders: int


@dataclass(frozen=True, slots=True)
class HowLong:
    """How long a sequence takes: outings, limits (the least sure first) and steps.

    Drawn were `samples`, from a `seed` and with durations of a `shape`. So many orders of the steps were `judged`
    for it; up to so many samples came in an order, of those that some clock may depend on, that was `unjudged`: a
    clock that runs in no order that was judged isn't among the limits. So many mixes of durations were left
    `untried` that the worst margins would have needed. `doer_waits` are the waits of who has several tracks.
    `breaking` is what the rules say to some orders besides; `unsampled` are clocks that no step starts or meets.
    """

    title: str
    shape: Shape
    samples: int
    seed: int
    start: Instant
    end: Instant
    outings: tuple[OutingTime, ...]
    limits: tuple[Limit, ...]
    steps: tuple[StepTime, ...]
    doer_waits: tuple[DoerWait, ...]
    judged: int
    unjudged: int
    untried: int
    breaking: tuple[Breaking, ...]
    unsampled: tuple[str, ...]
    assumed: tuple[str, ...]
    is_whole: bool = True


# --- clocks between points ----------------------------------------------------------------------------------------


class Name(NamedTuple):
    """A limit: of which rule, about whom, and the point that it starts at; -1 and a time for before the plan."""

    rule: str
    subject: str
    start: int
    began: int = 0


class Span(NamedTuple):
    """The point at which a limit is met, how long it may take until then, and whether it just runs on to the end."""

    end: int
    limit: int
    is_left: bool = False


class Broken(NamedTuple):
    """What an order breaks besides clocks."""

    rule: str
    step: str | None
    headline: str


@dataclass(frozen=True, slots=True)
class _Order:
    """What the rules say to one order of the steps: between which points clocks run, and what else is broken.

    Of clocks that no step starts or meets `untold` says which. `stirred` tells which points each clock may have to
    do with.
    """

    times: tuple[int, ...]
    spans: Mapping[Clockwork, Mapping[Name, Span]]
    broken: frozenset[Broken]
    untold: frozenset[str]
    stirred: Mapping[Clockwork, frozenset[int]]
    is_possible: bool

    def has_to_do_with(self, clockwork: Clockwork) -> frozenset[int]:
        """Return the points that the clocks of an item may have to do with."""
        return frozenset(_concerned(self.stirred, clockwork))


def _order_of(mixes: Mixes, run: Run) -> _Order:
    """Return what the rules said to a run."""
    stirred: defaultdict[Clockwork, set[int]] = defaultdict(set)
    for number, step in enumerate(mixes.schedule.steps):
        for clockwork in () if step is None else run.stirred.get(f"step:{step.id}", ()):
            stirred[clockwork].add(number)
    late = [f for f in run.new if limit_of(f) is not None and f.rule not in (BUDGET, OVERLAP)]
    clocks: list[tuple[Met, int | None, bool]] = [(clock, clock.met, False) for clock in run.met]
    clocks += [(clock, _mended(clock, late), False) for clock in run.ran_out]
    clocks += [
        (Met(c.rule, c.subject, c.started, run.end, c.deadline), None, True)
        for c in run.clocks
        if c.deadline is not None
    ]
    spans: defaultdict[Clockwork, dict[Name, Span]] = defaultdict(dict)
    untold: set[str] = set()
    seen: Counter[tuple[str, str, int]] = Counter()
    first, over = min(run.times), len(run.times) - 1
    for clock, met, is_left in clocks:
        concerned = _concerned(stirred, (clock.rule, clock.subject))
        starts, ends = (
            [p for p in points if p in concerned] or points
            for points in mixes.points(run, clock._replace(met=run.end if met is None else met))
        )
        if (not starts and clock.started >= first) or not (ends or met is None):
            untold.add(f"{clock.rule} of {clock.subject}" if clock.subject else clock.rule)
            continue
        # Of several that start at one instant each was started by another step, as far as there are so many.
        turn = seen[clock.rule, clock.subject, clock.started] % max(len(starts), 1)
        seen[clock.rule, clock.subject, clock.started] += 1
        name = Name(clock.rule, clock.subject, *((starts[turn], 0) if starts else (-1, clock.started)))
        end = over if met is None else ends[0]
        spans[clock.rule, clock.subject][name] = Span(end, clock.deadline - clock.started, is_left)
    others = [f for f in run.new if limit_of(f) is None and f.rule not in (BUDGET, OVERLAP)]
    return _Order(
        times=run.times,
        spans=spans,
        broken=frozenset(Broken(f.rule, f.step, f.headline) for f in others),
        untold=frozenset(untold),
        stirred={clockwork: frozenset(points) for clockwork, points in stirred.items()},
        is_possible=not any(f.rule == POSSIBLE for f in others),
    )


def _concerned(stirred: Mapping[Clockwork, AbstractSet[int]], clockwork: Clockwork) -> AbstractSet[int]:
    """Return the points that the clocks of an item may have to do with, by those that each stirs, or all of a rule."""
    rule, _ = clockwork
    nothing = frozenset[int]()
    return stirred.get(clockwork, nothing) | stirred.get((rule, ALL), nothing)


def _mended(clock: Met, late: Iterable[Finding]) -> int | None:
    """Return when what a clock asked for came after all, once it had run out; None where it never did."""
    limit = clock.deadline - clock.started
    same = [f for f in late if (f.rule, f.since, limit_of(f)) == (clock.rule, clock.started, limit)]
    mine = [f for f in same if not clock.subject or clock.subject in f.subjects] or same
    untils = [f.until for f in mine if f.until is not None]
    return max(untils) if untils and len(untils) == len(mine) else None


def _fixed(trial: Trial) -> Iterator[tuple[Name, Span]]:
    """Yield the limits that no rule sets: budgets of outings, and starts that the outing ahead must not run into."""
    schedule, before = trial.schedule, None
    for outing in trial.proposal.outings:
        begin, over = schedule.spans[outing.id]
        began = schedule.begun.get(outing.id)
        if outing.budget is not None:
            name = Name(BUDGET, outing.id, begin) if began is None else Name(BUDGET, outing.id, -1, began)
            yield name, Span(over, outing.budget)
        if before is not None and outing.start is not None and began is None:
            first, last = schedule.spans[before.id]
            floor = schedule.floor[first]
            yield (
                Name(OVERLAP, f"{before.id} and {outing.id}", -1, floor),
                Span(last, outing.start - floor),
            )
        before = outing


# --- all samples --------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Tally:
    """What became of one limit: in how many samples it ran, ran out and ran on; by which span; what was used up."""

    runs: int = 0
    out: int = 0
    left: int = 0
    most: int = 0
    spans: Counter[Span] = field(default_factory=Counter)
    used: list[tuple[int, int]] = field(default_factory=list)


class _Learnt:
    """What is known of the orders of the steps.

    Of each clock the points that it may have to do with, and what the rules said to each order of these.

    An order in which more is impossible than with likely durations says nothing of another.
    """

    def __init__(self, mixes: Mixes) -> None:
        self._mixes = mixes
        self._pairs = _free_pairs(mixes)
        self.orders: list[_Order] = []
        self._judged = 0
        self._points: dict[Clockwork, frozenset[int]] = {}
        self._said: dict[Clockwork, dict[OrderKey, Mapping[Name, Span]]] = {}
        self.pairs: dict[Clockwork, tuple[tuple[int, int], ...]] = {}
        self.grown = 0
        for run in mixes.runs:
            self._take(_order_of(mixes, run))

    def may_judge(self, clockwork: Clockwork) -> bool:
        """Return whether another order may be judged for the clocks of an item."""
        return self._judged < (MOST_ORDERS if self.is_seen(clockwork) else MOST_FOR_UNSEEN)

    def is_seen(self, clockwork: Clockwork) -> bool:
        """Return whether a clock of an item runs in any order that was judged."""
        return any(clockwork in order.spans for order in self.orders)

    def judge(self, takes: tuple[int, ...]) -> None:
        """Judge the order that comes with certain durations."""
        self._judged += 1
        self._take(_order_of(self._mixes, self._mixes.trial.judge(A_MIX, takes)))

    def said(self, clockwork: Clockwork, key: OrderKey) -> Mapping[Name, Span] | None:
        """Return what the rules said of the clocks of an item in an order, None where that isn't known."""
        return self._said[clockwork].get(key)

    def _take(self, order: _Order) -> None:
        self.orders.append(order)
        if order.is_possible or not any(one.is_possible for one in self.orders):
            # What no clock was seen of yet may have one in another order.
            for clockwork in dict.fromkeys((*self._points, *order.spans, *sorted(order.stirred))):
                self._grow(clockwork, order.has_to_do_with(clockwork))
        for clockwork in self._points:
            self._note(clockwork, order)

    def _grow(self, clockwork: Clockwork, points: frozenset[int]) -> None:
        """Note that a clock may have to do with some points: what was said by fewer of them is said anew."""
        before = self._points.get(clockwork)
        if before is not None and points <= before:
            return
        if before is None:
            points = points.union(*(order.has_to_do_with(clockwork) for order in self.orders))
        points = points | (before or frozenset())
        pairs = tuple((a, b) for a, b in self._pairs if a in points and b in points)
        if before is None and not pairs and not self.is_seen(clockwork):
            return
        self.grown += 1
        self._points[clockwork], self.pairs[clockwork] = points, pairs
        self._said[clockwork] = {}
        for order in self.orders:
            self._note(clockwork, order)

    def _note(self, clockwork: Clockwork, order: _Order) -> None:
        if order.is_possible or order is self.orders[0]:
            times = order.times
            key = tuple(
                said for a, b in self.pairs[clockwork] for said in (times[a] < times[b], times[a] == times[b])
            )
            self._said[clockwork].setdefault(key, order.spans.get(clockwork, {}))


class _Looked:
    """What is seen in samples, chunk by chunk."""

    def __init__(self, draws: Draws, learnt: _Learnt, fixed: Mapping[Name, Span]) -> None:
        self.draws, self.learnt, self.fixed = draws, learnt, fixed
        self.limits: defaultdict[Name, _Tally] = defaultdict(_Tally)
        self.unknown: Counter[Clockwork] = Counter()
        self.spent: defaultdict[tuple[int, int], list[int]] = defaultdict(list)
        self.samples = 0
        self.first: list[Chunk] = []

    def take(self, chunk: Chunk) -> bool:
        """Take in a chunk: judge orders that are new to some clock, and see what becomes of each limit.

        Return whether all that was taken in before still counts: not, where a clock may have to do with more than
        was known.
        """
        grown = self.learnt.grown
        by_clock = self._learn(chunk)
        if self.samples and self.learnt.grown > grown:
            return False
        for name, span in self.fixed.items():
            self._count(chunk, name, span, range(len(chunk)))
        for clockwork, by_order in by_clock.items():
            for key, numbers in by_order.items():
                spans = self.learnt.said(clockwork, key)
                if spans is None:
                    self.unknown[clockwork] += len(numbers)
                for name, span in (spans or {}).items():
                    self._count(chunk, name, span, numbers)
        if self.samples < LOOKED_INTO:
            self.first.append(chunk)
        self.samples += len(chunk)
        return True

    def _learn(self, chunk: Chunk) -> dict[Clockwork, dict[OrderKey, list[int]]]:
        """Return the samples of a chunk by what each clock may see of their order, when all that may be is judged."""
        learnt, tried = self.learnt, set[int]()
        while True:
            grown = learnt.grown
            # For clocks that nobody has seen it is looked in the first samples alone.
            looks = self.samples < LOOKED_INTO
            wanted = {c: pairs for c, pairs in learnt.pairs.items() if looks or learnt.is_seen(c)}
            by_pairs = {pairs: orders(chunk, pairs) for pairs in set(wanted.values())}
            by_clock = {clock: by_pairs[pairs] for clock, pairs in wanted.items()}
            new = [
                (not learnt.is_seen(clock), -len(numbers), clock, numbers)
                for clock, by_order in by_clock.items()
                for key, numbers in by_order.items()
                if learnt.said(clock, key) is None
            ]
            # For clocks that were seen first; of these the orders that come most often, each by a sample that is new
            # to as many clocks as can be.
            often = Counter(n for *_, numbers in new for n in numbers)
            for _, _, clock, numbers in sorted(new):
                if learnt.grown > grown:
                    break
                if learnt.may_judge(clock) and tried.isdisjoint(numbers):
                    number = max(numbers, key=lambda n: (often[n], -n))
                    tried.add(number)
                    learnt.judge(takes_in(self.draws, chunk, number))
            if learnt.grown == grown:
                return by_clock

    def _count(self, chunk: Chunk, name: Name, span: Span, numbers: Sequence[int]) -> None:
        end = chunk.times[span.end]
        is_all = len(numbers) == len(chunk)
        ends = end if is_all else [end[n] for n in numbers]
        if name.start < 0:
            used = list(map(sub, ends, repeat(name.began - self.draws.origin)))
        else:
            start = chunk.times[name.start]
            used = list(map(sub, ends, start if is_all else [start[n] for n in numbers]))
        tally = self.limits[name]
        tally.runs += len(used)
        tally.out += sum(map(gt, used, repeat(span.limit)))
        tally.most = max(tally.most, *used)
        tally.spans[span] += len(used)
        if span.is_left:
            tally.left += len(used)
        if self.samples < LOOKED_INTO:
            tally.used += zip((self.samples + n for n in numbers), used, strict=True)


def how_long(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    drawn: Sampling,
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    executor: Executor | None = None,
    tell: Tell | None = None,
) -> HowLong:
    """Return how long a proposal takes from `begin` on. An interrupt, or `Cancelled`, keeps what was sampled by then.

    Samples are drawn by an `executor` where there is one; the numbers are the same. Raises Deadlock, and TooEarly, as
    `check` does.
    """
    trial = put_on_trial(rules, begin, proposal, networks=networks, begun=begun)
    trial.notes_stirring = True
    mixes = Mixes(trial, rules)
    mixes.judge_all()
    draws, fixed = draws_of(trial.schedule, drawn.shape, drawn.seed), dict(_fixed(trial))
    learnt = _Learnt(mixes)
    spent: dict[str, list[int]] = {}
    while True:
        looked, whole = _Looked(draws, learnt, fixed), False
        spent = {outing.id: [] for outing in proposal.outings}
        try:
            with closing(chunks(draws, drawn.samples, executor=executor)) as several:
                for chunk in several:
                    if not looked.take(chunk):
                        break
                    for outing, (first, last) in trial.schedule.spans.items():
                        began = trial.schedule.begun.get(outing)
                        starts = chunk.times[first] if began is None else repeat(began - draws.origin)
                        spent[outing] += map(sub, chunk.times[last], starts)
                    if tell is not None:
                        tell(looked.samples, drawn.samples)
                else:
                    whole = True
        except (KeyboardInterrupt, Cancelled):
            break
        if whole:
            break
    return HowLong(
        title=proposal.title,
        shape=drawn.shape,
        samples=looked.samples,
        seed=drawn.seed,
        start=begin.start,
        end=mixes.runs[0].end,
        outings=tuple(_outing_times(trial, spent)),
        limits=tuple(_limits(mixes, looked)),
        steps=tuple(_step_times(trial, looked)),
        doer_waits=trial.schedule.doer_waits,
        judged=len(learnt.orders),
        unjudged=max(looked.unknown.values(), default=0),
        untried=mixes.untried,
        breaking=tuple(_breaking(learnt)),
        unsampled=tuple(sorted({name for order in learnt.orders for name in order.untold})),
        assumed=tuple(step.id for step in proposal.steps if step.assumed),
        is_whole=whole,
    )


def _breaking(learnt: _Learnt) -> Iterator[Breaking]:
    """Yield what orders break that were judged, but for clocks: what most of them break first."""
    seen = Counter(one for order in learnt.orders for one in order.broken)
    for one, often in sorted(seen.items(), key=lambda pair: (-pair[1], pair[0].rule, pair[0].step or "")):
        yield Breaking(one.rule, one.step, one.headline, often)


def _free_pairs(mixes: Mixes) -> list[tuple[int, int]]:
    """Return the pairs of steps that may come in one order or the other, or at one instant or not."""
    schedule, durations = mixes.schedule, mixes.durations
    quick, slow = (schedule.times(takes) for takes in (durations.low, durations.high))
    points = [number for number, step in enumerate(schedule.steps) if step is not None]
    out = []
    for b in points:
        leads = durations.leads_to(b)
        for a in points:
            if a >= b:
                break
            is_ordered = leads >> a & 1 and schedule.takes[b][0] > 0
            if not is_ordered and quick[a] <= slow[b] and quick[b] <= slow[a]:
                out.append((a, b))
    return out


# --- what is told of it -------------------------------------------------------------------------------------------


def _outing_times(trial: Trial, spent: Mapping[str, Sequence[int]]) -> Iterator[OutingTime]:
    schedule = trial.schedule
    paces = [schedule.times(schedule.at_pace(pace)) for pace in range(3)]
    likely = Ways(schedule, schedule.at_pace(1))
    as_expected = Ways(schedule, expected_times(schedule))
    for outing in trial.proposal.outings:
        begin, over = schedule.spans[outing.id]
        began = schedule.begun.get(outing.id)
        low, middle, high = (times[over] - (times[begin] if began is None else began) for times in paces)
        critical = as_expected.critical(outing.id)
        mean = as_expected.times[over] - (as_expected.times[begin] if began is None else began)
        square = way_variance(schedule.takes[point] for point in critical)
        spans = sorted(spent[outing.id])
        budget = outing.budget
        yield OutingTime(
            outing=outing.id,
            title=outing.title,
            start=paces[1][begin],
            budget=None if budget is None else seconds(budget),
            used=0.0 if began is None else seconds(paces[1][begin] - began),
            low=seconds(low),
            likely=seconds(middle),
            high=seconds(high),
            expected=seconds(mean),
            deviation=seconds(sqrt(square)),
            pert_within=None if budget is None else probability_within(budget, mean, square),
            mean=seconds(sum(spans) / len(spans)) if spans else 0.0,
            p05=_quantile(spans, 0.05),
            p50=_quantile(spans, 0.5),
            p95=_quantile(spans, 0.95),
            critical=tuple(_ids(schedule, likely.critical(outing.id))),
        )


def _quantile(drawn: Sequence[int], share: float) -> float:
    """Return what a share of samples doesn't exceed: the least of them with that property, in seconds."""
    return seconds(drawn[max(0, ceil(share * len(drawn)) - 1)]) if drawn else 0.0


def _ids(schedule: Schedule, points: Iterable[int]) -> Iterator[str]:
    for point in points:
        step = schedule.steps[point]
        if step is not None:
            yield step.id


def _step_times(trial: Trial, looked: _Looked) -> Iterator[StepTime]:
    schedule = trial.schedule
    ways = Ways(schedule, schedule.at_pace(1))
    size = sum(map(len, looked.first))
    for outing in trial.proposal.outings:
        begin, over = schedule.spans[outing.id]
        rooms, critical = ways.rooms(outing.id), set(ways.critical(outing.id))
        often: Counter[int] = Counter()
        for chunk in looked.first:
            often.update(criticality(looked.draws, chunk, begin, over))
        began = schedule.begun.get(outing.id, ways.times[begin])
        for point, room in sorted(rooms.items(), key=lambda one: schedule.written[one[0]]):
            step = schedule.steps[point]
            assert step is not None
            low, likely, high = step.takes
            yield StepTime(
                step=step.id,
                outing=outing.id,
                track=step.track,
                by=step.action.by or step.track,
                takes=(seconds(low), seconds(likely), seconds(high)),
                start=seconds(room.start - began),
                end=seconds(room.end - began),
                total_float=seconds(room.total),
                free_float=seconds(room.free),
                is_critical=point in critical,
                criticality=often[point] / size if size else 0.0,
            )


def _limits(mixes: Mixes, looked: _Looked) -> Iterator[Limit]:
    """Yield the limits, the least sure first, then by what is left at worst."""
    schedule = mixes.schedule
    fixed = looked.fixed
    worst, likely = _left_of(mixes, looked)
    drives = _Drives(looked, mixes.durations)
    found: list[tuple[Name, _Tally, Span, int, Chance]] = []
    for name, tally in looked.limits.items():
        span = max(tally.spans, key=lambda one: (tally.spans[one], one))
        unknown = 0 if name in fixed else looked.unknown[name.rule, name.subject]
        chance = Chance(tally.runs - tally.out, tally.runs + unknown, unknown)
        least = min(worst.get(name, span.limit), span.limit - tally.most)
        found.append((name, tally, span, least, chance))
    found.sort(key=lambda one: (one[4].probability, one[3], one[0]))
    for number, (name, tally, span, least, chance) in enumerate(found):
        is_told = number < DRIVEN or name in fixed
        yield Limit(
            rule=name.rule,
            title={BUDGET: BUDGET_TITLE, OVERLAP: OVERLAP_TITLE}.get(name.rule) or mixes.titles[name.rule],
            subject=name.subject,
            starts=None if name.start < 0 else next(_ids(schedule, [name.start]), None),
            met=None if span.is_left else next(_ids(schedule, [span.end]), None),
            limit=span.limit,
            likely=likely.get(name),
            worst=least,
            in_time=chance,
            left_running=tally.left,
            drivers=tuple(drives.of(name, span, tally)) if is_told else (),
        )


def _left_of(mixes: Mixes, looked: _Looked) -> tuple[dict[Name, int], dict[Name, int]]:
    """Return what is left of each limit at worst, as far as mixes of durations go, and with likely durations."""
    worst: dict[Name, int] = {}
    likely: dict[Name, int] = {}
    fixed = looked.fixed
    for number, run in enumerate(mixes.runs):
        clocks = (one for spans in looked.learnt.orders[number].spans.values() for one in spans.items())
        for name, span in (*fixed.items(), *clocks):
            began = name.began if name.start < 0 else run.times[name.start]
            left = span.limit - (run.times[span.end] - began)
            worst[name] = min(left, worst.get(name, left))
            if number == 0:
                likely[name] = left
    margins = mixes.least_of_clocks(len(mixes.schedule.steps) ** 2)
    for name, left in worst.items():
        margin = margins.get((name.rule, name.subject, name.start))
        if margin is not None and left >= 0:
            worst[name] = min(left, margin.left)
    slow = mixes.schedule.times(mixes.durations.high)
    for name, span in fixed.items():
        worst[name] = span.limit - (slow[span.end] - (name.began if name.start < 0 else slow[name.start]))
    return worst, likely


class _Drives:
    """Which steps drive a limit, of the first samples: whose durations go along with what is used of it."""

    def __init__(self, looked: _Looked, durations: Durations) -> None:
        self._looked, self._durations = looked, durations
        self._schedule = durations.schedule
        self._ranked: dict[int, list[float]] = {}
        self.size = sum(map(len, looked.first))

    def of(self, name: Name, span: Span, tally: _Tally) -> list[Driver]:
        """Return the steps that drive a limit most."""
        if not tally.used:
            return []
        numbers, used = zip(*sorted(tally.used), strict=True)
        mine = _scaled(ranks(used))
        lead = self._durations.leads_to(span.end)
        if name.start >= 0:
            lead |= self._durations.leads_to(name.start)
        found = []
        for point, (low, _, high) in enumerate(self._schedule.takes):
            step = self._schedule.steps[point]
            if step is None or low == high or not lead >> point & 1:
                continue
            column = self._column(point)
            if len(numbers) < self.size:
                column = _scaled(ranks([column[n] for n in numbers]))
            along = sum(map(mul, mine, column))
            if abs(along) >= DRIVES_FROM:
                found.append(Driver(step.id, round(along, 6)))
        found.sort(key=lambda one: -abs(one.correlation))
        return found[:TOLD_DRIVERS]

    def _column(self, point: int) -> list[float]:
        if point not in self._ranked:
            drawn: list[int] = []
            for chunk in self._looked.first:
                drawn += durations_in(self._looked.draws, chunk, point)
            self._ranked[point] = _scaled(ranks(drawn))
        return self._ranked[point]


def _scaled(values: Sequence[float]) -> list[float]:
    """Return values around their mean, so that the sum of products of two such columns is their correlation."""
    mean = sum(values) / len(values)
    off = [value - mean for value in values]
    length = sqrt(sum(map(mul, off, off)))
    return [one / length for one in off] if length else off
