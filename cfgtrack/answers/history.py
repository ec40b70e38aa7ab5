"""What happened to a thing, what differs between two times, and which remarks stick to it?"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from cfgtrack.analysis import difference as analysis
from cfgtrack.analysis.difference import Difference
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.answers.past import kept_rules
from cfgtrack.model.action import BEGIN, END
from cfgtrack.model.configuration import place_line
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.lock import Device, all_devices
from cfgtrack.model.plant import Plant, owner_of, port_of
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.model.unknown import ANYTHING, UNKNOWN, expect_thing, look_up
from cfgtrack.store.columns import NEVER
from cfgtrack.store.journal import Journal
from cfgtrack.store.signing import revoked


@dataclass(frozen=True, slots=True)
class History(Answer):
    """What happened, in order, each event with what has corrected it: to a thing, or everything."""

    history: tuple[LogLine, ...]
    thing: str = ""
    aliases: tuple[str, ...] = ()


def history(
    asking: Asking,
    thing: str | None = None,
    *,
    start: str | int | None = None,
    end: str | int | None = None,
) -> History:
    """Return what happened to a unit, port, node, place or part, from `start` to before `end`. NoAnswer for another.

    Of a part: to all its units, and those that are retired, and to it.
    Without a thing: the whole journal in the order in which it was written, what no longer counts too.
    """
    with asking.read() as journal:
        moment = asking.recorded(journal)
        since = None if start is None else asking.instant(journal, start, option="--from")
        until = None if end is None else asking.instant(journal, end, option="--to")
        if thing is None:
            log = journal.log(known=moment.known)
            all_of_it = tuple(line for line in log if _is_within(line.entry, since, until))
            notes = tuple(_doubts(journal, all_of_it, moment))
            says = journal.whole_plant(moment.known).says
            return History(moment, all_of_it, notes=notes, says=says)
        plant = journal.whole_plant(moment.known)
        thing = _expect_with_history(journal, plant, thing, moment)
        each = (thing, *_units_of(plant, thing))
        entries = (
            entry
            for one in each
            for entry in journal.history(one, start=since, end=until, known=moment.known)
        )
        lines = [*{entry.number: LogLine(entry, None) for entry in entries}.values()]
        found = {line.entry.number for line in lines}
        more = [LogLine(one, None) for one in journal.redefinitions(owner_of(thing), moment.known)]
        # What was withdrawn is told with what took it back.
        for line in lines:
            name = line.entry.event.withdraws
            if name is not None and (taken_back := journal.entry(name)) is not None:
                more.append(LogLine(taken_back, line.entry.event.id))
        # What takes back an approval is about that, and touches nothing.
        for ruling, by in journal.rulings_taken_back(thing, moment.known):
            more += (LogLine(ruling, by.event.id), LogLine(by, None))
        lines += (
            line for line in more if line.entry.number not in found and _is_within(line.entry, since, until)
        )
        in_turn = sorted(lines, key=lambda line: line.entry.number) if len(each) > 1 else lines
        told = tuple(sorted(in_turn, key=lambda line: line.entry.event.happened))
        notes = tuple(_doubts(journal, told, moment))
        return History(moment, told, thing, plant.aliases_of(thing), notes=notes, says=plant.says)


def _units_of(plant: Plant, thing: str) -> list[str]:
    """Return the units of a part, retired ones too; none of anything else."""
    if plant.sort_of(thing) != "part":
        return []
    return [unit.id for unit in (*plant.units.values(), *plant.retired.values()) if unit.part == thing]


def _expect_with_history(journal: Journal, plant: Plant, name: str, moment: Moment) -> str:
    """Return the address of what is called so. NoAnswer for what there isn't, and for what nothing happens to."""
    if look_up(plant, name, ANYTHING).code == UNKNOWN:
        for what, known, instead in _without_history(journal, plant, moment):
            if name in known:
                raise NoAnswer(Problem(name, "no-history", f"{name} is {what}: {instead}. {_HAVE_ONE}"))
    return expect_thing(plant, name, ANYTHING)


_HAVE_ONE = "A unit, port, node, place, person or machine has a history, and a part that of its units"


