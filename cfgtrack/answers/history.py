"""What happened to a thing, what differs between two times, and which remarks stick to it?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from cfgtrack.analysis import difference as analysis
from cfgtrack.analysis.difference import Difference
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.plant import owner_of
from cfgtrack.model.unknown import ANYTHING, expect_thing
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

    Without a thing: the whole journal in the order in which it was written, what no longer counts too.
    """
    with asking.read() as journal:
        moment = asking.recorded(journal)
        since = None if start is None else asking.instant(journal, start, option="--from")
        until = None if end is None else asking.instant(journal, end, option="--to")
        if thing is None:
            log = journal.log(known=moment.known)
            all_of_it = tuple(line for line in log if _is_within(line.entry, since, until))
            return History(moment, all_of_it, notes=tuple(_doubts(journal, all_of_it, moment)))
        plant = journal.whole_plant(moment.known)
        thing = expect_thing(plant, thing, ANYTHING)
        entries = journal.history(thing, start=since, end=until, known=moment.known)
        lines = [LogLine(entry, None) for entry in entries]
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
        told = tuple(sorted(lines, key=lambda line: line.entry.event.happened))
        notes = tuple(_doubts(journal, told, moment))
        return History(moment, told, thing, plant.aliases_of(thing), notes=notes)


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
    """Return what differs between two times; the second: else now."""
    with asking.read() as journal:
        first, second = (asking.moment_at(journal, at, option="TIME") for at in (before, after))
        rows = analysis.difference(
            journal.configuration(first.at, first.known), journal.configuration(second.at, second.known)
        )
        return Between(second, first, tuple(rows))


@dataclass(frozen=True, slots=True)
class Remarks(Answer):
    """The remarks and lessons that stick to a thing."""

    remarks: tuple[Entry, ...]
    thing: str
    aliases: tuple[str, ...]


def remarks(asking: Asking, thing: str) -> Remarks:
    """Return the remarks on a unit, port, node, part or place, on its ports, the unit that it is on, and its part.

    NoAnswer for no such thing.
    """
    with asking.read() as journal:
        moment = asking.recorded(journal)
        plant = journal.whole_plant(moment.known)
        thing = expect_thing(plant, thing, ANYTHING)
        found = tuple(journal.remarks([thing], at=moment.at, known=moment.known))
        return Remarks(moment, found, thing, plant.aliases_of(thing))
