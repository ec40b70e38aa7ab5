"""Hardware definitions: what is read, and what is told of those that can't be."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition, read_definition, shipped
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.kind import Move
from cfgtrack.model.part import InternalLink, Part, Port, Thermal
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.trouble import BadInput
from tests.happening import happened
from tests.told import code_of


def problems_of(read, *args, **kwargs):
    """What is told of bad input: `where: code`, in the order told."""
    with pytest.raises(BadInput) as caught:
        read(*args, **kwargs)
    return [f"{problem.where}: {code_of(problem)}" for problem in caught.value.problems]


def test_a_part_is_read_in_si_units_with_its_rows(definition):
    """A part has its ports in the order written, its numbers in SI, and its links with their gates."""
    pump = definition.parts["pump"]
    assert list(pump.ports) == ["F1", "F2", "V1", "B1"]
    assert pump.ports["B1"] == Port("B1", "bolt", torque=(20.0, 30.0), pattern="base/1", cycles=20)
    assert (pump.mass, pump.trapped, pump.nodes["VOL"].litres) == (85.0, 10800.0, 0.8)
    assert pump.thermal == Thermal(capacity=5200.0, leak=1.1, start=293.15, limit=233.15)
    assert pump.links == (InternalLink("F1", "VOL"), InternalLink("VOL", "F2", "V1"))


def test_rows_say_the_same_as_tables(definition):
    """A spreadsheet's rows are read like tables, whatever its delimiter, byte order mark and blank rows."""
    ports = {
        "F1": Port(
            "F1",
            "valved-disconnect",
            size="1/2 in",
            gender="socket",
            tags=frozenset({"coolant", "supply"}),
        ),
        "B1": Port("B1", "bolt", torque=(20.0, 30.0)),
    }
    assert definition.parts["panel"] == Part("panel", ports=ports)
    assert definition.units["PUMP-1"] == Unit("PUMP-1", "pump", title="Pump, main", home="BAY-1")


def test_a_place_is_read(definition):
    """A place has its capacity, its facings and its sink temperature in kelvin."""
    assert definition.places["BAY-1"] == Place(
        "BAY-1",
        parent="SITE",
        part="panel",
        capacity=1,
        facings=("up",),
        sink=213.15,
        tags=frozenset({"stowage"}),
    )


def test_what_presence_stands_on_is_read():
    """Sites, what is worked or read from elsewhere, grips, reaches and operators are read, from rows too."""
    text = """
[[kind]]
id = "clamp"
medium = "hold"
statuses = ["off", "on"]
joined = "on"
grip = true
[[part]]
id = "p"
port = [{ name = "A", kind = "tether", site = "HALL", remote = ["BAY"], reach = ["HALL", "BAY"] }]
node = [{ name = "N", medium = "fluid", remote = ["HALL"] }]
remote = { pressure = ["HALL", "BAY"] }
[[csv]]
file = "ports.csv"
table = "ports"
[[csv]]
file = "places.csv"
table = "places"
"""
    sheets = {
        "ports.csv": "part,name,kind,site,remote,reach\np,B,tether,HALL,BAY,HALL BAY\n",
        "places.csv": "id,mobile,site,operates,lock_box\nHALL,,yes,,\nBAY,,,,yes\nANN,yes,,CRANE,\nCRANE,yes,,,\n",
    }
    found = parse_definition({"x.toml": text}, sheets=sheets)
    assert found.kinds["clamp"].grip
    assert (found.kinds["grip"].grip, found.kinds["tether"].tether) == (True, True)
    part = found.parts["p"]
    port = part.ports["A"]
    assert (port.site, port.remote, port.reach) == ("HALL", ("BAY",), ("HALL", "BAY"))
    assert part.ports["B"] == Port("B", "tether", site="HALL", remote=("BAY",), reach=("HALL", "BAY"))
    assert (part.nodes["N"].remote, part.remote) == (("HALL",), {"pressure": ("HALL", "BAY")})
    assert [p.id for p in found.places.values() if p.site] == ["HALL"]
    assert found.places["ANN"].operates == "CRANE"
    assert [p.id for p in found.places.values() if p.lock_box] == ["BAY"]
    assert found.plant().has_sites


def test_every_item_knows_where_it_was_written(definition):
    """An item's origin is its file and line, or its file and row as the spreadsheet counts."""
    assert definition.origins["part", "pump"] == "plant.toml:3"
    assert definition.origins["unit", "PUMP-2"] == "units.csv row 3"
    assert definition.origins["kind", "bolt"].startswith("kinds.toml:")


