"""Shells with contacts as people meet them: their state, what feeds what, what a rule says, what may be done."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.options import _ports
from cfgtrack.analysis.state import unit_state
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import PORT, unknown
from cfgtrack.network.network import compile_network
from cfgtrack.rules.engine import Engine
from tests.happening import happened

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
    assert unknown(plant, "LAMP:J:1", PORT).endswith("it is mated, and worn, with its shell LAMP:J")
    assert unknown(plant, "LAMP:J:7", ("contact",)) == "LAMP:J has no contact 7; it has 1, 2, G"
