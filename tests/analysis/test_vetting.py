"""What looks wrong in a definition: each check finds what it is for, and nothing where that was cured."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.vetting import CHECKS, Ground, vet
from cfgtrack.answers.vetting import configured
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration, State

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
    """No check is without a plant that it finds something in; `no-path` and `unlike-contacts` have their own."""
    own = {"no-path", "unlike-contacts"}
    assert {check.code for check in CHECKS} == {code for code, _, _ in CASES.values()} | own


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


JOINT = '["TANK-1:F", "PUMP-1:F"], '


@pytest.mark.parametrize("is_joined", [True, False])
def test_what_is_joined_though_it_does_not_fit_is_joined(*, is_joined: bool) -> None:
    """A made joint that no longer fits is a way to an expansion all the same; that nothing fits there is still told."""
    plant = parse_definition(
        {"plant.toml": changed((SOCKET, SOCKET.replace("DN25", "DN40")), (JOINT, ""))}
    ).plant()
    now = Configuration(plant)
    if is_joined:
        for half, far in (("TANK-1:F", "PUMP-1:F"), ("PUMP-1:F", "TANK-1:F")):
            now.set_state(half, State("open", far, "E1"))
    codes = [one.check.code for one in vet(Ground(now))]
    assert ("no-expansion" in codes) is not is_joined
    assert "no-mate" in codes


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


# --- shells with contacts --------------------------------------------------------------------------------------------

PINS = 'contact = [{ name = "1" }, { name = "2", tags = ["control"] }, { name = "S", medium = "data" }]'
HARNESS = f"""
[[part]]
id = "panel"
port = [{{ name = "J", kind = "electrical-connector", gender = "socket", {PINS} }}]
node = [
  {{ name = "MAINS", medium = "power", source = true }},
  {{ name = "24V", medium = "power", source = true, tags = ["control"] }},
]
links = [["J:1", "MAINS"], ["J:2", "24V"]]
[[part]]
id = "lead"
flexible = true
port = [
  {{ name = "A", kind = "electrical-connector", gender = "plug", {PINS} }},
  {{ name = "B", kind = "electrical-connector", gender = "plug", {PINS} }},
]
links = [["A:1", "B:1"], ["A:2", "B:2"], ["A:S", "B:S"]]
[[part]]
id = "drive"
port = [{{ name = "J", kind = "electrical-connector", gender = "socket", {PINS} }}]
node = [
  {{ name = "MOTOR", medium = "power", load = true }},
  {{ name = "RELAY", medium = "power", load = true, tags = ["control"] }},
]
links = [["J:1", "MOTOR"], ["J:2", "RELAY"]]
[[unit]]
id = "PANEL"
part = "panel"
[[unit]]
id = "LEAD"
part = "lead"
[[unit]]
id = "DRIVE"
part = "drive"
[initial]
at = 2031-05-01T08:00:00Z
joined = [["PANEL:J", "LEAD:A"], ["LEAD:B", "DRIVE:J"]]
"""
CROSSED = ('["A:1", "B:1"], ["A:2", "B:2"]', '["A:1", "B:2"]')
DRIVE = 'id = "drive"\nport = [{ name = "J", kind = "electrical-connector", gender = "socket", '
NO_RULE = RULE.replace('"PUMP-1:F"', '"DRIVE:J"')


def of_shells(*changes: tuple[str, str]) -> dict[str, list[tuple[str, tuple[str, ...]]]]:
    """Return what is found in the harness with some texts exchanged, idle rules aside."""
    text = HARNESS
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return found(text, NO_RULE)


def test_a_sound_harness_has_no_doubts() -> None:
    """Shells that are wired through, with a spare contact, are no doubt: neither as no path, nor as leading nowhere."""
    assert of_shells() == {}


UNLIKE = {
    "another medium": (
        PINS.replace('"1"', '"1", medium = "data"'),
        "contact 1 is data on J and power on B of lead",
    ),
    "another loop": (
        PINS.replace('"1"', '"1", loop = "RETURN"'),
        "contact 1 is of loop RETURN on J and of loop SUPPLY on B of lead",
    ),
    "one contact less": (PINS.replace(', { name = "S", medium = "data" }', ""), "J has no contact S"),
    "two contacts more": (
        PINS.replace("[{", '[{ name = "9" }, { name = "8" }, {'),
        "B of lead has no contacts 9, 8",
    ),
    "none at all": ('size = ""', "J names no contacts, and B of lead has contacts 1, 2, S"),
}


@pytest.mark.parametrize("name", UNLIKE)
def test_contacts_that_face_others_are_found(name: str) -> None:
    """Of two shells that are mated each must have the other's contacts, of the other's media and loops."""
    pins, says = UNLIKE[name]
    far = 'name = "B", kind = "electrical-connector", gender = "plug", '
    changes = [
        (DRIVE + PINS, DRIVE + pins),
        ('links = [["J:1", "MOTOR"], ["J:2", "RELAY"]]', ""),
        (far + PINS, far + PINS.replace('"1"', '"1", loop = "SUPPLY"')),
    ]
    definition = parse_definition({"h.toml": _exchanged(HARNESS, *changes)})
    now = configured(definition.plant(), definition.initial)
    (doubt,) = next(v.doubts for v in vet(Ground(now)) if v.check.code == "unlike-contacts")
    assert (doubt.where, doubt.items, doubt.times) == ("drive", ("J",), 1)
    assert doubt.sentence == f"J is mated to B of lead: {says}"


def _exchanged(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def test_shells_of_one_size_that_nobody_has_mated() -> None:
    """Halves that are made for each other by their size are looked at before anybody mates them; others are not."""
    apart = ('joined = [["PANEL:J", "LEAD:A"], ["LEAD:B", "DRIVE:J"]]', "")
    pins = PINS.replace('"1"', '"1", medium = "data"')
    drive = (DRIVE + PINS, DRIVE + pins)
    links = ('links = [["J:1", "MOTOR"], ["J:2", "RELAY"]]', 'links = [["J:2", "MOTOR"], ["J:2", "RELAY"]]')
    assert "unlike-contacts" not in of_shells(apart, drive, links)
    sized = [
        (
            f'kind = "electrical-connector", gender = "{gender}"',
            f'kind = "electrical-connector", size = "DB9", gender = "{gender}"',
        )
        for gender in ("plug", "plug", "socket", "socket")
    ]
    assert of_shells(apart, drive, links, *sized)["unlike-contacts"] == [("lead", ("A",))]


def test_power_comes_to_control_through_contacts() -> None:
    """A wire from the contact of power to that of control joins the two; that one shell has both of them doesn't."""
    assert of_shells(CROSSED)["power-and-control"] == [("DRIVE", ("DRIVE:J:2", "PANEL:MAINS"))]


