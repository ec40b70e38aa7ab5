"""Isolation as text: what is cut off, what isolates and which locks that needs, what is joined as one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cfgtrack.analysis.isolation import CutOff, Handle, Isolation, Lost, Segment, Way
from cfgtrack.answers.isolation import IsolationAnswer, SegmentsAnswer, WithoutAnswer
from cfgtrack.model.plant import HOLD
from cfgtrack.model.time import SECOND, format_duration
from cfgtrack.show.tables import count, heading, indented, labelled, sections, table

_NAMED = 8
"""So many names stand in a line, at most."""

_OTHERS = 4
"""So many other sets are told in words."""

_LISTED = 12
"""So many rows are listed, at most: --json has them all."""

BEFORE_WORK = (
    "No rule was asked, and a record isn't the hardware. By your own lock-out procedure (29 CFR 1910.147; electrical"
    " work: 1910.333(b)): shut down, isolate, lock and tag, relieve what is stored, and VERIFY with an instrument."
)


def _some(names: Sequence[str], most: int = _NAMED) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


# --- without ----------------------------------------------------------------------------------------------------------


def without_text(found: WithoutAnswer) -> str:
    """Return what is cut off if things are shut, off or parted."""
    things = _some(found.things)
    lost = [one for part in found.cut_off for one in part.lost]
    cut = len({one.thing for one in lost if not one.left})
    what = f"Without {things}: {count(cut, 'thing')} cut off"
    fewer = len({one.thing for one in lost if one.left} - {one.thing for one in lost if not one.left})
    if fewer:
        what += f", {fewer} with fewer ways in"
    return sections(
        heading(what, found.moment, colour=False),
        *(
            labelled("already:", f"{thing} carries nothing now: shut, off or not connected")
            for thing in found.already
        ),
        *(_cut_off(part) for part in found.cut_off),
        indented(BEFORE_WORK, by=0),
    )


def _cut_off(part: CutOff) -> str:
    rows = [
        [one.thing, _from(one), _some(one.lost, 3), _some(one.left, 3) or "none"]
        for one in part.lost[:_LISTED]
    ]
    more = len(part.lost) - _LISTED
    return sections(
        "\n".join(
            (
                labelled(
                    f"{part.medium}:", f"without the link {_some(part.links)}" if part.links else "", to=10
                ),
                labelled("ends:", _some(part.ends) or "none: no source, no expansion", to=10),
            )
        ),
        table(["cut off", "from its", "that was", "left"], rows) or indented("nothing is cut off"),
        indented(f"and {more} more: --json lists all") if more > 0 else "",
    )


def _from(one: Lost) -> str:
    return {"source": "source", "expansion": "expansion", "fixed place": "hold", "end": "end"}[one.sort]


# --- isolate ----------------------------------------------------------------------------------------------------------


def isolation_text(found: IsolationAnswer) -> str:
    """Return what isolates things, with the locks that it needs."""
    short = "; ".join(map(_in_short, found.isolation)) or "no end anywhere"
    silent = f"{', '.join(found.no_ends)}: nothing else is a source or an expansion there; say --from"
    return sections(
        "\n".join(
            (
                heading(f"Isolate {_some(found.things)}: {short}", found.moment, colour=False),
                labelled("NOTE:", "no rule was asked, and nothing here says that it is safe to do", to=10),
                *(
                    labelled(
                        "meant:", f"{thing} by what it joins, isolated on both sides: {_some(both)}", to=10
                    )
                    for thing, both in found.sides.items()
                ),
            )
        ),
        *(_isolation(one, found) for one in found.isolation),
        labelled("not asked:", silent) if found.no_ends else "",
        _locks(found),
        indented(BEFORE_WORK, by=0),
    )


def _in_short(one: Isolation) -> str:
    if one.fewest is None:
        return f"{one.medium} can't be isolated"
    if not one.ends:
        return f"{one.medium} has no end outside it"
    if not one.ways[0].devices:
        return f"{one.medium} is isolated already"
    least = "" if one.proved else f" (at least {one.fewest})"
    return f"{one.medium} by {count(len(one.ways[0].devices), 'device')}{least}"


def _isolation(one: Isolation, found: IsolationAnswer) -> str:
    head = [labelled(f"{one.medium}:", f"from {_some(one.ends, 6) or 'no end outside it'}", to=10)]
    if one.own:
        head.append(labelled("NOTE:", f"{_some(one.own)} is in it: nothing isolates it from that", to=10))
    if one.fewest is None:
        head.append(labelled("joined:", f"by no device: {_some(one.joined, 12)}", to=10))
        return "\n".join(head)
    first, *more = one.ways
    others = [_other(way, one.medium) for way in more]
    others += [" and ".join(names) for names in one.others]
    listed = [f"{number}. {said}" for number, said in enumerate(others[:_OTHERS], 2)]
    if len(others) > _OTHERS:
        listed.append(f"{len(others) - _OTHERS} more: --json lists all")
    short = "no smaller set was found, and the search was cut short: it isn't proved the smallest"
    how_many = f"{'' if one.complete else 'at least '}{count(len(others) + 1, 'smallest set')}"
    if first.devices:
        head.append(labelled("sets:", how_many if one.proved else short, to=10))
    parts = ["\n".join([*head, _way(first, found, one.medium)])]
    if listed:
        parts.append("\n".join(["  Others:", *(indented(line, by=4) for line in listed)]))
    if one.shutting:
        parts.append(f"  Without demating anything:\n{_way(one.shutting[0], found, one.medium)}")
    elif first.parts and one.medium != HOLD:
        parts.append(indented("No set isolates it without demating something."))
    return sections(*parts)


_LIVE = {"fluid": "under liquid or pressure now", "power": "live now"}
"""What a joint is that a set would demate while it carries a medium."""


def _other(way: Way, medium: str) -> str:
    """Return another set in words. A joint in it carries until it is isolated, for which the first set needn't do."""
    parted = [one for one in way.devices if one.parts]
    if medium == HOLD or not parted:
        return _words(way)
    first = " and ".join(f"`isolate {one.thing}`" for one in parted)
    return f"{_words(way)}: CAUTION: {_LIVE.get(medium, 'carries now')}; first {first}"


