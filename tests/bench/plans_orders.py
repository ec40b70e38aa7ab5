"""How fast every order of a plan is searched: run it with ``python -m tests.bench.plans_orders``.

The demo's largest outing, as it stands in the plan with those before it; 2 tracks of 200 steps and 3 of 60 on a yard of
valves, with the usual waits: every tenth step waits for one of another track; each track works on lines of its own, but
now and then all on one. The floor is one run of the engine through the written order. Told is also how many orders the
tracks alone would allow: each would be such a run.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import log10
from pathlib import Path
from tempfile import TemporaryDirectory

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.orders import Ground, orders
from cfgtrack.files.rules import read_rules
from cfgtrack.files.sequence import read_sequence
from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.sequence import Outing, Schedule, Sequence, Step
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path as Reaches
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.within import Within
from tests.bench.bench_rules import Yard, peak, timed
from tests.bench.plans_way import BOLTS, CONNECTORS, COUPLINGS, exchange
from tests.demo.as_run import DEMO, PLAN, demo_past

SECOND = 1_000_000


def demo() -> Ground:
    """Return the demo's plan up to its largest outing."""
    with TemporaryDirectory() as folder, demo_past(Path(folder)) as past:
        rules = read_rules([DEMO / "rules.toml"], past.plant)
        plan = read_sequence(PLAN, past.plant)
        most = max(plan.outings, key=lambda o: sum(step.outing == o.id for step in plan.steps))
        kept = plan.outings[: plan.outings.index(most) + 1]
        names = {outing.id for outing in kept}
        steps = tuple(step for step in plan.steps if step.outing in names)
        plan = replace(plan, outings=kept, steps=steps, whole=False)
        return Ground(
            rules,
            past.start_for(rules),
            plan,
            networks=past.networks,
            variances=past.variances,
            begun=past.begun,
        )


