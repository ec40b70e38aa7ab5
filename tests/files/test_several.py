"""Lines of the initial configuration that speak of several things: ranges, wildcards, all units of a part."""

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.trouble import BadInput

PLANT = """\
[[part]]
id = "valve"
port = [{ name = "V", kind = "valve" }, { name = "OUT", kind = "fluid-disconnect" }]
[[part]]
id = "rack"
port = [{ name = "P1", kind = "fluid-disconnect" }, { name = "P2", kind = "fluid-disconnect" }]
[[unit]]
id = "V08"
part = "valve"
[[unit]]
id = "V09"
part = "valve"
[[unit]]
id = "V10"
part = "valve"
[[place]]
id = "HALL"
[[place]]
id = "STORE"
[[place]]
id = "CART"
mobile = true
[[unit]]
id = "RACK"
part = "rack"
[initial]
at = 2031-05-01T00:00:00Z
"""
LINES = len(PLANT.splitlines())
SHEET = '[[table]]\nfile = "a.csv"\nof = "initial"\n'


def said(text, sheet=""):
    """What the initial events of a definition say: of whom, and what."""
    sheets = {"a.csv": f"subject,part,mate,status,place\n{sheet}"} if sheet else {}
    found = parse_definition({"x.toml": PLANT + text + (SHEET if sheet else "")}, sheets=sheets)
    return [(e.subjects, e.place or e.status) for e in found.initial]


def told(text, sheet=""):
    """What is told of a definition that is wrong."""
    with pytest.raises(BadInput) as caught:
        said(text, sheet)
    return [(p.where, p.code, p.sentence) for p in caught.value.problems]


def test_a_range_is_each_of_its_things():
    """A range counts up, with as many digits as its lower end is written with."""
    wanted = [(("V08:V",), "open"), (("V09:V",), "open"), (("V10:V",), "open")]
    assert said('[initial.status]\n"V08..V10:V" = "open"\n') == wanted
    assert said("", "V08..10:V,,,open,\n") == wanted


def test_two_ranges_are_joined_one_by_one():
    """A range may have a range as its mate, of as many things."""
    assert said("", "RACK:P1..P2,,V08..V09:OUT,,\n") == [
        (("RACK:P1", "V08:OUT"), "mated"),
        (("RACK:P2", "V09:OUT"), "mated"),
    ]


def test_joints_are_a_list_of_their_own():
    """A table of joints names both ends, and a status where it isn't the highest."""
    text = PLANT + '[[table]]\nfile = "j.csv"\nof = "joints"\ncolumns = { From = "a", To = "b" }\n'
    found = parse_definition(
        {"x.toml": text}, sheets={"j.csv": "From,To\nRACK:P1,V08:OUT\nRACK:P2,V10:OUT\n"}
    )
    assert [e.subjects for e in found.initial] == [("RACK:P1", "V08:OUT"), ("RACK:P2", "V10:OUT")]


def test_a_wildcard_is_everything_that_is_called_so():
    """A star stands for anything, in an owner's name or a port's; the mate's star for the same as the subject's."""
    assert [s for s, _ in said('[initial.place]\n"V*" = "HALL"\n')] == [("V08",), ("V09",), ("V10",)]
    assert [s for s, _ in said('[initial.status]\n"*:V" = "open"\n')] == [("V08:V",), ("V09:V",), ("V10:V",)]
    text = PLANT.replace('"V08"', '"A-1"').replace('"V09"', '"B-1"') + SHEET
    found = parse_definition({"x.toml": text}, sheets={"a.csv": "subject,mate\nA-*:OUT,B-*:OUT\n"})
    assert [e.subjects for e in found.initial] == [("A-1:OUT", "B-1:OUT")]


