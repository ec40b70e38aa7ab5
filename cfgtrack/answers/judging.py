"""The recorded past judged by the kept rules, from where it was judged last: see `store.checkpoint`.

It is judged in spans, each from what was remembered at the end of the one before, so that a past of any length takes
little memory. A span begins a microsecond after a closed instant: what had run out by then is noted. At every date of
effect another span begins, with the plant of that time: what is there no longer is forgotten, all else judged anew.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from cfgtrack import __version__
from cfgtrack.analysis.check import Start, ready
from cfgtrack.answers.moment import Moment
from cfgtrack.model.action import BOOK_ACTIONS, NOTES
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.event import Effect, Event
from cfgtrack.model.plant import Plant
from cfgtrack.network.network import Network
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.what.custom import Custom, maker_of
from cfgtrack.rules.world import NOTHING, Done, Stamp, done_before
from cfgtrack.store.checkpoint import Checkpoint, Wanted
from cfgtrack.store.columns import NEVER
from cfgtrack.store.journal import Journal

FORM = f"{__version__} 6"
"""What judges, and how it remembers: nobody goes on from what another form has remembered."""

MUCH = 100_000
"""From so many bytes on, a faster reader is worth the time that it takes to load."""

SPAN = 20_000
"""So many events are judged by one engine, and some more where those of one instant are many."""


@dataclass(frozen=True, slots=True)
class Stage:
    """How far the past has been judged: to a closed instant, or not at all, where its first configuration is.

    `begin` is what judging goes on from; `events` count by then, `base` of them from before the rules began.
    """

    begin: Start
    events: int
    base: int


class Judging:
    """The past up to a moment, judged but for its last span, with which a check, or `engine`, begins.

    `before`, of a writer: the checkpoints on the way, of instants before this one, are `made` to be kept. `anew`, of an
    audit: those of these instants are made, from the beginning.
    """

    def __init__(
        self,
        journal: Journal,
        moment: Moment,
        rules: RuleSet,
        networks: Callable[[Plant], Mapping[str, Network]],
        *,
        before: int | None = None,
        anew: Iterable[int] | None = None,
    ) -> None:
        assert moment.known is not None
        self.journal = journal
        self.moment = moment
        self.known: int = moment.known
        self.rules = rules
        self._networks_of = networks
        self._definitions = journal.definitions()
        dates = self._definitions.dates(self.known)
        self._dates = [date for date in dates if date <= moment.at]
        self.form = form_of(rules)
        self.made: list[Checkpoint] = []
        self._end = -NEVER if before is None else before
        if anew is not None:
            self._end = NEVER
        self._over: list[Any] = []
        self._untold: list[Any] = []
        self._from = None if anew is not None else journal.checkpoint(self.form, moment.at, self.known)
        stage = None if self._from is None else recalled(self._from, self._plant(self._from.at))
        if stage is None:
            self._from = None
        self._wanted = Wanted(instants=None if anew is None else frozenset(anew))
        if before is not None:
            self._wanted = journal.wanted_checkpoints(before, self.known, since=self._from)
        self._stage = self._rolled(stage or self._beginning())

    # --- the answers ---

    @property
    def events(self) -> int:
        """How many events the rules have judged."""
        return self._stage.events + len(self._stage.begin.history) - self._stage.base

    @cached_property
    def start(self) -> Start:
        """Where a check starts: what has been settled is known there."""
        return replace(self._stage.begin, settled=(*self._settled_before(), *self._over))

    def engine(self, *, coming: Iterable[Event] = (), settled: bool = True) -> Engine:
        """Return an engine that has judged all of it, ready for what is `coming`; what is settled it need not know."""
        begin = self.start if settled else self._stage.begin
        engine = ready(self.rules, begin, self._networks_of(begin.configuration.plant), coming=coming)
        self._run(engine, self._stage)
        engine.finish(begin.start)
        return engine

    def keep(self) -> None:
        """Keep the checkpoints that were made on the way."""
        if self.made or self._wanted.stale:
            self.journal.keep_checkpoints(self.made, self.form, self.known)

    def _settled_before(self) -> list[Any]:
        return (
            []
            if self._from is None
            else [json.loads(text) for _, text in self.journal.settled(self._from.at)]
        )

    # --- reading ---

    def _beginning(self) -> Stage:
        """Return the initial configuration. What was recorded of the time before is only remembered."""
        at, known = self.moment.at, self.known
        span = self.journal.span(at, known)
        now = Configuration(self._plant(at if span is None else span[0]))
        if span is None:
            return Stage(Start(now, began=at), 0, 0)
        began, base, first, after = span[0], 0, NEVER, list[Event]()
        before: list[Event] = []
        for event in self._events(None, began):
            first = min(first, event.happened)
            after.append(event)
            if event.initial and event.happened == began:
                now = self._before_the_rules(now if base else Configuration(self._plant(first)), after, began)
                before += (e for e in after if not e.initial)
                base += len(after)
                after.clear()
        if not base:
            return Stage(Start(now, began=began), 0, 0)
        done = {**self._done_before(self._plant(-NEVER), now.plant, began), **done_before(before)}
        return Stage(Start(now, tuple(after), began, done=done), base, base)

    def _before_the_rules(self, now: Configuration, events: Sequence[Event], began: int) -> Configuration:
        """Return the configuration after events of before the rules begin, in the plant of when they do."""
        for event in events:
            now = self._carried(now, event.happened)
            now.apply(event)
        return self._carried(now, began)

    def _plant(self, at: int) -> Plant:
        return self._definitions.plant(at, self.known)

    def _carried(self, now: Configuration, at: int) -> Configuration:
        """Return a configuration as it goes on in the plant of an instant."""
        plant = self._plant(at)
        if plant is now.plant:
            return now
        next_one = Configuration(plant)
        states = dict(now.touched())
        for subject, *_ in _whereabouts(now, states):
            if plant.can_move(subject):
                next_one.set_state(subject, states[subject])
        next_one.set_ports(
            {s: state for s, state in states.items() if ":" in s and plant.port(s) is not None}
        )
        next_one.set_values(e for e in now.values.values() if plant.sort_of(e.subject))
        next_one.cycles = {port: n for port, n in now.cycles.items() if plant.port(port) is not None}
        # What was gone, and is there again, is as it was left.
        for owner in plant.owners():
            before = now.plant.part_of(owner) if now.plant.has_owner(owner) else None
            if before is not plant.part_of(owner) and self._may_be_back(now.plant, plant, owner):
                self._take_back(next_one, now.plant, owner, at)
        return next_one

    def _may_be_back(self, before: Plant, after: Plant, owner: str) -> bool:
        if not before.has_owner(owner):
            return True
        return any(before.port(port) is None for port in after.ports_of(owner))

    def _take_back(self, now: Configuration, before: Plant, owner: str, at: int) -> None:
        found = self.journal.owner_in(now.plant, owner, at - 1, self.known)
        for subject, state in found.touched():
            if not before.sort_of(subject):
                now.set_state(subject, state)
        now.cycles.update({port: n for port, n in found.cycles.items() if before.port(port) is None})
        now.set_values(e for e in found.values.values() if not before.sort_of(e.subject))

    def _done_before(self, before: Plant, after: Plant, at: int) -> Done:
        """Return what was last done, by an instant, to what comes to the plant then: it had a life before."""
        if before is after:
            return NOTHING
        come = [owner for owner in after.owners() if not before.has_owner(owner)]
        return done_before(event for owner in come for event in self.journal.noted(owner, at - 1, self.known))

    def _events(self, since: int | None, until: int) -> Iterator[Event]:
        entries = self.journal.entries(at=until, known=self.known, since=since)
        events = (entry.event for entry in entries if entry.event.action not in BOOK_ACTIONS)
        return filter(self._is_there, events)

    def _is_there(self, event: Event) -> bool:
        """Return whether what an event is about is there then: what is retired, comes later or never was may have been
        read.
        """
        if event.action not in NOTES or not event.subjects:
            return True
        return any(map(self._plant(event.happened).sort_of, event.subjects))

    def _spans(self, stage: Stage) -> Iterator[tuple[list[Event], int | None]]:
        """Yield the events that are still to be judged, span by span, none of them divided within an instant.

        With each comes the date of effect that it begins with, if any: a plant begins before all else of its instant.
        """
        begin = stage.begin
        span, date = list(begin.history), None
        since = begin.began if stage.base and self._from is None else begin.began - 1
        judged = begin.began if self._from is None else self._from.at
        dates = [later for later in reversed(self._dates) if later > judged]
        for event in self._events(since, self.moment.at):
            while dates and event.happened >= dates[-1]:
                yield span, date
                span, date = [], dates.pop()
            if len(span) >= SPAN and event.happened > span[-1].happened:
                yield span, date
                span, date = [], None
            span.append(event)
        while dates:
            yield span, date
            span, date = [], dates.pop()
        yield span, date

    # --- judging ---

    def _rolled(self, stage: Stage) -> Stage:
        """Judge all spans but the last."""
        last: list[Event] | None = None
        for span, date in self._spans(stage):
            if last is not None:
                stage = self._judged(replace(stage, begin=replace(stage.begin, history=tuple(last))), date)
            last = span
        return replace(stage, begin=replace(stage.begin, history=tuple(last or ()), start=self.moment.at))

    def _judged(self, stage: Stage, date: int | None) -> Stage:
        """Judge a span; `date` is the date of effect that the next one begins with, if any."""
        engine = ready(self.rules, stage.begin, self._networks_of(stage.begin.configuration.plant))
        self._run(engine, stage)
        # What time alone makes of a date of effect is judged in the plant that begins then.
        self._close(engine, stage.begin.history[-1].happened if date is None else date - 2)
        memory, done, now = engine.memory(), engine.world.done(), engine.world.configuration
        if date is None:
            begin = Start(now, began=engine.world.now, memory=memory, done=done)
        else:
            revised = self.journal.revision(date, self.known)
            carried = self._carried(now, date)
            done = {**self._done_before(now.plant, carried.plant, date), **done}
            begin = Start(carried, began=date, memory=memory, done=done, revised=revised)
        return Stage(begin, stage.events + len(stage.begin.history), stage.base)

    def _run(self, engine: Engine, stage: Stage) -> None:
        """Have the events of a span judged; make the checkpoints that are wanted on the way."""
        before = counted = stage.events
        now = None
        for event in stage.begin.history:
            if event.happened != now:
                self._pass(engine, now, before, counted, stage.base)
                now, before = event.happened, counted
            engine.step(event)
            counted += 1
        if now is not None and now < self._end:
            self._pass(engine, now, before, counted, stage.base)

    def _pass(self, engine: Engine, now: int | None, before: int, counted: int, base: int) -> None:
        if now is not None and now + 1 not in self._dates and self._wanted.at(now, before, counted):
            self._close(engine, now)
            told = tuple((settled_at(one), text_of(one)) for one in self._untold)
            self.made.append(Checkpoint(now, counted, remembered(engine, base), told))
            self._untold.clear()

    def _close(self, engine: Engine, now: int) -> None:
        """Close an instant, and put by what has come to its end."""
        engine.advance(now + 1)
        over = engine.take_settled()
        self._over += over
        self._untold += over


def form_of(rules: RuleSet) -> str:
    """Return what judges by these rules, and how it remembers."""
    conditions = (one for rule in rules.rules for whole in rule.conditions() for one in _parts(whole))
    makers = {maker_of(one.name) for one in conditions if isinstance(one, Custom)}
    return ", ".join([FORM, *sorted(makers - {""})])


def _parts(condition: Condition) -> Iterator[Condition]:
    """Yield a condition, and all that it is made of."""
    yield condition
    for name in condition.__match_args__:
        value = getattr(condition, name)
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Condition):
                yield from _parts(one)


# --- what is remembered -------------------------------------------------------------------------------------------


def settled_at(told: Any) -> int:
    """Return when a breach, as an engine tells it, came to its end: when it was put right, else when it was there."""
    _, breach, until = told
    return int(breach[4] if until is None else until)


def text_of(value: Any) -> str:
    """Return a value as JSON: the same value, the same text."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def remembered(engine: Engine, base: int) -> bytes:
    """Return all that judging goes on from, after an instant that was closed."""
    now = engine.world.configuration
    states = dict(now.touched())
    done: dict[str, dict[str, Stamp]] = {}
    for (subject, action), stamp in engine.world.done().items():
        done.setdefault(action, {})[subject] = stamp
    told = {
        "base": base,
        "now": engine.world.now,
        "states": list(_whereabouts(now, states)),
        "values": sorted([e.subject, e.aspect, e.value, e.other] for e in now.values.values()),
        "rules": engine.memory(),
        "done": sorted(done),
    }
    ports = {subject: state for subject, state in states.items() if ":" in subject}
    return _pack(map(text_of, (told, ports, now.cycles, *(done[action] for action in sorted(done)))))


