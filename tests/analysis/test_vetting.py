"""What looks wrong in a definition: each check finds what it is for, and nothing where that was cured."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.vetting import CHECKS, Ground, vet
from cfgtrack.answers.vetting import configured
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules

SOUND = """
[[part]]
id = "tank"
trapped = "1 h"
port = [{ name = "F", kind = "fluid-disconnect", size = "DN25", gender = "socket" }]
node = [
  { name = "OIL", medium = "fluid", litres = "5 l", loop = "EAST" },
  { name = "EXP", medium = "fluid", expansion = true },
]
links = [["F", "OIL"], ["OIL", "EXP"]]
[[part]]
id = "pump"
trapped = "5 min"
port = [
  { name = "F", kind = "fluid-disconnect", size = "DN25", gender = "plug" },
  { name = "V", kind = "valve" },
  { name = "J", kind = "electrical-connector", size = "16 A", gender = "plug" },
  { name = "S", kind = "electrical-connector", size = "7 pin", gender = "plug" },
]
node = [
  { name = "VOL", medium = "fluid", litres = "1 l" },
  { name = "MOTOR", medium = "power", load = true },
  { name = "SENSOR", medium = "power", load = true, tags = ["control"] },
]
links = [["F", "VOL", "V"], ["J", "MOTOR"], ["S", "SENSOR"]]
[[part]]
id = "board"
port = [
  { name = "J", kind = "electrical-connector", size = "16 A", gender = "socket" },
  { name = "S", kind = "electrical-connector", size = "7 pin", gender = "socket" },
]
node = [
  { name = "MAINS", medium = "power", source = true },
  { name = "24V", medium = "power", source = true, tags = ["control"] },
]
links = [["J", "MAINS"], ["S", "24V"]]
[[unit]]
id = "TANK-1"
part = "tank"
[[unit]]
id = "PUMP-1"
part = "pump"
loop = "EAST"
[[unit]]
id = "BOARD-1"
part = "board"
[[place]]
id = "HALL"
site = true
[[place]]
id = "ANN"
parent = "HALL"
mobile = true
[initial]
at = 2031-05-01T08:00:00Z
joined = [["TANK-1:F", "PUMP-1:F"], ["PUMP-1:J", "BOARD-1:J"], ["PUMP-1:S", "BOARD-1:S"]]
place = { TANK-1 = "HALL", PUMP-1 = "HALL", BOARD-1 = "HALL" }
"""
RULE = """
[[rule]]
id = "held"
title = "it is mated"
hazard = "it leaks"
severity = 2
source = "common practice"
mode = "always"
scope = { tag = "control", what = "node", may_be_empty = true }
condition = { status = "PUMP-1:F", is = "mated" }
"""


def found(text: str, rules: str = RULE) -> dict[str, list[tuple[str, tuple[str, ...]]]]:
    """Return what each check finds: where, and what of it."""
    definition = parse_definition({"plant.toml": text})
    now = configured(definition.plant(), definition.initial)
    vetted = vet(Ground(now, parse_rules({"rules.toml": rules}, now.plant)))
    return {one.check.code: [(doubt.where, doubt.items) for doubt in one.doubts] for one in vetted}


def changed(*changes: tuple[str, str]) -> str:
    """Return the sound plant with some texts in it exchanged."""
    text = SOUND
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


def test_a_sound_plant_has_no_doubts() -> None:
    """Nothing is said of a plant in which nothing looks wrong."""
    assert found(SOUND) == {}


SOCKET = 'kind = "fluid-disconnect", size = "DN25", gender = "socket" }'
TWO_PORTS = (f"{SOCKET}]", f'{SOCKET}, {{ name = "G", {SOCKET}]')
INSIDE = 'links = [["F", "OIL"], ["OIL", "EXP"]]'
LINKED = (INSIDE, 'links = [["F", "OIL"], ["G", "EXP"], ["OIL", "EXP"]]')
SAME = (INSIDE, 'links = [["F", "OIL"], ["G", "OIL"], ["OIL", "EXP"]]')
KEYED = ('name = "G", kind', 'name = "G", keying = "A", kind')
OF_CONTROL = ', source = true, tags = ["control"] }'
MAINS = '{ name = "MAINS", medium = "power", source'
YARD = ('[[place]]\nid = "ANN"', '[[place]]\nid = "YARD"\n[[place]]\nid = "ANN"')
PLUG = 'size = "16 A", gender = "plug"'
PIN_TO_MOTOR = ('["J", "MOTOR"]', '["J:1", "MOTOR"]')
APART = ('["TANK-1:F", "PUMP-1:F"], ', "")

Case = tuple[str, tuple[tuple[str, str], ...], list[tuple[str, tuple[str, ...]]]]

CASES: dict[str, Case] = {
    "two ends to different nodes": ("swappable", (TWO_PORTS, LINKED), [("tank", ("F", "G"))]),
    "a source that is not control's": (
        "power-and-control",
        ((OF_CONTROL, ", source = true }"),),
        [("PUMP-1", ("PUMP-1:SENSOR", "BOARD-1:24V"))],
    ),
    "linked inside one unit": (
        "power-and-control",
        (('["S", "24V"]]', '["S", "24V"], ["MAINS", "24V"]]'),),
        [("BOARD-1", ("BOARD-1:24V", "BOARD-1:MAINS"))],
    ),
    "nothing to expand into": (
        "no-expansion",
        (("expansion = true", "load = true"),),
        [("tank", ("OIL",)), ("pump", ("VOL",))],
    ),
    "a check valve the wrong way": (
        "no-expansion",
        ((INSIDE, 'links = [["F", "OIL"]]\n[[part.link]]\na = "EXP"\nb = "OIL"\none_way = true'),),
        [("tank", ("OIL",)), ("pump", ("VOL",))],
    ),
    "no rating": ("no-rating", (('trapped = "5 min"\n', ""),), [("pump", ("VOL",))]),
    "a current that only some contacts are rated for": (
        "no-rating",
        (
            (PLUG, f'{PLUG}, contact = [{{ name = "1", rated_current = "16 A" }}, {{ name = "2" }}]'),
            PIN_TO_MOTOR,
        ),
        [("pump", ("J:2", "S"))],
    ),
    "no source": (
        "unfed",
        ((MAINS, MAINS.replace("source", "load")),),
        [("pump", ("MOTOR",)), ("board", ("MAINS",))],
    ),
    "another size": (
        "no-mate",
        (('"DN25", gender = "plug"', '"DN40", gender = "plug"'), APART),
        [("tank", ("F",)), ("pump", ("F",))],
    ),
    "linked to nothing": ("leads-nowhere", (('["J", "MOTOR"], ', ""),), [("pump", ("J",))]),
    "a valve that gates nothing": ("leads-nowhere", (('"VOL", "V"]', '"VOL"]'),), [("pump", ("V",))]),
    "on no site": (
        "out-of-reach",
        (YARD, ('TANK-1 = "HALL"', 'TANK-1 = "YARD"'), APART),
        [("TANK-1", ("TANK-1:F",))],
    ),
    "nowhere": ("out-of-reach", (('TANK-1 = "HALL", ', ""),), [("TANK-1", ("TANK-1:F",))]),
    "nobody at all": ("out-of-reach", (("mobile = true", ""),), [("HALL", ("HALL",))]),
    "a loop without a name": (
        "unnamed-loop",
        (('loop = "EAST"\n', ""), (', loop = "EAST"', "")),
        [("PUMP-1", ("PUMP-1:VOL", "TANK-1:OIL"))],
    ),
    "half a loop": ("unnamed-loop", (('loop = "EAST"\n', ""),), [("PUMP-1", ("PUMP-1:VOL",))]),
    "a rule about nothing": ("idle-rule", ((', tags = ["control"]', ""),), [("held", ())]),
}
"""What was changed of the sound plant, and what the check of that word finds then: all of it, and no more."""


@pytest.mark.parametrize("name", CASES)
def test_each_is_found(name: str) -> None:
    """A check finds what it is for, where it is, and names it."""
    code, changes, wanted = CASES[name]
    assert found(changed(*changes)).get(code) == wanted


def test_what_is_worked_from_elsewhere_is_in_reach() -> None:
    """A port that stands at no site, and is worked from one, is no doubt."""
    _, changes, _ = CASES["on no site"]
    assert "out-of-reach" not in found(
        changed((SOCKET, SOCKET.replace(" }", ', remote = ["HALL"] }')), *changes)
    )


def test_what_is_meant_to_take_liquid_needs_no_rating() -> None:
    """An expansion may be full of liquid: it is where that goes."""
    vessel = 'id = "vessel"\nport = [{ name = "F", kind = "fluid-disconnect", size = "DN25" }]\n'
    node = 'node = [{ name = "EXP", medium = "fluid", litres = "9 l", expansion = true }]\nlinks = [["F", "EXP"]]'
    assert found(with_part(vessel + node, "VESSEL")) == {}


def test_a_rated_pressure_is_a_rating() -> None:
    """A volume that says which pressure it bears needs no time; a shell's rated current is that of all its contacts."""
    assert found(changed(('trapped = "5 min"\n', ""), ('"1 l"', '"1 l", rated_pressure = "16 bar"'))) == {}
    _, changes, _ = CASES["a current that only some contacts are rated for"]
    whole = (PLUG, f'{PLUG}, rated_current = "10 A"')
    others = ('size = "7 pin", gender = "plug"', 'size = "7 pin", gender = "plug", rated_current = "1 A"')
    assert "no-rating" not in found(changed(whole, others, *changes))


