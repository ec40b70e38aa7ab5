"""Rules that speak of aliases and attributes: what they name, how it is said, and what is told of slips."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from cfgtrack.files.rules import parse_rules
from cfgtrack.model.attribute import AttributeTest, attribute_of
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.naming import by_ids
from cfgtrack.rules.selection import Bound, Selection, place_fits
from tests.rules.worlds import KINDS, MEDIA
from tests.told import code_of

WIRE = Part(
    "wire",
    ports={
        "F1": Port("F1", "tube", aliases=("rechts *",), attributes={"colour": "red"}),
        "F2": Port("F2", "tube", attributes={"length": attribute_of("1 m")}),
    },
    nodes={"vol": Node("vol", "fluid", litres=1.0)},
    aliases=("Draht [8]",),
    attributes={"gauge": "AWG 20", "length": attribute_of("3 m")},
)
PLANT = Plant(
    MEDIA,
    KINDS,
    {"wire": WIRE},
    {
        "W1": Unit("W1", "wire", aliases=("=A1 W#1", "peer", "#1")),
        "W2": Unit("W2", "wire", attributes={"length": attribute_of("50 cm"), "made": date(2029, 2, 28)}),
    },
    {"RACK": Place("RACK", aliases=("#Regal", "Regal 1"), attributes={"gauge": "AWG 18"})},
)


def asking(name, **more):
    """A selection by one attribute, whose values are as they are written."""
    values: dict[str, Any] = {
        key: tuple(map(attribute_of, v)) if key == "among" else attribute_of(v) for key, v in more.items()
    }
    return (AttributeTest(name, **values),)


NAMED = [
    (Selection(ids=("=A1 W#1",)), ("W1",)),
    (Selection(ids=("=A1 W#1:rechts *",)), ("W1:F1",)),
    (Selection(ids=("W2:rechts *",)), ("W2:F1",)),
    (Selection(ids=("W?",)), ("W1", "W2")),
    (Selection(parts=("Draht [8]",), what=("unit",)), ("W1", "W2")),
    (Selection(places=("#Regal",)), ("RACK",)),
    (Selection(attributes=asking("gauge")), ("W1", "W2", "RACK")),
    (Selection(attributes=asking("gauge", among=("AWG 20",))), ("W1", "W2")),
    (Selection(attributes=asking("gauge", among=("AWG 20",)), what=("node",)), ("W1:vol", "W2:vol")),
    (Selection(attributes=asking("length", low="60 cm")), ("W1", "W1:F2", "W2:F2")),
    (Selection(attributes=asking("length", low="60 cm", high="2 m")), ("W1:F2", "W2:F2")),
    (Selection(attributes=asking("length", low="60 cm"), kinds=("tube",)), ("W1:F1", "W1:F2", "W2:F2")),
    (Selection(attributes=asking("made", high="2030-01-01")), ("W2",)),
    (Selection(attributes=(*asking("colour"), *asking("length"))), ()),
    (Selection(attributes=(*asking("colour"), *asking("length")), kinds=("tube",)), ("W1:F1", "W2:F1")),
]


@pytest.mark.parametrize(("selection", "names"), NAMED)
def test_what_a_selection_names(selection, names):
    """An alias is the thing itself, whole and exact; a port has its unit's attributes where ports alone are asked for,
    and its own before those, as a unit has its part's.
    """
    assert selection.candidates(PLANT) == names
    every = [a for o in PLANT.owners() for a in (o, *PLANT.ports_of(o), *PLANT.nodes_of(o))]
    bound = Bound(selection, Configuration(PLANT))
    assert tuple(a for a in every if bound.names(a)) == names


def test_a_place_is_named_before_a_tag():
    """An alias that begins like a tag is the place that has it."""
    assert place_fits(PLANT, "RACK", ("#Regal",))
    assert not place_fits(PLANT, "RACK", ("#other",))


def test_what_is_said_is_the_id():
    """What a rule calls by aliases it says, and judges, by ids."""
    text = """
