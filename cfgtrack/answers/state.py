"""What is the state of a thing, or of everything?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from cfgtrack.analysis.state import PlantReport, Retired, StateReport, plant_state, unit_state
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.foreseeing import AfterStep, foreseen
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past
from cfgtrack.model.action import RETIRE
from cfgtrack.model.unknown import expect_thing
from cfgtrack.model.zone import zone_at
from cfgtrack.rules.finding import Finding

Report = TypeVar("Report", StateReport, PlantReport)


@dataclass(frozen=True, slots=True)
class StateAnswer(Answer, Generic[Report]):
    """The state of one thing, or of everything."""

    state: Report


def state(
    asking: Asking, thing: str, *, clocks: bool = True, after: AfterStep | None = None
) -> StateAnswer[StateReport]:
    """Return the state of a unit, port, node, place, person or machine, with its remarks. NoAnswer when there is none.

    Of a unit that is retired: that it is, and why. With `clocks` the past is judged, to tell the running clocks too.
    `after` a step: what is foreseen then.
    """
    with asking.read() as journal:
        past = foreseen(Past(journal, asking.moment(journal), strict=False), after)
        running = past.clocks() if clocks and past.rules.rules else []
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
        )
        zone = zone_at(past.plant.places, _place_of(report)) or past.moment.zone
        return StateAnswer(replace(past.moment, zone=zone), report)


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
        judged = clocks and bool(past.rules.rules)
        report = plant_state(
            past.plant,
            past.configuration,
            past.networks,
            clocks=past.clocks() if judged else [],
            retired=_retired(past),
            findings=_open_findings(past) if judged else None,
        )
        return StateAnswer(past.moment, report)


def _open_findings(past: Past) -> list[Finding]:
    """Return the findings that are open and not excused, the gravest first."""
    return sorted((f for f in past.findings()[0] if f.is_open), key=lambda f: (f.severity, f.time))


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
