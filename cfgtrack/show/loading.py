"""What a plant is made of, in numbers; and what loading a definition or taking in events changed, or would change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from cfgtrack.analysis.difference import link_text
from cfgtrack.answers.moment import Moment
from cfgtrack.model.part import InternalLink
from cfgtrack.model.time import format_instant
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.show.record import clock_line
from cfgtrack.show.tables import count, heading, labelled, sections, table, titled
from cfgtrack.show.vetting import doubts_text

if TYPE_CHECKING:
    from pathlib import Path

    from cfgtrack.analysis.redefinition import Gone, Joint, Misfit, PortChange, Redefinition, RuleChange
    from cfgtrack.answers.hardware import Loaded
    from cfgtrack.answers.transfer import Imported
    from cfgtrack.model.plant import Plant

T = TypeVar("T")

_MOST = 12
_FEW = 3
_MANY = {"medium": "media", "rules": "rules files"}
_ONE = {"rules": "rules file"}
"""What a sort of item is called where adding an s won't do."""


def load_text(loaded: Loaded, *, colour: bool = False) -> str:
    """Return what a load changed, field by field; of a dry run what it would change. What it means for what counts is
    first: whether it was refused, and why.
    """
    report, dry_run = loaded.load, loaded.dry_run
    changes = len(report.added) + len(report.changed) + len(report.back)
    if report.refused:
        title = f"NOTHING WRITTEN: {_to_accept(loaded)}"
    elif not changes and not report.initial.recorded:
        title = f"nothing to load: {count(report.same, 'item')} as they were"
    else:
        title = (
            f"{'would load' if dry_run else 'loaded'} {count(changes, 'item')}, {report.same} as they were"
        )
    lines = [
        *_by_sort("new", report.added),
        *_by_sort("back", report.back, note="retired no longer"),
        *_changes(report.changed),
        *_by_sort("kept", report.missing, note="not in the files, still in the journal"),
        *_told_anew(report.anew),
    ]
    initial = report.initial
    if initial.recorded or initial.refused:
        tally = tally_text(
            initial.recorded, initial.repeated, initial.refused, dry_run=dry_run or report.refused
        )
        lines.append(labelled("initial", tally))
    return sections(
        heading(title, loaded.moment),
        "\n".join(_grounds(loaded)),
        "" if loaded.redefinition is None else redefinition_text(loaded.redefinition),
        "\n".join(lines),
        _what_it_breaks(loaded, colour=colour),
        doubts_text(loaded.vetted),
    )


def _what_it_breaks(loaded: Loaded, *, colour: bool) -> str:
    lines = [clock_line(clock) for clock in loaded.started]
    if loaded.findings:
        from cfgtrack.show.findings import findings_text

        lines.append(findings_text(loaded.findings, loaded.moment, colour=colour))
    return "\n".join(lines)


def _to_accept(loaded: Loaded) -> str:
    number = len(loaded.redefinition.grounds) if loaded.redefinition is not None else 0
    return f"{count(number, 'thing')} to accept; say why with --accept REASON"


def _grounds(loaded: Loaded) -> Iterator[str]:
    found = loaded.redefinition
    grounds = () if found is None else found.grounds
    for sentence in grounds:
        yield labelled("accepted" if loaded.load.accepted else "TO ACCEPT", sentence)
    if grounds and loaded.load.accepted:
        yield labelled("because", loaded.load.accepted)


def redefinition_text(found: Redefinition) -> str:
    """Return what a new definition, or new rules, mean for what counts: tables, each only where something differs."""
    return sections(
        titled("What the rules guard", _rules_table(found)),
        titled(
            "Made joints that no longer fit",
            table(["half", "other half", "is", "why"], _folded(found.misfits, _misfit)),
        ),
        titled("Rules that no longer fit", "\n".join(labelled("", why, to=0) for why in _some(found.unfit))),
        titled(
            "Ports that changed under a mate",
            table(["port", "mated to", "what changed"], _folded(found.ports, _port)),
        ),
        titled("Joints of the initial configuration", table(_JOINT, _folded(found.joints, _joint))),
        titled(
            "Gone from the files, still mated", table(["", "id", "mated to"], _folded(_mated(found), _gone))
        ),
    )


