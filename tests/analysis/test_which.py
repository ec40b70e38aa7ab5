"""Which one: who could do at all, how far it is, a plan with another in it, and the order with its reasons."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.which import (
    UNTRIED,
    Candidate,
    CheckOut,
    SideBySide,
    Travels,
    Tried,
    Wanted,
    Wear,
    check_outs,
    exchanged,
    interfaces,
    joins_in,
    lacks,
    mated_with,
    nearest,
    places_for,
    ports_for,
    put_at,
    put_elsewhere,
    ranked,
    stand_ins,
    stands_at,
    used_for,
)
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.possibility import misfits, resolve
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.model.time import DAY, MINUTE
from cfgtrack.network.network import compile_network
from tests.analysis.test_mixes import plans

YARD = """
[[part]]
id = "pump"
port = [
  { name = "F", kind = "fluid-disconnect", size = "DN20", cycles = 10 },
  { name = "J", kind = "electrical-connector", gender = "plug", cycles = 4 },
]
node = [
  { name = "WARM", medium = "power", load = true, tags = ["heater"] },
  { name = "MOTOR", medium = "power", load = true },
]
links = [["J", "WARM"], ["J", "MOTOR"]]
[[part]]
id = "other-pump"
port = [{ name = "F", kind = "fluid-disconnect", size = "DN20" }, { name = "J", kind = "electrical-connector" }]
[[part]]
id = "thin-pump"
port = [{ name = "F", kind = "fluid-disconnect", size = "DN10" }, { name = "J", kind = "electrical-connector" }]
[[part]]
id = "seat"
port = [
  { name = "F", kind = "fluid-disconnect", size = "DN20" },
  { name = "J", kind = "electrical-connector", gender = "socket" },
]
node = [{ name = "BUS", medium = "power", source = true }]
links = [["BUS", "J"]]
[[unit]]
id = "P1"
part = "pump"
[[unit]]
id = "P2"
part = "pump"
[[unit]]
id = "OTHER"
part = "other-pump"
[[unit]]
id = "THIN"
part = "thin-pump"
[[place]]
id = "YARD"
site = true
[[place]]
id = "SEAT"
parent = "YARD"
part = "seat"
capacity = 1
[[place]]
id = "STAND"
parent = "YARD"
part = "seat"
tags = ["stowage"]
[[place]]
id = "STAND/ONE"
parent = "STAND"
capacity = 1
[[place]]
id = "STAND/TWO"
parent = "STAND"
capacity = 1
[[place]]
id = "LANDING"
parent = "YARD"
[[place]]
id = "SHED"
parent = "YARD"
tags = ["stowage"]
[[place]]
id = "CART"
parent = "YARD"
mobile = true
[[place]]
id = "CART/BED"
parent = "CART"
[initial]
at = 2031-05-01T08:00:00Z
joined = [["P1:F", "SEAT:F"], ["P1:J", "SEAT:J"]]
place = { P1 = "SEAT", P2 = "STAND/ONE", OTHER = "SHED", THIN = "CART/BED", CART = "YARD" }
"""


def yard() -> Configuration:
    """Return the yard as it is at first."""
    definition = parse_definition({"yard.toml": YARD})
    now = Configuration(definition.plant())
    for action in definition.initial:
        event = resolve(now, action)
        assert isinstance(event, Event)
        now.apply(event)
    return now


def step(name: str, verb: str, *subjects: str, place: str | None = None, takes: int = 1) -> Step:
    """Return a step that takes so many minutes."""
    return Step(name, "1", "a", Action("", verb, subjects, 0, place=place), (takes * MINUTE,) * 3)


EXCHANGE = Sequence(
    outings=(Outing("1"),),
    steps=(
        step("1", "demate", "P1:F", "SEAT:F"),
        step("2", "place", "P1", place="STAND/TWO"),
        step("3", "place", "P2", place="SEAT"),
        step("4", "mate", "P2:F", "SEAT:F"),
        step("5", "mate", "P2:J", "SEAT:J"),
        step("6", "demate", "P2:J"),
        step("7", "mate", "P2:J", "SEAT:J"),
    ),
)


def test_a_stand_in_fits_wherever_the_unit_is_joined():
    """What is of the same part, or has a fitting port of each name that is joined; a thinner one doesn't."""
    assert [*stand_ins(yard(), "P1")] == ["OTHER", "P2"]
    # P2 is joined to nothing: what it is like is all that is known of its place.
    assert [*stand_ins(yard(), "P2")] == ["P1"]


