"""Pictures: golden sources, every meaning in text, nothing that a name can break, a plant of hundreds of links."""

import re
from collections.abc import Iterable
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.action import Action
from cfgtrack.rules.finding import Finding
from cfgtrack.show.diagram import diagram
from cfgtrack.show.render import render
from cfgtrack.show.visible import visible
from tests.happening import happened
from tests.show.golden import assert_golden
from tests.show.world import AT, FINDING, MOMENT, Yard, yard

SCOPES = {
    "everything": Scope.everything(),
    "fluid": Scope.one_medium("fluid"),
    "power": Scope.one_medium("power"),
    "hold": Scope.one_medium("hold"),
    "pump": Scope.around("PUMP-1"),
    "spare": Scope.around("PUMP-2:F1", hops=2),
    "near-fluid": Scope.around("PUMP-1", hops=2, medium="fluid"),
    "loop": Scope.loop("A"),
    "places": Scope.places(),
}


def draw(
    scope: Scope, world: Yard | None = None, *, findings: Iterable[Finding] = (), title: str = ""
) -> str:
    """Return the source of a picture of the yard."""
    return diagram(Scene(MOMENT, *(world or yard()), scope, tuple(findings)), title=title)


def texts(dot: str) -> str:
    """Return all that a picture shows as text, from its SVG."""
    root = ET.fromstring(render(dot, "svg"))
    return "\n".join("".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text")).replace(
        "\xa0", " "
    )


@pytest.mark.parametrize("name", SCOPES)
def test_a_source_is_as_it_was_read(name):
    """Each sort of picture, as a person has looked at it."""
    assert_golden(f"{name}.dot", draw(SCOPES[name], findings=[FINDING]))


@pytest.mark.parametrize("name", SCOPES)
def test_the_same_input_gives_the_same_bytes(name):
    """Two plants built alike have the same source."""
    assert draw(SCOPES[name]) == draw(SCOPES[name])


@pytest.mark.parametrize("name", SCOPES)
def test_every_picture_carries_its_moment(name):
    """The time that was asked for stands in the picture."""
    assert str(MOMENT) in texts(draw(SCOPES[name]))


@pytest.mark.parametrize(
    ("scope", "said"),
    [
        (Scope.one_medium("fluid"), "E2 OPEN END"),
        (Scope.one_medium("fluid"), "COIL 9 l CUT OFF"),
        (Scope.one_medium("fluid"), "V2 shut: P3 | MAN"),
        (Scope.one_medium("fluid"), "open: V1"),
        (Scope.one_medium("fluid"), "cut off"),
        (Scope.one_medium("power"), "HEATER NO POWER"),
        (Scope.one_medium("power"), "no power"),
        (Scope.one_medium("power"), "I1 → BUS one way"),
        (Scope.one_medium("power"), "CABLE-1"),
        (Scope.one_medium("hold"), "2 bolts torqued"),
        (Scope.one_medium("hold"), "held by INA alone"),
        (Scope.everything(), "OPEN END: E2"),
        (Scope.everything(), "CUT OFF: COIL"),
        (Scope.everything(), "NO POWER: HEATER"),
        (Scope.around("PUMP-1"), "B1, B2 bolt torqued"),
        (Scope.places(), "PUMP-2, home FLOOR"),
        (Scope.places(), "nowhere known"),
    ],
)
def test_what_stands_out_is_said_in_text(scope, said):
    """Open ends, cut-off liquid, dead loads and shut valves need no colour to be seen."""
    assert said in re.sub(r" +", " ", texts(draw(scope)))


def test_a_mated_port_that_does_not_carry_is_dashed_and_says_so():
    """A disconnect that is mated with its own valve shut is tied, and carries nothing."""
    world = yard("""
[[part]]
id = "box"
port = [{ name = "F1", kind = "valved-disconnect" }]
node = [{ name = "N", medium = "fluid", litres = "1 l" }]
links = [["F1", "N"]]
[[unit]]
id = "BOX-1"
part = "box"
[[unit]]
id = "BOX-2"
part = "box"
""")
    for number, event in enumerate(
        (
            Action("a", "as-found", ("BOX-1",), AT, place="FLOOR"),
            Action("b", "as-found", ("BOX-2",), AT, place="FLOOR"),
            Action("c", "mate", ("BOX-1:F1", "BOX-2:F1"), AT),
        )
    ):
        resolved = happened(world.configuration, replace(event, id=f"x{number}"))
        world.configuration.apply(resolved)
    dot = draw(Scope.one_medium("fluid"), world)
    [line] = [line for line in dot.splitlines() if "not carrying" in line and "--" in line]
    assert "style=dashed" in line


