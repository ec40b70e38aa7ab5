"""Locks and tags where they are shown: beside the status word, in states and in every picture, in words."""

from __future__ import annotations

import re

import pytest

from cfgtrack.analysis.difference import difference
from cfgtrack.analysis.options import candidates
from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.answers.draw import Scope
from cfgtrack.files.phrase import parse_phrase, phrase
from cfgtrack.show.drawing.sheet import Form
from cfgtrack.show.record import difference_text
from cfgtrack.show.state import plant_text, state_text
from tests.happening import happened
from tests.show.drawing.reading import boxes, reading, sheet_of
from tests.show.world import AT, MOMENT, Yard, yard

BOX = """
[[part]]
id = "guard"
port = [{ name = "LID", kind = "cover" }]
[[unit]]
id = "GUARD-1"
part = "guard"
[[place]]
id = "BOX"
parent = "FLOOR"
lock_box = true
"""


def locked() -> Yard:
    """Return the yard with a lock of INA's on a valve and on the box, the box's on a breaker, and a tag on a cover."""
    world = yard(BOX)
    for number, text in enumerate(
        (
            "lock PANEL-1:V2 by INA",
            "lock SUP-2:Q with BOX by INA",
            "lock BOX by INA",
            "lock GUARD-1:LID by BEN",
            "tag GUARD-1:LID by INA",
        )
    ):
        action = parse_phrase(text.split(), world.plant, id=f"l{number}", happened=AT + number * 1_000_000)
        world.configuration.apply(happened(world.configuration, action))
    return world


def drawn(world: Yard, scope: Scope) -> str:
    """Return all that a picture says."""
    return reading(sheet_of(world, scope))


def marked(text: str, at: str, word: str, by: str, thing: str) -> bool:
    """Return whether a picture has a mark there (`at`: words of it), and by its number whose it is, and on what."""
    notes = [number for number, said in re.findall(rf"\[(\d+)\] {word} by {by}: (.*)", text) if thing in said]
    return any(re.search(rf"{at} {word} \[{number}\]", text) for number in notes)


def test_a_port_says_who_locked_it_beside_its_status() -> None:
    """The table of ports has the mark, the table of locks since when, and which event put it there."""
    text = state_text(unit_state(*locked(), "PANEL-1"), MOMENT)
    assert "shut LOCKED by INA" in text
    assert re.search(r"V2 +lock +INA +2031-04-26T20:00:00Z +l0", text)
    lid = state_text(unit_state(*locked(), "GUARD-1:LID"), MOMENT)
    assert "fitted LOCKED by BEN, TAGGED by INA" in re.sub(r"\s+", " ", lid)


def test_a_person_and_a_box_say_what_they_have_locked() -> None:
    """Of a box: whose locks are on it, and what its own are on. Of a person: all that hangs anywhere."""
    box = state_text(unit_state(*locked(), "BOX"), MOMENT)
    assert "locked by   INA since 2031-04-26T20:00:02Z" in box
    assert "a lock on SUP-2:Q since 2031-04-26T20:00:01Z" in box
    ina = unit_state(*locked(), "INA")
    assert [(one.thing, one.is_tag) for one in ina.has_locked] == [
        ("BOX", False),
        ("GUARD-1:LID", True),
        ("PANEL-1:V2", False),
    ]
    everything = plant_state(*locked())
    assert len(everything.locks) == 5
    assert re.search(r"SUP-2:Q +lock +BOX", plant_text(everything, MOMENT))


V2 = ("V2 shut", "LOCKED", "INA", "PANEL-1:V2")
Q = ("Q off", "LOCKED", "BOX", "SUP-2:Q")
LID = (("LID fitted", "LOCKED", "BEN", "GUARD-1:LID"), ("LID fitted", "TAGGED", "INA", "GUARD-1:LID"))


@pytest.mark.parametrize(
    ("scope", "said"),
    [
        (Scope.one_medium("fluid"), [V2]),
        (Scope.one_medium("power"), [Q]),
        (Scope.around("PANEL-1"), [V2]),
        (Scope.everything(), [V2, Q, *LID]),
        (Scope.places(), [V2, ("BOX", "LOCKED", "INA", "BOX")]),
        (Scope.loop("A"), [V2]),
    ],
)
def test_every_picture_marks_what_is_locked(scope: Scope, said: list[tuple[str, str, str, str]]) -> None:
    """The mark stands beside the status, wherever that is drawn, and its note says whose it is; else it has a row."""
    text = drawn(locked(), scope)
    for mark in said:
        assert marked(text, *mark), mark
    assert "LOCKED" not in drawn(yard(BOX), scope)


