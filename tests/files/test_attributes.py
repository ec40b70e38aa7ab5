"""Aliases, attributes and ratings in definition files: what is read, and what is told of those that can't be."""

from __future__ import annotations

from datetime import date

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.attribute import attribute_of
from cfgtrack.model.item import item_from_json, item_to_json
from cfgtrack.model.part import InternalLink
from cfgtrack.model.trouble import BadInput
from tests.told import code_of

PLANT = """
[[part]]
id = "hose"
aliases = ["Schlauch 8 mm", "=W1"]
attributes = { bore = "8 mm", gauge = "AWG 20" }
mass = "2 kg"
port = [
  { name = "A", aliases = ["Ende #1", "A"], kind = "fluid-disconnect", rated_pressure = "16 bar" },
  { name = "B", aliases = "Ende #2", kind = "fluid-disconnect" },
  { name = "J", kind = "electrical-connector", rated_current = "500 mA" },
]
node = [{ name = "BORE", medium = "fluid", litres = "0.4 l", rated_pressure = "145 psi", aliases = ["Seele"] }]
links = [["Ende #1", "Seele"]]
link = [{ a = "BORE", b = "Ende #2" }]
[[unit]]
id = "HOSE-1"
part = "=W1"
aliases = ["Schlauch 1", "Schlauch 1", "HOSE-1"]
attributes = { length = "3 m", spare = true, made = 2029-02-28, lot = 4711, weight = 2.5, "maker's number" = "0042" }
[[place]]
id = "ANN"
mobile = true
lifts = "25 kg"
parent = "Halle 3"
[[place]]
id = "HALL"
aliases = ["Halle 3"]
[[csv]]
table = "units"
file = "units.csv"
attributes = ["Gauge", "Länge", "Spare"]
[[csv]]
table = "ports"
file = "ports.csv"
attributes = ["Colour"]
[[csv]]
table = "nodes"
file = "nodes.csv"
[initial]
at = 2031-05-01T00:00:00Z
joined = [["Schlauch 2:Ende #1", "Schlauch 1:B"]]
place = { "Schlauch 1" = "Halle 3", "HOSE-2" = "HALL" }
"""
SHEETS = {
    "units.csv": "id,part,aliases,home,GAUGE,Länge,spare\n"
    'HOSE-2,Schlauch 8 mm,"Schlauch 2\n=W2",Halle 3,AWG 20,3.50 m,yes\n'
    "HOSE-3,hose,,,,,\n",
    "ports.csv": "part,name,kind,aliases,rated_pressure,rated_current,colour\n"
    "=W1,C,fluid-disconnect,Ende 3,10 bar,,blue\n",
    "nodes.csv": "part,name,medium,litres,rated_pressure,aliases\nSchlauch 8 mm,N,fluid,1 l,5 bar,n #1\n",
}


def definition():
    """The definition of the files above."""
    return parse_definition({"x.toml": PLANT}, sheets=SHEETS)


def test_aliases_are_read_and_may_stand_for_ids():
    """An alias is kept once and not where it is the id; files may refer to a part, place, port or node by it."""
    found = definition()
    part = found.parts["hose"]
    assert part.aliases == ("Schlauch 8 mm", "=W1")
    assert (part.ports["A"].aliases, part.ports["B"].aliases) == (("Ende #1",), ("Ende #2",))
    assert (part.ports["C"].aliases, part.nodes["N"].aliases) == (("Ende 3",), ("n #1",))
    assert part.links == (InternalLink("BORE", "B"), InternalLink("A", "BORE"))
    assert found.units["HOSE-1"].aliases == ("Schlauch 1",)
    assert found.units["HOSE-2"].aliases == ("Schlauch 2", "=W2")
    assert (found.units["HOSE-1"].part, found.units["HOSE-2"].part) == ("hose", "hose")
    assert (found.units["HOSE-2"].home, found.places["ANN"].parent) == ("HALL", "HALL")
    assert [(event.subjects, event.place) for event in found.initial] == [
        (("HOSE-1",), "HALL"),
        (("HOSE-2",), "HALL"),
        (("HOSE-2:A", "HOSE-1:B"), None),
    ]


def test_attributes_are_typed_by_what_is_given():
    """Text, number with unit, yes or no, date: from a table, and from the columns that are said to be attributes."""
    found = definition()
    assert dict(found.parts["hose"].attributes) == {"bore": attribute_of("8 mm"), "gauge": "AWG 20"}
    assert found.units["HOSE-1"].attributes == {
        "length": attribute_of("3 m"),
        "spare": True,
        "made": date(2029, 2, 28),
        "lot": attribute_of("4711", is_cell=True),
        "weight": attribute_of("2.5", is_cell=True),
        "maker's number": "0042",
    }
    assert found.units["HOSE-2"].attributes == {
        "Gauge": "AWG 20",
        "Länge": attribute_of("3.5 m"),
        "Spare": True,
    }
    assert found.units["HOSE-3"].attributes == {}
    assert found.parts["hose"].ports["C"].attributes == {"Colour": "blue"}
    plant = found.plant()
    assert plant.attributes_of("HOSE-3") == found.parts["hose"].attributes
    assert plant.attributes_of("HOSE-1").keys() == {"bore", "gauge", *found.units["HOSE-1"].attributes}


def test_ratings_are_read_in_si():
    """Pressures in Pa, currents in A, what is lifted in kg; from rows too."""
    found = definition()
    part = found.parts["hose"]
    assert (part.ports["A"].rated_pressure, part.ports["C"].rated_pressure) == (16e5, 10e5)
    assert part.nodes["BORE"].rated_pressure == pytest.approx(
        145 * 6894.757, rel=1e-6
    )  # psi: NIST SP 811, B.8
    assert (part.nodes["N"].rated_pressure, part.ports["J"].rated_current) == (5e5, 0.5)
    assert found.places["ANN"].lifts == 25.0


