"""Why a rule is broken, and what would cure it: held to networkx and to what really happens when a cure is applied."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from random import Random

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.possibility import resolve
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Always, Condition, NoPath, Path, Rule, RuleSet, Selection
from tests.rules.reference import graph_of, points
from tests.rules.worlds import ENDPOINTS, FREE, SECOND, START, draw_world

SEEDS = st.integers(0, 2**32)


def by_instants(events: Sequence[Event], together: int) -> list[Event]:
    """Return events of which so many happen at one instant, and the next a second later."""
    return [replace(event, happened=START + (i // together + 1) * SECOND) for i, event in enumerate(events)]


def breaches(
    plant: Plant, rules: Iterable[Rule], events: Sequence[Event]
) -> Iterator[tuple[Breach, Configuration, Configuration]]:
    """Yield what each instant breaks, with the configuration before it and after it."""
    engine = Engine(RuleSet(tuple(rules)), Configuration(plant), start=START)
    engine.settle()
    noted = 0
    before = Configuration(plant)
    for number, event in enumerate((None, *events)):
        if event is not None:
            engine.step(event)
        if number < len(events) and event is not None and events[number].happened == event.happened:
            continue
        engine.settle()
        now = engine.world.configuration.fork()
        yield from ((breach, before, now) for breach, _ in engine.breaches()[noted:])
        noted, before = engine.noted, now


def rule(number: int, condition: Condition, scope: Selection | None) -> Rule:
    """Return a rule that must always hold."""
    return Rule(f"R{number}", "", "", 1, "none", Always(), condition, scope)


def path_rules(sort: type[Path | NoPath], seed: int) -> list[Rule]:
    """Return rules about paths of every medium: for each item by itself, and for a selection as a whole."""
    r, it = Random(seed), Selection(of="it")
    each = [
        rule(i, sort(medium, it, end), Selection(media=(medium,), what=("port", "node")))
        for i, (medium, end) in enumerate(ENDPOINTS.items())
    ]
    units = [rule(10, sort("hold", it, ENDPOINTS["hold"]), Selection(what=("unit",)))]
    whole = [
        rule(20 + i, sort(medium, r.choice(FREE), end), None)
        for i, (medium, end) in enumerate(ENDPOINTS.items())
    ]
    return [*each, *units, *whole]


def goals(now: Configuration, condition: Path | NoPath) -> set[str]:
    """Return the ends that a path of these rules may lead to."""
    end, plant = condition.end, now.plant
    owners = [*plant.units, *plant.places]
    if end.what == ("place",):
        return {place.id for place in plant.places.values() if not place.mobile}
    flag = "expansion" if end.expansion else "source"
    return {f"{o}:{n}" for o in owners for n, node in plant.part_of(o).nodes.items() if getattr(node, flag)}


def reaches(now: Configuration, condition: Path | NoPath, item: str) -> bool:
    """Return whether an item reaches an end, by networkx: all that it stands for (path), or any of it (no path)."""
    graph, ends = graph_of(now, condition.medium), goals(now, condition)
    mine = points(now.plant, condition.medium, item)
    found = [p in ends or (p in graph and bool(nx.descendants(graph, p) & ends)) for p in mine]
    return bool(found) and all(found) if isinstance(condition, Path) else any(found)


def done(now: Configuration, words: str) -> Configuration:
    """Return the configuration after one more action, which must be possible."""
    event = parse_phrase(split_phrase(words), now.plant, id="cure", happened=0)
    outcome = resolve(now, event)
    assert not outcome.refusals, (words, outcome.refusals)
    then = now.fork()
    then.apply(outcome.event)
    return then


def arcs(now: Configuration, medium: str, link: str) -> list[tuple[str, str]]:
    """Return the arcs that a link stands for, in the direction in which paths are followed."""
    plant = now.plant
    one, _, other = link.partition(" - ")
    if other:
        return [(one, other), (other, one)]
    one, _, other = link.partition(" on ")
    if other:
        return [(one, other), (other, one)]
    owner, _, gate = link.partition(":")
    found = []
    for inside in plant.part_of(owner).links:
        if inside.gate == gate:
            pair = f"{owner}:{inside.a}", f"{owner}:{inside.b}"
            against = pair[::-1]
            if not inside.one_way:
                found += [pair, against]
            else:
                found.append(against if plant.media[medium].upstream else pair)
    return found


@given(SEEDS, st.sampled_from((1, 1, 3)))
@settings(max_examples=150)
def test_a_lost_path(seed, together):
    """What cut the last path was on it and is no more; every cure is possible, and alone gives a path back; what is cut
    off is named.
    """
    world = draw_world(seed)
    events = by_instants(world.events, together)
    for breach, before, now in breaches(world.plant, path_rules(Path, seed), events):
        (reason,) = breach.reasons
        condition = breach.rule.condition
        assert isinstance(condition, Path)
        medium, ends = condition.medium, goals(now, condition)
        assert reason.beyond
        assert not any(reaches(now, condition, item) for item in reason.beyond)
        graph, left = graph_of(before, medium), graph_of(now, medium)
        starts = {p for item in reason.beyond for p in points(now.plant, medium, item)}
        for link in reason.links:
            if together > 1 and not any(graph.has_edge(a, b) for a, b in arcs(now, medium, link)):
                continue  # it came and went within the instant
            on_the_way = [
                (a, b)
                for a, b in arcs(now, medium, link)
                if graph.has_edge(a, b)
                and not left.has_edge(a, b)
                and (a in starts or nx.ancestors(graph, a) & starts)
                and (b in ends or nx.descendants(graph, b) & ends)
            ]
            assert on_the_way, link
        for cure in reason.cures:
            cured = done(now, cure)
            assert any(reaches(cured, condition, item) for item in reason.beyond), cure
            if breach.it is not None and len(points(now.plant, medium, breach.it)) == 1:
                assert reaches(cured, condition, breach.it), cure


@given(SEEDS)
@settings(max_examples=100)
def test_a_path_that_must_not_be(seed):
    """The way that is told is one; every cure is a valve or switch that alone ends every path."""
    world = draw_world(seed)
    events = by_instants(world.events, 1)
    for breach, _, now in breaches(world.plant, path_rules(NoPath, seed), events):
        (reason,) = breach.reasons
        condition = breach.rule.condition
        assert isinstance(condition, NoPath)
        graph = graph_of(now, condition.medium)
        assert reason.beyond
        assert all(reaches(now, condition, item) for item in reason.beyond)
        for link in reason.links:
            assert any(graph.has_edge(a, b) for a, b in arcs(now, condition.medium, link)), link
        for cure in reason.cures:
            cured = done(now, cure)
            assert not any(reaches(cured, condition, item) for item in reason.beyond), cure
            action, gate = cure.split()
            port = now.plant.port(gate)
            assert port is not None
            assert not port[1].parts(port[1].moves[action])