def test_findings_are_flags_with_numbers_and_a_list():
    """What a finding names carries its number; the list says what the number means."""
    text = texts(draw(Scope.one_medium("fluid"), findings=[replace(FINDING, reasons=()), FINDING]))
    assert "[!1,2]" in text
    assert "[!2]" in text
    assert f"[!1] catastrophic: {FINDING.headline} (expansion-path)" in text
    many = texts(draw(Scope.one_medium("fluid"), findings=[FINDING] * 15))
    assert "and 3 more findings" in many


def test_the_list_is_of_what_is_marked():
    """A picture lists the findings whose numbers it carries, and says how many are about what it doesn't draw."""
    other = replace(FINDING, subjects=("PUMP-2:HEATER",), reasons=(), title="The spare is warm", rule="warm")
    both = [other, FINDING]
    fluid = texts(draw(Scope.around("PUMP-1"), findings=both))
    assert f"[!2] catastrophic: {FINDING.headline} (expansion-path)" in fluid
    assert FINDING.title not in fluid
    assert "[!1]" not in fluid
    assert "Not marked: 1 finding about what isn't drawn" in fluid
    assert "Not marked" not in texts(draw(Scope.everything(), findings=both))
    near = texts(draw(Scope.around("BAY", hops=0), findings=[FINDING, *both]))
    assert "[!" not in near
    assert "Not marked: 3 findings about what isn't drawn" in near


def test_a_flagged_hose_is_a_box_and_a_plain_one_a_line():
    """A hose is the label of a line until a finding names it."""
    dot = draw(Scope.loop("A"))
    assert 'tooltip="HOSE-1"' not in dot
    assert 'tooltip="HOSE-1"' in draw(Scope.loop("A"), findings=[FINDING])


def test_a_bypass_that_leads_back_is_a_box():
    """A hose from a panel to itself is no loose loop of line but a box between its two ports."""
    world = yard()
    for i, event in enumerate(
        (Action("a", "demate", ("PUMP-1:F2",), AT), Action("b", "mate", ("HOSE-2:E2", "PANEL-1:P2"), AT))
    ):
        resolved = happened(world.configuration, replace(event, id=f"x{i}"))
        world.configuration.apply(resolved)
    assert 'tooltip="HOSE-2"' in draw(Scope.one_medium("fluid"), world)


def test_a_neighbourhood_ends_where_it_is_told_to():
    """One hop from the pump: the panel, not what hangs on it; two hops: the accumulator too. A cable is no hop."""
    near = draw(Scope.around("PUMP-1"))
    assert 'tooltip="PANEL-1"' in near
    assert 'tooltip="BOARD-1"' in near
    assert 'tooltip="ACC-1"' not in near
    assert 'tooltip="ACC-1"' in draw(Scope.around("PUMP-1", hops=2))
    assert 'tooltip="BOARD-1"' not in draw(Scope.around("PUMP-1", hops=2, medium="fluid"))


_AWKWARD = st.text(
    st.characters(exclude_categories=("Cs", "Cc"), max_codepoint=0x2FF), min_size=1, max_size=20
)


@settings(max_examples=25)
@given(title=_AWKWARD, unit=_AWKWARD)
def test_no_title_breaks_a_picture(title, unit):
    """Colons, quotes, brackets and entities in titles come out as they are, what can't be seen as its escape."""
    world = yard()
    plant = world.plant
    plant.units["PUMP-1"] = replace(plant.units["PUMP-1"], title=unit)  # type: ignore[index]
    text = texts(draw(Scope.one_medium("fluid"), world, title=title))
    squeezed = re.sub(r"\s+", "", text)
    assert re.sub(r"\s+", "", visible(title)) in squeezed
    assert all(visible(word) in text for word in unit.split()[:1])


