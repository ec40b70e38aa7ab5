"""The rules, judged by brute force: everything is worked out anew at every instant that could matter.

Written from the text of the meanings alone. Where that text leaves a choice, the question and what is taken here:

Time
 1. Truth by time alone lives on the microsecond. What may be an hour old is so at an hour and is not one
    microsecond later, which is when it turns false.
 2. A horizon judges up to and with itself: what is to be broken after it isn't. A clock whose deadline is the
    horizon runs still.
 3. A tolerance of zero is broken at the instant at which the condition is false; any other when it has passed and
    the condition is false still, so at `since + tolerance`, told when the next microsecond is false too.
 4. How long a thermal clock runs is rounded down to a microsecond: it never grants more.

Instances
 5. Tolerance runs per instance, even where another instance was false just before: a condition that is false for an
    hour, each half hour for another item, is within a tolerance of 45 minutes.
 6. One instance (`count`, `any`, `not`, custom) that is broken past its tolerance is broken anew at the very
    instant at which a further item falls short. While it is within its tolerance a further item starts nothing: it
    is among those that fall short when the tolerance has passed. (It could be read otherwise: a tolerance for each
    further item.)
 7. An item that fell short, recovered and falls short again while the instance is false is a further item again.
 8. In `any`, an item falls short when it does in every alternative (an intersection); in `all` within such an
    instance, when it does in a member. What falls short of `not` is what makes its member true. A count falls short
    by the items that have not what is asked, where there are too few, and by those that have it, where there are
    too many. Of a no_path both of a pair fall short. A custom condition names none, so it is never broken anew.
 9. Breaches of one instance that is broken anew all stand until it is true.
10. An item that leaves a dynamic scope is judged no more: what it broke closes, and begins anew if it comes back.
11. Who is checked by itself (`path`, `status`, `value`, `done`, `no_path`) may reach or be itself: an item that is
    in both selections reaches one.
12. A selection of none is true of `path`, `status`, `value`, `done` and `no_path`; an error at load is not judged
    here.

Actions
13. The subjects of a move are both halves of a joined pair, unless the kind says each; of `place` and `lift` what
    is named, not what comes along.
14. `at` is judged for each subject that the action's selection names; `it` is that subject, also where the
    condition doesn't ask for it. The selection is read at the moment that is judged: before, or after where it says
    so. A breach at an action is of that moment: it stands no longer than its event.
15. For `done` and `since`, "later" is the order of events. A value that was taken by the very action that it must
    be since is not later than it (it may be of a moment before that was over). Where the action never happened
    everything is since it. An action along a ladder at a unit's port was done to the unit, too; what is measured or
    inspected there was not. What is too old or from before what it must be since doesn't count, so it is
    unmeasured: where a rule lets that pass (`unmeasured`) it passes. (It could be read otherwise, so no case draws
    both.)
16. The handover and what is found aren't actions: they count no cycles and start no clock.
17. `elapsed` counts from the last such action at the item itself; never is unmeasured.
18. `rated` of an item without a rating asks only that there is a value; cycles there always are.

Within
19. Turning true is to be false at the last instant and true at this one; before the first instant is what was so
    before all events. What is true then, and at the first instant still, hasn't turned.
20. Each turn and each action starts a clock of its own, for each item; what happens at one instant starts one. So a
    second trigger while the first clock runs may be a second breach of one instance.
21. Without `stays`, that the trigger is undone ends no clock: only the condition does.
22. With `stays`, what was met, in time or late, must remain so until the trigger's condition is false; each loss is
    a breach of its own. Of a trigger that is an action nothing says what undoes it: it never is. Any breach of
    `within` is since its trigger, and stands until its instance is true, also where the trigger was undone
    meanwhile.
23. A trigger of `turns_true` in a rule without scope is one condition, and starts one clock without an item; a
    trigger that is an action starts one for each subject that it matches.
24. A clock's length is that of the instant of its trigger, after all events of it: temperature last measured, else
    the part's `start`; sink of the nearest place that has one; the heater off. What is measured later doesn't move
    it. The limit is the lowest temperature where the part's `start` is above it, else the highest.
25. A thing without thermal data, without a sink, or that never reaches its limit has a clock without a deadline. It
    has one from the first move on after which it would reach its limit.
26. A clock runs as a whole. When it runs out each instance that is false at its deadline is a breach. Until the
    whole is true, late, what falls short further is a breach of its own; so it is while what was met must remain
    so.

By
27. An outing's end is judged as its `end` event stands in the series, a stop point after its step's event, the
    sequence's end at the horizon. The stop points of a record are the ends of its outings.
28. Unmended breaches of an instance fold into one that lists its ends. Where a further item fell short between two
    ends, the second is a breach of its own as well, and both list the ends that follow.

Networks
29. A unit hangs together with its own hold ports, a fixed place with its own and with the place around it, and what
    stands in a place that holds (a person too) with that place. A mobile place hangs on nothing else.
30. A link inside a thing passes whatever the status of the ports at its ends.
31. Hold has no direction: what a person stands on is reached by what he grips, and he by what stands there.

Causes
32. The cause is the event of the instant that made the instance false for good: where it broke links that were
    made, on a way from the item to what it reached, and none is left, those links, each by its gate where it has
    one; else its action's words with both halves of what is joined, the place, the status and the outing, and
    without what was measured. What was so from the beginning, or became so by time alone, has none. A clock that
    ran out has for its cause the words of what started it; of what was met and lost it is what lost it. At an
    outing's end it is the words of that end; at a stop point or a sequence's, that it is one.
33. Under `all` an item that two members ask of is one instance (the text: an instance is an item of the checked
    selection), false as long as it is in one of them; so is a pair. What is one each has its position.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import networkx as nx

from cfgtrack.physics.thermal import time_to_limit
from tests.rules.oracle.moment import CUSTOMS, Custom, Moment, Part, Short, has_items, leaves, sort_of
from tests.rules.oracle.plant import SECOND, Plant, Table, listed, micros, si
from tests.rules.oracle.state import Event, State, after, around, initial, subjects_of

Cause = tuple[Any, ...]


@dataclass(frozen=True)
class Breach:
    """A rule that is broken for one instance."""

    rule: str
    item: str | None
    part: Part
    time: int
    since: int
    until: int | None
    ends: tuple[int, ...] = ()
    cause: Cause = ()
    short: frozenset[str] = field(default=frozenset(), compare=False)

    @property
    def identity(self) -> tuple[Any, ...]:
        """Return what a fingerprint is of: rule, instance and cause."""
        return (self.rule, self.item, self.part, self.cause)


@dataclass(frozen=True)
class Clock:
    """A limit that runs at the horizon: `mode` of its rule tells a tolerance from a clock."""

    rule: str
    item: str | None
    part: Part
    started: int
    deadline: int | None
    mode: str


@dataclass(frozen=True)
class Judged:
    """What a past or a plan broke, and what still runs at its end."""

    breaches: tuple[Breach, ...]
    clocks: tuple[Clock, ...]
    judged: dict[str, int]
    met_and_lost: int = 0
    limited: int = 0


@dataclass
class Series:
    """A plant's states, one after each event, and the instants at which anything might be otherwise.

    What was so before the first event is no instant: it is only what the first instant is compared with.
    """

    plant: Plant
    states: list[State]
    events: list[Event]
    start: int
    horizon: int
    instants: list[int]
    customs: dict[str, Custom]
    moments: dict[int, Moment]

    def at(self, time: int) -> Moment:
        """Return the moment at a time, after all events of it."""
        if time not in self.moments:
            count = sum(event["happened"] <= time for event in self.events)
            self.moments[time] = Moment(self.plant, self.states[count], time, self.customs)
        return self.moments[time]

    def before(self, index: int) -> Moment:
        """Return the moment before an instant: that of the instant before it, or what was so before all events."""
        if index == 0:
            return Moment(self.plant, self.states[0], self.start, self.customs)
        return self.at(self.instants[index - 1])


def words(series: Series, number: int) -> Cause:
    """Return what an event does, without when, by whom, what it told, and under which id: both halves of what is
    joined."""
    event = series.events[number]
    subjects = tuple(sorted(subjects_of(series.plant, series.states[number], event)))
    return (event["action"], subjects, event.get("place"), event.get("status"), event.get("outing"))


def judge(
    hardware: Table,
    rules: list[Table],
    events: list[Event],
    *,
    start: int,
    horizon: int,
    plan: bool = False,
    stops: bool = False,
    customs: dict[str, Custom] | None = None,
) -> Judged:
    """Judge a series of events by all rules.

    `plan` says that the horizon is the end of a sequence; `stops` that each event of a step has a stop point
    after it.
    """
    plant = Plant(hardware)
    states = [initial(plant)]
    for number, event in enumerate(events, start=1):
        states.append(after(plant, states[-1], event, number))
    breaches: list[Breach] = []
    clocks: list[Clock] = []
    judged: dict[str, int] = {}
    lost = limited = 0
    moments: dict[int, Moment] = {}
    for rule in rules:
        instants = _instants(rule, events, start, horizon)
        series = Series(plant, states, events, start, horizon, instants, CUSTOMS | (customs or {}), moments)
        if rule["mode"] == "always":
            found, running, judged[rule["id"]] = _always(rule, series)
        elif rule["mode"] == "at":
            found, running, judged[rule["id"]] = _at(rule, series)
        elif rule["mode"] == "within":
            found, running, judged[rule["id"]], losses, limits = _within(rule, series)
            lost, limited = lost + losses, limited + limits
        else:
            found, running, judged[rule["id"]] = _by(rule, series, plan=plan, stops=stops)
        breaches += found
        clocks += running
    breaches.sort(key=lambda b: (b.time, b.rule, b.item or "", b.part, b.since))
    return Judged(tuple(breaches), tuple(clocks), judged, lost, limited)


def _instants(rule: Table, events: list[Event], start: int, horizon: int) -> list[int]:
    """Return every time at which a rule's conditions may change their truth: at events, and as things grow old."""
    moments = {start, *(event["happened"] for event in events)}
    ages = list(_ages(rule))
    aged = {time + age + extra for time in moments for age in ages for extra in (0, 1)}
    return sorted(time for time in moments | aged if start <= time <= horizon)


