"""Mending a sequence: the fewest changes that make it clear - a step added, moved or dropped, a wait added or given up.

Best first over sets of changes. Each is laid out and judged up to the first thing that is wrong with it: that must
go, so what is tried next is what may end it - what its rule, or what refused the step, proposes, put where somebody
can do it in time, or other steps and waits that have to do with it. What is clear so, with likely, low and high
durations, is checked as any proposal is; what the check still finds counts as wrong, too.

A step is dropped only where the end stays what it was. What is called fewest is so of the changes that were looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from heapq import heapify, heappop, heappush
from itertools import islice
from typing import Any, ClassVar

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.course import HIGH, LIKELY, LOW, Course
from cfgtrack.analysis.options import candidates
from cfgtrack.analysis.reorder import Plan, Ready
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.model.action import DEVICE_ACTIONS, NOTES, PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import site_at
from cfgtrack.model.sequence import Deadlock, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.model.time import MINUTE
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.cure import in_turn
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock

ADD, MOVE, DROP, WAIT, GIVE_UP = "add", "move", "drop", "wait", "give up"
"""Sorts of change; the last is a wait that is given up."""

MOST_ACTIONS = 12
"""So many actions that are proposed against one thing that is wrong are put into a sequence."""

MOST_CHANGES = 40
"""So many changes, or pairs of them, are tried against one thing that is wrong."""

PROOF = 120
"""So many more sequences are judged, once one is clear, to see whether fewer changes would do."""

_ASSUMED = (5 * MINUTE, 5 * MINUTE, 5 * MINUTE)
_MARK = "added-"


@dataclass(frozen=True, slots=True)
class Change:
    """One change. `step` is added before `before` (None: at the end of its track), moved there, dropped; it waits for
    `waits_for`, or gives that wait up. `added` is the step that is added, `what` that in words.
    """

    told: ClassVar[tuple[str, ...]] = ("text",)
    untold: ClassVar[tuple[str, ...]] = ("added", "what")

    sort: str
    step: str
    before: str | None = None
    waits_for: str | None = None
    added: Step | None = field(default=None, compare=False)
    what: str = ""

    @property
    def text(self) -> str:
        """The change in words."""
        if self.sort == ADD and self.added is not None:
            where = f"before {self.before}" if self.before else f"at the end of {self.added.track}'s track"
            return f"add {self.step}, {self.what}, in {self.added.outing} {where}"
        if self.sort == MOVE:
            return f"move {self.step} {f'before {self.before}' if self.before else 'to the end of its track'}"
        if self.sort == DROP:
            return f"drop {self.step}"
        if self.sort == WAIT:
            return f"{self.step} waits for {self.waits_for}"
        return f"{self.step} no longer waits for {self.waits_for}"

    def made(self, proposal: Proposed) -> Proposed:
        """Return a sequence with this change."""
        steps = list(proposal.steps)
        at = {step.id: i for i, step in enumerate(steps)}
        if self.sort == ADD:
            assert self.added is not None
            place = at.get(self.before or "", _behind_track(steps, self.added))
            steps.insert(place, self.added)
        elif self.sort == MOVE and self.before is None:
            step = steps.pop(at[self.step])
            steps.insert(_behind_track(steps, step), step)
        elif self.sort == MOVE:
            step = steps.pop(at[self.step])
            place = next(i for i, one in enumerate(steps) if one.id == self.before)
            steps.insert(place, replace(step, outing=steps[place].outing))
        elif self.sort == DROP:
            gone = steps.pop(at[self.step])
            steps = [
                replace(one, after=tuple(_instead(one.after, gone))) if gone.id in one.after else one
                for one in steps
            ]
        else:
            step = steps[at[self.step]]
            after = [name for name in step.after if name != self.waits_for]
            if self.sort == WAIT and self.waits_for:
                after.append(self.waits_for)
            steps[at[self.step]] = replace(step, after=tuple(after))
        return replace(proposal, steps=tuple(steps))


def _instead(after: Iterable[str], gone: Step) -> Iterator[str]:
    """Yield what a step waits for where one of that is dropped: what that waited for, in its place."""
    for name in after:
        if name == gone.id:
            yield from gone.after
        else:
            yield name


def _behind_track(steps: Sequence[Step], added: Step) -> int:
    same = [i for i, one in enumerate(steps) if (one.outing, one.track) == (added.outing, added.track)]
    return same[-1] + 1 if same else len(steps)


@dataclass(frozen=True, slots=True)
class Mended:
    """What makes a sequence clear: the `changes`, and the sequence with them. `is_clear`: whether it is, so far as
    was got.

    No set of fewer than `at_least` of the changes that were looked at does; `tried` is how many sequences were judged.
    `wrong`: what is still wrong where it isn't clear. `report` is what the check says of it.
    """

    changes: tuple[Change, ...]
    sequence: Proposed
    is_clear: bool
    at_least: int
    tried: int
    report: CheckReport
    wrong: str = ""
    cut_short: bool = False

    @property
    def proved(self) -> bool:
        """Whether no fewer of the changes that were looked at would do."""
        return self.is_clear and len(self.changes) <= self.at_least


@dataclass(frozen=True, slots=True)
class _Wrong:
    """The first thing that is wrong: at which turn of the course, at which step (None: an end), and when.

    `breaches` of rules, an `impossible` step, a `clock` that is left running, or a `text` alone.
    """

    turn: int
    step: str | None
    time: int
    outing: str
    text: str
    breaches: tuple[Breach, ...] = ()
    impossible: Impossible | None = None
    clock: Clock | None = None


@dataclass(slots=True)
class _Node:
    changes: tuple[Change, ...]
    proposal: Proposed
    wrong: _Wrong | None
    cost: int


class _Course:
    """Runs courses on one engine: what two have in common at their beginning is run once."""

    def __init__(self, ready: Ready, plan: Plan, excused: frozenset[str], outlive: frozenset[str]) -> None:
        self._ready, self.plan = ready, plan
        self._excused, self._outlive = excused, outlive
        self._engine: Engine | None = None
        self._coming: list[Event] = []
        self._run: list[tuple[tuple[Event | Impossible, bool], int]] = []

    def course(self, proposal: Proposed, pace: int = LIKELY) -> Course | None:
        """Return a sequence laid out, None where its steps wait for each other."""
        with suppress(Deadlock):
            return replace(self.plan, proposal=proposal).course(pace=pace)
        return None

    def _take(self, course: Course) -> Engine:
        engine = self._engine
        if engine is None or not all(engine.world.sees(event) for event in course.events):
            self._coming += course.events
            engine = self._engine = self._ready(self._coming)
            self._run = []
        return engine

    def first_wrong(self, proposal: Proposed, course: Course) -> _Wrong | None:
        """Return the first thing that is wrong, None for nothing; the engine stands just there."""
        engine = self._take(course)
        last = course.last_of_instants()
        keys = [(one, isinstance(one, Event) and last.get(one.happened) is one) for one in course.outcomes]
        same = 0
        while same < len(self._run) and same < len(keys) and self._run[same][0] == keys[same]:
            same += 1
        if same < len(self._run):
            engine.back(self._run[same][1])
            del self._run[same:]
        steps = {f"step:{step.id}": step for step in proposal.steps}
        for turn in range(same, len(keys)):
            outcome, closes = keys[turn]
            done = _done(outcome)
            step = steps.get(done.id)
            mark, noted = engine.mark(), engine.noted
            if isinstance(outcome, Impossible):
                why = "; ".join(refusal.sentence for refusal in outcome.refusals)
                return _Wrong(
                    turn,
                    None if step is None else step.id,
                    done.happened,
                    done.outing or "",
                    why,
                    impossible=outcome,
                )
            self._run.append((keys[turn], mark))
            engine.step(outcome)
            if closes:
                course.close(engine, outcome)
            wrong = self._broken(engine, noted)
            if wrong:
                self._run.pop()
                self._wrong_mark = mark
                return _where(course, turn, step, wrong)
        return self._wrong_at_end(engine, proposal, course)

    _wrong_mark: int | None = None

    def leave(self) -> None:
        """Step back from where something is wrong."""
        if self._wrong_mark is not None and self._engine is not None:
            self._engine.back(self._wrong_mark)
            self._wrong_mark = None

    def _wrong_at_end(self, engine: Engine, proposal: Proposed, course: Course) -> _Wrong | None:
        mark, noted, turn = engine.mark(), engine.noted, len(course.outcomes)
        self._wrong_mark = mark
        outing = proposal.outings[-1].id
        if course.whole:
            engine.end_sequence()
        engine.settle()
        now = engine.world.now
        if wrong := self._broken(engine, noted):
            return _Wrong(turn, None, now, outing, _said(wrong), tuple(wrong))
        planned = {(one.rule, one.subject) for one in proposal.leaves_running}
        for clock in engine.clocks() if course.whole else ():
            if (
                clock.deadline is None
                or clock.rule in self._outlive
                or (clock.rule, clock.subject) in planned
            ):
                continue
            engine.advance(clock.deadline + 2)
            engine.settle()
            text = f"the clock {clock.rule} of {clock.subject} is left running"
            return _Wrong(turn, None, now, outing, text, tuple(self._broken(engine, noted)), clock=clock)
        if course.too_long:
            name = min(course.too_long)
            return _Wrong(turn, None, now, name, f"outing {name} takes longer than its budget")
        self.leave()
        return None

    def _broken(self, engine: Engine, noted: int) -> list[Breach]:
        """Return what was broken since, and isn't under a variance."""
        return [
            breach
            for breach in engine.breaches_since(noted).values()
            if breach.instance().fingerprint not in self._excused
        ]

    # --- what might end it ---

    def proposed(self, wrong: _Wrong) -> list[Action]:
        """Return the actions that may end what is wrong; the engine stands there."""
        engine = self._engine
        assert engine is not None
        now = engine.world.configuration
        if wrong.impossible is not None:
            return list(islice(_against(now, wrong.impossible, engine.world.now), MOST_ACTIONS))
        found = in_turn(engine.proposals(breach) for breach in wrong.breaches)
        return list({_what(one.action): one.action for one in islice(found, 4 * MOST_ACTIONS)}.values())[
            :MOST_ACTIONS
        ]