def test_the_initial_configuration_comes_as_possible_events(definition):
    """Places come before joins, joins at the top of their ladder, each event with an id of its own that repeats."""
    configuration = Configuration(definition.plant())
    for event in definition.initial:
        resolved = happened(configuration, event)
        assert resolved.expected is None
        configuration.apply(resolved)
    said = [(event.id, event.subjects, event.place or event.status) for event in definition.initial]
    assert said == [
        ("initial:PUMP-1", ("PUMP-1",), "BAY-1"),
        ("initial:PUMP-1:F1", ("PUMP-1:F1", "BAY-1:F1"), "open"),
        ("initial:PUMP-1:B1", ("PUMP-1:B1", "BAY-1:B1"), "torqued"),
        ("initial:PUMP-1:F2", ("PUMP-1:F2",), "capped"),
    ]
    assert all(event.initial and event.by == "survey" for event in definition.initial)


def test_halves_of_unlike_kinds_start_at_the_highest_status_of_both():
    """Where one half's ladder goes higher than the other's, the pair meets at the top of both, then one goes on."""
    text = """
[[kind]]
id = "plain"
medium = "fluid"
statuses = ["demated", "mated"]
joined = "mated"
carries = "mated"
fits = ["valved-disconnect"]
[[part]]
id = "a"
port = [{ name = "F", kind = "plain" }, { name = "G", kind = "valved-disconnect" }]
unit = 1
[initial]
at = 2031-05-01T00:00:00Z
joined = [["A:F", "B:G"]]
""".replace("unit = 1\n", '[[unit]]\nid = "A"\npart = "a"\n[[unit]]\nid = "B"\npart = "a"\n')
    events = parse_definition({"x.toml": text}).initial
    assert [(e.id, e.status) for e in events] == [("initial:A:F", "mated"), ("initial:B:G:open", "open")]


def test_two_halves_may_be_given_different_statuses():
    """A half that names its mate may stand lower than the mate does, when both say so."""
    text = """
[[part]]
id = "a"
port = [{ name = "F", kind = "valved-disconnect" }]
[[unit]]
id = "A"
part = "a"
[[unit]]
id = "B"
part = "a"
[initial]
at = 2031-05-01T00:00:00Z
status = { "A:F" = { is = "open", mate = "B:F" }, "B:F" = { is = "mated", mate = "A:F" } }
"""
    events = parse_definition({"x.toml": text}).initial
    assert [(e.subjects, e.status) for e in events] == [(("A:F", "B:F"), "mated"), (("A:F",), "open")]


def test_shipped_kinds_hold_together():
    """Every shipped kind starts without a mate, and from every status an action leads on or back."""
    for kind in shipped().kinds.values():
        assert not kind.is_joined(kind.initial)
        assert {s for move in kind.moves.values() for s in move.sources} == set(kind.statuses)
        assert {move.target for move in kind.moves.values()} == set(kind.statuses)


def test_a_shipped_kind_may_be_replaced():
    """A definition's own kind takes the place of the shipped one with its id; the others stay."""
    text = """
[[kind]]
id = "valve"
medium = "fluid"
statuses = ["shut", "throttled", "open"]
carries = "throttled"
move = [{ action = "throttle", from = ["shut", "open"], to = "throttled" }]
"""
    kinds = parse_definition({"x.toml": text}).kinds
    assert kinds["valve"].moves == {"throttle": Move("throttle", ("shut", "open"), "throttled")}
    assert kinds["bolt"] == shipped().kinds["bolt"]


def test_files_may_refer_to_each_other_in_any_order(hardware, sheets):
    """It doesn't matter how a definition is divided into files, nor in which order they are given."""
    tables = re.split(r"\n(?=\[)", hardware.split("\n\n", 1)[1])
    parts = {f"{i}.toml": text for i, text in enumerate(reversed(tables))}
    divided = parse_definition(parts, sheets=sheets)
    whole = parse_definition({"plant.toml": hardware}, sheets=sheets)
    assert (divided.units, divided.parts, divided.places) == (whole.units, whole.parts, whole.places)
    assert divided.initial == whole.initial


