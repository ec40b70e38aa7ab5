"""Why a rule is broken, and what would cure it: held to networkx and to what really happens when a cure is applied."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from random import Random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.quantity import QUANTITIES, parse_quantity
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.mode import Mode
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.custom import Custom
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.value import CYCLES, Value
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from cfgtrack.rules.world import World
from tests.happening import happened
from tests.rules.reference import Moment, graph_of, named, points
from tests.rules.worlds import ENDPOINTS, FREE, KINDS, MEDIA, SECOND, START, draw_world

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
    role = "expansion" if end.expansion else "source"
    return {f"{o}:{n}" for o in owners for n, node in plant.part_of(o).nodes.items() if role in node.roles}


def reaches(now: Configuration, condition: Path | NoPath, item: str) -> bool:
    """Return whether an item reaches an end, by networkx: all that it stands for (path), or any of it (no path)."""
    graph, ends = graph_of(now, condition.medium), goals(now, condition)
    mine = points(now.plant, condition.medium, item)
    found = [p in ends or (p in graph and bool(nx.descendants(graph, p) & ends)) for p in mine]
    return bool(found) and all(found) if isinstance(condition, Path) else any(found)


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
    """What cut the last path was on it and is no more; what is cut off is named."""
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
            on_the_way = [
                (a, b)
                for a, b in arcs(now, medium, link)
                if graph.has_edge(a, b)
                and not left.has_edge(a, b)
                and (a in starts or nx.ancestors(graph, a) & starts)
                and (b in ends or nx.descendants(graph, b) & ends)
            ]
            assert on_the_way, link


@given(SEEDS)
@settings(max_examples=100)
def test_a_path_that_must_not_be(seed):
    """The way that is told is one."""
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


# --- items ----------------------------------------------------------------------------------------------------------


def item_rules(seed: int) -> list[Rule]:
    """Return rules about statuses, whereabouts and counts."""
    r, it = Random(seed), Selection(of="it")
    kinds = r.choice((("tube",), ("plug",), ("valve", "switch"), ("bolt",)))
    among = tuple(dict.fromkeys(s for k in kinds for s in r.sample(KINDS[k].statuses, 1)))
    place = r.choice(("RACK", "BASE", "SHELF", "#stowage"))
    least, most = r.choice(((1, None), (2, None), (None, 0), (None, 1)))
    return [
        rule(0, Status(it, among), Selection(kinds=kinds)),
        rule(1, Status(it, at=(place,)), Selection(what=("unit",))),
        rule(2, Count(Selection(kinds=kinds), among, (), least, most), None),
        rule(3, Count(Selection(what=("unit",)), (), (place,), least, most), None),
    ]


@given(SEEDS)
@settings(max_examples=100)
def test_what_items_lack(seed):
    """A status, a place or a count says who lacks it, and how many are short or too many."""
    world = draw_world(seed)
    for breach, _, now in breaches(world.plant, item_rules(seed), by_instants(world.events, 1)):
        (reason,) = breach.reasons
        condition = breach.rule.condition
        assert isinstance(condition, Status | Count)
        assert not Moment(now, [], 0).true(condition, breach.it)
        if isinstance(condition, Count):
            n = sum(Moment(now, [], 0).has(condition, i) for i in named(condition.of, now, None))
            short = (condition.least or 0) - n
            says = f"{short} short" if short > 0 else f"{n - (condition.most or 0)} too many"
            assert reason.text.endswith(says)
            assert len(reason.beyond) == (n if short <= 0 else len(named(condition.of, now, None)) - n)
        else:
            assert reason.beyond == (breach.it,)


WORDS: dict[str, tuple[Condition, str]] = {
    "elapsed": (
        Value(Selection(ids=("U0:F1",)), "elapsed", high=60.0, since=("inspect",)),
        "inspect of U0:F1 was never done",
    ),
    "never": (
        Value(Selection(ids=("U0:F1",)), "pressure", high=5e4),
        "pressure of U0:F1 was never measured; must be at most 50000 Pa",
    ),
    "cycles": (
        Value(Selection(ids=("U0:F1",)), "cycles", low=1.0),
        "mate cycles of U0:F1 is 0; must be at least 1",
    ),
    "torque": (
        Value(Selection(ids=("U0:B1",)), "torque", rated=True),
        "torque of U0:B1 was never measured; must be at least 20 N*m and at most 30 N*m",
    ),
    "order": (
        Done(Selection(ids=("U0:F1", "U0:B1")), ("measure",), ("mate", "open"), "pressure"),
        "measure (pressure) of U0:B1 and U0:F1 has not been done since the last mate or open; it must come first",
    ),
    "count": (
        Count(Selection(kinds=("tube", "bolt")), ("mated", "engaged"), (), 2),
        "0 of 2 are mated or engaged; at least 2 must: 2 short",
    ),
    "bare": (
        Count(Selection(what=("unit",), at=("#stowage",)), most=0),
        "unit standing at a stowage place: 1 (U0); at most 0 may: 1 too many",
    ),
    "reaching": (
        Count(Selection(ids=("U0:F1",)), least=1, medium="fluid", end=Selection(expansion=True)),
        "0 of 1 have a fluid path to any expansion volume; at least 1 must: 1 short",
    ),
    "not": (
        Not(Status(Selection(ids=("U0:F1",)), ("demated",))),
        "it is so, and must not be, that U0:F1 is demated",
    ),
}


@pytest.mark.parametrize("name", WORDS)
def test_words(name):
    """What is missing is said with its numbers, in the units of the rules file's dimension."""
    condition, text = WORDS[name]
    ports = {"F1": Port("F1", "tube"), "B1": Port("B1", "bolt", torque=(20.0, 30.0))}
    places = {"RACK": Place("RACK", holds=True, tags=frozenset({"stowage"}))}
    plant = Plant(MEDIA, KINDS, {"p": Part("p", ports=ports)}, {"U0": Unit("U0", "p")}, places)
    now = Configuration(plant)
    now.apply(happened(now, Action("E", "place", ("U0",), START, place="RACK")))
    engine = Engine(RuleSet((rule(0, condition, None),)), now, start=START)
    engine.settle()
    (finding,) = engine.findings()
    assert [r.text for r in finding.reasons] == [text]


