"""What is impossible is refused, by name; what moves along moves along; what is in a hand can be fastened."""

from dataclasses import replace

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.possibility import resolve
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.unknown import UNKNOWN
from tests.happening import happened, refused

WORLD = """
[[part]]
id = "box"
port = [
  { name = "F", kind = "fluid-disconnect", size = "1/2 in", keying = "supply", gender = "plug" },
  { name = "G", kind = "fluid-disconnect", size = "1/2 in", keying = "supply", gender = "socket" },
  { name = "R", kind = "fluid-disconnect", size = "1/2 in", keying = "return", gender = "socket" },
  { name = "W", kind = "fluid-disconnect", size = "3/4 in", gender = "socket" },
  { name = "J", kind = "electrical-connector" },
  { name = "B", kind = "bolt" },
  { name = "C", kind = "bolt" },
  { name = "E", kind = "grip" },
  { name = "V", kind = "valve" },
  { name = "K", kind = "cover" },
  { name = "S", kind = "switch" },
]
[[part]]
id = "hose"
flexible = true
port = [
  { name = "P", kind = "fluid-disconnect", size = "1/2 in", gender = "plug" },
  { name = "S", kind = "fluid-disconnect", size = "1/2 in", gender = "socket" },
]
[[part]]
id = "hand"
port = [{ name = "GRIP", kind = "grip" }, { name = "B", kind = "bolt" }]
[[part]]
id = "wall"
port = [{ name = "B", kind = "bolt" }, { name = "G", kind = "fluid-disconnect", size = "1/2 in", gender = "socket" }]

[[unit]]
id = "X"
part = "box"
[[unit]]
id = "Y"
part = "box"
[[unit]]
id = "Z"
part = "box"
[[unit]]
id = "H"
part = "hose"

[[place]]
id = "YARD"
[[place]]
id = "BAY"
parent = "YARD"
part = "wall"
[[place]]
id = "ONE"
parent = "YARD"
capacity = 1
[[place]]
id = "NORTH"
parent = "YARD"
facings = ["north", "up"]
[[place]]
id = "ANN"
parent = "YARD"
mobile = true
part = "hand"
[[place]]
id = "BOB"
parent = "YARD"
mobile = true
part = "hand"
[[place]]
id = "SLED"
parent = "YARD"
mobile = true
[[place]]
id = "CASE"
lock_box = true
[[place]]
id = "SAFE"
lock_box = true
[[place]]
id = "SLOT"
parent = "SLED"
"""
PLANT = parse_definition({"world.toml": WORLD}).plant()
OF_PRESENCE = {"absent", "gripped", "tethered"}
OF_DEFECTS = {"barred"}
STAND = ["place X BAY", "place Y BAY"]
GRIPPED = [*STAND, "grip X:E ANN:GRIP"]


def action(text, number=0):
    """Return the event of a short text: an action, its subjects, a place after place, lift or at, a facing after /."""
    text, _, facing = text.partition(" / ")
    action, *subjects = text.split()
    more = {"facing": facing} if facing else {}
    if "=" in subjects[-1] if subjects else False:
        more["status"] = subjects.pop()[1:]
    if "at" in subjects:
        more["place"] = subjects.pop()
        subjects.remove("at")
    elif action in ("place", "lift") and len(subjects) == 2:
        more["place"] = subjects.pop()
    return Action(f"e{number}", action, tuple(subjects), number, **more)


def after(*texts):
    """Return the configuration after some events, each of which must be possible."""
    now = Configuration(PLANT)
    for number, text in enumerate(texts):
        resolved = happened(now, action(text, number))
        now.apply(resolved)
    return now


def codes(now, text):
    """Return the codes of the refusals of an event."""
    return [r.code for r in refused(now, action(text, 99))]


