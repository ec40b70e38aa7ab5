"""What is the state of a thing, or of everything?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from cfgtrack.answers.moment import Answer, noting
from cfgtrack.answers.past import Past

if TYPE_CHECKING:
    from cfgtrack.analysis.state_report import PlantReport, StateReport
    from cfgtrack.answers.asking import Asking

Report = TypeVar("Report", "StateReport", "PlantReport")


@dataclass(frozen=True, slots=True)
class StateAnswer(Answer, Generic[Report]):
    """The state of one thing, or of everything."""

    state: Report


def state(asking: Asking, thing: str, *, clocks: bool | None = None) -> StateAnswer[StateReport]:
    """Return the state of a unit, port, node, place, person or machine, with its remarks. NoAnswer when there is none.

    With `clocks` the past is judged, to tell the running clocks too; unasked only where it is short.
    """
    from cfgtrack.analysis.state import unit_state

    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        running = past.clocks() if past.is_judged(asked=clocks) else []
        with noting(past.notes):
            remarks = journal.remarks([thing], at=past.moment.at, known=past.moment.known)
            report = unit_state(
                past.plant, past.configuration, past.networks, thing, clocks=running, remarks=remarks
            )
        return StateAnswer(past.moment, report, notes=tuple(past.notes))


def everything(asking: Asking, *, clocks: bool | None = None) -> StateAnswer[PlantReport]:
    """Return the state of everything: a line a unit, and what stands out. As to `clocks`, see `state`."""
    from cfgtrack.analysis.state import plant_state

    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        running = past.clocks() if past.is_judged(asked=clocks) else []
        report = plant_state(past.plant, past.configuration, past.networks, clocks=running)
        return StateAnswer(past.moment, report, notes=tuple(past.notes))