def test_a_definition_on_top_of_another_keeps_and_replaces(definition):
    """Items of the base stay, those that a file names anew are replaced."""
    text = '[[unit]]\nid = "PUMP-2"\npart = "panel"\n[[unit]]\nid = "PUMP-3"\npart = "pump"\n'
    added = parse_definition({"more.toml": text}, definition)
    assert {unit.id: unit.part for unit in added.units.values()} == {
        "PUMP-1": "pump",
        "PUMP-2": "panel",
        "PUMP-3": "pump",
    }
    assert (added.title, added.initial) == (definition.title, definition.initial)
    clash = '[[place]]\nid = "PUMP-1"\n'
    assert problems_of(parse_definition, {"x.toml": clash}, definition) == ["x.toml:2: duplicate"]


# Each text is a file; `#!` marks what is told of the line it stands on.
BAD = {
    "fields": """
titel = "x"                              #! unknown-field
title = 3                                #! wrong-type
[unit]                                   #! wrong-type
id = "A"
[[part]]                                 #! missing
title = "no id"
[[part]]
id = "a b"                               #! bad-id
[[part]]
id = "p"
mass = "85 degC"                         #! bad-quantity
tags = "one"                             #! wrong-type
flexible = "yes"                         #! wrong-type
trapped = "3 m"                          #! bad-duration
links = "F1"                             #! wrong-type
colour = "red"                           #! unknown-field
[[part.port]]
name = "A"
kind = "bolt"
cycles = 1.5                             #! wrong-type
torque = ["30 N*m", "20 N*m"]            #! out-of-range
[[part.port]]
name = "B"
kind = "bolt"
cycles = 0                               #! out-of-range
torque = ["25 degC", "30"]               #! bad-quantity bad-quantity
[[part.port]]
name = "C"
kind = "bolt"
torque = "25 N*m"                        #! wrong-type
pattern = "base"                         #! bad-pattern
[part.thermal]                           #! missing missing missing
leak = "1 W/K"
biot = "small"                           #! wrong-type
[[part]]
id = "q"
title = " "
[part.thermal]
capacity = "0 J/K"                       #! out-of-range
leak = "-1 W/K"                          #! out-of-range
start = "20 degC"
limit = "-300 degC"                      #! bad-quantity
biot = -1                                #! out-of-range
[[part]]
id = "r"
[part.thermal]
capacity = "900 J/K"
leak = "1 W/K"
start = "20 degC"                        #! contradiction
limit = "20 degC"
[[part]]
id = " "                                 #! missing
""",
    "kinds": """
[[medium]]
id = "air"
[[kind]]
id = "a"
medium = "aire"                          #! unknown-medium
statuses = ["off", "on"]
joined = "onn"                           #! unknown-status
fits = ["bolted"]                        #! unknown-kind
[[kind.move]]
action = "place"                         #! reserved
from = ["of"]                            #! unknown-status
to = "onn"                               #! unknown-status
[[kind]]
id = "b"
medium = "air"
statuses = ["off", "off"]                #! duplicate
[[kind]]
id = "c"
statuses = ["off", "on"]
carries = "on"                           #! ladder
[[kind]]
id = "d"
medium = "air"
statuses = ["off", "on"]
initial = "on"                           #! ladder
joined = "on"
[[kind]]
id = "e"
medium = "air"
statuses = ["off", "half", "on"]
joined = "on"
carries = "half"                         #! ladder
[[kind]]
id = "f"
medium = "air"
statuses = ["off", "on"]
joined = "off"                           #! ladder
[[kind]]
id = "g"
statuses = []                            #! ladder
fits = ["a"]                             #! ladder
[[kind]]
id = "h"
statuses = ["off", "on"]
[[kind.move]]
action = "flip"
from = ["off"]
to = "on"
[[kind.move]]
action = "flip"                          #! duplicate
from = ["on"]
to = "off"
[[medium]]
id = "air"                               #! duplicate
""",
    "links": """
[[part]]
id = "p"
port = [
  { name = "F1", kind = "fluid-disconnect" },
  { name = "J1", kind = "electrical-connector" },
  { name = "V1", kind = "valve" },
  { name = "C1", kind = "cover" },
  { name = "S1", kind = "switch" },
  { name = "X1", kind = "fluid-disconect" },   #! unknown-kind
]
node = [
  { name = "N1", medium = "fluid" },
  { name = "F1", medium = "fluid" },     #! duplicate
  { name = "N2", medium = "fluidd" },    #! unknown-medium
]
links = [
  ["F1", "N1"],
  ["F1", "J1"],                          #! media-differ
  ["F1", "V1"],                          #! link-end
  ["F1", "N9"],                          #! unknown-port
  ["F1", "F1"],                          #! link-end
  ["F1", "N1", "F1"],                    #! not-a-gate
  ["F1", "N1", "C1"],                    #! not-a-gate
  ["F1", "N1", "S1"],                    #! media-differ
  ["F1", "N1", "N1"],                    #! unknown-port
  ["F1", "N1", "V9"],                    #! unknown-port
  ["F1"],                                #! wrong-type
  ["X1", "N2", "V1"],
]
[[part.link]]
a = "F1"
b = "V1"                                 #! link-end
gaet = "V1"                              #! unknown-field
""",
    "units and places": """
[[part]]
id = "p"
[[unit]]
id = "A"
part = "pp"                              #! unknown-part
home = "BAY-9"                           #! unknown-place
[[unit]]
id = "A"                                 #! duplicate
part = "p"
[[unit]]                                 #! missing
id = "B"
[[place]]
id = "A"                                 #! duplicate
[[place]]
id = "BAY-1"
parent = "BAY-3"                         #! place-circle
capacity = 0                             #! out-of-range
[[place]]
id = "BAY-2"
parent = "BAY-1"
sink = "-60 W"                           #! bad-quantity
[[place]]
id = "BAY-3"
parent = "BAY-2"
mobile = 1                               #! wrong-type
""",
    "initial": """
[[part]]
id = "p"
port = [
  { name = "F1", kind = "fluid-disconnect", size = "1/2 in", gender = "plug", keying = "A" },
  { name = "F2", kind = "fluid-disconnect", size = "3/4 in", gender = "plug", keying = "B" },
  { name = "B1", kind = "bolt" },
  { name = "V1", kind = "valve" },
]
[[unit]]
id = "A"
part = "p"
[[unit]]
id = "B"
part = "p"
[[place]]
id = "BAY-1"
capacity = 1
facings = ["up"]
[[place]]
id = "BAY-2"
[initial]
at = 2031-05-01T00:00:00                 #! bad-time
joined = [
  ["A:F1", "B:F2"],                      #! size keying gender
  ["A:F2", "B:B1"],                      #! kind
  ["A:B1", "C:B1"],                      #! unknown-unit
  ["A:B1", "B:B9"],                      #! twice
  ["A:V1", "B:V1"],                      #! one-sided
  ["B:F1", "B:F1"],                      #! same
  ["B:F1"],                              #! wrong-type
]
[initial.status]
"A:F1" = "capped"                        #! twice
"B:F1" = "mated"                         #! mate-missing
"B:B9" = "opened"                        #! unknown-port
A = "open"                               #! unknown-port
[initial.place]
A = "BAY-1"
B = { at = "BAY-1", facing = "down" }    #! facing
BAY-2 = "BAY-1"                          #! unknown-unit
C = "BAY-9"                              #! unknown-unit unknown-place
""",
    "initial, long forms": """
[[kind]]
id = "dry"
medium = "fluid"
statuses = ["apart", "dry", "wet"]
joined = "dry"
fits = ["fluid-disconnect"]
[[part]]
id = "p"
port = [
  { name = "F1", kind = "fluid-disconnect" },
  { name = "F2", kind = "fluid-disconnect" },
  { name = "F3", kind = "fluid-disconnect" },
  { name = "D1", kind = "dry" },
]
[[unit]]
id = "A"
part = "p"
[[unit]]
id = "B"
part = "p"
[initial]
at = 2031-05-01T00:00:00Z
joined = [["A:D1", "B:F2"]]                        #! kind
place = "BAY-1"                                    #! wrong-type
[initial.status]
"A:F1" = { is = "mated", mate = "B:F1" }
"A:F2" = { is = "mated", mate = "B:F1" }           #! twice
"A:F3" = { is = "capped", mate = "B:F3" }          #! status
"B:F3" = { is = "maeted", mate = "A:F3" }
"B:D1" = { is = "dry", mte = "A:F1" }              #! wrong-type
""",
    "initial, other shapes": """
[initial]
joined = "A"                                       #! wrong-type
place = { A = ["B"], B = { facing = "up" } }       #! wrong-type wrong-type
status = { "A:F1" = 3 }                            #! wrong-type
at = 2031-05-01                                    #! bad-time
by = 3                                             #! wrong-type
""",
    "what can't be so": """
[[part]]
id = "p"
port = [{ name = "B1", kind = "bolt" }]
[[unit]]
id = "A"
part = "p"
[[unit]]
id = "B"
part = "p"
[[unit]]
id = "C"
part = "p"
[[place]]
id = "BAY-1"
capacity = 1
[[place]]
id = "BAY-2"
[initial]
at = "2031-05-01T00:00:00Z"
joined = [
  ["A:B1", "C:B1"],                      #! not-here
]
[initial.place]
A = "BAY-1"
B = "BAY-1"                              #! full
C = "BAY-2"
""",
    "words for a status": """
[[kind]]
id = "tap"
statuses = ["off", "mated", "open"]
joined = "mated"
words = { of = "not on", off = "a line\\nand another", mated = "open" }   #! unknown-status bad-words duplicate
[[kind]]
id = "plug"
statuses = ["in", "out", "lost"]
words = { in = "twenty-five characters ab", out = " ", lost = 3 }        #! bad-words bad-words bad-words
[[kind]]
id = "cock"
statuses = ["in", "out", "lost"]
words = { in = "there", lost = "there" }                                 #! duplicate
[[kind]]
id = "tee"
statuses = ["in", "out"]
words = "there"                                                          #! wrong-type
""",
    "presence": """
[[kind]]
id = "lever"
statuses = ["up", "down"]
grip = true                              #! ladder
tether = true                            #! ladder
[[part]]
id = "p"                                 #! not-a-site
port = [
  { name = "A", kind = "grip", site = "BAY" },
  { name = "B", kind = "tether", site = "BYA", reach = ["BAY", "BYA"] },   #! unknown-place unknown-place
  { name = "C", kind = "valve", remote = ["BYA"] },                        #! unknown-place
]
node = [{ name = "N", medium = "fluid", remote = ["BYA"], site = "HALL" }]   #! unknown-place unknown-field
remotely = 1                             #! unknown-field
[part.remote]
pressure = ["HALL"]
presure = ["HALL"]                       #! unknown-quantity
temperature = ["BYA"]                    #! unknown-place
[[place]]
id = "HALL"
site = true
[[place]]
id = "BAY"
operates = "ANN"                         #! not-a-doer
[[place]]
id = "ANN"
mobile = true
operates = "ANN"                         #! same
[[place]]
id = "BEN"
mobile = true
operates = "BAY"                         #! not-a-doer
[[place]]
id = "EVA"
mobile = true
operates = "CRANE"                       #! unknown-place
""",
    "halves at two sites": """
[[part]]
id = "p"
port = [{ name = "EYE", kind = "grip" }, { name = "F", kind = "fluid-disconnect" }]
[[part]]
id = "hose"
flexible = true
port = [{ name = "P", kind = "fluid-disconnect" }, { name = "Q", kind = "fluid-disconnect" }]
[[unit]]
id = "A"
part = "p"
[[unit]]
id = "B"
part = "p"
[[unit]]
id = "H"
part = "hose"
[[place]]
id = "HALL"
site = true
[[place]]
id = "BAY"
site = true
[[place]]
id = "ANN"
parent = "BAY"
mobile = true
part = "p"
[initial]
at = "2031-05-01T00:00:00Z"
joined = [
  ["A:EYE", "ANN:EYE"],                  #! not-here
  ["H:P", "A:F"],
  ["H:Q", "B:F"],
]
[initial.place]
A = "HALL"
B = "BAY"
H = "BAY"
""",
    "tables of CSV": """
[[csv]]
file = "a.csv"
table = "port"                           #! unknown-table
[[csv]]                                  #! missing
table = "ports"
csv = 1                                  #! unknown-field
""",
}


