"""Shells with contacts as people meet them: their state, what feeds what, what a rule says, what may be done."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.options import _ports, candidates
from cfgtrack.analysis.state import unit_state
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase, phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.lock import warnings
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import PORT, unknown
from cfgtrack.network.network import compile_network
from cfgtrack.rules.engine import Engine
from tests.happening import happened, refused

PIN = '{ name = "1", medium = "power" }, { name = "2", medium = "power" }, { name = "G", medium = "ground" }'
HARNESS = f"""
[[medium]]
id = "ground"
[[part]]
id = "supply"
port = [{{ name = "J", kind = "electrical-connector", contact = [{PIN}] }}]
node = [{{ name = "bus", medium = "power", source = true }}, {{ name = "frame", medium = "ground" }}]
links = [["J:1", "bus"], ["J:G", "frame"]]
[[part]]
id = "lamp"
port = [{{ name = "J", kind = "electrical-connector", contact = [{PIN}] }}]
node = [{{ name = "bulb", medium = "power", load = true }}, {{ name = "frame", medium = "ground" }}]
links = [["J:1", "bulb"], ["J:G", "frame"]]
[[part]]
id = "cable"
flexible = true
port = [
  {{ name = "A", kind = "electrical-connector", contact = [{PIN}] }},
  {{ name = "B", kind = "electrical-connector", contact = [{PIN}] }},
]
links = [["A:1", "B:FAR"], ["A:G", "B:G"]]
[[unit]]
id = "SUPPLY"
part = "supply"
[[unit]]
id = "LAMP"
part = "lamp"
[[unit]]
id = "CABLE"
part = "cable"
"""
RULES = """
[[rule]]
id = "fed"
title = "Every lamp is fed"
hazard = "it is dark"
severity = 2
source = "common practice"
mode = "always"
condition = { path = "power", from = { load = true }, to = { source = true } }
[[rule]]
id = "dead"
title = "No shell is live when it is parted"
hazard = "shock"
severity = 1
source = "common practice"
mode = "at"
at = { action = "demate", kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }
"""


def plugged(far: str) -> Configuration:
    """Return the harness with all mated; the cable's wire leads from contact 1 to contact `far`."""
    now = Configuration(parse_definition({"h.toml": HARNESS.replace("FAR", far)}).plant())
    for number, pair in enumerate((("SUPPLY:J", "CABLE:A"), ("CABLE:B", "LAMP:J"))):
        now.apply(happened(now, Action(f"e{number}", "mate", pair, number)))
    return now


@pytest.mark.parametrize(("far", "fed"), [("1", ("SUPPLY:bus",)), ("2", ())])
def test_who_shares_only_ground_is_not_fed(far: str, fed: tuple[str, ...]) -> None:
    """Wired pin to pin the lamp burns; with the wire on another pin only ground is shared, and that feeds nothing."""
    now = plugged(far)
    plant = now.plant
    networks = {medium: compile_network(plant, medium) for medium in plant.media}
    report = unit_state(plant, now, networks, "LAMP")
    assert [load.sources for load in report.loads] == [fed]
    told = {c.address: (c.peer, c.made, c.reaches) for c in report.contacts}
    assert told["LAMP:J:1"] == ("CABLE:B:1", True, fed)
    assert told["LAMP:J:G"] == ("CABLE:B:G", True, ())
    assert report.ports[0].medium == "power, ground"
    assert report.ports[0].live
    found = Engine(parse_rules({"r.toml": RULES}, plant), now.fork(), start=5).findings()
    assert [f.rule for f in found] == []


@pytest.mark.parametrize(("first", "live"), [((), ["CABLE:B", "LAMP:J"]), (("SUPPLY:J", "CABLE:A"), [])])
def test_a_rule_about_a_shell_is_about_its_contacts(first: tuple[str, ...], live: list[str]) -> None:
    """A shell is live where any of its contacts has a path, another pin too: parted then, it breaks the rule."""
    now = plugged("2")
    if first:
        now.apply(happened(now, Action("off", "demate", first, 4)))
    engine = Engine(parse_rules({"r.toml": RULES}, now.plant), now.fork(), start=5)
    engine.step(happened(now, Action("x", "demate", ("CABLE:B", "LAMP:J"), 9)))
    engine.finish(10)
    assert sorted(s for f in engine.findings() if f.rule == "dead" for s in f.subjects) == live


def test_a_contact_is_worked_by_its_shell() -> None:
    """What may be done to a contact is done to its shell, and a step that names the contact says so."""
    plant: Plant = plugged("1").plant
    assert _ports(plant, "LAMP:J:1") == ["LAMP:J"]
    assert _ports(plant, "LAMP:bulb") == ["LAMP:J"]
    assert unknown(plant, "LAMP:J:1", PORT).endswith("it is mated, worn and locked with its shell LAMP:J")
    assert unknown(plant, "LAMP:J:7", ("contact",)) == "LAMP:J has no contact 7; it has 1, 2, G"


