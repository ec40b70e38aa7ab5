"""Definition files from a definition: what is written is read as the same definition again."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files import definition_files as written
from cfgtrack.files.definition import parse_definition, read_definition, shipped
from cfgtrack.files.definition_files import MAIN, definition_files
from cfgtrack.model.attribute import attribute_of
from cfgtrack.model.definition import Definition
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import Contact, InternalLink, Node, Part, Port, Thermal
from cfgtrack.model.people import Area, Permission, Person
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.setting import REFUSED, UNSIGNED, Setting
from tests.corpus.plants import draw_plant
from tests.files.conftest import HARDWARE, SHEETS

# RFC 8032 section 7.1, TEST 1: a public key.
KEY = "ed25519:d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
DEMO = Path(__file__).parents[2] / "demo" / "hardware.toml"


def again(definition: Definition, base: Definition | None = None) -> Definition:
    """Return what is read of what is written."""
    texts = definition_files(definition, base)
    sheets = {name: text for name, text in texts.items() if name.endswith(".csv")}
    return parse_definition(
        {name: text for name, text in texts.items() if name not in sheets}, base, sheets=sheets
    )


def same(a: Definition, b: Definition) -> bool:
    """Return whether two definitions say the same, wherever it is written."""
    return replace(a, origins={}, fingerprint="") == replace(b, origins={}, fingerprint="")


@given(seed=st.integers(0, 10**9), long=st.sampled_from([0, 3, 12, 1000]))
def test_random_plants_come_back(seed: int, long: int) -> None:
    """Of a random plant the same definition comes back, whichever of its lists stand in sheets."""
    plant, _ = draw_plant(Random(seed))
    definition = parse_definition({"plant.toml": plant.text})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(written, "LONG", long)
        assert same(again(definition), definition)


def test_the_demo_comes_back() -> None:
    """The demo's plant comes back, and its lists stand in sheets, as they did."""
    definition = read_definition([DEMO])
    assert same(again(definition), definition)
    sheets = {name for name in definition_files(definition) if name.endswith(".csv")}
    assert sheets == {f"{what}.csv" for what in ("ports", "nodes", "links", "units", "places", "initial")}


def test_the_pump_room_comes_back() -> None:
    """A definition with quantities, places to face, capped and torqued ports comes back."""
    definition = parse_definition({"plant.toml": HARDWARE}, sheets=SHEETS)
    assert same(again(definition), definition)


SAID = {
    "gauge": attribute_of("AWG 20"),
    "length, drawn": attribute_of("3.5 m"),
    "made": date(2031, 5, 1),
    "checked": True,
    "cores": Quantity(4.0, "", 4.0, "count"),
}
EVERYTHING = Definition(
    media={**shipped().media, "air": Medium("air", "Compressed air", upstream=True, volumes_need="nothing")},
    kinds={
        **shipped().kinds,
        "tap": Kind(
            "tap",
            "air",
            ("low", "mid", "top"),
            {"push": Move("push", ("low", "mid"), "top", each=True, cycle=True)},
            title='A "tap"\\',
            initial="low",
            joined="mid",
            carries="top",
            flexible=True,
            fits=frozenset({"tap"}),
            grip=True,
            tether=True,
            words={"mid": "half in", "top": "all the way, in"},
        ),
    },
    parts={
        "p": Part(
            "p",
            "title, with a comma; \x7f and\ttab",
            mass=0.1 + 0.2,
            ports={
                "A": Port("A", "tap", "1/2 in", "key", "plug", flexible=True, loop="L 1", tags=frozenset({"x", "y"}),
                          cycles=7, torque=(1e-07, 1234567.125), pattern="base/3", title="t", site="S", remote=("S",),
                          reach=("S", "M"), aliases=("=A 1", "#2"), attributes=SAID, rated_pressure=1e5,
                          rated_current=0.1),
                "V": Port("V", "valve", tags=frozenset({"two words"})),
                "J": Port("J", "tap", contacts={
                    "1": Contact("1", "air", "L", frozenset({"shield"}), "pin", ("=1",), SAID, 0.2),
                    "G": Contact("G", "power"),
                }),
            },
            nodes={
                "N": Node("N", "air", litres=0.333333333333, roles=frozenset({"source", "expansion", "load"}),
                          loop="L", tags=frozenset({"t"}), title="n", remote=("S",), aliases=("N#",), attributes=SAID,
                          rated_pressure=123456.789),
            },
            links=(InternalLink("A", "N", one_way=True), InternalLink("J:1", "N")),
            flexible=True,
            thermal=Thermal(5200.0, 1.1, 293.15, 233.15, heater=90.0, biot=0.05),
            trapped=10800.000001,
            tags=frozenset({"z"}),
            remote={"temperature": ("S",)},
            lock_box=True,
        aliases=("the p",),
        attributes=SAID,
        )
    },
    units={"U": Unit("U", "p", "ü", home="S", loop="L", tags=frozenset({"a"}), aliases=("U 1", "Ü"), attributes=SAID)},
    places={
        "S": Place("S", title="s", holds=True, capacity=3, facings=("up", "left side"), sink=213.15, loop="L",
                   tags=frozenset({"a"}), site=True, aliases=("The site",), attributes=SAID),
        "M": Place("M", "S", part="p", mobile=True, lifts=250.0),
        "O": Place("O", "S", mobile=True, operates="M"),
        "B": Place("B", "S", lock_box=True),
    },
    settings={UNSIGNED: Setting(UNSIGNED, REFUSED)},
    people={
        "ANN": Person("ANN", "The lead", frozenset({"record", "administer"}), "M", KEY, "ann o'x"),
        "BEN": Person("BEN"),
    },
    permissions={
        "all": Permission("all", ("BEN",), ("approve",)),
        "p": Permission("p", ("ANN", "record"), ("record", "correct"),
                        Area(("U*", "B"), ("p",), ("tap",), ("S",), ("L 1", "L"), ("x", "a")), "Part of it"),
    },
    title="Everything",
)  # fmt: skip