def _pack(texts: Iterable[str]) -> bytes:
    """Return texts as one, each packed for itself: nobody unpacks when was done what no rule asks for."""
    packed = [zlib.compress(text.encode(), 1) for text in texts]
    return b"".join(len(one).to_bytes(4, "big") + one for one in packed)


def _unpack(memory: bytes) -> Iterator[bytes]:
    """Yield the texts of a memory, each still packed; they end where a damaged memory makes no sense."""
    at = 0
    while at < len(memory):
        end = at + 4 + int.from_bytes(memory[at : at + 4], "big")
        yield memory[at + 4 : end]
        at = end


def _whereabouts(
    now: Configuration, states: Mapping[str, State]
) -> Iterator[tuple[str, str, str | None, str | None]]:
    """Yield the states of what moves, so that whoever writes them in this order has all stand as it came to be."""
    movable = sorted(s for s in states if ":" not in s)
    places = sorted({states[s].value for s in movable})
    standing = (s for place in places for s in now.standing_at(place) if s in states)
    for subject in (*(s for s in movable if not states[s].value), *standing):
        yield (subject, *states[subject])


def recalled(checkpoint: Checkpoint, plant: Plant) -> Stage | None:
    """Return the stage that a checkpoint remembers; None where it is damaged, as an audit tells."""
    try:
        return _recalled(checkpoint, plant)
    except (zlib.error, ValueError, TypeError, LookupError):
        return None