def _ages(table: Any) -> Iterable[int]:
    """Return every duration that a condition compares an age with."""
    if isinstance(table, list):
        for one in table:
            yield from _ages(one)
    elif isinstance(table, dict):
        if "max_age" in table:
            yield micros(table["max_age"])
        if table.get("quantity") == "elapsed":
            yield from (round(si(table[bound]) * SECOND) for bound in ("min", "max") if bound in table)
        for value in table.values():
            yield from _ages(value)


# --- always -----------------------------------------------------------------------------------------------------------


def _scope(rule: Table, moment: Moment) -> list[str | None]:
    """Return for whom a rule is judged at a moment: each item of its scope, or nobody in particular."""
    return list(moment.select(rule["scope"])) if "scope" in rule else [None]


def _falsehoods(
    rule: Table, series: Series
) -> tuple[list[dict[tuple[str | None, Part], frozenset[str]]], int]:
    """Return for each instant the instances that are false then, and how many were judged."""
    table = []
    judged: set[Any] = set()
    for time in series.instants:
        moment = series.at(time)
        false: dict[tuple[str | None, Part], frozenset[str]] = {}
        for item in _scope(rule, moment):
            judged.add(item)
            for part, items in moment.short(rule["condition"], item).items():
                false[(item, part)] = items
        table.append(false)
    return table, len(judged)


