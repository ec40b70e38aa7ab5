"""Reads ways of failing: those that ship with cfgtrack, and those of a file of the same form."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from cfgtrack.files.source import Document, parse_toml, read_document
from cfgtrack.files.table import Table
from cfgtrack.folders import top_folder
from cfgtrack.model.failing import DOES, HELD, Bars, Failing
from cfgtrack.model.trouble import BadInput, Problems


def ways_of_failing(files: Sequence[Path] = ()) -> tuple[Failing, ...]:
    """Return the shipped ways of failing, with those in files: of one id the last counts. BadInput for bad ones."""
    found = {one.id: one for one in _shipped()}
    problems = Problems()
    for path in files:
        document = read_document(path, problems)
        if document is not None:
            found.update({one.id: one for one in _read(document, problems)})
    if problems.found:
        raise BadInput(problems.found)
    return tuple(found.values())


@cache
def _shipped() -> tuple[Failing, ...]:
    file, problems = top_folder("shared") / "failures.toml", Problems()
    document = parse_toml(file.name, file.read_text(encoding="utf-8"), problems)
    read = () if document is None else tuple(_read(document, problems))
    assert not problems.found, problems.found
    return read


def _read(document: Document, problems: Problems) -> list[Failing]:
    table = Table(document, (), document.data, problems)
    table.text("title")
    found = [_failing(below) for below in table.tables("failure")]
    table.finish()
    return [one for one in found if one is not None]


def _failing(table: Table) -> Failing | None:
    before = table.noted
    bars = table.text("bars", required=True)
    table.is_known("bars", "what is barred", bars, [one.value for one in Bars])
    does, held = table.some("does"), table.text("held")
    for one in does:
        table.is_known("does", "what an action does", one, DOES)
    if held:
        table.is_known("held", "how it is held", held, HELD)
    read = {
        "id": table.ident("id"),
        "title": table.text("title", required=True),
        "cause": table.text("cause", required=True),
        "actions": frozenset(table.some("action")),
        "kinds": frozenset(table.some("kind")),
        "does": frozenset(does),
        "media": frozenset(table.some("medium")),
        "not_media": frozenset(table.some("not_medium")),
        "held": held,
        "found": table.text("found"),
    }
    if not read["actions"] and not read["does"]:
        table.note(
            "", "missing", "expected an action, or what it does: else every step would fail in this way"
        )
    table.finish()
    return None if table.noted > before else Failing(bars=Bars(bars), **read)  # type: ignore[arg-type]