def _where(course: Course, turn: int, step: Step | None, wrong: Sequence[Breach]) -> _Wrong:
    """Return what is wrong by rules at a turn; before it where time alone brought it: then it is at no step."""
    time, now = min(breach.time for breach in wrong), _time(course, turn)
    while time < now and turn and _time(course, turn - 1) >= time:
        turn -= 1
    last = _done(course.outcomes[max(turn - 1, 0) if time < now else turn])
    name = None if step is None or time < now else step.id
    return _Wrong(turn, name, time, last.outing or "", _said(wrong), tuple(wrong))


def _said(breaches: Sequence[Breach]) -> str:
    rules = dict.fromkeys(breach.rule.id for breach in breaches)
    return f"breaks {', '.join(rules)}"


def _against(now: Configuration, impossible: Impossible, time: int) -> Iterator[Action]:
    """Yield what may make a step possible: who isn't there comes, what it is done to is otherwise."""
    done = impossible.action
    for refusal in impossible.refusals:
        site = site_at(now, refusal.subject) if refusal.code == "absent" else ""
        if site and done.by:
            yield Action("", PLACE, (done.by,), time, place=site, by=done.by)
    things = dict.fromkeys((*done.subjects, *(refusal.subject for refusal in impossible.refusals)))
    for thing in things:
        if now.plant.port(thing) is not None:
            yield from candidates(now, thing, time, [])


