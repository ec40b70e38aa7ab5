"""How fast it is told how a plan goes: run it with ``python -m tests.bench.plans_plan``.

A plan of 2,000 steps on three tracks, half of which are done, a third of them by events that name no step; beside it,
as a measure of the machine, what the same events cost to be applied to a configuration.
"""

from __future__ import annotations

from cfgtrack.analysis.progress import Hours, run_of
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.model.time import HOUR, MINUTE
from tests.bench.bench_rules import timed

STEPS = 2_000


def plant() -> Plant:
    """Return a plant of forty valves."""
    ports = ", ".join(f'{{ name = "V{number}", kind = "valve" }}' for number in range(40))
    text = f'part = [{{ id = "panel", port = [{ports}] }}]\nunit = [{{ id = "P", part = "panel" }}]\n'
    return parse_definition({"plant.toml": text}).plant()


def plan() -> Sequence:
    """Return a plan that opens and shuts every valve again and again."""
    steps = []
    for number in range(STEPS):
        what = "open" if number // 40 % 2 == 0 else "shut"
        action = Action(f"S{number}", what, (f"P:V{number % 40}",), 0, outing="N")
        steps.append(Step(f"S{number}", "N", f"t{number % 3}", action, (MINUTE,) * 3))
    return Sequence("", (Outing("N", 0),), tuple(steps))


def did(of: Sequence) -> list[Entry]:
    """Return the first half of a plan as it was recorded."""
    found = []
    for number, step in enumerate(of.steps[: STEPS // 2]):
        name = None if number % 3 == 0 else step.id
        event = Event(f"e{number}", step.action.action, step.action.subjects, number, outing="N", step=name)
        found.append(Entry(event, number, number))
    return found


def main() -> None:
    """Time both, and print them."""
    of, now = plan(), Configuration(plant())
    entries = did(of)
    apply = timed(lambda: [now.apply(entry.event) for entry in entries])
    run = timed(lambda: run_of(of, entries, now, HOUR, hours={"N": Hours(0)}))
    told = f"the events applied to a configuration: {apply * 1000:.1f} ms"
    print(f"as run against as planned, {STEPS:,} steps: {run * 1000:.0f} ms; {told}")


if __name__ == "__main__":
    main()
