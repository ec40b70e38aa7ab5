"""Rules as values: WHEN x WHAT. A mode says when it must hold, a condition says what must hold.

A rule with a `scope` holds once for every item of the scope; the item is `it` in the rule's selections. A rule
that is tied to an action needs no scope: `it` is each subject of the action that matches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from cfgtrack.model.configuration import View
from cfgtrack.model.plant import Plant
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.mode import Mode
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.selection import ANYTHING, IT, Bound, Selection


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `severity` is the MIL-STD-882E category, 1 (catastrophic) to 4 (negligible).

    `hazard` says in words what can hurt; `source` names document and paragraph, or "common practice". `where` is
    the file and line it was written at. `may_outlive`: a clock of it may run on when a sequence is over. An exception
    to it needs as many people as `approvals` says, of the `approvers` where there are any.
    """

    id: str
    title: str
    hazard: str
    severity: int
    source: str
    mode: Mode
    condition: Condition
    scope: Selection | None = None
    where: str = ""
    may_outlive: bool = False
    approvals: int = 1
    approvers: tuple[str, ...] = ()

    @property
    def asks(self) -> Rule:
        """The rule wherever it is written, and whoever may except from it: two with the same `asks` are one."""
        return replace(self, where="", approvals=1, approvers=())

    def conditions(self) -> tuple[Condition, ...]:
        """Return the conditions that it looks at all the time: its own first, then its mode's."""
        return (self.condition, *self.mode.conditions())

    def guards(self, now: View) -> list[str]:
        """Return what it guards now: the items of its scope, of its action, else of its condition."""
        match = self.mode.match
        if self.scope is not None:
            wanted = [self.scope]
        elif match is not None and match.of != ANYTHING:
            wanted = [match.of]
        else:
            wanted = [selection for selection in self.condition.checked() if not selection.of]
        return list(dict.fromkeys(item for one in wanted for item in one.items(now)))

    def watches(self, now: View) -> list[str]:
        """Return all that it asks something of now: what it guards, the items of the actions that it is tied to, and
        for each that it guards those that its conditions look at. With one of them less it asks less than before.
        """
        match, guards = self.mode.match, self.guards(now)
        selections = [s for condition in self.conditions() for s in condition.watched()]
        if match is not None and match.of != ANYTHING:
            selections.append(match.of)
        own = [Bound(one, now) for one in dict.fromkeys(selections) if one.of and one != IT]
        free = (item for one in dict.fromkeys(selections) if not one.of for item in one.items(now))
        of_each = (item for it in (guards if own else ()) for one in own for item in one.items(it))
        return list(dict.fromkeys((*guards, *free, *of_each)))

    def warning(self, plant: Plant) -> str:
        """Return what to beware of in a rule without scope: as one, several items hide behind one another."""
        for condition in self.condition.as_one() if self.scope is None else ():
            checked = (s.candidates(plant) for s in condition.each() if not s.of)
            items = tuple(dict.fromkeys(item for items in checked for item in items))
            if len(items) > 1:
                return (
                    f"{self.id}: `{condition.key}` judges {len(items)} items as one ({say_list(items)}); "
                    "with a scope each would be judged by itself"
                )
        return ""


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules in the order in which they were written; ids are unique."""

    rules: tuple[Rule, ...] = ()
    title: str = ""
    where: str = ""

    def media(self) -> list[str]:
        """Return the media whose networks the rules need, sorted."""
        return sorted({m for rule in self.rules for c in rule.conditions() for m in c.media()})