def side_by_side(tracks: int, long: int) -> Ground:
    """Return so many tracks of so many steps: each shuts valves of its own and opens them again, some of another's."""
    r, yard = random.Random(1), Yard(20_000)
    lines: dict[str, list[str]] = {}
    for one in yard.valves:
        lines.setdefault(one.partition("-")[0], []).append(one)
    # Each works on lines of his own, but for the last: there all are on one.
    apart = [r.choice(some) for some in r.sample([*lines.values()][1:], tracks * 11)]
    last = r.sample(next(iter(lines.values())), tracks)
    valves = [v for track in range(tracks) for v in (*apart[track * 11 : track * 11 + 11], last[track])]
    steps: list[Step] = []
    done: list[list[str]] = [[] for _ in range(tracks)]
    for i in range(long):
        for track in range(tracks):
            mine = valves[track * 12 : track * 12 + 12]
            valve = mine[i // 2 % len(mine)]
            # Where two work on one, the second only looks.
            shared = i // 2 % 13 == 12
            verb = "inspect" if shared else ("shut", "open")[i % 2]
            thing = valves[(track + 1) % tracks * 12] if shared else valve
            after = (r.choice(done[(track + 1) % tracks][-5:]),) if i and i % 10 == 0 else ()
            name = f"{track}-{i}"
            said = Action("", verb, (thing,), 0)
            steps.append(Step(name, "1", str(track), said, (SECOND, 2 * SECOND, 3 * SECOND), after))
            done[track].append(name)
    rules = RuleSet(
        (
            Rule(
                "tank",
                "",
                "",
                2,
                "common practice",
                Always(3600 * SECOND),
                Reaches("fluid", Selection(of="it"), Selection(expansion=True)),
                Selection(liquid=True),
            ),
            Rule(
                "open-again",
                "",
                "",
                3,
                "common practice",
                Within(600 * SECOND, ActionMatch(("shut",), Selection(kinds=("valve",)))),
                Status(Selection(of="it"), ("open",)),
            ),
        )
    )
    return Ground(rules, Start(yard.now), Sequence(outings=(Outing("1"),), steps=tuple(steps)))


def jobs_of(unit: int) -> tuple[list[Action], ...]:
    """Return what is done to exchange one unit of `plans_way.exchange`, phase by phase."""

    def each(verb: str, kind: str, count: int, *owners: str) -> list[Action]:
        return [Action("", verb, tuple(f"{one}{unit}:{kind}{n}" for one in owners), 0) for n in range(count)]

    return (
        [*each("shut", "V", COUPLINGS, "SEAT"), *each("de-energise", "S", CONNECTORS, "SEAT")],
        [*each("demate", "F", COUPLINGS, "OLD"), *each("demate", "C", CONNECTORS, "OLD")],
        each("release", "B", BOLTS, "OLD"),
        [Action("", "place", (f"OLD{unit}",), 0, place=f"STORE{unit}")],
        [Action("", "place", (f"NEW{unit}",), 0, place=f"SEAT{unit}")],
        each("engage", "B", BOLTS, "NEW", "SEAT"),
        each("torque", "B", BOLTS, "NEW"),
        [*each("mate", "F", COUPLINGS, "NEW", "SEAT"), *each("mate", "C", CONNECTORS, "NEW", "SEAT")],
        [*each("open", "V", COUPLINGS, "SEAT"), *each("energise", "S", CONNECTORS, "SEAT")],
    )


def exchanges(tracks: int, long: int, clock: int = 40 * 3600 * SECOND) -> Ground:
    """Return the exchange of so many units that each track has so many steps, with the waits that such a plan has.

    Each phase of a unit is shared out among the tracks, whose people work on all of it at once; what the whole phase
    before must be over for waits for its last step on each other track, and a bolt is tightened once it is in, coupled
    once its valves are shut. Whatever is shut or off must be open or on again within a time, and what is parted joined.
    """
    units = -(-tracks * long // sum(map(len, jobs_of(0))))
    rules, begin, _ = exchange(units)
    steps: list[Step] = []
    count = [0] * tracks
    for unit in range(units):
        last: dict[int, str] = {}
        for actions in jobs_of(unit):
            ended = dict(last)
            first = [True] * tracks
            for number, action in enumerate(actions):
                track = (number + unit) % tracks
                if count[track] == long:
                    track = min(range(tracks), key=count.__getitem__)
                if count[track] == long:
                    break
                waits = [name for other, name in ended.items() if other != track] if first[track] else []
                first[track] = False
                name = f"{track}-{count[track]}"
                count[track] += 1
                said = replace(action, by=f"P{track}")
                steps.append(
                    Step(name, "1", str(track), said, (SECOND, 60 * SECOND, 120 * SECOND), tuple(waits))
                )
                last[track] = name
    clocks = (
        ("open-again", ("shut",), "valve", ("open",)),
        ("on-again", ("de-energise",), "switch", ("on",)),
    )
    more = tuple(
        Rule(
            name,
            "",
            "",
            3,
            "common practice",
            Within(clock, ActionMatch(verbs, Selection(kinds=(kind,)))),
            Status(Selection(of="it"), statuses),
        )
        for name, verbs, kind, statuses in clocks
    )
    outlive = tuple(replace(one, may_outlive=True) for one in more)
    return Ground(
        RuleSet((*rules.rules, *outlive)), begin, Sequence(outings=(Outing("1"),), steps=tuple(steps))
    )


def at_most(plan: Sequence) -> float:
    """Return the logarithm of how many orders tracks alone would allow: the multinomial, which waits make less."""
    total = 0.0
    for outing in plan.outings:
        lengths = [len(steps) for steps in plan.tracks(outing.id).values()]
        total += sum(log10(n) for n in range(1, sum(lengths) + 1))
        total -= sum(log10(n) for length in lengths for n in range(1, length + 1))
    return total


def floor(ground: Ground) -> Callable[[], None]:
    """Return what runs the engine once through the written order."""
    engine, now, events = ground.engine(), ground.engine().world.configuration.fork(), list[Event]()
    schedule = Schedule(ground.proposal, ground.begin.start, ground.begun)
    laid = schedule.lay_out(schedule.at_pace(1)).steps
    for number, step in enumerate((one.step for one in laid), 1):
        time_ = max(ground.begin.start, engine.world.now) + number
        outcome = resolve(now, replace(step.action, happened=time_, id=step.id))
        if isinstance(outcome, Event):
            now.apply(outcome)
            events.append(outcome)

    def run() -> None:
        mark = engine.mark()
        for event in events:
            engine.step(event)
        engine.settle()
        engine.back(mark)

    return run


def main() -> None:
    """Print a line for each plan."""
    print("every order of a plan           seconds   MB   situations   verdict     engine runs   orders")
    for name, make in (
        ("demo, up to its largest outing", demo),
        ("2 tracks of 200 steps", lambda: side_by_side(2, 200)),
        ("3 tracks of 60, exchanges", lambda: exchanges(3, 60)),
        ("3 tracks of 60 steps", lambda: side_by_side(3, 60)),
    ):
        ground = make()
        ground.engine()
        search = partial(orders, ground, cures=False)
        once = timed(floor(ground))
        found = search()
        took = timed(search, 1)
        print(
            f"{name:30}  {took:8.2f} {peak(search):5.0f}  {found.situations:10}   {found.verdict:10}"
            f" {took / once:10.1f}   at most 10^{at_most(ground.proposal):.0f}"
        )


if __name__ == "__main__":
    main()
