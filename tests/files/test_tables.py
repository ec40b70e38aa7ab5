"""Tables: columns that are mapped, what they make, and what is told of those that are wrong."""

import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.definition_files import definition_files
from cfgtrack.files.foreign.drawing import ident
from cfgtrack.model.attribute import attribute_text
from cfgtrack.model.part import InternalLink, Node
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.trouble import BadInput
from tests.files.malformed import MALFORMED, PARTS, book


def told_of(text, sheets):
    """What is told of a definition that is wrong."""
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": text}, sheets=sheets)
    return caught.value.problems


@pytest.mark.parametrize("name", MALFORMED)
def test_a_malformed_sheet_is_refused_with_everything_that_is_wrong(name):
    """Each error is told with file, sheet, row and column, and what was expected; all at once, and nothing else."""
    sheet = MALFORMED[name]
    text = f'{PARTS}[[table]]\nfile = "{sheet.file}"\n{sheet.mapping}'
    found = told_of(text, {sheet.file: sheet.content})
    joined = " " if sheet.told[0][0].startswith("row") else ""
    assert [(p.where, p.code) for p in found] == [
        (f"{sheet.file}{joined}{where}", code) for where, code, _ in sheet.told
    ]
    for problem, (_, _, words) in zip(found, sheet.told, strict=True):
        assert words in problem.sentence


# --- what a mapping makes of a table ----------------------------------------------------------------------------------

LIST = """\
Parts list,,,,,
Pos.,Item,Maker,"Maker's
No",Qty,Price
1,Pump,Alpha,A/100,2,"1.234,50"
2,Ball valve,Beta,B 7,3,12
,,,,,
3,Ball valve,Beta,B 7,1,12
Sum,,,,,"1.246,50"
"""
PLANT = """\
[[table]]
file = "list.csv"
header = 2
of = "parts"
columns = { Item = "id" }
values = { title = "{Maker} {maker's no}" }
leave_out = ["Pos.", "Price", "Qty"]
leave_out_rows = { Item = "", "Pos." = "sum*" }
make_ids = true
repeats = "one"

[[table]]
file = "list.csv"
header = 2
of = "units"
columns = { Item = "part", Qty = "quantity" }
values = { loop = "A" }
leave_out = ["Pos.", "Price", "Mak*"]
leave_out_rows = { Item = "" }
number = "{part}-{n:02}"
make_ids = true
"""


def test_a_parts_list_is_read_with_a_dozen_lines():
    """A quantity makes units, numbered on over the rows of one part; names become ids; a text is composed."""
    found = parse_definition({"x.toml": PLANT}, sheets={"list.csv": LIST})
    assert {part.id: part.title for part in found.parts.values()} == {
        "Pump": "Alpha A/100",
        "Ball-valve": "Beta B 7",
    }
    assert [(unit.id, unit.part, unit.loop) for unit in found.units.values()] == [
        ("Pump-01", "Pump", "A"),
        ("Pump-02", "Pump", "A"),
        ("Ball-valve-01", "Ball-valve", "A"),
        ("Ball-valve-02", "Ball-valve", "A"),
        ("Ball-valve-03", "Ball-valve", "A"),
        ("Ball-valve-04", "Ball-valve", "A"),
    ]
    assert found.origins["unit", "Ball-valve-04"] == "list.csv row 6"


def test_a_name_that_is_no_id_is_kept_as_title():
    """What an id was made of is the title where there is no other."""
    text = '[[table]]\nfile = "a.csv"\nof = "parts"\ncolumns = { Item = "id" }\nmake_ids = true\n'
    found = parse_definition({"x.toml": text}, sheets={"a.csv": "Item\nØ 8 hose\nplain\n"})
    assert {part.id: part.title for part in found.parts.values()} == {"8-hose": "Ø 8 hose", "plain": ""}


