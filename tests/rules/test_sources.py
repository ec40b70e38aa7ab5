"""Where rules are from: by the grammar of `tests.sources`, for the starter set and for the demo's."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.files.definition import parse_definition, read_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import Definition
from tests.happening import happened
from tests.sources import faults_of_rule, faults_of_source, is_electrical

WORLD = (Path(__file__).with_name("cases") / "world.toml").read_text(encoding="utf-8")
DEMO = Path(__file__).parents[2] / "demo"
STARTER = (resources.files("cfgtrack.rules") / "starter.toml").read_text(encoding="utf-8")


def faults(text: str, definition: Definition) -> list[str]:
    """Return what is wrong with the sources of a rules file, in a plant. A rule is electrical that says so, or that
    guards a port of a kind whose medium is power.
    """
    now = Configuration(definition.plant())
    for event in definition.initial:
        now.apply(happened(now, event))
    power = {name for name, kind in definition.kinds.items() if kind.medium == "power"}
    found = []
    written = tomllib.loads(text)["rule"]
    for raw, rule in zip(written, parse_rules({"rules.toml": text}, now.plant).rules, strict=True):
        ports = filter(None, map(now.plant.port, rule.guards(now)))
        touched = any(kind.id in power for _, kind in ports)
        found += faults_of_rule(raw, electrical=touched or is_electrical(raw, power))
    return found


def world() -> Definition:
    """Return the world of the starter set's cases."""
    return parse_definition({"world.toml": WORLD})


def test_starter():
    """Every rule of the starter set says where it is from, electrical ones not from 29 CFR 1910.147, and every number
    of it is either a document's or called common practice.
    """
    assert faults(STARTER, world()) == []


def test_demo():
    """Every rule of the demo does the same, in the demo's plant."""
    text = (DEMO / "rules.toml").read_text(encoding="utf-8")
    assert faults(text, read_definition([DEMO / "hardware.toml"])) == []


@pytest.mark.parametrize(
    "source",
    [
        "common practice",
        "29 CFR 1910.147(d)(5)",
        "29 CFR 1910.147(d)(3)-(4), isolate and lock before work",
        "29 CFR 1910.333(b)(2)(iv), no voltage is there",
        "NFPA 70E-2018, 120.5 (as quoted in secondary sources)",
        "API 521 / ISO 23251:2006, 5.14",
        "ASME PCC-1 (edition not seen), cross pattern (as quoted in secondary sources)",
        "29 CFR 1910.147(d)(5); the 1.5 bar and the 2 h are common practice",
        "29 CFR 1910.147(d)(5), relieve; the 1.5 bar, the 3 V and the 2 h are common practice",
        "the 15 min is common practice; the part's thermal data",
        "the maker's rating",
        "the joint's data: M16, class 8.8",
        "ISO 23251:2006 5.14.4.1 (the same text as API 521), liquid shut in",
        "ASME PCC-1, cross pattern, edition not confirmed",
    ],
)
def test_a_source(source):
    """A known document with edition and place, common practice, and somebody's own data are sources."""
    assert faults_of_source(source) == []


@pytest.mark.parametrize(
    "source",
    [
        "see chapter 7",
        "ISO 9",
        "common practise 2",
        "common practice 2",
        "common practice: set your own",
        "the numbers are common practice",
        "29 CFR 1910.147",
        "29 CFR 1910.999(a)",
        "29 CFR 1910.147(d)(5) and others",
        "NFPA 70E, 120.5",
        "NFPA 70E-2018",
        "API 521 5.14, liquid shut in between valves",
        "ISO 16028, clause 1",
        "MIL-STD-882, Table I",
        "ASME PCC-1, cross pattern",
        "ASME PCC-1 (edition not seen)",
        "ASME PCC-1-1999 (edition not seen), cross pattern",
        "ISO 23251 5.14.4.1",
        "common practice; ",
        "common practice; see chapter 7",
        "the data",
        "somebody's rating",
        "",
    ],
)
def test_no_source(source):
    """What can't be looked up is no source: no edition, no place, an unknown document, words that sound like one."""
    assert faults_of_source(source) != []