REFUSED = [
    # along a ladder
    (STAND, "mate X:Q Y:G", ["unknown"]),
    (STAND, "mate X:B Y:B", ["action", "action"]),
    (STAND, "mate X:F", ["subjects"]),
    (STAND, "mate X:F Y:G Z:G", ["subjects"]),
    (STAND, "mate", ["subjects"]),
    (STAND, "mate X:F X:F", ["same"]),
    (STAND, "mate X:F X:G", ["one-owner"]),
    (STAND, "engage X:B X:C", ["one-owner"]),
    (STAND, "grip X:E Y:E", None),
    (STAND, "mate X:F Y:J", ["kind"]),
    (STAND, "mate X:F Y:W", ["size"]),
    (STAND, "mate X:F Y:R", ["keying"]),
    (STAND, "mate X:F Y:F", ["gender"]),
    ([*STAND, "mate X:F Y:G"], "mate X:F Y:G", ["status", "status"]),
    ([*STAND, "mate X:F Y:G"], "mate Y:F X:G", None),
    ([*STAND, "cap X:F"], "mate X:F Y:G", ["status"]),
    ([*STAND, "mate X:F Y:G"], "cap X:F", ["status"]),
    (STAND, "demate X:F", ["status"]),
    ([*STAND, "mate X:F Y:G", "mate H:P X:G"], "demate X:F X:G", ["not-mates", "not-mates"]),
    (STAND, "shut X:V", ["status"]),
    ([*STAND, "open X:V"], "open X:V", ["status"]),
    (STAND, "torque X:B", ["status"]),
    (STAND, "uncap X:F", ["status"]),
    # not in one place
    (["place X BAY", "place Y ONE"], "mate X:F Y:G", ["not-here"]),
    (["place X BAY"], "mate X:F Y:G", ["not-here"]),
    ([], "engage X:B Y:B", ["not-here"]),
    (["place X ONE"], "engage X:B BAY:B", ["not-here"]),
    (["place X ONE"], "mate H:P X:G", None),
    (["place X ONE"], "engage X:B ANN:B", None),
    # from place to place
    (STAND, "place W BAY", ["unknown"]),
    (STAND, "place BAY YARD", ["unknown"]),
    (STAND, "place X:F BAY", ["unknown"]),
    (STAND, "place X NOWHERE", ["unknown"]),
    (STAND, "place X BAY", ["already"]),
    (STAND, "place X BAY / north", None),
    ([*STAND, "place X ONE"], "place Y ONE", ["full"]),
    (STAND, "place X NORTH", ["facing"]),
    (STAND, "place X NORTH / south", ["facing"]),
    (STAND, "place X NORTH / up", None),
    (STAND, "lift X", ["by-whom"]),
    (STAND, "lift X BAY", ["by-whom", "already"]),
    (STAND, "lift X ONE", ["by-whom"]),
    ([*GRIPPED, "grip Y:E BOB:GRIP", "engage X:B Y:B"], "lift X", ["by-whom"]),
    (["place ANN SLED"], "place SLED ANN", ["inside-itself"]),
    ([], "place SLED SLOT", ["inside-itself"]),
    ([], "as-found SLED at SLOT", ["inside-itself"]),
    (STAND, "place X Y at ONE", ["subjects"]),
    (STAND, "place at ONE", ["subjects"]),
    (STAND, "as-found X Y at ONE", ["unknown"]),
    # ties
    ([*STAND, "engage X:B BAY:B"], "place X ONE", ["tied"]),
    ([*STAND, "mate X:F Y:G"], "place X ONE", ["tied"]),
    ([*STAND, "mate X:F Y:G", "mate Y:F X:G"], "place X ONE", ["tied", "tied"]),
    ([*STAND, "mate H:P X:G"], "place X ONE", None),
    ([*STAND, "grip X:E ANN:GRIP"], "place X ONE", None),
    ([*STAND, "engage X:B Y:B", "mate X:F Y:G"], "place X ONE", None),
    ([*STAND, "engage X:B Y:B", "engage Y:C BAY:B"], "place X ONE", ["tied"]),
    (["place X SLOT", "place Y SLED", "mate X:F Y:G"], "place SLED BAY", None),
    # notes
    (STAND, "inspect Q", ["unknown"]),
    (STAND, "inspect box", None),
    (STAND, "begin", ["outing"]),
    (STAND, "measure X", ["values"]),
    (STAND, "remark X", ["remark"]),
    # locks and tags
    (STAND, "lock", ["subjects", "by-whom"]),
    (STAND, "lock X:V", ["by-whom"]),
    (STAND, "lock X:V ANN", None),
    (STAND, "lock X:V ANN BOB", ["by-whom"]),
    (STAND, "lock X:Q ANN", ["unknown"]),
    (STAND, "lock X:V BAY", ["unknown"]),
    (STAND, "lock X:V X:S", ["unknown"]),
    (STAND, "lock X:F ANN", None),
    (STAND, "lock X:B ANN", ["kind"]),
    (STAND, "lock X ANN", ["kind"]),
    (STAND, "tag X:F ANN", None),
    ([*STAND, "tag X:B ANN"], "lock X:B ANN", ["kind"]),
    ([*STAND, "lock X:F ANN"], "mate X:F Y:G", ["locked"]),
    ([*STAND, "lock Y:G ANN"], "mate X:F Y:G", ["locked"]),
    ([*STAND, "lock X:F ANN", "unlock X:F ANN"], "mate X:F Y:G", None),
    ([*STAND, "lock X:F ANN"], "cap X:F", None),
    ([*STAND, "cap X:F", "lock X:F ANN"], "uncap X:F", ["locked"]),
    ([*STAND, "mate X:F Y:G"], "lock X:F ANN", ["not-safe"]),
    ([*STAND, "lock X:F ANN", "as-found X:F Y:G =mated"], "demate X:F Y:G", None),
    ([*STAND, "lock X:F ANN", "as-found X:F Y:G =mated", "demate X:F Y:G"], "mate X:F Y:G", ["locked"]),
    (STAND, "tag X ANN", ["kind"]),
    (STAND, "tag X:F CASE", ["kind"]),
    ([*STAND, "open X:V"], "lock X:V ANN", ["not-safe"]),
    ([*STAND, "open X:V"], "tag X:V ANN", None),
    ([*STAND, "uncover X:K"], "lock X:K ANN", ["not-safe"]),
    ([*STAND, "lock X:V ANN"], "lock X:V ANN", ["already"]),
    ([*STAND, "lock X:V ANN"], "lock X:V BOB", None),
    ([*STAND, "lock X:V ANN"], "tag X:V ANN", None),
    ([*STAND, "tag X:V ANN"], "tag X:V ANN", ["already"]),
    ([*STAND, "lock X:V ANN"], "open X:V", ["locked"]),
    ([*STAND, "lock X:V ANN", "lock X:V BOB", "unlock X:V ANN"], "open X:V", ["locked"]),
    ([*STAND, "lock X:V ANN", "unlock X:V ANN"], "open X:V", None),
    ([*STAND, "lock X:V ANN", "as-found X:V =open"], "shut X:V", None),
    ([*STAND, "lock X:V ANN", "as-found X:V =open", "shut X:V"], "open X:V", ["locked"]),
    ([*STAND, "tag X:V ANN"], "open X:V", None),
    ([*STAND, "lock X:K ANN"], "uncover X:K", ["locked"]),
    ([*STAND, "lock X:K ANN", "as-found X:K =removed"], "cover X:K", None),
    ([*STAND, "lock X:V ANN"], "place X ONE", None),
    ([*STAND, "lock X:V ANN"], "unlock X:V BOB", ["no-lock"]),
    ([*STAND, "tag X:V ANN"], "unlock X:V ANN", ["no-lock"]),
    ([*STAND, "tag X:V ANN"], "untag X:V ANN", None),
    ([*STAND, "lock X:V ANN"], "transfer X:V ANN BOB", None),
    ([*STAND, "lock X:V ANN"], "transfer X:V ANN", ["by-whom"]),
    ([*STAND, "lock X:V ANN"], "transfer X:V ANN CASE", ["kind"]),
    ([*STAND, "lock X:V ANN"], "transfer X:V ANN ANN", ["same"]),
    ([*STAND, "lock X:V ANN"], "transfer X:V BOB ANN", ["no-lock", "already"]),
    ([*STAND, "lock X:V ANN"], "cut X:V ANN", ["by-whom"]),
    # boxes
    (STAND, "lock CASE ANN", None),
    (STAND, "lock CASE CASE", ["same"]),
    ([*STAND, "lock SAFE CASE"], "lock CASE SAFE", ["same"]),
    ([*STAND, "lock X:V CASE", "lock CASE ANN"], "unlock X:V CASE", ["boxed"]),
    ([*STAND, "lock X:V CASE", "lock CASE ANN", "unlock CASE ANN"], "unlock X:V CASE", None),
    ([*STAND, "lock X:V CASE", "lock CASE ANN"], "open X:V", ["locked"]),
    ([*STAND, "lock X:V CASE"], "open X:V", ["locked"]),
    ([*STAND, "lock X:V CASE", "lock CASE SAFE", "lock SAFE ANN"], "unlock CASE SAFE", ["boxed"]),
    # found so
    (STAND, "as-found", ["subjects"]),
    (STAND, "as-found X:F", ["status"]),
    (STAND, "as-found X:F =torqued", ["status"]),
    (STAND, "as-found X:F =mated", ["subjects"]),
    (STAND, "as-found X:Q =mated", ["unknown"]),
    (STAND, "as-found X at NOWHERE", ["unknown"]),
    (STAND, "as-found BAY at YARD", ["unknown"]),
    (STAND, "as-found X:F X:F =mated", ["same"]),
]


