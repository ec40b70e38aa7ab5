"""Reads rules files: WHEN a rule must hold (its mode) and WHAT must hold (its condition), from TOML.

A rule that is badly written is bad input, told with its line; whether a rule is broken is another matter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.files.rule_table import RuleTable
from cfgtrack.files.selections import Against, read_selection
from cfgtrack.files.source import Document, in_order, parse_toml, read_document
from cfgtrack.files.table import Table
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import BadInput, Problems
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.rules.mode import Mode
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.when import MODES

APPROVALS = (1, 2)
"""So many people may have to approve an exception to a rule."""


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
        approving = _read_approving(root)
        for table in root.tables("rule"):
            rule = _RuleReader(table, against, seen, approving).rule()
            if rule is not None:
                rules[rule.id] = rule
        if not document.data.get("rule"):
            root.note("", "missing", "a rules file needs at least one [[rule]]")
        root.finish()
    if problems:
        raise BadInput(in_order(problems.found, names))
    return RuleSet(tuple(rules.values()), title, ", ".join(document.name for document in documents))


@dataclass(frozen=True, slots=True)
class _Approving:
    """What a file asks of an exception to a rule of each severity: so many people, and who alone may approve it."""

    approvals: Mapping[int, int]
    approvers: Mapping[int, tuple[str, ...]]


def _read_approving(root: Table) -> _Approving:
    many, who = root.table("approvals"), root.table("approvers")
    found = (
        (severity, None if many is None else _approvals(many, word)) for severity, word in SEVERITIES.items()
    )
    named = ((severity, who.words(word) if who else ()) for severity, word in SEVERITIES.items())
    out = _Approving({s: n for s, n in found if n is not None}, {s: names for s, names in named if names})
    for table in (many, who):
        if table is not None:
            table.finish()
    return out


def _approvals(table: Table, name: str) -> int | None:
    """Return how many people must approve, None where it isn't said, or after noting what is wrong with it."""
    value = table.get(name)
    if value is not None and (isinstance(value, bool) or value not in APPROVALS):
        table.wrong(name, "how many people must approve an exception, 1 or 2", value)
        return None
    return None if value is None else int(value)


class _RuleReader:
    """Reads one rule. `seen` tells where each id was used already, `approving` what its file asks of exceptions."""

    def __init__(self, table: Table, against: Against, seen: dict[str, str], approving: _Approving) -> None:
        self.table = table
        self.against = against
        self.seen = seen
        self.approving = approving

    def rule(self) -> Rule | None:
        """Return the rule, None after noting what is wrong with it."""
        table = self.table
        name = self._id()
        title, hazard = table.text("title", required=True), table.text("hazard", required=True)
        source, severity = table.text("source", required=True), self._severity()
        may_outlive, scope = self._may_outlive(), self._scope()
        approvals, approvers = self._approving(severity)
        mode = self._mode(scope)
        if self._is_idle(scope, mode):
            self.against = Against(self.against.plant, may_be_empty=True)
        has_it = scope is not None or any(one.gives_it(table.values) for one in MODES.values())
        below = RuleTable(table, self.against, has_it=has_it).below("condition", required=True)
        condition = None if below is None else below.condition()
        table.finish()
        if mode is None or condition is None or severity is None:
            return None
        where = table.spot().where
        told = (may_outlive, approvals, approvers)
        return Rule(name, title, hazard, severity, source, mode, condition, scope, where, *told)

    def _id(self) -> str:
        name = self.table.ident("id")
        if name:
            self.table.label = f"rule {name}"
            if name in self.seen:
                self.table.note(
                    "id",
                    "duplicate",
                    f"there is a rule {name} already, at {self.seen[name]}: give each rule its own id",
                )
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

    def _may_outlive(self) -> bool:
        may = self.table.flag("may_outlive")
        if may and not {"within", "tolerance"} & self.table.values.keys():
            self.table.note(
                "may_outlive", "unexpected", "the rule has no clock that could outlive a sequence"
            )
        return may

    def _approving(self, severity: int | None) -> tuple[int, tuple[str, ...]]:
        """Return how many people must approve an exception, and who alone may: what the rule says, else its file."""
        own = _approvals(self.table, "approvals")
        approvals = self.approving.approvals.get(severity or 0, 1) if own is None else own
        approvers = self.table.words("approvers") or self.approving.approvers.get(severity or 0, ())
        if approvers and len(set(approvers)) < approvals:
            who = " and ".join(dict.fromkeys(approvers))
            self.table.note(
                "approvers",
                "out-of-range",
                f"{approvals} people must approve an exception, and only {who} may",
            )
        return approvals, approvers

    def _scope(self) -> Selection | None:
        if "scope" not in self.table.values:
            self.table.get("scope")
            return None
        return read_selection(self.table, "scope", self.against, has_it=False)

    def _is_idle(self, scope: Selection | None, mode: Mode | None) -> bool:
        """Return whether the rule guards nothing in this plant, and says that it may be so."""
        guarded = [] if scope is None else [scope]
        if mode is not None and mode.match is not None:
            guarded.append(mode.match.of)
        return any(self.against.is_empty(selection) for selection in guarded)

    def _mode(self, scope: Selection | None) -> Mode | None:
        table = self.table
        mode = table.text("mode", required=True)
        for other in MODES.values():
            for name in other.fields:
                table.get(name)
                if name in table.values and mode in MODES and name not in MODES[mode].fields:
                    table.note(
                        name, "unexpected", f"{name} belongs to the mode {other.key}; this rule's is {mode}"
                    )
        if mode in MODES:
            return MODES[mode].read(RuleTable(table, self.against, has_it=scope is not None))
        if mode:
            table.is_known("mode", "mode", mode, MODES)
        return None
