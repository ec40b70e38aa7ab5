"""The state of one thing, or of everything, as text: what matters first, the tables after it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

from cfgtrack.analysis.state import (
    ContactState,
    Given,
    HoldLink,
    LoadState,
    PlantReport,
    PortState,
    Reading,
    Retired,
    StateReport,
    UnitLine,
    VolumeState,
)
from cfgtrack.answers.moment import Moment
from cfgtrack.model.attribute import attribute_text
from cfgtrack.model.lock import Device
from cfgtrack.model.plant import owner_of
from cfgtrack.model.quantity import from_si
from cfgtrack.model.time import format_instant
from cfgtrack.network.rating import Rated
from cfgtrack.show.defects import DEFECTS, defect_table
from cfgtrack.show.findings import clock_rows
from cfgtrack.show.locks import with_locks
from cfgtrack.show.record import quantity_text, remark_lines
from cfgtrack.show.tables import count, heading, labelled, sections, styled, table, titled


def state_text(report: StateReport, moment: Moment, *, colour: bool = False) -> str:
    """Return the state of one thing."""
    name = f"{report.address}  {report.title}" if report.title else report.address
    local = partial(_local, report.address)
    return sections(
        heading(name, moment, colour=colour),
        "\n".join(_facts(report)),
        "\n".join(
            _alarms(
                report.open_ends,
                [v for v in report.volumes if v.cut_off],
                [load for load in report.loads if not load.fed],
                colour=colour,
            )
        ),
        titled("Remarks", "\n".join(remark_lines(report.remarks))),
        titled("Running clocks", clock_rows(report.clocks, moment)),
        titled("Interfaces, valves, switches, covers", _port_table(report.ports, local)),
        titled("Contacts", _contact_table(report.contacts, local)),
        titled("Locks and tags", _lock_table([d for p in report.ports for d in p.locks], local)),
        titled(DEFECTS, defect_table(report.defects)),
        titled("Liquid", _volume_table(report.volumes, local)),
        titled("Loads", _load_table(report.loads, local)),
        titled("Attributes", _attribute_table(report.attributes, local)),
        titled("Last measured", _reading_table(report.readings, local)),
        titled(
            "Standing here",
            table(
                ["id", "also called", "title", "facing"],
                [[s.id, _called(s.aliases), s.title, s.facing] for s in report.standing],
            ),
        ),
    )


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
    """Return a lock or tag with since when: whose it is, or what it hangs on."""
    what = "tag" if device.is_tag else "lock"
    said = (
        f"a {what} on {device.thing}"
        if own
        else f"{device.holder} ({what})"
        if device.is_tag
        else device.holder
    )
    return f"{said} since {format_instant(device.since)}"


def _lock_table(locks: Sequence[Device], local: Callable[[str], str]) -> str:
    rows = [
        [local(d.thing), "tag" if d.is_tag else "lock", d.holder, format_instant(d.since), d.event]
        for d in locks
    ]
    return table(["on", "what", "whose", "since", "event"], rows)


def _retired(retired: Retired) -> str:
    return f"{format_instant(retired.since)}, because: {retired.reason} (event {retired.event})"


def _where(report: StateReport) -> str:
    facing = f", facing {report.facing}" if report.facing else ""
    if not report.place:
        return f"nowhere known{facing}"
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
        status = f"{link.status}, gives" if link.flexible else link.status
        by_status.setdefault(status, []).append(link.port.partition(":")[2])
    listed = "; ".join(f"{', '.join(names)} {status}" for status, names in by_status.items())
    return f"{owner_of(links[0].far)} ({listed})"


def _alarms(
    open_ends: Sequence[str],
    cut_off: Sequence[VolumeState],
    dead: Sequence[LoadState],
    *,
    colour: bool,
) -> Iterator[str]:
    warn = partial(styled, colour=colour, fg="yellow", bold=True)
    if open_ends:
        yield warn(labelled("OPEN END", f"{', '.join(open_ends)}: apart, not capped"))
    if cut_off:
        names = ", ".join(f"{v.address} ({v.litres:g} l)" for v in cut_off)
        yield warn(labelled("CUT OFF", f"{names}: no path to any expansion"))
    if dead:
        by_medium: dict[str, list[str]] = {}
        for load in dead:
            by_medium.setdefault(load.medium, []).append(load.address)
        for medium, names_of in by_medium.items():
            yield warn(labelled(f"NO {medium.upper()}", f"{', '.join(names_of)}: no path to a source"))


def _port_table(ports: Sequence[PortState], local: Callable[[str], str]) -> str:
    rows = [
        [
            local(p.address),
            _called(p.aliases),
            p.title,
            f"{p.kind} {p.size}".rstrip(),
            with_locks(p.status, p.locks, p.defects),
            p.mate,
            _link(p),
            _names(p.reaches),
            _cycles(p),
            _both_rated(p),
        ]
        for p in ports
    ]
    heads = [
        "port",
        "also called",
        "title",
        "kind",
        "status",
        "mated to",
        "link",
        "reaches",
        "cycles",
        "rated",
    ]
    return table(heads, rows, hyphens=["kind"])


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
        return "made"
    if port.open_end:
        return "OPEN END"
    return "not made" if port.mate else ""


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
            "made" if contact.made else "-",
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


def _reading_table(readings: Sequence[Reading], local: Callable[[str], str]) -> str:
    rows = [[local(r.subject), r.quantity, quantity_text(r.quantity, r.value, r.unit)] for r in readings]
    return table(["of", "quantity", "value"], rows)


# --- everything ---------------------------------------------------------------------------------------------------


def plant_text(report: PlantReport, moment: Moment, *, colour: bool = False) -> str:
    """Return the state of everything: what stands out, then a line a unit."""
    rows = [_unit_row(line) for line in report.units]
    alarms = list(_alarms(report.open_ends, report.cut_off, report.dead_loads, colour=colour))
    if report.not_held:
        text = labelled("NOT HELD", f"{', '.join(report.not_held)}: by no place that stays")
        alarms.append(styled(text, colour=colour, fg="yellow", bold=True))
    calm = "  no open ends, nothing cut off, every load fed, every unit held"
    return sections(
        heading(f"Everything: {count(len(report.units), 'unit')}", moment, colour=colour),
        "\n".join(alarms) or calm,
        titled("Locks and tags", _lock_table(report.locks, str)),
        titled(DEFECTS, defect_table(report.defects)),
        titled("Running clocks", clock_rows(report.clocks, moment)),
        table(["unit", "also called", "title", "place", "held", "mated", "fed", "liquid", "open ends"], rows),
        titled(
            "Retired, no longer of the plant",
            "\n".join(labelled(one.id, f"since {_retired(one)}") for one in report.retired),
        ),
    )


def _unit_row(line: UnitLine) -> list[str]:
    away = f" (home {line.home})" if line.home and line.home != line.place else ""
    facing = f" facing {line.facing}" if line.facing else ""
    return [
        line.id,
        _called(line.aliases),
        line.title,
        f"{line.place or 'nowhere known'}{facing}{away}",
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
    return "hangs" if line.hangs else "NO"


def _liquid(line: UnitLine) -> str:
    if not line.volumes:
        return ""
    return f"{line.cut_off} of {line.volumes} CUT OFF" if line.cut_off else "ok"