_JOINT = ["", "half", "other half", "recorded", "in the files", "the half is now"]


def _rules_table(found: Redefinition) -> str:
    """Return the rules whose guarding differs as a table; of the others how many each guards."""
    differing = [one for one in found.rules if not one.is_same]
    same = [one for one in found.rules if one.is_same]
    rows = table(
        ["rule", "severity", "guards", "watches", "no longer", "new"],
        map(_rule, sorted(differing, key=lambda one: (not one.is_less, one.severity))),
    )
    listed = ", ".join(f"{one.rule} ({one.guards})" for one in same)
    return "\n".join(part for part in (rows, labelled("as before", listed) if same else "") if part)


def _rule(one: RuleChange) -> list[object]:
    severity = one.category
    if one.severity_now not in (None, one.severity):
        severity = f"{severity}, now {SEVERITIES[one.severity_now or one.severity]}"
    what = "RULE GONE" if one.is_gone else _names(one.lost) or one.eased
    if one.differs and not one.gained:
        return [one.rule, severity, *_numbers(one), what, "asks something else"]
    return [one.rule, severity, *_numbers(one), what, _names(one.gained)]


def _numbers(one: RuleChange) -> Iterator[str]:
    for before, after in ((one.guarded, one.guards), (one.watched, one.watches)):
        was, now = ("-" if number is None else str(number) for number in (before, after))
        yield was if was == now else f"{was} -> {now}"


def _misfit(one: Misfit) -> list[object]:
    return [one.a, one.b, one.words or one.status, one.why]


def _port(one: PortChange) -> list[object]:
    return [
        one.port,
        one.mate,
        "; ".join(f"{f.field}: {_short(f.before)} -> {_short(f.after)}" for f in one.fields),
    ]


def _joint(one: Joint) -> list[object]:
    what = "added" if one.before is None else "removed" if one.after is None else "changed"
    before, after = (said or told for said, told in zip(one.words, (one.before, one.after), strict=True))
    return [what, one.a, one.b, before or "-", after or "-", one.now_words or one.now]


def _mated(found: Redefinition) -> list[Gone]:
    return [one for one in found.gone if one.mates]


def _gone(one: Gone) -> list[object]:
    return [one.sort, one.id, ", ".join(one.mates)]


def _folded(found: Sequence[T], row: Callable[[T], list[object]]) -> list[list[object]]:
    """Return the first rows; the others as one that counts them."""
    rows = [row(one) for one in found[:_MOST]]
    if len(found) > _MOST:
        rows.append([f"and {len(found) - _MOST} more", *[""] * (len(rows[0]) - 1)])
    return rows


def _some(texts: Sequence[str]) -> Iterator[str]:
    yield from texts[:_MOST]
    if len(texts) > _MOST:
        yield f"and {len(texts) - _MOST} more"


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - _FEW} more" if len(names) > _FEW else ""
    return ", ".join(names[:_FEW]) + more


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
        said = "; ".join(_field(*field) for field in fields)
        yield labelled("changed", f"{_ONE.get(sort, sort)} {name}: {said}")


def _field(field: str, before: Any, after: Any) -> str:
    """Say what a field was and is; of a list only what is on one side, of a long text only how many lines are."""
    if isinstance(before, list | None) and isinstance(after, list | None):
        old, new = ([_words(one) for one in side or ()] for side in (before, after))
        gone, come = ([one for one in side if one not in other] for side, other in ((old, new), (new, old)))
        if gone or come:
            sides = (f"{what} {_names(some)}" for what, some in (("without", gone), ("with", come)) if some)
            return f"{field}: {', '.join(sides)}"
        return f"{field}: in another order"
    if isinstance(before, str) and isinstance(after, str) and "\n" in before + after:
        old, new = before.splitlines(), after.splitlines()
        gone, come = ([one for one in side if one not in other] for side, other in ((old, new), (new, old)))
        return f"{field}: {count(len(gone), 'line')} gone, {len(come)} new"
    return f"{field}: {_short(_words(before))} -> {_short(_words(after))}"