def test_a_stand_in_takes_what_a_plan_will_join_too():
    """Of what isn't of the same part, each mate that the plan has for the role must fit; else it is told what lacks."""
    now = yard()
    plan = Sequence(outings=(Outing("1"),), steps=(step("1", "mate", "P2:J", "SEAT:J"),))
    assert [*stand_ins(now, "P2", plan)] == ["OTHER", "P1", "THIN"]
    plan = replace(plan, steps=(*plan.steps, step("2", "mate", "P2:F", "SEAT:F")))
    assert [*stand_ins(now, "P2", plan)] == ["OTHER", "P1"]
    plan = replace(plan, steps=(*plan.steps, step("3", "mate", "P2:G", "SEAT:G")))
    assert interfaces(now, "P2", plan) == (("J", "SEAT:J"), ("F", "SEAT:F"))
    # What the plan puts in the place of P1 is joined as its stand-in must be.
    assert set(interfaces(now, "P1", EXCHANGE)) == {("F", "SEAT:F"), ("J", "SEAT:J")}
    assert [*lacks(now.plant, "THIN", interfaces(now, "P2", plan))] == [
        "THIN:F is DN10, SEAT:F is DN20: the sizes differ"
    ]
    # Nothing takes both: the nearest lacks one. What lacks all that is needed isn't near.
    both = (step("1", "mate", "THIN:J", "SEAT:J"), step("2", "mate", "THIN:F", "SEAT:J"))
    assert [*stand_ins(now, "THIN", replace(plan, steps=both))] == []
    assert nearest(now, "THIN", replace(plan, steps=both)) == (
        "OTHER",
        ["OTHER:F is of kind fluid-disconnect, SEAT:J of kind electrical-connector: they don't go together"],
    )
    assert nearest(now, "THIN", replace(plan, steps=both[1:])) is None


def test_a_place_has_room_and_is_meant_for_it():
    """Slots with room and stowage that isn't divided into slots: no landing, no full slot, not where it is, no cart."""
    assert [*places_for(yard(), "P1")] == ["STAND/TWO", "SHED"]
    assert [*places_for(yard(), "P2")] == ["STAND/TWO", "SHED"]
    assert [*places_for(yard(), "OTHER")] == ["STAND/TWO"]


def test_a_port_fits_and_is_free():
    """The free ports of others that nothing keeps from being mated with it, and no others."""
    now = yard()
    ports = [port for owner in now.plant.owners() for port in now.plant.ports_of(owner)]
    for port in ports:
        truth = {
            other
            for other in ports
            if not any(misfits(now.plant, port, other)) and now.state(other).other is None
        }
        assert set(ports_for(now, port)) == truth - {port}
    assert set(ports_for(now, "P2:F")) == {"STAND:F", "OTHER:F"}


def test_what_the_plan_uses_in_a_role():
    """The unit that it puts where another stands, else that one; where it puts a unit; what it joins with a port."""
    now = yard()
    assert used_for(EXCHANGE, now, "P1") == "P2"
    assert used_for(EXCHANGE, now, "P2") == "P2"
    assert used_for(EXCHANGE, now, "THIN") is None
    assert (put_at(EXCHANGE, "P1"), put_at(EXCHANGE, "THIN")) == ("STAND/TWO", None)
    assert (mated_with(EXCHANGE, "P2:J"), mated_with(EXCHANGE, "SEAT:F"), mated_with(EXCHANGE, "THIN:F")) == (
        "SEAT:J",
        "P1:F",
        None,
    )


