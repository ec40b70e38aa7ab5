"""What became of a file in a foreign form, or of a new plant: what came in, what was guessed, what was left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.show.tables import count, indented, labelled, sections, table

if TYPE_CHECKING:
    from cfgtrack.answers.convert import Converted, Counted, Taken

_MOST = 8
_KINDS = 10


def converted_text(converted: Converted) -> str:
    """Return what came in, what was guessed and left out by name, and where it stands now."""
    first = [_came(converted)] if converted.sources else []
    lines = [
        *first,
        *_taken("guessed", converted.guessed),
        *_taken("left out", converted.left_out),
    ]
    return sections("\n".join(lines), _rules(converted), _wrote(converted))


def _came(converted: Converted) -> str:
    told = [f"{one.number} {_noun(one)}" for one in converted.came[:_KINDS]]
    others = converted.came[_KINDS:]
    told += [f"{sum(one.number for one in others)} of {count(len(others), 'more sort')}"] if others else []
    return labelled(
        "read", f"{' and '.join(converted.sources)} ({converted.form}): {', '.join(told)}", by=0, to=10
    )


def _noun(one: Counted) -> str:
    """Return what is counted: one of a sort that readers name as several is one."""
    first, *more = one.what.split(" ")
    is_one = one.number == 1 and first.endswith("s") and not first.endswith(("ss", "us"))
    return " ".join((first[:-1] if is_one else first, *more))


def _taken(label: str, taken: Sequence[Taken]) -> Iterator[str]:
    for one in taken:
        names = ", ".join(one.things[:_MOST])
        more = f" and {len(one.things) - _MOST} more" if len(one.things) > _MOST else ""
        yield labelled(label, f"{len(one.things)} {one.what}: {names}{more}", by=0, to=10)


def _rules(converted: Converted) -> str:
    """Return the starter rules that fit, each with what it would guard, and the names of those that don't."""
    from cfgtrack.answers.convert import Begun

    if not isinstance(converted, Begun) or not converted.sources:
        return ""
    rows = []
    for one in converted.rules:
        more = ", ..." if one.number > len(one.first) else ""
        rows.append([one.rule, str(one.severity), str(one.number), ", ".join(one.first) + more])
    unfit = labelled("left out", f"guard nothing here: {', '.join(converted.unfit)}", by=0, to=10)
    return sections(
        table(["starter rule", "severity", "guards", "the first"], rows), unfit if converted.unfit else ""
    )


def _wrote(converted: Converted) -> str:
    made = converted.made
    what = (
        f"{count(made['units'], 'unit')} of {count(made['parts'], 'part')}, {count(made['joints'], 'joint')}"
    )
    if not converted.sources:
        what = "an empty plant, with comments, and the starter rules"
    did = "would write" if converted.dry_run else "wrote"
    text = indented(f"{did} {what} into {converted.folder}: {', '.join(converted.files)}", by=0)
    text += f"\n  ({converted.moment})"
    return text if converted.dry_run else f"{text}\n  next: cfgtrack load {converted.folder}/plant.toml"
