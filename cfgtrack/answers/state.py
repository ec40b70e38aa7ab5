"""What is the state of a thing, or of everything?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from cfgtrack.analysis.state import PlantReport, StateReport, plant_state, unit_state
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, noting
from cfgtrack.answers.past import Past

Report = TypeVar("Report", StateReport, PlantReport)


@dataclass(frozen=True, slots=True)
class StateAnswer(Answer, Generic[Report]):
    """The state of one thing, or of everything."""

    state: Report


def state(asking: Asking, thing: str, *, clocks: bool | None = None) -> StateAnswer[StateReport]:
    """Return the state of a unit, port, node, place, person or machine, with its remarks. NoAnswer when there is none.

    With `clocks` the past is judged, to tell the running clocks too; unasked only where it is short.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        running = past.engine.clocks() if past.is_judged(asked=clocks) else []
        with noting(past.notes):
            remarks = journal.remarks([thing], at=past.moment.at, known=past.moment.known)
            report = unit_state(
                past.plant, past.configuration, past.networks, thing, clocks=running, remarks=remarks
            )
        return StateAnswer(past.moment, report, notes=tuple(past.notes))


def everything(asking: Asking, *, clocks: bool | None = None) -> StateAnswer[PlantReport]:
    """Return the state of everything: a line a unit, and what stands out. As to `clocks`, see `state`."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        running = past.engine.clocks() if past.is_judged(asked=clocks) else []
        report = plant_state(past.plant, past.configuration, past.networks, clocks=running)
        return StateAnswer(past.moment, report, notes=tuple(past.notes))