def test_a_part_says_how_its_units_begin():
    """What is said of a part holds for every unit of it, in TOML and in rows."""
    wanted = [
        (("V08",), "STORE"),
        (("V09",), "STORE"),
        (("V10",), "STORE"),
        (("V08:V",), "open"),
        (("V09:V",), "open"),
    ]
    text = '[initial.parts.valve]\nplace = "STORE"\nstatus = { V = "open" }\n'
    assert said(text)[:5] == wanted
    assert said("", "V,valve,,open,STORE\n")[:5] == wanted


def test_what_says_less_gives_way():
    """A thing by its name comes before a range, a range before a wildcard, that before a part, in any order."""
    text = """\
[initial.parts.valve]
status = { V = "open" }
[initial.status]
"V*9:V" = "shut"
"V08..V09:V" = "open"
"V09:V" = "shut"
[initial.place]
"V*" = "HALL"
"V10" = "STORE"
"""
    found = dict(said(text))
    assert {s[0]: found[s] for s in found} == {
        "V08": "HALL",
        "V09": "HALL",
        "V10": "STORE",
        "V08:V": "open",
        "V09:V": "shut",
        "V10:V": "open",
    }


def test_two_of_one_rank_must_agree():
    """Two wildcards that say different things of one thing are an error; what says the same twice is not."""
    found = told('[initial.status]\n"V0*:V" = "open"\n"*9:V" = "shut"\n')
    assert [(where, code) for where, code, _ in found] == [(f"x.toml:{LINES + 3}", "twice")]
    assert f"V09:V stands in the initial configuration already, at x.toml:{LINES + 2}" in found[0][2]
    assert len(said('[initial.status]\n"V0*:V" = "open"\n"*9:V" = "open"\n')) == 2


@pytest.mark.parametrize(
    ("row", "code", "words"),
    [
        ("X*:V,,,open,", "unknown", "nothing is called X*:V"),
        ("V10..V08:V,,,open,", "range", "the lower number first"),
        ("V8..W9:V,,,open,", "range", "expected a range such as V1..V12"),
        ("V1..V99999:V,,,open,", "range", "up to 10000"),
        ("V08..V10:V,,RACK:P1..P2,,", "range", "V08..V10:V is 3 things, RACK:P1..P2 is 2"),
        ("V*:OUT,,RACK:P1,,", "range", "as many stars"),
        ("V,valv,,open,", "unknown", "near names: valve"),
        ("V08..V11:V,,,open,", "unknown", "no unit or place V11"),
        (",valve,,,", "missing", "valve needs a mate, a status or a place"),
        (",,,open,", "missing", "subject is missing"),
    ],
)
def test_what_speaks_of_nothing_is_told(row, code, words):
    """A wildcard that fits nothing, a range that is none, a name of a range that isn't there: an error of its row."""
    found = told("", f"{row}\n")
    assert [(where.partition(",")[0], c) for where, c, _ in found] == [("a.csv row 2", code)]
    assert words in found[0][2]


@pytest.mark.parametrize(
    ("subject", "words"),
    [
        ("V0*:V", "V0*:V is what RACK:V is called, and a pattern that V08:V is in"),
        ("V08..V10:V", "V08..V10:V is what RACK:V is called, and a range that V08:V is in"),
    ],
)
def test_what_is_an_alias_too_is_told(subject, words):
    """A pattern or range that a drawing has as a name as well is an error that names both; alone it is the name."""
    named = PLANT.replace('id = "RACK"', 'id = "RACK"\naliases = ["V0*", "V08..V10", "Z*", "Z1..Z2"]')
    named = named.replace(
        'kind = "fluid-disconnect" }]\n[[unit]]',
        'kind = "fluid-disconnect" }, { name = "V", kind = "valve" }]\n[[unit]]',
    )
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": f'{named}[initial.status]\n"{subject}" = "open"\n'})
    assert [(p.code, words in p.sentence) for p in caught.value.problems] == [("ambiguous", True)]
    for alone in ("Z*:V", "Z1..Z2:V"):
        found = parse_definition({"x.toml": f'{named}[initial.status]\n"{alone}" = "open"\n'})
        assert [(e.subjects, e.status) for e in found.initial] == [(("RACK:V",), "open")]