@pytest.mark.parametrize(
    "fields", ['"id", "title"', '"title", "id"', '"id", "title", "aliases"', '"aliases", "id"']
)
def test_what_is_made_of_a_column_leaves_what_else_it_is(fields):
    """A column that is read as id and title is made an id of once: the title stays as it is written, and the alias."""
    text = f'[[table]]\nfile = "a.csv"\nof = "parts"\ncolumns = {{ Name = [{fields}] }}\nmake_ids = true\n'
    (part,) = parse_definition({"x.toml": text}, sheets={"a.csv": "Name\nKühl pumpe\n"}).parts.values()
    assert (part.id, part.title, part.aliases) == ("Kuhl-pumpe", "Kühl pumpe", ("Kühl pumpe",))


CALLED = """
[[part]]
id = "p1"
aliases = ["Teil A"]
port = [{ name = "F1", kind = "fluid-disconnect", aliases = ["Vor lauf"] }, { name = "V", kind = "valve" }]
[[part]]
id = "Teil-B"
[[unit]]
id = "U0"
part = "p1"
aliases = ["Erste Pumpe"]
[[place]]
id = "HALL"
aliases = ["Große Halle"]
[initial]
at = 2031-05-01T00:00:00Z
"""


def test_a_name_of_which_an_id_is_made_may_be_an_alias():
    """In a table that makes ids, what refers to a thing may be what that is called; else it is an id made alike."""
    text = CALLED + "".join(
        f'[[table]]\nfile = "{of}.csv"\nof = "{of}"\nmake_ids = true\n'
        for of in ("units", "nodes", "links", "initial", "joints")
    )
    sheets = {
        "units.csv": "id,part,home\nU 1,Teil A,Große Halle\nU 2,Teil B,HALL\n",
        "nodes.csv": "part,name,medium\nTeil A,N,fluid\n",
        "links.csv": "part,a,b\nTeil A,Vor lauf,N\n",
        "initial.csv": "subject,place,status\nErste Pumpe,Große Halle,\nU 1:V,,open\nU*0:V,,open\n",
        "joints.csv": "a,b\nErste Pumpe:Vor lauf,U 1:Vor lauf\n",
    }
    found = parse_definition({"x.toml": text}, sheets=sheets)
    assert {u.id: (u.part, u.home) for u in found.units.values()} == {
        "U0": ("p1", ""),
        "U-1": ("p1", "HALL"),
        "U-2": ("Teil-B", "HALL"),
    }
    assert found.parts["p1"].links == (InternalLink("F1", "N"),)
    assert [(e.subjects, e.place or e.status) for e in found.initial] == [
        (("U0",), "HALL"),
        (("U0:F1", "U-1:F1"), "mated"),
        (("U-1:V",), "open"),
        (("U0:V",), "open"),
    ]
    said = [u.part for u in found.units.values()] + [s for e in found.initial for s in e.subjects]
    assert {type(one) for one in said} == {str}


@pytest.mark.parametrize("name", ["???", "東京", "A:東京"])
def test_where_no_id_can_be_made_of_a_name(name):
    """What has no letter of which an id could be made is refused as it stands; umlauts have one."""
    text = '[[table]]\nfile = "a.csv"\nof = "parts"\nmake_ids = true\n'
    (told,) = told_of(text, {"a.csv": f"id\nÄ\nÖ\n{name}\n"})
    assert (told.where, told.code) == ("a.csv row 4, column id", "bad-id")
    assert f"found '{name}'" in told.sentence


def test_an_id_is_made_alike_wherever_it_is_made():
    """A table and the readers of other forms make one id of one name."""
    text = '[[table]]\nfile = "a.csv"\nof = "parts"\nmake_ids = true\n'
    names = ("Kühlpumpe", "Ventil #3 (alt)", "=A1+K2", "plain-", "ß x")
    found = parse_definition({"x.toml": text}, sheets={"a.csv": "\n".join(("id", *names))})
    assert list(found.parts) == [ident(name) for name in names]


