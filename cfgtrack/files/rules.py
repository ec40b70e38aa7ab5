"""Reads rules files: WHEN a rule must hold (its mode) and WHAT must hold (its condition), from TOML.

A rule that is badly written is bad input, told with its line; whether a rule is broken is another matter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from cfgtrack.files.conditions import read_condition
from cfgtrack.files.fields import hint
from cfgtrack.files.selections import Against, read_match, read_selection
from cfgtrack.files.source import Document, in_order, parse_toml, read_document
from cfgtrack.files.table import Table
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import BadInput, Problems
from cfgtrack.rules.rule import (
    ENDS,
    LIMITS,
    ActionMatch,
    Always,
    At,
    By,
    Condition,
    Mode,
    Rule,
    RuleSet,
    Selection,
    Within,
)

_MODES: dict[str, tuple[str, ...]] = {
    "always": ("tolerance",),
    "at": ("at", "after"),
    "within": ("within", "trigger", "stays", "until"),
    "by": ("by",),
}
"""The modes, each with the fields that belong to it."""


def read_rules(paths: Sequence[Path], plant: Plant | None = None) -> RuleSet:
    """Read rules files into one set, against a plant where there is one (None: only their form is checked).

    Raises BadInput with every problem of every file.
    """
    problems = Problems()
    found = [read_document(path, problems) for path in paths]
    return _rule_set(found, plant, problems, [str(path) for path in paths])


def parse_rules(texts: Mapping[str, str], plant: Plant | None = None) -> RuleSet:
    """Read rules from texts by file name into one set. Raises BadInput as `read_rules` does."""
    problems = Problems()
    found = [parse_toml(name, text, problems) for name, text in texts.items()]
    return _rule_set(found, plant, problems, list(texts))


def _rule_set(
    found: Sequence[Document | None], plant: Plant | None, problems: Problems, names: list[str]
) -> RuleSet:
    documents = [document for document in found if document is not None]
    rules: dict[str, Rule] = {}
    seen: dict[str, str] = {}
    title = ""
    for document in documents:
        root = Table(document, (), document.data, problems)
        own = root.text("title")
        title = title or own
        against = Against(plant, may_be_empty=root.flag("may_be_empty"))
        for table in root.tables("rule"):
            rule = _Reader(table, against, seen).rule()
            if rule is not None:
                rules[rule.id] = rule
        if not document.data.get("rule"):
            root.note("", "missing", "a rules file needs at least one [[rule]]")
        root.finish()
    if problems:
        raise BadInput(in_order(problems.found, names))
    return RuleSet(tuple(rules.values()), title, ", ".join(document.name for document in documents))


class _Reader:
    """Reads one rule. `seen` tells where each id was used already."""

    def __init__(self, table: Table, against: Against, seen: dict[str, str]) -> None:
        self.table = table
        self.against = against
        self.seen = seen

    def rule(self) -> Rule | None:
        """Return the rule, None after noting what is wrong with it."""
        table = self.table
        name = self._id()
        title, hazard = table.text("title", required=True), table.text("hazard", required=True)
        source, severity = table.text("source", required=True), self._severity()
        scope = self._scope()
        mode = self._mode(scope)
        if self._is_idle(scope, mode):
            self.against = self.against.idle()
        condition = self._condition("condition", has_it=self._has_it(scope))
        table.finish()
        if mode is None or condition is None or severity is None:
            return None
        return Rule(name, title, hazard, severity, source, mode, condition, scope, table.spot().where)

    def _id(self) -> str:
        name = self.table.ident("id")
        if name:
            self.table.label = f"rule {name}"
            if name in self.seen:
                self.table.note("id", "duplicate", f"there is a rule {name} already, at {self.seen[name]}")
            self.seen.setdefault(name, self.table.spot().where)
        return name

    def _severity(self) -> int | None:
        value = self.table.get("severity", required=True)
        if value is None:
            return None
        if isinstance(value, bool) or value not in (1, 2, 3, 4):
            self.table.wrong(
                "severity", "a category of MIL-STD-882E, 1 (catastrophic) to 4 (negligible)", value
            )
            return None
        return int(value)

    def _scope(self) -> Selection | None:
        if "scope" not in self.table.values:
            self.table.get("scope")
            return None
        return read_selection(self.table, "scope", self.against, has_it=False)

    def _has_it(self, scope: Selection | None) -> bool:
        """Return whether the rule is about an item: one of its scope, or a subject of the action it is tied to."""
        if scope is not None or self.table.values.get("mode") == "at":
            return True
        trigger = self.table.values.get("trigger")
        return isinstance(trigger, dict) and "turns_true" not in trigger

    def _is_idle(self, scope: Selection | None, mode: Mode | None) -> bool:
        """Return whether the rule guards nothing in this plant, and says that it may be so."""
        guarded = [] if scope is None else [scope]
        if isinstance(mode, At):
            guarded.append(mode.action.of)
        elif isinstance(mode, Within) and isinstance(mode.trigger, ActionMatch):
            guarded.append(mode.trigger.of)
        return any(self.against.is_empty(selection) for selection in guarded)

    def _condition(self, name: str, *, has_it: bool) -> Condition | None:
        self.table.get(name, required=True)
        below = self.table.table(name)
        return None if below is None else read_condition(below, self.against, has_it=has_it)

    def _mode(self, scope: Selection | None) -> Mode | None:
        table = self.table
        mode = table.text("mode", required=True)
        for other, names in _MODES.items():
            for name in names:
                table.get(name)
                if name in table.values and mode in _MODES and name not in _MODES[mode]:
                    table.note(
                        name, "unexpected", f"{name} belongs to the mode {other}; this rule's is {mode}"
                    )
        if mode and mode not in _MODES:
            tail = hint(mode, _MODES) or f"; expected one of {', '.join(_MODES)}"
            table.note("mode", "no-such-mode", f"there is no mode {mode}{tail}")
        if mode == "always":
            return Always(table.duration("tolerance") or 0)
        if mode == "at":
            return self._at(scope)
        if mode == "within":
            return self._within(scope)
        return self._by() if mode == "by" else None

    def _at(self, scope: Selection | None) -> Mode | None:
        match = self._match("at", has_it=scope is not None, required=True)
        after = self.table.flag("after")
        return None if match is None else At(match, after)

    def _match(self, name: str, *, has_it: bool, required: bool = False) -> ActionMatch | None:
        self.table.get(name, required=required)
        below = self.table.table(name)
        return None if below is None else read_match(below, self.against, has_it=has_it)

    def _within(self, scope: Selection | None) -> Mode | None:
        limit, trigger = self._limit(), self._trigger(scope)
        stays = self.table.flag("stays")
        until = self._match("until", has_it=True)
        if until is not None and not stays:
            self.table.note(
                "until", "unexpected", "until says when stays ends: set stays = true, or leave it out"
            )
        if limit is None or trigger is None:
            return None
        return Within(limit, trigger, stays, until)

    def _limit(self) -> int | str | None:
        text = self.table.text("within", required=True)
        if not text or text in LIMITS:
            return text or None
        if text.isalpha():
            tail = hint(text, LIMITS) or f"; expected a duration, or one of {', '.join(LIMITS)}"
            self.table.note("within", "no-such-limit", f"there is no limit {text}{tail}")
            return None
        return self.table.duration("within")

    def _trigger(self, scope: Selection | None) -> ActionMatch | Condition | None:
        self.table.get("trigger", required=True)
        below = self.table.table("trigger")
        if below is None:
            return None
        if "turns_true" not in below.values:
            return read_match(below, self.against, has_it=scope is not None)
        inner = below.table("turns_true")
        below.finish()
        return None if inner is None else read_condition(inner, self.against, has_it=scope is not None)

    def _by(self) -> Mode | None:
        end = self.table.text("by", required=True)
        if end and end not in ENDS:
            tail = hint(end, ENDS) or f"; expected one of {', '.join(ENDS)}"
            self.table.note("by", "no-such-end", f"there is no end {end}{tail}")
        return By(end) if end in ENDS else None
