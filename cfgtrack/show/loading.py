"""What loading a hardware definition or taking in events changed, or would change, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from cfgtrack.show.tables import count, heading, labelled, sections

if TYPE_CHECKING:
    from pathlib import Path

    from cfgtrack.answers.hardware import Loaded
    from cfgtrack.answers.transfer import Imported

_MOST = 12
_MANY = {"medium": "media", "rules": "rules files"}
_ONE = {"rules": "rules file"}
"""What a sort of item is called where adding an s won't do."""


class Counts(Protocol):
    """What became of rows of events: an import, or the store's tally of a load."""

    @property
    def recorded(self) -> int:
        """Newly recorded."""

    @property
    def repeated(self) -> int:
        """There already."""

    @property
    def refused(self) -> int:
        """Not taken."""


def load_text(loaded: Loaded) -> str:
    """Return what a load changed, field by field; of a dry run what it would change."""
    report, dry_run = loaded.load, loaded.dry_run
    changes = len(report.added) + len(report.changed)
    if not changes and not report.initial.recorded:
        title = f"nothing to load: {count(report.same, 'item')} as they were"
    else:
        title = (
            f"{'would load' if dry_run else 'loaded'} {count(changes, 'item')}, {report.same} as they were"
        )
    lines = [
        *_by_sort("new", report.added),
        *_changes(report.changed),
        *_by_sort("kept", report.missing, note="not in the files, still in the journal"),
    ]
    initial = tally_text(report.initial, dry_run=dry_run)
    if report.initial.recorded or report.initial.refused:
        lines.append(labelled("initial", initial))
    return sections(heading(title, loaded.moment), "\n".join(lines))


def _by_sort(label: str, items: Sequence[tuple[str, str]], *, note: str = "") -> Iterator[str]:
    by_sort: dict[str, list[str]] = {}
    for sort, name in items:
        by_sort.setdefault(sort, []).append(name)
    for sort, names in by_sort.items():
        more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
        tail = f" ({note})" if note else ""
        number = count(len(names), _ONE.get(sort, sort), _MANY.get(sort, ""))
        yield labelled(label, f"{number}: {', '.join(names[:_MOST])}{more}{tail}")


def _changes(changed: Sequence[Any]) -> Iterator[str]:
    for sort, name, fields in changed:
        said = "; ".join(f"{field}: {_short(before)} -> {_short(after)}" for field, before, after in fields)
        yield labelled("changed", f"{_ONE.get(sort, sort)} {name}: {said}")


def _short(value: object) -> str:
    text = "nothing" if value is None or value == "" else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def tally_text(tally: Counts, *, dry_run: bool = False) -> str:
    """Return what became of rows of events, in one line."""
    parts = [f"{count(tally.recorded, 'event')} {'would be recorded' if dry_run else 'recorded'}"]
    if tally.repeated:
        parts.append(f"{tally.repeated} there already")
    if tally.refused:
        parts.append(f"{tally.refused} REFUSED")
    return ", ".join(parts)


def imported_text(imported: Imported, rejects: Path | None) -> str:
    """Return what became of an import, and where to go on from there."""
    see = f": see {rejects}" if imported.refused else ""
    judged = imported.dry_run or not imported.recorded
    unjudged = "" if judged else "\n  not judged: `cfgtrack review` tells what they break"
    return f"{tally_text(imported, dry_run=imported.dry_run)}{see} ({imported.moment}){unjudged}"
