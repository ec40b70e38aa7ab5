"""What a mode is: a value that says when a rule must hold, and the runner that judges the rule over one world.

Each mode is a file of `rules/when/`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Hashable, Iterable, Mapping
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any, ClassVar, Self

from cfgtrack.model.event import Event
from cfgtrack.rules.breach import Breach, Deed, cause_of
from cfgtrack.rules.condition import WHOLE, Clause, Condition, Ended, NoVerdict, Part
from cfgtrack.rules.dependence import Dependence, Instances
from cfgtrack.rules.finding import Clock, Reason
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.ways import still_cut

if TYPE_CHECKING:
    from cfgtrack.rules.engine import Engine
    from cfgtrack.rules.rule import Rule
    from cfgtrack.rules.world import Change


class Mode(ABC):
    """When a rule must hold, frozen. `key` names it in a rules file, `fields` are those of the rule that belong to it.

    `blames_links`: what broke the rule is known by the links that were cut, whoever did it; else by the action.
    `can_be_mended`: what is broken stays so until the condition is true; else it is history at once.
    """

    __slots__ = ()
    key: ClassVar[str]
    fields: ClassVar[tuple[str, ...]]
    blames_links: ClassVar[bool] = True
    can_be_mended: ClassVar[bool] = True

    @classmethod
    @abstractmethod
    def read(cls, clause: Clause) -> Self | None:
        """Return the mode that the table of a rule gives, None after noting that it gives none."""

    @abstractmethod
    def words(self) -> str:
        """Return in plain words when the rule must hold."""

    @abstractmethod
    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        """Return what judges a rule of this mode, the engine's `number`-th."""

    @classmethod
    def gives_it(cls, values: Mapping[str, Any]) -> bool:  # noqa: ARG003 - most never do
        """Return whether by this mode a rule, as its table stands, is about an item though it has no scope."""
        return False

    @property
    def match(self) -> ActionMatch | None:
        """The actions that the rule is tied to, if it is."""
        return None

    def conditions(self) -> tuple[Condition, ...]:
        """Return the conditions that are looked at all the time beside the rule's own."""
        return ()

    def concerns(self, action: str) -> bool:  # noqa: ARG002 - most concern all
        """Return whether a single event with this action can break a rule of this mode, or start a clock of it."""
        return True


def short_of(part: Part, item: str) -> Part:
    """Return what stands for an item that falls short in an instance, among the instances that are false."""
    return (*part, "#of", item)


