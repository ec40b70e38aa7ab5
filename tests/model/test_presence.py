"""Work is done where the worker is: who must be where, what comes along, what is torn, what a record makes of it."""

import inspect
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cfgtrack.model.possibility
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.hold import is_grip, is_made, joints
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import (
    Telling,
    acts_at,
    doer_of,
    lacks_doer,
    presence_is_judged,
    site_at,
    site_of,
    unjudged,
)
from tests.model.test_possibility import OF_PRESENCE

WORLD = """
[[kind]]
id = "meter-lead"
medium = "data"
statuses = ["loose", "on"]
joined = "on"
carries = "on"
move = [{ action = "clip", from = ["loose"], to = "on" }]

[[part]]
id = "pump"
port = [
  { name = "LUG", kind = "grip" },
  { name = "BOLT", kind = "bolt" },
  { name = "F", kind = "fluid-disconnect" },
  { name = "STRAP", kind = "bond-strap" },
  { name = "V", kind = "valve", remote = ["CONTROL"] },
]
node = [{ name = "CASE", medium = "fluid", litres = "1 l", remote = ["CONTROL"] }]
remote = { temperature = ["CONTROL"], torque = ["CONTROL"] }
[[part]]
id = "hose"
flexible = true
port = [
  { name = "P", kind = "fluid-disconnect" },
  { name = "Q", kind = "fluid-disconnect" },
  { name = "V", kind = "valve" },
]
[[part]]
id = "panel"
port = [
  { name = "F", kind = "fluid-disconnect" },
  { name = "G", kind = "fluid-disconnect" },
  { name = "BOLT", kind = "bolt" },
  { name = "STRAP", kind = "bond-strap" },
  { name = "ANCHOR", kind = "tether" },
  { name = "LONG", kind = "tether", reach = ["BAY", "ROOF"] },
  { name = "RAIL", kind = "grip" },
]
[[part]]
id = "wall"
port = [
  { name = "INSIDE", kind = "valve", site = "STORE" },
  { name = "OUTSIDE", kind = "valve", site = "BAY" },
]
[[part]]
id = "hands"
port = [{ name = "LEFT", kind = "grip" }, { name = "RIGHT", kind = "grip" }, { name = "LINE", kind = "tether" }]

[[place]]
id = "WORKS"
[[place]]
id = "STORE"
parent = "WORKS"
site = true
[[place]]
id = "SHELF"
parent = "STORE"
capacity = 1
[[place]]
id = "CONTROL"
parent = "WORKS"
site = true
[[place]]
id = "BAY"
parent = "WORKS"
part = "panel"
site = true
[[place]]
id = "SEAT"
parent = "BAY"
part = "panel"
capacity = 1
[[place]]
id = "ROOF"
parent = "WORKS"
part = "panel"
site = true
[[place]]
id = "WALL"
parent = "WORKS"
part = "wall"
[[place]]
id = "ANN"
parent = "BAY"
part = "hands"
mobile = true
[[place]]
id = "DAN"
parent = "CONTROL"
part = "hands"
mobile = true
operates = "CRANE"
[[place]]
id = "CRANE"
parent = "BAY"
part = "hands"
mobile = true
capacity = 1
[[place]]
id = "BED"
parent = "CRANE"
[[place]]
id = "BAG"
parent = "BAY"
mobile = true

[[unit]]
id = "X"
part = "pump"
[[unit]]
id = "Y"
part = "pump"
[[unit]]
id = "H"
part = "hose"
[[unit]]
id = "J"
part = "hose"

[initial]
at = 2031-01-01T00:00:00Z
[initial.place]
X = "BAY"
Y = "STORE"
H = "BAY"
J = "BAY"
"""
DEFINITION = parse_definition({"world.toml": WORLD})
PLANT = DEFINITION.plant()
NOWHERE = parse_definition(
    {
        "world.toml": WORLD.replace("site = true\n", "")
        .replace(', site = "STORE"', "")
        .replace(', site = "BAY"', "")
    }
)


def action(text, plant=PLANT, number=0):
    """Return the action that a text says, done by whom its first word says, by nobody for a dash."""
    doer, *words = text.split()
    return parse_phrase(
        [*words, *([f"by={doer}"] if doer != "-" else [])], plant, id=f"e{number}", happened=number
    )