LOCKED = """
[[rule]]
id = "locked"
title = "Both wires of the lamp are locked apart"
hazard = "shock"
severity = 1
source = "common practice"
mode = "always"
SCOPE
condition = { CONDITION }
"""


def apart(*told: str) -> tuple[Configuration, list[Event]]:
    """Return the harness with the lamp's plug parted, and what was done then, in words, a second apart."""
    now = plugged("1")
    now.apply(happened(now, Action("off", "demate", ("CABLE:B", "LAMP:J"), 4)))
    then, events = now.fork(), list[Event]()
    for number, words in enumerate(told, 10):
        action = parse_phrase(words.split(), now.plant, id=f"t{number}", happened=number)
        events.append(happened(then, action))
        then.apply(events[-1])
    return now, events


@pytest.mark.parametrize(
    ("scope", "condition"),
    [
        ("", 'locked = { id = ["CABLE:B:1", "CABLE:B:2"] }'),
        ('scope = { id = "CABLE:B:*", what = "contact" }', 'locked = "it"'),
        ('scope = { id = "CABLE:B:*", what = "contact" }', 'not = { untagged = "it" }'),
        ('scope = { id = "LAMP:J:*", what = "contact" }', 'locked = { id = "CABLE:B:1" }, by = "ANN"'),
    ],
)
def test_a_contact_is_locked_with_its_shell(scope: str, condition: str) -> None:
    """A rule about contacts is met while a lock, or a tag, hangs on their shell, and is judged anew as that comes."""
    text = LOCKED.replace("SCOPE", scope).replace("CONDITION", condition)
    told = ("lock CABLE:B by ANN", "tag CABLE:B by ANN", "untag CABLE:B by ANN", "unlock CABLE:B by ANN")
    now, events = apart(*told)
    engine = Engine(parse_rules({"r.toml": text}, now.plant), now, start=5)
    met = []
    for event in events:
        engine.step(event)
        engine.settle()
        met.append(not any(f.is_open for f in engine.findings()))
    tagged = "untagged" in condition
    assert met == ([False, True, False, False] if tagged else [True, True, True, False])


def test_the_lock_of_a_shell_is_told_with_its_contacts() -> None:
    """A locked shell can't be mated, says whose lock it is, and does so where one of its contacts is asked for."""
    now, events = apart("lock CABLE:B by ANN")
    now.apply(events[0])
    plant = now.plant
    networks = {medium: compile_network(plant, medium) for medium in plant.media}
    report = unit_state(plant, now, networks, "CABLE:B:1")
    assert [(p.address, [one.holder for one in p.locks]) for p in report.ports] == [("CABLE:B", ["ANN"])]
    assert [c.address for c in report.contacts] == ["CABLE:B:1"]
    for pair in (("CABLE:B", "LAMP:J"), ("LAMP:J", "CABLE:B")):
        (refusal,) = refused(now, Action("on", "mate", pair, 20))
        assert (refusal.code, refusal.collides) == ("locked", "t10")
        assert "CABLE:B is locked: ANN's lock" in refusal.sentence
    found = [phrase(event) for event in candidates(now, "CABLE:B:1", 20, [], locker="BEN")]
    assert found == ["cap CABLE:B", "lock CABLE:B by BEN", "tag CABLE:B by BEN"]
    for action in ("tag", "untag", "unlock"):
        assert [r.code for r in refused(now, Action("x", action, ("CABLE:B:1", "ANN"), 20))] == ["kind"]
    (refusal,) = refused(now, Action("x", "lock", ("CABLE:B:1", "BEN"), 20))
    assert (
        refusal.sentence
        == "CABLE:B:1 is a contact: a valve, switch, connector, cover or lock box takes locks; it is locked and tagged"
        " with its shell CABLE:B"
    )


def test_what_is_tagged_warns_who_mates_it() -> None:
    """A tag on a shell bars nothing: it can be mated, and whoever does it is warned; parting it warns nobody."""
    now, events = apart("tag LAMP:J by ANN")
    now.apply(events[0])
    mate = Action("on", "mate", ("CABLE:B", "LAMP:J"), 20)
    (told,) = warnings(now, mate)
    assert told.startswith("LAMP:J is tagged, mate is prohibited: ANN's tag")
    now.apply(happened(now, mate))
    assert list(warnings(now, Action("off", "demate", ("CABLE:B", "LAMP:J"), 21))) == []