@pytest.mark.parametrize("quantity", sorted({*QUANTITIES} - {CYCLES}))
def test_what_was_never_measured(quantity):
    """What was never measured is told so, whatever quantity it is."""
    condition = Value(Selection(ids=("U0:F1",)), quantity, low=0.0)
    part = Part("p", ports={"F1": Port("F1", "tube")})
    plant = Plant(MEDIA, KINDS, {"p": part}, {"U0": Unit("U0", "p")}, {})
    engine = Engine(RuleSet((rule(0, condition, None),)), Configuration(plant), start=START)
    engine.settle()
    ((reason,),) = (finding.reasons for finding in engine.findings())
    assert reason.text.startswith(f"{quantity} of U0:F1 was never measured; must be at least 0")


DESCRIBED: dict[str, Condition] = {
    "none of any bolt are released": Count(Selection(kinds=("bolt",)), ("released",), most=0),
    "there is no unit standing at a corridor place": Count(
        Selection(what=("unit",), at=("#corridor",)), most=0
    ),
    "at least 1 of any load have a power path to any source": Count(
        Selection(load=True), least=1, medium="power", end=Selection(source=True)
    ),
    "time since the last measure of it is at most 30 min": Value(
        Selection(of="it"), "elapsed", high=1800.0, since=("measure",)
    ),
    "torque of it is in its rated range": Value(Selection(of="it"), "torque", rated=True),
    "pressure of it is at least 5 Pa and at most 6 Pa, or was never measured": Value(
        Selection(of="it"), "pressure", 5.0, 6.0, unmeasured=True
    ),
    "measure (voltage) of peer of it has been done since the last mate": Done(
        Selection(of="peer of it"), ("measure",), ("mate",), "voltage"
    ),
    "any item of medium fluid or power among ports of it is mated": Status(
        Selection(of="ports of it", media=("fluid", "power")), ("mated",)
    ),
    "any item that is no source has no fluid path to any place that moves": NoPath(
        "fluid", Selection(source=False), Selection(mobile=True)
    ),
    "it has a hold path to any place": Path("hold", Selection(of="it"), Selection(what=("place",))),
    "at least 1 and at most 2 of it are mated at RACK": Count(
        Selection(of="it"), ("mated",), ("RACK",), least=1, most=2
    ),
    "there is at least 1 unit": Count(Selection(what=("unit",)), least=1),
    "there is any number unit": Count(Selection(what=("unit",))),
    "it is mated or open at home or a stowage place": Status(
        Selection(of="it"), ("mated", "open"), ("home", "#stowage")
    ),
    "mate cycles of it is at most 5": Value(Selection(of="it"), "cycles", high=5.0),
    "pressure of it is at most 2 bar": Value(Selection(of="it"), "pressure", high=2e5, unit="bar"),
    "torque of it is measured": Value(Selection(of="it"), "torque"),
    "torque of it is at least 1 N*m, measured at most 1 h ago and since the last mate or open": Value(
        Selection(of="it"), "torque", 1.0, since=("mate", "open"), max_age=3600 * SECOND
    ),
    "torque of it is in its rated range, measured since the last mate": Value(
        Selection(of="it"), "torque", rated=True, since=("mate",)
    ),
    "inspect or torque of it has been done": Done(Selection(of="it"), ("inspect", "torque")),
    "inspect of it has been done in the last 1 min": Done(
        Selection(of="it"), ("inspect",), max_age=60 * SECOND
    ),
    "inspect of it has been done since the last mate and in the last 1 min": Done(
        Selection(of="it"), ("inspect",), ("mate",), max_age=60 * SECOND
    ),
    "tightening-order holds for any bolt": Custom("tightening-order", Selection(kinds=("bolt",))),
    "always": All(()),
    "never": AnyOf(()),
    "it is open or (it is mated and not (it is capped))": AnyOf(
        (
            Status(Selection(of="it"), ("open",)),
            All((Status(Selection(of="it"), ("mated",)), Not(Status(Selection(of="it"), ("capped",))))),
        )
    ),
    "(U0:F1 is open or U0:F1 is capped) and not (U0 is at home)": All(
        (
            AnyOf(
                (Status(Selection(ids=("U0:F1",)), ("open",)), Status(Selection(ids=("U0:F1",)), ("capped",)))
            ),
            Not(Status(Selection(ids=("U0",)), at=("home",))),
        )
    ),
}


