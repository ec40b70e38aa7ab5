"""Contacts of shells, read from tables, in short and from rows of a sheet; and what is none, and why."""

from __future__ import annotations

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.item import item_from_json, item_to_json
from cfgtrack.model.part import Contact, InternalLink
from cfgtrack.model.trouble import BadInput

GROUND = '[[medium]]\nid = "ground"\n'
SHELL = 'name = "J", kind = "electrical-connector"'
BOX = (
    GROUND
    + """
[[part]]
id = "box"
port = [{{ {shell}{more} }}, {{ name = "V", kind = "valve" }}]
node = [{{ name = "bus", medium = "power" }}, {{ name = "vol", medium = "fluid" }}]
links = [{links}]
"""
)


def box(more: str, links: str = "") -> str:
    """Return a part with a connector that has `more`, and links."""
    return BOX.format(shell=SHELL, more=f", {more}" if more else "", links=links)


def test_in_short_in_tables_and_in_rows():
    """Counted up, in a table with a medium of its own, in a list: all are contacts, of the kind's medium or said."""
    text = box(
        'contacts = ["1..2", "S"], contact = [{ name = "G", medium = "ground", tags = ["shield"] }]',
        '["J:2", "bus"]',
    )
    text += '[[csv]]\nfile = "pins.csv"\ntable = "contacts"\n'
    sheet = "part,port,name,medium,loop\nbox,J,7,data,A\nbox,J,8,,\n"
    part = parse_definition({"box.toml": text}, sheets={"pins.csv": sheet}).parts["box"]
    assert [*part.ports["J"].contacts.values()] == [
        Contact("1", "power"),
        Contact("2", "power"),
        Contact("S", "power"),
        Contact("G", "ground", tags=frozenset({"shield"})),
        Contact("7", "data", loop="A"),
        Contact("8", "power"),
    ]
    assert part.links == (InternalLink("J:2", "bus"),)
    assert item_from_json("part", item_to_json("part", part)) == part


@pytest.mark.parametrize(
    ("more", "links", "says"),
    [
        ('contacts = ["1", "1"]', "", "the contact 1 is there twice"),
        ('contacts = ["1"], contact = [{ name = "1" }]', "", "J has a contact 1 already"),
        ('contacts = ["a b"]', "", "expected names of contacts, found 'a b'"),
        ('contact = [{ name = "1", medium = "powr" }]', "", "there is no medium powr; near names: power"),
        ('contact = [{ name = "1", medium = "hold" }]', "", "what holds is a port of its own"),
        ('contacts = ["1"]', '["J", "bus"]', "J is a shell: a link ends at one of its contacts, such as J:1"),
        ('contacts = ["1"]', '["J:2", "bus"]', "J has no contact 2; it has 1"),
        ('contacts = ["1"]', '["J:1", "vol"]', "J:1 is power and vol is fluid: a link has one medium"),
        ('contacts = ["1"]', '["J:1", "bus", "J:1"]', "J:1 is a contact, not a port"),
    ],
)
def test_what_is_no_contact(more, links, says):
    """Each is told with where it stands and what is wrong."""
    with pytest.raises(BadInput) as caught:
        parse_definition({"box.toml": box(more, links)})
    assert any(says in problem.sentence for problem in caught.value.problems), caught.value.problems


def test_only_shells_have_contacts():
    """A valve, a bolt and a cover have none."""
    for kind in ("valve", "bolt", "switch"):
        text = f'[[part]]\nid = "p"\nport = [{{ name = "X", kind = "{kind}", contacts = ["1"] }}]\n'
        with pytest.raises(BadInput, match=f"X is of kind {kind}: only a connector or coupling has contacts"):
            parse_definition({"p.toml": text})


def test_rows_of_no_port():
    """A row of a port, or part, that nobody defines is told by its sheet and row."""
    text = box("") + '[[csv]]\nfile = "pins.csv"\ntable = "contacts"\n'
    sheet = "part,port,name\nbox,JJ,1\nbix,J,1\n"
    with pytest.raises(BadInput) as caught:
        parse_definition({"box.toml": text}, sheets={"pins.csv": sheet})
    assert [problem.where for problem in caught.value.problems] == [
        "pins.csv row 2, column port",
        "pins.csv row 3, column part",
    ]


def test_a_tag_of_contacts_alone_is_one():
    """A rule may select by a tag and an attribute that only contacts have; near names are those of contacts, too."""
    pin = 'contact = [{ name = "1", tags = ["shield"], attributes = { gauge = "0.5 mm" } }]'
    text = box(pin) + '[[unit]]\nid = "B"\npart = "box"\n'
    plant = parse_definition({"plant.toml": text}).plant()
    rule = """
[[rule]]
id = "r"
title = "t"
hazard = "h"
severity = 1
source = "common practice"
mode = "always"
condition = { no_path = "power", from = { what = "contact", TEST }, to = "B:bus" }
"""
    for test in ('tag = "shield"', 'attribute = { name = "gauge", min = "0.1 mm" }'):
        (found,) = parse_rules({"r.toml": rule.replace("TEST", test)}, plant).rules
        assert [one.candidates(plant) for one in found.condition.checked()][:1] == [("B:J:1",)]
    with pytest.raises(BadInput, match="near names: shield"):
        parse_rules({"r.toml": rule.replace("TEST", 'tag = "sheild"')}, plant)