class Runner(ABC):
    """One rule over one world. What it remembers it writes through the engine's trail.

    `watched`: judged at the end of every instant that may have changed it; one that isn't has the engine `join` what it
    wants to have judged. `timed`: also when time alone may have. Where its condition crashes there is no verdict until
    it no longer does: that is said once.
    """

    watched: ClassVar[bool] = False
    timed: ClassVar[bool] = False

    def __init__(self, number: int, rule: Rule, engine: Engine) -> None:
        self.number = number
        self.rule = rule
        self.engine = engine
        self.world, self.trail = engine.world, engine.trail
        self.own, *self.others = [c.compile(engine.world) for c in rule.conditions()]
        self.depends = reduce(or_, (judge.depends for judge in self.others), self.own.depends)
        alone = (None,) if rule.mode.match is None else ()
        depends = self.depends if self.watched else Dependence()
        self.instances = Instances(rule.scope, alone, depends, engine.world)
        self._comes_and_goes = rule.scope is not None and bool(rule.scope.at)
        self._mute: dict[str | None, int] = {}

    def begin(self) -> None:  # noqa: B027 - most have nothing to see to
        """Look at what is so before the first instant."""

    @abstractmethod
    def settle(self, it: str | None, event: Event | None) -> None:
        """Judge one item of the scope as it is now; `event` was the last to change it. May raise NoVerdict."""

    def run_out(self, it: str | None, time: int) -> None:  # noqa: B027 - most have no clocks
        """Note what of an item has run out before `time`: later than its limit, so strictly before."""

    def clocks(self) -> Iterable[Clock]:
        """Yield the clocks that run."""
        return ()

    # --- what it remembers ---

    def remember(self) -> Any:
        """Return, as JSON has it, what it must be told to go on from here; None for nothing."""
        return self._remember([[it, number] for it, number in self._mute.items()])

    def _remember(self, mute: list[Any]) -> Any:
        return mute or None

    def recall(self, told: Any) -> None:
        """Go on from what was remembered."""
        self._mute = dict(told)

    def held(self) -> Iterable[str | None]:
        """Return the items of which it remembers something."""
        return tuple(self._mute)

    def forget(self, it: str | None) -> None:
        """Remember nothing more of an item that is no longer in the plant; what was open of it is over."""
        if it in self._mute:
            self.engine.mend(self._mute[it])
            self.trail.drop(self._mute, it)

    def situation(self, now: int | None) -> Hashable:
        """Return what of that tells one situation from another, None for nothing; times from `now` on, if it is given.

        All of it, unless the mode knows what matters.
        """
        told = self.remember()
        return None if told is None else (now, repr(told))

    def _muted(self) -> frozenset[str | None]:
        return frozenset(self._mute)

    # --- judging ---

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        """Return for whom the rule is not kept now, each with the items that fall short: see `Judge.short`."""
        return {} if self._comes_and_goes and not self.instances.has(it) else self.own.short(it)

    def false_parts(self, it: str | None) -> Iterable[Part]:
        """Return the instances that are false as it is now, within an instant, and what falls short in each.

        None where that can't be told.
        """
        try:
            short = self.short(it)
        except NoVerdict:
            return ()
        return (*short, *(short_of(part, item) for part, items in short.items() for item in items))

    def made_so(self, it: str | None, part: Part, last: Event | None) -> Event | None:
        """Return the event that made an instance false in this instant: `last` if no earlier one did."""
        return self.engine.made_so(self.number, it, part, last)

    def blows(
        self, it: str | None, part: Part, further: Iterable[str], last: Event | None
    ) -> Iterable[tuple[Event | None, tuple[str, ...]]]:
        """Return items that fall further short in an instance, by the event of this instant that made each do so."""
        found: dict[str | None, tuple[Event | None, tuple[str, ...]]] = {}
        for item in further:
            by = self.made_so(it, short_of(part, item), last)
            name = None if by is None else by.id
            found[name] = (by, (*found.get(name, (by, ()))[1], item))
        return found.values()

    def stirred(self, change: Change, joined: Iterable[str | None]) -> Iterable[str | None]:  # noqa: ARG002 - any event may
        """Return the items, of those that have `joined`, that must be judged after an event."""
        return joined

    @property
    def is_restless(self) -> bool:
        """Whether any event may change for whom an item of its scope is broken.

        A rule without scope sees to that by itself.
        """
        return self.own.restless and self.instances.is_scoped

    def keep_judging(self, it: str | None, *, on: bool) -> None:
        """Have a broken item judged after every event, or no longer, if any event may change for whom it is broken."""
        if self.is_restless:
            (self.engine.join if on else self.engine.leave)(self.number, it)

    def guarded(
        self, settle: Callable[[str | None, Event | None], None], it: str | None, event: Event | None
    ) -> None:
        """Have one item of the scope judged by `settle`, or say that there is no verdict."""
        try:
            settle(it, event)
        except NoVerdict as err:
            self.say_no_verdict(it, err, event)
        else:
            if it in self._mute:
                self.engine.mend(self._mute[it])
                self.trail.drop(self._mute, it)

    def say_no_verdict(self, it: str | None, err: NoVerdict, event: Event | None) -> None:
        """Say that there is no verdict, unless it has been said."""
        if it not in self._mute:
            number = self.note(it, WHOLE, (), (err.reason(),), event, no_verdict=True)
            self.trail.set(self._mute, it, number)

    def note(
        self,
        it: str | None,
        part: Part,
        items: tuple[str, ...],
        reasons: tuple[Reason, ...],
        event: Event | Deed | None,
        **more: Any,
    ) -> int:
        """Note that an instance is broken now, by `event`; `more` are fields of the breach. Return its number."""
        return self.engine.note(self.breach(it, part, items, reasons, event, **more))

    def breach(
        self,
        it: str | None,
        part: Part,
        items: tuple[str, ...],
        reasons: tuple[Reason, ...],
        event: Event | Deed | None,
        *,
        time: int | None = None,
        since: int | None = None,
        cause: tuple[str, ...] | None = None,
        **more: Any,
    ) -> Breach:
        """Return the breach of an instance, unless it says otherwise as of now, by `event`."""
        now, rule = self.world.now, self.rule
        deed = event if event is None or isinstance(event, Deed) else self.engine.deed_of(event)
        return Breach(
            rule,
            it,
            part,
            items,
            now if time is None else time,
            now if since is None else since,
            reasons,
            cause_of(rule.mode, reasons, deed, more.get("trigger", "")) if cause is None else cause,
            deed,
            **more,
        )

    def why(self, it: str | None, part: Part | None = None) -> tuple[Reason, ...]:
        """Return why the condition is false now, of one instance or of all, or why that can't be told."""
        return self._why(it, part, self.engine.ended)

    def _why(self, it: str | None, part: Part | None, ended: Ended) -> tuple[Reason, ...]:
        try:
            return self.own.reasons(it, ended, part)
        except NoVerdict as err:
            return (err.reason(),)

    def as_it_is(self, breach: Breach) -> Breach:
        """Return an open breach with the reasons of this moment, where it still is so."""
        if breach.no_verdict:
            return breach
        try:
            short = self.short(breach.it)
        except NoVerdict:
            return breach
        if breach.part not in short or self.own.is_still_why(breach.reasons, breach.part):
            return breach
        now = still_cut(breach.reasons, self._why(breach.it, breach.part, ()), self.world.configuration)
        return breach._replace(reasons=tuple(now))

    def clock(
        self, it: str | None, trigger: str, started: int, deadline: int | None, missing: tuple[Reason, ...]
    ) -> Clock:
        """Return a clock of one item."""
        rule = self.rule
        return Clock(rule.id, rule.title, rule.severity, it or "", started, deadline, trigger, missing)