def _always(rule: Table, series: Series) -> tuple[list[Breach], list[Clock], int]:
    tolerance = micros(rule["tolerance"]) if "tolerance" in rule else 0
    table, judged = _falsehoods(rule, series)
    breaches, clocks = [], []
    for item, part in sorted({key for false in table for key in false}, key=repr):
        for first, last in _runs([(item, part) in false for false in table]):
            since = series.instants[first]
            until = series.instants[last] if last < len(table) else None
            stood = (series.horizon if until is None else until) - since
            if tolerance and stood <= tolerance:
                if until is None:
                    clocks.append(Clock(rule["id"], item, part, since, since + tolerance, "always"))
                continue
            broken = max(i for i, time in enumerate(series.instants) if time <= since + tolerance)
            cause = _cause(rule, rule["condition"], item, part, series, first)
            short = table[min(broken, last - 1)][(item, part)]
            breaches.append(Breach(rule["id"], item, part, since + tolerance, since, until, (), cause, short))
            if not has_items(part):
                shorts = [false.get((item, part), frozenset()) for false in table[:last]]
                breaches += _anew(rule, item, part, series, shorts, since + tolerance, until)
    return breaches, clocks, judged


def _anew(
    rule: Table,
    item: str | None,
    part: Part,
    series: Series,
    shorts: list[frozenset[str]],
    broken: int,
    until: int | None,
) -> list[Breach]:
    """Return where one instance that was broken at a time is broken anew: a further item falls short after that."""
    found = []
    for index in range(1, len(shorts)):
        further = shorts[index] - shorts[index - 1]
        time = series.instants[index]
        for cause, fallen in _blows(rule, item, part, series, index, further) if time > broken else ():
            found.append(Breach(rule["id"], item, part, time, time, until, (), cause, fallen))
    return found


