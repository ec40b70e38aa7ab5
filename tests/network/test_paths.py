"""Paths held to networkx (an independent graph library) on random plants, and to facts small enough to see."""

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition, shipped
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.kind import Medium
from cfgtrack.model.part import EXPANSION, SOURCE, InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.trouble import BadInput
from cfgtrack.network.flow import Flow
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths, loops_of
from cfgtrack.network.trace import trace
from cfgtrack.rules.trail import Trail
from tests.show.world import yard

_SHIPPED = shipped()
_PORTS = ("P1", "P2", "P3")
_ITEMS = (*_PORTS, "N1", "N2")

_nodes = st.fixed_dictionaries(
    {"roles": st.frozensets(st.sampled_from([SOURCE, EXPANSION])), "litres": st.sampled_from([None, 1.0])}
)
_links = st.lists(
    st.tuples(st.sampled_from(_ITEMS), st.sampled_from(_ITEMS), st.booleans(), st.sampled_from(["", "V"])),
    max_size=6,
)
_parts = st.tuples(_nodes, _nodes, _links)


@st.composite
def _plants(draw):
    """Draw units of a part each, ports mated at random, valves open or shut, and whether paths lead upstream."""
    drawn = draw(st.lists(_parts, min_size=1, max_size=5))
    parts, units = {}, {}
    for i, (n1, n2, links) in enumerate(drawn):
        ports = {p: Port(p, "fluid-disconnect") for p in _PORTS} | {"V": Port("V", "valve")}
        nodes = {"N1": Node("N1", "fluid", **n1), "N2": Node("N2", "fluid", **n2)}
        inner = tuple(InternalLink(a, b, gate, one_way) for a, b, one_way, gate in links)
        parts[f"p{i}"] = Part(f"p{i}", ports=ports, nodes=nodes, links=inner)
        units[f"U{i}"] = Unit(f"U{i}", f"p{i}")
    media = {**_SHIPPED.media, "fluid": Medium("fluid", upstream=draw(st.booleans()))}
    plant = Plant(media=media, kinds=_SHIPPED.kinds, parts=parts, units=units)
    configuration = Configuration(plant)
    loose = draw(st.permutations([p for u in units for p in plant.ports_of(u) if not p.endswith("V")]))
    for a, b in zip(loose[::2], loose[1::2], strict=False):
        mated = draw(st.booleans())
        capped = draw(st.booleans())
        for one, other in ((a, b), (b, a)):
            free = State("capped" if capped else "demated", None, "e")
            configuration.set_state(one, State("mated", other, "e") if mated else free)
    for unit in units:
        configuration.set_state(f"{unit}:V", State(draw(st.sampled_from(["open", "shut"])), None, "e"))
    return plant, configuration


def _oracle(plant, configuration):
    """Return the made links as two graphs: those that go both ways, and all, directed as paths are followed."""
    both, ahead = nx.Graph(), nx.DiGraph()
    for unit, thing in plant.units.items():
        items = [f"{unit}:{name}" for name in _ITEMS]
        both.add_nodes_from(items)
        ahead.add_nodes_from(items)
        for link in plant.parts[thing.part].links:
            if link.gate and configuration.state(f"{unit}:V").value != "open":
                continue
            a, b = f"{unit}:{link.a}", f"{unit}:{link.b}"
            ahead.add_edge(a, b)
            if not link.one_way:
                ahead.add_edge(b, a)
                both.add_edge(a, b)
    for port, state in configuration.touched():
        if state.other:
            both.add_edge(port, state.other)
            ahead.add_edge(port, state.other)
    return both, ahead.reverse() if plant.media["fluid"].upstream else ahead


@given(_plants())
def test_segments_are_the_connected_components_of_the_links_that_go_both_ways(world):
    """What is in one segment with an item is its connected component, as networkx finds it."""
    plant, configuration = world
    both, _ = _oracle(plant, configuration)
    paths = Paths(compile_network(plant, "fluid"), configuration)
    for item in both:
        joined = {other for other in both if paths.segment(other) == paths.segment(item)}
        assert joined == nx.node_connected_component(both, item)