@pytest.mark.parametrize("long", [0, 12])
def test_every_field_comes_back(long: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field that an item can have comes back, quantities to the last bit, in a table as in a sheet."""
    monkeypatch.setattr(written, "LONG", long)
    assert same(again(EVERYTHING), EVERYTHING)


def test_every_field_is_tried() -> None:
    """The definition that tries every field has each of them at something else than its default somewhere."""
    parts = EVERYTHING.parts["p"]
    items: list[object] = [
        *EVERYTHING.media.values(),
        *EVERYTHING.kinds.values(),
        parts,
        *parts.ports.values(),
        *parts.ports["J"].contacts.values(),
    ]
    items += [*parts.nodes.values(), *parts.links, *EVERYTHING.units.values(), *EVERYTHING.places.values()]
    unsaid = {(type(i).__name__, f.name) for i in items for f in fields(i) if f.init}  # type: ignore[arg-type]
    for item in items:
        for one in fields(item):  # type: ignore[arg-type]
            if one.init and getattr(item, one.name) not in ("", None, False, (), {}, frozenset()):
                unsaid.discard((type(item).__name__, one.name))
    assert unsaid == {("InternalLink", "gate")}


def test_what_is_shipped_is_not_written() -> None:
    """What comes with the tool, or was there before, isn't written again; a head stands first, as comments."""
    assert definition_files(shipped()) == {MAIN: ""}
    base = parse_definition({"plant.toml": HARDWARE}, sheets=SHEETS)
    more = replace(base, units={**base.units, "NEW": Unit("NEW", "pump")})
    text = definition_files(more, base, head=["One", ""])[MAIN]
    assert text.startswith("# One\n#\n\n")
    assert text.endswith('[[unit]]\nid = "NEW"\npart = "pump"\n')
    assert same(again(more, base), more)


def test_states_of_two_times() -> None:
    """Initial states of another time and author stand in a file of their own."""
    one = '[[part]]\nid = "p"\nport = [{ name = "V", kind = "valve" }]\n[[unit]]\nid = "A"\npart = "p"\n'
    one += (
        '[[unit]]\nid = "B"\npart = "p"\n[initial]\nat = 2031-05-01T00:00:00Z\nstatus = { "A:V" = "open" }\n'
    )
    two = '[initial]\nat = 2031-05-02T00:00:00Z\nby = "ann"\nstatus = { "B:V" = "open" }\n'
    definition = parse_definition({"one.toml": one, "two.toml": two})
    assert set(definition_files(definition)) == {MAIN, "initial-2.toml"}
    assert same(again(definition), definition)