@pytest.mark.parametrize("name", BAD)
def test_every_error_is_told_at_its_line(name):
    """Each thing that is wrong is told once, with its line, and nothing else is."""
    text = BAD[name]
    wanted = [
        f"x.toml:{number}: {code}"
        for number, line in enumerate(text.splitlines(), 1)
        for code in line.partition("#!")[2].split()
    ]
    assert sorted(problems_of(parse_definition, {"x.toml": text})) == sorted(wanted)


TABLE = '[[part]]\nid = "p"\n[[csv]]\nfile = "a.csv"\ntable = "{}"\n[initial]\nat = 2031-05-01T00:00:00Z\n'
PLACES = '[[place]]\nid = "BAY-1"\n'
SHEETS = [
    ("ports", "", ["a.csv: empty"]),
    ("ports", "part,nam,kind\np,A,bolt\n", ["a.csv row 1: unknown-column", "a.csv row 1: missing-column"]),
    ("ports", "\n\npart,name,kind,kind\n", ["a.csv row 3: duplicate"]),
    ("ports", "part,name,kind\np,A\n", ["a.csv row 2: short-row"]),
    ("ports", "part,name,kind\np,A,bolt,x\n", ["a.csv row 2: long-row"]),
    ("ports", "part,name,kind\np,A,bolt,\n", ["a.csv row 2: long-row"]),
    ("ports", "part,name,kind,\np,A,bolt,\n,,,\n", []),
    ("ports", "part,name,kind,\np,A,bolt,x\n", ["a.csv row 2: unnamed-column"]),
    ("ports", "part,name,kind\np,A,bolt\n,,\n,,,\n", ["a.csv row 4: long-row"]),
    ("ports", 'part,name,kind\np,A,bolt\np,"B', ["a.csv row 3: syntax"]),
    ("ports", "part,name,kind\n\nq,A,bolt\n", ["a.csv row 3, column part: unknown-part"]),
    ("ports", "part,name,kind\np,A,bolt\np,A,bolt\n", ["a.csv row 3, column name: duplicate"]),
    ("ports", "part,name,kind,cycles\np,A,bolt,many\n", ["a.csv row 2, column cycles: wrong-type"]),
    ("ports", "part,name,kind,flexible\np,A,bolt,maybe\n", ["a.csv row 2, column flexible: wrong-type"]),
    ("ports", "part,name,kind,torque_low\np,A,bolt,20 N*m\n", ["a.csv row 2: missing"]),
    (
        "ports",
        "part,name,kind,torque_low,torque_high\np,A,bolt,20 N*m,20 bar\n",
        ["a.csv row 2, column torque_high: bad-quantity"],
    ),
    ("nodes", "part,name,medium,litres\np,N,fluid,1 kg\n", ["a.csv row 2, column litres: bad-quantity"]),
    ("links", "part;a;b\np;A;B\n", ["a.csv row 2, column a: unknown-port", "a.csv row 2, column b: unknown-port"]),
    ("units", "id\tpart\nA\tp\nA\tp\n", ["a.csv row 3, column id: duplicate"]),
    ("places", "id,parent,capacity\nA,B,0\n", [
        "a.csv row 2, column parent: unknown-place",
        "a.csv row 2, column capacity: out-of-range",
    ]),
    ("initial", "subject,mate,status,place,facing\nA,,,,up\nA,A,,,\n", [
        "a.csv row 2, column facing: missing",
        "a.csv row 2: missing",
        "a.csv row 3, column mate: same",
    ]),
    ("initial", "subject,place\nA,BAY-1\n", ["a.csv row 2, column place: unknown-unit"]),
]  # fmt: skip