@pytest.mark.parametrize("words", DESCRIBED)
def test_described(words):
    """A condition is described in plain words."""
    assert DESCRIBED[words].words() == words


TUBES = ActionMatch(("mate", "demate"), Selection(kinds=("tube",)))
OPEN = Status(Selection(of="it"), ("open",))
WHEN: dict[str, Mode] = {
    "always": Always(),
    "always, save for up to 1 min at a time": Always(60 * SECOND),
    "just before mate or demate of any tube": At(TUBES),
    "just after mate or demate of any tube": At(TUBES, after=True),
    "just after place or lift to RACK or SHELF": At(
        ActionMatch(("place", "lift"), to=("RACK", "SHELF")), after=True
    ),
    "at the end of each outing": By("outing"),
    "at the end of each sequence": By("sequence"),
    "wherever the work may stop": By("stop"),
    "within 1 h after mate or demate of any tube": Within(3600 * SECOND, TUBES),
    "within the thermal limit after mate or demate of any tube": Within("thermal", TUBES),
    "within 1 h after it turns true that it is open": Within(3600 * SECOND, OPEN),
    "within 1 h after it turns true that it is open, and then on until that is undone": Within(
        3600 * SECOND, OPEN, stays=True
    ),
}


@pytest.mark.parametrize("words", WHEN)
def test_when(words):
    """A mode says in plain words when its rule must hold."""
    assert WHEN[words].words() == words