def _runs(flags: list[bool]) -> list[tuple[int, int]]:
    """Return where a row of flags is set: from, and to without.

    >>> _runs([True, True, False, True])
    [(0, 2), (3, 4)]
    """
    found: list[tuple[int, int]] = []
    for index, flag in enumerate(flags):
        if flag and found and found[-1][1] == index:
            found[-1] = (found[-1][0], index + 1)
        elif flag:
            found.append((index, index + 1))
    return found


def _blows(
    rule: Table, item: str | None, part: Part, series: Series, index: int, further: frozenset[str]
) -> list[tuple[Cause, frozenset[str]]]:
    """Return what falls further short at an instant, by what made each item do so."""
    found: dict[Cause, set[str]] = {}
    for one in sorted(further):
        cause = _cause(rule, rule["condition"], item, part, series, index, frozenset([one]))
        found.setdefault(cause, set()).add(one)
    return [(cause, frozenset(items)) for cause, items in found.items()]


def _cause(
    rule: Table,
    condition: Table,
    item: str | None,
    part: Part,
    series: Series,
    index: int,
    further: frozenset[str] = frozenset(),
) -> Cause:
    """Return why an instance turned false at an instant, or a further item fell short.

    The links that are gone with that instant and that were on the way, else the words of the event that made it so for
    good. Nothing where no event did: it was so from the beginning, or by time alone.
    """

    def is_so(moment: Moment) -> bool:
        if item not in _scope(rule, moment):
            return False
        items = moment.short(condition, item).get(part)
        return items is not None and further <= items

    time = series.instants[index]
    earlier = sum(event["happened"] < time for event in series.events)
    now = sum(event["happened"] <= time for event in series.events)
    states = series.states[earlier : now + 1]
    moments = [Moment(series.plant, state, time, series.customs) for state in states]
    so = [is_so(moment) for moment in moments]
    culprit = next((i for i in range(len(so) - 1, 0, -1) if so[i] and not so[i - 1]), None)
    if culprit is None or not all(so[culprit:]):
        return ()
    # What the instant took away, by whichever of its events: it is one change. (It could be read of that event alone.)
    was, then = moments[0], moments[-1]
    lost: frozenset[Any] = frozenset()
    for leaf in leaves(condition):
        if sort_of(leaf) == "path" and has_items(part):
            lost |= cut(leaf, item, part[0], was, then)
    return ("cut", lost) if lost else ("done", words(series, earlier + culprit - 1))