def _what(action: Action) -> tuple[Any, ...]:
    return action.action, frozenset(action.subjects), action.place, action.facing, tuple(action.values)


# --- which changes ----------------------------------------------------------------------------------------------------


class _Changes:
    """Which changes, alone or in pairs, might end what is wrong with a sequence."""

    def __init__(self, plan: Plan, proposal: Proposed, course: Course, wrong: _Wrong, number: int) -> None:
        self._plan, self._proposal, self._wrong, self._number = plan, proposal, wrong, number
        self._course = course
        self._steps = {step.id: step for step in proposal.steps}
        self._turn = {said.removeprefix("step:"): n for n, said in enumerate(course.ids)}
        self._mine = self._steps.get(wrong.step or "")

    def all(self, actions: Sequence[Action]) -> list[tuple[Change, ...]]:
        """Return them, those first that are likely to help and few."""
        out: dict[tuple[Change, ...], None] = {}
        for some in (self._other_steps(actions), self._dropped(), self._added(actions), self._near()):
            out.update(dict.fromkeys(some))
        return sorted(out, key=len)[: 2 * MOST_CHANGES]

    # --- steps that are there ---

    def _other_steps(self, actions: Sequence[Action]) -> Iterator[tuple[Change, ...]]:
        """Yield how steps that do just what is proposed come in time."""
        wanted = {(one.action, subject) for one in actions for subject in one.subjects}
        for step in self._proposal.steps:
            if not any((step.action.action, subject) in wanted for subject in step.action.subjects):
                continue
            if self._turn[step.id] > self._wrong.turn:
                yield from self._earlier(step)

    def _earlier(self, step: Step) -> Iterator[tuple[Change, ...]]:
        """Yield how a step comes before the one at which something is wrong."""
        mine = self._mine
        if mine is None or mine is step:
            return
        if (mine.outing, mine.track) == (step.outing, step.track):
            yield (Change(MOVE, step.id, before=mine.id),)
            return
        if mine.outing == step.outing:
            waits = [name for name in step.after if self._turn[name] >= self._turn[mine.id]]
            gives = tuple(Change(GIVE_UP, step.id, waits_for=name) for name in waits)
            yield (*gives, Change(WAIT, mine.id, waits_for=step.id))
            first = self._first_after(step.track, step.outing, self._start_of(mine))
            if first is not None and first is not step:
                yield (Change(MOVE, step.id, before=first.id), Change(WAIT, mine.id, waits_for=step.id))
                yield (Change(MOVE, step.id, before=first.id),)

    def _start_of(self, step: Step) -> int:
        return self._turn[step.id]

    def _first_after(self, track: str, outing: str, turn: int) -> Step | None:
        """Return the first step of a track that comes later than a turn."""
        return next(
            (
                s
                for s in self._proposal.steps
                if (s.track, s.outing) == (track, outing) and self._turn[s.id] > turn
            ),
            None,
        )

    def _near(self) -> Iterator[tuple[Change, ...]]:
        """Yield how the step at which something is wrong changes places with others that have to do with it."""
        mine = self._mine
        if mine is None:
            return
        for nth, step in enumerate(self._kin(mine)):
            later = self._turn[step.id] > self._turn[mine.id]
            first, then = (mine, step) if later else (step, mine)
            if (mine.outing, mine.track) == (step.outing, step.track):
                yield (Change(MOVE, then.id, before=first.id),)
                if nth < _NEAREST:
                    yield (Change(MOVE, first.id, before=self._next(then)),)
            elif mine.outing == step.outing:
                yield (Change(WAIT, first.id, waits_for=then.id),)

    def _next(self, step: Step) -> str | None:
        """Return the step that comes after one on its track."""
        track = [s.id for s in self._proposal.tracks(step.outing)[step.track]]
        at = track.index(step.id) + 1
        return track[at] if at < len(track) else None

    def _kin(self, mine: Step) -> list[Step]:
        named = {owner_of(s) for s in mine.action.subjects}
        for breach in self._wrong.breaches:
            named |= {owner_of(item) for item in breach.items}
        near = [
            step
            for step in self._proposal.steps
            if step is not mine
            and step.outing == mine.outing
            and named & {owner_of(s) for s in (*step.action.subjects, step.action.by or "")}
        ]
        near.sort(key=lambda step: abs(self._turn[step.id] - self._turn[mine.id]))
        return near[:_KIN]

    def _dropped(self) -> Iterator[tuple[Change, ...]]:
        """Yield that the step at which something is wrong isn't done, where the end is the same without it.

        One that can't be done is left out only where what it is for is so already.

        What only looks, or has to do with locks and tags, is never left out.
        """
        mine = self._mine
        if mine is None or mine.action.action in NOTES | DEVICE_ACTIONS:
            return
        if self._wrong.impossible is not None and not self._is_so_already(mine.action):
            return
        change = Change(DROP, mine.id)
        with suppress(Deadlock):
            without = replace(self._plan, proposal=change.made(self._proposal)).course()
            if _end(self._plan.now, without) == _end(self._plan.now, self._course):
                yield (change,)

    def _is_so_already(self, action: Action) -> bool:
        """Return whether what an action is to bring about is so where it would be done."""
        then = self._plan.now.fork()
        for event in self._course.outcomes[: self._wrong.turn]:
            if isinstance(event, Event):
                then.apply(event)
        if action.place is not None:
            return all(
                then.plant.can_move(s) and then.state(s).value == action.place for s in action.subjects
            )
        for subject in action.subjects:
            port = then.plant.port(subject)
            move = None if port is None else port[1].moves.get(action.action)
            if move is None or then.state(subject).value != move.target:
                return False
        return len(action.subjects) == 1 or then.state(action.subjects[0]).other in (*action.subjects, None)

    # --- steps that are added ---

    def _added(self, actions: Sequence[Action]) -> Iterator[tuple[Change, ...]]:
        """Yield the proposed actions, each where somebody can do it: as late as can be, and as soon as it may help."""
        tracks = self._proposal.tracks(self._wrong.outing)
        for action in actions:
            for track, steps in tracks.items():
                for before in self._places(action, steps):
                    added = self._step(action, track, steps)
                    by = f" by {added.action.by}" if added.action.by else ""
                    what = f"{words(added.action)}{by}"
                    change = Change(ADD, added.id, before=before, added=added, what=what)
                    yield (change,)
                    mine = self._mine
                    if mine is not None and mine.outing == self._wrong.outing and mine.track != track:
                        yield (change, Change(WAIT, mine.id, waits_for=added.id))

    def _step(self, action: Action, track: str, steps: Sequence[Step]) -> Step:
        name = f"{_MARK}{self._number}"
        while name in self._steps:
            name = f"{name}x"
        doer = _doer(steps)
        alike = [s for s in self._proposal.steps if s.action.action == action.action and not s.assumed]
        same = replace(action, id=name, happened=0, by=doer, outing=self._wrong.outing)
        takes = alike[0].takes if alike else _ASSUMED
        return Step(name, self._wrong.outing, track, same, takes, title="added", assumed=not alike)

    def _places(self, action: Action, steps: Sequence[Step]) -> list[str | None]:
        """Return before which steps of a track an action can be done: None at its end."""
        doer = _doer(steps)
        able: list[tuple[str | None, int]] = []
        ids = [step.id for step in steps]
        place, then = 0, self._plan.now.fork()
        turns = {f"step:{name}": n for n, name in enumerate(ids)}
        tried = replace(action, id="added", by=doer)

        def is_able(turn: int) -> bool:
            return isinstance(resolve(then, replace(tried, happened=_time(self._course, turn))), Event)

        for turn, outcome in enumerate(self._course.outcomes):
            done = _done(outcome)
            if done.id in turns:
                if turn <= self._wrong.turn and is_able(turn):
                    able.append((ids[place], turn))
                place = turns[done.id] + 1
            if turn == self._wrong.turn and place < len(ids) and is_able(turn):
                able.append((ids[place], turn))
            if isinstance(outcome, Event):
                then.apply(outcome)
        if place == len(ids) and self._wrong.turn >= self._course_end(ids) and is_able(-1):
            able.append((None, self._wrong.turn))
        began = self._wrong.clock.started if self._wrong.clock else self._since()
        since = [one for one, turn in able if began is not None and _time(self._course, turn) >= began]
        late = [one for one, _ in reversed(able)]
        spread = since[:: max(1, len(since) // _PLACES)]
        return list(dict.fromkeys([*late[:2], *since[:1], *spread]))[:_PLACES]

    def _course_end(self, ids: Sequence[str]) -> int:
        return max((self._turn[name] for name in ids), default=0)

    def _since(self) -> int | None:
        since = [breach.since for breach in self._wrong.breaches if breach.since < breach.time]
        return max(since, default=None)


_KIN = 8
_NEAREST = 4
_LATER = 3
_PLACES = 8


def _doer(steps: Sequence[Step]) -> str | None:
    """Return who does most steps of a track."""
    doers = [step.action.by for step in steps if step.action.by]
    return max(set(doers), key=lambda one: (doers.count(one), one), default=None)


def _time(course: Course, turn: int) -> int:
    return _done(course.outcomes[min(turn, len(course.outcomes) - 1)]).happened


def _done(outcome: Event | Impossible) -> Action:
    return outcome if isinstance(outcome, Event) else outcome.action


def _end(now: Configuration, course: Course) -> dict[str, tuple[str, str | None]]:
    """Return what is so of everything that was ever written when a course is over."""
    then = now.fork()
    for event in course.events:
        then.apply(event)
    return {subject: (state.value, state.other) for subject, state in then.touched()}


# --- the search -------------------------------------------------------------------------------------------------------


def mend(
    ready: Ready,
    plan: Plan,
    judge: Callable[[Proposed], CheckReport],
    *,
    outlive: Iterable[str] = (),
    most: int = 1_000,
    proof: int = PROOF,
    may_go_on: Callable[[], bool] = lambda: True,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> Mended:
    """Return the fewest changes that make a plan clear, of those that are looked at; `judge` checks as any check does.

    At most so many sequences are judged, once one is clear so many more for a `proof`, and only while it `may_go_on`;
    what was found by then is told. `tell` is told how many were, and of how many changes the best has. `outlive`: the
    rules whose clocks may run on.
    """
    report = judge(plan.proposal)
    if report.verdict == Verdict.CLEAR:
        return Mended((), plan.proposal, True, 0, 1, report)
    excused = frozenset(code for f in (*report.excused, *report.left_open) for code in f.fingerprints)
    return _Mending(
        _Course(ready, plan, excused, frozenset(outlive)), judge, most, proof, may_go_on, tell
    ).run(report)


@dataclass(slots=True)
class _Mending:
    runs: _Course
    judge: Callable[[Proposed], CheckReport]
    most: int
    proof: int
    may_go_on: Callable[[], bool]
    tell: Callable[[int, int], object]
    tried: int = 0
    _queue: list[tuple[int, int, int, _Node]] = field(default_factory=list)
    _seen: set[frozenset[Change]] = field(default_factory=set)
    _root: Mapping[str, int] = field(default_factory=dict)
    _best: tuple[int, _Node] | None = None
    _serial: int = 0

    def run(self, report: CheckReport) -> Mended:
        """Search."""
        plan = self.runs.plan
        course = self.runs.course(plan.proposal)
        assert course is not None
        self._root = _all_wrong(report)
        self._push(_Node((), plan.proposal, self._wrong(plan.proposal, course, report), 0))
        found: _Node | None = None
        cut_short = False
        try:
            while self._queue:
                if self.tried >= self.most or not self.may_go_on():
                    cut_short = True
                    break
                node = heappop(self._queue)[-1]
                if node.wrong is None:
                    found = self._fewer(node)
                    break
                self._expand(node)
        except KeyboardInterrupt:
            cut_short = True
        return self._told(found, cut_short=cut_short)

    def _fewer(self, found: _Node) -> _Node:
        """Return what is clear with fewer changes still, looking into the sets with few of them for a while."""
        found = self._without_what_is_not_needed(found)
        until = min(self.most, self.tried + self.proof)
        while self.tried < until and self.may_go_on():
            fewest = min(self._queue, key=lambda one: (len(one[-1].changes), one[0]), default=None)
            if fewest is None or len(fewest[-1].changes) + (fewest[-1].wrong is not None) >= len(
                found.changes
            ):
                break
            self._queue.remove(fewest)
            heapify(self._queue)
            if fewest[-1].wrong is None:
                found = fewest[-1]
            else:
                self._expand(fewest[-1], until)
                if self.tried >= until:
                    heappush(self._queue, fewest)
        return found

    def _told(self, found: _Node | None, *, cut_short: bool) -> Mended:
        open_ = [len(node.changes) + (node.wrong is not None) for *_, node in self._queue]
        node = found if found is not None else self._best[1] if self._best else None
        assert node is not None
        least = min([*open_, len(node.changes)]) if found is not None else min(open_, default=0)
        report = self.judge(node.proposal)
        wrong = "" if node.wrong is None else node.wrong.text
        is_clear = report.verdict == Verdict.CLEAR
        return Mended(node.changes, node.proposal, is_clear, least, self.tried, report, wrong, cut_short)

    def _without_what_is_not_needed(self, node: _Node) -> _Node:
        """Return it without changes that it is clear without."""
        for change in node.changes:
            kept = tuple(one for one in node.changes if one is not change)
            try:
                proposal = _made(self.runs.plan.proposal, kept)
            except (KeyError, StopIteration):
                continue
            if self.runs.course(proposal) is None or self._judged(proposal) is not None:
                continue
            return self._without_what_is_not_needed(_Node(kept, proposal, None, len(kept)))
        return node

    def _wrong(self, proposal: Proposed, course: Course, report: CheckReport | None = None) -> _Wrong | None:
        """Return the first thing that is wrong with likely durations, else what the check finds, None for nothing."""
        self.tried += 1
        found = self.runs.first_wrong(proposal, course)
        self.runs.leave()
        if found is not None:
            return found
        for pace in (LOW, HIGH):
            other = self.runs.course(proposal, pace)
            assert other is not None
            found = self.runs.first_wrong(proposal, other)
            self.runs.leave()
            if found is not None:
                return found
        return self._judged(proposal, report)

    def _judged(self, proposal: Proposed, report: CheckReport | None = None) -> _Wrong | None:
        """Return what a check finds that isn't clear: by its first finding."""
        report = self.judge(proposal) if report is None else report
        if report.verdict == Verdict.CLEAR:
            return None
        first = next(iter(report.counted), None)
        text = (
            "it is not clear"
            if first is None
            else f"breaks {first.rule}, with durations {getattr(first, 'mix', '')}"
        )
        step = None if first is None else first.step
        ids = [laid.step.id for laid in report.layout.steps]
        turn = ids.index(step) if step in ids else len(ids)
        outing = next((s.outing for s in proposal.steps if s.id == step), proposal.outings[-1].id)
        return _Wrong(turn, step, 0 if first is None else first.time, outing, text)

    def _expand(self, node: _Node, until: int | None = None) -> None:
        wrong, plan = node.wrong, self.runs.plan
        assert wrong is not None
        course = self.runs.course(node.proposal)
        assert course is not None
        again = self.runs.first_wrong(node.proposal, course)
        actions = [] if again is None else self.runs.proposed(again)
        self.runs.leave()
        number = 1 + sum(change.sort == ADD for change in node.changes)
        mine = replace(plan, proposal=node.proposal)
        for some in _Changes(mine, node.proposal, course, again or wrong, number).all(actions):
            if self.tried >= (self.most if until is None else until) or not self.may_go_on():
                return
            moved = {change.step for change in some if change.sort == MOVE}
            kept = tuple(c for c in node.changes if c.sort != MOVE or c.step not in moved)
            changes = (*kept, *some)
            name = frozenset(changes)
            if name in self._seen:
                continue
            self._seen.add(name)
            try:
                # What was moved before is moved once, to where it is moved now.
                again_from = (
                    (node.proposal, some)
                    if len(kept) == len(node.changes)
                    else (self.runs.plan.proposal, changes)
                )
                proposal = _made(*again_from)
            except (KeyError, StopIteration):
                continue
            course = self.runs.course(proposal)
            if course is None:
                continue
            child = _Node(changes, proposal, self._wrong(proposal, course), len(changes))
            if child.wrong is None or not _is_the_same(child.wrong, again or wrong):
                # What breaks something else before is looked into last: another change may put that right.
                self._push(
                    child, later=child.wrong is not None and self._is_worse(child.wrong, again or wrong)
                )

    def _is_worse(self, then: _Wrong, before: _Wrong) -> bool:
        """Return whether something else is wrong earlier than before."""
        return then.time < before.time and then.step not in self._root

    def _push(self, node: _Node, *, later: bool = False) -> None:
        left = self._left(node) + (_LATER if later else 0)
        rank = (len(node.changes) + left, -(node.wrong.time if node.wrong else 1 << 62))
        self._serial += 1
        heappush(self._queue, (*rank, self._serial, node))
        if self._best is None or left < self._best[0]:
            self._best = (left, node)
        self.tell(self.tried, len(self._best[1].changes))

    def _left(self, node: _Node) -> int:
        """Return how many of the things that were wrong at first still are to come, with the one that is wrong now."""
        wrong = node.wrong
        if wrong is None:
            return 0
        course = self.runs.course(node.proposal)
        assert course is not None
        turn = {said: n for n, said in enumerate(course.ids)}
        ahead = [
            name
            for name in self._root
            if turn.get(f"step:{name}", turn.get(f"end:{name}", len(turn))) >= wrong.turn
        ]
        return max(1, len(ahead))


def _is_the_same(then: _Wrong, before: _Wrong) -> bool:
    """Return whether what was wrong before still is."""
    if then.step == before.step and then.text == before.text:
        return then.step is not None or then.time <= before.time
    return False


def _made(proposal: Proposed, changes: Iterable[Change]) -> Proposed:
    for change in changes:
        proposal = change.made(proposal)
    return proposal


def _all_wrong(report: CheckReport) -> dict[str, int]:
    """Return where something is wrong, and how much: the steps, the outings at whose end it is, and clocks."""
    found: dict[str, int] = {}
    for finding in report.counted:
        name = finding.step or (finding.event or "").removeprefix("end:") or finding.rule
        found[name] = found.get(name, 0) + 1
    for clock in report.left_running:
        found[f"{clock.rule} {clock.subject}"] = 1
    return found