BY_SOMEBODY = [
    ("BOB", "lock X:S ANN", ["not-yours"]),
    ("BOB", "tag X:S ANN", ["not-yours"]),
    ("BOB", "unlock X:V ANN", ["not-yours"]),
    ("BOB", "unlock X:V", ["no-lock"]),
    ("ANN", "unlock X:V", None),
    ("BOB", "untag X:V ANN", ["not-yours"]),
    ("BOB", "transfer X:V ANN BOB", ["not-yours"]),
    ("ANN", "transfer X:V ANN BOB", None),
    ("BOB", "lock X:S", None),
    ("BOB", "lock X:S CASE", None),
    ("BOB", "cut X:V ANN", ["reason"]),
    ("ANN", "cut X:V ANN", ["not-yours", "reason"]),
]
"""Said by whom, with ANN's lock and tag on X:V."""


@pytest.mark.parametrize(("by", "text", "expected"), BY_SOMEBODY)
def test_everybody_puts_on_and_takes_off_his_own(by, text, expected):
    """A lock or tag is its owner's, 29 CFR 1910.147 (d)(4)(i) and (e)(3); a box's is put on by whoever does it."""
    now = after(*STAND, "lock X:V ANN", "tag X:V ANN")
    said = replace(action(text, 99), by=by)
    assert [r.code for r in refused(now, said)] == (expected or [])