def _many(pairs: int) -> Yard:
    """Return the yard with a panel on which so many like coolers hang, each by two hoses of its own."""
    ports = ", ".join(f'{{ name = "S{i}", kind = "fluid-disconnect" }}' for i in range(2 * pairs))
    links = ", ".join(f'["S{i}", "N"]' for i in range(2 * pairs))
    units = "".join(f'[[unit]]\nid = "PLATE-{i:03}"\npart = "plate"\n' for i in range(pairs))
    units += "".join(f'[[unit]]\nid = "PIPE-{i:03}"\npart = "hose"\n' for i in range(2 * pairs))
    world = yard(f"""
[[part]]
id = "big"
port = [{ports}]
node = [{{ name = "N", medium = "fluid", litres = "1 l", expansion = true }}]
links = [{links}]
[[part]]
id = "plate"
port = [
    {{ name = "F1", kind = "fluid-disconnect" }}, {{ name = "F2", kind = "fluid-disconnect" }},
    {{ name = "J1", kind = "electrical-connector" }},
]
node = [{{ name = "VOL", medium = "fluid", litres = "1 l" }}]
links = [["F1", "VOL"], ["VOL", "F2"]]
[[unit]]
id = "BIG"
part = "big"
{units}""")
    configuration = world.configuration
    owners = ["BIG", *(f"PLATE-{i:03}" for i in range(pairs)), *(f"PIPE-{i:03}" for i in range(2 * pairs))]
    events = [Action(f"at:{o}", "as-found", (o,), AT, place="FLOOR") for o in owners]
    for i in range(2 * pairs):
        ends = ("F1", "F2")[i % 2]
        events.append(Action(f"a{i}", "mate", (f"PIPE-{i:03}:E1", f"BIG:S{i}"), AT))
        events.append(Action(f"b{i}", "mate", (f"PIPE-{i:03}:E2", f"PLATE-{i // 2:03}:{ends}"), AT))
    for event in events:
        resolved = happened(configuration, event)
        configuration.apply(resolved)
    return world


def test_hundreds_of_links_stay_a_picture_to_look_at():
    """Eighty plates on 160 hoses, 320 interfaces, are one box and one line; the one that differs stands apart."""
    world = _many(80)
    parted = happened(world.configuration, Action("x", "demate", ("PLATE-007:F2",), AT))
    world.configuration.apply(parted)
    dot = draw(Scope.one_medium("fluid"), world)
    assert 'tooltip="PLATE-000 ... PLATE-079"' in dot
    assert 'tooltip="PLATE-007"' in dot
    assert "79 alike" in dot
    assert "x 158" in dot
    assert dot.count("--") < 15


_SECOND_LOOP = """
[[unit]]
id = "ACC-2"
part = "accumulator"
loop = "B"
[[unit]]
id = "COOL-2"
part = "cooler"
loop = "B"
[[unit]]
id = "ACC-3"
part = "accumulator"
[[part]]
id = "spanner"
[[unit]]
id = "SPANNER-1"
part = "spanner"
"""


def _with_second_loop() -> Yard:
    """Return the yard with a loop B, a spare accumulator that is capped, and a spanner, all on the floor."""
    world = yard(_SECOND_LOOP)
    events = [
        Action(o, "as-found", (o,), AT, place="FLOOR")
        for o in ("ACC-2", "COOL-2", "ACC-3", "SPANNER-1", "CABLE-1")
    ]
    events.append(Action("j", "mate", ("ACC-2:F1", "COOL-2:F1"), AT))
    events.append(Action("c", "cap", ("ACC-3:F1",), AT))
    for event in events:
        resolved = happened(world.configuration, event)
        world.configuration.apply(resolved)
    return world


def test_one_medium_is_clustered_by_loop_where_there_are_several():
    """Loops A and B stand in a cluster each; cut-off liquid stays with its loop; a spare is listed."""
    dot = draw(Scope.one_medium("fluid"), _with_second_loop())
    assert dot.count("subgraph") == 2
    text = texts(dot)
    assert "Loop A" in text
    assert "Loop B" in text
    assert "FLOOR: ACC-3" in text
    cluster_a = (
        dot[dot.index("Loop A") : dot.index("Loop B")] if dot.index("Loop A") < dot.index("Loop B") else ""
    )
    assert 'tooltip="COOL-1"' in (cluster_a or dot[dot.index("Loop A") :])


def test_a_loop_shows_what_is_in_it_now():
    """Loop B is drawn without loop A; with V2 open the cooler of A is no longer cut off."""
    world = _with_second_loop()
    dot = draw(Scope.loop("B"), world)
    assert 'tooltip="COOL-2"' in dot
    assert 'tooltip="COOL-1"' not in dot
    assert "CUT OFF" in draw(Scope.loop("A"), world)
    opened = happened(world.configuration, Action("o", "open", ("PANEL-1:V2",), AT))
    world.configuration.apply(opened)
    assert "CUT OFF" not in draw(Scope.loop("A"), world)