def after(*texts, definition=DEFINITION, telling=Telling.PROPOSED):
    """Return the configuration after some actions, each of which must be possible."""
    now = Configuration(definition.plant())
    for initial in definition.initial:
        event = resolve(now, initial)
        assert isinstance(event, Event)
        now.apply(event)
    for number, text in enumerate(texts):
        outcome = resolve(now, action(text, now.plant, number), telling)
        assert isinstance(outcome, Event), (text, outcome.refusals)
        now.apply(outcome)
    return now


def codes(now, text, telling=Telling.PROPOSED):
    """Return the codes of the refusals of an action."""
    outcome = resolve(now, action(text, now.plant, 99), telling)
    return [r.code for r in outcome.refusals] if isinstance(outcome, Impossible) else []


def why(now, text, telling=Telling.PROPOSED):
    """Return the sentences of the refusals of an action."""
    outcome = resolve(now, action(text, now.plant, 99), telling)
    assert isinstance(outcome, Impossible), outcome
    return [r.sentence for r in outcome.refusals]


# --- what was seen --------------------------------------------------------------------------------------------------

SEEN = {
    "a crane that never came lifts": ([], "CRANE lift Y by CRANE", ["absent"]),
    "a crane that never left puts down elsewhere": (
        ["CRANE lift X by CRANE"],
        "CRANE place X at STORE",
        ["absent"],
    ),
    "a hand grips a unit at another place": (
        ["ANN place ANN at ROOF"],
        "ANN grip X:LUG with ANN:LEFT",
        ["not-here", "absent"],
    ),
    "somebody walks off from what he grips and can't take": (
        ["ANN engage X:BOLT BAY:BOLT", "ANN grip X:LUG with ANN:LEFT"],
        "ANN place ANN at ROOF",
        ["tied"],
    ),
    "an arm leaves with a rider who grips a bolted unit": (
        ["ANN engage X:BOLT BAY:BOLT", "ANN place ANN at CRANE", "ANN grip X:LUG with ANN:LEFT"],
        "CRANE place CRANE at ROOF",
        ["tied"],
    ),
    "a bolt is engaged before the unit's carrier has arrived": (
        ["ANN place ANN at ROOF", "CRANE lift X by CRANE"],
        "ANN engage X:BOLT ROOF:BOLT",
        ["not-here", "absent"],
    ),
    "a hose in the store is mated to a panel outside": (
        ["ANN place H at ANN", "ANN place ANN at STORE", "ANN place H at STORE", "ANN place ANN at BAY"],
        "ANN mate H:P BAY:F",
        ["not-here", "absent"],
    ),
}


@pytest.mark.parametrize("what", SEEN)
def test_nobody_works_where_he_is_not(what):
    """Each case that was once let pass is impossible in a plant with sites, and still passes in one without."""
    before, text, expected = SEEN[what]
    assert codes(after(*before), text) == expected
    plain = after(*before, definition=NOWHERE)
    assert not set(codes(plain, text)) & OF_PRESENCE


# --- who must be where ----------------------------------------------------------------------------------------------