def test_words_of_a_list_stand_between_blanks_or_commas():
    """Tags may be parted as people part them: none has a comma, and one that has is kept whole in TOML."""
    text = f'{PARTS}[[table]]\nfile = "a.csv"\nof = "units"\n'
    units = parse_definition({"x.toml": text}, sheets={"a.csv": 'id,part,tags\nA,pump,"a, b;c  d"\n'}).units
    assert units["A"].tags == {"a", "b", "c", "d"}
    many = "".join(f'[[unit]]\nid = "A{i}"\npart = "pump"\ntags = ["a,b"]\n' for i in range(50))
    definition = parse_definition({"x.toml": PARTS + many})
    again = definition_files(definition, head=())
    sheets = {name: one for name, one in again.items() if name.endswith(".csv")}
    texts = {name: one for name, one in again.items() if name not in sheets}
    assert parse_definition(texts, sheets=sheets).units["A7"].tags == {"a,b"}


@pytest.mark.parametrize("table", ['[[table]]\nof = "units"', '[[csv]]\ntable = "units"'])
def test_a_header_alone_is_said(table):
    """A list without rows is none that is wrong, but somebody should know."""
    text = f'{PARTS}{table}\nfile = "a.csv"\n'
    found = parse_definition({"x.toml": text}, sheets={"a.csv": "id,part\n\n"})
    assert found.notes == ("note: a.csv: there is a header, and no row to read",)
    assert parse_definition({"x.toml": text}, sheets={"a.csv": "id,part\nA,pump\n"}).notes == ()


def test_what_is_named_is_read_though_a_pattern_leaves_it_out():
    """An attribute that is named comes before a pattern of what is left out; named in both it is an error."""
    text = f'{PARTS}[[table]]\nfile = "a.csv"\nof = "units"\nattributes = ["Len"]\nleave_out = ["L*"]\n'
    sheets = {"a.csv": "id,part,Len,Lot\nA,pump,3 m,7\n"}
    assert list(parse_definition({"x.toml": text}, sheets=sheets).units["A"].attributes) == ["Len"]
    (told,) = told_of(text.replace('"L*"', '"L*", "len"'), sheets)
    assert (told.code, "len is to be read, and left out" in told.sentence) == ("contradiction", True)


def test_no_aliases_are_none():
    """An empty list of aliases says that there are none."""
    text = '[[part]]\nid = "p"\naliases = []\ntags = []\n'
    assert parse_definition({"x.toml": text}).parts["p"].aliases == ()


def test_what_no_cell_says_is_a_value_of_the_table():
    """A value stands where the table has no such column, or the cell is blank."""
    text = f'{PARTS}[[table]]\nfile = "a.csv"\nof = "units"\nvalues = {{ part = "pump", home = "BAY" }}\n'
    found = parse_definition({"x.toml": text}, sheets={"a.csv": "id,part\nA,valve\nB,\n"})
    assert [(u.id, u.part, u.home) for u in found.units.values()] == [
        ("A", "valve", "BAY"),
        ("B", "pump", "BAY"),
    ]


def test_other_words_units_and_decimal_commas():
    """Words are exchanged whatever their case, a bare number gets the column's unit, a decimal comma is read."""
    text = PARTS + (
        '[[table]]\nfile = "a.csv"\nof = "nodes"\n'
        'columns = { Type = "part", Name = "name", "Filled with" = "medium", "Volume [ml]" = "litres" }\n'
        'words = { medium = { "Hydraulic oil" = "fluid" } }\nunits = { litres = "ml" }\ndecimal = ","\n'
    )
    sheet = "Type;Name;Filled with;Volume [ml]\npump;N;hydraulic  OIL;1,5\npump;M;fluid;2 l\n"
    nodes = parse_definition({"x.toml": text}, sheets={"a.csv": sheet}).parts["pump"].nodes
    assert {n.name: (n.medium, n.litres) for n in nodes.values()} == {
        "N": ("fluid", 0.0015),
        "M": ("fluid", 2.0),
    }


@pytest.mark.parametrize("more", ['attributes = ["Len", "Steel"]', 'keep = "attributes"'])
def test_attributes_have_decimal_commas_too(more):
    """What is a number is one in an attribute's column, with the table's comma; other texts stay as they are."""
    text = f'{PARTS}[[table]]\nfile = "a.csv"\nof = "units"\n{more}\ndecimal = ","\n'
    sheet = "id;part;Len;Steel\nA;pump;0,3 m;1.4301\nB;pump;2 m, 3,5 m;X2,5Cr\n"
    units = parse_definition({"x.toml": text}, sheets={"a.csv": sheet}).units
    assert {name: attribute_text(one) for name, one in units["A"].attributes.items()} == {
        "Len": "0.3 m",
        "Steel": "1.4301",
    }
    length = units["A"].attributes["Len"]
    assert isinstance(length, Quantity)
    assert length.value == 0.3
    assert units["B"].attributes == {"Len": "2 m, 3,5 m", "Steel": "X2,5Cr"}