def cut(condition: Table, it: str | None, x: str, was: Moment, now: Moment) -> frozenset[Any]:
    """Return the links that are made no more, and that lay on a way from an item to what it reached.

    Of several those that would each, made again alone, give it a path; all where none would.
    """
    medium = condition["path"]
    before, present = was.network(medium), now.network(medium)
    if was.plant.media[medium].get("upstream"):
        before, present = before.reverse(), present.reverse()
    reached = was.reached(medium, x)
    wanted = set(was.select(condition["to"], it)) & reached
    leading = {y for z in wanted if z in before for y in nx.ancestors(before, z) | {z}}
    if x not in was.select(condition["from"], it) or now.is_met(condition, x, it):
        return frozenset()
    gone = [(a, b) for a, b in before.edges if not present.has_edge(a, b)]
    lost = frozenset(before.edges[a, b]["link"] for a, b in gone if a in reached and b in leading)
    ends = set(now.select(condition["to"], it))
    alone = set()
    for link in lost if len(lost) > 1 else ():
        mended = present.copy()
        mended.add_edges_from((a, b) for a, b in gone if before.edges[a, b]["link"] == link)
        if ends & (nx.descendants(mended, x) | {x}):
            alone.add(link)
    return frozenset(alone) or lost


# --- at ---------------------------------------------------------------------------------------------------------------


def matching(trigger: Table, event: Event, before: State, moment: Moment) -> list[str]:
    """Return the subjects of an event that a trigger's action and selection name."""
    if event["action"] not in listed(trigger["action"]):
        return []
    if "to" in trigger:
        places = around(moment.plant, moment.state, event["place"]) if event.get("place") else []
        wanted = listed(trigger["to"])
        tags = {f"#{tag}" for place in places for tag in moment.plant.tags(place)}
        if not (set(wanted) & (set(places) | tags)):
            return []
    subjects = subjects_of(moment.plant, before, event)
    return [subject for subject in subjects if moment.fits(subject, {**trigger, "action": None})]


def _at(rule: Table, series: Series) -> tuple[list[Breach], list[Clock], int]:
    breaches = []
    judged: set[str] = set()
    for number, event in enumerate(series.events):
        before = series.states[number]
        state = series.states[number + 1] if rule.get("after") else before
        moment = Moment(series.plant, state, event["happened"], series.customs)
        for it in matching(rule["at"], event, before, moment):
            judged.add(it)
            for part, items in moment.short(rule["condition"], it).items():
                time = event["happened"]
                cause = ("done", words(series, number))
                breaches.append(Breach(rule["id"], it, part, time, time, time, (), cause, items))
    return breaches, [], len(judged)


# --- within -----------------------------------------------------------------------------------------------------------


def _within(rule: Table, series: Series) -> tuple[list[Breach], list[Clock], int, int, int]:
    breaches: list[Breach] = []
    clocks: list[Clock] = []
    losses = limits = 0
    started = _starts(rule, series)
    moments = [series.at(time) for time in series.instants]
    for item, turned, trigger in started:
        begun, index = turned, series.instants.index(turned)
        limit = _limit(rule, item, moments[index])
        deadline = None if limit is None else begun + limit
        limits += limit is not None and rule["within"] == "thermal"
        true = [moment.is_true(rule["condition"], item) for moment in moments]
        met = next((i for i in range(index, len(true)) if true[i]), None)
        if limit is None:
            begun, deadline = _moved_to_a_limit(rule, item, series, moments, index, met)
        in_time = met is not None and (deadline is None or series.instants[met] <= deadline)
        if not in_time and (deadline is None or series.horizon <= deadline):
            clocks.append(Clock(rule["id"], item, (), begun, deadline, "within"))
            continue
        shorts = [moment.short(rule["condition"], item) for moment in moments]
        owed = _Owed(rule, item, begun, trigger or ("clock",), shorts, series)
        if not in_time:
            assert deadline is not None
            late = len(shorts) if met is None else met
            last_before = max(i for i, time in enumerate(series.instants) if time <= deadline)
            breaches += _broken_from(owed, last_before, late, deadline)
        if rule.get("stays") and met is not None:
            lost = _broken_from(owed, met + 1, _undone(rule, item, moments, index), None)
            losses += bool(lost)
            breaches += lost
    return breaches, clocks, len({item for item, _, _ in started}), losses, limits


