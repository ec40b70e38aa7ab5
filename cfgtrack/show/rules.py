"""Rules that are kept, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cfgtrack.show.tables import heading, labelled, table

if TYPE_CHECKING:
    from cfgtrack.answers.rules import Explained, KeptRules, Texts


def kept_text(kept: KeptRules) -> str:
    """Return the rules that are kept, a line each."""
    rows = kept.rules
    columns = {"id": "id", "severity": "category", "mode": "mode", "title": "title", "source": "source"}
    listed = table(list(columns), [[row[name] for name in columns.values()] for row in rows])
    return f"{heading(f'{len(rows)} rules', kept.moment)}\n\n{listed}"


def texts_text(texts: Texts) -> str:
    """Return the texts of rules files, each under its name."""
    return "\n".join(f"# {file}  ({texts.moment})\n{text}" for file, text in texts.files.items())


def explained_text(explained: Explained) -> str:
    """Return a rule in plain words."""
    rule = {
        **explained.rule,
        "severity": explained.rule["category"],
        "guards": f"{len(explained.rule['guards'])}: {', '.join(explained.rule['guards'])}",
    }
    title = heading(f"Rule {rule.pop('id')}", explained.moment)
    del rule["category"]
    return "\n".join([title, "", *(labelled(label, text) for label, text in rule.items() if text)])