def _recalled(checkpoint: Checkpoint, plant: Plant) -> Stage:
    first, ports, cycles, *done = _unpack(checkpoint.memory)
    told = _read(zlib.decompress(first))
    now = Configuration(plant)
    now.set_ports(_states(zlib.decompress(ports)))
    for subject, *state in told["states"]:
        now.set_state(subject, State(*state))
    for subject, aspect, *value in told["values"]:
        now.set_value(Effect(subject, aspect, *value))
    now.cycles = _read(zlib.decompress(cycles))
    begin = Start(now, began=told["now"], memory=told["rules"], done=_Remembered(told["done"], done))
    return Stage(begin, checkpoint.events, told["base"])


def told_by(memory: bytes) -> list[bytes]:
    """Return what a checkpoint's memory tells, not packed; nothing where it can't be unpacked."""
    try:
        return [zlib.decompress(one) for one in _unpack(memory)]
    except zlib.error:
        return []


class _Remembered(Mapping[tuple[str, str], Stamp]):
    """What was last done, by what a checkpoint tells: each action is unpacked when somebody asks for it."""

    def __init__(self, actions: Iterable[str], packed: Iterable[bytes]) -> None:
        self._told = dict(zip(actions, packed, strict=True))
        self._read: dict[str, dict[str, Stamp]] = {}

    def _of(self, action: str) -> dict[str, Stamp]:
        if action not in self._read:
            packed = self._told.get(action)
            stamps = {} if packed is None else _read(zlib.decompress(packed))
            self._read[action] = {subject: (happened, order) for subject, (happened, order) in stamps.items()}
        return self._read[action]

    def __getitem__(self, key: tuple[str, str]) -> Stamp:
        subject, action = key
        return self._of(action)[subject]

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return ((subject, action) for action in self._told for subject in self._of(action))

    def __len__(self) -> int:
        return sum(len(self._of(action)) for action in self._told)


def _states(text: bytes) -> dict[str, State]:
    if len(text) < MUCH:
        return {subject: State(*state) for subject, state in json.loads(text).items()}
    import msgspec

    return msgspec.json.decode(text, type=dict[str, State])


def _read(text: bytes) -> Any:
    if len(text) < MUCH:
        return json.loads(text)
    import msgspec

    return msgspec.json.decode(text)