@pytest.mark.parametrize(("table", "sheet", "wanted"), SHEETS)
def test_every_error_of_a_sheet_is_told_at_its_row(table, sheet, wanted):
    """Rows are counted as the spreadsheet shows them, and the column is named where one is to blame."""
    read = {"x.toml": TABLE.format(table) + PLACES}
    if wanted:
        assert problems_of(parse_definition, read, sheets={"a.csv": sheet}) == wanted
    else:
        assert parse_definition(read, sheets={"a.csv": sheet}).parts["p"].ports["A"].kind == "bolt"


FILES = [
    ("absent.toml", None, "no-such-file"),
    ("empty.toml", b" \n", "empty"),
    ("journal.toml", b"SQLite format 3\0" + bytes(64), "not-text"),
    ("sheet.toml", b"PK\x03\x04" + bytes(64), "not-text"),
    ("binary.toml", b"a = 1\0", "not-text"),
    ("wide.toml", 'title = "x"'.encode("utf-16"), "not-text"),
    ("sheet.csv", b"part,name,kind\np,A,bolt\n", "wrong-kind"),
    ("sheet.txt", b"part;name;kind\np;A;bolt\n", "wrong-kind"),
    ("data.toml", b'{"part": []}\n', "wrong-kind"),
    ("page.toml", b"<html>\n", "wrong-kind"),
]


