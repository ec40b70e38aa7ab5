"""`at`: just before an action, or just after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

from cfgtrack.model.event import Event
from cfgtrack.rules.condition import WHOLE, Clause, NoVerdict
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch, Matcher
from cfgtrack.rules.mode import Mode, Runner
from cfgtrack.rules.rule import Rule


@dataclass(frozen=True, slots=True)
class At(Mode):
    """Broken when the condition is false just before (with `after`, just after) an action that matches."""

    key: ClassVar[str] = "at"
    fields: ClassVar[tuple[str, ...]] = ("at", "after")
    blames_links: ClassVar[bool] = False
    can_be_mended: ClassVar[bool] = False
    action: ActionMatch
    after: bool = False

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        below = clause.below("at", required=True)
        match = None if below is None else below.match()
        after = clause.flag("after")
        return None if match is None else cls(match, after)

    @classmethod
    def gives_it(cls, values: Mapping[str, Any]) -> bool:
        """Return True of a rule of this mode: it is about the subjects of the action."""
        return values.get("mode") == cls.key

    def words(self) -> str:
        return f"just {'after' if self.after else 'before'} {self.action.words()}"

    @property
    def match(self) -> ActionMatch:
        return self.action

    def concerns(self, action: str) -> bool:
        return action in self.action.actions

    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        return _At(number, rule, engine, self)


class _At(Runner):
    """Judges at each action that matches, for each item that it is about. Of one instant each action stands alone."""

    def __init__(self, number: int, rule: Rule, engine: Engine, mode: At) -> None:
        super().__init__(number, rule, engine)
        self.matcher = Matcher(mode.action, self.instances, engine.world)
        self.after = mode.after
        for action in mode.action.actions:
            (engine.after if mode.after else engine.before)[action].append(self.at)

    def at(self, event: Event) -> None:
        for it in self.matcher.items(event):
            self.settle(it, event)

    def situation(self, now: int | None) -> None:  # noqa: ARG002 - it remembers nothing
        return None

    def settle(self, it: str | None, event: Event | None) -> None:
        try:
            for part, items in self.own.short(it).items():
                why = self.own.reasons(it, self.engine.ended if self.after else (), part)
                self.note(it, part, items, why, event)
        except NoVerdict as err:
            self.note(it, WHOLE, (), (err.reason(),), event, no_verdict=True)