def _moved_to_a_limit(
    rule: Table, item: str | None, series: Series, moments: list[Moment], index: int, met: int | None
) -> tuple[int, int | None]:
    """Return when a clock that had no limit gets one after all, and its deadline: at a move, before it is met."""
    for later in range(index + 1, len(moments) if met is None else met + 1):
        now = series.instants[later]
        if any(event["happened"] == now and event.get("place") for event in series.events):
            limit = _limit(rule, item, moments[later])
            if limit is not None:
                return now, now + limit
    return series.instants[index], None


@dataclass(frozen=True)
class _Owed:
    """What a trigger asks of an item: what falls short of it at each instant, and what started it."""

    rule: Table
    item: str | None
    begun: int
    clock: Cause
    shorts: list[Short]
    series: Series


def _broken_from(owed: _Owed, first: int, end: int, deadline: int | None) -> list[Breach]:
    """Return each instance that is false, or turns so, from one instant on and before another.

    What is false at the first of them already was so when the clock ran out, where there is a deadline.
    """
    rule, item, series = owed.rule, owed.item, owed.series
    found = []
    for part in sorted({part for short in owed.shorts for part in short}):
        flags = [i >= first and part in short for i, short in enumerate(owed.shorts)]
        for begin, over in _runs(flags):
            if begin >= end:
                continue
            until = series.instants[over] if over < len(flags) else None
            ran_out = deadline is not None and begin == first
            time = deadline if deadline is not None and ran_out else series.instants[begin]
            cause = owed.clock if ran_out else _cause(rule, rule["condition"], item, part, series, begin)
            short = owed.shorts[begin][part]
            found.append(Breach(rule["id"], item, part, time, owed.begun, until, (), cause, short))
            for index in range(begin + 1, min(over, end)) if not has_items(part) else ():
                further = owed.shorts[index][part] - owed.shorts[index - 1][part]
                now = series.instants[index]
                for anew, fallen in _blows(rule, item, part, series, index, further):
                    found.append(Breach(rule["id"], item, part, now, owed.begun, until, (), anew, fallen))
    return found


def _starts(rule: Table, series: Series) -> list[tuple[str | None, int, Cause]]:
    """Return for whom and when a rule's trigger happened, each once an instant, and the words of what made it
    happen."""
    trigger = rule["trigger"]
    if "action" in trigger:
        found: dict[tuple[str | None, int], Cause] = {}
        for number, event in enumerate(series.events):
            moment = Moment(series.plant, series.states[number + 1], event["happened"], series.customs)
            for subject in matching(trigger, event, series.states[number], moment):
                if "scope" not in rule or subject in moment.select(rule["scope"]):
                    found[(subject, event["happened"])] = words(series, number)
        return [(item, time, cause) for (item, time), cause in found.items()]
    turned: list[tuple[str | None, int, Cause]] = []
    for index, now in enumerate(series.instants):
        earlier, moment = series.before(index), series.at(now)
        for item in _scope(rule, moment):
            condition = trigger["turns_true"]
            if moment.is_true(condition, item) and not earlier.is_true(condition, item):
                turned.append((item, now, _cause(rule, {"not": condition}, item, (), series, index)))
    return turned