@given(plans(), st.sampled_from((("P", "Q"), ("P:A", "P:B"), ("P:A", "Q:A"))))
def test_exchanged_twice_is_as_before(plan: Sequence, pair: tuple[str, str]):
    """Two change places in all that is said of them, of units with their ports, and change back."""
    one, other = pair
    changed = exchanged(plan, one, other)
    assert exchanged(changed, other, one) == plan
    for before, after in zip(plan.steps, changed.steps, strict=True):
        said = tuple(
            other + s.removeprefix(one) if s == one or (":" not in one and s.startswith(f"{one}:")) else s
            for s in before.action.subjects
            if not s.startswith(other)
        )
        assert set(said) <= set(after.action.subjects)
        assert replace(after, action=before.action) == before


def test_put_elsewhere_is_the_last_place_alone():
    """What is put somewhere on the way is left as it is: only where it stays is another place."""
    plan = replace(EXCHANGE, steps=(step("0", "place", "P1", place="LANDING"), *EXCHANGE.steps))
    changed = put_elsewhere(plan, "P1", "SHED", "up")
    assert [
        (s.id, s.action.place, s.action.facing) for s in changed.steps if s.action.subjects[0] == "P1"
    ] == [
        ("0", "LANDING", None),
        ("2", "SHED", "up"),
    ]


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5), st.integers(1, 9)), max_size=14))
def test_the_way_is_as_long_as_the_shortest_path_of_networkx(moves: list[tuple[int, int, int]]):
    """Ways between places take what networkx's shortest path over the plan's own moves takes, there and back."""
    places = "".join(f'[[place]]\nid = "S{n}"\nsite = true\n' for n in range(6))
    definition = parse_definition({"m.toml": places + '[[part]]\nid = "p"\n[[unit]]\nid = "U"\npart = "p"\n'})
    now = Configuration(definition.plant())
    graph = nx.Graph()
    graph.add_nodes_from(f"S{n}" for n in range(6))
    done = []
    for here, there, takes in moves:
        done += [
            (Event.of(Action("", "place", ("U",), 0, place=f"S{here}")), 10**6),
            (Event.of(Action("", "place", ("U",), 0, place=f"S{there}")), takes),
        ]
    at = ""
    for event, takes in done:
        if at and at != event.place and graph.get_edge_data(at, event.place, {"w": takes + 1})["w"] > takes:
            graph.add_edge(at, event.place, w=takes)
        at = event.place or ""
    travels = Travels(now, done)
    for n in range(6):
        try:
            truth = nx.shortest_path_length(graph, "S0", f"S{n}", weight="w")
        except nx.NetworkXNoPath:
            truth = None
        assert travels.between("S0", f"S{n}") == travels.between(f"S{n}", "S0") == truth


def test_what_stands_in_something_that_moves_is_where_that_is():
    """On the bed of a cart it is where the cart is; in a slot of a stand, in the slot."""
    now = yard()
    assert (stands_at(now, "THIN"), stands_at(now, "P2"), stands_at(now, "CART")) == (
        "YARD",
        "STAND/ONE",
        "YARD",
    )


def test_what_can_be_told_of_each():
    """Heat and by what, joined ports, free connectors that could heat, room, and the cycles left after a plan."""
    now = yard()
    networks = {medium: compile_network(now.plant, medium) for medium in now.plant.media}
    sides = SideBySide(now, networks, (), ("P1", "P2"))
    first, second = sides.candidate("P1"), sides.candidate("P2")
    assert [(load.address, load.sources) for load in first.heaters] == [("P1:WARM", ("SEAT:BUS",))]
    assert [(load.address, load.sources) for load in second.heaters] == [("P2:WARM", ())]
    assert (first.joined, second.joined) == (2, 0)
    assert [*sides.connectors("P1", "STAND/TWO")] == ["STAND:J"]
    assert (sides.room("STAND/ONE"), sides.room("STAND/TWO"), sides.room("SHED")) == (0, 1, None)
    joins = joins_in(EXCHANGE, now)
    assert dict(joins) == {"P2:F": 1, "SEAT:F": 1, "P2:J": 2, "SEAT:J": 2}
    worn = sides.wear(["P2"], joins)
    assert worn == Wear("P2:J", 0, 2, 4)
    assert worn.left == 2