THERE = [
    ([], "ANN measure X voltage=3V", []),
    ([], "ANN measure Y voltage=3V", ["absent"]),
    ([], "ANN inspect Y", ["absent"]),
    ([], "ANN inspect SHELF", ["absent"]),
    ([], "ANN inspect SEAT", []),
    ([], "ANN remark Y text", []),
    ([], "DAN remark Y text", []),
    ([], "ANN open Y:V", ["absent"]),
    ([], "ANN as-found Y:V open", ["absent"]),
    # a lock or tag is put on and taken off at the thing itself, by somebody of the plant
    ([], "ANN lock Y:V", ["absent"]),
    ([], "ANN lock X:V", []),
    ([], "ANN tag Y:V", ["absent"]),
    ([], "DAN lock X:V", []),
    (["DAN place CRANE at ROOF"], "DAN lock X:V", ["absent"]),
    (["ANN lock X:V", "ANN place ANN at STORE"], "ANN unlock X:V", ["absent"]),
    (["ANN lock X:V", "ANN place ANN at STORE"], "DAN open X:V", ["locked"]),
    (["ANN lock X:V"], "ANN transfer X:V from ANN to DAN", []),
    ([], "ANN as-found Y at BAY", []),
    ([], "ANN as-found X at STORE", ["absent"]),
    # worked or read from elsewhere, and at its site too
    ([], "DAN open X:V", []),
    ([], "DAN open Y:V", []),
    ([], "ANN open X:V", []),
    ([], "DAN measure Y:CASE pressure=3bar", []),
    ([], "DAN measure Y temperature=9degC", []),
    ([], "DAN measure Y temperature=9degC voltage=3V", ["absent"]),
    ([], "ANN measure Y temperature=9degC", ["absent"]),
    (["DAN place DAN at STORE"], "DAN open X:V", []),  # the crane that he operates is in the bay
    (["CRANE place CRANE at ROOF", "DAN place DAN at ROOF"], "DAN open Y:V", ["absent"]),
    # he acts where his machine is, and where he is himself
    ([], "DAN grip X:LUG with CRANE:LEFT", []),
    ([], "DAN lift X by CRANE", []),
    ([], "DAN place CRANE at ROOF", []),
    (["DAN place CRANE at ROOF"], "DAN lift X by CRANE", ["absent"]),
    ([], "DAN inspect CONTROL", []),
    ([], "DAN place X at SEAT", []),
    ([], "DAN place X at CONTROL", ["absent"]),  # the crane takes it, and isn't where he is
    # a port with a site of its own
    ([], "ANN open WALL:OUTSIDE", []),
    ([], "ANN open WALL:INSIDE", ["absent"]),
    ([], "ANN inspect WALL", ["absent"]),
    # people and machines move themselves; a bag is taken by who is with it
    ([], "CRANE place CRANE at ROOF", []),
    ([], "ANN place CRANE at ROOF", ["absent"]),
    (["ANN place ANN at CRANE"], "ANN place CRANE at ROOF", []),
    ([], "ANN place BAG at ANN", []),
    ([], "ANN place BAG at ROOF", ["absent"]),
    (["ANN place ANN at ROOF"], "ANN place BAG at ANN", ["absent"]),
    # nobody of the plant: nothing is judged but where the halves are
    ([], "- open Y:V", []),
    ([], "somebody open Y:V", []),
    (["ANN place ANN at STORE"], "- grip X:LUG with ANN:LEFT", ["not-here"]),
    # read from elsewhere is read, not done
    (
        ["ANN engage X:BOLT BAY:BOLT", "CRANE place CRANE at ROOF"],
        "DAN torque X:BOLT torque=25N*m",
        ["absent"],
    ),
    (["CRANE place CRANE at ROOF"], "DAN measure X:BOLT torque=25N*m", []),
    (["ANN place ANN at ROOF"], "ANN as-found X:BOLT engaged to BAY:BOLT", ["absent", "absent"]),
    (["ANN place ANN at WORKS"], "ANN place ANN at BAY", []),
    # nowhere known is nowhere to be
    (["- as-found X at WORKS"], "ANN inspect X", ["absent"]),
    (["- as-found X at WORKS", "ANN place ANN at WORKS"], "ANN inspect X", ["absent"]),
    # who has it in his hands has it with him
    (["ANN place X at ANN", "ANN place ANN at ROOF"], "ANN engage X:BOLT ROOF:BOLT", []),
    (["ANN place X at ANN", "ANN place ANN at ROOF"], "ANN engage X:BOLT BAY:BOLT", ["not-here", "absent"]),
    (["ANN place ANN at ROOF"], "ANN engage ANN:LINE BAY:LONG", ["not-here", "absent"]),
    (
        ["ANN place X at ANN", "ANN place ANN at ROOF", "ANN place X at ROOF"],
        "ANN engage X:BOLT ROOF:BOLT",
        [],
    ),
    # only units count towards what a slot holds
    (["ANN place ANN at SEAT", "CRANE place CRANE at SEAT"], "ANN place X at SEAT", []),
    (["ANN place X at SEAT"], "ANN place ANN at SEAT", []),
    (["ANN place X at SEAT"], "ANN place H at SEAT", ["full"]),
]


@pytest.mark.parametrize(("before", "text", "expected"), THERE)
def test_a_doer_is_where_the_thing_is(before, text, expected):
    """A port, unit or place is worked and read by who is at its site, or where it is worked from."""
    assert codes(after(*before), text) == expected


def test_the_refusal_says_where_each_is():
    """Who is absent, where he is, where his machine is, and where the thing is, are in the sentence."""
    now = after("ANN place ANN at SEAT")
    assert why(now, "ANN open Y:V") == ["ANN is at SEAT (site BAY); Y:V is at STORE"]
    assert why(now, "DAN inspect Y") == ["DAN is at CONTROL, CRANE at BAY; Y is at STORE"]
    assert why(now, "ANN place X at ROOF") == ["ANN is at SEAT (site BAY), and doesn't go to ROOF with it"]