def test_what_is_tied_to_nothing_is_listed_where_it_stands():
    """A spanner on the floor is no box in the picture of everything but a name in the list of its place."""
    dot = draw(Scope.everything(), _with_second_loop())
    assert "also here" in texts(dot)
    assert "SPANNER-1" in texts(dot)
    assert 'tooltip="SPANNER-1"' not in dot


def test_many_shut_valves_are_one_row():
    """More than four gates that are shut share a row."""
    gates = ", ".join(f'{{ name = "K{i}", kind = "switch" }}' for i in range(6))
    outs = ", ".join(f'{{ name = "O{i}", kind = "electrical-connector" }}' for i in range(6))
    links = ", ".join(f'["BUS", "O{i}", "K{i}"]' for i in range(6))
    world = yard(f"""
[[part]]
id = "feeder"
port = [{gates}, {outs}]
node = [{{ name = "BUS", medium = "power", source = true }}]
links = [{links}]
[[unit]]
id = "FEED-1"
part = "feeder"
""")
    text = texts(draw(Scope.around("FEED-1"), world))
    assert "K0, K1, K2, K3, K4, K5: off" in text
    assert "demated: 6 ports" in text


def test_a_small_picture_draws_each_for_itself():
    """With few boxes nothing is merged."""
    assert "alike" not in draw(Scope.one_medium("fluid"), _many(5))


def test_what_is_not_drawn_is_said():
    """The picture of everything leaves bolts out and says so; that of what holds what has nothing to say."""
    world = yard()
    drawn = {scope.sort: draw(scope, world) for scope in (Scope.everything(), Scope.one_medium("hold"))}
    assert "Not drawn: what holds what" in drawn["everything"]
    assert "Not drawn: what holds what" not in drawn["medium"]


AIR = """
[[medium]]
id = "air"
[[kind]]
id = "duct"
medium = "air"
statuses = ["capped", "free", "joined"]
initial = "free"
joined = "joined"
carries = "joined"
[[part]]
id = "mask"
port = [{ name = "IN", kind = "duct" }]
node = [{ name = "FACE", medium = "air", load = true }, { name = "BAG", medium = "air", litres = "3 l" }]
links = [["IN", "BAG"]]
[[part]]
id = "compressor"
node = [
    { name = "TANK", medium = "air", source = true, expansion = true, litres = "9 l" },
    { name = "GAUGE", medium = "air" },
]
links = [["TANK", "GAUGE"]]
[[unit]]
id = "MASK-1"
part = "mask"
[[unit]]
id = "COMP-1"
part = "compressor"
"""


def test_every_medium_has_its_alarms():
    """A plant's own medium, which comes after those that are shipped, has its alarms in the picture of everything."""
    world = yard(AIR)
    assert list(world.plant.media).index("air") > list(world.plant.media).index("hold")
    shown = texts(draw(Scope.everything(), world))
    for alarm in ("OPEN END: IN", "CUT OFF: BAG", "NO AIR: FACE"):
        assert alarm in shown
    # The media before it have theirs as well.
    assert "NO POWER: HEATER" in shown


def test_a_neighbour_tells_what_is_shut_on_the_way() -> None:
    """Around a unit a valve or switch of a neighbour that parts what a line leads to is drawn, shut as well as open."""
    board = texts(draw(Scope.around("BOARD-1")))
    assert "Q off:  CELLS | OUT" in board
    assert "on: Q" in board
    assert "V2 shut:  P3 | MAN" in texts(draw(Scope.around("PUMP-1")))
    assert "V2 shut:  P3 | MAN" in texts(draw(Scope.around("COOL-1", medium="fluid")))
    spare = """
[[part]]
id = "spare"
port = [{ name = "F1", kind = "fluid-disconnect" }, { name = "W", kind = "valve" }]
node = [{ name = "N", medium = "fluid", litres = "1 l" }, { name = "Z", medium = "fluid", litres = "1 l" }]
links = [["N", "Z", "W"]]
[[unit]]
id = "SPARE-1"
part = "spare"
[[unit]]
id = "HOSE-3"
part = "hose"
"""
    world = yard(spare)
    world.configuration.apply(
        happened(world.configuration, Action("m", "mate", ("HOSE-3:E1", "SPARE-1:F1"), AT))
    )
    assert "W shut" not in texts(draw(Scope.around("HOSE-3"), world))
    assert "W shut:  N | Z" in texts(draw(Scope.around("SPARE-1"), world))
