"""Mending as text: the verdict, the changes, and how sure it is that fewer won't do."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.answers.mending import MendedAnswer
from cfgtrack.show.findings import caution
from cfgtrack.show.tables import count, heading, indented, labelled, sections


def mended_text(found: MendedAnswer) -> str:
    """Return which changes make a sequence clear."""
    return sections(
        "\n".join([heading(_verdict(found), found.moment, colour=False), *_grounds(found)]),
        "\n".join(labelled(f"{n}.", change.text, to=4) for n, change in enumerate(found.changes, 1)),
        indented("The file is the sequence with these changes; read it before anybody follows it.", by=0)
        if found.changes
        else "",
        caution(),
    )


def _verdict(found: MendedAnswer) -> str:
    if found.verdict == "clear" and not found.changes:
        return f"Clear {found.said_for}: nothing to mend"
    if not found.judged and not found.changes:
        return f"{found.verdict.capitalize()}: nothing of it was judged, so there is nothing to mend"
    changes = count(len(found.changes), "change")
    if found.verdict == "clear":
        return f"Clear {found.said_for} with {changes}"
    return f"{found.verdict.capitalize()} with {changes}: no set that was looked at makes it clear"


def _grounds(found: MendedAnswer) -> Iterator[str]:
    yield labelled("tried:", f"{count(found.tried, 'sequence')}{', cut short' if found.cut_short else ''}")
    if found.verdict == "clear" and found.changes:
        if found.proved:
            yield labelled(
                "fewest:", "yes: every set of fewer moves, waits, drops and proposed steps was tried"
            )
        else:
            yield labelled("fewest:", f"not proved: at least {count(found.at_least, 'change')}; fewer may do")
    elif found.wrong and (found.judged or found.changes):
        yield labelled("wrong:", f"still {found.wrong}")
    if found.file:
        yield labelled("written:", found.file)