def test_every_refusal_of_presence_is_met_here():
    """No code of presence is left without a case."""
    source = inspect.getsource(cfgtrack.model.possibility)
    known = set(re.findall(r'Refusal\(\s*"([a-z-]+)"', source))
    cases = [code for _, _, expected in (*THERE, *SEEN.values(), *TORN) for code in expected]
    assert known >= OF_PRESENCE
    assert set(cases) >= OF_PRESENCE


# --- grips, tethers -------------------------------------------------------------------------------------------------

GRIPPED = ["ANN grip X:LUG with ANN:LEFT"]
TIED = ["ANN engage ANN:LINE BAY:ANCHOR"]
LONG = ["ANN engage ANN:LINE BAY:LONG"]
TORN = [
    # what is gripped doesn't leave its gripper, nor the gripper it
    ([*GRIPPED, "CRANE lift X by CRANE"], "CRANE place CRANE at ROOF", ["gripped"]),
    ([*GRIPPED, "CRANE lift X by CRANE"], "ANN place ANN at ROOF", []),
    (["ANN grip BAY:RAIL with ANN:LEFT"], "ANN place ANN at ROOF", ["gripped"]),
    (["ANN grip BAY:RAIL with ANN:LEFT"], "ANN place ANN at SEAT", []),
    (["ANN grip CRANE:LEFT with ANN:LEFT"], "CRANE place CRANE at ROOF", ["gripped"]),
    (["ANN grip CRANE:LEFT with ANN:LEFT"], "ANN place ANN at ROOF", ["gripped"]),
    (["ANN grip CRANE:LEFT with ANN:LEFT", "ANN place ANN at CRANE"], "CRANE place CRANE at ROOF", []),
    # the crane has room for one
    (["CRANE lift X by CRANE", "ANN place H at ANN"], "CRANE place CRANE at ROOF", []),
    (["CRANE grip X:LUG with CRANE:LEFT", "ANN place H at CRANE"], "CRANE place CRANE at ROOF", ["full"]),
    (
        [
            "CRANE place CRANE at STORE",
            "CRANE grip Y:LUG with CRANE:LEFT",
            "CRANE place CRANE at BAY",
            "CRANE place Y at BAY",
            "CRANE grip X:LUG with CRANE:RIGHT",
        ],
        "CRANE place CRANE at ROOF",
        ["full"],
    ),
    # a strap gives, but not from site to site; a hose does
    (["ANN mate X:STRAP BAY:STRAP"], "CRANE lift X by CRANE", []),
    (["ANN mate X:STRAP BAY:STRAP", "CRANE lift X by CRANE"], "CRANE place CRANE at SEAT", []),
    (["ANN mate X:STRAP BAY:STRAP", "CRANE lift X by CRANE"], "CRANE place CRANE at ROOF", ["tied"]),
    (["ANN mate H:P X:F", "CRANE lift X by CRANE"], "CRANE place CRANE at ROOF", []),
    # a tether keeps its owner within its reach
    (TIED, "ANN place ANN at ROOF", ["tethered"]),
    (TIED, "ANN place ANN at SEAT", []),
    ([*TIED, "ANN place ANN at CRANE"], "CRANE place CRANE at ROOF", ["tethered"]),
    (LONG, "ANN place ANN at ROOF", []),
    (LONG, "ANN place ANN at STORE", ["tethered"]),
    ([*LONG, "ANN place ANN at ROOF"], "ANN place ANN at STORE", ["tethered"]),
]


@pytest.mark.parametrize(("before", "text", "expected"), TORN)
def test_a_grip_and_a_tether_hold(before, text, expected):
    """A grip is never torn apart and a tether never reaches too far; told in a record it is as impossible."""
    assert codes(after(*before), text) == expected
    assert codes(after(*before), text, Telling.RECORDED) == expected


HELD = [
    ([*GRIPPED, "CRANE lift X by CRANE"], "CRANE", "ROOF",
     "X:LUG is held to ANN:LEFT: X can't be at ROOF, ANN at BAY"),
    (["CRANE grip X:LUG with CRANE:LEFT", "ANN place H at CRANE"], "CRANE", "ROOF",
     "CRANE grips X, and CRANE takes 1 and holds H"),
    (["ANN mate X:STRAP BAY:STRAP", "CRANE lift X by CRANE"], "CRANE", "ROOF",
     "X:STRAP is connected to BAY:STRAP: it is flexible, but doesn't reach from BAY to ROOF"),
    (TIED, "ANN", "ROOF", "ANN:LINE is tied to BAY:ANCHOR, which reaches BAY: ANN can't be at ROOF"),
    (LONG, "ANN", "STORE", "ANN:LINE is tied to BAY:LONG, which reaches BAY, ROOF: ANN can't be at STORE"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "who", "place", "sentence"), HELD)