def test_the_last_check_out_is_what_was_asked_for():
    """The last look or reading of a thing or its ports; where an action or a quantity is asked for, that alone."""
    times = (("inspect", "P1", 10), ("measure", "P1:J", 30), ("inspect", "P2:F", 20), ("mate", "P1:F", 40))
    entries = [
        Entry(Event.of(Action(str(number), verb, (subject,), at)), number, at)
        for number, (verb, subject, at) in enumerate(times)
    ]
    found = check_outs(entries, ["P1", "P2", "P1:J"], Wanted())
    assert found == {
        "P1": CheckOut("measure", "P1:J", 30),
        "P1:J": CheckOut("measure", "P1:J", 30),
        "P2": CheckOut("inspect", "P2:F", 20),
    }
    assert check_outs(entries, ["P1", "P2"], Wanted(("inspect",)))["P1"].when == 10
    assert check_outs(entries, ["P1"], Wanted(("measure",), "voltage")) == {}


PLAIN = Candidate("A", "", "SHED", tried=Tried("clear"), fetch_seconds=600.0)


@pytest.mark.parametrize(
    ("worse", "reason"),
    [
        ({"defects": ("nothing can be done with A: seized",)}, "nothing can be done with A: seized"),
        (
            {"tried": Tried("not clear", 2, 1, "shut V cuts X off")},
            "not clear in the plan: shut V cuts X off",
        ),
        ({"tried": Tried("undecided", 1, None, "")}, "undecided in the plan"),
        ({"tried": Tried(UNTRIED)}, "untried in the plan"),
        ({"remarks": 2}, "2 remarks on it"),
        ({"joined": 5}, "5 of its ports are joined where it is"),
        ({"wear": Wear("A:F", 9, 2, 10)}, "-1 of 10 cycles left at A:F"),
        ({"fetch_seconds": 1800.0}, "30 min away"),
        ({"fetch_seconds": None}, "the plan tells no way"),
        ({"checked": None}, "never checked out"),
    ],
)
def test_the_worse_one_comes_second_and_says_why(worse, reason):
    """In whichever order they are given the better one comes first, and the other says what is worse."""
    good = replace(PLAIN, checked=CheckOut("inspect", "A", 0))
    bad = replace(good, thing="A0", **worse)
    for several in ((good, bad), (bad, good)):
        found = ranked(several, 3 * DAY)
        assert [one.thing for one in found] == ["A", "A0"]
        assert found[1].reason == reason
        assert (
            found[0].reason
            == "clear in the plan; no remarks on it; 10 min away; checked out (inspect) 3 d ago"
        )


def test_what_matters_more_comes_first():
    """A plan that breaks fewer or less grave rules is better than a near one without a remark."""
    near = replace(PLAIN, thing="N", tried=Tried("not clear", 1, 1, "it breaks"), fetch_seconds=0.0)
    far = replace(PLAIN, thing="F", tried=Tried("not clear", 9, 3, "it bends"), fetch_seconds=9e4, remarks=3)
    assert [one.thing for one in ranked((near, far), 0)] == ["F", "N"]
    assert ranked((near,), 0)[0].reason.startswith("but not clear in the plan: it breaks")
    alike = [replace(PLAIN, thing=name) for name in "BCA"]
    assert [one.thing for one in ranked(alike, 0, "C")] == ["C", "A", "B"]
    assert ranked(alike, 0)[2].reason == "as good as the one before"