[[rule]]
id = "r"
title = "t"
hazard = "h"
severity = 2
source = "common practice"
mode = "at"
at = { action = "place", part = "Draht [8]", to = "Regal 1" }
condition = { all = [{ status = "=A1 W#1", at = "Regal 1" }, { not = { status = "=A1 W#1:rechts *", is = "mated" } }] }
"""
    (rule,) = parse_rules({"r.toml": text}, PLANT).rules
    told = by_ids(rule, PLANT)
    assert told.mode.words() == "just before place of any item of part wire to RACK"
    assert "W1 is at RACK" in told.condition.words()
    assert "W1:F1" in told.condition.words()
    (again,) = parse_rules({"r.toml": text}).rules
    assert by_ids(again, PLANT) == told
    assert by_ids(rule, replace_names(PLANT)) == rule


def replace_names(plant):
    """The plant without any alias."""
    part = replace(WIRE, aliases=(), ports={n: replace(p, aliases=()) for n, p in WIRE.ports.items()})
    units = {n: replace(u, aliases=()) for n, u in plant.units.items()}
    places = {n: replace(p, aliases=()) for n, p in plant.places.items()}
    return Plant(plant.media, plant.kinds, {"wire": part}, units, places)


SAID = {
    "any item with gauge AWG 20 or AWG 18": asking("gauge", among=("AWG 20", "AWG 18")),
    "any item with length of at least 60 cm and at most 2 m": asking("length", low="60 cm", high="2 m"),
    "any item with attribute colour and made of at most 2030-01-01": (
        *asking("colour"),
        *asking("made", high="2030-01-01"),
    ),
}


@pytest.mark.parametrize("words", SAID)
def test_words(words):
    """What is asked of attributes is said in plain words."""
    assert Selection(attributes=SAID[words]).words() == words


READ = [
    ('{ attribute = { name = "gauge" } }', asking("gauge")),
    ('{ attribute = { name = "gauge", is = "AWG 20" } }', asking("gauge", among=("AWG 20",))),
    (
        '{ attribute = { name = "gauge", is = ["AWG 20", "AWG 18"] } }',
        asking("gauge", among=("AWG 20", "AWG 18")),
    ),
    (
        '{ attribute = { name = "length", min = "60 cm", max = "2 m" } }',
        asking("length", low="60 cm", high="2 m"),
    ),
    (
        '{ attribute = [{ name = "length" }, { name = "made", max = 2030-01-01 }] }',
        (*asking("length"), *asking("made", high="2030-01-01")),
    ),
]
RULE = """
[[rule]]
id = "r"
title = "t"
hazard = "h"
severity = 2
source = "common practice"
mode = "always"
scope = {}
condition = {{ count = {}, at_least = 0 }}
"""


@pytest.mark.parametrize(("text", "tests"), READ)
def test_an_attribute_is_asked_for_in_a_file(text, tests):
    """`attribute` is a table, or a list of them: its name, and what it is or the range that it is in."""
    (rule,) = parse_rules({"r.toml": RULE.format(text, text)}, PLANT).rules
    assert rule.scope == Selection(attributes=tests)


SLIPS = [
    ('{ attribute = { name = "guage" } }', "names-nothing", "near names: gauge"),
    ('{ attribute = { name = "gauge", is = "AWG 12" } }', "names-nothing", "selected by gauge AWG 12"),
    ('{ attribute = { name = "length", min = "9 m" } }', "names-nothing", "length of at least 9 m"),
    ('{ attribute = { name = "length", min = "1 kg" } }', "names-nothing", "length of at least 1 kg"),
    ('{ attribute = { name = "gauge", min = "AWG 12" } }', "wrong-type", "a number with its unit or a date"),
    ('{ attribute = { name = "gauge", is = "x", max = "2 m" } }', "contradiction", "not for both"),
    ('{ attribute = { is = "x" } }', "missing", "name is missing"),
    ('{ attribute = { name = "gauge", is = [] } }', "missing", "is lists nothing"),
    ('{ attribute = { name = "gauge", at_least = 3 } }', "unknown-field", "at_least"),
    ('{ attribute = "gauge" }', "wrong-type", "expected tables"),
    ('"=A1 W#2"', "unknown-reference", "there is no reference =A1 W#2"),
    ('{ id = "=A1W#1" }', "names-nothing", "near names: =A1 W#1"),
    ('{ part = "Draht [9]" }', "names-nothing", "nothing in the plant is selected by part Draht [9]"),
]


@pytest.mark.parametrize(("text", "code", "told"), SLIPS)
def test_a_slip_is_told(text, code, told):
    """An attribute that nothing has selects nothing, which is an error like any other; near names are told."""
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": RULE.format(text, '"W1"')}, PLANT)
    assert [code_of(problem) for problem in caught.value.problems] == [code]
    assert told in caught.value.problems[0].sentence


def test_what_may_be_two_things_is_no_selection():
    """A rule can't name what nobody could tell apart, though it may be empty."""
    ports = {"F1": replace(WIRE.ports["F1"], aliases=("C", "B:C"))}
    part = replace(WIRE, ports=ports)
    units = {"W1": Unit("W1", "wire", aliases=("A",)), "W2": Unit("W2", "wire", aliases=("A:B",))}
    plant = Plant(MEDIA, KINDS, {"wire": part}, units, {})
    with pytest.raises(BadInput, match=r"ambiguous: .*may be W1:F1 or W2:F1"):
        parse_rules({"r.toml": "may_be_empty = true" + RULE.format('"A:B:C"', '"W1"')}, plant)


STARRED = Plant(
    MEDIA,
    KINDS,
    {"wire": WIRE},
    {"W1": Unit("W1", "wire"), "W2": Unit("W2", "wire"), "Q": Unit("Q", "wire", aliases=("W*", "Z*"))},
    {"RACK": Place("RACK"), "STORE": Place("STORE", aliases=("R*",))},
)
PATTERNS = [
    ('{ id = "W*" }', "W* is what Q is called, and a pattern that W1 fits"),
    ('"W*:F1"', "W*:F1 is what Q:F1 is called, and a pattern that W1:F1 fits"),
    ('{ place = "R*" }', "R* is what STORE is called, and a pattern that RACK fits"),
    ('{ at = "R*", may_be_empty = true }', "R* is what STORE is called, and a pattern that RACK fits"),
]


@pytest.mark.parametrize(("text", "told"), PATTERNS)
def test_a_pattern_that_is_an_alias_too_is_no_selection(text, told):
    """What fits ids as a pattern, and is what another thing is called, is refused: a rule would guard one of them."""
    with pytest.raises(BadInput, match="ambiguous") as caught:
        parse_rules({"r.toml": RULE.format(text, text)}, STARRED)
    assert all(told in problem.sentence for problem in caught.value.problems)


def test_an_alias_takes_nothing_from_a_pattern():
    """A rule that was there first guards what its pattern fits, whatever is called so later; else an alias is one."""
    assert Selection(ids=("W*",)).candidates(STARRED) == ("W1", "W2")
    assert Selection(ids=("Z*",)).candidates(STARRED) == ("Q",)
    assert Selection(places=("R*",)).candidates(STARRED) == ("RACK",)
    assert Selection(at=("R*",)).by_ids(STARRED).at == ("R*",)
    assert not place_fits(STARRED, "STORE", ("R*",))