def test_the_refusal_says_what_holds(before, who, place, sentence):
    """What keeps somebody where he is, and how far it reaches, is in the sentence."""
    assert why(after(*before), f"{who} place {who} at {place}") == [sentence]


def test_what_a_gripper_can_carry_comes_along():
    """What is gripped and free, with what is fixed to it, is in the gripper's hands once he is elsewhere."""
    now = after(*GRIPPED, "ANN place ANN at SEAT")
    assert now.state("X").value == "BAY"
    now = after(*GRIPPED, "ANN place ANN at ROOF")
    assert now.state("X").value == "ANN"
    assert place_line(now, "X") == ["ANN", "ROOF", "WORKS"]


@pytest.mark.parametrize("before", [[], ["DAN place CRANE at ROOF"], ["ANN place ANN at ROOF"]])
@pytest.mark.parametrize("doer", ["ANN", "DAN", "CRANE"])
def test_one_grip_says_who_lifts(before, doer):
    """What one alone grips is lifted by that one, said or not: presence is judged alike."""
    now = after(*GRIPPED, *before)
    assert codes(now, f"{doer} lift X") == codes(now, f"{doer} lift X by ANN")


def test_what_is_unknown_is_not_lifted():
    """What there is not, or what doesn't move, is told so, whoever is said to lift it."""
    for thing in ("Q", "BAY", "X:LUG"):
        outcome = resolve(after(*GRIPPED), Action("e", "lift", (thing,), 9, by="ANN"))
        assert isinstance(outcome, Impossible)
        assert [r.code for r in outcome.refusals] == ["unknown"]


def test_a_tether_out_of_reach_is_not_tied():
    """Where a tether reaches one place of a site, one can't be tied to it from another place there."""
    text = WORLD.replace('reach = ["BAY", "ROOF"]', 'reach = ["SEAT"]')
    now = after(definition=parse_definition({"world.toml": text}))
    assert codes(now, "ANN engage ANN:LINE BAY:LONG") == ["tethered"]
    assert why(now, "ANN engage ANN:LINE BAY:LONG") == [
        "ANN:LINE can't be tied to BAY:LONG from here: it reaches SEAT"
    ]


# --- ends of hoses --------------------------------------------------------------------------------------------------


def ends(now, hose="H"):
    """Return the sites of a hose's two ends and of the hose itself."""
    return tuple(site_at(now, address) for address in (f"{hose}:P", f"{hose}:Q", hose))


def test_an_end_is_where_its_mate_is_or_where_it_was_parted():
    """A joined end stays at its panel while the hose goes away; parted, it lies there until the hose is moved."""
    carried = ["ANN mate H:P BAY:F", "ANN place H at ANN", "ANN place ANN at ROOF"]
    assert ends(after(*carried)) == ("BAY", "ROOF", "ROOF")
    both = [*carried, "ANN mate H:Q ROOF:F"]
    assert ends(after(*both)) == ("BAY", "ROOF", "ROOF")
    parted = [*both, "CRANE demate H:P"]
    assert ends(after(*parted)) == ("BAY", "ROOF", "ROOF")
    assert codes(after(*parted), "ANN mate H:P ROOF:G") == ["not-here", "absent"]
    assert ends(after(*parted, "ANN place H at ROOF")) == ("ROOF", "ROOF", "ROOF")
    assert ends(after(*parted, "ANN place ANN at STORE")) == ("STORE", "ROOF", "STORE")


def test_what_is_no_end_goes_with_the_hose():
    """A valve in a hose is where the hose is."""
    now = after("ANN mate H:P BAY:F", "ANN place H at ANN", "ANN place ANN at ROOF")
    assert site_at(now, "H:V") == "ROOF"


