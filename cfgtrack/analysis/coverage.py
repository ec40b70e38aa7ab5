"""How much a check has judged: for how many instances each rule was asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import ANYTHING, Bound, Selection, stands_at


@dataclass(slots=True)
class Coverage:
    """What rules have had to judge. `now` goes along with the events; `ends`: whether the proposal ends anything."""

    rules: RuleSet
    now: Configuration
    ends: bool
    _tied: defaultdict[str, list[tuple[Rule, Bound, Bound | None]]] = field(
        init=False, default_factory=lambda: defaultdict(list)
    )
    _met: dict[str, set[str | None]] = field(init=False, default_factory=dict)
    _shifting: list[Rule] = field(init=False)

    def __post_init__(self) -> None:
        for rule in self.rules.rules:
            self._met[rule.id] = set()
            match = rule.mode.match
            if match is not None:
                scope = None if rule.scope is None else Bound(rule.scope, self.now)
                for action in match.actions:
                    self._tied[action].append((rule, Bound(match.of, self.now), scope))
        free = [r for r in self.rules.rules if r.mode.match is None and (self.ends or r.mode.concerns(""))]
        self._look(free)
        self._shifting = [rule for rule in free if any(one.at for one in _selections(rule))]

    def _look(self, rules: Iterable[Rule]) -> None:
        """Take in what rules guard now that are tied to no action."""
        for rule in rules:
            self._met[rule.id].update(_guarded(rule, self.now))

    def take(self, event: Event) -> None:
        """Take in an event: what rules are tied to it, just before it or just after, and what they guard then."""
        self._tie(event)
        self.now.apply(event)
        self._tie(event)
        if event.place is not None:
            self._look(self._shifting)

    def _tie(self, event: Event) -> None:
        for rule, of, scope in self._tied.get(event.action, ()):
            match = rule.mode.match
            assert match is not None
            if match.to and not (event.place and stands_at(self.now, event.place, match.to)):
                continue
            is_free, subjects = match.of == ANYTHING, match.about(self.now.plant, event)
            if not subjects and is_free and scope is None:
                self._met[rule.id].add(None)
            self._met[rule.id].update(
                s for s in subjects if (is_free or of.names(s)) and (scope is None or scope.names(s))
            )

    @property
    def instances(self) -> int:
        """How many instances were judged, of all rules together."""
        return sum(map(len, self._met.values()))

    @property
    def idle(self) -> tuple[str, ...]:
        """The rules that had nothing to judge, by id."""
        return tuple(rule for rule, met in self._met.items() if not met)


def _selections(rule: Rule) -> list[Selection]:
    """Return the selections that say what a rule is judged for, of those that don't ask for `it`."""
    return [rule.scope] if rule.scope is not None else [one for one in rule.condition.checked() if not one.of]


def _guarded(rule: Rule, now: Configuration) -> Iterable[str | None]:
    """Return what a rule is judged for; itself where it asks about nothing in particular."""
    return rule.guards(now) if _selections(rule) else [None]