def test_a_part_may_say_what_is_of_control() -> None:
    """A tag of a part that has the word in it counts for all that is inside and says nothing else."""
    port = '{ name = "J", kind = "electrical-connector", size = "16 A" }'
    node = '{ name = "COIL", medium = "power", load = true }'
    relay = f'id = "relay"\ntags = ["CONTROL-24V"]\nport = [{port}]\nnode = [{node}]\nlinks = [["J", "COIL"]]'
    text = with_part(relay, "RELAY")
    joined = text.replace('["PUMP-1:J", "BOARD-1:J"]', '["RELAY:J", "BOARD-1:J"]')
    assert joined != text
    assert found(joined)["power-and-control"] == [("RELAY", ("RELAY:J", "BOARD-1:MAINS"))]


def test_every_check_has_a_case() -> None:
    """No check is without a plant that it finds something in; `no-path` has its own."""
    assert {check.code for check in CHECKS} == {code for code, _, _ in CASES.values()} | {"no-path"}


def with_part(part: str, *units: str) -> str:
    """Return the sound plant with one more part, and units of it in the hall."""
    name = part.partition('"')[2].partition('"')[0]
    texts = [f'[[unit]]\nid = "{unit}"\npart = "{name}"' for unit in units]
    places = "".join(f'{unit} = "HALL", ' for unit in units)
    first = '[[unit]]\nid = "TANK-1"'
    return changed(
        (first, "\n".join([f"[[part]]\n{part}", *texts, first])), ("place = { ", f"place = {{ {places}")
    )