def _words(way: Way) -> str:
    return " and ".join(f"{one.action} {one.name}" for one in way.devices)


def _way(way: Way, found: IsolationAnswer, medium: str) -> str:
    rows = [_row(one, found, now=True) for one in way.devices] + [
        _row(one, found, now=False) for one in way.stay
    ]
    return "\n".join(filter(None, [table(["device", "do", "lock", "at"], rows), *_cautions(way, medium)]))


def _row(one: Handle, found: IsolationAnswer, *, now: bool) -> list[str]:
    do = one.action if now else f"keep {one.action}"
    return [one.name, do, _lock(one, found), one.site or ""]


def _lock(one: Handle, found: IsolationAnswer) -> str:
    held = [lock.holder for lock in one.locks]
    hang = [f"{' and '.join(held)} there"] if held else []
    if not one.takes_lock:
        return "takes none"
    missing = [holder for holder in found.holders if holder not in held]
    if found.holders:
        return ", ".join([*hang, *([f"needs {' and '.join(missing)}"] if missing else [])])
    return ", ".join(hang) or "needs"


def _locks(found: IsolationAnswer) -> str:
    """Return who would hold the locks, and what of what takes none."""
    handles = [one for part in found.isolation for way in part.ways[:1] for one in (*way.devices, *way.stay)]
    if not any(one.takes_lock for one in handles):
        return ""
    who = " and ".join(found.holders) or "each who works behind them"
    box = (
        ""
        if found.holders
        else f"; of a group: the lock of {' or '.join(found.boxes)}"
        if found.boxes
        else ""
    )
    return labelled(
        "locks:", f"by {who}, his own on every device{box}. What takes none is tagged and watched.", to=10
    )


def _cautions(way: Way, medium: str) -> Iterator[str]:
    shut_in = [one for one in way.volumes if one.shut_in]
    stored = [one for one in way.volumes if not one.shut_in]
    parted = [one.name for one in way.devices if one.parts]
    if shut_in:
        limits = [one.may_last for one in shut_in if one.may_last is not None]
        limit = f"; for no longer than {format_duration(int(min(limits) * SECOND))}" if limits else ""
        names = _some([_volume(one.thing, one.litres) for one in shut_in], 4)
        yield _caution(f"shuts in liquid, which bursts what holds it when warmed: {names}{limit}")
    if stored:
        names = _some([_volume(one.thing, one.litres) for one in stored], 4)
        yield _caution(f"what is in it stays under pressure until it is relieved: {names}")
    if parted and medium == HOLD:
        yield _caution("what is let go is held by nothing: sling or grip it first")
    elif parted:
        yield _caution(
            f"{_some(parted, 3)}: demated while it carries; make it dead and relieve it first, from elsewhere"
        )
    if way.one_way:
        yield _caution(f"rests on the check valve {_some(way.one_way, 3)}, which is no isolating device")
    if way.also:
        yield labelled("also off:", _some(way.also, 5), by=2, to=10)


def _caution(text: str) -> str:
    return labelled("CAUTION:", text, by=2, to=10)


def _volume(thing: str, litres: float) -> str:
    return f"{thing} ({litres:g} L)"


# --- segments ---------------------------------------------------------------------------------------------------------


def segments_text(found: SegmentsAnswer) -> str:
    """Return the segments of a medium, largest first."""
    all_ = found.segments
    is_hold = all_.medium == HOLD
    rows = [
        [
            one.number,
            len(one.units),
            "" if one.litres is None else f"{one.litres:g}",
            _some(one.units if is_hold else one.nodes or one.units, 4),
            _some((*one.sources, *one.expansions), 2),
            _boundary(one),
        ]
        for one in all_.segments[:_LISTED]
    ]
    more = len(all_.segments) - _LISTED
    return sections(
        heading(f"{count(len(all_.segments), 'segment')} of {all_.medium}", found.moment, colour=False),
        table(["no", "units", "litres", "what", "ends", "bounded by"], rows),
        indented(f"and {more} more, smaller: --json lists all") if more > 0 else "",
        labelled("alone:", f"{count(all_.alone, 'port')} joined to nothing") if all_.alone else "",
        indented(BEFORE_WORK, by=0),
    )


def _boundary(one: Segment) -> str:
    return _some(list(_bounds(one)), 4)


def _bounds(one: Segment) -> Iterable[str]:
    for bound in one.boundary:
        locks = f", locked by {' and '.join(lock.holder for lock in bound.locks)}" if bound.locks else ""
        behind = f" to {bound.to}" if bound.to is not None else ""
        yield f"{bound.thing} ({bound.words or bound.status}{locks}){behind}"
