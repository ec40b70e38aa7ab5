"""Rules that are kept, as text."""

from __future__ import annotations

from cfgtrack.answers.rules import Explained, KeptRules, RuleInWords, Texts
from cfgtrack.rules.saying import say_list
from cfgtrack.show.tables import heading, labelled, table


def kept_text(kept: KeptRules) -> str:
    """Return the rules that are kept, a line each."""
    rows = [[rule.id, rule.category, rule.mode, rule.title, rule.source] for rule in kept.rules]
    listed = table(["id", "severity", "mode", "title", "source"], rows)
    return f"{heading(f'{len(rows)} rules', kept.moment)}\n\n{listed}"


def texts_text(texts: Texts) -> str:
    """Return the texts of rules files, each under its name."""
    return "\n".join(f"# {file}  ({texts.moment})\n{text}" for file, text in texts.files.items())


def _exceptions(rule: RuleInWords) -> str:
    """Return who must approve an exception; "" where one who may is enough."""
    if rule.approvals == 1 and not rule.approvers:
        return ""
    people = "one person" if rule.approvals == 1 else "two people"
    of = f" of {say_list(rule.approvers)}" if rule.approvers else ""
    return f"{people}{of} must approve one"


def explained_text(explained: Explained) -> str:
    """Return a rule in plain words."""
    rule = explained.rule
    told = {
        **{label: getattr(rule, label) for label in ("title", "when", "what", "hazard")},
        "severity": rule.category,
        "source": rule.source,
        "written": rule.written,
        "outlives": "its clock may run on when a sequence has ended" if rule.may_outlive else "",
        "exceptions": _exceptions(rule),
        "guards": f"{len(rule.guards)}: {', '.join(rule.guards)}",
    }
    lines = (labelled(label, text) for label, text in told.items() if text)
    return "\n".join([heading(f"Rule {rule.id}", explained.moment), "", *lines])