def test_ends_that_are_the_same_inside_are_no_danger() -> None:
    """Two ends of one manifold may be swapped: it changes no path. So may bolts, and the ends of a hose."""
    assert "swappable" not in found(changed(TWO_PORTS, SAME))
    assert "swappable" not in found(changed(TWO_PORTS, LINKED, KEYED))
    tagged = ('name = "G", kind', 'name = "G", tags = ["drain"], kind')
    assert found(changed(TWO_PORTS, SAME, tagged))["swappable"] == [("tank", ("F", "G"))]
    bolts = 'id = "plate"\nport = [{ name = "B1", kind = "bolt" }, { name = "B2", kind = "bolt" }]'
    assert found(with_part(bolts, "PLATE-1", "PLATE-2")) == {}
    half = 'kind = "fluid-disconnect" }'
    hose = f'id = "hose"\nflexible = true\nport = [{{ name = "A", {half}, {{ name = "B", {half}]\nlinks = [["A", "B"]]'
    assert found(with_part(hose, "HOSE-1")) == {}


def nowhere_to_go() -> str:
    """Return the sound plant with two caps that fit each other and lead to nothing."""
    node = 'node = [{ name = "CPU", medium = "data" }]'
    return with_part(
        f'id = "cap"\nport = [{{ name = "A", kind = "data-connector" }}]\n{node}', "CAP-1", "CAP-2"
    )


def test_a_port_from_which_nothing_could_be_reached() -> None:
    """A port whose only possible mates lead to nothing either has no path, whatever is joined."""
    assert found(nowhere_to_go())["no-path"] == [("cap", ("A",))]


def test_kinds_of_two_media_that_fit_each_other() -> None:
    """A plug of power that goes into a socket of data joins the two wherever somebody errs."""
    ladder = 'statuses = ["off", "on"]\njoined = "on"\ncarries = "on"\n[[kind.move]]\naction = "push"'
    kind = f'[[kind]]\nid = "odd"\nmedium = "data"\nfits = ["electrical-connector"]\n{ladder}\n'
    kind += 'from = ["off"]\nto = "on"\n'
    text = kind + with_part('id = "odd"\nport = [{ name = "A", kind = "odd" }]', "ODD")
    assert found(text)["power-and-control"] == [("electrical-connector", ("electrical-connector", "odd"))]


def test_a_rule_whose_things_stand_elsewhere_now_is_not_idle() -> None:
    """A rule about what stands at a place guards something, though nothing stands there now."""
    assert "idle-rule" not in found(
        SOUND, RULE.replace('tag = "control", what = "node"', 'what = "unit", at = "ANN"')
    )
