"""What loading a hardware definition or taking in events changed, or would change, as text.

The outcomes come from the store; they are taken here by their shape, for the store and this package don't know of
each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from cfgtrack.show.moment import Moment
from cfgtrack.show.tables import count, heading, labelled, sections

_MOST = 12
_MANY = {"medium": "media", "rules": "rules files"}
_ONE = {"rules": "rules file"}
"""What a sort of item is called where adding an s won't do."""


class Counts(Protocol):
    """What became of rows of events."""

    recorded: int
    repeated: int
    refused: int


class Loaded(Protocol):
    """What a load did: (sort, id) of items added and missing, (sort, id, fields) of those changed."""

    @property
    def added(self) -> Sequence[tuple[str, str]]:
        """New items."""

    @property
    def changed(self) -> Sequence[Any]:
        """Items of which some fields are new."""

    @property
    def missing(self) -> Sequence[tuple[str, str]]:
        """Items that the journal has and the files don't."""

    @property
    def same(self) -> int:
        """How many items are as they were."""

    @property
    def initial(self) -> Counts:
        """What became of the events of the initial configuration."""


def load_text(report: Loaded, moment: Moment | None, *, dry_run: bool = False) -> str:
    """Return what a load changed, field by field; with `dry_run` what it would change."""
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
    return sections(title if moment is None else heading(title, moment), "\n".join(lines))


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