def test_a_number_of_a_workbook_has_no_language():
    """What a workbook holds as a number is that number, though its texts have decimal commas."""
    text = PARTS + (
        '[[table]]\nfile = "a.xlsx"\nof = "nodes"\ncolumns = { Filled = "medium" }\nleave_out = "Vol"\n'
        'values = { litres = "{Vol}" }\nunits = { litres = "l" }\ndecimal = ","\n'
    )
    cells = book(
        ["part", "name", "Filled", "Vol"], ["pump", "N", "fluid", 1.234], ["pump", "M", "fluid", "1,5"]
    )
    nodes = parse_definition({"x.toml": text}, sheets={"a.xlsx": cells}).parts["pump"].nodes
    assert {name: node.litres for name, node in nodes.items()} == {"N": 1.234, "M": 1.5}
    sheet = "part;name;Filled;Vol\npump;N;fluid;1.234\n"
    (told,) = told_of(text.replace("xlsx", "csv"), {"a.csv": sheet})
    assert (told.where, told.code) == ("a.csv row 2, column litres", "ambiguous")


def test_cells_of_a_workbook_are_what_is_seen_in_them():
    """A day is an attribute that is a date, a time of it is refused; zeros that a format puts before a number stay."""

    def shown(_, sheet):
        for row in (2, 3):
            sheet.cell(row, 1).number_format = "000"

    text = f'{PARTS}[[table]]\nfile = "a.xlsx"\nof = "units"\nattributes = ["Made"]\n'
    days = [dt.date(2029, 2, 28), dt.datetime(2029, 2, 28, 7, 30)]  # noqa: DTZ001 - a sheet's dates have no zone
    cells = [["id", "part", "Made"], [7, "pump", days[0]], [1234, "pump", "x"]]
    units = parse_definition({"x.toml": text}, sheets={"a.xlsx": book(*cells, also=shown)}).units
    assert {name: one.attributes["Made"] for name, one in units.items()} == {"007": days[0], "1234": "x"}
    (told,) = told_of(text, {"a.xlsx": book(cells[0], [7, "pump", days[1]])})
    assert (told.where, told.code) == ("a.xlsx sheet List row 2, column Made", "date")


def test_a_row_that_says_the_same_again_is_one_where_that_is_said():
    """A list of connections names each of its ends as often as it is used."""
    text = PARTS + (
        '[[table]]\nfile = "a.csv"\nof = "ports"\ncolumns = { From = "name" }\nleave_out = "To"\nrepeats = "one"\n'
        'values = { part = "pump", kind = "bolt" }\n'
    )
    ports = (
        parse_definition({"x.toml": text}, sheets={"a.csv": "From,To\nX1,X2\nX1,X3\nX4,X1\n"})
        .parts["pump"]
        .ports
    )
    assert list(ports) == ["X1", "X4"]
    told = told_of(text.replace('repeats = "one"\n', ""), {"a.csv": "From,To\nX1,X2\nX1,X3\n"})
    assert [(p.where, p.code) for p in told] == [("a.csv row 3, column From", "duplicate")]