def test_only_what_parts_says_where_an_end_lies():
    """Where an end stays is said by the event that parts it, and by none that opens it."""
    valved = parse_definition({"world.toml": WORLD.replace('"fluid-disconnect"', '"valved-disconnect"')})
    now = after("ANN mate H:P BAY:F", definition=valved)
    opened = resolve(now, action("ANN open H:P", now.plant, 9))
    parted = resolve(now, action("ANN demate H:P", now.plant, 9))
    assert isinstance(opened, Event)
    assert isinstance(parted, Event)
    assert (opened.ends, parted.ends) == ({}, {"H:P": "BAY"})
    for event in (opened, parted):
        assert (event.subjects, event.peer) == (("H:P", "BAY:F"), None)


def test_two_ends_that_are_joined_stay_where_they_were_joined():
    """Two hoses that are joined to each other lie where that was done, whichever of them goes away."""
    text = ["ANN mate H:P J:P", "ANN place J at ANN", "ANN place ANN at ROOF"]
    now = after(*text)
    assert site_at(now, "H:P") == site_at(now, "J:P") == "BAY"
    assert (site_of(now, "H"), site_of(now, "J"), site_at(now, "J:Q")) == ("BAY", "ROOF", "ROOF")
    now = after("ANN mate H:P J:P", "ANN place H at ANN", "ANN place ANN at ROOF")
    assert site_at(now, "H:P") == site_at(now, "J:P") == "BAY"
    assert (site_of(now, "H"), site_of(now, "J"), site_at(now, "H:Q")) == ("ROOF", "BAY", "ROOF")
    now = after(*text, "CRANE demate H:P")
    assert (site_at(now, "H:P"), site_at(now, "J:P")) == ("BAY", "BAY")


def test_an_end_found_elsewhere_lies_there():
    """As-found parts an end where its mate is, and an end found on a panel is at that panel."""
    now = after(
        "ANN mate H:P BAY:F", "ANN place H at ANN", "ANN place ANN at ROOF", "CRANE as-found H:P demated"
    )
    assert ends(now) == ("BAY", "ROOF", "ROOF")
    now = after("ANN place H at ANN", "ANN place ANN at ROOF", "CRANE as-found H:P mated to BAY:F")
    assert ends(now) == ("BAY", "ROOF", "ROOF")


# --- recorded -------------------------------------------------------------------------------------------------------


def recorded(now, text):
    """Return the event that an action is when it is told after it was done."""
    outcome = resolve(now, action(text, now.plant, 99), Telling.RECORDED)
    assert isinstance(outcome, Event), outcome.refusals
    return outcome


def test_an_absent_doer_was_found_there():
    """His place follows, what he holds is left where it is, his lanyard is off, and the record's word is kept."""
    now = after("ANN place H at ANN", "ANN place BAG at ANN", *GRIPPED, *TIED)
    event = recorded(now, "ANN open Y:V")
    now.apply(event)
    at = {thing: now.state(thing).value for thing in ("ANN", "H", "BAG", "X")}
    assert at == {"ANN": "STORE", "H": "BAY", "BAG": "BAY", "X": "BAY"}
    assert [now.state(p).value for p in ("ANN:LEFT", "X:LUG", "ANN:LINE", "BAY:ANCHOR")] == [
        "free",
        "free",
        "released",
        "released",
    ]
    assert event.expected == (
        "ANN at BAY; BAG at ANN; H at ANN; ANN:LEFT held to X:LUG; ANN:LINE engaged to BAY:ANCHOR"
    )


def test_a_hand_that_let_go_of_one_thing_grips_another():
    """What he held elsewhere is let go before he does what he is recorded to have done, with the same hand."""
    now = after("ANN grip X:LUG with ANN:LEFT")
    now.apply(recorded(now, "ANN grip Y:LUG with ANN:LEFT"))
    assert [now.state(port)[:2] for port in ("ANN:LEFT", "Y:LUG", "X:LUG")] == [
        ("held", "Y:LUG"),
        ("held", "ANN:LEFT"),
        ("free", None),
    ]


def test_a_machine_leaves_what_is_on_it():
    """What stands on a machine, or in a bed of it, is left where the machine was."""
    now = after("ANN place X at BED", "ANN place ANN at CRANE")
    event = recorded(now, "CRANE inspect Y")
    assert event.found == {"CRANE": "STORE", "ANN": "BAY", "X": "BAY"}