RULE: Mapping[str, Any] = {
    "id": "R",
    "title": "2 h",
    "hazard": "3 V",
    "severity": 2,
    "mode": "at",
    "at": {"action": "demate", "kind": "fluid-disconnect"},
    "condition": {"all": [{"value": "it", "quantity": "pressure", "max": "1.5 bar"}]},
}
LIMITED = {
    **RULE,
    "tolerance": "2 h",
    "condition": {"any": [RULE["condition"], {"count": "it", "at_least": 4}]},
}


@pytest.mark.parametrize(
    ("rule", "source", "told"),
    [
        (RULE, "29 CFR 1910.147(d)(5); the 1.5 bar is common practice", []),
        (RULE, "common practice", []),
        (RULE, "29 CFR 1910.147(d)(5)", ["R: 1.5 bar has no source"]),
        (
            RULE,
            "29 CFR 1910.147(d)(5); the 2 bar is common practice",
            ["R: 2 bar is called common practice and stands nowhere", "R: 1.5 bar has no source"],
        ),
        (
            LIMITED,
            "29 CFR 1910.147(d)(5); the 1.5 bar is common practice",
            ["R: 2 h has no source", "R: 4 has no source"],
        ),
        (LIMITED, "the 1.5 bar, the 2 h and the 4 are common practice", []),
        ({**RULE, "condition": {"count": "it", "at_least": 1}}, "29 CFR 1910.147(d)(5)", []),
        (
            {**RULE, "tolerance": "4 h"},
            "ASME PCC-1 (edition not seen), cross pattern",
            ["R: 1.5 bar has no source"],
        ),
        ({**RULE, "min_age": "12 s"}, "the 1.5 bar is common practice", ["R: 12 s has no source"]),
    ],
)
def test_numbers_have_a_source(rule, source, told):
    """A number of a rule is called common practice by its own name, or is one that the document gives."""
    assert sorted(faults_of_rule({**rule, "source": source}, electrical=False)) == sorted(told)


@pytest.mark.parametrize(
    "source", ["29 CFR 1910.147(d)(3)", "common practice; 29 CFR 1910.147(d)(6), verify"]
)
def test_lockout_is_no_source_for_electrical_work(source):
    """29 CFR 1910.147 leaves electrical work out, (a)(1)(ii): nothing electrical may rest on it, all else may."""
    rule = {"id": "R", "source": source}
    assert faults_of_rule(rule, electrical=True) == ["R: 29 CFR 1910.147 leaves electrical work out"]
    assert faults_of_rule(rule, electrical=False) == []
    assert faults_of_rule({"id": "R", "source": "29 CFR 1910.333(b)(1)"}, electrical=True) == []


@pytest.mark.parametrize(
    "electrical",
    [
        {"at": {"action": "mate", "kind": ["latch", "electrical-connector"]}},
        {"at": {"action": "de-energise"}},
        {"at": {"action": "mate", "medium": "power"}},
        {"condition": {"any": [{"status": "it"}, {"no_path": "power", "from": "it"}]}},
        {"condition": {"value": "it", "quantity": "voltage", "max": "3 V"}},
        {"trigger": {"turns_true": {"not": {"path": "power"}}}},
    ],
)
def test_electrical_rules_are_known(electrical):
    """A rule that says power, voltage, a switch's action or a power connector's kind is electrical; one that doesn't is
    not.
    """
    assert is_electrical({**RULE, **electrical}, {"electrical-connector", "switch"})
    assert not is_electrical(RULE, {"electrical-connector", "switch"})


def test_a_port_of_power_makes_a_rule_electrical():
    """A rule that only names a port is electrical when the plant says that power goes through it."""
    plant = world().plant()
    ports = {port: plant.port(port) for owner in plant.owners() for port in plant.ports_of(owner)}
    port = next(port for port, found in ports.items() if found is not None and found[1].medium == "power")
    text = f"""[[rule]]
id = "by-name"
title = "t"
hazard = "h"
severity = 1
source = "29 CFR 1910.147(d)(3)"
mode = "at"
at = {{ action = "mate", id = "{port}" }}
condition = {{ status = "it", is = "demated" }}
"""
    assert faults(text, world()) == ["by-name: 29 CFR 1910.147 leaves electrical work out"]
