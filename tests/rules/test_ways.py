"""Links by their names: which are made, and what is still to blame for a path that is cut."""

from __future__ import annotations

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.ways import is_made, still_cut
from tests.happening import happened
from tests.rules.worlds import KINDS, MEDIA, START


def world(*done: str) -> Configuration:
    """Return four boxes in the rack after some actions."""
    box = Part(
        "box",
        ports={"F": Port("F", "tube"), "V": Port("V", "valve")},
        nodes={"vol": Node("vol", "fluid", litres=1.0)},
        links=(InternalLink("vol", "F", "V"),),
    )
    places = {place: Place(place, holds=True) for place in ("RACK", "SHELF")}
    now = Configuration(Plant(MEDIA, KINDS, {"box": box}, {u: Unit(u, "box") for u in "ABCD"}, places))
    for said in ("place A RACK", "place B RACK", "place C RACK", "place D RACK", *done):
        action, *subjects = said.split()
        place = subjects.pop() if action == "place" else None
        now.apply(happened(now, Action(said, action, tuple(subjects), START, place=place)))
    return now


JOINED = ("mate A:F B:F", "open A:F", "open B:F")
OTHERS = ("mate C:F D:F", "open C:F", "open D:F")
MADE: list[tuple[str, tuple[str, ...], bool]] = [
    ("A on RACK", (), True),
    ("A on RACK", ("place A SHELF",), False),
    ("A on SHELF", ("place A SHELF",), True),
    ("A:V", (), False),
    ("A:V", ("open A:V",), True),
    ("A:V", ("open A:V", "shut A:V"), False),
    ("A:F - B:F", (), False),
    ("A:F - B:F", ("mate A:F B:F",), False),
    ("A:F - B:F", ("mate A:F B:F", "open A:F"), False),
    ("A:F - B:F", ("mate A:F B:F", "open B:F"), False),
    ("A:F - B:F", JOINED, True),
    ("B:F - A:F", JOINED, True),
    ("A:F - C:F", JOINED, False),
    ("C:F - A:F", JOINED, False),
    ("A:F - C:F", (*JOINED, *OTHERS), False),
    ("D:F - C:F", (*JOINED, *OTHERS), True),
]


@pytest.mark.parametrize(("link", "done", "made"), MADE)
def test_a_link_is_made(link, done, made):
    """A unit stands there, a gate carries, or two halves carry and are mated to each other and nothing else."""
    assert is_made(world(*done), link) is made


def cut(*links: str, item: str = "A:vol", text: str = "") -> Reason:
    """Return that the path of an item is cut at some links."""
    return Reason("no-path", text or f"cut at {links}", links, (item,))


THEN = cut("A:V", "B:V", text="as it was told then")
NOW = cut("A:F - B:F", text="as it looks now")
BLAMED: list[tuple[str, tuple[str, ...], Reason, Reason, Reason | None]] = [
    ("still shut", (), THEN, NOW, cut("A:V", "B:V", text="as it was told then")),
    ("one open again", ("open A:V",), THEN, NOW, NOW),
    ("both open again", ("open A:V", "open B:V"), THEN, NOW, NOW),
    ("of another item", (), cut("A:V", item="B:vol"), NOW, NOW),
    ("nothing known", (), cut(), NOW, NOW),
    ("no path then", (), Reason("order", "first", ("A:V",), ("A:vol",)), NOW, NOW),
    (
        "a path that must not be",
        (),
        Reason("path", "over it", ("A:V",), ("A:vol",)),
        Reason("path", "over another", ("B:V",), ("A:vol",)),
        None,
    ),
    ("another reason now", (), THEN, Reason("order", "first", (), ("A:vol",)), None),
]


@pytest.mark.parametrize(("done", "then", "now", "told"), [b[1:] for b in BLAMED], ids=[b[0] for b in BLAMED])
def test_what_is_still_to_blame(done, then, now, told):
    """What cut a path then is told for as long as none of it is made again, of the same items alone."""
    assert list(still_cut((then,), (now,), world(*done))) == [told or now]
