"""A plan laid out in time: what happens when, for a choice of durations, and what some mix of them breaks."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from typing import Any

from tests.rules.oracle.phrases import read
from tests.rules.oracle.plain import Judged, judge
from tests.rules.oracle.plant import Table, listed, micros
from tests.rules.oracle.state import Event

LOW, LIKELY, HIGH = 0, 1, 2


def steps_of(plan: Table) -> list[Table]:
    """Return a plan's steps, in the order of its file."""
    return [step for outing in plan["outing"] for track in outing["track"] for step in track["steps"]]


def durations(step: Table, default: Any = "0 min") -> tuple[int, int, int]:
    """Return how long a step takes, at low, likely and high; one that is told once is so always."""
    told = [micros(text) for text in listed(step.get("takes", default))]
    return (told[0], told[0], told[0]) if len(told) == 1 else (told[0], told[1], told[2])


def layout(plan: Table, choice: Mapping[str, int] | int = LIKELY) -> list[Event]:
    """Return what happens in a plan, in order: each step when it is over.

    A step begins when the one before it on its track and those it waits for are over, not before its outing does. An
    outing begins at its start and ends with its last step.
    """
    events: list[tuple[int, int, Event]] = []
    over: dict[str, int] = {}
    for outing in plan["outing"]:
        start = outing["start"]
        waiting = [list(track["steps"]) for track in outing["track"]]
        free = [start for _ in waiting]
        events.append((start, len(events), {"action": "begin", "subjects": [], "outing": outing["id"]}))
        while any(waiting):
            before = sum(map(len, waiting))
            for number, steps in enumerate(waiting):
                if not steps or any(other not in over for other in steps[0].get("after", [])):
                    continue
                step = steps.pop(0)
                began = max([free[number], *(over[other] for other in step.get("after", []))])
                case = choice if isinstance(choice, int) else choice.get(step["id"], LIKELY)
                free[number] = over[step["id"]] = began + durations(step)[case]
                events.append((free[number], len(events), {**read(step["do"], 0), "step": step["id"]}))
            if sum(map(len, waiting)) == before:
                raise ValueError("the steps wait for each other")
        end = max([start, *free])
        events.append((end, len(events), {"action": "end", "subjects": [], "outing": outing["id"]}))
    events.sort(key=lambda told: told[:2])
    return [{**event, "happened": time} for time, _, event in events]


def judged(
    hardware: Table, rules: list[Table], plan: Table, choice: Mapping[str, int] | int, start: int
) -> Judged:
    """Return what a plan breaks when it goes as a choice of durations says."""
    events = layout(plan, choice)
    return judge(hardware, rules, events, start=start, horizon=events[-1]["happened"], plan=True, stops=True)


def ties(plan: Table) -> bool:
    """Return whether two steps end at one instant in some mix of durations: their order is then nobody's."""
    for choice in corners(plan):
        times = [event["happened"] for event in layout(plan, choice) if "step" in event]
        if len(set(times)) < len(times):
            return True
    return False


def corners(plan: Table) -> list[dict[str, int]]:
    """Return every mix of low and high, and likely throughout."""
    steps = steps_of(plan)
    spread = [step["id"] for step in steps if durations(step)[LOW] < durations(step)[HIGH]]
    mixes = [dict(zip(spread, mix, strict=True)) for mix in product((LOW, HIGH), repeat=len(spread))]
    return [*mixes, {}]


def broken(judged: Judged) -> set[tuple[str, str | None, tuple[str, ...]]]:
    """Return which instances are broken, whenever."""
    return {(breach.rule, breach.item, breach.part) for breach in judged.breaches}


def order(plan: Table, choice: Mapping[str, int] | int) -> list[str]:
    """Return the steps of a plan in the order in which they end."""
    return [event["step"] for event in layout(plan, choice) if "step" in event]


def by_durations(hardware: Table, rules: list[Table], plan: Table, start: int) -> dict[str, set[Any]]:
    """Return what is broken at low, likely and high, and in `any` mix of low and high.

    `in order` is what those mixes break in which the steps come as at low, likely or high: what only another order
    breaks is another question.
    """
    paces = {"low": LOW, "likely": LIKELY, "high": HIGH}
    found = {name: broken(judged(hardware, rules, plan, case, start)) for name, case in paces.items()}
    orders = [order(plan, case) for case in paces.values()]
    found["any"], found["in order"] = set(), set()
    for mix in corners(plan):
        told = broken(judged(hardware, rules, plan, mix, start))
        found["any"] |= told
        if order(plan, mix) in orders:
            found["in order"] |= told
    return found
