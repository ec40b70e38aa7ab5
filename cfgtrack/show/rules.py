"""Rules that are kept, as text."""

from __future__ import annotations

from cfgtrack.answers.rules import Explained, KeptRules, Texts
from cfgtrack.show.tables import heading, labelled, table


def kept_text(kept: KeptRules) -> str:
    """Return the rules that are kept, a line each."""
    rows = [[rule.id, rule.category, rule.mode, rule.title, rule.source] for rule in kept.rules]
    listed = table(["id", "severity", "mode", "title", "source"], rows)
    return f"{heading(f'{len(rows)} rules', kept.moment)}\n\n{listed}"


def texts_text(texts: Texts) -> str:
    """Return the texts of rules files, each under its name."""
    return "\n".join(f"# {file}  ({texts.moment})\n{text}" for file, text in texts.files.items())


def explained_text(explained: Explained) -> str:
    """Return a rule in plain words."""
    rule = explained.rule
    told = {
        **{label: getattr(rule, label) for label in ("title", "when", "what", "hazard")},
        "severity": rule.category,
        "source": rule.source,
        "written": rule.written,
        "outlives": "its clock may run on when a sequence is over" if rule.may_outlive else "",
        "guards": f"{len(rule.guards)}: {', '.join(rule.guards)}",
    }
    lines = (labelled(label, text) for label, text in told.items() if text)
    return "\n".join([heading(f"Rule {rule.id}", explained.moment), "", *lines])
