"""Aliases: what somebody means by a name, ids first; what can't be told apart is an error that names both."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.kind import Kind
from cfgtrack.model.naming import clashes, is_alias
from cfgtrack.model.part import Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.trouble import BadInput, NoAnswer
from cfgtrack.model.unknown import ANYTHING, PLACE, PORT, THING, expect_thing, look_up, unknown

KINDS = {
    "tube": Kind("tube", "fluid", ("apart", "mated"), {}, initial="apart", joined="mated", carries="mated")
}


def plant(*, unit=(), other=(), place=(), part=(), port=(), node=()):
    """A plant of two pumps at a bay, with some aliases."""
    pump = Part(
        "pump",
        ports={"F1": Port("F1", "tube", aliases=port), "F2": Port("F2", "tube")},
        nodes={"VOL": Node("VOL", "fluid", aliases=node)},
        aliases=part,
    )
    units = {"PUMP-1": Unit("PUMP-1", "pump", aliases=unit), "PUMP-2": Unit("PUMP-2", "pump", aliases=other)}
    return Plant({}, KINDS, {"pump": pump}, units, {"BAY": Place("BAY", aliases=place)})


NAMED = plant(
    unit=("=A1+K1", "Kühlpumpe 1"),
    place=("Bay #1 @ east", "=A1:B2"),
    part=("LPG 5000/2",),
    port=("Vorlauf", "-X1:3"),
    node=("Gehäuse",),
)

MEANT = [
    ("PUMP-1", THING, "PUMP-1"),
    ("=A1+K1", THING, "PUMP-1"),
    ("Kühlpumpe 1", THING, "PUMP-1"),
    ("Ku\u0308hlpumpe 1", THING, "PUMP-1"),
    ("PUMP-1:Vorlauf", PORT, "PUMP-1:F1"),
    ("Kühlpumpe 1:Vorlauf", PORT, "PUMP-1:F1"),
    ("Kühlpumpe 1:F1", PORT, "PUMP-1:F1"),
    ("=A1+K1:-X1:3", PORT, "PUMP-1:F1"),
    ("PUMP-2:Vorlauf", PORT, "PUMP-2:F1"),
    ("=A1+K1:Gehäuse", THING, "PUMP-1:VOL"),
    ("Bay #1 @ east", PLACE, "BAY"),
    ("=A1:B2", THING, "BAY"),
    ("LPG 5000/2", ANYTHING, "pump"),
]


@pytest.mark.parametrize(("text", "wanted", "address"), MEANT)
def test_what_is_meant(text, wanted, address):
    """An alias stands where the id might; of a port after its owner, by any name of that; in any form of letters."""
    assert look_up(NAMED, text, wanted) == (address, "", "")
    assert NAMED.resolve(text, wanted) == address


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "a\nb",
        "tab\t",
        "\x00",
        "\x85",
        "line\u2028",
        " blank",
        "\ud800",
        "*",
        "??",
        "[*]",
        "a\u202eb",
        "\u2067x",
    ],
)
def test_no_alias(text):
    """An alias has no control character or line break, and no blanks around it; it isn't blank, nor a bare wildcard."""
    assert not is_alias(text)


@given(st.text(st.characters(exclude_categories=("C", "Z")), min_size=1))
def test_any_letters_are_an_alias(text):
    """Any script and any sign will do, but for what is wildcards and nothing else."""
    assert is_alias(text) == bool(set(text) - set("*?[]"))
    named = plant(unit=(text,))
    if named.sort_of(text) == "":
        assert named.resolve(text, THING) == "PUMP-1"


UNKNOWN = [
    ("Kühlpumpe 2", THING, "near names: Kühlpumpe 1"),
    ("=A1+K2", THING, "near names: =A1+K1"),
    ("PUMP-1:Vorlau", PORT, "PUMP-1 has no port Vorlau; near names: Vorlauf"),
    ("Kühlpumpe 1:Vorlau", PORT, "PUMP-1 has no port Vorlau; near names: Vorlauf"),
    ("LPG 5000/3", ANYTHING, "near names: LPG 5000/2"),
]


@pytest.mark.parametrize(("text", "wanted", "told"), UNKNOWN)
def test_near_names_are_aliases_too(text, wanted, told):
    """What is mistyped is told with what it may have meant, by its aliases as by ids."""
    assert told in unknown(NAMED, text, wanted)
    with pytest.raises(NoAnswer, match="unknown"):
        expect_thing(NAMED, text, wanted)


def test_what_may_be_two_things_is_told_with_both():
    """Where colons can be read in two ways nobody guesses: both addresses are told, and an id decides."""
    doubtful = plant(unit=("A",), other=("A:B",), port=("B:C", "C"))
    found = look_up(doubtful, "A:B:C", PORT)
    assert found == ("A:B:C", "ambiguous", "A:B:C may be PUMP-1:F1 or PUMP-2:F1: say which by its id")
    with pytest.raises(BadInput, match="ambiguous"):
        expect_thing(doubtful, "A:B:C", PORT)
    assert doubtful.resolve("PUMP-2:C") == "PUMP-2:F1"


CLASHING = [
    ({"unit": ("X",), "other": ("X",)}, 2, "the alias X is that of PUMP-2 already"),
    ({"unit": ("X",), "place": ("X",)}, 2, "the alias X is that of BAY already"),
    ({"unit": ("X",), "part": ("X",)}, 2, "the alias X is that of pump already"),
    ({"unit": ("PUMP-2",)}, 1, "the alias PUMP-2 is the id of a unit already"),
    ({"place": ("pump",)}, 1, "the alias pump is the id of a part already"),
    ({"unit": ("PUMP-2:F1",)}, 1, "the alias PUMP-2:F1 is the address of a port already"),
    ({"unit": ("PUMP-2:V",), "port": ("V",)}, 1, "the alias PUMP-2:V is that of PUMP-2:F1 already"),
    ({"port": ("X",), "node": ("X",)}, 1, "VOL: the alias X is that of F1 already"),
    ({"port": ("F2",)}, 1, "F1: the alias F2 is the name of another port or node already"),
    ({"unit": ("\u00e9",), "other": ("e\u0301",)}, 2, "the alias \u00e9 is that of PUMP-2 already"),
]


@pytest.mark.parametrize(("aliases", "number", "told"), CLASHING)
def test_what_two_things_are_called(aliases, number, told):
    """An alias that another thing has, as an alias, id, address or name, is told at each that has it."""
    found = [clash.sentence for clash in clashes(plant(**aliases))]
    assert told in found
    assert len(found) == number


def test_ports_of_two_owners_may_be_called_alike():
    """The owner tells ports apart; units of one part have ports with the same aliases."""
    assert list(clashes(plant(port=("L+",), unit=("L-",)))) == []