def test_the_employer_has_a_lock_cut():
    """Where its owner isn't there another takes it off, with his tag, (e)(3); the event says who did, and why."""
    now = after(*STAND, "lock X:V ANN", "tag X:V ANN")
    cut = happened(
        now, replace(action("cut X:V ANN", 99), by="BOB", reason="ANN went home, and was told by phone")
    )
    now.apply(cut)
    assert (cut.by, cut.subjects) == ("BOB", ("X:V", "ANN"))
    assert list(now.devices_on("X:V")) == []
    assert codes(now, "open X:V") == []


def test_a_lock_hangs_where_the_thing_is():
    """Whatever place is said of a lock or tag, none is kept: it hangs on the thing, wherever that is."""
    now = after(*STAND)
    for text in ("lock X:V ANN", "tag X:V ANN"):
        assert happened(now, replace(action(text, 99), place="YARD")).place is None


def test_a_lock_of_somebody_whom_the_plant_does_not_know_comes_off():
    """Put on when any name would do, it is taken off or cut when only people of the plant count."""
    sited = WORLD.replace('id = "YARD"\n', 'id = "YARD"\nsite = true\n')
    now = Configuration(parse_definition({"sited.toml": sited}).plant())
    before = happened(after(*STAND), replace(action("lock X:V ina", 99), by="ina"))
    now.apply(before)
    assert [r.code for r in refused(now, action("unlock X:V ina", 100))] == []
    assert [r.code for r in refused(now, action("lock X:S ina", 100))] == ["unknown"]
    cut = replace(action("cut X:V ina", 100), by="ANN", reason="left the firm")
    assert [r.code for r in refused(now, cut) if r.code != "absent"] == []


def test_a_kind_that_has_a_move_of_that_name_keeps_it():
    """A plant's own kind may call a move of its ladder lock: of its ports it stays that."""
    own = (
        WORLD
        + """
[[kind]]
id = "gate"
statuses = ["free", "fast"]
[[kind.move]]
action = "lock"
from = ["free"]
to = "fast"
[[part]]
id = "yard-gate"
port = [{ name = "G", kind = "gate" }]
[[unit]]
id = "GATE"
part = "yard-gate"
"""
    )
    now = Configuration(parse_definition({"own.toml": own}).plant())
    now.apply(happened(now, action("lock GATE:G")))
    assert now.state("GATE:G").value == "fast"
    assert list(now.devices_on("GATE:G")) == []


