"""The state of one thing, or of everything, as text: what matters first, the tables after it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from cfgtrack.analysis.state import (
    ContactState,
    Given,
    HoldLink,
    Judged,
    LoadState,
    PartLine,
    PlantReport,
    PortState,
    Reading,
    Retired,
    Standing,
    StateReport,
    StatusCount,
    UnitLine,
    VolumeState,
)
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import NO_RULES
from cfgtrack.model.attribute import attribute_text
from cfgtrack.model.defect import Defect
from cfgtrack.model.lock import Device
from cfgtrack.model.plant import owner_of
from cfgtrack.model.quantity import from_si
from cfgtrack.model.time import DAY, format_instant, span_in_words
from cfgtrack.network.rating import Rated
from cfgtrack.rules.finding import Clock
from cfgtrack.show.defects import DEFECTS, defect_table
from cfgtrack.show.findings import clock_rows, severity_word
from cfgtrack.show.locks import with_locks
from cfgtrack.show.record import found_or_there, quantity_text, remark_lines
from cfgtrack.show.tables import (
    WIDTH,
    columns,
    count,
    heading,
    indented,
    labelled,
    sections,
    styled,
    table,
    titled,
)

T = TypeVar("T")


def state_text(
    report: StateReport,
    moment: Moment,
    *,
    last: int | None = None,
    units: bool = False,
    colour: bool = False,
) -> str:
    """Return the state of one thing; of one with very many ports, or with very many things in it, the first of them.

    With `units` all of them. `last`: when the last event happened on which the answer rests.
    """
    name = f"{report.address}  {report.title}" if report.title else report.address
    if moment.is_too_early:
        return sections(heading(name, moment, colour=colour), _not_known(moment))
    local = partial(_local, report.address)
    capped = partial(_capped, most=SMALL, whole=units)
    return sections(
        "\n".join([heading(name, moment, colour=colour), *_age(last, moment)]),
        "\n".join(_facts(report)),
        "\n".join(
            (
                *_attention(_wrong_with(report, moment), whole=units, colour=colour),
                *_as_it_stands(
                    [p.address for p in report.ports if p.open_end and not p.hazardous],
                    [load for load in report.loads if not load.fed],
                    whole=units,
                ),
            )
        ),
        titled("Remarks", "\n".join(remark_lines(report.remarks))),
        titled("Running clocks", clock_rows(report.clocks, moment)),
        capped("Loads", report.loads, lambda loads: _load_table(loads, local)),
        capped("Liquid", report.volumes, lambda volumes: _volume_table(volumes, local)),
        capped("Last measured", report.readings, lambda readings: _reading_table(readings, local, moment)),
        titled(
            "Locks and tags",
            _lock_table([d for p in report.ports for d in p.locks], local, report.device_remarks),
        ),
        titled(DEFECTS, defect_table(report.defects)),
        capped("Interfaces, valves, switches, covers", report.ports, lambda ports: _port_table(ports, local)),
        capped("Contacts", report.contacts, lambda contacts: _contact_table(contacts, local)),
        capped("Attributes", report.attributes, lambda given: _attribute_table(given, local)),
        capped("Standing here", report.standing, _standing_table),
    )


def _wrong_with(report: StateReport, moment: Moment) -> _Wrong:
    return _Wrong(
        report.judged,
        moment,
        cut_off=[v for v in report.volumes if v.cut_off],
        ends=[p.address for p in report.ports if p.hazardous],
        clocks=report.clocks,
    )


def _standing_table(standing: Sequence[Standing]) -> str:
    rows = [[one.id, _called(one.aliases), one.title, one.facing] for one in standing]
    return table(["id", "also called", "title", "facing"], rows)


def _local(address: str, other: str) -> str:
    """Return the name of a port or node of the thing itself, or the whole address of any other."""
    owner, _, name = other.partition(":")
    return name if owner == address else other


def _facts(report: StateReport) -> Iterator[str]:
    what = f"{report.sort} of part {report.part}" if report.part and report.sort == "unit" else report.sort
    yield labelled("is", what)
    if report.aliases:
        yield labelled("also", ", ".join(report.aliases))
    if report.retired is not None:
        yield labelled("RETIRED", f"since {_retired(report.retired)}")
        return
    if report.place or report.sort in ("unit", "mobile place"):
        yield labelled("place", _where(report))
    if report.home and report.home not in report.place:
        yield labelled("home", f"{report.home}: it is not there now")
    if report.hold is not None and (report.sort == "unit" or report.hold.links or report.hold.seat):
        yield labelled("held by", _held(report))
    if report.gripped:
        yield labelled("holds", "; ".join(f"{link.far} (by {link.port})" for link in report.gripped))
    if report.sort == "mobile place" and not report.gripped:
        yield labelled("holds", "nothing")
    if report.lifts is not None:
        yield labelled("lifts", f"at most {report.lifts:g} kg")
    for what, devices in (("locked by", report.locks), ("has", report.has_locked)):
        if devices:
            yield labelled(what, "; ".join(_device(one, own=what == "has") for one in devices))
    loops = dict.fromkeys(loop for v in report.volumes for loop in v.loops)
    if loops:
        yield labelled("loop", ", ".join(loops))


def _device(device: Device, *, own: bool) -> str:
    """Return a lock or tag with since when: whose it is, or what it is on."""
    what = "tag" if device.is_tag else "lock"
    said = (
        f"a {what} on {device.thing}"
        if own
        else f"{device.holder} ({what})"
        if device.is_tag
        else device.holder
    )
    return f"{said} since {format_instant(device.since)}"


def _lock_table(locks: Sequence[Device], local: Callable[[str], str], remarks: Mapping[str, str]) -> str:
    rows = [
        [
            local(d.thing),
            "tag" if d.is_tag else "lock",
            d.holder,
            format_instant(d.since),
            d.event,
            remarks.get(d.event, ""),
        ]
        for d in locks
    ]
    return table(["on", "what", "whose", "since", "event", "remark"], rows)


def _retired(retired: Retired) -> str:
    return f"{format_instant(retired.since)}, because: {retired.reason} (event {retired.event})"


def _where(report: StateReport) -> str:
    facing = f", facing {report.facing}" if report.facing else ""
    if not report.place:
        return f"place not known{facing}"
    around = f" (in {', '.join(report.place[1:])})" if report.place[1:] else ""
    return f"{report.place[0]}{facing}{around}"


def _held(report: StateReport) -> str:
    hold = report.hold
    assert hold is not None
    held = [_holds(links) for links in _by_owner(hold.links)]
    if hold.seat:
        held.append(f"standing on {hold.seat}")
    text = "; ".join(held) or "nothing of its own"
    if hold.held or report.sort != "unit":
        return text
    if hold.bearers:
        return f"{text}; held by {', '.join(hold.bearers)} alone"
    if hold.hangs:
        return "what it is mated to: it has nothing else to be held by"
    return f"{text}; NOT HELD by any place that stays"


def _by_owner(links: Iterable[HoldLink]) -> Iterator[list[HoldLink]]:
    groups: dict[str, list[HoldLink]] = {}
    for link in links:
        groups.setdefault(owner_of(link.far), []).append(link)
    yield from groups.values()


def _holds(links: Sequence[HoldLink]) -> str:
    by_status: dict[str, list[str]] = {}
    for link in links:
        status = f"{link.words}, gives" if link.flexible else link.words
        by_status.setdefault(status, []).append(link.port.partition(":")[2])
    listed = "; ".join(f"{', '.join(names)} {status}" for status, names in by_status.items())
    return f"{owner_of(links[0].far)} ({listed})"


@dataclass(frozen=True, slots=True)
class _Wrong:
    """What needs attention of a thing, or of everything, beside what was judged of it."""

    judged: Judged
    moment: Moment
    cut_off: Sequence[VolumeState] = ()
    not_held: Sequence[str] = ()
    ends: Sequence[str] = ()
    defects: Sequence[Defect] = ()
    clocks: Sequence[Clock] = ()


def _attention(wrong: _Wrong, *, whole: bool, colour: bool) -> Iterator[str]:
    """Yield what a rule, or what a thing needs, says is wrong."""
    to = _WIDE_LABEL if wrong.judged.findings or wrong.judged.past else _LABEL
    for label, text in (*_found_wrong(wrong, whole=whole), *_seen_wrong(wrong, whole=whole)):
        yield styled(labelled(label, text, to=to), colour=colour, fg="yellow", bold=True)


def _found_wrong(wrong: _Wrong, *, whole: bool) -> Iterator[tuple[str, str]]:
    """Yield, each with its label, what rules found, which clocks ran out, and what was otherwise than recorded."""
    judged = wrong.judged
    for finding in _first(judged.findings, whole=whole):
        yield severity_word(finding.severity).upper(), f"{finding.headline}  [{finding.rule}]"
    yield from _more(judged.findings, "finding", whole=whole)
    for clock in _run_out(wrong):
        yield "RUN OUT", f"{clock.title}: {clock.subject}  [{clock.rule}]"
    for finding in _first(judged.past, whole=whole):
        said = f"{finding.headline}  [{finding.rule}], {format_instant(finding.time)}: {PAST}"
        yield severity_word(finding.severity).upper(), said
    yield from _more(judged.past, "past finding", whole=whole)
    for entry in _first(judged.discrepancies, whole=whole):
        event = entry.event
        said = f"{found_or_there(event)}; the record said {event.expected} (event {event.id}, not explained)"
        yield "DISCREPANCY", said
    yield from _more(judged.discrepancies, "discrepancy", "discrepancies", whole=whole)


def _seen_wrong(wrong: _Wrong, *, whole: bool) -> Iterator[tuple[str, str]]:
    """Yield, each with its label, what the configuration alone shows to be wrong."""
    litres = [f"{v.address} ({v.litres:g} l)" for v in wrong.cut_off]
    defects = [f"{one.thing} {one.why}" for one in wrong.defects]
    for label, names, said in (
        ("CUT OFF", litres, "no path to any expansion"),
        ("NOT HELD", wrong.not_held, "by no place that stays"),
        ("OPEN END", wrong.ends, "demated, not capped, live"),
        ("DEFECT", defects, "not rectified"),
    ):
        if names:
            yield label, f"{_listed(names, whole=whole)}: {said}"


def _first(things: Sequence[T], *, whole: bool) -> Sequence[T]:
    """Return the things that are told: not more than a few unless the whole is wanted."""
    return things if whole else things[:_FINDINGS]


def _more(
    things: Sequence[object], thing: str, plural: str = "", *, whole: bool
) -> Iterator[tuple[str, str]]:
    """Yield how many more there are than are told."""
    more = len(things) - len(_first(things, whole=whole))
    if more:
        yield "", f"and {count(more, f'more {thing}', plural and f'more {plural}')}"


def _run_out(wrong: _Wrong) -> Iterator[Clock]:
    """Yield the clocks that ran out, save those of which a finding tells."""
    told = {(f.rule, one) for f in wrong.judged.findings for one in f.subjects}
    for clock in wrong.clocks:
        is_over = clock.deadline is not None and clock.deadline < wrong.moment.at
        if is_over and (clock.rule, clock.subject) not in told:
            yield clock


def _as_it_stands(open_ends: Sequence[str], dead: Sequence[LoadState], *, whole: bool) -> Iterator[str]:
    """Yield what is merely open or without a source, as a spare on a rack is: no rule says that it is wrong."""
    if open_ends:
        yield labelled("open end", f"{_listed(open_ends, whole=whole)}: demated, not capped, live", to=_LABEL)
    by_medium: dict[str, list[str]] = {}
    for load in dead:
        by_medium.setdefault(load.medium, []).append(load.address)
    for medium, names in by_medium.items():
        yield labelled(f"no {medium}", f"{_listed(names, whole=whole)}: no path to a source", to=_LABEL)


def _listed(names: Sequence[str], *, whole: bool) -> str:
    """Return names, not more than stand in a few lines unless the whole is wanted."""
    more = 0 if whole else len(names) - _NAMES
    return ", ".join(names if more <= 0 else [*names[:_NAMES], f"{more:,} more"])


PAST = "past and not acknowledged, see review"
_LABEL, _WIDE_LABEL = 12, 14
_FINDINGS = 5
_NAMES = 12
_FEW = 3
SMALL = 100
"""A plant of so many units has a line for each of them; a larger one where that is asked for."""

_ROWS = 20
_MORE = "`cfgtrack state --units` has a line for each unit; `cfgtrack state THING` tells of one."


def _port_table(ports: Sequence[PortState], local: Callable[[str], str]) -> str:
    narrow = columns() < WIDTH
    rows = [
        [
            local(p.address),
            _called(p.aliases),
            p.title,
            f"{p.kind} {p.size}".rstrip(),
            with_locks(p.words, p.locks, p.defects),
            *([_mate_and_link(p)] if narrow else [p.mate, _link(p)]),
            _names(p.reaches),
            _cycles(p),
            _both_rated(p),
        ]
        for p in ports
    ]
    mate = ["mated to"] if narrow else ["mated to", "link"]
    heads = ["port", "also called", "title", "kind", "status", *mate, "reaches", "cycles", "rated"]
    return table(heads, rows, hyphens=["kind"])


def _mate_and_link(port: PortState) -> str:
    """Return both in one cell, for a narrow screen: that what is mated is connected goes without saying."""
    link = _link(port)
    if link == "connected":
        return port.mate or ""
    return ", ".join(filter(None, (port.mate, link)))


def _called(aliases: Sequence[str]) -> str:
    return ", ".join(aliases)


def _rated(rated: Rated | None, address: str) -> str:
    """Return a rated pressure, and whose it is where it isn't the thing's own."""
    if rated is None:
        return ""
    pressure = str(from_si(rated.value, unit="bar", dimension="pressure"))
    return pressure if rated.of == address else f"{pressure} by {rated.of}"


def _both_rated(half: PortState | ContactState) -> str:
    """Return the rated pressure and current of a port or contact, where there are any."""
    current = half.rated_current
    told = [_rated(half.rated_pressure, half.address)]
    if current is not None:
        told.append(f"{current.value:g} A" + ("" if current.of == half.address else f" by {current.of}"))
    return "; ".join(filter(None, told))


def _names(names: Sequence[str]) -> str:
    return ", ".join(names[:2]) + (f" and {len(names) - 2} more" if len(names) > 2 else "")


def _link(port: PortState) -> str:
    if port.made:
        return "connected"
    if port.open_end:
        return "OPEN END"
    return "not connected" if port.mate else ""


def _cycles(port: PortState) -> str:
    if port.rated is None:
        return str(port.cycles) if port.cycles else ""
    return f"{port.cycles} of {port.rated}"


def _volume_table(volumes: Sequence[VolumeState], local: Callable[[str], str]) -> str:
    rows = [
        [
            local(v.address),
            _called(v.aliases),
            f"{v.litres:g}",
            ", ".join(v.loops) or (f"{v.loop}, CUT OFF" if v.loop else "CUT OFF"),
            ", ".join(v.expansions) or ("none: CUT OFF" if v.cut_off else "-"),
            _rated(v.rated_pressure, v.address),
        ]
        for v in volumes
    ]
    return table(["volume", "also called", "litres", "loop", "expands into", "rated"], rows)


def _contact_table(contacts: Sequence[ContactState], local: Callable[[str], str]) -> str:
    rows = [
        [
            local(contact.address),
            _called(contact.aliases),
            contact.title,
            contact.medium,
            contact.peer or "-",
            "connected" if contact.made else "-",
            ", ".join(contact.reaches) or "-",
            _both_rated(contact),
        ]
        for contact in contacts
    ]
    return table(
        ["contact", "also called", "title", "medium", "joined to", "link", "from or to", "rated"], rows
    )


def _load_table(loads: Sequence[LoadState], local: Callable[[str], str]) -> str:
    rows = [
        [
            local(load.address),
            _called(load.aliases),
            load.title,
            load.medium,
            ", ".join(load.sources) or f"none: NO {load.medium.upper()}",
        ]
        for load in loads
    ]
    return table(["load", "also called", "title", "medium", "fed by"], rows)


def _attribute_table(given: Sequence[Given], local: Callable[[str], str]) -> str:
    rows = [
        [local(g.subject) or g.subject, g.name, attribute_text(g.value), "its part" if g.of_part else ""]
        for g in given
    ]
    return table(["of", "attribute", "value", "from"], rows)


def _reading_table(readings: Sequence[Reading], local: Callable[[str], str], moment: Moment) -> str:
    rows = [
        [
            local(r.subject),
            r.quantity,
            quantity_text(r.quantity, r.value, r.unit),
            "" if r.taken is None else format_instant(r.taken),
            "" if r.taken is None else f"{span_in_words(moment.at - r.taken)} ago",
        ]
        for r in readings
    ]
    return table(["of", "quantity", "value", "measured", "age"], rows)


# --- how old it is ------------------------------------------------------------------------------------------------


def _not_known(moment: Moment) -> str:
    """Return that nothing is known of a time before all that is recorded."""
    assert moment.first is not None
    return indented(f"not known: the first recorded event is of {format_instant(moment.first)}", by=0)


def _age(last: int | None, moment: Moment) -> Iterator[str]:
    """Yield how old that is on which the answer rests, where it is more than a day."""
    if last is not None and moment.at - last > DAY:
        days = count((moment.at - last) // DAY, "day")
        since = f"{days} before that" if moment.exact else f"{days} ago"
        yield indented(f"last recorded event {format_instant(last)}, {since}")


# --- everything ---------------------------------------------------------------------------------------------------


def plant_text(
    report: PlantReport,
    moment: Moment,
    *,
    last: int | None = None,
    units: bool = False,
    colour: bool = False,
) -> str:
    """Return the state of everything: what needs attention, what is open or off as it stands, and counts by part.

    A small plant has a line for each unit instead of the counts; a large one has them after the counts with `units`. As
    to `last`, see `state_text`.
    """
    title = f"Everything: {count(len(report.units), 'unit')}"
    if moment.is_too_early:
        return sections(heading(title, moment, colour=colour), _not_known(moment))
    whole = units or len(report.units) <= SMALL
    wrong = _Wrong(
        report.judged,
        moment,
        report.cut_off,
        report.not_held,
        report.hazardous_ends,
        report.defects,
        report.clocks,
    )
    attention = "\n".join(_attention(wrong, whole=units, colour=colour))
    unjudged = "" if report.judged.has_rules else indented(f"{NO_RULES[0].upper()}{NO_RULES[1:]}", by=0)
    quiet = [port for port in report.open_ends if port not in report.hazardous_ends]
    rows = [_unit_row(line) for line in report.units] if whole else []
    heads = ["unit", "also called", "title", "place", "held", "mated", "fed", "liquid", "open ends"]
    return sections(
        "\n".join([heading(title, moment, colour=colour), *_age(last, moment)]),
        titled("Needs attention", attention) or _calm(report.judged),
        unjudged if attention else "",
        titled(
            "Open or off, as it stands",
            "\n".join(_as_it_stands(quiet, report.dead_loads, whole=units)),
        ),
        _part_table(report.parts) if units or not whole else "",
        _capped(
            "Locks and tags",
            report.locks,
            lambda locks: _lock_table(locks, str, report.device_remarks),
            whole=whole,
        ),
        _capped(DEFECTS, report.defects, defect_table, whole=whole),
        titled("Running clocks", clock_rows(report.clocks, moment)),
        table(heads, rows),
        _capped("Retired, no longer of the plant", report.retired, _retired_lines, whole=whole),
        "" if whole else indented(_MORE, by=0),
    )


def _calm(judged: Judged) -> str:
    """Return what was looked at where nothing needs attention; without rules, that nothing was judged."""
    looked = "nothing cut off, every unit held"
    if not judged.has_rules:
        return indented(f"Nothing is seen that needs attention ({looked}), but {NO_RULES}", by=0)
    if not judged.is_judged:
        return indented(
            f"Nothing is seen that needs attention ({looked}), but findings were not looked for", by=0
        )
    return indented(f"Nothing needs attention: no open finding, {looked}", by=0)


def _capped(
    title: str, things: Sequence[T], told: Callable[[Sequence[T]], str], *, whole: bool, most: int = _ROWS
) -> str:
    """Return a table under its title, of very much not all of it: how many more there are is told."""
    shown = things if whole else things[:most]
    more = f"\nand {len(things) - most:,} more: --units tells all" if len(shown) < len(things) else ""
    return titled(title, told(shown) + more if shown else "")


def _retired_lines(retired: Sequence[Retired]) -> str:
    return "\n".join(labelled(one.id, f"since {_retired(one)}") for one in retired)


def _part_table(parts: Sequence[PartLine]) -> str:
    rows = [[f"{one.count:,}", one.id, one.title, "; ".join(_counts(one))] for one in parts]
    return table(["units", "part", "title", "status, and what is otherwise than the rest"], rows)


def _counts(part: PartLine) -> Iterator[str]:
    """Yield how many valves, switches and covers have which status, and which units are an exception."""
    kinds: dict[str, list[StatusCount]] = {}
    for one in part.statuses:
        kinds.setdefault(one.kind, []).append(one)
    for kind, counts in kinds.items():
        said = ", ".join(f"{one.count:,} {one.words}{_in_brackets(one.others)}" for one in counts)
        yield said if len(kinds) == 1 and part.count == sum(c.count for c in counts) else f"{kind}: {said}"
    if part.free:
        yield f"{len(part.free):,} with a free end{_in_brackets(part.free)}"
    if part.away:
        yield f"{len(part.away):,} not at home{_in_brackets(part.away)}"


def _in_brackets(names: Sequence[str]) -> str:
    """Return a few exceptions by name; of many how many there are is enough."""
    more = f" and {len(names) - _FEW:,} more" if len(names) > _FEW else ""
    return f" ({', '.join(names[:_FEW])}{more})" if names else ""


def _unit_row(line: UnitLine) -> list[str]:
    away = f" (home {line.home})" if line.home and line.home != line.place else ""
    facing = f" facing {line.facing}" if line.facing else ""
    return [
        line.id,
        _called(line.aliases),
        line.title,
        f"{line.place or 'place not known'}{facing}{away}",
        _held_word(line),
        f"{line.mated} of {line.interfaces}" if line.interfaces else "",
        f"{line.fed} of {line.loads}" if line.loads else "",
        _liquid(line),
        str(line.open_ends) if line.open_ends else "",
    ]


def _held_word(line: UnitLine) -> str:
    if line.held:
        return "yes"
    if line.bearers:
        return f"by {', '.join(line.bearers)}"
    return "by its ends" if line.hangs else "NO"


def _liquid(line: UnitLine) -> str:
    if not line.volumes:
        return ""
    return f"{line.cut_off} of {line.volumes} CUT OFF" if line.cut_off else "ok"