def test_a_contact_may_say_that_it_is_of_control() -> None:
    """The word in the contact's own loop or tag counts before its shell's."""
    shell = DRIVE.replace("gender", 'tags = ["control"], gender')
    assert of_shells((DRIVE, shell))["power-and-control"] == [("DRIVE", ("DRIVE:J:1", "PANEL:MAINS"))]
    power = PINS.replace('"1"', '"1", loop = "POWER-A"')
    assert of_shells((DRIVE + PINS, shell + power)) == {}


def test_shells_that_can_be_swapped() -> None:
    """The ends of a lead that is wired straight are alike; with a wire on another contact, or other contacts, not."""
    assert "swappable" not in of_shells()
    assert of_shells(CROSSED)["swappable"] == [("lead", ("A", "B"))]
    both = (CROSSED[0], '["A:1", "B:2"], ["A:2", "B:1"]')
    assert "swappable" not in of_shells(both)
    rated = ('{ name = "B", kind', '{ name = "B", rated_current = "5 A", kind')
    assert of_shells(rated)["swappable"] == [("lead", ("A", "B"))]


def test_a_shell_that_leads_nowhere() -> None:
    """A shell of which no contact is wired inside leads nowhere."""
    bare = ('links = [["J:1", "MOTOR"], ["J:2", "RELAY"]]', "links = []")
    assert of_shells(bare)["leads-nowhere"] == [("drive", ("J",))]