@pytest.mark.parametrize("medium", ["fluid", "power"])
def test_what_is_locked_and_has_no_line_is_a_box(medium: str) -> None:
    """In the picture of a medium a lock box, and what is locked of another medium, is a box with its mark, too."""
    text = drawn(locked(), Scope.one_medium(medium))
    for mark in (("BOX", "LOCKED", "INA", "BOX"), *LID, V2):
        assert marked(text, *mark), mark
    assert {"BOX", "GUARD-1"} <= set(boxes(sheet_of(locked(), Scope.one_medium(medium))))


def test_what_differs_names_each_lock() -> None:
    """A lock that was put on or taken off is a row of its own, with whose it is."""
    before, after = yard(BOX).configuration, locked().configuration
    rows = [(r.subject, r.aspect, r.before, r.after, r.event) for r in difference(before, after)]
    assert ("PANEL-1:V2", "lock", None, "INA", "l0") in rows
    assert ("GUARD-1:LID", "tag", None, "INA", "l4") in rows
    assert len(rows) == 5
    back = [(r.subject, r.aspect, r.before, r.after) for r in difference(after, before)]
    assert ("PANEL-1:V2", "lock", "INA", None) in back
    assert re.search(r"PANEL-1:V2 +lock +- +INA", difference_text(difference(before, after), MOMENT, MOMENT))


def test_what_may_be_done_to_what_is_locked() -> None:
    """Its moves to open are gone; its owner takes his lock off; who is named can put his own on, or a box's."""
    now = locked().configuration

    def can(thing: str, locker: str | None = None) -> list[str]:
        return [phrase(event) for event in candidates(now, thing, AT, [], locker=locker)]

    assert can("PANEL-1:V2") == ["unlock PANEL-1:V2 by INA"]
    assert can("PANEL-1:V2", "BEN") == [
        "lock PANEL-1:V2 by BEN",
        "tag PANEL-1:V2 by BEN",
        "lock PANEL-1:V2 with BOX",
    ]
    assert can("BOX") == ["unlock BOX by INA"]
    assert can("SUP-2:Q", "INA") == ["lock SUP-2:Q by INA", "tag SUP-2:Q by INA"]
    assert can("GUARD-1:LID") == ["unlock GUARD-1:LID by BEN", "untag GUARD-1:LID by INA"]
    assert can("PANEL-1:V1") == ["shut PANEL-1:V1"]


SHELL = """
[[part]]
id = "lead"
flexible = true
port = [{ name = "J", kind = "electrical-connector", contact = [{ name = "1" }, { name = "2", medium = "data" }] }]
[[unit]]
id = "LEAD-1"
part = "lead"
"""


@pytest.mark.parametrize("scope", [Scope.everything(), Scope.around("LEAD-1"), Scope.places()])
def test_a_locked_shell_is_marked(scope: Scope) -> None:
    """A shell with contacts has the mark of its lock in every picture that shows its unit."""
    world = yard(SHELL)
    now = world.configuration
    for number, text in enumerate(("place LEAD-1 at FLOOR", "lock LEAD-1:J by INA")):
        action = parse_phrase(text.split(), world.plant, id=f"l{number}", happened=AT + number * 1_000_000)
        now.apply(happened(now, action))
    assert marked(drawn(world, scope), r"J(\.1)? demated", "LOCKED", "INA", "LEAD-1:J")