RECORDED = [
    # he put it there, so that is where he ended: and it is with him
    ([], "ANN place X at ROOF", {"ANN": "ROOF"}),
    (GRIPPED, "ANN place X at ROOF", {"ANN": "ROOF"}),
    (["ANN place ANN at STORE"], "ANN place X at SHELF", {}),
    ([], "ANN as-found Y at STORE", {"ANN": "STORE"}),
    ([], "ANN as-found Y:V open", {"ANN": "STORE"}),
    ([], "ANN measure Y voltage=3V", {"ANN": "STORE"}),
    ([], "CRANE lift Y by CRANE", {"CRANE": "STORE"}),
    ([], "ANN place Y at ANN", {"ANN": "STORE"}),
    ([], "CRANE place Y at BED", {"CRANE": "STORE"}),
    (["DAN place CRANE at ROOF"], "DAN inspect Y", {"DAN": "STORE"}),
]


@pytest.mark.parametrize(("before", "text", "found"), RECORDED)
def test_his_place_follows_to_where_it_was_done(before, text, found):
    """Only who did it is taken to have been elsewhere than recorded: he ends where he did it."""
    event = recorded(after(*before), text)
    assert event.found == found
    assert event.expected


def test_who_is_there_or_is_nobody_moves_nobody():
    """Nothing follows where the doer is there, isn't of the plant, only corrects, remarks, begins or ends."""
    now = after()
    for text in (
        "ANN open X:V",
        "- open Y:V",
        "somebody open Y:V",
        "ANN remark Y seen",
        "DAN open Y:V",
        "ANN begin O",
    ):
        event = recorded(now, text)
        assert (event.found, event.expected, event.parted) == ({}, None, ())
    correction = parse_phrase(["open", "Y:V", "by=ANN", "reason=slip"], PLANT, id="c")
    event = resolve(now, replace(correction, supersedes="e0"), Telling.RECORDED)
    assert isinstance(event, Event)
    assert (event.found, event.expected) == ({}, None)


def test_two_halves_at_two_sites_are_recorded_as_found_only():
    """What can't be is refused in a record too, and is there as found, as a discrepancy."""
    now = after("ANN place ANN at STORE")
    assert codes(now, "ANN grip X:LUG with CRANE:LEFT", Telling.RECORDED) == []
    assert codes(now, "- grip Y:LUG with CRANE:LEFT", Telling.RECORDED) == ["not-here"]
    event = recorded(now, "- as-found Y:LUG held to CRANE:LEFT")
    assert event.expected == (
        "Y:LUG free; CRANE:LEFT free; Y:LUG is at STORE, CRANE:LEFT at BAY: they are not at one site"
    )


def test_who_is_found_elsewhere_has_with_him_what_he_can_carry():
    """As-found of a gripper brings what it grips, where that can come; else it grips it no longer."""
    now = after(*GRIPPED)
    now.apply(recorded(now, "- as-found ANN at ROOF"))
    assert (now.state("X").value, now.state("X:LUG").value) == ("ANN", "held")
    now = after("ANN engage X:BOLT BAY:BOLT", *GRIPPED, *TIED)
    event = recorded(now, "- as-found ANN at ROOF")
    now.apply(event)
    assert (now.state("X").value, now.state("X:LUG").value, now.state("ANN:LINE").value) == (
        "BAY",
        "free",
        "released",
    )
    assert event.expected == "ANN at BAY; ANN:LEFT held to X:LUG; ANN:LINE engaged to BAY:ANCHOR"


def test_what_is_found_at_another_site_is_fixed_to_nothing_here():
    """A unit found elsewhere is bolted, strapped and gripped no longer; hoses stay on, and all at its site."""
    now = after(
        "ANN engage X:BOLT BAY:BOLT",
        "ANN mate X:STRAP BAY:STRAP",
        "ANN mate H:P X:F",
        "ANN grip X:LUG with ANN:LEFT",
    )
    event = recorded(now, "- as-found X at SEAT")
    assert (event.parted, event.expected) == ((), "X at BAY")
    event = recorded(now, "- as-found X at ROOF")
    now.apply(event)
    fixed = [now.state(f"X:{port}").value for port in ("BOLT", "STRAP", "LUG", "F")]
    assert fixed == ["released", "demated", "free", "mated"]
    assert (
        event.expected
        == "X at BAY; X:BOLT engaged to BAY:BOLT; X:LUG held to ANN:LEFT; X:STRAP mated to BAY:STRAP"
    )
    assert site_at(now, "H:P") == "ROOF"