@pytest.mark.parametrize(("name", "content", "code"), FILES)
def test_a_file_of_the_wrong_kind_is_named_for_what_it_is(tmp_path, name, content, code):
    """A file that is absent, empty, binary or of another format is told as that, not as bad TOML."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    (problem,) = problems_of(read_definition, [path])
    assert re.fullmatch(rf"{re.escape(str(path))}(:1)?: {code}", problem)


def test_a_byte_that_is_no_text_is_told_with_its_line(tmp_path):
    """Text in another encoding than UTF-8 is told with the line of the first byte that doesn't fit."""
    path = tmp_path / "latin.toml"
    path.write_bytes('title = "x"\n# Gr\xfc\xdfe\n'.encode("latin-1"))
    assert problems_of(read_definition, [path]) == [f"{path}:2: not-text"]


def test_a_folder_is_no_file(tmp_path):
    """A folder given as a file is told as that."""
    assert problems_of(read_definition, [tmp_path]) == [f"{tmp_path}: not-a-file"]


def test_files_are_read_beside_the_one_that_names_them(tmp_path, hardware, sheets):
    """CSV files stand relative to the TOML file, and all problems of all files are told together."""
    for name, text in {"plant.toml": hardware, **sheets}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert set(read_definition([tmp_path / "plant.toml"]).units) == {"PUMP-1", "PUMP-2"}
    (tmp_path / "units.csv").write_bytes(b"id,part\nPUMP 1,pump\nPUMP-2,pump\n")
    (tmp_path / "more.toml").write_text('[[unit]]\nid = "PUMP-2"\npart = "pump"\n[[unit]\n')
    assert problems_of(read_definition, [tmp_path / "more.toml", tmp_path / "plant.toml"]) == [
        f"{tmp_path}/more.toml:4: syntax",
        f"{tmp_path}/units.csv row 2, column id: bad-id",
    ]


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (None, "units.csv: no-such-file"),
        ("id,part\nPUMP-1,pump\n".encode("utf-16"), "units.csv: not-text"),
        (b"id,prat\nPUMP-1,pump\n", "units.csv row 1: unknown-column"),
    ],
)
def test_what_follows_from_an_unread_list_does_not_bury_it(tmp_path, hardware, sheets, raw, code):
    """Names that a list which can't be read may define aren't told one by one: its own error says how many."""
    for name, text in {"plant.toml": hardware, **sheets}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "units.csv").unlink()
    if raw is not None:
        (tmp_path / "units.csv").write_bytes(raw)
    with pytest.raises(BadInput) as caught:
        read_definition([tmp_path / "plant.toml"])
    told = [f"{p.where}: {code_of(p)}".removeprefix(f"{tmp_path}/") for p in caught.value.problems]
    assert code in told
    assert not any("unknown-unit" in one for one in told)
    assert any("can't be looked up" in p.sentence for p in caught.value.problems)