def _words(value: Any) -> Any:
    """Return a value of the definition without the marks of a language: a link as its ends, a list as its items."""
    if isinstance(value, dict) and {"a", "b"} <= value.keys():
        link = InternalLink(value["a"], value["b"], value.get("gate") or "", bool(value.get("one_way")))
        return link_text(link)
    if isinstance(value, dict):
        return ", ".join(f"{name} {_words(one)}" for name, one in value.items() if one not in (None, ""))
    if isinstance(value, list):
        return ", ".join(str(_words(one)) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def _told_anew(anew: Sequence[Any]) -> Iterator[str]:
    """Say which events count no longer, from which date on, and what of them is otherwise."""
    told = [
        f"{one.event} of {format_instant(one.since)} counts no longer, {one.by} does: {_names(one.subjects)}"
        for one in anew
    ]
    yield from (labelled("told anew", sentence) for sentence in _some(told))


def _short(value: object) -> str:
    text = "nothing" if value is None or value == "" else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def tally_text(recorded: int, repeated: int, refused: int, *, dry_run: bool = False) -> str:
    """Return what became of rows of events, in one line."""
    parts = [f"{count(recorded, 'event')} {'would be recorded' if dry_run else 'recorded'}"]
    if repeated:
        parts.append(f"{repeated} there already")
    if refused:
        parts.append(f"{refused} REFUSED")
    return ", ".join(parts)


def imported_text(imported: Imported, rejects: Path | None) -> str:
    """Return what became of an import, and where to go on from there."""
    see = f": see {rejects}" if imported.refused else ""
    judged = imported.dry_run or not imported.recorded
    unjudged = "" if judged else "\n  not judged: `cfgtrack review` tells what they break"
    tally = tally_text(imported.recorded, imported.repeated, imported.refused, dry_run=imported.dry_run)
    return f"{tally}{see} ({imported.moment}){unjudged}"


# --- the plant ----------------------------------------------------------------------------------------------------


def overview_text(plant: Plant, moment: Moment) -> str:
    """Return the numbers of units and places, and of ports, nodes and internal links by medium; parts one by one."""
    title = (
        f"{count(len(plant.units), 'unit')} of {count(len(plant.parts), 'part')}, "
        f"{count(len(plant.places), 'place')}"
    )
    return sections(
        heading(title, moment),
        table(["medium", "title", "ports", "of which", "nodes", "internal links"], _media(plant)),
        table(["part", "title", "units", "places", "ports", "nodes"], _parts(plant)),
    )


def _uses(plant: Plant) -> tuple[Counter[str], Counter[str]]:
    return Counter(u.part for u in plant.units.values()), Counter(p.part for p in plant.places.values())


def _media(plant: Plant) -> Iterator[list[object]]:
    units, places = _uses(plant)
    kinds: dict[str, Counter[str]] = {medium: Counter() for medium in [*plant.media, ""]}
    nodes: Counter[str] = Counter()
    links: Counter[str] = Counter()
    for part in plant.parts.values():
        times = units[part.id] + places[part.id]
        for port in part.ports.values():
            kinds[plant.kinds[port.kind].medium or ""][port.kind] += times
        for node in part.nodes.values():
            nodes[node.medium] += times
        for link in part.links:
            end = part.nodes.get(link.a)
            links[end.medium if end else plant.kinds[part.ports[link.a].kind].medium or ""] += times
    for medium, counted in kinds.items():
        listed = ", ".join(f"{n} {kind}" for kind, n in counted.items() if n)
        if listed or nodes[medium]:
            title = plant.media[medium].title if medium else "no medium"
            total = sum(counted.values())
            yield [medium or "-", title, total, listed, nodes[medium] or None, links[medium] or None]


def _parts(plant: Plant) -> Iterator[list[object]]:
    units, places = _uses(plant)
    for part in plant.parts.values():
        yield [
            part.id,
            part.title,
            units[part.id] or None,
            places[part.id] or None,
            len(part.ports) or None,
            len(part.nodes) or None,
        ]