CORD = """
[[part]]
id = "cord"
flexible = true
port = [
  { name = "A", kind = "electrical-connector", contacts = ["1"], contact = [{ name = "D", medium = "data" }] },
  { name = "B", kind = "electrical-connector", contacts = ["1"], contact = [{ name = "D", medium = "data" }] },
]
links = [["A:1", "B:1"], ["A:D", "B:D"]]
[[part]]
id = "socket"
port = [
  { name = "J", kind = "electrical-connector", contacts = ["1"], contact = [{ name = "D", medium = "data" }] },
  { name = "K", kind = "electrical-connector", contacts = ["1"], contact = [{ name = "D", medium = "data" }] },
  { name = "L", kind = "electrical-connector" },
]
links = [["J:1", "K:1"], ["J:D", "K:D"]]
[[unit]]
id = "CORD-1"
part = "cord"
[[unit]]
id = "CORD-2"
part = "cord"
[[unit]]
id = "END-1"
part = "socket"
[[unit]]
id = "END-2"
part = "socket"
[[unit]]
id = "END-3"
part = "socket"
"""
CORDS = (
    "mate CORD-1:A END-1:J",
    "mate CORD-1:B END-2:J",
    "mate CORD-2:A END-2:K",
    "mate CORD-2:B END-3:J",
)


def corded(*more: str) -> Yard:
    """Return the yard with two cords with contacts between three sockets, mated all along, and what came then."""
    world = yard(CORD)
    now = world.configuration
    now.apply(happened(now, parse_phrase(["lock", "SUP-2:Q", "by", "BEN"], world.plant, id="q", happened=AT)))
    places = [f"place {unit} at FLOOR" for unit in ("CORD-1", "CORD-2", "END-1", "END-2", "END-3")]
    for number, text in enumerate((*places, *CORDS, *more), 1):
        action = parse_phrase(text.split(), world.plant, id=f"c{number}", happened=AT + number * 1_000_000)
        now.apply(happened(now, action))
    return world


@pytest.mark.parametrize("thing", ["CORD-1:A", "CABLE-1:E1"])
@pytest.mark.parametrize("scope", [Scope.everything(), Scope.one_medium("power"), Scope.places()])
def test_what_is_tagged_is_drawn_as_ever(thing: str, scope: Scope) -> None:
    """A hose or cable whose end has a lock or tag has its mark, and is the box that it is without one."""
    unit = thing.partition(":")[0]
    world = corded(f"tag {thing} by INA")
    end = rf"{thing.partition(':')[2]}(\.1|\.D)? mated"
    assert marked(drawn(world, scope), end, "TAGGED", "INA", thing)
    if scope.sort != "places":
        tagged, plain = (boxes(sheet_of(one, scope))[unit] for one in (world, corded()))
        assert [row.key for row in tagged.rows] == [row.key for row in plain.rows]
        assert tagged.form is plain.form is Form.INLINE


def test_what_is_tagged_is_no_hop_more() -> None:
    """Around a unit a tagged cable is a box on the way, and what lies behind it is as far off as it was."""
    plain, tagged = corded(), corded("tag CORD-1:B by INA")
    for centre, hops, seen in (
        ("END-1", 1, "END-2"),
        ("END-1", 2, "END-2 END-3"),
        ("END-3", 1, "END-2"),
        ("END-1", 0, ""),
    ):
        around = Scope.around(centre, hops=hops)
        for world in (plain, tagged):
            text = drawn(world, around)
            assert [f"END-{n}" in text for n in (1, 2, 3)] == [
                f"END-{n}" in f"{centre} {seen}" for n in (1, 2, 3)
            ]
        assert "TAGGED" not in drawn(plain, around)
        told = marked(drawn(tagged, around), r"B\.1 mated", "TAGGED", "INA", "CORD-1:B")
        assert told == ("CORD-1" in boxes(sheet_of(tagged, around)))


def test_a_neighbour_tells_the_lock_of_the_joint() -> None:
    """Of a neighbour the locks and tags at the ends of its lines are told, and of a loop those on what is in it."""
    world = corded(
        "tag END-2:J by INA", "tag END-2:K by BEN", "tag PANEL-1:P1 by INA", "tag SUP-1:OUT by INA"
    )
    text = drawn(world, Scope.around("END-1"))
    assert marked(text, r"J\.1 mated", "TAGGED", "INA", "END-2:J")
    assert marked(text, r"K\.1 mated", "TAGGED", "BEN", "END-2:K")  # J and K are joined inside the neighbour
    loop = drawn(world, Scope.loop("A"))
    assert marked(loop, "P1 mated", "TAGGED", "INA", "PANEL-1:P1")
    assert "OUT" not in loop
