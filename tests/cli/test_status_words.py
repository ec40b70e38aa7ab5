"""What a kind calls a status is what people read of it, everywhere; ids stay in files and JSON, and where one is typed.

The plant's one coupling has statuses with ids that stand in no other word, so that an id that is told is seen.
"""

import re

import pytest

from tests.cli.conftest import Command

PLANT = """
title = "One coupling"

[[kind]]
id = "tap"
medium = "fluid"
statuses = ["qqa", "qqb", "qqc", "qqd"]
words = { qqa = "plugged", qqb = "loose", qqc = "joined, valve shut", qqd = "joined, valve open" }
initial = "qqb"
joined = "qqc"
carries = "qqd"
move = [
  { action = "cap", from = ["qqb"], to = "qqa", each = true },
  { action = "uncap", from = ["qqa"], to = "qqb", each = true },
  { action = "mate", from = ["qqb"], to = "qqc" },
  { action = "open", from = ["qqc"], to = "qqd" },
  { action = "shut", from = ["qqd"], to = "qqc" },
  { action = "demate", from = ["qqc"], to = "qqb" },
]

[[part]]
id = "pump"
port = [{ name = "F", kind = "tap" }, { name = "G", kind = "tap" }]
node = [{ name = "VOL", medium = "fluid", litres = "2 l", loop = "A" }]
link = [{ a = "F", b = "VOL" }, { a = "G", b = "VOL" }]
[[unit]]
id = "PUMP"
part = "pump"
home = "BAY"
[[part]]
id = "bay"
port = [{ name = "F", kind = "tap" }, { name = "G", kind = "tap" }]
node = [{ name = "TANK", medium = "fluid", litres = "20 l", expansion = true, loop = "A" }]
link = [{ a = "F", b = "TANK" }]
[[place]]
id = "BAY"
part = "bay"
[initial]
at = 2031-04-30T08:00:00Z
place = { PUMP = "BAY" }
"""

RULES = """
[[rule]]
id = "through"
title = "The pump's coupling lets oil through"
severity = 2
hazard = "Oil is shut in."
source = "invented"
mode = "always"
condition = { status = { id = "PUMP:F" }, is = "qqd" }

[[rule]]
id = "some"
title = "Both do"
severity = 3
hazard = "Oil is shut in."
source = "invented"
mode = "always"
condition = { count = { kind = "tap" }, is = ["qqd"], at_least = 4 }
"""

STEPS = """
title = "Away and back"
[[track]]
id = "T"
step = [
  { id = "1", do = "shut PUMP:F", takes = "1 min" },
  { id = "2", do = "demate PUMP:F BAY:F", takes = "1 min" },
  { id = "3", do = "as-found PUMP:G qqa", takes = "1 min" },
]
"""

IDS = re.compile(r"qq[a-d]")


@pytest.fixture
def plant(empty: Command) -> Command:
    """The command on the coupling, mated and its valve open, with the rules."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", RULES))
    empty.ok("mate", "PUMP:F", "BAY:F", "--by", "ANN", "--at", "2031-04-30T09:00:00Z")
    empty.ok("open", "PUMP:F", "--by", "ANN", "--at", "2031-04-30T10:00:00Z")
    return empty


ASKED: tuple[tuple[str, ...], ...] = (
    ("state",),
    ("state", "--units"),
    ("state", "PUMP"),
    ("state", "PUMP:F"),
    ("state", "BAY"),
    ("plant",),
    ("diff", "2031-04-30T08:00:00Z"),
    ("findings",),
    ("findings", "--details"),
    ("review",),
    ("can", "PUMP"),
    ("check", "--do", "shut PUMP:F", "--details"),
    ("check", "--do", "cap PUMP:F", "--details"),
    ("check", "--do", "mate PUMP:G BAY:F"),
    ("check", "--do", "demate PUMP:F BAY:G"),
    ("check", "{steps}", "--details", "--by-step"),
    ("stops", "{steps}"),
    ("orders", "{steps}"),
    ("failures", "{steps}"),
    ("leave",),
    ("isolate", "PUMP:VOL"),
    ("segments", "fluid"),
    ("lock", "PUMP:F", "--by", "ANN"),
    ("mate", "PUMP:F", "BAY:F", "--by", "ANN"),
    ("demate", "PUMP:F", "BAY:G", "--by", "ANN"),
    ("open", "PUMP:G", "--by", "ANN"),
    ("place", "PUMP", "at", "BAY", "--by", "ANN"),
    ("retire", "PUMP", "--reason", "worn"),
    ("draw", "-o", "{folder}/all.dot"),
)


@pytest.mark.parametrize("asked", ASKED, ids=" ".join)
def test_a_status_is_told_in_its_words(plant: Command, asked: tuple[str, ...]) -> None:
    """No answer, and no refusal, tells the id of a status."""
    steps = plant.file("steps.toml", STEPS)
    said = plant(*(word.format(steps=steps, folder=plant.folder) for word in asked))
    assert said.out + said.err
    assert not IDS.findall(said.out + said.err), said.out + said.err


def test_what_was_found_is_told_in_its_words(plant: Command) -> None:
    """What contradicts the record is told with words for both, when it is recorded and whenever it is read again."""
    said = [plant("as-found", "PUMP:F", "qqb", "--by", "ANN").out]
    wide = {"COLUMNS": "300"}
    said += [plant(*asked, **wide).out for asked in (("history",), ("history", "PUMP:F"), ("findings",))]
    for text in said:
        assert "PUMP:F loose" in text
        assert not IDS.findall(text), text
    assert "the record said PUMP:F joined, valve open, to BAY:F" in " ".join(said[0].split())


def test_a_joint_that_was_found_is_told_with_what_is_between(plant: Command) -> None:
    """Both halves and what stands between them are told by one phrase."""
    plant.ok("as-found", "PUMP:F", "qqb", "--by", "ANN")
    said = plant("as-found", "PUMP:F", "qqc", "to", "BAY:F", "--by", "ANN").out
    assert "as found: PUMP:F joined, valve shut, to BAY:F" in " ".join(said.split())


def test_ids_that_can_be_typed_are_told_with_their_words(plant: Command) -> None:
    """Whoever types a status that there isn't is told the ids that there are, and what each is."""
    said = plant("as-found", "PUMP:F", "ajar", "--by", "ANN")
    text = " ".join((said.out + said.err).split())
    assert said.status != 0
    assert "known: qqa, qqb, qqc, qqd" in text
    assert "qqc: joined, valve shut; qqd: joined, valve open" in text


def test_files_and_json_have_the_ids(plant: Command) -> None:
    """What a program reads is the id, whatever people are told."""
    ports = plant.json_of("state", "PUMP")["state"]["ports"]
    assert {port["address"]: port["status"] for port in ports} == {"PUMP:F": "qqd", "PUMP:G": "qqb"}


def test_a_joint_that_no_longer_fits_is_told_in_its_words(plant: Command) -> None:
    """A definition by which a made joint can't be is refused with what it is, in words."""
    sizes = ('size = "1/2 in" }', 'size = "1/4 in" }')
    first, second, rest = PLANT.partition('[[part]]\nid = "bay"')
    changed = "".join(
        text.replace('name = "F", kind = "tap" }', f'name = "F", kind = "tap", {size}')
        for text, size in zip((first, second + rest), sizes, strict=True)
    )
    said = plant("load", plant.file("plant.toml", changed), "--by", "survey")
    assert said.status != 0
    assert not IDS.findall(said.out + said.err), said.out + said.err
    assert "joined, valve open" in " ".join((said.out + said.err).split())