def test_items_come_back_from_the_journal():
    """What the journal keeps of an item is the item; what has none of these keeps what it always kept."""
    found = definition()
    for sort in ("part", "unit", "place"):
        for item in found.items(sort).values():
            assert item_from_json(sort, item_to_json(sort, item)) == item
    assert item_to_json("unit", found.units["HOSE-3"]) == {"id": "HOSE-3", "part": "hose"}
    assert item_to_json("place", found.places["HALL"]) == {"id": "HALL", "aliases": ["Halle 3"]}


BAD = """
[[part]]
id = "p"
aliases = ["ok", "two\\nlines", " ", "*"]                  #! bad-alias bad-alias bad-alias
attributes = { a = [1], b = 2031-05-01T00:00:00Z, c = "" }  #! bad-attribute bad-attribute bad-attribute
node = [
  { name = "N", medium = "fluid", rated_pressure = "1 bar" },          #! unexpected
  { name = "M", medium = "fluid", litres = "1 l", rated_pressure = "1 kg" },  #! bad-quantity
]
[[part]]
id = "q"
aliases = 3                                                 #! wrong-type
attributes = "red"                                          #! wrong-type
port = [
  { name = "A", kind = "valve", aliases = ["x"] },
  { name = "B", kind = "valve", aliases = ["x"] },          #! duplicate
]
[[part]]
id = "r"
port = [
  { name = "A", kind = "valve", aliases = ["x"] },
  { name = "B", kind = "valve", aliases = ["x"] },          #! duplicate
]
[[unit]]
id = "U"
part = "ook"                                                #! unknown-part
[[unit]]
id = "V"
part = "ok"
aliases = ["W", "to", "facing", "a\\u202eb", "To"]           #! bad-alias bad-alias bad-alias duplicate
[[unit]]
id = "W"
part = "ok"
[[place]]
id = "P"
lifts = "3 kg"                                              #! unexpected
[[csv]]
table = "links"
file = "links.csv"
attributes = ["a"]                                          #! unexpected
[[csv]]
table = "units"
file = "units.csv"
attributes = ["Part", "x\\ny"]                              #! duplicate bad-name
"""


def test_what_is_wrong_is_told_at_its_line():
    """Every alias, attribute and rating that can't be is told, all at once."""
    sheets = {"units.csv": "id,part\nX,ok\n", "links.csv": "part,a,b\n"}
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": BAD}, sheets=sheets)
    told: dict[int, list[str]] = {}
    for problem in caught.value.problems:
        if problem.where.startswith("x.toml:"):
            told.setdefault(int(problem.where.partition(":")[2]), []).append(code_of(problem))
    lines = enumerate(BAD.splitlines(), 1)
    wanted = {n: line.partition("#!")[2].split() for n, line in lines if "#!" in line}
    assert told == wanted


def test_a_column_that_is_no_attribute_is_an_error():
    """A column that nobody says is an attribute is a slip, as it always was; one that is said must be there."""
    for header, code in (
        ("id,part,Gauge,Länge,Spare,Color", "unknown-column"),
        ("id,part,Gauge", "missing-column"),
    ):
        with pytest.raises(BadInput, match=code):
            parse_definition(
                {"x.toml": PLANT}, sheets={**SHEETS, "units.csv": f"{header}\nHOSE-2,hose,,,,\n"}
            )


def test_a_reference_that_is_mistyped_has_near_aliases():
    """The part that was meant is near, though by its alias."""
    with pytest.raises(BadInput, match="there is no part Schlauch 9 mm; near names: Schlauch 8 mm"):
        parse_definition({"x.toml": PLANT.replace('part = "=W1"', 'part = "Schlauch 9 mm"')}, sheets=SHEETS)


ONE = '{ name = "F1", kind = "bolt", aliases = ["X"] }'
TWO = ONE.replace("F1", "F2")
SHELL = """[[part.port]]
name = "J"
kind = "electrical-connector"
contact = [
{ name = "1", aliases = ["+"] },
{ name = "2", aliases = ["+"] },
]"""
NODE = """[[part.port]]
name = "F1"
kind = "bolt"
[[part.node]]
name = "N"
medium = "fluid"
aliases = ["F1"]"""
CLASHES = [(f"port = [\n{ONE},\n{TWO},\n]", 6), (NODE, 10), (SHELL, 9)]


@pytest.mark.parametrize(("inside", "line"), CLASHES)
def test_a_clash_is_told_where_it_stands(inside, line):
    """An alias that two ports, contacts or nodes of a part have is told at the second, not at the part's own."""
    text = f'[[part]]\nid = "p"\naliases = ["other"]\n{inside}\n'
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": text})
    (problem,) = caught.value.problems
    assert (problem.where, problem.code) == (f"x.toml:{line}", "duplicate")


def test_a_clash_in_a_list_is_told_with_its_row():
    """An alias that two ports of a list have is told with the second's row and column."""
    text = '[[part]]\nid = "p"\naliases = ["other"]\n[[csv]]\nfile = "a.csv"\ntable = "ports"\n'
    sheet = "part,name,kind,aliases\np,F1,bolt,X\np,F2,bolt,X\n"
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": text}, sheets={"a.csv": sheet})
    assert [(p.where, p.code) for p in caught.value.problems] == [
        ("a.csv row 3, column aliases", "duplicate")
    ]