@given(_plants())
def test_what_is_reached_is_what_networkx_reaches(world):
    """Expansions, sources, cut-off liquid, live items and open ends follow from networkx's descendants alone."""
    plant, configuration = world
    _, ahead = _oracle(plant, configuration)
    paths = Paths(compile_network(plant, "fluid"), configuration)
    down = ahead.reverse() if plant.media["fluid"].upstream else ahead
    nodes = {f"{u}:{n}": plant.parts[t.part].nodes[n] for u, t in plant.units.items() for n in ("N1", "N2")}
    comes_from = {a for a, n in nodes.items() if n.roles or n.litres}
    live = comes_from.union(*(nx.descendants(down, a) for a in comes_from))
    for item in ahead:
        reached = {item, *nx.descendants(ahead, item)}
        expansions = {a for a, n in nodes.items() if EXPANSION in n.roles} & reached
        assert set(paths.reached(item, "expansion")) == expansions
        assert paths.reaches(item, "expansion") == bool(expansions)
        assert paths.is_cut_off(item) == (not expansions)
        feeds = {a for a, n in nodes.items() if SOURCE in n.roles and item in {a, *nx.descendants(down, a)}}
        assert set(paths.fed_by(item)) == feeds
        assert paths.is_fed(item) == bool(feeds)
        assert paths.is_live(item) == (item in live)
        is_open = item in live and item not in nodes and configuration.state(item).value == "demated"
        assert paths.is_open_end(item) == is_open


def test_a_check_valve_lets_liquid_out_to_the_expansion_and_not_back():
    """Behind a check valve that opens towards the accumulator liquid is safe; before one that opens away it is not."""
    links = (InternalLink("OUT", "ACC", one_way=True), InternalLink("ACC", "IN", one_way=True))
    nodes = {
        n: Node(n, "fluid", litres=1.0, roles=frozenset({EXPANSION} if n == "ACC" else ()))
        for n in ("OUT", "ACC", "IN")
    }
    part = Part("p", nodes=nodes, links=links)
    plant = Plant(media=_SHIPPED.media, parts={"p": part}, units={"U": Unit("U", "p")})
    paths = Paths(compile_network(plant, "fluid"), Configuration(plant))
    assert not paths.is_cut_off("U:OUT")
    assert paths.is_cut_off("U:IN")


def test_a_unit_is_in_the_loop_whose_expansion_it_reaches():
    """Loops are those of the expansions reached; an expansion without a loop counts under its unit, if alone."""
    plant, configuration, networks = yard()
    paths = Paths(networks["fluid"], configuration)
    assert loops_of(paths, "PUMP-1:VOL") == ("A",)
    assert loops_of(paths, "COOL-1:COIL") == ()
    part = Part("p", nodes={"N": Node("N", "fluid", roles=frozenset({"expansion"}))})
    lone = Plant(media=_SHIPPED.media, parts={"p": part}, units={"U": Unit("U", "p")})
    assert loops_of(Paths(compile_network(lone, "fluid"), Configuration(lone)), "U:N") == ("U",)
    assert plant.loop_of("COOL-1:COIL") == "A"


def test_hold_leads_to_places_that_stay_or_to_who_carries():
    """Bolted or standing on a place that holds: held. In somebody's grip: not held, but carried."""
    _, configuration, networks = yard()
    paths = Paths(networks["hold"], configuration)
    assert paths.is_held("PUMP-1")
    assert paths.is_held("ACC-1")
    assert not paths.is_held("PUMP-2")
    assert paths.bearers("PUMP-2") == ("INA",)
    assert paths.bearers("PUMP-1") == ()