def test_a_wire_is_a_node_between_its_ends():
    """A wire has a name of its own, a medium, and is linked to both of its ends."""
    text = PARTS + (
        '[[table]]\nfile = "p.csv"\nof = "ports"\n[[table]]\nfile = "w.csv"\nof = "wires"\n'
        'columns = { Wire = "name", From = "a", To = "b", Colour = "title" }\n'
        'values = { part = "pump", medium = "power" }\n'
    )
    sheets = {
        "p.csv": "part,name,kind\npump,X1,electrical-connector\npump,X2,electrical-connector\n",
        "w.csv": "Wire,From,To,Colour\nW1,X1,X2,RD\n",
    }
    pump = parse_definition({"x.toml": text}, sheets=sheets).parts["pump"]
    assert pump.nodes == {"W1": Node("W1", "power", title="RD")}
    assert pump.links == (InternalLink("X1", "W1"), InternalLink("W1", "X2"))
    told = told_of(text, sheets | {"w.csv": "Wire,From,To,Colour\nW1,X1,X9,RD\nW2,X1,,\n"})
    assert [(p.where, p.code) for p in told] == [
        ("w.csv row 2, column To", "unknown"),
        ("w.csv row 3", "missing"),
    ]


CELLS = {
    "name": st.sampled_from(["P1", "P2", "P3", "a b", "", "1E+05", " P4 "]),
    "kind": st.sampled_from(["bolt", "valve", "blot", ""]),
    "size": st.sampled_from(["", "M6", "1-Feb", " M6 "]),
    "cycles": st.sampled_from(["", "20", "0", "many"]),
    "title": st.sampled_from(["", "x", "y", "=1", "#N/A", "é", "Ã¶"]),
}


@given(st.lists(st.tuples(*CELLS.values()), min_size=1, max_size=12))
def test_a_row_is_read_as_it_would_be_alone(rows):
    """What earlier rows said changes nothing of a row: one list is read, and told, as one list a row is."""
    parts = "".join(f'[[part]]\nid = "p{i}"\n' for i in range(len(rows)))
    header = ",".join(["part", *CELLS])
    together = "\n".join([header, *(",".join([f"p{i}", *row]) for i, row in enumerate(rows))]) + "\n"
    alone = {f"{i}.csv": f"{header}\n" + "\n" * i + ",".join([f"p{i}", *row]) for i, row in enumerate(rows)}

    def read(sheets):
        text = parts + "".join(f'[[csv]]\nfile = "{name}"\ntable = "ports"\n' for name in sheets)
        try:
            return parse_definition({"x.toml": text}, sheets=sheets).parts
        except BadInput as err:
            return sorted((p.where.partition(" ")[2], p.code, p.sentence) for p in err.problems)

    assert read({"a.csv": together}) == read(alone)


def test_the_ends_of_wires_are_made_of_a_known_kind():
    """Ends that no list defines are made, those that one does are its; a kind that nobody knows is told once."""
    text = PARTS + (
        '[[table]]\nfile = "w.csv"\nof = "wires"\nends = "electrical-connector"\n'
        'values = { part = "pump", medium = "power" }\n[[csv]]\nfile = "p.csv"\ntable = "ports"\n'
    )
    sheets = {
        "w.csv": "name,a,b\nW1,X1:1,X2\nW2,X1:2,X2\n",
        "p.csv": "part,name,kind,size\npump,X2,electrical-connector,16\n",
    }
    ports = parse_definition({"x.toml": text}, sheets=sheets).parts["pump"].ports
    assert {p.name: (p.size, list(p.contacts)) for p in ports.values()} == {
        "X2": ("16", []),
        "X1": ("", ["1", "2"]),
    }
    told = told_of(text.replace('ends = "electrical', 'ends = "elctrical'), sheets)
    assert [(p.where, p.code) for p in told] == [("x.toml:11", "unknown")]


BAD_MAPPINGS = """
[[table]]                                                       #! missing
of = "units"
[[table]]
file = "a.csv"
of = "unit"                                                     #! unknown
[[table]]
file = "a.csv"
of = "units"
columns = { A = "idd", B = "part", C = "part" }                 #! unknown duplicate
values = { lop = "x" }                                          #! unknown
words = { hme = { x = "y" }, home = 1 }                         #! unknown wrong-type
units = { id = 1 }                                              #! wrong-type
decimal = ";"                                                   #! wrong-type
number = "{part}"                                               #! number
repeats = "all"                                                 #! unknown
merged = "split"                                                #! unknown
header = 0                                                      #! out-of-range
leave_out_rows = { A = 1 }                                      #! wrong-type
ends = "bolt"                                                   #! unexpected
sheat = "x"                                                     #! unknown-field
[[table]]
file = "a.csv"
of = "units"
sheet = "x"                                                     #! no-sheets
"""


