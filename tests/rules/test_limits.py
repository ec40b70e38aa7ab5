"""Limits that physics sets: what they are computed from, and what leaves a clock without a verdict."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Effect, Event
from cfgtrack.model.kind import Kind
from cfgtrack.model.part import Part, Port, Thermal
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.limits import Limit, find_limit
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.within import Within
from cfgtrack.rules.world import World

SECOND = 1_000_000
COLD = Thermal(capacity=1000.0, leak=1.0, start=300.0, limit=250.0, heater=60.0)
HOT = replace(COLD, limit=340.0)
PLACES = (
    Place("SITE", sink=200.0),
    Place("SHED", "SITE"),
    Place("OVEN", "SITE", sink=290.0),
    Place("NOWHERE"),
)


def world(part: Part, place: str = "SITE", temperature: float | None = None) -> World:
    """Return a world with one unit, U, of a part, at a place; `temperature` was measured on it."""
    plant = Plant(parts={part.id: part}, units={"U": Unit("U", part.id)}, places={p.id: p for p in PLACES})
    now = Configuration(plant)
    now.apply(Event("E", "place", ("U",), 0, place=place))
    if temperature is not None:
        now.values["U", "temperature"] = Effect("U", "temperature", repr(temperature), "K")
    return World(now, media=(), touched=None, now=0, trail=Trail())


def thermal(data: Thermal | None, place: str = "SITE", temperature: float | None = None) -> Limit:
    """Return the thermal limit of a unit."""
    return find_limit("thermal", world(Part("p", thermal=data), place, temperature), "U:HEAT")


def test_a_time_that_is_given():
    """A limit that is given is what was given."""
    assert find_limit(42, world(Part("p")), None) == Limit(42)


def test_without_its_heater():
    """A lower limit counts without the heater, whatever power it would have, and never promises more than there is."""
    exact = 1000.0 * log(2.0) * SECOND
    limit = thermal(COLD).time
    assert limit is not None
    assert exact - 1 < limit <= exact


def test_with_its_heat():
    """An upper limit counts with the heat that the part gives off: 290 K and 60 K above that is beyond 340 K."""
    assert thermal(HOT, "OVEN").time == int(1000.0 * log(50.0 / 10.0) * SECOND)
    assert thermal(replace(HOT, heater=50.0), "OVEN").time is None


def test_surroundings():
    """The innermost place that has a sink counts; what warms up never gets too cold."""
    assert thermal(COLD, "SHED") == thermal(COLD, "SITE")
    assert thermal(COLD, "OVEN") == Limit(None)


def test_longer_than_anybody_waits():
    """A limit that lies more than a hundred years ahead is none; one within them is told."""
    years = 100 * 365.25 * 86_400
    exact = replace(COLD, capacity=years / log(2.0))
    assert thermal(replace(exact, capacity=exact.capacity * 1.000001)) == Limit(None)
    ahead = thermal(replace(exact, capacity=exact.capacity * 0.999999)).time
    assert ahead is not None
    assert years * 0.999998 < ahead / SECOND < years


def test_measured_temperature():
    """The clock starts from the temperature that was measured; what is too cold already has no time left."""
    assert thermal(COLD, "SITE", 260.0).time == int(1000.0 * log(60.0 / 50.0) * SECOND)
    assert thermal(COLD, "SITE", 240.0).time == 0
    assert thermal(COLD, "OVEN", 240.0).time == 0


def test_a_limit_where_it_starts_is_the_lowest():
    """A part that starts at its limit may get no colder: it has the time until then, and none where it is so cold."""
    edge = replace(COLD, limit=COLD.start)
    assert thermal(edge, "SITE").time == 0
    assert thermal(edge, "SITE", 310.0).time == int(1000.0 * log(110.0 / 100.0) * SECOND)


@pytest.mark.parametrize(
    ("limit", "says"),
    [
        (thermal(None), "no thermal data"),
        (thermal(COLD, "NOWHERE"), "no place around U gives a sink temperature"),
        (thermal(replace(COLD, biot=0.1)), "Biot number 0.1"),
        (find_limit("trapped", world(Part("p")), "U:VOL"), "no data on trapped liquid"),
        (find_limit("thermal", world(Part("p", thermal=COLD)), None), "needs a subject"),
    ],
    ids=["no-data", "no-sink", "too-thick", "no-trapped", "no-subject"],
)
def test_unknown(limit, says):
    """Where the data is missing, or the model doesn't hold, the limit says so, and gives no time."""
    assert limit.time is None
    assert says in limit.unknown
    assert limit.reason().code == "no-limit"


def test_thin_enough():
    """A Biot number below 0.1 lets the clock run (Incropera, section 5.2)."""
    assert thermal(replace(COLD, biot=0.0999)) == thermal(COLD)


def test_trapped():
    """Trapped liquid has the time that its part gives."""
    assert find_limit("trapped", world(Part("p", trapped=90.5)), "U:VOL") == Limit(90_500_000)


def test_no_verdict_where_the_limit_is_unknown():
    """A clock whose limit can't be computed is a finding without a verdict, of the rule and the unit."""
    begin = world(Part("p")).configuration
    rule = Rule(
        "r",
        "",
        "",
        2,
        "none",
        Within("thermal", ActionMatch(("inspect",))),
        Status(Selection(of="it"), at=("OVEN",)),
    )
    engine = Engine(RuleSet((rule,)), begin, start=0)
    engine.step(Event("E1", "inspect", ("U",), SECOND))
    engine.finish(2 * SECOND)
    (finding,) = engine.findings()
    assert (finding.no_verdict, finding.subjects, finding.time) == (True, ("U",), SECOND)
    assert engine.clocks() == []


@pytest.mark.parametrize("looked_at", [False, True])
def test_no_limit_is_no_clock_until_there_is_one(looked_at):
    """A unit put into a heated store has no clock; taken from there into the cold, it has the cold's, from then on,
    whatever else is done to it at that instant.
    """
    part = Part("p", ports={"S": Port("S", "switch")}, thermal=COLD)
    kinds = {"switch": Kind("switch", "power", ("off", "on"), {}, carries="on")}
    plant = Plant(
        kinds=kinds, parts={"p": part}, units={"U": Unit("U", "p")}, places={p.id: p for p in PLACES}
    )
    warm = Within("thermal", ActionMatch(("place",)), stays=True)
    scope = Selection(what=("unit",))
    heated = Rule(
        "R", "", "", 1, "none", warm, Status(Selection(of="ports of it", kinds=("switch",)), ("on",)), scope
    )
    engine = Engine(RuleSet((heated,)), Configuration(plant), start=0)
    engine.step(Event("1", "place", ("U",), SECOND, place="OVEN"))
    engine.advance(100 * SECOND)
    assert engine.clocks() == []
    engine.step(Event("2", "as-found", ("U",), 100 * SECOND, place="SITE"))
    if looked_at:
        engine.step(Event("3", "inspect", ("U",), 100 * SECOND))
    engine.settle()
    (clock,) = engine.clocks()
    assert clock.started == 100 * SECOND
    assert clock.deadline == 100 * SECOND + int(1000.0 * log(2.0) * SECOND)
    assert clock.trigger == "place U at OVEN"
