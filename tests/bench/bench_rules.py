"""How fast the rules are checked, as ratios: run it with ``python -m tests.bench.bench_rules``.

The plant is a yard of coolant lines: stubs of twenty and of a hundred units by turns, each unit a valve and a volume,
off a header with an accumulator every tenth stub. Its links are counted as links inside units plus mated interfaces. A
sequence works on forty valves drawn at random, shutting and opening them over and over; each cuts off on average half a
stub, and many stay shut for longer than is tolerated, so that there are findings. A step may take half or twice as long
as is likely.
"""

from __future__ import annotations

import argparse
import gc
import random
import time
import tracemalloc
from collections.abc import Callable
from functools import partial
from typing import Any

import networkx as nx

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.options import try_action
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.network.network import compile_network, state_links
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.within import Within

STUBS = (20, 100)
SECOND = 1_000_000
LIKELY = (SECOND,) * 3
VARIED = (SECOND // 2, SECOND, 2 * SECOND)
LINE = Part(
    "line",
    ports={**{n: Port(n, "fluid-disconnect") for n in "AB"}, "V": Port("V", "valve")},
    nodes={"vol": Node("vol", "fluid", litres=1.0)},
    links=(InternalLink("A", "vol", "V"), InternalLink("vol", "B")),
)


def header(tank: bool) -> Part:
    """Return the part of the header that one stub hangs on, with or without an accumulator."""
    return Part(
        "tank" if tank else "tee",
        ports={n: Port(n, "fluid-disconnect") for n in "LRS"},
        nodes={"vol": Node("vol", "fluid", litres=1.0, roles=frozenset({"expansion"} if tank else ()))},
        links=tuple(InternalLink("vol", n) for n in "LRS"),
    )


class Yard:
    """A plant of about so many links, all joined and open."""

    def __init__(self, links: int) -> None:
        stubs = max(2, links // (3 * sum(STUBS) // len(STUBS) + 4))
        defaults = shipped()
        units: dict[str, Unit] = {}
        mates: list[tuple[str, str]] = []
        for i in range(stubs):
            units[f"H{i}"] = Unit(f"H{i}", "tee" if i % 10 else "tank")
            mates.append((f"H{i}:R", f"H{(i + 1) % stubs}:L"))
            before = f"H{i}:S"
            for j in range(STUBS[i % len(STUBS)]):
                unit = f"L{i}-{j}"
                units[unit] = Unit(unit, "line")
                mates.append((before, f"{unit}:A"))
                before = f"{unit}:B"
        parts = {p.id: p for p in (LINE, header(tank=True), header(tank=False))}
        self.plant = Plant(defaults.media, defaults.kinds, parts, units, {})
        self.now = Configuration(self.plant)
        for a, b in mates:
            self.now.set_state(a, State("mated", b, "start"))
            self.now.set_state(b, State("mated", a, "start"))
        self.valves = [f"{u}:V" for u in units if u.startswith("L")]
        for valve in self.valves:
            self.now.set_state(valve, State("open", None, "start"))
        self.links = len(mates) + sum(len(self.plant.part_of(u).links) for u in units)
        self.network = compile_network(self.plant, "fluid")

    def sequence(self, length: int, takes: tuple[int, int, int] = LIKELY, seed: int = 1) -> Sequence:
        """Return a sequence of so many steps."""
        r, steps = random.Random(seed), []
        shut: set[str] = set()
        pool = r.sample(self.valves, 40)
        for number in range(length):
            valve = r.choice(pool)
            action = "open" if valve in shut else "shut"
            shut ^= {valve}
            steps.append(Step(str(number), "1", "1", Action("", action, (valve,), 0), takes))
        return Sequence(outings=(Outing("1"),), steps=tuple(steps))

    def graph(self) -> nx.Graph:
        """Return all made links to networkx."""
        graph = nx.Graph(self.network.plain)
        graph.add_edges_from(state_links(self.network, self.now, ())[0])
        return graph


def rule(number: int, mode: Any, condition: Any, scope: Selection | None = None) -> Rule:
    """Return a rule of the bench."""
    return Rule(f"R{number}", "", "bench", 1, "none", mode, condition, scope)


IT, TANK = Selection(of="it"), Selection(expansion=True)
PATH = rule(0, Always(10 * SECOND), Path("fluid", IT, TANK), Selection(liquid=True))


def rules(count: int) -> RuleSet:
    """Return so many rules: the expansion path of all liquid, then rules about a valve, a stub or an action."""
    made = [PATH]
    for i in range(1, count):
        stub = Selection(ids=(f"L{i % 10}-{i % min(STUBS)}:vol",))
        match = ActionMatch(("shut",), Selection(ids=(f"L{i % 7}-*:V",)))
        made.append(
            (
                rule(i, Always(), Path("fluid", stub, TANK)),
                rule(i, At(match), Path("fluid", stub, TANK)),
                rule(i, Within(60 * SECOND, match), Status(IT, ("open",))),
                rule(i, Always(i * SECOND), Path("fluid", IT, TANK), stub),
            )[i % 4]
        )
    return RuleSet(tuple(made))


def timed(work: Callable[[], object], times: int = 3) -> float:
    """Return the seconds of the processor that the fastest of a few runs takes: others may share the machine."""
    took = []
    for _ in range(times):
        begin = time.process_time()
        work()
        took.append(time.process_time() - begin)
    return min(took)


def check_seconds(yard: Yard, sequence: Sequence, ruleset: RuleSet, times: int = 2) -> float:
    """Return the seconds of one check on a loaded plant."""
    networks = {"fluid": yard.network}
    return timed(lambda: check(ruleset, Start(yard.now), sequence, networks=networks), times)


def peak(work: Callable[[], object]) -> float:
    """Return the peak of memory that work takes, MB."""
    tracemalloc.start()
    work()
    used = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return used / 1e6


def against_networkx(links: int, steps: int) -> None:
    """Print a check against recomputing networkx' connected components at every step, and against one pass."""
    yard, ruleset, sample = Yard(links), RuleSet((PATH,)), 10
    graph = yard.graph()
    once = timed(lambda: [sum(1 for _ in nx.connected_components(graph)) for _ in range(sample)], 1) / sample
    one_pass = timed(lambda: list(nx.connected_components(nx.Graph(graph.edges))), 1)
    print(f"{yard.links} links, {steps} steps")
    print(f"  networkx connected components at every step: {once * steps:.1f} s ({sample} steps, scaled)")
    print(f"  one pass of networkx over the links: {one_pass:.3f} s")
    for takes, said in ((LIKELY, "as likely"), (VARIED, "low unlike high")):
        sequence = yard.sequence(steps, takes)
        report = check(ruleset, Start(yard.now), sequence, networks={"fluid": yard.network})
        ours = check_seconds(yard, sequence, ruleset, 3)
        each = ours / report.mixes
        instances = sum(len(finding.instances) for finding in report.new)
        print(f"  {said}: {ours:.3f} s; {len(report.new)} findings in {instances} instances")
        print(
            f"    a case of durations, of {report.mixes}: {each:.3f} s; "
            f"{once * steps / each:.0f}x faster than networkx; {each / one_pass:.1f} of one pass"
        )


def open_clocks(links: int, clocks: int) -> None:
    """Print what a step takes with so many clocks run out and still open, of a rule without scope."""
    yard = Yard(links)
    late = rule(0, Within(10 * SECOND, ActionMatch(("shut",), Selection())), Status(IT, ("open",)))
    valves = random.Random(3).sample(yard.valves, clocks)
    steps = [Step(v, "1", "1", Action("", "shut", (v,), 0), LIKELY) for v in valves]
    sequence = Sequence(outings=(Outing("1"),), steps=tuple(steps))
    took = check_seconds(yard, sequence, RuleSet((late,)), 1)
    print(f"{yard.links} links, {clocks} clocks that run out and stay open, without scope: {took:.2f} s")


def single(links: int, actions: int) -> None:
    """Print how long a single proposed action takes on a loaded plant, of which nothing is contracted."""
    yard = Yard(links)
    engine = Engine(RuleSet((PATH,)), yard.now.fork(), start=0, networks={"fluid": yard.network})
    engine.finish(0)
    took = []
    for valve in random.Random(2).sample(yard.valves, actions):
        event = Event("", "shut", (valve,), 1)
        took.append(timed(partial(try_action, engine, event), 1))
    took.sort()
    p99 = took[int(len(took) * 0.99)]
    print(
        f"{yard.links} links, single action: median {took[len(took) // 2] * 1e3:.2f} ms, p99 {p99 * 1e3:.2f} ms"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="leave out what takes more than seconds")
    small = parser.parse_args().small
    gc.set_threshold(50_000, 20, 20)  # as the command does (cli/main.py)
    against_networkx(10_000 if small else 100_000, 500)
    single(10_000 if small else 100_000, 300)
    open_clocks(10_000, 500 if small else 2_000)
    print(f"\n{'links':>8} {'steps':>6} {'rules':>6} {'seconds':>9} {'MB':>7}")
    sizes = (1_000, 10_000) if small else (1_000, 10_000, 100_000, 1_000_000)
    cases = [(links, 500, 1) for links in sizes]
    cases += [(10_000, steps, 1) for steps in (10, 100, 1_000, 10_000)]
    cases += [(10_000, 500, count) for count in (10, 100, 1_000)]
    for case in cases:
        row(*case)


def row(links: int, steps: int, count: int) -> None:
    """Print one row of the table."""
    yard = Yard(links)
    sequence, ruleset = yard.sequence(steps, VARIED), rules(count)
    seconds = check_seconds(yard, sequence, ruleset)
    networks = {"fluid": yard.network}
    used = peak(lambda: check(ruleset, Start(yard.now), sequence, networks=networks))
    print(f"{yard.links:>8} {steps:>6} {count:>6} {seconds:>9.3f} {used:>7.0f}", flush=True)


if __name__ == "__main__":
    main()