def test_before_presence_was_judged_nothing_of_it_is():
    """What was recorded before is looked at again as it was then: nobody is absent, no two sites."""
    now = after("ANN mate J:P BAY:G", "ANN place J at ANN", "ANN place ANN at STORE")
    for text in ("ANN open X:V", "ANN grip X:LUG with ANN:LEFT", "- mate H:P BAY:F", "ANN demate J:P"):
        event = resolve(now, action(text, number=99), Telling.BEFORE)
        assert isinstance(event, Event)
        assert (event.found, event.expected, event.ends, event.carried) == ({}, None, {}, {})
    event = resolve(now, action("- as-found H:P mated to J:Q"), Telling.BEFORE)
    assert isinstance(event, Event)
    assert (event.expected, event.ends) == ("H:P demated; J:Q demated", {})


# --- what is judged -------------------------------------------------------------------------------------------------


def test_a_plant_says_whether_presence_is_judged():
    """With sites it is; and of so many events it isn't, as nobody of the plant is known to have done them."""
    assert presence_is_judged(PLANT)
    assert not presence_is_judged(NOWHERE.plant())
    events = [
        action(t) for t in ("ANN open X:V", "- open X:V", "somebody shut X:V", "- remark X seen", "- begin O")
    ]
    assert [lacks_doer(PLANT, e) for e in events] == [False, True, True, False, False]
    assert unjudged(PLANT, events) == 2
    assert unjudged(NOWHERE.plant(), events) == 0
    assert [doer_of(PLANT, e) for e in events] == ["ANN", None, None, None, None]
    assert acts_at(after(), "DAN") == {"CONTROL", "BAY"}


# --- always ---------------------------------------------------------------------------------------------------------

DOERS = ("ANN", "DAN", "CRANE")
DEEDS = [
    *(
        f"{who} place {who} at {at}"
        for who in DOERS
        for at in ("BAY", "ROOF", "STORE", "SEAT", "CRANE", "ANN")
        if at != who
    ),
    *(
        f"{who} place {what} at {at}"
        for who in DOERS
        for what in "XYH"
        for at in ("BAY", "ROOF", "STORE", "ANN", "CRANE", "BED")
    ),
    *(
        f"{who} grip {what}:LUG with {hand}:{side}"
        for who in DOERS
        for what in "XY"
        for hand in DOERS
        for side in ("LEFT", "RIGHT")
    ),
    *(f"{who} let-go {what}:LUG" for who in DOERS for what in "XY"),
    *(
        f"ANN {deed}"
        for deed in (
            "grip BAY:RAIL with ANN:RIGHT",
            "let-go BAY:RAIL",
            "engage ANN:LINE BAY:ANCHOR",
            "release ANN:LINE",
        )
    ),
    *(
        f"ANN {deed}"
        for deed in (
            "engage X:BOLT BAY:BOLT",
            "release X:BOLT",
            "mate H:P BAY:F",
            "mate H:Q ROOF:F",
            "demate H:P",
            "demate H:Q",
        )
    ),
    *(f"ANN mate {what}:F BAY:G" for what in "XY"),
    *(f"ANN {deed}" for deed in ("mate X:STRAP BAY:STRAP", "demate X:STRAP")),
    "- as-found ANN at STORE",
    "- as-found CRANE at ROOF",
    "- as-found X at ANN",
]
SAID = [action(text) for text in DEEDS]


@given(st.lists(st.sampled_from(SAID), max_size=25), st.sampled_from([Telling.PROPOSED, Telling.RECORDED]))
def test_nobody_is_at_two_places_and_every_grip_is_at_one_site(deeds, telling):
    """After any possible sequence: each thing in one place, gripped units at their grippers' sites, riders with rides,

    tethers within their reach, and joined halves at one site.
    """
    now = after()
    for deed in deeds:
        outcome = resolve(now, deed, telling)
        if isinstance(outcome, Impossible):
            continue
        before = {s: now.state(s) for s, _ in now.touched()}, dict(now.values)
        _, undo = now.apply(outcome)
        now.undo(undo)
        assert ({s: now.state(s) for s, _ in now.touched()}, now.values) == before
        now.apply(outcome)
        standing = [thing for place in PLANT.places for thing in now.standing_at(place)]
        assert len(standing) == len(set(standing))
        for place in (p.id for p in PLANT.places.values() if p.mobile):
            for thing in now.standing_at(place):
                assert site_of(now, thing) == site_of(now, place)
        for owner in PLANT.owners():
            for joint in joints(now, owner):
                if is_made(now, joint.near):
                    assert site_at(now, joint.near) == site_at(now, joint.far), joint
                if is_grip(PLANT, joint):
                    assert site_of(now, owner) == site_of(now, owner_of(joint.far)), joint