def test_every_error_of_a_mapping_is_told_at_its_line():
    """What a [[table]] says that can't be meant is told with its line, once, and nothing is read."""
    wanted = [
        (f"x.toml:{number}", code)
        for number, line in enumerate(BAD_MAPPINGS.splitlines(), 1)
        for code in line.partition("#!")[2].split()
    ]
    found = told_of(BAD_MAPPINGS, {"a.csv": "id,part\n"})
    assert sorted((p.where, p.code) for p in found) == sorted(wanted)


# --- workbooks --------------------------------------------------------------------------------------------------------


def test_a_workbook_says_the_same_as_csv():
    """Numbers, yes and no, and blank cells of a sheet are read as the same rows of CSV are."""
    text = '[[table]]\nfile = "{}"\nof = "places"\ncolumns = {{ Place = "id" }}\n'
    rows = [
        ["Place", "capacity", "mobile", "sink"],
        ["HALL", 3.0, False, "20 degC"],
        ["CART", None, True, None],
    ]
    lines = ["Place,capacity,mobile,sink", "HALL,3,no,20 degC", "CART,,yes,"]
    from_csv = parse_definition({"x.toml": text.format("a.csv")}, sheets={"a.csv": "\n".join(lines) + "\n"})
    from_book = parse_definition({"x.toml": text.format("a.xlsx")}, sheets={"a.xlsx": book(*rows)})
    assert from_book.places == from_csv.places
    assert from_book.origins["place", "CART"] == "a.xlsx sheet List row 3"


def test_what_is_merged_may_stand_for_each_of_its_cells():
    """With `merged = "fill"` the value of a merged range is that of all its cells, down a column or along a row."""
    text = f'{PARTS}[[table]]\nfile = "a.xlsx"\nof = "units"\nmerged = "fill"\n'

    def merge(_, sheet):
        sheet.merge_cells("B2:B4")
        sheet.merge_cells("C3:D3")

    rows: list[list[Any]] = [
        ["id", "part", "title", "loop"],
        ["A", "pump", "x", "y"],
        ["B", None, "z"],
        ["C", None],
    ]
    units = parse_definition({"x.toml": text}, sheets={"a.xlsx": book(*rows, also=merge)}).units
    assert [(u.part, u.title, u.loop) for u in units.values()] == [
        ("pump", "x", "y"),
        ("pump", "z", "z"),
        ("pump", "", ""),
    ]


def test_hidden_sheets_are_not_guessed_and_hidden_rows_are_said():
    """The one sheet that is seen is meant, a hidden one if it is named; rows that a filter hides are read, and told."""

    def hide(made, sheet):
        other = made.create_sheet("Old")
        other.append(["id", "part"])
        other.append(["OLD", "pump"])
        other.sheet_state = "hidden"
        sheet.row_dimensions[3].hidden = True

    content = book(["id", "part"], ["A", "pump"], ["B", "pump"], also=hide)
    text = f'{PARTS}[[table]]\nfile = "a.xlsx"\nof = "units"\n'
    seen = parse_definition({"x.toml": text}, sheets={"a.xlsx": content})
    assert (list(seen.units), seen.notes) == (
        ["A", "B"],
        ("note: a.xlsx sheet List: row 3 is hidden there, and read all the same",),
    )
    assert list(parse_definition({"x.toml": text + 'sheet = "Old"\n'}, sheets={"a.xlsx": content}).units) == [
        "OLD"
    ]


def test_a_text_that_only_looks_like_a_formula_is_a_text():
    """In a workbook a cell that was formatted as text is one, whatever it begins with."""

    def as_text(_, sheet):
        sheet["C2"].value = "=A1+B2"
        sheet["C2"].data_type = "s"

    text = f'{PARTS}[[table]]\nfile = "a.xlsx"\nof = "units"\n'
    content = book(["id", "part", "title"], ["A", "pump"], also=as_text)
    assert parse_definition({"x.toml": text}, sheets={"a.xlsx": content}).units["A"].title == "=A1+B2"