NOW: dict[str, tuple[Wanted, str]] = {
    "U0:F1 is demated": (Wanted(("mated",), ()), "U0:F1"),
    "U0:F1 is at RACK": (Wanted((), ("SHELF",)), "U0:F1"),
    "U0 is at RACK": (Wanted(("mated",), ()), "U0"),
    "U1 is at no known place": (Wanted((), ("RACK",)), "U1"),
    "BAG is at no known place": (Wanted((), ("RACK",)), "BAG"),
    "RACK is not": (Wanted((), ("SHELF",)), "RACK"),
}


@pytest.mark.parametrize("words", NOW)
def test_how_it_is_now(words):
    """What isn't as it must be is told as it is: by its status, or by where its unit is."""
    wanted, item = NOW[words]
    places = {place.id: place for place in (Place("RACK", holds=True), Place("BAG", mobile=True))}
    units = {"U0": Unit("U0", "p"), "U1": Unit("U1", "p")}
    plant = Plant(MEDIA, KINDS, {"p": Part("p", ports={"F1": Port("F1", "tube")})}, units, places)
    now = Configuration(plant)
    now.apply(happened(now, Action("E", "place", ("U0",), START, place="RACK")))
    world = World(now, media=(), touched=None, now=START, trail=Trail())
    assert not wanted.is_met(world, item)
    assert wanted.say_now(world, item) == words


def test_a_place_is_no_status():
    """A unit that stands at a place which is called like a status isn't of that status: only ports have one."""
    plant = Plant(MEDIA, KINDS, {"p": Part("p")}, {"U0": Unit("U0", "p")}, {"open": Place("open")})
    now = Configuration(plant)
    now.apply(happened(now, Action("E", "place", ("U0",), START, place="open")))
    world = World(now, media=(), touched=None, now=START, trail=Trail())
    assert Wanted((), ("open",)).is_met(world, "U0")
    assert not Wanted(("open",), ()).is_met(world, "U0")


WARNED: list[tuple[Condition, bool]] = [
    (
        AnyOf(
            (Status(Selection(kinds=("tube",)), ("open",)), Status(Selection(kinds=("bolt",)), ("engaged",)))
        ),
        True,
    ),
    (Not(Status(Selection(kinds=("tube", "bolt")), ("open", "engaged"))), True),
    (All((Not(Status(Selection(kinds=("tube", "bolt")), ("open", "engaged"))),)), True),
    (Not(Status(Selection(kinds=("tube",)), ("open",))), False),
    (Not(Count(Selection(kinds=("tube", "bolt")), ("open", "engaged"), least=1)), False),
    (Status(Selection(kinds=("tube", "bolt")), ("open", "engaged")), False),
]


@pytest.mark.parametrize(("condition", "warns"), WARNED)
def test_what_is_judged_as_one_is_told(condition, warns):
    """A rule without scope that judges several items as one, by `any` or `not`, warns; with a scope, none does."""
    ports = {"F1": Port("F1", "tube"), "B1": Port("B1", "bolt")}
    plant = Plant(MEDIA, KINDS, {"p": Part("p", ports=ports)}, {"U0": Unit("U0", "p")}, {})
    assert bool(rule(0, condition, None).warning(plant)) == warns
    assert not rule(0, condition, Selection(kinds=("tube",))).warning(plant)


def test_how_old_a_reading_is():
    """A reading that is too old is told with its value and its age; one of an hour ago is an hour old."""
    read = Value(Selection(ids=("U0:F1",)), "pressure", high=5e4, max_age=60_000_000)
    plant = Plant(
        MEDIA, KINDS, {"p": Part("p", ports={"F1": Port("F1", "tube")})}, {"U0": Unit("U0", "p")}, {}
    )
    engine = Engine(RuleSet((rule(0, read, None),)), Configuration(plant), start=START)
    values = {"pressure": parse_quantity("100 Pa", dimension="pressure")}
    engine.step(
        happened(engine.world.configuration, Action("E", "measure", ("U0:F1",), START, values=values))
    )
    engine.finish(START + 3_600_000_000)
    ((told,),) = [f.reasons for f in engine.findings(as_it_is=True) if f.until is None]
    assert "100 Pa" in told.text
    assert "1 h ago" in told.text