def test_with_every_list_read_each_unknown_name_is_told():
    """A unit of an unknown part is told where nothing is left unread."""
    assert problems_of(parse_definition, {"x.toml": '[[unit]]\nid = "A"\npart = "pupm"\n'}) == [
        "x.toml:3: unknown-part"
    ]


def test_a_sentence_says_what_was_expected_and_what_was_found():
    """A message names the thing, what was expected, what was found, and near names for a mistyped id."""
    text = '[[part]]\nid = "pump"\nmass = "25 degC"\n[[unit]]\nid = "A"\npart = "pupm"\n'
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": text})
    mass, part = caught.value.problems
    assert mass.sentence == (
        "part pump, mass: expected a mass such as 12 kg, not temperature ('degC'), found '25 degC'"
    )
    assert part.sentence == "unit A, part: there is no part pupm; near names: pump"
    assert part.row == 'part = "pupm"'


def test_a_truncated_file_is_never_taken_for_a_whole_one(hardware, sheets):
    """Cut inside a value or a table's head, a file is bad input with the line of the cut."""
    whole = hardware.split("[[csv]]")[0].rstrip()
    for cut in (whole.rindex('"'), whole.rindex("["), whole.rindex("="), whole.rindex("degC")):
        (problem,) = problems_of(parse_definition, {"x.toml": whole[:cut]}, sheets=sheets)
        assert re.fullmatch(r"x\.toml:\d+: syntax", problem)


def test_a_list_whose_first_row_is_torn_is_told_once():
    """A quote that is never closed in the row of the column names is told where it is, and as nothing else."""
    told = problems_of(
        parse_definition, {"x.toml": TABLE.format("units")}, sheets={"a.csv": '\n"id,part\nA,p\n'}
    )
    assert told == ["a.csv row 2: syntax"]