def _limit(rule: Table, item: str | None, moment: Moment) -> int | None:
    """Return how long a clock runs, in microseconds; None for as long as it likes."""
    told = rule["within"]
    if told not in ("thermal", "trapped"):
        return micros(told)
    assert item is not None
    owner = moment.plant.owner.get(item, item)
    part = moment.plant.part(owner)
    if told == "trapped":
        return micros(part["trapped"]) if "trapped" in part else None
    sinks = [moment.plant.places[place].get("sink") for place in around(moment.plant, moment.state, item)]
    sink = next((sink for sink in sinks if sink is not None), None)
    if "thermal" not in part or sink is None:
        return None
    data = part["thermal"]
    measured = moment.state.measured(owner, "temperature")
    start = si(data["start"]) if measured is None else measured.values["temperature"]
    seconds = time_to_limit(
        capacity=si(data["capacity"]),
        leak=si(data["leak"]),
        start=start,
        sink=si(sink),
        limit=si(data["limit"]),
        lower=si(data["start"]) > si(data["limit"]),
    )
    return None if seconds is None else int(seconds * SECOND)


def _undone(rule: Table, item: str | None, moments: list[Moment], index: int) -> int:
    """Return the index of the instant at which a trigger is undone, that after the last where it never is."""
    if "turns_true" not in rule["trigger"]:
        return len(moments)
    condition = rule["trigger"]["turns_true"]
    later = (i for i in range(index, len(moments)) if not moments[i].is_true(condition, item))
    return next(later, len(moments))


# --- by ---------------------------------------------------------------------------------------------------------------


def _by(rule: Table, series: Series, *, plan: bool, stops: bool) -> tuple[list[Breach], list[Clock], int]:
    judged_at = _ends(rule, series, plan=plan, stops=stops)
    table, _ = _falsehoods(rule, series)
    breaches: list[Breach] = []
    judged: set[Any] = set()
    standing: dict[tuple[str | None, Part], list[Breach]] = {}
    latest: dict[tuple[str | None, Part], frozenset[str]] = {}
    for end, moment, cause in judged_at:
        for item in _scope(rule, moment):
            judged.add(item)
            for part, items in moment.short(rule["condition"], item).items():
                key = (item, part)
                earlier = standing.get(key, [])
                if earlier and _mended(key, earlier[-1].ends[-1], end, series, table) is not None:
                    breaches += earlier
                    earlier = []
                listed_ends = [b if end in b.ends else replace(b, ends=(*b.ends, end)) for b in earlier]
                further = items - latest[key] if earlier and not has_items(part) else frozenset()
                if not earlier or further:
                    listed_ends.append(
                        Breach(rule["id"], item, part, end, end, None, (end,), cause, further or items)
                    )
                standing[key], latest[key] = listed_ends, items
    breaches += [breach for several in standing.values() for breach in several]
    closed = []
    for breach in breaches:
        key = (breach.item, breach.part)
        closed.append(replace(breach, until=_mended(key, breach.ends[-1], series.horizon + 1, series, table)))
    return closed, [], len(judged)


def _mended(
    key: tuple[str | None, Part],
    since: int,
    to: int,
    series: Series,
    table: list[dict[tuple[str | None, Part], frozenset[str]]],
) -> int | None:
    """Return the first instant from a time on, before another, at which an instance is true, if there is one."""
    times = (
        t for t, false in zip(series.instants, table, strict=True) if since <= t < to and key not in false
    )
    return next(times, None)


def _ends(rule: Table, series: Series, *, plan: bool, stops: bool) -> list[tuple[int, Moment, Cause]]:
    """Return the ends at which a rule is judged: when, what is so then, and what made it an end."""
    found: list[tuple[int, Moment, Cause]] = []
    for number, event in enumerate(series.events, start=1):
        ended = event["action"] == "end" and (rule["by"] == "outing" or not stops)
        if rule["by"] != "sequence" and (ended or (rule["by"] == "stop" and "step" in event)):
            moment = Moment(series.plant, series.states[number], event["happened"], series.customs)
            cause = words(series, number - 1) if rule["by"] == "outing" else ("stop",)
            found.append((event["happened"], moment, ("done", cause)))
    if rule["by"] == "sequence" and plan:
        found.append((series.horizon, series.at(series.horizon), ("end", "sequence")))
    return found