@pytest.mark.parametrize(("before", "text", "refused"), REFUSED)
def test_refusals(before, text, refused):
    """Each impossible action is refused for its own reasons and no others; its near neighbour is not refused."""
    assert codes(after(*before), text) == (refused or [])


def test_every_code_has_a_row():
    """The table has a row for every code that possibility knows; presence and defects have tests of their own."""
    import inspect
    import re

    import cfgtrack.model.possibility as module
    from cfgtrack.model import lock

    source = inspect.getsource(module) + inspect.getsource(lock)
    known = set(re.findall(r'(?:Refusal|Objection)\(\s*"([a-z-]+)"', source))
    told = {code for _, _, refused in (*REFUSED, *BY_SOMEBODY) for code in refused or ()}
    assert known - OF_PRESENCE - OF_DEFECTS | {UNKNOWN} == told


@pytest.mark.parametrize(
    ("before", "text", "collides"),
    [
        ([*STAND, "mate X:F Y:G"], "mate X:F Z:G", "e2"),
        ([*STAND, "cap X:F"], "cap X:F", "e2"),
        (["place X BAY", "place Y ONE"], "mate X:F Y:G", "e0"),
        (STAND, "place X BAY", "e0"),
        ([*STAND, "place X ONE"], "place Y ONE", "e2"),
        ([*STAND, "engage X:B BAY:B"], "place X ONE", "e2"),
    ],
)
def test_collisions_are_named(before, text, collides):
    """A refusal names the event that put the hardware where it contradicts."""
    refusals = refused(after(*before), action(text))
    assert collides in {r.collides for r in refusals}


SAID = {
    "X:F is demated; demate needs it mated": (STAND, "demate X:F"),
    "X:F is mated (to Y:G); cap needs it demated": ([*STAND, "mate X:F Y:G"], "cap X:F"),
    "X:B is released; torque needs it engaged or torqued": (STAND, "torque X:B"),
    "X:B is of kind bolt; it takes engage, torque, release, not mate": (STAND, "mate X:B Y:G"),
    "Y:G is demated, not mated to X:F": (STAND, "demate X:F Y:G"),
    "X:F is mated to Y:G, not mated to X:G": ([*STAND, "mate X:F Y:G"], "demate X:F X:G"),
    "X:F is at BAY, Y:G is at ONE: they are not in one place": (
        ["place X BAY", "place Y ONE"],
        "mate X:F Y:G",
    ),
    "X:F is at BAY, Y:G: place not known: they are not in one place": (["place X BAY"], "mate X:F Y:G"),
    "X:F: place not known, Y:G is at BAY: they are not in one place": (["place Y BAY"], "mate X:F Y:G"),
    "ONE takes 1 and holds X": ([*STAND, "place X ONE"], "place Y ONE"),
    "NORTH takes a unit facing north or up; none was given": (STAND, "place X NORTH"),
    "NORTH takes a unit facing north or up; not south": (STAND, "place X NORTH / south"),
    "X:F still ties X to Y:G": ([*STAND, "mate X:F Y:G"], "place X ONE"),
    "say who or what lifts X: no single grip holds it": (STAND, "lift X"),
    "X:F is 1/2 in, Y:W is 3/4 in: the sizes differ": (STAND, "mate X:F Y:W"),
    "X:F is keyed supply, Y:R return: they can't be joined": (STAND, "mate X:F Y:R"),
}


@pytest.mark.parametrize("sentence", SAID)
def test_a_refusal_says_what_is_so(sentence):
    """A refusal says in a sentence what is so, what it is joined to, and what would have been needed."""
    before, text = SAID[sentence]
    assert sentence in [r.sentence for r in refused(after(*before), action(text))]


def test_nothing_changes():
    """A refused action leaves the configuration as it was."""
    now = after(*STAND)
    before = dict(now.touched())
    resolve(now, action("mate X:F Y:W"))
    assert dict(now.touched()) == before


# --- what goes along ----------------------------------------------------------------------------------------------


def test_the_mate_is_filled_in():
    """Demating one half names the other; capping one half of nothing names none."""
    now = after(*STAND, "mate X:F Y:G")
    assert happened(now, action("demate Y:G")).subjects == ("Y:G", "X:F")
    assert happened(now, action("cap X:G")).subjects == ("X:G",)


