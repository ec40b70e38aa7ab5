"""Mending a sequence: the fewest changes that make it clear - a step added, moved or dropped, a wait added or given up.

Best first over sets of changes. Each is laid out and judged up to the first thing that is wrong with it: that must
go, so what is tried next is what may end it - what its rule, or what refused the step, proposes, put where somebody
can do it in time, or other steps and waits that have to do with it. What is clear so, with likely, low and high
durations, is checked as any proposal is; what the check still finds counts as wrong, too.

A step is dropped only where the end stays what it was, and never the last one. Fewest is said only where every set of
fewer changes was tried: each step moved anywhere on its track, waits, drops, and what is proposed put anywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from heapq import heappop, heappush
from itertools import islice
from typing import Any, ClassVar, cast

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.course import HIGH, LIKELY, LOW, Course, bounds, done_by, in_turn, late
from cfgtrack.analysis.options import candidates
from cfgtrack.analysis.reorder import Plan, Ready
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.model.action import BEGIN, DEVICE_ACTIONS, END, NOTES, PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import site_at
from cfgtrack.model.sequence import ASSUMED, Deadlock, Schedule, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.model.time import format_duration
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.cure import in_turn as one_by_one
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock

ADD, MOVE, DROP, WAIT, GIVE_UP = "add", "move", "drop", "wait", "give up"
"""Sorts of change; the last is a wait that is given up."""

MOST_ACTIONS = 12
"""So many actions that are proposed against one thing that is wrong are put into a sequence."""

MOST_CHANGES = 40
"""So many changes, or pairs of them, are tried against one thing that is wrong."""

PROOF = 12_000
"""Once one is clear so many steps more are judged, in all sequences together, to see whether fewer changes would do."""

_MARK = "added-"


@dataclass(frozen=True, slots=True)
class Change:
    """One change. `step` is added before `before` (None: at the end of its track), moved there, dropped; it waits for
    `waits_for`, or gives that wait up. `added` is the step that is added, `what` that in words.
    `why` one may be dropped.
    """

    told: ClassVar[tuple[str, ...]] = ("text",)
    untold: ClassVar[tuple[str, ...]] = ("added", "what", "why")

    sort: str
    step: str
    before: str | None = None
    waits_for: str | None = None
    added: Step | None = field(default=None, compare=False)
    what: str = ""
    why: str = field(default="", compare=False)

    @property
    def text(self) -> str:
        """The change in words."""
        if self.sort == ADD and self.added is not None:
            where = f"before {self.before}" if self.before else f"at the end of {self.added.track}'s track"
            takes = f"{format_duration(self.added.takes[1])}{' assumed' if self.added.assumed else ''}"
            return f"add {self.step}, {self.what} ({takes}), in {self.added.outing} {where}"
        if self.sort == MOVE:
            return f"move {self.step} {f'before {self.before}' if self.before else 'to the end of its track'}"
        if self.sort == DROP:
            return f"drop {self.step}{f': {self.why}' if self.why else ''}"
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

    Every set of fewer changes than `at_least` was tried, and none does; `tried` is how many sequences were judged.
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
        """Whether no fewer would do: every set of fewer was tried."""
        return self.is_clear and len(self.changes) <= self.at_least


@dataclass(frozen=True, slots=True)
class _Wrong:
    """The first thing that is wrong: at which turn of the course, at which step (None: an end), and when.

    `breaches` of rules, an `impossible` step, a `clock` that is left running, or a `text` alone. With which durations:
    its `pace`.
    """

    turn: int
    step: str | None
    time: int
    outing: str
    text: str
    breaches: tuple[Breach, ...] = ()
    impossible: Impossible | None = None
    clock: Clock | None = None
    pace: int = LIKELY


@dataclass(slots=True)
class _Node:
    changes: tuple[Change, ...]
    proposal: Proposed
    wrong: _Wrong | None


@dataclass(frozen=True, slots=True)
class _Laid:
    """A sequence in its turns, not yet run: what is done (an event, where it can't be impossible), and whether it is
    the last of its instant.
    """

    turns: tuple[tuple[Action, bool], ...]
    too_long: frozenset[str]
    whole: bool

    def time(self, turn: int) -> int:
        """Return when a turn is."""
        return self.turns[min(turn, len(self.turns) - 1)][0].happened

    def close(self, engine: Engine, event: Event) -> None:
        """Close the instant of an event, as a course does."""
        Course(whole=self.whole).close(engine, event)


def _laid(plan: Plan, proposal: Proposed, pace: int) -> _Laid:
    """Lay a sequence out. Raises Deadlock."""
    schedule = Schedule(proposal, plan.start, plan.begun)
    layout = schedule.lay_out(schedule.at_pace(pace))
    done = [replace(laid.step.action, happened=laid.end, id=f"step:{laid.step.id}") for laid in layout.steps]
    placed = in_turn(proposal, layout, cast(Any, done), bounds(plan.now, proposal, layout, plan.begun))
    actions = cast(list[Action], list(placed))
    ends = (BEGIN, END) if proposal.whole else ()
    last = {one.happened: one.id for one in actions if one.action not in ends}
    return _Laid(
        tuple((one, last.get(one.happened) == one.id) for one in actions),
        frozenset(late(proposal, layout, plan.begun)),
        proposal.whole,
    )


class _Course:
    """Runs courses on one engine: what two have in common at their beginning is run once."""

    def __init__(self, ready: Ready, plan: Plan, excused: frozenset[str], outlive: frozenset[str]) -> None:
        self._ready, self.plan = ready, plan
        self._excused, self._outlive = excused, outlive
        self._engine: Engine | None = None
        self._coming: list[Event] = []
        self._memo: dict[int, tuple[Proposed, _Laid | None]] = {}
        self._run: list[tuple[tuple[Action, bool], int]] = []

    def laid(self, proposal: Proposed, pace: int = LIKELY) -> _Laid | None:
        """Return a sequence in its turns, None where its steps wait for each other."""
        if self._memo.get(pace, (None, None))[0] is not proposal:
            self._memo[pace] = proposal, None
            with suppress(Deadlock):
                self._memo[pace] = proposal, _laid(self.plan, proposal, pace)
        return self._memo[pace][1]

    def course(self, proposal: Proposed, pace: int = LIKELY) -> Course:
        """Return a sequence laid out, with what can't be done in it. Raises Deadlock."""
        return replace(self.plan, proposal=proposal).course(pace=pace)

    def _anew(self, proposal: Proposed, pace: int) -> Engine:
        """Make an engine that sees all that a sequence writes, too."""
        self._coming += self.course(proposal, pace).events
        self._engine = self._ready(self._coming)
        self._run = []
        return self._engine

    def first_wrong(self, proposal: Proposed, laid: _Laid, pace: int = LIKELY) -> _Wrong | None:
        """Return the first thing that is wrong, None for nothing; the engine stands just there."""
        found = self._first_wrong(proposal, laid, pace)
        return None if found is None else replace(found, pace=pace)

    def _first_wrong(self, proposal: Proposed, course: _Laid, pace: int) -> _Wrong | None:
        engine = self._engine or self._anew(proposal, pace)
        keys = course.turns
        same = 0
        while same < len(self._run) and same < len(keys) and self._run[same][0] == keys[same]:
            same += 1
        if same < len(self._run):
            engine.back(self._run[same][1])
            del self._run[same:]
        steps = {f"step:{step.id}": step for step in proposal.steps}
        for turn in range(same, len(keys)):
            done, closes = keys[turn]
            step = steps.get(done.id)
            outcome = done if isinstance(done, Event) else resolve(engine.world.configuration, done)
            if isinstance(outcome, Event) and not engine.world.sees(outcome):
                self._anew(proposal, pace)
                return self._first_wrong(proposal, course, pace)
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

    def _wrong_at_end(self, engine: Engine, proposal: Proposed, course: _Laid) -> _Wrong | None:
        mark, noted, turn = engine.mark(), engine.noted, len(course.turns)
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
        found = one_by_one(engine.proposals(breach) for breach in wrong.breaches)
        return list({_what(one.action): one.action for one in islice(found, 4 * MOST_ACTIONS)}.values())[
            :MOST_ACTIONS
        ]


def _where(course: _Laid, turn: int, step: Step | None, wrong: Sequence[Breach]) -> _Wrong:
    """Return what is wrong by rules at a turn; before it where time alone brought it: then it is at no step."""
    time, now = min(breach.time for breach in wrong), course.time(turn)
    while time < now and turn and course.time(turn - 1) >= time:
        turn -= 1
    last = course.turns[max(turn - 1, 0) if time < now else turn][0]
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
        for some in (
            self._other_steps(actions),
            self._clocked(actions),
            self._dropped(),
            self._added(actions),
            self._near(),
        ):
            out.update(dict.fromkeys(some))
        return sorted(out, key=len)[: 2 * MOST_CHANGES]

    def every(self, actions: Sequence[Action]) -> Iterator[Change]:
        """Yield every single change: a step moved anywhere on its track, waits, drops, what is proposed anywhere."""
        mine = [step for step in self._proposal.steps if not step.id.startswith(_MARK)]
        for outing in self._proposal.outings:
            for steps in self._proposal.tracks(outing.id).values():
                ids = [step.id for step in steps]
                for at, step in enumerate(steps):
                    if step in mine:
                        places = [*ids, None]
                        yield from (
                            Change(MOVE, step.id, before=before)
                            for n, before in enumerate(places)
                            if n not in (at, at + 1)
                        )
        for step in mine:
            others = (s for s in self._proposal.steps if s.outing == step.outing and s.track != step.track)
            yield from (Change(WAIT, step.id, waits_for=s.id) for s in others if s.id not in step.after)
            yield from (Change(GIVE_UP, step.id, waits_for=name) for name in step.after)
        for step in mine:
            yield from self._without(step, is_refused=f"step:{step.id}" in self._course.refused)
        for change, *more in self._added(actions, everywhere=True):
            if not more:
                yield change

    # --- steps that are there ---

    def _other_steps(self, actions: Sequence[Action]) -> Iterator[tuple[Change, ...]]:
        """Yield how steps that do just what is proposed come in time."""
        wanted = {(one.action, subject) for one in actions for subject in one.subjects}
        for step in self._proposal.steps:
            if not any((step.action.action, subject) in wanted for subject in step.action.subjects):
                continue
            if self._turn[step.id] > self._wrong.turn:
                yield from self._earlier(step)

    def _clocked(self, actions: Sequence[Action]) -> Iterator[tuple[Change, ...]]:
        """Yield how a clock that runs out starts later, or is met before it starts, by the steps that are there."""
        since = {breach.since for breach in self._wrong.breaches if breach.since < breach.time}
        wanted = {(one.action, subject) for one in actions for subject in one.subjects}
        for start in self._proposal.steps:
            if _time(self._course, self._turn[start.id]) not in since:
                continue
            later = [
                step
                for step in self._proposal.steps
                if step.outing == start.outing and self._turn[step.id] > self._turn[start.id]
            ]
            later.sort(key=lambda step: self._turn[step.id])
            meets = [s for s in later if any((s.action.action, one) in wanted for one in s.action.subjects)]
            for step in meets[:_NEAREST] if meets else later[:_NEAREST]:
                if step.track == start.track:
                    yield (Change(MOVE, step.id, before=start.id),)
                    if self._next(start) != step.id:
                        yield (Change(MOVE, start.id, before=step.id),)
                ahead = [
                    s for s in later if s.track != start.track and self._turn[s.id] <= self._turn[step.id]
                ]
                yield from ((Change(WAIT, start.id, waits_for=s.id),) for s in reversed(ahead[-_KIN:]))

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
            first = self._first_after(step.track, step.outing, self._turn[mine.id])
            if first is not None and first is not step:
                yield (Change(MOVE, step.id, before=first.id), Change(WAIT, mine.id, waits_for=step.id))
                yield (Change(MOVE, step.id, before=first.id),)

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
        if mine is not None:
            yield from ((one,) for one in self._without(mine, is_refused=self._wrong.impossible is not None))

    def _without(self, step: Step, *, is_refused: bool) -> Iterator[Change]:
        """Yield that a step isn't done, where that may be: never the only one."""
        action = step.action
        if action.action in NOTES | DEVICE_ACTIONS or len(self._proposal.steps) == 1:
            return
        why = "the end is the same without it; what lies between isn't"
        if self._is_so_already(action, self._turn[step.id]):
            so = action.place or self._target(action) or "so"
            why = f"{' and '.join(action.subjects)} is {so} already"
        elif is_refused:
            return
        change = Change(DROP, step.id, why=why)
        with suppress(Deadlock):
            without = replace(self._plan, proposal=change.made(self._proposal)).course()
            if _end(self._plan.now, without) == _end(self._plan.now, self._course):
                yield change

    def _target(self, action: Action) -> str:
        port = self._plan.now.plant.port(action.subjects[0]) if action.subjects else None
        move = None if port is None else port[1].moves.get(action.action)
        return "" if move is None else move.target

    def _is_so_already(self, action: Action, turn: int) -> bool:
        """Return whether what an action is to bring about is so where it would be done."""
        if not action.subjects:
            return False
        then = self._plan.now.fork()
        for event in self._course.outcomes[:turn]:
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

    def _added(self, actions: Sequence[Action], *, everywhere: bool = False) -> Iterator[tuple[Change, ...]]:
        """Yield the proposed actions, each where somebody can do it: as late as can be, and as soon as it may help.

        Or `everywhere` before what is wrong.
        """
        mine = self._mine
        is_refused = mine is not None and self._wrong.impossible is not None
        if mine is not None and is_refused and self._is_so_already(mine.action, self._turn[mine.id]):
            return  # to undo it first, so that it can be done again, mends nothing
        tracks = self._proposal.tracks(self._wrong.outing)
        for action in actions:
            for track, steps in tracks.items():
                for before in self._places(action, steps, everywhere=everywhere):
                    added = self._step(action, track, steps)
                    by = f" by {added.action.by}" if added.action.by else ""
                    what = f"{words(added.action)}{by}"
                    change = Change(ADD, added.id, before=before, added=added, what=what)
                    yield (change,)
                    if mine is not None and mine.outing == self._wrong.outing and mine.track != track:
                        yield (change, Change(WAIT, mine.id, waits_for=added.id))

    def _step(self, action: Action, track: str, steps: Sequence[Step]) -> Step:
        name = f"{_MARK}{self._number}"
        while name in self._steps:
            name = f"{name}x"
        doer = _doer(steps)
        same = replace(action, id=name, happened=0, by=doer, outing=self._wrong.outing)
        like = self._alike(action)
        takes, assumed = (ASSUMED, True) if like is None else (like.takes, like.assumed)
        return Step(name, self._wrong.outing, track, same, takes, title="added", assumed=assumed)

    def _alike(self, action: Action) -> Step | None:
        """Return the step whose duration an action gets: the same one, else one on the same kind, else of the sort."""
        plant = self._plan.now.plant

        def kind(one: Action) -> str:
            port = plant.port(one.subjects[0]) if one.subjects else None
            return "" if port is None else port[1].id

        same = [s for s in self._proposal.steps if s.action.action == action.action]
        of_kind = [s for s in same if not s.assumed and kind(s.action) == kind(action)]
        said = [s for s in same if not s.assumed]
        itself = [s for s in same if _what(s.action) == _what(action)]
        return next(iter((*itself, *of_kind, *said)), None)

    def _places(self, action: Action, steps: Sequence[Step], *, everywhere: bool = False) -> list[str | None]:
        """Return before which steps of a track an action can be done: None at its end."""
        doer = _doer(steps)
        able: list[tuple[str | None, int]] = []
        ids = [step.id for step in steps]
        place, outcomes = 0, self._course.outcomes
        tried = replace(action, id="added", by=doer)

        def is_able(turn: int) -> bool:
            then = self._before[min(turn, len(self._before) - 1)]
            return isinstance(resolve(then, replace(tried, happened=_time(self._course, turn))), Event)

        for turn in sorted(self._turn[name] for name in ids):
            if turn > self._wrong.turn:
                break
            if is_able(turn):
                able.append((ids[place], turn))
            place = ids.index(done_by(outcomes[turn]).id.removeprefix("step:")) + 1
        if self._wrong.turn < len(outcomes) and place < len(ids) and is_able(self._wrong.turn):
            able.append((ids[place], self._wrong.turn))
        if place == len(ids) and self._wrong.turn >= self._course_end(ids) and is_able(self._wrong.turn + 1):
            able.append((None, self._wrong.turn))
        if everywhere:
            return list(dict.fromkeys(one for one, _ in able))
        began = self._wrong.clock.started if self._wrong.clock else self._since()
        since = [one for one, turn in able if began is not None and _time(self._course, turn) >= began]
        late = [one for one, _ in reversed(able)]
        spread = since[:: max(1, len(since) // _PLACES)]
        return list(dict.fromkeys([*late[:2], *since[:1], *spread]))[:_PLACES]

    @cached_property
    def _before(self) -> list[Configuration]:
        """What is so before each turn up to the one that is wrong, and after that."""
        then = self._plan.now.fork()
        found = [then]
        for outcome in self._course.outcomes[: self._wrong.turn + 1]:
            then = then.fork()
            if isinstance(outcome, Event):
                then.apply(outcome)
            found.append(then)
        return found

    def _course_end(self, ids: Sequence[str]) -> int:
        return max((self._turn[name] for name in ids), default=0)

    def _since(self) -> int | None:
        since = [breach.since for breach in self._wrong.breaches if breach.since < breach.time]
        return max(since, default=None)


_PROVED = 3
"""Every set of fewer changes than these is tried, where that isn't too much."""

_KIN = 8
_NEAREST = 4
_LATER = 3
_PLACES = 8


def _doer(steps: Sequence[Step]) -> str | None:
    """Return who does most steps of a track."""
    doers = [step.action.by for step in steps if step.action.by]
    return max(set(doers), key=lambda one: (doers.count(one), one), default=None)


def _time(course: Course, turn: int) -> int:
    return done_by(course.outcomes[min(turn, len(course.outcomes) - 1)]).happened


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

    At most so many sequences are judged, once one is clear so many steps more for a `proof`, and only while it
    `may_go_on`; what was found by then is told. `tell` is told how many were, and of how many changes the best has.
    `outlive`: the rules whose clocks may run on.
    """
    report = judge(plan.proposal)
    if report.verdict == Verdict.CLEAR:
        return Mended((), plan.proposal, True, 0, 1, report)
    if not (report.counted or report.judged or report.untried):
        return Mended((), plan.proposal, False, 0, 1, report, "nothing of it was judged")
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
    _found: _Node | None = None
    _at_least: int = 1
    _serial: int = 0
    _report: tuple[Proposed, CheckReport] | None = None

    def run(self, report: CheckReport) -> Mended:
        """Search."""
        plan = self.runs.plan
        laid = self.runs.laid(plan.proposal)
        assert laid is not None
        self._root = _all_wrong(report)
        self._report = plan.proposal, report
        root = _Node((), plan.proposal, self._wrong(plan.proposal, laid))
        self._push(root)
        cut_short = False
        try:
            while self._queue and self._found is None:
                if self._is_over:
                    cut_short = True
                    break
                node = heappop(self._queue)[-1]
                if node.wrong is None:
                    self._found = node
                else:
                    self._expand(node)
            if not cut_short:
                if self._found is not None:
                    self._found = self._without_what_is_not_needed(self._found)
                self._try_all(root)
        except KeyboardInterrupt:
            cut_short = True
        return self._told(cut_short=cut_short)

    @property
    def _is_over(self) -> bool:
        return self.tried >= self.most or not self.may_go_on()

    def _try_all(self, root: _Node) -> None:
        """Try every set of one change, then of two, as far as the proof may go, and fewer than what is clear has."""
        steps = len(root.proposal.steps)
        left = min(self.proof // max(steps, 1), self.most - self.tried)
        if self._found is not None and steps * (steps - 1) > 4 * left:
            return  # far more than can be tried
        level = [root]
        for size in range(1, _PROVED):
            if self._found is not None and len(self._found.changes) <= size:
                return
            following: list[_Node] = []
            for parent in level:
                for change in self._every(parent):
                    if left <= 0 or self._is_over:
                        return
                    child = self._child(parent, (change,), is_new=False)
                    if child is None:
                        continue
                    left -= 1
                    if child.wrong is None:
                        self._found = child
                        return
                    following.append(child)
            self._at_least = size + 1
            if len(following) > left:
                return
            level = following

    def _every(self, node: _Node) -> Iterator[Change]:
        """Yield every single change of a node that isn't clear."""
        assert node.wrong is not None
        actions, course, wrong = self._looked_at(node)
        yield from self._changes(node, course, wrong).every(actions)

    def _changes(self, node: _Node, course: Course, wrong: _Wrong) -> _Changes:
        number = 1 + sum(change.sort == ADD for change in node.changes)
        return _Changes(replace(self.runs.plan, proposal=node.proposal), node.proposal, course, wrong, number)

    def _looked_at(self, node: _Node) -> tuple[list[Action], Course, _Wrong]:
        """Return what is proposed against what is wrong, with its course and what that is."""
        assert node.wrong is not None
        pace = node.wrong.pace
        laid = self.runs.laid(node.proposal, pace)
        assert laid is not None
        again = self.runs.first_wrong(node.proposal, laid, pace)
        actions = [] if again is None else self.runs.proposed(again)
        self.runs.leave()
        return actions, self.runs.course(node.proposal, pace), again or node.wrong

    def _told(self, *, cut_short: bool) -> Mended:
        found = self._found
        node = found if found is not None else self._best[1] if self._best else None
        assert node is not None
        report = self._judge(node.proposal)
        wrong = "" if node.wrong is None else node.wrong.text
        if node.wrong is not None and node.wrong.impossible is not None and len(node.proposal.steps) == 1:
            wrong = f"{wrong}; to drop the only step would leave nothing"
        is_clear = report.verdict == Verdict.CLEAR
        return Mended(
            node.changes, node.proposal, is_clear, self._at_least, self.tried, report, wrong, cut_short
        )

    def _judge(self, proposal: Proposed) -> CheckReport:
        if self._report is None or self._report[0] is not proposal:
            self._report = proposal, self.judge(proposal)
        return self._report[1]

    def _without_what_is_not_needed(self, node: _Node) -> _Node:
        """Return it without changes that it is clear without."""
        for change in node.changes:
            kept = tuple(one for one in node.changes if one is not change)
            try:
                proposal = _made(self.runs.plan.proposal, kept)
            except (KeyError, StopIteration):
                continue
            laid = self.runs.laid(proposal)
            if laid is None or self._wrong(proposal, laid) is not None:
                continue
            return self._without_what_is_not_needed(_Node(kept, proposal, None))
        return node

    def _wrong(self, proposal: Proposed, laid: _Laid) -> _Wrong | None:
        """Return the first thing that is wrong with likely durations, else what the check finds, None for nothing."""
        self.tried += 1
        self.tell(self.tried, len(self._best[1].changes) if self._best else 0)
        found = self.runs.first_wrong(proposal, laid)
        self.runs.leave()
        if found is not None:
            return found
        for pace in (LOW, HIGH):
            other = self.runs.laid(proposal, pace)
            assert other is not None
            found = self.runs.first_wrong(proposal, other, pace)
            self.runs.leave()
            if found is not None:
                return found
        return self._judged(proposal)

    def _judged(self, proposal: Proposed) -> _Wrong | None:
        """Return what a check finds that isn't clear: by its first finding."""
        report = self._judge(proposal)
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

    def _expand(self, node: _Node) -> None:
        actions, course, wrong = self._looked_at(node)
        for some in self._changes(node, course, wrong).all(actions):
            if self._is_over:
                return
            child = self._child(node, some)
            if child is not None and (child.wrong is None or not _is_the_same(child.wrong, wrong)):
                # What breaks something else before is looked into last: another change may put that right.
                self._push(child, later=child.wrong is not None and self._is_worse(child.wrong, wrong))

    def _child(self, node: _Node, some: tuple[Change, ...], *, is_new: bool = True) -> _Node | None:
        """Return a sequence with more changes, judged; None where that can't be or, if it must be new, was before."""
        moved = {change.step for change in some if change.sort == MOVE}
        kept = tuple(c for c in node.changes if c.sort != MOVE or c.step not in moved)
        changes = (*kept, *some)
        name = frozenset(changes)
        if (is_new and name in self._seen) or _swaps(self.runs.plan.proposal, changes):
            return None
        self._seen.add(name)
        try:
            # What was moved before is moved once, to where it is moved now.
            proposal = (
                _made(node.proposal, some)
                if len(kept) == len(node.changes)
                else _made(self.runs.plan.proposal, changes)
            )
        except (KeyError, StopIteration):
            return None
        laid = self.runs.laid(proposal)
        return None if laid is None else _Node(changes, proposal, self._wrong(proposal, laid))

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

    def _left(self, node: _Node) -> int:
        """Return how many of the things that were wrong at first still are to come, with the one that is wrong now."""
        wrong = node.wrong
        if wrong is None:
            return 0
        laid = self.runs.laid(node.proposal)
        assert laid is not None
        turn = {one.id: n for n, (one, _) in enumerate(laid.turns)}
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


def _swaps(proposal: Proposed, changes: Sequence[Change]) -> bool:
    """Return whether changes add what they drop: the same action under another name mends nothing."""
    dropped = {change.step for change in changes if change.sort == DROP}
    gone = [_what(step.action) for step in proposal.steps if step.id in dropped]
    return any(change.added is not None and _what(change.added.action) in gone for change in changes)


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
