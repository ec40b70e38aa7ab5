"""What is the state of a thing, or of everything?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import ClassVar, Generic, TypeVar

from cfgtrack.analysis.state import (
    Judged,
    PlantReport,
    Reading,
    Retired,
    StateReport,
    plant_state,
    unit_state,
)
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.foreseeing import AfterStep, foreseen
from cfgtrack.answers.history import device_remarks
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.answers.past import Past
from cfgtrack.model.action import RETIRE
from cfgtrack.model.event import Entry
from cfgtrack.model.plant import owner_of, port_of
from cfgtrack.model.unknown import expect_thing
from cfgtrack.model.zone import zone_at
from cfgtrack.rules.finding import Finding
from cfgtrack.store.columns import NEVER

Report = TypeVar("Report", StateReport, PlantReport)


@dataclass(frozen=True, slots=True)
class StateAnswer(Answer, Generic[Report]):
    """The state of one thing, or of everything. `last`: when the last event on hardware by then happened."""

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "last")

    state: Report
    last: int | None = field(default=None, kw_only=True)


def state(
    asking: Asking, thing: str, *, clocks: bool = True, after: AfterStep | None = None
) -> StateAnswer[StateReport]:
    """Return the state of a unit, port, node, place, person or machine, with its remarks. NoAnswer when there is none.

    Of a unit that is retired: that it is, and why. With `clocks` the past is judged, to tell the running clocks too.
    `after` a step: what is foreseen then.
    """
    with asking.read() as journal:
        past = foreseen(Past(journal, asking.moment(journal), strict=False), after)
        judged = _judged(past, clocks=clocks)
        running = past.clocks() if judged.is_judged else []
        if thing not in past.plant.retired:
            thing = expect_thing(past.plant, thing)
        remarks = journal.remarks([thing], at=past.moment.at, known=past.moment.known, around=True)
        report = unit_state(
            past.plant,
            past.configuration,
            past.networks,
            thing,
            clocks=running,
            remarks=remarks,
            retired=_retired(past),
            judged=_about(past, thing, judged),
        )
        devices = [one for port in report.ports for one in port.locks]
        report = replace(
            report,
            readings=tuple(_dated(past, report.address, report.readings)),
            device_remarks=device_remarks(journal, (*devices, *report.locks)),
        )
        zone = zone_at(past.plant.places, _place_of(report)) or past.moment.zone
        moment = _no_further(past, foretold=after is not None)
        return StateAnswer(replace(moment, zone=zone), report, last=_last(past))


def _place_of(report: StateReport) -> str:
    """Return where a thing is, or the thing itself where it is a place that stays."""
    return report.address if report.sort == "place" else next(iter(report.place), "")


def everything(
    asking: Asking, *, clocks: bool = True, after: AfterStep | None = None
) -> StateAnswer[PlantReport]:
    """Return the state of everything: what needs attention, lines for parts and units. As to the rest, see `state`.

    With `clocks` the open findings are told, too.
    """
    with asking.read() as journal:
        past = foreseen(Past(journal, asking.moment(journal), strict=False), after)
        judged = _judged(past, clocks=clocks)
        report = plant_state(
            past.plant,
            past.configuration,
            past.networks,
            clocks=past.clocks() if judged.is_judged else [],
            retired=_retired(past),
            judged=judged,
        )
        report = replace(report, device_remarks=device_remarks(journal, report.locks))
        return StateAnswer(_no_further(past, foretold=after is not None), report, last=_last(past))


def _last(past: Past) -> int | None:
    """Return when the last event happened on which the answer rests."""
    known = past.moment.known
    return past.journal.last_done(NEVER if known is None else known, past.moment.at)


def _no_further(past: Past, *, foretold: bool) -> Moment:
    """Return the moment; of one that is still to come, and of which nothing is `foretold`, it says that."""
    moment = past.moment
    if foretold or moment.at <= past.journal.now(moment.known)[0].at:
        return moment
    return replace(moment, time_note=", ".join(filter(None, (moment.time_note, AHEAD))))


AHEAD = "IN THE FUTURE: NOTHING IS FORESEEN"


def _dated(past: Past, thing: str, readings: Iterable[Reading]) -> Iterator[Reading]:
    """Yield the readings of a thing, each with when it was taken."""
    taken: dict[tuple[str, str], int] = {}
    if readings:
        for entry in past.journal.history(owner_of(thing), known=past.moment.known):
            event = entry.event
            if event.happened <= past.moment.at:
                taken.update(
                    ((subject, name), event.happened) for subject in event.subjects for name in event.values
                )
    for one in readings:
        yield replace(one, taken=taken.get((one.subject, one.quantity)))


def _judged(past: Past, *, clocks: bool) -> Judged:
    """Return what was found wrong: with `clocks`, and rules, what they find of the past too."""
    has_rules = bool(past.rules.rules)
    discrepancies = tuple(past.journal.discrepancies(past.moment.at, past.moment.known))
    if not (clocks and has_rules):
        return Judged(discrepancies=discrepancies, has_rules=has_rules)
    found, _ = past.findings()
    return Judged(
        tuple(_gravest_first(f for f in found if f.is_open)),
        tuple(_gravest_first(past.unacknowledged(found))),
        discrepancies,
        is_judged=True,
    )


def _gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda f: (f.severity, f.time))


def _about(past: Past, thing: str, judged: Judged) -> Judged:
    """Return that of it which is about a thing: it, what is inside, or what happened to either."""

    def is_about(subjects: Iterable[str]) -> bool:
        return any(one in (thing, port_of(thing)) or owner_of(one) == thing for one in subjects)

    def broke(finding: Finding) -> bool:
        entry = None if finding.event is None else past.journal.entry(finding.event)
        return is_about((*finding.subjects, *(() if entry is None else _touched(entry))))

    return replace(
        judged,
        findings=tuple(filter(broke, judged.findings)),
        past=tuple(filter(broke, judged.past)),
        discrepancies=tuple(one for one in judged.discrepancies if is_about(_touched(one))),
    )


def _touched(entry: Entry) -> Iterator[str]:
    """Yield what an event happened to, and who was found elsewhere by it."""
    event = entry.event
    yield from event.subjects
    yield from filter(None, (event.peer, event.by if event.found else None))


def _retired(past: Past) -> list[Retired]:
    """Return the units that are no longer of the plant at the moment, by id."""
    if not past.plant.retired:
        return []
    at, known = past.moment.at, past.moment.known
    last = {
        subject: Retired(subject, entry.event.happened, entry.event.id, entry.event.reason or "")
        for entry in past.journal.of_action(RETIRE, at=at, known=known)
        for subject in entry.event.subjects
    }
    return [last[unit] for unit in sorted(past.plant.retired)]