def test_what_is_fixed_goes_along():
    """What is bolted to a unit, directly or not, is lifted with it; what is only mated to it ties it."""
    now = after(*STAND, "place Z BAY", "engage X:B Y:B", "engage Y:C Z:C", "grip X:E ANN:GRIP")
    moved = happened(now, action("lift X"))
    assert (moved.place, set(moved.moved)) == ("ANN", {"Y", "Z"})
    now.apply(moved)
    assert [place_line(now, u)[0] for u in "XYZ"] == ["ANN"] * 3


def test_a_carrier_takes_its_load():
    """What stands on a sled, in its slot too, is where the sled goes, without an event of its own."""
    now = after("place X SLOT", "place SLED BAY")
    assert place_line(now, "X") == ["SLOT", "SLED", "BAY", "YARD"]


def test_a_slot_ties_what_stays():
    """What stands in a sled's slot and is bolted to the wall keeps the sled from moving."""
    now = after("place SLED BAY", "place X SLOT", "engage X:B BAY:B")
    assert codes(now, "place SLED ONE") == ["tied"]


def test_capacity_counts_what_is_fixed_together_as_one():
    """Two units bolted together fill one place; a third doesn't fit."""
    now = after(*STAND, "engage X:B Y:B", "place X ONE")
    assert [place_line(now, u)[0] for u in "XY"] == ["ONE", "ONE"]
    assert codes(now, "place Z ONE") == ["full"]


def test_in_hand_to_standing():
    """A unit in somebody's hand that is bolted to one that stands somewhere stands there from then on."""
    now = after("place X BAY", "place Y ANN")
    joined = happened(now, action("engage Y:B X:B"))
    assert (joined.place, joined.moved) == ("BAY", ("Y",))
    now.apply(joined)
    assert place_line(now, "Y")[0] == "BAY"
    fluid = happened(after("place X BAY", "place Y ANN"), action("mate Y:F X:G"))
    assert fluid.place is None


def test_two_hands():
    """What two people hold apart isn't in one place."""
    assert codes(after("place X ANN", "place Y BOB"), "mate X:F Y:G") == ["not-here"]


# --- found so -----------------------------------------------------------------------------------------------------


def test_found_apart():
    """A half found apart leaves its mate apart too, and says what the record said."""
    now = after(*STAND, "mate X:F Y:G")
    found = happened(now, action("as-found X:F =demated"))
    assert (found.moved, found.expected) == (("Y:G",), "X:F mated to Y:G")
    now.apply(found)
    assert now.state("Y:G")[:2] == ("demated", None)


def test_found_with_another():
    """Halves found with each other leave those bereft that they were mated to."""
    now = after(*STAND, "mate X:F Y:G", "place Z BAY", "mate Z:F X:G")
    now.apply(happened(now, action("as-found X:F Z:G =mated")))
    assert now.state("X:F")[:2] == ("mated", "Z:G")
    assert now.state("Y:G")[:2] == ("demated", None)


def test_found_as_recorded():
    """What is found as the record has it contradicts nothing."""
    now = after(*STAND, "mate X:F Y:G")
    assert happened(now, action("as-found X:F =mated")).expected is None
    assert happened(now, action("as-found X at BAY")).expected is None


def test_found_elsewhere():
    """What is found elsewhere than recorded says where it should be; what the definition puts there says nothing."""
    found = action("as-found X at BAY")
    assert happened(after(), found).expected == "X: place not known"
    assert happened(after("place X ONE"), found).expected == "X at ONE"
    assert happened(after(), replace(found, initial=True)).expected is None
    assert happened(after("place X ONE"), replace(found, initial=True)).expected == "X at ONE"


def test_found_free_as_before():
    """A half that had no mate leaves none behind when it is found otherwise."""
    found = happened(after(*STAND), action("as-found X:F =capped"))
    assert (found.moved, found.expected) == ((), "X:F demated")


def test_measured_values():
    """A measurement keeps the number in SI units, and the unit it came in."""
    now = after(*STAND)
    quantity = parse_quantity("10 ft*lbf", dimension="torque")
    now.apply(happened(now, Action("m", "measure", ("X:B",), 9, values={"torque": quantity})))
    value = now.values["X:B", "torque"]
    assert (round(float(value.value), 6), value.other) == (13.558179, quantity.unit)