JUNK = st.sampled_from(
    ['"', "[", "]", "{}", "=", "\n", "1", "[]", '""', "[[unit]]\n", "nan", "true", "é", "'", "\\"]
)


@st.composite
def damaged(draw, text):
    """A text with up to three places cut out or written over."""
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        stop = draw(st.integers(start, min(len(text), start + 30)))
        text = text[:start] + draw(JUNK | st.just("")) + text[stop:]
    return text


def assert_read_or_told(text, sheets):
    """What is read holds together; each problem stands in a file that was given, or that the text names."""
    try:
        definition = parse_definition({"plant.toml": text}, sheets=sheets)
    except BadInput as bad:
        files = {"plant.toml": text, **sheets}
        for where in {p.where for p in bad.problems}:
            name = next((n for n in files if re.match(re.escape(n) + r"(:|\ |$)", where)), None)
            if name is None:
                # The damage may be to the name itself: what is left of it is what can't be found.
                assert where in {str(Path(c["file"])) for c in tomllib.loads(text)["csv"] if c.get("file")}
                continue
            place = re.fullmatch(r"(?::| row )(\d+)(?:, column .+)?|", where.removeprefix(name), re.DOTALL)
            assert place is not None, where
            assert int(place[1] or 1) in range(1, len(files[name].splitlines()) + 2)
    else:
        plant = definition.plant()
        assert all(plant.port(address) for owner in plant.owners() for address in plant.ports_of(owner))


@given(data=st.data())
def test_damaged_files_are_read_or_told_never_worse(data, hardware, sheets):
    """Whatever is cut out of the files or written over, the outcome is a definition or a list of problems."""
    torn = {name: data.draw(damaged(sheet)) for name, sheet in sheets.items()}
    assert_read_or_told(data.draw(damaged(hardware)), torn)


@pytest.mark.parametrize(
    "left", ["", ".csv", "csv", "ports", "p", "..", "/", "a b", "ports.csv/", "1:2", "é"]
)
def test_a_damaged_file_name_is_told_as_it_stands(left, hardware, sheets):
    """Damage that hits the name of a list leaves another name, or none: it is told what was looked for."""
    assert hardware.count('"ports.csv"') == 1
    assert_read_or_told(hardware.replace('"ports.csv"', f'"{left}"'), sheets)


def test_a_name_that_no_file_can_have_is_told(tmp_path):
    """A zero byte can be written in TOML and in no file's name: that is bad input like any other."""
    path = tmp_path / "plant.toml"
    path.write_text('[[csv]]\nfile = "\\u0000.csv"\ntable = "units"\n')
    assert problems_of(read_definition, [path]) == [f"{path}:2: text"]


NAMES = st.text("ABC-1.", min_size=1, max_size=4).filter(lambda name: name[0] in "ABC1")
CELLS = st.text(' a,;"\t\n1é', max_size=6).map(str.strip)


@given(st.dictionaries(NAMES, CELLS, min_size=1, max_size=5), st.sampled_from(",;\t"))
def test_units_from_rows_equal_units_from_tables(units, delimiter):
    """A cell in quotes may hold delimiters, line breaks and doubled quotes (RFC 4180, section 2, rules 5 to 7)."""
    quoted = {name: title.replace('"', '""') for name, title in units.items()}
    rows = "".join(f'{name}{delimiter}p{delimiter}"{title}"\r\n' for name, title in quoted.items())
    sheet = f"id{delimiter}part{delimiter}title\r\n{rows}"
    found = parse_definition({"x.toml": TABLE.format("units")}, sheets={"a.csv": sheet}).units
    assert found == {name: Unit(name, "p", title=title) for name, title in units.items()}


@pytest.mark.parametrize("name", ["ÜNIT-1", "-3", ".a", "a b", "A:B"])
def test_what_an_id_is_made_of_is_said(name):
    """Letters are those of ASCII, and one of them or a digit comes first: the sentence says both."""
    with pytest.raises(BadInput) as told:
        parse_definition({"x.toml": f'[[place]]\nid = "{name}"\n'})
    assert "letters A-Z and a-z, digits and . _ / + -, a letter or digit first" in str(told.value)


def test_files_are_loaded_with_what_they_refer_to():
    """A file of units alone refers to parts that another file defines: where none does, it is said what to do."""
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": '[[unit]]\nid = "A"\npart = "p"\n'})
    (problem,) = caught.value.problems
    assert problem.sentence.endswith(
        "there is no part p: these files define no part; what belongs together is loaded together"
    )