def test_what_has_no_place_in_a_medium_is_neither_cut_off_nor_joined():
    """An address of another medium has no segment, and nothing to be cut off from."""
    _, configuration, networks = yard()
    paths = Paths(networks["fluid"], configuration)
    assert paths.segment("PUMP-1:J1") is None
    assert not paths.is_cut_off("PUMP-1:J1")
    assert not paths.is_live("PUMP-1:J1")
    assert paths.fed_by("PUMP-1:J1") == paths.reached("PUMP-1:J1", "source") == ()


def test_bolt_holes_are_no_open_ends():
    """A released bolt lets nothing out: hold has no open ends."""
    _, configuration, networks = yard()
    paths = Paths(networks["hold"], configuration)
    assert not any(
        paths.is_open_end(a) for owner in networks["hold"].base for a in paths.network.items_of(owner)
    )


def test_a_place_without_hold_links_is_held_by_itself():
    """A place that stays is held; asking about a mobile one that nothing holds says no."""
    plant = Plant(media=_SHIPPED.media, places={"A": Place("A"), "M": Place("M", parent="A", mobile=True)})
    paths = Paths(compile_network(plant, "hold"), Configuration(plant))
    assert paths.is_held("A")
    assert not paths.is_held("M")


@pytest.mark.parametrize("holds", [True, False])
def test_what_was_never_moved_stands_where_it_was_defined(holds):
    """A cart that never moved is held by the place it is defined in, if that holds what stands on it: however asked."""
    places = {"A": Place("A", holds=holds), "CART": Place("CART", parent="A", mobile=True)}
    plant = Plant(media=_SHIPPED.media, places=places)
    network, now = compile_network(plant, "hold"), Configuration(plant)
    assert Paths(network, now).is_held("CART") is holds
    for touched in (None, (), ("CART",)):
        flow = Flow(network, now, touched, Trail())
        (end,) = flow.vertices("A")
        assert (end in flow.graph.ahead(flow.vertices("CART"))) is holds
    assert [hop.link for hop in trace(network, now, ["CART"], ["A"])] == (["", "CART on A"] if holds else [])
    assert [hop.link for hop in trace(network, now, ["A"], ["CART"])] == (["", "CART on A"] if holds else [])


GAS = """
[[medium]]
id = "gas"
title = "Cover gas"
volumes_need = "nothing"
[[kind]]
id = "gas-cock"
medium = "gas"
statuses = ["shut", "open"]
carries = "open"
[[kind.move]]
action = "open"
from = ["shut"]
to = "open"
[[part]]
id = "bottle"
port = [{ name = "V", kind = "gas-cock" }]
node = [{ name = "DOME", medium = "gas", litres = "4 l" }, { name = "SUMP", medium = "fluid", litres = "2 l" }]
[[unit]]
id = "BOTTLE-1"
part = "bottle"
"""


def test_a_gas_needs_no_room_to_expand():
    """A shut-in volume of liquid is cut off; one of a gas gives way by itself, and is no liquid-full volume."""
    plant = parse_definition({"gas.toml": GAS}).plant()
    now = Configuration(plant)
    gas, fluid = (Paths(compile_network(plant, medium), now) for medium in ("gas", "fluid"))
    assert (gas.nodes("liquid"), fluid.nodes("liquid")) == ((), ("BOTTLE-1:SUMP",))
    assert (gas.is_cut_off("BOTTLE-1:DOME"), fluid.is_cut_off("BOTTLE-1:SUMP")) == (False, True)
    assert gas.is_live("BOTTLE-1:DOME")


def test_what_volumes_need_is_one_of_two_things():
    """A need that nobody can meet is told with its line, and what it may be."""
    with pytest.raises(BadInput) as err:
        parse_definition({"gas.toml": GAS.replace('"nothing"', '"nothin"')})
    (problem,) = err.value.problems
    assert (problem.code, problem.where.partition(":")[0]) == ("unknown", "gas.toml")
    assert problem.sentence.endswith("near names: nothing")