def _without_history(
    journal: Journal, plant: Plant, moment: Moment
) -> Iterator[tuple[str, Collection[str], str]]:
    """Yield what else has names, each with what tells of it."""
    yield "a kind of port", plant.kinds, "`cfgtrack plant` counts its ports"
    yield "a medium", plant.media, "`cfgtrack draw --medium` shows it"
    rules = kept_rules(journal, None, moment.known).rules
    told = "`cfgtrack rules explain` tells what it asks, `cfgtrack review` when it was broken"
    yield "a rule", {rule.id for rule in rules}, told
    loops = {unit.loop for unit in plant.units.values()} | {place.loop for place in plant.places.values()}
    yield "a loop", loops, "`cfgtrack draw --loop` shows it"
    begun = {entry.event.outing or "" for entry, _ in journal.ever(BEGIN, END, known=moment.known)}
    yield "an outing", begun, "`cfgtrack history` without a name lists what was done in it"
    yield (
        "a person without a place in the plant",
        plant.people,
        "`cfgtrack history` without a name says who did what",
    )


def _doubts(journal: Journal, lines: Iterable[LogLine], moment: Moment) -> Iterator[str]:
    """Yield a note for each signature with a key that, as is told since, was revoked by then."""
    definitions = journal.definitions()
    for line in lines:
        event = line.entry.event
        if event.signed is not None and revoked(
            event.signed, definitions.plant(line.entry.known, NEVER if moment.known is None else moment.known)
        ):
            yield f"note: event {event.id} is signed with a key that was that of {event.signed.by} no longer by then"


def _is_within(entry: Entry, since: int | None, until: int | None) -> bool:
    happened = entry.event.happened
    return (since is None or since <= happened) and (until is None or happened < until)


@dataclass(frozen=True, slots=True)
class Between(Answer):
    """What differs between the moment `before` and the answer's own."""

    before: Moment
    difference: tuple[Difference, ...]


def difference(asking: Asking, before: str | int, after: str | int | None = None) -> Between:
    """Return what differs between two times, told from the earlier to the later; the second: else now."""
    with asking.read() as journal:
        first, second = (asking.moment_at(journal, at, option="TIME") for at in (before, after))
        notes: tuple[str, ...] = ()
        if first.at > second.at:
            first, second = second, first
            notes = (
                "note: the first time is the later one: told is what differs from the second to the first",
            )
        rows = analysis.difference(
            journal.configuration(first.at, first.known), journal.configuration(second.at, second.known)
        )
        return Between(second, first, tuple(rows), notes=notes)


@dataclass(frozen=True, slots=True)
class Remarks(Answer):
    """The remarks and lessons that stick to a thing."""

    remarks: tuple[Entry, ...]
    thing: str
    aliases: tuple[str, ...]


def remarks(asking: Asking, thing: str) -> Remarks:
    """Return the remarks on a unit, port, node, part or place, on its ports, the unit that it is on, its part, and the
    places where it is; of a place also those on all that is in it. And what was remarked of the locks and tags on it.

    NoAnswer for no such thing.
    """
    with asking.read() as journal:
        moment = asking.recorded(journal)
        plant = journal.whole_plant(moment.known)
        thing = expect_thing(plant, thing, ANYTHING)
        found = journal.remarks([thing], at=moment.at, known=moment.known, around=True, inside=True)
        found += _on_devices(journal, moment, thing)
        found.sort(key=lambda entry: entry.event.happened)
        return Remarks(moment, tuple(found), thing, plant.aliases_of(thing))


def _on_devices(journal: Journal, moment: Moment, thing: str) -> list[Entry]:
    """Return the events that put locks and tags on a thing, or what is of it or in it, that have a remark."""
    now = journal.configuration(moment.at, moment.known)

    def is_on(device: Device) -> bool:
        owner = owner_of(device.thing)
        return (
            device.thing == port_of(thing)
            or owner == thing
            or thing in place_line(now, owner)
            or (now.plant.has_owner(owner) and now.plant.part_of(owner).id == thing)
        )

    found = (journal.entry(one.event) for one in all_devices(now) if is_on(one))
    return [entry for entry in found if entry is not None and entry.event.remark]


def device_remarks(journal: Journal, devices: Iterable[Device]) -> dict[str, str]:
    """Return what was remarked when locks and tags were put on, by the event that did."""
    found = (journal.entry(one.event) for one in devices)
    return {one.event.id: one.event.remark for one in found if one is not None and one.event.remark}
